//! Calls that detectors are to find.

use quantity::Dimension as D;

use crate::field::{Field, Section, Shape as S, between, joined, required as r};
use crate::tables::cues::{SHAPE, SOURCE_LEVEL};

pub(crate) const CALL: Section = Section {
    name: "a call",
    doc: "A sound that detectors are to find: what it is, how loud, and how deep its source.",
    part: None,
    fields: &joined::<14>(OF_A_CALL, SHAPE),
};

const OF_A_CALL: &[Field] = &[
    r(
        "kind",
        S::Choice(&["upsweep", "tone", "pulse-train", "click-train", "recording"]),
        "what it is",
    ),
    r(
        "source_level",
        SOURCE_LEVEL,
        "rms level at 1 m while it sounds, with how far calls differ: `172 dB re 1 uPa m \u{b1} 10 dB`",
    ),
    r(
        "depth",
        S::Amount(D::Length, between(0.0, 11_000.0, "from 0 m to 11 km")),
        "depth of its source",
    ),
];
