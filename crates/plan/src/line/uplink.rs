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
    /// Calm and high seas that last, instead of either.
    pub sea: Option<LastingSea>,
    /// How it is let into its network.
    pub registers: Option<Registers>,
    /// Position fixes.
    pub fix: Option<Fix>,
    /// Usable charge below which it is switched off, 0 to 1.
    pub off_below: Option<Q>,
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
    /// Whether attempts that fail are billed like those that succeed; `None` where the plan does not say, which counts as free.
    pub bills_failed: Option<bool>,
    /// Most that a month may cost, and what happens then.
    pub cap: Option<(Money, AtCap)>,
    /// Whether the service finds damaged messages by itself.
    pub checked: bool,
}

impl Uplink {
    /// Time of one attempt with the registration that each needs, s.
    #[must_use]
    pub fn attempt_s(&self) -> f64 {
        let each = |r: &Registers| r.when == RegistersWhen::EachAttempt;
        let registers_s = self.registers.filter(each).map_or(0.0, |r| r.takes_s.si);
        self.session_s.si + registers_s
    }

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

/// Calm and high seas that follow each other and last.
#[derive(Clone, Copy, Debug)]
pub struct LastingSea {
    /// The sea is high above this.
    pub high_above: SeaLimit,
    /// Chance that an attempt succeeds in a calm sea, 0 to 1.
    pub calm: Q,
    /// Chance that one does in a high sea, no more than in a calm one.
    pub high: Q,
    /// Mean length of a spell of high sea, s; by the wind of the hours when absent.
    pub high_lasts_s: Option<Q>,
}

/// How an uplink is let into its network.
#[derive(Clone, Copy, Debug)]
pub struct Registers {
    /// How long it takes, s.
    pub takes_s: Q,
    /// When it needs it.
    pub when: RegistersWhen,
    /// State of its module meanwhile: index into its loads.
    pub state: Option<usize>,
}

/// When an uplink registers.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum RegistersWhen {
    /// Before each attempt.
    EachAttempt,
    /// Once when its module has power again.
    PowerOn,
}

/// Position fixes of an uplink's module.
#[derive(Clone, Copy, Debug)]
pub struct Fix {
    /// How long one takes, s.
    pub takes_s: Q,
    /// From one to the next, s.
    pub every_s: Q,
    /// State of the module meanwhile: index into its loads.
    pub state: Option<usize>,
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
