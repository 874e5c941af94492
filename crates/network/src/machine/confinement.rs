//! Bit errors on CAN: frames that are sent again, and controllers that leave the bus.
//!
//! ISO 11898-1; the numbered rules are those of "Fault confinement" in Bosch's CAN Specification 2.0 (1991), part B, of which 10 to 12 were read, the others are from memory.
//!
//! A frame that is hit takes its whole time, for a receiver may notice only by the check sequence, and behind it an error frame at its longest, flag and delimiter
//! (12 + 8 bits at the arbitration rate; the three bits between frames are in the frame's own time). Then it takes part in arbitration again with its old place. Each sending of a
//! station adds 8 to its transmit error counter where it is hit (rule 3) and takes 1 off where it is not (rule 7), down to 0. From 128 on the station is error-passive: after a frame of
//! its own it holds back for 8 bits more, unless another begins meanwhile. Above 255 it is off the bus (rule 10): as if its own piece were cut, what waits at it
//! is lost, and nothing goes through it or to it. It comes back by itself, with no errors counted, after 128 occurrences of 11 recessive bits (rule 12; controllers may wait
//! for a command instead, which the standard allows). Each frame, whole or not, ends with 11 recessive bits, and each 11 bits of silence are one more. A station that stops starts again with no errors.
//!
//! Receive error counters are left out. They go up by 1 and down by 1, so that they grow only where more than half of all frames are hit; senders leave the bus there.

use timeline::{Class, Ns};

use super::direction::Waiting;
use super::records::StationStats;
use super::service::later;
use super::{Event, Machine};
use crate::frame::FrameError;
use crate::topology::Over;
use crate::wire::bits_time;

/// What an error adds to the counter of the station that sent.
pub(crate) const PER_ERROR: u32 = 8;
/// From here on a station is error-passive.
const PASSIVE: u32 = 128;
/// From here on it is off the bus.
pub(crate) const BUS_OFF: u32 = 256;
/// Longest error flag and delimiter, bits.
const ERROR_FRAME_BITS: u32 = 12 + 8;
/// What an error-passive station waits longer, bits.
const SUSPEND_BITS: u32 = 8;
/// Recessive bits in a row, and how often, until a controller comes back.
const RUN_BITS: u32 = 11;
const RUNS: u64 = 128;

/// The controllers of one bus.
#[derive(Clone, Debug)]
pub(super) struct Confinement {
    stations: Vec<Controller>,
    rate_bps: u64,
    /// The station that may not send until then, unless another has meanwhile.
    suspended: Option<(u32, Ns)>,
    resumes: bool,
    /// Since when nobody speaks.
    idle_since: Ns,
    /// Goes up whenever what is due for those that are off changes.
    epoch: u32,
}

#[derive(Clone, Debug)]
struct Controller {
    node: usize,
    /// Its directions to the hub and from it.
    up: u32,
    down: u32,
    errors: u32,
    most_errors: u32,
    hit: u64,
    bus_offs: u64,
    /// Runs of recessive bits seen since it is off.
    off: Option<u64>,
}

impl Confinement {
    fn bits(&self, bits: u64) -> Ns {
        let too_slow = FrameError::TooSlow {
            bytes: 0,
            rate_bps: self.rate_bps,
        };
        bits_time(u128::from(bits), self.rate_bps, too_slow)
            .expect("some bits of a bus whose frames have a time have one")
    }

    /// Counters of its controllers.
    pub(super) fn stations(&self, bus: usize) -> impl Iterator<Item = StationStats> {
        self.stations.iter().map(move |s| StationStats {
            bus,
            node: s.node,
            hit: s.hit,
            bus_offs: s.bus_offs,
            most_errors: s.most_errors,
        })
    }

    fn run_ns(&self) -> u64 {
        self.bits(u64::from(RUN_BITS)).0
    }

    fn some_off(&self) -> bool {
        self.stations.iter().any(|s| s.off.is_some())
    }

    /// Counts runs that those that are off have seen.
    fn see(&mut self, runs: u64) {
        for seen in self.stations.iter_mut().filter_map(|s| s.off.as_mut()) {
            *seen += runs;
        }
    }

    /// When the first of those that are off comes back if all is silent.
    fn due(&self) -> Option<Ns> {
        let most = self.stations.iter().filter_map(|s| s.off).max()?;
        let left = RUNS.saturating_sub(most);
        Some(later(self.idle_since, Ns(left * self.run_ns())))
    }
}

impl Machine {
    /// Begins to count errors on a bus, if its controllers repeat what was hit.
    pub(super) fn confine(&mut self, bus: usize) {
        let spec = &self.topology.buses()[bus];
        if !spec.repeats() || self.confinements[bus].is_some() {
            return;
        }
        let arcs = self.topology.arcs();
        let at = |over: Over, ends: &dyn Fn(usize, usize) -> bool| {
            let found = arcs
                .iter()
                .position(|a| a.over == over && ends(a.tail, a.head));
            found.expect("each station of a bus has a way to its hub and back") as u32
        };
        let stations = spec.stations.iter().map(|&node| Controller {
            node,
            up: at(Over::Up(bus), &|tail, _| tail == node),
            down: at(Over::Down(bus), &|_, head| head == node),
            errors: 0,
            most_errors: 0,
            hit: 0,
            bus_offs: 0,
            off: None,
        });
        self.confinements[bus] = Some(Confinement {
            stations: stations.collect(),
            rate_bps: spec.rate_bps,
            suspended: None,
            resumes: false,
            idle_since: self.reached,
            epoch: 0,
        });
    }

