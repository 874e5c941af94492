//! Panels on the faces of a buoy that yaws.
//!
//! No anchor holds a buoy's heading, so over an hour a panel looks everywhere. With every azimuth equally likely, the
//! positive part of the cosine of incidence `a + c cos(yaw)`, `a = cos tilt cos zenith`, `c = sin tilt sin zenith`,
//! has the mean
//!
//! ```text
//! a                      where a >= c
//! (a p + c sin p) / pi   otherwise, with p = arccos(-a/c)
//! ```
//!
//! by elementary integration. Multiplied with the ASHRAE modifier the cosine becomes the positive part of `(1 + b) cos
//! - b`, of the same form, so that mean is closed too; the physical modifier is integrated by Simpson's rule.
//!
//! Validity: a buoy that turns well within the hour, or whose heading is unknown. Heel and roll are not in it. Panels
//! that look in different directions must not share a series string: the darkest one then sets the current.

use core::f64::consts::PI;

use super::error::{Quantity, SunError};
use super::incidence::{Glass, Iam};

/// Intervals of Simpson's rule over the lit half turn.
const INTERVALS: u32 = 64;

/// Mean over all azimuths of the positive part of the cosine of incidence, 0 to 1.
///
/// # Errors
/// A tilt or zenith angle outside its range ([`Quantity::range`]).
pub fn mean_cos_incidence(tilt_deg: f64, zenith_deg: f64) -> Result<f64, SunError> {
    let (level, swing) = level_and_swing(tilt_deg, zenith_deg)?;
    Ok(mean_positive(level, swing))
}

/// Mean over all azimuths of the positive part of the cosine of incidence times the modifier of the cover. Over
/// [`mean_cos_incidence`] it is the mean modifier of the beam.
///
/// # Errors
/// A tilt, zenith angle or factor of the modifier outside its range ([`Quantity::range`]).
pub fn mean_beam_share(tilt_deg: f64, zenith_deg: f64, iam: Iam) -> Result<f64, SunError> {
    let (level, swing) = level_and_swing(tilt_deg, zenith_deg)?;
    iam.check()?;
    Ok(match iam {
        Iam::None => mean_positive(level, swing),
        Iam::Ashrae { b } => mean_positive((1.0 + b) * level - b, (1.0 + b) * swing),
        Iam::Physical => {
            let end_rad = lit_half_turn_rad(level, swing);
            let step_rad = end_rad / f64::from(INTERVALS);
            let glass = Glass::new();
            let sum: f64 = (0..=INTERVALS)
                .map(|i| {
                    let cos = level + swing * libm::cos(f64::from(i) * step_rad);
                    let weight = match i {
                        0 | INTERVALS => 1.0,
                        _ if i % 2 == 1 => 4.0,
                        _ => 2.0,
                    };
                    weight * cos * glass.modifier(cos)
                })
                .sum();
            sum * step_rad / 3.0 / PI
        }
    })
}

/// Lowest and highest share of the beam that a ring of panels catches while it turns: the mean over the panels, evenly
/// spaced in azimuth, of the positive part of the cosine of incidence.
///
/// Between the headings at which a panel enters or leaves the light the share is one sinusoid whose extremes lie
/// where the ring is symmetric to the sun, so these headings and the two symmetric ones hold both extremes.
///
/// # Errors
/// No panel; a tilt or zenith angle outside its range ([`Quantity::range`]).
pub fn ring_range(panels: u32, tilt_deg: f64, zenith_deg: f64) -> Result<(f64, f64), SunError> {
    if panels == 0 {
        return Err(SunError::NoPanel);
    }
    let (level, swing) = level_and_swing(tilt_deg, zenith_deg)?;
    let pitch_rad = 2.0 * PI / f64::from(panels);
    let share = |heading_rad: f64| {
        let sum: f64 = (0..panels)
            .map(|k| (level + swing * libm::cos(heading_rad + f64::from(k) * pitch_rad)).max(0.0))
            .sum();
        sum / f64::from(panels)
    };
    let edge_rad = lit_half_turn_rad(level, swing);
    Ok([0.0, 0.5 * pitch_rad, edge_rad, -edge_rad]
        .map(share)
        .into_iter()
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), share| {
            (low.min(share), high.max(share))
        }))
}

fn level_and_swing(tilt_deg: f64, zenith_deg: f64) -> Result<(f64, f64), SunError> {
    Quantity::Tilt.check(tilt_deg)?;
    Quantity::Zenith.check(zenith_deg)?;
    let (sin_tilt, cos_tilt) = libm::sincos(tilt_deg.to_radians());
    let (sin_zenith, cos_zenith) = libm::sincos(zenith_deg.to_radians());
    Ok((cos_tilt * cos_zenith, sin_tilt * sin_zenith))
}

/// Yaw up to which the sun is in front of the panel, 0 to pi.
fn lit_half_turn_rad(level: f64, swing: f64) -> f64 {
    if level >= swing {
        PI
    } else if level <= -swing {
        0.0
    } else {
        libm::acos(-level / swing)
    }
}

/// Mean over a turn of the positive part of `level + swing cos(yaw)`.
fn mean_positive(level: f64, swing: f64) -> f64 {
    if level >= swing {
        return level;
    }
    let edge_rad = lit_half_turn_rad(level, swing);
    (level * edge_rad + swing * libm::sin(edge_rad)) / PI
}
