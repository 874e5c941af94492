//! What cannot happen together.

use crate::field::{RefKind as R, Section, Shape as S, optional as o, required as r};

pub(crate) const EXCLUSIVE: Section = Section {
    name: "an exclusive group",
    doc: "States and outputs of which only so many hold at the same time: something outside the plan sees to it.",
    part: None,
    fields: &[
        r(
            "of",
            S::Tables(&EXCLUSIVE_MEMBER),
            "states and outputs, two or more",
        ),
        r(
            "at_most",
            S::Count(1, 1000),
            "how many of them hold at the same time",
        ),
    ],
};

pub(crate) const EXCLUSIVE_MEMBER: Section = Section {
    name: "a member of an exclusive group",
    doc: "A module in a state, or an output that is on.",
    part: None,
    fields: &[
        o("module", S::Reference(&[R::Module]), "the module"),
        o("state", S::Text, "its state, one of its loads"),
        o("output", S::Reference(&[R::Output]), "the output"),
    ],
};
