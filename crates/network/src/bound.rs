//! How late a message can be: a bound by network calculus.
//!
//! Source: J.-Y. Le Boudec, P. Thiran, *Network Calculus*, Springer LNCS 2050 (2001): delay through a rate-latency server (theorem 1.4.2), non-preemptive
//! priority (section 1.3), packetizers (section 1.7) and the growth of a burst in a FIFO aggregate (section 6.2). Theorem numbers from memory.
//!
//! A stream that lets at most n messages through in any span P conforms to a token bucket: burst n messages, rate n/P. On a direction of rate C the streams
//! of one priority form a FIFO aggregate E behind those that go first (H: bursts s_H, rates r_H) and at most one frame l of those that go after. It is
//! served at R = C - r_H after the latency T = (l + s_H + L)/R, where L is the largest frame of E (a frame goes on only when it is whole). With b the
//! burst of a stream and s the sum over E:
//! - every frame is through within D = T + s/R;
//! - behind the direction the stream's burst is b + r (T + (s - b)/R), its rate as before.
//!
//! A route's bound adds D, propagation and processing of its hops. It is exact for nothing and safe for all; streams that go first count with
//! their full bursts at every hop. All arithmetic is in integers rounded upwards.

use std::collections::BTreeSet;

use timeline::Ns;

use crate::frame::{FrameError, fragment_bytes, fragment_count};
use crate::rate_limit::AtMost;
use crate::topology::Topology;

pub(crate) const NS_PER_S: u128 = 1_000_000_000;

/// A stream of messages whose lateness is asked for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Flow {
    /// Publishing node.
    pub node: usize,
    /// Receiving nodes.
    pub targets: Vec<usize>,
    /// Size of its largest message, bytes.
    pub bytes: u32,
    /// A smaller one goes first.
    pub priority: u8,
    /// How many it may publish; `None` when nothing is declared.
    pub at_most: Option<AtMost>,
}

/// The bound for one flow at one of its targets.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum DelayBound {
    /// No message is later.
    Known {
        /// The sum over the hops.
        total: Ns,
        /// Hop by hop.
        hops: Vec<HopBound>,
    },
    /// Nothing can be promised.
    Unknown(WhyUnknown),
}

/// One hop of a bound.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct HopBound {
    /// Which link.
    pub link: usize,
    /// Towards which node.
    pub to: usize,
    /// Queueing and transmission, at most.
    pub service: Ns,
    /// Propagation.
    pub propagation: Ns,
    /// Processing in the far node.
    pub processing: Ns,
}

/// Why nothing can be promised.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum WhyUnknown {
    /// A flow that shares a link of the route, or of a route that feeds it, declares no limit.
    NoLimitDeclared {
        /// Which flow.
        flow: usize,
    },
    /// A link is asked to carry more than it can.
    Overloaded {
        /// Which link.
        link: usize,
        /// Towards which node.
        to: usize,
        /// What is asked of it, bit/s (rounded up).
        asked_bps: u64,
        /// What it can, bit/s.
        rate_bps: u64,
    },
    /// The routes of a mesh feed each other in a ring, where this method promises nothing.
    Ring {
        /// A link in or behind the ring.
        link: usize,
    },
}

/// A question that makes no sense.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum BoundError {
    /// A rate of zero.
    #[error("a server of 0 bit/s serves nothing")]
    NoRate,
    /// More is asked than the server can do.
    #[error("{asked_bps} bit/s are asked of a server of {rate_bps} bit/s: the delay has no bound")]
    Overloaded {
        /// Asked, bit/s.
        asked_bps: u128,
        /// Rate, bit/s.
        rate_bps: u64,
    },
    /// No route.
    #[error("flow {flow} has no route from node {from} to node {to}")]
    NoPath {
        /// Which flow.
        flow: usize,
        /// First node.
        from: usize,
        /// Last node.
        to: usize,
    },
    /// A message that cannot be sent.
    #[error("flow {flow}: {source}")]
    Frame {
        /// Which flow.
        flow: usize,
        /// Why.
        source: FrameError,
    },
    /// Beyond what the integers hold.
    #[error("the bound is larger than time or 128 bits can say")]
    TooLarge,
}

