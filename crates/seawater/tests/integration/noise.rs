use seawater::{SeaError, Variable, ambient_noise, band_level_db_re_1upa};

use crate::reference::{Reference, assert_near};

/// Rounding of the reference file.
const SECOND_ROUTE_DB: f64 = 1e-8;
/// Error allowed to the fixed Simpson rule.
const QUADRATURE_DB: f64 = 1e-6;

/// Second route: the formula written out again with numpy, reference/seawater/numpy-ambient-noise.csv.
#[test]
fn verif_four_terms_by_a_second_route() {
    for row in Reference::open("numpy-ambient-noise.csv").rows() {
        let noise = ambient_noise(
            row.number("frequency_hz"),
            row.number("wind_m_s"),
            row.number("shipping"),
        )
        .unwrap();
        for (term, column) in [
            (noise.turbulence_db_re_1upa2_per_hz, "turbulence_db"),
            (noise.shipping_db_re_1upa2_per_hz, "shipping_db"),
            (noise.wind_db_re_1upa2_per_hz, "wind_db"),
            (noise.thermal_db_re_1upa2_per_hz, "thermal_db"),
            (noise.total_db_re_1upa2_per_hz, "total_db"),
        ] {
            assert_near(term, row.number(column), SECOND_ROUTE_DB);
        }
    }
}

/// Truth: adaptive quadrature, reference/seawater/scipy-noise-bands.csv.
#[test]
fn val_band_levels_against_scipy() {
    let mut worst_db: f64 = 0.0;
    for row in Reference::open("scipy-noise-bands.csv").rows() {
        let [low, high, wind, shipping, level] =
            ["low_hz", "high_hz", "wind_m_s", "shipping", "level_db"].map(|c| row.number(c));
        let computed = band_level_db_re_1upa(low, high, wind, shipping).unwrap();
        worst_db = worst_db.max((computed - level).abs());
        assert_near(computed, level, QUADRATURE_DB);
    }
    println!("band levels: worst difference {worst_db:.2e} dB");
}

/// Density times bandwidth, the shortcut without integration, must fail the same check.
#[test]
fn val_band_check_refuses_the_middle_of_the_band() {
    let shortcut = ambient_noise(100.0, 5.0, 0.5)
        .unwrap()
        .total_db_re_1upa2_per_hz
        + 10.0 * libm::log10(150.0);
    assert!(
        (shortcut - band_level_db_re_1upa(50.0, 200.0, 5.0, 0.5).unwrap()).abs()
            > 100.0 * QUADRATURE_DB
    );
}

/// Thermal agitation from first principles (Mellen 1952): `4 pi k T rho f^2 / c`, with the exact Boltzmann constant of the SI,
/// 283 K, 1000 kg/m3 and 1500 m/s, is -14.71 + 20 lg f; the formula rounds it to -15.
#[test]
fn val_thermal_term_from_first_principles() {
    const BOLTZMANN_J_PER_K: f64 = 1.380_649e-23;
    const ROUNDING_DB: f64 = 0.5;
    for f_hz in [1e4, 1e5, 5e5] {
        let pa2_per_hz =
            4.0 * std::f64::consts::PI * BOLTZMANN_J_PER_K * 283.0 * 1000.0 * f_hz * f_hz / 1500.0;
        let expected_db = 10.0 * libm::log10(pa2_per_hz * 1e12);
        let thermal_db = ambient_noise(f_hz, 0.0, 0.0)
            .unwrap()
            .thermal_db_re_1upa2_per_hz;
        assert_near(thermal_db, expected_db, ROUNDING_DB);
    }
}

/// Knudsen's levels at 1 kHz by Beaufort force 0 to 5 (as read in lecture slides; the middle of each force's wind range from
/// the Beaufort scale): 44.5, 50, 55, 61.5, 64.5, 66.5 dB. Curves drawn through scattered data: 3 dB are allowed.
#[test]
fn val_wind_term_against_knudsen_at_one_kilohertz() {
    const CURVE_DB: f64 = 3.0;
    let middle_wind_m_s = [0.0, 0.9, 2.45, 4.4, 6.7, 9.35];
    let knudsen_db = [44.5, 50.0, 55.0, 61.5, 64.5, 66.5];
    for (wind, expected) in middle_wind_m_s.into_iter().zip(knudsen_db) {
        let level = ambient_noise(1000.0, wind, 0.0)
            .unwrap()
            .total_db_re_1upa2_per_hz;
        println!("wind {wind} m/s: {level:.2} dB against {expected}");
        assert_near(level, expected, CURVE_DB);
    }
    let in_knots = ambient_noise(1000.0, 9.35 * 1.943_844, 0.0)
        .unwrap()
        .total_db_re_1upa2_per_hz;
    assert!(
        (in_knots - 66.5).abs() > CURVE_DB,
        "wind in knots must fail: {in_knots}"
    );
}

#[test]
fn verif_bands_add_up() {
    let whole = band_level_db_re_1upa(20.0, 20_000.0, 8.0, 0.4).unwrap();
    let parts = [(20.0, 70.0), (70.0, 900.0), (900.0, 20_000.0)].map(|(low, high)| {
        libm::pow(
            10.0,
            band_level_db_re_1upa(low, high, 8.0, 0.4).unwrap() / 10.0,
        )
    });
    assert_near(10.0 * libm::log10(parts.iter().sum()), whole, QUADRATURE_DB);
}

#[test]
fn verif_a_hertz_wide_band_is_the_density() {
    let level = band_level_db_re_1upa(999.5, 1000.5, 6.0, 0.5).unwrap();
    assert_near(
        level,
        ambient_noise(1000.0, 6.0, 0.5)
            .unwrap()
            .total_db_re_1upa2_per_hz,
        1e-4,
    );
}

#[test]
fn verif_outside_the_range_is_an_error() {
    assert!(matches!(
        ambient_noise(1000.0, 33.0, 0.5),
        Err(SeaError::OutOfRange {
            variable: Variable::WindSpeed,
            value: 33.0,
            high: 32.7,
            ..
        })
    ));
    assert!(ambient_noise(0.9, 5.0, 0.5).is_err());
    assert!(ambient_noise(1.1e6, 5.0, 0.5).is_err());
    assert!(ambient_noise(1000.0, -0.1, 0.5).is_err());
    assert!(ambient_noise(1000.0, 5.0, -0.1).is_err());
    assert!(ambient_noise(1000.0, 5.0, 1.1).is_err());
    assert_eq!(
        band_level_db_re_1upa(200.0, 200.0, 5.0, 0.5),
        Err(SeaError::EmptyBand {
            low_hz: 200.0,
            high_hz: 200.0
        })
    );
    assert!(band_level_db_re_1upa(300.0, 200.0, 5.0, 0.5).is_err());
    for bad in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
        assert!(ambient_noise(bad, 5.0, 0.5).is_err());
        assert!(ambient_noise(1000.0, bad, 0.5).is_err());
        assert!(ambient_noise(1000.0, 5.0, bad).is_err());
        assert!(band_level_db_re_1upa(bad, 200.0, 5.0, 0.5).is_err());
        assert!(band_level_db_re_1upa(50.0, bad, 5.0, 0.5).is_err());
    }
}
