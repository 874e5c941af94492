//! `1.0 mm2 class 5`, `18 AWG`: what a conductor is made of.
//!
//! Sources: IEC 60228:2023, "Conductors of insulated cables", for the classes (2 stranded, 5 flexible); ASTM B258
//! for the gauges. Both from memory; the resistances belong to the power discipline.

use crate::scan::{Piece, number};
use crate::{Dimension, Fault, FaultKind, SpreadFault, StrandClass};

/// A copper conductor, as an area with its class or as a gauge.
#[derive(Clone, Copy, PartialEq, Debug)]
pub enum Conductor {
    /// Stranded copper of IEC 60228.
    Stranded {
        /// Nominal cross-section in mm2, above zero.
        area_mm2: f64,
        /// How it is stranded.
        class: StrandClass,
        /// Whether the wires are coated with tin.
        tinned: bool,
    },
    /// Solid wire by American wire gauge: 40 (thin) to 0, then -1 for 2/0, -2 for 3/0, -3 for 4/0.
    Awg(i32),
}

/// Nominal cross-sections of stranded copper whose resistances are held: those of IEC 60228 from 0.5 to 50 mm2, in mm2.
///
/// Source: IEC 60228, tables A.2 (class 2) and A.3 (class 5), from the public copies that
/// `reference/power/iec60228-resistance.csv` names.
pub const CROSS_SECTIONS_MM2: [f64; 12] = [
    0.5, 0.75, 1.0, 1.5, 2.5, 4.0, 6.0, 10.0, 16.0, 25.0, 35.0, 50.0,
];

const THINNEST_AWG: i32 = 40;
const MOST_NOUGHTS: i32 = 4;

/// Reads a conductor: `AREA mm2 class 2|5 [tinned]` or `GAUGE AWG`, where the gauge may be `4/0` to `1/0`.
///
/// # Errors
/// A [`Fault`] with the byte range of the part that is wrong.
pub fn parse_conductor(text: &str) -> Result<Conductor, Fault> {
    let (text, spread) = Piece::whole(text).split_spread();
    if let Some(spread) = spread {
        return Err(spread.fault(FaultKind::BadUncertainty {
            cause: SpreadFault::NotTaken,
        }));
    }
    let (before, last) = text.last_word();
    if last.text == "AWG" {
        return gauge(before);
    }
    if let Some(glued) = last.text.strip_suffix("AWG").filter(|_| before.is_empty()) {
        return gauge(last.split_at(glued.len()).0);
    }
    if let Some(meant) = misspelt_gauge(text.trim().text) {
        return Err(text.trim().fault(FaultKind::MisspeltGauge { meant }));
    }
    stranded(text)
}

/// How a gauge is written that has its word in small letters or in front: `20 AWG` for `20 awg` and `AWG 20`.
fn misspelt_gauge(text: &str) -> Option<String> {
    let folded = text.to_ascii_uppercase();
    let before = folded.strip_suffix("AWG");
    let number = before.or_else(|| folded.strip_prefix("AWG"))?.trim();
    let digits = number.strip_suffix("/0").unwrap_or(number);
    let is_number = !digits.is_empty() && digits.bytes().all(|b| b.is_ascii_digit());
    is_number.then(|| format!("{number} AWG"))
}

fn gauge(piece: Piece<'_>) -> Result<Conductor, Fault> {
    let unknown = || {
        piece.fault(FaultKind::UnknownGauge {
            found: piece.text.to_owned(),
        })
    };
    let digits = piece.text.strip_suffix("/0").unwrap_or(piece.text);
    if digits.is_empty() || !digits.bytes().all(|b| b.is_ascii_digit()) {
        return Err(unknown());
    }
    let count: i32 = digits.parse().map_err(|_| unknown())?;
    let in_noughts = digits.len() != piece.text.len();
    match (in_noughts, count) {
        (true, 1..=MOST_NOUGHTS) => Ok(Conductor::Awg(1 - count)),
        (false, 0..=THINNEST_AWG) => Ok(Conductor::Awg(count)),
        _ => Err(unknown()),
    }
}

fn stranded(text: Piece<'_>) -> Result<Conductor, Fault> {
    let (number, rest) = number(text)?;
    let (unit, rest) = rest.first_word();
    let not_a_conductor = |at: Piece<'_>| {
        at.fault(FaultKind::NotAConductor {
            found: text.trim().text.to_owned(),
        })
    };
    if unit.is_empty() {
        return Err(not_a_conductor(text.trim()));
    }
    crate::amount::known_unit(unit, Dimension::Area)?;
    if crate::unit::normalise(unit.text) != "mm2" {
        return Err(not_a_conductor(unit));
    }
    if number.is_negative() {
        return Err(number.piece.fault(FaultKind::Negative {
            what: "conductor area",
        }));
    }
    if number.is_zero() {
        return Err(number.piece.fault(FaultKind::Zero {
            what: "conductor area",
        }));
    }
    let area_mm2 = number.value()?;
    if !CROSS_SECTIONS_MM2.contains(&area_mm2) {
        return Err(number.piece.fault(FaultKind::UnlistedArea { area_mm2 }));
    }
    let (keyword, rest) = rest.first_word();
    if keyword.text != "class" {
        return Err(not_a_conductor(if keyword.is_empty() {
            text.trim()
        } else {
            keyword
        }));
    }
    let (class_word, rest) = rest.first_word();
    let class = match class_word.text {
        "2" => StrandClass::Two,
        "5" => StrandClass::Five,
        found => {
            let at = if class_word.is_empty() {
                keyword
            } else {
                class_word
            };
            return Err(at.fault(FaultKind::UnknownClass {
                found: found.to_owned(),
            }));
        }
    };
    let (coat, end) = rest.first_word();
    let tinned = coat.text == "tinned";
    if tinned { end } else { rest }.expect_end()?;
    Ok(Conductor::Stranded {
        area_mm2,
        class,
        tinned,
    })
}
