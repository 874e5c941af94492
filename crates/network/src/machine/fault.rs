//! Links and nodes that fail and come back.

use std::collections::BinaryHeap;

use timeline::Ns;

use super::direction::Waiting;
use super::records::{DropReason, Dropped, LinkState, MachineError, NodeState};
use super::{Flight, LOST, Machine, check_node, touch};
use crate::topology::Medium;

impl Machine {
    /// Cuts or mends a link. Setting the state it has already changes nothing.
    ///
    /// A cut loses, in both directions, the frames that wait for the link and those of which the last bit is not yet at the far end (a last bit due at
    /// the very instant of the cut is lost); frames already in the far node go on. A copy that misses a lost frame is dropped, although its other frames
    /// still travel. Messages keep the route they were published with: a frame that later comes to a cut link is lost too. Messages published
    /// from then on go round the cut, or are dropped for want of a path. A mended link begins empty.
    ///
    /// # Errors
    /// [`MachineError`]: unknown link, or a `now` that is late, early or beyond [`LATEST_PUBLISH`](crate::LATEST_PUBLISH).
    pub fn set_link(&mut self, now: Ns, link: usize, state: LinkState) -> Result<(), MachineError> {
        self.check_now(now)?;
        let links = self.link_states.len();
        if link >= links {
            return Err(MachineError::NoSuchLink { link, links });
        }
        self.reached = now;
        if self.link_states[link] != state {
            self.link_states[link] = state;
            self.refresh_usable(now);
        }
        Ok(())
    }

    /// Cuts or mends a bus: a cut one carries nothing, by the rule of [`set_link`](Self::set_link).
    ///
    /// # Errors
    /// [`MachineError`]: unknown bus, or a `now` that is late, early or beyond [`LATEST_PUBLISH`](crate::LATEST_PUBLISH).
    pub fn set_bus(&mut self, now: Ns, bus: usize, state: LinkState) -> Result<(), MachineError> {
        self.check_now(now)?;
        let buses = self.bus_states.len();
        if bus >= buses {
            return Err(MachineError::NoSuchBus { bus, buses });
        }
        self.reached = now;
        if self.bus_states[bus] != state {
            self.bus_states[bus] = state;
            self.refresh_usable(now);
        }
        Ok(())
    }

    fn medium_state(&self, direction: usize) -> LinkState {
        match self.topology.arcs()[direction].over.medium() {
            Medium::Link(link) => self.link_states[link],
            Medium::Bus(bus) => self.bus_states[bus],
        }
    }

    /// Stops or starts a node, or leaves it as a tap. Setting the state it has already changes nothing.
    ///
    /// A node that stops ([`NodeState::Down`]) takes all its links down with it, by the rule of [`set_link`](Self::set_link); besides, the frames it was
    /// processing are lost. It neither publishes nor is delivered to until it starts again. Its controllers on CAN buses start again without errors counted.
    ///
    /// A node that becomes a tap ([`NodeState::Passes`]) loses what it published itself and has not sent: its own frames that wait, and that of which the
    /// last bit has not left (one due to leave at the very instant is lost). What it holds of others it hands on, and their frames go through it as through a
    /// node that is up, processing time included: a wire would be sooner, so that a bound on lateness stays one. It does not publish, and a copy of which
    /// a frame comes in for the tap itself is dropped.
    ///
    /// # Errors
    /// [`MachineError`]: unknown node, or a `now` that is late, early or beyond [`LATEST_PUBLISH`](crate::LATEST_PUBLISH).
    pub fn set_node(&mut self, now: Ns, node: usize, state: NodeState) -> Result<(), MachineError> {
        self.check_now(now)?;
        check_node(node, self.topology.node_count())?;
        self.reached = now;
        if self.node_states[node] != state {
            self.node_states[node] = state;
            if state == NodeState::Down {
                self.reset_controllers(node);
                self.lose_flights(now, DropReason::NodeDown, |machine, flight| {
                    machine.directions[flight.direction as usize].to == node
                });
            }
            self.refresh_usable(now);
            if state == NodeState::Passes {
                self.lose_own(now, node);
            }
        }
        Ok(())
    }

    /// A node that no longer works sends nothing more of what it published itself.
    fn lose_own(&mut self, now: Ns, node: usize) {
        for index in 0..self.directions.len() {
            if self.directions[index].from != node {
                continue;
            }
            let at = self.servers[index];
            let waiting = std::mem::take(&mut self.directions[at].waiting);
            let (mut own, others): (BinaryHeap<_>, BinaryHeap<_>) = waiting
                .into_iter()
                .partition(|frame| self.is_first_hop(frame, index));
            self.directions[at].waiting = others;
            let mine = |machine: &Machine, flight: &Flight| {
                flight.direction as usize == index
                    && flight.end >= now
                    && machine.is_first_hop(&flight.frame, index)
            };
            let piece = self.directions[at].rest;
            let piece = piece.filter(|frame| self.is_first_hop(frame, index));
            let sent = self.flights_where(mine);
            let server = &mut self.directions[at];
            let being_sent =
                |flight: &usize| Some(self.flights[*flight].end) == server.serving_until;
            if server.serving as usize == index
                && (piece.is_some() || sent.iter().any(being_sent))
                && let Some(until) = server.serving_until.take()
            {
                server.busy_ns -= until.0 - now.0;
                server.epoch = server.epoch.wrapping_add(1);
                own.extend(server.rest.take());
                touch(&mut self.directions, &mut self.touched, at as u32);
                if let Some(bus) = self.topology.arcs()[index].over.bus() {
                    self.falls_idle(now, bus);
                }
            }
            self.lose_these(now, DropReason::NodeDown, sent);
            for frame in own.into_sorted_vec().into_iter().rev() {
                self.drop_frame(now, frame, DropReason::NodeDown);
            }
        }
    }

