//! Routines on the line: what they do is what rules do, what they may not do stops them, and the line goes on.

use std::io;
use std::path::Path;

use plan::{CueSheet, Line};
use rehearsal::{Outcome, Record, What};
use timeline::Ns;

use crate::support::{lamp_times, run};

/// The small line with a routine for the ear's rule; `changes` are of the plan.
fn line(routine: &str, changes: &[(&str, &str)]) -> (Line, CueSheet) {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/data/");
    let text = |name: &str| std::fs::read_to_string(format!("{folder}{name}")).unwrap();
    let mut plan = text("small.toml").replace(
        "when_heard = \"detector.call.confirmed\"\n",
        "when_heard = \"detector.call.confirmed\"\nroutine = \"watch.rhai\"\nnames = { alert = \"topic.alert/call\" }\n",
    );
    for (from, to) in changes {
        assert!(plan.contains(from), "{from}");
        plan = plan.replace(from, to);
    }
    let cues = text("cues.toml");
    let reading = assess::read(Path::new("plan.toml"), &|path| match path.to_str() {
        Some("plan.toml") => Ok(plan.clone().into()),
        Some("watch.rhai") => Ok(routine.into()),
        _ => Err(io::Error::new(io::ErrorKind::NotFound, "no such file")),
    });
    assert!(!reading.has_errors(), "{:?}", reading.mistakes);
    let cues = plan::read_cues(Path::new("cues.toml"), &reading, &|_| {
        Ok(cues.clone().into())
    });
    (reading.line.unwrap(), cues.cues.unwrap())
}

fn logs(records: &[Record]) -> Vec<&str> {
    records
        .iter()
        .filter_map(|r| match &r.what {
            What::Logged { text, .. } => Some(text.as_str()),
            _ => None,
        })
        .collect()
}

fn stops(records: &[Record]) -> Vec<(Ns, Option<usize>, String)> {
    records
        .iter()
        .filter_map(|r| match &r.what {
            What::Stopped { line, why, .. } => Some((r.at, *line, why.clone())),
            _ => None,
        })
        .collect()
}

const SAME: &str = "fn when_heard(event) { publish(alert); }";

/// A routine that does what the rule does gives the records of the rule.
#[test]
fn verif_a_routine_does_what_a_rule_does() {
    let (line, cues) = line(SAME, &[]);
    let (rule, rule_cues) = crate::support::line_and_cues(&[], &[]);
    assert_eq!(run(&line, &cues).1, run(&rule, &rule_cues).1);
}

#[test]
fn verif_a_fault_stops_a_routine_and_the_line_goes_on() {
    let (line, cues) = line(
        "fn when_heard(event) {\n    publish(alert);\n    let x = 1 / 0;\n}",
        &[],
    );
    let (outcome, records) = run(&line, &cues);
    // It is done what was done before the fault; of the second call nothing is told.
    let stops = stops(&records);
    assert_eq!(stops.len(), 1);
    assert_eq!(stops[0].1, Some(3));
    assert_eq!(lamp_times(&records, true).len(), 1);
    let count = outcome.routines[0];
    assert_eq!((count.runs, count.stops), (1, 1));
    assert!(records.last().unwrap().at > stops[0].0);
}

/// What a routine remembers is lost when its module stops, and one that a fault stopped starts anew.
#[test]
fn verif_a_restart_loses_the_memory_and_starts_anew() {
    let each = [
        (
            "when_heard = \"detector.call.confirmed\"\n",
            "each = \"1 s\"\n",
        ),
        (
            "do = [{ publish = \"alert/call\" }]",
            "do = [{ log = \"\u{b7}\" }]",
        ),
    ];
    let counting = "fn each() { this.n = (this.n ?? 0) + 1; log(`${this.n}`); if this.n == 95 { throw \"enough\"; } }";
    let (line, cues) = line(counting, &each);
    let (outcome, records) = run(&line, &cues);
    // The cable is cut from 90 s to 100 s: the ear loses its power, and boots for 2 s after it.
    let all = logs(&records);
    assert_eq!(all[..3], ["1", "2", "3"]);
    let again = all.iter().rposition(|t| *t == "1").unwrap();
    assert!(again > 80 && again < 95, "{again}");
    assert_eq!(all[again..][..3], ["1", "2", "3"]);
    assert_eq!(outcome.routines[0].stops, 0);
    assert!(outcome.routines[0].most_operations > 0);
    // The last lines are kept for the report, with their times, and all are counted.
    let log = &outcome.logs[0];
    assert_eq!(log.lines, all.len() as u64);
    let last: Vec<&str> = log.last.iter().map(|(_, text)| text.as_str()).collect();
    assert_eq!(last, all[all.len() - 5..]);
    let whole_seconds = log.last.iter().map(|(at, _)| at.as_s_f64());
    assert!(whole_seconds.eq((115..120).map(f64::from)), "{log:?}");
}

