//! Checking every number of the stages that decide and judge.

use super::numbers::{finite, not_negative, positive, samples};
use super::resolved::{BackgroundSpec, Decision, PulsesSpec, RidgeSpec, TriggerSpec};
use crate::error::SpecError;
use crate::features::Feature;
use crate::judge::{Judge, Model, logit};
use crate::spec::{Confirm, KOfN, Stage};

/// Most pulses that may be asked for.
const MOST_PULSES: u32 = 10_000;
/// Most cells that a k-of-n rule may look back over.
const MOST_CELLS: u32 = 1000;

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
    let hold_off_s = check_hold_off(stage, hold_off_s)?;
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

pub(crate) fn check_hold_off(stage: usize, hold_off_s: f64) -> Result<f64, SpecError> {
    not_negative(stage, "hold-off", hold_off_s)
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
        of_last,
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
    let of_last = of_last.unwrap_or(at_least);
    if !(at_least..=MOST_PULSES).contains(&of_last) {
        return Err(SpecError::PulsesOf {
            stage,
            at_least,
            of_last,
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
        if of_last > at_least {
            return Err(SpecError::SteadyWithMissed { stage, of_last });
        }
    }
    Ok(PulsesSpec {
        rate_hz,
        rise_db,
        prominence_db,
        min_interval_samples: samples(min_interval_s, rate_hz),
        max_interval_samples: samples(max_interval_s, rate_hz),
        at_least,
        of_last,
        within_samples: within_s.map(|within_s| samples(within_s, rate_hz)),
        steady,
        hold_off_samples: samples(hold_off_s, rate_hz),
    })
}
