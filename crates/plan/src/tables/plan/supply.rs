//! Supplies.

use quantity::Dimension as D;

use super::bounds::{SLIP, TURN};
use crate::field::{
    Bounds, NOT_NEGATIVE, POSITIVE, POSITIVE_SHARE, RefKind as R, SHARE, Section, Shape as S,
    between, degrees, optional as o, required as r,
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
        o(
            "standing",
            S::Amount(D::Power, NOT_NEGATIVE),
            "what charge controller and supply draw themselves, at the battery",
        ),
        o("panels", S::Table(&PANELS), "solar panels"),
        o(
            "charger",
            S::Table(&CHARGER),
            "what the charge controller needs before it charges",
        ),
        o("battery", S::Table(&BATTERY), "battery"),
        o(
            "hold",
            S::Table(&HOLD),
            "time between the last charge ashore and the planned start, panels covered; full at the start when not written",
        ),
    ],
};

const HOLD: Section = Section {
    name: "a time in the hold",
    doc: "What a battery loses before it is deployed. A late start lies longer.",
    part: None,
    fields: &[
        r(
            "lasts",
            S::Amount(D::Time, SLIP),
            "from the last full charge to the planned start",
        ),
        r(
            "draws",
            S::Amount(D::Power, NOT_NEGATIVE),
            "what is drawn from the battery meanwhile: controller, clocks, protection",
        ),
        o(
            "self_discharge",
            S::Amount(D::Ratio, between(0.0, 0.5, "from 0 % to 50 %")),
            "share of its content that it loses by itself in a month of 730 h; that of its chemistry when not written",
        ),
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
            "highest",
            S::Amount(D::Voltage, between(0.1, 20_000.0, "from 0.1 V to 20 kV")),
            "highest voltage that it ever gives, with nothing drawn: of a battery while it is charged, of a regulator at its upper tolerance; `voltage` with its spread when not written",
        ),
        o(
            "current_limit",
            S::Amount(D::Current, POSITIVE),
            "current limit",
        ),
        o(
            "pole",
            S::Choice(&["floating", "earthed"]),
            "whether one conductor of the line is connected to the water",
        ),
    ],
};

