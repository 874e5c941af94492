//! Mean squares, or means, over windows anchored at the absolute sample index.
//!
//! Cell `k` covers samples `k * hop` to `k * hop + window` (the end excluded). With `window = q * hop + r` every hop is cut
//! at its sample `r` into a head and a tail: a cell is the heads and tails of `q` hops and one head more, so each sample is
//! squared once. Heads and tails are summed in eight lanes by position, so that a cell has the same bits however the samples
//! were cut.

use alloc::vec;
use alloc::vec::Vec;

use crate::block::{Block, Cursor};
use crate::error::{FilterError, StreamError};

const LANES: usize = 8;
const MAX_SAMPLES: u64 = 1 << 40;
const MAX_HOPS: u64 = 1 << 24;

/// The mean square (or mean) of one window.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cell {
    /// Number of the cell: it begins at sample `k * hop`.
    pub k: u64,
    /// Mean of the squared samples, in the square of their unit; of the samples as they are for a [`Mean`].
    pub mean_square: f64,
    /// Index of the last sample of the cell.
    pub last: u64,
}

/// Mean squares over windows, see [`Windows`].
pub type MeanSquare = Windows<true>;
/// Means over windows of samples that are energies already, see [`Windows`].
pub type Mean = Windows<false>;

/// Means over windows of `window` samples, one every `hop` samples, of the samples squared or as they are.
#[derive(Debug, Clone)]
pub struct Windows<const SQUARED: bool> {
    window: u64,
    hop: u64,
    /// Whole hops in a window.
    hops: u64,
    /// Samples of a hop's head; 0 where windows are whole hops.
    head: u64,
    cursor: Cursor,
    sum: LaneSum<SQUARED>,
    /// The last hops that a window spans, by number modulo their count: sums of head and tail.
    ring: Vec<[f64; 2]>,
    /// Place in the ring of the hop at hand.
    place: usize,
    /// Number of the hop at hand.
    at: u64,
    /// Whole hops heard without a gap, up to what a window spans.
    whole: u64,
    /// Samples still to pass before the first hop that begins inside the stretch.
    skip: u64,
    /// Samples of the hop at hand that were taken.
    taken: u64,
}

impl<const SQUARED: bool> Windows<SQUARED> {
    /// Windows of `window` samples every `hop` samples; windows may overlap or leave gaps.
    ///
    /// # Errors
    /// [`FilterError::Length`] for a length of 0 or above 2^40, or for more than 2^24 hops in a window.
    pub fn new(window: u64, hop: u64) -> Result<Self, FilterError> {
        for (what, samples) in [("window", window), ("hop", hop)] {
            if !(1..=MAX_SAMPLES).contains(&samples) {
                return Err(FilterError::Length {
                    what,
                    samples,
                    max: MAX_SAMPLES,
                });
            }
        }
        let hops = window / hop;
        if hops > MAX_HOPS {
            return Err(FilterError::Length {
                what: "window",
                samples: window,
                max: MAX_HOPS * hop,
            });
        }
        Ok(Self {
            window,
            hop,
            hops,
            head: window % hop,
            cursor: Cursor::default(),
            sum: LaneSum::default(),
            ring: vec![[0.0; 2]; hops as usize + 1],
            place: 0,
            at: 0,
            whole: 0,
            skip: 0,
            taken: 0,
        })
    }

    /// Length of a window, samples.
    pub fn window(&self) -> u64 {
        self.window
    }

    /// Distance between windows, samples.
    pub fn hop(&self) -> u64 {
        self.hop
    }

    /// Memory that it holds, bytes.
    pub fn state_bytes(&self) -> usize {
        size_of::<Self>() + self.ring.capacity() * size_of::<[f64; 2]>()
    }

