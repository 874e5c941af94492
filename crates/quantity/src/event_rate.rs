//! `6 per hour`, `1 per 10 s`: how often something may happen.

use crate::amount::known_unit;
use crate::scan::{Piece, number};
use crate::{Dimension, Fault, FaultKind, SECONDS_PER_DAY, SpreadFault};

/// A number of events in a period.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct EventRate {
    /// Events in one period; zero or more, not necessarily whole.
    pub count: f64,
    /// The period in seconds, above zero.
    pub per_s: f64,
}

/// Periods that may be written as a word: those of one length only, so no month and no year.
pub(crate) const PERIODS_S: &[(&str, f64)] = &[
    ("second", 1.0),
    ("minute", 60.0),
    ("hour", 3600.0),
    ("day", SECONDS_PER_DAY),
    ("week", 7.0 * SECONDS_PER_DAY),
];

/// Reads a rate of events: `COUNT per PERIOD`, where the period is `second`, `minute`, `hour`, `day`, `week`,
/// a unit of time, or a number with a unit of time.
///
/// # Errors
/// A [`Fault`] with the byte range of the part that is wrong. A month and a year are refused, as everywhere: write the days.
pub fn parse_event_rate(text: &str) -> Result<EventRate, Fault> {
    let (value, spread) = Piece::whole(text).split_spread();
    if let Some(spread) = spread {
        return Err(spread.fault(FaultKind::BadUncertainty {
            cause: SpreadFault::NotTaken,
        }));
    }
    let (count, rest) = number(value)?;
    if count.is_negative() {
        return Err(count.piece.fault(FaultKind::Negative {
            what: "rate of events",
        }));
    }
    let (per, period) = rest.first_word();
    if per.text != "per" || period.is_empty() {
        let at = if per.is_empty() { count.piece } else { per };
        return Err(at.fault(FaultKind::MissingPer));
    }
    Ok(EventRate {
        count: count.value()?,
        per_s: period_s(period)?,
    })
}

fn period_s(period: Piece<'_>) -> Result<f64, Fault> {
    if let Some(&(_, seconds)) = PERIODS_S.iter().find(|(word, _)| *word == period.text) {
        return Ok(seconds);
    }
    if !period
        .text
        .starts_with(|c: char| c.is_ascii_digit() || "+-\u{2212}".contains(c))
    {
        let (word, rest) = period.first_word();
        let unit = known_unit(word, Dimension::Time)?;
        rest.expect_end()?;
        let one = format!("1e{}", unit.ten)
            .parse()
            .expect("a power of ten is a number");
        return Ok(unit.to_si(one));
    }
    let (length, rest) = number(period)?;
    let (word, rest) = rest.first_word();
    if word.is_empty() {
        return Err(length.piece.fault(FaultKind::MissingUnit {
            expected: Dimension::Time,
        }));
    }
    let unit = known_unit(word, Dimension::Time)?;
    rest.expect_end()?;
    if length.is_negative() {
        return Err(length.piece.fault(FaultKind::Negative { what: "period" }));
    }
    if length.is_zero() {
        return Err(length.piece.fault(FaultKind::Zero { what: "period" }));
    }
    let seconds = unit.to_si(length.times_ten_to(unit.ten)?);
    if !seconds.is_finite() {
        return Err(length.piece.fault(FaultKind::NotFinite));
    }
    Ok(seconds)
}
