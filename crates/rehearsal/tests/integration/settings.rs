//! Detectors that behaviours set while they listen.

use std::path::Path;

use assess::input::start_limits;
use plan::{BehaviourIx, CueSheet, Line};
use rehearsal::{Record, What};
use timeline::Ns;

use crate::support::{line_and_cues, run};

const S: u64 = 1_000_000_000;
const TRIGGER: &str = "on_above = \"8 dB\", off_below = \"5 dB\"";
const HOLD_OFF: &str = "hold_off = \"5 s\" },\n]";
const SETTABLE: &str = "hold_off = \"5 s\" },\n]\nsettable = { lowest_threshold = \"6 dB\", highest_threshold = \"80 dB\", shortest_hold_off = \"1 s\", longest_hold_off = \"60 s\" }";

/// The small line with a rule at the ear that does something once, after so long; and changes of plan and cues.
fn line(
    after: &str,
    does: &str,
    change_plan: &[(&str, &str)],
    change_cues: &[(&str, &str)],
) -> (Line, CueSheet) {
    let rule = "[behaviour.act]\n";
    let set = format!(
        "[behaviour.sets]\non = \"module.ear\"\neach = \"{after}\"\nat_most = \"1 per 10 min\"\ndo = [{does}]\n\n{rule}"
    );
    let mut changes = vec![(HOLD_OFF, SETTABLE), (rule, set.as_str())];
    changes.extend(change_plan);
    line_and_cues(&changes, change_cues)
}

fn confirmed(records: &[Record]) -> Vec<Ns> {
    let of = |r: &&Record| {
        matches!(
            r.what,
            What::Noticed {
                notice: plan::NoticeKind::Confirmed,
                ..
            }
        )
    };
    records.iter().filter(of).map(|r| r.at).collect()
}

fn events(records: &[Record]) -> Vec<(Ns, detect::Event)> {
    let of = |r: &Record| match &r.what {
        What::Event { event, .. } => Some((r.at, *event)),
        _ => None,
    };
    records.iter().filter_map(of).collect()
}

fn sets(records: &[Record]) -> Vec<(Ns, f64, f64, bool)> {
    let of = |r: &Record| match r.what {
        What::Set {
            threshold_db,
            hold_off_s,
            restored,
            ..
        } => Some((r.at, threshold_db, hold_off_s, restored)),
        _ => None,
    };
    records.iter().filter_map(of).collect()
}

/// Set at 30 s, the second sound meets what a plan with that threshold from the beginning would meet; the first what it met.
#[test]
fn verif_a_threshold_holds_from_when_it_is_set() {
    let run = |(line, cues): (Line, CueSheet)| run(&line, &cues);
    let (_, as_planned) = run(line("30 s", "{ log = \"x\" }", &[], &[]));
    let (outcome, set) = run(line(
        "30 s",
        "{ set = \"detector.call\", threshold = \"14 dB\" }",
        &[],
        &[],
    ));
    let other = "on_above = \"14 dB\", off_below = \"11 dB\"";
    let (_, from_the_start) = run(line("30 s", "{ log = \"x\" }", &[(TRIGGER, other)], &[]));
    let (planned, set_events, start) = (events(&as_planned), events(&set), events(&from_the_start));
    assert_eq!((planned.len(), set_events.len(), start.len()), (2, 2, 2));
    assert_eq!(set_events[0], planned[0]);
    assert_eq!(set_events[1], start[1]);
    assert_eq!(sets(&set)[0], (Ns(30 * S), 14.0, 5.0, false));
    // The cut at 90 s stops the module, which comes back with the plan's.
    let s = outcome.settings[0];
    assert_eq!((s.changes, s.restored), (1, 1));
    assert_eq!((s.threshold_db, s.last_threshold_db), ((8.0, 14.0), 8.0));
    assert_eq!((s.hold_off_s, s.last_hold_off_s), ((5.0, 5.0), 5.0));
}

/// Whenever it is set, in the middle of a sound too, and on however many threads the ears run ahead: nothing that was known before changes.
#[test]
fn verif_a_setting_changes_nothing_that_was_known_before() {
    let pool = |n| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(n).build();
        pool.unwrap()
    };
    let mut differ = 0;
    for ms in [
        20_950, 21_200, 21_555, 21_999, 22_001, 30_000, 50_999, 51_400, 51_777, 52_200,
    ] {
        let after = format!("{ms} ms");
        let set = "{ set = \"detector.call\", threshold = \"80 dB\", hold_off = \"60 s\" }";
        let (line_set, cues) = line(&after, set, &[], &[]);
        let (_, one) = pool(1).install(|| run(&line_set, &cues));
        let (_, four) = pool(4).install(|| run(&line_set, &cues));
        assert_eq!(one, four);
        let (line_log, cues) = line(&after, "{ log = \"x\" }", &[], &[]);
        let (_, log) = run(&line_log, &cues);
        let at = Ns(ms * 1_000_000);
        let before = |records: &[Record]| {
            let all = records.iter().filter(|r| r.at < at);
            all.cloned().collect::<Vec<_>>()
        };
        assert_eq!(before(&one), before(&log), "{ms}");
        // The cut at 90 s stops the module, which comes back with the plan's.
        let told: Vec<_> = sets(&one).iter().map(|s| (s.1, s.2, s.3)).collect();
        assert_eq!(sets(&one)[0].0, at);
        assert_eq!(told, [(80.0, 60.0, false), (8.0, 5.0, true)]);
        differ += usize::from(events(&one) != events(&log));
    }
    assert!(differ >= 6, "{differ}");
}

