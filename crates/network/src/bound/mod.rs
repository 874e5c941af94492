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
//! A stream that answers another sends up to J late, J the longest that the other takes: in a time t it sends no more than n (t + J)/P + n, so that its burst is
//! n (1 + J/P).
//!
//! A route's bound adds D, propagation and processing of its hops. It is exact for nothing and safe for all; streams that go first count with
//! their full bursts at every hop. All arithmetic is in integers rounded upwards.
//!
//! *Rings.* Where routes feed each other in a ring, so that the jitter of each server's streams rests on the stays at others, all stays of the ring are set to zero and worked
//! out again from one another until none changes: K. Tindell, J. Clark, "Holistic schedulability analysis for distributed hard real-time systems", *Microprocessing and
//! Microprogramming* 40 (1994), for buses; L. Thomas, J.-Y. Le Boudec, A. Mifdaoui, "On cyclic dependencies and regulators in time-sensitive networks", RTSS 2019, for links; both
//! from memory. What has been through by some instant rests on what was through before it, and all of that on an empty network, so that the stays that reproduce
//! themselves are bounds. They only grow on the way there; where one passes the time its stream's limit holds for, nothing is promised.
//!
//! On a bus with priority arbitration the response times of [`can_response_times`](crate::can_response_times) take the place of D, and on one with rounds or
//! polling a server that gives each station one frame a round; both are described where they are computed.

mod bus;
mod link;
mod trail;

use timeline::Ns;

use crate::frame::FrameError;
use crate::rate_limit::AtMost;
use crate::topology::{Medium, Over, Topology};
use trail::{Trail, feed_order};

pub(crate) use bus::servers as bus_servers;

pub(crate) const NS_PER_S: u128 = 1_000_000_000;
/// Most rounds through a ring before its stays are given up.
const MOST_ROUNDS: u32 = 1000;

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
    /// How long after the instants that the limit holds for it may send: zero for what it sends of itself, and for what answers others, or is started by them, the
    /// longest that these may take; `None` where that has no bound.
    pub late: Option<Ns>,
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

/// How busy a bus is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BusLoad {
    /// Share of its time, or of the turns of a station; more than 1 where more is asked than there is.
    pub share: f64,
    /// Whose turns, and towards which node where they are asked for one by one.
    pub turns: Option<(usize, Option<usize>)>,
}

