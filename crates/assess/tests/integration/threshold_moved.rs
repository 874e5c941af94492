//! A threshold that is moved: misses, false alarms, messages, their delay and cost, and charge, by hand.

use assess::tuning::{TunedCurve, TunedPoint, Tuning, steady_digest};
use assess::{
    Levels, Memo, Shelf, ThresholdAsk, ThresholdMoved, Tier, Verdict, check, threshold_moved,
};
use plan::{DetectorIx, Line};

use crate::support::{changed, close, known, read};
use crate::tuned::{DAY_S, FIGURES, shelf_of, tuning_of};

const CELLS: &str = "kind = \"primary-cells\"\nbattery = { chemistry = \"alkaline\", capacity = \"100 Ah\", voltage = \"48 V\", PLAIN }";
const LIFE: &str = "\n[requirement.cells]\nthat = \"cell-life\"\n";

/// The small plan on cells, with what a requirement asks of labels; its base sends up whatever it is told.
fn text(expects: &str, threshold_db: f64, at_most: &str) -> String {
    let cells = CELLS.replace("PLAIN", crate::batteries::PLAIN_CELLS);
    let at_most = match at_most {
        "" => String::new(),
        rate => format!("at_most = \"{rate}\"\n"),
    };
    let plan = changed(&[
        ("kind = \"bench\"", &cells),
        ("[detector.call]\n", &format!("[detector.call]\n{expects}")),
        ("at_most = \"12 per d\"\n", &at_most),
        (
            "on_above = \"8 dB\"",
            &format!("on_above = \"{threshold_db} dB\""),
        ),
        (
            "off_below = \"5 dB\"",
            &format!("off_below = \"{} dB\"", threshold_db - 3.0),
        ),
    ]);
    format!("{plan}\n{FIGURES}{LIFE}")
}

fn line(text: &str) -> Line {
    let reading = read(text);
    assert!(!reading.has_errors(), "{:?}", reading.mistakes);
    reading.line.unwrap()
}

/// Held against 100 labels in 10 d: hits and false alarms at 6, 8, 10 and 12 dB.
const CURVE: [(f64, u64, u64); 4] = [(6.0, 98, 200), (8.0, 90, 50), (10.0, 80, 20), (12.0, 60, 0)];

/// The record that `tune` leaves at 8 dB.
fn record() -> Tuning {
    let line = line(&text("", 8.0, ""));
    let point = |&(threshold_db, hits, false_alarms): &(f64, u64, u64)| TunedPoint {
        threshold_db,
        hits,
        false_alarms,
        // Ten days alike, as the record has them.
        by_day: Some(vec![false_alarms / 10; 10]),
    };
    Tuning {
        curve: Some(TunedCurve {
            steady_digest: steady_digest(&line, DetectorIx(0), None).unwrap(),
            points: CURVE.iter().map(point).collect(),
        }),
        ..tuning_of(&line, 90, 100, 50, 10.0 * DAY_S)
    }
}

fn moved_on(
    plan: (&str, f64, &str),
    to_db: f64,
    real: Option<f64>,
    shelf: &Shelf,
) -> ThresholdMoved {
    let (expects, from_db, at_most) = plan;
    threshold_moved(&ThresholdAsk {
        before: &line(&text(expects, from_db, at_most)),
        after: &line(&text(expects, to_db, at_most)),
        shelf,
        detector: DetectorIx(0),
        real_per_d: real,
        memo: &Memo::new(),
        tier: Tier::Full,
    })
}

/// The plan expects 14 events a day at 8 dB, where 5 a day are false and 90 % is found: 10 real ones come.
const EXPECTS: &str = "expects = \"14 per d\"\n";

fn moved(to_db: f64) -> ThresholdMoved {
    moved_on((EXPECTS, 8.0, ""), to_db, None, &shelf_of([record()]))
}

