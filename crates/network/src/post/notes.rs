//! What the post tells besides deliveries and drops.

use timeline::Ns;

use crate::machine::{DropReason, MessageId, TopicId};

/// Something that became of a copy of a message on terms.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Note {
    /// When.
    pub at: Ns,
    /// Which message.
    pub message: MessageId,
    /// On which topic.
    pub topic: TopicId,
    /// The subscriber for which the copy is.
    pub node: usize,
    /// What.
    pub kind: NoteKind,
}

/// What became of it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NoteKind {
    /// It waits at its publisher for a path.
    Kept,
    /// It goes, after it waited.
    Released,
    /// It was lost on its way, and will be sent again.
    Missed {
        /// Why.
        reason: DropReason,
    },
    /// It is sent once more.
    Again {
        /// Which sending this is: 2 for the first repeat.
        sending: u32,
    },
    /// Its receiver has it already: it is removed.
    Duplicate,
    /// It was sent as the value held, and its receiver has it already: it is removed, and nothing more comes of it.
    Had,
    /// Its receiver had it, or held it for too old, before it stopped, and takes it for new: the delivery beside this note is one more than is due.
    Repeated,
    /// Its publisher has the acknowledgement.
    Acknowledged,
    /// An acknowledgement was lost on its way.
    AnswerLost {
        /// Why.
        reason: DropReason,
    },
    /// It was delivered, but its publisher gave up waiting for the acknowledgement.
    Unconfirmed,
    /// Its publisher sends it as the value it holds, because the subscriber can be reached again.
    Retained,
}
