//! Things of a line by the names under which somebody asks for them: on a command line, or on a page.

use plan::{CallIx, DetectorIx, Line, ModuleIx, SensorIx, SensorKind, SupplyIx};

/// Why a name leads to nothing, or to several things.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
pub enum NamedError {
    /// No supply has panels and a battery.
    #[error("no supply of this plan has panels and a battery")]
    NoSolarSupply,
    /// Several have, and none is named.
    #[error("several supplies have panels and a battery: {0}")]
    WhichSolarSupply(String),
    /// The one that is named is none of them.
    #[error("{named} is no supply with panels and a battery; there is {there}")]
    NotSolar {
        /// As given.
        named: String,
        /// What there is.
        there: String,
    },
    /// No sensor hears.
    #[error("the plan has no hydrophone and no microphone")]
    NothingHears,
    /// A sensor that is not in the plan, or does not hear.
    #[error("`{sensor}` is no hydrophone or microphone of the plan; it has {}", .sensors.join(", "))]
    HearsNot {
        /// As it was named.
        sensor: String,
        /// Those there are.
        sensors: Vec<String>,
    },
    /// A sensor that is not in the plan.
    #[error("{named} is not in this plan; its hydrophones are {there}")]
    NoSensor {
        /// As given.
        named: String,
        /// What there is.
        there: String,
    },
    /// No such detector or call.
    #[error("the plan has no {wanted}; it has {there}")]
    NoSuch {
        /// A typed path.
        wanted: String,
        /// What there is.
        there: String,
    },
    /// The plan declares no call.
    #[error("the plan declares no call to be found")]
    NoCall,
    /// Several calls, and none is named.
    #[error("the plan declares several calls: {0}")]
    WhichCall(String),
}

/// The supply with panels and a battery that is meant; without a name the only one.
///
/// # Errors
/// [`NamedError`].
pub fn solar_supply(line: &Line, named: Option<&str>) -> Result<SupplyIx, NamedError> {
    let all: Vec<(usize, String)> = line
        .supplies
        .iter()
        .enumerate()
        .filter(|(_, s)| s.panels.is_some() && s.battery.is_some())
        .map(|(i, s)| (i, format!("supply.{}", s.id)))
        .collect();
    let there = || {
        let names: Vec<&str> = all.iter().map(|(_, path)| path.as_str()).collect();
        names.join(", ")
    };
    match (all.as_slice(), named) {
        ([], _) => Err(NamedError::NoSolarSupply),
        ([one], None) => Ok(SupplyIx(one.0)),
        (_, None) => Err(NamedError::WhichSolarSupply(there())),
        (several, Some(named)) => several
            .iter()
            .find(|(_, path)| path == named)
            .map(|(i, _)| SupplyIx(*i))
            .ok_or_else(|| NamedError::NotSolar {
                named: named.to_owned(),
                there: there(),
            }),
    }
}

/// The hydrophones and microphones that are named, each with its typed path and in the order of the line; all where none is.
///
/// # Errors
/// [`NamedError::NothingHears`], [`NamedError::HearsNot`].
pub fn hearing_sensors(
    line: &Line,
    wanted: &[String],
) -> Result<Vec<(String, SensorIx)>, NamedError> {
    let hears = |(_, ix): &(String, SensorIx)| {
        let kind = line.sensor(*ix).kind;
        matches!(kind, SensorKind::Hydrophone | SensorKind::Microphone)
    };
    let mut all: Vec<(String, SensorIx)> = sensors(line).filter(hears).collect();
    if all.is_empty() {
        return Err(NamedError::NothingHears);
    }
    if wanted.is_empty() {
        return Ok(all);
    }
    let unknown = wanted.iter().find(|w| all.iter().all(|(p, _)| p != *w));
    if let Some(sensor) = unknown {
        return Err(NamedError::HearsNot {
            sensor: sensor.clone(),
            sensors: all.into_iter().map(|(path, _)| path).collect(),
        });
    }
    all.retain(|(path, _)| wanted.contains(path));
    Ok(all)
}

/// The sensor of this typed path.
///
/// # Errors
/// [`NamedError::NoSensor`].
pub fn sensor_named(line: &Line, named: &str) -> Result<SensorIx, NamedError> {
    if let Some((_, ix)) = sensors(line).find(|(path, _)| path == named) {
        return Ok(ix);
    }
    let there: Vec<String> = sensors(line).map(|(path, _)| path).collect();
    Err(NamedError::NoSensor {
        named: named.to_owned(),
        there: match there.is_empty() {
            true => "none".to_owned(),
            false => there.join(", "),
        },
    })
}

fn sensors(line: &Line) -> impl Iterator<Item = (String, SensorIx)> + '_ {
    let modules = line.modules.iter().enumerate();
    let each = modules.flat_map(|(m, module)| {
        (0..module.sensors.len()).map(move |sensor| SensorIx {
            module: ModuleIx(m),
            sensor,
        })
    });
    each.map(|ix| (line.sensor_path(ix), ix))
}

/// The detector and the call that are meant, each by id or typed path; without a name the only call.
///
/// # Errors
/// [`NamedError::NoSuch`], [`NamedError::NoCall`], [`NamedError::WhichCall`].
pub fn detector_and_call(
    line: &Line,
    detector: &str,
    call: Option<&str>,
) -> Result<(DetectorIx, CallIx), NamedError> {
    let of = |kind: &str, ids: &[&str], named: &str| {
        let id = named.strip_prefix(&format!("{kind}.")).unwrap_or(named);
        ids.iter().position(|i| *i == id).ok_or_else(|| {
            let all: Vec<String> = ids.iter().map(|i| format!("{kind}.{i}")).collect();
            NamedError::NoSuch {
                wanted: format!("{kind}.{id}"),
                there: match all.is_empty() {
                    true => format!("no {kind}"),
                    false => all.join(", "),
                },
            }
        })
    };
    let detectors: Vec<&str> = line.detectors.iter().map(|d| d.id.as_str()).collect();
    let calls: Vec<&str> = line.calls.iter().map(|c| c.id.as_str()).collect();
    let detector = of("detector", &detectors, detector)?;
    let call = match (call, calls.as_slice()) {
        (Some(named), _) => of("call", &calls, named)?,
        (None, []) => return Err(NamedError::NoCall),
        (None, [_]) => 0,
        (None, several) => {
            let all: Vec<String> = several.iter().map(|c| format!("call.{c}")).collect();
            return Err(NamedError::WhichCall(all.join(", ")));
        }
    };
    Ok((DetectorIx(detector), CallIx(call)))
}
