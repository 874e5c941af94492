//! Supplies.

use quantity::Dimension as D;

use crate::field::{
    NOT_NEGATIVE, POSITIVE, RefKind as R, SHARE, Section, Shape as S, between, degrees,
    optional as o, required as r,
};

pub(crate) const SUPPLY: Section = Section {
    name: "a supply",
    doc: "Where power enters. A solar battery needs panels and a battery, primary cells need a battery.",
    part: None,
    fields: &[
        r(
            "at",
            S::Reference(&[R::Module]),
            "the module at which it sits",
        ),
        r(
            "kind",
            S::Choice(&["solar-battery", "bench", "vessel", "shore", "primary-cells"]),
            "kind of supply",
        ),
        r("output", S::Table(&SUPPLY_OUTPUT), "what it gives"),
        o("panels", S::Table(&PANELS), "solar panels"),
        o("battery", S::Table(&BATTERY), "battery"),
    ],
};

const SUPPLY_OUTPUT: Section = Section {
    name: "a supply's output",
    doc: "Voltage, source resistance and current limit.",
    part: None,
    fields: &[
        r(
            "voltage",
            S::Amount(D::Voltage, between(0.1, 20_000.0, "from 0.1 V to 20 kV")),
            "voltage without load",
        ),
        r(
            "resistance",
            S::Amount(D::Resistance, NOT_NEGATIVE),
            "source resistance",
        ),
        o(
            "current_limit",
            S::Amount(D::Current, POSITIVE),
            "current limit",
        ),
    ],
};

const PANELS: Section = Section {
    name: "solar panels",
    doc: "Panels on the faces of a buoy.",
    part: None,
    fields: &[
        r(
            "peak_power_each",
            S::Amount(D::Power, POSITIVE),
            "peak power of each panel",
        ),
        r(
            "faces",
            S::Count(1, 24),
            "faces round the buoy, one panel on each",
        ),
        r(
            "tilt",
            S::Amount(
                D::Angle,
                degrees(0.0, 90.0, "from 0 deg (flat) to 90 deg (upright)"),
            ),
            "tilt from horizontal",
        ),
        r(
            "loss",
            S::Amount(D::Ratio, SHARE),
            "wiring, soiling and conversion loss",
        ),
    ],
};

const BATTERY: Section = Section {
    name: "a battery",
    doc: "Battery of a supply.",
    part: None,
    fields: &[
        r(
            "chemistry",
            S::Choice(&["lifepo4", "agm", "primary-lithium", "alkaline"]),
            "chemistry",
        ),
        r("capacity", S::Amount(D::Charge, POSITIVE), "capacity"),
        r(
            "voltage",
            S::Amount(D::Voltage, POSITIVE),
            "nominal voltage",
        ),
    ],
};
