//! The resolved line: ids have become indices, catalogue parts are filled in, the graph is checked.
//!
//! Every list is sorted by id, so results never depend on the order in the file. A field is `None` where the plan
//! says nothing: unknown, never zero.

use std::collections::BTreeMap;

use jiff::Timestamp;
use quantity::{Conductor, EventRate, Law, Money};

use crate::site::Site;

/// A quantity of the plan in SI units (temperatures in degC, angles in degrees), with its spread and its place.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Q {
    /// Nominal value.
    pub si: f64,
    /// Spread, when one was written.
    pub law: Option<Law>,
    /// Where it was written.
    pub at: Site,
}

/// A level of the plan in decibels, with its spread and its place.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Decibels {
    /// Nominal value, dB re the reference that the field's name states.
    pub db: f64,
    /// Spread in dB, when one was written.
    pub law: Option<Law>,
    /// Where it was written.
    pub at: Site,
}

macro_rules! index {
    ($($(#[$doc:meta])* $name:ident),* $(,)?) => {$(
        $(#[$doc])*
        #[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, Hash)]
        pub struct $name(pub usize);
    )*};
}
index! {
    /// Index into [`Line::modules`].
    ModuleIx,
    /// Index into [`Line::spans`].
    SpanIx,
    /// Index into [`Line::supplies`].
    SupplyIx,
    /// Index into [`Line::detectors`].
    DetectorIx,
    /// Index into [`Line::topics`].
    TopicIx,
    /// Index into [`Line::behaviours`].
    BehaviourIx,
    /// Index into [`Line::uplinks`].
    UplinkIx,
    /// Index into [`Line::storages`].
    StorageIx,
    /// Index into [`Line::sections`].
    SectionIx,
}

/// A sensor: its module and its place in [`Module::sensors`].
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, Hash)]
pub struct SensorIx {
    /// The module it sits on.
    pub module: ModuleIx,
    /// Index into the module's sensors.
    pub sensor: usize,
}

/// An output: its module and its place in [`Module::outputs`].
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, Hash)]
pub struct OutputIx {
    /// The module it sits on.
    pub module: ModuleIx,
    /// Index into the module's outputs.
    pub output: usize,
}

/// The whole deployment, resolved.
#[derive(Clone, Debug)]
pub struct Line {
    /// Name, dates and slips.
    pub deployment: Deployment,
    /// The sea and the weather at the site.
    pub sea: Sea,
    /// Anchors by id: where sections may end.
    pub anchors: Vec<Anchor>,
    /// Mechanical lengths.
    pub sections: Vec<Section>,
    /// Where power enters.
    pub supplies: Vec<Supply>,
    /// Housings with a processor.
    pub modules: Vec<Module>,
    /// Electrical cables between modules.
    pub spans: Vec<Span>,
    /// Detectors.
    pub detectors: Vec<Detector>,
    /// How messages are framed; `None` when the plan does not say.
    pub traffic: Option<Traffic>,
    /// Topics by name.
    pub topics: Vec<Topic>,
    /// What modules do.
    pub behaviours: Vec<Behaviour>,
    /// Paid links ashore.
    pub uplinks: Vec<Uplink>,
    /// Recording stores.
    pub storages: Vec<Storage>,
    /// What must hold.
    pub requirements: Vec<Requirement>,
    /// Values that count although nobody wrote them, each with the paths of the things that have it.
    pub unwritten: BTreeMap<Unwritten, Vec<String>>,
}

/// A value that counts although the plan does not write it: what the field tables say of each such key.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub enum Unwritten {
    /// A span without length and slack lies along its sections with none.
    Slack,
    /// An output is off at start.
    Starts,
    /// A band has the order 4.
    BandOrder,
    /// An event is confirmed as soon as it has lasted the shortest time.
    Confirm,
    /// A topic has the priority 1.
    Priority,
    /// A requirement is a `shall`.
    Must,
}

/// Name, dates and slips of the deployment.
#[derive(Clone, Debug)]
pub struct Deployment {
    /// Name shown on every output.
    pub name: String,
    /// Planned start.
    pub start: Timestamp,
    /// Planned time in the water, s.
    pub duration_s: Q,
    /// How much later the start may be, s.
    pub start_slip_s: Option<Q>,
    /// How much later the recovery may be, s.
    pub recovery_slip_s: Option<Q>,
}

