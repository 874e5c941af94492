//! What the behaviours of a module learn of a question: its answer, that there is none, and, of the module that was asked, that it gave none.

use std::sync::Arc;

use plan::{BehaviourIx, ModuleIx, RequestIx, When};
use routine::Failed;
use timeline::{Class, Ns};

use super::asks::{Ask, Stage};
use super::content::Led;
use super::{Engine, Happening, place};
use crate::record::{AskStep, Content, RecordId, Root, Silence};

/// How often a module learns at one instant that there is no way.
const MOST_NO_WAY: u32 = 64;

impl Engine<'_> {
    /// A behaviour that a question started has run, or could not.
    pub(super) fn handled(&mut self, behaviour: BehaviourIx, led: &Led) {
        let Led::Asked { ask, request, .. } = *led else {
            return;
        };
        let answered = self.asks.stage(ask) == Some(Stage::Answered);
        let Some(open) = self.asks.open.get_mut(&ask) else {
            return;
        };
        open.to_run -= 1;
        // Another of them may still answer, or has.
        let last = open.to_run == 0 && !answered;
        if let Some((parent, why)) = open.silence.filter(|_| last) {
            self.asks.counts[request.0].silent += 1;
            let on = self.line.behaviours[behaviour.0].on;
            self.asking(ask, on, Some(parent), (AskStep::Silent { why }, None));
        }
        self.close_ask(ask);
    }

    /// The module that asked has its answer.
    pub(super) fn learns_answer(
        &mut self,
        (of, module): (RequestIx, ModuleIx),
        after: Ns,
        content: Option<&Arc<Content>>,
        parent: RecordId,
        root: Option<Root>,
    ) {
        for behaviour in 0..self.line.behaviours.len() {
            let b = &self.line.behaviours[behaviour];
            let starts = matches!(b.when, When::Answered { request } if request == of);
            if starts && b.on == module {
                let led = Led::Answered {
                    request: of,
                    content: content.cloned(),
                    after,
                };
                self.start(behaviour, led, parent, root);
            }
        }
    }

    /// The module that asked learns that there is no answer.
    pub(super) fn fails(
        &mut self,
        request: RequestIx,
        asker: ModuleIx,
        why: Failed,
        parent: RecordId,
        root: Option<Root>,
    ) {
        for behaviour in 0..self.line.behaviours.len() {
            let b = &self.line.behaviours[behaviour];
            let starts = match b.when {
                When::Unanswered { request: q } => q == request,
                When::Answered { request: q } => q == request && b.routine.is_some(),
                _ => false,
            };
            if starts && b.on == asker {
                self.start(behaviour, Led::Unanswered { request, why }, parent, root);
            }
        }
    }

    /// A question has no answer of this module: its routine gave none, fails, or has stopped.
    pub(super) fn silent(&mut self, led: &Led, parent: RecordId, why: Silence) {
        let Led::Asked { ask, .. } = *led else {
            return;
        };
        if let Some(open) = self.asks.open.get_mut(&ask) {
            open.silence = Some((parent, why));
        }
    }

    /// A module knows at once that no way leads from it to the one that it asks.
    pub(super) fn no_way(&mut self, ask: u64, a: Ask, parent: RecordId) {
        self.asks.counts[a.request.0].unanswered += 1;
        let record = self.asking(ask, a.asker, Some(parent), (AskStep::NoWay, None));
        self.asks.open.remove(&ask);
        let (at, times) = &mut self.asks.no_way[a.asker.0];
        if *at != self.now {
            (*at, *times) = (self.now, 0);
        }
        *times += 1;
        // Whoever asks again and again at one instant learns no more of it: time would stand still.
        if *times <= MOST_NO_WAY {
            let parent = record.unwrap_or(parent);
            self.fails(a.request, a.asker, Failed::NoWay, parent, a.root);
        }
    }

    pub(super) fn start(
        &mut self,
        behaviour: usize,
        led: Led,
        parent: RecordId,
        root: Option<Root>,
    ) {
        let on = self.line.behaviours[behaviour].on;
        let act = Happening::Act {
            behaviour: BehaviourIx(behaviour),
            led,
            parent: Some(parent),
            root,
        };
        self.queue.push(self.now, Class::Act, place(on.0), act);
    }
}
