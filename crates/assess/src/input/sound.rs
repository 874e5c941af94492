//! Sensor chains and detectors.

use detect::{
    BackgroundKind, Confirm, ContourPoint, Feature, KOfN, LevelKind, ModelGives, ModelInput, Sense,
    Spec, Stage,
};
use plan::{DetectorIx, LevelStage, Line, SensorIx, SensorKind};
use signal::{ChainNoise, HighPass, SensorChain};

use super::{InputError, template};

/// Between dB re 1 V/Pa and dB re 1 V/uPa: one pascal is 10^6 micropascals (ISO 18405:2017 and ISO 1683 references, by definition).
const PA_TO_UPA_DB: f64 = 120.0;
/// Between levels re 20 uPa (air) and re 1 uPa (water): 20 lg 20.
pub(crate) const AIR_REFERENCE_DB: f64 = 26.020_599_913_279_624;

/// The chain of a hydrophone or microphone, in micropascals; a microphone's sensitivity is turned into dB re 1 V/uPa.
///
/// # Errors
/// [`InputError::NotSaid`] for a sensor without a converter, [`InputError::Chain`] for one that cannot be.
pub fn sensor_chain(line: &Line, sensor: SensorIx) -> Result<SensorChain, InputError> {
    let what = || line.sensor_path(sensor);
    let chain = line
        .sensor(sensor)
        .chain
        .as_ref()
        .ok_or_else(|| InputError::NotSaid {
            what: what(),
            missing: "its sensitivity, gain and converter",
        })?;
    let sensitivity_db = match line.sensor(sensor).kind {
        SensorKind::Microphone => chain.sensitivity_db.db - PA_TO_UPA_DB,
        _ => chain.sensitivity_db.db,
    };
    let high_pass = chain.high_pass.map(|h| HighPass {
        corner_hz: h.corner_hz.si,
        poles: h.poles as usize,
    });
    SensorChain::new(
        sensitivity_db,
        chain.gain_db.db,
        high_pass,
        chain.full_scale_v.si,
        chain.bits,
        chain.rate_hz.si,
    )
    .map_err(|source| InputError::Chain {
        what: what(),
        source,
    })
}

/// Rows a decade of a self-noise that is worked out, read between them in decibels over the logarithm of frequency.
const ROWS_PER_DECADE: f64 = 20.0;
const LOWEST_HZ: f64 = 1.0;

/// What makes noise in a chain, as far as the plan says: its table of self-noise, its amplifier, its converter by its effective
/// bits (an ideal one where none are written).
///
/// # Errors
/// As [`sensor_chain`].
pub fn chain_noise(line: &Line, sensor: SensorIx) -> Result<ChainNoise, InputError> {
    noise_of(line, sensor, &sensor_chain(line, sensor)?)
}

fn noise_of(line: &Line, sensor: SensorIx, chain: &SensorChain) -> Result<ChainNoise, InputError> {
    let plan = line.sensor(sensor).chain.as_ref();
    ChainNoise::new(
        chain,
        plan.and_then(|c| c.effective_bits).map(|q| q.si),
        plan.and_then(|c| c.amplifier_noise_v_rthz).map(|q| q.si),
        &table(line, sensor),
    )
    .map_err(|source| InputError::Chain {
        what: line.sensor_path(sensor),
        source,
    })
}

fn table(line: &Line, sensor: SensorIx) -> Vec<(f64, f64)> {
    let rows = line
        .sensor(sensor)
        .chain
        .as_ref()
        .map_or(&[][..], |c| &c.self_noise);
    rows.iter().map(|(f, level)| (f.si, level.db)).collect()
}

/// Whether the plan says all of the noise ahead of the converter of a sensor. An `amplifier_noise` alone does not: what the element
/// itself adds stays unknown, and what is known is the least that there is.
#[must_use]
pub fn says_its_noise(line: &Line, sensor: SensorIx) -> bool {
    let chain = line.sensor(sensor).chain.as_ref();
    chain.is_some_and(|c| !c.self_noise.is_empty())
}

/// Noise of a chain at its input but for the steps of its converter, which [`SensorChain::quantise`] makes: frequency in Hz and
/// dB re 1 uPa2/Hz, rising; empty when the plan says nothing.
///
/// # Errors
/// As [`chain_noise`].
pub fn self_noise(line: &Line, sensor: SensorIx) -> Result<Vec<(f64, f64)>, InputError> {
    let table = table(line, sensor);
    let Some(plan) = line.sensor(sensor).chain.as_ref() else {
        return Ok(table);
    };
    let bits = f64::from(plan.bits);
    let worse = plan.effective_bits.is_some_and(|q| q.si < bits);
    if plan.amplifier_noise_v_rthz.is_none() && !worse {
        return Ok(table);
    }
    let chain = sensor_chain(line, sensor)?;
    let noise = noise_of(line, sensor, &chain)?;
    let steps = power(chain.quantisation_density_db_re_1upa2_hz());
    let half_hz = 0.5 * chain.rate_hz();
    let rows = libm::floor(ROWS_PER_DECADE * libm::log10(half_hz / LOWEST_HZ)) as u32;
    let mut at_hz: Vec<f64> = (0..=rows)
        .map(|i| LOWEST_HZ * libm::pow(10.0, f64::from(i) / ROWS_PER_DECADE))
        .chain(table.iter().map(|row| row.0))
        .collect();
    at_hz.sort_by(f64::total_cmp);
    at_hz.dedup();
    Ok(at_hz
        .into_iter()
        .map(|f_hz| {
            let parts = noise.density(f_hz);
            let mut ahead = [parts.self_noise_db, parts.amplifier_db]
                .into_iter()
                .flatten()
                .map(power)
                .sum::<f64>();
            if worse {
                ahead += power(parts.converter_db) - steps / noise.power_gain(f_hz);
            }
            (f_hz, 10.0 * libm::log10(ahead))
        })
        .collect())
}

