//! Front and logic in one.

use alloc::vec::Vec;

use signal::Block;

use crate::error::{PushError, SpecError};
use crate::front::Front;
use crate::logic::Logic;
use crate::notice::Told;
use crate::resolve::{Decision, resolve};
use crate::spec::{Confirm, Spec};

/// Estimate of what a deciding stage does for each cell.
const OPERATIONS_PER_CELL: f64 = 20.0;

/// A detector: samples in, notices out. Takes no memory after [`Detector::new`] but in the caller's vector.
#[derive(Clone, Debug)]
pub struct Detector {
    front: Front,
    logic: Logic,
    decision: Decision,
}

/// What a detector asks of a processor. Both figures are estimates: counts of the arithmetic in the loops and of the
/// memory held, not measurements.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Cost {
    /// Additions and multiplications per second of sound; `None` where those of a stage are not known.
    pub operations_per_s: Option<f64>,
    /// Memory that it holds, bytes.
    pub state_bytes: usize,
}

/// What one stage of a detector asks of a processor; figures as of [`Cost`].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct StageCost {
    /// Number of the stage in [`Spec::stages`], from 0.
    pub stage: usize,
    /// Its word, as of [`crate::Stage::word`].
    pub word: &'static str,
    /// Additions and multiplications per second of sound; `None` where nobody can tell: a model of a runtime that does not
    /// count.
    pub operations_per_s: Option<f64>,
    /// Memory that it holds, bytes.
    pub state_bytes: usize,
}

impl Detector {
    /// A detector for samples in uPa.
    ///
    /// # Errors
    /// Whatever [`Spec`] may have wrong.
    pub fn new(spec: &Spec) -> Result<Self, SpecError> {
        Ok(Self {
            front: Front::new(spec)?,
            logic: Logic::new(spec)?,
            decision: resolve(spec)?.decision,
        })
    }

    /// Take the next block of a stretch and append what it gives cause to tell.
    ///
    /// # Errors
    /// As [`Front::push`]. What was told before the failing level stands.
    pub fn push(&mut self, block: Block<'_>, out: &mut Vec<Told>) -> Result<(), PushError> {
        let Self { front, logic, .. } = self;
        front.feed(block, |cell| logic.push(&cell, out))
    }

    /// End the stretch: an open event is ended or dropped as [`Logic::gap`] says, and filters, windows, background and
    /// hold-off begin anew. The next block may begin anywhere. Numbers of events go on.
    pub fn gap(&mut self, out: &mut Vec<Told>) {
        if let Some(last) = self.front.last_heard() {
            self.logic.gap(last, out);
        }
        self.front.gap();
    }

    /// End of the input; the same as [`Detector::gap`].
    pub fn finish(&mut self, out: &mut Vec<Told>) {
        self.gap(out);
    }

    /// No event that is still to be ended begins before this sample, see [`Logic::undecided_from`].
    #[must_use]
    pub fn undecided_from(&self) -> Option<u64> {
        self.logic.undecided_from()
    }

    /// Change the thresholds of a trigger, see [`Logic::set_threshold`].
    ///
    /// # Errors
    /// As [`Logic::set_threshold`].
    pub fn set_threshold(&mut self, on_above_db: f64, off_below_db: f64) -> Result<(), SpecError> {
        self.logic.set_threshold(on_above_db, off_below_db)
    }

    /// Length of a cell's tile, input samples: no instant is told more finely.
    #[must_use]
    pub fn cell_samples(&self) -> u64 {
        self.front.cell_samples()
    }

    /// How far before the begin and after the end of an event the windows of its cells reach, input samples: half of what a
    /// window, or a kernel, is longer than a tile.
    #[must_use]
    pub fn beyond_samples(&self) -> u64 {
        self.front
            .window_samples()
            .saturating_sub(self.front.cell_samples())
            .div_ceil(2)
    }

    /// What the detector asks of a processor: the sum of [`Detector::costs`].
    #[must_use]
    pub fn cost(&self) -> Cost {
        let none = Cost {
            operations_per_s: Some(0.0),
            state_bytes: 0,
        };
        self.costs().iter().fold(none, |sum, stage| Cost {
            operations_per_s: sum
                .operations_per_s
                .zip(stage.operations_per_s)
                .map(|(sum, more)| sum + more),
            state_bytes: sum.state_bytes + stage.state_bytes,
        })
    }

    /// What each stage asks of a processor, in the order of the stages. A likely stage has its share in the one that
    /// decides.
    #[must_use]
    pub fn costs(&self) -> Vec<StageCost> {
        let mut costs = Vec::new();
        self.front.costs(&mut costs);
        costs.push(StageCost {
            stage: self.logic.stage(),
            word: self.decision.word(),
            operations_per_s: Some(OPERATIONS_PER_CELL * self.front.cell_rate_hz()),
            state_bytes: self.logic.bytes(),
        });
        costs
    }

    /// Worst case of the input samples from the first one of a sound to the last one needed to confirm it; `None` where
    /// there is no bound.
    ///
    /// For a sound that reaches `on_above_db` in any window (exponential level: in any cell) that holds nothing else
    /// (exponential: 1 dB over it), stays so, begins outside a hold-off and, with a background, after that is known.
    /// [`Confirm::AtEnd`]: for a sound accepted within `longest_s`; without one there is no bound. Pulses: for pulses at
    /// intervals of at most `max_interval_s`, the last `at_least` of `of_last` within `within_s` and steady, each over within a window; with a
    /// judgement a train is confirmed when it is over, and there is no bound.
    #[must_use]
    pub fn latency_samples(&self) -> Option<u64> {
        let tile = self.front.cell_samples();
        let first = self.front.delay_samples();
        match &self.decision {
            Decision::Trigger(trigger) => match trigger.confirm {
                Confirm::Early => {
                    let shortest = trigger.shortest_samples.div_ceil(tile).max(1);
                    let enough = shortest.max(u64::from(trigger.k_of_n.at_least));
                    Some(first + (enough - 1) * tile)
                }
                Confirm::AtEnd => trigger.longest_samples.map(|longest| {
                    let dip = trigger.bridge_samples.div_ceil(tile).max(1) - 1;
                    first + (longest / tile + dip) * tile
                }),
            },
            Decision::Pulses(_) if self.logic.judges() => None,
            Decision::Pulses(pulses) => {
                let train = u64::from(pulses.of_last - 1) * pulses.max_interval_samples;
                let train = pulses
                    .within_samples
                    .map_or(train, |within| within.min(train));
                // The peak of the last pulse may be any cell whose window holds it, and is known at the first whose
                // window does not.
                Some(first + train + self.front.window_samples() + 2 * tile)
            }
            Decision::Ridge(ridge) => ridge
                .longest_samples
                .map(|longest| first + (longest / tile + ridge.gap_samples / tile) * tile),
        }
    }
}
