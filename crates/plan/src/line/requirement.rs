//! What must hold.

use quantity::{EventRate, Money};

use super::{DetectorIx, ModuleIx, NoticeKind, OutputIx, Q, SpanIx, StorageIx, SupplyIx, UplinkIx};
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
    /// All expectations of a cue sheet hold in a rehearsal.
    Rehearsed {
        /// Path of the cue sheet, relative to the plan's folder.
        cues: String,
        /// Where it was written.
        at: Site,
    },
}
