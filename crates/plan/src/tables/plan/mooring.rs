//! Anchors, sections, ropes, floats, weights and positions.

use quantity::Dimension as D;

use super::bounds::DEPTH;
use crate::field::{
    ANY, Bounds, NOT_NEGATIVE, POSITIVE, RefKind as R, SHARE, Scale, Section, Shape as S, between,
    optional as o, required as r,
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
            "horizontal holding, whatever pulls upwards",
        ),
        o(
            "holding_factor",
            S::Figure(Scale::Plain, between(0.01, 30.0, "from 0.01 to 30")),
            "horizontal holding for each newton of its weight in water that nothing lifts",
        ),
        o(
            "safety_factor",
            S::Number(between(1.0, 20.0, "from 1 to 20")),
            "how many times the load it must hold",
        ),
    ],
};

pub(crate) const SECTION: Section = Section {
    name: "a section",
    doc: "A mechanical length: rope, chain or cable under tension.",
    part: None,
    fields: &[
        r(
            "from",
            S::Reference(&[R::Module, R::Float, R::Anchor]),
            "upper end",
        ),
        r(
            "to",
            S::Reference(&[R::Module, R::Float, R::Anchor]),
            "lower end",
        ),
        r(
            "length",
            S::Amount(D::Length, POSITIVE),
            "unstretched length",
        ),
        o("rope", S::Reference(&[R::Part]), "what it is made of"),
        o(
            "fairing",
            S::Flag,
            "whether it carries fairing all along, which keeps vortices from shaking it (common practice); none when not written",
        ),
        o(
            "heave_share",
            S::Amount(D::Ratio, SHARE),
            "how much of the heave of its upper end comes through to what hangs on it and at its lower end, as measured or as its maker says; all when not written",
        ),
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
        o(
            "working_load",
            S::Amount(D::Force, POSITIVE),
            "largest tension that it may bear in use",
        ),
        o(
            "normal_drag",
            S::Figure(Scale::Plain, DRAG),
            "drag coefficient across it, on its diameter",
        ),
        o(
            "tangential_drag",
            S::Figure(Scale::Plain, between(0.0, 1.0, "from 0 to 1")),
            "drag coefficient along it, on its wetted area (its diameter times pi)",
        ),
        o(
            "strumming_drag",
            S::Figure(Scale::Plain, DRAG),
            "drag coefficient across it while it strums, on its diameter",
        ),
    ],
};

const DRAG: Bounds = between(0.0, 10.0, "from 0 to 10");

pub(crate) const OUTSIDE: Section = Section {
    name: "an outside",
    doc: "Outer size as a cylinder, for what grows on it.",
    part: None,
    fields: &[
        r("diameter", S::Amount(D::Length, POSITIVE), "diameter"),
        r("length", S::Amount(D::Length, POSITIVE), "length"),
    ],
};

pub(crate) const FLOAT: Section = Section {
    name: "a float",
    doc: "Something that floats: at the upper end of a section, or clamped to one.",
    part: None,
    fields: &[
        o(
            "position",
            S::Table(&POSITION),
            "where it is clamped; of a float at an end the section says it",
        ),
        o(
            "buoyancy",
            S::Amount(D::Force, POSITIVE),
            "buoyancy less weight, in water",
        ),
        o(
            "cd_a",
            S::Amount(D::Area, NOT_NEGATIVE),
            "drag coefficient times area",
        ),
        o("rated_depth", S::Amount(D::Length, POSITIVE), "rated depth"),
        o(
            "diameter",
            S::Amount(D::Length, POSITIVE),
            "diameter as a sphere, for what grows on it",
        ),
        o(
            "flooding_adds",
            S::Amount(D::Force, NOT_NEGATIVE),
            "buoyancy that it loses when it floods; 0 N for one that cannot",
        ),
    ],
};

pub(crate) const WEIGHT: Section = Section {
    name: "a weight",
    doc: "Something that sinks, clamped to a section.",
    part: None,
    fields: &[
        r("position", S::Table(&POSITION), "where it is clamped"),
        o(
            "weight_in_water",
            S::Amount(D::Force, POSITIVE),
            "weight in water",
        ),
        o(
            "cd_a",
            S::Amount(D::Area, NOT_NEGATIVE),
            "drag coefficient times area",
        ),
        o(
            "outside",
            S::Table(&OUTSIDE),
            "outer size, for what grows on it",
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
