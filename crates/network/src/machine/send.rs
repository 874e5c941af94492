//! Messages that enter the network, and who can be reached.

use std::sync::Arc;

use timeline::Ns;

use super::direction::Waiting;
use super::plan::Plan;
use super::records::{Dropped, MachineError, MessageId, NodeState, Publication, TopicId};
use super::{Machine, Message, check_node};
use crate::frame::fragment_count;

/// A message as it is handed in.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Sent {
    pub(crate) id: MessageId,
    pub(crate) topic: TopicId,
    pub(crate) published: Ns,
    pub(crate) bytes: u32,
    pub(crate) priority: u8,
    pub(crate) stream: u32,
    pub(crate) seq: u64,
}

impl Sent {
    pub(crate) fn new(id: MessageId, published: Ns, publication: Publication) -> Sent {
        let Publication {
            topic,
            bytes,
            priority,
            stream,
            seq,
            ..
        } = publication;
        Sent {
            id,
            topic,
            published,
            bytes,
            priority,
            stream,
            seq,
        }
    }
}

impl Machine {
    /// A number for a message that is to be sent with [`send`](Machine::send), once or several times. It counts as one publication.
    pub(crate) fn announce(
        &mut self,
        now: Ns,
        node: usize,
        topic: TopicId,
        bytes: u32,
    ) -> Result<MessageId, MachineError> {
        self.check_now(now)?;
        check_node(node, self.topology.node_count())?;
        if topic.0 as usize >= self.topics.len() {
            return Err(MachineError::NoSuchTopic { topic: topic.0 });
        }
        fragment_count(bytes, self.topology.mtu_bytes())?;
        let id = MessageId(self.published);
        self.published += 1;
        Ok(id)
    }

    /// Sends a message from a node to these others (ascending) and to no more, whoever subscribes.
    pub(crate) fn send(
        &mut self,
        now: Ns,
        node: usize,
        to: &[usize],
        sent: Sent,
    ) -> Result<(), MachineError> {
        self.check_now(now)?;
        let fragments = fragment_count(sent.bytes, self.topology.mtu_bytes())?;
        self.reached = now;
        let plan = match *to {
            [one] => self.single_plan(node, one),
            _ => Arc::new(self.plan_to(node, to)),
        };
        self.launch(now, sent, fragments, &plan);
        Ok(())
    }

    pub(super) fn single_plan(&mut self, node: usize, to: usize) -> Arc<Plan> {
        if let Some(plan) = self.single.get(&(node, to)) {
            return Arc::clone(plan);
        }
        let plan = Arc::new(self.plan_to(node, &[to]));
        self.single.insert((node, to), Arc::clone(&plan));
        plan
    }

    fn plan_to(&self, node: usize, to: &[usize]) -> Plan {
        Plan::new(&self.topology, node, to, &self.node_states, |d| {
            self.directions[d].usable
        })
    }

    /// For each node whether a message from this one would find a way to it now.
    pub(crate) fn reach(&self, from: usize) -> Vec<bool> {
        if self.node_states[from] != NodeState::Up {
            return vec![false; self.node_states.len()];
        }
        let ways = self.topology.tree_from(from, |d| self.directions[d].usable);
        self.node_states
            .iter()
            .enumerate()
            .map(|(node, state)| *state == NodeState::Up && (node == from || ways[node].is_some()))
            .collect()
    }

    /// Whether a message from one node would find a way to another now.
    #[must_use]
    pub fn reaches(&self, from: usize, to: usize) -> bool {
        from < self.node_states.len() && self.reach(from).get(to) == Some(&true)
    }

    /// Whether a way leads from one node to another now, be that other one at work or not.
    #[must_use]
    pub fn leads(&self, from: usize, to: usize) -> bool {
        let count = self.node_states.len();
        if from >= count || to >= count || self.node_states[from] != NodeState::Up {
            return false;
        }
        let open = |direction: usize| {
            let at = &self.directions[direction];
            let stopped = |node: usize| self.node_states.get(node) == Some(&NodeState::Down);
            at.usable || (at.to == to && self.is_whole(direction) && !stopped(at.from))
        };
        from == to || self.topology.tree_from(from, open)[to].is_some()
    }

    /// How often what is usable has changed so far.
    pub(crate) fn changes(&self) -> u64 {
        self.changes
    }

    /// Whether a node works.
    pub(crate) fn works(&self, node: usize) -> bool {
        self.node_states.get(node) == Some(&NodeState::Up)
    }

    /// Queues the frames of a message on every link by which they leave, and drops the copies that find no way.
    pub(super) fn launch(&mut self, now: Ns, sent: Sent, fragments: u32, plan: &Arc<Plan>) {
        self.copies_due += (plan.targets.len() + plan.unreachable.len()) as u64;
        for &(target, reason) in &plan.unreachable {
            self.dropped += 1;
            self.drops.push(Dropped {
                message: sent.id,
                node: target,
                at: now,
                published: sent.published,
                topic: sent.topic,
                stream: sent.stream,
                seq: sent.seq,
                reason,
            });
        }
        if plan.targets.is_empty() {
            return;
        }
        let slot = self.message_slot(sent, fragments, plan);
        for &hop in plan.roots() {
            for fragment in 0..fragments {
                let frame = Waiting::new(
                    sent.priority,
                    now,
                    sent.stream,
                    sent.seq,
                    fragment,
                    slot,
                    hop,
                );
                let direction = plan.hops[hop as usize].direction;
                self.enqueue(direction, frame);
            }
        }
    }

    fn message_slot(&mut self, sent: Sent, fragments: u32, plan: &Arc<Plan>) -> u32 {
        let roots = u32::try_from(plan.roots().len()).expect("a node has fewer than 2^32 links");
        let slot = self.free_messages.pop();
        let mut left = match slot {
            Some(slot) => std::mem::take(&mut self.messages[slot as usize].left),
            None => Vec::new(),
        };
        left.clear();
        left.resize(plan.targets.len(), fragments);
        let message = Message {
            id: sent.id,
            topic: sent.topic,
            published: sent.published,
            bytes: sent.bytes,
            fragments,
            priority: sent.priority,
            stream: sent.stream,
            seq: sent.seq,
            plan: Arc::clone(plan),
            left,
            frames: fragments * roots,
        };
        match slot {
            Some(slot) => {
                self.messages[slot as usize] = message;
                slot
            }
            None => {
                self.messages.push(message);
                u32::try_from(self.messages.len() - 1)
                    .expect("fewer than 2^32 messages are under way")
            }
        }
    }
}
