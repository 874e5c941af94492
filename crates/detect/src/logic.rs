//! The deciding stage: cells in, notices out.

use alloc::vec::Vec;

use crate::cell::Cell;
use crate::error::SpecError;
use crate::frames::Grid;
use crate::notice::{Event, Told};
use crate::pulses::PulseLogic;
use crate::resolve::{Decision, Measured, check_hold_off, check_thresholds, resolve, samples};
use crate::ridge::RidgeLogic;
use crate::spec::Spec;
use crate::trigger::TriggerLogic;

/// Threshold with hysteresis, or a train of pulses, and the judgement of what was found; see [`crate::Stage::Trigger`],
/// [`crate::Stage::Pulses`] and [`crate::Stage::Likely`].
///
/// Sequential and cheap, while [`crate::Front`] is a pure function of the samples: cells can be made ahead, in
/// parallel, or once for many thresholds.
#[derive(Clone, Debug)]
pub struct Logic {
    kind: Kind,
    /// Number of the deciding stage, for messages.
    stage: usize,
    rate_hz: f64,
    last: Option<Last>,
}

/// What the next cell is held against.
#[derive(Clone, Copy, Debug)]
struct Last {
    index: u64,
    end_sample: u64,
    known_at_sample: u64,
}

#[derive(Clone, Debug)]
#[expect(
    clippy::large_enum_variant,
    reason = "a detector has one of these, not many"
)]
enum Kind {
    Trigger(TriggerLogic),
    Pulses(PulseLogic),
    Ridge(RidgeLogic),
}

impl Logic {
    /// The deciding stage of a detector.
    ///
    /// # Errors
    /// Whatever [`Spec`] may have wrong, in any of its stages.
    pub fn new(spec: &Spec) -> Result<Self, SpecError> {
        let resolved = resolve(spec)?;
        let stage = resolved.decision_stage;
        let kind = match resolved.decision {
            Decision::Trigger(trigger) => Kind::Trigger(TriggerLogic::new(trigger, resolved.judge)),
            Decision::Pulses(pulses) => Kind::Pulses(PulseLogic::new(pulses, resolved.judge)),
            Decision::Ridge(ridge) => {
                let Measured::Frames(frames) = &resolved.measured else {
                    unreachable!("a ridge is refused without a spectrogram");
                };
                let bin_hz = Grid::new(frames, &resolved)?.bin_hz();
                Kind::Ridge(RidgeLogic::new(ridge, bin_hz, resolved.judge))
            }
        };
        Ok(Self {
            kind,
            stage,
            rate_hz: spec.rate_hz,
            last: None,
        })
    }

    /// Take the next cell and append what it gives cause to tell.
    ///
    /// A cell that does not begin where the last one ended belongs to a new stretch: the old one is ended first as by
    /// [`Logic::gap`], known at the last cell.
    pub fn push(&mut self, cell: &Cell, out: &mut Vec<Told>) {
        if let Some(last) = self.last
            && (cell.begin_sample != last.end_sample || cell.index != last.index.wrapping_add(1))
        {
            self.gap(last.known_at_sample, out);
        }
        self.last = Some(Last {
            index: cell.index,
            end_sample: cell.end_sample,
            known_at_sample: cell.known_at_sample,
        });
        match &mut self.kind {
            Kind::Trigger(logic) => logic.push(cell, out),
            Kind::Pulses(logic) => logic.push(cell, out),
            Kind::Ridge(logic) => logic.push(cell, out),
        }
    }

    /// End the stretch: an open event is ended or dropped (see [`crate::Ending::StretchEnded`],
    /// [`crate::Reason::StretchEnded`]) and the hold-off is over. `known_at_sample` is the last sample heard. Numbers
    /// of events go on.
    pub fn gap(&mut self, known_at_sample: u64, out: &mut Vec<Told>) {
        self.last = None;
        match &mut self.kind {
            Kind::Trigger(logic) => logic.end_stretch(known_at_sample, out),
            Kind::Pulses(logic) => logic.end_stretch(known_at_sample, out),
            Kind::Ridge(logic) => logic.end_stretch(known_at_sample, out),
        }
    }

    /// No event that is still to be ended begins before this sample of the stretch, be it open, followed silently or not
    /// yet heard; `None` before the first cell.
    #[must_use]
    pub fn undecided_from(&self) -> Option<u64> {
        let next = self.last?.end_sample;
        let followed = match &self.kind {
            Kind::Trigger(logic) => logic.followed_from(),
            Kind::Pulses(logic) => logic.followed_from(),
            Kind::Ridge(logic) => logic.followed_from(),
        };
        Some(followed.map_or(next, |begin| begin.min(next)))
    }

    /// The measures of the sound under way that has been told, as far as it has been heard: what it would come to if the
    /// stretch ended here. `None` where none is under way, and for a ridge, of which nothing is told before it is over.
    #[must_use]
    pub fn so_far(&self) -> Option<Event> {
        match &self.kind {
            Kind::Trigger(logic) => logic.so_far(),
            Kind::Pulses(logic) => logic.so_far(),
            Kind::Ridge(_) => None,
        }
    }

    /// Change the thresholds of a trigger, dB; the next cell is the first that meets them. An open event goes on
    /// under the new ones; its score counts every cell against the threshold that held then.
    ///
    /// # Errors
    /// [`SpecError::NotFinite`], [`SpecError::OffAboveOn`], or [`SpecError::NoTrigger`] for a detector of pulses or ridges.
    pub fn set_threshold(&mut self, on_above_db: f64, off_below_db: f64) -> Result<(), SpecError> {
        match &mut self.kind {
            Kind::Trigger(logic) => {
                check_thresholds(self.stage, on_above_db, off_below_db)?;
                logic.set_threshold(on_above_db, off_below_db);
                Ok(())
            }
            Kind::Pulses(_) | Kind::Ridge(_) => Err(SpecError::NoTrigger),
        }
    }

    /// Change the hold-off of a trigger, s; it holds from the next end of an event, and one that is under way lasts as long as it was to.
    ///
    /// # Errors
    /// [`SpecError::Negative`], [`SpecError::NotFinite`], or [`SpecError::NoTrigger`] for a detector of pulses or ridges.
    pub fn set_hold_off(&mut self, hold_off_s: f64) -> Result<(), SpecError> {
        match &mut self.kind {
            Kind::Trigger(logic) => {
                let hold_off_s = check_hold_off(self.stage, hold_off_s)?;
                logic.set_hold_off(samples(hold_off_s, self.rate_hz));
                Ok(())
            }
            Kind::Pulses(_) | Kind::Ridge(_) => Err(SpecError::NoTrigger),
        }
    }

    /// Number of the deciding stage.
    pub(crate) fn stage(&self) -> usize {
        self.stage
    }

    /// Whether finished events are judged.
    pub(crate) fn judges(&self) -> bool {
        match &self.kind {
            Kind::Trigger(logic) => logic.judges(),
            Kind::Pulses(logic) => logic.judges(),
            Kind::Ridge(logic) => logic.judges(),
        }
    }

    /// Bytes that it occupies.
    #[must_use]
    pub fn bytes(&self) -> usize {
        size_of::<Self>()
            + match &self.kind {
                Kind::Trigger(logic) => logic.heap_bytes(),
                Kind::Pulses(logic) => logic.heap_bytes(),
                Kind::Ridge(logic) => logic.heap_bytes(),
            }
    }
}
