//! Band level of ten minutes of 96 kHz, 16-bit sound, as `bench/listen_scipy.py` does it, on one thread.
//!
//! Run with `cargo bench -p signal`; with `PYTHON` naming an interpreter with scipy (default `python3`) the two are run in
//! turn and compared. `LISTEN_SECONDS` and `LISTEN_REPEATS` shorten it.

use std::env;
use std::process::Command;
use std::time::Instant;

use signal::{BandFront, Block, Cell, MeanSquare, level_db};

const RATE_HZ: f64 = 96_000.0;
const BANDS_HZ: [(f64, f64); 2] = [(5_000.0, 40_000.0), (60.0, 260.0)];
const CHUNK: usize = 4096;

fn main() {
    let seconds = number("LISTEN_SECONDS", 600);
    let repeats = number("LISTEN_REPEATS", 5);
    let pcm = samples(96_000 * seconds);
    for band in BANDS_HZ {
        let mut times: Vec<f64> = Vec::new();
        let mut levels = Vec::new();
        for _ in 0..repeats {
            let start = Instant::now();
            levels = listen(&pcm, band);
            times.push(start.elapsed().as_secs_f64());
        }
        times.sort_by(f64::total_cmp);
        let late = &levels[levels.len() / 2..];
        let mean = 10.0
            * (late.iter().map(|l| 10f64.powf(l / 10.0)).sum::<f64>() / late.len() as f64).log10();
        println!(
            "ours  {band:?} Hz: median {:.3} s ({:.3} to {:.3}), {} cells, mean {mean:.4} dB re full scale",
            times[times.len() / 2],
            times[0],
            times[times.len() - 1],
            levels.len(),
        );
    }
    peer();
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

fn peer() {
    let python = env::var("PYTHON").unwrap_or_else(|_| "python3".to_owned());
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/../../bench/listen_scipy.py");
    match Command::new(&python).arg(script).output() {
        Ok(out) if out.status.success() => println!(
            "scipy {}",
            String::from_utf8_lossy(&out.stdout).replace('\n', "\n      ")
        ),
        Ok(out) => println!("scipy not run: {}", String::from_utf8_lossy(&out.stderr)),
        Err(e) => println!("scipy not run: {python}: {e}"),
    }
}

fn number(name: &str, default: usize) -> usize {
    env::var(name)
        .ok()
        .map_or(default, |v| v.parse().expect("a whole number"))
}
