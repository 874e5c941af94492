//! Modules and their outputs.

use quantity::Dimension as D;

use super::mooring::{OUTSIDE, POSITION};
use super::recovery::DRIFT_ALARM;
use super::sensor::SENSOR;
use super::sync::CLOCK;
use crate::field::{
    ANY, NOT_NEGATIVE, POSITIVE, RefKind as R, SHARE, Scale, Section, Shape as S, between,
    optional as o, required as r,
};

const PASS: &[&str] = &["always", "powered", "running", "never"];

const DUTY: Section = Section {
    name: "a share of a module's time",
    doc: "A state and the share of the time that it holds; the shares of a module add up to 100 %.",
    part: None,
    fields: &[
        r("state", S::Text, "the state, one of its loads"),
        r("share", S::Amount(D::Ratio, SHARE), "share of the time"),
    ],
};

pub(crate) const MODULE: Section = Section {
    name: "a module",
    doc: "A housing with a processor, sensors and outputs.",
    part: Some("module"),
    fields: &[
        o(
            "part",
            S::Reference(&[R::Part]),
            "catalogue part that fills what is not written here",
        ),
        r("position", S::Table(&POSITION), "where it hangs"),
        o(
            "lies_on_bed",
            S::Flag,
            "whether it is meant to lie on the bed in the usual design case; no when not written",
        ),
        o("input", S::Table(&INPUT), "power input"),
        o(
            "loads",
            S::KeyedLoads,
            "what it draws in each state, behind its converter",
        ),
        o(
            "starts_in",
            S::Text,
            "the state in which it works when nothing happens",
        ),
        o(
            "duty",
            S::Tables(&DUTY),
            "share of the time in each state when nothing happens; always in `starts_in` when not written",
        ),
        o("boot", S::Table(&BOOT), "boot time and power"),
        o(
            "wakes_after",
            S::Amount(D::Time, NOT_NEGATIVE),
            "how long after power comes on its input holds it off; needs a `lock_out`",
        ),
        o(
            "passes",
            S::Table(&PASSES),
            "what still goes through it when hung or dead",
        ),
        o("through", S::Table(&THROUGH), "what is in the path onwards"),
        o(
            "processing",
            S::Amount(D::Time, between(0.0, 60.0, "from 0 s to 60 s")),
            "time it adds to each message",
        ),
        o(
            "clock_error",
            S::Amount(D::Time, between(0.0, 60.0, "from 0 s to 60 s")),
            "how far its clock may be from the true time, 95 % of the time",
        ),
        o("clock", S::Table(&CLOCK), "how its own clock runs"),
        o(
            "heartbeat",
            S::Table(&HEARTBEAT),
            "a message that it sends at intervals as long as it works: who hears it knows of its silence",
        ),
        o(
            "processor",
            S::Table(&PROCESSOR),
            "what its processor can do for the detectors that it runs",
        ),
        o("housing", S::Table(&HOUSING), "pressure housing"),
        o("hull", S::Table(&HULL), "hull of a buoy at the surface"),
        o(
            "drift_alarm",
            S::Table(&DRIFT_ALARM),
            "of a buoy: told when its position fixes leave their circle",
        ),
        o("sensor", S::Keyed(&SENSOR), "sensors"),
        o("output", S::Keyed(&OUTPUT), "what it switches"),
    ],
};

const PROCESSOR: Section = Section {
    name: "a processor",
    doc: "What a processor can do for the detectors that it runs.",
    part: None,
    fields: &[
        r(
            "operations_per_s",
            S::Figure(Scale::Plain, between(1.0, 1.0e15, "from 1 to 1e15")),
            "additions and multiplications in a second that it has for detectors",
        ),
        o(
            "memory",
            S::Amount(D::DataSize, POSITIVE),
            "memory that it has for detectors",
        ),
        o(
            "energy_per_operation",
            S::Amount(D::Energy, POSITIVE),
            "energy that an operation takes, behind the module's converter",
        ),
    ],
};

const INPUT: Section = Section {
    name: "a power input",
    doc: "Power input of a module.",
    part: None,
    fields: &[
        r(
            "minimum",
            S::Amount(D::Voltage, POSITIVE),
            "lowest voltage at which it works",
        ),
        r(
            "maximum",
            S::Amount(D::Voltage, POSITIVE),
            "highest voltage it bears",
        ),
        o(
            "capacitance",
            S::Amount(D::Capacitance, NOT_NEGATIVE),
            "input capacitance",
        ),
        o(
            "efficiency",
            S::Figure(Scale::Share, between(0.01, 1.0, "from 0.01 to 1")),
            "efficiency of its converter",
        ),
        o(
            "standing",
            S::Amount(D::Power, NOT_NEGATIVE),
            "standing loss of its converter",
        ),
        o(
            "loss_per_watt",
            S::Amount(D::Ratio, SHARE),
            "further loss of its converter for each watt of output: a share of the output that grows with it",
        ),
        o(
            "efficiency_at",
            S::Tables(&EFFICIENCY_AT),
            "efficiency of its converter by output power, all losses in it; instead of `efficiency`, `standing` and `loss_per_watt`",
        ),
        o(
            "lock_out",
            S::Table(&LOCK_OUT),
            "under-voltage lock-out; without one it starts at any voltage",
        ),
    ],
};

