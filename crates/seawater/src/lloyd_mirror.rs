//! Interference of a source with its image in a flat, pressure-release sea surface.
//!
//! Source: textbook image method, derived here: `p = e^(i k R1) / R1 - e^(i k R2) / R2`, `TL = -20 lg |p|`, with
//! `R1^2 = r^2 + (zr - zs)^2`, `R2^2 = r^2 + (zr + zs)^2`, `k = 2 pi f / c`.
//!
//! Written as `|p|^2 = (1 / R1 - 1 / R2)^2 + 4 sin^2(k (R2 - R1) / 2) / (R1 R2)` with `R2 - R1 = 4 zs zr / (R1 + R2)`, which
//! keeps its digits where the two paths nearly cancel.
//!
//! r horizontal distance, zs and zr depths of source and receiver, all m; f frequency, Hz; c sound speed, m/s.
//!
//! Validity: one sound speed, no bed, a surface smooth against the wavelength; R1 at least 1 m. Absorption is not in it. Depth
//! of the nulls is theoretical: swell and bandwidth fill them.

use crate::limits::{Limit, Method, SeaError, Variable};

const FREQUENCY: Limit = Limit::new(Variable::Frequency, 1.0, 1e6);
/// At the surface itself the pressure is zero and the loss infinite, so depths begin at a centimetre.
const SOURCE_DEPTH: Limit = Limit::new(Variable::SourceDepth, 0.01, 11_000.0);
const RECEIVER_DEPTH: Limit = Limit::new(Variable::ReceiverDepth, 0.01, 11_000.0);
const HORIZONTAL: Limit = Limit::new(Variable::HorizontalDistance, 0.0, 2e7);
const DIRECT_PATH: Limit = Limit::new(Variable::Range, 1.0, 2e7);
/// Wider than any water on Earth.
const SOUND_SPEED: Limit = Limit::new(Variable::SoundSpeed, 1300.0, 1800.0);

/// Transmission loss in dB re 1 m with the surface image, without absorption.
///
/// Valid for 1 Hz to 1 MHz, depths from 0.01 to 11 000 m, at least 1 m between source and receiver, sound speed 1300 to
/// 1800 m/s.
///
/// # Errors
/// [`SeaError::OutOfRange`] outside these ranges.
pub fn lloyd_mirror_loss_db(
    frequency_hz: f64,
    source_depth_m: f64,
    receiver_depth_m: f64,
    horizontal_m: f64,
    sound_speed_m_s: f64,
) -> Result<f64, SeaError> {
    FREQUENCY.require(frequency_hz, Method::LloydMirror)?;
    SOURCE_DEPTH.require(source_depth_m, Method::LloydMirror)?;
    RECEIVER_DEPTH.require(receiver_depth_m, Method::LloydMirror)?;
    HORIZONTAL.require(horizontal_m, Method::LloydMirror)?;
    SOUND_SPEED.require(sound_speed_m_s, Method::LloydMirror)?;
    let r1_m = libm::hypot(horizontal_m, receiver_depth_m - source_depth_m);
    let r2_m = libm::hypot(horizontal_m, receiver_depth_m + source_depth_m);
    DIRECT_PATH.require(r1_m, Method::LloydMirror)?;
    let difference_m = 4.0 * source_depth_m * receiver_depth_m / (r1_m + r2_m);
    let wavenumber_per_m = 2.0 * std::f64::consts::PI * frequency_hz / sound_speed_m_s;
    let amplitude_gap = difference_m / (r1_m * r2_m);
    let sine = libm::sin(0.5 * wavenumber_per_m * difference_m);
    Ok(-10.0 * libm::log10(amplitude_gap * amplitude_gap + 4.0 * sine * sine / (r1_m * r2_m)))
}
