//! What can be wrong with the text of a quantity, and how to mend it.

use std::ops::Range;

use crate::{Dimension, LevelKind};

/// A mistake in the text of one value.
///
/// `Display` is a lowercase fragment; [`Fault::help`] says how to mend it.
#[derive(Clone, PartialEq, Debug, thiserror::Error)]
#[error("{kind}")]
pub struct Fault {
    /// What is wrong.
    pub kind: FaultKind,
    /// Byte range of the offending part within the text, on character boundaries.
    pub range: Range<usize>,
}

/// One kind of mistake, with what is needed to explain it.
#[derive(Clone, PartialEq, Debug, thiserror::Error)]
#[non_exhaustive]
pub enum FaultKind {
    /// There is nothing where a number should stand.
    #[error("a number is missing")]
    Empty,
    /// The text does not begin with a number.
    #[error("`{found}` is not a number")]
    NotANumber {
        /// The word that stands there.
        found: String,
    },
    /// A comma where the decimal point belongs.
    #[error("decimal comma")]
    DecimalComma,
    /// Digits parted by spaces, underscores or apostrophes.
    #[error("digits in groups")]
    GroupedDigits,
    /// The number is infinite, not a number, or too large to hold.
    #[error("the number is not finite")]
    NotFinite,
    /// The number is so small that it would become zero.
    #[error("the number is too small to hold")]
    Underflow,
    /// A number without a unit.
    #[error("{} {} needs a unit", crate::dimension::article(expected.name()), expected.name())]
    MissingUnit {
        /// What the value should be.
        expected: Dimension,
    },
    /// A word that is no unit of any dimension.
    #[error("unknown unit `{unit}`")]
    UnknownUnit {
        /// The word.
        unit: String,
        /// The accepted unit that it most probably stands for.
        nearest: Option<&'static str>,
        /// What the value should be.
        expected: Dimension,
    },
    /// A unit that means different things to different people.
    #[error("`{unit}` has no single length")]
    AmbiguousUnit {
        /// The unit as written.
        unit: String,
    },
    /// A unit of something else.
    #[error("`{unit}` is a unit of {}, not of {}", found.name(), expected.name())]
    WrongDimension {
        /// The unit as written.
        unit: String,
        /// What the unit measures.
        found: Dimension,
        /// What the value should be.
        expected: Dimension,
    },
    /// A level without decibels.
    #[error("a {} is written in dB", expected.name())]
    NotDecibels {
        /// What stands in place of `dB`, empty if nothing.
        found: String,
        /// What the value should be.
        expected: LevelKind,
    },
    /// A level in dB that does not say what it refers to.
    #[error("a {} needs its reference", expected.name())]
    MissingReference {
        /// What the value should be.
        expected: LevelKind,
    },
    /// A reference that is none of the closed set.
    #[error("unknown reference `{found}`")]
    UnknownReference {
        /// The reference as written.
        found: String,
        /// What the value should be.
        expected: LevelKind,
    },
    /// A reference that belongs to another kind of level.
    #[error("this is a {}, not a {}", found.name(), expected.name())]
    WrongLevelKind {
        /// The kind to which the reference belongs.
        found: LevelKind,
        /// What the value should be.
        expected: LevelKind,
    },
    /// A spread that does not fit its value.
    #[error("{cause}")]
    BadUncertainty {
        /// In which way.
        cause: SpreadFault,
    },
    /// A spread below zero.
    #[error("a spread cannot be negative")]
    NegativeUncertainty,
    /// A spread in `%` of a value that is itself a share: of the value, or points?
    #[error("`%` of a percentage can be read in two ways")]
    AmbiguousPercent,
    /// A unit behind a number that has none.
    #[error("this number has no unit, and `{unit}` follows it")]
    UnitOfNone {
        /// What follows.
        unit: String,
    },
    /// Something follows a complete value.
    #[error("`{rest}` is left over")]
    Trailing {
        /// What follows.
        rest: String,
    },
    /// A value below zero where there can be none.
    #[error("a {what} cannot be negative")]
    Negative {
        /// What the value is.
        what: &'static str,
    },
    /// A value of zero where there can be none.
    #[error("a {what} cannot be zero")]
    Zero {
        /// What the value is.
        what: &'static str,
    },
    /// A text that is no conductor.
    #[error("`{found}` is not a conductor")]
    NotAConductor {
        /// What stands there.
        found: String,
    },
    /// A conductor class that is not stranded copper of IEC 60228.
    #[error("`{found}` is not a conductor class")]
    UnknownClass {
        /// What stands where the class belongs.
        found: String,
    },
    /// A gauge outside 4/0 to 40 AWG.
    #[error("there is no {found} AWG here")]
    UnknownGauge {
        /// The gauge as written.
        found: String,
    },
    /// A gauge whose word is not written as `AWG` behind its number.
    #[error("a gauge is a number before `AWG`")]
    MisspeltGauge {
        /// As it is written.
        meant: String,
    },
    /// A cross-section for which no resistance is held.
    #[error("{area_mm2} mm2 is no cross-section of IEC 60228 from 0.5 to 50 mm2")]
    UnlistedArea {
        /// The cross-section, mm2.
        area_mm2: f64,
    },
    /// An amount of money without a currency.
    #[error("an amount of money needs its currency")]
    MissingCurrency,
    /// A code that is no ISO 4217 currency in use.
    #[error("unknown currency `{found}`")]
    UnknownCurrency {
        /// The code as written.
        found: String,
    },
    /// More decimals than the currency has.
    #[error("{currency} has {allowed} decimals, not {found}")]
    MoneyDecimals {
        /// The currency code.
        currency: &'static str,
        /// Decimals of the currency.
        allowed: u32,
        /// Decimals written.
        found: usize,
    },
    /// An amount of money with an exponent.
    #[error("an amount of money is written without exponent")]
    MoneyExponent,
    /// An amount of money too large to hold.
    #[error("the amount of money is too large to hold")]
    MoneyTooLarge,
    /// A rate of events that does not say per what.
    #[error("a rate of events needs `per` and a time")]
    MissingPer,
    /// A share above the whole.
    #[error("a share cannot exceed 100 %")]
    ShareAboveWhole,
}

