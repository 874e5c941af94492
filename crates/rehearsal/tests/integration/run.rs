//! The whole rehearsal on a small line.

use std::path::Path;

use plan::{CueSheet, Line, NoticeKind, SoundIx};
use rehearsal::{Loss, Outcome, Record, What};
use timeline::Ns;

const FOLDER: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/data");

fn line_and_cues(change_plan: &[(&str, &str)], change_cues: &[(&str, &str)]) -> (Line, CueSheet) {
    let changed = |name: &str, changes: &[(&str, &str)]| {
        let mut text = std::fs::read_to_string(Path::new(FOLDER).join(name)).unwrap();
        for (from, to) in changes {
            assert!(text.contains(from), "{from}");
            text = text.replace(from, to);
        }
        text.into_bytes()
    };
    let reading = plan::read(Path::new("small.toml"), &|_| {
        Ok(changed("small.toml", change_plan))
    });
    assert!(!reading.has_errors(), "{:?}", reading.mistakes);
    let cues = plan::read_cues(Path::new("cues.toml"), &reading, &|_| {
        Ok(changed("cues.toml", change_cues))
    });
    assert!(cues.cues.is_some(), "{:?}", cues.mistakes);
    (reading.line.unwrap(), cues.cues.unwrap())
}

fn run(line: &Line, cues: &CueSheet) -> (Outcome, Vec<Record>) {
    let mut records = Vec::new();
    let outcome =
        rehearsal::run(line, cues, &mut |r| records.push(r.clone()), &mut |_| true).unwrap();
    (outcome, records)
}

fn lamp_times(records: &[Record], wanted: bool) -> Vec<Ns> {
    records
        .iter()
        .filter(|r| matches!(r.what, What::Switched { on, .. } if on == wanted))
        .map(|r| r.at)
        .collect()
}

/// Two identical runs, and a run on four threads instead of one, give the same records.
#[test]
fn verif_the_same_records_on_one_thread_and_on_four() {
    let (line, cues) = line_and_cues(&[], &[]);
    let pool = |n| {
        rayon::ThreadPoolBuilder::new()
            .num_threads(n)
            .build()
            .unwrap()
    };
    let one = pool(1).install(|| run(&line, &cues).1);
    let four = pool(4).install(|| run(&line, &cues).1);
    assert_eq!(one, four);
    assert!(one.len() > 20);
}

/// Another seed gives other noise, and so other levels.
#[test]
fn verif_another_seed_gives_other_levels() {
    let (line, cues) = line_and_cues(&[], &[]);
    let (_, other) = line_and_cues(&[], &[("seed = 7", "seed = 8")]);
    let levels = |cues| {
        run(&line, cues)
            .1
            .iter()
            .filter_map(|r| match &r.what {
                What::Event { event, .. } => Some(event.peak_level_db),
                _ => None,
            })
            .collect::<Vec<f64>>()
    };
    let (a, b) = (levels(&cues), levels(&other));
    assert!(!a.is_empty());
    assert_ne!(a, b);
}

/// Copies due = delivered + lost + under way, and each loss is told.
#[test]
fn verif_messages_are_conserved() {
    let late = [("at = \"50 s\"", "at = \"94 s\"")];
    let (line, cues) = line_and_cues(&[], &late);
    let (outcome, records) = run(&line, &cues);
    let c = outcome.copies;
    assert!(c.due > 0);
    assert_eq!(c.due, c.delivered + c.lost + c.under_way);
    let told = |f: fn(&What) -> bool| records.iter().filter(|r| f(&r.what)).count() as u64;
    assert_eq!(told(|w| matches!(w, What::Delivered { .. })), c.delivered);
    assert_eq!(
        told(|w| matches!(
            w,
            What::Lost {
                why: Loss::Network(_),
                ..
            }
        )),
        c.lost
    );
}

