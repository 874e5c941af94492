//! One small module a discipline: the resolved line turned into that discipline's own input.
//!
//! `check` and the rehearsal both build their inputs here, so that both speak of the same line.

mod asking;
mod bit_errors;
mod cases;
mod delivery;
mod electric;
mod energy;
mod extremes;
mod formula;
mod fouled;
mod heaviest;
mod links;
mod moored;
mod payload;
mod sea;
mod site_noise;
mod site_weather;
mod sound;
mod startup;
mod storage;
mod sync;
mod template;
mod traffic;
mod uplink;
mod uplink_sea;
mod vote;
mod warm;

pub(crate) use asking::answers;
pub use asking::{Asking, Notice, askers};
pub(crate) use bit_errors::sooner_share;
pub use cases::{CasesError, DesignCase, DesignCases, design_cases};
pub(crate) use cases::{FOULED, grown, level, water_density};
pub use delivery::terms;
pub(crate) use delivery::{since, told_apart};
pub use electric::{Conditions, Contacts, Draw, Electric, ElectricInput, Given, electric};
pub(crate) use electric::{boots, draws, electric_at};
pub use energy::{
    CellsInput, DrawnBattery, EnergyInput, GeneratedLight, Light, LoadPart, MeasuredLight,
    SupplyLoad, drawn_battery, energy, primary_cells, supply_load,
};
pub(crate) use energy::{
    LightScratch, Rates, SECONDS_PER_HOUR, at_rest, cells_preset, deployed, energy_of,
    expected_rates, given_w, light_of, measured_winds, published_per_h, refused, runs_per_h,
    start_hour, year_error,
};
pub use formula::Exact;
pub use fouled::Fouling;
pub(crate) use fouled::without_size;
pub(crate) use heaviest::{Heaviest, heaviest_way, size};
pub use links::Carrier;
pub(crate) use links::{alone, bus_length, rate_of, standard_of};
pub use moored::{BuoyHull, Hung, Moored, MooredTop, NotMoored, Piece, Thing, moored};
pub use payload::{layout, payload_bytes, request_bytes, request_layouts};
pub(crate) use sea::{BED_BOUNCES, FAINTEST_DB, MOST_RAYS};
pub use sea::{bed, profile, ray_limits, spreading};
pub use site_noise::{SiteNoise, SiteNoiseError};
pub(crate) use site_weather::{all_waves, unsaid_waves};
pub(crate) use sound::{AIR_REFERENCE_DB, threshold_offset_db};
pub use sound::{arithmetic, chain_noise, detector_spec, says_its_noise, self_noise, sensor_chain};

pub use startup::{StartInput, startup};
pub(crate) use storage::gb_a_day;
pub use storage::{Files, Filling, RecordingFill, filling, usable_bytes};
pub(crate) use sync::exchange;
pub(crate) use template::samples as template_samples;
pub use traffic::{Streams, Traffic, at_most, ns, start_limits, streams, streams_with, traffic};
pub(crate) use uplink::billed_alone;
pub use uplink::{MONTH_DAYS, success_at, uplink_spec};
pub(crate) use uplink::{bills_failed, failed_attempts_words, never_fails};
pub(crate) use uplink_sea::{Succeeds, succeeds};
pub use vote::vote_spec;
pub use warm::WarmWire;

