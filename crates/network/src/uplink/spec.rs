//! What an uplink is like, what it tells, and what makes no sense.

use timeline::Ns;

/// What an uplink is like.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct UplinkSpec {
    /// How long one attempt lasts.
    pub session: Ns,
    /// When the far end can be reached.
    pub windows: Windows,
    /// Which attempts fail.
    pub failure: Failure,
    /// How long to wait after a failed attempt.
    pub backoff: BackOff,
    /// Messages older than this at an attempt are dropped; `None` keeps them for ever.
    pub expiry: Option<Ns>,
    /// Bytes of one billed message.
    pub message_bytes: u32,
    /// Bytes of each billed message that carry no message of the line: header, position, time.
    pub overhead_bytes: u32,
    /// Bytes added to each message of the line.
    pub stamp_bytes: u32,
    /// How long a message may wait for others to share a billed message; `None` sends each by itself.
    pub pack: Option<Ns>,
    /// Messages of this priority or a lower number are not held for others, and may go on at the cap; `None` has no such messages.
    pub urgent: Option<u8>,
    /// How many messages may wait; `None` is as many as there are.
    pub room: Option<Room>,
    /// Billed messages after which a month is over before its end.
    pub cap: Option<Cap>,
    /// Whether attempts that fail are billed like those that succeed.
    pub bills_failed: bool,
}

impl UplinkSpec {
    /// An uplink that can always be reached, never fails, keeps every message and sends each by itself at once.
    #[must_use]
    pub const fn plain(session: Ns, message_bytes: u32) -> UplinkSpec {
        UplinkSpec {
            session,
            windows: Windows::Always,
            failure: Failure::Never,
            backoff: BackOff::steady(Ns::ZERO),
            expiry: None,
            message_bytes,
            overhead_bytes: 0,
            stamp_bytes: 0,
            pack: None,
            urgent: None,
            room: None,
            cap: None,
            bills_failed: false,
        }
    }

    /// Bytes of one billed message that carry messages of the line.
    #[must_use]
    pub const fn room_bytes(&self) -> u32 {
        self.message_bytes.saturating_sub(self.overhead_bytes)
    }

    /// How many messages of so many bytes share one billed message: 0 when one alone does not fit.
    #[must_use]
    pub fn capacity(&self, bytes: u32) -> u64 {
        let each = u64::from(bytes) + u64::from(self.stamp_bytes);
        match each {
            0 => u64::MAX,
            each => u64::from(self.room_bytes()) / each,
        }
    }

    /// How many billed messages a message of so many bytes takes by itself.
    #[must_use]
    pub fn billed_alone(&self, bytes: u32) -> u64 {
        let each = u64::from(bytes) + u64::from(self.stamp_bytes);
        each.div_ceil(u64::from(self.room_bytes()).max(1)).max(1)
    }
}

/// How long to wait after a failed attempt: `first`, times `growth` at each further failure in a row, never more than `longest`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct BackOff {
    /// After the first failure in a row.
    pub first: Ns,
    /// Factor from failure to failure, at least 1.
    pub growth: u32,
    /// Longest.
    pub longest: Ns,
}

impl BackOff {
    /// The same after every failure.
    #[must_use]
    pub const fn steady(wait: Ns) -> BackOff {
        BackOff {
            first: wait,
            growth: 1,
            longest: wait,
        }
    }

    /// After so many failures in a row, from 1.
    #[must_use]
    pub fn after(&self, failures: u32) -> Ns {
        let mut wait = self.first;
        for _ in 1..failures {
            if wait >= self.longest || wait == Ns::ZERO || self.growth == 1 {
                break;
            }
            wait = Ns(wait.0.saturating_mul(u64::from(self.growth)));
        }
        wait.min(self.longest)
    }
}

/// How many messages may wait, those being tried included.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Room {
    /// At most so many.
    pub messages: u64,
    /// Which of those of the least urgent priority goes when there is one too many.
    pub gives_up: GivesUp,
}

/// Which of several goes first.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum GivesUp {
    /// The one that has waited longest.
    Oldest,
    /// The one that came last.
    Newest,
}

/// The most that is billed in a month.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Cap {
    /// Length of a month; the first begins at zero.
    pub month: Ns,
    /// Billed messages.
    pub messages: u64,
    /// What happens then.
    pub then: AtCap,
}

/// What happens at the cap.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum AtCap {
    /// Nothing is sent until the month is over.
    Stop,
    /// Only urgent messages are sent, above the cap.
    UrgentOnly,
}

/// When the far end can be reached.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Windows {
    /// At any time.
    Always,
    /// From `first + k period` for `width`, k = 0, 1, 2 ...; an attempt may end at the very end of a window.
    Every {
        /// Begin of the first window.
        first: Ns,
        /// From one begin to the next.
        period: Ns,
        /// Length of a window.
        width: Ns,
    },
}

/// Which attempts fail, apart from those that an outage touches.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Failure {
    /// None.
    Never,
    /// Every n-th, counted over all attempts.
    EveryNth(u64),
    /// The master says, attempt by attempt: [`Uplink::step_asking`](super::Uplink::step_asking).
    Asked,
}

