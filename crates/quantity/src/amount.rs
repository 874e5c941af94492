//! `0.42 W ± 10 %`: a number with a unit and, if written, a spread.

use crate::fault::nearest_unit;
use crate::scan::{Number, Piece, number};
use crate::unit::{self, Unit};
use crate::{Dimension, Fault, FaultKind, SpreadFault};

/// A quantity in the unit of its dimension ([`Dimension::si_unit`]).
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Amount {
    /// The value as written, in SI (degC for temperatures).
    pub si: f64,
    /// Its spread, if one is written.
    pub law: Option<Law>,
}

impl Amount {
    /// The ends of its spread; the value itself twice where it has none.
    #[must_use]
    pub fn span(self) -> (f64, f64) {
        let half_width = match self.law {
            Some(Law::Normal { half_width } | Law::Uniform { half_width }) => half_width,
            None => 0.0,
        };
        (self.si - half_width, self.si + half_width)
    }
}

/// Standard deviations in the half width of a normal spread (k = 2): it holds 95.45 % of the draws, which is called 95 %.
pub const HALF_WIDTH_DEVIATIONS: f64 = 2.0;

/// How a value is spread about what is written.
///
/// A spread is a 95 % normal one unless `uniform` is written. The half width is never negative and is in the
/// unit of the value (dB for levels, K for temperatures).
#[derive(Clone, Copy, PartialEq, Debug)]
pub enum Law {
    /// Normal law.
    Normal {
        /// Half width of the interval that holds 95 % of the draws, taken as [`HALF_WIDTH_DEVIATIONS`] standard deviations.
        half_width: f64,
    },
    /// Every value within the half width is equally likely.
    Uniform {
        /// Distance from the middle to either end.
        half_width: f64,
    },
}

/// Reads a quantity of the given dimension.
///
/// Grammar: `NUMBER UNIT [± SPREAD [uniform]]`, `+/-` for `±`, at most one space between number and unit needed.
/// The spread is `NUMBER UNIT` of the same dimension (K, degC or degF for a temperature), `NUMBER %` of the
/// value, or `NUMBER points` of a ratio. A ratio may be written without unit; `± n %` of a ratio can be read in
/// two ways and is refused unless `of the value` follows.
///
/// # Errors
/// A [`Fault`] with the byte range of the part that is wrong.
pub fn parse_amount(text: &str, dimension: Dimension) -> Result<Amount, Fault> {
    let (value, spread) = Piece::whole(text).split_spread();
    let (number, rest) = number(value)?;
    let (word, rest) = rest.first_word();
    let unit = if word.is_empty() {
        unitless(dimension, number.piece)?
    } else {
        Some(known_unit(word, dimension)?)
    };
    rest.expect_end()?;
    let si = match unit {
        Some(unit) => finite(unit.to_si(number.times_ten_to(unit.ten)?), number.piece)?,
        None => number.value()?,
    };
    let law = match spread {
        Some(spread) => Some(read_spread(spread, si, unit, dimension)?),
        None => None,
    };
    Ok(Amount { si, law })
}

/// Reads a number without a unit, such as a drag coefficient.
///
/// Grammar: `NUMBER [± SPREAD [uniform]]`, `+/-` for `±`. The spread is a `NUMBER`, or `NUMBER %` of the value (`of the value` may
/// follow): a number that is no share has no percentage points with which that could be confused. Shares are read by [`parse_amount`]
/// as a [`Dimension::Ratio`].
///
/// # Errors
/// A [`Fault`] with the byte range of the part that is wrong.
pub fn parse_number(text: &str) -> Result<Amount, Fault> {
    let (value, spread) = Piece::whole(text).split_spread();
    let (number, rest) = number(value)?;
    let (word, _) = rest.first_word();
    if !word.is_empty() {
        let unit = word.text.to_owned();
        return Err(word.fault(FaultKind::UnitOfNone { unit }));
    }
    let si = number.value()?;
    let law = match spread {
        Some(spread) => Some(spread_of_number(spread, si)?),
        None => None,
    };
    Ok(Amount { si, law })
}

fn spread_of_number(spread: Piece<'_>, si: f64) -> Result<Law, Fault> {
    let (number, unit_text, law) = spread_parts(spread)?;
    let (word, rest) = unit_text.first_word();
    let half_width = match word.text {
        "" => number.value()?,
        "%" => {
            if !is_of_the_value(rest) {
                rest.expect_end()?;
            }
            si.abs() * number.times_ten_to(-2)?
        }
        "points" | "point" => {
            return Err(word.fault(FaultKind::BadUncertainty {
                cause: SpreadFault::PointsOfNonRatio,
            }));
        }
        unit => {
            let unit = unit.to_owned();
            return Err(word.fault(FaultKind::UnitOfNone { unit }));
        }
    };
    Ok(law(finite(half_width, number.piece)?))
}