fn power(level_db: f64) -> f64 {
    libm::pow(10.0, level_db / 10.0)
}

/// A detector's stages as numbers, at the rate of its sensor or at another rate.
///
/// Thresholds written re 20 uPa (air) become thresholds re 1 uPa, in which the detector works.
///
/// # Errors
/// [`InputError::NotSaid`] for a sensor without a converter, [`InputError::TemplateUnread`] and its sisters for a recording
/// that a stage cannot be held against, [`InputError::Model`] for a learned model that cannot be run.
pub fn detector_spec(
    line: &Line,
    detector: DetectorIx,
    rate_hz: Option<f64>,
) -> Result<Spec, InputError> {
    let plan = &line.detectors[detector.0];
    let sensor = line.sensor(plan.on);
    let chain = sensor.chain.as_ref().ok_or_else(|| InputError::NotSaid {
        what: line.sensor_path(plan.on),
        missing: "its converter",
    })?;
    let offsets = Offsets {
        threshold_db: threshold_offset_db(line, detector),
        of_sensor_db: of_sensor_db(sensor.kind),
    };
    let rate_hz = rate_hz.unwrap_or(chain.rate_hz.si);
    let what = format!("detector.{}", plan.id);
    let stages = plan
        .stages
        .iter()
        .map(|s| stage(s, offsets, rate_hz, &what));
    Ok(Spec {
        rate_hz,
        stages: stages.collect::<Result<_, _>>()?,
    })
}

/// What is added to the thresholds of a detector as they are written, to give those of its stages, dB.
pub(crate) fn threshold_offset_db(line: &Line, detector: DetectorIx) -> f64 {
    let plan = &line.detectors[detector.0];
    match plan.over_background() || plan.of_exposure() || plan.of_learned() {
        true => 0.0,
        false => of_sensor_db(line.sensor(plan.on).kind),
    }
}

/// What is added to levels of a sensor to give levels re 1 uPa, dB.
fn of_sensor_db(kind: SensorKind) -> f64 {
    match kind {
        SensorKind::Microphone => AIR_REFERENCE_DB,
        _ => 0.0,
    }
}

/// What is added to levels as they are written, to give levels re 1 uPa, dB.
#[derive(Clone, Copy)]
struct Offsets {
    /// To a trigger's thresholds.
    threshold_db: f64,
    /// To what is told against the sensor's own reference.
    of_sensor_db: f64,
}

fn stage(
    stage: &plan::Stage,
    offsets: Offsets,
    rate_hz: f64,
    what: &str,
) -> Result<Stage, InputError> {
    Ok(match stage {
        plan::Stage::Decimate { factor, .. } => Stage::Decimate {
            factor: *factor as usize,
        },
        plan::Stage::Band {
            low_hz,
            high_hz,
            order,
        } => Stage::Band {
            low_hz: low_hz.si,
            high_hz: high_hz.si,
            order: *order as usize,
        },
        plan::Stage::Level {
            kind,
            window_s,
            hop_s,
        } => level(*kind, window_s.si, hop_s.map(|q| q.si)),
        plan::Stage::Matched { template, hop_s } => Stage::Matched {
            template: template::samples(what, template, rate_hz)?,
            hop_s: hop_s.map(|q| q.si),
        },
        plan::Stage::Learned {
            model,
            window_s,
            hop_s,
            reference_db,
            gives,
        } => Stage::Learned {
            model: learned_model(what, model)?,
            window_s: window_s.si,
            hop_s: hop_s.map(|q| q.si),
            input: match reference_db {
                None => ModelInput::UnitRms,
                Some(reference) => ModelInput::Pressure {
                    reference_upa: libm::pow(10.0, (reference.db + offsets.of_sensor_db) / 20.0),
                },
            },
            gives: match gives {
                plan::ModelGives::Probability => ModelGives::Probability,
                plan::ModelGives::LogOdds => ModelGives::LogOdds,
            },
        },
        plan::Stage::Spectrogram { window_s, hop_s } => Stage::Spectrogram {
            window_s: window_s.si,
            hop_s: hop_s.map(|q| q.si),
        },
        plan::Stage::Background {
            kind,
            over_s,
            guard_s,
        } => Stage::Background {
            kind: match kind {
                plan::BackgroundStage::Median => BackgroundKind::Median,
                plan::BackgroundStage::Ordered(rank) => BackgroundKind::Ordered { rank: rank.si },
                plan::BackgroundStage::Mean => BackgroundKind::Mean,
            },
            over_s: over_s.si,
            guard_s: guard_s.map_or(0.0, |q| q.si),
        },
        plan::Stage::Likeness { contour, width_hz } => Stage::Likeness {
            contour: contour
                .iter()
                .map(|(after, frequency)| ContourPoint {
                    after_s: after.si,
                    frequency_hz: frequency.si,
                })
                .collect(),
            width_hz: width_hz.si,
        },
        plan::Stage::LikenessTo { template } => Stage::LikenessTo {
            template: template::samples(what, template, rate_hz)?,
        },
        decision => self::decision(decision, offsets.threshold_db),
    })
}

