//! Evidence of tuning: absent, stale, too short, met, broken.

use std::collections::BTreeMap;

use assess::tuning::{ShelvedTuning, TunedDay, Tuning, chain_digest};
use assess::{Check, Evidence, Ruling, Shelf, check};
use plan::{DetectorIx, Reading};

use crate::support::{PLAN, close, known, read, requirement, why_unknown};

pub(crate) const FIGURES: &str = r#"
[requirement.finds]
that = "recall"
of = "detector.call"
at_least = "80 %"
labels = "day.csv"

[requirement.quiet]
that = "false-alarms"
of = "detector.call"
at_most = "1 per d"
labels = "day.csv"
"#;
pub(crate) const DAY_S: f64 = 86_400.0;

fn plan(more: &str) -> Reading {
    let reading = read(&format!("{PLAN}\n{FIGURES}{more}"));
    assert!(!reading.has_errors(), "{:?}", reading.mistakes);
    reading
}

fn tuning(hits: u64, labelled: u64, false_alarms: u64, judged_s: f64) -> Tuning {
    tuning_of(
        &plan("").line.unwrap(),
        hits,
        labelled,
        false_alarms,
        judged_s,
    )
}

/// So much time and so many false alarms, spread evenly: over a day where they fit into one, else over ten or as many as it takes.
fn days(judged_s: f64, false_alarms: u64) -> Vec<TunedDay> {
    let count = match judged_s <= DAY_S {
        true => 1,
        false => (judged_s / DAY_S).ceil().max(10.0) as u64,
    };
    let day = |i: u64| TunedDay {
        day: 20_000 + i as i64,
        judged_s: judged_s / count as f64,
        false_alarms: false_alarms / count + u64::from(i < false_alarms % count),
    };
    (0..count).map(day).collect()
}

/// What came of the detector of a line, held against the labels of some days.
pub(crate) fn tuning_of(
    line: &plan::Line,
    hits: u64,
    labelled: u64,
    false_alarms: u64,
    judged_s: f64,
) -> Tuning {
    Tuning {
        detector: "call".to_owned(),
        chain_digest: chain_digest(line, DetectorIx(0), None).unwrap(),
        labels: "day.csv".to_owned(),
        labels_digest: "l1".to_owned(),
        matched: "by overlap".to_owned(),
        labelled,
        hits,
        false_alarms,
        judged_s,
        // So even days, drawn whole, show no less than counts do: the limits are those of so many single events.
        days: Some(days(judged_s, false_alarms)),
        ..Tuning::begun()
    }
}

fn with(tunings: Vec<Tuning>, more: &str) -> Check {
    check(&plan(more), &shelf_of(tunings))
}

/// A shelf of such records, with the labels as they were.
pub(crate) fn shelf_of(tunings: impl IntoIterator<Item = Tuning>) -> Shelf {
    let shelved = tunings.into_iter().map(|tuning| ShelvedTuning {
        file: format!("plan.evidence/{}-of-{}.json", tuning.hits, tuning.labelled),
        tuning,
        changed: Vec::new(),
        unread: Vec::new(),
    });
    Shelf {
        tunings: shelved.collect(),
        labels: BTreeMap::from([("day.csv".to_owned(), Ok("l1".to_owned()))]),
        ..Shelf::default()
    }
}

#[test]
fn verif_without_a_record_it_is_unknown_and_says_what_to_do() {
    let check = with(Vec::new(), "");
    for id in ["finds", "quiet"] {
        let why = why_unknown(&check, id);
        assert!(
            why.contains("soundline tune") && why.contains("day.csv"),
            "{why}"
        );
    }
    let unread = Shelf {
        labels: BTreeMap::from([("day.csv".to_owned(), Err("gone".to_owned()))]),
        ..Shelf::default()
    };
    assert_eq!(
        why_unknown(&assess::check(&plan(""), &unread), "finds"),
        "gone"
    );
}

