//! Streams: their packets cross the links as any other message, and are counted, not recorded one by one; stores take what they bring.

use assess::input::{Carrier, InputError, Traffic};
use network::{
    Delivery, Dropped, FIRST_ANSWER_STREAM, Medium, Post, StreamId, StreamSource, TopicName,
    no_queue_latency, stream_beat,
};
use plan::{Line, ModuleIx, StreamIx};
use timeline::{Class, Ns};

use super::bounds::BoundsNow;
use super::{Engine, place};
use crate::error::RehearsalError;
use crate::packets::{Counts, PacketEnd, StreamCame, WayCame};
use crate::record::{StreamStep, What};

/// Steps of the network that are taken in one go while nothing but packets of streams comes of them.
const STEPS_AT_ONCE: u32 = 4096;

/// A stream as it stands.
struct StreamNow {
    /// Its number in the network; absent where it has no room.
    id: Option<StreamId>,
    runs: bool,
    counts: Counts,
}

/// The streams as they stand.
pub(super) struct StreamsNow {
    all: Vec<StreamNow>,
    /// The number of the first one's messages.
    first: u32,
    /// A module may have come to work or to a state, or ceased to.
    pub(super) look: bool,
}

impl StreamsNow {
    pub(super) fn new(
        line: &Line,
        traffic: Option<&Traffic>,
        post: Option<&mut Post>,
        bounds: &BoundsNow,
    ) -> Result<StreamsNow, RehearsalError> {
        let modules = line.modules.len();
        // Behind those of topics, requests and joining notices.
        let before = modules * (line.topics.len() + 2 * line.requests.len() + 1);
        let mut streams = StreamsNow {
            all: Vec::new(),
            first: place(before),
            look: true,
        };
        let (Some(traffic), Some(post)) = (traffic, post) else {
            return Ok(streams);
        };
        for (s, stream) in line.streams.iter().enumerate() {
            let bound = bounds.of_stream(StreamIx(s));
            let mut counts = Counts::default();
            counts.came.refused = bound.is_none();
            counts.came.bound = bound;
            let (from, to) = (stream.from.0, stream.to.0);
            counts.came.soonest =
                no_queue_latency(&traffic.topology, from, to, stream.packet_bytes).ok();
            let id = match bound {
                None => None,
                Some(_) => Some(source(line, post, s, streams.first)?),
            };
            streams.all.push(StreamNow {
                id,
                runs: false,
                counts,
            });
        }
        Ok(streams)
    }

    /// The stream that a message of the network is a packet of.
    pub(super) fn of(&self, stream: u32) -> Option<StreamIx> {
        if stream < self.first || stream >= FIRST_ANSWER_STREAM {
            return None;
        }
        Some(StreamIx((stream - self.first) as usize))
    }

    fn counts(&mut self, stream: StreamIx) -> &mut Counts {
        &mut self.all[stream.0].counts
    }
}

/// Declares a stream to the network.
fn source(line: &Line, post: &mut Post, s: usize, first: u32) -> Result<StreamId, RehearsalError> {
    let stream = &line.streams[s];
    let what = || format!("stream.{}", stream.id);
    let name = TopicName::parse(&format!("$stream/{}", stream.id)).map_err(|source| {
        InputError::Topic {
            what: what(),
            source,
        }
    })?;
    let rate_bps = stream.rate_bps.si as u64;
    let (beat_num_ns, beat_den) = stream_beat(rate_bps, stream.packet_bytes, stream.burst)
        .map_err(|source| InputError::Rate {
            what: what(),
            source,
        })?;
    let spec = StreamSource {
        node: stream.from.0,
        to: stream.to.0,
        topic: post.topic(&name),
        bytes: stream.packet_bytes,
        burst: stream.burst,
        beat_num_ns,
        beat_den,
        priority: stream.priority,
        stream: first + place(s),
    };
    let added = post.machine_mut().add_stream(spec);
    added.map_err(|source| RehearsalError::Machine {
        at: Ns::ZERO,
        source,
    })
}

