//! Buses on which stations have turns: polled ones and those with rounds.
//!
//! *Polled.* The station that asks goes through the others in their order on the bus, again and again, from the first instant on. It sends the frame that is least
//! among those that wait for the one it asks, or an empty request. One propagation time and a turnaround after the request's last bit the other answers in the same
//! way with one frame to the station that asks, or empty; one propagation time and a turnaround after the answer's last bit the next is asked. One that does not work is
//! asked nevertheless and does not answer: the next is asked two propagation times and two turnarounds after the request.
//!
//! *Rounds.* Each station has its turn in the order on the bus. It sends one frame, which takes the frame time, one propagation time and the gap, or nothing, which takes
//! the gap.
//!
//! What is queued at the instant at which a frame is chosen takes part. A packet that is larger than a frame crosses in pieces, one each turn. A turn once begun lasts as
//! long as it was to last, whatever fails meanwhile. A bus that is mended, or whose asking station starts again, begins with its first station at that instant.
//!
//! Rounds in which nobody has anything to send are passed over by division, so that an idle bus costs nothing.

use timeline::{Class, Ns};

use super::direction::Direction;
use super::records::BusStats;
use super::service::later;
use super::{Event, Machine, touch};
use crate::bus::Access;
use crate::topology::{Over, Topology};

#[derive(Clone, Debug)]
pub(super) struct Turns {
    slots: Vec<Slot>,
    /// Which slot comes next, and when.
    next: usize,
    at: Ns,
    /// The bus is whole and has somebody to speak.
    running: bool,
    /// A round without anything to send.
    idle_ns: u64,
    /// When the first slot comes that has something to send, as it was last told to the queue.
    due: Option<Ns>,
    most_waiting: usize,
}

/// One direction's turn.
#[derive(Clone, Copy, Debug)]
struct Slot {
    direction: u32,
    /// Time of a turn with nothing to send, of one that does not work, and beside the frame of one that sends.
    empty_ns: u64,
    silent_ns: u64,
    beside_ns: u64,
}

/// By bus; `None` where stations have no turns.
pub(super) fn all(topology: &Topology, directions: &mut [Direction]) -> Vec<Option<Turns>> {
    (0..topology.buses().len())
        .map(|bus| {
            let slots = slots(topology, bus)?;
            for slot in &slots {
                directions[slot.direction as usize].turns = Some(bus as u32);
            }
            let mut turns = Turns {
                slots,
                next: 0,
                at: Ns::ZERO,
                running: true,
                idle_ns: 0,
                due: None,
                most_waiting: 0,
            };
            turns.idle_ns = turns.idle(directions);
            Some(turns)
        })
        .collect()
}

fn slots(topology: &Topology, bus: usize) -> Option<Vec<Slot>> {
    let spec = &topology.buses()[bus];
    let arcs = topology.arcs().iter().enumerate();
    let mut slots = Vec::new();
    match spec.access {
        Access::Priority | Access::Unsaid => return None,
        Access::Round { gap } => {
            for (direction, _) in arcs.filter(|(_, arc)| arc.over == Over::Up(bus)) {
                slots.push(Slot {
                    direction: direction as u32,
                    empty_ns: gap.0,
                    silent_ns: gap.0,
                    beside_ns: gap.0 + spec.propagation.0,
                });
            }
        }
        // Directions between the station that asks and another come in pairs, the request first.
        Access::Polled { by, turnaround, .. } => {
            for (direction, arc) in arcs.filter(|(_, arc)| arc.over == Over::Poll(bus)) {
                let request = arc.tail == by;
                let empty = spec.frame_time(request, 0).expect(
                    "the topology accepts only buses on which a full frame has a frame time",
                );
                let beside_ns = spec.propagation.0 + turnaround.0;
                slots.push(Slot {
                    direction: direction as u32,
                    empty_ns: empty.0 + beside_ns,
                    silent_ns: if request {
                        empty.0 + beside_ns
                    } else {
                        beside_ns
                    },
                    beside_ns,
                });
            }
        }
    }
    Some(slots)
}

impl Turns {
    fn idle(&self, directions: &[Direction]) -> u64 {
        self.slots.iter().map(|s| s.unused_ns(directions)).sum()
    }

    /// Passes the turns before `now`, none of which has anything to send.
    fn pass_idle(&mut self, now: Ns, directions: &[Direction]) {
        if !self.running || self.at >= now {
            return;
        }
        match (now.0 - self.at.0).checked_div(self.idle_ns) {
            Some(rounds) => self.at.0 += rounds * self.idle_ns,
            None => self.at = now,
        }
        while self.at < now {
            let slot = self.slots[self.next];
            self.step(slot.unused_ns(directions));
        }
    }

