//! Checking every number of a detector's stages.

use signal::Decimator;

use super::resolved::{
    BackgroundSpec, BandSpec, DecimateSpec, Decision, LevelSpec, LikenessSpec, MatchedSpec,
    Measure, PulsesSpec, RidgeSpec, TriggerSpec,
};
use crate::error::SpecError;
use crate::features::Feature;
use crate::judge::{Judge, Model, logit};
use crate::spec::{BackgroundKind, Confirm, ContourPoint, KOfN, Stage};

/// Highest order of the band-pass prototype: beyond it the sections of a narrow band lose accuracy.
const HIGHEST_ORDER: usize = 8;
/// What the filter of a decimate stage passes, as a share of the new rate.
const DECIMATED_PASS: f64 = 0.4;
/// Longest time that any setting may span, s: a year. Beyond it memory and sample counts make no sense.
const LONGEST_TIME_S: f64 = 366.0 * 86_400.0;
/// Most pulses that may be asked for.
const MOST_PULSES: u32 = 10_000;
/// Most cells that a k-of-n rule may look back over.
const MOST_CELLS: u32 = 1000;

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

pub(super) fn trigger(
    stage: usize,
    item: &Stage,
    background: Option<BackgroundSpec>,
    rate_hz: f64,
) -> Result<TriggerSpec, SpecError> {
    let &Stage::Trigger {
        on_above_db,
        off_below_db,
        shortest_s,
        longest_s,
        bridge_s,
        k_of_n,
        hold_off_s,
        confirm,
    } = item
    else {
        unreachable!("called for a trigger only");
    };
    check_thresholds(stage, on_above_db, off_below_db)?;
    lengths(stage, shortest_s, longest_s, background)?;
    let hold_off_s = not_negative(stage, "hold-off", hold_off_s)?;
    let bridge_s = not_negative(stage, "bridge", bridge_s)?;
    let k_of_n = k_of_n.unwrap_or(KOfN {
        at_least: 1,
        of_last: 1,
    });
    let KOfN { at_least, of_last } = k_of_n;
    if at_least == 0 || at_least > of_last || of_last > MOST_CELLS {
        return Err(SpecError::CellCount {
            stage,
            at_least,
            of_last,
            most: MOST_CELLS,
        });
    }
    Ok(TriggerSpec {
        on_above_db,
        off_below_db,
        shortest_samples: samples(shortest_s, rate_hz),
        longest_samples: longest_s.map(|longest_s| samples(longest_s, rate_hz)),
        bridge_samples: samples(bridge_s, rate_hz),
        k_of_n,
        hold_off_samples: samples(hold_off_s, rate_hz),
        confirm,
        over_background: background.is_some(),
    })
}

/// Shortest and longest length, and a background that the shortest sound does not fill.
fn lengths(
    stage: usize,
    shortest_s: f64,
    longest_s: Option<f64>,
    background: Option<BackgroundSpec>,
) -> Result<(), SpecError> {
    not_negative(stage, "shortest", shortest_s)?;
    if let Some(longest_s) = longest_s {
        positive(stage, "longest", longest_s)?;
        if longest_s < shortest_s {
            return Err(SpecError::LongestBelowShortest {
                stage,
                longest_s,
                shortest_s,
            });
        }
    }
    if let Some(BackgroundSpec { stage, over_s, .. }) = background
        && over_s < 2.0 * shortest_s
    {
        return Err(SpecError::BackgroundTooShort {
            stage,
            over_s,
            least_s: 2.0 * shortest_s,
        });
    }
    Ok(())
}

pub(super) fn ridge(
    stage: usize,
    item: &Stage,
    background: Option<BackgroundSpec>,
    rate_hz: f64,
) -> Result<RidgeSpec, SpecError> {
    let &Stage::Ridge {
        sense,
        above_db,
        least_slope_hz_per_s,
        most_slope_hz_per_s,
        gap_s,
        shortest_s,
        longest_s,
        hold_off_s,
    } = item
    else {
        unreachable!("called for a ridge only");
    };
    finite(stage, "above", above_db)?;
    let (least, most) = (least_slope_hz_per_s, most_slope_hz_per_s);
    if !(least >= 0.0 && least < most && most.is_finite()) {
        return Err(SpecError::Slopes {
            stage,
            least_hz_per_s: least,
            most_hz_per_s: most,
        });
    }
    lengths(stage, shortest_s, longest_s, background)?;
    Ok(RidgeSpec {
        rate_hz,
        sense,
        above_db,
        least_slope_hz_per_s,
        most_slope_hz_per_s,
        gap_samples: samples(not_negative(stage, "gap", gap_s)?, rate_hz),
        shortest_samples: samples(shortest_s, rate_hz),
        longest_samples: longest_s.map(|longest_s| samples(longest_s, rate_hz)),
        hold_off_samples: samples(not_negative(stage, "hold-off", hold_off_s)?, rate_hz),
    })
}