impl Engine<'_> {
    /// Begins and ends the streams whose modules came to work or to a state, or ceased to.
    pub(super) fn run_streams(&mut self) -> Result<(), RehearsalError> {
        for s in 0..self.streams.all.len() {
            let stream = &self.line.streams[s];
            let module = &self.modules[stream.from.0];
            let works = module.works();
            let wanted = stream
                .in_state
                .is_none_or(|state| module.state == Some(state));
            let stopped_by = module.stopped_by;
            let now = &mut self.streams.all[s];
            let Some(id) = now.id else { continue };
            let runs = works && wanted;
            // A state that was left ends it; a module that stopped is missed.
            if works && !wanted {
                now.counts.is_over(self.now);
            }
            if now.runs == runs {
                continue;
            }
            now.runs = runs;
            let Some(post) = &mut self.machine else {
                continue;
            };
            let done = match runs {
                true => {
                    now.counts.begins(self.now);
                    post.start_stream(self.now, id, self.now)
                }
                false => post.stop_stream(self.now, id),
            };
            done.map_err(|source| RehearsalError::Machine {
                at: self.now,
                source,
            })?;
            let (parent, what) = match runs {
                true => (None, StreamStep::Begins),
                false => (stopped_by.filter(|_| !works), StreamStep::Ends),
            };
            let stream = StreamIx(s);
            self.record(parent, None, What::Streaming { stream, what });
        }
        Ok(())
    }

    /// Steps the network until something comes of it that is no packet of a stream, or until something else comes first.
    pub(super) fn step_machine(&mut self, others: (Ns, Class)) {
        let mut hops = Vec::new();
        let mut deliveries = std::mem::take(&mut self.deliveries);
        for _ in 0..STEPS_AT_ONCE {
            let Some(machine) = &mut self.machine else {
                break;
            };
            let Some((_, class)) = machine.next() else {
                break;
            };
            deliveries.clear();
            let streams = &self.streams;
            machine.step_traced(&mut deliveries, |hop| {
                if streams.of(hop.stream).is_none() {
                    hops.push(*hop);
                }
            });
            let mut others_moved = !hops.is_empty();
            self.crossed(&mut hops);
            if class == Class::Publish {
                self.count_sent();
            }
            for delivery in &deliveries {
                match self.streams.of(delivery.stream) {
                    Some(stream) => {
                        self.packet_delivered(stream, delivery);
                        others_moved |= self.store_packet(stream);
                    }
                    None => {
                        others_moved = true;
                        self.deliver(delivery);
                    }
                }
            }
            others_moved |= self.drain_drops();
            let next = self.machine.as_ref().and_then(Post::next);
            match next {
                Some((at, class)) if !others_moved && !self.dirty && (at, class) < others => {
                    self.now = at;
                }
                _ => break,
            }
        }
        self.deliveries = deliveries;
    }

    fn count_sent(&mut self) {
        let Some(post) = &self.machine else { return };
        for now in &mut self.streams.all {
            let sent = now.id.and_then(|id| post.machine().packets_sent(id));
            if let Some(sent) = sent {
                now.counts.sent(sent);
            }
        }
    }

    fn packet_delivered(&mut self, stream: StreamIx, delivery: &Delivery) {
        let after = delivery.at.checked_sub(delivery.published);
        let after = after.expect("nothing is delivered before it is sent");
        let late = self.bounds.of_stream(stream).map(|bound| after > bound);
        let end = PacketEnd::Delivered { after, late };
        self.packet_ends(stream, end);
        if let Some(bound) = self
            .bounds
            .broken_by_packet(stream, delivery.published, after)
        {
            let came = &mut self.streams.counts(stream).came;
            came.beyond_bound += 1;
            // Once: of many the count tells.
            if came.beyond_bound == 1 {
                let what = StreamStep::BeyondBound { after, bound };
                self.record(None, None, What::Streaming { stream, what });
            }
        }
    }

    pub(super) fn packet_lost(&mut self, stream: StreamIx, drop: &Dropped) {
        let why = self.loss(drop);
        self.packet_ends(stream, PacketEnd::Lost(why));
    }

    fn packet_ends(&mut self, stream: StreamIx, end: PacketEnd) {
        self.streams.counts(stream).ends(self.now, end);
        self.watcher.see_packet(self.now, stream, end);
        self.came.packet(self.now, stream, end);
    }

    /// What came of the streams, and packets sent, delivered, lost and under way over all of them.
    pub(super) fn streams_came(&mut self) -> (Vec<StreamCame>, [u64; 4]) {
        let mut all = Vec::new();
        let mut sums = [0; 4];
        let (Some(post), Some(traffic)) = (&self.machine, &self.traffic) else {
            return (all, sums);
        };
        let stats = post.machine().stats();
        for (now, plan) in self.streams.all.drain(..).zip(&self.line.streams) {
            let sent = now.id.and_then(|id| post.machine().packets_sent(id));
            let mut came = now.counts.finish(self.end, sent.unwrap_or(0));
            let route = traffic.topology.route(plan.from.0, plan.to.0);
            for (over, to) in route.unwrap_or_default() {
                let to_module = ModuleIx(to);
                came.way.push(match over {
                    Medium::Link(link) => {
                        let mut directions = stats.directions.iter();
                        let way = directions.find(|d| d.link == link && d.to == to);
                        let way = way.expect("a link has two directions");
                        WayCame::of(Carrier::Span(traffic.link_spans[link]), to_module, way)
                    }
                    Medium::Bus(bus) => WayCame {
                        over: traffic.shared[bus],
                        to: to_module,
                        busy: stats.buses[bus].busy,
                        most_waiting: stats.buses[bus].most_waiting,
                    },
                });
            }
            let lost = came.sent - came.delivered - came.under_way;
            for (sum, n) in sums
                .iter_mut()
                .zip([came.sent, came.delivered, lost, came.under_way])
            {
                *sum += n;
            }
            all.push(came);
        }
        (all, sums)
    }
}
