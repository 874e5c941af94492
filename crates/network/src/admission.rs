//! Streams of video or raw sound, and which of them a network has room for.
//!
//! A stream sends packets of one size at a steady rate, at most a burst of them at once: burst `b` packets and rate `r` bit/s of payload make `b` packets in any span of
//! `8 b packet / r` (the span rounded down, so that the flow is no less than asked). That is a [`Flow`], and its delay bound is that of any other.
//!
//! Admission takes the streams by priority, a smaller one first, then in the order given. A stream is admitted if with it, beside all topics and the streams admitted before,
//! - its own delay has a bound, and one no longer than it asks;
//! - each stream admitted before keeps a bound within what that one asks;
//! - each topic that had a bound without any stream keeps one, whatever its priority.
//!
//! What goes back answers what may be late, and is itself the later the more streams there are: [`admit_beside`] has the bounds of each choice worked out anew by the one who knows
//! what answers what, and admits nothing beside a topic that might be sent again before its acknowledgement is there, for no bound counts that.
//!
//! A stream goes to one node; what goes to several is asked for one by one.
//!
//! What is refused takes nothing from those after it. The rule is ours (network calculus gives the bounds, see [`delay_bounds`]); no standard of reservation is followed.

use timeline::Ns;

use crate::bound::{BoundError, DelayBound, Flow, HopBound, WhyUnknown, delay_bounds};
use crate::frame::fragment_count;
use crate::rate_limit::{AtMost, RateError};
use crate::topology::{Medium, Topology};

/// A stream that asks for room.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StreamAsk {
    /// Its packets, to one target.
    pub flow: Flow,
    /// The longest that a packet may take, if that matters.
    pub within: Option<Ns>,
}

/// What became of a stream.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum StreamRoom {
    /// It has room.
    Admitted {
        /// No packet takes longer, with all that is admitted.
        total: Ns,
        /// Hop by hop.
        hops: Vec<HopBound>,
    },
    /// It has none.
    Refused(WhyRefused),
}

/// Why a stream is refused.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum WhyRefused {
    /// Its own delay has no bound.
    Unbounded(WhyUnknown),
    /// Its own delay is longer than it may be.
    TooLate {
        /// How long at most.
        total: Ns,
        /// The hop that takes longest.
        longest: HopBound,
    },
    /// A stream admitted before would lose its bound, or be later than it may be.
    Stream {
        /// Which, in the order given.
        stream: usize,
        /// Its bound with this one; `None` where it would have none.
        total: Option<Ns>,
    },
    /// A topic may be sent again before its acknowledgement is there although nothing is lost, which no bound counts.
    Repeated {
        /// Which flow of the topics.
        flow: usize,
    },
    /// A topic would lose its bound.
    Topic {
        /// Which flow of the topics.
        flow: usize,
        /// Why.
        why: WhyUnknown,
    },
}

/// Bounds of topics, and of streams beside them.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Beside {
    /// Of each flow that is no stream, at each of its targets; always in the same order.
    pub topics: Vec<Vec<DelayBound>>,
    /// Of each stream, at its target.
    pub streams: Vec<DelayBound>,
    /// The flows that may be sent again before they are acknowledged although nothing is lost.
    pub repeated: Vec<usize>,
}

/// A stream as the bounds take it: packets of `packet_bytes`, `burst` of them at most at once, `rate_bps` of payload.
///
/// # Errors
/// [`RateError`] for a burst of none, a packet of none, no rate, one so small that a burst takes longer than time can say, or one so great that it takes less than a nanosecond.
pub fn stream_limit(rate_bps: u64, packet_bytes: u32, burst: u32) -> Result<AtMost, RateError> {
    let bits = 8_000_000_000 * u128::from(packet_bytes) * u128::from(burst);
    let too_slow = RateError::TooSlow { rate_bps };
    let per = bits.checked_div(u128::from(rate_bps)).ok_or(too_slow)?;
    AtMost::new(burst, Ns(u64::try_from(per).map_err(|_| too_slow)?))
}

/// When a stream sends: its bursts are this many nanoseconds apart, divided by the second number. No less than the span of its [`stream_limit`], and without drift.
///
/// # Errors
/// As [`stream_limit`], and [`RateError::TooSlow`] for a burst that does not fit 64 bits.
pub fn stream_beat(rate_bps: u64, packet_bytes: u32, burst: u32) -> Result<(u64, u64), RateError> {
    stream_limit(rate_bps, packet_bytes, burst)?;
    let bits = 8_000_000_000 * u128::from(packet_bytes) * u128::from(burst);
    let common = gcd(bits, u128::from(rate_bps));
    let small = |n: u128| u64::try_from(n / common).map_err(|_| RateError::TooSlow { rate_bps });
    Ok((small(bits)?, small(u128::from(rate_bps))?))
}

fn gcd(a: u128, b: u128) -> u128 {
    if b == 0 { a } else { gcd(b, a % b) }
}

/// Which streams have room beside these topics, in the order in which they were given; nothing goes back for what is sent.
///
/// # Errors
/// [`BoundError::NotOneTarget`]; [`BoundError`] for a flow without a route or with a message that cannot be sent.
pub fn admit(
    topology: &Topology,
    topics: &[Flow],
    streams: &[StreamAsk],
) -> Result<Vec<StreamRoom>, BoundError> {
    admit_beside(streams, |chosen| {
        let flows: Vec<Flow> = topics.iter().chain(chosen).cloned().collect();
        let mut bounds = delay_bounds(topology, &flows)?;
        let of_streams = bounds.split_off(topics.len());
        Ok(Beside {
            topics: bounds,
            streams: of_streams.into_iter().flatten().collect(),
            repeated: Vec::new(),
        })
    })
}