fn is_of_the_value(words: Piece<'_>) -> bool {
    words.text.split_whitespace().eq(["of", "the", "value"])
}

/// `None` where a bare number is a quantity (ratios), a fault elsewhere.
fn unitless(dimension: Dimension, at: Piece<'_>) -> Result<Option<&'static Unit>, Fault> {
    if dimension == Dimension::Ratio {
        return Ok(None);
    }
    Err(at.fault(FaultKind::MissingUnit {
        expected: dimension,
    }))
}

/// The unit written as `word`, which must measure `dimension`.
pub(crate) fn known_unit(word: Piece<'_>, dimension: Dimension) -> Result<&'static Unit, Fault> {
    if let Some(unit) = unit::find(word.text, dimension) {
        return Ok(unit);
    }
    let unit = word.text.to_owned();
    if is_calendar_unit(word.text) && dimension == Dimension::Time {
        return Err(word.fault(FaultKind::AmbiguousUnit { unit }));
    }
    Err(word.fault(match unit::dimension_of(word.text) {
        Some(found) => FaultKind::WrongDimension {
            unit,
            found,
            expected: dimension,
        },
        None => FaultKind::UnknownUnit {
            nearest: nearest_unit(word.text, dimension),
            unit,
            expected: dimension,
        },
    }))
}

pub(crate) fn is_calendar_unit(word: &str) -> bool {
    matches!(
        word,
        "month" | "months" | "mo" | "mon" | "yr" | "yrs" | "y" | "year" | "years"
    )
}

fn finite(value: f64, at: Piece<'_>) -> Result<f64, Fault> {
    if value.is_finite() {
        return Ok(value);
    }
    Err(at.fault(FaultKind::NotFinite))
}

/// A spread as written: its number, its unit, and the law that its half width goes into.
type SpreadParts<'a> = (Number<'a>, Piece<'a>, fn(f64) -> Law);

/// Parts of what follows the sign; the word `uniform` is taken off the unit.
pub(crate) fn spread_parts(spread: Piece<'_>) -> Result<SpreadParts<'_>, Fault> {
    if spread.trim().is_empty() {
        return Err(spread.fault(FaultKind::BadUncertainty {
            cause: SpreadFault::Missing,
        }));
    }
    let (number, rest) = number(spread)?;
    if number.is_negative() {
        return Err(number.piece.fault(FaultKind::NegativeUncertainty));
    }
    let (before, last) = rest.last_word();
    if last.text == "uniform" {
        return Ok((number, before, |half_width| Law::Uniform { half_width }));
    }
    Ok((number, rest, |half_width| Law::Normal { half_width }))
}

fn read_spread(
    spread: Piece<'_>,
    si: f64,
    value_unit: Option<&Unit>,
    dimension: Dimension,
) -> Result<Law, Fault> {
    let (number, unit_text, law) = spread_parts(spread)?;
    let (word, rest) = unit_text.first_word();
    let half_width = match word.text {
        "" if value_unit.is_none() => number.value()?,
        "" => {
            return Err(number.piece.fault(FaultKind::MissingUnit {
                expected: dimension,
            }));
        }
        "%" => {
            if dimension == Dimension::Temperature {
                return Err(word.fault(FaultKind::BadUncertainty {
                    cause: SpreadFault::PercentOfTemperature,
                }));
            }
            if !is_of_the_value(rest) {
                rest.expect_end()?;
                if dimension == Dimension::Ratio {
                    return Err(word.fault(FaultKind::AmbiguousPercent));
                }
            }
            si.abs() * number.times_ten_to(-2)?
        }
        "points" | "point" => {
            if dimension != Dimension::Ratio {
                return Err(word.fault(FaultKind::BadUncertainty {
                    cause: SpreadFault::PointsOfNonRatio,
                }));
            }
            rest.expect_end()?;
            number.times_ten_to(-2)?
        }
        _ => {
            let unit = spread_unit(word, dimension)?;
            rest.expect_end()?;
            unit.difference_to_si(number.times_ten_to(unit.ten)?)
        }
    };
    Ok(law(finite(half_width, number.piece)?))
}

/// Temperatures spread by differences, which may also be written in the degrees of a scale.
fn spread_unit(word: Piece<'_>, dimension: Dimension) -> Result<&'static Unit, Fault> {
    if dimension == Dimension::Temperature
        && let Some(unit) = unit::find(word.text, Dimension::TemperatureDifference)
    {
        return Ok(unit);
    }
    known_unit(word, dimension)
}
