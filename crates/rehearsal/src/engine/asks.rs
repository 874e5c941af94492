//! Requests with their answers: questions and answers on their ways. What behaviours learn of them stands in `learning`, notices in `joining`.

use std::collections::BTreeMap;
use std::sync::Arc;

use assess::input::{Traffic, at_most, ns};
use network::{
    AtMost, Delivery, DropReason, Dropped, MachineError, Numbers, Post, RateLimit, TopicId, Value,
};
use plan::{BehaviourIx, Line, ModuleIx, RequestIx, When};
use routine::Failed;
use timeline::{Class, Ns};

use super::content::{Led, Of};
use super::joining::{Acquaintance, joining_bounds};
use super::messages::passes;
use super::{Engine, Happening, Origin, place};
use crate::error::RehearsalError;
use crate::record::{
    AskStep, Content, JoinStep, KeptBack, Loss, RecordId, Refusal, Root, Silence, What,
};

/// What came of the requests of one kind. `asked = answered + unanswered + open`.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub struct RequestCount {
    /// Questions asked.
    pub asked: u64,
    /// Questions that its `at_most` held back; not among those asked.
    pub held_back: u64,
    /// Answered in time.
    pub answered: u64,
    /// Not answered in time.
    pub unanswered: u64,
    /// Whose time was not over at the end.
    pub open: u64,
    /// Of those not answered in time, those whose answer came all the same.
    pub late: u64,
    /// Questions and answers lost on their way.
    pub lost: u64,
    /// Questions that the module that was asked left without an answer because its routine gave none, failed or had stopped.
    pub silent: u64,
    /// Questions still followed at the end although their time is over, because question or answer was under way.
    pub followed: u64,
    /// Values that lay outside their field and were sent as the end of it.
    pub clamped: u64,
    /// The longest time to an answer in time.
    pub longest: Option<Ns>,
}

/// What came of the joining notices of one module.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub struct JoinCount {
    /// Notices told.
    pub notices: u64,
    /// Modules that learnt of it, over all notices.
    pub learnt: u64,
    /// Modules that a notice did not reach.
    pub missed: u64,
    /// The longest time from the beginning of its boot until another module had learnt of it.
    pub longest: Option<Ns>,
}

/// What a message that belongs to no topic of the plan is.
#[derive(Clone, Copy, Debug)]
enum Side {
    Question,
    Answer,
    Notice(ModuleIx),
}

/// How far a question has come.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub(super) enum Stage {
    /// Under way, or lost.
    Asked,
    /// It has reached the module that is asked, which may answer from then on.
    Reached,
    /// That module has answered.
    Answered,
}

#[derive(Clone, Copy, Debug)]
pub(super) struct Ask {
    pub(super) request: RequestIx,
    pub(super) asker: ModuleIx,
    /// The asker's life when it asked: one that stopped since has forgotten it.
    life: u32,
    at: Ns,
    record: RecordId,
    pub(super) root: Option<Root>,
    /// The time for its answer is over.
    pub(super) over: bool,
    /// Copies of question and answer on their way.
    under_way: u32,
    /// Behaviours that it starts and that have not run yet.
    pub(super) to_run: u32,
    /// Why the last of them that left it without an answer did, and what led to that.
    pub(super) silence: Option<(RecordId, Silence)>,
}

/// Open requests, and counts.
pub(super) struct Asks {
    sides: BTreeMap<TopicId, Side>,
    questions: Vec<TopicId>,
    answers: Vec<TopicId>,
    pub(super) notices: Vec<TopicId>,
    at_most: Vec<Option<AtMost>>,
    gates: BTreeMap<(ModuleIx, RequestIx), RateLimit>,
    /// The same for what is refused: told no oftener than a question may be asked, so that the runs it leads to have a bound.
    refusals: BTreeMap<(ModuleIx, RequestIx), RateLimit>,
    /// When a question of each module last found no way, and how many did at that instant.
    pub(super) no_way: Vec<(Ns, u32)>,
    question_bytes: Vec<u32>,
    answer_bytes: Vec<u32>,
    pub(super) open: BTreeMap<u64, Ask>,
    /// Of every question, by its number: also of those that are followed no more.
    stages: Vec<Stage>,
    /// When each module began to boot last.
    pub(super) booting_since: Vec<Ns>,
    /// The same by notice: the boot of which each tells.
    pub(super) booted_since: Vec<Vec<Ns>>,
    pub(super) counts: Vec<RequestCount>,
    pub(super) joins: Vec<JoinCount>,
    bounds: BTreeMap<(ModuleIx, ModuleIx), Option<Ns>>,
    /// By who told and who learnt it: when first, and how long that had taken.
    pub(super) learnt: BTreeMap<(ModuleIx, ModuleIx), (Ns, Ns)>,
}