    fn step(&mut self, lasts_ns: u64) {
        self.at = later(self.at, Ns(lasts_ns));
        self.next = (self.next + 1) % self.slots.len();
    }

    /// When the next turn comes of a direction that has something to send.
    fn first_due(&self, directions: &[Direction]) -> Option<Ns> {
        let mut at = self.at;
        let round = self.slots[self.next..]
            .iter()
            .chain(&self.slots[..self.next]);
        for slot in round {
            if !directions[slot.direction as usize].waiting.is_empty() {
                return Some(at);
            }
            at = later(at, Ns(slot.unused_ns(directions)));
        }
        None
    }

    fn waiting(&self, directions: &[Direction]) -> usize {
        let of = |slot: &Slot| directions[slot.direction as usize].waiting.len();
        self.slots.iter().map(of).sum()
    }
}

impl Slot {
    fn unused_ns(&self, directions: &[Direction]) -> u64 {
        if directions[self.direction as usize].usable {
            self.empty_ns
        } else {
            self.silent_ns
        }
    }
}

impl Machine {
    /// Gives the turns of this instant, and says when the next comes that somebody needs.
    pub(super) fn take_turns(&mut self, now: Ns, bus: usize) {
        let Some(mut turns) = self.turns[bus].take() else {
            return;
        };
        turns.pass_idle(now, &self.directions);
        for _ in 0..turns.slots.len() {
            if !turns.running || turns.at != now {
                break;
            }
            let slot = turns.slots[turns.next];
            let lasts_ns = match self.directions[slot.direction as usize].waiting.pop() {
                Some(frame) => self.serve(now, slot.direction, frame).0 - now.0 + slot.beside_ns,
                None => slot.unused_ns(&self.directions),
            };
            turns.step(lasts_ns);
        }
        turns.most_waiting = turns.most_waiting.max(turns.waiting(&self.directions));
        let due = turns.first_due(&self.directions).filter(|_| turns.running);
        if let Some(at) = due.filter(|_| due != turns.due) {
            let (place, bus) = (turns.slots[0].direction, bus as u32);
            self.queue
                .push(at, Class::Arrive, place, Event::Turn { bus });
        }
        turns.due = due;
        self.turns[bus] = Some(turns);
    }

    pub(super) fn turn_comes(&mut self, now: Ns, bus: usize) {
        if let Some(turns) = &mut self.turns[bus]
            && turns.due == Some(now)
        {
            turns.due = None;
            let direction = turns.slots[0].direction;
            touch(&mut self.directions, &mut self.touched, direction);
        }
    }

    /// To be called before anything begins or ceases to work.
    pub(super) fn pass_idle_turns(&mut self, now: Ns) {
        for turns in self.turns.iter_mut().flatten() {
            turns.pass_idle(now, &self.directions);
        }
    }

    /// To be called after anything has begun or ceased to work.
    pub(super) fn renew_turns(&mut self, now: Ns) {
        for turns in self.turns.iter_mut().flatten() {
            let usable = |slot: &Slot| self.directions[slot.direction as usize].usable;
            let running = turns.slots.iter().any(usable);
            if running && !turns.running {
                (turns.next, turns.at) = (0, now);
            }
            turns.running = running;
            turns.idle_ns = turns.idle(&self.directions);
            let direction = turns.slots[0].direction;
            touch(&mut self.directions, &mut self.touched, direction);
        }
    }

    /// Counters of a bus; `None` for one that does not exist.
    pub(super) fn bus_stats(&self, bus: usize) -> Option<BusStats> {
        let sends = |d: &usize| {
            let over = self.topology.arcs()[*d].over;
            over == Over::Up(bus) || over == Over::Poll(bus)
        };
        let mut stats = (0..self.directions.len())
            .filter(sends)
            .map(|d| self.directions[d].bus_stats(self.reached))
            .reduce(|a, b| BusStats {
                busy: Ns(a.busy.0 + b.busy.0),
                waiting: a.waiting + b.waiting,
                most_waiting: a.most_waiting.max(b.most_waiting),
                frames: a.frames + b.frames,
                hit: a.hit + b.hit,
                bus_offs: 0,
            })?;
        if let Some(confinement) = &self.confinements[bus] {
            stats.bus_offs = confinement.stations(bus).map(|s| s.bus_offs).sum();
        }
        if let Some(turns) = &self.turns[bus] {
            stats.most_waiting = turns.most_waiting;
        }
        Some(stats)
    }
}
