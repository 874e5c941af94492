//! Streams that the machine itself sends: packets of one size at a steady rate from one node to another, until told to stop.
//!
//! A stream sends `burst` packets at each beat of its clock, all at once, as messages of its own to one node, in the class [`Class::Publish`](timeline::Class::Publish). What is
//! published by hand at that instant is queued with them, and the order of rule 4 alone decides which goes first. Packets cross links, wait and are lost as any other message.
//! While nobody stops it, something always comes next; in steady state nothing is allocated for a packet.

use timeline::{Class, Ns, SampleClock};

use super::records::{MachineError, MessageId, TopicId};
use super::send::Sent;
use super::{Event, LATEST_PUBLISH, Machine, check_node};
use crate::frame::fragment_count;

/// What a stream sends, and where.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct StreamSource {
    /// Sending node.
    pub node: usize,
    /// Receiving node.
    pub to: usize,
    /// The topic under which its deliveries and losses are told; nobody need subscribe to it.
    pub topic: TopicId,
    /// Contents of a packet, bytes.
    pub bytes: u32,
    /// Packets at each beat; at least 1.
    pub burst: u32,
    /// From beat to beat: this many nanoseconds ...
    pub beat_num_ns: u64,
    /// ... divided by this; each beat at the next whole nanosecond.
    pub beat_den: u64,
    /// A smaller one goes first.
    pub priority: u8,
    /// The number of the stream, in which no other messages of its priority are sent. Packets are numbered from 0, through all stops.
    pub stream: u32,
}

/// A stream of one machine.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct StreamId(pub u32);

/// A stream with how far it has come.
#[derive(Clone, Debug)]
pub(super) struct Source {
    spec: StreamSource,
    clock: SampleClock,
    beat: u64,
    seq: u64,
    /// When it sent last.
    last: Option<Ns>,
    /// Counts starts and stops, so that a beat of before is recognised as stale.
    epoch: u32,
}

impl Machine {
    /// Takes in a stream, which sends nothing yet.
    ///
    /// # Errors
    /// [`MachineError`]: unknown node or topic, a packet of too many fragments, [`MachineError::NoBeat`] for a burst of none or a clock that does not tick.
    pub fn add_stream(&mut self, spec: StreamSource) -> Result<StreamId, MachineError> {
        let nodes = self.topology.node_count();
        check_node(spec.node, nodes)?;
        check_node(spec.to, nodes)?;
        if spec.topic.0 as usize >= self.topics.len() {
            return Err(MachineError::NoSuchTopic {
                topic: spec.topic.0,
            });
        }
        fragment_count(spec.bytes, self.topology.mtu_bytes())?;
        let clock = SampleClock::new(Ns::ZERO, spec.beat_num_ns, spec.beat_den);
        // Slower than a beat each nanosecond, so that time goes on.
        let ticks = clock.ok().filter(|c| c.num >= c.den && spec.burst > 0);
        let clock = ticks.ok_or(MachineError::NoBeat)?;
        let id = u32::try_from(self.sources.len()).expect("fewer than 2^32 streams fit in memory");
        self.sources.push(Source {
            spec,
            clock,
            beat: 0,
            seq: 0,
            last: None,
            epoch: 0,
        });
        Ok(StreamId(id))
    }

    /// Starts a stream, or starts it anew: its first packets go at `first`, from which its beats count, but no sooner than a beat (rounded up) after its last ones: however often it is
    /// started, it keeps to its rate.
    ///
    /// # Errors
    /// [`MachineError`]: no such stream, `first` before `now`, or a `now` that is late, early or beyond [`LATEST_PUBLISH`].
    pub fn start_stream(
        &mut self,
        now: Ns,
        stream: StreamId,
        first: Ns,
    ) -> Result<(), MachineError> {
        self.check_now(now)?;
        self.check_stream(stream)?;
        if first < now {
            return Err(MachineError::Late {
                now: first,
                reached: now,
            });
        }
        self.reached = now;
        let source = &mut self.sources[stream.0 as usize];
        source.epoch = source.epoch.wrapping_add(1);
        // A clock that ticks has a first tick; beyond all time nothing is sent.
        source.clock.origin = source.last.unwrap_or(first);
        let soonest = source.clock.time_of(1).unwrap_or(Ns::MAX);
        let first = match source.last {
            Some(_) => first.max(soonest),
            None => first,
        };
        source.clock.origin = first;
        source.beat = 0;
        self.push_beat(stream.0, first);
        Ok(())
    }

    /// Stops a stream: it sends nothing from now on. What is under way goes on.
    ///
    /// # Errors
    /// As [`start_stream`](Self::start_stream).
    pub fn stop_stream(&mut self, now: Ns, stream: StreamId) -> Result<(), MachineError> {
        self.check_now(now)?;
        self.check_stream(stream)?;
        self.reached = now;
        let source = &mut self.sources[stream.0 as usize];
        source.epoch = source.epoch.wrapping_add(1);
        Ok(())
    }

    /// Packets that a stream has sent so far; `None` for one that is not there.
    #[must_use]
    pub fn packets_sent(&self, stream: StreamId) -> Option<u64> {
        self.sources.get(stream.0 as usize).map(|s| s.seq)
    }

    fn check_stream(&self, stream: StreamId) -> Result<(), MachineError> {
        let streams = self.sources.len();
        if stream.0 as usize >= streams {
            return Err(MachineError::NoSuchStream {
                stream: stream.0,
                streams,
            });
        }
        Ok(())
    }

    fn push_beat(&mut self, index: u32, at: Ns) {
        if at > LATEST_PUBLISH {
            return;
        }
        let source = &self.sources[index as usize];
        let place = u32::try_from(source.spec.node).expect("a topology has fewer than 2^31 nodes");
        let epoch = source.epoch;
        let beat = Event::Beat {
            source: index,
            epoch,
        };
        self.queue.push(at, Class::Publish, place, beat);
    }

    /// All packets of streams of an instant.
    pub(super) fn send_packets(&mut self, now: Ns) {
        while let Some(entry) = self.queue.pop_if(now, Class::Publish) {
            if let Event::Beat { source, epoch } = entry.payload
                && self.sources[source as usize].epoch == epoch
            {
                self.beat(now, source);
            }
        }
    }

    fn beat(&mut self, now: Ns, index: u32) {
        let spec = self.sources[index as usize].spec;
        let fragments = fragment_count(spec.bytes, self.topology.mtu_bytes())
            .expect("its size was checked when it was taken in");
        let plan = self.single_plan(spec.node, spec.to);
        for _ in 0..spec.burst {
            let source = &mut self.sources[index as usize];
            let sent = Sent {
                id: MessageId(self.published),
                topic: spec.topic,
                published: now,
                bytes: spec.bytes,
                priority: spec.priority,
                stream: spec.stream,
                seq: source.seq,
            };
            source.seq += 1;
            self.published += 1;
            if spec.node == spec.to {
                self.unheard += 1;
            }
            self.launch(now, sent, fragments, &plan);
        }
        let source = &mut self.sources[index as usize];
        source.last = Some(now);
        source.beat += 1;
        if let Ok(at) = source.clock.time_of(source.beat) {
            self.push_beat(index, at);
        }
    }
}