/// An output switched for a time returns to what it was before: one that was off and is switched off stays off, one that
/// rests on is on again after the 20 s.
#[test]
fn verif_an_output_switched_for_a_time_returns_to_what_it_rests_at() {
    let off = ("to = \"on\"", "to = \"off\"");
    let (line, cues) = line_and_cues(&[off], &[]);
    let (_, records) = run(&line, &cues);
    assert!(lamp_times(&records, true).is_empty() && lamp_times(&records, false).is_empty());
    assert!(
        records
            .iter()
            .any(|r| matches!(r.what, What::Started { .. }))
    );
    let rests_on = ("power = \"10 W\"", "power = \"10 W\"\nstarts = \"on\"");
    let (line, cues) = line_and_cues(&[off, rests_on], &[]);
    let (_, records) = run(&line, &cues);
    let (went_off, came_on) = (lamp_times(&records, false), lamp_times(&records, true));
    assert!(!went_off.is_empty() && !came_on.is_empty());
    for at in came_on {
        assert!(went_off.iter().any(|off| at.0 - off.0 == 20_000_000_000));
    }
    // What rests on and is switched on for a time stays on.
    let (line, cues) = line_and_cues(&[rests_on], &[]);
    let (_, records) = run(&line, &cues);
    assert!(lamp_times(&records, false).is_empty());
}

/// From `confirmed` to the lamp nothing happens but one frame: 38 bytes of Ethernet (IEEE 802.3), 48 of IPv6 and UDP (RFC 8200,
/// RFC 768) and 200 of payload at 10 Mb/s, 100 m at 5 ns/m, and 100 us of processing.
#[test]
fn val_the_lamp_follows_the_notice_by_one_frame() {
    let (line, cues) = line_and_cues(&[], &[]);
    let (_, records) = run(&line, &cues);
    let confirmed = records
        .iter()
        .find(|r| {
            matches!(
                r.what,
                What::Noticed {
                    notice: NoticeKind::Confirmed,
                    ..
                }
            )
        })
        .unwrap();
    let lamp = lamp_times(&records, true)[0];
    let frame_ns = (38 + 48 + 200) * 8 * 100;
    assert_eq!(lamp.0 - confirmed.at.0, frame_ns + 500 + 100_000);
    assert_eq!(lamp_times(&records, false)[0].0 - lamp.0, 20_000_000_000);
    let root = confirmed.root.unwrap();
    assert_eq!(root.sound, SoundIx(0));
    // 1500 m at about 1490 m/s (sound speed at 10 degC, S 35: 1490 m/s, methods of seawater).
    let travel_s = root.heard_at.as_s_f64() - 20.0;
    assert!((travel_s - 1500.0 / 1490.0).abs() < 0.01, "{travel_s}");
}

/// The voltage is that of the closed form V = (Vs + sqrt(Vs^2 - 4 P R)) / 2, and the energy its integral.
#[test]
fn val_voltage_and_energy_follow_the_closed_form() {
    let quiet = [
        ("at = \"20 s\"", "at = \"119 s\""),
        ("at = \"50 s\"", "at = \"119 s\""),
        ("at = \"90 s\"", "at = \"118 s\""),
        ("until = \"100 s\"", "until = \"119 s\""),
    ];
    let (line, cues) = line_and_cues(&[], &quiet);
    let (outcome, records) = run(&line, &cues);
    // 18 AWG: 20.9478 ohm/km at 20 degC (ASTM B258 formula), 10 degC factor 0.96070, both conductors of 100 m.
    let ohm = 2.0 * 0.1 * 20.9478 * 0.96070;
    let volts = f64::midpoint(48.0, (48.0f64 * 48.0 - 4.0 * 2.0 * ohm).sqrt());
    let ear = line.module_by_id("ear").unwrap();
    let first = records.iter().find_map(|r| match &r.what {
        What::Settled { voltages_v } => Some(voltages_v[ear.0]),
        _ => None,
    });
    assert!((first.unwrap() - volts).abs() < 1e-3, "{first:?} {volts}");
    let until_cut_j = 2.0 * 118.0;
    assert!(outcome.module_energy_j[ear.0] >= until_cut_j - 1e-6);
    let gave = outcome.supply_energy_j[0];
    let taken: f64 = outcome.module_energy_j.iter().sum();
    let loss = gave - taken;
    let expected_loss = (2.0 / volts).powi(2) * ohm * 118.0;
    assert!(
        (loss - expected_loss).abs() < 0.02 * expected_loss,
        "{loss} {expected_loss}"
    );
}

