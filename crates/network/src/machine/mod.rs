//! The network in time: a machine that its master steps.
//!
//! Rules. A message of `b` bytes is cut into ceil(b / mtu) frames. Publishing costs no time; every other node adds its processing time to a frame before it
//! queues it onwards or delivers it. A frame reaches the next node one propagation time after its last bit has left. It crosses a link once if any
//! subscriber lies beyond. The publisher's own node is not delivered to; a node with several matching filters is delivered to once. A copy of a message is
//! delivered when its last frame is.
//!
//! Each direction of a link serves, without interruption, the waiting frame that is least by (priority, instant queued, stream, seq, fragment); a smaller
//! `priority` goes first. All arrivals and publications of an instant are queued before any service starts at that instant. Results therefore do not
//! depend on the order in which things of one instant are handed in, as long as no two living messages share priority, stream and seq.
//!
//! Stepping. One [`Machine::step`] does either all arrivals of an instant ([`Class::Arrive`]), all packets of streams ([`Class::Publish`], see the head of `source`) or all its service
//! starts ([`Class::StartService`]). Between these the master may publish what the arrivals caused; [`Machine::next`] tells which comes next. A call with an instant that lies after
//! something still to be done is refused.
//!
//! A bus with priority arbitration serves, whenever it falls free, the frame that is least by the same order of all that wait at any of its stations, and every
//! station hears it. A fragment that is larger than its frames crosses in pieces, between which others may go. Bit errors on it: see the head of `confinement`. Polled buses and rounds: see the head of `turns`.
//!
//! Faults are described at [`Machine::set_link`] and [`Machine::set_node`].

pub(crate) mod confinement;
mod direction;
mod errors;
mod fault;
mod plan;
mod records;
mod send;
mod service;
mod source;
mod turns;

use std::collections::BTreeMap;
use std::sync::Arc;

use timeline::{Class, Ns, Queue};

use crate::bound::bus_servers;
use crate::bus::Access;
use crate::frame::{FrameError, fragment_count};
use crate::topic::{Filter, TopicName};
use crate::topology::Topology;
use confinement::Confinement;
use direction::{Direction, Waiting};
use plan::Plan;
pub(crate) use send::Sent;
use source::Source;
use turns::Turns;

pub use errors::ErrorNames;
pub use records::{
    BusStats, Delivery, DirectionStats, DropReason, Dropped, HopRecord, LinkState, MachineError,
    MessageId, NodeState, Publication, StationStats, Stats, TopicId,
};
pub use source::{StreamId, StreamSource};

/// The last instant at which anything may be published or changed: 2^62 ns, 146 years. It leaves room for what is then still under way.
pub const LATEST_PUBLISH: Ns = Ns(1 << 62);

/// In `Message::left`: this copy is lost.
const LOST: u32 = u32::MAX;

/// A network in time. See the rules at the head of this module's source and in the method page.
#[derive(Clone, Debug)]
pub struct Machine {
    topology: Topology,
    subscriptions: Vec<(usize, Filter)>,
    topics: Vec<Topic>,
    topic_ids: BTreeMap<TopicName, TopicId>,
    link_states: Vec<LinkState>,
    node_states: Vec<NodeState>,
    directions: Vec<Direction>,
    /// By direction: the one at which its frames wait. With priority arbitration all stations of a bus wait at one.
    servers: Vec<usize>,
    bus_states: Vec<LinkState>,
    /// By bus: whose turn comes when, where stations take turns.
    turns: Vec<Option<Turns>>,
    /// By bus: the error counters of its controllers, once a rate of bit errors was set, where they repeat what was hit.
    confinements: Vec<Option<Confinement>>,
    messages: Vec<Message>,
    free_messages: Vec<u32>,
    flights: Vec<Flight>,
    free_flights: Vec<u32>,
    queue: Queue<Event>,
    sources: Vec<Source>,
    /// Ways of messages that are meant for one node alone, by publisher and node; forgotten at a fault.
    single: BTreeMap<(usize, usize), Arc<Plan>>,
    /// Changes of what is usable so far.
    changes: u64,
    /// Directions that may start at `reached`; each is listed once (`Direction::touched`).
    touched: Vec<u32>,
    /// The instant of the last step or call.
    reached: Ns,
    published: u64,
    unheard: u64,
    copies_due: u64,
    delivered: u64,
    dropped: u64,
    frame_hops: u64,
    drops: Vec<Dropped>,
}

