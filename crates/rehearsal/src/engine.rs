//! The rehearsal itself: one sequential queue over all that happens, and the network and the uplinks stepped in time.
//!
//! Order at one instant: fault, supply, settle, arrive, notice, act, publish, start service, probe; then by place, then by
//! number. Voltages settle once an instant is over, and only when something changed that they rest on. A module whose
//! voltage falls below its lowest trips [`TRIP`] later; one whose voltage has come back boots as late.

use std::collections::BTreeMap;

use assess::input::{
    Conditions, Contacts, Electric, ElectricInput, Traffic, at_most, electric, ns, traffic,
    uplink_spec,
};
use chance::Stream;
use network::{
    Admission, Delivery, LinkState, Machine, MessageId, NodeState, Outcome as Attempted, RateLimit,
    TopicId, Uplink, UplinkEvent, UplinkMessage,
};
use plan::{
    Action, BehaviourIx, CueSheet, DetectorIx, FaultKind, Line, ModuleIx, NoticeKind, OutputIx,
    SensorIx, TopicIx, UplinkIx, When,
};
use power::NetworkError;
use timeline::{Class, Ns, Queue};

use crate::ear::HeardCell;
use crate::error::RehearsalError;
use crate::expect::{Expectation, Watcher};
use crate::hearing::{Ears, WaitingCell};
use crate::modules::{Life, ModuleNow};
use crate::record::{Loss, Record, RecordId, Refusal, Root, What};

/// From a voltage out of range to the trip, and from its return to the boot. Common practice: some milliseconds of input
/// capacitors and supervisor; the exact figure is the module's.
pub const TRIP: Ns = Ns(1_000_000);
/// How far the ears run ahead at most.
const AHEAD: Ns = Ns(1_000_000_000);
/// Restarts of one module after which the rehearsal gives up.
const MOST_RESTARTS: u32 = 200;

/// What came of a rehearsal.
#[derive(Clone, Debug)]
pub struct Outcome {
    /// The expectations, in the order of their ids.
    pub expectations: Vec<Expectation>,
    /// How long it ran, s.
    pub duration_s: f64,
    /// Lowest and highest voltage at each module, V.
    pub voltages_v: Vec<(f64, f64)>,
    /// Energy that each module drew from the line, J.
    pub module_energy_j: Vec<f64>,
    /// Energy that each supply gave, J.
    pub supply_energy_j: Vec<f64>,
    /// Restarts of each module.
    pub restarts: Vec<u32>,
    /// Of each uplink: messages sent, billed messages, expired, still waiting.
    pub uplinks: Vec<UplinkCount>,
    /// Copies of messages asked for, delivered, lost and under way at the end.
    pub copies: Copies,
    /// Events that each detector confirmed.
    pub confirmed: Vec<u64>,
    /// Records written.
    pub records: u64,
    /// Samples of each hydrophone that were clipped.
    pub clipped: Vec<(SensorIx, u64)>,
    /// Hydrophones whose self-noise the plan leaves open: their ears hear the sea alone.
    pub self_noise_unknown: Vec<SensorIx>,
}

/// What an uplink did.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub struct UplinkCount {
    /// Messages ashore.
    pub sent: u64,
    /// Billed messages.
    pub billed: u64,
    /// Given up.
    pub expired: u64,
    /// Still waiting at the end.
    pub waiting: u64,
}

/// Copies of messages.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub struct Copies {
    /// Asked for.
    pub due: u64,
    /// Delivered by the network.
    pub delivered: u64,
    /// Lost by the network.
    pub lost: u64,
    /// Under way at the end.
    pub under_way: u64,
}

/// What waits in the queue.
#[derive(Clone, Debug)]
enum Happening {
    Fault {
        fault: usize,
        begins: bool,
    },
    Cell(WaitingCell),
    Act {
        behaviour: BehaviourIx,
        parent: Option<RecordId>,
        root: Option<Root>,
    },
    Each {
        behaviour: BehaviourIx,
    },
    Input {
        input: usize,
    },
    Arrives {
        hearing: usize,
        arrival: usize,
    },
    OutputBack {
        output: OutputIx,
        turn: u32,
        on: bool,
        parent: RecordId,
        root: Option<Root>,
    },
    StateBack {
        module: ModuleIx,
        turn: u32,
        parent: RecordId,
        root: Option<Root>,
    },
    Trip {
        module: ModuleIx,
        turn: u32,
    },
    Wake {
        module: ModuleIx,
        turn: u32,
    },
    Booted {
        module: ModuleIx,
        turn: u32,
    },
    Listens {
        module: ModuleIx,
        turn: u32,
        at: Ns,
    },
}

#[derive(Clone, Copy, Debug)]
struct Origin {
    record: RecordId,
    root: Option<Root>,
}

struct UplinkNow {
    uplink: Uplink,
    chance: Option<f64>,
    origins: BTreeMap<u64, Origin>,
    offered: u64,
    count: UplinkCount,
    /// End of the attempt under way.
    busy_until: Ns,
}

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
    let mut engine = Engine::new(line, cues, sink)?;
    engine.run(watch)?;
    Ok(engine.finish())
}

struct Engine<'a> {
    line: &'a Line,
    cues: &'a CueSheet,
    sink: &'a mut dyn FnMut(&Record),
    now: Ns,
    end: Ns,
    horizon: Ns,
    queue: Queue<Happening>,
    next_record: u64,
    modules: Vec<ModuleNow>,
    ears: Ears,
    electric: Electric,
    contacts: Contacts,
    whole: Vec<bool>,
    giving: Vec<bool>,
    dirty: bool,
    supply_w: Vec<f64>,
    supply_j: Vec<f64>,
    energy_since: Ns,
    traffic: Option<Traffic>,
    machine: Option<Machine>,
    topics: Vec<TopicId>,
    origins: BTreeMap<MessageId, Origin>,
    copies_left: BTreeMap<MessageId, usize>,
    topic_limits: BTreeMap<(usize, usize), RateLimit>,
    behaviour_limits: Vec<Option<RateLimit>>,
    sequences: BTreeMap<(usize, usize), u64>,
    uplinks: Vec<UplinkNow>,
    deliveries: Vec<Delivery>,
    watcher: Watcher<'a>,
    confirmed: Vec<u64>,
    fault_records: Vec<Option<RecordId>>,
}

