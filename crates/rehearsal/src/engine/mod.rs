//! The rehearsal itself: one sequential queue over all that happens, and the network and the uplinks stepped in time.
//!
//! Order at one instant: fault, supply, settle, arrive, notice, act, publish, start service, probe; then by place, then by
//! number. Voltages settle once an instant is over, and only when something changed that they rest on. A module whose
//! voltage falls below its lowest trips [`TRIP`] later; one whose voltage has come back boots as late, and not sooner than [`SWITCHES_ON_AGAIN`] after it did so last, a pause that doubles up to [`LONGEST_PAUSE`]. One above its highest is told.

mod acts;
mod answers;
mod asks;
mod bounds;
mod clocks;
mod content;
mod cues;
mod deeds;
mod fail_safes;
mod faults;
mod joining;
mod learning;
mod listening;
mod lives;
mod messages;
mod outcome;
mod power_up;
mod routines;
mod settings;
mod states;
mod steps;
mod stores;
mod streams;
mod uplinks;
mod voltages;
mod voting;
mod wire;
mod wiring;

use std::collections::{BTreeMap, BTreeSet};

use assess::input::{
    Contacts, Electric, Given, InputError, Traffic, at_most, electric, ns, traffic,
};
use network::{Access, AtMost, Delivery, Filter, Machine, MessageId, Post, RateLimit, TopicId};
use plan::{BehaviourIx, CueSheet, DetectorIx, Line, ModuleIx, OutputIx, UplinkIx, When};
use timeline::{Class, Ns, Queue};

use self::bounds::{BoundsNow, all_hearers};
use self::clocks::Clocks;
use self::content::{Contents, Led, Of};
use self::cues::restartable;
use self::fail_safes::Timer;
use self::faults::FaultsNow;
use self::messages::on_terms;
use self::routines::Routines;
use self::stores::{StoreNow, stores};
use self::streams::StreamsNow;
use self::uplinks::{UplinkNow, uplink_now};
use crate::came::Came;
use crate::error::RehearsalError;
use crate::expect::Watcher;
use crate::hearing::{Ears, WaitingCell};
use crate::modules::ModuleNow;
use crate::record::{Collapse, KeptBack, Record, RecordId, Root, What};

pub use answers::{AnswerFromOutside, NoQuestion};
pub use asks::{JoinCount, RequestCount};
pub use joining::Acquaintance;
pub use outcome::{
    BusCame, Copies, Outcome, RoutineCount, RoutineLog, StationCame, StoreCount, UplinkCount,
};
pub use settings::SettingCount;
pub use steps::{FromOutside, Steps, answer_id, input_id, run};

/// From a voltage below the lowest to the trip, and from its return to the boot. Common practice: some milliseconds of input
/// capacitors and supervisor; the exact figure is the module's.
pub const TRIP: Ns = Ns(1_000_000);

/// A module switches on by itself at most once in this time, as long as nothing about spans and supplies changes. Common practice: the second stands for the
/// pause that a converter makes before it tries again; the exact figure is the module's. The pause doubles from one try to the next.
pub const SWITCHES_ON_AGAIN: Ns = Ns(1_000_000_000);

/// The longest that this pause becomes. It begins anew at [`SWITCHES_ON_AGAIN`] for a module that has stayed on for so long. Common practice: who tries again and
/// again makes growing pauses up to a longest; the exact figure is the module's.
pub const LONGEST_PAUSE: Ns = Ns(60_000_000_000);

/// Steps after which the caller is asked whether to go on, however little time has passed in the rehearsal.
const WATCHED: u64 = 4096;