/// One hop of a bound.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct HopBound {
    /// Which link or bus.
    pub over: Medium,
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
    /// A flow that shares a link of the route, or of a route that feeds it, answers what may be late without end.
    LateWithoutEnd {
        /// Which flow.
        flow: usize,
    },
    /// Bit errors are told of a bus whose controllers send again what was hit, and nothing says how often at most.
    BitErrors {
        /// Which bus.
        bus: usize,
    },
    /// Nobody says who may speak when on a bus.
    NoTurns {
        /// Which bus.
        bus: usize,
    },
    /// A bus is asked for more time than there is, or for so nearly all of it that no bound can be worked out.
    BusFull {
        /// Which bus.
        bus: usize,
        /// Share of its time that is asked for, in millionths, rounded up.
        asked_ppm: u64,
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
    /// Streams delay each other in a ring of links and buses, and no delays were found that hold for all of them at once.
    Ring {
        /// A link or bus in the ring, or behind it.
        over: Medium,
        /// The stream whose stay there grew beyond the time for which its limit holds, or that grew still when the search was given up.
        flow: usize,
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
    /// A stream that asks for room towards none or several nodes.
    #[error("stream {stream} goes to {targets} nodes, and one at a time asks for room")]
    NotOneTarget {
        /// Which stream.
        stream: usize,
        /// To how many nodes it goes.
        targets: usize,
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
    let (mut net, servers) = Net::new(topology, flows)?;
    let (order, ringed) = feed_order(&net.trails, &servers);
    for server in order {
        let settled = net.settle(server)?;
        for (&(flow, step), found) in net.uses[server].iter().zip(settled) {
            net.known[flow][step] = Some(found);
        }
    }
    net.settle_ring(&ringed)?;
    net.trails
        .iter()
        .zip(&net.known)
        .map(|(trail, known)| {
            trail
                .ends
                .iter()
                .map(|steps| sum_route(topology, trail, steps, known))
                .collect()
        })
        .collect()
}

/// How busy a bus is: the share of its time that its frames take, or on one with rounds or polling the share of its turns that the busiest station needs.
///
/// # Errors
/// As [`delay_bounds`].
pub fn bus_load(
    topology: &Topology,
    flows: &[Flow],
    bus: usize,
) -> Result<Result<BusLoad, WhyUnknown>, BoundError> {
    let (net, _) = Net::new(topology, flows)?;
    bus::load(&net, bus)
}

fn medium(topology: &Topology, direction: usize) -> Medium {
    topology.arcs()[direction].over.medium()
}

/// Longest stay at a server, and the burst behind it (messages times `per`); or why neither is known.
type Step = Result<(Ns, u128), WhyUnknown>;

/// What is asked, and what is known so far.
struct Net<'a> {
    topology: &'a Topology,
    flows: &'a [Flow],
    trails: Vec<Trail>,
    /// By server: which flows use it, each with its step.
    uses: Vec<Vec<(usize, usize)>>,
    known: Vec<Vec<Option<Step>>>,
}

/// A flow as it comes to a server.
#[derive(Clone, Copy)]
struct Inflow {
    flow: usize,
    priority: u8,
    messages: u128,
    per: u128,
    /// Burst in messages times `per`: whole, so that nothing is lost to rounding.
    burst_scaled: u128,
    /// How late it may have been sent.
    late_ns: u128,
    /// Longest stays at all servers before.
    stayed_ns: u128,
}

impl<'a> Net<'a> {
    /// With the server of each direction.
    fn new(topology: &'a Topology, flows: &'a [Flow]) -> Result<(Net<'a>, Vec<usize>), BoundError> {
        let trails = flows
            .iter()
            .enumerate()
            .map(|(index, flow)| Trail::new(topology, index, flow))
            .collect::<Result<Vec<_>, _>>()?;
        let servers = bus::servers(topology);
        let mut uses = vec![Vec::new(); servers.len()];
        for (index, trail) in trails.iter().enumerate() {
            for (step, (direction, _)) in trail.steps.iter().enumerate() {
                uses[servers[*direction]].push((index, step));
            }
        }
        let net = Net {
            topology,
            flows,
            known: trails
                .iter()
                .map(|trail| vec![None; trail.steps.len()])
                .collect(),
            trails,
            uses,
        };
        Ok((net, servers))
    }

    fn settle(&self, server: usize) -> Result<Vec<Step>, BoundError> {
        if let Over::Up(bus) = self.topology.arcs()[server].over
            && self.topology.repeats_without_end(bus)
        {
            let why = WhyUnknown::BitErrors { bus };
            return Ok(vec![Err(why); self.uses[server].len()]);
        }
        let inflows = match self.inflows(server)? {
            Ok(inflows) => inflows,
            Err(why) => return Ok(vec![Err(why); self.uses[server].len()]),
        };
        match self.topology.arcs()[server].over {
            Over::Link(link) => link::settle(self, server, link, &inflows),
            Over::Up(bus) | Over::Poll(bus) => bus::settle(self, server, bus, &inflows),
            // Down from the hub nothing waits.
            Over::Down(_) => Ok(inflows
                .iter()
                .map(|i| Ok((Ns::ZERO, i.burst_scaled)))
                .collect()),
        }
    }

    /// Settles servers that feed each other, from no stay at all until nothing changes any more.
    fn settle_ring(&mut self, ringed: &[usize]) -> Result<(), BoundError> {
        for &server in ringed {
            for &(flow, step) in &self.uses[server] {
                let burst_scaled = self.flows[flow].at_most.map_or(0, |at_most| {
                    u128::from(at_most.messages()) * u128::from(at_most.per().0)
                });
                self.known[flow][step] = Some(Ok((Ns::ZERO, burst_scaled)));
            }
        }
        let mut grows = None;
        for _ in 0..MOST_ROUNDS {
            grows = None;
            for &server in ringed {
                let settled = match self.settle(server) {
                    Ok(settled) => settled,
                    Err(BoundError::TooLarge) => {
                        self.give_up(ringed, server, None);
                        return Ok(());
                    }
                    Err(other) => return Err(other),
                };
                for (at, found) in settled.into_iter().enumerate() {
                    let (flow, step) = self.uses[server][at];
                    if self.known[flow][step] == Some(found) {
                        continue;
                    }
                    let was_known =
                        matches!(self.known[flow][step], Some(Ok((stay, _))) if stay > Ns::ZERO);
                    self.known[flow][step] = Some(found);
                    grows = Some((server, flow));
                    let per = self.flows[flow].at_most.map(|at_most| at_most.per());
                    let over = match found {
                        Ok((stay, _)) => per.is_some_and(|per| stay > per),
                        // With these jitters alone it has no bound.
                        Err(WhyUnknown::BusFull { .. }) => was_known,
                        Err(_) => false,
                    };
                    if over {
                        self.give_up(ringed, server, Some(flow));
                        return Ok(());
                    }
                }
            }
            if grows.is_none() {
                return Ok(());
            }
        }
        if let Some((server, flow)) = grows {
            self.give_up(ringed, server, Some(flow));
        }
        Ok(())
    }

    /// Promises nothing of a ring, but for what is known of it whatever the rest does.
    fn give_up(&mut self, ringed: &[usize], at: usize, flow: Option<usize>) {
        let first = self.uses[at].first().map(|(flow, _)| *flow);
        let Some(flow) = flow.or(first) else { return };
        let over = medium(self.topology, at);
        for &server in ringed {
            for &(of, step) in &self.uses[server] {
                let known = &mut self.known[of][step];
                let stands =
                    matches!(known, Some(Err(why)) if !matches!(why, WhyUnknown::BusFull { .. }));
                if !stands {
                    *known = Some(Err(WhyUnknown::Ring { over, flow }));
                }
            }
        }
    }

    fn inflows(&self, server: usize) -> Result<Result<Vec<Inflow>, WhyUnknown>, BoundError> {
        let mut inflows = Vec::with_capacity(self.uses[server].len());
        for &(index, step) in &self.uses[server] {
            let flow = &self.flows[index];
            let Some(at_most) = flow.at_most else {
                return Ok(Err(WhyUnknown::NoLimitDeclared { flow: index }));
            };
            let Some(late) = flow.late else {
                return Ok(Err(WhyUnknown::LateWithoutEnd { flow: index }));
            };
            let (messages, per) = (u128::from(at_most.messages()), u128::from(at_most.per().0));
            let late_ns = u128::from(late.0);
            let mut inflow = Inflow {
                flow: index,
                priority: flow.priority,
                messages,
                per,
                burst_scaled: messages
                    .checked_mul(per + late_ns)
                    .ok_or(BoundError::TooLarge)?,
                late_ns,
                stayed_ns: 0,
            };
            let mut before = self.trails[index].steps[step].1;
            if let Some(at) = before {
                match self.settled(index, at) {
                    Ok((_, burst_scaled)) => inflow.burst_scaled = burst_scaled,
                    Err(why) => return Ok(Err(why)),
                }
            }
            while let Some(at) = before {
                if let Ok((stay, _)) = self.settled(index, at) {
                    inflow.stayed_ns += u128::from(stay.0);
                }
                before = self.trails[index].steps[at].1;
            }
            inflows.push(inflow);
        }
        Ok(Ok(inflows))
    }

    fn settled(&self, flow: usize, step: usize) -> Step {
        self.known[flow][step].expect("servers are settled after those that feed them")
    }
}

fn small(ns: u128) -> Result<Ns, BoundError> {
    u64::try_from(ns).map(Ns).map_err(|_| BoundError::TooLarge)
}

fn sum_route(
    topology: &Topology,
    trail: &Trail,
    steps: &[usize],
    known: &[Option<Step>],
) -> Result<DelayBound, BoundError> {
    let mut total = Ns::ZERO;
    let mut hops = Vec::with_capacity(steps.len());
    let mut waited = Ns::ZERO;
    for &step in steps {
        let direction = trail.steps[step].0;
        let stay = match known[step].expect("every server is settled or in a ring") {
            Ok((stay, _)) => stay,
            Err(why) => return Ok(DelayBound::Unknown(why)),
        };
        let (over, to) = (medium(topology, direction), topology.head(direction));
        waited = waited.checked_add(stay).ok_or(BoundError::TooLarge)?;
        if matches!(topology.arcs()[direction].over, Over::Up(_)) {
            continue;
        }
        let hop = HopBound {
            over,
            to,
            service: std::mem::replace(&mut waited, Ns::ZERO),
            propagation: match over {
                Medium::Link(link) => topology.links()[link].propagation,
                Medium::Bus(bus) => topology.buses()[bus].propagation,
            },
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
