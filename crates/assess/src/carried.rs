//! How much of its load a line carries before it collapses: the second figure beside its voltages.
//!
//! Near its collapse a little more load or resistance takes all voltages at once, however far they lie from their limits.

use power::Solution;

use crate::power_cases::Case;
use crate::verdict::{Known, Ruling, Verdict, unknown};

/// A line that carries less than this much more than its load is near its collapse, points of percent: the narrow margin of a collapse factor.
pub(crate) const NARROW_LOAD_PERCENT: f64 = 10.0;

/// What a line must carry of its load for a voltage to be more than just met, a share.
pub(crate) const CARRIES_AT_LEAST: f64 = 1.0 + NARROW_LOAD_PERCENT / 100.0;

/// How far a line is from its collapse, over the sets of states that it carries.
pub(crate) enum Carried {
    /// Nothing draws constant power.
    NothingCollapses,
    /// The least share of its load, and with which set.
    Share { share: f64, with: String },
    /// It is not known.
    Unknown { why: String },
}

/// Over the sets of states in which something is drawn.
pub(crate) fn carried(good: &[(&Case, &Solution)]) -> Carried {
    let mut least = Carried::NothingCollapses;
    for (case, _) in good.iter().filter(|(case, _)| !case.idle) {
        match power::collapse_factor(&case.input.network) {
            Ok(found) if found.is_finite() => {
                let known = match &least {
                    Carried::Share { share, .. } => *share,
                    _ => f64::INFINITY,
                };
                if found < known {
                    let (share, with) = (found, case.name.clone());
                    least = Carried::Share { share, with };
                }
            }
            Ok(_) => {}
            Err(error) => {
                let why = format!("with {}: {error}", case.name);
                return Carried::Unknown { why };
            }
        }
    }
    least
}

/// A verdict on a voltage with what the line carries beside it: near its collapse it is at most marginal, and met only where that is known.
pub(crate) fn beside(verdict: Verdict, carried: &Carried) -> Verdict {
    let Verdict::Known(mut known) = verdict else {
        return verdict;
    };
    match carried {
        Carried::NothingCollapses => {}
        Carried::Share { share, with } => {
            known.collapse_factor = Some(*share);
            if *share < CARRIES_AT_LEAST && known.ruling == Ruling::Met {
                known.ruling = Ruling::Marginal;
                let with = match known.why.starts_with(&format!("with {with};")) {
                    true => String::new(),
                    false => format!(" with {with}"),
                };
                known.why = format!(
                    "{}; marginal, as the line carries {} % of its load{with} before it collapses, and {} % is asked",
                    known.why,
                    (1000.0 * share).floor() / 10.0,
                    100.0 + NARROW_LOAD_PERCENT
                );
            }
        }
        Carried::Unknown { why } if known.ruling == Ruling::Met => {
            let Known {
                subject,
                value,
                margin,
                ..
            } = *known;
            let why = format!(
                "it is {:.2} {}, {:.2} {} within its limit, but how far the line is from its collapse is not known: {why}",
                value.value, value.unit, margin.value, margin.unit
            );
            return unknown(subject, why);
        }
        Carried::Unknown { .. } => {}
    }
    Verdict::Known(known)
}
