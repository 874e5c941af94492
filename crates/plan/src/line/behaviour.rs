//! What modules do, and what starts it.

use quantity::EventRate;

use super::{DetectorIx, ModuleIx, NoticeKind, OutputIx, Q, TopicIx, UplinkIx, VoteIx};
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
