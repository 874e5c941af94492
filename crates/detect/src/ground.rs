//! The background of each frequency of a spectrogram.
//!
//! Every frequency cell has a background of its own, so that a steady tone raises only the background of its own cells. It is
//! renewed every `step` frames, so that a hundred cells over minutes stay cheap:
//!
//! - *Median*, *ordered*: of every `step`-th frame, at most 256 of them over the whole time: `step = ceil(n / 256)` with `n = round((over - guard) / hop)`
//!   frames. Neighbouring frames share most of their samples, so that little is lost by leaving some out. Median of an even
//!   number: mean in dB of the middle two. Ordered: the `ceil(rank held)`-th smallest.
//! - *Mean* (cell averaging): of the sums of `step` frames each, at most 32 of them: `step = ceil(n / 32)`. Every frame counts.
//!
//! What is kept belongs to frames whose number is a multiple of `step` (the mean: to whole groups of `step` frames from such a
//! number on), so the cutting into blocks changes nothing. The frame at hand and the `guard` frames before it are left out. The background
//! is known once half of what is kept (rounded up) has been heard. A cell whose background is exact silence has none.

use alloc::vec;
use alloc::vec::Vec;

use crate::error::SpecError;
use crate::resolve::BackgroundSpec;
use crate::spec::BackgroundKind;

/// Most frames that an order statistic keeps.
const MOST_FRAMES: u64 = 256;
/// Most sums of frames that a mean keeps.
const MOST_SUMS: u64 = 32;
/// Most frames over which it may run: beyond it numbers of cells make no sense.
const MOST_OVER: f64 = (1 << 24) as f64;

#[derive(Clone, Debug)]
pub(crate) struct Ground {
    stage: usize,
    statistic: Statistic,
    cells: usize,
    step: u64,
    guard: u64,
    /// What is kept, one row of cells after another: rows that count, then rows that wait for the guard to pass.
    rows: Vec<f32>,
    /// Rows that there is room for; rows that count at most.
    room: usize,
    most: usize,
    /// Number of rows ever begun, that count now, and that were taken in.
    written: u64,
    held: usize,
    taken: u64,
    /// Last frame of the first row that is still waiting.
    waiting_last: Option<u64>,
    /// Frames summed into the row at hand, for the mean.
    summed: u64,
    /// One over the background, cell by cell; zero where there is none.
    inverse: Vec<f32>,
}

#[derive(Clone, Debug)]
enum Statistic {
    /// The rows that count, sorted for each cell: `most` places a cell.
    Order {
        sorted: Vec<f32>,
        rank: Option<f64>,
    },
    Mean {
        sum: Vec<f32>,
    },
}

impl Ground {
    /// The background of `cells` frequencies in frames that follow each other by `hop_s`.
    pub(crate) fn new(spec: &BackgroundSpec, cells: usize, hop_s: f64) -> Result<Self, SpecError> {
        let stage = spec.stage;
        let guard = libm::round(spec.guard_s / hop_s);
        let over = libm::round((spec.over_s - spec.guard_s) / hop_s);
        if over < 3.0 {
            return Err(SpecError::BackgroundTooShort {
                stage,
                over_s: spec.over_s,
                least_s: 3.0 * hop_s + spec.guard_s,
            });
        }
        if over.max(guard) > MOST_OVER {
            return Err(SpecError::BackgroundTooLong {
                stage,
                cells: over.max(guard) as usize,
                most: MOST_OVER as usize,
            });
        }
        let (over, guard) = (over as u64, guard as u64);
        let kept = match spec.kind {
            BackgroundKind::Mean => MOST_SUMS,
            BackgroundKind::Median | BackgroundKind::Ordered { .. } => MOST_FRAMES,
        };
        let step = over.div_ceil(kept);
        let most = (over / step) as usize;
        // Rows that wait: those that end within the guard, the one that is complete now, and the one that is summed.
        let room = most + (guard / step) as usize + 2;
        let order = |rank| Statistic::Order {
            sorted: vec![0.0; most * cells],
            rank,
        };
        Ok(Self {
            stage,
            statistic: match spec.kind {
                BackgroundKind::Median => order(None),
                BackgroundKind::Ordered { rank } => order(Some(rank)),
                BackgroundKind::Mean => Statistic::Mean {
                    sum: vec![0.0; cells],
                },
            },
            cells,
            step,
            guard,
            rows: vec![0.0; room * cells],
            room,
            most,
            written: 0,
            held: 0,
            taken: 0,
            waiting_last: None,
            summed: 0,
            inverse: vec![0.0; cells],
        })
    }

    /// The stage that asks for it.
    pub(crate) fn stage(&self) -> usize {
        self.stage
    }

    /// One over the background of each cell before frame `k` (zero for a cell that has none); `None` before it is known. The
    /// frames of a stretch come one after another, each once to this and then to [`Self::push`].
    pub(crate) fn before(&mut self, k: u64) -> Option<&[f32]> {
        if let Some(last) = self.waiting_last
            && last + self.guard < k
        {
            self.take();
            let next = last + self.step;
            self.waiting_last = (self.taken < self.written).then_some(next);
        }
        (2 * self.held >= self.most).then_some(&self.inverse[..])
    }

