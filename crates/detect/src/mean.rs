//! Mean of the last n values, updated in O(log n) without drift.
//!
//! The values are the leaves of a tree of sums; a new value replaces the oldest and the sums above it are formed anew. A
//! running sum from which old values are taken off again would keep the rounding of every loud sound ever heard.

use alloc::vec;
use alloc::vec::Vec;

/// Mean of the last `capacity` values.
#[derive(Clone, Debug)]
pub(crate) struct RunningMean {
    /// Place 1 is the sum of all; the children of place `i` are `2 i` and `2 i + 1`.
    sums: Vec<f64>,
    capacity: usize,
    next: usize,
    held: usize,
}

impl RunningMean {
    pub(crate) fn new(capacity: usize) -> Self {
        Self {
            sums: vec![0.0; 2 * capacity.next_power_of_two()],
            capacity,
            next: 0,
            held: 0,
        }
    }

    pub(crate) fn held(&self) -> usize {
        self.held
    }

    pub(crate) fn capacity(&self) -> usize {
        self.capacity
    }

    pub(crate) fn heap_bytes(&self) -> usize {
        self.sums.capacity() * size_of::<f64>()
    }

    pub(crate) fn clear(&mut self) {
        self.sums.fill(0.0);
        self.next = 0;
        self.held = 0;
    }

    pub(crate) fn push(&mut self, value: f64) {
        let mut at = self.sums.len() / 2 + self.next;
        self.sums[at] = value;
        while at > 1 {
            at /= 2;
            self.sums[at] = self.sums[2 * at] + self.sums[2 * at + 1];
        }
        self.next = (self.next + 1) % self.capacity;
        self.held = (self.held + 1).min(self.capacity);
    }

    /// The mean of the values held; `None` when there are none.
    pub(crate) fn mean(&self) -> Option<f64> {
        // With a single leaf, place 1 is that leaf.
        (self.held > 0).then(|| self.sums[1] / self.held as f64)
    }
}
