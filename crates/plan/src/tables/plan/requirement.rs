//! Requirements.

use quantity::Dimension as D;

use super::bounds::WIND;
use crate::field::{
    NOT_NEGATIVE, POSITIVE_SHARE, RefKind as R, SHARE, Section, Shape as S, optional as o,
    required as r,
};

/// What a requirement may be about.
const THAT: &[&str] = &[
    "voltage",
    "highest-voltage",
    "supply-current",
    "delay",
    "link-load",
    "clock-error",
    "message-loss",
    "uplink-messages",
    "uplink-cost",
    "uplink-wait",
    "storage-time",
    "outage-hours",
    "lowest-charge",
    "autonomy",
    "cell-life",
    "dawn-restarts",
    "wakes-from-flat",
    "sensor-energy",
    "start-up",
    "ready-within",
    "collapse-factor",
    "reserve",
    "short-circuit",
    "contact-life",
    "single-failure",
    "time-to-notice",
    "fail-safe",
    "self-noise",
    "pick-up",
    "overload",
    "detection-range",
    "encounter",
    "recall",
    "false-alarms",
    "module-depth",
    "module-tilt",
    "line-tension",
    "anchor-load",
    "housing-margin",
    "watch-circle",
    "on-station",
    "strum-hours",
    "recovery-chance",
    "parted-lift",
    "surface-slack",
    "anode-life",
    "anode-current",
    "charge-at-deployment",
    "spares",
    "weather-window",
    "heave-overload",
    "listening-share",
    "listening-gap",
    "calibration-age",
    "attested",
    "rehearsed",
];

pub(crate) const REQUIREMENT: Section = Section {
    name: "a requirement",
    doc: "A sentence of the plan that must hold.",
    part: None,
    fields: &[
        r("that", S::Choice(THAT), "what it is about"),
        o(
            "must",
            S::Choice(&["shall", "should"]),
            "how binding; shall when not written",
        ),
        o("source", S::Text, "permit, clause or document"),
        o(
            "of",
            S::Reference(&[
                R::Module,
                R::Supply,
                R::Span,
                R::Section,
                R::Anchor,
                R::Uplink,
                R::Storage,
                R::Detector,
                R::Sensor,
                R::Output,
                R::Metal,
            ]),
            "what it is about; each when not written",
        ),
        o(
            "from",
            S::Reference(&[R::Notice, R::Vote]),
            "of a delay: the notice or the vote that is acted on; time counts from the sound at the hydrophone",
        ),
        o(
            "to",
            S::Reference(&[R::Output, R::Module, R::Uplink]),
            "of a delay: where it ends",
        ),
        o(
            "call",
            S::Reference(&[R::Call]),
            "of `detection-range` and `encounter`: the call that is to be found",
        ),
        o(
            "calls",
            S::Count(1, 10_000),
            "of `encounter`: how many calls one encounter has, of which one is to be found",
        ),
        o(
            "correlation",
            S::Amount(D::Ratio, SHARE),
            "of `encounter`: share of the variance of one call that is common to those of an encounter; 0 % where each is found or missed by itself",
        ),
        o(
            "topic",
            S::Topic,
            "of `message-loss`: the topic; each when not written",
        ),
        o("at_least", S::Limit, "lower limit"),
        o("at_most", S::Limit, "upper limit"),
        o(
            "attested",
            S::Table(&ATTESTED),
            "of `attested`: the document that says so; unknown while none is written",
        ),
        o(
            "measured",
            S::Table(&MEASURED),
            "what was measured of one thing; it counts beside what is calculated, or decides",
        ),
        o(
            "hydrophones",
            S::Count(1, 10_000),
            "of `listening-share` and `listening-gap`: how many of the line's hydrophones must hear at once; each by itself when not written",
        ),
        o(
            "cues",
            S::Text,
            "of `rehearsed`: the cue sheet, relative to the plan's folder",
        ),
        o(
            "labels",
            S::Text,
            "of `recall` and `false-alarms`: the file of labels, relative to the plan's folder",
        ),
        o(
            "share",
            S::Amount(D::Ratio, POSITIVE_SHARE),
            "of `delay`: share of cases in which it must hold, all when not written; of `uplink-wait`: share of the messages of the worst month; of `outage-hours`, `lowest-charge`, `listening-share` and `listening-gap`: share of years; of `uplink-cost`: share of months, by the events that are expected, all by what is declared at most when not written; of `detection-range`: share of calls at that range that are found; of `encounter`: share of encounters at that range of which some call is found; of `on-station`: share of such layings and fixes",
        ),
        o(
            "confidence",
            S::Amount(D::Ratio, POSITIVE_SHARE),
            "of `outage-hours`, `lowest-charge`, `listening-share` and `listening-gap`: confidence with which the share of years must be shown; of `recall` and `false-alarms`: that of the two-sided limits; 95 % when not written",
        ),
        o(
            "laying_error",
            S::Amount(D::Length, NOT_NEGATIVE),
            "of `on-station`: circle about its place in which the anchor comes to lie, with 95 %",
        ),
        o(
            "fix_error",
            S::Amount(D::Length, NOT_NEGATIVE),
            "of `on-station`: circle in which 95 % of position fixes lie; 0 m where the buoy itself counts and not what its fixes say",
        ),
        o(
            "share_of_draws",
            S::Amount(D::Ratio, POSITIVE_SHARE),
            "share of the draws of `soundline check --certainty` in which it must be met, shown with 95 % confidence, one-sided; unknown until they lie beside the plan",
        ),
        o(
            "in",
            S::Text,
            "of a detection range, also of an encounter: in how many hours of each month of the deployment it must hold, as `90 % of hours`; at the mean wind of each month when not written",
        ),
        o(
            "when_wind_at_most",
            S::Amount(D::Speed, WIND),
            "only when the wind is at most this",
        ),
    ],
};

const ATTESTED: Section = Section {
    name: "an attestation",
    doc: "What a document says and who stands for it: a permit, a review, a certificate.",
    part: None,
    fields: &[
        r("document", S::Text, "its name or number"),
        r("by", S::Text, "who gave it"),
        r("date", S::Date, "when it was given"),
        o(
            "expires",
            S::Date,
            "when it ceases to hold, a date alone at its beginning; never when not written",
        ),
    ],
};

const MEASURED: Section = Section {
    name: "a measured value",
    doc: "What was measured of that which a requirement asks, by whom, and where it is written down.",
    part: None,
    fields: &[
        r("value", S::Limit, "the value, in a unit of the limit"),
        o(
            "uncertainty",
            S::Limit,
            "its uncertainty (k = 2), which counts against it; none is counted when not written",
        ),
        r("by", S::Text, "who measured it"),
        r("date", S::Date, "when"),
        r("document", S::Text, "where it is written down"),
        o(
            "decides",
            S::Flag,
            "whether it decides in place of the calculation; when not written both count, and the worse decides. Not of on-station, highest-voltage, module-depth, watch-circle and line-tension, of which one reading is not all",
        ),
    ],
};
