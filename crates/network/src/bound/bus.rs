//! Shared buses: priority arbitration, rounds, polling.
//!
//! *Priority.* A stream of at most n messages in any span P, each of k frames, is n k frames of period P; frame by frame its jitter is the longest stay of the
//! stream at all servers before, and how late it may have been sent. The last frame waits for all others of its own stream and of all streams of no greater priority number, which count as going
//! first (among equals nobody says who does), and for one frame of the rest. Its response time R by the recurrence of Davis, Burns, Bril and Lukkien (2007) is
//! counted from the publication, so that the stay at this bus is R less the jitter, and the burst behind it n (P + R)/P messages. Where a least time between two bit
//! errors is stated, each costs its recovery and the longest frame that does not go after, as [`can_response_times_with_errors`](crate::can_response_times_with_errors) counts them.
//!
//! *Rounds and polling.* A station's turn to choose a frame comes again after a round c at the latest, whatever the others do: c is the sum of all turns, each
//! with the largest frame that a stream brings to it. So the m-th frame since a direction had nothing to send is chosen after m c. With H the streams that go
//! first (frames in a burst s_H, rate r_H) and E those of the same priority, the frame in question is number m of them, where
//! m <= s_E + r_E a + s_H + r_H m c for one that came after a; so it is chosen (s_E + s_H) c/(1 - r_H c) after it came, at most, as long as
//! (r_E + r_H) c <= 1, and is there one frame time later. The burst behind grows by r times that stay. The server is safe and seldom exact: each turn counts
//! as long as the longest, even when others have nothing to say.

use timeline::Ns;

use super::{BoundError, BusLoad, Inflow, NS_PER_S, Net, Step, WhyUnknown, small};
use crate::bus::{Access, BusSpec};
use crate::can::{CanError, CanResponse, Share, response};
use crate::can_errors::RECOVERY_BITS;
use crate::frame::{FrameError, fragment_bytes, fragment_count};
use crate::poll::{Exchange, poll_round};
use crate::topology::{Over, Topology};

const PPM: u128 = 1_000_000;

/// By direction, the direction that stands for its server: with priority arbitration all that go up to one hub have one.
pub(crate) fn servers(topology: &Topology) -> Vec<usize> {
    let mut first = vec![None; topology.buses().len()];
    let arcs = topology.arcs().iter().enumerate();
    arcs.map(|(direction, arc)| match arc.over {
        Over::Up(bus) if topology.buses()[bus].access == Access::Priority => {
            *first[bus].get_or_insert(direction)
        }
        _ => direction,
    })
    .collect()
}

pub(super) fn settle(
    net: &Net<'_>,
    direction: usize,
    bus: usize,
    inflows: &[Inflow],
) -> Result<Vec<Step>, BoundError> {
    let spec = &net.topology.buses()[bus];
    match spec.access {
        Access::Unsaid => Ok(vec![Err(WhyUnknown::NoTurns { bus }); inflows.len()]),
        Access::Priority => priority(net, bus, inflows),
        Access::Polled { by, turnaround, .. } => {
            let round = polled_round(net, bus, by, turnaround)?;
            let request = net.topology.tail(direction) == by;
            rounds(net, bus, inflows, round, request)
        }
        Access::Round { gap } => {
            let round = turn_round(net, bus, gap)?;
            rounds(net, bus, inflows, round, false)
        }
    }
}

/// Frames of one message on a bus: how many of which payload; the last one last.
fn frames(net: &Net<'_>, spec: &BusSpec, flow: usize) -> Result<Vec<(u128, u32)>, BoundError> {
    let (bytes, mtu_bytes) = (net.flows[flow].bytes, net.topology.mtu_bytes());
    let fragments = fragment_count(bytes, mtu_bytes).map_err(frame_of(flow))?;
    let mut list = Vec::new();
    for (count, index) in [(fragments - 1, 0), (1, fragments - 1)] {
        let piece = fragment_bytes(bytes, mtu_bytes, index, fragments);
        let (whole, rest) = (piece / spec.payload_bytes, piece % spec.payload_bytes);
        list.push((u128::from(count) * u128::from(whole), spec.payload_bytes));
        if rest > 0 || piece == 0 {
            list.push((u128::from(count), rest));
        }
    }
    list.retain(|(count, _)| *count > 0);
    Ok(list)
}

fn frame_of(flow: usize) -> impl Fn(FrameError) -> BoundError {
    move |source| BoundError::Frame { flow, source }
}

fn time_of(spec: &BusSpec, request: bool, flow: usize, payload: u32) -> Result<u128, BoundError> {
    let time = spec.frame_time(request, payload).map_err(frame_of(flow))?;
    Ok(u128::from(time.0))
}

