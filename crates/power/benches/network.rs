//! Time to solve trees of 100 to 100,000 nodes with constant-power loads, beside the same Newton with SciPy's sparse matrices, and
//! meshes of ten loops more.
//!
//! For people who change the solver: bounds for one warm solve of a planned network (median) at 1,000 nodes and at 100,000, for the
//! growth between, and for a mesh against its tree. The peer is `bench/power_network.py`, run with the interpreter named by the
//! environment variable PYTHON (default python3). Both are warm, ours and theirs take turns, equal results come first. Exit
//! status 1 if results differ, the peer does not run, or a bound is missed.
//!
//! The trees are the same in volts from end to end: resistances and powers shrink as the nodes grow. Time for each node grows a
//! little all the same where the tree no longer fits a cache: some 200 bytes a node, so 100,000 nodes are 20 MB.
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

/// Nodes, rounds, our runs and theirs in a round, bound of a median solve of ours in seconds.
const SIZES: [Size; 4] = [
    Size::of(100, 3, 4000, 200, None),
    Size::of(1000, 3, 1000, 50, Some(0.2e-3)),
    Size::of(10_000, 3, 100, 5, None),
    Size::of(100_000, 3, 15, 2, Some(40e-3)),
];
/// Exponent of time over nodes, by least squares over the sizes that fit the caches.
const MOST_EXPONENT: f64 = 1.1;
const FITS_CACHES: usize = 10_000;
/// Time for each node beyond the caches over that within: what memory costs, on a machine shared with others.
const MOST_BEYOND_CACHES: f64 = 6.0;
const LOOPS: usize = 10;
const MOST_MESH_RATIO: f64 = 5.0;
/// The peer's ways differ from each other by 1e-9 V at 1,000 nodes and by ten times as much for ten times the nodes.
const SAME_V_PER_NODE: f64 = 1e-11;

struct Size {
    nodes: usize,
    rounds: usize,
    runs: usize,
    peer_runs: usize,
    bound_s: Option<f64>,
}

impl Size {
    const fn of(
        nodes: usize,
        rounds: usize,
        runs: usize,
        peer_runs: usize,
        bound_s: Option<f64>,
    ) -> Size {
        Size {
            nodes,
            rounds,
            runs,
            peer_runs,
            bound_s,
        }
    }
}

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
    let mut good = true;
    let (mut fitting, mut beyond) = (Vec::new(), Vec::new());
    for size in &SIZES {
        let (median_s, within) = one_size(size)?;
        good &= within;
        let point = (size.nodes as f64, median_s);
        if size.nodes <= FITS_CACHES {
            fitting.push(point);
        } else {
            beyond.push(point);
        }
    }
    println!("\ngrowth of a solve of ours along the tree");
    for (nodes, median_s) in fitting.iter().chain(&beyond) {
        println!("{nodes:>8} nodes {:>8.1} ns a node", 1e9 * median_s / nodes);
    }
    let exponent = slope(&fitting);
    good &= told("exponent within the caches", exponent, MOST_EXPONENT, "");
    let each_s = |points: &[(f64, f64)]| points.last().map(|(n, s)| s / n);
    if let (Some(inside_s), Some(outside_s)) = (each_s(&fitting), each_s(&beyond)) {
        let ratio = outside_s / inside_s;
        good &= told(
            "a node beyond the caches against one within",
            ratio,
            MOST_BEYOND_CACHES,
            "",
        );
    }
    Ok(good)
}

/// Tells a figure beside its bound; whether it is met.
fn told(what: &str, value: f64, bound: f64, unit: &str) -> bool {
    let met = value <= bound;
    let word = if met { "met" } else { "missed" };
    println!("{what} {value:.3}{unit}, bound {bound:.3}{unit}: {word}");
    met
}

/// Least squares of ln time over ln nodes.
fn slope(medians: &[(f64, f64)]) -> f64 {
    let count = medians.len() as f64;
    let logs: Vec<(f64, f64)> = medians.iter().map(|(n, s)| (n.ln(), s.ln())).collect();
    let (x, y) = logs
        .iter()
        .fold((0.0, 0.0), |(x, y), l| (x + l.0 / count, y + l.1 / count));
    let (above, below) = logs.iter().fold((0.0, 0.0), |(a, b), l| {
        (a + (l.0 - x) * (l.1 - y), b + (l.0 - x) * (l.0 - x))
    });
    above / below
}