impl Deployment {
    /// Longest time in the water: duration and recovery slip, s.
    #[must_use]
    pub fn longest_s(&self) -> f64 {
        self.duration_s.si + self.recovery_slip_s.map_or(0.0, |q| q.si)
    }
}

/// The sea and the weather at the site.
#[derive(Clone, Debug)]
pub struct Sea {
    /// Latitude, degrees, north positive.
    pub latitude_deg: Q,
    /// Longitude, degrees, east positive.
    pub longitude_deg: Q,
    /// Water depth, m.
    pub water_depth_m: Q,
    /// Temperature and salinity by depth, shallowest first.
    pub profile: Vec<Water>,
    /// Water current by depth, shallowest first.
    pub current: Vec<Flow>,
    /// Mean wind speed of each month from January, m/s; empty or twelve.
    pub wind_m_s: Vec<Q>,
    /// Clearness index of each month from January, 0 to 1; empty or twelve.
    pub clearness: Vec<Q>,
    /// Shipping activity from 0 (none) to 1 (heavy).
    pub shipping: Option<Q>,
    /// Acidity, pH on the scale of the absorption formula.
    pub ph: Option<Q>,
    /// How sound spreads, when the plan says.
    pub spreading: Option<Spreading>,
}

/// How sound spreads with range.
#[derive(Clone, Copy, PartialEq, Debug)]
pub enum Spreading {
    /// 20 lg r.
    Spherical,
    /// 15 lg r.
    Practical,
    /// 10 lg r.
    Cylindrical,
    /// Spherical to a range in m, cylindrical beyond it.
    Transition {
        /// The range at which the law changes, m.
        at_m: Q,
    },
}

/// One point of the water profile.
#[derive(Clone, Copy, Debug)]
pub struct Water {
    /// Depth, m.
    pub depth_m: Q,
    /// Temperature, degC.
    pub temperature_degc: Q,
    /// Practical salinity.
    pub salinity: Q,
}

/// One point of the profile of water current.
#[derive(Clone, Copy, Debug)]
pub struct Flow {
    /// Depth, m.
    pub depth_m: Q,
    /// Speed, m/s.
    pub speed_m_s: Q,
    /// Direction towards which the water moves, degrees from north.
    pub towards_deg: Option<Q>,
}

/// A weight on the seabed.
#[derive(Clone, Debug)]
pub struct Anchor {
    /// Id.
    pub id: String,
    /// Where it was declared.
    pub at: Site,
    /// Weight in water, N.
    pub weight_in_water_n: Option<Q>,
    /// Horizontal holding, N.
    pub holding_n: Option<Q>,
}

/// An end of a section.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum SectionEnd {
    /// A module.
    Module(ModuleIx),
    /// Index into [`Line::anchors`].
    Anchor(usize),
}

/// A mechanical length: rope, chain or cable under tension.
#[derive(Clone, Debug)]
pub struct Section {
    /// Id.
    pub id: String,
    /// Where it was declared.
    pub at: Site,
    /// Upper end.
    pub from: SectionEnd,
    /// Lower end.
    pub to: SectionEnd,
    /// Length, m.
    pub length_m: Q,
    /// What it is made of.
    pub rope: Option<Rope>,
}

/// The mechanical properties of a section.
#[derive(Clone, Debug)]
pub struct Rope {
    /// Diameter, m.
    pub diameter_m: Option<Q>,
    /// Weight in water per length, N/m.
    pub weight_in_water_n_m: Option<Q>,
    /// Axial stiffness EA, N.
    pub stiffness_n: Option<Q>,
    /// Breaking load, N.
    pub breaking_load_n: Option<Q>,
}

/// Where a module hangs.
#[derive(Clone, Copy, Debug)]
pub enum Position {
    /// On a section, at a length from its upper end, m.
    FromTop {
        /// The section.
        section: SectionIx,
        /// Length from the upper end, m.
        length_m: Q,
    },
    /// On a section, at a length from its lower end, m.
    FromAnchor {
        /// The section.
        section: SectionIx,
        /// Length from the lower end, m.
        length_m: Q,
    },
    /// At a fixed depth, m (0 at the surface; negative is not allowed).
    Depth(Q),
}

