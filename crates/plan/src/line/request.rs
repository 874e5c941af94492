//! Questions and answers, and joining notices.

use quantity::EventRate;

use super::{ModuleIx, Q, TopicField};
use crate::site::Site;

/// What a question or an answer carries.
#[derive(Clone, Debug)]
pub enum Payload {
    /// So many bytes of which nothing more is said.
    Size(u32),
    /// Packed fields.
    Fields(Vec<TopicField>),
}

impl Payload {
    /// Its fields; none of one that gives a size only.
    #[must_use]
    pub fn fields(&self) -> &[TopicField] {
        match self {
            Payload::Size(_) => &[],
            Payload::Fields(fields) => fields,
        }
    }
}

/// A question to one module that is to be answered within a time.
#[derive(Clone, Debug)]
pub struct Request {
    /// Id.
    pub id: String,
    /// Where it was declared.
    pub at: Site,
    /// The module that is asked.
    pub to: ModuleIx,
    /// What the question carries.
    pub question: Payload,
    /// What the answer carries.
    pub answer: Payload,
    /// Longest time from asking to the answer, s.
    pub within_s: Q,
    /// Priority of both: 0 goes first.
    pub priority: u8,
    /// Most questions of one module in a time, enforced at run time.
    pub at_most: Option<EventRate>,
}

/// What a module tells of itself when it has come up.
#[derive(Clone, Copy, Debug)]
pub struct Joining {
    /// Where it was declared.
    pub at: Site,
    /// Payload size, B; that of the notice in CBOR when absent.
    pub size_bytes: Option<u32>,
    /// Priority: 0 goes first.
    pub priority: u8,
    /// Whether every module is told, not only those with a matching filter.
    pub to_all: bool,
}