/// While the uplink is out no attempt succeeds; the message goes up once it is back.
#[test]
fn verif_a_message_waits_for_the_uplink() {
    let (line, cues) = line_and_cues(&[], &[]);
    let (outcome, records) = run(&line, &cues);
    let sent: Vec<f64> = records
        .iter()
        .filter(|r| matches!(r.what, What::Sent { .. }))
        .map(|r| r.at.as_s_f64())
        .collect();
    assert_eq!(sent.len(), 2);
    assert!(sent[0] < 40.0 && sent[1] > 80.0, "{sent:?}");
    // 200 B in messages of 120 B are two billed messages.
    assert_eq!(outcome.uplinks[0].billed, 4);
}

/// A cut takes the ear's power; when it is mended the ear boots, settles, and hears again.
#[test]
fn verif_a_cut_takes_the_ear_and_mending_brings_it_back() {
    let (line, cues) = line_and_cues(&[], &[("at = \"50 s\"", "at = \"113 s\"")]);
    let (outcome, records) = run(&line, &cues);
    let ear = line.module_by_id("ear").unwrap();
    let at = |f: fn(&What) -> Option<plan::ModuleIx>| {
        records
            .iter()
            .find(|r| f(&r.what) == Some(ear))
            .map(|r| r.at.as_s_f64())
    };
    let down = at(|w| match w {
        What::Down { module, .. } => Some(*module),
        _ => None,
    })
    .unwrap();
    let boots = at(|w| match w {
        What::Boots { module } => Some(*module),
        _ => None,
    })
    .unwrap();
    let up = at(|w| match w {
        What::Up { module } => Some(*module),
        _ => None,
    })
    .unwrap();
    assert!((down - 90.001).abs() < 1e-9, "{down}");
    assert!((boots - 100.001).abs() < 1e-9, "{boots}");
    assert!((up - 102.001).abs() < 1e-9, "{up}");
    assert_eq!(outcome.restarts[ear.0], 1);
    // Its background is known again five seconds (half of ten) after it listens, at 103 s.
    let heard: Vec<f64> = records
        .iter()
        .filter(|r| {
            matches!(
                r.what,
                What::Noticed {
                    notice: NoticeKind::Confirmed,
                    ..
                }
            )
        })
        .map(|r| r.at.as_s_f64())
        .collect();
    assert_eq!(heard.len(), 2, "{heard:?}");
    assert!(heard[1] > 114.0);
}

/// A hung ear keeps its power but says nothing.
#[test]
fn verif_a_hung_module_keeps_its_power_and_says_nothing() {
    let hang = [
        ("kind = \"cut\"", "kind = \"hang\""),
        ("of = \"span.cable\"", "of = \"module.ear\""),
        ("at = \"90 s\"", "at = \"10 s\""),
        ("until = \"100 s\"", "until = \"40 s\""),
    ];
    let (line, cues) = line_and_cues(&[], &hang);
    let (outcome, records) = run(&line, &cues);
    let confirmed: Vec<f64> = records
        .iter()
        .filter(|r| {
            matches!(
                r.what,
                What::Noticed {
                    notice: NoticeKind::Confirmed,
                    ..
                }
            )
        })
        .map(|r| r.at.as_s_f64())
        .collect();
    assert_eq!(confirmed.len(), 1, "{confirmed:?}");
    assert!(confirmed[0] > 51.0);
    let ear = line.module_by_id("ear").unwrap();
    assert!(outcome.voltages_v[ear.0].0 > 40.0);
}