/// A housing with a processor, sensors and outputs.
#[derive(Clone, Debug)]
pub struct Module {
    /// Id.
    pub id: String,
    /// Where it was declared.
    pub at: Site,
    /// Where it hangs.
    pub position: Position,
    /// Nominal depth, m: sections taken straight down, no current.
    pub depth_m: f64,
    /// Power input; a module without one draws nothing from the line.
    pub input: Option<Input>,
    /// Loads by state, sorted by state.
    pub loads: Vec<StateLoad>,
    /// The state in which it works when nothing happens: index into `loads`.
    pub starts_in: Option<usize>,
    /// Boot time and power.
    pub boot: Option<Boot>,
    /// What still goes through the module when it is hung or dead.
    pub passes: Option<Passes>,
    /// Resistance in the path onwards: fuse, inductors, diode, ohm.
    pub through_ohm: Option<Q>,
    /// Time the processor adds to each message it forwards or delivers, s.
    pub processing_s: Option<Q>,
    /// Pressure housing.
    pub housing: Option<Housing>,
    /// Sensors by id.
    pub sensors: Vec<Sensor>,
    /// Outputs by id.
    pub outputs: Vec<Output>,
}

/// Power input of a module.
#[derive(Clone, Debug)]
pub struct Input {
    /// Lowest voltage at which it works, V.
    pub minimum_v: Q,
    /// Highest voltage it bears, V.
    pub maximum_v: Q,
    /// Input capacitance, F.
    pub capacitance_f: Option<Q>,
    /// Efficiency of its converter, 0 to 1; without one the loads are taken at the input.
    pub efficiency: Option<Q>,
    /// Standing loss of its converter, W.
    pub standing_w: Option<Q>,
}

/// What a module draws in a state, at its converter's output.
#[derive(Clone, Debug)]
pub struct StateLoad {
    /// Name of the state.
    pub state: String,
    /// The load.
    pub load: Load,
}

/// A load: constant power, constant current, or a resistor.
#[derive(Clone, Copy, PartialEq, Debug)]
pub enum Load {
    /// W.
    Power(Q),
    /// A.
    Current(Q),
    /// ohm.
    Resistance(Q),
}

/// Boot of a module.
#[derive(Clone, Copy, Debug)]
pub struct Boot {
    /// Time from power to work, s.
    pub time_s: Q,
    /// Power meanwhile, W.
    pub power_w: Q,
}

/// When something still passes through a module.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub enum PassWhen {
    /// Even hung, unpowered or flooded.
    Always,
    /// While it has power, even when its program hangs.
    Powered,
    /// Only while its program runs.
    Running,
    /// Never: it is an end.
    Never,
}

/// What still goes through a module.
#[derive(Clone, Copy, Debug)]
pub struct Passes {
    /// Power.
    pub power: PassWhen,
    /// Data.
    pub data: PassWhen,
}

/// A pressure housing.
#[derive(Clone, Debug)]
pub struct Housing {
    /// Rated depth, m.
    pub rated_depth_m: Option<Q>,
    /// Weight in water, N (negative floats).
    pub weight_in_water_n: Option<Q>,
    /// Drag area (drag coefficient times area), m2.
    pub cd_a_m2: Option<Q>,
}

/// What a sensor measures.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum SensorKind {
    /// Sound in water.
    Hydrophone,
    /// Sound in air (bench work), re 20 uPa.
    Microphone,
    /// Water temperature.
    Temperature,
    /// Water pressure.
    Pressure,
    /// Conductivity.
    Conductivity,
}

/// A sensor of a module.
#[derive(Clone, Debug)]
pub struct Sensor {
    /// Id.
    pub id: String,
    /// Where it was declared.
    pub at: Site,
    /// What it measures.
    pub kind: SensorKind,
    /// From micropascals to counts; for hydrophones and microphones.
    pub chain: Option<Chain>,
    /// Time from power to usable samples, s.
    pub settles_s: Option<Q>,
    /// Last calibration.
    pub calibrated: Option<Calibration>,
}

/// The sensor chain: from sound pressure to counts.
#[derive(Clone, Debug)]
pub struct Chain {
    /// Sensitivity: dB re 1 V/uPa for a hydrophone, dB re 1 V/Pa for a microphone.
    pub sensitivity_db: Decibels,
    /// Gain, dB.
    pub gain_db: Decibels,
    /// Converter full scale (peak), V.
    pub full_scale_v: Q,
    /// Converter width, bits.
    pub bits: u32,
    /// Sample rate, Hz.
    pub rate_hz: Q,
    /// High-pass ahead of the converter.
    pub high_pass: Option<HighPass>,
    /// Self-noise at the input: frequency in Hz and dB re 1 uPa2/Hz (1 (20 uPa)2/Hz in air is not used), rising frequency.
    pub self_noise: Vec<(Q, Decibels)>,
}