impl Asks {
    pub(super) fn new(
        line: &Line,
        traffic: Option<&Traffic>,
        post: Option<&mut Post>,
    ) -> Result<Asks, RehearsalError> {
        let limits = line.requests.iter().map(|q| {
            q.at_most
                .map(|r| at_most(|| format!("request.{}", q.id), r))
                .transpose()
        });
        let mut asks = Asks {
            sides: BTreeMap::new(),
            questions: Vec::new(),
            answers: Vec::new(),
            notices: Vec::new(),
            at_most: limits.collect::<Result<_, _>>()?,
            gates: BTreeMap::new(),
            refusals: BTreeMap::new(),
            no_way: vec![(Ns::ZERO, 0); line.modules.len()],
            question_bytes: Vec::new(),
            answer_bytes: Vec::new(),
            open: BTreeMap::new(),
            stages: Vec::new(),
            booting_since: vec![Ns::ZERO; line.modules.len()],
            booted_since: vec![Vec::new(); line.modules.len()],
            counts: vec![RequestCount::default(); line.requests.len()],
            joins: vec![JoinCount::default(); line.modules.len()],
            bounds: joining_bounds(line, traffic)?,
            learnt: BTreeMap::new(),
        };
        if let (Some(traffic), Some(post)) = (traffic, post) {
            for asking in &traffic.asking {
                let (question, answer) = (post.topic(&asking.question), post.topic(&asking.answer));
                asks.sides.insert(question, Side::Question);
                asks.sides.insert(answer, Side::Answer);
                asks.question_bytes.push(asking.question_bytes);
                asks.answer_bytes.push(asking.answer_bytes);
                asks.questions.push(question);
                asks.answers.push(answer);
            }
            for (m, notice) in traffic.joining.iter().enumerate() {
                let topic = post.topic(&notice.name);
                asks.sides.insert(topic, Side::Notice(ModuleIx(m)));
                asks.notices.push(topic);
            }
        }
        Ok(asks)
    }

    /// How far a question has come; `None` where none has this number.
    pub(super) fn stage(&self, ask: u64) -> Option<Stage> {
        self.stages.get(usize::try_from(ask).ok()?).copied()
    }

    fn comes_to(&mut self, ask: u64, stage: Stage) {
        if let Some(of) = self.stages.get_mut(ask as usize) {
            *of = stage;
        }
    }

    /// Why a question waits for no answer.
    pub(super) fn ended(&self, ask: u64) -> Refusal {
        match self.stage(ask) {
            None => Refusal::NotAsked,
            Some(Stage::Answered) => Refusal::Answered,
            Some(Stage::Asked | Stage::Reached) => Refusal::Over,
        }
    }

    /// The oldest question of a request that has reached its module and waits for an answer; where there is none, the oldest that has not reached it.
    pub(super) fn oldest(&self, request: RequestIx) -> Option<u64> {
        let waits = |stage: Stage| {
            let of_request = self
                .open
                .iter()
                .filter(|(_, a)| a.request == request && !a.over);
            let mut asks = of_request.map(|(ask, _)| *ask);
            asks.find(|ask| self.stage(*ask) == Some(stage))
        };
        waits(Stage::Reached).or_else(|| waits(Stage::Asked))
    }

    /// Whether messages on this are no topic of the plan.
    pub(super) fn has(&self, topic: TopicId) -> bool {
        self.sides.contains_key(&topic)
    }

    /// Who learnt of whom, of the modules that told what they are.
    pub(super) fn acquaintances(&self) -> Vec<Acquaintance> {
        let told = |m: &ModuleIx| self.joins[m.0].notices > 0;
        let all = self.bounds.iter().filter(|((of, _), _)| told(of));
        let all = all.map(|((of, by), bound)| Acquaintance {
            of: *of,
            by: *by,
            learnt: self.learnt.get(&(*of, *by)).copied(),
            bound: *bound,
        });
        all.collect()
    }