impl<'a> Engine<'a> {
    fn new(
        line: &'a Line,
        cues: &'a CueSheet,
        sink: &'a mut dyn FnMut(&Record),
    ) -> Result<Engine<'a>, RehearsalError> {
        let ears = Ears::new(line, cues)?;
        let traffic = traffic(line)?;
        if let Some(t) = traffic.as_ref().filter(|t| !t.unknowns.is_empty()) {
            return Err(RehearsalError::NotSaid {
                what: t.unknowns.clone(),
            });
        }
        let mut machine = traffic
            .as_ref()
            .map(|t| Machine::new(t.topology.clone(), t.subscriptions.clone()))
            .transpose()
            .map_err(|source| RehearsalError::Machine {
                at: Ns::ZERO,
                source,
            })?;
        let topics = match (&mut machine, &traffic) {
            (Some(machine), Some(t)) => t.names.iter().map(|n| machine.topic(n)).collect(),
            _ => Vec::new(),
        };
        let behaviour_limits = line
            .behaviours
            .iter()
            .map(|b| {
                b.at_most
                    .map(|r| at_most(|| format!("behaviour.{}", b.id), r).map(RateLimit::new))
                    .transpose()
            })
            .collect::<Result<_, _>>()?;
        let uplinks = (0..line.uplinks.len())
            .map(|u| uplink_now(line, UplinkIx(u)))
            .collect::<Result<_, _>>()?;
        restartable(line, cues)?;
        let watcher = Watcher::new(line, cues, &ears.arrivals());
        let mut engine = Engine {
            line,
            cues,
            sink,
            now: Ns::ZERO,
            end: ns(|| "the rehearsal's duration".to_owned(), cues.duration_s.si)?,
            horizon: Ns::ZERO,
            queue: Queue::new(),
            next_record: 0,
            modules: ModuleNow::all(line),
            ears,
            electric: electric(line)?,
            contacts: if cues.contacts_aged {
                Contacts::Aged
            } else {
                Contacts::New
            },
            whole: vec![true; line.spans.len()],
            giving: vec![true; line.supplies.len()],
            dirty: true,
            supply_w: vec![0.0; line.supplies.len()],
            supply_j: vec![0.0; line.supplies.len()],
            energy_since: Ns::ZERO,
            traffic,
            machine,
            topics,
            origins: BTreeMap::new(),
            copies_left: BTreeMap::new(),
            topic_limits: BTreeMap::new(),
            behaviour_limits,
            sequences: BTreeMap::new(),
            uplinks,
            deliveries: Vec::new(),
            watcher,
            confirmed: vec![0; line.detectors.len()],
            fault_records: vec![None; cues.faults.len()],
        };
        engine.cue()?;
        Ok(engine)
    }

    /// Puts everything with a time of its own into the queue.
    fn cue(&mut self) -> Result<(), RehearsalError> {
        for (i, fault) in self.cues.faults.iter().enumerate() {
            let what = || format!("fault.{}", fault.id);
            let place = place(i);
            self.queue.push(
                ns(what, fault.at_s.si)?,
                Class::Fault,
                place,
                Happening::Fault {
                    fault: i,
                    begins: true,
                },
            );
            if let Some(until) = fault.until_s {
                self.queue.push(
                    ns(what, until.si)?,
                    Class::Fault,
                    place,
                    Happening::Fault {
                        fault: i,
                        begins: false,
                    },
                );
            }
        }
        for (i, input) in self.cues.inputs.iter().enumerate() {
            let at = ns(|| format!("input.{}", input.id), input.at_s.si)?;
            self.queue.push(
                at,
                Class::Publish,
                place(input.module.0),
                Happening::Input { input: i },
            );
        }
        for (i, behaviour) in self.line.behaviours.iter().enumerate() {
            if let When::Each { period_s } = behaviour.when {
                let at = ns(|| format!("behaviour.{}", behaviour.id), period_s.si)?;
                self.queue.push(
                    at,
                    Class::Act,
                    place(behaviour.on.0),
                    Happening::Each {
                        behaviour: BehaviourIx(i),
                    },
                );
            }
        }
        for (h, (_, arrivals)) in self.ears.arrivals().into_iter().enumerate() {
            for (a, arrival) in arrivals.iter().enumerate() {
                self.queue.push(
                    arrival.from,
                    Class::Probe,
                    place(h),
                    Happening::Arrives {
                        hearing: h,
                        arrival: a,
                    },
                );
            }
        }
        Ok(())
    }

    fn run(&mut self, watch: &mut dyn FnMut(Ns) -> bool) -> Result<(), RehearsalError> {
        loop {
            let next = self.next();
            let at = next.map_or(self.end, |(at, ..)| at.min(self.end));
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
            let Some((at, _, from)) = next.filter(|(at, ..)| *at < self.end) else {
                self.now = self.end;
                self.integrate();
                return Ok(());
            };
            self.now = at;
            match from {
                From::Queue => {
                    let entry = self.queue.pop().expect("what was peeked at is there");
                    self.happen(entry.payload)?;
                }
                From::Machine => self.step_machine()?,
                From::Uplink(u) => self.step_uplink(u)?,
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
            .and_then(Machine::next)
            .map(|(at, class)| (at, class, From::Machine));
        let uplinks = self.uplinks.iter().enumerate().filter_map(|(i, u)| {
            u.uplink
                .next()
                .map(|(at, class)| (at, class, From::Uplink(i)))
        });
        queue
            .into_iter()
            .chain(machine)
            .chain(uplinks)
            .min_by_key(|(at, class, _)| (*at, *class))
    }

    /// Runs the ears one second on. What they hear beyond a fault is void once the fault has happened.
    fn hear_ahead(&mut self) -> Result<(), RehearsalError> {
        let until = self
            .horizon
            .checked_add(AHEAD)
            .unwrap_or(self.end)
            .min(self.end);
        self.horizon = until;
        let queue = &mut self.queue;
        self.ears.advance(
            self.line,
            until,
            |_| true,
            |hearing, turn, heard| {
                put(queue, hearing, turn, heard);
            },
        )
    }

    /// Runs the ears of a module that has just begun to listen to where the others are.
    fn catch_up(&mut self, module: ModuleIx) -> Result<(), RehearsalError> {
        let queue = &mut self.queue;
        self.ears.advance(
            self.line,
            self.horizon,
            |m| m == module,
            |hearing, turn, heard| {
                put(queue, hearing, turn, heard);
            },
        )
    }

    fn record(&mut self, parent: Option<RecordId>, root: Option<Root>, what: What) -> RecordId {
        let id = RecordId(self.next_record);
        self.next_record += 1;
        let record = Record {
            id,
            parent,
            at: self.now,
            root,
            what,
        };
        self.watcher.see(&record);
        (self.sink)(&record);
        id
    }

    fn happen(&mut self, happening: Happening) -> Result<(), RehearsalError> {
        match happening {
            Happening::Fault { fault, begins } => self.fault(fault, begins)?,
            Happening::Cell(cell) => self.cell(&cell),
            Happening::Act {
                behaviour,
                parent,
                root,
            } => self.act(behaviour, parent, root)?,
            Happening::Each { behaviour } => {
                let b = &self.line.behaviours[behaviour.0];
                if let When::Each { period_s } = b.when {
                    let period = ns(|| format!("behaviour.{}", b.id), period_s.si)?;
                    if let Some(at) = self.now.checked_add(period) {
                        self.queue.push(
                            at,
                            Class::Act,
                            place(b.on.0),
                            Happening::Each { behaviour },
                        );
                    }
                }
                self.act(behaviour, None, None)?;
            }
            Happening::Input { input } => {
                let cue = &self.cues.inputs[input];
                self.publish(cue.module, cue.topic, None, None, None)?;
            }
            Happening::Arrives { hearing, arrival } => {
                let (sensor, a) = self.ears.arrival(hearing, arrival);
                let root = Root {
                    sound: a.sound,
                    repeat: a.repeat,
                    heard_at: a.from,
                };
                let what = What::Arrives {
                    sensor,
                    sound: a.sound,
                    repeat: a.repeat,
                    closest_range_m: a.closest_range_m,
                    level_db_re_1upa: a.received_level_db_re_1upa,
                };
                self.record(None, Some(root), what);
            }
            Happening::OutputBack {
                output,
                turn,
                on,
                parent,
                root,
            } => {
                if self.modules[output.module.0].output_turns[output.output] == turn {
                    self.switch(output, on, None, Some(parent), root)?;
                }
            }
            Happening::StateBack {
                module,
                turn,
                parent,
                root,
            } => {
                if self.modules[module.0].state_turn == turn {
                    let next = self
                        .sending_state(module)
                        .or(self.line.modules[module.0].starts_in);
                    self.enter(module, next, Some(parent), root);
                }
            }
            Happening::Trip { module, turn } => self.trip(module, turn)?,
            Happening::Wake { module, turn } => self.wake(module, turn)?,
            Happening::Booted { module, turn } => self.booted(module, turn)?,
            Happening::Listens { module, turn, at } => {
                if self.modules[module.0].life_turn == turn {
                    self.ears.start(module, at);
                    self.catch_up(module)?;
                }
            }
        }
        Ok(())
    }

    fn fault(&mut self, fault: usize, begins: bool) -> Result<(), RehearsalError> {
        let what = self.cues.faults[fault].what;
        let parent = self.fault_records[fault];
        let id = self.record(
            parent,
            None,
            if begins {
                What::FaultBegins { fault }
            } else {
                What::FaultEnds { fault }
            },
        );
        self.fault_records[fault] = Some(id);
        match what {
            FaultKind::Cut(span) => {
                self.whole[span.0] = !begins;
                self.dirty = true;
                let link = self
                    .traffic
                    .as_ref()
                    .and_then(|t| t.link_spans.iter().position(|s| *s == span));
                if let (Some(link), Some(machine)) = (link, &mut self.machine) {
                    let state = if begins {
                        LinkState::Down
                    } else {
                        LinkState::Up
                    };
                    machine.set_link(self.now, link, state).map_err(|source| {
                        RehearsalError::Machine {
                            at: self.now,
                            source,
                        }
                    })?;
                }
                self.drain_drops();
            }
            FaultKind::Hang(module) | FaultKind::Dead(module) => {
                let was_off = self.modules[module.0].life == Life::Off;
                let m = &mut self.modules[module.0];
                match what {
                    FaultKind::Hang(_) => m.hung = begins,
                    _ => {
                        m.dead = begins;
                        m.life = Life::Off;
                    }
                }
                self.dirty = true;
                if begins && !was_off {
                    self.stopped(module, Some(id))?;
                } else if !begins {
                    self.modules[module.0].life = Life::Off;
                    self.modules[module.0].pending = false;
                    self.reach_nodes()?;
                }
            }
            FaultKind::NoUplink(uplink) => {
                if begins {
                    let until = match self.cues.faults[fault].until_s {
                        Some(q) => ns(|| "the fault's end".to_owned(), q.si)?,
                        None => self.end.checked_add(Ns(1)).unwrap_or(self.end),
                    };
                    self.uplinks[uplink.0]
                        .uplink
                        .set_outage(self.now, until)
                        .map_err(|source| self.uplink_error(uplink, source))?;
                }
            }
            FaultKind::NoSupply(supply) => {
                self.giving[supply.0] = !begins;
                self.dirty = true;
            }
        }
        Ok(())
    }

    fn uplink_error(&self, uplink: UplinkIx, source: network::UplinkError) -> RehearsalError {
        RehearsalError::Uplink {
            at: self.now,
            uplink: self.line.uplinks[uplink.0].id.clone(),
            source,
        }
    }

    fn cell(&mut self, waiting: &WaitingCell) {
        let hearing = &self.ears.hearings[waiting.hearing];
        if hearing.turn != waiting.turn || !self.modules[hearing.module.0].works() {
            return;
        }
        let detector = waiting.detector;
        self.hears(detector, &waiting.cell);
        let mut told = Vec::new();
        let Some(decider) = &mut self.ears.deciders[detector.0] else {
            return;
        };
        decider.logic.push(&waiting.cell, &mut told);
        for t in told {
            self.tell(detector, &t.notice);
        }
    }

    /// Records from when on a detector can hear: with a background, once the background is known.
    fn hears(&mut self, detector: DetectorIx, cell: &detect::Cell) {
        let over_background = self.line.detectors[detector.0]
            .stages
            .iter()
            .any(|s| matches!(s, plan::Stage::Background { .. }));
        let Some(decider) = &mut self.ears.deciders[detector.0] else {
            return;
        };
        if !decider.hears && (!over_background || cell.background_db.is_some()) {
            decider.hears = true;
            self.record(None, None, What::Hears { detector });
        }
    }

    fn tell(&mut self, detector: DetectorIx, notice: &detect::Notice) {
        use detect::Notice;
        let id = match notice {
            Notice::Onset(id) | Notice::Confirmed(id) | Notice::Dropped(id, _) => id.0,
            Notice::Ended(event) => event.id.0,
        };
        if matches!(notice, Notice::Onset(_)) {
            let root = self.ears.root(self.line, detector, self.now);
            if let Some(d) = &mut self.ears.deciders[detector.0] {
                d.open.push((id, root, None));
            }
        }
        let known = self.ears.deciders[detector.0]
            .as_ref()
            .and_then(|d| d.open.iter().find(|(e, ..)| *e == id).copied());
        let (root, parent) = known.map_or((None, None), |(_, root, parent)| (root, parent));
        let kind = match notice {
            Notice::Onset(_) => NoticeKind::Onset,
            Notice::Confirmed(_) => NoticeKind::Confirmed,
            Notice::Ended(event) => {
                let record = self.record(
                    parent,
                    root,
                    What::Event {
                        detector,
                        event: *event,
                    },
                );
                self.close(detector, id);
                self.start_heard(detector, NoticeKind::Ended, id, Some(record), root);
                return;
            }
            Notice::Dropped(_, reason) => {
                self.record(
                    parent,
                    root,
                    What::Dropped {
                        detector,
                        event: id,
                        reason: *reason,
                    },
                );
                self.close(detector, id);
                return;
            }
        };
        if kind == NoticeKind::Confirmed {
            self.confirmed[detector.0] += 1;
        }
        self.start_heard(detector, kind, id, parent, root);
    }

    fn close(&mut self, detector: DetectorIx, id: u64) {
        if let Some(d) = &mut self.ears.deciders[detector.0] {
            d.open.retain(|(e, ..)| *e != id);
        }
    }

    fn start_heard(
        &mut self,
        detector: DetectorIx,
        notice: NoticeKind,
        event: u64,
        parent: Option<RecordId>,
        root: Option<Root>,
    ) {
        let record = self.record(
            parent,
            root,
            What::Noticed {
                detector,
                event,
                notice,
            },
        );
        if let Some(d) = &mut self.ears.deciders[detector.0]
            && let Some(open) = d.open.iter_mut().find(|(e, ..)| *e == event)
        {
            open.2 = Some(record);
        }
        for (i, b) in self.line.behaviours.iter().enumerate() {
            if matches!(&b.when, When::Heard { detector: d, notice: n } if *d == detector && *n == notice)
            {
                let act = Happening::Act {
                    behaviour: BehaviourIx(i),
                    parent: Some(record),
                    root,
                };
                self.queue.push(self.now, Class::Act, place(b.on.0), act);
            }
        }
    }

    fn act(
        &mut self,
        behaviour: BehaviourIx,
        parent: Option<RecordId>,
        root: Option<Root>,
    ) -> Result<(), RehearsalError> {
        let b = &self.line.behaviours[behaviour.0];
        if !self.modules[b.on.0].works() {
            return Ok(());
        }
        if let Some(limit) = &mut self.behaviour_limits[behaviour.0]
            && !matches!(limit.admit(self.now), Ok(Admission::Passed))
        {
            self.record(
                parent,
                root,
                What::Refused {
                    behaviour,
                    why: Refusal::Behaviour,
                },
            );
            return Ok(());
        }
        let started = self.record(parent, root, What::Started { behaviour });
        for action in &b.actions {
            match action {
                Action::Publish { topic } => {
                    self.publish(b.on, *topic, Some(behaviour), Some(started), root)?
                }
                Action::Switch { output, on, for_s } => {
                    let for_s = for_s
                        .map(|q| ns(|| format!("behaviour.{}", b.id), q.si))
                        .transpose()?;
                    self.switch(*output, *on, for_s, Some(started), root)?;
                }
                Action::SendUp { uplink, topic } => self.send_up(*uplink, *topic, started, root)?,
                Action::Enter { state, for_s } => {
                    self.enter(b.on, Some(*state), Some(started), root);
                    let back = self
                        .now
                        .checked_add(ns(|| format!("behaviour.{}", b.id), for_s.si)?);
                    let turn = self.modules[b.on.0].state_turn;
                    if let Some(at) = back {
                        self.queue.push(
                            at,
                            Class::Supply,
                            place(b.on.0),
                            Happening::StateBack {
                                module: b.on,
                                turn,
                                parent: started,
                                root,
                            },
                        );
                    }
                }
                Action::Log { text } => {
                    self.record(
                        Some(started),
                        root,
                        What::Logged {
                            module: b.on,
                            text: text.clone(),
                        },
                    );
                }
            }
        }
        Ok(())
    }

    fn enter(
        &mut self,
        module: ModuleIx,
        state: Option<usize>,
        parent: Option<RecordId>,
        root: Option<Root>,
    ) {
        let m = &mut self.modules[module.0];
        m.state_turn += 1;
        if m.state != state {
            m.state = state;
            self.dirty = true;
            if let Some(state) = state {
                self.record(parent, root, What::Entered { module, state });
            }
        }
    }

    fn switch(
        &mut self,
        output: OutputIx,
        on: bool,
        for_time: Option<Ns>,
        parent: Option<RecordId>,
        root: Option<Root>,
    ) -> Result<(), RehearsalError> {
        let m = &mut self.modules[output.module.0];
        m.output_turns[output.output] += 1;
        let turn = m.output_turns[output.output];
        let changes = m.outputs_on[output.output] != on;
        m.outputs_on[output.output] = on;
        let parent = if changes {
            self.dirty = true;
            Some(self.record(parent, root, What::Switched { output, on }))
        } else {
            parent
        };
        if let (Some(time), Some(parent)) = (for_time, parent)
            && let Some(at) = self.now.checked_add(time)
        {
            self.queue.push(
                at,
                Class::Supply,
                place(output.module.0),
                Happening::OutputBack {
                    output,
                    turn,
                    on: !on,
                    parent,
                    root,
                },
            );
        }
        Ok(())
    }

    fn publish(
        &mut self,
        module: ModuleIx,
        topic: TopicIx,
        by: Option<BehaviourIx>,
        parent: Option<RecordId>,
        root: Option<Root>,
    ) -> Result<(), RehearsalError> {
        if !self.modules[module.0].works() {
            return Ok(());
        }
        let plan = &self.line.topics[topic.0];
        if let Some(rate) = plan.at_most {
            let limit = at_most(|| format!("topic \"{}\"", plan.name), rate)?;
            let gate = self
                .topic_limits
                .entry((module.0, topic.0))
                .or_insert_with(|| RateLimit::new(limit));
            if !matches!(gate.admit(self.now), Ok(Admission::Passed)) {
                if let Some(behaviour) = by {
                    self.record(
                        parent,
                        root,
                        What::Refused {
                            behaviour,
                            why: Refusal::Topic,
                        },
                    );
                }
                return Ok(());
            }
        }
        let (Some(machine), Some(traffic)) = (&mut self.machine, &self.traffic) else {
            return Err(RehearsalError::NotSaid {
                what: vec!["[traffic]: how messages are framed".to_owned()],
            });
        };
        let sequence = self.sequences.entry((module.0, topic.0)).or_insert(0);
        let stream = place(module.0 * self.line.topics.len() + topic.0);
        let message = machine
            .publish(
                self.now,
                module.0,
                self.topics[topic.0],
                traffic.bytes[topic.0],
                plan.priority,
                stream,
                *sequence,
            )
            .map_err(|source| RehearsalError::Machine {
                at: self.now,
                source,
            })?;
        *sequence += 1;
        let copies = machine
            .subscribers(self.topics[topic.0])
            .map_or(0, |nodes| nodes.iter().filter(|n| **n != module.0).count());
        let record = self.record(
            parent,
            root,
            What::Published {
                module,
                topic,
                message,
            },
        );
        if copies > 0 {
            self.origins.insert(message, Origin { record, root });
            self.copies_left.insert(message, copies);
        }
        self.drain_drops();
        Ok(())
    }

    fn send_up(
        &mut self,
        uplink: UplinkIx,
        topic: TopicIx,
        parent: RecordId,
        root: Option<Root>,
    ) -> Result<(), RehearsalError> {
        let bytes = match &self.traffic {
            Some(t) => t.bytes[topic.0],
            None => assess::input::payload_bytes(&self.line.topics[topic.0])?,
        };
        let message = self.uplinks[uplink.0].offered;
        let record = self.record(
            Some(parent),
            root,
            What::Queued {
                uplink,
                message,
                bytes,
            },
        );
        let u = &mut self.uplinks[uplink.0];
        u.offered += 1;
        u.origins.insert(message, Origin { record, root });
        let offered = u
            .uplink
            .offer(self.now, UplinkMessage { id: message, bytes });
        offered.map_err(|source| self.uplink_error(uplink, source))
    }

    fn step_machine(&mut self) -> Result<(), RehearsalError> {
        let mut hops = Vec::new();
        let mut deliveries = std::mem::take(&mut self.deliveries);
        deliveries.clear();
        if let Some(machine) = &mut self.machine {
            machine.step_traced(&mut deliveries, |hop| hops.push(*hop));
        }
        for hop in hops {
            let Some(origin) = self.origins.get(&hop.message).copied() else {
                continue;
            };
            let span = self.traffic.as_ref().map(|t| t.link_spans[hop.link]);
            if let Some(span) = span {
                let what = What::Crossed {
                    span,
                    to: ModuleIx(hop.to),
                    message: hop.message,
                    fragment: hop.fragment,
                    queued: hop.queued,
                    start: hop.start,
                    end: hop.end,
                };
                self.record(Some(origin.record), origin.root, what);
            }
        }
        for delivery in &deliveries {
            self.deliver(delivery);
        }
        self.deliveries = deliveries;
        self.drain_drops();
        Ok(())
    }

    fn deliver(&mut self, delivery: &Delivery) {
        let Some(origin) = self.origins.get(&delivery.message).copied() else {
            return;
        };
        let module = ModuleIx(delivery.node);
        let Some(topic) = self
            .topics
            .iter()
            .position(|t| *t == delivery.topic)
            .map(TopicIx)
        else {
            return;
        };
        self.copy_done(delivery.message);
        if !self.modules[module.0].works() {
            let what = What::Lost {
                module,
                topic,
                message: delivery.message,
                why: Loss::NotWorking,
            };
            self.record(Some(origin.record), origin.root, what);
            return;
        }
        let what = What::Delivered {
            module,
            topic,
            message: delivery.message,
        };
        let record = self.record(Some(origin.record), origin.root, what);
        let Some(traffic) = &self.traffic else { return };
        let name = &traffic.names[topic.0];
        for (i, b) in self
            .line
            .behaviours
            .iter()
            .enumerate()
            .filter(|(_, b)| b.on == module)
        {
            let When::Told { filter } = &b.when else {
                continue;
            };
            let hears = network::Filter::parse(filter).is_ok_and(|f| f.matches(name));
            if hears {
                let act = Happening::Act {
                    behaviour: BehaviourIx(i),
                    parent: Some(record),
                    root: origin.root,
                };
                self.queue.push(self.now, Class::Act, place(module.0), act);
            }
        }
    }

    fn copy_done(&mut self, message: MessageId) {
        if let Some(left) = self.copies_left.get_mut(&message) {
            *left -= 1;
            if *left == 0 {
                self.copies_left.remove(&message);
                self.origins.remove(&message);
            }
        }
    }

    fn drain_drops(&mut self) {
        let drops: Vec<network::Drop> = match &mut self.machine {
            Some(machine) => machine.drain_drops().collect(),
            None => return,
        };
        for drop in drops {
            let origin = self.origins.get(&drop.message).copied();
            let Some(topic) = self
                .topics
                .iter()
                .position(|t| *t == drop.topic)
                .map(TopicIx)
            else {
                continue;
            };
            let what = What::Lost {
                module: ModuleIx(drop.node),
                topic,
                message: drop.message,
                why: Loss::Network(drop.reason),
            };
            self.record(origin.map(|o| o.record), origin.and_then(|o| o.root), what);
            self.copy_done(drop.message);
        }
    }

    fn step_uplink(&mut self, index: usize) -> Result<(), RehearsalError> {
        let uplink = UplinkIx(index);
        let module = self.line.uplinks[index].module;
        let works = self.modules[module.0].works();
        let chance = self.uplinks[index].chance;
        let name = format!("uplink/{}", self.line.uplinks[index].id);
        let seed = self.cues.seed;
        let mut events = Vec::new();
        self.uplinks[index]
            .uplink
            .step_asking(&mut events, |attempt| {
                let lucky =
                    chance.is_none_or(|p| Stream::named(seed, &name, attempt).uniform() < p);
                if works && lucky {
                    Attempted::Arrived
                } else {
                    Attempted::Failed
                }
            });
        for event in events {
            let origin = |e: &Engine<'_>, id: u64| e.uplinks[index].origins.get(&id).copied();
            match event {
                UplinkEvent::Started { id, attempt, .. } => {
                    let from = origin(self, id);
                    let record = self.record(
                        from.map(|o| o.record),
                        from.and_then(|o| o.root),
                        What::Attempt {
                            uplink,
                            message: id,
                            attempt,
                        },
                    );
                    self.sends(uplink, record, from.and_then(|o| o.root))?;
                }
                UplinkEvent::Sent { id, billed, .. } => {
                    let from = origin(self, id);
                    self.record(
                        from.map(|o| o.record),
                        from.and_then(|o| o.root),
                        What::Sent {
                            uplink,
                            message: id,
                            billed,
                        },
                    );
                    let u = &mut self.uplinks[index];
                    u.count.sent += 1;
                    u.count.billed += u64::from(billed);
                    u.origins.remove(&id);
                }
                UplinkEvent::Failed { id, attempt, .. } => {
                    let from = origin(self, id);
                    self.record(
                        from.map(|o| o.record),
                        from.and_then(|o| o.root),
                        What::Failed {
                            uplink,
                            message: id,
                            attempt,
                        },
                    );
                }
                UplinkEvent::Expired { id, .. } => {
                    let from = origin(self, id);
                    self.record(
                        from.map(|o| o.record),
                        from.and_then(|o| o.root),
                        What::Expired {
                            uplink,
                            message: id,
                        },
                    );
                    let u = &mut self.uplinks[index];
                    u.count.expired += 1;
                    u.origins.remove(&id);
                }
            }
        }
        Ok(())
    }

    /// The state of a module while one of its uplinks is still sending.
    fn sending_state(&self, module: ModuleIx) -> Option<usize> {
        self.line
            .uplinks
            .iter()
            .zip(&self.uplinks)
            .find(|(plan, now)| plan.module == module && now.busy_until > self.now)
            .and_then(|(plan, _)| plan.sending_state)
    }

    /// The module of an uplink draws its sending power for the length of an attempt.
    fn sends(
        &mut self,
        uplink: UplinkIx,
        parent: RecordId,
        root: Option<Root>,
    ) -> Result<(), RehearsalError> {
        let u = &self.line.uplinks[uplink.0];
        let (Some(state), true) = (u.sending_state, self.modules[u.module.0].works()) else {
            return Ok(());
        };
        self.enter(u.module, Some(state), Some(parent), root);
        let turn = self.modules[u.module.0].state_turn;
        let session = ns(|| format!("uplink.{}", u.id), u.session_s.si)?;
        self.uplinks[uplink.0].busy_until = self.now.checked_add(session).unwrap_or(self.end);
        if let Some(at) = self.now.checked_add(session) {
            self.queue.push(
                at,
                Class::Supply,
                place(u.module.0),
                Happening::StateBack {
                    module: u.module,
                    turn,
                    parent,
                    root,
                },
            );
        }
        Ok(())
    }

    fn conditions(&self) -> Conditions {
        Conditions {
            contacts: self.contacts,
            draws: self.modules.iter().map(ModuleNow::draw).collect(),
            working: self.modules.iter().map(ModuleNow::works).collect(),
            whole: self.whole.clone(),
            giving: self.giving.clone(),
        }
    }

    /// Solves the voltages anew and says who trips and who wakes.
    fn settle(&mut self) -> Result<(), RehearsalError> {
        self.dirty = false;
        self.integrate();
        let input = self.electric.input(self.line, &self.conditions())?;
        if !input.unknowns.is_empty() {
            return Err(RehearsalError::NotSaid {
                what: input.unknowns,
            });
        }
        let voltages_v = self.solve(&input)?;
        for (m, v) in self.modules.iter_mut().zip(&voltages_v) {
            m.voltage_v = *v;
            m.lowest_v = m.lowest_v.min(*v);
            m.highest_v = m.highest_v.max(*v);
        }
        self.record(None, None, What::Settled { voltages_v });
        for i in 0..self.modules.len() {
            self.watch_voltage(ModuleIx(i));
        }
        Ok(())
    }

    /// Voltage at each module; all zero when the line cannot carry its load.
    fn solve(&mut self, input: &ElectricInput) -> Result<Vec<f64>, RehearsalError> {
        self.supply_w.fill(0.0);
        for m in &mut self.modules {
            m.power_w = 0.0;
        }
        let dark = vec![0.0; self.modules.len()];
        if input.network.sources.is_empty() {
            return Ok(dark);
        }
        let solution = match power::solve(&input.network) {
            Ok(solution) if solution.limited.is_empty() => solution,
            Ok(_) => {
                self.record(None, None, What::Collapsed { share: None });
                return Ok(dark);
            }
            Err(NetworkError::CannotCarry { scale, .. }) => {
                self.record(None, None, What::Collapsed { share: Some(scale) });
                return Ok(dark);
            }
            Err(source) => {
                return Err(RehearsalError::Power {
                    at: self.now,
                    source,
                });
            }
        };
        for (source, current_a) in input.sources.iter().zip(&solution.source_currents_a) {
            self.supply_w[*source] += self.line.supplies[*source].voltage_v.si * current_a;
        }
        for load in &input.network.loads {
            let v = solution.voltages_v[load.node];
            let power_w = match load.kind {
                power::LoadKind::Power { power_w } => power_w,
                power::LoadKind::Current { current_a } => current_a * v,
                power::LoadKind::Resistance { resistance_ohm } => v * v / resistance_ohm,
            };
            if let Some(m) = input.inlets.iter().position(|n| *n == Some(load.node)) {
                self.modules[m].power_w += power_w;
            }
        }
        Ok(input
            .inlets
            .iter()
            .map(|node| node.map_or(0.0, |n| solution.voltages_v[n]))
            .collect())
    }

    fn integrate(&mut self) {
        let span_s = self.now.as_s_f64() - self.energy_since.as_s_f64();
        self.energy_since = self.now;
        for (j, w) in self.supply_j.iter_mut().zip(&self.supply_w) {
            *j += w * span_s;
        }
        for m in &mut self.modules {
            m.energy_j += m.power_w * span_s;
        }
    }

    fn watch_voltage(&mut self, module: ModuleIx) {
        let Some(input) = &self.line.modules[module.0].input else {
            return;
        };
        let m = &mut self.modules[module.0];
        let enough = m.voltage_v >= input.minimum_v.si;
        let turn = m.life_turn;
        let happening = match (m.life, enough) {
            (Life::Off, true) if !m.dead => Happening::Wake { module, turn },
            (Life::Boots | Life::Works, false) => Happening::Trip { module, turn },
            _ => return,
        };
        if !m.pending {
            m.pending = true;
            if let Some(at) = self.now.checked_add(TRIP) {
                self.queue
                    .push(at, Class::Supply, place(module.0), happening);
            }
        }
    }

    fn enough(&self, module: ModuleIx) -> bool {
        let minimum_v = self.line.modules[module.0]
            .input
            .as_ref()
            .map_or(0.0, |i| i.minimum_v.si);
        self.modules[module.0].voltage_v >= minimum_v
    }

    fn trip(&mut self, module: ModuleIx, turn: u32) -> Result<(), RehearsalError> {
        if self.modules[module.0].life_turn != turn {
            return Ok(());
        }
        self.modules[module.0].pending = false;
        if self.enough(module) {
            return Ok(());
        }
        self.modules[module.0].life = Life::Off;
        self.dirty = true;
        self.stopped(module, None)
    }

    /// A module stops working: its ears, its outputs and its state with it.
    fn stopped(
        &mut self,
        module: ModuleIx,
        parent: Option<RecordId>,
    ) -> Result<(), RehearsalError> {
        let starts_in = self.line.modules[module.0].starts_in;
        let m = &mut self.modules[module.0];
        m.life_turn += 1;
        m.state_turn += 1;
        m.pending = false;
        let voltage_v = m.voltage_v;
        if !m.hung {
            m.state = starts_in;
        }
        let record = self.record(parent, None, What::Down { module, voltage_v });
        self.ears.stop(module);
        for (d, detector) in self.line.detectors.iter().enumerate() {
            if detector.on.module == module {
                self.silence(DetectorIx(d));
            }
        }
        if !self.modules[module.0].hung {
            for (o, output) in self.line.modules[module.0].outputs.iter().enumerate() {
                self.modules[module.0].output_turns[o] += 1;
                let was =
                    std::mem::replace(&mut self.modules[module.0].outputs_on[o], output.starts_on);
                if was && !output.starts_on {
                    self.record(
                        Some(record),
                        None,
                        What::Switched {
                            output: OutputIx { module, output: o },
                            on: false,
                        },
                    );
                }
            }
        }
        self.reach_nodes()
    }

    /// What a detector had open is dropped: its samples have stopped.
    fn silence(&mut self, detector: DetectorIx) {
        let mut told = Vec::new();
        if let Some(d) = &mut self.ears.deciders[detector.0] {
            d.logic.gap(0, &mut told);
        }
        for t in told {
            self.tell(detector, &t.notice);
        }
        let heard = self.ears.deciders[detector.0]
            .as_mut()
            .is_some_and(|d| std::mem::replace(&mut d.hears, false));
        if heard {
            self.record(None, None, What::Deaf { detector });
        }
    }

    fn wake(&mut self, module: ModuleIx, turn: u32) -> Result<(), RehearsalError> {
        if self.modules[module.0].life_turn != turn {
            return Ok(());
        }
        self.modules[module.0].pending = false;
        if !self.enough(module) || self.modules[module.0].dead {
            return Ok(());
        }
        let plan = &self.line.modules[module.0];
        let Some(boot) = plan.boot else {
            return Err(RehearsalError::NotSaid {
                what: vec![format!(
                    "module.{} restarts, and says nothing of its boot",
                    plan.id
                )],
            });
        };
        let m = &mut self.modules[module.0];
        m.life = Life::Boots;
        m.life_turn += 1;
        m.restarts += 1;
        if m.restarts > MOST_RESTARTS {
            return Err(RehearsalError::RestartLoop {
                at: self.now,
                module: plan.id.clone(),
                times: m.restarts - 1,
            });
        }
        let turn = m.life_turn;
        self.dirty = true;
        self.record(None, None, What::Boots { module });
        let time = ns(|| format!("module.{}", plan.id), boot.time_s.si)?;
        if let Some(at) = self.now.checked_add(time) {
            self.queue.push(
                at,
                Class::Supply,
                place(module.0),
                Happening::Booted { module, turn },
            );
        }
        self.reach_nodes()
    }

    fn booted(&mut self, module: ModuleIx, turn: u32) -> Result<(), RehearsalError> {
        if self.modules[module.0].life_turn != turn {
            return Ok(());
        }
        self.modules[module.0].life = Life::Works;
        self.dirty = true;
        self.record(None, None, What::Up { module });
        let plan = &self.line.modules[module.0];
        let listens = plan.sensors.iter().any(|s| s.chain.is_some());
        if listens {
            let mut settles_s: f64 = 0.0;
            for sensor in plan.sensors.iter().filter(|s| s.chain.is_some()) {
                match sensor.settles_s {
                    Some(q) => settles_s = settles_s.max(q.si),
                    None => {
                        return Err(RehearsalError::NotSaid {
                            what: vec![format!(
                                "module.{}.sensor.{} restarts, and says nothing of its settling time",
                                plan.id, sensor.id
                            )],
                        });
                    }
                }
            }
            let settles = ns(|| format!("module.{}", plan.id), settles_s)?;
            if let Some(at) = self.now.checked_add(settles) {
                self.queue.push(
                    at,
                    Class::Supply,
                    place(module.0),
                    Happening::Listens { module, turn, at },
                );
            }
        }
        self.reach_nodes()
    }

    /// Tells the network which nodes still pass data.
    fn reach_nodes(&mut self) -> Result<(), RehearsalError> {
        let Some(machine) = &mut self.machine else {
            return Ok(());
        };
        for (i, m) in self.modules.iter().enumerate() {
            let state = if m.passes_data(self.line, i) {
                NodeState::Up
            } else {
                NodeState::Down
            };
            machine
                .set_node(self.now, i, state)
                .map_err(|source| RehearsalError::Machine {
                    at: self.now,
                    source,
                })?;
        }
        self.drain_drops();
        Ok(())
    }

    fn finish(self) -> Outcome {
        let stats = self.machine.as_ref().map(Machine::stats);
        Outcome {
            expectations: self.watcher.finish(self.end),
            duration_s: self.end.as_s_f64(),
            voltages_v: self
                .modules
                .iter()
                .map(|m| (m.lowest_v, m.highest_v))
                .collect(),
            module_energy_j: self.modules.iter().map(|m| m.energy_j).collect(),
            supply_energy_j: self.supply_j,
            restarts: self.modules.iter().map(|m| m.restarts).collect(),
            uplinks: self
                .uplinks
                .iter()
                .map(|u| UplinkCount {
                    waiting: u.uplink.stats().waiting,
                    ..u.count
                })
                .collect(),
            copies: stats.map_or_else(Copies::default, |s| Copies {
                due: s.copies_due,
                delivered: s.delivered,
                lost: s.dropped,
                under_way: s.in_flight,
            }),
            confirmed: self.confirmed,
            records: self.next_record,
            clipped: self.ears.clipped(),
            self_noise_unknown: self.ears.self_noise_unknown(),
        }
    }
}

/// Where the next happening comes from.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
enum From {
    Queue,
    Machine,
    Uplink(usize),
}

fn put(queue: &mut Queue<Happening>, hearing: usize, turn: u32, heard: &HeardCell) {
    let cell = WaitingCell {
        hearing,
        turn,
        detector: heard.detector,
        cell: heard.cell,
    };
    queue.push(
        heard.known_at,
        Class::Notice,
        place(heard.detector.0),
        Happening::Cell(cell),
    );
}

fn place(index: usize) -> u32 {
    u32::try_from(index).expect("a line has fewer than 2^32 parts")
}

/// A cue sheet with faults may restart any module: what a restart needs must then be said.
fn restartable(line: &Line, cues: &CueSheet) -> Result<(), RehearsalError> {
    if cues.faults.is_empty() {
        return Ok(());
    }
    let mut what = Vec::new();
    for module in line.modules.iter().filter(|m| m.input.is_some()) {
        if module.boot.is_none() {
            what.push(format!(
                "module.{} may restart, and says nothing of its boot",
                module.id
            ));
        }
        for sensor in module
            .sensors
            .iter()
            .filter(|s| s.chain.is_some() && s.settles_s.is_none())
        {
            what.push(format!(
                "module.{}.sensor.{} may restart, and says nothing of its settling time (settles_in)",
                module.id, sensor.id
            ));
        }
    }
    if what.is_empty() {
        Ok(())
    } else {
        Err(RehearsalError::NotSaid { what })
    }
}

fn uplink_now(line: &Line, ix: UplinkIx) -> Result<UplinkNow, RehearsalError> {
    let plan = &line.uplinks[ix.0];
    let Some(success) = plan.success else {
        return Err(RehearsalError::NotSaid {
            what: vec![format!(
                "uplink.{} says nothing of its chance of success",
                plan.id
            )],
        });
    };
    let uplink = Uplink::new(uplink_spec(line, ix)?).map_err(|source| RehearsalError::Uplink {
        at: Ns::ZERO,
        uplink: plan.id.clone(),
        source,
    })?;
    Ok(UplinkNow {
        uplink,
        chance: (success.si < 1.0).then_some(success.si),
        origins: BTreeMap::new(),
        offered: 0,
        count: UplinkCount::default(),
        busy_until: Ns::ZERO,
    })
}
