//! Blocks: consecutive samples of one channel with their place in the stretch.

use crate::error::StreamError;

/// Consecutive samples of one channel.
///
/// `first` is the absolute index of `x[0]` since the origin of the stretch; the caller keeps the clock. The unit of `x` is
/// the caller's to state: micropascals, volts or counts. The same type carries decimated samples, with `first` counted in
/// decimated samples.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Block<'a> {
    /// Absolute index of `x[0]` since the stretch's origin.
    pub first: u64,
    /// The samples.
    pub x: &'a [f32],
}

impl<'a> Block<'a> {
    /// A block of samples `x` whose first sample has the absolute index `first`.
    pub fn new(first: u64, x: &'a [f32]) -> Self {
        Self { first, x }
    }
}

/// Far enough under 2^64 that no window, hop or factor carries an index past it.
const LAST_INDEX: u64 = 1 << 62;

/// Keeps track of the sample that is due next; the first block of a stretch may begin anywhere.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(crate) struct Cursor {
    next: Option<u64>,
}

impl Cursor {
    /// Accepts `samples` samples from `first` on; tells whether this is the first block of the stretch.
    pub(crate) fn accept(&mut self, first: u64, samples: usize) -> Result<bool, StreamError> {
        if let Some(expected) = self.next
            && expected != first
        {
            return Err(StreamError::OutOfOrder {
                expected,
                found: first,
            });
        }
        let end = first
            .checked_add(samples as u64)
            .filter(|end| *end <= LAST_INDEX)
            .ok_or(StreamError::IndexOverflow { first, samples })?;
        let starts = self.next.is_none();
        self.next = Some(end);
        Ok(starts)
    }
}
