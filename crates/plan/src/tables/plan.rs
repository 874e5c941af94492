//! The fields of a plan file.

use quantity::{Dimension as D, LevelKind as K};

use crate::field::{
    ANY, Bounds, NOT_NEGATIVE, POSITIVE, POSITIVE_SHARE, RefKind as R, SHARE, Section, Shape as S,
    between, degrees, optional as o, required as r,
};

pub(crate) const PLAN: Section = Section {
    name: "a plan",
    doc: "One deployment; everything is computed from it.",
    part: None,
    fields: &[
        r("format", S::Count(1, 1), "version of the plan format: 1"),
        o(
            "include",
            S::Texts,
            "catalogue files of parts, relative to the plan's folder",
        ),
        r("deployment", S::Table(&DEPLOYMENT), "name, dates and slips"),
        r("site", S::Table(&SITE), "the sea and the weather"),
        o("part", S::Parts, "catalogue parts"),
        o("anchor", S::Keyed(&ANCHOR), "weights on the seabed"),
        o("section", S::Keyed(&SECTION), "mechanical lengths"),
        r("supply", S::Keyed(&SUPPLY), "where power enters"),
        r("module", S::Keyed(&MODULE), "housings with a processor"),
        o("span", S::Keyed(&SPAN), "electrical cables between modules"),
        o(
            "detector",
            S::Keyed(&DETECTOR),
            "named chains of stages from samples to events",
        ),
        o(
            "traffic",
            S::Table(&TRAFFIC),
            "how messages are framed on the links",
        ),
        o("topic", S::KeyedTopics(&TOPIC), "what messages are about"),
        o(
            "behaviour",
            S::Keyed(&BEHAVIOUR),
            "what modules do when they hear, are told, or at intervals",
        ),
        o("uplink", S::Keyed(&UPLINK), "paid links ashore"),
        o("storage", S::Keyed(&STORAGE), "stores for recordings"),
        o("requirement", S::Keyed(&REQUIREMENT), "what must hold"),
    ],
};

/// A catalogue file: parts only.
pub(crate) const CATALOGUE: Section = Section {
    name: "a catalogue",
    doc: "Parts that plans may use.",
    part: None,
    fields: &[
        r(
            "format",
            S::Count(1, 1),
            "version of the catalogue format: 1",
        ),
        o(
            "include",
            S::Texts,
            "further catalogue files, relative to this file's folder",
        ),
        o("part", S::Parts, "catalogue parts"),
    ],
};

/// The sections that a part may fill, by the word after `is =`.
pub(crate) const PART_KINDS: &[&Section] = &[&ROPE, &MODULE, &SENSOR, &SPAN, &HOUSING];

const MONTHS: usize = 12;

const DEPLOYMENT: Section = Section {
    name: "a deployment",
    doc: "Name, dates and slips.",
    part: None,
    fields: &[
        r("name", S::Text, "name shown on every output"),
        r("start", S::Date, "planned start"),
        r(
            "duration",
            S::Amount(D::Time, POSITIVE),
            "planned time in the water",
        ),
        o(
            "start_slip",
            S::Amount(D::Time, NOT_NEGATIVE),
            "how much later the start may be",
        ),
        o(
            "recovery_slip",
            S::Amount(D::Time, NOT_NEGATIVE),
            "how much later the recovery may be",
        ),
    ],
};

