//! What happens at one instant: links take their next frames, frames land.

use std::sync::Arc;

use timeline::{Class, Ns};

use super::direction::Waiting;
use super::records::{Delivery, DropReason, HopRecord, NodeState};
use super::{Event, Flight, LOST, Machine, touch};
use crate::frame::fragment_bytes;
use crate::topology::Over;

impl Machine {
    pub(super) fn start_services(&mut self, now: Ns) {
        for index in std::mem::take(&mut self.touched) {
            let direction = &mut self.directions[index as usize];
            direction.touched = false;
            if let Some(bus) = direction.turns {
                self.take_turns(now, bus as usize);
                continue;
            }
            if direction.serving_until.is_none()
                && let Some(frame) = self.next_frame(now, index)
            {
                self.serve(now, index, frame);
            }
            let direction = &mut self.directions[index as usize];
            direction.most_waiting = direction.most_waiting.max(direction.waiting.len());
        }
    }

    /// Begins to send a frame, or on a bus the next piece of it; until when.
    pub(super) fn serve(&mut self, now: Ns, index: u32, frame: Waiting) -> Ns {
        let direction = &mut self.directions[index as usize];
        let message = &self.messages[frame.slot as usize];
        let whole = fragment_bytes(
            message.bytes,
            self.topology.mtu_bytes(),
            frame.fragment,
            message.fragments,
        );
        let own = message.plan.hops[frame.hop as usize].direction;
        let (payload, last) = direction.piece(whole, frame.pieces);
        let mut end = later(now, direction.frame_time(payload));
        let errors = self.directions[own as usize].errors.as_mut();
        let hit = errors.is_some_and(|e| e.hit(payload));
        let repeated = match self.topology.arcs()[own as usize].over {
            Over::Up(bus) => self.speaks(now, bus, hit),
            _ => None,
        };
        if let Some(error_frame) = repeated {
            end = later(end, error_frame);
        }
        let direction = &mut self.directions[index as usize];
        direction.hit = repeated.is_some();
        direction.hits += u64::from(direction.hit);
        let spoilt = frame.spoilt || (hit && !direction.hit);
        direction.serving_until = Some(end);
        direction.serving = own;
        direction.busy_ns += end.0 - now.0;
        direction.frames += 1;
        let start = frame.begun.map_or(now, |begun| begun);
        let epoch = direction.epoch;
        let (propagation, processing) = (direction.propagation, direction.far_processing);
        self.queue
            .push(end, Class::Arrive, index, Event::Free { epoch });
        if direction.hit {
            direction.rest = Some(Waiting {
                begun: Some(start),
                ..frame
            });
        } else if last {
            let last_bit = later(end, propagation);
            let flight = Flight {
                frame: Waiting { spoilt, ..frame },
                direction: own,
                start,
                end,
                last_bit,
                lost: false,
            };
            self.fly(flight, later(last_bit, processing));
        } else {
            direction.rest = Some(Waiting {
                pieces: frame.pieces + 1,
                begun: Some(start),
                spoilt,
                ..frame
            });
        }
        end
    }

    /// A frame is under way until it lands.
    fn fly(&mut self, flight: Flight, landing: Ns) {
        let slot = match self.free_flights.pop() {
            Some(slot) => {
                self.flights[slot as usize] = flight;
                slot
            }
            None => {
                self.flights.push(flight);
                u32::try_from(self.flights.len() - 1).expect("fewer than 2^32 frames are in flight")
            }
        };
        let landed = Event::Landed { flight: slot };
        self.queue
            .push(landing, Class::Arrive, flight.direction, landed);
    }

    /// From the hub of a bus a frame goes to every station that is meant, at once.
    fn spread(&mut self, now: Ns, flight: &Flight) {
        let frame = flight.frame;
        let plan = Arc::clone(&self.messages[frame.slot as usize].plan);
        let hop = plan.hops[frame.hop as usize];
        for &kid in plan.kids(&hop) {
            self.messages[frame.slot as usize].frames += 1;
            let down = Waiting { hop: kid, ..frame };
            let direction = plan.hops[kid as usize].direction;
            let way = &self.directions[direction as usize];
            if way.usable {
                let landing = later(now, way.far_processing);
                let flight = Flight {
                    frame: down,
                    direction,
                    last_bit: now,
                    ..*flight
                };
                self.fly(flight, landing);
            } else {
                let reason = self.why_unusable(direction as usize);
                self.drop_frame(now, down, reason);
            }
        }
        self.end_frame(frame.slot);
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
        if flight.frame.spoilt {
            self.drop_frame(now, flight.frame, DropReason::BitErrors);
            return;
        }
        let over = self.topology.arcs()[flight.direction as usize].over;
        if matches!(over, Over::Up(_)) {
            self.spread(now, &flight);
            return;
        }
        self.frame_hops += 1;
        let frame = flight.frame;
        let direction = &self.directions[flight.direction as usize];
        let message = &self.messages[frame.slot as usize];
        trace(&HopRecord {
            message: message.id,
            over: over.medium(),
            from: self.speaker(&flight),
            to: direction.to,
            stream: message.stream,
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
                self.enqueue(direction, onward);
            } else {
                let reason = self.why_unusable(direction as usize);
                self.drop_frame(now, onward, reason);
            }
        }
        self.end_frame(frame.slot);
    }

    /// The node that sent a frame: of a bus its station, not its hub.
    fn speaker(&self, flight: &Flight) -> usize {
        let direction = flight.direction as usize;
        if !matches!(self.topology.arcs()[direction].over, Over::Down(_)) {
            return self.directions[direction].from;
        }
        let plan = &self.messages[flight.frame.slot as usize].plan;
        let up = plan.hops.iter().find(|hop| {
            let kids = plan.kids(hop);
            kids.contains(&flight.frame.hop)
        });
        let up = up.expect("a frame came up to the hub from which it went down");
        self.directions[up.direction as usize].from
    }

    /// A frame waits for its direction, on a bus with all that wait for the bus.
    pub(super) fn enqueue(&mut self, direction: u32, frame: Waiting) {
        let server = self.servers[direction as usize] as u32;
        self.directions[server as usize].waiting.push(frame);
        touch(&mut self.directions, &mut self.touched, server);
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

pub(super) fn later(at: Ns, by: Ns) -> Ns {
    at.checked_add(by)
        .expect("nothing is published after 2^62 ns and no single hold is longer than an hour")
}
