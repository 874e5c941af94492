//! Long work, asked for as jobs.

/// Jobs that run at once.
pub(crate) const MOST_AT_ONCE: usize = 4;