const CHARGER: Section = Section {
    name: "a charge controller",
    doc: "What a charge controller needs before it charges.",
    part: None,
    fields: &[
        r(
            "starts_on",
            S::Choice(&["battery", "panels"]),
            "what it takes its own supply from: the battery, so that one whose protection has opened keeps it dark, or the panels alone",
        ),
        o(
            "from",
            S::Amount(D::Voltage, POSITIVE),
            "lowest battery voltage from which it charges",
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
        o(
            "azimuth",
            S::Amount(D::Angle, TURN),
            "direction that all panels face, from north; without it the buoy turns freely",
        ),
        o(
            "loss_per_kelvin",
            S::Amount(D::Ratio, between(0.0, 0.02, "from 0 % to 2 %")),
            "share of the power lost for each kelvin of cell temperature above 25 degC",
        ),
        o("dirt", S::Table(&DIRT), "light lost to dirt, by month"),
    ],
};

const DIRT: Section = Section {
    name: "dirt on panels",
    doc: "Share of the light that each kind of dirt takes, month by month; what is left is multiplied.",
    part: None,
    fields: &[
        o(
            "birds",
            MONTHLY_SHARES,
            "droppings, each month from January",
        ),
        o(
            "salt",
            MONTHLY_SHARES,
            "dried spray, each month from January",
        ),
        o("growth", MONTHLY_SHARES, "growth, each month from January"),
    ],
};

const MONTHS: usize = 12;

const MONTHLY_SHARES: S = S::Amounts(D::Ratio, SHARE, MONTHS, MONTHS);

const BATTERY: Section = Section {
    name: "a battery",
    doc: "Battery of a supply. What is not written of its cells comes from the chemistry, and is listed as assumed.",
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
        o(
            "usable",
            S::Tables(&USABLE),
            "share of the capacity that can be drawn, by temperature",
        ),
        o(
            "charge_efficiency",
            S::Amount(D::Ratio, POSITIVE_SHARE),
            "share of the energy offered that gets into the cells",
        ),
        o(
            "discharge_efficiency",
            S::Amount(D::Ratio, POSITIVE_SHARE),
            "share of the energy drawn from the cells that arrives",
        ),
        o(
            "self_discharge_per_month",
            S::Amount(D::Ratio, between(0.0, 0.99, "from 0 % to 99 %")),
            "share of the content lost in a month by itself",
        ),
        o(
            "loss_per_year",
            S::Amount(D::Ratio, SHARE),
            "share of the new capacity lost in a year of service",
        ),
        o(
            "disconnect_at",
            S::Amount(D::Ratio, SHARE),
            "usable state of charge at which the load is taken off",
        ),
        o(
            "reconnect_at",
            S::Amount(D::Ratio, SHARE),
            "usable state of charge at which the load comes back; above `disconnect_at`",
        ),
        o(
            "disconnect_voltage",
            S::Amount(D::Voltage, POSITIVE),
            "in place of `disconnect_at`: voltage at its terminals, under load, below which the load is taken off",
        ),
        o(
            "reconnect_voltage",
            S::Amount(D::Voltage, POSITIVE),
            "voltage at its terminals at which the load comes back; above `disconnect_voltage`",
        ),
        o(
            "disconnect_after",
            S::Amount(D::Time, NOT_NEGATIVE),
            "how long its terminals are below `disconnect_voltage` before the load is taken off; at once when not written",
        ),
        o(
            "reconnect_after",
            S::Amount(D::Time, NOT_NEGATIVE),
            "how long its terminals are at `reconnect_voltage` before the load comes back; at once when not written",
        ),
        o(
            "resistance",
            S::Amount(D::Resistance, NOT_NEGATIVE),
            "of its cells, leads and fuse together",
        ),
        o(
            "open_voltage",
            S::Tables(&OPEN_VOLTAGE),
            "voltage at rest without supply current, by state of charge, from 0 % to 100 %; straight lines between",
        ),
        o(
            "protection",
            S::Table(&PROTECTION),
            "what the protection of its cells does when they are empty",
        ),
        o(
            "charge_from",
            S::Amount(D::Temperature, CELL),
            "lowest temperature at which it may be charged",
        ),
        o(
            "charge_to",
            S::Amount(D::Temperature, CELL),
            "highest temperature at which it may be charged",
        ),
        o(
            "charge_rate",
            S::Amount(D::Ratio, between(1.0e-3, 10.0, "from 0.1 % to 1000 %")),
            "highest charging power: share of the capacity in an hour",
        ),
        o(
            "tapers_from",
            S::Amount(D::Ratio, SHARE),
            "state of charge from which the charging power falls",
        ),
        o(
            "tapers_to",
            S::Amount(D::Ratio, SHARE),
            "share of the charging power left at full",
        ),
        o(
            "temperature",
            S::Amounts(D::Temperature, CELL, MONTHS, MONTHS),
            "temperature of the cells in each month from January; that of the water where the supply sits when not written",
        ),
        o(
            "capacity_at",
            S::Tables(&CAPACITY_AT),
            "of primary cells: what the whole battery gives at a steady current",
        ),
    ],
};

const CELL: Bounds = between(-60.0, 80.0, "from -60 degC to 80 degC");

const USABLE: Section = Section {
    name: "a usable share",
    doc: "Share of the capacity that can be drawn at a temperature; straight lines between.",
    part: None,
    fields: &[
        r(
            "temperature",
            S::Amount(D::Temperature, CELL),
            "temperature",
        ),
        r(
            "share",
            S::Amount(D::Ratio, POSITIVE_SHARE),
            "share of the capacity",
        ),
    ],
};

const OPEN_VOLTAGE: Section = Section {
    name: "a voltage at rest",
    doc: "Voltage of the battery at rest at a state of charge.",
    part: None,
    fields: &[
        r("charge", S::Amount(D::Ratio, SHARE), "state of charge"),
        r("voltage", S::Amount(D::Voltage, POSITIVE), "voltage"),
    ],
};

const PROTECTION: Section = Section {
    name: "a protection of cells",
    doc: "What takes the whole battery off, load and charger, before its cells are harmed.",
    part: None,
    fields: &[
        r(
            "cuts_off",
            S::Amount(D::Voltage, POSITIVE),
            "voltage of the battery at which it opens",
        ),
        o(
            "wakes",
            S::Choice(&["by-charge", "by-hand"]),
            "what closes it again: a charger's voltage at its terminals, or a person",
        ),
    ],
};

const CAPACITY_AT: Section = Section {
    name: "a capacity at a current",
    doc: "Capacity of the whole battery at a steady current.",
    part: None,
    fields: &[
        r(
            "current",
            S::Amount(D::Current, POSITIVE),
            "steady supply current",
        ),
        r("capacity", S::Amount(D::Charge, POSITIVE), "capacity"),
    ],
};
