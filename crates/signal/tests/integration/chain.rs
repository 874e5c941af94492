//! The sensor chain's worked example and the converter.

use serde_json::Value;
use signal::{ChainError, FilterError, HighPass, SensorChain};

use crate::support::{close, lcg, number, standards};

/// The chain of `reference/make/signal_standards.py`: -180 dB re 1 V/uPa, 20 dB, 2.5 V peak, 24 bit, 96 kHz.
fn example() -> SensorChain {
    SensorChain::new(-180.0, 20.0, None, 2.5, 24, 96_000.0).unwrap()
}

/// Against the same quantities worked out by volts and steps, and a quantiser run on a million numbers.
#[test]
fn verif_worked_example() {
    let c = example();
    let theirs = &standards()["chain"];
    let within = |found: f64, of: &Value, name: &str| close(found, number(of, name), 1e-9, name);
    let is = |found: f64, name: &str| within(found, theirs, name);
    is(c.overload_peak_level_db_re_1upa(), "overload_peak_level_db");
    is(c.overload_sine_level_db_re_1upa(), "overload_sine_level_db");
    close(
        c.full_scale_upa(),
        number(theirs, "full_scale_upa"),
        1.0,
        "full scale",
    );
    is(c.quantisation_level_db_re_1upa(), "quantisation_level_db");
    is(
        c.quantisation_density_db_re_1upa2_hz(),
        "quantisation_density_db",
    );
    is(c.sine_dynamic_range_db(), "sine_dynamic_range_db");
    let effective = theirs["effective_bits"].as_array().unwrap();
    assert_eq!(effective.len(), 3);
    for case in effective {
        let bits = number(case, "bits");
        for (found, name) in [
            (c.converter_noise_level_db_re_1upa(bits), "level_db"),
            (c.converter_noise_density_db_re_1upa2_hz(bits), "density_db"),
        ] {
            within(found, case, name);
        }
    }
    is(
        c.preamplifier_density_db_re_1upa2_hz(number(theirs, "preamplifier_v_per_root_hz")),
        "preamplifier_density_db",
    );
}

#[test]
fn verif_counts_and_back_within_half_a_step() {
    let c = SensorChain::new(-168.0, 26.0, None, 1.25, 16, 48_000.0).unwrap();
    let p: Vec<f32> = lcg(4_000)
        .iter()
        .map(|v| v * 1.99 * c.full_scale_upa() as f32)
        .collect();
    let (mut counts, mut back) = (vec![0; 4_000], vec![0.0; 4_000]);
    assert_eq!(c.quantise(&p, &mut counts).unwrap(), 0);
    c.pressure_upa(&counts, &mut back).unwrap();
    let error: Vec<f64> = p.iter().zip(&back).map(|(a, b)| f64::from(a - b)).collect();
    let step = c.step_upa();
    assert!(error.iter().all(|e| e.abs() <= 0.501 * step));
    let mean_square = error.iter().map(|e| e * e).sum::<f64>() / 4_000.0;
    close(
        10.0 * mean_square.log10(),
        c.quantisation_level_db_re_1upa(),
        0.2,
        "measured quantisation noise",
    );
}

#[test]
fn verif_clipping_is_counted() {
    let c = SensorChain::new(-168.0, 26.0, None, 1.25, 16, 48_000.0).unwrap();
    let full = c.full_scale_upa() as f32;
    let mut counts = [0; 5];
    let clipped = c
        .quantise(
            &[2.0 * full, -2.0 * full, -full, f32::INFINITY, 0.0],
            &mut counts,
        )
        .unwrap();
    assert_eq!(
        (clipped, counts),
        (3, [32_767, -32_768, -32_768, 32_767, 0])
    );
    assert_eq!(
        c.quantise(&[0.0, f32::NAN], &mut [0; 2]),
        Err(ChainError::Sample { index: 1 })
    );
    assert_eq!(
        c.quantise(&[0.0], &mut [0; 2]),
        Err(ChainError::Lengths {
            input: 1,
            output: 2
        })
    );
}

#[test]
fn verif_high_pass_of_the_chain_and_bad_chains() {
    let high_pass = Some(HighPass {
        corner_hz: 10.0,
        poles: 2,
    });
    let c = SensorChain::new(-168.0, 26.0, high_pass, 1.25, 16, 48_000.0).unwrap();
    let (re, im) = c.high_pass_filter().unwrap().unwrap().response(10.0);
    close(10.0 * (re * re + im * im).log10(), -3.0103, 1e-3, "corner");
    let nyquist = Some(HighPass {
        corner_hz: 24_000.0,
        poles: 2,
    });
    assert!(matches!(
        SensorChain::new(-168.0, 26.0, nyquist, 1.25, 16, 48_000.0),
        Err(ChainError::HighPass(FilterError::Corner { .. }))
    ));
    assert!(matches!(
        SensorChain::new(f64::NAN, 0.0, None, 1.0, 16, 1.0),
        Err(ChainError::NotFinite { .. })
    ));
    assert!(matches!(
        SensorChain::new(0.0, 0.0, None, 0.0, 16, 1.0),
        Err(ChainError::FullScale { .. })
    ));
    assert!(matches!(
        SensorChain::new(0.0, 0.0, None, 1.0, 33, 1.0),
        Err(ChainError::Bits { bits: 33, .. })
    ));
}
