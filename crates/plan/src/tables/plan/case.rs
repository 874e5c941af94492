//! Design cases: the water and the weather in which a line must hold.

use quantity::Dimension as D;

use super::bounds::{TURN, WAVES, WIND};
use super::site::FLOW;
use crate::field::{Section, Shape as S, between, optional as o, required as r};

pub(crate) const CASE: Section = Section {
    name: "a design case",
    doc: "Water and weather in which the shape of the line is worked out. Without any, cases are taken from the site.",
    part: None,
    fields: &[
        o(
            "current",
            S::Tables(&FLOW),
            "water current by depth; slack water when not written",
        ),
        o(
            "water_level",
            S::Amount(D::Length, LEVEL),
            "how much higher the water stands than `water_depth` says; as high when not written",
        ),
        o(
            "wind",
            S::Table(&CASE_WIND),
            "wind on a buoy; none when not written. Where none as strong has one like the site's, the strongest with a current count once more with that",
        ),
        o(
            "wave",
            S::Table(&CASE_WAVE),
            "waves; when not written none, or those of the site where no case as strong has as high ones; the slackest case counts once more in the highest of all",
        ),
        o(
            "strum",
            S::Flag,
            "whether ropes strum, with `strumming_drag`; they do not when not written",
        ),
        o(
            "strongest_at",
            S::Choice(&["springs", "neaps"]),
            "of a tide: its current is the strongest at springs, or at neaps",
        ),
        o(
            "nominal",
            S::Flag,
            "whether this is the usual case; the one with the weakest current when none says so",
        ),
    ],
};

/// Tides reach 16 m from lowest to highest (common knowledge); surges add to them.
pub(crate) const LEVEL: crate::field::Bounds = between(-20.0, 20.0, "from -20 m to 20 m");

const CASE_WIND: Section = Section {
    name: "a wind",
    doc: "Wind on a buoy.",
    part: None,
    fields: &[
        r("speed", S::Amount(D::Speed, WIND), "speed"),
        o(
            "towards",
            S::Amount(D::Angle, TURN),
            "where the air moves to, from north; with the current at the surface when not written",
        ),
    ],
};

const CASE_WAVE: Section = Section {
    name: "a wave",
    doc: "Waves of one height and period.",
    part: None,
    fields: &[
        r(
            "height",
            S::Amount(D::Length, WAVES),
            "from trough to crest",
        ),
        r(
            "period",
            S::Amount(D::Time, between(0.5, 60.0, "from 0.5 s to 60 s")),
            "time from crest to crest",
        ),
    ],
};