/// High-pass of a sensor chain.
#[derive(Clone, Copy, Debug)]
pub struct HighPass {
    /// Corner (-3 dB), Hz.
    pub corner_hz: Q,
    /// Poles.
    pub poles: u32,
}

/// A calibration.
#[derive(Clone, Debug)]
pub struct Calibration {
    /// When.
    pub date: Timestamp,
    /// By whom or where.
    pub by: String,
    /// Uncertainty (k = 2), dB.
    pub uncertainty_db: Option<Decibels>,
}

/// What an output does.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum OutputKind {
    /// A light.
    Lamp,
    /// A contact.
    Relay,
    /// A sounder.
    Sounder,
}

/// Something a module switches.
#[derive(Clone, Debug)]
pub struct Output {
    /// Id.
    pub id: String,
    /// Where it was declared.
    pub at: Site,
    /// What it is.
    pub kind: OutputKind,
    /// Power while on, at the module's converter output, W.
    pub power_w: Option<Q>,
    /// Whether it is on at start.
    pub starts_on: bool,
}

/// How power enters.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum SupplyKind {
    /// Panels and a battery.
    SolarBattery,
    /// A bench supply.
    Bench,
    /// A vessel's supply.
    Vessel,
    /// A feed from shore.
    Shore,
    /// Primary cells.
    PrimaryCells,
}

/// Where power enters the line.
#[derive(Clone, Debug)]
pub struct Supply {
    /// Id.
    pub id: String,
    /// Where it was declared.
    pub at: Site,
    /// The module at which it sits.
    pub module: ModuleIx,
    /// Kind.
    pub kind: SupplyKind,
    /// Open-circuit voltage, V.
    pub voltage_v: Q,
    /// Source resistance, ohm.
    pub resistance_ohm: Q,
    /// Current limit, A.
    pub current_limit_a: Option<Q>,
    /// Panels.
    pub panels: Option<Panels>,
    /// Battery.
    pub battery: Option<Battery>,
}

/// Solar panels.
#[derive(Clone, Debug)]
pub struct Panels {
    /// Peak power of each, W.
    pub peak_power_each_w: Q,
    /// How many faces round the buoy, one panel on each.
    pub faces: u32,
    /// Tilt from horizontal, degrees.
    pub tilt_deg: Q,
    /// Wiring, soiling and conversion loss, 0 to 1.
    pub loss: Q,
}

/// Battery chemistry.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Chemistry {
    /// Lithium iron phosphate.
    LiFePo4,
    /// Lead-acid, absorbed glass mat.
    Agm,
    /// Primary lithium.
    PrimaryLithium,
    /// Alkaline.
    Alkaline,
}

/// A battery.
#[derive(Clone, Debug)]
pub struct Battery {
    /// Chemistry.
    pub chemistry: Chemistry,
    /// Capacity, A s.
    pub capacity_c: Q,
    /// Nominal voltage, V.
    pub voltage_v: Q,
}

/// An electrical cable between two modules.
#[derive(Clone, Debug)]
pub struct Span {
    /// Id.
    pub id: String,
    /// Where it was declared.
    pub at: Site,
    /// One end.
    pub from: ModuleIx,
    /// Other end.
    pub to: ModuleIx,
    /// Length, m: as written, or the distance along the sections times (1 + slack).
    pub length_m: f64,
    /// The length as written.
    pub written_length_m: Option<Q>,
    /// Conductor; a span without one carries no power.
    pub conductor: Option<Conductor>,
    /// Mated contacts.
    pub contacts: Option<Contacts>,
    /// How data crosses it; a span without one carries no data.
    pub link: Option<Link>,
}

/// Mated contacts of a span.
#[derive(Clone, Copy, Debug)]
pub struct Contacts {
    /// Mated pins in the current loop (go and return).
    pub mated_pins_in_loop: u32,
    /// Resistance of each when new, ohm.
    pub resistance_ohm: Q,
    /// Resistance of each when aged, ohm.
    pub aged_ohm: Option<Q>,
}