/// In which way a spread does not fit its value.
#[derive(Clone, Copy, PartialEq, Eq, Debug, thiserror::Error)]
#[non_exhaustive]
pub enum SpreadFault {
    /// Nothing follows the sign.
    #[error("the spread is missing")]
    Missing,
    /// A percentage of a temperature, whose zero is a convention.
    #[error("a spread of a temperature cannot be a percentage")]
    PercentOfTemperature,
    /// Points of something that is no percentage.
    #[error("points belong to percentages")]
    PointsOfNonRatio,
    /// The spread of a level in something else than dB.
    #[error("the spread of a level is written in dB")]
    NotDecibels,
    /// A spread where none can be drawn.
    #[error("no spread can be given here")]
    NotTaken,
}

impl Fault {
    /// How to mend the mistake, as a phrase; `None` when the message says it all.
    pub fn help(&self) -> Option<String> {
        match &self.kind {
            FaultKind::Empty | FaultKind::NotANumber { .. } => {
                Some("begin with a number such as 150, 0.42 or 1e-3, with a digit on both sides of the point".to_owned())
            }
            FaultKind::DecimalComma => Some("write a decimal point (1.5, not 1,5) and do not group digits".to_owned()),
            FaultKind::GroupedDigits => Some("write the digits without gaps: 12000 or 12e3".to_owned()),
            FaultKind::MissingUnit { expected } => Some(example(*expected)),
            FaultKind::UnknownUnit {
                unit,
                nearest,
                expected,
            } => Some(unknown_unit_help(unit, *nearest, *expected)),
            FaultKind::AmbiguousUnit { unit } => Some(if unit.starts_with('y') {
                "a year has 365 or 366 days: write the days, such as 365 d".to_owned()
            } else {
                "a month has 28 to 31 days: write the days or weeks, such as 30 d".to_owned()
            }),
            FaultKind::WrongDimension { unit, expected, .. } => Some(wrong_dimension_help(unit, *expected)),
            FaultKind::NotDecibels { expected, .. }
            | FaultKind::MissingReference { expected }
            | FaultKind::UnknownReference { expected, .. } => Some(level_example(*expected)),
            FaultKind::WrongLevelKind { found, expected } => Some(wrong_level_help(*found, *expected)),
            FaultKind::BadUncertainty { cause } => Some(spread_help(*cause).to_owned()),
            FaultKind::NegativeUncertainty => Some("write the half width without a sign: ± 0.2".to_owned()),
            FaultKind::AmbiguousPercent => {
                Some("write `± 5 points` for percentage points, or `± 5 % of the value`".to_owned())
            }
            FaultKind::UnitOfNone { unit } if unit == "uniform" => {
                Some("`uniform` follows a spread: 1.2 ± 0.1 uniform".to_owned())
            }
            FaultKind::UnitOfNone { .. } => {
                Some("write the number alone, or with a spread: 1.2 ± 0.1, 1.2 ± 5 %".to_owned())
            }
            FaultKind::Trailing { rest } if rest == "uniform" => {
                Some("`uniform` follows a spread: 0.42 W ± 10 % uniform".to_owned())
            }
            FaultKind::Trailing { .. } => Some("a value is a number and a unit, and may end with ± and a spread".to_owned()),
            FaultKind::NotAConductor { .. } => {
                Some("write an area with its class, such as `1.0 mm2 class 5`, or a gauge, such as `18 AWG`".to_owned())
            }
            FaultKind::UnknownClass { .. } => Some("IEC 60228: class 2 is stranded, class 5 is flexible".to_owned()),
            FaultKind::UnknownGauge { .. } => Some("gauges run from 4/0 AWG to 40 AWG".to_owned()),
            FaultKind::MisspeltGauge { meant } => Some(format!("write `{meant}`")),
            FaultKind::UnlistedArea { area_mm2 } => Some(next_areas(*area_mm2)),
            FaultKind::MissingCurrency | FaultKind::UnknownCurrency { .. } => {
                Some("end with the three capital letters of ISO 4217: 0.12 EUR".to_owned())
            }
            FaultKind::MoneyDecimals { .. } => {
                Some("money is held in whole minor units; price a larger lot instead".to_owned())
            }
            FaultKind::MissingPer => Some("write it as `6 per hour` or `1 per 10 s`".to_owned()),
            FaultKind::NotFinite
            | FaultKind::Underflow
            | FaultKind::Negative { .. }
            | FaultKind::Zero { .. }
            | FaultKind::MoneyExponent
            | FaultKind::MoneyTooLarge
            | FaultKind::ShareAboveWhole => None,
        }
    }
}

