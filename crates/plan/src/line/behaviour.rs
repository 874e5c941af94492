//! What modules do, and what starts it.

use std::sync::Arc;

use quantity::EventRate;

use super::routine::Routine;
use super::{DetectorIx, ModuleIx, NoticeKind, OutputIx, Q, RequestIx, TopicIx, UplinkIx, VoteIx};
use crate::site::Site;

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
    /// What it does, in order; of a routine the most that one run does.
    pub actions: Vec<Action>,
    /// The program that decides what is done. A routine that several things start stands in the line once for each, with the same id.
    pub routine: Option<Arc<Routine>>,
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
    /// A vote on the same module is carried.
    Voted {
        /// The vote.
        vote: VoteIx,
    },
    /// A message whose topic the filter matches.
    Told {
        /// Topic filter (OASIS MQTT 5.0).
        filter: String,
    },
    /// A question to its own module.
    Asked {
        /// The request.
        request: RequestIx,
    },
    /// An answer in time to a question of its own module; of a routine, also that there is none.
    Answered {
        /// The request.
        request: RequestIx,
    },
    /// A question of its own module has no answer: none in time, no way to the module that is asked, or held back by the request's `at_most`.
    Unanswered {
        /// The request.
        request: RequestIx,
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
        /// What its fields hold, one value a field; absent where the plan says nothing of it.
        values: Option<Vec<FieldValue>>,
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
        /// What its fields hold, one value a field; absent where the plan says nothing of it: then what was told, if it was of this topic.
        values: Option<Vec<FieldValue>>,
    },
    /// Enter a state of its own module.
    Enter {
        /// Index into the module's loads.
        state: usize,
        /// For how long, s.
        for_s: Q,
    },
    /// Ask another module.
    Ask {
        /// The request.
        request: RequestIx,
        /// What the fields of the question hold, one value a field; absent where the plan says nothing of it.
        values: Option<Vec<FieldValue>>,
    },
    /// Answer the question that started the behaviour.
    Answer {
        /// The request.
        request: RequestIx,
        /// What the fields of the answer hold, one value a field; absent where the plan says nothing of it.
        values: Option<Vec<FieldValue>>,
    },
    /// Set the trigger of a detector of its own module; of a routine, to anything that is settable.
    Set {
        /// The detector.
        detector: DetectorIx,
        /// Its threshold, dB, re the reference of the trigger's own; as it is when absent.
        threshold_db: Option<f64>,
        /// Its hold-off, s; as it is when absent.
        hold_off_s: Option<f64>,
    },
    /// Write a line to the log.
    Log {
        /// The text.
        text: String,
    },
}

/// What a field of a message is to hold.
#[derive(Clone, Debug, PartialEq)]
pub enum FieldValue {
    /// A number of which nothing is said: the code for no data.
    NoData,
    /// A number, in the field's unit.
    Number(f64),
    /// One of the field's list, from 0.
    Choice(u32),
    /// Yes or no.
    Flag(bool),
    /// An instant, ns since 1970-01-01T00:00:00Z.
    Time(i64),
    /// A measure of the event that led to it.
    Event(Measure),
    /// The field of this name of the message, question or answer that led to it.
    Message(String),
    /// The instant at which it is published.
    Now,
}

/// A measure of an event.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Measure {
    /// Mean level of its cells, dB.
    Level,
    /// Highest level of a cell, dB.
    Peak,
    /// Greatest excess, dB.
    Score,
    /// Background at its first cell, dB.
    Background,
    /// Length, s.
    Length,
    /// Number of pulses.
    Pulses,
    /// Mean interval between pulses, s.
    Interval,
    /// Frequency of a ridge at its begin, Hz.
    From,
    /// Frequency of a ridge at its end, Hz.
    To,
    /// When it begins.
    Begin,
    /// When it ends.
    End,
}

impl Measure {
    /// All of them.
    pub const ALL: [Measure; 11] = [
        Measure::Level,
        Measure::Peak,
        Measure::Score,
        Measure::Background,
        Measure::Length,
        Measure::Pulses,
        Measure::Interval,
        Measure::From,
        Measure::To,
        Measure::Begin,
        Measure::End,
    ];

    /// Its name, as it stands behind `event.`.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Measure::Level => "level",
            Measure::Peak => "peak",
            Measure::Score => "score",
            Measure::Background => "background",
            Measure::Length => "length",
            Measure::Pulses => "pulses",
            Measure::Interval => "interval",
            Measure::From => "from",
            Measure::To => "to",
            Measure::Begin => "begin",
            Measure::End => "end",
        }
    }

    /// Whether it is an instant.
    #[must_use]
    pub fn is_instant(self) -> bool {
        matches!(self, Measure::Begin | Measure::End)
    }

    /// Its unit, that of a level without its reference; empty for a bare number.
    #[must_use]
    pub fn unit(self) -> &'static str {
        match self {
            Measure::Level | Measure::Peak | Measure::Background | Measure::Score => "dB",
            Measure::Length | Measure::Interval => "s",
            Measure::From | Measure::To => "Hz",
            Measure::Pulses | Measure::Begin | Measure::End => "",
        }
    }
}