/// A link over a span.
#[derive(Clone, Debug)]
pub struct Link {
    /// Name of the open standard, or `free`.
    pub standard: String,
    /// Rate in b/s when written (a `free` link must say it).
    pub rate_bps: Option<Q>,
    /// Where the standard was named.
    pub at: Site,
}

/// How messages are framed on the links.
#[derive(Clone, Debug)]
pub struct Traffic {
    /// Protocol layers from the wire upwards, for example `ethernet`, `ipv6`, `udp`.
    pub stack: Vec<String>,
    /// Largest message piece in one frame, B.
    pub packet_bytes: u32,
}

/// A detector: a named chain of stages on a sensor.
#[derive(Clone, Debug)]
pub struct Detector {
    /// Id.
    pub id: String,
    /// Where it was declared.
    pub at: Site,
    /// The sensor it hears through.
    pub on: SensorIx,
    /// Stages from samples to events; the last is a trigger.
    pub stages: Vec<Stage>,
}

/// The level that a stage makes.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum LevelStage {
    /// Mean square over a window.
    Rms,
    /// Exponential average (IEC 61672-1).
    Exponential,
    /// Sound exposure over a window.
    Exposure,
}

/// A stage of a detector.
#[derive(Clone, Debug)]
pub enum Stage {
    /// Band-pass filter.
    Band {
        /// Lower -3 dB corner, Hz.
        low_hz: Q,
        /// Upper -3 dB corner, Hz.
        high_hz: Q,
        /// Order of the low-pass prototype.
        order: u32,
    },
    /// Level over time.
    Level {
        /// Which level.
        kind: LevelStage,
        /// Window, or time constant of the exponential average, s.
        window_s: Q,
    },
    /// Running background: the median of the level.
    Background {
        /// Over how long, s.
        over_s: Q,
    },
    /// Train of pulses.
    Pulses {
        /// Rise of a pulse over the background, dB.
        rise_db: Decibels,
        /// Shortest interval between pulses, s.
        least_interval_s: Q,
        /// Longest interval between pulses, s.
        most_interval_s: Q,
        /// Pulses that make a train.
        at_least: u32,
        /// Quiet time after a train, s.
        hold_off_s: Q,
    },
    /// Event logic on the level, or on its excess over the background.
    Trigger {
        /// Begins above: dB over the background, or dB re the level's reference.
        on_above_db: Decibels,
        /// Ends below, in the same terms.
        off_below_db: Decibels,
        /// Shortest event, s.
        shortest_s: Q,
        /// Longest event, s.
        longest_s: Option<Q>,
        /// Quiet time after an event, s.
        hold_off_s: Q,
        /// When an event counts as confirmed.
        confirm: Confirm,
    },
}

/// When an event counts as confirmed.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Confirm {
    /// As soon as it has lasted the shortest time.
    Early,
    /// At its end, once it is known not to be too long.
    AtEnd,
}

/// A field of a topic's payload.
#[derive(Clone, Debug)]
pub enum TopicField {
    /// A number on a grid.
    Scaled {
        /// Name.
        name: String,
        /// Unit, as text.
        unit: String,
        /// Lowest value.
        from: f64,
        /// Highest value.
        to: f64,
        /// Step.
        step: f64,
    },
    /// One of a list.
    Choice {
        /// Name.
        name: String,
        /// The values.
        values: Vec<String>,
    },
    /// Yes or no.
    Flag {
        /// Name.
        name: String,
    },
    /// A time stamp.
    Time {
        /// Name.
        name: String,
        /// Bits.
        bits: u32,
        /// Step, s.
        step_s: f64,
    },
}

/// A topic.
#[derive(Clone, Debug)]
pub struct Topic {
    /// Name (OASIS MQTT 5.0).
    pub name: String,
    /// Where it was declared.
    pub at: Site,
    /// Most messages in a time, enforced at run time.
    pub at_most: Option<EventRate>,
    /// Priority: 0 goes first.
    pub priority: u8,
    /// Payload fields.
    pub fields: Vec<TopicField>,
    /// Payload size when written instead of fields, B.
    pub size_bytes: Option<Q>,
}

/// A notice of a detector.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub enum NoticeKind {
    /// The level has crossed the threshold.
    Onset,
    /// It has lasted long enough.
    Confirmed,
    /// It is over.
    Ended,
}

