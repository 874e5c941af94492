//! Paid links ashore.

use quantity::Money;

use super::{ModuleIx, Q};
use crate::site::Site;

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
    /// The same by the state of the sea, calmest first; all rows by wind or all by wave height.
    pub success_by: Vec<SeaState>,
    /// Wait after a failed attempt, s.
    pub back_off_s: Option<Q>,
    /// Factor by which it grows from failure to failure, and its longest, s.
    pub back_off_grows: Option<(u32, Q)>,
    /// Age at which a message is given up, s.
    pub expiry_s: Option<Q>,
    /// State of the module while sending: index into its loads.
    pub sending_state: Option<usize>,
    /// Bytes of each billed message that carry nothing of the line.
    pub overhead_bytes: u32,
    /// Bytes added to each message of the line.
    pub adds_bytes: u32,
    /// How long a message waits for others, s; each goes by itself when absent.
    pub pack_within_s: Option<Q>,
    /// Topics of this priority or a lower number are urgent.
    pub urgent: Option<u8>,
    /// Messages that may wait, and which goes when one too many does.
    pub room: Option<(u32, GivesUp)>,
    /// Billed messages a month that cost nothing.
    pub included: u32,
    /// Least that a month costs.
    pub minimum_charge: Option<Money>,
    /// Most that a month may cost, and what happens then.
    pub cap: Option<(Money, AtCap)>,
    /// Whether the service finds damaged messages by itself.
    pub checked: bool,
}

impl Uplink {
    /// What so many billed messages cost in a month; `None` when that is more than can be counted.
    #[must_use]
    pub fn cost(&self, billed: u64) -> Option<Money> {
        let paid = self
            .price
            .times(billed.saturating_sub(u64::from(self.included)))?;
        Some(match self.minimum_charge {
            Some(least) if least.minor > paid.minor => least,
            _ => paid,
        })
    }

    /// Most billed messages that a month may have so that it costs no more than this; `None` where messages cost nothing, or where even
    /// none cost more.
    #[must_use]
    pub fn affordable(&self, most: Money) -> Option<u64> {
        if self.price.minor <= 0 || self.minimum_charge.is_some_and(|m| m.minor > most.minor) {
            return None;
        }
        let paid = u64::try_from(most.minor / self.price.minor).ok()?;
        Some(paid + u64::from(self.included))
    }
}

/// A chance of success up to a state of the sea.
#[derive(Clone, Copy, Debug)]
pub struct SeaState {
    /// Up to which.
    pub up_to: SeaLimit,
    /// Chance that an attempt succeeds, 0 to 1.
    pub success: Q,
}

/// By what a state of the sea is told.
#[derive(Clone, Copy, Debug)]
pub enum SeaLimit {
    /// Wind, m/s.
    Wind(Q),
    /// Significant wave height, m.
    WaveHeight(Q),
}

impl SeaLimit {
    /// The number, m/s or m.
    #[must_use]
    pub fn q(self) -> Q {
        match self {
            SeaLimit::Wind(q) | SeaLimit::WaveHeight(q) => q,
        }
    }
}

/// Which message goes first when there is no room.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum GivesUp {
    /// The one that has waited longest.
    Oldest,
    /// The one that came last.
    Newest,
}

/// What happens at the cap of a month.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum AtCap {
    /// Nothing is sent until the next month.
    Stop,
    /// Only urgent messages are sent, above the cap.
    UrgentOnly,
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