/// A line that cannot carry its load says so, and does not go on for ever.
#[test]
fn verif_a_load_beyond_the_line_collapses_it() {
    let (line, cues) = line_and_cues(&[("listening = \"2 W\"", "listening = \"400 W\"")], &[]);
    let mut collapsed = 0;
    let result = rehearsal::run(
        &line,
        &cues,
        &mut |r| {
            if let What::Collapsed { share: Some(share) } = r.what {
                assert!(share > 0.0 && share < 1.0);
                collapsed += 1;
            }
        },
        &mut |_| true,
    );
    assert!(collapsed > 0);
    // It boots with 3 W, works, asks for 400 W and collapses, again and again for two minutes: some forty times.
    assert!(result.unwrap().restarts[line.module_by_id("ear").unwrap().0] > 20);
}

/// A rehearsal stops when it is asked to.
#[test]
fn verif_a_rehearsal_can_be_cancelled() {
    let (line, cues) = line_and_cues(&[], &[]);
    let result = rehearsal::run(&line, &cues, &mut |_| {}, &mut |at| at < Ns(30_000_000_000));
    assert!(matches!(
        result,
        Err(rehearsal::RehearsalError::Cancelled { .. })
    ));
}

const HEARD_CUES: &str = "\n[expect.quiet]\nthat = \"notice\"\nof = \"detector.call.confirmed\"\nafter = \"sound.second\"\nwithin = \"5 s\"\nat_most = 0\n";

fn quiet(change: &[(&str, &str)]) -> rehearsal::Expectation {
    let fault = format!("{HEARD_CUES}\n[fault.outage]");
    let mut changes = vec![("[fault.outage]", fault.as_str())];
    changes.extend_from_slice(change);
    let (line, cues) = line_and_cues(&[], &changes);
    run(&line, &cues).0.expectations.remove(0)
}

/// That nothing was heard shows something only while the detector could hear, and the rehearsal lasted.
#[test]
fn verif_silence_of_a_deaf_detector_shows_nothing() {
    let loud = quiet(&[]);
    assert!(
        !loud.passed && loud.said.contains("seen at"),
        "{}",
        loud.said
    );
    // Its background is known after five seconds: a sound before that finds it deaf.
    let early = quiet(&[("at = \"50 s\"", "at = \"1 s\"")]);
    assert!(
        !early.passed && early.said.contains("could not hear"),
        "{}",
        early.said
    );
    let late = quiet(&[("at = \"50 s\"", "at = \"119.5 s\"")]);
    assert!(
        !late.passed && late.said.contains("ends before"),
        "{}",
        late.said
    );
}

/// A module that is dead already does not go down once more when its cable is cut.
#[test]
fn verif_a_dead_module_does_not_go_down_twice() {
    let dead = "[fault.cut]\nkind = \"dead\"\nof = \"module.ear\"\nat = \"30 s\"\n\n[fault.later]";
    let (line, cues) = line_and_cues(&[], &[("[fault.cut]", dead)]);
    let (_, records) = run(&line, &cues);
    let down = records
        .iter()
        .filter(|r| matches!(r.what, What::Down { .. }))
        .count();
    assert_eq!(down, 1);
}

/// What a restart needs is asked for before the rehearsal begins.
#[test]
fn verif_a_restart_without_a_settling_time_is_refused_at_once() {
    let (line, cues) = line_and_cues(&[("settles_in = \"1 s\"\n", "")], &[]);
    let mut records = 0;
    let result = rehearsal::run(&line, &cues, &mut |_| records += 1, &mut |_| true);
    assert!(matches!(
        result,
        Err(rehearsal::RehearsalError::NotSaid { .. })
    ));
    assert_eq!(records, 0);
}

fn faults(text: &str) -> (Outcome, Vec<Record>) {
    let later = format!("{text}\n[fault.outage]");
    let (line, cues) = line_and_cues(&[], &[("[fault.outage]", &later)]);
    run(&line, &cues)
}

