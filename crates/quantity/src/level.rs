//! `-168 dB re 1 V/uPa ± 1 dB`: levels, each kind with its one reference.
//!
//! Sources: ISO 18405:2017, "Underwater acoustics - Terminology", for the kinds and the references in water
//! (1 uPa, 1 uPa2/Hz, 1 uPa2 s, 1 uPa m); ISO 1683:2015 for 20 uPa in air. The wording of both is from memory.

use crate::amount::spread_parts;
use crate::scan::{Piece, number};
use crate::{Fault, FaultKind, Law, SpreadFault};

/// The closed set of levels. Each has one reference, so that a number in decibels means one thing.
#[derive(Clone, Copy, PartialEq, Eq, Debug, PartialOrd, Ord, Hash)]
pub enum LevelKind {
    /// Sound pressure level (rms), dB re 1 uPa.
    Pressure,
    /// Zero-to-peak sound pressure level, dB re 1 uPa.
    Peak,
    /// Spectral density level of the sound pressure, dB re 1 uPa2/Hz.
    SpectralDensity,
    /// Sound exposure level, dB re 1 uPa2 s.
    Exposure,
    /// Source level, dB re 1 uPa m.
    Source,
    /// Sensitivity of a hydrophone, dB re 1 V/uPa.
    Sensitivity,
    /// Gain, dB.
    Gain,
    /// Sound pressure level in air, dB re 20 uPa.
    InAir,
    /// Sensitivity of a microphone, dB re 1 V/Pa.
    InAirSensitivity,
}

/// A level in decibels re the reference of its kind.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct LevelAmount {
    /// The level as written, in dB.
    pub db: f64,
    /// Its spread in dB, if one is written.
    pub law: Option<Law>,
}

/// References with their words parted, which may also be written together; the first of a kind is the one shown. Pressure and peak share theirs.
const REFERENCES: &[(&str, LevelKind)] = &[
    ("1 uPa", LevelKind::Pressure),
    ("1 uPa", LevelKind::Peak),
    ("1 uPa2/Hz", LevelKind::SpectralDensity),
    ("1 uPa/rtHz", LevelKind::SpectralDensity),
    ("1 uPa2 s", LevelKind::Exposure),
    ("1 uPa2 . s", LevelKind::Exposure),
    ("1 uPa m", LevelKind::Source),
    ("1 uPa . m", LevelKind::Source),
    ("1 uPa @ 1 m", LevelKind::Source),
    ("1 uPa at 1 m", LevelKind::Source),
    ("1 V/uPa", LevelKind::Sensitivity),
    ("20 uPa", LevelKind::InAir),
    ("1 V/Pa", LevelKind::InAirSensitivity),
];

/// The references of a kind.
pub(crate) fn references(kind: LevelKind) -> impl Iterator<Item = &'static str> {
    REFERENCES
        .iter()
        .filter(move |(_, of)| *of == kind)
        .map(|(reference, _)| *reference)
}

impl LevelKind {
    /// Every kind, in declaration order.
    pub const ALL: [Self; 9] = [
        Self::Pressure,
        Self::Peak,
        Self::SpectralDensity,
        Self::Exposure,
        Self::Source,
        Self::Sensitivity,
        Self::Gain,
        Self::InAir,
        Self::InAirSensitivity,
    ];