    /// The frame that a direction sends next: on a bus none of a station that still holds back.
    pub(super) fn next_frame(&mut self, now: Ns, index: u32) -> Option<Waiting> {
        let over = self.topology.arcs()[index as usize].over;
        let waiting = &mut self.directions[index as usize].waiting;
        let confinement = over.bus().and_then(|bus| self.confinements[bus].as_mut());
        let Some((confinement, (held, until))) = confinement
            .and_then(|c| c.suspended.map(|s| (c, s)))
            .filter(|(_, (_, until))| now < *until)
        else {
            return waiting.pop();
        };
        let mut back = Vec::new();
        let mut next = None;
        while let Some(frame) = waiting.pop() {
            let plan = &self.messages[frame.slot as usize].plan;
            if plan.hops[frame.hop as usize].direction != held {
                next = Some(frame);
                break;
            }
            back.push(frame);
        }
        if next.is_none() && !back.is_empty() && !confinement.resumes {
            confinement.resumes = true;
            self.queue.push(until, Class::Arrive, index, Event::Resumes);
        }
        waiting.extend(back);
        next
    }

    /// A station begins to speak on a bus; how long its error frame is, where its frame is hit and will be repeated.
    pub(super) fn speaks(&mut self, now: Ns, bus: usize, hit: bool) -> Option<Ns> {
        let confinement = self.confinements[bus].as_mut()?;
        (confinement.suspended, confinement.resumes) = (None, false);
        if confinement.some_off() {
            let silent_ns = now.0 - confinement.idle_since.0;
            confinement.see(silent_ns / confinement.run_ns());
            confinement.epoch = confinement.epoch.wrapping_add(1);
        }
        hit.then(|| confinement.bits(u64::from(ERROR_FRAME_BITS)))
    }

    /// A bus falls silent.
    pub(super) fn falls_idle(&mut self, now: Ns, bus: usize) {
        if let Some(confinement) = &mut self.confinements[bus] {
            confinement.idle_since = now;
            self.rejoin_later(bus);
        }
    }

    /// The end of a frame, whole or not, of the direction that serves a bus.
    pub(super) fn spoke(&mut self, now: Ns, server: u32) {
        let Some(bus) = self.topology.arcs()[server as usize].over.bus() else {
            return;
        };
        let direction = &self.directions[server as usize];
        let (own, hit) = (direction.serving, direction.hit);
        let Some(confinement) = &mut self.confinements[bus] else {
            return;
        };
        confinement.see(1);
        let mut changed = confinement.stations.iter().any(|s| s.off >= Some(RUNS));
        let suspend = confinement.bits(u64::from(SUSPEND_BITS));
        for station in confinement.stations.iter_mut().filter(|s| s.up == own) {
            station.errors = if hit {
                station.errors + PER_ERROR
            } else {
                station.errors.saturating_sub(1)
            };
            station.hit += u64::from(hit);
            station.most_errors = station.most_errors.max(station.errors);
            if station.errors >= BUS_OFF {
                station.off = Some(0);
                station.bus_offs += 1;
                changed = true;
            } else if station.errors >= PASSIVE {
                confinement.suspended = Some((own, later(now, suspend)));
            }
        }
        self.falls_idle(now, bus);
        if changed {
            self.settle_controllers(now, bus);
        }
    }

    pub(super) fn rejoin(&mut self, now: Ns, bus: usize, epoch: u32) {
        let Some(confinement) = &mut self.confinements[bus] else {
            return;
        };
        if confinement.epoch != epoch {
            return;
        }
        confinement.see((now.0 - confinement.idle_since.0) / confinement.run_ns());
        confinement.idle_since = now;
        self.settle_controllers(now, bus);
        self.rejoin_later(bus);
    }

    /// A node starts anew, and so do its controllers.
    pub(super) fn reset_controllers(&mut self, node: usize) {
        for confinement in self.confinements.iter_mut().flatten() {
            for station in confinement.stations.iter_mut().filter(|s| s.node == node) {
                (station.errors, station.off) = (0, None);
                for direction in [station.up, station.down] {
                    self.directions[direction as usize].off = false;
                }
            }
        }
    }

    /// Takes controllers off their bus, and those back that have seen enough silence.
    fn settle_controllers(&mut self, now: Ns, bus: usize) {
        let Some(confinement) = &mut self.confinements[bus] else {
            return;
        };
        for station in &mut confinement.stations {
            if station.off >= Some(RUNS) {
                (station.errors, station.off) = (0, None);
            }
            for direction in [station.up, station.down] {
                self.directions[direction as usize].off = station.off.is_some();
            }
        }
        self.refresh_usable(now);
    }

    fn rejoin_later(&mut self, bus: usize) {
        let Some(confinement) = &mut self.confinements[bus] else {
            return;
        };
        confinement.epoch = confinement.epoch.wrapping_add(1);
        if let Some(at) = confinement.due() {
            let (place, epoch, bus) = (confinement.stations[0].up, confinement.epoch, bus as u32);
            self.queue
                .push(at, Class::Arrive, place, Event::Rejoins { bus, epoch });
        }
    }
}
