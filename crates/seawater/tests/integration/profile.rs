use seawater::{Method, Profile, ProfilePoint, SeaError, Variable, Warning, sound_speed_m_s};

use crate::reference::{Reference, assert_near};

fn point(depth_m: f64, temperature_degc: f64, salinity: f64) -> ProfilePoint {
    ProfilePoint {
        depth_m,
        temperature_degc,
        salinity,
    }
}

/// The invented profile of reference/seawater/scipy-travel-time.csv.
fn summer() -> Profile {
    Profile::new(&[
        point(2.0, 16.4, 33.1),
        point(15.0, 15.9, 33.4),
        point(30.0, 11.2, 34.2),
        point(60.0, 9.6, 34.6),
        point(120.0, 9.1, 34.9),
    ])
    .expect("the profile of the reference file is sound")
}

/// Truth: adaptive quadrature, reference/seawater/scipy-travel-time.csv.
#[test]
fn val_travel_times_against_scipy() {
    let profile = summer();
    for row in Reference::open("scipy-travel-time.csv").rows() {
        let [one, other, horizontal] =
            ["one_depth_m", "other_depth_m", "horizontal_m"].map(|c| row.number(c));
        let mean = profile.harmonic_mean_sound_speed_m_s(one, other).unwrap();
        assert_near(mean, row.number("harmonic_mean_m_s"), 1e-6);
        let time = profile.slant_travel_time_s(one, other, horizontal).unwrap();
        assert_near(
            time,
            row.number("time_s"),
            1e-9 * row.number("time_s") + 1e-12,
        );
    }
}

/// Against the closed form for a constant gradient, `(c2 - c1) / ln(c2 / c1)`: one temperature and salinity leave only the
/// gradient of pressure, 0.0163 1/s, whose own bend changes the mean by less than 1e-4 m/s over 100 m.
#[test]
fn verif_harmonic_mean_of_a_constant_gradient() {
    let uniform = Profile::new(&[point(0.0, 10.0, 35.0), point(300.0, 10.0, 35.0)]).unwrap();
    let (c1, c2) = (
        uniform.sound_speed_m_s(100.0).unwrap(),
        uniform.sound_speed_m_s(200.0).unwrap(),
    );
    let closed = (c2 - c1) / libm::log(c2 / c1);
    let mean = uniform.harmonic_mean_sound_speed_m_s(100.0, 200.0).unwrap();
    assert_near(mean, closed, 3e-4);
    assert_eq!(
        uniform.harmonic_mean_sound_speed_m_s(200.0, 100.0).unwrap(),
        mean
    );
}

/// Two layers that differ much: the harmonic mean weighs by time, and the arithmetic mean must fail.
#[test]
fn verif_harmonic_mean_is_not_the_arithmetic_one() {
    let profile = Profile::new(&[point(0.0, 28.0, 36.0), point(100.0, 2.0, 36.0)]).unwrap();
    let samples = 20_000;
    let speeds: Vec<f64> = (0..samples)
        .map(|i| {
            profile
                .sound_speed_m_s(100.0 * (f64::from(i) + 0.5) / f64::from(samples))
                .unwrap()
        })
        .collect();
    let harmonic = f64::from(samples) / speeds.iter().map(|c| 1.0 / c).sum::<f64>();
    let arithmetic = speeds.iter().sum::<f64>() / f64::from(samples);
    let mean = profile.harmonic_mean_sound_speed_m_s(0.0, 100.0).unwrap();
    assert_near(mean, harmonic, 1e-5);
    assert!((mean - arithmetic).abs() > 0.1, "{mean} {arithmetic}");
}

#[test]
fn verif_reading_between_and_beyond_the_points() {
    let profile = summer();
    assert_near(profile.temperature_degc(22.5).unwrap(), 13.55, 1e-12);
    assert_near(profile.salinity(22.5).unwrap(), 33.8, 1e-12);
    assert_eq!(profile.temperature_degc(0.0), Ok(16.4));
    assert_eq!(profile.salinity(500.0), Ok(34.9));
    assert_eq!(
        profile.sound_speed_m_s(500.0),
        sound_speed_m_s(9.1, 34.9, 500.0)
    );
    assert!(profile.sound_speed(60.0).unwrap().warnings.is_empty());
    assert_eq!(
        profile.sound_speed(500.0).unwrap().warnings,
        [Warning::BeyondProfile {
            depth_m: 500.0,
            first_m: 2.0,
            last_m: 120.0
        }]
    );
    assert!(!profile.sound_speed(1.0).unwrap().warnings.is_empty());
}

/// A column that turns brackish towards the surface changes its method on the way, and still gives a time.
#[test]
fn verif_a_fjord_changes_method_within_the_column() {
    let fjord = Profile::new(&[
        point(0.0, 6.0, 12.0),
        point(10.0, 7.0, 31.0),
        point(80.0, 8.0, 34.0),
    ])
    .unwrap();
    assert_eq!(
        fjord.sound_speed(1.0).unwrap().method,
        Method::ChenMillero1977
    );
    assert_eq!(
        fjord.sound_speed(9.0).unwrap().method,
        Method::Mackenzie1981
    );
    let samples = 50_000;
    let time: f64 = (0..samples)
        .map(|i| {
            80.0 / f64::from(samples)
                / fjord
                    .sound_speed_m_s(80.0 * (f64::from(i) + 0.5) / f64::from(samples))
                    .unwrap()
        })
        .sum();
    assert_near(
        fjord.harmonic_mean_sound_speed_m_s(0.0, 80.0).unwrap(),
        80.0 / time,
        0.01,
    );
}

#[test]
fn verif_unusable_profiles_are_named() {
    assert_eq!(Profile::new(&[]), Err(SeaError::EmptyProfile));
    assert_eq!(
        Profile::new(&[
            point(0.0, 10.0, 35.0),
            point(5.0, 10.0, 35.0),
            point(5.0, 9.0, 35.0)
        ]),
        Err(SeaError::ProfileDepthsNotRising {
            index: 2,
            before_m: 5.0,
            after_m: 5.0
        })
    );
    assert!(matches!(
        Profile::new(&[point(0.0, 45.0, 35.0)]),
        Err(SeaError::OutOfRange {
            variable: Variable::Temperature,
            value: 45.0,
            ..
        })
    ));
    for bad in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
        assert!(Profile::new(&[point(bad, 10.0, 35.0)]).is_err());
        assert!(Profile::new(&[point(0.0, bad, 35.0)]).is_err());
        assert!(Profile::new(&[point(0.0, 10.0, bad)]).is_err());
        let profile = summer();
        assert!(profile.temperature_degc(bad).is_err());
        assert!(profile.sound_speed_m_s(bad).is_err());
        assert!(profile.harmonic_mean_sound_speed_m_s(5.0, bad).is_err());
        assert!(profile.slant_travel_time_s(5.0, 10.0, bad).is_err());
    }
    assert!(summer().temperature_degc(-0.1).is_err());
}

#[test]
fn verif_one_point_makes_a_uniform_column() {
    let uniform = Profile::new(&[point(10.0, 12.0, 35.0)]).unwrap();
    assert_eq!(
        uniform.sound_speed_m_s(40.0),
        sound_speed_m_s(12.0, 35.0, 40.0)
    );
}
