//! What draws that lie beside a plan say of a requirement, for people and for programs.

use assess::{DrawsBeside, InDraws};
use serde_json::{Value, json};

/// `met in 915 of 1000 draws (89.6 to 93.2 %)`.
pub(crate) fn draws_in_words(draws: &InDraws) -> String {
    let percent = |share: f64, round: fn(f64) -> f64| round(1e3 * share) / 10.0;
    let unknown = match draws.unknown {
        0 => String::new(),
        n => format!(", unknown in {n}"),
    };
    format!(
        "met in {} of {} draws ({} to {} %){unknown}",
        draws.met,
        draws.draws,
        percent(draws.share_low, f64::floor),
        percent(draws.share_high, f64::ceil)
    )
}

/// What is said of draws that count no longer.
pub(super) fn stale_draws(beside: DrawsBeside) -> Option<&'static str> {
    (beside == DrawsBeside::Stale).then_some(
        "The draws that lie beside the plan are stale: they are of another state of it, and no figure of theirs is told; \
         `--certainty` draws it anew.",
    )
}

/// The same for programs; shares are of all draws, 0 to 1.
pub(super) fn draws_json(draws: &InDraws) -> Value {
    json!({
        "draws": draws.draws,
        "seed": draws.seed,
        "met_draws": draws.met,
        "unknown_draws": draws.unknown,
        "share_met": draws.met as f64 / draws.draws as f64,
        "share_met_low": draws.share_low,
        "share_met_high": draws.share_high,
        "confidence": 0.95,
        "inputs_digest": draws.inputs_digest,
        "result_digest": draws.result_digest,
    })
}
