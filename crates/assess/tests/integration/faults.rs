//! Faults on one load at the end of one resistance, by hand: 48 V limited to 5 A, 20 ohm, 25 W, lowest 20 V.

use assess::input::{Contacts, electric};
use assess::{Check, Faults, Ruling, Shelf, Verdict, check, faults};

use crate::support::{close, known, read, requirement, why_unknown};

const TWO: &str = include_str!("two.toml");
const CABLE: &str = "conductor = \"1.0 mm2 class 5\"\n";
const LIMIT: &str = "current_limit = \"5 A\"";

fn two(changes: &[(&str, &str)]) -> plan::Reading {
    let mut text = TWO.to_owned();
    for (from, to) in changes {
        assert!(text.contains(from), "`{from}` is not in the plan");
        text = text.replace(from, to);
    }
    let reading = read(&text);
    assert!(!reading.has_errors(), "{:?}", reading.mistakes);
    reading
}

fn told(changes: &[(&str, &str)]) -> Faults {
    faults(&two(changes).line.unwrap(), Contacts::Aged, 1000.0).unwrap()
}

fn judged(changes: &[(&str, &str)], requirement: &str) -> Check {
    let mut all = vec![(CABLE, "conductor = \"1.0 mm2 class 5\"\nfuse = \"1 A\"\n")];
    let whole = format!("[requirement.supply]\nthat = \"supply-current\"\n\n{requirement}");
    all.push((
        "[requirement.supply]\nthat = \"supply-current\"\n",
        whole.as_str(),
    ));
    all.extend_from_slice(changes);
    check(&two(&all), &Shelf::default())
}

const FUSES: &str = "[requirement.fuses]\nthat = \"short-circuit\"\nat_least = \"200 %\"\n";

#[test]
fn verif_shorts_by_hand() {
    let faults = told(&[]);
    let at = |place: &str| {
        let short = faults.shorts.iter().find(|s| s.place == place).unwrap();
        short.outcome.clone().unwrap()
    };
    let far = at("module.far");
    close(far.current_a, 2.4, 1e-12);
    assert_eq!(
        (far.drops, far.lives),
        (vec!["module.far".to_owned()], vec![])
    );
    assert!(far.at_limit.is_empty() && far.fuse.is_none());
    let base = at("module.base");
    close(base.current_a, 5.0, 1e-12);
    assert_eq!(base.at_limit, ["supply.bench"]);
    assert_eq!(faults.broken[0].dies.clone().unwrap(), ["module.far"]);
}

#[test]
fn verif_contacts_leaks_and_readings_by_hand() {
    let floating = LIMIT.to_owned() + ", pole = \"floating\"";
    let earthed = LIMIT.to_owned() + ", pole = \"earthed\"";
    let insulated = CABLE.to_owned() + "insulation_1km = \"500 Mohm\"\n";
    let faults = told(&[(LIMIT, &floating), (CABLE, &insulated)]);
    // It collapses at 48^2 / (4 * 25) = 23.04 ohm, with 24 V: above its lowest 20 V.
    let poor = &faults.poor[0];
    close(poor.bears_ohm.clone().unwrap(), 3.04, 1e-9);
    assert_eq!(poor.gives_way, "the line collapses");
    let leak = faults.leaks[0].outcome.clone().unwrap();
    // With R across the load Thevenin's source is 48 R/(R + 20) V behind 20 R/(R + 20) ohm: 25 W collapse it at R = 500/3.8.
    close(leak.bears_ohm, 500.0 / 3.8, 1e-6);
    assert_eq!(leak.gives_way, "the line collapses");
    // 1000 ohm across the load: 1.02 V = 48 - 500/V, the high root.
    let loaded_v = (48.0 + (48.0_f64.powi(2) - 4.0 * 1.02 * 500.0).sqrt()) / 2.04;
    close(leak.current_a.unwrap(), loaded_v / 1000.0, 1e-9);
    // 500 Mohm km over 100 m
    close(faults.insulation.line_ohm.clone().unwrap(), 5e9, 1.0);
    let earthed = told(&[(LIMIT, &earthed)]);
    let through_water = earthed.leaks[0].outcome.clone().unwrap();
    assert!(through_water.current_a.unwrap() > leak.current_a.unwrap());
    let why = earthed.insulation.line_ohm.unwrap_err();
    assert!(why.contains("insulation_1km: span.cable"), "{why}");
    let unsaid = told(&[]).leaks[0].outcome.clone().unwrap_err();
    assert!(unsaid.contains("output.pole"), "{unsaid}");
}

