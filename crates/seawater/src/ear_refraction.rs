//! By how much the angle of a sound at two hydrophones on one vertical may differ from the one that the time between them tells.
//!
//! Where sound speed `c` depends on depth `z` alone, a ray keeps `p = cos g / c`, `g` its angle to the horizontal (Snell's law), and
//! the time at which a sound arrives changes along the vertical by `sin g / c` (the eikonal equation): any text on ray acoustics, so
//! F. B. Jensen, W. A. Kuperman, M. B. Porter, H. Schmidt, "Computational Ocean Acoustics" (2011), chapter 3 (from memory). The time
//! between the two is thus the integral of `sin g / c` between them, and with the harmonic mean of `c` for the one speed the sine
//! that [`TwoEars`](crate::TwoEars) tells is the mean of `sin g` over the depths between, weighted by `1 / c`. At some depth between
//! them it is the sine itself, `s`, and with `r` the least speed between over the greatest, at every other depth
//!
//! ```text
//! 1 - (1 - s^2) / r^2  <=  sin^2 g  <=  1 - (1 - s^2) r^2
//! ```
//!
//! Where the left side is below zero a ray may turn between the two, and its sine may be of either sign; a sound that the time puts
//! on the horizon lies within `acos r` of it.
//!
//! Validity: one family of rays at both, of one `p`: a source far against their distance, and no edge of a shadow between them.
//! Exact within that.

use crate::limits::{Limit, Method, SeaError, Variable};

const SOUND_SPEED: Limit = Limit::new(Variable::SoundSpeed, 1300.0, 1800.0);

/// Least and greatest sine of a sound's angle at any depth between two hydrophones on one vertical, of which the time between them
/// tells a sine from `least` to `most` (each -1 to 1, in order); `slowest_m_s` and `fastest_m_s` are the least and the
/// greatest sound speed between them, 1300 to 1800 m/s.
///
/// # Errors
/// [`SeaError::OutOfRange`] for another speed.
pub fn refracted_sines(
    (least, most): (f64, f64),
    slowest_m_s: f64,
    fastest_m_s: f64,
) -> Result<(f64, f64), SeaError> {
    SOUND_SPEED.require(slowest_m_s, Method::TwoEars)?;
    SOUND_SPEED.require(fastest_m_s, Method::TwoEars)?;
    let ratio = slowest_m_s.min(fastest_m_s) / slowest_m_s.max(fastest_m_s);
    // Sound that is told flatter than this may turn.
    let turns = libm::sqrt((1.0 - ratio * ratio).max(0.0));
    let told = [least, most, -turns, turns]
        .into_iter()
        .filter(|sine| (least..=most).contains(sine));
    Ok(told.map(|sine| about(sine, ratio, turns)).fold(
        (f64::INFINITY, f64::NEG_INFINITY),
        |(low, high), (least, most)| (low.min(least), high.max(most)),
    ))
}

/// Least and greatest sine where the time tells this one; up to `turns` a ray may turn.
fn about(sine: f64, ratio: f64, turns: f64) -> (f64, f64) {
    let flat = 1.0 - sine * sine;
    let steepest = libm::sqrt(1.0 - flat * ratio * ratio);
    if sine.abs() <= turns {
        return (-steepest, steepest);
    }
    let flattest = libm::sqrt((1.0 - flat / (ratio * ratio)).max(0.0));
    if sine < 0.0 {
        (-steepest, -flattest)
    } else {
        (flattest, steepest)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn verif_one_speed_bends_nothing_and_the_horizon_lies_within_its_angle() {
        for sine in [-1.0, -0.3, 0.0, 0.4, 1.0] {
            let (least, most) = refracted_sines((sine, sine), 1500.0, 1500.0).unwrap();
            assert!((least - sine).abs() < 1e-12 && (most - sine).abs() < 1e-12);
        }
        let (least, most) = refracted_sines((0.0, 0.0), 1480.0, 1510.0).unwrap();
        let bound = libm::sin(libm::acos(1480.0 / 1510.0));
        assert!((most - bound).abs() < 1e-12 && (least + bound).abs() < 1e-12);
        assert!(refracted_sines((0.0, 0.0), 1200.0, 1500.0).is_err());
    }

    /// Rays through water of many layers: their angles at every depth lie within the limits about their own mean, and the limits of an
    /// interval hold those of every sine in it.
    #[test]
    fn verif_rays_through_layers_lie_within() {
        let speed_m_s = |k: i32| 1480.0 + 30.0 * libm::sin(f64::from(k) * 0.02);
        for degrees in 1..90 {
            let p = libm::cos(f64::from(degrees).to_radians()) / 1510.0;
            let sines: Vec<f64> = (0..=100)
                .map(|k| libm::sqrt(1.0 - (p * speed_m_s(k)) * (p * speed_m_s(k))))
                .collect();
            let weights: Vec<f64> = (0..=100).map(|k| 1.0 / speed_m_s(k)).collect();
            let mean = sines.iter().zip(&weights).map(|(s, w)| s * w).sum::<f64>()
                / weights.iter().sum::<f64>();
            let (least, most) = refracted_sines((mean, mean), 1480.0, 1510.0).unwrap();
            assert!(
                sines.iter().all(|s| least <= *s && *s <= most),
                "{degrees} deg: {least} {most}"
            );
            for sign in [-1.0, 1.0] {
                let wide = (sign * mean - 0.05).max(-1.0)..(sign * mean + 0.05).min(1.0);
                let all = refracted_sines((wide.start, wide.end), 1480.0, 1510.0).unwrap();
                for k in 0..=20 {
                    let sine = wide.start + f64::from(k) / 20.0 * (wide.end - wide.start);
                    let one = refracted_sines((sine, sine), 1480.0, 1510.0).unwrap();
                    assert!(all.0 <= one.0 + 1e-12 && one.1 <= all.1 + 1e-12);
                }
            }
        }
    }
}
