//! Band level, pulses and ridge of one hydrophone at 96 kHz (bench/three-detectors.toml, as the plan reads) together on one thread.
//!
//! Run with `cargo bench -p assess --bench detectors`. The sound is a minute of noise, up-calls, click trains and whistles, over and over; samples
//! are in memory, as calibrated single-precision numbers: reading of files is not part of it (see the bench `whole`). An hour is not waited
//! for: `LISTEN_SECONDS` (120) are measured and scaled, and that cost grows with hours and hydrophones as it should, and that two threads gain on one over files, is measured too. Exit
//! status 1 when a bound is missed. `LISTEN_REPEATS` (7).
#![expect(clippy::print_stdout, reason = "a bench tells its figures")]

use std::path::Path;
use std::process::ExitCode;
use std::time::Instant;

use detect::{Detector, Notice, Spec, Told};
use signal::Block;

const RATE_HZ: usize = 96_000;
/// Times real time, of all three on one thread.
const BOUND: f64 = 400.0;
/// What four times as much may take, of one.
const MOST_GROWTH: f64 = 4.4;
/// How many times as fast two threads are as one, at the least, where the machine has two: what else it does takes its share.
const LEAST_GAIN: f64 = 1.3;
const BLOCK: usize = 16_384;
const FULL_MINUTE: usize = 60 * RATE_HZ;

fn main() -> ExitCode {
    let number = |name: &str, otherwise: usize| {
        let value = std::env::var(name).ok();
        value.and_then(|v| v.parse().ok()).unwrap_or(otherwise)
    };
    let seconds = number("LISTEN_SECONDS", 120);
    let repeats = number("LISTEN_REPEATS", 7).max(1);
    let specs = specs();
    let minute = minute();
    let mut good = true;
    for (word, spec) in &specs {
        let found = listen(std::slice::from_ref(spec), &minute, 120, 1);
        println!("{word}: {found} events in 2 min");
        good &= found > 0;
    }
    let all: Vec<Spec> = specs.iter().map(|(_, spec)| spec.clone()).collect();
    let mut times = vec![Vec::new(); specs.len() + 3];
    for _ in 0..repeats {
        for (place, (_, spec)) in specs.iter().enumerate() {
            times[place].push(timed(|| {
                listen(std::slice::from_ref(spec), &minute, seconds, 1)
            }));
        }
        let work = [(seconds, 1), (4 * seconds, 1), (seconds, 4)];
        for (place, (seconds, ears)) in (specs.len()..).zip(work) {
            times[place].push(timed(|| listen(&all, &minute, seconds, ears)));
        }
    }
    let told: Vec<(f64, String)> = times.iter_mut().map(|times| spread(times)).collect();
    for ((word, _), (median, range)) in specs.iter().zip(&told) {
        println!(
            "{word} alone: {median:.3} s {range} of {seconds} s, {:.0} times real time",
            seconds as f64 / median
        );
    }
    let [together, hours, ears] = &told[specs.len()..] else {
        unreachable!("three kinds of work");
    };
    let times_real = seconds as f64 / together.0;
    println!(
        "all three: {:.3} s {} of {seconds} s, {times_real:.0} times real time (bound {BOUND}): an hour in {:.2} s",
        together.0,
        together.1,
        3600.0 / times_real
    );
    good &= times_real >= BOUND;
    for (what, (median, range)) in [("four times as long", hours), ("four hydrophones", ears)] {
        let growth = median / together.0;
        println!("{what}: {median:.3} s {range}, {growth:.2} times as much (bound {MOST_GROWTH})");
        good &= growth <= MOST_GROWTH;
    }
    good &= threads(&all, &minute, seconds, repeats);
    if good {
        ExitCode::SUCCESS
    } else {
        ExitCode::FAILURE
    }
}

