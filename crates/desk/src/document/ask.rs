//! What may be asked of a document: what the command of that name takes as flags, with the same bounds.

use assess::input::Contacts;
use assess::{Tier, WEATHER_SEED};
use quantity::{Dimension, parse_amount};
use serde::Deserialize;

use crate::error::ApiError;

/// Leak of which current and cost are told where none is asked for, ohm.
const LEAK_OHM: f64 = 1000.0;
/// Farthest from which a call is taken to come, m.
const LONGEST_RANGE_M: f64 = 1e6;
/// How far out paths are followed where nothing is asked for, m.
const OUT_TO_M: f64 = 10_000.0;

/// All that a page may ask; each document reads its own.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub(crate) struct Ask {
    /// `year`: `supply.ID`.
    pub(crate) supply: Option<String>,
    /// `year`, `hours`: how many.
    years: Option<u64>,
    /// `year`, `hours`: of the weather.
    seed: Option<u64>,
    /// `failures`, `start`, `faults`: `new` or `aged`.
    contacts: Option<String>,
    /// `start`: longest time that is followed, s.
    longest_s: Option<f64>,
    /// `faults`: ohm.
    leak_ohm: Option<f64>,
    /// `chain`: `module.ID.sensor.ID`.
    pub(crate) sensors: Vec<String>,
    /// `chain`: also the calls of the plan at each sensor, from so far off, `1 km`.
    range: Option<String>,
    /// `chain`: 1 to 12.
    month: Option<u8>,
    /// `hours`: also what modules could say of their health.
    pub(crate) health: bool,
    /// `paths`: range and depth, `1.2 km, 20 m`.
    from: Option<String>,
    /// `paths`: the depth alone, at many ranges, `20 m`.
    source_depth: Option<String>,
    /// `paths`: how far out, `10 km`.
    out_to: Option<String>,
    /// `paths`: one hydrophone.
    pub(crate) to: Option<String>,
    /// `paths`: `150 Hz`.
    frequency: Option<String>,
    /// `paths`: also the loss over range and depth, for a picture.
    pub(crate) picture: bool,
    /// `verdicts`: `quick` or `full`.
    tier: Option<String>,
    /// `verdicts`: also which evidence supports each requirement.
    pub(crate) evidence: bool,
}

fn wrong(key: &str, why: impl std::fmt::Display) -> ApiError {
    ApiError::unusable("bad-ask", format!("`{key}`: {why}"))
}

fn amount(key: &str, text: &str, of: Dimension) -> Result<f64, ApiError> {
    let read = parse_amount(text.trim(), of);
    read.map(|a| a.si)
        .map_err(|fault| wrong(key, &fault).help_of(fault.help()))
}

impl Ask {
    pub(crate) fn seed(&self) -> u64 {
        self.seed.unwrap_or(WEATHER_SEED)
    }

    pub(crate) fn years(&self) -> Result<Option<u64>, ApiError> {
        match self.years {
            Some(years) if !(1..=10_000).contains(&years) => {
                Err(wrong("years", "must be 1 to 10000"))
            }
            years => Ok(years),
        }
    }

    pub(crate) fn contacts(&self) -> Result<Contacts, ApiError> {
        match self.contacts.as_deref() {
            None | Some("aged") => Ok(Contacts::Aged),
            Some("new") => Ok(Contacts::New),
            Some(other) => Err(wrong(
                "contacts",
                format!("`{other}` is neither `new` nor `aged`"),
            )),
        }
    }

    pub(crate) fn longest_s(&self) -> Result<Option<f64>, ApiError> {
        match self.longest_s {
            Some(s) if !(s > 0.0 && s <= 1e6) => {
                Err(wrong("longest_s", "must be above 0 and at most 1000000"))
            }
            longest_s => Ok(longest_s),
        }
    }

    pub(crate) fn leak_ohm(&self) -> Result<f64, ApiError> {
        let ohm = self.leak_ohm.unwrap_or(LEAK_OHM);
        match (1e-3..=1e12).contains(&ohm) {
            true => Ok(ohm),
            false => Err(wrong("leak_ohm", "must be 0.001 to 1e12")),
        }
    }

    /// Counted from 0.
    pub(crate) fn month(&self) -> Result<Option<usize>, ApiError> {
        match self.month {
            Some(month) if !(1..=12).contains(&month) => Err(wrong("month", "must be 1 to 12")),
            month => Ok(month.map(|m| usize::from(m) - 1)),
        }
    }

    /// Range of the source, m, where one is asked for, and its depth, m.
    pub(crate) fn source_m(&self) -> Result<(Option<f64>, f64), ApiError> {
        let length = |key, text| amount(key, text, Dimension::Length);
        match (&self.from, &self.source_depth) {
            (Some(from), None) => {
                let (range, depth) = from.split_once(',').ok_or_else(|| {
                    wrong("from", "a range and a depth with a comma between")
                        .help("from: \"1.2 km, 20 m\"")
                })?;
                Ok((Some(length("from", range)?), length("from", depth)?))
            }
            (None, Some(depth)) => Ok((None, length("source_depth", depth)?)),
            _ => Err(wrong(
                "from",
                "either `from` or `source_depth` says where the sound comes from",
            )
            .help("from: \"1.2 km, 20 m\", or source_depth: \"20 m\"")),
        }
    }

    /// From how far off calls come, m, where they are asked for.
    pub(crate) fn range_m(&self) -> Result<Option<f64>, ApiError> {
        let Some(range) = &self.range else {
            return Ok(None);
        };
        match amount("range", range, Dimension::Length)? {
            m if m > 0.0 && m <= LONGEST_RANGE_M => Ok(Some(m)),
            _ => Err(wrong("range", "must be above 0 and at most 1000 km")),
        }
    }

    pub(crate) fn out_to_m(&self) -> Result<f64, ApiError> {
        let out_to = self.out_to.as_deref();
        out_to.map_or(Ok(OUT_TO_M), |r| amount("out_to", r, Dimension::Length))
    }

    pub(crate) fn frequency_hz(&self) -> Result<Option<f64>, ApiError> {
        let frequency = self.frequency.as_deref();
        frequency
            .map(|f| amount("frequency", f, Dimension::Frequency))
            .transpose()
    }

    pub(crate) fn tier(&self) -> Result<Tier, ApiError> {
        match self.tier.as_deref() {
            None | Some("full") => Ok(Tier::Full),
            Some("quick") => Ok(Tier::Quick),
            Some(other) => Err(wrong(
                "tier",
                format!("`{other}` is neither `quick` nor `full`"),
            )),
        }
    }
}
