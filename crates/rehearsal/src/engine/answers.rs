//! Answers that no behaviour gives: those of the cue sheet, and those that come from outside.

use network::Value;
use plan::{ModuleIx, RequestIx};
use timeline::{Class, Ns};

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
        let given = |a: &AnswerFromOutside| a.ask == ask;
        let state = self.asks.state(ask);
        if state.is_some_and(|(request, ..)| request != answer.request) || ask >= self.asks.made() {
            return Err(NoQuestion::Unknown { ask });
        }
        if self.answers_from_outside.iter().any(given) {
            return Err(NoQuestion::Answered { ask });
        }
        match state {
            Some((_, true, _)) => Err(NoQuestion::Answered { ask }),
            Some((_, false, false)) => Ok(()),
            Some((_, false, true)) | None => Err(NoQuestion::Late { ask }),
        }
    }

    pub(super) fn hand_in_answer(&mut self, at: Ns, answer: AnswerFromOutside) {
        let outside = self.answers_from_outside.len();
        let to = self.line.requests[answer.request.0].to;
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
        let of_request = |ask: &u64| {
            let state = self.asks.state(*ask);
            state.is_some_and(|(of, ..)| of == request)
        };
        let why = match ask.filter(of_request) {
            _ if !self.modules[to.0].works() => Refusal::NotWorking,
            Some(ask) => return self.send_answer(by, ask, values, None),
            None => Refusal::Answered,
        };
        self.record(None, None, What::Refused { what: by, why });
        Ok(())
    }
}