const SITE: Section = Section {
    name: "a site",
    doc: "The sea and the weather.",
    part: None,
    fields: &[
        r("latitude", S::Amount(D::Angle, LATITUDE), "north positive"),
        r("longitude", S::Amount(D::Angle, LONGITUDE), "east positive"),
        r(
            "water_depth",
            S::Amount(D::Length, between(0.1, 11_000.0, "from 0.1 m to 11 km")),
            "depth of the seabed",
        ),
        r(
            "profile",
            S::Tables(&WATER),
            "temperature and salinity by depth",
        ),
        o("current", S::Tables(&FLOW), "water current by depth"),
        o(
            "wind",
            S::Amounts(D::Speed, WIND, MONTHS, MONTHS),
            "mean wind of each month from January",
        ),
        o(
            "clearness",
            S::Numbers(between(0.0, 1.0, "from 0 to 1"), MONTHS, MONTHS),
            "clearness index of each month from January",
        ),
        o(
            "shipping",
            S::Number(between(0.0, 1.0, "from 0 (no ships) to 1 (heavy traffic)")),
            "shipping activity",
        ),
        o(
            "ph",
            S::Number(between(7.0, 8.6, "from 7.0 to 8.6")),
            "acidity of the water",
        ),
        o(
            "spreading",
            S::Choice(&["spherical", "practical", "cylindrical", "transition"]),
            "how sound spreads: 20, 15 or 10 lg r, or 20 changing to 10 at `spreading_changes_at`",
        ),
        o(
            "spreading_changes_at",
            S::Amount(D::Length, between(1.0, 1.0e6, "from 1 m to 1000 km")),
            "range at which `transition` changes",
        ),
    ],
};

const LATITUDE: Bounds = degrees(-90.0, 90.0, "from -90 deg to 90 deg");
const LONGITUDE: Bounds = degrees(-180.0, 180.0, "from -180 deg to 180 deg");
pub(super) const TURN: Bounds = degrees(-360.0, 360.0, "from -360 deg to 360 deg");
pub(super) const WIND: Bounds = between(0.0, 90.0, "from 0 m/s to 90 m/s");
const DEPTH: Bounds = between(0.0, 11_000.0, "from 0 m to 11 km");
pub(super) const FREQUENCY: Bounds = between(1.0e-3, 1.0e7, "from 1 mHz to 10 MHz");
const LEVEL: Bounds = between(-300.0, 300.0, "from -300 dB to 300 dB");

const WATER: Section = Section {
    name: "a point of the profile",
    doc: "Temperature and salinity at a depth.",
    part: None,
    fields: &[
        r("depth", S::Amount(D::Length, DEPTH), "depth"),
        r(
            "temperature",
            S::Amount(
                D::Temperature,
                between(-2.0, 40.0, "from -2 degC to 40 degC"),
            ),
            "water temperature",
        ),
        r(
            "salinity",
            S::Number(between(0.0, 42.0, "from 0 to 42")),
            "practical salinity",
        ),
    ],
};

const FLOW: Section = Section {
    name: "a point of the water current",
    doc: "Water current at a depth.",
    part: None,
    fields: &[
        r("depth", S::Amount(D::Length, DEPTH), "depth"),
        r(
            "speed",
            S::Amount(D::Speed, between(0.0, 10.0, "from 0 m/s to 10 m/s")),
            "speed",
        ),
        o(
            "towards",
            S::Amount(D::Angle, TURN),
            "where the water moves to, from north",
        ),
    ],
};

const ANCHOR: Section = Section {
    name: "an anchor",
    doc: "A weight on the seabed.",
    part: None,
    fields: &[
        o(
            "weight_in_water",
            S::Amount(D::Force, POSITIVE),
            "weight in water",
        ),
        o(
            "holding",
            S::Amount(D::Force, POSITIVE),
            "horizontal holding",
        ),
    ],
};

const SECTION: Section = Section {
    name: "a section",
    doc: "A mechanical length: rope, chain or cable under tension.",
    part: None,
    fields: &[
        r("from", S::Reference(&[R::Module, R::Anchor]), "upper end"),
        r("to", S::Reference(&[R::Module, R::Anchor]), "lower end"),
        r(
            "length",
            S::Amount(D::Length, POSITIVE),
            "unstretched length",
        ),
        o("rope", S::Reference(&[R::Part]), "what it is made of"),
    ],
};

pub(crate) const ROPE: Section = Section {
    name: "a rope",
    doc: "Mechanical properties of a section.",
    part: Some("rope"),
    fields: &[
        o(
            "diameter",
            S::Amount(D::Length, between(1e-4, 1.0, "from 0.1 mm to 1 m")),
            "diameter",
        ),
        o(
            "weight_in_water",
            S::Amount(D::LinearWeight, ANY),
            "weight in water per length; negative floats",
        ),
        o(
            "stiffness",
            S::Amount(D::Stiffness, POSITIVE),
            "axial stiffness EA",
        ),
        o(
            "breaking_load",
            S::Amount(D::Force, POSITIVE),
            "breaking load",
        ),
    ],
};