impl NoticeKind {
    /// The notice of a word that a path may end in.
    pub(crate) fn of_word(word: &str) -> NoticeKind {
        match word {
            "onset" => NoticeKind::Onset,
            "confirmed" => NoticeKind::Confirmed,
            _ => NoticeKind::Ended,
        }
    }
}

/// What a module does when something happens.
#[derive(Clone, Debug)]
pub struct Behaviour {
    /// Id.
    pub id: String,
    /// Where it was declared.
    pub at: Site,
    /// The module on which it runs.
    pub on: ModuleIx,
    /// What starts it.
    pub when: When,
    /// What it does, in order.
    pub actions: Vec<Action>,
    /// Most runs in a time, enforced at run time; further starts are counted and dropped.
    pub at_most: Option<EventRate>,
}

/// What starts a behaviour.
#[derive(Clone, Debug)]
pub enum When {
    /// A notice of a detector on the same module.
    Heard {
        /// The detector.
        detector: DetectorIx,
        /// The notice.
        notice: NoticeKind,
    },
    /// A message whose topic the filter matches.
    Told {
        /// Topic filter (OASIS MQTT 5.0).
        filter: String,
    },
    /// Time.
    Each {
        /// Period, s.
        period_s: Q,
    },
}

/// What a behaviour does.
#[derive(Clone, Debug)]
pub enum Action {
    /// Publish a message.
    Publish {
        /// Topic.
        topic: TopicIx,
    },
    /// Switch an output of its own module.
    Switch {
        /// The output.
        output: OutputIx,
        /// On or off.
        on: bool,
        /// For how long, s; for good when absent.
        for_s: Option<Q>,
    },
    /// Queue a topic's payload on an uplink of its own module.
    SendUp {
        /// The uplink.
        uplink: UplinkIx,
        /// The topic whose payload is sent.
        topic: TopicIx,
    },
    /// Enter a state of its own module.
    Enter {
        /// Index into the module's loads.
        state: usize,
        /// For how long, s.
        for_s: Q,
    },
    /// Write a line to the log.
    Log {
        /// The text.
        text: String,
    },
}

/// A paid link ashore.
#[derive(Clone, Debug)]
pub struct Uplink {
    /// Id.
    pub id: String,
    /// Where it was declared.
    pub at: Site,
    /// The module at which it sits.
    pub module: ModuleIx,
    /// Size of one billed message, B.
    pub message_bytes: u32,
    /// Price of one billed message.
    pub price: Money,
    /// Time of one attempt, s.
    pub session_s: Q,
    /// When the satellite can be reached; always when absent.
    pub windows: Option<Windows>,
    /// Chance that an attempt succeeds, 0 to 1.
    pub success: Option<Q>,
    /// Wait after a failed attempt, s.
    pub back_off_s: Option<Q>,
    /// Age at which a message is given up, s.
    pub expiry_s: Option<Q>,
    /// State of the module while sending: index into its loads.
    pub sending_state: Option<usize>,
}

/// Windows of an uplink, counted from the start of the deployment.
#[derive(Clone, Copy, Debug)]
pub struct Windows {
    /// Start of the first, s.
    pub first_s: Q,
    /// Period, s.
    pub period_s: Q,
    /// Width, s.
    pub width_s: Q,
}

/// A store for recordings and logs.
#[derive(Clone, Debug)]
pub struct Storage {
    /// Id.
    pub id: String,
    /// Where it was declared.
    pub at: Site,
    /// The module at which it sits.
    pub module: ModuleIx,
    /// Capacity, B.
    pub capacity_bytes: Q,
    /// Share kept free, 0 to 1.
    pub keep_free: Option<Q>,
    /// What is recorded.
    pub records: Vec<Record>,
}

/// A sensor's recording.
#[derive(Clone, Copy, Debug)]
pub struct Record {
    /// The sensor.
    pub sensor: SensorIx,
    /// Share of the time recorded, 0 to 1.
    pub share: Q,
    /// Compression: raw size over stored size, at least 1.
    pub compression: Q,
}

/// How binding a requirement is.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Must {
    /// Broken means the line may not sail.
    Shall,
    /// Broken means a warning.
    Should,
}

impl Must {
    /// What a word of the plan says.
    pub(crate) fn of_word(word: &str) -> Must {
        match word {
            "should" => Must::Should,
            _ => Must::Shall,
        }
    }
}

