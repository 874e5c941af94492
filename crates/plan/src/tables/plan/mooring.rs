//! Anchors, sections, ropes and positions.

use quantity::Dimension as D;

use super::bounds::DEPTH;
use crate::field::{
    ANY, NOT_NEGATIVE, POSITIVE, RefKind as R, Section, Shape as S, between, optional as o,
    required as r,
};

pub(crate) const ANCHOR: Section = Section {
    name: "an anchor",
    doc: "A weight on the seabed.",
    part: None,
    fields: &[
        o(
            "weight_in_water",
            S::Amount(D::Force, POSITIVE),
            "weight in water",
        ),
        o(
            "holding",
            S::Amount(D::Force, POSITIVE),
            "horizontal holding",
        ),
    ],
};

pub(crate) const SECTION: Section = Section {
    name: "a section",
    doc: "A mechanical length: rope, chain or cable under tension.",
    part: None,
    fields: &[
        r("from", S::Reference(&[R::Module, R::Anchor]), "upper end"),
        r("to", S::Reference(&[R::Module, R::Anchor]), "lower end"),
        r(
            "length",
            S::Amount(D::Length, POSITIVE),
            "unstretched length",
        ),
        o("rope", S::Reference(&[R::Part]), "what it is made of"),
    ],
};

pub(crate) const ROPE: Section = Section {
    name: "a rope",
    doc: "Mechanical properties of a section.",
    part: Some("rope"),
    fields: &[
        o(
            "diameter",
            S::Amount(D::Length, between(1e-4, 1.0, "from 0.1 mm to 1 m")),
            "diameter",
        ),
        o(
            "weight_in_water",
            S::Amount(D::LinearWeight, ANY),
            "weight in water per length; negative floats",
        ),
        o(
            "stiffness",
            S::Amount(D::Stiffness, POSITIVE),
            "axial stiffness EA",
        ),
        o(
            "breaking_load",
            S::Amount(D::Force, POSITIVE),
            "breaking load",
        ),
    ],
};

pub(crate) const POSITION: Section = Section {
    name: "a position",
    doc: "On a section (with from_top or from_anchor), or at a depth.",
    part: None,
    fields: &[
        o(
            "section",
            S::Reference(&[R::Section]),
            "the section it is clamped to",
        ),
        o(
            "from_top",
            S::Amount(D::Length, NOT_NEGATIVE),
            "length from the section's upper end",
        ),
        o(
            "from_anchor",
            S::Amount(D::Length, NOT_NEGATIVE),
            "length from the section's lower end",
        ),
        o(
            "depth",
            S::Amount(D::Length, DEPTH),
            "depth, for a module that hangs on no section",
        ),
    ],
};
