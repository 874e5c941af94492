//! Frames against SciPy, and what a cell reads of a tone and of noise.

use signal::{Block, Frames, SpectrumError};

use crate::support::{close, gaussian, lcg, number, numbers, sine};

/// Amplitude of a cell, relative to the root of the frame's sum (single precision, ten passes).
const AMPLITUDE: f64 = 1e-6;

/// The sound of `reference/make/signal_frames.py`.
fn sound(count: usize, rate_hz: f64) -> Vec<f32> {
    let turn = |turns: f64| (2.0 * std::f64::consts::PI * turns).sin();
    lcg(count)
        .iter()
        .enumerate()
        .map(|(i, noise)| {
            let t = i as f64 / rate_hz;
            let steady = 3.0 * turn(0.11 * rate_hz * t) + 0.003 * turn(0.31 * rate_hz * t);
            let sweep = 0.02 * rate_hz * t + 0.5 * 0.3 * rate_hz * rate_hz / count as f64 * t * t;
            (0.02 * f64::from(*noise) + steady + 0.2 * turn(sweep)) as f32
        })
        .collect()
}

fn told(frames: &mut Frames, x: &[f32]) -> Vec<Vec<f32>> {
    let mut out = Vec::new();
    frames
        .process(Block::new(0, x), |frame| {
            assert_eq!(frame.k, out.len() as u64);
            out.push(frame.power.to_vec());
        })
        .unwrap();
    out
}

#[test]
fn val_frames_equal_scipy() {
    let document = truth::json("signal/scipy-frames.json");
    let count = document["samples"].as_u64().unwrap() as usize;
    for case in document["cases"].as_array().unwrap() {
        let whole = |name: &str| case[name].as_u64().unwrap() as usize;
        let rate_hz = number(case, "rate_hz");
        let mut frames = Frames::new(
            whole("window"),
            whole("hop"),
            rate_hz,
            number(case, "low_hz"),
            number(case, "high_hz"),
        )
        .unwrap();
        assert_eq!(
            (frames.cells(), frames.points()),
            (whole("cells"), whole("points"))
        );
        close(
            frames.lowest_hz(),
            whole("first_line") as f64 * frames.bin_hz(),
            1e-9,
            "lowest cell",
        );
        let found = told(&mut frames, &sound(count, rate_hz));
        assert_eq!(found.len(), whole("frames"));
        let totals = numbers(&case["total"]);
        let rows = case["mean_square"].as_array().unwrap();
        for ((k, expected), total) in numbers(&case["at_frames"]).iter().zip(rows).zip(totals) {
            for (cell, expected) in numbers(&case["at_cells"]).iter().zip(numbers(expected)) {
                let found = f64::from(found[*k as usize][*cell as usize]);
                close(
                    found.sqrt(),
                    expected.sqrt(),
                    AMPLITUDE * total.sqrt(),
                    "amplitude of a cell",
                );
            }
        }
    }
}

#[test]
fn verif_a_tone_reads_its_mean_square_and_noise_its_density() {
    let mut frames = Frames::new(1024, 256, 48_000.0, 100.0, 20_000.0).unwrap();
    let at = 3_000.0;
    let cell = ((at - frames.lowest_hz()) / frames.bin_hz()) as usize;
    for row in told(&mut frames, &sine(at, 48_000.0, 2.0, 4_096)) {
        close(f64::from(row[cell]), 2.0, 1e-4, "a sine of amplitude 2");
    }
    frames.reset();
    let noise: Vec<f32> = (0..480_000).map(|i| gaussian(i) as f32).collect();
    let rows = told(&mut frames, &noise);
    let cells = rows.iter().flatten().map(|v| f64::from(*v));
    let mean = cells.sum::<f64>() / (rows.len() * frames.cells()) as f64;
    // One-sided density 2 / rate, noise bandwidth of the Hann window 1.5 lines; some 200 000 independent cells.
    let expected = 2.0 / 48_000.0 * 1.5 * 48_000.0 / 1024.0;
    close(mean / expected, 1.0, 0.01, "white noise");
    // The wrong convention, one line wide, is not what a cell reads.
    assert!((mean / (expected / 1.5) - 1.0).abs() > 0.4);
}

#[test]
fn verif_what_frames_refuse() {
    let made = |window, hop, rate_hz, low_hz, high_hz| {
        Frames::new(window, hop, rate_hz, low_hz, high_hz).map(|frames| frames.cells())
    };
    assert_eq!(made(16, 4, 1_600.0, 0.0, 800.0), Ok(7));
    assert_eq!(made(16, 4, 1_600.0, 100.0, 300.0), Ok(3));
    assert!(matches!(
        made(16, 4, f64::NAN, 0.0, 800.0),
        Err(SpectrumError::Rate { .. })
    ));
    for (window, hop) in [(7, 1), (16, 0), (16, 17), (1 << 21, 1)] {
        assert!(matches!(
            made(window, hop, 1_600.0, 0.0, 800.0),
            Err(SpectrumError::Length { .. })
        ));
    }
    for (low_hz, high_hz) in [(300.0, 300.0), (-1.0, 5.0), (0.0, 801.0), (110.0, 190.0)] {
        assert!(matches!(
            made(16, 4, 1_600.0, low_hz, high_hz),
            Err(SpectrumError::Band { .. })
        ));
    }
}