#[test]
fn verif_the_least_short_over_the_fuse_by_hand() {
    let met = judged(&[], FUSES);
    let fuse = known(&met, "fuses");
    assert_eq!(fuse.subject, "span.cable");
    close(fuse.value.value, 240.0, 1e-9);
    assert_eq!(fuse.ruling, Ruling::Met);
    let broken = judged(&[("fuse = \"1 A\"", "fuse = \"1.5 A\"")], FUSES);
    assert_eq!(known(&broken, "fuses").ruling, Ruling::Broken);
    // A supply that gives 0.9 A can never melt a fuse of 1 A.
    let starved = judged(&[(LIMIT, "current_limit = \"0.9 A\"")], FUSES);
    close(known(&starved, "fuses").value.value, 90.0, 1e-9);
    let none = judged(&[("\nfuse = \"1 A\"", "")], FUSES);
    assert!(why_unknown(&none, "fuses").contains("has a fuse"));
}

/// A cable with `heat` counts as warm as the heaviest load makes it: in sediment by the sum of its layers, here solved by hand once
/// more as a fixed point.
#[test]
fn verif_a_cable_with_heat_counts_as_warm_as_it_becomes() {
    let heat = "conductor = \"1.0 mm2 class 5\"\nheat = { lies_in = \"sediment\", core = \"1.3 mm\", insulated = \"2.3 mm\", under_jacket = \"5 mm\", outer = \"7 mm\", insulation = \"epr\", jacket = \"pvc\", buried = \"0.5 m\", sediment = \"1 K.m/W\" }\n";
    let line = two(&[(CABLE, heat), ("voltage = \"48 V\"", "voltage = \"70 V\"")])
        .line
        .unwrap();
    let electric = electric(&line).unwrap();
    let warm = electric.warm(plan::SpanIx(0)).unwrap();
    let tau = 2.0 * std::f64::consts::PI;
    let layers = 3.5 / tau * (2.3_f64 / 1.3).ln() / 2.0 + 5.0 / tau * (7.0_f64 / 5.0).ln();
    let outside = (2.0 * 0.5 / 0.007_f64).acosh() / tau;
    let mut conductor_degc = 20.0;
    for _ in 0..50 {
        let loop_ohm_per_m = 0.039 * (1.0 + 0.00393 * (conductor_degc - 20.0));
        let ohm = 100.0 * loop_ohm_per_m + 16.1;
        let volt = 0.5 * (70.0 + (70.0_f64 * 70.0 - 4.0 * 25.0 * ohm).sqrt());
        let amp = 25.0 / volt;
        conductor_degc = 20.0 + amp * amp * loop_ohm_per_m * (layers + outside);
    }
    close(warm.conductor_degc, conductor_degc, 1e-9);
    close(
        warm.wire_ohm,
        3.9 * (1.0 + 0.00393 * (conductor_degc - 20.0)),
        1e-9,
    );
    assert!(conductor_degc > 20.001);
    let fresh = two(&[
        (
            CABLE,
            &heat
                .replace("\"sediment\", core", "\"water\", core")
                .replace(", buried = \"0.5 m\", sediment = \"1 K.m/W\"", ""),
        ),
        ("salinity = 35", "salinity = 0"),
    ]);
    let refused = electric_error(&fresh);
    assert!(refused.contains("salinity of 0"), "{refused}");
}

fn electric_error(reading: &plan::Reading) -> String {
    electric(reading.line.as_ref().unwrap())
        .unwrap_err()
        .to_string()
}

/// The far module hangs behind one that passes power only while it is powered: a short behind it takes that one's voltage, it opens,
/// the short is off the line, and it would start again, for ever.
#[test]
fn verif_a_module_that_opens_takes_a_short_off_the_line() {
    let behind = "[span.more]\nfrom = \"module.far\"\nto = \"module.last\"\nlength = \"10 m\"\nconductor = \"1.0 mm2 class 5\"\ncontacts = { mated_pins_in_loop = 0, resistance = \"1 mohm\", aged = \"1 mohm\" }\n\n[module.last]\nposition = { depth = \"30 m\" }\ninput = { minimum = \"20 V\", maximum = \"72 V\" }\nloads = { working = \"1 W\" }\nboot = { time = \"1 s\", power = \"1 W\" }\npasses = { power = \"never\", data = \"never\" }\nthrough = { resistance = \"0 ohm\" }\n\n[requirement.voltage]";
    let passing = |when: &str| {
        let faults = told(&[
            ("[requirement.voltage]", behind),
            (
                "passes = { power = \"never\", data = \"never\" }\nthrough = { resistance = \"0 ohm\" }\nhousing",
                &format!(
                    "passes = {{ power = \"{when}\", data = \"never\" }}\nthrough = {{ resistance = \"0 ohm\" }}\nhousing"
                ),
            ),
        ]);
        let last = faults.shorts.into_iter().find(|s| s.place == "module.last");
        last.unwrap().outcome.unwrap()
    };
    let always = passing("always");
    assert!(!always.taken_off && always.comes_back.is_empty());
    // 20 ohm and 10 m of 19.5 ohm/km there and back
    close(always.current_a, 48.0 / 20.39, 1e-9);
    let powered = passing("powered");
    assert!(powered.taken_off);
    close(powered.current_a, 0.0, 0.0);
    assert_eq!(powered.comes_back, ["module.far"]);
    assert_eq!(powered.drops, ["module.far", "module.last"]);
}