/// What waits in the queue.
#[derive(Clone, Debug)]
enum Happening {
    Fault {
        fault: usize,
        begins: bool,
    },
    Goes {
        fault: usize,
        turn: u32,
    },
    Cell(WaitingCell),
    Act {
        behaviour: BehaviourIx,
        led: Led,
        parent: Option<RecordId>,
        root: Option<Root>,
    },
    Each {
        behaviour: BehaviourIx,
    },
    Input {
        input: usize,
    },
    FromOutside {
        outside: usize,
    },
    Answer {
        answer: usize,
    },
    AnswerFromOutside {
        outside: usize,
    },
    SetClock {
        module: ModuleIx,
    },
    Arrives {
        hearing: usize,
        arrival: usize,
    },
    OutputBack {
        output: OutputIx,
        turn: u32,
        parent: RecordId,
        root: Option<Root>,
    },
    RunsOut {
        timer: usize,
        turn: u32,
        parent: Option<RecordId>,
    },
    WishEnds {
        module: ModuleIx,
        wish: u32,
        parent: RecordId,
        root: Option<Root>,
    },
    Trip {
        module: ModuleIx,
        turn: u32,
        parent: RecordId,
    },
    Wake {
        module: ModuleIx,
        turn: u32,
        parent: RecordId,
    },
    Booted {
        module: ModuleIx,
        turn: u32,
        parent: RecordId,
    },
    Listens {
        module: ModuleIx,
        turn: u32,
        at: Ns,
    },
    AskDue {
        ask: u64,
    },
    Switches {
        module: ModuleIx,
        on: bool,
        parent: RecordId,
    },
    AllBooted,
}