/// Clopper-Pearson of 95 of 100 at 95 % is [.887165, .983568], Garwood of 3 in 10 d is [.0619, .8767] a day (scipy.stats beta and chi2;
/// reference/chance/scipy-limits.csv): the limits decide, and not what was seen.
#[test]
fn val_the_limits_decide() {
    let check = with(vec![tuning(95, 100, 3, 10.0 * DAY_S)], "");
    let finds = known(&check, "finds");
    close(finds.value.value, 88.7165, 1e-3);
    assert_eq!(
        (finds.value.unit.as_str(), finds.ruling),
        ("%", Ruling::Met)
    );
    assert!(matches!(&finds.evidence, Evidence::Recorded { labels, .. } if labels == "day.csv"));
    let quiet = known(&check, "quiet");
    close(quiet.value.value, 0.8767, 1e-3);
    assert_eq!(quiet.ruling, Ruling::Met);

    // 45 of 50 are 90 %, and show only that it is 78 % or more: 62 of 69 show 80.2 %, 61 of 68 only 79.9 %. No false alarm in a day shows only fewer than 3.69.
    let check = with(vec![tuning(45, 50, 0, DAY_S)], "");
    let why = why_unknown(&check, "finds");
    assert!(why.contains("between 78.2 % and 96.7 %"), "{why}");
    assert!(why.contains("it takes about 69 labels"), "{why}");
    let why = why_unknown(&check, "quiet");
    assert!(why.contains("too short to tell"), "{why}");
    assert!(why.contains("takes about 3.695 d"), "{why}");

    // 60 of 100 show at most 70 %; 20 a day at least 12.
    let check = with(vec![tuning(60, 100, 20, DAY_S)], "");
    let finds = known(&check, "finds");
    assert_eq!(finds.ruling, Ruling::Broken);
    close(finds.value.value, 69.67, 0.02);
    let quiet = known(&check, "quiet");
    assert_eq!(quiet.ruling, Ruling::Broken);
    close(quiet.value.value, 12.2165, 1e-3);
}

/// What is open names the detectors of which the requirements do not ask both how much they find and how often they cry wolf.
#[test]
fn verif_what_is_asked_of_every_detector_is_not_open() {
    let tune = |reading: &Reading| {
        let open = check(reading, &Shelf::default()).open;
        open.into_iter().find(|o| o.contains("soundline tune"))
    };
    assert_eq!(tune(&plan("")), None);
    let half = read(&format!(
        "{PLAN}\n{}",
        FIGURES.split("[requirement.quiet]").next().unwrap()
    ));
    let told = tune(&half).unwrap();
    assert!(
        told.starts_with("how often each detector is wrong"),
        "{told}"
    );
    let other = PLAN
        .split("[detector.call]")
        .nth(1)
        .map(|rest| rest.split("\n[").next().unwrap())
        .unwrap();
    let told = tune(&plan(&format!("\n[detector.other]{other}"))).unwrap();
    assert!(
        told.starts_with("how often detector.other is wrong"),
        "{told}"
    );
}

#[test]
fn verif_a_smaller_confidence_asks_for_less() {
    let records = || vec![tuning(45, 50, 0, 3.2 * DAY_S)];
    assert!(why_unknown(&with(records(), ""), "quiet").contains("too short"));
    let less = "confidence = \"90 %\"\n";
    // -ln(0.05) / 3.2 = 0.936.
    close(
        known(&with(records(), less), "quiet").value.value,
        0.9362,
        1e-3,
    );
}