/// Two outputs of 12 W of which one is lit at a time: each span is asked with its own output lit, not with the larger or the first.
#[test]
fn verif_each_member_of_a_group_takes_its_turn() {
    let output = "housing = { rated_depth = \"200 m\" }\n\n[module.far.output.a]\nkind = \"lamp\"\npower = \"12 W\"\n\n[module.far.output.b]\nkind = \"lamp\"\npower = \"10 W\"\n\n[exclusive.one]\nof = [{ output = \"module.far.output.a\" }, { output = \"module.far.output.b\" }]\nat_most = 1\n";
    let changes = [
        ("housing = { rated_depth = \"200 m\" }\n", output),
        ("working = \"25 W\"", "working = \"5 W\""),
        ("voltage = \"48 V\"", "voltage = \"60 V\""),
    ];
    // 17 W at 60 V: collapse at 60^2 / (4 * 17) ohm, of which 20 are there; its voltage there, 30 V, is above its lowest.
    let faults = told(&changes);
    close(
        faults.poor[0].bears_ohm.clone().unwrap(),
        3600.0 / 68.0 - 20.0,
        1e-9,
    );
}

/// Where the line cannot carry all its loads at once, as an exclusive group forbids, a cable is as warm as the supply's limit makes it.
#[test]
fn verif_a_cable_is_at_most_as_warm_as_the_limit_of_the_supply() {
    let heat = "conductor = \"1.0 mm2 class 5\"\nheat = { lies_in = \"sediment\", core = \"1.3 mm\", insulated = \"2.3 mm\", under_jacket = \"5 mm\", outer = \"7 mm\", insulation = \"epr\", jacket = \"pvc\", buried = \"0.5 m\", sediment = \"1 K.m/W\" }\n";
    let line = two(&[(CABLE, heat), ("working = \"25 W\"", "working = \"50 W\"")])
        .line
        .unwrap();
    let warm = electric(&line).unwrap().warm(plan::SpanIx(0)).unwrap();
    let tau = 2.0 * std::f64::consts::PI;
    let layers = 3.5 / tau * (2.3_f64 / 1.3).ln() / 2.0 + 5.0 / tau * (7.0_f64 / 5.0).ln();
    let outside = (2.0 * 0.5 / 0.007_f64).acosh() / tau;
    let cold_w = 25.0 * 0.039;
    let rise_k = cold_w * (layers + outside) / (1.0 - 0.00393 * cold_w * (layers + outside));
    close(warm.conductor_degc, 20.0 + rise_k, 1e-9);
}

const RING: &str = r#"
[module.mid]
position = { depth = "20 m" }
input = { minimum = "20 V", maximum = "72 V" }
loads = { working = "1 W" }
boot = { time = "1 s", power = "1 W" }
passes = { power = "always", data = "always" }
through = { resistance = "0 ohm" }
housing = { rated_depth = "200 m" }

[module.end]
position = { depth = "20 m" }
input = { minimum = "20 V", maximum = "72 V" }
loads = { working = "1 W" }
boot = { time = "1 s", power = "1 W" }
passes = { power = "always", data = "always" }
through = { resistance = "0 ohm" }
housing = { rated_depth = "200 m" }

[span.up]
from = "module.base"
to = "module.mid"
length = "10 m"
conductor = "1.0 mm2 class 5"
contacts = { mated_pins_in_loop = 0, resistance = "1 mohm", aged = "1 mohm" }
fuse = "1 A"

