//! The answers as numbers.

use clap::ValueEnum;
use jiff::Timestamp;
use jiff::civil::Date;
use quantity::{Dimension, Fault, LevelKind, parse_amount, parse_level};
use thiserror::Error;

use super::questions::{Answers, Ask, SupplyKind, Value};
use super::text::short;

/// An answer from which no plan can be made.
#[derive(Debug, Error)]
pub(crate) enum TemplateError {
    /// A quantity that cannot be read.
    #[error("{}: {fault}", ask.flag())]
    Quantity {
        /// The question.
        ask: Ask,
        /// What is wrong with the answer.
        fault: Fault,
    },
    /// None of the choices.
    #[error("{}: `{found}` is none of solar-battery, bench, vessel, shore, primary-cells", Ask::Supply.flag())]
    Supply {
        /// The answer.
        found: String,
    },
    /// No date, or a time without its offset.
    #[error("{}: `{found}` is no date such as 2027-03-15, nor a time such as 2027-03-15T06:00:00Z", Ask::Start.flag())]
    Start {
        /// The answer.
        found: String,
    },
    /// A band is two frequencies.
    #[error("{}: found {found} frequencies, two are needed, such as 60 Hz, 260 Hz", Ask::Band.flag())]
    Band {
        /// How many there are.
        found: usize,
    },
    /// Hydrophones are counted from the top.
    #[error("{}: {later} does not lie below {earlier}", Ask::Depths.flag())]
    DepthsFall {
        /// A depth.
        earlier: String,
        /// The one after it.
        later: String,
    },
    /// A depth counts downwards from the surface.
    #[error("{}: {found} is no depth of water, which is more than zero", Ask::WaterDepth.flag())]
    NoWater {
        /// The answer.
        found: String,
    },
    /// Too many hydrophones for a plan that is written by rote.
    #[error("{}: {found} hydrophones, at most {most} are written", Ask::Depths.flag())]
    TooMany {
        /// How many there are.
        found: usize,
        /// The most.
        most: usize,
    },
}

/// Most hydrophones of a generated plan.
const MOST_EARS: usize = 32;
/// The answers as numbers, where other values follow from them.
pub(super) struct Read {
    pub(super) supply: SupplyKind,
    pub(super) voltage_v: f64,
    pub(super) water_depth_m: f64,
    /// Depths as they are written, and in m.
    pub(super) depths: Vec<(Value, f64)>,
    pub(super) low: (Value, f64),
    pub(super) high: (Value, f64),
    pub(super) threshold_db: f64,
    pub(super) start: Value,
}

/// Id of the module at the top.
pub(super) fn head(read: &Read) -> &'static str {
    if read.supply == SupplyKind::Shore {
        "shore"
    } else {
        "buoy"
    }
}

/// Reads the answers; `today` is assumed as the start.
///
/// # Errors
/// [`TemplateError`] for an answer that cannot be read.
pub(super) fn read(answers: &Answers, today: Date) -> Result<Read, TemplateError> {
    let value = |ask| {
        answers
            .value(ask, today)
            .expect("all but depths are assumed")
    };
    let amount = |ask, text: &str, dimension| {
        parse_amount(text, dimension)
            .map(|amount| amount.si)
            .map_err(|fault| TemplateError::Quantity { ask, fault })
    };
    let supply = value(Ask::Supply).text;
    let supply = SupplyKind::from_str(&supply, false)
        .map_err(|_| TemplateError::Supply { found: supply })?;
    let water_depth_m = amount(
        Ask::WaterDepth,
        &value(Ask::WaterDepth).text,
        Dimension::Length,
    )?;
    if water_depth_m <= 0.0 {
        return Err(TemplateError::NoWater {
            found: value(Ask::WaterDepth).text,
        });
    }
    let depths = match answers.get(Ask::Depths) {
        Some(list) => list
            .split(',')
            .map(|text| {
                let text = text.trim().to_owned();
                let depth_m = amount(Ask::Depths, &text, Dimension::Length)?;
                Ok((
                    Value {
                        text,
                        assumed: false,
                    },
                    depth_m,
                ))
            })
            .collect::<Result<Vec<_>, TemplateError>>()?,
        None => [0.25, 0.75]
            .map(|share| {
                let text = format!("{} m", short(share * water_depth_m));
                (
                    Value {
                        text,
                        assumed: true,
                    },
                    share * water_depth_m,
                )
            })
            .to_vec(),
    };
    if depths.len() > MOST_EARS {
        return Err(TemplateError::TooMany {
            found: depths.len(),
            most: MOST_EARS,
        });
    }
    if let Some(pair) = depths.windows(2).find(|pair| pair[1].1 <= pair[0].1) {
        return Err(TemplateError::DepthsFall {
            earlier: pair[0].0.text.clone(),
            later: pair[1].0.text.clone(),
        });
    }
    let band = value(Ask::Band);
    let ends = band
        .text
        .split(',')
        .map(|text| {
            let text = text.trim().to_owned();
            let hz = amount(Ask::Band, &text, Dimension::Frequency)?;
            Ok((
                Value {
                    text,
                    assumed: band.assumed,
                },
                hz,
            ))
        })
        .collect::<Result<Vec<_>, TemplateError>>()?;
    let [low, high] = ends
        .try_into()
        .map_err(|ends: Vec<_>| TemplateError::Band { found: ends.len() })?;
    let threshold = parse_level(&value(Ask::Threshold).text, LevelKind::Gain).map_err(|fault| {
        TemplateError::Quantity {
            ask: Ask::Threshold,
            fault,
        }
    })?;
    Ok(Read {
        supply,
        voltage_v: amount(Ask::Voltage, &value(Ask::Voltage).text, Dimension::Voltage)?,
        water_depth_m,
        depths,
        low,
        high,
        threshold_db: threshold.db,
        start: start(value(Ask::Start))?,
    })
}

/// A date or an instant, in the form in which TOML writes it.
fn start(value: Value) -> Result<Value, TemplateError> {
    let date = value
        .text
        .parse::<Date>()
        .ok()
        .filter(|_| !value.text.contains([':', 'T', 't']));
    let text = match (date, value.text.parse::<Timestamp>()) {
        (Some(date), _) => date.to_string(),
        (None, Ok(instant)) => instant.to_string(),
        (None, Err(_)) => return Err(TemplateError::Start { found: value.text }),
    };
    Ok(Value { text, ..value })
}
