//! Spares.

use quantity::Dimension as D;

use crate::field::{RefKind as R, Section, Shape as S, between, optional as o, required as r};

pub(crate) const SPARE: Section = Section {
    name: "spares",
    doc: "What is aboard in place of what does not work when it comes out of its crate.",
    part: None,
    fields: &[
        r(
            "of",
            S::Reference(&[R::Part, R::Module, R::Span]),
            "the catalogue part of modules or spans, all of which share these; or a module or span without a part",
        ),
        r("carried", S::Count(0, 10_000), "how many are aboard"),
        o(
            "dead_on_deck",
            S::Amount(D::Ratio, between(0.0, 0.9, "from 0 % to 90 %")),
            "chance that one does not work; that of the deployment when not written",
        ),
    ],
};