    /// Takes the next block and hands out the cells that it completes. Cells that begin before the stretch are not told.
    ///
    /// # Errors
    /// [`StreamError`] when the block does not follow the one before.
    pub fn process(
        &mut self,
        block: Block<'_>,
        mut sink: impl FnMut(Cell),
    ) -> Result<(), StreamError> {
        if self.cursor.accept(block.first, block.x.len())? {
            self.at = block.first.div_ceil(self.hop);
            self.skip = self.at * self.hop - block.first;
            self.place = 0;
        }
        let skipped = self.skip.min(block.x.len() as u64);
        self.skip -= skipped;
        let mut x = &block.x[skipped as usize..];
        while !x.is_empty() {
            let in_head = self.taken < self.head;
            let end = if in_head { self.head } else { self.hop };
            let n = (end - self.taken).min(x.len() as u64) as usize;
            let (piece, rest) = x.split_at(n);
            // A tail that no window reaches is passed over.
            if in_head || self.window >= self.hop {
                self.sum.add(piece);
            }
            self.taken += n as u64;
            x = rest;
            if self.taken == end {
                self.close_part(in_head, &mut sink);
            }
        }
        Ok(())
    }

    /// Forgets everything heard, ready for a new stretch.
    pub fn reset(&mut self) {
        self.cursor = Cursor::default();
        self.sum = LaneSum::default();
        self.whole = 0;
        self.taken = 0;
    }

    /// Ends a head or a tail, and the cell that it completes.
    fn close_part(&mut self, head: bool, sink: &mut impl FnMut(Cell)) {
        let part = usize::from(!head);
        self.ring[self.place][part] = self.sum.total();
        self.sum = LaneSum::default();
        if head {
            if self.whole == self.hops {
                let total = self.hops_total() + self.ring[self.place][0];
                sink(self.cell(self.at - self.hops, total));
            }
            return;
        }
        self.taken = 0;
        self.at += 1;
        self.whole = (self.whole + 1).min(self.hops);
        self.place = if self.place + 1 == self.ring.len() {
            0
        } else {
            self.place + 1
        };
        if self.head == 0 && self.whole == self.hops {
            sink(self.cell(self.at - self.hops, self.hops_total()));
        }
    }

    /// Sum over the whole hops before the one at hand that a window spans, oldest first.
    fn hops_total(&self) -> f64 {
        let (newer, older) = self.ring.split_at(self.place);
        older[1..]
            .iter()
            .chain(newer)
            .fold(0.0, |sum, [head, tail]| sum + (head + tail))
    }

    fn cell(&self, k: u64, total: f64) -> Cell {
        Cell {
            k,
            mean_square: total / self.window as f64,
            last: k * self.hop + self.window - 1,
        }
    }
}

/// A sum of squares, see [`LaneSum`].
pub(crate) type SquareSum = LaneSum<true>;

/// A sum of samples, squared or as they are, in lanes by position, the same bits however it was fed.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct LaneSum<const SQUARED: bool> {
    pub(crate) count: u64,
    lanes: [f64; LANES],
}

impl<const SQUARED: bool> LaneSum<SQUARED> {
    pub(crate) fn add(&mut self, x: &[f32]) {
        let head = ((LANES as u64 - self.count % LANES as u64) % LANES as u64).min(x.len() as u64)
            as usize;
        let (head, body) = x.split_at(head);
        for &v in head {
            self.add_one(v);
        }
        let (body, tail) = body.as_chunks::<LANES>();
        let mut lanes = self.lanes;
        for c in body {
            for i in 0..LANES {
                lanes[i] += Self::term(c[i]);
            }
        }
        self.lanes = lanes;
        self.count += (body.len() * LANES) as u64;
        for &v in tail {
            self.add_one(v);
        }
    }

    fn add_one(&mut self, v: f32) {
        self.lanes[(self.count % LANES as u64) as usize] += Self::term(v);
        self.count += 1;
    }

    #[inline(always)]
    fn term(v: f32) -> f64 {
        let v = f64::from(v);
        if SQUARED { v * v } else { v }
    }

    pub(crate) fn total(&self) -> f64 {
        let l = &self.lanes;
        ((l[0] + l[4]) + (l[2] + l[6])) + ((l[1] + l[5]) + (l[3] + l[7]))
    }
}
