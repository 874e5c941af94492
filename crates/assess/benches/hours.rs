//! Hours of hearing of the example plan: 300 years of every hydrophone with all causes, on one thread and on two.
//!
//! Run with `cargo bench -p assess --bench hours`. The plan is read and its inputs are built within each time. `HOURS_REPEATS` (3) is how often each is timed; the median counts. Exit
//! status 1 when the bound on two threads is missed, or the two differ.
#![expect(clippy::print_stdout, reason = "a bench tells its figures")]

use std::path::Path;
use std::process::ExitCode;
use std::time::Instant;

use assess::{Cause, CauseKnown, HoursAsk, LISTENING_YEARS, ListeningHours, listening_hours};

const ROOT: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../..");
/// On two threads, s.
const LONGEST_S: f64 = 5.0;

fn main() -> ExitCode {
    let repeats = std::env::var("HOURS_REPEATS").ok();
    let repeats: usize = repeats.and_then(|n| n.parse().ok()).unwrap_or(3).max(1);
    let path = Path::new(ROOT).join("plans/harrow-sound/plan.toml");
    let text = std::fs::read_to_string(&path).expect("the example is there");
    // With tides, so that strum is among the causes.
    let text = text
        .replace("[case.neap]\n", "[case.neap]\nstrongest_at = \"neaps\"\n")
        .replace(
            "[case.spring]\n",
            "[case.spring]\nstrongest_at = \"springs\"\n",
        );
    let timed = |threads: usize| -> (f64, ListeningHours) {
        let mut times = Vec::new();
        let mut last = None;
        for _ in 0..repeats {
            let begun = Instant::now();
            let found = hours(&path, &text, threads);
            times.push(begun.elapsed().as_secs_f64());
            last = Some(found);
        }
        times.sort_by(f64::total_cmp);
        (times[repeats / 2], last.expect("at least one repeat"))
    };
    let (one_s, one) = timed(1);
    let (two_s, two) = timed(2);
    let strums = one.ears.iter().all(|ear| {
        let strum = ear.causes.iter().find(|c| c.cause == Cause::Strum);
        strum.is_some_and(|c| matches!(c.known, CauseKnown::Asked(_)))
    });
    println!(
        "{LISTENING_YEARS} years of {} hydrophones, one thread {one_s:.2} s, two {two_s:.2} s (bound {LONGEST_S} s)",
        one.ears.len()
    );
    if one == two && strums && two_s <= LONGEST_S {
        ExitCode::SUCCESS
    } else {
        ExitCode::FAILURE
    }
}

fn hours(path: &Path, text: &str, threads: usize) -> ListeningHours {
    let reading = assess::read(path, &|asked| {
        if asked == path {
            Ok(text.as_bytes().to_vec())
        } else {
            plan::from_disk(asked)
        }
    });
    let line = reading.line.as_ref().expect("the example has a line");
    let ask = HoursAsk {
        threads,
        ..HoursAsk::default()
    };
    let found = listening_hours(line, &ask, &|_| true);
    found
        .expect("the example says enough")
        .expect("nobody stops it")
}
