//! Metals in the water and the anodes that protect them.

use quantity::Dimension as D;

use crate::field::{
    POSITIVE, POSITIVE_SHARE, RefKind as R, Section, Shape as S, optional as o, required as r,
};

/// Metals by the names of the trade, the noblest first, and what acts as one.
pub const METALS: &[&str] = &[
    "graphite",
    "carbon-fibre",
    "nickel-chromium-molybdenum",
    "titanium",
    "stainless-316",
    "stainless-304",
    "nickel-copper",
    "silver",
    "nickel",
    "nickel-aluminium-bronze",
    "copper-nickel-70-30",
    "copper-nickel-90-10",
    "bronze",
    "copper",
    "tin",
    "brass",
    "low-alloy-steel",
    "mild-steel",
    "cast-iron",
    "aluminium",
    "galvanised-steel",
    "zinc",
    "magnesium",
];

pub(crate) const METAL: Section = Section {
    name: "a metal in the water",
    doc: "Something of metal that the sea wets: a housing, a frame, a shackle, a chain, a clump.",
    part: None,
    fields: &[
        o(
            "of",
            S::Reference(&[R::Module, R::Section, R::Anchor, R::Float, R::Weight]),
            "what of the line it belongs to",
        ),
        o("metal", S::Choice(METALS), "what it is made of"),
        o(
            "area",
            S::Amount(D::Area, POSITIVE),
            "its surface in the water, coated or not",
        ),
        o(
            "bare_share",
            S::Amount(D::Ratio, POSITIVE_SHARE),
            "how much of that is bare, where a coating has worn as well; all of it when not written",
        ),
        o(
            "current_density",
            S::Amount(D::CurrentDensity, POSITIVE),
            "mean current that a square metre of it takes, bare, while anodes protect it",
        ),
        o(
            "first_current_density",
            S::Amount(D::CurrentDensity, POSITIVE),
            "the same at the beginning, until it is protected",
        ),
        o(
            "last_current_density",
            S::Amount(D::CurrentDensity, POSITIVE),
            "the same at the end, to protect it anew after it has lost its protection",
        ),
        o(
            "touches",
            S::References(&[R::Metal], 1),
            "metals that it touches, or that a wire joins to it, once from either side; what plastic parts is not one of them",
        ),
    ],
};

pub(crate) const ANODE: Section = Section {
    name: "an anode",
    doc: "Metal that is eaten in place of what it is fixed to, and of all that this touches.",
    part: None,
    fields: &[
        r(
            "on",
            S::Reference(&[R::Metal]),
            "the metal that it is fixed to",
        ),
        r(
            "metal",
            S::Choice(&["aluminium", "zinc"]),
            "what it is made of",
        ),
        r(
            "mass",
            S::Amount(D::Mass, POSITIVE),
            "its mass, without its core",
        ),
        o(
            "usable_share",
            S::Amount(D::Ratio, POSITIVE_SHARE),
            "how much of it is used up before it no longer works, by its form",
        ),
        o(
            "capacity",
            S::Amount(D::ChargePerMass, POSITIVE),
            "charge that a kilogram gives; the design value of its metal in water or mud when not written",
        ),
        o(
            "form",
            S::Table(&ANODE_FORM),
            "its form and sizes, by which it gives its current",
        ),
        o(
            "resistivity",
            S::Amount(D::Resistivity, POSITIVE),
            "resistivity of the water or mud about it",
        ),
        o(
            "about",
            S::Choice(&["water", "mud"]),
            "what is about it: its potential and its capacity are others in mud",
        ),
    ],
};

const ANODE_FORM: Section = Section {
    name: "the form of an anode",
    doc: "A bar that stands off what it protects, a plate or bar that lies on it, or a ring about it, with the sizes that this form has.",
    part: None,
    fields: &[
        r(
            "kind",
            S::Choice(&["slender", "flat", "bracelet"]),
            "a bar that stands off, a plate or bar that lies flat, a ring about a housing or a chain",
        ),
        o(
            "length",
            S::Amount(D::Length, POSITIVE),
            "of `slender` and `flat`: its length",
        ),
        o(
            "girth",
            S::Amount(D::Length, POSITIVE),
            "of `slender`: around its cross-section",
        ),
        o(
            "core",
            S::Amount(D::Length, POSITIVE),
            "of `slender`: diameter of its core; none when not written",
        ),
        o(
            "stands_off",
            S::Amount(D::Length, POSITIVE),
            "of `slender`: distance from it to what it protects",
        ),
        o(
            "width",
            S::Amount(D::Length, POSITIVE),
            "of `flat`: its width, no more than its length",
        ),
        o(
            "thickness",
            S::Amount(D::Length, POSITIVE),
            "of `flat`: its thickness",
        ),
        o(
            "outer_area",
            S::Amount(D::Area, POSITIVE),
            "of `bracelet`: the area that the water wets when it is new",
        ),
        o(
            "inner_area",
            S::Amount(D::Area, POSITIVE),
            "of `bracelet`: the area that faces what it protects",
        ),
    ],
};
