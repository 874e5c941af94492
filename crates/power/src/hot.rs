//! A network at rest with the warmth of its own spans.
//!
//! Currents give temperatures ([`crate::heating`]), temperatures resistances, resistances currents: taken in turn from the
//! cold line until no resistance changes. With constant-power loads every round only raises currents and resistances, so
//! that the first rest above the cold line is found, not a hotter one. A line that carries its loads cold may not carry
//! them warm; that is [`HotError::Round`] with [`crate::NetworkError::CannotCarry`], or [`crate::heating::HeatingError::Runaway`].

use thiserror::Error;

use crate::heating::{Cable, HeatingError, Surroundings, Warmth, warmth};
use crate::network::{Network, NetworkError, Solution};
use crate::solver::solve;

const MOST_ROUNDS: u32 = 200;
/// A largest relative change of a resistance this small has arrived.
const ARRIVED: f64 = 1e-12;

/// What a span needs for its resistance to follow its current.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct WarmSpan {
    /// The cable.
    pub cable: Cable,
    /// What lies round it.
    pub surroundings: Surroundings,
    /// Temperature of what lies round it, degC.
    pub ambient_degc: f64,
    /// Length, m; above zero.
    pub length_m: f64,
    /// What does not warm: contacts, ohm; zero or more.
    pub other_ohm: f64,
}

/// A network at rest with its warmth.
#[derive(Clone, Debug, PartialEq)]
pub struct HotSolution {
    /// The network with its warm resistances.
    pub network: Network,
    /// Its operating point.
    pub solution: Solution,
    /// Of each span that has a cable.
    pub warmth: Vec<Option<Warmth>>,
    /// Rounds taken.
    pub rounds: u32,
}

/// Why a network has no rest with its warmth.
#[derive(Clone, Debug, PartialEq, Error)]
pub enum HotError {
    /// The network cannot be one.
    #[error(transparent)]
    Network(#[from] NetworkError),
    /// The network of one round has no operating point, with spans that are no warmer than they would become.
    #[error("{source}")]
    Round {
        /// The warmth of that round, of each span that has a cable.
        warmth: Vec<Option<Warmth>>,
        /// Why.
        source: NetworkError,
    },
    /// A span has no temperature.
    #[error("span {span}: {source}")]
    Span {
        /// The span.
        span: usize,
        /// Why.
        source: HeatingError,
    },
    /// The resistances still change.
    #[error("after {rounds} rounds a resistance still changes by a share of {change}")]
    NotAtRest {
        /// Rounds taken.
        rounds: u32,
        /// Largest relative change in the last round.
        change: f64,
    },
}

/// The operating point of `network` with each span that has an entry in `spans` as warm as its current makes it.
///
/// `spans` is in order of the network's; the resistance that the network gives to a span with an entry is not read.
///
/// Errors: every variant of [`HotError`]; a list of another length. Source: see the head of this module.
pub fn solve_hot(network: &Network, spans: &[Option<WarmSpan>]) -> Result<HotSolution, HotError> {
    if spans.len() != network.spans.len() {
        return Err(NetworkError::WrongLength {
            quantity: "spans",
            given: spans.len(),
            wanted: network.spans.len(),
        }
        .into());
    }
    let mut warm = network.clone();
    let mut warmths = vec![None; spans.len()];
    let mut currents_a = vec![0.0; spans.len()];
    let mut change = f64::INFINITY;
    for rounds in 0..MOST_ROUNDS {
        change = 0.0;
        for (i, span) in spans.iter().enumerate() {
            let Some(span) = span else { continue };
            let at = warmth(
                &span.cable,
                span.surroundings,
                span.ambient_degc,
                currents_a[i],
            )
            .map_err(|source| HotError::Span { span: i, source })?;
            let resistance_ohm = at.loop_ohm_per_m * span.length_m + span.other_ohm;
            let before_ohm = warm.spans[i].resistance_ohm;
            change = f64::max(
                change,
                ((resistance_ohm - before_ohm) / resistance_ohm).abs(),
            );
            warm.spans[i].resistance_ohm = resistance_ohm;
            warmths[i] = Some(at);
        }
        let solution = match solve(&warm) {
            Ok(solution) => solution,
            Err(source) => {
                return Err(HotError::Round {
                    warmth: warmths,
                    source,
                });
            }
        };
        if rounds > 0 && change <= ARRIVED {
            return Ok(HotSolution {
                network: warm,
                solution,
                warmth: warmths,
                rounds,
            });
        }
        currents_a.copy_from_slice(&solution.branch_currents_a);
    }
    Err(HotError::NotAtRest {
        rounds: MOST_ROUNDS,
        change,
    })
}
