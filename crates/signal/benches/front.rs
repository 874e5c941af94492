//! Band level of ten minutes of 96 kHz, 16-bit sound, as `bench/listen_scipy.py` does it, on one thread.
//!
//! Run with `cargo bench -p signal`. `PYTHON` names an interpreter with scipy (default `python3`); ours and scipy run in
//! turn, both warm, and the levels are compared. Exit status 1 when a bound is missed or scipy does not run. `LISTEN_SECONDS` and `LISTEN_REPEATS` shorten it.
#![expect(clippy::print_stdout, reason = "a bench tells its figures")]

#[path = "../../../bench/scipy_peer.rs"]
mod scipy_peer;

use std::process::ExitCode;
use std::time::Instant;

use scipy_peer::{Peer, compare, number, spread};

use signal::{BandFront, Block, Cell, MeanSquare, level_db};

const RATE_HZ: f64 = 96_000.0;
/// Bands, and how many times faster than scipy we mean to be.
const BANDS_HZ: [(f64, f64, f64); 2] = [(5_000.0, 40_000.0, 1.5), (60.0, 260.0, 5.0)];
const CHUNK: usize = 4096;

fn main() -> ExitCode {
    let mut good = true;
    let seconds = number("LISTEN_SECONDS", 600);
    let repeats = number("LISTEN_REPEATS", 7).max(1);
    let mut peer = Peer::start("listen_scipy.py", None);
    let pcm = samples(96_000 * seconds);
    for (place, (low, high, bound)) in BANDS_HZ.into_iter().enumerate() {
        let (mut ours, mut theirs, mut difference_db) = (Vec::new(), Vec::new(), f64::NAN);
        listen(&pcm, (low, high));
        if let Some(p) = &mut peer {
            p.run(place);
        }
        for _ in 0..repeats {
            let start = Instant::now();
            let levels = listen(&pcm, (low, high));
            ours.push(start.elapsed().as_secs_f64());
            if let Some((seconds, mean)) = peer.as_mut().map(|p| p.run(place)) {
                theirs.push(seconds);
                difference_db = late_mean_db(&levels) - mean;
            }
        }
        let (median, range) = spread(&mut ours);
        println!("{low} Hz to {high} Hz: ours {median:.3} s {range}");
        good &= peer.is_some() && compare(&ours, &mut theirs, bound, difference_db);
    }
    if peer.is_none() {
        println!("scipy was not run: no interpreter with scipy (set PYTHON)");
    }
    if good {
        ExitCode::SUCCESS
    } else {
        ExitCode::FAILURE
    }
}

fn late_mean_db(levels: &[f64]) -> f64 {
    let late = &levels[levels.len() / 2..];
    10.0 * (late.iter().map(|l| 10f64.powf(l / 10.0)).sum::<f64>() / late.len() as f64).log10()
}

fn listen(pcm: &[i16], band: (f64, f64)) -> Vec<f64> {
    let mut front = BandFront::new(4, band.0, band.1, RATE_HZ).expect("a valid band");
    let cell = (0.01 * front.rate_out_hz()).round() as u64;
    let mut squares = MeanSquare::new(cell, cell).expect("a valid window");
    let mut levels = Vec::with_capacity(pcm.len() / 960 + 1);
    let mut x = [0.0_f32; CHUNK];
    let mut first = 0;
    for piece in pcm.chunks(CHUNK) {
        let x = &mut x[..piece.len()];
        for (v, &c) in x.iter_mut().zip(piece) {
            *v = f32::from(c) * (1.0 / 32768.0);
        }
        front
            .process(Block::new(first, x), |b| {
                squares
                    .process(b, |Cell { mean_square, .. }| {
                        levels.push(level_db(mean_square, 1.0))
                    })
                    .expect("band samples follow each other");
            })
            .expect("blocks follow each other");
        first += piece.len() as u64;
    }
    levels
}

/// The generator of `bench/listen_scipy.py`.
fn samples(count: usize) -> Vec<i16> {
    let mut value = 1_u64;
    let noise: Vec<f64> = (0..1 << 16)
        .map(|_| {
            value = value
                .wrapping_mul(6364136223846793005)
                .wrapping_add(1442695040888963407);
            (value >> 48) as f64 / 65536.0 - 0.5
        })
        .collect();
    let turn = 2.0 * std::f64::consts::PI / 640.0;
    let tones: Vec<f64> = (0..640)
        .map(|k| 2000.0 * (turn * f64::from(k)).sin() + 1000.0 * (turn * 80.0 * f64::from(k)).sin())
        .collect();
    (0..count)
        .map(|i| (6000.0 * noise[i % noise.len()] + tones[i % 640]).round_ties_even() as i16)
        .collect()
}
