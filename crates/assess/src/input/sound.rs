//! Sensor chains and detectors.

use detect::{BackgroundKind, Confirm, LevelKind, Spec, Stage};
use plan::{DetectorIx, LevelStage, Line, SensorIx, SensorKind};
use signal::{HighPass, SensorChain};

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

/// Self-noise of a chain at its input: frequency in Hz and dB re 1 uPa2/Hz, rising; empty when the plan says nothing.
#[must_use]
pub fn self_noise(line: &Line, sensor: SensorIx) -> Vec<(f64, f64)> {
    line.sensor(sensor)
        .chain
        .as_ref()
        .map_or_else(Vec::new, |chain| {
            chain
                .self_noise
                .iter()
                .map(|(frequency, level)| (frequency.si, level.db))
                .collect()
        })
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