const EFFICIENCY_AT: Section = Section {
    name: "an efficiency at an output",
    doc: "Efficiency of a converter at an output power; straight lines of input power between, and none is known beyond the ends.",
    part: None,
    fields: &[
        r("output", S::Amount(D::Power, POSITIVE), "output power"),
        r(
            "efficiency",
            S::Figure(Scale::Share, between(0.01, 1.0, "from 0.01 to 1")),
            "efficiency",
        ),
    ],
};

const LOCK_OUT: Section = Section {
    name: "a lock-out",
    doc: "Under-voltage lock-out of a power input, with its hysteresis.",
    part: None,
    fields: &[
        r(
            "on",
            S::Amount(D::Voltage, POSITIVE),
            "voltage at which it switches on",
        ),
        r(
            "off",
            S::Amount(D::Voltage, POSITIVE),
            "voltage below which it switches off",
        ),
    ],
};

const BOOT: Section = Section {
    name: "a boot",
    doc: "Boot time and power.",
    part: None,
    fields: &[
        r(
            "time",
            S::Amount(D::Time, NOT_NEGATIVE),
            "time from power to work",
        ),
        r(
            "power",
            S::Amount(D::Power, NOT_NEGATIVE),
            "power meanwhile",
        ),
    ],
};

const PASSES: Section = Section {
    name: "a pass",
    doc: "What still goes through a module.",
    part: None,
    fields: &[
        r("power", S::Choice(PASS), "when power passes"),
        r("data", S::Choice(PASS), "when data passes"),
    ],
};

const HEARTBEAT: Section = Section {
    name: "a heartbeat",
    doc: "A message that a module sends at intervals as long as it works, as a behaviour `heartbeat-ID` of its own would.",
    part: None,
    fields: &[
        r("topic", S::Topic, "the topic of the message"),
        r(
            "every",
            S::Amount(D::Time, POSITIVE),
            "from one message to the next",
        ),
        o(
            "by",
            S::Reference(&[R::Uplink]),
            "an uplink of the module by which the message goes ashore too; it tells there as well of which modules the heartbeats stay out that this module hears",
        ),
        o(
            "levels",
            S::References(&[R::Sensor], 1),
            "hydrophones whose level of the sea the message holds, by which one that is deaf is told from a quiet sea; of another module as its own heartbeat has told them. None when not written",
        ),
    ],
};

const THROUGH: Section = Section {
    name: "a way through",
    doc: "Fuse, inductors, diode in the path onwards.",
    part: None,
    fields: &[r(
        "resistance",
        S::Amount(D::Resistance, NOT_NEGATIVE),
        "resistance in the path onwards",
    )],
};

pub(crate) const HOUSING: Section = Section {
    name: "a housing",
    doc: "Pressure housing of a module.",
    part: Some("housing"),
    fields: &[
        o(
            "part",
            S::Reference(&[R::Part]),
            "catalogue part that fills what is not written here",
        ),
        o("rated_depth", S::Amount(D::Length, POSITIVE), "rated depth"),
        o(
            "weight_in_water",
            S::Amount(D::Force, ANY),
            "weight in water; negative floats",
        ),
        o(
            "cd_a",
            S::Amount(D::Area, NOT_NEGATIVE),
            "drag coefficient times area",
        ),
        o(
            "added_length",
            S::Amount(D::Length, NOT_NEGATIVE),
            "by how much it makes the section longer that it is let into; nothing when clamped beside it",
        ),
        o(
            "outside",
            S::Table(&OUTSIDE),
            "outer size, for what grows on it",
        ),
        o(
            "flooding_adds",
            S::Amount(D::Force, NOT_NEGATIVE),
            "weight in water that it gains when it floods; 0 N for one that cannot",
        ),
    ],
};

const HULL: Section = Section {
    name: "a hull",
    doc: "Hull of a buoy at the surface, with straight sides.",
    part: None,
    fields: &[
        o(
            "weight",
            S::Amount(D::Force, POSITIVE),
            "weight in air with all that is on board",
        ),
        o(
            "waterplane",
            S::Amount(D::Area, POSITIVE),
            "area at the water line",
        ),
        o(
            "full_draught",
            S::Amount(D::Length, POSITIVE),
            "draught at which it goes under",
        ),
        o(
            "cd_a_water",
            S::Amount(D::Area, NOT_NEGATIVE),
            "drag coefficient times area in the water at full draught; in proportion at less",
        ),
        o(
            "cd_a_wind",
            S::Amount(D::Area, NOT_NEGATIVE),
            "drag coefficient times area in the wind",
        ),
        o(
            "flooding_adds",
            S::Amount(D::Force, NOT_NEGATIVE),
            "buoyancy that it loses when its largest chamber floods; 0 N for one that cannot",
        ),
    ],
};

const OUTPUT: Section = Section {
    name: "an output",
    doc: "Something a module switches.",
    part: None,
    fields: &[
        r(
            "kind",
            S::Choice(&["lamp", "relay", "sounder"]),
            "what it is",
        ),
        o("power", S::Amount(D::Power, NOT_NEGATIVE), "power while on"),
        o(
            "starts",
            S::Choice(&["off", "on"]),
            "at start; off when not written",
        ),
        o(
            "fail_safe",
            S::Choice(&["off", "on"]),
            "the state that warns, or harms nobody, when the line can no longer ask for the other",
        ),
        o(
            "fails_safe_within",
            S::Amount(D::Time, POSITIVE),
            "how long after the last heartbeat of a module that may ask for it, or before the first one after its own module has begun to work, that module switches it to `fail_safe` by itself; never when not written. Where it hears no such heartbeat at all it runs out once, and the output stays in `fail_safe`",
        ),
    ],
};
