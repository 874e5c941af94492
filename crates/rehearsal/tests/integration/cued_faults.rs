//! Each kind of fault on a small line, with times and voltages worked by hand.

use assess::input::electric;
use plan::{ModuleIx, Recovery, SpanIx, TopicIx};
use rehearsal::{Collapse, FaultCame, Harm, Outcome, Record, Recovered, RehearsalError, What};
use timeline::Ns;

use crate::chain::{Node, cue_text, in_a_row, input, line_text, told, topic};
use crate::support::{read, run};

/// From a voltage to the trip or the boot that it leads to, and the boot itself, s.
const TRIP_S: f64 = 0.001;
const BOOT_S: f64 = 3.0;

fn a_fault(id: &str, at_s: f64, keys: &str) -> String {
    format!("\n[fault.{id}]\nat = \"{at_s} s\"\n{keys}\n")
}

/// Modules in a row, `m0` with the supply of 48 V, all told of `go`; a rehearsal with these cues.
fn rehearsed(data: &[&'static str], duration_s: u32, cues: &str) -> (Outcome, Vec<Record>) {
    let mut plan = line_text(&in_a_row(data), 300, 100) + &topic("go");
    for module in 0..data.len() {
        plan += &told(&format!("b{module}"), module, "go", r#"{ log = "told" }"#);
    }
    let (line, cues) = read(&plan, &(cue_text(duration_s, 1) + cues));
    run(&line, &cues)
}

/// When each module goes down, boots and comes up, s.
fn lives(records: &[Record]) -> Vec<(&'static str, usize, f64)> {
    let told = records.iter().filter_map(|r| {
        let (what, module) = match r.what {
            What::Down { module, .. } => ("down", module),
            What::Boots { module } => ("boots", module),
            What::Up { module } => ("up", module),
            _ => return None,
        };
        Some((what, module.0, r.at.as_s_f64()))
    });
    told.collect()
}

fn same(found: &[(&'static str, usize, f64)], wanted: &[(&'static str, usize, f64)]) {
    let near = found.len() == wanted.len()
        && found
            .iter()
            .zip(wanted)
            .all(|(f, w)| f.0 == w.0 && f.1 == w.1 && (f.2 - w.2).abs() < 1e-9);
    assert!(near, "{found:?}\n{wanted:?}");
}

/// The voltages of the last settling at or before a time.
fn voltages(records: &[Record], at_s: f64) -> Vec<f64> {
    let settled = records.iter().rev().find_map(|r| match &r.what {
        What::Settled { voltages_v } if r.at.as_s_f64() <= at_s => Some(voltages_v.clone()),
        _ => None,
    });
    settled.unwrap()
}

/// Open for 2 s, whole for 5 s, from 10 s to 30 s: open from 10, 17 and 24 s.
#[test]
fn verif_a_span_comes_and_goes() {
    let keys = "until = \"30 s\"\nkind = \"intermittent\"\nof = \"span.s1\"\ndown = \"2 s\"\nup = \"5 s\"\nlengths = \"fixed\"";
    let (outcome, records) = rehearsed(&["running"; 2], 60, &a_fault("loose", 10.0, keys));
    let mut wanted = Vec::new();
    for open_s in [10.0, 17.0, 24.0] {
        let back_s = open_s + 2.0 + TRIP_S;
        wanted.push(("down", 1, open_s + TRIP_S));
        wanted.push(("boots", 1, back_s));
        wanted.push(("up", 1, back_s + BOOT_S));
    }
    same(&lives(&records), &wanted);
    assert_eq!(outcome.restarts, [0, 3]);
    // It worked when the fault was over.
    let recovered = &outcome.faults[0].recovered;
    let module = (Recovery::Module(ModuleIx(1)), Recovered::After(Ns(0)));
    assert!(recovered.contains(&module), "{recovered:?}");
}

/// A contact that closes under a cut leaves the span open, and says by which fault: open for 2 s, whole for 5 s from 10 s to 30 s, cut from 16 s to 23 s.
#[test]
fn verif_a_contact_says_what_else_holds_its_span_open() {
    let keys = "until = \"30 s\"\nkind = \"intermittent\"\nof = \"span.s1\"\ndown = \"2 s\"\nup = \"5 s\"\nlengths = \"fixed\"";
    let cut = "until = \"23 s\"\nkind = \"cut\"\nof = \"span.s1\"";
    let sheet = a_fault("loose", 10.0, keys) + &a_fault("axe", 16.0, cut);
    let (_, records) = rehearsed(&["running"; 2], 60, &sheet);
    let told: Vec<_> = records
        .iter()
        .filter_map(|r| match r.what {
            What::Contact {
                open, held_open_by, ..
            } => Some((r.at.as_s_f64(), open, held_open_by)),
            _ => None,
        })
        .collect();
    // Faults stand in the order of their ids.
    let axe = Some(0);
    assert_eq!(
        told,
        [
            (12.0, false, None),
            (17.0, true, axe),
            (19.0, false, axe),
            (24.0, true, None),
            (26.0, false, None)
        ]
    );
}

/// Times drawn from an exponential law: their mean within three standard errors of the one asked for, and no others when another fault is added.
#[test]
fn verif_drawn_times_follow_their_law_and_their_own_stream() {
    let keys = "kind = \"intermittent\"\nof = \"span.s1\"\ndown = \"1 s\"\nup = \"3 s\"\nlengths = \"exponential\"";
    let loose = a_fault("loose", 10.0, keys);
    let changes = |cues: &str| -> Vec<(bool, f64)> {
        let (_, records) = rehearsed(&["running"; 2], 8000, cues);
        let told = records.iter().filter_map(|r| match r.what {
            What::Contact { open, .. } => Some((open, r.at.as_s_f64())),
            _ => None,
        });
        std::iter::once((true, 10.0)).chain(told).collect()
    };
    let alone = changes(&loose);
    let also = a_fault(
        "early",
        3.0,
        "until = \"4 s\"\nkind = \"hang\"\nof = \"module.m1\"",
    );
    assert_eq!(alone, changes(&(loose + &also)));
    for (open, mean_s) in [(true, 1.0), (false, 3.0)] {
        let lengths: Vec<f64> = alone
            .windows(2)
            .filter(|w| w[0].0 == open)
            .map(|w| w[1].1 - w[0].1)
            .collect();
        let n = lengths.len() as f64;
        let found_s = lengths.iter().sum::<f64>() / n;
        // The standard deviation of an exponential law is its mean.
        assert!(
            n > 1800.0 && (found_s - mean_s).abs() < 3.0 * mean_s / n.sqrt(),
            "{found_s}, {n}"
        );
        let longer = lengths.iter().filter(|l| **l > mean_s).count() as f64 / n;
        let share = (-1.0f64).exp();
        assert!(
            (longer - share).abs() < 3.0 * (share * (1.0 - share) / n).sqrt(),
            "{longer}"
        );
    }
}

/// Taken off with its connectors, the module in the middle takes the line beyond with it; off a branch of its own, it alone.
#[test]
fn verif_an_unplugged_module_leaves_a_gap_or_not() {
    let cues = |leaves: &str| {
        let keys = format!(
            "until = \"20 s\"\nkind = \"unplugged\"\nof = \"module.m1\"\nleaves = \"{leaves}\""
        );
        a_fault("off", 10.0, &keys) + &input("one", 15.0, 2, "go")
    };
    let delivered = |records: &[Record]| -> Vec<usize> {
        let told = records.iter().filter_map(|r| match r.what {
            What::Delivered { module, .. } => Some(module.0),
            _ => None,
        });
        told.collect()
    };
    let (outcome, records) = rehearsed(&["running", "always", "running"], 40, &cues("gap"));
    let mut wanted = Vec::new();
    for (what, at_s) in [("down", 10.0), ("boots", 20.0), ("up", 20.0 + BOOT_S)] {
        wanted.extend([(what, 1, at_s + TRIP_S), (what, 2, at_s + TRIP_S)]);
    }
    same(&lives(&records), &wanted);
    assert!(delivered(&records).is_empty());
    assert_eq!(voltages(&records, 15.0)[1..], [0.0, 0.0]);
    assert_eq!(outcome.restarts, [0, 1, 1]);

    let (outcome, records) = rehearsed(&["running", "always", "running"], 40, &cues("joined"));
    let wanted = [
        ("down", 1, 10.0),
        ("boots", 1, 20.0 + TRIP_S),
        ("up", 1, 20.0 + TRIP_S + BOOT_S),
    ];
    same(&lives(&records), &wanted);
    assert_eq!(delivered(&records), [0]);
    assert!(voltages(&records, 15.0)[2] > 47.0);
    assert_eq!(outcome.restarts, [0, 1, 0]);
    assert_eq!(outcome.copies.lost, 1);
}

/// Power taken and given back costs the time of a trip more than a watchdog.
#[test]
fn verif_a_module_is_restarted() {
    for (by, boots_s) in [("power", 10.0 + TRIP_S), ("watchdog", 10.0)] {
        let keys = format!("kind = \"restart\"\nof = \"module.m1\"\nby = \"{by}\"");
        let expected = "\n[expect.back]\nthat = \"recovered\"\nof = \"module.m1\"\nafter = \"fault.again\"\nwithin = \"3.002 s\"\n";
        let cues = a_fault("again", 10.0, &keys) + expected;
        let (outcome, records) = rehearsed(&["running"; 2], 40, &cues);
        let wanted = [
            ("down", 1, 10.0),
            ("boots", 1, boots_s),
            ("up", 1, boots_s + BOOT_S),
        ];
        same(&lives(&records), &wanted);
        assert!(outcome.expectations[0].passed, "{:?}", outcome.expectations);
        let took = Ns(((boots_s + BOOT_S - 10.0) * 1e9).round() as u64);
        let module = (Recovery::Module(ModuleIx(1)), Recovered::After(took));
        assert!(outcome.faults[0].recovered.contains(&module));
    }
}

/// Works for 2 s, boots for 3 s: from 10 to 40 s it restarts at 12, 17, ... 37 s. An hour of it ends no rehearsal.
#[test]
fn verif_a_module_caught_in_a_loop_restarts_again_and_again() {
    let keys = |until_s: u32| {
        format!(
            "until = \"{until_s} s\"\nkind = \"reboot-loop\"\nof = \"module.m1\"\nafter = \"2 s\""
        )
    };
    let (outcome, records) = rehearsed(&["running"; 2], 60, &a_fault("loop", 10.0, &keys(40)));
    let mut wanted = Vec::new();
    for n in 0..6 {
        let at_s = 12.0 + 5.0 * f64::from(n);
        wanted.extend([
            ("down", 1, at_s),
            ("boots", 1, at_s),
            ("up", 1, at_s + BOOT_S),
        ]);
    }
    same(&lives(&records), &wanted);
    assert_eq!(outcome.restarts, [0, 6]);
    let (outcome, _) = rehearsed(&["running"; 2], 3700, &a_fault("loop", 10.0, &keys(3610)));
    assert_eq!(outcome.restarts, [0, 720]);
}

/// One volt too few at the supply takes every module; it is found by solving the line, not by the fault.
#[test]
fn verif_a_brown_out_takes_the_modules_below_their_lowest_voltage() {
    let low = |volts: &str| {
        let keys = format!(
            "until = \"20 s\"\nkind = \"brown-out\"\nof = \"supply.bench\"\nvoltage = \"{volts}\""
        );
        a_fault("low", 10.0, &keys)
    };
    let (outcome, _) = rehearsed(&["running"; 2], 40, &low("20.5 V"));
    assert_eq!(outcome.restarts, [0, 0]);
    assert!((outcome.voltages_v[0].0 - 20.5).abs() < 1e-9);
    let (outcome, records) = rehearsed(&["running"; 2], 40, &low("19.5 V"));
    assert_eq!(outcome.restarts, [1, 1]);
    let mut wanted = Vec::new();
    for (what, at_s) in [("down", 10.0), ("boots", 20.0), ("up", 20.0 + BOOT_S)] {
        wanted.extend([(what, 0, at_s + TRIP_S), (what, 1, at_s + TRIP_S)]);
    }
    same(&lives(&records), &wanted);
}

/// The higher root of V^2 - E V + P R = 0: a constant power behind a resistance.
fn behind(e_v: f64, power_w: f64, ohm: f64) -> f64 {
    (e_v + (e_v * e_v - 4.0 * power_w * ohm).sqrt()) / 2.0
}

/// Of a module with 1 W behind a cable with a bad contact, on a weak supply: it trips where the quadratic says so. Off it has 22 V again and boots, which
/// asks for more; so it goes down and boots, at 10.002, 11.002, 13.002 and 17.002 s, and for the last time at 25.002 s, when the contact is good again.
#[test]
fn verif_a_bad_contact_takes_the_module_behind_it() {
    let plan = line_text(&in_a_row(&["running"; 2]), 300, 100);
    let (line, _) = read(&plan, &cue_text(1, 1));
    let wire_ohm = electric(&line).unwrap().wire_ohm(SpanIx(0)).unwrap();
    // At 22 V 1 W needs 20 V: (22 - 20) V / (1 W / 20 V) = 40 ohm in all.
    for (added_ohm, trips) in [
        (40.0 - wire_ohm - 0.1, false),
        (40.0 - wire_ohm + 0.1, true),
    ] {
        let bad = format!(
            "until = \"20 s\"\nkind = \"bad-contact\"\nof = \"span.s1\"\nresistance = \"{added_ohm} ohm\""
        );
        let weak = "kind = \"brown-out\"\nof = \"supply.bench\"\nvoltage = \"22 V\"";
        let cues = a_fault("bad", 10.0, &bad) + &a_fault("weak", 5.0, weak);
        let (outcome, records) = rehearsed(&["running"; 2], 40, &cues);
        let wanted_v = behind(22.0, 1.0, wire_ohm + added_ohm);
        let found_v = voltages(&records, 10.0)[1];
        assert!((found_v - wanted_v).abs() < 1e-9, "{found_v} {wanted_v}");
        assert_eq!(outcome.restarts, [0, if trips { 5 } else { 0 }]);
    }
}

/// `m0` with the supply, and `m1` and `m2` each on a branch of its own.
fn two_branches() -> Vec<Node> {
    let mut nodes = in_a_row(&["running"; 3]);
    nodes[2].parent = 0;
    nodes
}

/// A branch of R ohm at 48 V passes at most 48^2/(4 R). With the 1 W of `m2` asked behind more than 576 ohm, `m2` alone loses its power; `m1` on its own branch
/// keeps the voltage of its quadratic from beginning to end, and `m0` has that of the supply.
#[test]
fn verif_a_bad_contact_collapses_its_own_branch_only() {
    let plan = line_text(&two_branches(), 300, 100);
    let wire_ohm = |span| {
        let (line, _) = read(&plan, &cue_text(1, 1));
        electric(&line).unwrap().wire_ohm(SpanIx(span)).unwrap()
    };
    let added_ohm = 700.0;
    let bad = format!(
        "until = \"20 s\"\nkind = \"bad-contact\"\nof = \"span.s2\"\nresistance = \"{added_ohm} ohm\""
    );
    let (line, cues) = read(&plan, &(cue_text(40, 1) + &a_fault("bad", 10.0, &bad)));
    let (outcome, records) = run(&line, &cues);
    let falls: Vec<_> = records
        .iter()
        .filter_map(|r| match &r.what {
            What::Collapsed { why, modules } => {
                Some((r.at.as_s_f64(), why.clone(), modules.clone()))
            }
            _ => None,
        })
        .collect();
    // With 1 W as it begins, and with the 2 W of its boot 1 s, 2 s and 4 s from one try to the next.
    const TRIES_S: [f64; 4] = [10.002, 11.002, 13.002, 17.002];
    let most_w = 48.0 * 48.0 / (4.0 * (added_ohm + wire_ohm(1)));
    assert_eq!(falls.len(), 1 + TRIES_S.len());
    for (n, (at_s, why, modules)) in falls.iter().enumerate() {
        let (wanted_s, asked_w) = match n {
            0 => (10.0, 1.0),
            n => (TRIES_S[n - 1], 2.0),
        };
        assert!((at_s - wanted_s).abs() < 1e-9, "{n}: {at_s}");
        assert_eq!(*modules, [ModuleIx(2)]);
        let Collapse::Powers { share } = *why else {
            panic!("{why:?}");
        };
        assert!((share - most_w / asked_w).abs() < 1e-9, "{share}");
    }
    let mut wanted = vec![("down", 2, 10.0 + TRIP_S)];
    for boots_s in TRIES_S {
        wanted.extend([("boots", 2, boots_s), ("down", 2, boots_s + TRIP_S)]);
    }
    // The pause of 8 s has begun before the contact is good again.
    let boots_s = 25.0 + 2.0 * TRIP_S;
    wanted.extend([("boots", 2, boots_s), ("up", 2, boots_s + BOOT_S)]);
    same(&lives(&records), &wanted);
    let healthy_v = behind(48.0, 1.0, wire_ohm(0));
    for (v, wanted_v) in [
        (outcome.voltages_v[0], 48.0),
        (outcome.voltages_v[1], healthy_v),
    ] {
        assert!(
            (v.0 - wanted_v).abs() < 1e-9 && (v.1 - wanted_v).abs() < 1e-9,
            "{v:?}"
        );
    }
    assert_eq!(outcome.voltages_v[2].0, 0.0);
}

/// The same for good, for 3 d: the pauses grow to 1 min, so that the rehearsal comes to its end with one try a minute.
#[test]
fn verif_a_bad_contact_for_good_does_not_end_a_long_rehearsal() {
    let plan = line_text(&in_a_row(&["running"; 3]), 300, 100);
    let bad = "kind = \"bad-contact\"\nof = \"span.s2\"\nresistance = \"700 ohm\"";
    let (line, cues) = read(&plan, &(cue_text(259_200, 1) + &a_fault("bad", 10.0, bad)));
    let (_, records) = run(&line, &cues);
    let boots_s: Vec<f64> = lives(&records)
        .into_iter()
        .filter(|(what, ..)| *what == "boots")
        .map(|(.., at_s)| at_s)
        .collect();
    // 1, 2, 4, 8, 16 and 32 s behind 10.002 s, then 60 s each until 259 200 s.
    assert_eq!(boots_s.len(), 1 + 6 + (259_200 - 73) / 60);
    for (n, pair) in boots_s.windows(2).enumerate() {
        let wanted_s = f64::min(60.0, f64::from(1u32 << n.min(6)));
        assert!((pair[1] - pair[0] - wanted_s).abs() < 1e-6, "{n}: {pair:?}");
    }
}

/// A supply that falls to 0 V is one that gives nothing.
#[test]
fn verif_a_brown_out_to_nothing_is_no_supply() {
    let run_of = |kind: &str| {
        let keys = format!("until = \"20 s\"\nkind = {kind}\nof = \"supply.bench\"");
        rehearsed(&["running"; 2], 40, &a_fault("gone", 10.0, &keys)).1
    };
    let gone = run_of("\"no-supply\"");
    for kind in [
        "\"brown-out\"\nvoltage = \"0 V\"",
        "\"swapped\"\nresistance = \"1 ohm\"\nvoltage = \"0 V\"",
    ] {
        let found = run_of(kind);
        assert_eq!(lives(&found), lives(&gone));
        assert_eq!(voltages(&found, 15.0), [0.0, 0.0]);
    }
    assert_eq!(lives(&gone).len(), 6);
}

/// 30 V behind 10 ohm, and 1 W: the quadratic.
#[test]
fn verif_a_swapped_supply_gives_what_it_says() {
    let keys = "until = \"20 s\"\nkind = \"swapped\"\nof = \"supply.bench\"\nvoltage = \"30 V\"\nresistance = \"10 ohm\"";
    let (_, records) = rehearsed(&["running"], 40, &a_fault("bench", 10.0, keys));
    let at = |s| voltages(&records, s)[0];
    assert!((at(5.0) - 48.0).abs() < 1e-9);
    assert!((at(15.0) - behind(30.0, 1.0, 10.0)).abs() < 1e-9);
    assert!((at(25.0) - 48.0).abs() < 1e-9);
}

/// 20 J last 10 s at 1 W and 5 s at 2 W; a supply put in its place afterwards is not drained.
#[test]
fn verif_a_drained_supply_gives_what_it_has() {
    let keys = "kind = \"drained\"\nof = \"supply.bench\"\nenergy = \"20 J\"";
    let (_, records) = rehearsed(&["running"], 60, &a_fault("flat", 10.0, keys));
    same(&lives(&records), &[("down", 0, 30.0 + TRIP_S)]);

    // Its uplink draws 5 W in place of 1 W from 20 to 25 s: 20 J are gone at 10 + 10 + (20 - 10) / 5 = 22 s.
    let mut plan = line_text(&in_a_row(&["running"]), 300, 100) + &topic("go");
    plan += "\n[behaviour.up]\non = \"module.m0\"\neach = \"20 s\"\ndo = [{ send_up = \"uplink.shore\", about = \"go\" }]\n";
    let new =
        "kind = \"swapped\"\nof = \"supply.bench\"\nvoltage = \"48 V\"\nresistance = \"0 ohm\"";
    let cues = cue_text(35, 1) + &a_fault("flat", 10.0, keys) + &a_fault("new", 30.0, new);
    let (line, cues) = read(&plan, &cues);
    let (_, records) = run(&line, &cues);
    let spent = records
        .iter()
        .find(|r| matches!(r.what, What::Spent { .. }));
    assert!((spent.unwrap().at.as_s_f64() - 22.0).abs() < 1e-6);
    let wanted = [
        ("down", 0, 22.0 + TRIP_S),
        ("boots", 0, 30.0 + TRIP_S),
        ("up", 0, 30.0 + TRIP_S + BOOT_S),
    ];
    same(&lives(&records), &wanted);
}

/// What an hour of one message a second loses to a cut of ten seconds, worked by hand: those published while it is open. The module
/// behind it is not told what nobody sends, and works again three seconds later.
#[test]
fn verif_what_a_cut_loses_is_told_by_topic_and_by_fault() {
    let mut plan = line_text(&in_a_row(&["running"; 3]), 300, 100) + &topic("go");
    plan += "at_most = \"2 per s\"\n";
    plan += &told("b0", 0, "go", r#"{ log = "told" }"#);
    plan += "\n[behaviour.beat]\non = \"module.m1\"\neach = \"1 s\"\ndo = [{ publish = \"go\" }]\n";
    plan += &told("b2", 2, "go", r#"{ log = "told" }"#);
    let cut = "until = \"20.5 s\"\nkind = \"cut\"\nof = \"span.s2\"";
    let seen = "\n[expect.again]\nthat = \"recovered\"\ntopic = \"go\"\nat = \"module.m2\"\nafter = \"fault.cut\"\nwithin = \"4 s\"
[expect.in-time]\nthat = \"late\"\ntopic = \"go\"\nat_most = 0\n";
    let (line, cues) = read(
        &plan,
        &(cue_text(60, 1) + &a_fault("cut", 10.5, cut) + seen),
    );
    let (outcome, records) = run(&line, &cues);
    // Published from 1 to 59 s. Lost to m2: those of 11 to 20 s, and of 21 to 23 s while it boots until 23.501 s.
    let go = &outcome.topics[0];
    let lost: u64 = go.lost.iter().map(|(_, n)| n).sum();
    assert_eq!(
        (go.published, go.delivered, lost, go.late),
        (59, 59 + 46, 13, 0)
    );
    let took = Ns((38 + 48 + 200) * 8 * 100 + 500 + 100_000);
    let latency = go.latency.unwrap();
    assert_eq!((latency.least, latency.greatest), (took, took));
    assert!(latency.median >= took && latency.median.0 - took.0 <= took.0 / 64);
    let cut: &FaultCame = &outcome.faults[0];
    let harm = Harm {
        lost: 10,
        late: 0,
        lost_after: 3,
        late_after: 0,
        unbounded: 0,
    };
    assert_eq!(cut.topics, [(TopicIx(0), harm)]);
    let told_again = Recovery::Topic {
        topic: TopicIx(0),
        to: ModuleIx(2),
    };
    assert_eq!(
        cut.recovered,
        [
            (
                Recovery::Module(ModuleIx(2)),
                Recovered::After(Ns(3_001_000_000))
            ),
            (told_again, Recovered::After(Ns(3_500_000_000 + took.0))),
        ]
    );
    assert!(
        outcome.expectations.iter().all(|e| e.passed),
        "{:?}",
        outcome.expectations
    );
    assert!(
        !records
            .iter()
            .any(|r| matches!(r.what, What::BeyondBound { .. }))
    );
}

/// A message a second, 286 bytes on the wire of which 22 are preamble and gap: the share that is lost lies, by three standard deviations of the
/// binomial law, between what 264 and what 286 bytes lose, and nothing is lost before or after.
#[test]
fn verif_bit_errors_lose_their_share() {
    let mut plan = line_text(&in_a_row(&["running"; 2]), 300, 100) + &topic("go");
    plan += &told("b0", 0, "go", r#"{ log = "told" }"#);
    plan += "\n[behaviour.beat]\non = \"module.m1\"\neach = \"1 s\"\ndo = [{ publish = \"go\" }]\n";
    let keys = "until = \"2500.5 s\"\nkind = \"bit-errors\"\nof = \"span.s1\"\nrate = 3e-4";
    let (line, cues) = read(&plan, &(cue_text(3000, 1) + &a_fault("noisy", 500.5, keys)));
    let (outcome, records) = run(&line, &cues);
    let lost: Vec<f64> = records
        .iter()
        .filter(|r| matches!(r.what, What::Lost { .. }))
        .map(|r| r.at.as_s_f64())
        .collect();
    assert!(lost.iter().all(|at_s| (500.5..2500.5).contains(at_s)));
    let share = lost.len() as f64 / 2000.0;
    let of = |bytes: f64| 1.0 - (1.0 - 3e-4f64).powf(8.0 * bytes);
    let spread = 3.0 * (0.25f64 / 2000.0).sqrt();
    assert!(
        share > of(264.0) - spread && share < of(286.0) + spread,
        "{share}"
    );
    let harm = outcome.faults[0].topics[0].1;
    assert_eq!((harm.lost, harm.lost_after), (lost.len() as u64, 0));
}

/// What recovers must have been disturbed.
#[test]
fn verif_what_was_never_disturbed_does_not_recover() {
    let short = "until = \"10.0005 s\"\nkind = \"cut\"\nof = \"span.s1\"";
    let seen = "\n[expect.back]\nthat = \"recovered\"\nof = \"module.m1\"\nafter = \"fault.blink\"\nwithin = \"4 s\"\n";
    let (outcome, _) = rehearsed(&["running"; 2], 20, &(a_fault("blink", 10.0, short) + seen));
    let back = &outcome.expectations[0];
    assert!(
        !back.passed && back.said.contains("nothing to recover from"),
        "{back:?}"
    );
}

/// What is late by a bound that `check` does not know is not judged.
#[test]
fn verif_late_without_a_bound_is_refused() {
    let mut plan = line_text(&in_a_row(&["running"; 2]), 300, 100) + &topic("go");
    plan += &told("b0", 0, "go", r#"{ log = "told" }"#);
    plan += &told("b1", 1, "other/#", r#"{ publish = "go" }"#);
    let late = "\n[expect.late]\nthat = \"late\"\ntopic = \"go\"\nat_most = 0\n";
    let (line, cues) = read(&plan, &(cue_text(20, 1) + late));
    let result = rehearsal::run(&line, &cues, &mut |_| {}, &mut |_| true);
    let Err(RehearsalError::NotSaid { what }) = result else {
        panic!("it ran");
    };
    assert!(
        what[0].contains("expect.late") && what[0].contains("`beyond`"),
        "{what:?}"
    );
}

/// The example in which each kind of fault happens once: what its cue sheet expects was worked by hand.
#[test]
fn verif_the_mishaps_of_the_example_come_to_what_they_must() {
    let plan_path = truth::in_repository("plans/kelp-gate/plan.toml");
    let cue_path = truth::in_repository("plans/kelp-gate/cues/mishaps.toml");
    let mut reading = assess::read(&plan_path, &plan::from_disk);
    let cues = plan::read_cues(&cue_path, &reading, &plan::from_disk);
    assert!(cues.mistakes.is_empty(), "{:?}", cues.mistakes);
    let (outcome, records) = run(&reading.line.take().unwrap(), &cues.cues.unwrap());
    let failed: Vec<_> = outcome.expectations.iter().filter(|e| !e.passed).collect();
    assert!(failed.is_empty(), "{failed:?}");
    assert_eq!(outcome.expectations.len(), 21);
    let broken = |r: &&Record| matches!(r.what, What::BeyondBound { .. });
    assert_eq!(records.iter().find(broken), None);
}

fn late_said(outcome: &Outcome) -> (bool, &str) {
    let late = &outcome.expectations[0];
    (late.passed, &late.said)
}

/// That nothing was late shows something only where something came that could have been, by a bound that is known, and in a window that was
/// rehearsed whole.
#[test]
fn verif_nothing_late_shows_nothing_where_nothing_could_be() {
    let late = |more: &str| {
        format!("\n[expect.late]\nthat = \"late\"\ntopic = \"go\"\nat_most = 0\n{more}")
    };
    let two = ["running"; 2];
    // What only inputs publish has no bound in `check`.
    let sent = input("one", 5.0, 0, "go");
    let (outcome, _) = rehearsed(&two, 20, &(sent.clone() + &late("")));
    let (passed, said) = late_said(&outcome);
    assert!(!passed && said.contains("knows no bound"), "{said}");
    let (outcome, _) = rehearsed(&two, 20, &(sent.clone() + &late("beyond = \"1 s\"\n")));
    assert!(late_said(&outcome).0, "{:?}", outcome.expectations);
    let (outcome, _) = rehearsed(&two, 20, &late("beyond = \"1 s\"\n"));
    let (passed, said) = late_said(&outcome);
    assert!(!passed && said.contains("nothing was delivered"), "{said}");
    // Ten seconds of an hour.
    let cut = a_fault(
        "blink",
        5.0,
        "until = \"10 s\"\nkind = \"cut\"\nof = \"span.s1\"",
    );
    let window = late("beyond = \"1 s\"\nafter = \"fault.blink\"\nwithin = \"1 h\"\n");
    let (outcome, _) = rehearsed(&two, 20, &(cut + &input("two", 15.0, 0, "go") + &window));
    let (passed, said) = late_said(&outcome);
    assert!(
        !passed && said.contains("before the window is over"),
        "{said}"
    );
}

/// A restart of a module that is dead does nothing, and what is lost there is not laid to it.
#[test]
fn verif_a_restart_of_a_dead_module_harms_nothing() {
    let dead = a_fault("dead", 5.0, "kind = \"dead\"\nof = \"module.m1\"");
    let again = a_fault(
        "again",
        8.0,
        "kind = \"restart\"\nof = \"module.m1\"\nby = \"watchdog\"",
    );
    let sent: String = (0..5)
        .map(|n| input(&format!("i{n}"), 9.0 + f64::from(n), 0, "go"))
        .collect();
    let (outcome, records) = rehearsed(&["running"; 2], 20, &(dead + &again + &sent));
    let lost = records
        .iter()
        .filter(|r| matches!(r.what, What::Lost { .. }))
        .count();
    assert_eq!(lost, 5);
    // In the order of their ids.
    let [again, dead] = outcome.faults.as_slice() else {
        panic!("{:?}", outcome.faults);
    };
    assert_eq!(again.over, Some(Ns(8_000_000_000)));
    assert!(
        again.topics.is_empty() && again.recovered.is_empty(),
        "{again:?}"
    );
    assert_eq!(dead.topics[0].1.lost, 5);
}

/// What was lost on its way and is to be sent again was disturbed, although no copy is lost for good.
#[test]
fn verif_what_has_to_be_sent_again_was_disturbed() {
    let mut plan = line_text(&in_a_row(&["running"; 2]), 300, 100) + &topic("go");
    plan += "delivery = \"at-least-once\"\nretry = { after = \"2 s\", at_most = 9, acknowledgement = \"8 B\" }\n";
    plan += &told("b1", 1, "go", r#"{ log = "told" }"#);
    // Every frame is hit while it holds.
    let noisy = a_fault(
        "noisy",
        4.0,
        "until = \"9 s\"\nkind = \"bit-errors\"\nof = \"span.s1\"\nrate = 0.4",
    );
    let (line, cues) = read(
        &plan,
        &(cue_text(30, 1) + &noisy + &input("one", 5.0, 0, "go")),
    );
    let (outcome, _) = run(&line, &cues);
    let pair = Recovery::Topic {
        topic: TopicIx(0),
        to: ModuleIx(1),
    };
    let told = outcome.faults[0]
        .recovered
        .iter()
        .find(|(what, _)| *what == pair);
    // Sent at 5, 7, 9 and 11 s: at 9 s the fault is over, and no bound is known for what an input publishes.
    let Some((_, Recovered::Unbounded(took))) = told else {
        panic!("{:?}", outcome.faults);
    };
    assert!(took.as_s_f64() < 2.1, "{took:?}");
    assert_eq!(
        (outcome.topics[0].delivered, outcome.topics[0].repeated),
        (1, 0)
    );
}
