//! What happens in a rehearsal, record by record, each with the record that caused it.

use std::sync::Arc;

use assess::input::Carrier;
use network::{DropReason, MessageId, NoteKind as NoteOf};
use plan::{
    BehaviourIx, DetectorIx, Droppable, ModuleIx, NoticeKind, OutputIx, RequestIx, SensorIx,
    SoundIx, SpanIx, StorageIx, StreamIx, SupplyIx, TopicIx, UplinkIx, VoteIx,
};
use timeline::Ns;

/// Number of a record; later records have higher numbers.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, Hash)]
pub struct RecordId(pub u64);

/// One thing that happened.
#[derive(Clone, PartialEq, Debug)]
pub struct Record {
    /// Its number.
    pub id: RecordId,
    /// The record that caused it.
    pub parent: Option<RecordId>,
    /// When.
    pub at: Ns,
    /// The sound at the root of the chain, with the instant at which it reached the hydrophone.
    pub root: Option<Root>,
    /// What.
    pub what: What,
}

/// The sound that a chain of records goes back to.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Root {
    /// The sound.
    pub sound: SoundIx,
    /// Which of its repeats, from 0.
    pub repeat: u32,
    /// When it reached the hydrophone that heard it.
    pub heard_at: Ns,
}

/// Why something that should have happened did not.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Refusal {
    /// The behaviour's own `at_most`.
    Behaviour,
    /// The topic's `at_most`.
    Topic,
    /// The module does not work.
    NotWorking,
    /// The request's `at_most`.
    Request,
    /// The question has its answer.
    Answered,
    /// The time for an answer to the question is over.
    Over,
    /// Nobody has asked this question.
    NotAsked,
    /// No question of the request waits for an answer.
    NoneWaits,
    /// The question has not reached the module that is asked, or was lost on its way there.
    NotReached,
}

/// What is kept back.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum KeptBack {
    /// A behaviour, or its message.
    Behaviour(BehaviourIx),
    /// The message of an input, by its index in the cue sheet; behind those, one from outside ([`crate::input_id`]).
    Input(usize),
    /// An answer of the cue sheet, by its index there; behind those, one from outside ([`crate::answer_id`]).
    Answer(usize),
    /// A message of a broken module, by the fault's index in the cue sheet.
    Fault(usize),
}

/// Why a copy of a message was lost.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Loss {
    /// Lost by the network.
    Network(DropReason),
    /// The module it was meant for was not working.
    NotWorking,
    /// The module that published it stopped before it had sent it.
    PublisherStopped,
}

/// What a line cannot carry.
#[derive(Clone, PartialEq, Debug)]
pub enum Collapse {
    /// Its constant-power loads: there is no operating point.
    Powers {
        /// Largest common factor on all of them for which there is one.
        share: f64,
    },
    /// Its constant currents: they pull a module to zero volts.
    Currents,
    /// These supplies are asked for more than their current limit.
    Overloaded {
        /// The supplies.
        supplies: Vec<SupplyIx>,
    },
}

/// A step of a request.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum AskStep {
    /// A module asks.
    Asked {
        /// The message.
        message: MessageId,
    },
    /// The question reaches the module that is asked.
    Reached,
    /// That module answers.
    Answered {
        /// The message.
        message: MessageId,
    },
    /// The answer is there in time.
    Returned {
        /// Since the question.
        after: Ns,
    },
    /// The answer comes too late, and is not taken.
    Late {
        /// Since the question.
        after: Ns,
    },
    /// The answer comes to a module that has stopped since it asked, and is not taken.
    Forgotten,
    /// The time for an answer is over, and there is none.
    Unanswered,
    /// The module that was asked gives no answer.
    Silent {
        /// Why.
        why: Silence,
    },
    /// No way leads to the module that is asked: there will be no answer.
    NoWay,
    /// The question or the answer is lost on its way to a module.
    Lost {
        /// Why.
        why: Loss,
    },
}

