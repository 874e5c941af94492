//! The names under which a detector stands in C.

use network::{comment, identifier};

/// What leads functions and types, and what leads constants.
pub(crate) struct Words {
    pub(crate) low: String,
    pub(crate) high: String,
    /// The plan's own name, fit for a comment.
    pub(crate) says: String,
}

impl Words {
    pub(crate) fn of(name: &str) -> Self {
        let low = identifier(name, "detector");
        Self {
            high: low.to_ascii_uppercase(),
            low,
            says: comment(name),
        }
    }
}
