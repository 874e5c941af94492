//! What a machine takes and gives.

use timeline::Ns;

use crate::frame::FrameError;
use crate::loss::LossError;
use crate::topology::Medium;

/// The number of a topic of one machine.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct TopicId(pub u32);

/// The number of a published message: 0, 1, 2 ... in the order of publication.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct MessageId(pub u64);

/// A message as it is published.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Publication {
    /// At which node.
    pub node: usize,
    /// On which topic.
    pub topic: TopicId,
    /// Its size.
    pub bytes: u32,
    /// A smaller one goes first.
    pub priority: u8,
    /// The publisher's number for its stream of messages.
    pub stream: u32,
    /// The message's number in its stream.
    pub seq: u64,
}

/// Whether a link carries frames.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum LinkState {
    /// It does.
    Up,
    /// It is cut.
    Down,
}

/// Whether a node works.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum NodeState {
    /// It does.
    Up,
    /// It neither publishes nor receives, but passes on what is meant for others: a tap that needs no power or no program.
    Passes,
    /// It neither publishes, receives nor passes anything on.
    Down,
}

/// A copy of a message that has arrived whole.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Delivery {
    /// Which message.
    pub message: MessageId,
    /// At which node.
    pub node: usize,
    /// When its last frame had been received and processed.
    pub at: Ns,
    /// When it was published.
    pub published: Ns,
    /// On which topic.
    pub topic: TopicId,
    /// The publisher's number for its stream of messages.
    pub stream: u32,
    /// The message's number in its stream.
    pub seq: u64,
}

/// A copy of a message that will not arrive.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Dropped {
    /// Which message.
    pub message: MessageId,
    /// The node that does not receive it.
    pub node: usize,
    /// When the first of its frames was lost.
    pub at: Ns,
    /// When it was published.
    pub published: Ns,
    /// On which topic.
    pub topic: TopicId,
    /// The publisher's number for its stream of messages.
    pub stream: u32,
    /// The message's number in its stream.
    pub seq: u64,
    /// Why.
    pub reason: DropReason,
}

/// Why a copy was dropped.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum DropReason {
    /// No route led to the node when the message was published.
    NoPath,
    /// A frame was on, waited for or came to a link that is cut.
    LinkDown,
    /// The publisher, the subscriber or a node between them does not work.
    NodeDown,
    /// Bit errors hit a frame.
    BitErrors,
    /// A controller on the way is off its CAN bus, because of its many errors.
    BusOff,
    /// It waited for a path, and too many messages waited with it.
    KeptTooMany,
    /// It waited for a path for longer than it may.
    KeptTooLong,
    /// Its publisher stopped, and forgot what it had still to send.
    Forgotten,
    /// It was sent as often as it may be, and never acknowledged.
    Unanswered,
    /// It came when its receiver no longer remembered so far back, and might have been a copy of what it has.
    TooOld,
}

/// One frame's crossing of one link, or its way from one station of a bus to another.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct HopRecord {
    /// Which message.
    pub message: MessageId,
    /// Which link or bus.
    pub over: Medium,
    /// From which node.
    pub from: usize,
    /// To which node.
    pub to: usize,
    /// The stream that it was sent in.
    pub stream: u32,
    /// Which fragment, from 0.
    pub fragment: u32,
    /// When it was queued for the link.
    pub queued: Ns,
    /// When its first bit left.
    pub start: Ns,
    /// When its last bit left.
    pub end: Ns,
    /// When the far node had received and processed it.
    pub at: Ns,
}

/// Counters of a machine. `copies_due = delivered + dropped + in_flight` at every instant.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Stats {
    /// Messages published.
    pub published: u64,
    /// Messages of these that nobody else subscribes to.
    pub unheard: u64,
    /// Copies asked for: one for each message and subscriber.
    pub copies_due: u64,
    /// Copies delivered.
    pub delivered: u64,
    /// Copies dropped.
    pub dropped: u64,
    /// Copies under way.
    pub in_flight: u64,
    /// Crossings of a link by a frame that reached and was processed by the far node.
    pub frame_hops: u64,
    /// Each direction of each link: link 0 from a to b, back, link 1 ...
    pub directions: Vec<DirectionStats>,
    /// Each bus.
    pub buses: Vec<BusStats>,
    /// The controllers of each bus on which frames that bit errors hit are sent again and errors have been set, by bus and in its order of stations.
    pub stations: Vec<StationStats>,
}

