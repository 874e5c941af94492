//! Decidecade levels, 10 Hz to 20 kHz, of a minute of 48 kHz, 16-bit sound, as `bench/bank_scipy.py` does it, on one thread.
//!
//! Run with `cargo bench -p signal --bench bank`. `PYTHON` names an interpreter with scipy (default `python3`); ours and scipy
//! run in turn, both warm. The levels of all bands are compared first, with eight poles in both; the time is compared with
//! that too and with the plain six-pole bank, which is less work. Exit status 1 when a bound is missed or scipy does not
//! run. `BANK_SECONDS` and `BANK_REPEATS` shorten it.
#![expect(clippy::print_stdout, reason = "a bench tells its figures")]

#[path = "../../../bench/scipy_peer.rs"]
#[expect(dead_code, reason = "this bench compares in its own way")]
mod scipy_peer;

use std::process::ExitCode;
use std::time::Instant;

use scipy_peer::{Peer, number, spread};

use signal::{Block, Decidecade, DecidecadeBank, level_db};

const RATE_HZ: f64 = 48_000.0;
const CHUNK: usize = 4096;
/// Largest difference of any band's level from SciPy's eight poles at the full rate, dB, on white noise: the bilinear
/// transform bends the skirts of a decimated band a little.
const MOST_DB: f64 = 0.02;
/// How many times as fast as SciPy we mean to be, against six poles.
const BOUND: f64 = 5.0;

fn main() -> ExitCode {
    let seconds = number("BANK_SECONDS", 60);
    let repeats = number("BANK_REPEATS", 5).max(1);
    let Some(mut peer) = Peer::start("bank_scipy.py", None) else {
        println!("scipy was not run: no interpreter with scipy (set PYTHON)");
        return ExitCode::FAILURE;
    };
    let pcm = samples(48_000 * seconds);
    let (levels, same) = (run(&pcm), peer.answer(0));
    let differs_db = levels
        .iter()
        .zip(&same[1..])
        .map(|(a, b)| (a - b).abs())
        .fold(0.0, f64::max);
    let mut good = levels.len() == same.len() - 1 && differs_db <= MOST_DB;
    println!(
        "{} bands: levels differ by at most {differs_db:.4} dB (bound {MOST_DB})",
        levels.len()
    );
    peer.answer(1);
    let (mut ours, mut eight, mut six) = (Vec::new(), Vec::new(), Vec::new());
    for _ in 0..repeats {
        let start = Instant::now();
        run(&pcm);
        ours.push(start.elapsed().as_secs_f64());
        eight.push(peer.answer(0)[0]);
        six.push(peer.answer(1)[0]);
    }
    let times = |median: f64| seconds as f64 / median;
    let (our_median, range) = spread(&mut ours);
    println!(
        "ours, eight poles: {our_median:.4} s {range}, {:.0} times real time",
        times(our_median)
    );
    for (what, theirs) in [("eight", &mut eight), ("six", &mut six)] {
        let (median, range) = spread(theirs);
        let (ratio, fastest) = (median / our_median, theirs[0] / ours[0]);
        println!(
            "    scipy, {what} poles: {median:.3} s {range}, {:.0} times real time; ratio {ratio:.2} (bound {BOUND}), of the fastest runs {fastest:.2}",
            times(median)
        );
        good &= ratio >= BOUND;
    }
    if good {
        ExitCode::SUCCESS
    } else {
        ExitCode::FAILURE
    }
}

/// Levels of the second half by band, dB re full scale.
fn run(pcm: &[i16]) -> Vec<f64> {
    let mut bank = DecidecadeBank::new(Decidecade::new(10), Decidecade::new(43), RATE_HZ)
        .expect("20 kHz can be had at 48 kHz");
    let half = (pcm.len() / 2) as u64;
    let (bands, wait) = (bank.bands().len(), bank.longest_delay());
    let from: Vec<u64> = (0..bands).map(|b| half / bank.factor(b)).collect();
    let to: Vec<u64> = (0..bands)
        .map(|b| (pcm.len() as u64).div_ceil(bank.factor(b)))
        .collect();
    let mut sums = vec![(0.0, 0_u64); bands];
    let mut take = |first: u64, x: &[f32]| {
        bank.process(Block::new(first, x), |b| {
            let count = b.x.len() as u64;
            let [skip, end] =
                [from[b.band], to[b.band]].map(|at| at.saturating_sub(b.first).min(count) as usize);
            let sum = &mut sums[b.band];
            sum.0 += square_sum(&b.x[skip..end]);
            sum.1 += (end - skip) as u64;
        })
        .expect("blocks follow each other");
        first + x.len() as u64
    };
    let mut x = [0.0_f32; CHUNK];
    let mut first = 0;
    for piece in pcm.chunks(CHUNK) {
        let x = &mut x[..piece.len()];
        for (v, &c) in x.iter_mut().zip(piece) {
            *v = f32::from(c) * (1.0 / 32768.0);
        }
        first = take(first, x);
    }
    // The decimators still hold the last samples of the low bands.
    take(first, &vec![0.0; wait as usize]);
    sums.iter()
        .map(|(sum, count)| level_db(sum / *count as f64, 1.0))
        .collect()
}

fn square_sum(x: &[f64]) -> f64 {
    let (body, tail) = x.as_chunks::<4>();
    let mut lanes = [0.0; 4];
    for c in body {
        for i in 0..4 {
            lanes[i] += c[i] * c[i];
        }
    }
    lanes.iter().sum::<f64>() + tail.iter().map(|v| v * v).sum::<f64>()
}

/// The generator of `bench/bank_scipy.py`.
fn samples(count: usize) -> Vec<i16> {
    (0..count as u64)
        .map(|i| {
            let mut z = (i + 1).wrapping_mul(0x9E37_79B9_7F4A_7C15);
            z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
            z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
            ((z >> 50) as i16) - 8192
        })
        .collect()
}
