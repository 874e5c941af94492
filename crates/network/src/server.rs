//! What a stream meets at one rate-latency server: delay, backlog and the burst behind it.
//!
//! Source: J.-Y. Le Boudec, P. Thiran, *Network Calculus*, Springer LNCS 2050 (2001), theorems 1.4.1 to 1.4.3 (numbers from memory). Integers rounded
//! upwards.

use timeline::Ns;

use crate::bound::{BoundError, NS_PER_S};

/// A server that, once it has work, has served at least `rate (t - latency)` bits after any time t.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct RateLatency {
    /// Rate, bit/s.
    pub rate_bps: u64,
    /// Latency.
    pub latency: Ns,
}

/// A token bucket: at most `burst + rate t` bits in any time t.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct BurstAndRate {
    /// Burst, bits.
    pub burst_bits: u64,
    /// Rate, bit/s.
    pub rate_bps: u64,
}

/// What a stream meets at one server.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ServerBound {
    /// The longest any of its bits stays.
    pub delay: Ns,
    /// The most bits of all streams in the server at once.
    pub backlog_bits: u64,
    /// Its burst when it comes out.
    pub burst_out_bits: u64,
}

/// What a stream meets at a rate-latency server that it shares, first in first out, with `others`.
///
/// Delay T + (b + b_others)/R, backlog b + b_others + (r + r_others) T, burst out b + r (T + b_others/R); all rounded up.
///
/// # Errors
/// [`BoundError::NoRate`], [`BoundError::Overloaded`], [`BoundError::TooLarge`].
pub fn server_bound(
    server: RateLatency,
    stream: BurstAndRate,
    others: BurstAndRate,
) -> Result<ServerBound, BoundError> {
    if server.rate_bps == 0 {
        return Err(BoundError::NoRate);
    }
    let asked_bps = u128::from(stream.rate_bps) + u128::from(others.rate_bps);
    if asked_bps > u128::from(server.rate_bps) {
        return Err(BoundError::Overloaded {
            asked_bps,
            rate_bps: server.rate_bps,
        });
    }
    let (rate, latency) = (u128::from(server.rate_bps), u128::from(server.latency.0));
    let (own, other) = (u128::from(stream.burst_bits), u128::from(others.burst_bits));
    let small = |value: u128| u64::try_from(value).map_err(|_| BoundError::TooLarge);
    let delay = latency + ((own + other) * NS_PER_S).div_ceil(rate);
    let backlog = own + other + (asked_bps * latency).div_ceil(NS_PER_S);
    let held_ns = latency + (other * NS_PER_S).div_ceil(rate);
    let burst_out = own + (u128::from(stream.rate_bps) * held_ns).div_ceil(NS_PER_S);
    Ok(ServerBound {
        delay: Ns(small(delay)?),
        backlog_bits: small(backlog)?,
        burst_out_bits: small(burst_out)?,
    })
}