fn example(dimension: Dimension) -> String {
    let examples: Vec<String> = dimension
        .examples()
        .iter()
        .map(|text| format!("`{text}`"))
        .collect();
    format!("write it as {}", examples.join(" or "))
}

/// The listed cross-sections on both sides of one that is not.
fn next_areas(area_mm2: f64) -> String {
    let listed = crate::CROSS_SECTIONS_MM2;
    let below = listed.iter().rev().find(|a| **a < area_mm2);
    let above = listed.iter().find(|a| **a > area_mm2);
    let next: Vec<String> = [below, above]
        .into_iter()
        .flatten()
        .map(|a| format!("{a} mm2"))
        .collect();
    match &next[..] {
        [one] => format!("the next one is {one}"),
        _ => format!("the next ones are {}", next.join(" and ")),
    }
}

fn level_example(kind: LevelKind) -> String {
    format!("write it as `{}`", kind.example())
}

/// Spellings common elsewhere, with the one used here.
const OTHER_SPELLINGS: &[(&[&str], &str)] = &[
    (&["metre", "metres", "meter", "meters"], "m"),
    (
        &["kilometre", "kilometres", "kilometer", "kilometers"],
        "km",
    ),
    (&["feet", "foot", "'"], "ft"),
    (&["inch", "inches", "\""], "in"),
    (&["nm", "NM", "M", "mile", "miles"], "nmi"),
    (&["ftm", "fm", "fth"], "fathom"),
    (&["sec", "secs", "second", "seconds"], "s"),
    (&["minute", "minutes", "mins"], "min"),
    (&["hr", "hrs", "hour", "hours"], "h"),
    (&["day", "days"], "d"),
    (&["week", "weeks", "w"], "wk"),
    (&["knot", "knots", "kt", "kts"], "kn"),
    (&["mps", "ms-1", "m/sec"], "m/s"),
    (&["kph", "kmh"], "km/h"),
    (&["volt", "volts"], "V"),
    (&["amp", "amps", "ampere", "amperes"], "A"),
    (&["watt", "watts"], "W"),
    (&["ohms"], "ohm"),
    (&["R"], "ohm"),
    (&["degree", "degrees"], "deg"),
    (&["celsius", "Celsius", "C"], "degC"),
    (&["fahrenheit", "Fahrenheit", "F"], "degF"),
    (&["kelvin"], "K"),
    (&["percent", "pct"], "%"),
    (&["byte", "bytes"], "B"),
    (&["bits"], "bit"),
    (&["kbps"], "kbit/s"),
    (&["Mbps"], "Mbit/s"),
    (&["bps", "baud"], "bit/s"),
    (&["tonne", "tonnes"], "t"),
    (&["kgs", "kilogram", "kilograms"], "kg"),
];