#[test]
fn verif_more_than_its_do_allows_stops_a_routine() {
    let (line, cues) = line(
        "fn when_heard(event) { publish(alert); publish(alert); }",
        &[],
    );
    let (_, records) = run(&line, &cues);
    let published = records
        .iter()
        .filter(|r| matches!(r.what, What::Published { .. }))
        .count();
    assert_eq!(published, 1);
    assert_eq!(stops(&records)[0].1, Some(1));
    let columns = records.iter().find_map(|r| match r.what {
        What::Stopped { column, .. } => column,
        _ => None,
    });
    assert_eq!(columns, Some(40));
    assert_eq!(
        stops(&records)[0].2,
        "it publishes alert/call, more than its `do` allows in one run"
    );
}

/// What a detector heard reaches the routine, and its own decision the message.
#[test]
fn verif_a_routine_decides_by_what_was_heard() {
    let fields =
        "fields = [{ name = \"level\", unit = \"dB re 1 uPa\", from = 0, to = 200, step = 0.5 }]";
    let text = "fn when_heard(event) {\n  log(`${event.detector} ${event.notice}`);\n  if event.level > least { publish(alert, #{ level: event.level }); }\n}";
    let with = |least: &str| {
        let settings = format!(
            "names = {{ alert = \"topic.alert/call\" }}\nsettings = {{ least = {least} }}\n"
        );
        line(
            text,
            &[
                ("size = \"200 B\"", fields),
                ("names = { alert = \"topic.alert/call\" }\n", &settings),
            ],
        )
    };
    let (low, cues) = with("20");
    let (_, records) = run(&low, &cues);
    assert_eq!(logs(&records)[0], "call confirmed");
    let filled = records.iter().filter(
        |r| matches!(&r.what, What::Published { content: Some(c), .. } if matches!(c.values[0], network::Value::Number(x) if x > 50.0)),
    );
    assert_eq!(filled.count(), 2);
    let (high, cues) = with("190.5");
    let (_, records) = run(&high, &cues);
    let published = |r: &Record| matches!(r.what, What::Published { .. });
    assert!(!records.iter().any(published));
}

/// One routine, started by several things, on another module: nothing of its text changes.
#[test]
fn verif_one_routine_runs_on_any_module_and_for_several_things() {
    let text = "fn when_told(message) { this.told = (this.told ?? 0) + 1; log(message.topic); }\nfn each() { log(`told ${this.told ?? 0}`); }\nfn when_heard(event) {}";
    let routine = "when_told = \"alert/#\"\neach = \"1 min\"\nroutine = \"watch.rhai\"\n";
    let (line, cues) = line(
        text,
        &[
            ("when_told = \"alert/#\"\n", routine),
            (
                "routine = \"watch.rhai\"\nnames = { alert = \"topic.alert/call\" }\n",
                "",
            ),
            (
                "  { switch = \"module.base.output.lamp\", to = \"on\", for = \"20 s\" },\n  { send_up = \"uplink.shore\", about = \"alert/call\" },\n",
                "{ log = \"told\" }\n",
            ),
        ],
    );
    let (outcome, records) = run(&line, &cues);
    assert_eq!(logs(&records), ["alert/call", "alert/call", "told 2"]);
    assert_eq!(outcome.routines.len(), 1);
    assert_eq!(outcome.routines[0].runs, 3);
}

#[test]
fn verif_records_are_the_same_on_one_thread_and_on_four() {
    let (line, cues) = line(
        "fn when_heard(event) { log(`${event.level} ${sin(event.level)}`); publish(alert); }",
        &[],
    );
    let on = |threads: usize| -> (Outcome, Vec<Record>) {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads);
        pool.build().unwrap().install(|| run(&line, &cues))
    };
    let (one, four) = (on(1).1, on(4).1);
    assert!(!logs(&one).is_empty());
    assert_eq!(one, four);
}

/// A field of 24 bits in steps of a second tells instants within 97 days of that at which it is read: 5 ns before 1970 is none of them on a line of 2027, and now is.
#[test]
fn verif_an_instant_that_its_field_cannot_tell_stops_the_routine() {
    let timed = "fields = [{ name = \"time\", time_bits = 24, time_step = \"1 s\" }]";
    let changes = [("size = \"200 B\"", timed)];
    let with = |instant: &str| {
        format!("fn when_heard(event) {{\n    publish(alert, #{{ time: {instant} }});\n}}")
    };
    let (wrong, cues) = line(&with("-5"), &changes);
    let (outcome, records) = run(&wrong, &cues);
    let stopped = stops(&records);
    assert_eq!(stopped.len(), 1);
    assert_eq!(stopped[0].1, Some(2));
    assert!(
        stopped[0]
            .2
            .contains("the field `time` cannot tell this instant"),
        "{stopped:?}"
    );
    assert_eq!(outcome.topics[0].published, 0);
    let (right, cues) = line(&with("event.begin"), &changes);
    let (outcome, records) = run(&right, &cues);
    assert_eq!(stops(&records), []);
    assert!(outcome.topics[0].published > 0);
}
