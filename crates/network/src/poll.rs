//! A polled bus: one station asks the others in turn, one after another, round after round.
//!
//! One exchange lasts request + turnaround + answer + turnaround, and twice the propagation to the station that is asked. A round is the sum over the
//! stations. A value that is fresh whenever its station is asked is, when it arrives, as old as its transfer; by the time the next one arrives it is older by a
//! round. So it is at worst `round + transfer` old, and `round / 2 + transfer` on average (uniform over the round). Common practice; arithmetic, no standard.

use timeline::Ns;

/// What passes between the station that asks and one that answers.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Exchange {
    /// The request, at most.
    pub request: Ns,
    /// The answer, at most.
    pub answer: Ns,
    /// Silence before the answer, and before the next request.
    pub turnaround: Ns,
    /// Propagation from one to the other.
    pub propagation: Ns,
}

/// How old values of a polled station are.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Age {
    /// At worst.
    pub worst: Ns,
    /// On average, rounded up.
    pub mean: Ns,
}

/// A round that does not fit in time.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("the round of a polled bus is longer than time can say")]
pub struct RoundTooLong;

impl Exchange {
    /// How long it lasts.
    ///
    /// # Errors
    /// [`RoundTooLong`].
    pub fn lasts(self) -> Result<Ns, RoundTooLong> {
        [
            self.request,
            self.propagation,
            self.turnaround,
            self.answer,
            self.propagation,
            self.turnaround,
        ]
        .into_iter()
        .try_fold(Ns::ZERO, Ns::checked_add)
        .ok_or(RoundTooLong)
    }
}

/// One round over all stations that are asked.
///
/// # Errors
/// [`RoundTooLong`].
pub fn poll_round(exchanges: &[Exchange]) -> Result<Ns, RoundTooLong> {
    exchanges.iter().try_fold(Ns::ZERO, |sum, exchange| {
        sum.checked_add(exchange.lasts()?).ok_or(RoundTooLong)
    })
}

/// How old the values of one station of a round are.
///
/// # Errors
/// [`RoundTooLong`].
pub fn poll_age(round: Ns, exchange: Exchange) -> Result<Age, RoundTooLong> {
    let after = |wait: u64| {
        Ns(wait)
            .checked_add(exchange.answer)
            .and_then(|at| at.checked_add(exchange.propagation))
            .ok_or(RoundTooLong)
    };
    Ok(Age {
        worst: after(round.0)?,
        mean: after(round.0.div_ceil(2))?,
    })
}
