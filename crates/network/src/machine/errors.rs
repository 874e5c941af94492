//! Bit errors: which frames they hit.
//!
//! Each direction of each link draws from a stream of its own, named by the link and the two nodes, one number for each frame that it sends while its rate is not zero. So a link that is added,
//! or a rate that is set elsewhere, changes nothing here. A frame that is hit takes its time as any other and is dropped where it would have been received: every copy that needed it is
//! lost. Of a packet that crosses a bus in pieces each piece is a frame, and the packet is dropped with its last one. Requests and answers that carry nothing are not hit.
//! On CAN a frame that is hit is repeated instead: see the head of `confinement`.

use chance::Stream;
use timeline::Ns;

use super::{Machine, MachineError};
use crate::loss::{check_rate, frame_loss, wire_of};
use crate::topology::{Medium, Over};
use crate::wire::Wire;

/// 2^53: uniform numbers have so many equal steps.
const STEPS: f64 = 9_007_199_254_740_992.0;

/// Names under which bit errors are drawn, so that the draws of one link do not depend on what other links there are.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ErrorNames {
    /// Seed of the run.
    pub seed: u64,
    /// Name of each link.
    pub links: Vec<String>,
    /// Name of each bus.
    pub buses: Vec<String>,
    /// Name of each node.
    pub nodes: Vec<String>,
}

/// The errors of one direction.
#[derive(Clone, Debug)]
pub(super) struct Errors {
    wire: Wire,
    rate: f64,
    stream: Stream,
    /// The last payload asked about, and below which of 2^53 steps a draw hits it.
    last: Option<(u32, u64)>,
}

impl Errors {
    /// Whether the next frame is hit.
    pub(super) fn hit(&mut self, payload_bytes: u32) -> bool {
        if self.rate == 0.0 {
            return false;
        }
        let below = match self.last {
            Some((payload, below)) if payload == payload_bytes => below,
            _ => {
                let bits = self.wire.bits(payload_bytes);
                let bits = bits.expect("a frame that is sent has a frame time, and so bits");
                let loss = frame_loss(bits, self.rate);
                let below = libm::round(loss * STEPS) as u64;
                self.last = Some((payload_bytes, below));
                below
            }
        };
        self.stream.next_u64() >> 11 < below
    }
}

impl Machine {
    /// Sets the chance that a bit is wrong on a link or a bus, both ways; see the head of this module's source for what follows. Zero, which it is at first, hits nothing. `names`
    /// are needed once, with the first rate; later ones are not read.
    ///
    /// # Errors
    /// [`MachineError`]: no such link or bus, a rate that is no chance, too few names, or a `now` that is late, early or beyond
    /// [`LATEST_PUBLISH`](crate::LATEST_PUBLISH).
    pub fn set_bit_errors(
        &mut self,
        now: Ns,
        over: Medium,
        rate: f64,
        names: &ErrorNames,
    ) -> Result<(), MachineError> {
        self.check_now(now)?;
        let (links, buses) = (self.topology.links().len(), self.topology.buses().len());
        match over {
            Medium::Link(link) if link >= links => {
                return Err(MachineError::NoSuchLink { link, links });
            }
            Medium::Bus(bus) if bus >= buses => {
                return Err(MachineError::NoSuchBus { bus, buses });
            }
            _ => {}
        }
        let rate = check_rate(rate).map_err(MachineError::BitErrors)?;
        let name = match over {
            Medium::Link(link) => names.links.get(link),
            Medium::Bus(bus) => names.buses.get(bus),
        };
        let (Some(name), true) = (name, names.nodes.len() >= self.topology.node_count()) else {
            return Err(MachineError::NoErrorNames);
        };
        self.reached = now;
        if let Medium::Bus(bus) = over {
            self.confine(bus);
        }
        for index in 0..self.directions.len() {
            let arc = self.topology.arcs()[index];
            if arc.over.medium() != over || matches!(arc.over, Over::Down(_)) {
                continue;
            }
            let (wire, _) = wire_of(&self.topology, index);
            let direction = &mut self.directions[index];
            match &mut direction.errors {
                Some(errors) => (errors.rate, errors.last) = (rate, None),
                None => {
                    // From a station to the hub of its bus: to all.
                    let head = names.nodes.get(arc.head).map_or("all", String::as_str);
                    let way = format!("bit errors/{name}/{}/{head}", names.nodes[arc.tail]);
                    direction.errors = Some(Box::new(Errors {
                        wire,
                        rate,
                        stream: Stream::named(names.seed, &way, 0),
                        last: None,
                    }));
                }
            }
        }
        Ok(())
    }
}