/// For each flow, the bound at each of its targets, in the order given.
///
/// Every flow that uses the network must be listed. A flow conforms if no span of its `per` holds more than its `messages` and no message is larger than
/// its `bytes`; [`RateLimit`](crate::RateLimit) sees to the first. Routes are those of an unbroken network.
///
/// # Errors
/// [`BoundError`] for a flow without a route or with a message that cannot be sent. What merely cannot be promised is [`DelayBound::Unknown`].
pub fn delay_bounds(
    topology: &Topology,
    flows: &[Flow],
) -> Result<Vec<Vec<DelayBound>>, BoundError> {
    let mut paths = Vec::with_capacity(flows.len());
    let mut uses = vec![Vec::new(); 2 * topology.links().len()];
    for (index, flow) in flows.iter().enumerate() {
        let trail = Trail::new(topology, index, flow)?;
        for (step, (direction, _)) in trail.steps.iter().enumerate() {
            uses[*direction].push((index, step));
        }
        paths.push(trail);
    }
    let (order, ringed) = feed_order(&paths, &uses);
    let mut known: Vec<Vec<Option<Step>>> = paths
        .iter()
        .map(|trail| vec![None; trail.steps.len()])
        .collect();
    for direction in order {
        settle_direction(
            topology,
            flows,
            &paths,
            &uses[direction],
            direction,
            &mut known,
        )?;
    }
    for direction in ringed {
        for &(flow, step) in &uses[direction] {
            known[flow][step] = Some(Err(WhyUnknown::Ring {
                link: direction / 2,
            }));
        }
    }
    paths
        .iter()
        .zip(&known)
        .map(|(trail, known)| {
            trail
                .ends
                .iter()
                .map(|steps| sum_route(topology, trail, steps, known))
                .collect()
        })
        .collect()
}

/// Longest stay in a direction, and the burst behind it; or why neither is known.
type Step = Result<(Ns, u128), WhyUnknown>;

/// The directions a flow uses, each with the step that feeds it, and the steps that lead to each target.
struct Trail {
    steps: Vec<(usize, Option<usize>)>,
    ends: Vec<Vec<usize>>,
}

impl Trail {
    fn new(topology: &Topology, index: usize, flow: &Flow) -> Result<Trail, BoundError> {
        let mut trail = Trail {
            steps: Vec::new(),
            ends: Vec::new(),
        };
        for &to in &flow.targets {
            let route = topology
                .directions(flow.node, to)
                .ok_or(BoundError::NoPath {
                    flow: index,
                    from: flow.node,
                    to,
                })?;
            let mut end = Vec::new();
            for direction in route {
                let step = match trail
                    .steps
                    .iter()
                    .position(|&(known, _)| known == direction)
                {
                    Some(step) => step,
                    None => {
                        trail.steps.push((direction, end.last().copied()));
                        trail.steps.len() - 1
                    }
                };
                end.push(step);
            }
            trail.ends.push(end);
        }
        Ok(trail)
    }
}

/// Directions in an order in which each comes after all that feed it, and those for which there is none.
fn feed_order(paths: &[Trail], uses: &[Vec<(usize, usize)>]) -> (Vec<usize>, Vec<usize>) {
    let mut feeds = BTreeSet::new();
    for trail in paths {
        for &(direction, before) in &trail.steps {
            if let Some(before) = before {
                feeds.insert((trail.steps[before].0, direction));
            }
        }
    }
    let mut unmet = vec![0usize; uses.len()];
    for &(_, to) in &feeds {
        unmet[to] += 1;
    }
    let mut order = Vec::new();
    let mut ready: BTreeSet<usize> = (0..uses.len())
        .filter(|&direction| unmet[direction] == 0)
        .collect();
    while let Some(direction) = ready.pop_first() {
        order.push(direction);
        for &(_, to) in feeds.range((direction, 0)..=(direction, usize::MAX)) {
            unmet[to] -= 1;
            if unmet[to] == 0 {
                ready.insert(to);
            }
        }
    }
    let ringed = (0..uses.len())
        .filter(|&direction| unmet[direction] > 0)
        .collect();
    (order, ringed)
}

/// A flow at one direction, in bits on that wire.
struct Load {
    priority: u8,
    messages: u128,
    per: u128,
    /// Burst in messages times `per`: whole, so that nothing is lost to rounding.
    burst_scaled: u128,
    burst_bits: u128,
    rate_bps: u128,
    frame_bits: u128,
}

fn settle_direction(
    topology: &Topology,
    flows: &[Flow],
    paths: &[Trail],
    uses: &[(usize, usize)],
    direction: usize,
    known: &mut [Vec<Option<Step>>],
) -> Result<(), BoundError> {
    let loads = match direction_loads(topology, flows, paths, uses, direction, known)? {
        Ok(loads) => loads,
        Err(why) => {
            for &(flow, step) in uses {
                known[flow][step] = Some(Err(why));
            }
            return Ok(());
        }
    };
    for (load, &(flow, step)) in loads.iter().zip(uses) {
        known[flow][step] = Some(step_bound(topology, direction, &loads, load)?);
    }
    Ok(())
}