/// Eight files over threads, and whether two are as much faster as they should be; more than two are told only.
fn threads(specs: &[Spec], minute: &[f32], seconds: usize, repeats: usize) -> bool {
    const FILES: usize = 8;
    let cores = std::thread::available_parallelism().map_or(1, usize::from);
    let mut alone = f64::NAN;
    let mut good = true;
    if cores < 2 {
        println!("{FILES} files on threads: this machine has one core, nothing to compare");
    }
    for count in [1, 2, 4, 8] {
        if count > cores {
            break;
        }
        let work = |first: usize| {
            for _ in (first..FILES).step_by(count) {
                std::hint::black_box(listen(specs, minute, seconds / 4, 1));
            }
        };
        let mut times: Vec<f64> = (0..repeats.div_ceil(2))
            .map(|_| {
                timed(|| {
                    std::thread::scope(|scope| {
                        for first in 0..count {
                            scope.spawn(move || work(first));
                        }
                    });
                })
            })
            .collect();
        let (median, range) = spread(&mut times);
        if count == 1 {
            alone = median;
        }
        let gain = alone / median;
        let bound = if count == 2 {
            good &= gain >= LEAST_GAIN;
            format!(" (bound {LEAST_GAIN})")
        } else {
            String::new()
        };
        println!(
            "{FILES} files on {count} threads: {median:.3} s {range}, {gain:.2} times as fast as on one{bound}"
        );
    }
    good
}

fn specs() -> Vec<(String, Spec)> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../bench/three-detectors.toml");
    let reading = assess::read(&path, &|path| std::fs::read(path));
    assert!(!reading.has_errors(), "{:?}", reading.mistakes);
    let line = reading.line.expect("a plan without errors has a line");
    let detectors = line.detectors.iter().enumerate();
    detectors
        .map(|(i, detector)| {
            let spec = assess::input::detector_spec(&line, plan::DetectorIx(i), None);
            (
                detector.id.to_string(),
                spec.expect("the detectors can be built"),
            )
        })
        .collect()
}

/// Number of events in so many seconds at so many hydrophones.
fn listen(specs: &[Spec], minute: &[f32], seconds: usize, ears: usize) -> usize {
    let mut detectors: Vec<Detector> = (0..ears)
        .flat_map(|_| specs)
        .map(|spec| Detector::new(spec).expect("the detectors can be built"))
        .collect();
    let mut told: Vec<Told> = Vec::new();
    let mut events = 0;
    let samples = seconds * RATE_HZ;
    let mut first = 0;
    while first < samples {
        let at = first % FULL_MINUTE;
        let end = (at + BLOCK).min(FULL_MINUTE).min(at + samples - first);
        for detector in &mut detectors {
            detector
                .push(Block::new(first as u64, &minute[at..end]), &mut told)
                .expect("blocks follow each other");
        }
        first += end - at;
        let ended = |t: &Told| matches!(t.notice, Notice::Ended(_));
        events += told.drain(..).filter(ended).count();
    }
    events
}

/// Noise with an up-call every 10 s, a click train every 5 s and a whistle every 3 s, uPa.
fn minute() -> Vec<f32> {
    let rate_hz = RATE_HZ as f64;
    let mut value = 1_u64;
    let mut x: Vec<f64> = (0..FULL_MINUTE)
        .map(|_| {
            value = value
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            1e4 * ((value >> 40) as f64 / 16_777_216.0 - 0.5)
        })
        .collect();
    let mut sweep = |begin_s: f64, length_s: f64, from_hz: f64, to_hz: f64, amplitude: f64| {
        let begin = (begin_s * rate_hz) as usize;
        for i in 0..(length_s * rate_hz) as usize {
            let t = i as f64 / rate_hz;
            let turns = from_hz * t + 0.5 * (to_hz - from_hz) / length_s * t * t;
            x[begin + i] += amplitude * (std::f64::consts::TAU * turns).sin();
        }
    };
    for i in 0..6 {
        sweep(10.0 * f64::from(i) + 2.0, 1.0, 90.0, 190.0, 2e3);
    }
    for i in 0..20 {
        sweep(3.0 * f64::from(i) + 1.0, 0.6, 6_000.0, 12_000.0, 2e3);
    }
    for i in 0..12 {
        for click in 0..8 {
            let begin_s = 5.0 * f64::from(i) + 4.0 + 0.03 * f64::from(click);
            sweep(begin_s, 0.000_2, 24_000.0, 25_000.0, 1e5);
        }
    }
    x.into_iter().map(|v| v as f32).collect()
}

fn timed<T>(work: impl FnOnce() -> T) -> f64 {
    let start = Instant::now();
    std::hint::black_box(work());
    start.elapsed().as_secs_f64()
}

/// Median, and the range as text; puts the times in order.
fn spread(times: &mut [f64]) -> (f64, String) {
    times.sort_by(f64::total_cmp);
    let (first, last) = (times[0], times[times.len() - 1]);
    (times[times.len() / 2], format!("({first:.3} to {last:.3})"))
}
