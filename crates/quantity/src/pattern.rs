//! What the readers of this crate accept, as regular expressions of ECMA 262 (the dialect of JSON Schema), made from the same tables.
//!
//! An expression knows the units of what may stand somewhere, and which sign the number may have. How large it may be it
//! does not know, nor the rarer ways to part words (`u Pa` for `uPa`). It uses no look-ahead, so that smaller engines run it too.

use crate::conductor::CROSS_SECTIONS_MM2;
use crate::event_rate::PERIODS_S;
use crate::level::references;
use crate::money::CURRENCIES;
use crate::unit::{self, Unit};
use crate::{Dimension, LevelKind, show_bare};

/// Which numbers may stand somewhere.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Sign {
    /// Any.
    Any,
    /// Zero and more.
    NotNegative,
    /// More than zero.
    Positive,
}

const ANY: &str = "[+\u{2212}-]?[0-9]+(?:\\.[0-9]+)?(?:[eE][+\u{2212}-]?[0-9]+)?";
const NOT_NEGATIVE: &str = "\\+?[0-9]+(?:\\.[0-9]+)?(?:[eE][+\u{2212}-]?[0-9]+)?";
const POSITIVE: &str =
    "\\+?(?:[0-9]*[1-9][0-9]*(?:\\.[0-9]+)?|0+\\.[0-9]*[1-9][0-9]*)(?:[eE][+\u{2212}-]?[0-9]+)?";
/// Between a value and its spread.
const SPREAD: &str = "\\s*(?:\u{b1}|\\+/-)\\s*";

impl Sign {
    fn number(self) -> &'static str {
        match self {
            Sign::Any => ANY,
            Sign::NotNegative => NOT_NEGATIVE,
            Sign::Positive => POSITIVE,
        }
    }
}

/// The texts that [`crate::parse_amount`] accepts for a dimension, with numbers of this sign in its unit.
#[must_use]
pub fn amount_pattern(dimension: Dimension, sign: Sign) -> String {
    let number = sign.number();
    // The sign of a number says nothing of the sign in SI where the zeros differ.
    let (moved, plain): (Vec<&Unit>, Vec<&Unit>) = unit::table(dimension)
        .iter()
        .partition(|unit| unit.minus != 0.0);
    let mut value = format!("{number}\\s*{}", any_of(plain.into_iter().map(written)));
    if !moved.is_empty() {
        let moved = any_of(moved.into_iter().map(written));
        value = format!("(?:{value}|{ANY}\\s*{moved})");
    }
    let spread = spread(dimension);
    let mut whole = format!("{value}(?:{SPREAD}{NOT_NEGATIVE}{spread})?");
    if dimension == Dimension::Ratio {
        let bare = format!("{number}(?:{SPREAD}{NOT_NEGATIVE}(?:{spread}|(?:\\s+uniform)?))?");
        whole = format!("(?:{whole}|{bare})");
    }
    format!("^\\s*{whole}\\s*$")
}

/// The texts that [`crate::parse_number`] accepts, with numbers of this sign.
#[must_use]
pub fn number_pattern(sign: Sign) -> String {
    let number = sign.number();
    let percent = "\\s*%(?:\\s+of\\s+the\\s+value)?";
    format!("^\\s*{number}(?:{SPREAD}{NOT_NEGATIVE}(?:{percent})?(?:\\s+uniform)?)?\\s*$")
}

/// What follows the number of a spread.
fn spread(dimension: Dimension) -> String {
    let own = unit::table(dimension).iter();
    let percent = "%(?:\\s+of\\s+the\\s+value)?".to_owned();
    let units = match dimension {
        Dimension::Temperature => {
            let differences = unit::table(Dimension::TemperatureDifference);
            any_of(differences.iter().chain(own).map(written))
        }
        // A percentage of a percentage says of what it is one.
        Dimension::Ratio => any_of(
            own.filter(|unit| unit.spelling != "%")
                .map(written)
                .chain(["%\\s+of\\s+the\\s+value".to_owned(), "points?".to_owned()]),
        ),
        _ => any_of(own.map(written).chain([percent])),
    };
    format!("\\s*{units}(?:\\s+uniform)?")
}

