//! Level of recorded noise in a detector's band, as at the hydrophone.
//!
//! Welch's mean of overlapping Hann windows of half a second to a second (longer for a band of less than 16 Hz), edge lines of the band cut in
//! proportion. What the chain's high-pass took away is given back, up to 20 dB: below that a line is the recorder's rather than
//! the sea's. So level and ratio are those of the synthesised noise, which is known before the high-pass.

use signal::{Arithmetic, Block, SensorChain, Welch, level_db};

use crate::error::InjectionError;

/// Least share of the power that the high-pass leaves for it to be given back whole.
const LEAST_LEFT: f64 = 0.01;
/// Lines within the band, at least, where the noise is long enough.
const LINES: f64 = 8.0;

/// Mean in-band level of stretches of recorded noise, uPa behind the chain's high-pass, dB re 1 uPa; minus infinity for silence.
///
/// # Errors
/// [`InjectionError::Spectrum`] for a band that cannot be at this rate, or stretches too short for a spectrum.
pub fn recorded_level_db(
    stretches: &[&[f32]],
    rate_hz: f64,
    chain: Option<&SensorChain>,
    (low_hz, high_hz): (f64, f64),
) -> Result<f64, InjectionError> {
    let shortest = stretches.iter().map(|s| s.len()).min().unwrap_or(0);
    let wanted = rate_hz.max(2.0 * LINES * rate_hz / (high_hz - low_hz));
    let mut segment = 2;
    while 2 * segment <= shortest && (2 * segment) as f64 <= wanted {
        segment *= 2;
    }
    let mut welch = Welch::new(segment, segment / 2, rate_hz, Arithmetic::Scalar)?;
    for stretch in stretches {
        welch.new_stretch();
        welch.process(Block::new(0, stretch))?;
    }
    let mut psd = welch.psd()?;
    let high_pass = match chain {
        Some(chain) => chain.high_pass_filter().map_err(signal::ChainError::from)?,
        None => None,
    };
    if let Some(high_pass) = high_pass {
        for (line, density) in psd.density.iter_mut().enumerate() {
            let (re, im) = high_pass.response(line as f64 * psd.bin_hz);
            *density /= (re * re + im * im).max(LEAST_LEFT);
        }
    }
    Ok(level_db(psd.band_power(low_hz, high_hz)?, 1.0))
}
