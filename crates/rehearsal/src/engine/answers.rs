//! Answers that no behaviour gives: those of the cue sheet, and those that come from outside.

use network::Value;
use plan::{ModuleIx, RequestIx};
use timeline::{Class, Ns};

use super::asks::Stage;
use super::content::{Led, Of};
use super::{Engine, Happening, place};
use crate::error::RehearsalError;
use crate::record::{KeptBack, Refusal, What};

/// An answer from outside: the module that was asked seems to give it.
#[derive(Clone, Debug, PartialEq)]
pub struct AnswerFromOutside {
    /// The request.
    pub request: RequestIx,
    /// The number of the question, as the records tell it.
    pub ask: u64,
    /// What it holds, one value a field of the answer; absent of one that gives a size only.
    pub values: Option<Vec<Value>>,
}

/// Why nobody waits for an answer.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NoQuestion {
    /// No question of the request has this number.
    #[error("no question of this request has the number {ask}")]
    Unknown {
        /// The number.
        ask: u64,
    },
    /// It has not reached the module that is asked, or was lost on its way there.
    #[error("the question {ask} has not reached the module that is asked")]
    NotReached {
        /// The number.
        ask: u64,
    },
    /// An answer from outside has been handed in and enters before this one would.
    #[error("another answer to the question {ask} came first")]
    HandedIn {
        /// The number.
        ask: u64,
    },
    /// An answer has been given.
    #[error("the question {ask} has its answer")]
    Answered {
        /// The number.
        ask: u64,
    },
    /// Its time is over.
    #[error("the time for an answer to the question {ask} is over")]
    Late {
        /// The number.
        ask: u64,
    },
    /// The rehearsal is over.
    #[error("the rehearsal is over")]
    AfterTheEnd,
}

impl Engine<'_> {
    /// Whether a question still waits for this answer.
    pub(super) fn waits_for(&self, answer: &AnswerFromOutside) -> Result<(), NoQuestion> {
        let ask = answer.ask;
        let open = self.asks.open.get(&ask);
        let stage = self.asks.stage(ask);
        if open.is_some_and(|a| a.request != answer.request) {
            return Err(NoQuestion::Unknown { ask });
        }
        match stage {
            None => Err(NoQuestion::Unknown { ask }),
            Some(Stage::Answered) => Err(NoQuestion::Answered { ask }),
            Some(Stage::Asked) => Err(NoQuestion::NotReached { ask }),
            Some(Stage::Reached) if open.is_none_or(|a| a.over) => Err(NoQuestion::Late { ask }),
            Some(Stage::Reached) if self.answers_to_enter.contains(&ask) => {
                Err(NoQuestion::HandedIn { ask })
            }
            Some(Stage::Reached) => Ok(()),
        }
    }

    pub(super) fn hand_in_answer(&mut self, at: Ns, answer: AnswerFromOutside) {
        let outside = self.answers_from_outside.len();
        let to = self.line.requests[answer.request.0].to;
        self.answers_to_enter.insert(answer.ask);
        self.answers_from_outside.push(answer);
        let happening = Happening::AnswerFromOutside { outside };
        self.queue.push(at, Class::Publish, place(to.0), happening);
    }

    pub(super) fn outside_answers(&mut self, outside: usize) -> Result<(), RehearsalError> {
        let AnswerFromOutside {
            request,
            ask,
            values,
        } = self.answers_from_outside[outside].clone();
        // The run may refuse it: then another may be handed in.
        self.answers_to_enter.remove(&ask);
        let by = KeptBack::Answer(self.cues.answers.len() + outside);
        self.answer_in_place(request, Some(ask), values.as_deref(), by)
    }

    pub(super) fn cue_answers(&mut self, answer: usize) -> Result<(), RehearsalError> {
        let cue = &self.cues.answers[answer];
        let to = self.line.requests[cue.request.0].to;
        let values = cue.values.as_ref();
        let values = values.and_then(|v| self.fill(to, Of::Answer(cue.request), v, &Led::Nothing));
        let ask = cue.ask.or_else(|| self.asks.oldest(cue.request));
        self.answer_in_place(
            cue.request,
            ask,
            values.as_deref(),
            KeptBack::Answer(answer),
        )
    }

    /// Answers in place of the module that was asked.
    fn answer_in_place(
        &mut self,
        request: RequestIx,
        ask: Option<u64>,
        values: Option<&[Value]>,
        by: KeptBack,
    ) -> Result<(), RehearsalError> {
        // No bound counts when it comes.
        self.bounds.broken_from_outside();
        let to: ModuleIx = self.line.requests[request.0].to;
        let open = |ask: &u64| {
            self.asks
                .open
                .get(ask)
                .is_some_and(|a| a.request == request)
        };
        let waiting = ask.filter(open);
        let why = match waiting {
            _ if !self.modules[to.0].works() => Refusal::NotWorking,
            Some(ask) if self.asks.stage(ask) == Some(Stage::Asked) => Refusal::NotReached,
            Some(ask) => return self.send_answer(by, ask, values, None),
            None => match ask {
                Some(ask) if self.asks.open.contains_key(&ask) => Refusal::NotAsked,
                Some(ask) => self.asks.ended(ask),
                None => Refusal::NoneWaits,
            },
        };
        self.record(None, None, What::Refused { what: by, why });
        Ok(())
    }
}
