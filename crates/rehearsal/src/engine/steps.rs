//! The loop of the rehearsal, which a master steps from instant to instant, and messages from outside.
//!
//! A rehearsal that is stepped gives the same records as one that runs in one go, wherever the steps end. A message from outside
//! enters at the next step as if a module published it, at an instant that no other message handed in has, those of the cue sheet
//! included; an input of the cue sheet at that instant then does the same.

use assess::input::ns;
use network::{Post, Value};
use plan::{CueSheet, Line, ModuleIx, TopicIx};
use timeline::{Class, Ns};

use super::answers::{AnswerFromOutside, NoQuestion};
use super::outcome::Outcome;
use super::{Engine, From, Happening, WATCHED, place};
use crate::error::RehearsalError;
use crate::record::{KeptBack, Record};

const OUTSIDE: &str = "outside-";

/// Runs a rehearsal.
///
/// Every record goes to `sink` in the order in which it happens. `watch` is told how far the rehearsal has come and may
/// stop it by answering false. The same line, cue sheet and seed give the same records, whatever the number of threads.
///
/// # Errors
/// [`RehearsalError`].
pub fn run(
    line: &Line,
    cues: &CueSheet,
    sink: &mut dyn FnMut(&Record),
    watch: &mut dyn FnMut(Ns) -> bool,
) -> Result<Outcome, RehearsalError> {
    let mut steps = Steps::new(line, cues, sink)?;
    steps.step_to(steps.end(), watch)?;
    Ok(steps.finish())
}

/// Id of an input: of the cue sheet, or behind them of a message from outside, as it is called in a cue sheet that replays it.
/// Numbers go on where those of the cue sheet end; no count comes to those beyond half of all, which are left aside.
#[must_use]
pub fn input_id(cues: &CueSheet, index: usize) -> String {
    let ids: Vec<&str> = cues.inputs.iter().map(|input| input.id.as_str()).collect();
    id_behind(&ids, index)
}

/// The same of an answer.
#[must_use]
pub fn answer_id(cues: &CueSheet, index: usize) -> String {
    let ids: Vec<&str> = cues
        .answers
        .iter()
        .map(|answer| answer.id.as_str())
        .collect();
    id_behind(&ids, index)
}

fn id_behind(ids: &[&str], index: usize) -> String {
    if let Some(id) = ids.get(index) {
        return (*id).to_owned();
    }
    let numbers = ids.iter().filter_map(|id| {
        let number = id.strip_prefix(OUTSIDE)?.parse::<usize>().ok()?;
        (number < usize::MAX / 2).then_some(number)
    });
    let number = numbers.max().unwrap_or(0) + 1 + index - ids.len();
    format!("{OUTSIDE}{number:06}")
}

/// A message from outside: a module seems to publish it.
#[derive(Clone, Debug, PartialEq)]
pub struct FromOutside {
    /// The module.
    pub module: ModuleIx,
    /// The topic.
    pub topic: TopicIx,
    /// What it holds, one value a field of the topic; absent where that is not known.
    pub values: Option<Vec<Value>>,
}

/// A rehearsal that its master steps.
pub struct Steps<'a> {
    engine: Engine<'a>,
    /// Instants of the cue sheet's inputs and answers, rising.
    taken: Vec<Ns>,
    /// When the last message from outside entered.
    last: Option<Ns>,
}

impl<'a> Steps<'a> {
    /// A rehearsal at its first instant; every record will go to `sink` in the order in which it happens.
    ///
    /// # Errors
    /// [`RehearsalError`].
    pub fn new(
        line: &'a Line,
        cues: &'a CueSheet,
        sink: &'a mut dyn FnMut(&Record),
    ) -> Result<Steps<'a>, RehearsalError> {
        let mut engine = Engine::new(line, cues, sink)?;
        let mut taken = cues
            .inputs
            .iter()
            .map(|input| ns(|| format!("input.{}", input.id), input.at_s.si))
            .chain(
                cues.answers
                    .iter()
                    .map(|answer| ns(|| format!("answer.{}", answer.id), answer.at_s.si)),
            )
            .collect::<Result<Vec<Ns>, _>>()?;
        taken.sort_unstable();
        // A fault at the first instant finds the line under voltage.
        engine.settle()?;
        Ok(Steps {
            engine,
            taken,
            last: None,
        })
    }

    /// How far it has come: all before this instant has happened.
    #[must_use]
    pub fn now(&self) -> Ns {
        self.engine.now
    }

    /// When it ends.
    #[must_use]
    pub fn end(&self) -> Ns {
        self.engine.end
    }

    /// Lets all happen that happens before `until`, or to the end if that comes first. `watch` is told how far the rehearsal
    /// has come and may stop it by answering false.
    ///
    /// # Errors
    /// [`RehearsalError`]; after one the rehearsal cannot go on.
    pub fn step_to(
        &mut self,
        until: Ns,
        watch: &mut dyn FnMut(Ns) -> bool,
    ) -> Result<(), RehearsalError> {
        let until = until.min(self.engine.end);
        if until > self.engine.now {
            self.engine.run_to(until, watch)?;
        }
        Ok(())
    }

    /// Hands in a message, which enters at the instant that is given back. `None` where the rehearsal is over by then.
    pub fn hand_in(&mut self, message: FromOutside) -> Option<Ns> {
        let at = self.next_free()?;
        self.last = Some(at);
        self.engine.hand_in(at, message);
        Some(at)
    }

    /// Hands in an answer, which enters at the instant that is given back as if the module that was asked had given it. The question may have found its end by
    /// then: the records tell so.
    ///
    /// # Errors
    /// [`NoQuestion`]: why nobody waits for it.
    pub fn hand_in_answer(&mut self, answer: AnswerFromOutside) -> Result<Ns, NoQuestion> {
        self.engine.waits_for(&answer)?;
        let at = self.next_free().ok_or(NoQuestion::AfterTheEnd)?;
        self.last = Some(at);
        self.engine.hand_in_answer(at, answer);
        Ok(at)
    }

    /// The next instant at which nothing else comes from outside; `None` where the rehearsal is over by then.
    fn next_free(&self) -> Option<Ns> {
        let mut at = match self.last {
            Some(last) => self.engine.now.max(last.checked_add(Ns(1))?),
            None => self.engine.now,
        };
        while self.taken.binary_search(&at).is_ok() {
            at = at.checked_add(Ns(1))?;
        }
        (at < self.engine.end).then_some(at)
    }

    /// What came of it so far.
    #[must_use]
    pub fn finish(self) -> Outcome {
        self.engine.finish()
    }
}