/// The accepted unit that `word` most probably stands for, when one stands out.
pub(crate) fn nearest_unit(word: &str, dimension: Dimension) -> Option<&'static str> {
    let other = OTHER_SPELLINGS
        .iter()
        .filter(|(others, _)| others.contains(&word))
        .map(|&(_, spelling)| spelling)
        .find(|&spelling| dimension.units().any(|unit| unit == spelling));
    if other.is_some() {
        return other;
    }
    match &same_but_for_case(word, dimension)[..] {
        [] => crate::nearest(&crate::unit::normalise(word), dimension.units()),
        [only] => Some(only),
        _ => None,
    }
}

fn same_but_for_case(word: &str, dimension: Dimension) -> Vec<&'static str> {
    let folded = crate::unit::normalise(word).to_lowercase();
    dimension
        .units()
        .filter(|unit| unit.to_lowercase() == folded)
        .collect()
}

fn unknown_unit_help(unit: &str, nearest: Option<&'static str>, expected: Dimension) -> String {
    let same = same_but_for_case(unit, expected);
    if !same.is_empty() {
        return format!(
            "capital and small letters differ: write {}",
            same.join(" or ")
        );
    }
    match nearest {
        Some(near) => format!("did you mean `{near}`?"),
        None => {
            let units: Vec<&str> = expected.units().collect();
            format!("units of {}: {}", expected.name(), units.join(", "))
        }
    }
}

fn wrong_dimension_help(unit: &str, expected: Dimension) -> String {
    if let Some(near) = nearest_unit(unit, expected) {
        return format!("did you mean `{near}`?");
    }
    match (unit, expected) {
        ("K" | "mK", Dimension::Temperature) => {
            "K is for differences of temperature; write degC".to_owned()
        }
        (_, Dimension::TemperatureDifference) => {
            "a difference of temperature is written in K".to_owned()
        }
        ("Ah" | "mAh", Dimension::Energy) => "write Wh: ampere-hours times the voltage".to_owned(),
        ("Wh" | "mWh" | "kWh", Dimension::Charge) => {
            "write Ah: watt-hours divided by the voltage".to_owned()
        }
        _ => example(expected),
    }
}

fn wrong_level_help(found: LevelKind, expected: LevelKind) -> String {
    match (found, expected) {
        (LevelKind::InAirSensitivity, LevelKind::Sensitivity) => {
            "subtract 120 dB to go from re 1 V/Pa to re 1 V/uPa".to_owned()
        }
        (LevelKind::Sensitivity, LevelKind::InAirSensitivity) => {
            "add 120 dB to go from re 1 V/uPa to re 1 V/Pa".to_owned()
        }
        (LevelKind::InAir, LevelKind::Pressure | LevelKind::Peak) => {
            "the same pressure is 26.02 dB higher re 1 uPa than re 20 uPa; air and water differ in more than that".to_owned()
        }
        _ => level_example(expected),
    }
}

fn spread_help(cause: SpreadFault) -> &'static str {
    match cause {
        SpreadFault::Missing => {
            "write a half width after the sign: 0.42 W ± 10 % or 8 mohm ± 4 mohm"
        }
        SpreadFault::PercentOfTemperature => "write it in degrees: 9.6 degC ± 0.2 K",
        SpreadFault::PointsOfNonRatio => {
            "write `± 5 %` for a share of the value, or a number with its unit"
        }
        SpreadFault::NotDecibels => "decibel spreads stay in decibels: ± 1 dB",
        SpreadFault::NotTaken => "write the plain value",
    }
}