/// Class of arithmetic of what the detectors of a line find, as outputs print it.
#[must_use]
pub fn arithmetic(line: &Line) -> &'static str {
    if line.detectors.iter().any(plan::Detector::of_learned) {
        learned::ARITHMETIC
    } else {
        "scalar"
    }
}

fn learned_model(what: &str, model: &plan::Template) -> Result<detect::Learned, InputError> {
    let Some(bytes) = &model.bytes else {
        return Err(InputError::ModelUnread {
            what: what.to_owned(),
            path: model.path.clone(),
        });
    };
    learned::load(bytes).map_err(|source| InputError::Model {
        what: what.to_owned(),
        path: model.path.clone(),
        source,
    })
}

fn level(kind: LevelStage, window_s: f64, hop_s: Option<f64>) -> Stage {
    let kind = match kind {
        LevelStage::Exposure => return Stage::Exposure { window_s, hop_s },
        LevelStage::Rms => LevelKind::MeanSquare,
        LevelStage::Exponential => LevelKind::Exponential,
        LevelStage::TeagerKaiser => LevelKind::TeagerKaiser,
    };
    Stage::Level {
        kind,
        window_s,
        hop_s,
    }
}

/// A stage that decides, or judges what was decided.
fn decision(stage: &plan::Stage, offset_db: f64) -> Stage {
    match stage {
        plan::Stage::Pulses {
            rise_db,
            least_interval_s,
            most_interval_s,
            at_least,
            of_last,
            hold_off_s,
            steady,
        } => Stage::Pulses {
            rise_db: rise_db.db,
            prominence_db: rise_db.db,
            min_interval_s: least_interval_s.si,
            max_interval_s: most_interval_s.si,
            at_least: *at_least,
            of_last: *of_last,
            within_s: None,
            steady: steady.map(|q| q.si),
            hold_off_s: hold_off_s.si,
        },
        plan::Stage::Ridge {
            way,
            above_db,
            slowest_hz_per_s,
            fastest_hz_per_s,
            gap_s,
            shortest_s,
            longest_s,
            hold_off_s,
        } => Stage::Ridge {
            sense: match way {
                plan::RidgeWay::Rising => Sense::Rising,
                plan::RidgeWay::Falling => Sense::Falling,
                plan::RidgeWay::Any => Sense::Any,
            },
            above_db: above_db.db,
            least_slope_hz_per_s: slowest_hz_per_s.si,
            most_slope_hz_per_s: fastest_hz_per_s.si,
            gap_s: gap_s.map_or(0.0, |q| q.si),
            shortest_s: shortest_s.si,
            longest_s: Some(longest_s.si),
            hold_off_s: hold_off_s.si,
        },
        plan::Stage::Trigger {
            on_above_db,
            off_below_db,
            shortest_s,
            longest_s,
            hold_off_s,
            confirm,
            bridge_s,
            k_of_n,
        } => Stage::Trigger {
            on_above_db: on_above_db.db + offset_db,
            off_below_db: off_below_db.db + offset_db,
            shortest_s: shortest_s.si,
            longest_s: longest_s.map(|q| q.si),
            bridge_s: bridge_s.map_or(0.0, |q| q.si),
            k_of_n: k_of_n.map(|(at_least, of_last)| KOfN { at_least, of_last }),
            hold_off_s: hold_off_s.si,
            confirm: match confirm {
                plan::Confirm::Early => Confirm::Early,
                plan::Confirm::AtEnd => Confirm::AtEnd,
            },
        },
        plan::Stage::Likely {
            least,
            constant,
            weights,
        } => Stage::Likely {
            at_least: least.si,
            constant: *constant,
            weights: weights
                .iter()
                .map(|(name, weight)| {
                    let feature = Feature::of_name(name)
                        .expect("the plan's weights are named after the detector's features");
                    (feature, *weight)
                })
                .collect(),
        },
        _ => unreachable!("every other stage was turned by the caller"),
    }
}
