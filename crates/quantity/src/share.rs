//! `90 %`: a part of a whole.

use crate::scan::{Piece, number};
use crate::{Dimension, Fault, FaultKind, SpreadFault};

/// A part of a whole.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Share {
    /// From 0 to 1.
    pub fraction: f64,
}

/// Reads a share, written in `%` from 0 to 100.
///
/// # Errors
/// A [`Fault`] with the byte range of the part that is wrong; a share is never negative nor above 100 %, and has
/// no spread.
pub fn parse_share(text: &str) -> Result<Share, Fault> {
    let (value, spread) = Piece::whole(text).split_spread();
    if let Some(spread) = spread {
        return Err(spread.fault(FaultKind::BadUncertainty {
            cause: SpreadFault::NotTaken,
        }));
    }
    let (number, rest) = number(value)?;
    let (word, rest) = rest.first_word();
    if word.is_empty() {
        return Err(number.piece.fault(FaultKind::MissingUnit {
            expected: Dimension::Ratio,
        }));
    }
    let unit = crate::amount::known_unit(word, Dimension::Ratio)?;
    rest.expect_end()?;
    if number.is_negative() {
        return Err(number.piece.fault(FaultKind::Negative { what: "share" }));
    }
    let fraction = number.times_ten_to(unit.ten)?;
    if fraction > 1.0 {
        return Err(number.piece.fault(FaultKind::ShareAboveWhole));
    }
    Ok(Share { fraction })
}
