//! A spectrogram detector beside `scipy.signal.spectrogram` alone, at 48 kHz with a window of 1024 and a hop of 256, on one thread.
//!
//! Run with `cargo bench -p detect --bench spectrogram`. `PYTHON` names an interpreter with scipy (default `python3`); ours and scipy run
//! in turn, both warm, and the mean levels of all cells are compared first. Ours is timed twice: the frames of the whole spectrum alone, and the
//! whole detector of whistles from 2 to 20 kHz (frames, background, peaks, ridges). Exit status 1 when a bound is missed or scipy does not
//! run. `LISTEN_SECONDS` (60) and `LISTEN_REPEATS` (15) change it.
#![expect(clippy::print_stdout, reason = "a bench tells its figures")]

#[path = "../../../bench/scipy_peer.rs"]
mod scipy_peer;

use std::process::ExitCode;
use std::time::Instant;

use detect::{BackgroundKind, Detector, Notice, Sense, Spec, Stage};
use scipy_peer::{Peer, compare, number, spread};
use signal::{Block, Frames};

const RATE_HZ: f64 = 48_000.0;
const WINDOW: usize = 1024;
const HOP: usize = 256;
/// How many times faster than scipy's spectrogram we mean to be.
const BOUND: f64 = 4.0;
const BLOCK: usize = 16_384;

fn main() -> ExitCode {
    let seconds = number("LISTEN_SECONDS", 60);
    let repeats = number("LISTEN_REPEATS", 15).max(1);
    let mut peer = Peer::start("spectrogram_scipy.py", None);
    let x = samples(48_000 * seconds);
    let level_db = frames(&x, |power| power.iter().map(|p| f64::from(*p)).sum());
    let found = listen(&x);
    println!("{found} sweeps found in {seconds} s");
    let (mut of_frames, mut of_detector, mut theirs) = (Vec::new(), Vec::new(), Vec::new());
    let mut difference_db = f64::NAN;
    if let Some(p) = &mut peer {
        p.run(0);
    }
    for _ in 0..repeats {
        of_frames.push(timed(|| frames(&x, |power| f64::from(power[7]))));
        if let Some(p) = &mut peer {
            let (seconds, their_db) = p.run(0);
            theirs.push(seconds);
            difference_db = level_db - their_db;
        }
        of_detector.push(timed(|| listen(&x)));
    }
    let mut good = peer.is_some() && found + 7 >= seconds;
    for (what, ours) in [
        ("frames alone, 0 to 24 kHz", &mut of_frames),
        ("whole detector, 2 to 20 kHz", &mut of_detector),
    ] {
        let (median, range) = spread(ours);
        println!(
            "{what}: ours {median:.4} s {range}, {:.0} times real time",
            seconds as f64 / median
        );
        if peer.is_some() {
            good &= compare(ours, &mut theirs, BOUND, difference_db);
        }
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

fn timed<T>(work: impl FnOnce() -> T) -> f64 {
    let start = Instant::now();
    std::hint::black_box(work());
    start.elapsed().as_secs_f64()
}

/// Mean over all cells of what is read of each frame, dB.
fn frames(x: &[f32], read: impl Fn(&[f32]) -> f64) -> f64 {
    let mut frames = Frames::new(WINDOW, HOP, RATE_HZ, 0.0, RATE_HZ / 2.0).expect("a valid window");
    let (mut sum, mut cells) = (0.0, 0);
    for (block, first) in x.chunks(BLOCK).zip((0..).step_by(BLOCK)) {
        frames
            .process(Block::new(first, block), |frame| {
                sum += read(frame.power);
                cells += frame.power.len();
            })
            .expect("blocks follow each other");
    }
    10.0 * (sum / cells as f64).log10()
}

/// Number of ridges found.
fn listen(x: &[f32]) -> usize {
    let spec = Spec {
        rate_hz: RATE_HZ,
        stages: vec![
            Stage::Band {
                low_hz: 2_000.0,
                high_hz: 20_000.0,
                order: 4,
            },
            Stage::Spectrogram {
                window_s: WINDOW as f64 / RATE_HZ,
                hop_s: Some(HOP as f64 / RATE_HZ),
            },
            Stage::Background {
                kind: BackgroundKind::Mean,
                over_s: 10.0,
                guard_s: 0.0,
            },
            Stage::Ridge {
                sense: Sense::Rising,
                above_db: 12.0,
                least_slope_hz_per_s: 1_000.0,
                most_slope_hz_per_s: 20_000.0,
                gap_s: 0.012,
                shortest_s: 0.2,
                longest_s: Some(2.0),
                hold_off_s: 0.0,
            },
        ],
    };
    let mut detector = Detector::new(&spec).expect("a valid detector");
    let mut told = Vec::new();
    for (block, first) in x.chunks(BLOCK).zip((0..).step_by(BLOCK)) {
        detector
            .push(Block::new(first, block), &mut told)
            .expect("blocks follow each other");
    }
    detector.finish(&mut told);
    let ended = |t: &&detect::Told| matches!(t.notice, Notice::Ended(_));
    told.iter().filter(ended).count()
}

/// The sound of `bench/spectrogram_scipy.py`.
fn samples(count: usize) -> Vec<f32> {
    let mut value = 1_u64;
    let noise: Vec<f64> = (0..1 << 16)
        .map(|_| {
            value = value
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            (value >> 48) as f64 / 65536.0 - 0.5
        })
        .collect();
    let sweep: Vec<f64> = (0..48_000)
        .map(|i| {
            let t = f64::from(i) / RATE_HZ;
            (std::f64::consts::TAU * (4_000.0 * t + 4_000.0 * t * t)).sin()
        })
        .collect();
    (0..count)
        .map(|i| (noise[i & 0xffff] + 0.3 * sweep[i % 48_000]) as f32)
        .collect()
}
