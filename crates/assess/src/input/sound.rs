//! Sensor chains and detectors.

use detect::{BackgroundKind, Confirm, LevelKind, Spec, Stage};
use plan::{DetectorIx, LevelStage, Line, SensorIx, SensorKind};
use signal::{ChainNoise, HighPass, SensorChain};

use super::InputError;

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

/// Whether the plan says anything of the noise ahead of the converter of a sensor.
#[must_use]
pub fn says_its_noise(line: &Line, sensor: SensorIx) -> bool {
    let chain = line.sensor(sensor).chain.as_ref();
    chain.is_some_and(|c| !c.self_noise.is_empty() || c.amplifier_noise_v_rthz.is_some())
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
/// [`InputError::NotSaid`] for a sensor without a converter, [`InputError::NoStage`] for a stage that has not been built.
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
    let own_reference = plan.over_background() || plan.of_exposure();
    let offset_db = match (own_reference, sensor.kind) {
        (false, SensorKind::Microphone) => AIR_REFERENCE_DB,
        _ => 0.0,
    };
    let stages = plan.stages.iter().map(|s| {
        stage(s, offset_db).ok_or_else(|| InputError::NoStage {
            what: format!("detector.{}", plan.id),
        })
    });
    Ok(Spec {
        rate_hz: rate_hz.unwrap_or(chain.rate_hz.si),
        stages: stages.collect::<Result<_, _>>()?,
    })
}

fn stage(stage: &plan::Stage, offset_db: f64) -> Option<Stage> {
    Some(match stage {
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
            kind: LevelStage::Exposure,
            window_s,
            hop_s: None,
        } => Stage::Exposure {
            window_s: window_s.si,
            hop_s: None,
        },
        plan::Stage::Level {
            kind: kind @ (LevelStage::Exponential | LevelStage::Rms),
            window_s,
            hop_s,
        } => Stage::Level {
            kind: match kind {
                LevelStage::Exponential => LevelKind::Exponential,
                _ => LevelKind::MeanSquare,
            },
            window_s: window_s.si,
            hop_s: hop_s.map(|q| q.si),
        },
        plan::Stage::Background {
            kind: plan::BackgroundStage::Median,
            over_s,
            guard_s: None,
        } => Stage::Background {
            kind: BackgroundKind::Median,
            over_s: over_s.si,
            guard_s: 0.0,
        },
        plan::Stage::Pulses {
            rise_db,
            least_interval_s,
            most_interval_s,
            at_least,
            hold_off_s,
            steady: None,
        } => Stage::Pulses {
            rise_db: rise_db.db,
            prominence_db: rise_db.db,
            min_interval_s: least_interval_s.si,
            max_interval_s: most_interval_s.si,
            at_least: *at_least,
            within_s: None,
            hold_off_s: hold_off_s.si,
            steady: None,
        },
        plan::Stage::Trigger {
            on_above_db,
            off_below_db,
            shortest_s,
            longest_s,
            hold_off_s,
            confirm,
            bridge_s: None,
            k_of_n: None,
        } => Stage::Trigger {
            on_above_db: on_above_db.db + offset_db,
            off_below_db: off_below_db.db + offset_db,
            shortest_s: shortest_s.si,
            longest_s: longest_s.map(|q| q.si),
            hold_off_s: hold_off_s.si,
            confirm: match confirm {
                plan::Confirm::Early => Confirm::Early,
                plan::Confirm::AtEnd => Confirm::AtEnd,
            },
            bridge_s: 0.0,
            k_of_n: None,
        },
        _ => return None,
    })
}
