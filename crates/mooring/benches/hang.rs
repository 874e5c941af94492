//! A line in a current, as `bench/mooring_scipy.py` hangs it, and a hundred design cases of a line of ten modules.
//!
//! Run with `cargo bench -p mooring`. `PYTHON` names an interpreter with scipy (default `python3`); ours and scipy run in turn, both warm. Equal results come
//! first: the top within 1e-4 m. Exit status 1 when a bound is missed or scipy does not run. `HANG_REPEATS` shortens it.
#![expect(clippy::print_stdout, reason = "a bench tells its figures")]

#[path = "../../../bench/scipy_peer.rs"]
#[expect(dead_code, reason = "this bench compares in its own way")]
mod scipy_peer;

use std::process::ExitCode;
use std::time::Instant;

use mooring::{Body, Current, Hanging, Rope, Top, Water, hang};
use scipy_peer::{Peer, number, spread};

const PLACE_M: f64 = 1e-4;
/// Time for the line with two bodies, s.
const BOUND_S: f64 = 0.3e-3;
/// Time for a hundred design cases of the line of ten modules, s.
const CASES_BOUND_S: f64 = 0.2;
const CASES: usize = 100;
/// Lines in one measurement.
const LINES: usize = 200;

fn main() -> ExitCode {
    let repeats = number("HANG_REPEATS", 9).max(1);
    let Some(mut peer) = Peer::start("mooring_scipy.py", None) else {
        println!("scipy was not run: no interpreter with scipy (set PYTHON)");
        return ExitCode::FAILURE;
    };
    let line = two_bodies();
    let shape = hang(&line).expect("the line hangs");
    let mut good = true;
    for (place, what) in [(0, "shooting"), (1, "solve_bvp")] {
        let theirs = peer.answer(place);
        let apart_m = (theirs[1] - shape.top_m[0])
            .abs()
            .max((theirs[2] - shape.top_m[2]).abs());
        println!("scipy, {what}: the top lies {apart_m:.2e} m from ours (bound {PLACE_M:.0e})");
        good &= apart_m <= PLACE_M;
    }
    let (mut ours, mut shot, mut solved, mut many) =
        (Vec::new(), Vec::new(), Vec::new(), Vec::new());
    let ten = ten_modules();
    for _ in 0..repeats {
        let start = Instant::now();
        for _ in 0..LINES {
            hang(&line).expect("the line hangs");
        }
        ours.push(start.elapsed().as_secs_f64() / LINES as f64);
        shot.push(peer.answer(0)[0]);
        solved.push(peer.answer(1)[0]);
        let start = Instant::now();
        for case in 0..CASES {
            let mut there = ten.clone();
            there.water.current = there.water.current.scaled(0.02 * case as f64);
            hang(&there).expect("the line hangs");
        }
        many.push(start.elapsed().as_secs_f64());
    }
    let ms = |times: &mut [f64]| {
        for time in times.iter_mut() {
            *time *= 1e3;
        }
        spread(times)
    };
    let (our_ms, range) = ms(&mut ours);
    println!("ours: {our_ms:.4} ms {range} (bound {:.1})", BOUND_S * 1e3);
    good &= our_ms <= BOUND_S * 1e3;
    for (what, times) in [("shooting", &mut shot), ("solve_bvp", &mut solved)] {
        let (median_ms, range) = ms(times);
        println!(
            "    scipy, {what}: {median_ms:.1} ms {range}; ratio {:.0}",
            median_ms / our_ms
        );
    }
    let (many_ms, range) = ms(&mut many);
    println!(
        "{CASES} cases of ten modules: {many_ms:.1} ms {range} (bound {:.0})",
        CASES_BOUND_S * 1e3
    );
    good &= many_ms <= CASES_BOUND_S * 1e3;
    if good {
        ExitCode::SUCCESS
    } else {
        ExitCode::FAILURE
    }
}

fn current() -> Current {
    Current::new(&[(0.0, 0.9, 0.0), (40.0, 0.5, 0.0), (120.0, 0.1, 0.0)]).expect("depths that rise")
}

fn two_bodies() -> Hanging {
    Hanging {
        water: Water {
            depth_m: 120.0,
            density_kg_m3: 1025.0,
            current: current(),
        },
        ropes: vec![rope(95.0)],
        bodies: vec![
            Body {
                at_m: 40.0,
                weight_n: 60.0,
                drag_area_m2: 0.05,
            },
            Body {
                at_m: 75.0,
                weight_n: 120.0,
                drag_area_m2: 0.08,
            },
        ],
        foot_m: 0.0,
        top: Top::Float {
            buoyancy_n: 1200.0,
            drag_area_m2: 0.25,
        },
    }
}

fn ten_modules() -> Hanging {
    let body = |index: usize| Body {
        at_m: 12.0 * (index + 1) as f64,
        weight_n: 15.0,
        drag_area_m2: 0.02,
    };
    Hanging {
        water: Water {
            depth_m: 120.0,
            density_kg_m3: 1025.0,
            current: current(),
        },
        ropes: vec![rope(140.0)],
        bodies: (0..10).map(body).collect(),
        foot_m: 0.0,
        top: Top::Surface {
            force_n: [250.0, 0.0],
        },
    }
}

fn rope(length_m: f64) -> Rope {
    Rope {
        length_m,
        diameter_m: 0.014,
        weight_n_m: 0.9,
        stiffness_n: Some(8e5),
        normal_drag: 1.2,
        tangential_drag: 0.01,
    }
}