/// Why a module that was asked gives no answer.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Silence {
    /// Its routine ran, and did not answer.
    NotGiven,
    /// A fault stopped its routine in this run.
    Fails,
    /// A fault has stopped its routine before.
    Stopped,
}

/// A step of a joining notice.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum JoinStep {
    /// The module that has come up tells what it is.
    Told {
        /// The message.
        message: MessageId,
    },
    /// Another module learns of it.
    Learnt {
        /// Which.
        by: ModuleIx,
        /// Since it began to boot.
        after: Ns,
    },
    /// Another module does not learn of it.
    Missed {
        /// Which.
        by: ModuleIx,
        /// Why.
        why: Loss,
    },
}

/// What is told of a stream; its packets are counted, not recorded one by one.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum StreamStep {
    /// It begins to send.
    Begins,
    /// It sends no more.
    Ends,
    /// A packet came later than its bound says although nothing was amiss: the bound or the run is wrong. Told of the first.
    BeyondBound {
        /// From its sending until now.
        after: Ns,
        /// The bound.
        bound: Ns,
    },
}

/// What is told of the timer of an output that fails safe by itself.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum FailSafeStep {
    /// It runs out: the output goes to its fail-safe state, or is in it, and stays in it.
    RunsOut {
        /// The module that has not been heard for the timer's time; `None` where nobody's heartbeat winds it up.
        silent: Option<ModuleIx>,
    },
    /// The output is to be in its other state, and is not obeyed because the timer has run out.
    Withholds,
    /// Everybody who winds it up is heard again: from now on the output does what it is told.
    Over,
}

/// What a message holds.
#[derive(Clone, PartialEq, Debug)]
pub struct Content {
    /// One value a field of its topic, question or answer, as whoever receives it reads it from its bytes.
    pub values: Vec<network::Value>,
    /// Its packed bytes.
    pub bytes: Arc<[u8]>,
    /// The fields whose value lay outside their range and was sent as the end of it, by number from 0.
    pub clamped: Vec<usize>,
}

