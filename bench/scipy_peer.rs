//! A Python program of this folder as a peer that takes turns with us: one run for each line it is sent. Shared by the benches.

use std::env;
use std::io::{BufRead, BufReader, Write};
use std::path::Path;
use std::process::{Child, ChildStdin, ChildStdout, Command, Stdio};

/// The scipy program, answering one run for each line.
pub(crate) struct Peer {
    child: Child,
    input: ChildStdin,
    output: BufReader<ChildStdout>,
}

impl Peer {
    /// Starts `script` on samples of its own, or on a recording that it reads anew in each run; `None` without an interpreter
    /// that has what it needs.
    pub(crate) fn start(script: &str, recording: Option<&Path>) -> Option<Self> {
        let python = env::var("PYTHON").unwrap_or_else(|_| "python3".to_owned());
        let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/../../bench/");
        let mut child = Command::new(python)
            .args([&format!("{folder}{script}"), "--serve"])
            .args(recording)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .ok()?;
        let input = child.stdin.take()?;
        let mut output = BufReader::new(child.stdout.take()?);
        let mut line = String::new();
        output.read_line(&mut line).ok()?;
        (line.trim() == "ready").then_some(Self {
            child,
            input,
            output,
        })
    }

    /// Seconds of one run on the band at this place, and the mean level of its second half, dB re full scale.
    pub(crate) fn run(&mut self, place: usize) -> (f64, f64) {
        let answer = self.answer(place);
        (answer[0], answer[1])
    }
}

impl Peer {
    /// All numbers that it answers for the work at this place, seconds first.
    pub(crate) fn answer(&mut self, place: usize) -> Vec<f64> {
        writeln!(self.input, "{place}").expect("scipy listens");
        let mut line = String::new();
        self.output.read_line(&mut line).expect("scipy answers");
        line.split_whitespace()
            .map(|f| f.parse().expect("a number"))
            .collect()
    }
}

impl Drop for Peer {
    fn drop(&mut self) {
        drop(self.child.kill());
        drop(self.child.wait());
    }
}

/// A whole number from the environment.
pub(crate) fn number(name: &str, otherwise: usize) -> usize {
    env::var(name)
        .ok()
        .and_then(|v| v.parse().ok())
        .unwrap_or(otherwise)
}

/// Median, and the range as text; puts the times in order.
pub(crate) fn spread(times: &mut [f64]) -> (f64, String) {
    times.sort_by(f64::total_cmp);
    let (first, last) = (times[0], times[times.len() - 1]);
    (times[times.len() / 2], format!("({first:.3} to {last:.3})"))
}

/// Prints theirs beside ours, times in order; false when the median ratio or the level misses its bound. The ratio of the
/// fastest runs is told too: scipy's times vary more than ours.
pub(crate) fn compare(ours: &[f64], theirs: &mut [f64], bound: f64, difference_db: f64) -> bool {
    const MOST_DB: f64 = 0.01;
    let (their_median, range) = spread(theirs);
    let (ratio, fastest) = (their_median / ours[ours.len() / 2], theirs[0] / ours[0]);
    println!(
        "    scipy {their_median:.3} s {range}; ratio {ratio:.2} (bound {bound}), of the fastest runs {fastest:.2}; level differs by {difference_db:.5} dB (bound {MOST_DB})"
    );
    ratio >= bound && difference_db.abs() <= MOST_DB
}