#[test]
fn verif_what_has_changed_makes_it_unknown() {
    let good = tuning(95, 100, 3, 10.0 * DAY_S);
    for (change, says) in [
        (
            (|t: &mut Tuning| t.labels_digest = "l0".to_owned()) as fn(&mut Tuning),
            "the labels have changed",
        ),
        (
            |t| t.chain_digest = "c0".to_owned(),
            "the detector or its sensor has changed",
        ),
        (
            |t| t.detector = "other".to_owned(),
            "not been held against labels",
        ),
        (|t| t.labelled = 0, "no label"),
    ] {
        let mut stale = good.clone();
        change(&mut stale);
        assert!(
            why_unknown(&with(vec![stale], ""), "finds").contains(says),
            "{says}"
        );
    }
    // Another threshold is another detector.
    let text = format!("{PLAN}\n{FIGURES}").replace("on_above = \"8 dB\"", "on_above = \"10 dB\"");
    let shelf = Shelf {
        tunings: vec![ShelvedTuning {
            tuning: good.clone(),
            file: "plan.evidence/good.json".to_owned(),
            changed: vec!["a.wav".to_owned()],
            unread: Vec::new(),
        }],
        labels: BTreeMap::from([("day.csv".to_owned(), Ok("l1".to_owned()))]),
        ..Shelf::default()
    };
    assert!(text.contains("10 dB"));
    let other = check(&read(&text), &shelf);
    assert!(why_unknown(&other, "finds").contains("the detector or its sensor has changed"));
    let swapped = check(&plan(""), &shelf);
    assert!(why_unknown(&swapped, "finds").contains("a.wav is not the recording"));
    // Nor is one that cannot be read taken to be the same.
    let mut unread = shelf.clone();
    unread.tunings[0].changed.clear();
    unread.tunings[0].unread = vec!["a.wav: no leave".to_owned()];
    let unread = check(&plan(""), &unread);
    let why = why_unknown(&unread, "finds");
    assert!(why.ends_with("is not known: a.wav: no leave"), "{why}");
    // What does not decide does not count: another requirement leaves the record fresh.
    let check = with(
        vec![good],
        "[requirement.more]\nthat = \"autonomy\"\nat_least = \"1 d\"\n",
    );
    assert_eq!(known(&check, "finds").ruling, Ruling::Met);
}

/// A requirement asks of all that is labelled: what was found of one kind alone shows nothing of it, and what nothing was judged of is told.
#[test]
fn verif_counts_of_some_kinds_or_of_part_of_the_time_say_so() {
    let some = Tuning {
        what: vec!["loud".to_owned()],
        ..tuning(95, 100, 3, 10.0 * DAY_S)
    };
    let check = with(vec![some.clone()], "");
    for id in ["finds", "quiet"] {
        let why = why_unknown(&check, id);
        for what in [
            "the labels of loud alone",
            "--labels day.csv",
            "without --what",
        ] {
            assert!(why.contains(what), "{why}");
        }
    }
    // Beside one of all kinds it is passed over.
    let check = with(vec![some, tuning(60, 100, 3, 10.0 * DAY_S)], "");
    assert_eq!(known(&check, "finds").ruling, Ruling::Broken);
    let part = Tuning {
        set_aside: 40,
        settling_s: 3600.0,
        ..tuning(95, 100, 3, 10.0 * DAY_S)
    };
    let check = with(vec![part], "");
    for id in ["finds", "quiet"] {
        let why = &known(&check, id).why;
        for what in [
            "40 more of 140 labels lie where nothing was judged",
            "the first 60 min after each begin were left out (`--settling`)",
        ] {
            assert!(why.contains(what), "{why}");
        }
    }
}

#[test]
fn verif_the_worst_of_several_records_counts() {
    let check = with(
        vec![
            tuning(95, 100, 3, 10.0 * DAY_S),
            tuning(60, 100, 3, 10.0 * DAY_S),
        ],
        "",
    );
    let finds = known(&check, "finds");
    assert_eq!(finds.ruling, Ruling::Broken);
    assert!(
        finds.why.ends_with("; of 2 records that count this is the worst, plan.evidence/60-of-100.json: move it away to leave it out"),
        "{}",
        finds.why
    );
    // Of several of one word that with the least margin.
    let check = with(
        vec![
            tuning(99, 100, 3, 10.0 * DAY_S),
            tuning(95, 100, 3, 10.0 * DAY_S),
            tuning(98, 100, 3, 10.0 * DAY_S),
        ],
        "",
    );
    let finds = known(&check, "finds");
    assert_eq!(finds.ruling, Ruling::Met);
    close(finds.value.value, 88.7165, 1e-3);
    assert!(finds.why.contains("of 3 records"), "{}", finds.why);
    assert!(finds.why.contains("95-of-100.json"), "{}", finds.why);
    // A single one needs no name.
    let check = with(vec![tuning(95, 100, 3, 10.0 * DAY_S)], "");
    assert!(!known(&check, "finds").why.contains("records"));
}

