//! Two thousand calls put into noise at 16 kHz before a detector of up-calls, on one thread: synthesis of the noise, converter,
//! detector and counting, as `soundline range` does it.
//!
//! Run with `cargo bench -p injection --bench calls`. Exit status 1 when the median is above 20 s or the counts make no sense.
//! `INJECTION_REPEATS` (3) changes it.
#![expect(clippy::print_stdout, reason = "a bench tells its figures")]

use std::process::ExitCode;
use std::time::Instant;

use chance::Stream;
use detect::{BackgroundKind, Confirm, LevelKind, Spec, Stage};
use injection::{CallSound, Injection, NoiseLevel, Tally, inject, settling_samples, tail_samples};
use signal::{Ends, SensorChain, ShapedNoise, Sweep};

const RATE_HZ: f64 = 16_000.0;
const BAND_HZ: (f64, f64) = (60.0, 260.0);
const CALLS: u64 = 2000;
const EACH: u64 = 25;
/// Longest time that is allowed, s.
const BOUND_S: f64 = 20.0;
const WIND_M_S: f64 = 8.0;
const SHIPPING: f64 = 0.4;

fn main() -> ExitCode {
    let repeats = std::env::var("INJECTION_REPEATS")
        .map_or(3, |n| n.parse().expect("INJECTION_REPEATS is a number"))
        .max(1);
    let mut times = Vec::new();
    let mut tally = Tally::default();
    for _ in 0..repeats {
        let begun = Instant::now();
        tally = two_thousand();
        times.push(begun.elapsed().as_secs_f64());
    }
    times.sort_by(f64::total_cmp);
    let median_s = times[times.len() / 2];
    println!(
        "{CALLS} calls, {} ratios of {} each: {median_s:.2} s ({:.2} to {:.2} s), bound {BOUND_S} s",
        tally.found.len(),
        tally.calls,
        times[0],
        times[times.len() - 1]
    );
    println!("found at each ratio: {:?}", tally.found);
    let sound = tally.found.first().is_some_and(|n| *n * 10 < tally.calls)
        && tally.found.last() == Some(&tally.calls);
    if median_s <= BOUND_S && sound {
        ExitCode::SUCCESS
    } else {
        println!("FAILED");
        ExitCode::FAILURE
    }
}

fn two_thousand() -> Tally {
    let snr_db: Vec<f64> = (0..10).map(|i| -4.0 + 1.5 * f64::from(i)).collect();
    let chain = SensorChain::new(-168.0, 26.0, None, 1.25, 16, RATE_HZ).expect("a chain");
    let sweep = Sweep::new(90.0, 150.0, 0.7, 0.05, 0.0).expect("a sweep");
    let samples = sweep.samples(RATE_HZ);
    let call = CallSound::new(&samples, RATE_HZ, None, BAND_HZ).expect("a call");
    let detector = detector();
    let table: Vec<(f64, f64)> = (0..=80)
        .map(|i| {
            let f_hz = libm::pow(0.5 * RATE_HZ, f64::from(i) / 80.0);
            let noise = seawater::ambient_noise(f_hz, WIND_M_S, SHIPPING).expect("a sea");
            (f_hz, noise.total_db_re_1upa2_per_hz)
        })
        .collect();
    let what = Injection {
        detector: &detector,
        converter: Some(&chain),
        call: &call,
        noise_level: NoiseLevel::Same(
            seawater::band_level_db_re_1upa(BAND_HZ.0, BAND_HZ.1, WIND_M_S, SHIPPING)
                .expect("a band"),
        ),
        snr_db: &snr_db,
    };
    let settling = settling_samples(&detector).expect("a detector");
    let tail = tail_samples(&detector).expect("a detector");
    let gap = call.samples() + RATE_HZ as u64;
    let begins: Vec<u64> = (0..EACH).map(|i| settling + i * gap).collect();
    let count = (settling + EACH * gap + tail) as usize;
    let mut tally = Tally::default();
    for stretch in 0..CALLS / (EACH * snr_db.len() as u64) {
        let mut noise = ShapedNoise::new(&table, Ends::Hold, 4096, RATE_HZ).expect("a noise");
        let mut stream = Stream::named(1, "bench", stretch);
        let mut out = vec![0.0; count];
        noise.fill(0, &mut out, |_| stream.gaussian());
        tally.add(&inject(&what, &out, &begins, settling).expect("calls in noise"));
    }
    tally
}

fn detector() -> Spec {
    Spec {
        rate_hz: RATE_HZ,
        stages: vec![
            Stage::Band {
                low_hz: BAND_HZ.0,
                high_hz: BAND_HZ.1,
                order: 4,
            },
            Stage::Level {
                kind: LevelKind::MeanSquare,
                window_s: 0.25,
                hop_s: None,
            },
            Stage::Background {
                kind: BackgroundKind::Median,
                over_s: 30.0,
                guard_s: 0.0,
            },
            Stage::Trigger {
                on_above_db: 6.0,
                off_below_db: 4.0,
                shortest_s: 0.4,
                longest_s: Some(2.5),
                bridge_s: 0.0,
                k_of_n: None,
                hold_off_s: 10.0,
                confirm: Confirm::Early,
            },
        ],
    }
}