#[derive(Clone, Debug)]
struct Topic {
    name: TopicName,
    subscribers: Vec<usize>,
    /// By publishing node; `None` until first used or after a fault.
    plans: Vec<Option<Arc<Plan>>>,
}

/// A message with frames under way.
#[derive(Clone, Debug)]
struct Message {
    id: MessageId,
    topic: TopicId,
    published: Ns,
    bytes: u32,
    fragments: u32,
    priority: u8,
    stream: u32,
    seq: u64,
    plan: Arc<Plan>,
    /// By target of the plan: fragments still to come, or `LOST`.
    left: Vec<u32>,
    /// Frames queued or in flight.
    frames: u32,
}

/// A frame from the start of its transmission until the far node has processed it.
#[derive(Clone, Copy, Debug)]
struct Flight {
    frame: Waiting,
    direction: u32,
    start: Ns,
    end: Ns,
    /// When the last bit is at the far end; from then on the frame is in the node, no longer on the link.
    last_bit: Ns,
    lost: bool,
}

#[derive(Clone, Copy, Debug)]
enum Event {
    /// The transmitter falls free, unless it was stopped since (`epoch`).
    Free { epoch: u32 },
    /// The far node has processed the frame.
    Landed { flight: u32 },
    /// A station of a bus that has something to send has its turn, unless that has changed since.
    Turn { bus: u32 },
    /// A station may send again that had to hold back after an error.
    Resumes,
    /// A controller comes back to its bus, unless anything was sent since (`epoch`).
    Rejoins { bus: u32, epoch: u32 },
    /// Packets of a stream are due, unless it was stopped or started anew since (`epoch`).
    Beat { source: u32, epoch: u32 },
}

impl Machine {
    /// A machine with every link and node up and nothing under way.
    ///
    /// # Errors
    /// [`MachineError::NoSuchNode`] for a subscription at a node that does not exist, [`MachineError::SharedBus`] for a bus on which nobody says who speaks.
    pub fn new(
        topology: Topology,
        subscriptions: Vec<(usize, Filter)>,
    ) -> Result<Machine, MachineError> {
        let nodes = topology.node_count();
        for &(node, _) in &subscriptions {
            check_node(node, nodes)?;
        }
        let mut buses = topology.buses().iter();
        if let Some(bus) = buses.position(|bus| bus.access == Access::Unsaid) {
            return Err(MachineError::SharedBus { bus });
        }
        let mut directions: Vec<_> = (0..topology.arcs().len())
            .map(|index| Direction::new(&topology, index))
            .collect();
        let turns = turns::all(&topology, &mut directions);
        Ok(Machine {
            link_states: vec![LinkState::Up; topology.links().len()],
            bus_states: vec![LinkState::Up; topology.buses().len()],
            confinements: vec![None; topology.buses().len()],
            servers: bus_servers(&topology),
            turns,
            node_states: vec![NodeState::Up; nodes],
            topology,
            subscriptions,
            topics: Vec::new(),
            topic_ids: BTreeMap::new(),
            directions,
            messages: Vec::new(),
            free_messages: Vec::new(),
            flights: Vec::new(),
            free_flights: Vec::new(),
            queue: Queue::new(),
            sources: Vec::new(),
            single: BTreeMap::new(),
            changes: 0,
            touched: Vec::new(),
            reached: Ns::ZERO,
            published: 0,
            unheard: 0,
            copies_due: 0,
            delivered: 0,
            dropped: 0,
            frame_hops: 0,
            drops: Vec::new(),
        })
    }

