//! The call as samples, and the bands in which it and the noise are compared.

use detect::{Spec, Stage};
use plan::SoundKind;

use super::RangeError;
use crate::input::{Exact, template_samples};

/// Below this the formulas of the sea do not hold, Hz.
pub(super) const LOWEST_HZ: f64 = 1.0;

/// Whose band it is in which call and noise are compared.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum BandOf {
    /// The detector's own: a level of all that it passes.
    Detector,
    /// The call's, of nine tenths of its energy: the detector names no band and takes no level of all that it passes, but looks within it.
    Call,
}

pub(super) fn over_background(spec: &Spec) -> bool {
    let mut stages = spec.stages.iter();
    stages.any(|stage| matches!(stage, Stage::Background { .. }))
}

/// Whose band call and noise are compared in.
pub(super) fn band_of(spec: &Spec) -> BandOf {
    let names = |s: &Stage| matches!(s, Stage::Band { .. });
    // A level or an exposure is that of all that is passed; the others look for something within it.
    let whole = |s: &Stage| matches!(s, Stage::Level { .. } | Stage::Exposure { .. });
    if spec.stages.iter().any(|s| names(s) || whole(s)) {
        BandOf::Detector
    } else {
        BandOf::Call
    }
}

/// The band that a detector passes; without one all that its rate holds.
pub(crate) fn listens_in(spec: &Spec) -> (f64, f64) {
    /// What a decimator passes of the new rate.
    const PASSED: f64 = 0.4;
    let mut rate_hz = spec.rate_hz;
    let mut band = (0.0_f64, 0.5 * rate_hz);
    for stage in &spec.stages {
        match stage {
            Stage::Decimate { factor } => {
                rate_hz /= *factor as f64;
                band.1 = band.1.min(PASSED * rate_hz);
            }
            Stage::Band {
                low_hz, high_hz, ..
            } => band = (band.0.max(*low_hz), band.1.min(*high_hz)),
            _ => {}
        }
    }
    band
}

/// The frequency that stands for a formula with the least and the greatest, Hz.
type Said = (f64, (f64, f64));

/// Samples of a call at a rate, with an rms of 1 uPa while it sounds; of a formula with what it says of its frequencies.
pub(super) fn voiced(
    name: &str,
    call: &plan::Call,
    rate_hz: f64,
) -> Result<(Vec<f32>, Option<Said>), RangeError> {
    match &call.what {
        SoundKind::Recording { .. } => Ok((recorded(name, call, rate_hz)?, None)),
        kind => {
            let (samples, said) = formula(name, kind, rate_hz)?;
            Ok((samples, Some(said)))
        }
    }
}

fn formula(name: &str, kind: &SoundKind, rate_hz: f64) -> Result<(Vec<f32>, Said), RangeError> {
    let exact = Exact::new(kind, 0.0)
        .map_err(|source| RangeError::Call {
            call: name.to_owned(),
            source,
        })?
        .expect("calls are formulas or recordings");
    let audible_hz = plan::Chain::AUDIBLE_SHARE * 0.5 * rate_hz;
    if exact.high_hz > audible_hz {
        return Err(RangeError::AboveTheEar {
            call: name.to_owned(),
            high_hz: exact.high_hz,
            audible_hz,
        });
    }
    let samples = (exact.duration_s * rate_hz).ceil() as usize;
    let sound = (0..samples).map(|i| exact.value(i as f64 / rate_hz) as f32);
    let band_hz = (exact.low_hz.max(LOWEST_HZ), exact.high_hz);
    Ok((sound.collect(), (exact.representative_hz, band_hz)))
}

/// The samples of a recorded call, with an rms of 1 uPa over its length.
fn recorded(name: &str, call: &plan::Call, rate_hz: f64) -> Result<Vec<f32>, RangeError> {
    let template = call
        .recording
        .as_ref()
        .expect("a recorded call names its recording");
    let mut samples = template_samples(name, template, rate_hz)?;
    let sum: f64 = samples.iter().map(|&x| f64::from(x) * f64::from(x)).sum();
    if sum > 0.0 {
        let factor = 1.0 / (sum / samples.len() as f64).sqrt();
        for x in &mut samples {
            *x = (f64::from(*x) * factor) as f32;
        }
    }
    Ok(samples)
}
