//! Checking every number of the stages from samples to cells.

use signal::Decimator;

use super::numbers::{not_negative, positive, positive_hz};
use super::resolved::{
    BackgroundSpec, BandSpec, DecimateSpec, LearnedSpec, LevelSpec, LikenessSpec, MatchedSpec,
    Measure,
};
use crate::error::SpecError;
use crate::learned::ModelInput;
use crate::spec::{BackgroundKind, ContourPoint, Stage};

/// Highest order of the band-pass prototype: beyond it the sections of a narrow band lose accuracy.
const HIGHEST_ORDER: usize = 8;
/// What the filter of a decimate stage passes, as a share of the new rate.
const DECIMATED_PASS: f64 = 0.4;

pub(super) fn band(
    stage: usize,
    item: &Stage,
    decimate: Option<DecimateSpec>,
    rate_hz: f64,
) -> Result<BandSpec, SpecError> {
    let &Stage::Band {
        low_hz,
        high_hz,
        order,
    } = item
    else {
        unreachable!("called for a band only");
    };
    positive_hz(stage, "low", low_hz)?;
    positive_hz(stage, "high", high_hz)?;
    if low_hz >= high_hz {
        return Err(SpecError::BandEmpty {
            stage,
            low_hz,
            high_hz,
        });
    }
    let nyquist_hz = rate_hz / 2.0;
    if high_hz >= nyquist_hz {
        return Err(SpecError::BandAboveNyquist {
            stage,
            high_hz,
            nyquist_hz,
        });
    }
    if let Some(DecimateSpec { pass_hz, .. }) = decimate
        && high_hz > pass_hz
    {
        return Err(SpecError::BandAbovePass {
            stage,
            high_hz,
            pass_hz,
        });
    }
    if order == 0 || order > HIGHEST_ORDER {
        return Err(SpecError::BandOrder {
            stage,
            order,
            highest: HIGHEST_ORDER,
        });
    }
    Ok(BandSpec {
        stage,
        low_hz,
        high_hz,
        order,
    })
}

pub(super) fn level(
    stage: usize,
    measure: Measure,
    window_s: f64,
    hop_s: Option<f64>,
    rate_hz: f64,
) -> Result<LevelSpec, SpecError> {
    window(stage, window_s, hop_s, rate_hz)?;
    Ok(LevelSpec {
        stage,
        measure,
        window_s,
        hop_s,
    })
}

/// A window and the hop from one to the next.
pub(super) fn window(
    stage: usize,
    window_s: f64,
    hop_s: Option<f64>,
    rate_hz: f64,
) -> Result<(), SpecError> {
    let window_s = positive(stage, "window", window_s)?;
    if window_s * rate_hz < 1.0 {
        return Err(SpecError::WindowTooShort {
            stage,
            window_s,
            least_s: 1.0 / rate_hz,
        });
    }
    hop(stage, hop_s, window_s)
}

fn hop(stage: usize, hop_s: Option<f64>, window_s: f64) -> Result<(), SpecError> {
    let Some(hop_s) = hop_s else { return Ok(()) };
    positive(stage, "hop", hop_s)?;
    if hop_s > window_s {
        return Err(SpecError::HopTooLong {
            stage,
            hop_s,
            window_s,
        });
    }
    Ok(())
}

pub(super) fn learned(
    stage: usize,
    item: &Stage,
    rate_hz: f64,
) -> Result<LearnedSpec<'_>, SpecError> {
    let Stage::Learned {
        model,
        window_s,
        hop_s,
        input,
        gives,
    } = item
    else {
        unreachable!("called for a learned stage only");
    };
    if let ModelInput::Pressure { reference_upa } = *input
        && !(reference_upa > 0.0 && reference_upa.is_finite())
    {
        return Err(SpecError::NotPositive {
            stage,
            name: "reference",
            value: reference_upa,
            unit: "uPa",
        });
    }
    Ok(LearnedSpec {
        level: level(stage, Measure::Learned, *window_s, *hop_s, rate_hz)?,
        model,
        input: *input,
        gives: *gives,
    })
}

/// A template and its hop.
pub(super) fn matched(
    stage: usize,
    samples: &[f32],
    hop_s: Option<f64>,
    rate_hz: f64,
) -> Result<MatchedSpec<'_>, SpecError> {
    template(stage, samples)?;
    hop(stage, hop_s, samples.len() as f64 / rate_hz)?;
    Ok(MatchedSpec {
        stage,
        template: samples,
        hop_s,
    })
}

/// A recorded sound: some samples, all finite, not all zero.
pub(super) fn template(stage: usize, samples: &[f32]) -> Result<(), SpecError> {
    if let Some(at) = samples.iter().position(|v| !v.is_finite()) {
        return Err(SpecError::TemplateNotFinite { stage, at });
    }
    if samples.iter().all(|&v| v == 0.0) {
        return Err(SpecError::TemplateSilent {
            stage,
            samples: samples.len(),
        });
    }
    Ok(())
}

pub(super) fn background(stage: usize, item: &Stage) -> Result<BackgroundSpec, SpecError> {
    let &Stage::Background {
        kind,
        over_s,
        guard_s,
    } = item
    else {
        unreachable!("called for a background only");
    };
    if let BackgroundKind::Ordered { rank } = kind
        && !(rank > 0.0 && rank <= 1.0)
    {
        return Err(SpecError::Rank { stage, rank });
    }
    Ok(BackgroundSpec {
        stage,
        kind,
        over_s: positive(stage, "over", over_s)?,
        guard_s: not_negative(stage, "guard", guard_s)?,
    })
}

pub(super) fn contour<'a>(
    stage: usize,
    points: &'a [ContourPoint],
    width_hz: f64,
    band: Option<BandSpec>,
) -> Result<LikenessSpec<'a>, SpecError> {
    positive_hz(stage, "width", width_hz)?;
    let rising = points.is_sorted_by(|a, b| a.after_s < b.after_s);
    if points.len() < 2 || points[0].after_s != 0.0 || !rising {
        return Err(SpecError::ContourTimes { stage });
    }
    for point in points {
        not_negative(stage, "after", point.after_s)?;
        positive_hz(stage, "frequency", point.frequency_hz)?;
        if let Some(band) = band
            && !(band.low_hz..=band.high_hz).contains(&point.frequency_hz)
        {
            return Err(SpecError::ContourOutsideBand {
                stage,
                frequency_hz: point.frequency_hz,
                low_hz: band.low_hz,
                high_hz: band.high_hz,
            });
        }
    }
    Ok(LikenessSpec::Contour {
        stage,
        points,
        width_hz,
    })
}

pub(super) fn decimate(
    stage: usize,
    factor: usize,
    rate_hz: f64,
) -> Result<DecimateSpec, SpecError> {
    let pass_hz = DECIMATED_PASS * rate_hz / factor as f64;
    Decimator::new(factor, pass_hz, rate_hz)
        .map_err(|source| SpecError::Filter { stage, source })?;
    Ok(DecimateSpec {
        stage,
        factor,
        pass_hz,
    })
}