    /// Counts the questions that are still open, and those still followed although their time is over.
    pub(super) fn count_open(&mut self) {
        for a in self.open.values() {
            let count = &mut self.counts[a.request.0];
            match a.over {
                true => count.followed += 1,
                false => count.open += 1,
            }
        }
    }

    pub(super) fn boots(&mut self, module: ModuleIx, now: Ns) {
        self.booting_since[module.0] = now;
    }
}

impl Engine<'_> {
    pub(super) fn no_traffic() -> RehearsalError {
        RehearsalError::NotSaid {
            what: vec!["[traffic]: how messages are framed".to_owned()],
        }
    }

    fn refused_by_network(&self, source: MachineError) -> RehearsalError {
        RehearsalError::Machine {
            at: self.now,
            source,
        }
    }

    /// Streams behind those of topics: questions and answers of each module and request, then notices.
    pub(super) fn side_stream(&self, at: usize) -> u32 {
        place(self.modules.len() * self.line.topics.len() + at)
    }

    /// Who sends a stream: of a topic, of a request, of notices or of packets.
    pub(super) fn sender(&self, stream: u32) -> Option<ModuleIx> {
        if let Some(of_packets) = self.streams.of(stream) {
            return Some(self.line.streams[of_packets.0].from);
        }
        let topics = self.line.topics.len();
        let requests = self.line.requests.len();
        let Some(side) = (stream as usize).checked_sub(self.modules.len() * topics) else {
            return (stream as usize).checked_div(topics).map(ModuleIx);
        };
        let questions = 2 * self.modules.len() * requests;
        let module = match (side.checked_sub(questions), side / 2) {
            (Some(notices), _) => ModuleIx(notices),
            (None, of) if side.is_multiple_of(2) => ModuleIx(of / requests),
            (None, of) => self.line.requests[of % requests].to,
        };
        (module.0 < self.modules.len()).then_some(module)
    }

    pub(super) fn asking(
        &mut self,
        ask: u64,
        module: ModuleIx,
        parent: Option<RecordId>,
        (what, content): (AskStep, Option<Arc<Content>>),
    ) -> Option<RecordId> {
        let a = *self.asks.open.get(&ask)?;
        let told = What::Asking {
            request: a.request,
            ask,
            module,
            what,
            content,
        };
        Some(self.record(parent.or(Some(a.record)), a.root, told))
    }

    /// A behaviour asks.
    pub(super) fn ask(
        &mut self,
        behaviour: BehaviourIx,
        request: RequestIx,
        values: Option<&[Value]>,
        parent: RecordId,
        root: Option<Root>,
    ) -> Result<(), RehearsalError> {
        let asker = self.line.behaviours[behaviour.0].on;
        if let Some(limit) = self.asks.at_most[request.0] {
            let gate = self.asks.gates.entry((asker, request));
            if !passes(gate.or_insert_with(|| RateLimit::new(limit)), self.now) {
                let (what, why) = (KeptBack::Behaviour(behaviour), Refusal::Request);
                self.asks.counts[request.0].held_back += 1;
                let record = self.record(Some(parent), root, What::Refused { what, why });
                let refusals = self.asks.refusals.entry((asker, request));
                if passes(refusals.or_insert_with(|| RateLimit::new(limit)), self.now) {
                    self.fails(request, asker, Failed::Refused, record, root);
                }
                return Ok(());
            }
        }
        let content = self.filled(Of::Question(request), values)?;
        let q = &self.line.requests[request.0];
        let within = ns(|| format!("request.{}", q.id), q.within_s.si)?;
        let ask = self.asks.stages.len() as u64;
        self.asks.stages.push(Stage::Asked);
        self.asks.counts[request.0].asked += 1;
        let stream = self.side_stream(2 * (asker.0 * self.line.requests.len() + request.0));
        let Some(post) = &mut self.machine else {
            return Err(Self::no_traffic());
        };
        let topic = self.asks.questions[request.0];
        let message = post
            .send(
                self.now,
                q.to.0,
                network::Publication {
                    node: asker.0,
                    topic,
                    bytes: self.asks.question_bytes[request.0],
                    priority: q.priority,
                    stream,
                    seq: ask,
                },
            )
            .map_err(|source| self.refused_by_network(source))?;
        let asked = What::Asking {
            request,
            ask,
            module: asker,
            what: AskStep::Asked { message },
            content: content.clone(),
        };
        let record = self.record(Some(parent), root, asked);
        self.asks.open.insert(
            ask,
            Ask {
                request,
                asker,
                life: self.modules[asker.0].life_turn,
                at: self.now,
                record,
                root,
                over: false,
                under_way: 1,
                to_run: 0,
                silence: None,
            },
        );
        self.follow(message, record, root, 1);
        self.contents.keep(message, content.as_ref());
        if let Some(at) = self.now.checked_add(within) {
            let due = Happening::AskDue { ask };
            self.queue.push(at, Class::Act, place(asker.0), due);
        }
        self.drain_drops();
        Ok(())
    }

    /// A behaviour that was asked answers.
    pub(super) fn answer(
        &mut self,
        behaviour: BehaviourIx,
        led: &Led,
        values: Option<&[Value]>,
        parent: RecordId,
    ) -> Result<(), RehearsalError> {
        let Led::Asked { ask, .. } = *led else {
            return Ok(());
        };
        self.send_answer(KeptBack::Behaviour(behaviour), ask, values, Some(parent))
    }

    /// Sends the first answer to a question.
    pub(super) fn send_answer(
        &mut self,
        what: KeptBack,
        ask: u64,
        values: Option<&[Value]>,
        parent: Option<RecordId>,
    ) -> Result<(), RehearsalError> {
        let open = self.asks.open.get(&ask).copied();
        let Some(a) = open.filter(|_| self.asks.stage(ask) != Some(Stage::Answered)) else {
            let why = self.asks.ended(ask);
            self.record(parent, None, What::Refused { what, why });
            return Ok(());
        };
        let content = self.filled(Of::Answer(a.request), values)?;
        let q = &self.line.requests[a.request.0];
        let stream = self.side_stream(2 * (a.asker.0 * self.line.requests.len() + a.request.0) + 1);
        let Some(post) = &mut self.machine else {
            return Err(Self::no_traffic());
        };
        let topic = self.asks.answers[a.request.0];
        let message = post
            .send(
                self.now,
                a.asker.0,
                network::Publication {
                    node: q.to.0,
                    topic,
                    bytes: self.asks.answer_bytes[a.request.0],
                    priority: q.priority,
                    stream,
                    seq: ask,
                },
            )
            .map_err(|source| self.refused_by_network(source))?;
        if let Some(open) = self.asks.open.get_mut(&ask) {
            open.under_way += 1;
        }
        self.asks.comes_to(ask, Stage::Answered);
        let what = (AskStep::Answered { message }, content.clone());
        let record = self.asking(ask, q.to, parent, what);
        self.follow(message, record.unwrap_or(a.record), a.root, 1);
        self.contents.keep(message, content.as_ref());
        self.drain_drops();
        Ok(())
    }

    /// The time for an answer is over.
    pub(super) fn ask_due(&mut self, ask: u64) {
        let Some(open) = self.asks.open.get_mut(&ask) else {
            return;
        };
        open.over = true;
        let a = *open;
        self.asks.counts[a.request.0].unanswered += 1;
        let record = self.asking(ask, a.asker, None, (AskStep::Unanswered, None));
        if self.modules[a.asker.0].life_turn == a.life {
            let parent = record.unwrap_or(a.record);
            self.fails(a.request, a.asker, Failed::InTime, parent, a.root);
        }
        self.close_ask(ask);
    }

    /// Forgets a question of which nothing more can come: its time is over, and neither it nor an answer is under way.
    pub(super) fn close_ask(&mut self, ask: u64) {
        let done = |a: &Ask| a.over && a.under_way == 0 && a.to_run == 0;
        if self.asks.open.get(&ask).is_some_and(done) {
            self.asks.open.remove(&ask);
        }
    }

    /// The content of a question or an answer that is sent now.
    fn filled(
        &mut self,
        of: Of,
        values: Option<&[Value]>,
    ) -> Result<Option<Arc<Content>>, RehearsalError> {
        values
            .map(|values| {
                self.contents
                    .pack(self.line, of, Numbers::NONE, self.now, values)
            })
            .transpose()
    }

    /// What is recorded of a message's way goes back to this record.
    pub(super) fn follow(
        &mut self,
        message: network::MessageId,
        record: RecordId,
        root: Option<Root>,
        copies: usize,
    ) {
        if copies > 0 {
            let origin = Origin {
                record,
                root,
                heard: None,
            };
            self.origins.insert(message, origin);
            self.copies_left.insert(message, copies);
        }
    }

    /// A question, an answer or a notice arrives.
    pub(super) fn side_delivered(
        &mut self,
        delivery: &Delivery,
        content: Option<Arc<Content>>,
        origin: Origin,
    ) {
        let module = ModuleIx(delivery.node);
        match self.asks.sides[&delivery.topic] {
            Side::Question => self.asked(delivery.seq, module, content, origin),
            Side::Answer => self.returned(delivery.seq, module, content, origin),
            Side::Notice(of) => self.learns_of(of, module, delivery, origin),
        }
    }

    fn asked(&mut self, ask: u64, module: ModuleIx, content: Option<Arc<Content>>, origin: Origin) {
        let Some(a) = self.asks.open.get(&ask).copied() else {
            return;
        };
        let reached = {
            let what = (AskStep::Reached, content.clone());
            self.asking(ask, module, Some(origin.record), what)
        };
        self.asks.comes_to(ask, Stage::Reached);
        let handles = |i: &usize| {
            let b = &self.line.behaviours[*i];
            matches!(b.when, When::Asked { request } if request == a.request)
        };
        let handlers: Vec<usize> = (0..self.line.behaviours.len()).filter(handles).collect();
        if let Some(open) = self.asks.open.get_mut(&ask) {
            open.under_way -= 1;
            open.to_run += u32::try_from(handlers.len()).expect("a plan has fewer behaviours");
        }
        self.close_ask(ask);
        for behaviour in handlers {
            let parent = reached.unwrap_or(origin.record);
            let led = Led::Asked {
                ask,
                request: a.request,
                content: content.clone(),
            };
            self.start(behaviour, led, parent, a.root);
        }
    }

    fn returned(
        &mut self,
        ask: u64,
        module: ModuleIx,
        content: Option<Arc<Content>>,
        origin: Origin,
    ) {
        let Some(a) = self.asks.open.get(&ask).copied() else {
            return;
        };
        let after = Ns(self.now.0 - a.at.0);
        let count = &mut self.asks.counts[a.request.0];
        let knows = self.modules[a.asker.0].life_turn == a.life;
        let what = match (a.over, knows) {
            (true, _) => {
                count.late += 1;
                AskStep::Late { after }
            }
            (false, false) => {
                count.unanswered += 1;
                AskStep::Forgotten
            }
            (false, true) => {
                count.answered += 1;
                count.longest = count.longest.max(Some(after));
                AskStep::Returned { after }
            }
        };
        let told = (what, content.clone());
        let record = self.asking(ask, module, Some(origin.record), told);
        self.asks.open.remove(&ask);
        if !matches!(what, AskStep::Returned { .. }) {
            return;
        }
        let parent = record.unwrap_or(origin.record);
        self.learns_answer((a.request, module), after, content.as_ref(), parent, a.root);
    }

    /// A question, an answer or a notice is lost.
    pub(super) fn side_lost(&mut self, drop: &Dropped, origin: Origin) {
        let (mut why, by) = (self.loss(drop), ModuleIx(drop.node));
        match self.asks.sides[&drop.topic] {
            Side::Question | Side::Answer => {
                let Some(a) = self.asks.open.get(&drop.seq).copied() else {
                    return;
                };
                let to = self.line.requests[a.request.0].to;
                let leads = |post: &Post| post.leads(a.asker.0, to.0);
                if why == Loss::NotWorking
                    && a.at == self.now
                    && !self.machine.as_ref().is_some_and(leads)
                {
                    // That it does not work besides is not known where no way leads.
                    why = Loss::Network(DropReason::NoPath);
                }
                self.asks.counts[a.request.0].lost += 1;
                if let Some(open) = self.asks.open.get_mut(&drop.seq) {
                    open.under_way -= 1;
                }
                let what = AskStep::Lost { why };
                let lost = self.asking(drop.seq, by, Some(origin.record), (what, None));
                let is_question = matches!(self.asks.sides[&drop.topic], Side::Question);
                if is_question && why == Loss::Network(DropReason::NoPath) && !a.over {
                    self.no_way(drop.seq, a, lost.unwrap_or(origin.record));
                } else {
                    // What is not yet over is told when it is.
                    self.close_ask(drop.seq);
                }
            }
            Side::Notice(module) => {
                self.asks.joins[module.0].missed += 1;
                let what = JoinStep::Missed { by, why };
                self.record(
                    Some(origin.record),
                    origin.root,
                    What::Joining { module, what },
                );
            }
        }
    }
}