pub(super) fn likely(
    stage: usize,
    item: &Stage,
    decision: &Decision,
    rate_hz: f64,
) -> Result<Judge, SpecError> {
    let Stage::Likely {
        at_least,
        constant,
        weights,
    } = item
    else {
        unreachable!("called for a judgement only");
    };
    if !(*at_least > 0.0 && *at_least < 1.0) {
        return Err(SpecError::Probability {
            stage,
            at_least: *at_least,
        });
    }
    finite(stage, "constant", *constant)?;
    if let Decision::Trigger(TriggerSpec {
        confirm: Confirm::Early,
        ..
    }) = decision
    {
        return Err(SpecError::JudgedTooEarly { stage });
    }
    for (i, &(feature, weight)) in weights.iter().enumerate() {
        finite(stage, feature.name(), weight)?;
        if weights[..i].iter().any(|&(before, _)| before == feature) {
            return Err(SpecError::FeatureTwice {
                stage,
                feature: feature.name(),
            });
        }
        let told = match feature {
            Feature::Excess | Feature::Length | Feature::PeakOverMean | Feature::TimeOfPeak => true,
            Feature::Slope | Feature::Low | Feature::High => {
                matches!(decision, Decision::Ridge(_))
            }
            Feature::Pulses | Feature::Interval | Feature::IntervalSpread => {
                matches!(decision, Decision::Pulses(_))
            }
        };
        if !told {
            return Err(SpecError::FeatureUntold {
                stage,
                feature: feature.name(),
            });
        }
    }
    Ok(Judge::new(Some(Model {
        rate_hz,
        constant: *constant,
        weights: weights.clone(),
        least: logit(*at_least),
    })))
}

pub(crate) fn check_thresholds(
    stage: usize,
    on_above_db: f64,
    off_below_db: f64,
) -> Result<(), SpecError> {
    finite(stage, "on-above", on_above_db)?;
    finite(stage, "off-below", off_below_db)?;
    if off_below_db > on_above_db {
        return Err(SpecError::OffAboveOn {
            stage,
            off_below_db,
            on_above_db,
        });
    }
    Ok(())
}

pub(super) fn pulses(stage: usize, item: &Stage, rate_hz: f64) -> Result<PulsesSpec, SpecError> {
    let &Stage::Pulses {
        rise_db,
        prominence_db,
        min_interval_s,
        max_interval_s,
        at_least,
        within_s,
        steady,
        hold_off_s,
    } = item
    else {
        unreachable!("called for pulses only");
    };
    finite(stage, "rise", rise_db)?;
    if !(prominence_db > 0.0 && prominence_db.is_finite()) {
        return Err(SpecError::NotPositive {
            stage,
            name: "prominence",
            value: prominence_db,
            unit: "dB",
        });
    }
    let min_interval_s = not_negative(stage, "min-interval", min_interval_s)?;
    let max_interval_s = positive(stage, "max-interval", max_interval_s)?;
    let hold_off_s = not_negative(stage, "hold-off", hold_off_s)?;
    if min_interval_s >= max_interval_s {
        return Err(SpecError::IntervalsCrossed {
            stage,
            min_interval_s,
            max_interval_s,
        });
    }
    if !(2..=MOST_PULSES).contains(&at_least) {
        return Err(SpecError::PulseCount {
            stage,
            at_least,
            most: MOST_PULSES,
        });
    }
    if let Some(within_s) = within_s {
        positive(stage, "within", within_s)?;
        let least_s = f64::from(at_least - 1) * min_interval_s;
        if within_s < least_s {
            return Err(SpecError::WithinTooShort {
                stage,
                within_s,
                least_s,
            });
        }
    }
    if let Some(steady) = steady {
        if !(0.0..=1.0).contains(&steady) {
            return Err(SpecError::Steady { stage, steady });
        }
        if at_least < 3 {
            return Err(SpecError::SteadyOfTwo { stage, at_least });
        }
    }
    Ok(PulsesSpec {
        rate_hz,
        rise_db,
        prominence_db,
        min_interval_samples: samples(min_interval_s, rate_hz),
        max_interval_samples: samples(max_interval_s, rate_hz),
        at_least,
        within_samples: within_s.map(|within_s| samples(within_s, rate_hz)),
        steady,
        hold_off_samples: samples(hold_off_s, rate_hz),
    })
}

/// Nearest whole number of samples. The caller has checked that the time lies between zero and a year.
fn samples(time_s: f64, rate_hz: f64) -> u64 {
    libm::round(time_s * rate_hz) as u64
}

fn finite(stage: usize, name: &'static str, value: f64) -> Result<(), SpecError> {
    if value.is_finite() {
        Ok(())
    } else {
        Err(SpecError::NotFinite { stage, name, value })
    }
}

fn positive(stage: usize, name: &'static str, value_s: f64) -> Result<f64, SpecError> {
    if value_s > 0.0 {
        not_negative(stage, name, value_s)
    } else {
        Err(SpecError::NotPositive {
            stage,
            name,
            value: value_s,
            unit: "s",
        })
    }
}

fn not_negative(stage: usize, name: &'static str, value_s: f64) -> Result<f64, SpecError> {
    if value_s.is_nan() || value_s < 0.0 {
        return Err(SpecError::Negative {
            stage,
            name,
            value_s,
        });
    }
    if value_s > LONGEST_TIME_S {
        return Err(SpecError::TimeTooLong {
            stage,
            name,
            value_s,
            most_s: LONGEST_TIME_S,
        });
    }
    Ok(value_s)
}

fn positive_hz(stage: usize, name: &'static str, value_hz: f64) -> Result<(), SpecError> {
    if value_hz > 0.0 && value_hz.is_finite() {
        Ok(())
    } else {
        Err(SpecError::NotPositive {
            stage,
            name,
            value: value_hz,
            unit: "Hz",
        })
    }
}
