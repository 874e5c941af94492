//! What a detector tells, and when each thing could be known.

/// Number of an event within one detector: 0, 1, 2 ... in the order of their onsets, never used twice, also not
/// after a gap.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct EventId(pub u64);

/// Why a begun event came to nothing.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Reason {
    /// It fell below `off_below_db` before `shortest_s` had passed. It had not been confirmed.
    TooShort,
    /// It lasted longer than `longest_s`. With [`crate::Confirm::Early`] it had been confirmed and is hereby taken
    /// back; with [`crate::Confirm::AtEnd`] it had not.
    TooLong,
    /// A train in which no pulse followed within `max_interval_s` before enough had come. Not confirmed.
    TooFewPulses,
    /// A ridge whose straight line is not as steep as asked, or goes the other way. Not confirmed.
    WrongSlope,
    /// The logistic judgement found it not likely enough. Not confirmed.
    Unlikely,
    /// The stretch of samples ended (gap or end of input) before it could be confirmed.
    StretchEnded,
}

/// How a finished event came to its end.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ending {
    /// The level fell below `off_below_db`, or no further pulse came.
    Quiet,
    /// The stretch of samples ended while the event was going on: its true end is unknown, `end_sample` is the end
    /// of the last cell heard.
    StretchEnded,
}

/// The straight line through a ridge.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sweep {
    /// Its frequency at the begin of the event, Hz.
    pub from_hz: f64,
    /// Its frequency at the end of the event, Hz.
    pub to_hz: f64,
}

/// The intervals between the pulses of a train, begin to begin of their cells.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Intervals {
    /// Their mean, s.
    pub mean_s: f64,
    /// Their standard deviation (of all of them, not of a sample) over their mean.
    pub spread: f64,
}

/// A finished sound.
///
/// Samples are counted at the rate of the input since the origin of the stretch; `begin_sample` is the first sample
/// of the event, `end_sample` the first after it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Event {
    /// The number under which its onset was told.
    pub id: EventId,
    /// First sample of the first cell (for a train: of the cell of the first pulse).
    pub begin_sample: u64,
    /// Sample after the last cell (for a train: after the cell of the last pulse).
    pub end_sample: u64,
    /// Middle of the tile of the highest cell (the first of equals).
    pub peak_sample: u64,
    /// Highest cell level, dB re 1 uPa (re 1 uPa^2 s after an exposure stage).
    pub peak_level_db: f64,
    /// Energy mean of the cell levels (for a train: of the levels of its pulses), same reference.
    pub mean_level_db: f64,
    /// Background at the first cell (or pulse), same reference; of a ridge that of the frequency of its first peak. `None`
    /// without a background stage, and after a likeness.
    pub background_db: Option<f64>,
    /// Greatest excess: over the background where there is such a stage, otherwise over `on_above_db`.
    pub score_db: f64,
    /// Number of pulses of a train; `None` for a trigger.
    pub pulses: Option<u32>,
    /// The straight line through a ridge; `None` otherwise.
    pub sweep: Option<Sweep>,
    /// Intervals of a train of two pulses or more; `None` otherwise.
    pub intervals: Option<Intervals>,
    /// Whether its end was heard.
    pub ending: Ending,
}

/// What is told while listening.
///
/// Each event is told as one of: onset, dropped; onset, confirmed, ended; onset, confirmed, dropped (too long, only
/// with [`crate::Confirm::Early`]).
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Notice {
    /// A sound may have begun.
    Onset(EventId),
    /// It has met what the stage asks for.
    Confirmed(EventId),
    /// It is over.
    Ended(Event),
    /// It came to nothing, or is taken back.
    Dropped(EventId, Reason),
}

impl Notice {
    /// The event that the notice is about.
    #[must_use]
    pub fn id(&self) -> EventId {
        match self {
            Self::Onset(id) | Self::Confirmed(id) | Self::Dropped(id, _) => *id,
            Self::Ended(event) => event.id,
        }
    }
}

/// A notice with the instant it could be known.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Told {
    /// What is told.
    pub notice: Notice,
    /// Index, since the origin of the stretch, of the last input sample that was needed to know it. Never falls
    /// within a stretch.
    pub known_at_sample: u64,
}