/// Where two cuts of one cable overlap, it is whole again once the later one is over.
#[test]
fn verif_a_cable_cut_twice_is_whole_after_the_later_end() {
    let (_, records) = faults(
        "[fault.other]\nkind = \"cut\"\nof = \"span.cable\"\nat = \"95 s\"\nuntil = \"110 s\"\n",
    );
    let boots: Vec<f64> = records
        .iter()
        .filter(|r| matches!(r.what, What::Boots { .. }))
        .map(|r| r.at.as_s_f64())
        .collect();
    assert_eq!(boots.len(), 1, "{boots:?}");
    assert!((boots[0] - 110.0).abs() < 0.01, "{boots:?}");
}

/// A module that hangs leaves its lamp as it is, past the time at which its program would have switched it off; once
/// the fault is over it starts anew, with the lamp off and in the state in which it starts.
#[test]
fn verif_a_hung_module_keeps_its_lamp_and_starts_anew_afterwards() {
    let hang =
        "[fault.hang]\nkind = \"hang\"\nof = \"module.base\"\nat = \"23 s\"\nuntil = \"46 s\"\n";
    let (outcome, records) = faults(hang);
    let on = lamp_times(&records, true)[0];
    let off = lamp_times(&records, false)[0];
    assert!(on < Ns(23_000_000_000), "{on}");
    assert_eq!(off, Ns(46_000_000_000));
    assert_eq!(outcome.restarts[0], 1);
    let up = records
        .iter()
        .find(|r| matches!(r.what, What::Up { module } if module.0 == 0))
        .unwrap();
    assert!((up.at.as_s_f64() - 49.0).abs() < 0.01, "{}", up.at);
    // It hung while it was sending; both hangs are over before the second sound.
    let shorter = faults(&hang.replace("46 s", "43 s")).0;
    let extra_j = outcome.module_energy_j[0] - shorter.module_energy_j[0];
    // Three seconds more of sending (5 W) and lamp (10 W) instead of idling (1 W).
    assert!((extra_j - 3.0 * 14.0).abs() < 0.1, "{extra_j}");
}

/// A module that fails at the first instant is told with the voltage that it had.
#[test]
fn verif_a_fault_at_the_first_instant_finds_the_line_under_voltage() {
    let (_, records) =
        faults("[fault.first]\nkind = \"dead\"\nof = \"module.base\"\nat = \"0 s\"\n");
    let voltage_v = records
        .iter()
        .find_map(|r| match r.what {
            What::Down { voltage_v, .. } => Some(voltage_v),
            _ => None,
        })
        .unwrap();
    // An ideal supply of 48 V stands at this module.
    assert!((voltage_v - 48.0).abs() < 1e-9, "{voltage_v}");
}

/// A module that regains its voltage while it hangs does not come up before the fault is over.
#[test]
fn verif_a_hung_module_does_not_boot_with_the_voltage() {
    let (_, records) = faults(
        "[fault.hang]\nkind = \"hang\"\nof = \"module.ear\"\nat = \"92 s\"\nuntil = \"112 s\"\n",
    );
    let ups: Vec<f64> = records
        .iter()
        .filter(|r| matches!(r.what, What::Up { .. }))
        .map(|r| r.at.as_s_f64())
        .collect();
    assert_eq!(ups.len(), 1, "{ups:?}");
    assert!((ups[0] - 114.0).abs() < 0.01, "{ups:?}");
}

/// An interval that is no whole nanosecond is refused, not repeated without end.
#[test]
fn verif_a_behaviour_without_an_interval_is_refused() {
    let (line, cues) = line_and_cues(
        &[(
            "when_heard = \"detector.call.confirmed\"",
            "each = \"0.0000000001 s\"",
        )],
        &[],
    );
    assert!(matches!(
        rehearsal::run(&line, &cues, &mut |_| {}, &mut |_| true),
        Err(rehearsal::RehearsalError::NoInterval { .. })
    ));
}
