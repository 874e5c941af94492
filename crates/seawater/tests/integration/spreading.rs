use seawater::{
    SIMPLE_LAW_LIMIT_M, SeaError, Spreading, Variable, Warning, absorption, band_level_db_re_1upa,
    lloyd_mirror_loss_db, transmission_loss, transmission_loss_db,
};

use crate::reference::{Reference, assert_near};

/// Textbook values at 1000 m: 60, 30, 45 dB, and 53.0103 dB with a transition at 200 m (`20 lg 200 + 10 lg 5`).
#[test]
fn verif_the_laws_at_a_kilometre() {
    for (law, expected) in [
        (Spreading::Spherical, 60.0),
        (Spreading::Cylindrical, 30.0),
        (Spreading::Practical, 45.0),
        (Spreading::Transition { at_m: 200.0 }, 53.010_299_957),
        (
            Spreading::Power {
                slope_db_per_decade: 21.0,
            },
            63.0,
        ),
    ] {
        assert_near(law.loss_db(1000.0).unwrap(), expected, 1e-8);
        assert_eq!(law.loss_db(1.0).unwrap(), 0.0);
    }
}

/// A line through a loss: 20 lg r is 60 dB at 1 km, and any slope through 0 dB at 1 m is its power law.
#[test]
fn verif_a_line_through_a_known_loss() {
    let through = |slope_db_per_decade, at_m, loss_db| Spreading::Through {
        slope_db_per_decade,
        at_m,
        loss_db,
    };
    for range_m in [1.0, 37.0, 1000.0, 12_345.0] {
        let spherical = Spreading::Spherical.loss_db(range_m).unwrap();
        assert_near(
            through(20.0, 1000.0, 60.0).loss_db(range_m).unwrap(),
            spherical,
            1e-12,
        );
        let power = Spreading::Power {
            slope_db_per_decade: 17.3,
        };
        assert_near(
            through(17.3, 1.0, 0.0).loss_db(range_m).unwrap(),
            power.loss_db(range_m).unwrap(),
            1e-12,
        );
    }
    assert_near(
        through(15.0, 500.0, 48.5).loss_db(5000.0).unwrap(),
        63.5,
        1e-12,
    );
    for bad in [
        through(9.0, 500.0, 48.5),
        through(15.0, 0.5, 48.5),
        through(15.0, 500.0, -1.0),
        through(15.0, 500.0, f64::NAN),
    ] {
        assert!(bad.loss_db(100.0).is_err(), "{bad:?}");
    }
}

#[test]
fn verif_the_transition_joins() {
    let law = Spreading::Transition { at_m: 200.0 };
    assert_near(
        law.loss_db(200.0).unwrap(),
        Spreading::Spherical.loss_db(200.0).unwrap(),
        1e-12,
    );
    assert_near(
        law.loss_db(200.0 * (1.0 + 1e-12)).unwrap(),
        law.loss_db(200.0).unwrap(),
        1e-9,
    );
    assert_near(
        law.loss_db(80.0).unwrap(),
        Spreading::Spherical.loss_db(80.0).unwrap(),
        1e-12,
    );
}

#[test]
fn verif_absorption_adds_by_the_kilometre() {
    let loss = transmission_loss(Spreading::Spherical, 2500.0, 1.2).unwrap();
    assert_near(loss.absorption_db, 3.0, 1e-12);
    assert_eq!(loss.total_db, loss.spreading_db + loss.absorption_db);
    assert!(loss.warnings.is_empty());
    assert_eq!(
        transmission_loss_db(Spreading::Spherical, 2500.0, 1.2),
        Ok(loss.total_db)
    );
}

#[test]
fn verif_beyond_fifty_kilometres_warns() {
    let at = |range_m| {
        transmission_loss(Spreading::Practical, range_m, 0.0)
            .unwrap()
            .warnings
    };
    assert!(at(SIMPLE_LAW_LIMIT_M).is_empty());
    assert_eq!(
        at(50_001.0),
        [Warning::BeyondSimpleLaw {
            range_m: 50_001.0,
            limit_m: 50_000.0
        }]
    );
}

/// Second route: the range at which a whale's up-call fades, worked out with other code: source level 172, band 90 to 170 Hz,
/// wind 7.5 m/s, shipping 0.5, 8 degC, S 32, 50 m, pH 8, detection threshold -2.011 dB: 20 lg r gives 23 355 m.
#[test]
fn verif_range_of_a_call_end_to_end() {
    let noise_db = band_level_db_re_1upa(90.0, 170.0, 7.5, 0.5).unwrap();
    assert_near(noise_db, 86.599, 0.001);
    let alpha = absorption(130.0, 8.0, 32.0, 50.0, 8.0)
        .unwrap()
        .total_db_per_km;
    assert_near(alpha, 1.8874e-3, 1e-7);
    let excess_db = |range_m| {
        172.0 - transmission_loss_db(Spreading::Spherical, range_m, alpha).unwrap() - noise_db
            + 2.011
    };
    assert!(
        excess_db(23_345.0) > 0.0 && excess_db(23_365.0) < 0.0,
        "{} {}",
        excess_db(23_345.0),
        excess_db(23_365.0)
    );
}

