//! Remedies that a plan declares.

use crate::field::{Section, Shape as S, optional as o, required as r};

pub(crate) const REMEDY: Section = Section {
    name: "a remedy",
    doc: "What can be had instead of what one key says, and at what cost: `soundline remedy` tries these in place of steps of its own. It changes no verdict.",
    part: None,
    fields: &[
        r(
            "sets",
            S::Text,
            "the key that it sets, by its path: span.riser.conductor, detector.upcall.stages[2].hold_off (counted from 0), topic.\"alert/call\".at_most",
        ),
        r(
            "to",
            S::Tables(&CHOICE),
            "values that it may have, those first that change least",
        ),
    ],
};

const CHOICE: Section = Section {
    name: "a choice",
    doc: "A value that can be had.",
    part: None,
    fields: &[
        r("value", S::Text, "as the key is written, without quotes"),
        o("cost", S::Money, "what it costs"),
    ],
};