    /// Whether a frame has this direction to take, as the first of its way.
    fn is_first_hop(&self, frame: &Waiting, direction: usize) -> bool {
        let plan = &self.messages[frame.slot as usize].plan;
        plan.roots().contains(&frame.hop)
            && plan.hops[frame.hop as usize].direction as usize == direction
    }

    pub(super) fn why_unusable(&self, direction: usize) -> DropReason {
        if self.medium_state(direction) == LinkState::Down {
            DropReason::LinkDown
        } else if self.directions[direction].off {
            DropReason::BusOff
        } else {
            DropReason::NodeDown
        }
    }

    /// Loses a frame and with it every copy that needed it.
    pub(super) fn drop_frame(&mut self, now: Ns, frame: Waiting, reason: DropReason) {
        let message = &self.messages[frame.slot as usize];
        let (first, end) = message.plan.hops[frame.hop as usize].under;
        for target in first..end {
            self.drop_copy(now, frame.slot, target, reason);
        }
        self.end_frame(frame.slot);
    }

    /// Drops the copy for one target of a message's plan, once.
    pub(super) fn drop_copy(&mut self, now: Ns, slot: u32, target: u32, reason: DropReason) {
        let message = &mut self.messages[slot as usize];
        let left = &mut message.left[target as usize];
        if *left == LOST {
            return;
        }
        *left = LOST;
        self.dropped += 1;
        self.drops.push(Dropped {
            message: message.id,
            node: message.plan.targets[target as usize],
            at: now,
            published: message.published,
            topic: message.topic,
            stream: message.stream,
            seq: message.seq,
            reason,
        });
    }

    /// Whether a direction carries frames, apart from the nodes at its ends.
    pub(super) fn is_whole(&self, direction: usize) -> bool {
        self.medium_state(direction) == LinkState::Up && !self.directions[direction].off
    }

    pub(super) fn refresh_usable(&mut self, now: Ns) {
        self.pass_idle_turns(now);
        for topic in &mut self.topics {
            topic.plans.fill(None);
        }
        self.single.clear();
        self.changes += 1;
        for index in 0..self.directions.len() {
            let (from, to) = (self.directions[index].from, self.directions[index].to);
            // A hub is no node and never stops.
            let works = |node: usize| self.node_states.get(node) != Some(&NodeState::Down);
            let usable = self.is_whole(index) && works(from) && works(to);
            let was_usable = std::mem::replace(&mut self.directions[index].usable, usable);
            if was_usable && !usable {
                self.stop_direction(now, index);
            }
        }
        self.renew_turns(now);
    }

    fn stop_direction(&mut self, now: Ns, index: usize) {
        let reason = self.why_unusable(index);
        let at = self.servers[index];
        let server = &mut self.directions[at];
        let mut waiting = std::mem::take(&mut server.waiting);
        if server.serving as usize == index
            && let Some(until) = server.serving_until.take()
        {
            server.busy_ns -= until.0 - now.0;
            server.epoch = server.epoch.wrapping_add(1);
            waiting.extend(server.rest.take());
            if let Some(bus) = self.topology.arcs()[index].over.bus() {
                self.falls_idle(now, bus);
            }
        }
        // Other stations of a bus wait on.
        let of = |frame: &Waiting| {
            let plan = &self.messages[frame.slot as usize].plan;
            plan.hops[frame.hop as usize].direction as usize
        };
        let (waiting, others): (BinaryHeap<_>, BinaryHeap<_>) =
            waiting.into_iter().partition(|frame| of(frame) == index);
        let goes_on = !others.is_empty();
        self.directions[at].waiting = others;
        if goes_on {
            touch(&mut self.directions, &mut self.touched, at as u32);
        }
        self.lose_flights(now, reason, |_, flight| {
            flight.direction as usize == index && flight.last_bit >= now
        });
        // The heap is ordered greatest first served, so the sorted list runs backwards.
        for frame in waiting.into_sorted_vec().into_iter().rev() {
            self.drop_frame(now, frame, reason);
        }
    }

    fn lose_flights(
        &mut self,
        now: Ns,
        reason: DropReason,
        lost: impl Fn(&Machine, &Flight) -> bool,
    ) {
        let lost = self.flights_where(lost);
        self.lose_these(now, reason, lost);
    }

    /// Frames under way of which this holds, in the order in which their last bits arrive.
    fn flights_where(&self, holds: impl Fn(&Machine, &Flight) -> bool) -> Vec<usize> {
        let mut free = vec![false; self.flights.len()];
        for &slot in &self.free_flights {
            free[slot as usize] = true;
        }
        let mut found: Vec<usize> = (0..self.flights.len())
            .filter(|&slot| {
                let flight = &self.flights[slot];
                !free[slot] && !flight.lost && holds(self, flight)
            })
            .collect();
        found.sort_unstable_by_key(|&slot| {
            (self.flights[slot].last_bit, self.flights[slot].direction)
        });
        found
    }

    fn lose_these(&mut self, now: Ns, reason: DropReason, flights: Vec<usize>) {
        for slot in flights {
            self.flights[slot].lost = true;
            let frame = self.flights[slot].frame;
            self.drop_frame(now, frame, reason);
        }
    }
}