impl Engine<'_> {
    fn run_to(
        &mut self,
        until: Ns,
        watch: &mut dyn FnMut(Ns) -> bool,
    ) -> Result<(), RehearsalError> {
        let mut steps: u64 = 0;
        loop {
            // Also where more happens in a second than anybody waits for.
            steps += 1;
            if steps.is_multiple_of(WATCHED) && !watch(self.now) {
                return Err(RehearsalError::Cancelled { at: self.now });
            }
            if std::mem::take(&mut self.streams.look) {
                self.run_streams()?;
            }
            let next = self.next();
            let at = next.map_or(until, |(at, ..)| at.min(until));
            if self.dirty && at > self.now {
                self.settle()?;
                continue;
            }
            if at >= self.horizon && self.horizon < self.end {
                self.hear_ahead()?;
                if !watch(self.now) {
                    return Err(RehearsalError::Cancelled { at: self.now });
                }
                continue;
            }
            let Some((at, _, from)) = next.filter(|(at, ..)| *at < until) else {
                self.now = until;
                if until == self.end {
                    self.integrate();
                }
                return Ok(());
            };
            self.now = at;
            match from {
                From::Queue => {
                    let entry = self.queue.pop().expect("what was peeked at is there");
                    self.happen(entry.payload)?;
                }
                From::Machine => {
                    let others = self.others(until);
                    self.step_machine(others);
                }
                From::Uplink(u) => self.step_uplink(u)?,
                From::Store(s) => self.step_store(s),
            }
        }
    }

    /// What comes next, and from where.
    fn next(&self) -> Option<(Ns, Class, From)> {
        let queue = self
            .queue
            .peek()
            .map(|(at, class)| (at, class, From::Queue));
        let machine = self
            .machine
            .as_ref()
            .and_then(Post::next)
            .map(|(at, class)| (at, class, From::Machine));
        queue
            .into_iter()
            .chain(machine)
            .chain(self.next_ashore())
            .chain(self.next_store())
            .min_by_key(|(at, class, _)| (*at, *class))
    }

    fn next_ashore(&self) -> impl Iterator<Item = (Ns, Class, From)> {
        let uplinks = self.uplinks.iter().enumerate();
        uplinks.filter_map(|(i, u)| {
            let (at, class) = u.uplink.next()?;
            Some((at, class, From::Uplink(i)))
        })
    }

    /// Instant and class before which nothing but the network does anything: the next happening, `until`, or the end of what was heard.
    fn others(&self, until: Ns) -> (Ns, Class) {
        let ashore = self.next_ashore().map(|(at, class, _)| (at, class));
        let stores = self.next_store().into_iter();
        let stores = stores.map(|(at, class, _)| (at, class));
        let heard = (self.horizon < self.end).then_some((self.horizon, Class::Fault));
        self.queue
            .peek()
            .into_iter()
            .chain(ashore)
            .chain(stores)
            .chain(heard)
            .fold((until, Class::Fault), Ord::min)
    }

    fn hand_in(&mut self, at: Ns, message: FromOutside) {
        let outside = self.outside.len();
        let place = place(message.module.0);
        self.outside.push(message);
        let happening = Happening::FromOutside { outside };
        self.queue.push(at, Class::Publish, place, happening);
    }

    pub(super) fn outside_publishes(&mut self, outside: usize) -> Result<(), RehearsalError> {
        let FromOutside {
            module,
            topic,
            values,
        } = self.outside[outside].clone();
        let by = KeptBack::Input(self.cues.inputs.len() + outside);
        self.bounds.broken_from_outside();
        self.publish(module, topic, values.as_deref(), by, None, None)
    }
}