[span.across]
from = "module.mid"
to = "module.end"
length = "10 m"
conductor = "1.0 mm2 class 5"
contacts = { mated_pins_in_loop = 0, resistance = "1 mohm", aged = "1 mohm" }

[span.back]
from = "module.end"
to = "module.base"
length = "10 m"
conductor = "1.0 mm2 class 5"
contacts = { mated_pins_in_loop = 0, resistance = "1 mohm", aged = "1 mohm" }
"#;

/// Three spans of 0.39 ohm in a ring, 48 V without resistance, 500 A.
#[test]
fn verif_a_fuse_in_a_ring_is_judged_only_where_the_ring_is_bounded() {
    let ring = |text: &str| {
        let text = TWO.replace("5 A", "500 A") + text + FUSES;
        let reading = read(&text);
        assert!(!reading.has_errors(), "{:?}", reading.mistakes);
        check(&reading, &Shelf::default())
    };
    let open = ring(RING);
    let why = why_unknown(&open, "fuses");
    assert!(why.contains("supply.bench is reached from there"), "{why}");
    // With a fuse in the way back too both see the short at the far module of theirs through two spans at least: 48 V / 0.78 ohm.
    let back = RING.replace("[span.back]\n", "[span.back]\nfuse = \"2 A\"\n");
    let bounded = ring(&back);
    let verdicts = &requirement(&bounded, "fuses").verdicts;
    assert_eq!(verdicts.len(), 2);
    let value = |subject: &str| {
        let known = verdicts.iter().find_map(|v| match v {
            Verdict::Known(known) if known.subject == subject => Some(known.value.value),
            _ => None,
        });
        known.unwrap()
    };
    close(value("span.up"), 100.0 * 48.0 / 0.78, 1e-6);
    close(value("span.back"), 50.0 * 48.0 / 0.78, 1e-6);
    // The span between two modules that are equally near joins two outlets: never left out.
    let across = RING.replace("[span.across]\n", "[span.across]\nfuse = \"4 A\"\n");
    let verdicts = ring(&across).requirements;
    let of: Vec<String> = verdicts
        .iter()
        .find(|r| r.id == "fuses")
        .unwrap()
        .verdicts
        .iter()
        .map(subject)
        .collect();
    assert_eq!(of.len(), 2, "{of:?}");
    assert!(
        of.contains(&"span.across".to_owned()) && of.contains(&"span.up".to_owned()),
        "{of:?}"
    );
}

fn subject(verdict: &Verdict) -> String {
    verdict.subject().to_owned()
}

#[test]
fn verif_a_fuse_that_no_supply_feeds_is_told() {
    let cut = RING
        .replace("[span.back]", "[span.back]\nfuse = \"1 A\"")
        .replace(
            "passes = { power = \"always\"",
            "passes = { power = \"never\"",
        );
    let none = cut.replace(
        "from = \"module.base\"\nto = \"module.mid\"",
        "from = \"module.far\"\nto = \"module.mid\"",
    );
    let none = none.replace(
        "to = \"module.base\"\nlength",
        "to = \"module.far\"\nlength",
    );
    let reading = read(&(TWO.to_owned() + &none + FUSES));
    assert!(!reading.has_errors(), "{:?}", reading.mistakes);
    let check = check(&reading, &Shelf::default());
    let verdicts = &requirement(&check, "fuses").verdicts;
    assert_eq!(verdicts.len(), 2, "{verdicts:?}");
    assert!(why_unknown(&check, "fuses").contains("no supply feeds this span"));
}

const SECOND: &str = r#"
[supply.other]
at = "module.far"
kind = "bench"
output = { voltage = "48 V", resistance = "0.5 ohm", current_limit = "1 A" }
"#;

/// 60 W at 48 V behind half an ohm are 1.27 A: two supplies give them together, each within its 1 A, and neither alone.
#[test]
fn verif_what_is_left_over_may_ask_too_much_of_a_supply() {
    let plan = |load: &str| {
        let text = TWO
            .replace("16.1 ohm", "0 ohm")
            .replace(
                "resistance = \"0 ohm\", current_limit = \"5 A\"",
                "resistance = \"0.5 ohm\", current_limit = \"1 A\"",
            )
            .replace(
                "passes = { power = \"never\"",
                "passes = { power = \"always\"",
            )
            .replace("25 W", load);
        let reading = read(&(text + SECOND));
        assert!(!reading.has_errors(), "{:?}", reading.mistakes);
        faults(&reading.line.unwrap(), Contacts::Aged, 1000.0).unwrap()
    };
    let why = plan("60 W").broken[0].dies.clone().unwrap_err();
    assert!(
        why.contains("supply.other would have to give 1.27 A of its 1 A"),
        "{why}"
    );
    assert_eq!(plan("40 W").broken[0].dies, Ok(vec![]));
}

