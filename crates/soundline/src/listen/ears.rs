//! Channels to sensors, as the user says; never guessed.

use std::str::FromStr;

use assess::hearing_sensors;
use assess::input::{detector_spec, sensor_chain};
use hearing::{Ear, Reference};
use plan::{DetectorIx, Line, SensorIx, SensorKind};
use recording::Info;
use thiserror::Error;

use super::Units;
use super::error::ListenError;

/// One `--as`.
#[derive(Debug, Clone)]
pub(crate) struct Assignment {
    /// Number of the channel, from 1; `None` for a recording with a single one.
    channel: Option<u16>,
    /// The sensor as it was named.
    pub(crate) sensor: String,
}

impl Assignment {
    /// The sensor of recordings with a single channel.
    pub(crate) fn whole(sensor: String) -> Self {
        Self {
            channel: None,
            sensor,
        }
    }
}

/// `--as` with something before `=` that is no channel.
#[derive(Debug, Error)]
#[error("`{found}` is no channel: channels are counted from 1, such as 1={sensor}")]
pub(crate) struct NoChannelNumber {
    found: String,
    sensor: String,
}

impl FromStr for Assignment {
    type Err = NoChannelNumber;

    fn from_str(text: &str) -> Result<Self, NoChannelNumber> {
        let Some((number, sensor)) = text.split_once('=') else {
            return Ok(Self {
                channel: None,
                sensor: text.to_owned(),
            });
        };
        match number.trim().parse() {
            Ok(channel) if channel > 0 => Ok(Self {
                channel: Some(channel),
                sensor: sensor.to_owned(),
            }),
            _ => Err(NoChannelNumber {
                found: number.to_owned(),
                sensor: sensor.to_owned(),
            }),
        }
    }
}

/// A sensor with its channel and its detectors.
#[derive(Debug)]
pub(crate) struct Assigned {
    /// Number of the channel, from 1; `None` for a recording with a single one.
    pub(crate) channel: Option<u16>,
    /// The sensor.
    pub(crate) sensor: SensorIx,
    /// Its typed path.
    pub(crate) path: String,
    /// Its detectors.
    pub(crate) detectors: Vec<DetectorIx>,
}

/// Finds the sensors and detectors that were named.
pub(crate) fn assign(
    line: &Line,
    assignments: &[Assignment],
    detectors: &[String],
) -> Result<Vec<Assigned>, ListenError> {
    // None is told below, with what there is.
    let hearing = hearing_sensors(line, &[]).unwrap_or_default();
    let paths = || hearing.iter().map(|(path, _)| path.clone()).collect();
    if assignments.is_empty() {
        return Err(ListenError::NotAssigned { sensors: paths() });
    }
    let mut assigned: Vec<Assigned> = Vec::new();
    for assignment in assignments {
        let Some((path, sensor)) = hearing.iter().find(|(path, _)| *path == assignment.sensor)
        else {
            return Err(ListenError::UnknownSensor {
                sensor: assignment.sensor.clone(),
                sensors: paths(),
            });
        };
        match assignment.channel {
            None if assignments.len() > 1 => {
                return Err(ListenError::NoChannel {
                    sensor: path.clone(),
                });
            }
            _ => {}
        }
        let has_it = |a: &&Assigned| a.channel.is_some() && a.channel == assignment.channel;
        if let (Some(channel), Some(first)) = (assignment.channel, assigned.iter().find(has_it)) {
            return Err(ListenError::TwiceAssigned {
                channel,
                first: first.path.clone(),
                second: path.clone(),
            });
        }
        if let Some(other) = assigned.iter().find(|a| a.sensor == *sensor) {
            return Err(ListenError::OneSensor {
                sensor: path.clone(),
                first: other.channel.unwrap_or(1),
                second: assignment.channel.unwrap_or(1),
            });
        }
        assigned.push(Assigned {
            channel: assignment.channel,
            sensor: *sensor,
            path: path.clone(),
            detectors: detectors_on(line, *sensor, detectors),
        });
    }
    for id in detectors {
        let Some(found) = line.detectors.iter().find(|d| d.id == *id) else {
            return Err(ListenError::UnknownDetector {
                id: id.clone(),
                detectors: line.detectors.iter().map(|d| d.id.clone()).collect(),
            });
        };
        if assigned.iter().all(|a| a.sensor != found.on) {
            return Err(ListenError::DeafDetector {
                id: id.clone(),
                on: line.sensor_path(found.on),
            });
        }
    }
    Ok(assigned)
}

fn detectors_on(line: &Line, sensor: SensorIx, wanted: &[String]) -> Vec<DetectorIx> {
    let all = line.detectors.iter().enumerate();
    all.filter(|(_, d)| d.on == sensor && (wanted.is_empty() || wanted.contains(&d.id)))
        .map(|(ix, _)| DetectorIx(ix))
        .collect()
}

/// The ears for recordings like this one.
pub(crate) fn ears(
    line: &Line,
    assigned: &[Assigned],
    info: &Info,
    units: Units,
) -> Result<Vec<Ear>, ListenError> {
    assigned
        .iter()
        .map(|a| {
            let reference = match (units, line.sensor(a.sensor).kind) {
                (Units::FullScale, _) => Reference::FullScale,
                (Units::Pressure, SensorKind::Microphone) => Reference::Air,
                (Units::Pressure, _) => Reference::Water,
            };
            let rate_hz = Some(f64::from(info.rate_hz));
            Ok(Ear {
                channel: a.channel.map_or(0, |number| number - 1),
                full_scale_upa: sensor_chain(line, a.sensor)?.full_scale_upa(),
                reference,
                detectors: a
                    .detectors
                    .iter()
                    .map(|&detector| detector_spec(line, detector, rate_hz))
                    .collect::<Result<_, _>>()?,
            })
        })
        .collect()
}