fn priority(net: &Net<'_>, bus: usize, inflows: &[Inflow]) -> Result<Vec<Step>, BoundError> {
    struct Load {
        inflow: Inflow,
        /// Time of all messages of one period.
        whole_ns: u128,
        longest_ns: u128,
        last_ns: u128,
    }
    let spec = &net.topology.buses()[bus];
    let bit = Ns(1_000_000_000u64.div_ceil(spec.rate_bps));
    let mut loads = Vec::with_capacity(inflows.len());
    for inflow in inflows {
        let (mut message_ns, mut longest_ns, mut last_ns) = (0u128, 0, 0);
        for (count, payload) in frames(net, spec, inflow.flow)? {
            last_ns = time_of(spec, false, inflow.flow, payload)?;
            longest_ns = longest_ns.max(last_ns);
            message_ns += count * last_ns;
        }
        loads.push(Load {
            inflow: *inflow,
            whole_ns: inflow
                .messages
                .checked_mul(message_ns)
                .ok_or(BoundError::TooLarge)?,
            longest_ns,
            last_ns,
        });
    }
    let share = |load: &Load, busy_ns| Share {
        busy_ns,
        period_ns: load.inflow.per,
        jitter_ns: load.inflow.late_ns + load.inflow.stayed_ns,
    };
    let mut steps = Vec::with_capacity(loads.len());
    for (at, load) in loads.iter().enumerate() {
        let own = load.inflow.priority;
        let mut before: Vec<Share> = loads
            .iter()
            .enumerate()
            .filter(|(other, l)| *other != at && l.inflow.priority <= own)
            .map(|(_, l)| share(l, l.whole_ns))
            .collect();
        let rest_ns = load.whole_ns - load.last_ns;
        if rest_ns > 0 {
            before.push(share(load, rest_ns));
        }
        let later = loads.iter().filter(|l| l.inflow.priority > own);
        let blocking = later.map(|l| l.longest_ns).max();
        let hit = loads.iter().filter(|l| l.inflow.priority <= own);
        let hit_ns = hit.map(|l| l.longest_ns).max().map_or(0, |ns| ns);
        let recovery_ns = u128::from(RECOVERY_BITS) * u128::from(bit.0);
        let errors = net
            .topology
            .errors_apart(bus)
            .map(|apart| (u128::from(apart.0), recovery_ns + hit_ns));
        let own_share = share(load, load.last_ns);
        let asked_ppm = || {
            let part = |s: &Share| s.busy_ns.saturating_mul(PPM).div_ceil(s.period_ns);
            let lost = errors.map_or(0, |(apart_ns, cost_ns)| {
                cost_ns.saturating_mul(PPM).div_ceil(apart_ns)
            });
            let sum = before.iter().map(part).sum::<u128>() + part(&own_share) + lost;
            u64::try_from(sum).map_err(|_| BoundError::TooLarge)
        };
        steps.push(
            match response(&before, own_share, blocking.map_or(0, |ns| ns), bit, errors) {
                Ok(CanResponse::Within(since)) => {
                    let since = u128::from(since.0);
                    let burst = (load.inflow.per + since).checked_mul(load.inflow.messages);
                    // One that follows a late one may be in time and wait all of it.
                    let stay = since
                        .checked_sub(load.inflow.stayed_ns)
                        .expect("a response time holds its jitter");
                    Ok((small(stay)?, burst.ok_or(BoundError::TooLarge)?))
                }
                Ok(CanResponse::Unbounded) | Err(CanError::TooLong) => Err(WhyUnknown::BusFull {
                    bus,
                    asked_ppm: asked_ppm()?,
                }),
                Err(CanError::NoTime) => return Err(BoundError::NoRate),
            },
        );
    }
    Ok(steps)
}

pub(super) fn load(net: &Net<'_>, bus: usize) -> Result<Result<BusLoad, WhyUnknown>, BoundError> {
    let spec = &net.topology.buses()[bus];
    let round_ns = match spec.access {
        Access::Polled { by, turnaround, .. } => Some(polled_round(net, bus, by, turnaround)?),
        Access::Round { gap } => Some(turn_round(net, bus, gap)?),
        Access::Priority | Access::Unsaid => None,
    };
    let mut busiest = BusLoad {
        share: 0.0,
        turns: None,
    };
    let mut all = 0.0;
    for (direction, arc) in net.topology.arcs().iter().enumerate() {
        if !matches!(arc.over, Over::Up(b) | Over::Poll(b) if b == bus) {
            continue;
        }
        let mut share = 0.0;
        for &(flow, _) in &net.uses[direction] {
            let Some(at_most) = net.flows[flow].at_most else {
                return Ok(Err(WhyUnknown::NoLimitDeclared { flow }));
            };
            let mut message_ns = 0;
            for (count, payload) in frames(net, spec, flow)? {
                message_ns += count
                    * match round_ns {
                        Some(round_ns) => round_ns,
                        None => time_of(spec, false, flow, payload)?,
                    };
            }
            share += f64::from(at_most.messages()) * message_ns as f64 / at_most.per().0 as f64;
        }
        all += share;
        if round_ns.is_some() && share > busiest.share {
            busiest = BusLoad {
                share,
                turns: Some((
                    arc.tail,
                    Some(arc.head).filter(|n| *n < net.topology.node_count()),
                )),
            };
        }
    }
    Ok(Ok(match round_ns {
        Some(_) => busiest,
        None => BusLoad {
            share: all,
            turns: None,
        },
    }))
}

