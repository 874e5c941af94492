//! What must hold.

use jiff::Timestamp;
use quantity::{EventRate, Money};

use super::{
    CallIx, Decibels, DetectorIx, ModuleIx, NoticeKind, OutputIx, Q, SectionIx, SensorIx, SpanIx,
    StorageIx, SupplyIx, TopicIx, UplinkIx, VoteIx,
};
use crate::site::Site;

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
    /// Share of draws of the plan in which it must be met, 0 to 1; `None` where no draws are asked.
    pub share_of_draws: Option<Q>,
    /// What was measured of it, SI.
    pub measured: Option<Measurement>,
    /// Only when the wind is at most this, m/s.
    pub when_wind_at_most_m_s: Option<Q>,
}

/// What a document says and who stands for it.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Attestation {
    /// The document.
    pub document: String,
    /// Who gave it.
    pub by: String,
    /// When.
    pub date: Timestamp,
    /// When it ceases to hold; never when absent.
    pub expires: Option<Timestamp>,
}

/// A value that was measured of what a requirement asks.
#[derive(Clone, Debug)]
pub struct Measurement {
    /// The value, SI.
    pub value: Q,
    /// Its uncertainty (k = 2), SI.
    pub uncertainty: Option<Q>,
    /// Who measured it.
    pub by: String,
    /// When.
    pub date: Timestamp,
    /// Where it is written down.
    pub document: String,
    /// Whether it decides in place of the calculation.
    pub decides: bool,
}

/// How old something may be.
#[derive(Clone, Copy, Debug)]
pub enum Age {
    /// Calendar months.
    Months(u32),
    /// A time, s.
    Time(Q),
}

/// Limits on a quantity; at least one side is set.
#[derive(Clone, Copy, Debug)]
pub struct Limits {
    /// Lower limit, SI.
    pub at_least: Option<Q>,
    /// Upper limit, SI.
    pub at_most: Option<Q>,
}

/// What a delay is about.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum DelayFrom {
    /// A notice of a detector.
    Notice(DetectorIx, NoticeKind),
    /// A vote that is carried.
    Vote(VoteIx),
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