/// The base sends each alert ashore, one message each, at most 12 a day: 300 messages in 30 d leave ten events a day, 20 EUR at 0.10 EUR
/// 6.67, and 400 in 30 d more than it ever sends.
#[test]
fn verif_the_plan_leaves_so_many_events_a_day() {
    let limits = |changes: &[(&str, &str)]| {
        let reading = crate::support::good(changes);
        assess::event_limits(&reading.line.unwrap(), DetectorIx(0)).unwrap()
    };
    let events = |changes: &[(&str, &str)], from: &str| {
        let all = limits(changes);
        let found = all.iter().find(|l| l.from == from);
        found.unwrap_or_else(|| panic!("{all:?}")).events_per_day
    };
    assert_eq!(events(&[], "requirement.messages"), None);
    assert_eq!(events(&[], "requirement.budget"), None);
    let fewer = [("400 per 30 d", "300 per 30 d"), ("50 EUR", "20 EUR")];
    close(events(&fewer, "requirement.messages").unwrap(), 10.0, 1e-4);
    close(
        events(&fewer, "requirement.budget").unwrap(),
        20.0 / 3.0,
        1e-4,
    );
    // A message of two parts costs two.
    let larger = [
        ("400 per 30 d", "300 per 30 d"),
        ("size = \"100 B\"", "size = \"200 B\""),
    ];
    close(events(&larger, "requirement.messages").unwrap(), 5.0, 1e-4);
    // What another routine sends is taken off: one a day leaves 270 of 300.
    let routine = "[behaviour.daily]\non = \"module.base\"\neach = \"1 d\"\ndo = [{ send_up = \"uplink.shore\", about = \"alert/call\" }]\n\n[uplink.shore]";
    let with_routine = [
        ("400 per 30 d", "300 per 30 d"),
        ("[uplink.shore]", routine),
    ];
    close(
        events(&with_routine, "requirement.messages").unwrap(),
        9.0,
        1e-4,
    );
    // None at all where others already take more.
    let none = [("400 per 30 d", "20 per 30 d"), ("[uplink.shore]", routine)];
    assert_eq!(events(&none, "requirement.messages"), Some(0.0));
    // The behaviour that the detector itself starts says how often that may be.
    let limited = [(
        "when_heard = \"detector.call.confirmed\"\n",
        "when_heard = \"detector.call.confirmed\"\nat_most = \"2 per h\"\n",
    )];
    close(events(&limited, "behaviour.tell").unwrap(), 48.0, 1e-9);
}

const SETTABLE: &str =
    "\n[detector.call.settable]\nlowest_threshold = \"6 dB\"\nhighest_threshold = \"15 dB\"\n";
const SETS: &str = "\n[behaviour.sets]\non = \"module.ear\"\neach = \"10 min\"\ndo = [{ set = \"detector.call\", threshold = \"9 dB\" }]\n";

/// What was measured at the plan's own threshold says nothing of a detector that a behaviour sets to others; that it could be set changes nothing.
#[test]
fn verif_of_a_detector_that_is_set_while_it_listens_nothing_is_known() {
    let day = || vec![tuning(95, 100, 3, 10.0 * DAY_S)];
    let check = with(day(), SETTABLE);
    assert_eq!(known(&check, "finds").ruling, Ruling::Met);
    assert_eq!(known(&check, "quiet").ruling, Ruling::Met);
    let check = with(day(), &format!("{SETTABLE}{SETS}"));
    for id in ["finds", "quiet"] {
        let why = why_unknown(&check, id);
        let says = "behaviour.sets sets detector.call while it listens";
        assert!(why.contains(says) && why.contains("from 6 to 15"), "{why}");
        assert!(why.contains("own threshold, 8 dB"), "{why}");
    }
}