/// Longest frame that any flow brings to a direction, or an empty one.
fn longest_frame(
    net: &Net<'_>,
    spec: &BusSpec,
    direction: usize,
    request: bool,
) -> Result<Option<Ns>, BoundError> {
    let mut longest = None;
    for &(flow, _) in &net.uses[direction] {
        for (_, payload) in frames(net, spec, flow)? {
            longest = longest.max(Some(small(time_of(spec, request, flow, payload)?)?));
        }
    }
    Ok(longest)
}

fn polled_round(net: &Net<'_>, bus: usize, by: usize, turnaround: Ns) -> Result<u128, BoundError> {
    let spec = &net.topology.buses()[bus];
    let mut exchanges = Vec::new();
    // Directions between the station that asks and another come in pairs.
    let arcs = net.topology.arcs();
    for there in 0..arcs.len() {
        if arcs[there].over != Over::Poll(bus) || arcs[there].tail != by {
            continue;
        }
        let at_least = |found: Option<Ns>, request| match found {
            Some(time) => Ok(time),
            None => spec
                .frame_time(request, 0)
                .map_err(|_| BoundError::TooLarge),
        };
        exchanges.push(Exchange {
            request: at_least(longest_frame(net, spec, there, true)?, true)?,
            answer: at_least(longest_frame(net, spec, there + 1, false)?, false)?,
            turnaround,
            propagation: spec.propagation,
        });
    }
    poll_round(&exchanges)
        .map(|round| u128::from(round.0))
        .map_err(|_| BoundError::TooLarge)
}

fn turn_round(net: &Net<'_>, bus: usize, gap: Ns) -> Result<u128, BoundError> {
    let spec = &net.topology.buses()[bus];
    let mut round = 0;
    for (direction, arc) in net.topology.arcs().iter().enumerate() {
        if arc.over == Over::Up(bus) {
            let frame = longest_frame(net, spec, direction, false)?;
            let turn = frame.map_or(0, |ns| u128::from(ns.0));
            round += u128::from(gap.0) + u128::from(spec.propagation.0) + turn;
        }
    }
    Ok(round)
}

fn rounds(
    net: &Net<'_>,
    bus: usize,
    inflows: &[Inflow],
    round_ns: u128,
    request: bool,
) -> Result<Vec<Step>, BoundError> {
    struct Load {
        inflow: Inflow,
        /// Time of the server for a burst of this flow, a round each frame.
        burst_ns: u128,
        /// Nanoseconds of the server asked for in a second.
        rate: u128,
        longest_ns: u128,
    }
    let spec = &net.topology.buses()[bus];
    let mut loads = Vec::with_capacity(inflows.len());
    for inflow in inflows {
        let (mut count, mut longest_ns) = (0, 0);
        for (more, payload) in frames(net, spec, inflow.flow)? {
            count += more;
            longest_ns = longest_ns.max(time_of(spec, request, inflow.flow, payload)?);
        }
        let cost = count * round_ns;
        let of_burst = inflow.burst_scaled.checked_mul(cost);
        let of_rate = inflow
            .messages
            .checked_mul(cost)
            .and_then(|ns| ns.checked_mul(NS_PER_S));
        loads.push(Load {
            inflow: *inflow,
            burst_ns: of_burst.ok_or(BoundError::TooLarge)?.div_ceil(inflow.per),
            rate: of_rate.ok_or(BoundError::TooLarge)?.div_ceil(inflow.per),
            longest_ns,
        });
    }
    let mut steps = Vec::with_capacity(loads.len());
    for load in &loads {
        let own = load.inflow.priority;
        let up_to = || loads.iter().filter(|l| l.inflow.priority <= own);
        let first_rate: u128 = loads
            .iter()
            .filter(|l| l.inflow.priority < own)
            .map(|l| l.rate)
            .sum();
        let asked: u128 = up_to().map(|l| l.rate).sum();
        if asked > NS_PER_S || first_rate == NS_PER_S {
            let asked_ppm = u64::try_from(asked.div_ceil(NS_PER_S / PPM));
            let asked_ppm = asked_ppm.map_err(|_| BoundError::TooLarge)?;
            steps.push(Err(WhyUnknown::BusFull { bus, asked_ppm }));
            continue;
        }
        let waits: u128 = up_to().map(|l| l.burst_ns).sum();
        let chosen = waits
            .checked_mul(NS_PER_S)
            .ok_or(BoundError::TooLarge)?
            .div_ceil(NS_PER_S - first_rate);
        let stay = chosen + load.longest_ns;
        let grown = load
            .inflow
            .messages
            .checked_mul(stay)
            .and_then(|more| more.checked_add(load.inflow.burst_scaled))
            .ok_or(BoundError::TooLarge)?;
        steps.push(Ok((small(stay)?, grown)));
    }
    Ok(steps)
}
