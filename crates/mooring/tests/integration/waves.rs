//! Waves and strum.

use mooring::{Wave, added_mass_kg_m, shedding_hz, span_mode_hz};

use crate::support::{document, list, number};

/// reference/mooring/scipy-lines.json: the root of the dispersion equation by SciPy's brentq.
#[test]
fn val_waves() {
    for case in list(&document()["waves"]) {
        let wave = Wave::new(2.0, number(&case["period"]), number(&case["depth"])).unwrap();
        let at = wave.at(number(&case["z"]));
        for (what, ours, theirs) in [
            ("length", wave.length_m(), &case["length"]),
            ("up", at.up_m, &case["up"]),
            ("across", at.across_m, &case["across"]),
            ("pressure", at.pressure_m, &case["pressure"]),
        ] {
            let theirs = number(theirs);
            assert!(
                (ours / theirs - 1.0).abs() < 1e-10,
                "{what}: {ours} {theirs}"
            );
        }
    }
}

/// In deep water a period of 8 s is `g T^2 / (2 pi)` = 99.9 m long, and the water goes in circles.
#[test]
fn verif_deep_water() {
    let wave = Wave::new(2.0, 8.0, 5000.0).unwrap();
    let deep_m = mooring::GRAVITY_M_S2 * 64.0 / (2.0 * std::f64::consts::PI);
    assert!((wave.length_m() - deep_m).abs() < 1e-9);
    let at = wave.at(20.0);
    assert!((at.up_m - at.across_m).abs() < 1e-12);
    assert!((at.across_m_s - at.across_m * 2.0 * std::f64::consts::PI / 8.0).abs() < 1e-12);
}

/// Crests by Stokes's second order. In deep water it adds half of `k a^2`; over a depth `k a^2 coth(kh) (3 coth^2(kh) - 1) / 4`, with the wave number that the length tells; a wave so long that this would
/// be more than its height stands wholly above still water.
#[test]
fn verif_crests_are_higher_than_troughs_are_deep() {
    let deep = Wave::new(6.0, 10.0, 5000.0).unwrap();
    let k = 4.0 * std::f64::consts::PI.powi(2) / (mooring::GRAVITY_M_S2 * 100.0);
    assert!((deep.crest_m() - (3.0 + 0.5 * k * 9.0)).abs() < 1e-9);
    assert!((deep.trough_m() - 3.0).abs() < 1e-12);
    let over = Wave::new(2.0, 8.0, 15.0).unwrap();
    let k = 2.0 * std::f64::consts::PI / over.length_m();
    let coth = 1.0 / (k * 15.0).tanh();
    let adds_m = 0.25 * k * coth * (3.0 * coth * coth - 1.0);
    assert!((over.crest_m() - 1.0 - adds_m).abs() < 1e-12);
    assert!(adds_m > 0.05, "{adds_m}");
    let long = Wave::new(1.0, 40.0, 2.0).unwrap();
    assert!((long.crest_m() - 1.0).abs() < 1e-12);
}

/// 12 mm at 0.5 m/s sheds at 8.333 Hz with a Strouhal number of 0.2; 1400 N on 20 m of 0.25 kg/m swings at 1.5464 Hz (Python, by the formulas).
#[test]
fn verif_strum() {
    let hz = shedding_hz(0.5, 0.012, 1.3e-6).unwrap();
    assert!((hz - 8.333_333).abs() < 1e-5, "{hz}");
    assert_eq!(shedding_hz(0.01, 0.012, 1.3e-6), None);
    assert_eq!(shedding_hz(50.0, 0.1, 1.3e-6), None);
    let mode_hz = span_mode_hz(1, 20.0, 1400.0, 0.25 + added_mass_kg_m(1025.0, 0.012));
    assert!((mode_hz - 1.5464).abs() < 5e-5, "{mode_hz}");
}