    /// Take in frame `k`.
    pub(crate) fn push(&mut self, k: u64, power: &[f32]) {
        let place = (self.written % self.room as u64) as usize * self.cells;
        let row = &mut self.rows[place..place + self.cells];
        match self.statistic {
            Statistic::Order { .. } => {
                if !k.is_multiple_of(self.step) {
                    return;
                }
                row.copy_from_slice(power);
            }
            Statistic::Mean { .. } => {
                if self.summed == 0 && !k.is_multiple_of(self.step) {
                    return;
                }
                if self.summed == 0 {
                    row.copy_from_slice(power);
                } else {
                    for (sum, power) in row.iter_mut().zip(power) {
                        *sum += power;
                    }
                }
                self.summed += 1;
                if self.summed < self.step {
                    return;
                }
                self.summed = 0;
            }
        }
        self.written += 1;
        self.waiting_last = self.waiting_last.or(Some(k));
    }

    pub(crate) fn clear(&mut self) {
        self.written = 0;
        self.held = 0;
        self.taken = 0;
        self.waiting_last = None;
        self.summed = 0;
    }

    fn place(&self, row: u64) -> usize {
        (row % self.room as u64) as usize * self.cells
    }

    /// Let the first row that waits count, in place of the oldest where all places are taken.
    fn take(&mut self) {
        let new = self.place(self.taken);
        let old = (self.held == self.most).then(|| self.place(self.taken - self.most as u64));
        self.taken += 1;
        let (most, cells) = (self.most, self.cells);
        let held = self.held + usize::from(old.is_none());
        self.held = held;
        match &mut self.statistic {
            Statistic::Order { sorted, rank } => {
                for (cell, inverse) in self.inverse.iter_mut().enumerate() {
                    let sorted = &mut sorted[cell * most..(cell + 1) * most];
                    let value = self.rows[new + cell];
                    match old {
                        Some(old) => replace(sorted, self.rows[old + cell], value),
                        None => insert(&mut sorted[..held], value),
                    }
                    *inverse = one_over(order(&sorted[..held], *rank));
                }
            }
            Statistic::Mean { sum } => {
                let first = self.taken - held as u64;
                sum.fill(0.0);
                for row in first..self.taken {
                    let at = (row % self.room as u64) as usize * cells;
                    for (sum, power) in sum.iter_mut().zip(&self.rows[at..at + cells]) {
                        *sum += power;
                    }
                }
                let frames = (held as u64 * self.step) as f32;
                for (inverse, sum) in self.inverse.iter_mut().zip(sum) {
                    *inverse = one_over(*sum / frames);
                }
            }
        }
    }

    /// Operations for each frame: an estimate of the additions, comparisons and moves.
    pub(crate) fn operations_per_frame(&self) -> f64 {
        let (most, step) = (self.most as f64, self.step as f64);
        let each = match self.statistic {
            Statistic::Order { .. } => 1.0 + (2.0 * libm::log2(most + 1.0) + most / 3.0) / step,
            Statistic::Mean { .. } => 2.0 + (most + 4.0) / step,
        };
        each * self.cells as f64
    }

    pub(crate) fn heap_bytes(&self) -> usize {
        let statistic = match &self.statistic {
            Statistic::Order { sorted, .. } => sorted.len(),
            Statistic::Mean { sum } => sum.len(),
        };
        (self.rows.len() + self.inverse.len() + statistic) * size_of::<f32>()
    }
}

fn one_over(power: f32) -> f32 {
    if power >= f32::MIN_POSITIVE {
        1.0 / power
    } else {
        0.0
    }
}

/// The order statistic of sorted values: of that rank, or their median.
fn order(sorted: &[f32], rank: Option<f64>) -> f32 {
    let n = sorted.len();
    match rank {
        Some(rank) => sorted[libm::ceil(rank * n as f64) as usize - 1],
        None if n % 2 == 1 => sorted[n / 2],
        None => libm::sqrtf(sorted[n / 2 - 1]) * libm::sqrtf(sorted[n / 2]),
    }
}

/// Put a value into sorted values whose last place is free.
fn insert(sorted: &mut [f32], value: f32) {
    let last = sorted.len() - 1;
    let at = sorted[..last].partition_point(|v| *v <= value);
    sorted.copy_within(at..last, at + 1);
    sorted[at] = value;
}

/// Put a value into sorted values in place of one of them.
fn replace(sorted: &mut [f32], old: f32, value: f32) {
    let from = sorted.partition_point(|v| *v < old);
    let to = sorted.partition_point(|v| *v <= value);
    if to > from {
        sorted.copy_within(from + 1..to, from);
        sorted[to - 1] = value;
    } else {
        sorted.copy_within(to..from, to + 1);
        sorted[to] = value;
    }
}