/// A sentence of the plan that must hold.
#[derive(Clone, Debug)]
pub struct Requirement {
    /// Id.
    pub id: String,
    /// Where it was declared.
    pub at: Site,
    /// Shall or should.
    pub must: Must,
    /// Permit, clause or document.
    pub source: Option<String>,
    /// What must hold.
    pub that: That,
    /// Share of cases in which it must hold, 0 to 1; all when absent.
    pub share: Option<Q>,
    /// Only when the wind is at most this, m/s.
    pub when_wind_at_most_m_s: Option<Q>,
}

/// Limits on a quantity; at least one side is set.
#[derive(Clone, Copy, Debug)]
pub struct Limits {
    /// Lower limit, SI.
    pub at_least: Option<Q>,
    /// Upper limit, SI.
    pub at_most: Option<Q>,
}

/// Where a delay ends.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum DelayEnd {
    /// An output switches.
    Output(OutputIx),
    /// A module is told.
    Module(ModuleIx),
    /// A message has gone up an uplink.
    Uplink(UplinkIx),
}

/// What a requirement is about.
#[derive(Clone, Debug)]
pub enum That {
    /// Voltage at a module (each module when `of` is absent), V; without limits the module's own input limits.
    Voltage {
        /// The module.
        of: Option<ModuleIx>,
        /// Limits, V.
        limits: Option<Limits>,
    },
    /// Current that a supply gives (each supply when `of` is absent), A; without a limit the supply's own.
    SupplyCurrent {
        /// The supply.
        of: Option<SupplyIx>,
        /// Upper limit, A.
        at_most_a: Option<Q>,
    },
    /// Time from the sound at the hydrophone to an end, s.
    Delay {
        /// The detector that hears it.
        from: DetectorIx,
        /// The notice that is acted on.
        notice: NoticeKind,
        /// The end.
        to: DelayEnd,
        /// Upper limit, s.
        at_most_s: Q,
    },
    /// Share of a link's capacity in use (each span when `of` is absent), 0 to 1.
    LinkLoad {
        /// The span.
        of: Option<SpanIx>,
        /// Upper limit, 0 to 1.
        at_most: Q,
    },
    /// Billed messages.
    UplinkMessages {
        /// The uplink.
        of: UplinkIx,
        /// Upper limit.
        at_most: EventRate,
        /// Where the limit was written.
        at: Site,
    },
    /// Price of the messages of 30 days.
    UplinkCost {
        /// The uplink.
        of: UplinkIx,
        /// Upper limit.
        at_most: Money,
        /// Where the limit was written.
        at: Site,
    },
    /// Time until a store is full, s; without a limit the longest time in the water.
    StorageTime {
        /// The store.
        of: StorageIx,
        /// Lower limit, s.
        at_least_s: Option<Q>,
    },
    /// All expectations of a cue sheet hold in a rehearsal.
    Rehearsed {
        /// Path of the cue sheet, relative to the plan's folder.
        cues: String,
        /// Where it was written.
        at: Site,
    },
}

impl Line {
    /// The full typed path of a module: `module.upper`.
    #[must_use]
    pub fn module_path(&self, ix: ModuleIx) -> String {
        format!("module.{}", self.modules[ix.0].id)
    }

    /// The full typed path of a sensor: `module.upper.sensor.ear`.
    #[must_use]
    pub fn sensor_path(&self, ix: SensorIx) -> String {
        let module = &self.modules[ix.module.0];
        format!(
            "module.{}.sensor.{}",
            module.id, module.sensors[ix.sensor].id
        )
    }

    /// The full typed path of an output: `module.marker.output.lamp`.
    #[must_use]
    pub fn output_path(&self, ix: OutputIx) -> String {
        let module = &self.modules[ix.module.0];
        format!(
            "module.{}.output.{}",
            module.id, module.outputs[ix.output].id
        )
    }

    /// The sensor itself.
    #[must_use]
    pub fn sensor(&self, ix: SensorIx) -> &Sensor {
        &self.modules[ix.module.0].sensors[ix.sensor]
    }

    /// The module whose id this is.
    #[must_use]
    pub fn module_by_id(&self, id: &str) -> Option<ModuleIx> {
        self.modules
            .binary_search_by(|m| m.id.as_str().cmp(id))
            .ok()
            .map(ModuleIx)
    }
}
