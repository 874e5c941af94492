//! Votes of several detectors.

use quantity::Dimension as D;

use crate::field::{
    NOT_NEGATIVE, RefKind as R, Section, Shape as S, between, optional as o, required as r,
};

pub(crate) const VOTE: Section = Section {
    name: "a vote",
    doc: "Several detectors that must hear the same sound, within the time that it takes from one ear to the other.",
    part: None,
    fields: &[
        r(
            "on",
            S::Reference(&[R::Module]),
            "the module that counts: detectors of its own, and of modules that tell it by a topic when they have heard",
        ),
        r(
            "of",
            S::References(&[R::Detector], 2),
            "the detectors, two or more",
        ),
        r(
            "at_least",
            S::Count(2, 100),
            "how many of them must hear it",
        ),
        o(
            "within",
            S::Amount(D::Time, between(1e-6, 3600.0, "from 1 us to 1 h")),
            "longest time from the first that has heard it to the last; when not written, the way between the ears at the lowest sound speed of the profile, and one value of each detector",
        ),
        r(
            "hold_off",
            S::Amount(D::Time, NOT_NEGATIVE),
            "quiet time after a vote",
        ),
    ],
};
