//! Two ears: held to geometry and to straightforward trial.

use proptest::prelude::*;
use seawater::{SeaError, TwoEars, Variable};

use crate::reference::assert_near;

const PAIR: TwoEars = TwoEars {
    distance_m: 30.0,
    sound_speed_m_s: 1500.0,
    time_uncertainty_s: 0.4e-3,
    distance_uncertainty_m: 0.6,
    speed_uncertainty_m_s: 3.0,
};

#[test]
fn verif_broadside_and_slant() {
    let broadside = PAIR.direction(0.0).unwrap();
    assert_near(broadside.angle_deg, 90.0, 1e-12);
    // At broadside the distance and the speed do not matter: u = c u_t / d = 0.02, 1.146 degrees.
    assert_near(broadside.most_deg - 90.0, 1.1460, 1e-4);
    assert_eq!((broadside.from_distance, broadside.from_speed), (0.0, 0.0));
    let slant = PAIR.direction(0.01).unwrap();
    assert_near(slant.angle_deg, 60.0, 1e-9);
    assert!(!slant.endfire);
}

/// Straight ahead the uncertainty is the widest: the same spread of the cosine opens a cone of ten degrees and more.
#[test]
fn verif_endfire_is_told() {
    let end = PAIR.direction(0.02).unwrap();
    assert!(end.endfire);
    assert_eq!(end.least_deg, 0.0);
    assert!(end.most_deg > 10.0, "{end:?}");
    assert_near(PAIR.longest_s().unwrap(), 0.02, 1e-15);
    assert!(matches!(
        PAIR.direction(0.0215),
        Err(SeaError::OutOfRange {
            variable: Variable::TimeDifference,
            ..
        })
    ));
}

#[test]
fn verif_a_pair_that_is_no_pair_is_an_error() {
    let near = TwoEars {
        distance_uncertainty_m: 30.0,
        ..PAIR
    };
    assert!(matches!(
        near.direction(0.0),
        Err(SeaError::NoBaseline { .. })
    ));
    for wrong in [
        TwoEars {
            distance_m: 0.0,
            ..PAIR
        },
        TwoEars {
            time_uncertainty_s: -1.0,
            ..PAIR
        },
        TwoEars {
            sound_speed_m_s: f64::NAN,
            ..PAIR
        },
    ] {
        assert!(wrong.direction(0.0).is_err());
    }
    assert!(PAIR.direction(f64::NAN).is_err());
}

proptest! {
    /// A source far away: the time between two places, worked out from its distances to both, gives its direction back, and what the
    /// pair is wrong by (time, distance, speed at their limits) stays within the limits when one is wrong alone.
    #[test]
    fn verif_directions_of_far_sources(angle in 1.0_f64..179.0, wrong in 0_usize..3, sign in prop::bool::ANY) {
        let rad = angle / 180.0 * std::f64::consts::PI;
        let far = 1e7;
        let (x, y) = (far * libm::cos(rad), far * libm::sin(rad));
        let sign = if sign { 1.0 } else { -1.0 };
        let (mut d, mut c, mut t) = (30.0, 1500.0, 0.0);
        match wrong {
            0 => d += sign * 0.6,
            1 => c += sign * 3.0,
            _ => t += sign * 0.4e-3,
        }
        let later = (libm::hypot(x, y) - libm::hypot(x - d, y)) / c + t;
        let exact = (libm::hypot(x, y) - libm::hypot(x - 30.0, y)) / 1500.0;
        prop_assert!((PAIR.direction(exact).unwrap().angle_deg - angle).abs() < 1e-3);
        let found = PAIR.direction(later).unwrap();
        prop_assert!(found.least_deg <= angle + 0.01 && found.most_deg >= angle - 0.01, "{found:?}");
    }
}
