//! Spans.

use quantity::Dimension as D;

use super::link::OF_A_SPAN;
use crate::field::{
    Bounds, Field, NOT_NEGATIVE, POSITIVE, RefKind as R, Section, Shape as S, between, joined,
    optional as o, required as r,
};

pub(crate) const SPAN: Section = Section {
    name: "a span",
    doc: "An electrical cable between two modules, with a conductor, a link, or both.",
    part: Some("span"),
    fields: &joined::<21>(OF_A_CABLE, OF_A_SPAN),
};

/// The equator is 40 000 km long.
const CABLE: Bounds = between(
    f64::MIN_POSITIVE,
    4.0e7,
    "more than zero and at most 40000 km",
);

const OF_A_CABLE: &[Field] = &[
    o(
        "part",
        S::Reference(&[R::Part]),
        "catalogue part that fills what is not written here",
    ),
    r("from", S::Reference(&[R::Module]), "one end"),
    r("to", S::Reference(&[R::Module]), "other end"),
    o(
        "length",
        S::Amount(D::Length, CABLE),
        "length; by default the distance along the sections times (1 + slack)",
    ),
    o(
        "slack",
        S::Amount(D::Ratio, between(0.0, 10.0, "from 0 % to 1000 %")),
        "extra length over the distance along the sections",
    ),
    o(
        "conductor",
        S::Conductor,
        "conductor; a span without one carries no power",
    ),
    o("contacts", S::Table(&CONTACTS), "mated contacts"),
    o(
        "rated_current",
        S::Amount(D::Current, POSITIVE),
        "highest supply current that its conductors and contacts bear",
    ),
    o(
        "fuse",
        S::Amount(D::Current, POSITIVE),
        "rating of the fuse at its end nearer to a supply",
    ),
    o(
        "insulation_1km",
        S::Amount(D::Resistance, POSITIVE),
        "insulation resistance of one kilometre of each conductor against the water, at 20 degC",
    ),
    o(
        "insulation",
        S::Table(&INSULATION),
        "insulation of each conductor of the leg, with its contacts, against the water; in place of `insulation_1km`",
    ),
    o(
        "heat",
        S::Table(&HEAT),
        "what its own loss warms: layers of the cable and what lies round it",
    ),
];

const INSULATION: Section = Section {
    name: "an insulation",
    doc: "What a reading of the leg after a minute showed, or has to show to be accepted: 100 Mohm new and 10 Mohm after a soak in salt water are common practice.",
    part: None,
    fields: &[
        o(
            "measured",
            S::Amount(D::Resistance, POSITIVE),
            "what was read",
        ),
        o(
            "accepted",
            S::Amount(D::Resistance, POSITIVE),
            "in place of `measured`: the least that is accepted, before anything was read",
        ),
        r(
            "temperature",
            S::Amount(
                D::Temperature,
                between(-50.0, 150.0, "from -50 degC to 150 degC"),
            ),
            "temperature at the reading; warmer by 10 degC it is half (common practice)",
        ),
        o(
            "length",
            S::Amount(D::Length, CABLE),
            "length that was read; that of the span when not written",
        ),
    ],
};

/// Insulations whose thermal resistivity a table gives.
const INSULATIONS: &[&str] = &["polyethylene", "pvc", "epr", "silicone"];

const HEAT: Section = Section {
    name: "a cable that warms itself",
    doc: "Diameters of a cable with two round cores in one jacket, and what lies round it.",
    part: None,
    fields: &[
        r(
            "lies_in",
            S::Choice(&["water", "sediment", "air"]),
            "what lies round it; on a drum no formula holds",
        ),
        r("core", DIAMETER, "diameter of a core's conductor"),
        r(
            "insulated",
            DIAMETER,
            "diameter of a core over its insulation",
        ),
        r("under_jacket", DIAMETER, "diameter under the jacket"),
        r("outer", DIAMETER, "outer diameter"),
        r("insulation", S::Choice(INSULATIONS), "insulation of a core"),
        r("jacket", S::Choice(INSULATIONS), "jacket"),
        o(
            "buried",
            S::Amount(D::Length, POSITIVE),
            "depth of its axis in the sediment",
        ),
        o(
            "sediment",
            S::Amount(
                D::ThermalResistivity,
                between(0.1, 10.0, "from 0.1 K.m/W to 10 K.m/W"),
            ),
            "thermal resistivity of the sediment",
        ),
    ],
};

const DIAMETER: S = S::Amount(D::Length, between(1.0e-4, 1.0, "from 0.1 mm to 1 m"));

const PIN: Section = Section {
    name: "a pin",
    doc: "A round pin of a contact.",
    part: None,
    fields: &[
        r(
            "metal",
            S::Choice(&["copper", "nickel", "silver", "iron"]),
            "metal under whatever thin plating it has; copper for its alloys",
        ),
        r("diameter", DIAMETER, "diameter"),
        r("length", DIAMETER, "length"),
    ],
};

const CONTACTS: Section = Section {
    name: "contacts",
    doc: "Mated pins in the loop of a span.",
    part: None,
    fields: &[
        r(
            "mated_pins_in_loop",
            S::Count(0, 64),
            "mated pins that the current passes, go and return",
        ),
        r(
            "resistance",
            S::Amount(D::Resistance, NOT_NEGATIVE),
            "resistance of each when new",
        ),
        o(
            "aged",
            S::Amount(D::Resistance, NOT_NEGATIVE),
            "resistance of each when aged",
        ),
        o(
            "pin",
            S::Table(&PIN),
            "the pin that a leak would eat: the one with least metal",
        ),
    ],
};
