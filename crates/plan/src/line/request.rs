//! Questions and answers, and joining notices.

use quantity::EventRate;

use super::{ModuleIx, Q};
use crate::site::Site;

/// A question to one module that is to be answered within a time.
#[derive(Clone, Debug)]
pub struct Request {
    /// Id.
    pub id: String,
    /// Where it was declared.
    pub at: Site,
    /// The module that is asked.
    pub to: ModuleIx,
    /// Payload size of the question, B.
    pub question_bytes: u32,
    /// Payload size of the answer, B.
    pub answer_bytes: u32,
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