/// How an attempt went.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Outcome {
    /// The messages are ashore.
    Arrived,
    /// They are not.
    Failed,
}

/// A message for the shore.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct UplinkMessage {
    /// The master's number for it.
    pub id: u64,
    /// Its size in bytes.
    pub bytes: u32,
    /// Its priority: lower numbers go first.
    pub priority: u8,
}

/// What an uplink tells. An attempt that carries several messages is told message by message, in the order in which they are packed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum UplinkEvent {
    /// An attempt begins.
    Started {
        /// Which message.
        id: u64,
        /// Number of the attempt, from 1.
        attempt: u64,
        /// When.
        at: Ns,
    },
    /// A message is ashore.
    Sent {
        /// Which message.
        id: u64,
        /// Number of the attempt.
        attempt: u64,
        /// When it was offered.
        offered: Ns,
        /// When its session ended.
        at: Ns,
        /// How many messages are billed for the attempt, told with its first message; 0 with the others.
        billed: u32,
    },
    /// An attempt failed; the message waits on.
    Failed {
        /// Which message.
        id: u64,
        /// Number of the attempt.
        attempt: u64,
        /// When its session ended.
        at: Ns,
        /// How many messages are billed for the attempt all the same, told with its first message; 0 with the others.
        billed: u32,
    },
    /// A message was too old when an attempt could have begun.
    Expired {
        /// Which message.
        id: u64,
        /// When it was offered.
        offered: Ns,
        /// When it was dropped.
        at: Ns,
    },
    /// The month's cap is reached: what is not urgent waits for the next.
    CapReached {
        /// Billed messages of the month.
        billed: u64,
        /// When.
        at: Ns,
    },
}

/// Counters of an uplink. `offered = sent + expired + dropped + waiting` at every instant.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct UplinkStats {
    /// Messages offered.
    pub offered: u64,
    /// Messages ashore.
    pub sent: u64,
    /// Messages dropped for their age.
    pub expired: u64,
    /// Messages dropped because too many waited.
    pub dropped: u64,
    /// Messages waiting or being tried.
    pub waiting: u64,
    /// Attempts begun.
    pub attempts: u64,
    /// Messages billed.
    pub billed: u64,
    /// Months in which the cap was reached.
    pub months_capped: u64,
}

/// An uplink or a call that makes no sense; nothing has changed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum UplinkError {
    /// A session of no length.
    #[error("a session of 0 s is no session")]
    NoSession,
    /// A billed message of no bytes.
    #[error("a billed message of 0 bytes carries nothing")]
    NoMessageSize,
    /// A billed message that its overhead fills.
    #[error(
        "an overhead of {overhead_bytes} bytes leaves nothing of a billed message of {message_bytes} bytes"
    )]
    OverheadFills {
        /// Overhead.
        overhead_bytes: u32,
        /// Billed message.
        message_bytes: u32,
    },
    /// Every 0th attempt.
    #[error("every 0th attempt is no attempt; use `Never`")]
    NoNth,
    /// A back-off that shrinks.
    #[error("a back-off that grows by a factor of 0 is none; use 1 for a steady one")]
    NoGrowth,
    /// A longest back-off below the first.
    #[error("the longest back-off, {longest}, is shorter than the first, {first}")]
    LongestTooShort {
        /// First.
        first: Ns,
        /// Longest.
        longest: Ns,
    },
    /// A queue without room.
    #[error("a queue of 0 messages keeps nothing until an attempt begins")]
    NoRoom,
    /// A cap of nothing, or a month of no length.
    #[error("a cap of {messages} messages in a month of {month} lets nothing go")]
    NoCap {
        /// Billed messages.
        messages: u64,
        /// Month.
        month: Ns,
    },
    /// A window longer than the period.
    #[error("a window of {width} is longer than its period of {period}")]
    WindowsOverlap {
        /// Window length.
        width: Ns,
        /// Period.
        period: Ns,
    },
    /// No attempt fits into a window.
    #[error(
        "a session of {session} does not fit into a window of {width}: nothing would ever be sent"
    )]
    WindowTooShort {
        /// Session length.
        session: Ns,
        /// Window length.
        width: Ns,
    },
    /// An outage that ends before it begins.
    #[error("an outage from {from} to {to} has no length")]
    NoOutage {
        /// Begin.
        from: Ns,
        /// End.
        to: Ns,
    },
    /// The uplink has gone past this instant.
    #[error("{now} is late: the uplink has reached {reached}")]
    Late {
        /// Instant named.
        now: Ns,
        /// Instant reached.
        reached: Ns,
    },
    /// Something earlier is still to be done: step first.
    #[error("{now} is early: the uplink has something to do at {pending} first")]
    Early {
        /// Instant named.
        now: Ns,
        /// Instant of what comes next.
        pending: Ns,
    },
    /// With [`Failure::Asked`] only [`Uplink::step_asking`](super::Uplink::step_asking) can end an attempt.
    #[error("the outcome of attempt {attempt} must be asked for, and this step asks nobody")]
    NobodyAsked {
        /// Number of the attempt.
        attempt: u64,
    },
}
