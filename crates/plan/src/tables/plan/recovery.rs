//! Means of recovery, weak links and drift alarms.

use quantity::Dimension as D;

use super::mooring::POSITION;
use crate::field::{
    Bounds, NOT_NEGATIVE, POSITIVE, RefKind as R, Section, Shape as S, between, optional as o,
    required as r,
};

/// What a means of recovery does.
pub(crate) const MEANS: &[&str] = &["release", "haul", "drag"];

pub(crate) const RECOVERY: Section = Section {
    name: "a means of recovery",
    doc: "A way to bring the line back, with the chance that it works.",
    part: None,
    fields: &[
        r(
            "kind",
            S::Choice(MEANS),
            "`release` parts the line at its place, so that all above floats up; `haul` takes hold of the top at the surface and pulls up all that hangs on it; `drag` takes the line from the bed with a grapnel",
        ),
        o(
            "at",
            S::Reference(&[R::Anchor, R::Module, R::Float]),
            "of a `release`: what stays down with the line below it; of a `haul`: the top that is taken hold of",
        ),
        r(
            "works",
            S::Amount(D::Ratio, CHANCE),
            "chance that it works when it is needed, by experience or test",
        ),
        o(
            "relies_on",
            S::Texts,
            "what it cannot do without, in words: means that share one of these fail together",
        ),
    ],
};

/// A means that surely works is not one of this world.
const CHANCE: Bounds = between(0.0, 1.0, "from 0 % to 100 %");

pub(crate) const WEAK_LINK: Section = Section {
    name: "a weak link",
    doc: "Where the line is to part before anything else does.",
    part: None,
    fields: &[
        r("position", S::Table(&POSITION), "where it is in a section"),
        r(
            "parts_from",
            S::Amount(D::Force, POSITIVE),
            "least tension at which it may part",
        ),
        r(
            "parts_by",
            S::Amount(D::Force, POSITIVE),
            "tension at which it has surely parted",
        ),
        o(
            "safety_factor",
            S::Number(between(1.0, 20.0, "from 1 to 20")),
            "how many times the greatest tension of the design cases it must hold; once when not written",
        ),
    ],
};

pub(crate) const DRIFT_ALARM: Section = Section {
    name: "a drift alarm",
    doc: "Told when a buoy's position fixes say that it has left its place.",
    part: None,
    fields: &[
        r(
            "radius",
            S::Amount(D::Length, POSITIVE),
            "distance from the anchor at which it goes off",
        ),
        r(
            "every",
            S::Amount(D::Time, POSITIVE),
            "time between two position fixes",
        ),
        r(
            "fix_error",
            S::Amount(D::Length, NOT_NEGATIVE),
            "circle in which 95 % of fixes lie",
        ),
        r(
            "place_error",
            S::Amount(D::Length, NOT_NEGATIVE),
            "circle in which the anchor lies about its place as written down, with 95 %",
        ),
        r(
            "false_alarms",
            S::Amount(D::Ratio, between(1e-9, 0.999, "from 1e-7 % to 99.9 %")),
            "chance of any false alarm in the whole time in the water that is borne",
        ),
    ],
};
