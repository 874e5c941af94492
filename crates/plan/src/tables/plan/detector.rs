//! Detectors and their stages.

use quantity::{Dimension as D, LevelKind as K, SECONDS_PER_DAY};

use super::bounds::{FREQUENCY, LEVEL};
use crate::field::{
    NOT_NEGATIVE, POSITIVE, RefKind as R, Section, Shape as S, between, optional as o,
    required as r,
};

pub(crate) const DETECTOR: Section = Section {
    name: "a detector",
    doc: "A named chain of stages from samples to events.",
    part: None,
    fields: &[
        r(
            "on",
            S::Reference(&[R::Sensor]),
            "the sensor it hears through",
        ),
        r(
            "stages",
            S::Tables(&STAGE),
            "stages in order; the last is a trigger",
        ),
        o(
            "expects",
            S::EventRate,
            "events that it is expected to tell, false ones among them: what the year's energy rests on",
        ),
    ],
};

/// Each stage has exactly one of the keys `band`, `level`, `background`, `pulses`, `on_above`, which says what it is.
pub(crate) const STAGE: Section = Section {
    name: "a stage",
    doc: "A stage of a detector: a band, a level, a background, pulses, or the trigger.",
    part: None,
    fields: &[
        o(
            "band",
            S::Amounts(D::Frequency, FREQUENCY, 2, 2),
            "band-pass: lower and upper corner",
        ),
        o(
            "order",
            S::Count(1, 8),
            "of the band: order of the low-pass prototype; 4 when not written",
        ),
        o(
            "level",
            S::Choice(&["rms", "exponential", "exposure"]),
            "which level is followed",
        ),
        o(
            "window",
            S::Amount(D::Time, between(1e-5, 3600.0, "from 10 us to 1 h")),
            "of the level: window or time constant",
        ),
        o(
            "background",
            S::Choice(&["median"]),
            "running background of the level",
        ),
        o(
            "over",
            S::Amount(D::Time, between(1e-3, SECONDS_PER_DAY, "from 1 ms to 1 d")),
            "of the background: over how long",
        ),
        o(
            "pulses",
            S::Choice(&["envelope"]),
            "train of pulses in the envelope",
        ),
        o(
            "rise",
            S::Level(&[K::Gain], between(0.1, 200.0, "from 0.1 dB to 200 dB")),
            "of the pulses: rise over the background",
        ),
        o(
            "least_interval",
            S::Amount(D::Time, POSITIVE),
            "of the pulses: shortest interval",
        ),
        o(
            "most_interval",
            S::Amount(D::Time, POSITIVE),
            "of the pulses: longest interval",
        ),
        o(
            "at_least",
            S::Count(1, 10_000),
            "of the pulses: how many make a train",
        ),
        o(
            "on_above",
            S::Level(&[K::Gain, K::Pressure, K::Exposure, K::InAir], LEVEL),
            "of the trigger: begins above",
        ),
        o(
            "off_below",
            S::Level(&[K::Gain, K::Pressure, K::Exposure, K::InAir], LEVEL),
            "of the trigger: ends below",
        ),
        o(
            "shortest",
            S::Amount(D::Time, NOT_NEGATIVE),
            "of the trigger: shortest event",
        ),
        o(
            "longest",
            S::Amount(D::Time, POSITIVE),
            "of the trigger: longest event",
        ),
        o(
            "hold_off",
            S::Amount(D::Time, NOT_NEGATIVE),
            "of the trigger or the pulses: quiet time after an event",
        ),
        o(
            "confirm",
            S::Choice(&["early", "at-end"]),
            "of the trigger: confirmed at the shortest length, or at the end once it is known not to be too long; early when not written",
        ),
    ],
};