#[derive(Clone, Copy, Debug)]
struct Origin {
    record: RecordId,
    root: Option<Root>,
    /// The detector whose confirmed event made it, and when that was known: the message carries both.
    heard: Option<(DetectorIx, Ns)>,
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
    /// What the last settling found that the line cannot carry.
    collapsed: Vec<(Collapse, Vec<ModuleIx>)>,
    /// Whether each exclusive group holds more members than it may.
    together: Vec<bool>,
    ears: Ears,
    electric: Electric,
    contacts: Contacts,
    whole: Vec<bool>,
    giving: Vec<bool>,
    added_ohm: Vec<f64>,
    given: Vec<Given>,
    dirty: bool,
    /// While the line comes up: when all have booted.
    rising_until: Option<Ns>,
    supply_w: Vec<f64>,
    supply_j: Vec<f64>,
    energy_since: Ns,
    traffic: Option<Traffic>,
    machine: Option<Post>,
    topics: Vec<TopicId>,
    /// Of outputs that fail safe by themselves.
    timers: Vec<Timer>,
    contents: Contents,
    asks: asks::Asks,
    routines: Routines,
    settings: Vec<Option<SettingCount>>,
    origins: BTreeMap<MessageId, Origin>,
    copies_left: BTreeMap<MessageId, usize>,
    /// The limit of each topic, and its gate at each module that publishes on it.
    topic_at_most: Vec<Option<AtMost>>,
    topic_limits: BTreeMap<(usize, usize), RateLimit>,
    behaviour_limits: Vec<Option<RateLimit>>,
    /// Starts of each behaviour that its limit held back.
    held_back: Vec<u64>,
    /// The last cause for which each behaviour was told not to run because its module does not work.
    idle_told: Vec<Option<RecordId>>,
    /// What each behaviour is told of, if it is told.
    filters: Vec<Option<Filter>>,
    sequences: BTreeMap<(usize, usize), u64>,
    /// What they were when the module last began to boot.
    numbered: BTreeMap<(usize, usize), u64>,
    uplinks: Vec<UplinkNow>,
    stores: Vec<StoreNow>,
    votes: Vec<detect::Vote>,
    deliveries: Vec<Delivery>,
    watcher: Watcher<'a>,
    clocks: Clocks,
    confirmed: Vec<u64>,
    faults: FaultsNow,
    bounds: BoundsNow,
    streams: StreamsNow,
    came: Came,
    /// Messages from outside, in the order in which they were handed in.
    outside: Vec<FromOutside>,
    /// The same of answers.
    answers_from_outside: Vec<AnswerFromOutside>,
    /// The questions of those that have been handed in and have not entered yet.
    answers_to_enter: BTreeSet<u64>,
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
        let no_turns = |t: &Traffic| {
            let mut buses = t.topology.buses().iter();
            let bus = buses.position(|bus| bus.access == Access::Unsaid)?;
            Some(t.shared[bus].path(line))
        };
        if let Some(what) = traffic.as_ref().and_then(no_turns) {
            return Err(RehearsalError::SharedLink { what });
        }
        let mut machine = traffic
            .as_ref()
            .map(|t| Machine::new(t.topology.clone(), t.subscriptions.clone()))
            .transpose()
            .map_err(|source| RehearsalError::Machine {
                at: Ns::ZERO,
                source,
            })?
            .map(Post::new);
        if let (Some(machine), Some(t)) = (&mut machine, &traffic) {
            wire::standing_bit_errors(machine.machine_mut(), t, line, cues).map_err(|source| {
                let at = Ns::ZERO;
                RehearsalError::Machine { at, source }
            })?;
        }
        let topics = match (&mut machine, &traffic) {
            (Some(machine), Some(t)) => on_terms(machine, t),
            _ => Vec::new(),
        };
        let asks = asks::Asks::new(line, traffic.as_ref(), machine.as_mut())?;
        let behaviour_limits = line
            .behaviours
            .iter()
            .map(|b| {
                b.at_most
                    .map(|r| at_most(|| format!("behaviour.{}", b.id), r).map(RateLimit::new))
                    .transpose()
            })
            .collect::<Result<_, _>>()?;
        let topic_at_most = line
            .topics
            .iter()
            .map(|t| {
                t.at_most
                    .map(|r| at_most(|| format!("topic \"{}\"", t.name), r))
                    .transpose()
            })
            .collect::<Result<_, _>>()?;
        let filters = line
            .behaviours
            .iter()
            .map(|b| match &b.when {
                When::Told { filter } => {
                    Filter::parse(filter)
                        .map(Some)
                        .map_err(|source| InputError::Topic {
                            what: format!("behaviour.{}", b.id),
                            source,
                        })
                }
                _ => Ok(None),
            })
            .collect::<Result<_, _>>()?;
        let uplinks = (0..line.uplinks.len())
            .map(|u| uplink_now(line, cues, UplinkIx(u)))
            .collect::<Result<_, _>>()?;
        restartable(line, cues)?;
        let up = power_up::power_up(line, cues)?;
        let watcher = Watcher::new(line, cues, &ears.arrivals())?;
        let (whole, added_ohm, given) = wiring::sound_line(line);
        let bounds = BoundsNow::new(line, cues, traffic.as_ref())?;
        let streams = StreamsNow::new(line, traffic.as_ref(), machine.as_mut(), &bounds)?;
        let came = Came::new(line, cues, all_hearers(line, traffic.as_ref()));
        let shared = traffic.as_ref().map_or(0, |t| t.shared.len());
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
            collapsed: Vec::new(),
            together: vec![false; line.exclusives.len()],
            ears,
            electric: electric(line)?,
            contacts: contacts(cues),
            whole,
            giving: vec![true; line.supplies.len()],
            added_ohm,
            given,
            dirty: true,
            rising_until: None,
            supply_w: vec![0.0; line.supplies.len()],
            supply_j: vec![0.0; line.supplies.len()],
            energy_since: Ns::ZERO,
            traffic,
            machine,
            topics,
            timers: fail_safes::timers(line)?,
            contents: Contents::new(line, cues)?,
            asks,
            routines: Routines::new(line)?,
            settings: settings::settings(line),
            origins: BTreeMap::new(),
            copies_left: BTreeMap::new(),
            topic_at_most,
            topic_limits: BTreeMap::new(),
            behaviour_limits,
            held_back: vec![0; line.behaviours.len()],
            idle_told: vec![None; line.behaviours.len()],
            filters,
            sequences: BTreeMap::new(),
            numbered: BTreeMap::new(),
            uplinks,
            stores: stores(line, cues)?,
            votes: voting::votes(line)?,
            deliveries: Vec::new(),
            watcher,
            clocks: Clocks::new(line, cues)?,
            confirmed: vec![0; line.detectors.len()],
            faults: FaultsNow::none(cues.faults.len(), shared),
            bounds,
            streams,
            came,
            outside: Vec::new(),
            answers_from_outside: Vec::new(),
            answers_to_enter: BTreeSet::new(),
        };
        engine.cue()?;
        if let Some(up) = up {
            engine.switch_on(up)?;
        }
        engine.wind_up_all();
        engine.write_where_it_works();
        engine.set_clocks();
        Ok(engine)
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
        self.came.see(&record);
        (self.sink)(&record);
        self.store_sees(&record.what);
        id
    }

    fn happen(&mut self, happening: Happening) -> Result<(), RehearsalError> {
        match happening {
            Happening::Fault { fault, begins } => self.fault(fault, begins)?,
            Happening::Goes { fault, turn } => self.goes(fault, turn)?,
            Happening::Cell(cell) => self.cell(&cell),
            Happening::Act {
                behaviour,
                led,
                parent,
                root,
            } => self.act(behaviour, &led, parent, root)?,
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
                self.act(behaviour, &Led::Nothing, None, None)?;
            }
            Happening::Input { input } => {
                let cue = &self.cues.inputs[input];
                let by = KeptBack::Input(input);
                let values = cue.values.as_ref();
                let values = values
                    .and_then(|v| self.fill(cue.module, Of::Topic(cue.topic), v, &Led::Nothing));
                self.publish(cue.module, cue.topic, values.as_deref(), by, None, None)?;
            }
            Happening::FromOutside { outside } => self.outside_publishes(outside)?,
            Happening::Answer { answer } => self.cue_answers(answer)?,
            Happening::AnswerFromOutside { outside } => self.outside_answers(outside)?,
            Happening::SetClock { module } => self.set_clock(module),
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
                parent,
                root,
            } => {
                let m = &self.modules[output.module.0];
                let on = m.outputs_rest[output.output];
                if m.output_turns[output.output] == turn && m.outputs_on[output.output] != on {
                    self.switch(output, on, None, Some(parent), root);
                }
            }
            Happening::RunsOut {
                timer,
                turn,
                parent,
            } => self.runs_out(timer, turn, parent),
            Happening::WishEnds {
                module,
                wish,
                parent,
                root,
            } => self.wish_ends(module, wish, parent, root),
            Happening::Trip {
                module,
                turn,
                parent,
            } => self.trip(module, turn, parent)?,
            Happening::Wake {
                module,
                turn,
                parent,
            } => self.wake(module, turn, parent)?,
            Happening::Booted {
                module,
                turn,
                parent,
            } => self.booted(module, turn, parent)?,
            Happening::AskDue { ask } => self.ask_due(ask),
            Happening::Switches { module, on, parent } => self.switches(module, on, parent)?,
            Happening::AllBooted => self.all_booted(),
            Happening::Listens { module, turn, at } => {
                if self.modules[module.0].life_turn == turn {
                    self.ears.start(module, at);
                    self.catch_up(module)?;
                }
            }
        }
        Ok(())
    }
}

/// Where the next happening comes from.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
enum From {
    Queue,
    Machine,
    Uplink(usize),
    Store(usize),
}

/// The contacts of a cue sheet.
fn contacts(cues: &CueSheet) -> Contacts {
    if cues.contacts_aged {
        Contacts::Aged
    } else {
        Contacts::New
    }
}

fn place(index: usize) -> u32 {
    u32::try_from(index).expect("a line has fewer than 2^32 parts")
}