/// Something that happens in a rehearsal.
#[derive(Clone, PartialEq, Debug)]
pub enum What {
    /// A sound reaches a hydrophone.
    Arrives {
        /// The hydrophone.
        sensor: SensorIx,
        /// The sound.
        sound: SoundIx,
        /// Which of its repeats, from 0.
        repeat: u32,
        /// Closest range while it is heard, m.
        closest_range_m: f64,
        /// Received level as it begins, dB re 1 uPa.
        level_db_re_1upa: f64,
    },
    /// A detector tells a notice.
    Noticed {
        /// The detector.
        detector: DetectorIx,
        /// Number of the event.
        event: u64,
        /// Which notice.
        notice: NoticeKind,
    },
    /// An event is over; its measures.
    Event {
        /// The detector.
        detector: DetectorIx,
        /// Its measures.
        event: detect::Event,
    },
    /// A vote is carried.
    Voted {
        /// The vote.
        vote: VoteIx,
        /// The detectors that carry it.
        detectors: Vec<DetectorIx>,
    },
    /// A detector drops what it had begun.
    Dropped {
        /// The detector.
        detector: DetectorIx,
        /// Number of the event.
        event: u64,
        /// Why.
        reason: detect::Reason,
    },
    /// A behaviour starts.
    Started {
        /// The behaviour.
        behaviour: BehaviourIx,
    },
    /// A limit, or a module that does not work, keeps a behaviour or a message back. A behaviour at intervals is told once for
    /// each time that its module stops.
    Refused {
        /// What is kept back.
        what: KeptBack,
        /// Why.
        why: Refusal,
    },
    /// A message is published.
    Published {
        /// By which module.
        module: ModuleIx,
        /// On which topic.
        topic: TopicIx,
        /// Its number.
        message: MessageId,
        /// What it holds, where that is said.
        content: Option<Arc<Content>>,
    },
    /// A frame has crossed a span or a bus and been processed beyond it.
    Crossed {
        /// What it crossed.
        over: Carrier,
        /// Towards which module.
        to: ModuleIx,
        /// The message.
        message: MessageId,
        /// Whether it is an acknowledgement of the message.
        answer: bool,
        /// Which fragment, from 0.
        fragment: u32,
        /// When it was queued for the link.
        queued: Ns,
        /// When its first bit left.
        start: Ns,
        /// When its last bit left.
        end: Ns,
    },
    /// A message reaches a module.
    Delivered {
        /// The module.
        module: ModuleIx,
        /// The topic.
        topic: TopicIx,
        /// The message.
        message: MessageId,
        /// What it holds, where that is said.
        content: Option<Arc<Content>>,
        /// The module that published it.
        from: ModuleIx,
        /// From its publication until now.
        after: Ns,
        /// Whether that is longer than the bound of `check`, where it knows one.
        late: Option<bool>,
    },
    /// A message came later than its bound says although nothing was amiss: the bound or the run is wrong.
    BeyondBound {
        /// The module.
        module: ModuleIx,
        /// The topic.
        topic: TopicIx,
        /// The message.
        message: MessageId,
        /// From its publication until now.
        after: Ns,
        /// The bound.
        bound: Ns,
    },
    /// A copy of a message is lost.
    Lost {
        /// The module it was meant for.
        module: ModuleIx,
        /// The topic.
        topic: TopicIx,
        /// The message.
        message: MessageId,
        /// Why.
        why: Loss,
    },
    /// A copy of a message that may be sent again, is held or kept: what its publisher or its receiver makes of it.
    Posted {
        /// The module that it is for.
        module: ModuleIx,
        /// The topic.
        topic: TopicIx,
        /// The message.
        message: MessageId,
        /// What.
        what: NoteOf,
    },
    /// A step of a request.
    Asking {
        /// The request.
        request: RequestIx,
        /// Number of the question, over all requests.
        ask: u64,
        /// The module at which it happens.
        module: ModuleIx,
        /// What.
        what: AskStep,
        /// What the question or the answer holds, where it is sent or arrives and that is said.
        content: Option<Arc<Content>>,
    },
    /// A step of a joining notice.
    Joining {
        /// The module that has come up.
        module: ModuleIx,
        /// What.
        what: JoinStep,
    },
    /// All supplies come on, and every module is still off.
    ComesOn,
    /// A stream begins to run, or ends.
    Streaming {
        /// The stream.
        stream: StreamIx,
        /// What.
        what: StreamStep,
    },
    /// An output switches.
    Switched {
        /// The output.
        output: OutputIx,
        /// On or off.
        on: bool,
    },
    /// An output is to be what it is already; one that was switched for a time stays so from now on for the new time.
    Stays {
        /// The output.
        output: OutputIx,
        /// On or off.
        on: bool,
    },
    /// The timer of an output that fails safe by itself. Of its fail-safe state a switching tells.
    FailSafe {
        /// The output.
        output: OutputIx,
        /// What.
        what: FailSafeStep,
    },
    /// A module enters a state.
    Entered {
        /// The module.
        module: ModuleIx,
        /// Index into its loads.
        state: usize,
    },
    /// A message is queued on an uplink.
    Queued {
        /// The uplink.
        uplink: UplinkIx,
        /// The topic whose payload it is.
        topic: TopicIx,
        /// Its number there.
        message: u64,
        /// Its size, bytes.
        bytes: u32,
        /// What it holds, where that is said.
        content: Option<Arc<Content>>,
    },
    /// An attempt to send begins.
    Attempt {
        /// The uplink.
        uplink: UplinkIx,
        /// The message.
        message: u64,
        /// Number of the attempt to send this message, from 1.
        attempt: u64,
    },
    /// An attempt has failed.
    Failed {
        /// The uplink.
        uplink: UplinkIx,
        /// The message.
        message: u64,
        /// Number of the attempt to send this message, from 1.
        attempt: u64,
    },
    /// A message is ashore.
    Sent {
        /// The uplink.
        uplink: UplinkIx,
        /// The message.
        message: u64,
        /// Billed messages.
        billed: u32,
    },
    /// A message was given up.
    Expired {
        /// The uplink.
        uplink: UplinkIx,
        /// The message.
        message: u64,
    },
    /// A message was dropped because too many waited.
    NoRoom {
        /// The uplink.
        uplink: UplinkIx,
        /// The message.
        message: u64,
    },
    /// The most that a month may cost is reached: what is not urgent waits for the next.
    CapReached {
        /// The uplink.
        uplink: UplinkIx,
        /// Billed messages of the month.
        billed: u64,
    },
    /// A store is full, and this goes first.
    StoreDrops {
        /// The store.
        storage: StorageIx,
        /// What goes.
        what: Droppable,
        /// How much of it went at once, bytes.
        bytes: f64,
    },
    /// A store is full and takes nothing more.
    StoreFull {
        /// The store.
        storage: StorageIx,
    },
    /// A routine stops until its module starts anew.
    Stopped {
        /// Its behaviour.
        behaviour: BehaviourIx,
        /// Line of its text, from 1, where that is known.
        line: Option<usize>,
        /// Column, from 1, in characters.
        column: Option<usize>,
        /// Why.
        why: String,
    },
    /// The trigger of a detector is set.
    Set {
        /// The detector.
        detector: DetectorIx,
        /// Its threshold from now on, dB, re the reference of the trigger's own.
        threshold_db: f64,
        /// Its hold-off from now on, s.
        hold_off_s: f64,
        /// Whether it is the plan's own setting, with which it comes back after its module has stopped.
        restored: bool,
    },
    /// A line in a log.
    Logged {
        /// The module.
        module: ModuleIx,
        /// The text.
        text: String,
    },
    /// A fault begins.
    FaultBegins {
        /// Index into the cue sheet's faults.
        fault: usize,
    },
    /// A fault is over.
    FaultEnds {
        /// Index into the cue sheet's faults.
        fault: usize,
    },
    /// A span that comes and goes opens or closes.
    Contact {
        /// The span.
        span: SpanIx,
        /// Whether its contact is open now.
        open: bool,
        /// Another fault that holds the span open whatever its contact does.
        held_open_by: Option<usize>,
    },
    /// A drained supply has given all that it could.
    Spent {
        /// The supply.
        supply: SupplyIx,
    },
    /// Voltages after a change.
    Settled {
        /// Voltage at each module, V; zero where no power comes.
        voltages_v: Vec<f64>,
    },
    /// The line cannot carry its load: what lies behind the collapse loses its power. Told again once it is another: of another cause or share, or at other modules.
    Collapsed {
        /// What cannot be carried.
        why: Collapse,
        /// The modules that lose their power, in the order in which they fall out.
        modules: Vec<ModuleIx>,
    },
    /// A module has more than its highest voltage. Told once for each module: what becomes of it is not known, and it works on.
    OverVoltage {
        /// The module.
        module: ModuleIx,
        /// Voltage at it, V.
        voltage_v: f64,
        /// The highest that it bears, V.
        highest_v: f64,
    },
    /// More members of an exclusive group hold at the same time than the plan says can: its verdicts rest on what is not so.
    Together {
        /// Index into the line's exclusive groups.
        exclusive: usize,
        /// How many of its members hold.
        holding: u32,
    },
    /// A module stops: no power, or hung.
    Down {
        /// The module.
        module: ModuleIx,
        /// Voltage at it, V.
        voltage_v: f64,
    },
    /// A detector can hear from now on: its background is known, if it has one.
    Hears {
        /// The detector.
        detector: DetectorIx,
    },
    /// A detector cannot hear any more: its module has stopped.
    Deaf {
        /// The detector.
        detector: DetectorIx,
    },
    /// A module begins to boot.
    Boots {
        /// The module.
        module: ModuleIx,
    },
    /// A module works again.
    Up {
        /// The module.
        module: ModuleIx,
    },
}
