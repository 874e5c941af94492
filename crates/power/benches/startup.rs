//! Time to follow the start of a ladder of three modules, beside the same equations in SciPy.
//!
//! For people who change the integrator: bound 5 ms. The peer is `bench/power_startup.py`, run with the interpreter
//! named by the environment variable PYTHON (default python3): LSODA with terminal events, to the same tolerance. Ours
//! and theirs take turns, equal switchings come first. Prints one table. Exit status 1 if results differ, the peer
//! does not run, or the bound is missed.
#![expect(
    clippy::print_stdout,
    clippy::print_stderr,
    reason = "a bench tells its figures"
)]

use std::process::{Command, ExitCode};
use std::time::Instant;

use power::startup::{EventKind, Input, Line, Module, Settings, start_up};
use power::{Branch, Network, Source};
use serde_json::Value;

const ROUNDS: usize = 3;
const RUNS: usize = 500;
const PEER_RUNS: usize = 5;
const BOUND_S: f64 = 5e-3;
const SAME_S: f64 = 1e-6;

fn main() -> ExitCode {
    match run() {
        Ok(true) => ExitCode::SUCCESS,
        Ok(false) => ExitCode::FAILURE,
        Err(why) => {
            eprintln!("start-up bench: {why}");
            ExitCode::FAILURE
        }
    }
}

fn run() -> Result<bool, Box<dyn std::error::Error>> {
    let line = ladder();
    let settings = Settings::following(3.0);
    let mut ours_s = Vec::new();
    let mut theirs_s = Vec::new();
    let mut farthest_s = 0.0_f64;
    let mut effort = None;
    for _ in 0..ROUNDS {
        for _ in 0..RUNS {
            let begin = Instant::now();
            let report = start_up(&line, &settings)?;
            ours_s.push(begin.elapsed().as_secs_f64());
            effort = Some(std::hint::black_box(report).effort);
        }
        let report = start_up(&line, &settings)?;
        let switched_s: Vec<f64> = report
            .events
            .iter()
            .filter(|event| {
                matches!(
                    event.kind,
                    EventKind::On { .. } | EventKind::BootEnd { .. } | EventKind::LimitLeft { .. }
                )
            })
            .map(|event| event.at_s)
            .collect();
        let peer = peer()?;
        let peer_switched = peer["switched_s"].as_array().ok_or("no switchings")?;
        if peer_switched.len() != switched_s.len() {
            return Err(format!("ours {switched_s:?}, theirs {peer_switched:?}").into());
        }
        for (ours, theirs) in switched_s.iter().zip(peer_switched) {
            farthest_s = farthest_s.max((ours - number(theirs)?).abs());
        }
        for seconds in peer["seconds"].as_array().ok_or("no times")? {
            theirs_s.push(number(seconds)?);
        }
    }
    let effort = effort.ok_or("no run")?;
    println!(
        "start of a ladder of three modules, {} steps; largest difference of a switching {farthest_s:.1e} s",
        effort.steps + effort.rejections + effort.searches
    );
    let ours = quantiles(ours_s);
    let theirs = quantiles(theirs_s);
    println!(
        "{:<24} {:>12} {:>24} {:>8}",
        "", "median", "10 % to 90 %", "ratio"
    );
    for (name, [median, low, high]) in [("ours", ours), ("theirs, scipy LSODA", theirs)] {
        let spread = format!("{:.3} to {:.3} ms", low * 1e3, high * 1e3);
        println!(
            "{name:<24} {:>9.3} ms {spread:>24} {:>8.1}",
            median * 1e3,
            median / ours[0]
        );
    }
    let bound = if ours[0] <= BOUND_S { "met" } else { "missed" };
    println!("bound {:.0} ms: {bound}", BOUND_S * 1e3);
    Ok(farthest_s <= SAME_S && ours[0] <= BOUND_S)
}

fn number(value: &Value) -> Result<f64, String> {
    value
        .as_f64()
        .ok_or_else(|| format!("the peer printed {value} for a number"))
}

fn peer() -> Result<Value, Box<dyn std::error::Error>> {
    let python = std::env::var("PYTHON").unwrap_or_else(|_| "python3".to_owned());
    let script = format!(
        "{}/../../bench/power_startup.py",
        env!("CARGO_MANIFEST_DIR")
    );
    let output = Command::new(&python)
        .arg(script)
        .arg(PEER_RUNS.to_string())
        .output()?;
    if !output.status.success() {
        let why = String::from_utf8_lossy(&output.stderr).into_owned();
        return Err(format!("{python} failed: {why}").into());
    }
    Ok(serde_json::from_slice(&output.stdout)?)
}

/// Median, 10 % and 90 % quantile.
fn quantiles(mut seconds: Vec<f64>) -> [f64; 3] {
    seconds.sort_by(f64::total_cmp);
    let at = |share: usize| seconds[(seconds.len() - 1) * share / 100];
    [at(50), at(10), at(90)]
}

/// The same figures as in `bench/power_startup.py`.
fn ladder() -> Line {
    let ohm = [10.221848, 7.666386, 5.889174];
    let farad = [470e-6, 1000e-6, 330e-6];
    let boot_w = [9.0, 10.0, 7.0];
    let running_w = [6.0, 7.0, 4.0];
    Line {
        network: Network {
            nodes: 4,
            spans: (0..3)
                .map(|i| Branch {
                    a: i,
                    b: i + 1,
                    resistance_ohm: ohm[i],
                })
                .collect(),
            sources: vec![Source {
                node: 0,
                voltage_v: 48.0,
                resistance_ohm: 0.0,
                current_limit_a: Some(0.9),
            }],
            loads: Vec::new(),
        },
        capacitors: Vec::new(),
        modules: (0..3)
            .map(|i| Module {
                node: i + 1,
                capacitance_f: farad[i],
                input: Input::LockOut {
                    on_v: 36.0,
                    off_v: 26.0,
                },
                leakage_ohm: None,
                boot_power_w: boot_w[i],
                boot_s: 0.2,
                running_power_w: running_w[i],
                not_before_s: 0.0,
            })
            .collect(),
    }
}
