//! What bit errors cost on a CAN bus, whose controllers send again what was hit.
//!
//! *Repeats.* Where each sending of a frame is hit with the same chance p, it is repeated p/(1 - p) times on average (geometric law).
//!
//! *Off the bus.* The transmit error counter goes up by 8 with chance p and down by 1, not below 0, with chance q = 1 - p; from 256 on the controller is off the bus (Bosch CAN
//! Specification 2.0, 1991, part B, fault confinement). From i let u_i be the chance to be off before i - 1 is reached, and s_i the sendings until either. One falls by one at a
//! time only, so that from i + 8 each of the levels i + 8 .. i is passed in turn: with U the chance to be off on the way down to i, and S the sendings on it,
//! u_i = p U'/(1 - p (1 - U)), U' that of i + 8 .. i + 1, and s_i alike; from 0 it takes (1 + p S)/(p U) sendings on average. No difference of like numbers occurs, so that chances of
//! 10^-100 are as good as others.
//!
//! *Response times.* K. Tindell, A. Burns, A. J. Wellings, "Calculating Controller Area Network (CAN) message response times", *Control Engineering Practice* 3 (1995), and Davis and others (2007),
//! from memory: with one error in any time T at most, what is sent in a time t is delayed by E(t) = ceil(t/T) (31 tau + the longest frame of no lower priority), which is added to the busy period and
//! to the wait: w = E(w + C) + B + q C + ... 31 bits are the longest that the recovery from an error takes (ISO 16845-1, 8.5.14, read in a public test of it).

use timeline::Ns;

use crate::can::{CanError, CanMessage, CanResponse, responses};
use crate::machine::confinement::{BUS_OFF, PER_ERROR};

/// Longest recovery from an error, bits.
pub(crate) const RECOVERY_BITS: u64 = 31;

/// How often a frame is repeated on average where each sending of it is hit with this chance, from 0 to less than 1, and it is repeated until it is not.
#[must_use]
pub fn can_mean_repeats(hit: f64) -> f64 {
    hit / (1.0 - hit)
}

/// After how many sendings a controller that starts with no errors counted is off its bus, on average, where each is hit with this chance from 0 to 1; infinite for a chance of 0, and for
/// one so small that the number is beyond what can be written.
#[must_use]
pub fn can_sendings_to_bus_off(hit: f64) -> f64 {
    let levels = BUS_OFF as usize;
    let step = PER_ERROR as usize;
    let kept = 1.0 - hit;
    // By level: the chance to be off before the level below is reached, and the sendings until either.
    let (mut off, mut sendings) = (vec![1.0; levels + step], vec![0.0; levels + step]);
    for level in (1..levels).rev() {
        let (chance, count) = way_down(&off, &sendings, level + 1..=level + step);
        let again = hit * (1.0 - chance);
        off[level] = hit * chance / (kept + hit * chance);
        sendings[level] = (1.0 + hit * count) / (1.0 - again);
    }
    let (chance, count) = way_down(&off, &sendings, 1..=step);
    (1.0 + hit * count) / (hit * chance)
}

/// The chance to be off while these levels are passed downwards, and the sendings until that or their end.
fn way_down(off: &[f64], sendings: &[f64], levels: std::ops::RangeInclusive<usize>) -> (f64, f64) {
    let (mut chance, mut count) = (0.0, 0.0);
    for level in levels.rev() {
        count += (1.0 - chance) * sendings[level];
        chance += (1.0 - chance) * off[level];
    }
    (chance, count)
}

/// As [`can_response_times`](crate::can_response_times), where no two errors come within less than `apart` of each other.
///
/// # Errors
/// [`CanError::NoTime`], also for errors that may come at once; [`CanError::TooLong`].
pub fn can_response_times_with_errors(
    messages: &[CanMessage],
    bit: Ns,
    apart: Ns,
) -> Result<Vec<CanResponse>, CanError> {
    if apart == Ns::ZERO {
        return Err(CanError::NoTime);
    }
    responses(messages, bit, |m| {
        let longest = messages[..=m].iter().map(|m| m.frame.0).max();
        let recovery_ns = RECOVERY_BITS * bit.0 + longest.map_or(0, |ns| ns);
        Some((u128::from(apart.0), u128::from(recovery_ns)))
    })
}