/// Why a discipline's input cannot be built from a line.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum InputError {
    /// A stream between modules that no link joins.
    #[error("{stream} is to go from {from} to {to}, and no link leads there")]
    NoWay {
        /// The stream.
        stream: String,
        /// The module that sends it.
        from: String,
        /// The module that is to get it.
        to: String,
    },
    /// Bounds that cannot be worked out.
    #[error(transparent)]
    Bounds(#[from] network::BoundError),
    /// The plan does not say something that is needed.
    #[error("{what} says nothing of {missing}")]
    NotSaid {
        /// Whose: a typed path.
        what: String,
        /// What is missing.
        missing: &'static str,
    },
    /// A recording that a stage is to be held against cannot be read.
    #[error("{what}: {path} cannot be used: {why}")]
    TemplateUnread {
        /// Whose: a typed path.
        what: String,
        /// The recording.
        path: String,
        /// Why.
        why: String,
    },
    /// A recording that a stage is to be held against has several channels.
    #[error("{what}: {path} has {channels} channels; keep the one that holds the sound")]
    TemplateChannels {
        /// Whose: a typed path.
        what: String,
        /// The recording.
        path: String,
        /// How many.
        channels: usize,
    },
    /// A recording that a stage is to be held against has another rate than the detector hears at.
    #[error(
        "{what}: {path} was taken at {found_hz} Hz, the detector hears at {needed_hz} Hz; give the sound at {needed_hz} Hz, for nothing is resampled here"
    )]
    TemplateRate {
        /// Whose: a typed path.
        what: String,
        /// The recording.
        path: String,
        /// Its rate, Hz.
        found_hz: f64,
        /// The rate of the detector's samples, Hz.
        needed_hz: f64,
    },
    /// A learned model that cannot be run.
    #[error("{what}: {path} cannot be run: {source}")]
    Model {
        /// Whose: a typed path.
        what: String,
        /// The model.
        path: String,
        /// Why.
        source: learned::ModelError,
    },
    /// A learned model that was not read.
    #[error("{what}: {path} could not be read")]
    ModelUnread {
        /// Whose: a typed path.
        what: String,
        /// The model.
        path: String,
    },
    /// A conductor without a resistance.
    #[error("{what}: {source}")]
    Conductor {
        /// Whose: a typed path.
        what: String,
        /// Why.
        source: power::conductor::ConductorError,
    },
    /// A cable in water of which the free convection is not known.
    #[error(
        "{what}: how it gives off heat is known for sea water of 30 to 40, not for a salinity of {salinity}"
    )]
    NoSeaWater {
        /// The span: a typed path.
        what: String,
        /// Salinity there.
        salinity: f64,
    },
    /// A converter without an input power.
    #[error("{what}: {source}")]
    Converter {
        /// Whose: a typed path.
        what: String,
        /// Why.
        source: power::ConverterError,
    },
    /// Water outside what the formulas hold for.
    #[error("the site: {source}")]
    Sea {
        /// Why.
        #[from]
        source: seawater::SeaError,
    },
    /// A sensor chain that cannot be.
    #[error("{what}: {source}")]
    Chain {
        /// Whose: a typed path.
        what: String,
        /// Why.
        source: signal::ChainError,
    },
    /// Stages that make no detector.
    #[error("{what}: {source}")]
    Detector {
        /// Whose: a typed path.
        what: String,
        /// Why.
        source: detect::SpecError,
    },
    /// A limit that is enforced on more than one thing, but not on a whole number of them.
    #[error("{what}: at most {count} in a time is no whole number")]
    NotWhole {
        /// Whose: a typed path.
        what: String,
        /// The count of the limit.
        count: f64,
    },
    /// A battery that does not hold the mean load at the charge at which the load comes back.
    #[error("{what}.battery: {why}; see `comes-back`")]
    NeverStays {
        /// The supply: a typed path.
        what: String,
        /// Why.
        why: String,
        /// Share of the charge at which the load is taken off in the dark; 1 and more where not even the full battery holds it.
        disconnect_at: f64,
    },
    /// Something that the year's load needs is open.
    #[error("{what}")]
    Open {
        /// What.
        what: String,
    },
    /// The line has no operating point in the states that are asked for.
    #[error("{what}: {why}")]
    Network {
        /// The supply: a typed path.
        what: String,
        /// Why.
        why: String,
    },
    /// A site or panels that the sun's formulas do not take.
    #[error("the sun: {source}")]
    Sun {
        /// Why.
        #[from]
        source: power::sun::SunError,
    },
    /// A clearness that no weather can have.
    #[error("the weather: {source}")]
    Weather {
        /// Why.
        #[from]
        source: power::weather::WeatherError,
    },
    /// A battery, panels or load that the hourly year does not take.
    #[error("{what}: {source}")]
    Year {
        /// The supply: a typed path.
        what: String,
        /// Why.
        source: power::year::YearError,
    },
    /// A battery that cannot be.
    #[error("{what}: {keys}: {source}")]
    Cells {
        /// The battery: a typed path.
        what: String,
        /// The keys that say it.
        keys: &'static str,
        /// Why.
        source: power::battery::BatteryError,
    },
    /// A value of the plan that the sun's formulas do not take.
    #[error("{what}: {source}")]
    SunOf {
        /// Whose: a typed path.
        what: String,
        /// Why.
        source: power::sun::SunError,
    },
    /// A weather file that cannot be read.
    #[error("site.weather: {path}: {source}")]
    WeatherFile {
        /// Path as the plan writes it.
        path: String,
        /// Its first mistake.
        source: power::weather::FileError,
    },
    /// Frames that cannot be.
    #[error("traffic: {source}")]
    Stack {
        /// Why.
        #[from]
        source: network::StackError,
    },
    /// Links that make no network.
    #[error("{what}: {source}")]
    Topology {
        /// Whose: a typed path where one link is to blame, else the links.
        what: String,
        /// Why.
        source: network::TopologyError,
    },
    /// A payload without a size.
    #[error("{what}: {source}")]
    Payload {
        /// Whose: a typed path.
        what: String,
        /// Why.
        source: network::PayloadError,
    },
    /// A topic name or filter that the standard does not allow.
    #[error("{what}: {source}")]
    Topic {
        /// Whose: a typed path.
        what: String,
        /// Why.
        source: network::TopicError,
    },
    /// A limit that cannot be enforced.
    #[error("{what}: {source}")]
    Rate {
        /// Whose: a typed path.
        what: String,
        /// Why.
        source: network::RateError,
    },
    /// A time that whole nanoseconds cannot hold.
    #[error("{what}: {source}")]
    Time {
        /// Whose: a typed path.
        what: String,
        /// Why.
        source: timeline::TimeError,
    },
    /// A link that is not modelled.
    #[error("{what}: {source}")]
    Link {
        /// Whose: a typed path.
        what: String,
        /// Why.
        source: network::UnknownStandard,
    },
    /// A rate that a link cannot have.
    #[error("{what}: {source}")]
    LinkRate {
        /// Whose: a typed path.
        what: String,
        /// Why.
        source: network::RateUnfit,
    },
}