    /// The number of a topic; the same name always has the same number. Who subscribes is worked out once, here.
    pub fn topic(&mut self, name: &TopicName) -> TopicId {
        if let Some(&id) = self.topic_ids.get(name) {
            return id;
        }
        let mut subscribers: Vec<usize> = self
            .subscriptions
            .iter()
            .filter(|(_, filter)| filter.matches(name))
            .map(|&(node, _)| node)
            .collect();
        subscribers.sort_unstable();
        subscribers.dedup();
        let id = TopicId(
            u32::try_from(self.topics.len()).expect("fewer than 2^32 topics fit in memory"),
        );
        self.topics.push(Topic {
            name: name.clone(),
            subscribers,
            plans: vec![None; self.topology.node_count()],
        });
        self.topic_ids.insert(name.clone(), id);
        id
    }

    /// The name of a topic.
    #[must_use]
    pub fn topic_name(&self, topic: TopicId) -> Option<&TopicName> {
        self.topics.get(topic.0 as usize).map(|topic| &topic.name)
    }

    /// The nodes subscribed to a topic, ascending.
    #[must_use]
    pub fn subscribers(&self, topic: TopicId) -> Option<&[usize]> {
        self.topics
            .get(topic.0 as usize)
            .map(|topic| topic.subscribers.as_slice())
    }

    /// The network this machine runs.
    #[must_use]
    pub fn topology(&self) -> &Topology {
        &self.topology
    }

    /// Publishes a message; it is queued at once on every link its copies leave by.
    ///
    /// A copy for which there is no route just now, or whose subscriber or publisher is down, is dropped at once and reported.
    ///
    /// # Errors
    /// [`MachineError`]: unknown node or topic, a message of too many fragments, or a `now` that is late, early or beyond [`LATEST_PUBLISH`].
    pub fn publish(
        &mut self,
        now: Ns,
        publication: Publication,
    ) -> Result<MessageId, MachineError> {
        let Publication {
            node, topic, bytes, ..
        } = publication;
        self.check_now(now)?;
        check_node(node, self.topology.node_count())?;
        if topic.0 as usize >= self.topics.len() {
            return Err(MachineError::NoSuchTopic { topic: topic.0 });
        }
        let fragments = fragment_count(bytes, self.topology.mtu_bytes())?;
        let plan = self.plan_for(node, topic);
        let id = MessageId(self.published);
        self.reached = now;
        self.published += 1;
        if plan.targets.len() + plan.unreachable.len() == 0 {
            self.unheard += 1;
        }
        let sent = Sent::new(id, now, publication);
        self.launch(now, sent, fragments, &plan);
        Ok(id)
    }

    /// Instant and class of what comes next, or `None` when nothing is under way.
    #[must_use]
    pub fn next(&self) -> Option<(Ns, Class)> {
        let first = self.queue.peek();
        if self.touched.is_empty() || first.is_some_and(|(at, _)| at == self.reached) {
            return first;
        }
        Some((self.reached, Class::StartService))
    }

    /// The instant of what comes next, or `None` when nothing is under way. It may be the instant of the last step.
    #[must_use]
    pub fn next_time(&self) -> Option<Ns> {
        self.next().map(|(at, _)| at)
    }

    /// Does all arrivals, all packets of streams, or all service starts, of the next instant and appends what was delivered to `out`, ordered by
    /// (node, stream, seq, message). Does nothing when nothing is under way.
    pub fn step(&mut self, out: &mut Vec<Delivery>) {
        self.step_traced(out, |_| {});
    }

