//! Sorting the stages of a detector into their places and checking every number.

use crate::error::SpecError;
use crate::spec::{BackgroundKind, Confirm, LevelKind, Spec, Stage};

#[derive(Clone, Copy, Debug)]
pub(crate) struct BandSpec {
    pub(crate) low_hz: f64,
    pub(crate) high_hz: f64,
    pub(crate) order: usize,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Measure {
    MeanSquare,
    Exponential,
    Exposure,
}

#[derive(Clone, Copy, Debug)]
pub(crate) struct LevelSpec {
    pub(crate) stage: usize,
    pub(crate) measure: Measure,
    pub(crate) window_s: f64,
    pub(crate) hop_s: Option<f64>,
}

#[derive(Clone, Copy, Debug)]
pub(crate) struct TriggerSpec {
    pub(crate) on_above_db: f64,
    pub(crate) off_below_db: f64,
    pub(crate) shortest_samples: u64,
    pub(crate) longest_samples: Option<u64>,
    pub(crate) hold_off_samples: u64,
    pub(crate) confirm: Confirm,
    pub(crate) over_background: bool,
}

#[derive(Clone, Copy, Debug)]
pub(crate) struct PulsesSpec {
    pub(crate) rise_db: f64,
    pub(crate) prominence_db: f64,
    pub(crate) min_interval_samples: u64,
    pub(crate) max_interval_samples: u64,
    pub(crate) at_least: u32,
    pub(crate) within_samples: Option<u64>,
    pub(crate) hold_off_samples: u64,
}

#[derive(Clone, Copy, Debug)]
pub(crate) enum Decision {
    Trigger(TriggerSpec),
    Pulses(PulsesSpec),
}

/// The stages sorted into their places, each number checked.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Resolved {
    pub(crate) rate_hz: f64,
    pub(crate) band: Option<BandSpec>,
    pub(crate) level: LevelSpec,
    pub(crate) background: Option<(usize, f64)>,
    pub(crate) decision: Decision,
}

/// Highest order of the band-pass prototype: beyond it the sections of a narrow band lose accuracy.
pub(crate) const HIGHEST_ORDER: usize = 8;
/// Longest time that any setting may span, s: a year. Beyond it memory and sample counts make no sense.
const LONGEST_TIME_S: f64 = 366.0 * 86_400.0;
/// Most pulses that may be asked for.
const MOST_PULSES: u32 = 10_000;

pub(crate) fn resolve(spec: &Spec) -> Result<Resolved, SpecError> {
    let rate_hz = spec.rate_hz;
    if !(rate_hz > 0.0 && rate_hz.is_finite()) {
        return Err(SpecError::Rate { rate_hz });
    }
    if spec.stages.is_empty() {
        return Err(SpecError::Empty);
    }
    let mut band = None;
    let mut level: Option<LevelSpec> = None;
    let mut background: Option<(usize, f64)> = None;
    let mut decision: Option<Decision> = None;
    for (stage, item) in spec.stages.iter().enumerate() {
        let misplaced = |right| {
            Err(SpecError::Misplaced {
                stage,
                found: item.word(),
                right,
            })
        };
        if decision.is_some() {
            return misplaced("nothing may follow a trigger or pulses stage");
        }
        match *item {
            Stage::Band {
                low_hz,
                high_hz,
                order,
            } => {
                if band.is_some() || level.is_some() {
                    return misplaced("a detector has at most one band, and it comes first");
                }
                band = Some(check_band(stage, low_hz, high_hz, order, rate_hz)?);
            }
            Stage::Level {
                kind,
                window_s,
                hop_s,
            } => {
                if level.is_some() {
                    return misplaced(
                        "a detector has one level or exposure stage, before any background",
                    );
                }
                let measure = match kind {
                    LevelKind::MeanSquare => Measure::MeanSquare,
                    LevelKind::Exponential => Measure::Exponential,
                };
                level = Some(check_level(stage, measure, window_s, hop_s, rate_hz)?);
            }
            Stage::Exposure { window_s } => {
                if level.is_some() {
                    return misplaced(
                        "a detector has one level or exposure stage, before any background",
                    );
                }
                level = Some(check_level(
                    stage,
                    Measure::Exposure,
                    window_s,
                    None,
                    rate_hz,
                )?);
            }
            Stage::Background {
                kind: BackgroundKind::Median,
                over_s,
            } => {
                if level.is_none() {
                    return misplaced("a background needs a level or exposure stage before it");
                }
                if background.is_some() {
                    return misplaced("a detector has at most one background");
                }
                let over_s = positive(stage, "over", over_s)?;
                background = Some((stage, over_s));
            }
            Stage::Trigger { .. } => {
                if level.is_none() {
                    return misplaced("a trigger needs a level or exposure stage before it");
                }
                decision = Some(Decision::Trigger(check_trigger(
                    stage, item, background, rate_hz,
                )?));
            }
            Stage::Pulses { .. } => {
                if background.is_none() {
                    return misplaced(
                        "pulses need a level stage and then a background stage before them",
                    );
                }
                decision = Some(Decision::Pulses(check_pulses(stage, item, rate_hz)?));
            }
        }
    }
    let decision = decision.ok_or(SpecError::NoDecision)?;
    let level = level.expect("a decision is refused without a level");
    Ok(Resolved {
        rate_hz,
        band,
        level,
        background,
        decision,
    })
}