const NEAR: &str = r#"
[module.near]
position = { depth = "20 m" }
input = { minimum = "20 V", maximum = "72 V" }
loads = { working = "0.5 W" }
boot = { time = "1 s", power = "0.5 W" }
passes = { power = "never", data = "never" }
through = { resistance = "0 ohm" }
housing = { rated_depth = "200 m" }

[module.near.output.o1]
kind = "lamp"
power = "10 W"

[module.near.output.o2]
kind = "lamp"
power = "10 W"

[module.far.output.o1]
kind = "lamp"
power = "8 W"

[module.far.output.o2]
kind = "lamp"
power = "8 W"

[span.short]
from = "module.base"
to = "module.near"
length = "1 m"
conductor = "1.0 mm2 class 5"
contacts = { mated_pins_in_loop = 1, resistance = "0.01 ohm", aged = "0.01 ohm" }

[exclusive.lamps]
of = [{ output = "module.near.output.o1" }, { output = "module.near.output.o2" }, { output = "module.far.output.o1" }, { output = "module.far.output.o2" }]
at_most = 2
"#;

/// Two of four lamps: the smaller two at the far end ask most of its contact. 0.5 W and 16 W collapse 48 V at 48^2 / 66 ohm, less
/// 20 ohm are borne; with 8.5 W they would be 47.8 ohm.
#[test]
fn verif_a_contact_bears_what_it_bears_in_the_worst_allowed_set() {
    let text = TWO
        .replace("\"25 W\"", "\"0.5 W\"")
        .replace("power = \"5 W\"", "power = \"0.5 W\"");
    let plan = |near: &str| {
        let reading = read(&(text.clone() + near));
        assert!(!reading.has_errors(), "{:?}", reading.mistakes);
        faults(&reading.line.unwrap(), Contacts::Aged, 1000.0).unwrap()
    };
    let bears = |faults: &Faults| {
        let cable = faults.poor.iter().find(|p| p.span == "span.cable");
        cable.unwrap().bears_ohm.clone()
    };
    close(bears(&plan(NEAR)).unwrap(), 48.0 * 48.0 / 66.0 - 20.0, 1e-6);
}

/// Five of ten lamps at ten modules are 252 sets of which none outweighs another.
#[test]
fn verif_more_sets_than_are_tried_leave_contacts_and_leaks_unknown() {
    let module = NEAR.split("[module.near.output.o2]").next().unwrap();
    let span = NEAR.split("[span.short]").nth(1).unwrap();
    let span = "[span.short]".to_owned() + span.split("[exclusive").next().unwrap();
    let mut text = TWO.to_owned();
    let mut members = Vec::new();
    for i in 0..10 {
        let named = module.to_owned() + &span;
        text += &named
            .replace("near", &format!("near{i}"))
            .replace("span.short", &format!("span.short{i}"));
        members.push(format!("{{ output = \"module.near{i}.output.o1\" }}"));
    }
    text += &format!(
        "[exclusive.lamps]\nof = [{}]\nat_most = 5\n",
        members.join(", ")
    );
    let reading = read(&text);
    assert!(!reading.has_errors(), "{:?}", reading.mistakes);
    let faults = faults(&reading.line.unwrap(), Contacts::Aged, 1000.0).unwrap();
    for poor in &faults.poor {
        let why = poor.bears_ohm.clone().unwrap_err();
        assert!(why.contains("252 sets of states"), "{why}");
    }
    assert!(faults.leaks.iter().all(|leak| leak.outcome.is_err()));
}

/// 25 W at 25 V draw the 1 A of a fuse: then 48 V - 25 V lie on 23 ohm, 3 more than the line has, a little before it collapses at
/// 23.04 ohm, and the fuse is what gives way. Without it the collapse is.
#[test]
fn verif_a_fuse_may_be_the_first_that_a_poor_contact_breaks() {
    let fused = told(&[(CABLE, "conductor = \"1.0 mm2 class 5\"\nfuse = \"1 A\"\n")]);
    close(fused.poor[0].bears_ohm.clone().unwrap(), 3.0, 1e-6);
    assert_eq!(
        fused.poor[0].gives_way,
        "span.cable at the rating of its fuse"
    );
    let bare = told(&[]);
    close(bare.poor[0].bears_ohm.clone().unwrap(), 3.04, 1e-6);
}