    /// As [`step`](Self::step), and tells `trace` of every frame that has crossed a link.
    pub fn step_traced(&mut self, out: &mut Vec<Delivery>, mut trace: impl FnMut(&HopRecord)) {
        let Some((now, class)) = self.next() else {
            return;
        };
        self.reached = now;
        if class == Class::StartService {
            self.start_services(now);
            return;
        }
        if class == Class::Publish {
            self.send_packets(now);
            return;
        }
        let before = out.len();
        while let Some(entry) = self.queue.pop_if(now, Class::Arrive) {
            match entry.payload {
                Event::Free { epoch } => {
                    let direction = &mut self.directions[entry.place as usize];
                    if direction.epoch == epoch {
                        direction.serving_until = None;
                        let rest = direction.rest.take();
                        direction.waiting.extend(rest);
                        touch(&mut self.directions, &mut self.touched, entry.place);
                        self.spoke(now, entry.place);
                    }
                }
                Event::Resumes => touch(&mut self.directions, &mut self.touched, entry.place),
                Event::Rejoins { bus, epoch } => self.rejoin(now, bus as usize, epoch),
                Event::Landed { flight } => self.land(now, flight, out, &mut trace),
                Event::Turn { bus } => self.turn_comes(now, bus as usize),
                Event::Beat { .. } => unreachable!("packets are sent in the class of publications"),
            }
        }
        if out.len() - before > 1 {
            out[before..].sort_unstable_by_key(|d| (d.node, d.stream, d.seq, d.message));
        }
    }

    /// What was dropped since the last call, in the order it happened. The list grows until it is taken.
    pub fn drain_drops(&mut self) -> std::vec::Drain<'_, Dropped> {
        self.drops.drain(..)
    }

    /// Copies under way of the messages on a topic.
    #[must_use]
    pub fn under_way(&self, topic: TopicId) -> u64 {
        let of_it = |m: &&Message| m.frames > 0 && m.topic == topic;
        let all = self.messages.iter().filter(of_it);
        all.map(Message::copies_under_way).sum()
    }

    /// Counters at the instant last reached. `in_flight` is counted from the messages under way, not from the other counters.
    #[must_use]
    pub fn stats(&self) -> Stats {
        let in_flight = self
            .messages
            .iter()
            .filter(|message| message.frames > 0)
            .map(Message::copies_under_way)
            .sum();
        Stats {
            published: self.published,
            unheard: self.unheard,
            copies_due: self.copies_due,
            delivered: self.delivered,
            dropped: self.dropped,
            in_flight,
            frame_hops: self.frame_hops,
            buses: (0..self.topology.buses().len())
                .filter_map(|bus| self.bus_stats(bus))
                .collect(),
            stations: (self.confinements.iter().enumerate())
                .filter_map(|(bus, confinement)| Some(confinement.as_ref()?.stations(bus)))
                .flatten()
                .collect(),
            directions: self
                .directions
                .iter()
                .take(2 * self.topology.links().len())
                .enumerate()
                .map(|(index, d)| d.stats(index, &self.topology, self.reached))
                .collect(),
        }
    }

    fn plan_for(&mut self, node: usize, topic: TopicId) -> Arc<Plan> {
        let Machine {
            topics,
            topology,
            directions,
            node_states,
            ..
        } = self;
        let Topic {
            subscribers, plans, ..
        } = &mut topics[topic.0 as usize];
        let plan = plans[node].get_or_insert_with(|| {
            Arc::new(Plan::new(topology, node, subscribers, node_states, |d| {
                directions[d].usable
            }))
        });
        Arc::clone(plan)
    }

    fn check_now(&self, now: Ns) -> Result<(), MachineError> {
        if now < self.reached {
            return Err(MachineError::Late {
                now,
                reached: self.reached,
            });
        }
        if now > LATEST_PUBLISH {
            return Err(MachineError::BeyondTime { now });
        }
        match self.next_time() {
            Some(pending) if pending < now => Err(MachineError::Early { now, pending }),
            _ => Ok(()),
        }
    }
}

impl Message {
    fn copies_under_way(&self) -> u64 {
        self.left
            .iter()
            .filter(|&&left| left != 0 && left != LOST)
            .count() as u64
    }
}

fn touch(directions: &mut [Direction], touched: &mut Vec<u32>, index: u32) {
    let direction = &mut directions[index as usize];
    if !direction.touched {
        direction.touched = true;
        touched.push(index);
    }
}

fn check_node(node: usize, nodes: usize) -> Result<(), MachineError> {
    if node >= nodes {
        Err(MachineError::NoSuchNode { node, nodes })
    } else {
        Ok(())
    }
}

impl From<FrameError> for MachineError {
    fn from(error: FrameError) -> MachineError {
        MachineError::Frame(error)
    }
}