/// Hold-off by hand: the first sound ends 1 s after it begins, so that of two 4 s apart the second is in the quiet time of 5 s, and not in that of 1 s.
#[test]
fn verif_a_hold_off_holds_from_the_next_end() {
    let near = [("at = \"50 s\"", "at = \"24 s\"")];
    let count = |after: &str, does: &str| {
        let (line, cues) = line(after, does, &[], &near);
        confirmed(&run(&line, &cues).1).len()
    };
    let set = "{ set = \"detector.call\", hold_off = \"1 s\" }";
    assert_eq!(count("10 s", "{ log = \"x\" }"), 1);
    assert_eq!(count("10 s", set), 2);
    // Once the quiet time is under way it lasts as long as it was to.
    assert_eq!(count("23.5 s", set), 1);
}

/// A module that restarts comes back with the plan's setting, and the record says so.
#[test]
fn verif_a_restart_brings_back_the_plans_setting() {
    let restart = [(
        "[fault.outage]",
        "[fault.again]\nkind = \"hang\"\nof = \"module.ear\"\nat = \"30 s\"\nuntil = \"31 s\"\n[fault.outage]",
    )];
    let deaf = "{ set = \"detector.call\", threshold = \"80 dB\" }";
    let (line_set, cues) = line("10 s", deaf, &[], &[]);
    assert_eq!(confirmed(&run(&line_set, &cues).1).len(), 0);
    let (line_set, cues) = line("10 s", deaf, &[], &restart);
    let (outcome, records) = run(&line_set, &cues);
    assert_eq!(confirmed(&records).len(), 1);
    assert_eq!(
        sets(&records),
        [(Ns(10 * S), 80.0, 5.0, false), (Ns(30 * S), 8.0, 5.0, true)]
    );
    let s = outcome.settings[0];
    assert_eq!((s.changes, s.restored, s.last_threshold_db), (1, 1, 8.0));
}

/// What `check` counts from a hold-off is counted from the shortest that is allowed.
#[test]
fn verif_bounds_take_the_shortest_hold_off() {
    let per = |line: &Line| {
        let tell = line.behaviours.iter().position(|b| b.id == "tell").unwrap();
        let limits = start_limits(line, None, BehaviourIx(tell)).unwrap();
        let limit = limits[0].unwrap();
        (limit.messages(), limit.per())
    };
    let (planned, _) = line_and_cues(&[], &[]);
    assert_eq!(per(&planned), (1, Ns(5 * S)));
    let (settable, _) = line("30 s", "{ log = \"x\" }", &[], &[]);
    assert_eq!(per(&settable), (1, Ns(S)));
}

/// The example: a routine asks, another answers and sets its detector in a noisy spell, and back when it is over. The blows are 3 s apart by the cue sheet.
#[test]
fn verif_the_example_thins_out_a_noisy_spell() {
    let at = |path: &str| truth::in_repository(&format!("plans/strike-tally/{path}"));
    let reading = assess::read(&at("plan.toml"), &plan::from_disk);
    assert!(reading.mistakes.is_empty(), "{:?}", reading.mistakes);
    let sheet = plan::read_cues(&at("cues/noisy-spell.toml"), &reading, &plan::from_disk);
    assert!(sheet.mistakes.is_empty(), "{:?}", sheet.mistakes);
    let cues = sheet.cues.expect("the cue sheet of the example is right");
    let line = reading.line.expect("the plan of the example is right");
    let (outcome, records) = run(&line, &cues);
    let seconds: Vec<f64> = confirmed(&records).iter().map(|at| at.as_s_f64()).collect();
    for expectation in &outcome.expectations {
        assert!(expectation.passed, "{expectation:?}; {seconds:?}");
    }
    let asked = outcome.requests[0];
    assert_eq!((asked.asked, asked.answered), (6, 6));
    let set: Vec<(f64, f64)> = sets(&records).iter().map(|s| (s.1, s.2)).collect();
    assert_eq!(set, [(12.0, 20.0), (9.0, 1.0)]);
}

/// An ear that sends no data for its blows is told as such, and the deck goes on asking.
#[test]
fn verif_the_example_bears_an_answer_of_no_data() {
    let at = |path: &str| truth::in_repository(&format!("plans/strike-tally/{path}"));
    let open = |path: &Path| {
        let text = plan::from_disk(path)?;
        if !path.ends_with("hammer.rhai") {
            return Ok(text);
        }
        let text = String::from_utf8(text).unwrap();
        assert!(text.contains("#{ blows: blows,"), "{text}");
        Ok(text.replace("#{ blows: blows,", "#{ ").into_bytes())
    };
    let reading = assess::read(&at("plan.toml"), &open);
    let sheet = plan::read_cues(&at("cues/noisy-spell.toml"), &reading, &open);
    let (outcome, records) = run(&reading.line.unwrap(), &sheet.cues.unwrap());
    assert_eq!(outcome.requests[0].answered, 6);
    let told = |r: &&Record| matches!(&r.what, What::Logged { text, .. } if text.starts_with("unknown blows"));
    assert_eq!(records.iter().filter(told).count(), 6);
}