fn check_band(
    stage: usize,
    low_hz: f64,
    high_hz: f64,
    order: usize,
    rate_hz: f64,
) -> Result<BandSpec, SpecError> {
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
    if order == 0 || order > HIGHEST_ORDER {
        return Err(SpecError::BandOrder {
            stage,
            order,
            highest: HIGHEST_ORDER,
        });
    }
    Ok(BandSpec {
        low_hz,
        high_hz,
        order,
    })
}

fn check_level(
    stage: usize,
    measure: Measure,
    window_s: f64,
    hop_s: Option<f64>,
    rate_hz: f64,
) -> Result<LevelSpec, SpecError> {
    let window_s = positive(stage, "window", window_s)?;
    if window_s * rate_hz < 1.0 {
        return Err(SpecError::WindowTooShort {
            stage,
            window_s,
            least_s: 1.0 / rate_hz,
        });
    }
    if let Some(hop_s) = hop_s {
        positive(stage, "hop", hop_s)?;
        if hop_s > window_s {
            return Err(SpecError::HopTooLong {
                stage,
                hop_s,
                window_s,
            });
        }
    }
    Ok(LevelSpec {
        stage,
        measure,
        window_s,
        hop_s,
    })
}

fn check_trigger(
    stage: usize,
    item: &Stage,
    background: Option<(usize, f64)>,
    rate_hz: f64,
) -> Result<TriggerSpec, SpecError> {
    let &Stage::Trigger {
        on_above_db,
        off_below_db,
        shortest_s,
        longest_s,
        hold_off_s,
        confirm,
    } = item
    else {
        unreachable!("called for a trigger only");
    };
    check_thresholds(stage, on_above_db, off_below_db)?;
    let shortest_s = not_negative(stage, "shortest", shortest_s)?;
    let hold_off_s = not_negative(stage, "hold-off", hold_off_s)?;
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
    if let Some((stage, over_s)) = background
        && over_s < 2.0 * shortest_s
    {
        return Err(SpecError::BackgroundTooShort {
            stage,
            over_s,
            least_s: 2.0 * shortest_s,
        });
    }
    Ok(TriggerSpec {
        on_above_db,
        off_below_db,
        shortest_samples: samples(shortest_s, rate_hz),
        longest_samples: longest_s.map(|longest_s| samples(longest_s, rate_hz)),
        hold_off_samples: samples(hold_off_s, rate_hz),
        confirm,
        over_background: background.is_some(),
    })
}

pub(crate) fn check_thresholds(
    stage: usize,
    on_above_db: f64,
    off_below_db: f64,
) -> Result<(), SpecError> {
    for (name, value) in [("on-above", on_above_db), ("off-below", off_below_db)] {
        if !value.is_finite() {
            return Err(SpecError::NotFinite { stage, name, value });
        }
    }
    if off_below_db > on_above_db {
        return Err(SpecError::OffAboveOn {
            stage,
            off_below_db,
            on_above_db,
        });
    }
    Ok(())
}

fn check_pulses(stage: usize, item: &Stage, rate_hz: f64) -> Result<PulsesSpec, SpecError> {
    let &Stage::Pulses {
        rise_db,
        prominence_db,
        min_interval_s,
        max_interval_s,
        at_least,
        within_s,
        hold_off_s,
    } = item
    else {
        unreachable!("called for pulses only");
    };
    if !rise_db.is_finite() {
        return Err(SpecError::NotFinite {
            stage,
            name: "rise",
            value: rise_db,
        });
    }
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
    Ok(PulsesSpec {
        rise_db,
        prominence_db,
        min_interval_samples: samples(min_interval_s, rate_hz),
        max_interval_samples: samples(max_interval_s, rate_hz),
        at_least,
        within_samples: within_s.map(|within_s| samples(within_s, rate_hz)),
        hold_off_samples: samples(hold_off_s, rate_hz),
    })
}

/// Nearest whole number of samples. The caller has checked that the time lies between zero and a year.
fn samples(time_s: f64, rate_hz: f64) -> u64 {
    libm::round(time_s * rate_hz) as u64
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