/// Thirty days with one storm of 30 in it, and the same thirty spread evenly: the counts are the same and what they show is not.
#[test]
fn verif_a_storm_shows_less_than_as_many_single_ones() {
    let of = |events: &dyn Fn(i64) -> u64| Tuning {
        days: Some(
            (0..30)
                .map(|day| TunedDay {
                    day: 20_000 + day,
                    judged_s: DAY_S,
                    false_alarms: events(day),
                })
                .collect(),
        ),
        ..tuning(95, 100, 30, 30.0 * DAY_S)
    };
    let limits = |t: &Tuning| t.alarm_limits(0.95, DAY_S).unwrap().0;
    let even = limits(&of(&|_| 1));
    let single = chance::garwood(30, 30.0, 0.95).unwrap();
    assert_eq!(even, single);
    let storm = limits(&of(&|day| if day == 11 { 30 } else { 0 }));
    assert!(storm.1 > 2.0 * single.1, "{storm:?}");
    let check = with(vec![of(&|day| if day == 11 { 30 } else { 0 })], "");
    let told = match &requirement(&check, "quiet").verdicts[0] {
        assess::Verdict::Known(known) => known.why.clone(),
        other => other.why().to_owned(),
    };
    assert!(
        told.contains("30 days drawn whole 2000 times, seed 1"),
        "{told}"
    );
}

/// Recordings without a time cannot be put in days, and what they show is unknown.
#[test]
fn verif_recordings_without_a_time_show_no_limit_of_false_alarms() {
    let untimed = Tuning {
        days: None,
        ..tuning(95, 100, 3, 10.0 * DAY_S)
    };
    let check = with(vec![untimed], "");
    let why = why_unknown(&check, "quiet");
    assert!(
        why.contains("recordings without a time cannot be put in days"),
        "{why}"
    );
    assert_eq!(known(&check, "finds").ruling, Ruling::Met);
}

/// Nine days without a false alarm show at most 3.689 / 9 = 0.41 a day if each came by itself, and do not show that they do; the tenth shows it. So too of ten days of which one has half an hour. What is broken
/// stays broken, as bursts only widen its limits.
#[test]
fn verif_few_days_break_an_allowance_and_keep_none() {
    let of = |judged_s: &[f64]| {
        let day = |(i, s): (usize, &f64)| TunedDay {
            day: 20_000 + i as i64,
            judged_s: *s,
            false_alarms: 0,
        };
        let tuning = Tuning {
            days: Some(judged_s.iter().enumerate().map(day).collect()),
            ..tuning(95, 100, 0, judged_s.iter().sum())
        };
        assert_eq!(tuning.days_add_up(), Ok(()));
        with(vec![tuning], "")
    };
    let mut short = [DAY_S; 10];
    short[3] = 1800.0;
    for judged_s in [&[DAY_S; 9][..], &short] {
        let few = of(judged_s);
        let why = why_unknown(&few, "quiet");
        for what in [
            "9 days of which 60 min or more was judged are too few to draw days whole, 10 are needed",
            "recordings of 1 day more settle it",
        ] {
            assert!(why.contains(what), "{why}");
        }
        assert_eq!(known(&few, "finds").ruling, Ruling::Met);
    }
    assert_eq!(known(&of(&[DAY_S; 10]), "quiet").ruling, Ruling::Met);
    let loud = with(vec![tuning(95, 100, 20, DAY_S)], "");
    let quiet = known(&loud, "quiet");
    assert_eq!(quiet.ruling, Ruling::Broken);
    assert!(quiet.why.contains("1 day of which 60 min"), "{}", quiet.why);
}