/// Counters of a controller on a bus, since bit errors were first set there.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct StationStats {
    /// Its bus.
    pub bus: usize,
    /// Its node.
    pub node: usize,
    /// Its frames that a bit error hit and that it sends again.
    pub hit: u64,
    /// How often it left the bus because of its many errors.
    pub bus_offs: u64,
    /// The highest that its transmit error counter has stood at: from 128 on it is error-passive, above 255 off the bus.
    pub most_errors: u32,
}

/// Counters of one bus.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct BusStats {
    /// Time in which some station spoke so far; requests and answers that carry nothing do not count.
    pub busy: Ns,
    /// Frames of all stations that wait now, without the one being transmitted.
    pub waiting: usize,
    /// The most that ever waited once all service starts of an instant were done.
    pub most_waiting: usize,
    /// Transmissions started, repeats among them.
    pub frames: u64,
    /// Frames that a bit error hit and that controllers send again.
    pub hit: u64,
    /// How often a controller left the bus because of its many errors.
    pub bus_offs: u64,
}

/// Counters of one direction of a link.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct DirectionStats {
    /// Which link.
    pub link: usize,
    /// From which node.
    pub from: usize,
    /// To which node.
    pub to: usize,
    /// Time spent transmitting so far.
    pub busy: Ns,
    /// Frames that wait now, without the one being transmitted.
    pub waiting: usize,
    /// The most frames that ever waited once all service starts of an instant were done.
    pub most_waiting: usize,
    /// Transmissions started.
    pub frames: u64,
}

/// A call that a machine refuses; nothing has changed.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum MachineError {
    /// A stream number that is kept for acknowledgements.
    #[error(
        "stream {stream} is too high: those from {} on are for acknowledgements",
        crate::FIRST_ANSWER_STREAM
    )]
    StreamTooHigh {
        /// Stream named.
        stream: u32,
    },
    /// No such node.
    #[error("there is no node {node}: there are {nodes} nodes, numbered from 0")]
    NoSuchNode {
        /// Node named.
        node: usize,
        /// Number of nodes.
        nodes: usize,
    },
    /// No such link.
    #[error("there is no link {link}: there are {links} links, numbered from 0")]
    NoSuchLink {
        /// Link named.
        link: usize,
        /// Number of links.
        links: usize,
    },
    /// A network with a bus on which nobody says who may speak when.
    #[error("nobody says who may speak when on bus {bus}")]
    SharedBus {
        /// The first of them.
        bus: usize,
    },
    /// No such bus.
    #[error("there is no bus {bus}: there are {buses} buses, numbered from 0")]
    NoSuchBus {
        /// Bus named.
        bus: usize,
        /// Number of buses.
        buses: usize,
    },
    /// No such stream.
    #[error("there is no stream {stream}: there are {streams} streams, numbered from 0")]
    NoSuchStream {
        /// Stream named.
        stream: u32,
        /// Number of streams.
        streams: usize,
    },
    /// A stream that sends nothing, or without end at one instant.
    #[error("a stream sends at least one packet at each beat, and beats at most once a nanosecond")]
    NoBeat,
    /// The topic is of another machine.
    #[error("there is no topic {topic} in this machine")]
    NoSuchTopic {
        /// Topic named.
        topic: u32,
    },
    /// The machine has gone past this instant.
    #[error("{now} is late: the machine has reached {reached}")]
    Late {
        /// Instant named.
        now: Ns,
        /// Instant reached.
        reached: Ns,
    },
    /// Something earlier is still to be done: step first.
    #[error("{now} is early: the machine has something to do at {pending} first")]
    Early {
        /// Instant named.
        now: Ns,
        /// Instant of what comes next.
        pending: Ns,
    },
    /// After [`LATEST_PUBLISH`](crate::LATEST_PUBLISH).
    #[error(
        "{now} is beyond the last instant at which anything may be published or changed, {}",
        crate::LATEST_PUBLISH
    )]
    BeyondTime {
        /// Instant named.
        now: Ns,
    },
    /// Bit errors that cannot be.
    #[error(transparent)]
    BitErrors(LossError),
    /// Links, buses or nodes without the names under which their bit errors are drawn.
    #[error("bit errors are drawn under names, and some link, bus or node has none")]
    NoErrorNames,
    /// The message cannot be cut into frames.
    #[error(transparent)]
    Frame(FrameError),
}
