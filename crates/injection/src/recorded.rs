//! Level of recorded noise in a detector's band, as it is heard behind the chain's high-pass.
//!
//! Welch's mean of overlapping Hann windows of half a second to a second (longer for a band of less than 16 Hz), edge lines of the band cut in
//! proportion. Levels and ratios of synthesised noise are those behind the high-pass too.

use signal::{Arithmetic, Block, Welch, level_db};

use crate::error::InjectionError;

/// Lines within the band, at least, where the noise is long enough.
const LINES: f64 = 8.0;

/// Mean in-band level of stretches of recorded noise, uPa, dB re 1 uPa; minus infinity for silence.
///
/// # Errors
/// [`InjectionError::Spectrum`] for a band that cannot be at this rate, or stretches too short for a spectrum.
pub fn recorded_level_db(
    stretches: &[&[f32]],
    rate_hz: f64,
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
    let psd = welch.psd()?;
    Ok(level_db(psd.band_power(low_hz, high_hz)?, 1.0))
}
