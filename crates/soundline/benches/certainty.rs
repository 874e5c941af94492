//! A thousand draws of the example, whole process, on two threads and on one.
//!
//! Run with `cargo bench -p soundline --bench certainty`. At most 10 s on two cores, and the same document on one thread as on two. `DRAWINGS` (3)
//! is how often it is timed. Exit status 1 when the bound is missed or the documents differ.
#![expect(clippy::print_stdout, reason = "a bench tells its figures")]

use std::process::{Command, ExitCode};
use std::time::Instant;

const PROGRAM: &str = env!("CARGO_BIN_EXE_soundline");
const PLAN: &str = concat!(
    env!("CARGO_MANIFEST_DIR"),
    "/../../plans/harrow-sound/plan.toml"
);
/// A thousand draws, s.
const LONGEST_S: f64 = 10.0;

fn main() -> ExitCode {
    let count = std::env::var("DRAWINGS").ok();
    let count: usize = count.map_or(3, |n| n.parse().expect("DRAWINGS is a number"));
    let runs: Vec<(f64, Vec<u8>)> = (0..count.max(1)).map(|_| drawn(&[])).collect();
    // `taskset` leaves the program one processor, so that it takes one thread.
    let (alone_s, alone) = drawn(&["taskset", "-c", "0"]);
    let mut seconds: Vec<f64> = runs.iter().map(|(s, _)| *s).collect();
    seconds.sort_by(f64::total_cmp);
    let median = seconds[seconds.len() / 2];
    let same = runs.iter().all(|(_, document)| *document == alone);
    println!(
        "check --certainty, a thousand draws of the example: {median:.2} s ({:.2} to {:.2}; bound {LONGEST_S} s), {alone_s:.2} s on one processor; {}",
        seconds[0],
        seconds[seconds.len() - 1],
        if same {
            "the same document"
        } else {
            "NOT THE SAME document"
        }
    );
    if same && median <= LONGEST_S {
        ExitCode::SUCCESS
    } else {
        ExitCode::FAILURE
    }
}

/// Seconds and document.
fn drawn(before: &[&str]) -> (f64, Vec<u8>) {
    let words: Vec<&str> = before
        .iter()
        .copied()
        .chain([PROGRAM, "--format", "json", "check", PLAN])
        .chain(["--certainty", "--no-evidence"])
        .collect();
    let begin = Instant::now();
    let output = Command::new(words[0])
        .args(&words[1..])
        .output()
        .expect("the program can be started");
    let seconds = begin.elapsed().as_secs_f64();
    let whole: serde_json::Value =
        serde_json::from_slice(&output.stdout).expect("the program writes a document");
    assert_eq!(whole["draws"], 1000, "{whole}");
    (seconds, output.stdout)
}