/// Which streams have room, in the order in which they were given, with the bounds that `bounds` gives for any choice of them.
///
/// # Errors
/// [`BoundError::NotOneTarget`], and what `bounds` gives.
pub fn admit_beside<E: From<BoundError>>(
    streams: &[StreamAsk],
    mut bounds: impl FnMut(&[Flow]) -> Result<Beside, E>,
) -> Result<Vec<StreamRoom>, E> {
    for (stream, ask) in streams.iter().enumerate() {
        let targets = ask.flow.targets.len();
        if targets != 1 {
            return Err(BoundError::NotOneTarget { stream, targets }.into());
        }
    }
    let before = bounds(&[])?;
    let mut order: Vec<usize> = (0..streams.len()).collect();
    order.sort_by_key(|&s| (streams[s].flow.priority, s));
    let mut flows: Vec<Flow> = Vec::new();
    let mut admitted: Vec<usize> = Vec::new();
    let mut refused: Vec<Option<WhyRefused>> = vec![None; streams.len()];
    let mut last = before.clone();
    for s in order {
        flows.push(streams[s].flow.clone());
        let now = bounds(&flows)?;
        match objection(streams, &before, &now, &admitted, s) {
            None => {
                admitted.push(s);
                last = now;
            }
            Some(why) => {
                flows.pop();
                refused[s] = Some(why);
            }
        }
    }
    let mut rooms = Vec::with_capacity(streams.len());
    for (s, why) in refused.into_iter().enumerate() {
        rooms.push(match why {
            Some(why) => StreamRoom::Refused(why),
            None => {
                let place = admitted.iter().position(|&a| a == s);
                let place = place.expect("what was not refused was admitted");
                match &last.streams[place] {
                    DelayBound::Known { total, hops } => StreamRoom::Admitted {
                        total: *total,
                        hops: hops.clone(),
                    },
                    DelayBound::Unknown(_) => {
                        unreachable!("each stream admitted later left this one its bound")
                    }
                }
            }
        });
    }
    Ok(rooms)
}

/// What speaks against the last flow, if anything does.
fn objection(
    streams: &[StreamAsk],
    before: &Beside,
    bounds: &Beside,
    admitted: &[usize],
    asks: usize,
) -> Option<WhyRefused> {
    let within = |stream: usize, total: Ns| streams[stream].within.is_none_or(|w| total <= w);
    let own = bounds.streams.last()?;
    match own {
        DelayBound::Unknown(why) => return Some(WhyRefused::Unbounded(*why)),
        DelayBound::Known { total, hops } if !within(asks, *total) => {
            let longest = hops.iter().copied().max_by_key(|hop| hop.service)?;
            return Some(WhyRefused::TooLate {
                total: *total,
                longest,
            });
        }
        DelayBound::Known { .. } => {}
    }
    for (place, &stream) in admitted.iter().enumerate() {
        match bounds.streams.get(place) {
            Some(DelayBound::Known { total, .. }) if within(stream, *total) => {}
            other => {
                let total = match other {
                    Some(DelayBound::Known { total, .. }) => Some(*total),
                    _ => None,
                };
                return Some(WhyRefused::Stream { stream, total });
            }
        }
    }
    if let Some(&flow) = bounds.repeated.first() {
        return Some(WhyRefused::Repeated { flow });
    }
    for (flow, (had, has)) in before.topics.iter().zip(&bounds.topics).enumerate() {
        for pair in had.iter().zip(has) {
            if let (DelayBound::Known { .. }, DelayBound::Unknown(why)) = pair {
                return Some(WhyRefused::Topic { flow, why: *why });
            }
        }
    }
    None
}

/// What a link still carries one way beside these flows, bit/s on the wire; `None` where a flow says no limit or the link does not exist.
///
/// # Errors
/// [`BoundError`] for a message that cannot be sent.
pub fn rate_left(
    topology: &Topology,
    flows: &[Flow],
    link: usize,
    to: usize,
) -> Result<Option<u64>, BoundError> {
    let Some(spec) = topology.links().get(link) else {
        return Ok(None);
    };
    let mut asked = 0u128;
    for (index, flow) in flows.iter().enumerate() {
        let crosses = |target: &usize| {
            let route = topology.route(flow.node, *target);
            route.is_some_and(|hops| hops.contains(&(Medium::Link(link), to)))
        };
        if !flow.targets.iter().any(crosses) {
            continue;
        }
        let Some(limit) = flow.at_most else {
            return Ok(None);
        };
        let mtu_bytes = topology.mtu_bytes();
        let fragments =
            fragment_count(flow.bytes, mtu_bytes).map_err(|source| BoundError::Frame {
                flow: index,
                source,
            })?;
        let last = flow.bytes - (fragments - 1) * mtu_bytes.min(flow.bytes);
        let lead = (u128::from(spec.lead.0) * u128::from(spec.rate_bps)).div_ceil(1_000_000_000);
        let bits = |payload: u32| {
            let bytes =
                u128::from(payload.max(spec.min_payload_bytes)) + u128::from(spec.overhead_bytes);
            bytes * u128::from(spec.bits_per_byte) + lead
        };
        let message = u128::from(fragments - 1) * bits(mtu_bytes) + bits(last);
        asked += (u128::from(limit.messages()) * message * 1_000_000_000)
            .div_ceil(u128::from(limit.per().0));
    }
    let left = u128::from(spec.rate_bps).saturating_sub(asked);
    Ok(Some(left as u64))
}
