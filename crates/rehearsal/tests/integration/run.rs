//! The whole rehearsal on a small line.

use plan::{NoticeKind, SoundIx};
use rehearsal::{Collapse, What};
use timeline::Ns;

use crate::support::{lamp_times, line_and_cues, run};

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

/// The same on a line whose cable is a bus, with a cut, a hung module and an outage.
#[test]
fn verif_the_same_records_on_one_thread_and_on_four_with_a_bus_and_faults() {
    let bus = [
        (
            "link = \"10BASE-T1L\"",
            "bus = \"bus.side\"\n[bus.side]\nlink = \"CAN 2.0\"\nlink_rate = \"125 kbit/s\"\nframe = { header = \"0 B\", ids = \"11 bit\" }",
        ),
        ("size = \"200 B\"", "size = \"7 B\""),
    ];
    let hang = [(
        "[fault.cut]",
        "[fault.hang]\nkind = \"hang\"\nof = \"module.ear\"\nat = \"52 s\"\nuntil = \"60 s\"\n[fault.cut]",
    )];
    let (line, cues) = line_and_cues(&bus, &hang);
    let pool = |n| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(n).build();
        pool.unwrap()
    };
    let (outcome, one) = pool(1).install(|| run(&line, &cues));
    let (again, four) = pool(4).install(|| run(&line, &cues));
    assert_eq!(one, four);
    assert_eq!(format!("{outcome:?}"), format!("{again:?}"));
    let crossed = |r: &rehearsal::Record| matches!(r.what, What::Crossed { .. });
    assert!(one.iter().any(crossed), "nothing crossed the bus");
    assert!(outcome.restarts.iter().sum::<u32>() > 0);
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

/// A line that cannot carry its load says so, and does not go on for ever.
#[test]
fn verif_a_load_beyond_the_line_collapses_it() {
    let (line, cues) = line_and_cues(&[("listening = \"2 W\"", "listening = \"400 W\"")], &[]);
    let mut collapsed = 0;
    let result = rehearsal::run(
        &line,
        &cues,
        &mut |r| {
            if let What::Collapsed { why, modules } = &r.what {
                let Collapse::Powers { share } = *why else {
                    panic!("{why:?}");
                };
                assert!(share > 0.0 && share < 1.0);
                assert_eq!(*modules, [line.module_by_id("ear").unwrap()]);
                collapsed += 1;
            }
        },
        &mut |_| true,
    );
    assert!(collapsed > 0);
    // It boots with 3 W, works, asks for 400 W and collapses, again and again for two minutes, with pauses that grow from 1 s to 1 min: some ten times.
    let restarts = result.unwrap().restarts[line.module_by_id("ear").unwrap().0];
    assert!((6..=15).contains(&restarts), "{restarts}");
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

/// Also in the middle of a second in which more happens than anybody waits for.
#[test]
fn verif_a_rehearsal_can_be_cancelled_within_a_second_of_it() {
    let change = ("when_heard = \"detector.call.confirmed\"", "each = \"1 s\"");
    let (mut line, cues) = line_and_cues(&[change], &[]);
    match &mut line.behaviours[1].when {
        plan::When::Each { period_s } => period_s.si = 1e-6,
        other => panic!("{other:?}"),
    }
    let result = rehearsal::run(&line, &cues, &mut |_| {}, &mut |at| at == Ns::ZERO);
    match result {
        Err(rehearsal::RehearsalError::Cancelled { at }) => assert!(at < Ns(50_000_000), "{at}"),
        other => panic!("{other:?}"),
    }
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

/// An interval that is no whole nanosecond is refused, not repeated without end.
#[test]
fn verif_a_behaviour_without_an_interval_is_refused() {
    let each = (
        "when_heard = \"detector.call.confirmed\"",
        "each = \"1 ms\"",
    );
    let (mut line, cues) = line_and_cues(&[each], &[]);
    // No plan can say this.
    let mut intervals = line
        .behaviours
        .iter_mut()
        .filter_map(|b| match &mut b.when {
            plan::When::Each { period_s } => Some(period_s),
            _ => None,
        });
    intervals.next().unwrap().si = 1e-10;
    assert!(matches!(
        rehearsal::run(&line, &cues, &mut |_| {}, &mut |_| true),
        Err(rehearsal::RehearsalError::NoInterval { .. })
    ));
}

/// That a lamp stayed dark shows nothing while the detector could not hear, nor a voltage that nobody watched to the end.
#[test]
fn verif_what_could_not_be_seen_is_not_held() {
    let expect = |at: &str, that: &str| {
        let sound = "[sound.second]\nat = \"50 s\"";
        let moved = format!("[expect.it]\n{that}\n\n[sound.second]\nat = \"{at}\"");
        let (line, cues) = line_and_cues(&[], &[(sound, &moved)]);
        let (outcome, _) = run(&line, &cues);
        let it = outcome.expectations.iter().find(|e| e.id == "it").unwrap();
        (it.passed, it.said.clone())
    };
    // The background is known after 5 s; a sound at 1 s cannot be heard.
    let dark = "that = \"switched\"\nof = \"module.base.output.lamp\"\nto = \"on\"\nat_most = 0\nafter = \"sound.second\"\nwithin = \"2 s\"";
    let (passed, said) = expect("1 s", dark);
    assert!(!passed && said.contains("this shows nothing"), "{said}");
    let voltage = "that = \"voltage\"\nof = \"module.base\"\nat_least = \"20 V\"\nafter = \"sound.second\"\nwithin = \"60 s\"";
    let (passed, said) = expect("110 s", voltage);
    assert!(!passed && said.contains("the rehearsal ends"), "{said}");
    assert!(expect("50 s", voltage).0);
}

/// A recording that cannot be played is told of its sound, not of a hydrophone that has no part in it.
#[test]
fn verif_a_mistake_of_a_sound_is_told_of_the_sound() {
    let (line, mut cues) = line_and_cues(&[], &[]);
    cues.sounds[1].what = plan::SoundKind::Recording {
        path: "nowhere/nosuch.wav".into(),
        channel: None,
    };
    let error = rehearsal::run(&line, &cues, &mut |_| {}, &mut |_| true).unwrap_err();
    assert!(matches!(error, rehearsal::RehearsalError::Sound(_)));
    let said = error.to_string();
    assert!(said.starts_with("sound.second: "), "{said}");
    assert!(!said.contains("module."), "{said}");
}