    /// The kind in words, as it stands in a message: `sound pressure level`, `gain`.
    pub fn name(self) -> &'static str {
        match self {
            Self::Pressure => "sound pressure level",
            Self::Peak => "zero-to-peak level",
            Self::SpectralDensity => "spectral density level",
            Self::Exposure => "sound exposure level",
            Self::Source => "source level",
            Self::Sensitivity => "hydrophone sensitivity",
            Self::Gain => "gain",
            Self::InAir => "level in air",
            Self::InAirSensitivity => "microphone sensitivity",
        }
    }

    /// Unit with reference: `dB re 1 uPa2/Hz`, and plain `dB` for a gain.
    pub fn unit(self) -> &'static str {
        match self {
            Self::Pressure | Self::Peak => "dB re 1 uPa",
            Self::SpectralDensity => "dB re 1 uPa2/Hz",
            Self::Exposure => "dB re 1 uPa2 s",
            Self::Source => "dB re 1 uPa m",
            Self::Sensitivity => "dB re 1 V/uPa",
            Self::Gain => "dB",
            Self::InAir => "dB re 20 uPa",
            Self::InAirSensitivity => "dB re 1 V/Pa",
        }
    }

    /// A text that [`parse_level`] accepts for this kind.
    pub fn example(self) -> &'static str {
        match self {
            Self::Pressure => "120 dB re 1 uPa",
            Self::Peak => "180 dB re 1 uPa",
            Self::SpectralDensity => "41 dB re 1 uPa2/Hz",
            Self::Exposure => "155 dB re 1 uPa2 s",
            Self::Source => "172 dB re 1 uPa m",
            Self::Sensitivity => "-168 dB re 1 V/uPa",
            Self::Gain => "26 dB",
            Self::InAir => "65 dB re 20 uPa",
            Self::InAirSensitivity => "-38 dB re 1 V/Pa",
        }
    }
}

/// Reads a level of the given kind: `NUMBER dB [re REFERENCE] [± NUMBER dB [uniform]]`.
///
/// Beside the references of [`LevelKind::unit`] the usual ways to write the same are read: `uPa2·s`,
/// `uPa/sqrt(Hz)`, `1 uPa @ 1 m`, `1 uPa at 1 m`, with either micro sign and with superscripts.
///
/// # Errors
/// A [`Fault`] with the byte range of the part that is wrong.
pub fn parse_level(text: &str, kind: LevelKind) -> Result<LevelAmount, Fault> {
    let (value, spread) = Piece::whole(text).split_spread();
    let (number, rest) = number(value)?;
    let (word, reference) = rest.first_word();
    if word.text != "dB" {
        let at = if word.is_empty() { number.piece } else { word };
        return Err(at.fault(FaultKind::NotDecibels {
            found: word.text.to_owned(),
            expected: kind,
        }));
    }
    check_reference(word, reference, kind)?;
    let db = number.value()?;
    let law = match spread {
        Some(spread) => Some(read_spread(spread)?),
        None => None,
    };
    Ok(LevelAmount { db, law })
}

fn check_reference(decibel: Piece<'_>, reference: Piece<'_>, kind: LevelKind) -> Result<(), Fault> {
    if reference.is_empty() {
        if kind == LevelKind::Gain {
            return Ok(());
        }
        return Err(decibel.fault(FaultKind::MissingReference { expected: kind }));
    }
    let (re, to) = reference.first_word();
    let compact: String = crate::unit::normalise(to.text)
        .chars()
        .filter(|c| !c.is_whitespace() && *c != '\u{b7}' && *c != '\u{22c5}')
        .collect();
    let known: Vec<LevelKind> = REFERENCES
        .iter()
        .filter(|(spelling, _)| re.text == "re" && spelling.replace(' ', "") == compact)
        .map(|&(_, found)| found)
        .collect();
    match known.first() {
        Some(_) if known.contains(&kind) => Ok(()),
        Some(&found) => Err(reference.fault(FaultKind::WrongLevelKind {
            found,
            expected: kind,
        })),
        None => Err(reference.fault(FaultKind::UnknownReference {
            found: reference.text.to_owned(),
            expected: kind,
        })),
    }
}

fn read_spread(spread: Piece<'_>) -> Result<Law, Fault> {
    let (number, unit, law) = spread_parts(spread)?;
    let (word, rest) = unit.first_word();
    if word.text != "dB" {
        let at = if word.is_empty() { number.piece } else { word };
        return Err(at.fault(FaultKind::BadUncertainty {
            cause: SpreadFault::NotDecibels,
        }));
    }
    rest.expect_end()?;
    Ok(law(number.value()?))
}