/// The texts that [`crate::parse_level`] accepts for a kind of level, with numbers of this sign.
#[must_use]
pub fn level_pattern(kind: LevelKind, sign: Sign) -> String {
    let number = sign.number();
    let reference = match kind {
        LevelKind::Gain => String::new(),
        _ => format!("\\s+re\\s+{}", any_of(references(kind).map(loosely))),
    };
    format!("^\\s*{number}\\s*dB{reference}(?:{SPREAD}{NOT_NEGATIVE}\\s*dB(?:\\s+uniform)?)?\\s*$")
}

/// The texts that [`crate::parse_conductor`] accepts.
#[must_use]
pub fn conductor_pattern() -> String {
    let areas = any_of(CROSS_SECTIONS_MM2.iter().map(|area_mm2| {
        let text = show_bare(*area_mm2);
        match text.split_once('.') {
            Some((whole, part)) => format!("0*{whole}\\.{part}0*"),
            None => format!("0*{text}(?:\\.0+)?"),
        }
    }));
    let square = form("mm2");
    let gauge = "(?:0*(?:[0-9]|[1-3][0-9]|40)|0*[1-4]/0)\\s*AWG";
    format!("^\\s*(?:{gauge}|\\+?{areas}\\s*{square}\\s+class\\s+[25](?:\\s+tinned)?)\\s*$")
}

/// The texts that [`crate::parse_money`] accepts, as far as a plan takes them: nothing below zero.
#[must_use]
pub fn money_pattern() -> String {
    let of = |(decimals, codes): &(u32, &str)| {
        let codes = any_of(codes.split_whitespace().map(str::to_owned));
        let part = match decimals {
            0 => String::new(),
            n => format!("(?:\\.[0-9]{{1,{n}}})?"),
        };
        format!("{part}\\s*{codes}")
    };
    let ends = any_of(CURRENCIES.iter().map(of));
    format!("^\\s*\\+?[0-9]+{ends}\\s*$")
}

/// The texts that [`crate::parse_event_rate`] accepts.
#[must_use]
pub fn event_rate_pattern() -> String {
    let units = any_of(unit::table(Dimension::Time).iter().map(written));
    let words = any_of(PERIODS_S.iter().map(|(word, _)| (*word).to_owned()));
    format!("^\\s*{NOT_NEGATIVE}\\s*per\\s+(?:{words}|{units}|{POSITIVE}\\s*{units})\\s*$")
}

fn any_of(forms: impl Iterator<Item = String>) -> String {
    format!("(?:{})", forms.collect::<Vec<_>>().join("|"))
}

fn written(unit: &Unit) -> String {
    form(unit.spelling)
}

/// A spelling of the tables in all the typographic forms that [`unit::normalise`] brings to it.
fn form(spelling: &str) -> String {
    match spelling {
        "degC" => return "(?:deg|\u{b0})C|\u{2103}".to_owned(),
        "degF" => return "(?:deg|\u{b0})F|\u{2109}".to_owned(),
        _ => {}
    }
    let mut rest = spelling;
    let mut pattern = String::new();
    let words = [
        ("rtHz", "(?:rtHz|\u{221a}Hz|sqrt\\(Hz\\)|Hz\\^0\\.5)"),
        ("ohm", "(?:ohm|\u{3a9}|\u{2126})"),
        ("deg", "(?:deg|\u{b0})"),
        ("u", "[u\u{b5}\u{3bc}]"),
        ("2", "(?:2|\u{b2}|\\^2)"),
        ("3", "(?:3|\u{b3}|\\^3)"),
        (".", "\\."),
    ];
    while let Some(first) = rest.chars().next() {
        match words.iter().find(|(word, _)| rest.starts_with(word)) {
            Some((word, forms)) => {
                pattern.push_str(forms);
                rest = &rest[word.len()..];
            }
            None => {
                pattern.push(first);
                rest = &rest[first.len_utf8()..];
            }
        }
    }
    pattern
}

/// A reference whose words may be parted by spaces or by a multiplication sign.
fn loosely(reference: &str) -> String {
    let words: Vec<String> = reference
        .split(' ')
        .map(|word| match word.bytes().all(|b| b.is_ascii_digit()) {
            true => word.to_owned(),
            false => form(word),
        })
        .collect();
    words.join("[\\s\u{b7}\u{22c5}]*")
}
