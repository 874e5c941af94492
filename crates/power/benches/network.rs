//! Time to solve a tree of 1,000 nodes with constant-power loads, beside the same Newton with SciPy's sparse matrices.
//!
//! For people who change the solver: bound 0.3 ms, aim 0.15 ms for one warm solve of a planned network. The peer is
//! `bench/power_network.py`, run with the interpreter named by the environment variable PYTHON (default python3).
//! Both are warm, ours and theirs take turns, equal results come first. Prints one table. Exit status 1 if results
//! differ, the peer does not run, or the bound is missed.
#![expect(
    clippy::print_stdout,
    clippy::print_stderr,
    reason = "a bench tells its figures"
)]

use std::collections::BTreeMap;
use std::process::{Command, ExitCode};
use std::time::Instant;

use power::{Branch, Load, LoadKind, Method, Network, Solver, Source};
use serde_json::Value;

const NODES: usize = 1000;
const ROUNDS: usize = 3;
const RUNS: usize = 2000;
const PEER_RUNS: usize = 200;
const BOUND_S: f64 = 0.3e-3;
const SAME_V: f64 = 1e-8;

fn main() -> ExitCode {
    match run() {
        Ok(true) => ExitCode::SUCCESS,
        Ok(false) => ExitCode::FAILURE,
        Err(why) => {
            eprintln!("power bench: {why}");
            ExitCode::FAILURE
        }
    }
}

fn run() -> Result<bool, Box<dyn std::error::Error>> {
    let network = tree();
    let mut seconds: BTreeMap<String, Vec<[f64; 3]>> = BTreeMap::new();
    let mut farthest_v = 0.0_f64;
    for _ in 0..ROUNDS {
        for (name, method) in [("tree", Method::Automatic), ("mesh", Method::Mesh)] {
            let solver = Solver::with_method(&network, method)?;
            let mut scratch = solver.scratch();
            let mut taken = Vec::with_capacity(RUNS);
            for _ in 0..RUNS + RUNS / 10 {
                let begin = Instant::now();
                let solution = solver.solve(&network.loads, &mut scratch)?;
                taken.push(begin.elapsed().as_secs_f64());
                std::hint::black_box(solution);
            }
            let name = format!(
                "ours, {name} ({} steps)",
                solver.solve(&network.loads, &mut scratch)?.iterations
            );
            seconds
                .entry(name)
                .or_default()
                .push(quantiles(taken.split_off(RUNS / 10)));
        }
        let solution = power::solve(&network)?;
        let theirs = peer()?;
        let ways = theirs["ways"]
            .as_object()
            .ok_or("the peer printed no table")?;
        for (name, way) in ways {
            let voltages_v = way["voltages_v"]
                .as_array()
                .ok_or("the peer printed no voltages")?;
            for (ours, theirs) in solution.voltages_v.iter().zip(voltages_v) {
                farthest_v = farthest_v.max((ours - number(theirs)?).abs());
            }
            let [median, low, high] = [&way["median_s"], &way["low_s"], &way["high_s"]].map(number);
            let name = format!("theirs, {name} ({} steps)", way["steps"]);
            seconds
                .entry(name)
                .or_default()
                .push([median?, low?, high?]);
        }
    }
    println!("tree of {NODES} nodes, one solve, warm; largest difference {farthest_v:.1e} V");
    let rows: Vec<(String, [f64; 3])> = seconds
        .into_iter()
        .map(|(name, rounds)| (name, middle(&rounds)))
        .collect();
    let ours_s = rows
        .iter()
        .find(|(name, _)| name.starts_with("ours, tree"))
        .map(|(_, row)| row[0])
        .ok_or("no row of ours")?;
    println!(
        "{:<52} {:>10} {:>22} {:>8}",
        "", "median", "10 % to 90 %", "ratio"
    );
    for (name, [median, low, high]) in rows {
        let spread = format!("{:.1} to {:.1} us", low * 1e6, high * 1e6);
        println!(
            "{name:<52} {:>7.1} us {spread:>22} {:>8.1}",
            median * 1e6,
            median / ours_s
        );
    }
    let bound = if ours_s <= BOUND_S { "met" } else { "missed" };
    println!("bound {:.0} us: {bound}", BOUND_S * 1e6);
    Ok(farthest_v <= SAME_V && ours_s <= BOUND_S)
}

fn number(value: &Value) -> Result<f64, String> {
    value
        .as_f64()
        .ok_or_else(|| format!("the peer printed {value} for a number"))
}

fn peer() -> Result<Value, Box<dyn std::error::Error>> {
    let python = std::env::var("PYTHON").unwrap_or_else(|_| "python3".to_owned());
    let script = format!(
        "{}/../../bench/power_network.py",
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

/// The round with the median of the medians.
fn middle(rounds: &[[f64; 3]]) -> [f64; 3] {
    let mut sorted = rounds.to_vec();
    sorted.sort_by(|a, b| a[0].total_cmp(&b[0]));
    sorted[sorted.len() / 2]
}

/// The same integers as in `bench/power_network.py`.
fn tree() -> Network {
    let mut state: u64 = 2027;
    let mut draw = |below: usize| {
        state = state
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        usize::try_from(state >> 33).expect("31 bits") % below
    };
    let thousandths =
        |whole: usize| f64::from(u32::try_from(whole).expect("a small count")) / 1000.0;
    let mut network = Network {
        nodes: NODES,
        sources: vec![Source {
            node: 0,
            voltage_v: 375.0,
            resistance_ohm: 0.5,
            current_limit_a: None,
        }],
        ..Network::default()
    };
    for i in 1..NODES {
        network.spans.push(Branch {
            a: i - 1 - draw(i.min(8)),
            b: i,
            resistance_ohm: thousandths(50 + draw(101)),
        });
        network.loads.push(Load {
            node: i,
            kind: LoadKind::Power {
                power_w: thousandths(800 + draw(3201)),
            },
        });
    }
    network
}
