//! What happens at one instant: links take their next frames, frames land.

use std::sync::Arc;

use timeline::{Class, Ns};

use super::direction::Waiting;
use super::records::{Delivery, DropReason, HopRecord, NodeState};
use super::{Event, Flight, LOST, Machine, touch};
use crate::frame::fragment_bytes;

impl Machine {
    pub(super) fn start_services(&mut self, now: Ns) {
        for index in std::mem::take(&mut self.touched) {
            let direction = &mut self.directions[index as usize];
            direction.touched = false;
            if direction.serving_until.is_none()
                && let Some(frame) = direction.waiting.pop()
            {
                let message = &self.messages[frame.slot as usize];
                let payload = fragment_bytes(
                    message.bytes,
                    self.topology.mtu_bytes(),
                    frame.fragment,
                    message.fragments,
                );
                let end = later(now, direction.frame_time(payload));
                let last_bit = later(end, direction.propagation);
                direction.serving_until = Some(end);
                direction.busy_ns += end.0 - now.0;
                direction.frames += 1;
                let flight = Flight {
                    frame,
                    direction: index,
                    start: now,
                    end,
                    last_bit,
                    lost: false,
                };
                let epoch = direction.epoch;
                let landing = later(last_bit, direction.far_processing);
                let slot = match self.free_flights.pop() {
                    Some(slot) => {
                        self.flights[slot as usize] = flight;
                        slot
                    }
                    None => {
                        self.flights.push(flight);
                        u32::try_from(self.flights.len() - 1)
                            .expect("fewer than 2^32 frames are in flight")
                    }
                };
                self.queue
                    .push(end, Class::Arrive, index, Event::Free { epoch });
                self.queue.push(
                    landing,
                    Class::Arrive,
                    index,
                    Event::Landed { flight: slot },
                );
            }
            direction.most_waiting = direction.most_waiting.max(direction.waiting.len());
        }
    }

    pub(super) fn land(
        &mut self,
        now: Ns,
        flight_slot: u32,
        out: &mut Vec<Delivery>,
        trace: &mut impl FnMut(&HopRecord),
    ) {
        let flight = self.flights[flight_slot as usize];
        self.free_flights.push(flight_slot);
        if flight.lost {
            return;
        }
        self.frame_hops += 1;
        let frame = flight.frame;
        let direction = &self.directions[flight.direction as usize];
        let message = &self.messages[frame.slot as usize];
        trace(&HopRecord {
            message: message.id,
            link: flight.direction as usize / 2,
            from: direction.from,
            to: direction.to,
            fragment: frame.fragment,
            queued: frame.queued(),
            start: flight.start,
            end: flight.end,
            at: now,
        });
        let hop = message.plan.hops[frame.hop as usize];
        let to = direction.to;
        if let Some(target) = hop.target {
            if self.node_states[to] == NodeState::Up {
                self.receive(now, frame.slot, target, to, out);
            } else {
                self.drop_copy(now, frame.slot, target, DropReason::NodeDown);
            }
        }
        if hop.kids.0 == hop.kids.1 {
            self.end_frame(frame.slot);
            return;
        }
        let plan = Arc::clone(&self.messages[frame.slot as usize].plan);
        for &kid in plan.kids(&hop) {
            let direction = plan.hops[kid as usize].direction;
            let message = &mut self.messages[frame.slot as usize];
            let onward = Waiting::new(
                message.priority,
                now,
                message.stream,
                message.seq,
                frame.fragment,
                frame.slot,
                kid,
            );
            message.frames += 1;
            if self.directions[direction as usize].usable {
                self.directions[direction as usize].waiting.push(onward);
                touch(&mut self.directions, &mut self.touched, direction);
            } else {
                let reason = self.why_unusable(direction as usize);
                self.drop_frame(now, onward, reason);
            }
        }
        self.end_frame(frame.slot);
    }

    /// A node takes one frame of its copy; with the last one the copy is delivered.
    fn receive(&mut self, now: Ns, slot: u32, target: u32, node: usize, out: &mut Vec<Delivery>) {
        let message = &mut self.messages[slot as usize];
        let left = &mut message.left[target as usize];
        if *left == LOST {
            return;
        }
        *left -= 1;
        if *left == 0 {
            self.delivered += 1;
            out.push(Delivery {
                message: message.id,
                node,
                at: now,
                published: message.published,
                topic: message.topic,
                stream: message.stream,
                seq: message.seq,
            });
        }
    }

    /// One frame of a message is no more; with the last one the message goes.
    pub(super) fn end_frame(&mut self, slot: u32) {
        let message = &mut self.messages[slot as usize];
        message.frames -= 1;
        if message.frames == 0 {
            debug_assert_eq!(message.copies_under_way(), 0);
            self.free_messages.push(slot);
        }
    }
}

fn later(at: Ns, by: Ns) -> Ns {
    at.checked_add(by)
        .expect("nothing is published after 2^62 ns and no single hold is longer than an hour")
}