const SUPPLY: Section = Section {
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

const PASS: &[&str] = &["always", "powered", "running", "never"];

const MODULE: Section = Section {
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
        o("boot", S::Table(&BOOT), "boot time and power"),
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
        o("housing", S::Table(&HOUSING), "pressure housing"),
        o("sensor", S::Keyed(&SENSOR), "sensors"),
        o("output", S::Keyed(&OUTPUT), "what it switches"),
    ],
};

const POSITION: Section = Section {
    name: "a position",
    doc: "On a section (with from_top or from_anchor), or at a depth.",
    part: None,
    fields: &[
        o(
            "section",
            S::Reference(&[R::Section]),
            "the section it is clamped to",
        ),
        o(
            "from_top",
            S::Amount(D::Length, NOT_NEGATIVE),
            "length from the section's upper end",
        ),
        o(
            "from_anchor",
            S::Amount(D::Length, NOT_NEGATIVE),
            "length from the section's lower end",
        ),
        o(
            "depth",
            S::Amount(D::Length, DEPTH),
            "depth, for a module that hangs on no section",
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
            S::Number(between(0.01, 1.0, "from 0.01 to 1")),
            "efficiency of its converter",
        ),
        o(
            "standing",
            S::Amount(D::Power, NOT_NEGATIVE),
            "standing loss of its converter",
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

const HOUSING: Section = Section {
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
    ],
};

const SENSOR: Section = Section {
    name: "a sensor",
    doc: "A hydrophone or another sensor of a module. Hydrophones and microphones need sensitivity, gain and adc.",
    part: Some("sensor"),
    fields: &[
        o(
            "part",
            S::Reference(&[R::Part]),
            "catalogue part that fills what is not written here",
        ),
        r(
            "kind",
            S::Choice(&[
                "hydrophone",
                "microphone",
                "temperature",
                "pressure",
                "conductivity",
            ]),
            "what it measures",
        ),
        o(
            "sensitivity",
            S::Level(&[K::Sensitivity, K::InAirSensitivity], LEVEL),
            "dB re 1 V/uPa, of a microphone dB re 1 V/Pa",
        ),
        o(
            "gain",
            S::Level(&[K::Gain], LEVEL),
            "gain ahead of the converter",
        ),
        o("adc", S::Table(&ADC), "converter"),
        o(
            "high_pass",
            S::Table(&HIGH_PASS),
            "high-pass ahead of the converter",
        ),
        o(
            "settles_in",
            S::Amount(D::Time, NOT_NEGATIVE),
            "time from power to usable samples",
        ),
        o("calibrated", S::Table(&CALIBRATED), "last calibration"),
        o(
            "self_noise",
            S::Tables(&SELF_NOISE),
            "noise of the chain at its input, by frequency",
        ),
    ],
};

const ADC: Section = Section {
    name: "a converter",
    doc: "From volts to counts.",
    part: None,
    fields: &[
        r(
            "full_scale",
            S::Amount(D::Voltage, POSITIVE),
            "peak voltage of full scale",
        ),
        r("bits", S::Count(8, 32), "width"),
        r(
            "rate",
            S::Amount(D::Frequency, between(1.0, 1.0e7, "from 1 Hz to 10 MHz")),
            "sample rate",
        ),
    ],
};

const HIGH_PASS: Section = Section {
    name: "a high-pass",
    doc: "High-pass ahead of the converter.",
    part: None,
    fields: &[
        r("corner", S::Amount(D::Frequency, FREQUENCY), "-3 dB corner"),
        r("poles", S::Count(1, 8), "poles"),
    ],
};

const CALIBRATED: Section = Section {
    name: "a calibration",
    doc: "When, by whom, how surely.",
    part: None,
    fields: &[
        r("date", S::Date, "when"),
        r("by", S::Text, "by whom or where"),
        o(
            "uncertainty",
            S::Level(&[K::Gain], between(0.0, 40.0, "from 0 dB to 40 dB")),
            "uncertainty (k = 2)",
        ),
    ],
};

const SELF_NOISE: Section = Section {
    name: "a point of self-noise",
    doc: "Noise of the chain at its input.",
    part: None,
    fields: &[
        r("frequency", S::Amount(D::Frequency, FREQUENCY), "frequency"),
        r(
            "level",
            S::Level(&[K::SpectralDensity], LEVEL),
            "spectral density",
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
    ],
};

const SPAN: Section = Section {
    name: "a span",
    doc: "An electrical cable between two modules, with a conductor, a link, or both.",
    part: Some("span"),
    fields: &[
        o(
            "part",
            S::Reference(&[R::Part]),
            "catalogue part that fills what is not written here",
        ),
        r("from", S::Reference(&[R::Module]), "one end"),
        r("to", S::Reference(&[R::Module]), "other end"),
        o(
            "length",
            S::Amount(D::Length, POSITIVE),
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
            "link",
            S::Choice(LINKS),
            "how data crosses it; a span without one carries no data",
        ),
        o(
            "link_rate",
            S::Amount(D::DataRate, between(1.0, 1.0e11, "from 1 b/s to 100 Gb/s")),
            "rate, where the standard leaves it open",
        ),
    ],
};

/// Links that are point to point and full duplex, by their open standard.
const LINKS: &[&str] = &["10BASE-T1L", "100BASE-T1", "100BASE-TX", "free"];

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
    ],
};

const DETECTOR: Section = Section {
    name: "a detector",
    doc: "A named chain of stages from samples to events.",
    part: None,
    fields: &[
        r(
            "on",
            S::Reference(&[R::Sensor]),
            "the sensor it hears through",
        ),
        r(
            "stages",
            S::Tables(&STAGE),
            "stages in order; the last is a trigger",
        ),
    ],
};

/// Each stage has exactly one of the keys `band`, `level`, `background`, `pulses`, `on_above`, which says what it is.
pub(crate) const STAGE: Section = Section {
    name: "a stage",
    doc: "A stage of a detector: a band, a level, a background, pulses, or the trigger.",
    part: None,
    fields: &[
        o(
            "band",
            S::Amounts(D::Frequency, FREQUENCY, 2, 2),
            "band-pass: lower and upper corner",
        ),
        o(
            "order",
            S::Count(1, 8),
            "of the band: order of the low-pass prototype; 4 when not written",
        ),
        o(
            "level",
            S::Choice(&["rms", "exponential", "exposure"]),
            "which level is followed",
        ),
        o(
            "window",
            S::Amount(D::Time, between(1e-5, 3600.0, "from 10 us to 1 h")),
            "of the level: window or time constant",
        ),
        o(
            "background",
            S::Choice(&["median"]),
            "running background of the level",
        ),
        o(
            "over",
            S::Amount(D::Time, between(1e-3, 86_400.0, "from 1 ms to 1 d")),
            "of the background: over how long",
        ),
        o(
            "pulses",
            S::Choice(&["envelope"]),
            "train of pulses in the envelope",
        ),
        o(
            "rise",
            S::Level(&[K::Gain], between(0.1, 200.0, "from 0.1 dB to 200 dB")),
            "of the pulses: rise over the background",
        ),
        o(
            "least_interval",
            S::Amount(D::Time, POSITIVE),
            "of the pulses: shortest interval",
        ),
        o(
            "most_interval",
            S::Amount(D::Time, POSITIVE),
            "of the pulses: longest interval",
        ),
        o(
            "at_least",
            S::Count(1, 10_000),
            "of the pulses: how many make a train",
        ),
        o(
            "on_above",
            S::Level(&[K::Gain, K::Pressure, K::Exposure, K::InAir], LEVEL),
            "of the trigger: begins above",
        ),
        o(
            "off_below",
            S::Level(&[K::Gain, K::Pressure, K::Exposure, K::InAir], LEVEL),
            "of the trigger: ends below",
        ),
        o(
            "shortest",
            S::Amount(D::Time, NOT_NEGATIVE),
            "of the trigger: shortest event",
        ),
        o(
            "longest",
            S::Amount(D::Time, POSITIVE),
            "of the trigger: longest event",
        ),
        o(
            "hold_off",
            S::Amount(D::Time, NOT_NEGATIVE),
            "of the trigger or the pulses: quiet time after an event",
        ),
        o(
            "confirm",
            S::Choice(&["early", "at-end"]),
            "of the trigger: confirmed at the shortest length, or at the end once it is known not to be too long; early when not written",
        ),
    ],
};

const TRAFFIC: Section = Section {
    name: "the traffic",
    doc: "How messages are framed on the links.",
    part: None,
    fields: &[
        r(
            "stack",
            S::Texts,
            "protocol layers from the wire upwards: ethernet, ipv4 or ipv6, udp",
        ),
        r(
            "packet",
            S::Amount(D::DataSize, between(1.0, 65_535.0, "from 1 B to 65535 B")),
            "largest piece of a message in one frame",
        ),
    ],
};

const TOPIC: Section = Section {
    name: "a topic",
    doc: "What a message is about. It has either fields or a size.",
    part: None,
    fields: &[
        o(
            "at_most",
            S::EventRate,
            "most messages in a time, enforced at run time",
        ),
        o(
            "priority",
            S::Count(0, 7),
            "0 goes first; 1 when not written",
        ),
        o("fields", S::Tables(&TOPIC_FIELD), "packed payload"),
        o(
            "size",
            S::Amount(D::DataSize, between(1.0, 1.0e9, "from 1 B to 1 GB")),
            "payload size, instead of fields",
        ),
    ],
};

const TOPIC_FIELD: Section = Section {
    name: "a field of a topic",
    doc: "A number on a grid (from, to, step), one of a list (values), a flag, or a time (time_bits, time_step).",
    part: None,
    fields: &[
        r("name", S::Text, "name"),
        o("unit", S::Text, "unit of a number"),
        o("from", S::Number(ANY), "lowest value"),
        o("to", S::Number(ANY), "highest value"),
        o("step", S::Number(POSITIVE), "step"),
        o("values", S::Texts, "the values of a list"),
        o("flag", S::Flag, "true for a yes-or-no field"),
        o("time_bits", S::Count(8, 64), "bits of a time stamp"),
        o(
            "time_step",
            S::Amount(D::Time, POSITIVE),
            "step of a time stamp",
        ),
    ],
};

const BEHAVIOUR: Section = Section {
    name: "a behaviour",
    doc: "What a module does when it has heard, been told, or at intervals: exactly one of when_heard, when_told, each.",
    part: None,
    fields: &[
        r(
            "on",
            S::Reference(&[R::Module]),
            "the module on which it runs",
        ),
        o(
            "when_heard",
            S::Reference(&[R::Notice]),
            "starts at a notice of a detector on this module",
        ),
        o(
            "when_told",
            S::Filter,
            "starts at a message that the filter matches",
        ),
        o("each", S::Amount(D::Time, POSITIVE), "starts at intervals"),
        r("do", S::Tables(&ACTION), "what it does, in order"),
        o(
            "at_most",
            S::EventRate,
            "most runs in a time; further starts are counted and dropped",
        ),
    ],
};

pub(crate) const ACTION: Section = Section {
    name: "an action",
    doc: "publish, switch, send_up, enter or log.",
    part: None,
    fields: &[
        o("publish", S::Topic, "publish a message on a topic"),
        o(
            "switch",
            S::Reference(&[R::Output]),
            "switch an output of this module",
        ),
        o("to", S::Choice(&["on", "off"]), "of the switch"),
        o(
            "for",
            S::Amount(D::Time, POSITIVE),
            "of the switch or of the state: for how long",
        ),
        o(
            "send_up",
            S::Reference(&[R::Uplink]),
            "queue a topic's payload on an uplink of this module",
        ),
        o(
            "about",
            S::Topic,
            "of send_up: the topic whose payload is sent",
        ),
        o("enter", S::Text, "enter a state of this module"),
        o("log", S::Text, "write a line to the log"),
    ],
};

const UPLINK: Section = Section {
    name: "an uplink",
    doc: "A paid link ashore.",
    part: None,
    fields: &[
        r(
            "at",
            S::Reference(&[R::Module]),
            "the module at which it sits",
        ),
        r(
            "message_size",
            S::Amount(D::DataSize, between(1.0, 1.0e6, "from 1 B to 1 MB")),
            "size of one billed message",
        ),
        r("price", S::Money, "price of one billed message"),
        r(
            "session",
            S::Amount(D::Time, POSITIVE),
            "time of one attempt",
        ),
        o(
            "windows",
            S::Table(&WINDOWS),
            "when it can be reached; always when not written",
        ),
        o(
            "success",
            S::Amount(D::Ratio, POSITIVE_SHARE),
            "chance that an attempt succeeds",
        ),
        o(
            "back_off",
            S::Amount(D::Time, NOT_NEGATIVE),
            "wait after a failed attempt",
        ),
        o(
            "expiry",
            S::Amount(D::Time, POSITIVE),
            "age at which a message is given up",
        ),
        o(
            "sending_state",
            S::Text,
            "state of the module while sending",
        ),
    ],
};

const WINDOWS: Section = Section {
    name: "windows",
    doc: "When an uplink can be reached, counted from the start of the deployment.",
    part: None,
    fields: &[
        r(
            "first",
            S::Amount(D::Time, NOT_NEGATIVE),
            "start of the first",
        ),
        r(
            "period",
            S::Amount(D::Time, POSITIVE),
            "from start to start",
        ),
        r("width", S::Amount(D::Time, POSITIVE), "how long each lasts"),
    ],
};

const STORAGE: Section = Section {
    name: "a storage",
    doc: "A store for recordings.",
    part: None,
    fields: &[
        r(
            "at",
            S::Reference(&[R::Module]),
            "the module at which it sits",
        ),
        r("capacity", S::Amount(D::DataSize, POSITIVE), "capacity"),
        o("keep_free", S::Amount(D::Ratio, SHARE), "share kept free"),
        r("records", S::Tables(&RECORD), "what is recorded"),
    ],
};

const RECORD: Section = Section {
    name: "a record",
    doc: "A sensor's recording.",
    part: None,
    fields: &[
        r("sensor", S::Reference(&[R::Sensor]), "the sensor"),
        r(
            "share",
            S::Amount(D::Ratio, POSITIVE_SHARE),
            "share of the time recorded",
        ),
        r(
            "compression",
            S::Number(between(1.0, 100.0, "from 1 (none) to 100")),
            "raw size over stored size",
        ),
    ],
};

/// What a requirement may be about.
const THAT: &[&str] = &[
    "voltage",
    "supply-current",
    "delay",
    "link-load",
    "uplink-messages",
    "uplink-cost",
    "storage-time",
    "rehearsed",
];

pub(crate) const REQUIREMENT: Section = Section {
    name: "a requirement",
    doc: "A sentence of the plan that must hold.",
    part: None,
    fields: &[
        r("that", S::Choice(THAT), "what it is about"),
        o(
            "must",
            S::Choice(&["shall", "should"]),
            "how binding; shall when not written",
        ),
        o("source", S::Text, "permit, clause or document"),
        o(
            "of",
            S::Reference(&[R::Module, R::Supply, R::Span, R::Uplink, R::Storage]),
            "what it is about; each when not written",
        ),
        o(
            "from",
            S::Reference(&[R::Notice]),
            "of a delay: the notice that is acted on; time counts from the sound at the hydrophone",
        ),
        o(
            "to",
            S::Reference(&[R::Output, R::Module, R::Uplink]),
            "of a delay: where it ends",
        ),
        o("at_least", S::Limit, "lower limit"),
        o("at_most", S::Limit, "upper limit"),
        o(
            "cues",
            S::Text,
            "of `rehearsed`: the cue sheet, relative to the plan's folder",
        ),
        o(
            "share",
            S::Amount(D::Ratio, POSITIVE_SHARE),
            "share of cases in which it must hold; all when not written",
        ),
        o(
            "when_wind_at_most",
            S::Amount(D::Speed, WIND),
            "only when the wind is at most this",
        ),
    ],
};
