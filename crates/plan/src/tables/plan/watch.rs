//! Limits on the world that the line polices.

use quantity::{Dimension as D, LevelKind as K};

use super::bounds::{FREQUENCY, LEVEL};
use crate::field::{
    POSITIVE, RefKind as R, Scale, Section, Shape as S, between, optional as o, required as r,
};

pub(crate) const WATCH: Section = Section {
    name: "a watch",
    doc: "A limit on the world that the line polices, apart from what is asked of the line itself: a level that a sound may not pass at a distance from its source.",
    part: None,
    fields: &[
        r(
            "limit",
            S::Level(&[K::Exposure, K::Pressure], LEVEL),
            "the level that may not be passed there: of sound exposure, or rms",
        ),
        r(
            "at",
            S::Amount(D::Length, POSITIVE),
            "distance from the source at which it holds",
        ),
        o(
            "band",
            S::Amounts(D::Frequency, FREQUENCY, 2, 2),
            "band in which the limit counts",
        ),
        o(
            "lasts",
            S::Amount(D::Time, POSITIVE),
            "how long such a sound lasts",
        ),
        o("source", S::Text, "permit, clause or document"),
        o(
            "must",
            S::Choice(&["shall", "should"]),
            "how binding; shall when not written",
        ),
        r(
            "by",
            S::Reference(&[R::Detector]),
            "the detector that holds its level against a threshold",
        ),
        r(
            "hydrophone_at",
            S::Amount(D::Length, POSITIVE),
            "distance from the source to the hydrophone of the detector; its spread counts",
        ),
        o(
            "spreading",
            S::Figure(Scale::Plain, between(0.0, 60.0, "from 0 to 60")),
            "level that a tenfold distance takes between the two, dB: 20 is spherical, 10 cylindrical; its spread counts",
        ),
        o(
            "varies",
            S::Level(&[K::Gain], between(0.0, 60.0, "from 0 dB to 60 dB")),
            "by how much the level there and that at the hydrophone, corrected, differ besides, 95 % of the time: paths, directions, one sound and the next",
        ),
        o(
            "peak_above",
            S::Level(&[K::Gain], between(0.0, 80.0, "from 0 dB to 80 dB")),
            "by how much the zero-to-peak of such a sound lies above its level",
        ),
        r(
            "missed",
            S::Amount(D::Ratio, between(1.0e-6, 0.5, "from 0.0001 % to 50 %")),
            "share of the sounds that just reach the limit of which at most so many may be missed",
        ),
        o(
            "to",
            S::Reference(&[R::Output, R::Uplink]),
            "where it is told",
        ),
        o(
            "within",
            S::Amount(D::Time, POSITIVE),
            "time from the sound at the hydrophone to there, at most",
        ),
    ],
};