fn direction_loads(
    topology: &Topology,
    flows: &[Flow],
    paths: &[Trail],
    uses: &[(usize, usize)],
    direction: usize,
    known: &[Vec<Option<Step>>],
) -> Result<Result<Vec<Load>, WhyUnknown>, BoundError> {
    let mut loads = Vec::with_capacity(uses.len());
    for &(index, step) in uses {
        let flow = &flows[index];
        let Some(at_most) = flow.at_most else {
            return Ok(Err(WhyUnknown::NoLimitDeclared { flow: index }));
        };
        let (messages, per) = (u128::from(at_most.messages()), u128::from(at_most.per().0));
        let burst_scaled = match paths[index].steps[step].1 {
            None => messages.checked_mul(per).ok_or(BoundError::TooLarge)?,
            Some(before) => match known[index][before]
                .expect("directions are settled after those that feed them")
            {
                Ok((_, burst_scaled)) => burst_scaled,
                Err(why) => return Ok(Err(why)),
            },
        };
        let (message_bits, frame_bits) =
            wire_bits(topology, direction, flow.bytes).map_err(|source| BoundError::Frame {
                flow: index,
                source,
            })?;
        let burst_bits = burst_scaled
            .checked_mul(message_bits)
            .ok_or(BoundError::TooLarge)?
            .div_ceil(per);
        let rate_bps = (messages * message_bits)
            .checked_mul(NS_PER_S)
            .ok_or(BoundError::TooLarge)?
            .div_ceil(per);
        loads.push(Load {
            priority: flow.priority,
            messages,
            per,
            burst_scaled,
            burst_bits,
            rate_bps,
            frame_bits,
        });
    }
    Ok(Ok(loads))
}

fn step_bound(
    topology: &Topology,
    direction: usize,
    loads: &[Load],
    load: &Load,
) -> Result<Step, BoundError> {
    let link = direction / 2;
    let rate_bps = topology.links()[link].rate_bps;
    let first = || loads.iter().filter(|other| other.priority < load.priority);
    let equal = || loads.iter().filter(|other| other.priority == load.priority);
    let first_rate: u128 = first().map(|other| other.rate_bps).sum();
    let asked = first_rate + equal().map(|other| other.rate_bps).sum::<u128>();
    if asked > u128::from(rate_bps) || first_rate == u128::from(rate_bps) {
        let asked_bps = u64::try_from(asked).map_err(|_| BoundError::TooLarge)?;
        return Ok(Err(WhyUnknown::Overloaded {
            link,
            to: topology.head(direction),
            asked_bps,
            rate_bps,
        }));
    }
    let rate = u128::from(rate_bps) - first_rate;
    let blocking = loads
        .iter()
        .filter(|other| other.priority > load.priority)
        .map(|other| other.frame_bits)
        .max()
        .map_or(0, |bits| bits);
    let frame = equal()
        .map(|other| other.frame_bits)
        .max()
        .expect("a load is among its equals");
    let ahead = blocking + frame + first().map(|other| other.burst_bits).sum::<u128>();
    let others = equal().map(|other| other.burst_bits).sum::<u128>() - load.burst_bits;
    let time = |bits: u128| {
        bits.checked_mul(NS_PER_S)
            .map(|scaled| scaled.div_ceil(rate))
            .ok_or(BoundError::TooLarge)
    };
    let held_ns = time(ahead + others)?;
    let stay_ns = time(ahead + others + load.burst_bits)?;
    let grown = load
        .messages
        .checked_mul(held_ns)
        .and_then(|more| more.checked_add(load.burst_scaled))
        .ok_or(BoundError::TooLarge)?;
    debug_assert!(load.per > 0);
    Ok(Ok((
        Ns(u64::try_from(stay_ns).map_err(|_| BoundError::TooLarge)?),
        grown,
    )))
}

/// Bits on the wire of a whole message, and of its largest frame.
fn wire_bits(
    topology: &Topology,
    direction: usize,
    bytes: u32,
) -> Result<(u128, u128), FrameError> {
    let link = &topology.links()[direction / 2];
    let mtu_bytes = topology.mtu_bytes();
    let fragments = fragment_count(bytes, mtu_bytes)?;
    let frame_bits = |payload: u32| {
        (u128::from(payload.max(link.min_payload_bytes)) + u128::from(link.overhead_bytes)) * 8
    };
    let first = frame_bits(fragment_bytes(bytes, mtu_bytes, 0, fragments));
    let last = frame_bits(fragment_bytes(bytes, mtu_bytes, fragments - 1, fragments));
    Ok((first * u128::from(fragments - 1) + last, first))
}

fn sum_route(
    topology: &Topology,
    trail: &Trail,
    steps: &[usize],
    known: &[Option<Step>],
) -> Result<DelayBound, BoundError> {
    let mut total = Ns::ZERO;
    let mut hops = Vec::with_capacity(steps.len());
    for &step in steps {
        let direction = trail.steps[step].0;
        let service = match known[step].expect("every direction is settled or in a ring") {
            Ok((service, _)) => service,
            Err(why) => return Ok(DelayBound::Unknown(why)),
        };
        let (link, to) = (direction / 2, topology.head(direction));
        let hop = HopBound {
            link,
            to,
            service,
            propagation: topology.links()[link].propagation,
            processing: topology.processing()[to],
        };
        total = [hop.service, hop.propagation, hop.processing]
            .into_iter()
            .try_fold(total, |sum, part| sum.checked_add(part))
            .ok_or(BoundError::TooLarge)?;
        hops.push(hop);
    }
    Ok(DelayBound::Known { total, hops })
}