/// By hand: at 10 dB `10 * 0.8 + 2 = 10` events a day are told, 300 messages in 30 d at 0.10 EUR. The limits are those of Clopper and Pearson
/// of 20 in 100, [.1267, .2918], and of Garwood of 20 in 10 d, [1.2217, 3.0888] a day (tables; `reference/chance/scipy-limits.csv`).
#[test]
fn val_all_moves_with_the_threshold() {
    let found = moved(10.0);
    close(*found.real_per_d.as_ref().unwrap(), 10.0, 1e-9);
    assert_eq!((found.tried_db, found.records), (Some((6.0, 12.0)), 1));
    let heard = found.after.heard.as_ref().unwrap();
    assert_eq!(
        (heard.missed, heard.labelled, heard.between_db),
        (20.0, 100, None)
    );
    let share = heard.missed_share.unwrap();
    close(share.value, 0.2, 1e-12);
    close(share.low, 0.1267, 1e-4);
    close(share.high, 0.2918, 1e-4);
    let cried = heard.false_alarms_per_d;
    close(cried.value, 2.0, 1e-12);
    close(cried.low, 1.2217, 1e-4);
    close(cried.high, 3.0888, 1e-4);
    let events = found.after.events_per_d.as_ref().unwrap();
    close(events.value, 10.0, 1e-9);
    close(events.low, 10.0 * (1.0 - share.high) + cried.low, 1e-9);
    close(events.high, 10.0 * (1.0 - share.low) + cried.high, 1e-9);

    // Threshold, missed, false alarms and events a day, messages in 30 d, cents.
    let by_hand = [
        (6.0, 2.0, 20.0, 29.8, 894.0, 8940),
        (8.0, 10.0, 5.0, 14.0, 420.0, 4200),
        (9.0, 15.0, 3.5, 12.0, 360.0, 3600),
        (10.0, 20.0, 2.0, 10.0, 300.0, 3000),
        (11.5, 35.0, 0.5, 7.0, 210.0, 2100),
        (12.0, 40.0, 0.0, 6.0, 180.0, 1800),
    ];
    let mut lives = Vec::new();
    for (to_db, missed, cried, events, messages, cents) in by_hand {
        let found = moved(to_db);
        let after = &found.after;
        let heard = after.heard.as_ref().unwrap();
        close(heard.missed, missed, 1e-9);
        close(heard.false_alarms_per_d.value, cried, 1e-9);
        close(after.events_per_d.as_ref().unwrap().value, events, 1e-9);
        let uplink = &after.uplinks[0];
        let expected = uplink
            .expected
            .as_ref()
            .unwrap_or_else(|why| panic!("{to_db} dB: {why}"));
        close(expected.messages, messages, 1e-6);
        assert_eq!(expected.cost.unwrap().minor, cents, "{to_db} dB");
        assert!(!expected.held, "{to_db} dB");
        // A session of 5 s that always succeeds, and hardly any message waits for another.
        close(*uplink.ashore_s.as_ref().unwrap(), 5.0, 0.1);
        // What is known of the plan as it is does not move.
        close(
            found.before.events_per_d.as_ref().unwrap().value,
            14.0,
            1e-9,
        );
        close(
            found.before.uplinks[0].expected.as_ref().unwrap().messages,
            420.0,
            1e-6,
        );
        let [(id, life)] = &after.charge.as_ref().unwrap()[..] else {
            panic!("one requirement on the cells");
        };
        assert_eq!(id, "cells");
        let Verdict::Known(life) = life else {
            panic!("it is known: {}", life.why());
        };
        // The second route: the whole check of a plan that expects so many.
        let same = text(&format!("expects = \"{events} per d\"\n"), to_db, "");
        let checked = check(&read(&same), &Shelf::default());
        close(life.value.value, known(&checked, "cells").value.value, 1e-6);
        lives.push(life.value.value);
    }
    assert!(lives.windows(2).all(|w| w[0] < w[1]), "{lives:?}");
}

/// Between two thresholds that were tried the limits are the wider ones: of 10 and 20 missed in 100, of 50 and 20 false alarms in 10 d.
#[test]
fn val_between_two_thresholds_the_limits_hold_both() {
    let heard = moved(9.0).after.heard.unwrap();
    assert_eq!(heard.between_db, Some((8.0, 10.0)));
    let share = heard.missed_share.unwrap();
    // scipy.stats.beta: 10 of 100 from .0490, 20 of 100 to .2918.
    close(share.low, 0.0490, 1e-4);
    close(share.high, 0.2918, 1e-4);
    // Garwood of 20 from 12.2165, of 50 to 65.919.
    close(heard.false_alarms_per_d.low, 1.2217, 1e-4);
    close(heard.false_alarms_per_d.high, 6.5919, 1e-4);
}

/// What behaviours send no more often than so stays there, and that is told; below it moves.
#[test]
fn verif_an_at_most_holds_what_is_sent() {
    let shelf = shelf_of([record()]);
    let held = |to_db: f64| {
        let found = moved_on((EXPECTS, 8.0, "9 per d"), to_db, None, &shelf);
        let uplink = &found.after.uplinks[0];
        let expected = uplink.expected.as_ref().unwrap();
        (
            expected.messages,
            expected.held,
            uplink.at_most.as_ref().unwrap().0,
        )
    };
    assert_eq!(held(6.0), (270.0, true, 270));
    assert_eq!(held(10.0), (270.0, true, 270));
    let (messages, is_held, at_most) = held(12.0);
    close(messages, 180.0, 1e-6);
    assert_eq!((is_held, at_most), (false, 270));
}

/// Real events that are stated take the place of what the plan leaves.
#[test]
fn verif_real_events_are_stated_or_follow_from_the_plan() {
    let shelf = shelf_of([record()]);
    let stated = moved_on((EXPECTS, 8.0, ""), 10.0, Some(100.0), &shelf);
    close(stated.after.events_per_d.unwrap().value, 82.0, 1e-9);
    close(stated.before.events_per_d.unwrap().value, 95.0, 1e-9);
    // The plan says nothing, or less than the false alarms alone.
    for (plan, says) in [
        ("", "the plan does not say how many events detector.call"),
        (
            "expects = \"4 per d\"\n",
            "show 5 false alarms a day already",
        ),
    ] {
        let found = moved_on((plan, 8.0, ""), 10.0, None, &shelf);
        let why = found.real_per_d.unwrap_err();
        assert!(
            why.contains(says) && why.contains("say how many real ones"),
            "{why}"
        );
        assert!(found.after.heard.is_ok());
        assert!(found.after.uplinks[0].expected.is_err() && found.after.charge.is_err());
        let found = moved_on((plan, 8.0, ""), 10.0, Some(10.0), &shelf);
        close(found.after.events_per_d.unwrap().value, 10.0, 1e-9);
    }
}