/// The median of a solve along the tree, and whether all bounds of this size are met.
fn one_size(size: &Size) -> Result<(f64, bool), Box<dyn std::error::Error>> {
    let network = tree(size.nodes);
    let mesh = with_loops(&network);
    let mut seconds: BTreeMap<String, Vec<[f64; 3]>> = BTreeMap::new();
    let mut farthest_v = 0.0_f64;
    for _ in 0..size.rounds {
        for (name, network, method) in [
            ("tree", &network, Method::Automatic),
            ("mesh method on the tree", &network, Method::Mesh),
            ("mesh of ten loops", &mesh, Method::Automatic),
        ] {
            let solver = Solver::with_method(network, method)?;
            let mut scratch = solver.scratch();
            let mut taken = Vec::with_capacity(size.runs);
            let mut steps = 0;
            for _ in 0..size.runs + size.runs / 10 {
                let begin = Instant::now();
                let solution = solver.solve(&network.loads, &mut scratch)?;
                taken.push(begin.elapsed().as_secs_f64());
                steps = std::hint::black_box(solution).iterations;
            }
            seconds
                .entry(format!("ours, {name} ({steps} steps)"))
                .or_default()
                .push(quantiles(taken.split_off(size.runs / 10)));
        }
        let solution = power::solve(&network)?;
        let theirs = peer(size)?;
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
    println!(
        "\ntree of {} nodes, one solve, warm; largest difference {farthest_v:.1e} V",
        size.nodes
    );
    let rows: Vec<(String, [f64; 3])> = seconds
        .into_iter()
        .map(|(name, rounds)| (name, middle(&rounds)))
        .collect();
    let of = |wanted: &str| {
        let row = rows.iter().find(|(name, _)| name.starts_with(wanted));
        row.map(|(_, row)| row[0]).ok_or("no row of ours")
    };
    let (ours_s, mesh_s) = (of("ours, tree")?, of("ours, mesh of ten loops")?);
    println!(
        "{:<52} {:>11} {:>26} {:>8}",
        "", "median", "10 % to 90 %", "ratio"
    );
    for (name, [median, low, high]) in &rows {
        let spread = format!("{:.1} to {:.1} us", low * 1e6, high * 1e6);
        println!(
            "{name:<52} {:>8.1} us {spread:>26} {:>8.1}",
            median * 1e6,
            median / ours_s
        );
    }
    let mut good = farthest_v <= SAME_V_PER_NODE * size.nodes as f64;
    if let Some(bound_s) = size.bound_s {
        good &= told("a solve", 1e3 * ours_s, 1e3 * bound_s, " ms");
    }
    good &= told(
        "a mesh of ten loops against its tree",
        mesh_s / ours_s,
        MOST_MESH_RATIO,
        "",
    );
    Ok((ours_s, good))
}

fn number(value: &Value) -> Result<f64, String> {
    value
        .as_f64()
        .ok_or_else(|| format!("the peer printed {value} for a number"))
}

fn peer(size: &Size) -> Result<Value, Box<dyn std::error::Error>> {
    let python = std::env::var("PYTHON").unwrap_or_else(|_| "python3".to_owned());
    let script = format!(
        "{}/../../bench/power_network.py",
        env!("CARGO_MANIFEST_DIR")
    );
    let output = Command::new(&python)
        .arg(script)
        .arg(size.nodes.to_string())
        .arg(size.peer_runs.to_string())
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

/// The same integers as in `bench/power_network.py`; milliohms and milliwatts at 1,000 nodes.
fn tree(nodes: usize) -> Network {
    let mut draw = draws();
    let shrunk = |whole: usize| whole as f64 / nodes as f64;
    let mut network = Network {
        nodes,
        sources: vec![Source {
            node: 0,
            voltage_v: 375.0,
            resistance_ohm: 0.5,
            current_limit_a: None,
        }],
        ..Network::default()
    };
    for i in 1..nodes {
        network.spans.push(Branch {
            a: i - 1 - draw(i.min(8)),
            b: i,
            resistance_ohm: shrunk(50 + draw(101)),
        });
        network.loads.push(Load {
            node: i,
            kind: LoadKind::Power {
                power_w: shrunk(800 + draw(3201)),
            },
        });
    }
    network
}

/// The tree with ten spans more between any two nodes.
fn with_loops(tree: &Network) -> Network {
    let mut draw = draws();
    let mut network = tree.clone();
    while network.spans.len() < tree.spans.len() + LOOPS {
        let (a, b) = (draw(tree.nodes), draw(tree.nodes));
        if a != b {
            network.spans.push(Branch {
                a,
                b,
                resistance_ohm: 0.1,
            });
        }
    }
    network
}

fn draws() -> impl FnMut(usize) -> usize {
    let mut state: u64 = 2027;
    move |below: usize| {
        state = state
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        usize::try_from(state >> 33).expect("31 bits") % below
    }
}