/// Whose hearing is meant.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Listeners {
    /// Each hydrophone by itself.
    Each,
    /// One.
    One(SensorIx),
    /// So many at once.
    AtOnce(u32),
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
        /// What is acted on.
        from: DelayFrom,
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
    /// How far a module's clock may be off (each that has one when absent), s.
    ClockError {
        /// The module.
        of: Option<ModuleIx>,
        /// Upper limit, s.
        at_most_s: Q,
    },
    /// Share of the copies of a topic's messages that bit errors lose (each topic when absent), 0 to 1.
    MessageLoss {
        /// The topic.
        topic: Option<TopicIx>,
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
    /// Time from a message that is ready to its acknowledgement ashore, in the share of the messages of the worst month that the requirement names.
    UplinkWait {
        /// The uplink.
        of: UplinkIx,
        /// Upper limit, s.
        at_most_s: Q,
    },
    /// Time until a store is full, s; without a limit the longest time in the water.
    StorageTime {
        /// The store.
        of: StorageIx,
        /// Lower limit, s.
        at_least_s: Option<Q>,
    },
    /// Hours of a year in which a supply's battery leaves the line without power (each such supply when `of` is absent), in
    /// the share of years that the requirement names.
    OutageHours {
        /// The supply.
        of: Option<SupplyIx>,
        /// Upper limit, s.
        at_most_s: Q,
        /// Confidence with which the share of years must be shown, 0 to 1.
        confidence: Option<Q>,
    },
    /// Lowest usable state of charge of a supply's battery in a year (each such supply when `of` is absent), 0 to 1, in the
    /// share of years that the requirement names.
    LowestCharge {
        /// The supply.
        of: Option<SupplyIx>,
        /// Lower limit, 0 to 1.
        at_least: Q,
        /// Confidence with which the share of years must be shown, 0 to 1.
        confidence: Option<Q>,
    },
    /// Time that a full battery carries the mean load without any light, s.
    Autonomy {
        /// The supply.
        of: Option<SupplyIx>,
        /// Lower limit, s.
        at_least_s: Q,
    },
    /// Time that primary cells carry the mean load, s; without a limit the longest time in the water.
    CellLife {
        /// The supply.
        of: Option<SupplyIx>,
        /// Lower limit, s.
        at_least_s: Option<Q>,
    },
    /// Energy at the battery for each hour that one hydrophone listens, J.
    SensorEnergy {
        /// The supply.
        of: Option<SupplyIx>,
        /// Upper limit, J.
        at_most_j: Q,
    },
    /// Every module starts when power comes on, with a limit within that time, s.
    StartUp {
        /// Upper limit, s.
        at_most_s: Option<Q>,
    },
    /// Common factor by which all loads of constant power may grow before the line collapses, 1 for the loads as they are.
    CollapseFactor {
        /// Lower limit.
        at_least: Q,
    },
    /// Constant power that may still be added at a module (each module when `of` is absent), W.
    Reserve {
        /// The module.
        of: Option<ModuleIx>,
        /// Lower limit, W.
        at_least_w: Q,
    },
    /// Least current of a bolted short behind a span's fuse over the fuse's rating (each fused span when `of` is absent).
    ShortCircuit {
        /// The span.
        of: Option<SpanIx>,
        /// Lower limit, 1 for the rating itself.
        at_least: Q,
    },
    /// Times a day that a battery which comes back at dawn takes its load off again (each solar battery when `of` is absent).
    DawnRestarts {
        /// The supply.
        of: Option<SupplyIx>,
        /// Upper limit.
        at_most: u32,
    },
    /// Whether a supply with panels and battery wakes by itself from flat (each when `of` is absent).
    WakesFromFlat {
        /// The supply.
        of: Option<SupplyIx>,
    },
    /// Time from power until a hydrophone listens (each when `of` is absent), s.
    ReadyWithin {
        /// The hydrophone.
        of: Option<SensorIx>,
        /// Upper limit, s.
        at_most_s: Q,
    },
    /// Time until a leak has eaten a pin of a span (each with mated contacts when `of` is absent).
    ContactLife {
        /// The span.
        of: Option<SpanIx>,
        /// Lower limit, s; the longest time in the water when `None`.
        at_least_s: Option<Q>,
    },
    /// Hydrophones that any one failure takes from the shore, or from the line where there is no uplink.
    SingleFailure {
        /// Upper limit.
        at_most: u32,
    },
    /// Time until the shore sees that it hears less, after any one failure that takes a hydrophone from it, s.
    TimeToNotice {
        /// Upper limit, s.
        at_most_s: Q,
    },
    /// Time until an output is in its fail-safe state after any one failure for which it may no longer be asked (each output when `of` is absent), s.
    FailSafe {
        /// The output.
        of: Option<OutputIx>,
        /// Upper limit, s.
        at_most_s: Q,
    },
    /// How far the noise of a hydrophone's chain lies below what its detectors listen for (each hydrophone with a detector when `of`
    /// is absent): the sea of the quietest month, or a fixed threshold.
    SelfNoise {
        /// The sensor.
        of: Option<SensorIx>,
        /// Lower limit, dB.
        at_least_db: Decibels,
    },
    /// How far what electronics put into a hydrophone's chain lies below the sea of the quietest month in the band of its detectors (each
    /// hydrophone with a detector when `of` is absent).
    PickUp {
        /// The sensor.
        of: Option<SensorIx>,
        /// Lower limit, dB.
        at_least_db: Decibels,
    },
    /// Peak (zero-to-peak) that a hydrophone's chain bears (each hydrophone when `of` is absent).
    Overload {
        /// The sensor.
        of: Option<SensorIx>,
        /// Lower limit, dB re 1 uPa.
        at_least_db: Decibels,
    },
    /// Range to which a detector finds the requirement's share of calls of a kind, m, at the wind up to which it holds or in the mean wind of each month.
    DetectionRange {
        /// The detector.
        of: DetectorIx,
        /// The call.
        call: CallIx,
        /// Lower limit, m.
        at_least_m: Q,
        /// Of `encounter`: the share is that of encounters of which some call is found.
        encounter: Option<Encounter>,
        /// Share of the hours of each month in which it must hold, 0 to 1; at the mean wind of each month without it.
        in_hours: Option<Q>,
    },
    /// Share of what is labelled in recordings that a detector finds, 0 to 1.
    Recall {
        /// The detector.
        of: DetectorIx,
        /// Lower limit, 0 to 1.
        at_least: Q,
        /// Path of the labels, relative to the plan's folder.
        labels: String,
        /// Confidence with which it must be shown, two-sided, 0 to 1.
        confidence: Option<Q>,
    },
    /// How often a detector tells of what is not labelled in recordings.
    FalseAlarms {
        /// The detector.
        of: DetectorIx,
        /// Upper limit.
        at_most: EventRate,
        /// Path of the labels, relative to the plan's folder.
        labels: String,
        /// Confidence with which it must be shown, two-sided, 0 to 1.
        confidence: Option<Q>,
    },
    /// Depth of a module in every design case (each module on a section or between two when `of` is absent), m; one limit at least.
    ModuleDepth {
        /// The module.
        of: Option<ModuleIx>,
        /// Limits, m.
        limits: Limits,
    },
    /// Angle from the vertical of the line at a module in every design case (each module on a section or between two when `of` is absent), degrees.
    ModuleTilt {
        /// The module.
        of: Option<ModuleIx>,
        /// Upper limit, degrees.
        at_most_deg: Q,
    },
    /// Voltage at a module (at each when `of` is absent) with nothing drawn and every supply at its highest, V; without a limit against the module's own maximum.
    HighestVoltage {
        /// The module.
        of: Option<ModuleIx>,
        /// Upper limit, V.
        at_most_v: Option<Q>,
    },
    /// Tension of a section in every design case (each when `of` is absent), N; without a limit the working load of its rope.
    LineTension {
        /// The section.
        of: Option<SectionIx>,
        /// Upper limit, N.
        at_most_n: Option<Q>,
    },
    /// How many times the pull on an anchor (each when `of` is absent) its holding is; without a limit its own safety factor.
    AnchorLoad {
        /// Index into [`crate::Line::anchors`].
        of: Option<usize>,
        /// Lower limit, 1 for a holding that is the load itself.
        at_least: Option<Q>,
    },
    /// How much deeper than the bed at the highest water a housing is rated (each in the water, and each float, when `of` is absent),
    /// m; without a limit not at all.
    HousingMargin {
        /// The module.
        of: Option<ModuleIx>,
        /// Lower limit, m.
        at_least_m: Option<Q>,
    },
    /// How far what holds the top of a line goes from above its anchor in every design case (each when `of` is absent), m.
    WatchCircle {
        /// The module that holds it.
        of: Option<ModuleIx>,
        /// Upper limit, m.
        at_most_m: Q,
    },
    /// How far a buoy (each when `of` is absent) is seen from the place that was planned for its anchor, m.
    OnStation {
        /// The module.
        of: Option<ModuleIx>,
        /// Upper limit, m.
        at_most_m: Q,
        /// Circle about the place in which the anchor comes to lie with 95 %, m.
        laying_error_m: Q,
        /// Circle in which 95 % of fixes lie, m.
        fix_error_m: Q,
        /// Share of layings and fixes in which it must hold, 0 to 1.
        share: Q,
    },
    /// Hours of a tide at springs in which the strum of the rope beside a hydrophone (each with a detector when `of` is absent) lies in the band of a detector, s.
    StrumHours {
        /// The sensor.
        of: Option<SensorIx>,
        /// Upper limit, s.
        at_most_s: Q,
    },
    /// Chance that a module (each on a line when `of` is absent) comes back by some means of recovery.
    RecoveryChance {
        /// The module.
        of: Option<ModuleIx>,
        /// Lower limit, 0 to 1.
        at_least: Q,
    },
    /// Net lift of what a parting frees with a module on it, the least over all partings, at the end of the deployment with the one thing flooded that costs most, N.
    PartedLift {
        /// Lower limit, N.
        at_least_n: Q,
    },
    /// Rope of a line that has parted and may lie at the surface, the most over all partings, m.
    SurfaceSlack {
        /// Upper limit, m.
        at_most_m: Q,
    },
    /// Time for which anodes protect a metal and all that it touches (each group that has any or needs them when `of` is absent).
    AnodeLife {
        /// Index into [`crate::Line::metals`].
        of: Option<usize>,
        /// Lower limit, s; the longest time in the water when `None`.
        at_least_s: Option<Q>,
    },
    /// Current that the anodes of a metal and all that it touches can give, in terms of what these take (each group that has any or needs them when `of` is absent).
    AnodeCurrent {
        /// Index into [`crate::Line::metals`].
        of: Option<usize>,
        /// Lower limit, a ratio; 1 when `None`.
        at_least: Option<Q>,
    },
    /// Usable charge of a battery (each that is charged when `of` is absent) when it is deployed, at the latest start, 0 to 1.
    ChargeAtDeployment {
        /// The supply.
        of: Option<SupplyIx>,
        /// Lower limit, 0 to 1.
        at_least: Q,
    },
    /// Chance that every module and every span has something in its place that works, by what is aboard, 0 to 1.
    Spares {
        /// Lower limit, 0 to 1.
        at_least: Q,
    },
    /// Chance that the sea lets the work be done within the slips, for laying and for bringing back, 0 to 1.
    WeatherWindow {
        /// Lower limit, 0 to 1.
        at_least: Q,
    },
    /// Share of the time in which waves and its own heave clip the chain of a hydrophone (each when `of` is absent) in the worst month, 0 to 1.
    HeaveOverload {
        /// The sensor.
        of: Option<SensorIx>,
        /// Upper limit, 0 to 1.
        at_most: Q,
    },
    /// Share of the hours of the worst month in which hydrophones hear, 0 to 1, in the share of years that the requirement names.
    ListeningShare {
        /// Which.
        of: Listeners,
        /// Lower limit, 0 to 1.
        at_least: Q,
        /// Confidence with which the share of years must be shown, 0 to 1.
        confidence: Option<Q>,
    },
    /// The longest time in a year in which hydrophones do not hear, s, in the share of years that the requirement names.
    ListeningGap {
        /// Which.
        of: Listeners,
        /// Upper limit, s.
        at_most_s: Q,
        /// Confidence with which the share of years must be shown, 0 to 1.
        confidence: Option<Q>,
    },
    /// How old the calibration of a hydrophone is at the latest start (each when `of` is absent).
    CalibrationAge {
        /// The hydrophone.
        of: Option<SensorIx>,
        /// Upper limit.
        at_most: Age,
    },
    /// A document attests it from the planned start to the latest recovery.
    Attested {
        /// The document; `None` while there is none.
        attested: Option<Attestation>,
    },
    /// All expectations of a cue sheet hold in a rehearsal.
    Rehearsed {
        /// Path of the cue sheet, relative to the plan's folder.
        cues: String,
        /// Where it was written.
        at: Site,
    },
}

/// Calls that come together.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Encounter {
    /// How many.
    pub calls: u64,
    /// Share of the variance of one call that is common to all of them, 0 to 1.
    pub correlation: f64,
}