/// Without a curve, beyond it, or with another detector, what follows is unknown and says why; what the plan says of itself stays known.
#[test]
fn verif_what_stays_unknown_says_why() {
    let own = record();
    let old = Tuning {
        method: "tune/3".to_owned(),
        curve: None,
        ..own.clone()
    };
    let mut other = own.clone();
    other.curve.as_mut().unwrap().steady_digest = "another".to_owned();
    let cases = [
        (vec![own.clone()], 13.0, "from 6 to 12 dB, and not beyond"),
        (vec![old], 10.0, "kept nothing of other thresholds"),
        (vec![other], 10.0, "more of it than its threshold"),
        (Vec::new(), 10.0, "not been held against labels"),
    ];
    for (records, to_db, says) in cases {
        let found = moved_on((EXPECTS, 8.0, ""), to_db, None, &shelf_of(records));
        let why = found.after.heard.as_ref().unwrap_err();
        assert!(why.contains(says), "{why}");
        let why = found.after.events_per_d.as_ref().unwrap_err();
        assert!(why.contains(says), "{why}");
        for uplink in &found.after.uplinks {
            assert!(uplink.expected.is_err() && uplink.ashore_s.is_err());
            assert!(uplink.at_most.is_ok());
        }
        assert!(found.after.charge.is_err());
        close(found.before.events_per_d.unwrap().value, 14.0, 1e-9);
        close(
            found.before.uplinks[0].expected.as_ref().unwrap().messages,
            420.0,
            1e-6,
        );
        assert!(found.before.charge.is_ok());
    }
    // Where nothing moves nothing is unknown that was known.
    let still = moved_on((EXPECTS, 8.0, ""), 8.0, None, &shelf_of([]));
    close(
        still.after.uplinks[0].expected.as_ref().unwrap().messages,
        420.0,
        1e-6,
    );
    // A plan that was moved already reads the curve for its own threshold.
    let there = moved_on((EXPECTS, 10.0, ""), 12.0, None, &shelf_of([own]));
    close(there.before.heard.as_ref().unwrap().missed, 20.0, 1e-12);
    close(there.real_per_d.unwrap(), 15.0, 1e-9);
}

/// A record of the former version is read and has no curve; one whose curve cannot be is refused.
#[test]
fn verif_records_of_both_versions_are_read() {
    use assess::evidence::AnyRecord;
    let own = record();
    assert_eq!(
        AnyRecord::from_json(&own.to_json()).unwrap(),
        AnyRecord::Tuning(own.clone())
    );
    let old = Tuning {
        method: "tune/3".to_owned(),
        curve: None,
        ..own.clone()
    };
    let json = old.to_json();
    assert!(!json.contains("curve"), "{json}");
    assert_eq!(AnyRecord::from_json(&json).unwrap(), AnyRecord::Tuning(old));
    let refused = |spoil: &dyn Fn(&mut TunedCurve)| {
        let mut bad = own.clone();
        spoil(bad.curve.as_mut().unwrap());
        let refused = AnyRecord::from_json(&bad.to_json());
        refused.unwrap_err().to_string()
    };
    for (why, says) in [
        (refused(&|c| c.points.swap(0, 1)), "do not rise"),
        (refused(&|c| c.points[2].hits = 101), "more labels"),
        (refused(&|c| c.points[1].by_day = None), "not those of"),
    ] {
        assert!(why.contains(says), "{why}");
    }
}

/// Both levels of a trigger move by as much, in the unit in which they are written.
#[test]
fn verif_both_levels_of_a_trigger_move_together() {
    let cases = [
        ("8 dB", "5 dB", 3.5, ["3.5 dB", "0.5 dB"]),
        ("8 dB", "5.3 dB", 8.1, ["8.1 dB", "5.4 dB"]),
        (
            "138 dB re 1 uPa",
            "135 dB re 1 uPa",
            140.0,
            ["140 dB re 1 uPa", "137 dB re 1 uPa"],
        ),
    ];
    for (on, off, to_db, to) in cases {
        let text = changed(&[
            ("on_above = \"8 dB\"", &format!("on_above = \"{on}\"")),
            ("off_below = \"5 dB\"", &format!("off_below = \"{off}\"")),
        ]);
        let written = read(&text).written();
        let levels = Levels::of(&written, "detector.call.stages[3].on_above").unwrap();
        let moved = levels.moved(to_db);
        let told: Vec<_> = moved.iter().map(|m| m.to.as_str()).collect();
        assert_eq!(told, to);
        assert_eq!(moved[0].from, on);
        assert_eq!(moved[1].path, "detector.call.stages[3].off_below");
    }
    let written = read(&changed(&[])).written();
    assert!(Levels::of(&written, "detector.call.stages[3].hold_off").is_none());
}
