//! Faults of a cue sheet: what goes wrong, where, and from when to when.

use crate::line::{ModuleIx, Q, SensorIx, SpanIx, StorageIx, SupplyIx, TopicIx, UplinkIx};
use crate::site::Site;

/// Index into [`CueSheet::faults`](crate::CueSheet::faults).
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub struct FaultIx(pub usize);

/// Something that goes wrong, and perhaps right again.
#[derive(Clone, Debug)]
pub struct Fault {
    /// Id.
    pub id: String,
    /// Where it was declared.
    pub at: Site,
    /// When it begins, s.
    pub at_s: Q,
    /// When it is over, s; never when absent. A restart is over as it begins.
    pub until_s: Option<Q>,
    /// What it is.
    pub what: FaultKind,
}

impl Fault {
    /// When it is over, s: a restart at once; `None` when it lasts for good.
    #[must_use]
    pub fn over_s(&self) -> Option<f64> {
        match self.what {
            FaultKind::Restart { .. } | FaultKind::ClockStep { .. } => Some(self.at_s.si),
            _ => self.until_s.map(|q| q.si),
        }
    }
}

/// A fault.
#[derive(Clone, Copy, PartialEq, Debug)]
pub enum FaultKind {
    /// A span is cut: neither power nor data.
    Cut(SpanIx),
    /// A span opens and closes: neither power nor data while it is open. It begins open.
    Intermittent {
        /// The span.
        span: SpanIx,
        /// How long it is open each time, or on the mean, s.
        down_s: Q,
        /// How long it is whole each time, or on the mean, s.
        up_s: Q,
        /// Whether these times are always the same.
        lengths: Lengths,
    },
    /// A contact of a span has more resistance.
    BadContact {
        /// The span.
        span: SpanIx,
        /// Added to the loop, ohm.
        resistance_ohm: Q,
    },
    /// A module is taken off the line.
    Unplugged {
        /// The module.
        module: ModuleIx,
        /// What it leaves behind.
        leaves: Leaves,
    },
    /// A module's program hangs; it keeps its power.
    Hang(ModuleIx),
    /// A module is dead.
    Dead(ModuleIx),
    /// A module restarts once.
    Restart {
        /// The module.
        module: ModuleIx,
        /// What restarts it.
        by: RestartBy,
    },
    /// A module restarts again and again, each time that it has worked for a time.
    RebootLoop {
        /// The module.
        module: ModuleIx,
        /// How long it works each time, s.
        after_s: Q,
    },
    /// An uplink cannot be reached.
    NoUplink(UplinkIx),
    /// A store is taken up by something else: nothing more fits.
    StorageFull(StorageIx),
    /// A supply gives nothing.
    NoSupply(SupplyIx),
    /// A supply has a lower voltage.
    BrownOut {
        /// The supply.
        supply: SupplyIx,
        /// Its open-circuit voltage, V.
        voltage_v: Q,
    },
    /// Another supply stands in the place of one.
    Swapped {
        /// The supply.
        supply: SupplyIx,
        /// Its open-circuit voltage, V.
        voltage_v: Q,
        /// Its source resistance, ohm.
        resistance_ohm: Q,
        /// Its current limit, A.
        current_limit_a: Option<Q>,
    },
    /// A supply gives only so much more, and then nothing.
    Drained {
        /// The supply.
        supply: SupplyIx,
        /// What it can still give, J.
        energy_j: Q,
    },
    /// Bits arrive wrong on a span, or on the whole bus that it is a piece of.
    BitErrors {
        /// The span.
        span: SpanIx,
        /// Share of bits.
        rate: Q,
    },
    /// The clock of a module jumps.
    ClockStep {
        /// The module.
        module: ModuleIx,
        /// By how much it jumps ahead, s.
        step_s: Q,
    },
    /// A hydrophone gives its detectors nothing, and its module works on.
    Deaf(SensorIx),
    /// A broken module publishes a topic at fixed intervals.
    Flood {
        /// The module.
        module: ModuleIx,
        /// The topic.
        topic: TopicIx,
        /// From message to message, s.
        every_s: Q,
        /// Whether the topic's `at_most` still holds at this module.
        limited: bool,
    },
}

/// How the times of a fault that comes and goes are found.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Lengths {
    /// Always the same.
    Fixed,
    /// Drawn anew each time from an exponential law.
    Exponential,
}

/// What a module leaves behind that is taken off the line.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Leaves {
    /// Every span that ends at it is open.
    Gap,
    /// The line goes on past its place, as past a module without power.
    Joined,
}

/// What restarts a module.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum RestartBy {
    /// Its power is taken and given back: it comes up as after a trip.
    Power,
    /// Its watchdog: it boots at once.
    Watchdog,
}
