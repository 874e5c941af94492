//! Votes: what detectors of one module, and of others by their messages, have heard together.

use assess::input::vote_spec;
use detect::Vote;
use plan::{BehaviourIx, DetectorIx, Line, ModuleIx, VoteIx, When};
use timeline::{Class, Ns};

use super::content::Led;
use super::{Engine, Happening, place};
use crate::error::RehearsalError;
use crate::record::{RecordId, Root, What};

/// The votes of a line, with nothing heard yet.
pub(super) fn votes(line: &Line) -> Result<Vec<Vote>, RehearsalError> {
    (0..line.votes.len())
        .map(|v| {
            let spec = vote_spec(line, VoteIx(v))?;
            Vote::new(spec).map_err(|source| RehearsalError::Vote {
                vote: line.votes[v].id.clone(),
                source,
            })
        })
        .collect()
}

impl Engine<'_> {
    /// A module learns that a detector, its own or another's, confirmed an event at an instant: its votes count it.
    pub(super) fn count(
        &mut self,
        on: ModuleIx,
        detector: DetectorIx,
        heard_at: Ns,
        parent: RecordId,
        root: Option<Root>,
    ) {
        for (v, vote) in self.line.votes.iter().enumerate() {
            let Some(member) = vote.of.iter().position(|d| *d == detector) else {
                continue;
            };
            if vote.on != on || !self.modules[on.0].works() {
                continue;
            }
            let carried = self.votes[v].heard(member, heard_at.0, self.now.0);
            if carried.is_empty() {
                continue;
            }
            let what = What::Voted {
                vote: VoteIx(v),
                detectors: carried.into_iter().map(|m| vote.of[m]).collect(),
            };
            let record = self.record(Some(parent), root, what);
            for (i, b) in self.line.behaviours.iter().enumerate() {
                if matches!(b.when, When::Voted { vote } if vote.0 == v) {
                    let act = Happening::Act {
                        behaviour: BehaviourIx(i),
                        led: Led::Nothing,
                        parent: Some(record),
                        root,
                    };
                    self.queue.push(self.now, Class::Act, place(b.on.0), act);
                }
            }
        }
    }

    /// The memory of a module that stops is lost, and its votes with it.
    pub(super) fn forget_votes(&mut self, module: ModuleIx) {
        for (vote, now) in self.line.votes.iter().zip(&mut self.votes) {
            if vote.on == module {
                now.reset();
            }
        }
    }
}
