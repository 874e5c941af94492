//! The background of a cell: a statistic of the cells before it.
//!
//! - *Median* of the levels in dB (even number: mean of the middle two).
//! - *Ordered*: the `ceil(rank n)`-th smallest level; the order is that of the powers too.
//! - *Mean*: 10 lg of the mean power (cell averaging).
//!
//! Of the cells within `over` before the one at hand the latest, within `guard`, are left out, so that the beginning of a
//! sound does not raise its own background. It is known once half of the cells (rounded up) have been heard beyond the guard. A statistic of exact silence
//! is no background.

use alloc::collections::VecDeque;

use signal::{WATER_REFERENCE_UPA, level_db};

use crate::error::SpecError;
use crate::mean::RunningMean;
use crate::median::RunningMedian;
use crate::resolve::BackgroundSpec;
use crate::spec::BackgroundKind;
use crate::workings::BackgroundWorkings;

#[derive(Clone, Debug)]
pub(crate) struct Background {
    stage: usize,
    statistic: Statistic,
    /// The latest cells, still to be taken in, at most `guard` of them: level and power.
    waiting: VecDeque<(f64, f64)>,
    guard: usize,
}

#[derive(Clone, Debug)]
enum Statistic {
    Order(RunningMedian),
    Mean(RunningMean),
}

impl Background {
    /// The background of cells that follow each other by `hop_s`.
    pub(crate) fn new(spec: &BackgroundSpec, hop_s: f64) -> Result<Self, SpecError> {
        let BackgroundSpec {
            stage,
            kind,
            over_s,
            guard_s,
        } = *spec;
        let guard = libm::round(guard_s / hop_s);
        let cells = libm::round((over_s - guard_s) / hop_s);
        if cells < 3.0 {
            return Err(SpecError::BackgroundTooShort {
                stage,
                over_s,
                least_s: 3.0 * hop_s + guard_s,
            });
        }
        let (cells, guard) = (cells as usize, guard as usize);
        let most = RunningMedian::MOST;
        if cells > most || guard > most {
            return Err(SpecError::BackgroundTooLong {
                stage,
                cells: cells.max(guard),
                most,
            });
        }
        const FITS: &str = "the number of cells was checked";
        let statistic = match kind {
            BackgroundKind::Median => Statistic::Order(RunningMedian::new(cells).expect(FITS)),
            BackgroundKind::Ordered { rank } => {
                Statistic::Order(RunningMedian::of_rank(cells, rank).expect(FITS))
            }
            BackgroundKind::Mean => Statistic::Mean(RunningMean::new(cells)),
        };
        Ok(Self {
            stage,
            statistic,
            waiting: VecDeque::with_capacity(if guard == 0 { 0 } else { guard + 1 }),
            guard,
        })
    }

    /// The stage that asks for it.
    pub(crate) fn stage(&self) -> usize {
        self.stage
    }

    /// Its numbers, laid open.
    pub(crate) fn workings(&self, kind: BackgroundKind) -> BackgroundWorkings {
        BackgroundWorkings {
            kind,
            cells: self.cells(),
            guard: self.guard,
        }
    }

    /// Number of cells over which it runs.
    fn cells(&self) -> usize {
        match &self.statistic {
            Statistic::Order(order) => order.capacity(),
            Statistic::Mean(mean) => mean.capacity(),
        }
    }

    /// The background before a cell of that level and power, dB; then the cell is taken in.
    pub(crate) fn before(&mut self, level_db: f64, power: f64) -> Option<f64> {
        let before = self.now();
        if self.guard == 0 {
            self.take(level_db, power);
        } else {
            self.waiting.push_back((level_db, power));
            if self.waiting.len() > self.guard
                && let Some((level_db, power)) = self.waiting.pop_front()
            {
                self.take(level_db, power);
            }
        }
        before
    }

    fn now(&self) -> Option<f64> {
        let (held, value_db) = match &self.statistic {
            Statistic::Order(order) => (order.held(), order.value()),
            Statistic::Mean(mean) => (
                mean.held(),
                mean.mean()
                    .map(|power| level_db(power, WATER_REFERENCE_UPA)),
            ),
        };
        value_db.filter(|value_db| 2 * held >= self.cells() && value_db.is_finite())
    }

    fn take(&mut self, level_db: f64, power: f64) {
        match &mut self.statistic {
            Statistic::Order(order) => order.push(level_db),
            Statistic::Mean(mean) => mean.push(power),
        }
    }

    pub(crate) fn clear(&mut self) {
        self.waiting.clear();
        match &mut self.statistic {
            Statistic::Order(order) => order.clear(),
            Statistic::Mean(mean) => mean.clear(),
        }
    }

    /// Operations for each cell: an estimate of the comparisons and moves.
    pub(crate) fn operations_per_cell(&self) -> f64 {
        let depth = libm::log2(self.cells() as f64 + 1.0);
        match &self.statistic {
            Statistic::Order(_) => 8.0 * depth,
            Statistic::Mean(_) => depth + 20.0,
        }
    }

    pub(crate) fn heap_bytes(&self) -> usize {
        let statistic = match &self.statistic {
            Statistic::Order(order) => order.bytes() - size_of::<RunningMedian>(),
            Statistic::Mean(mean) => mean.heap_bytes(),
        };
        statistic + self.waiting.capacity() * size_of::<(f64, f64)>()
    }
}
