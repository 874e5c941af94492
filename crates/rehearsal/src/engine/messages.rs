//! Messages on the line: published, carried link by link, delivered or lost.

use assess::input::{Carrier, Traffic};
use network::{
    Admission, Delivery, DropReason, FIRST_ANSWER_STREAM, HopRecord, Medium, MessageId, NodeState,
    NoteKind, Post, RateLimit, TopicId, Value,
};
use plan::{BehaviourIx, FaultKind, ModuleIx, NoticeKind, TopicIx, When};
use timeline::{Class, Ns};

use super::content::Led;
use super::{Engine, Happening, Origin, place};
use crate::error::RehearsalError;
use crate::record::{KeptBack, Loss, RecordId, Refusal, Root, What};

impl Engine<'_> {
    pub(super) fn publish(
        &mut self,
        module: ModuleIx,
        topic: TopicIx,
        values: Option<&[Value]>,
        by: KeptBack,
        parent: Option<RecordId>,
        root: Option<Root>,
    ) -> Result<(), RehearsalError> {
        if !self.modules[module.0].works() {
            let cause = parent.or(self.modules[module.0].stopped_by);
            let why = Refusal::NotWorking;
            self.record(cause, root, What::Refused { what: by, why });
            return Ok(());
        }
        self.calm();
        let plan = &self.line.topics[topic.0];
        if let Some(limit) = self.topic_at_most[topic.0].filter(|_| self.holds_back(by)) {
            let gate = self
                .topic_limits
                .entry((module.0, topic.0))
                .or_insert_with(|| RateLimit::new(limit));
            if !passes(gate, self.now) {
                self.came.held_back(topic);
                let why = Refusal::Topic;
                self.record(parent, root, What::Refused { what: by, why });
                return Ok(());
            }
        }
        let content = self.packed(module, topic, values)?;
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
                network::Publication {
                    node: module.0,
                    topic: self.topics[topic.0],
                    bytes: traffic.bytes[topic.0],
                    priority: plan.priority,
                    stream,
                    seq: *sequence,
                },
            )
            .map_err(|source| RehearsalError::Machine {
                at: self.now,
                source,
            })?;
        *sequence += 1;
        let plain = traffic.terms[topic.0] == network::Terms::default();
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
                content: content.clone(),
            },
        );
        self.came.copies(topic, copies);
        if let KeptBack::Fault(fault) = by {
            self.came.floods(fault, message, copies);
        }
        if copies > 0 {
            self.contents.keep(message, content.as_ref());
            let heard = match by {
                KeptBack::Behaviour(b) => match self.line.behaviours[b.0].when {
                    // The act follows its notice in the same instant.
                    When::Heard {
                        detector,
                        notice: NoticeKind::Confirmed,
                    } => Some((detector, self.now)),
                    _ => None,
                },
                KeptBack::Input(_) | KeptBack::Answer(_) | KeptBack::Fault(_) => None,
            };
            let origin = Origin {
                record,
                root,
                heard,
            };
            self.origins.insert(message, origin);
            // Of what may be sent again the network itself says when it is done.
            if plain {
                self.copies_left.insert(message, copies);
            }
        }
        self.drain_drops();
        Ok(())
    }

    /// Whether the topic's limit holds for what publishes: not for a broken module that floods the line past it.
    fn holds_back(&self, by: KeptBack) -> bool {
        let what = |f: usize| self.cues.faults[f].what;
        !matches!(by, KeptBack::Fault(f) if matches!(what(f), FaultKind::Flood { limited: false, .. }))
    }

    /// Records frames that have crossed something, and leaves the list empty.
    pub(super) fn crossed(&mut self, hops: &mut Vec<HopRecord>) {
        for hop in hops.drain(..) {
            let Some(origin) = self.origins.get(&hop.message).copied() else {
                continue;
            };
            let over = self.traffic.as_ref().map(|t| match hop.over {
                Medium::Link(link) => Carrier::Span(t.link_spans[link]),
                Medium::Bus(bus) => t.shared[bus],
            });
            if let Some(over) = over {
                let what = What::Crossed {
                    over,
                    to: ModuleIx(hop.to),
                    message: hop.message,
                    answer: hop.stream >= FIRST_ANSWER_STREAM,
                    fragment: hop.fragment,
                    queued: hop.queued,
                    start: hop.start,
                    end: hop.end,
                };
                self.record(Some(origin.record), origin.root, what);
            }
        }
    }

    pub(super) fn deliver(&mut self, delivery: &Delivery) {
        let origin = self.origin(delivery.message);
        if self.asks.has(delivery.topic) {
            let content = self.contents.of(delivery.message);
            self.copy_done(delivery.message);
            self.side_delivered(delivery, content, origin);
            return;
        }
        let module = ModuleIx(delivery.node);
        let topic = self.topic(delivery.topic);
        let content = self.contents.of(delivery.message);
        self.copy_done(delivery.message);
        let from = self.publisher(delivery.stream);
        let message = delivery.message;
        let after = delivery.at.checked_sub(delivery.published);
        let after = after.expect("nothing is delivered before it is published");
        let what = What::Delivered {
            module,
            topic,
            message,
            content: content.clone(),
            from,
            after,
            late: self.bounds.of_check(from, topic, module).map(|b| after > b),
        };
        let record = self.record(Some(origin.record), origin.root, what);
        if let Some(bound) = self.broken_bound(delivery, from, topic) {
            let what = What::BeyondBound {
                module,
                topic,
                message,
                after,
                bound,
            };
            self.record(Some(record), origin.root, what);
        }
        self.heartbeat(from, topic, module, record);
        if let Some((detector, heard_at)) = origin.heard {
            self.count(module, detector, heard_at, record, origin.root);
        }
        let traffic = self
            .traffic
            .as_ref()
            .expect("only a line with traffic delivers");
        let name = &traffic.names[topic.0];
        for (i, (b, filter)) in self.line.behaviours.iter().zip(&self.filters).enumerate() {
            if b.on == module && filter.as_ref().is_some_and(|f| f.matches(name)) {
                let act = Happening::Act {
                    behaviour: BehaviourIx(i),
                    led: Led::Told {
                        topic,
                        content: content.clone(),
                    },
                    parent: Some(record),
                    root: origin.root,
                };
                self.queue.push(self.now, Class::Act, place(module.0), act);
            }
        }
    }

    /// Where a message with copies still under way comes from.
    fn origin(&self, message: MessageId) -> Origin {
        *self
            .origins
            .get(&message)
            .expect("a message keeps its origin until its last copy is delivered or lost")
    }

    /// Who publishes a stream.
    fn publisher(&self, stream: u32) -> ModuleIx {
        ModuleIx(stream as usize / self.line.topics.len())
    }

    fn topic(&self, id: TopicId) -> TopicIx {
        let ix = self.topics.iter().position(|t| *t == id);
        TopicIx(ix.expect("only topics of the line are published"))
    }

    fn copy_done(&mut self, message: MessageId) {
        if let Some(left) = self.copies_left.get_mut(&message) {
            *left -= 1;
            if *left == 0 {
                self.copies_left.remove(&message);
                self.contents.done(message);
                self.origins.remove(&message);
            }
        }
    }

    /// Tells what was lost, and what else became of messages; whether there was anything that is no packet of a stream.
    pub(super) fn drain_drops(&mut self) -> bool {
        let drops: Vec<network::Dropped> = match &mut self.machine {
            Some(machine) => machine.drain_drops().collect(),
            None => return false,
        };
        let mut any = false;
        for drop in drops {
            if let Some(stream) = self.streams.of(drop.stream) {
                self.packet_lost(stream, &drop);
                continue;
            }
            any = true;
            let origin = self.origin(drop.message);
            if self.asks.has(drop.topic) {
                self.side_lost(&drop, origin);
                self.copy_done(drop.message);
                continue;
            }
            let topic = self.topic(drop.topic);
            let why = self.loss(&drop);
            let what = What::Lost {
                module: ModuleIx(drop.node),
                topic,
                message: drop.message,
                why,
            };
            self.record(Some(origin.record), origin.root, what);
            self.copy_done(drop.message);
        }
        self.drain_notes() || any
    }

    /// Where the network says that a module does not work, which one it is.
    pub(super) fn loss(&self, drop: &network::Dropped) -> Loss {
        match drop.reason {
            DropReason::NodeDown if !self.modules[drop.node].works() => Loss::NotWorking,
            DropReason::NodeDown
                if self
                    .sender(drop.stream)
                    .is_some_and(|m| !self.modules[m.0].works()) =>
            {
                Loss::PublisherStopped
            }
            reason => Loss::Network(reason),
        }
    }

    /// Tells what else became of messages that may be sent again, and forgets those of which nothing more will come.
    fn drain_notes(&mut self) -> bool {
        let Some(machine) = &mut self.machine else {
            return false;
        };
        let notes: Vec<network::Note> = machine.drain_notes().collect();
        let done: Vec<MessageId> = machine.drain_done().collect();
        let any = !notes.is_empty() || !done.is_empty();
        for note in notes {
            let origin = self.origin(note.message);
            // What is sent again, what was held and what waited is more than a bound counts.
            if matches!(
                note.kind,
                NoteKind::Again { .. } | NoteKind::Retained | NoteKind::Released
            ) {
                self.bounds.disturbed();
            }
            let what = What::Posted {
                module: ModuleIx(note.node),
                topic: self.topic(note.topic),
                message: note.message,
                what: note.kind,
            };
            self.record(Some(origin.record), origin.root, what);
        }
        for message in done {
            self.contents.done(message);
            self.origins.remove(&message);
        }
        any
    }

    /// Tells the network which modules work, and which still pass data.
    pub(super) fn reach_nodes(&mut self) -> Result<(), RehearsalError> {
        self.streams.look = true;
        let Some(machine) = &mut self.machine else {
            return Ok(());
        };
        for (i, (now, plan)) in self.modules.iter().zip(&self.line.modules).enumerate() {
            let state = now.node_state(plan.passes);
            if state != NodeState::Up {
                self.bounds.disturbed();
            }
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
}

/// The topics of the line as the network numbers them, each on its terms.
pub(super) fn on_terms(post: &mut Post, traffic: &Traffic) -> Vec<TopicId> {
    let all = traffic.names.iter().zip(&traffic.terms);
    all.map(|(name, terms)| {
        let topic = post.topic(name);
        post.set_terms(topic, *terms);
        topic
    })
    .collect()
}

/// Whether a limit lets one more through now.
pub(super) fn passes(limit: &mut RateLimit, now: Ns) -> bool {
    let admission = limit
        .admit(now)
        .expect("the time of a rehearsal never runs backwards");
    matches!(admission, Admission::Passed)
}