/// Truth: complex sum of both paths, reference/seawater/numpy-lloyd-mirror.csv.
#[test]
fn verif_lloyd_mirror_by_complex_arithmetic() {
    for row in Reference::open("numpy-lloyd-mirror.csv").rows() {
        let [f, zs, zr, r, c] = [
            "frequency_hz",
            "source_depth_m",
            "receiver_depth_m",
            "horizontal_m",
            "sound_speed_m_s",
        ]
        .map(|column| row.number(column));
        assert_near(
            lloyd_mirror_loss_db(f, zs, zr, r, c).unwrap(),
            row.number("loss_db"),
            1e-4,
        );
    }
}

/// Far field: beyond `4 zs zr / lambda` the loss tends to `20 lg(r^2 / (2 k zs zr))`, 40 dB a decade. A plus sign between the
/// paths (a rigid surface) must fail.
#[test]
fn verif_lloyd_mirror_tends_to_its_far_field() {
    let k = 2.0 * std::f64::consts::PI * 150.0 / 1500.0;
    for r in [60_000.0, 200_000.0] {
        let loss = lloyd_mirror_loss_db(150.0, 25.0, 200.0, r, 1500.0).unwrap();
        assert_near(
            loss,
            20.0 * libm::log10(r * r / (2.0 * k * 25.0 * 200.0)),
            0.01,
        );
        let rigid_db = 20.0 * libm::log10(r / 2.0);
        assert!((loss - rigid_db).abs() > 1.0);
    }
}

/// Over a span of frequencies that adds one whole wave to the difference of the paths, the mean of the squared pressure is the
/// incoherent sum of both.
#[test]
fn verif_lloyd_mirror_keeps_the_energy_of_both_paths_on_average() {
    let (zs, zr, r, c) = (30.0, 60.0, 100.0, 1500.0);
    let (r1, r2) = (libm::hypot(r, zr - zs), libm::hypot(r, zr + zs));
    let period_hz = c / (r2 - r1);
    let samples = 400;
    let mean: f64 = (0..samples)
        .map(|i| {
            let f = 1000.0 + period_hz * f64::from(i) / f64::from(samples);
            libm::pow(10.0, -lloyd_mirror_loss_db(f, zs, zr, r, c).unwrap() / 10.0)
        })
        .sum::<f64>()
        / f64::from(samples);
    let incoherent = 1.0 / (r1 * r1) + 1.0 / (r2 * r2);
    assert_near(mean / incoherent, 1.0, 1e-9);
}

#[test]
fn verif_outside_the_range_is_an_error() {
    assert!(matches!(
        Spreading::Spherical.loss_db(0.99),
        Err(SeaError::OutOfRange {
            variable: Variable::Range,
            value: 0.99,
            low: 1.0,
            ..
        })
    ));
    assert!(Spreading::Transition { at_m: 0.5 }.loss_db(10.0).is_err());
    assert!(
        Spreading::Power {
            slope_db_per_decade: 9.9
        }
        .loss_db(10.0)
        .is_err()
    );
    assert!(
        Spreading::Power {
            slope_db_per_decade: 40.1
        }
        .loss_db(10.0)
        .is_err()
    );
    assert!(transmission_loss_db(Spreading::Spherical, 10.0, -0.1).is_err());
    assert!(lloyd_mirror_loss_db(150.0, 0.0, 20.0, 100.0, 1500.0).is_err());
    assert!(
        lloyd_mirror_loss_db(150.0, 20.0, 20.5, 0.0, 1500.0).is_err(),
        "less than a metre apart"
    );
    assert!(lloyd_mirror_loss_db(150.0, 20.0, 30.0, -1.0, 1500.0).is_err());
    for bad in [f64::NAN, f64::INFINITY] {
        assert!(Spreading::Practical.loss_db(bad).is_err());
        assert!(Spreading::Transition { at_m: bad }.loss_db(10.0).is_err());
        assert!(
            Spreading::Power {
                slope_db_per_decade: bad
            }
            .loss_db(10.0)
            .is_err()
        );
        assert!(transmission_loss(Spreading::Spherical, 10.0, bad).is_err());
        for i in 0..5 {
            let mut x = [150.0, 20.0, 30.0, 100.0, 1500.0];
            x[i] = bad;
            assert!(lloyd_mirror_loss_db(x[0], x[1], x[2], x[3], x[4]).is_err());
        }
    }
}
