//! Mean squares over windows anchored at the absolute sample index.
//!
//! Cell `k` covers samples `k * hop` to `k * hop + window` (the end excluded). Sums are kept for segments of the greatest
//! common divisor of window and hop, each in eight lanes by position, so that a cell has the same bits however the
//! samples were cut.

use alloc::vec;
use alloc::vec::Vec;

use crate::block::{Block, Cursor};
use crate::error::{FilterError, StreamError};

const LANES: usize = 8;
const MAX_SAMPLES: u64 = 1 << 40;
const MAX_SEGMENTS: u64 = 1 << 24;

/// The mean square of one window.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cell {
    /// Number of the cell: it begins at sample `k * hop`.
    pub k: u64,
    /// Mean of the squared samples, in the square of their unit.
    pub mean_square: f64,
    /// Index of the last sample of the cell.
    pub last: u64,
}

/// Mean squares over windows of `window` samples, one every `hop` samples.
#[derive(Debug, Clone)]
pub struct MeanSquare {
    window: u64,
    hop: u64,
    segment: u64,
    cursor: Cursor,
    sum: SquareSum,
    ring: Vec<f64>,
    /// Number of the segment being summed.
    at: u64,
    /// Whole segments heard without a gap, up to the ring's length.
    whole: usize,
    /// Samples still to pass before the first segment that begins inside the stretch.
    skip: u64,
}

impl MeanSquare {
    /// Windows of `window` samples every `hop` samples; windows may overlap or leave gaps.
    ///
    /// # Errors
    /// [`FilterError::Length`] for a length of 0 or above 2^40, or for more than 2^24 segments in a window.
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
        let segment = greatest_common_divisor(window, hop);
        let segments = window / segment;
        if segments > MAX_SEGMENTS {
            return Err(FilterError::Length {
                what: "window",
                samples: window,
                max: MAX_SEGMENTS * segment,
            });
        }
        Ok(Self {
            window,
            hop,
            segment,
            cursor: Cursor::default(),
            sum: SquareSum::default(),
            ring: vec![0.0; segments as usize],
            at: 0,
            whole: 0,
            skip: 0,
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
            self.at = block.first.div_ceil(self.segment);
            self.skip = self.at * self.segment - block.first;
        }
        let skipped = self.skip.min(block.x.len() as u64);
        self.skip -= skipped;
        let mut x = &block.x[skipped as usize..];
        while !x.is_empty() {
            let n = (self.segment - self.sum.count).min(x.len() as u64) as usize;
            self.sum.add(&x[..n]);
            x = &x[n..];
            if self.sum.count == self.segment {
                self.close_segment(&mut sink);
            }
        }
        Ok(())
    }

    /// Forgets everything heard, ready for a new stretch.
    pub fn reset(&mut self) {
        self.cursor = Cursor::default();
        self.sum = SquareSum::default();
        self.whole = 0;
    }

    fn close_segment(&mut self, sink: &mut impl FnMut(Cell)) {
        let n = self.ring.len();
        let place = (self.at % n as u64) as usize;
        self.ring[place] = self.sum.total();
        self.sum = SquareSum::default();
        self.at += 1;
        self.whole = (self.whole + 1).min(n);
        let end = self.at * self.segment;
        if self.whole < n || !(end - self.window).is_multiple_of(self.hop) {
            return;
        }
        let total: f64 = self.ring[place + 1..]
            .iter()
            .chain(&self.ring[..=place])
            .sum();
        sink(Cell {
            k: (end - self.window) / self.hop,
            mean_square: total / self.window as f64,
            last: end - 1,
        });
    }
}

/// A sum of squares in lanes by position, the same bits however it was fed.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct SquareSum {
    pub(crate) count: u64,
    lanes: [f64; LANES],
}

impl SquareSum {
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
                let v = f64::from(c[i]);
                lanes[i] += v * v;
            }
        }
        self.lanes = lanes;
        self.count += (body.len() * LANES) as u64;
        for &v in tail {
            self.add_one(v);
        }
    }

    fn add_one(&mut self, v: f32) {
        let v = f64::from(v);
        self.lanes[(self.count % LANES as u64) as usize] += v * v;
        self.count += 1;
    }

    pub(crate) fn total(&self) -> f64 {
        let l = &self.lanes;
        ((l[0] + l[4]) + (l[2] + l[6])) + ((l[1] + l[5]) + (l[3] + l[7]))
    }
}

fn greatest_common_divisor(a: u64, b: u64) -> u64 {
    if b == 0 {
        a
    } else {
        greatest_common_divisor(b, a % b)
    }
}
