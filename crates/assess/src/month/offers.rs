//! What is offered to an uplink in one drawn month.

use std::collections::BTreeMap;

use chance::Stream;
use network::{Admission, RateLimit, UplinkMessage};
use timeline::Ns;

use super::{Origin, Sending};

/// What is offered in one drawn month, in order, each with the number of its sending: what the `at_most` of the behaviours lets pass of what the origins start.
pub(super) fn offers(
    sendings: &[Sending],
    rates: &BTreeMap<Origin, f64>,
    month_s: f64,
    stream: &mut Stream,
) -> Result<Vec<(Ns, usize, UplinkMessage)>, String> {
    let mut starts: Vec<(f64, Origin)> = Vec::new();
    for (origin, rate) in rates.iter().filter(|(_, rate)| **rate > 0.0) {
        starts_of(
            *origin,
            month_s / rate,
            sendings,
            month_s,
            stream,
            &mut starts,
        )?;
    }
    starts.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
    let mut gates: Vec<Option<RateLimit>> = sendings.iter().map(gate).collect();
    let mut all = Vec::new();
    for (at_s, origin) in starts {
        let at = Ns::from_s_f64(at_s).map_err(|e| e.to_string())?;
        for (sender, (sending, gate)) in sendings.iter().zip(&mut gates).enumerate() {
            for _ in 0..sending.ways.get(&origin).copied().unwrap_or(0) {
                if refused_until(gate, at).is_some() {
                    break;
                }
                let message = UplinkMessage {
                    id: all.len() as u64,
                    bytes: sending.bytes,
                    priority: sending.priority,
                };
                all.push((at, sender, message));
            }
        }
    }
    Ok(all)
}

/// The starts of one origin. Where it alone feeds what it feeds, those that every `at_most` would refuse are passed over: the next of a Poisson process after
/// any instant is as far from it as from the last one.
fn starts_of(
    origin: Origin,
    mean_s: f64,
    sendings: &[Sending],
    month_s: f64,
    stream: &mut Stream,
    starts: &mut Vec<(f64, Origin)>,
) -> Result<(), String> {
    let fed = || sendings.iter().filter(|s| s.ways.contains_key(&origin));
    let mut gates: Vec<Option<RateLimit>> = match fed().all(|s| s.ways.len() == 1) {
        true => fed().map(gate).collect(),
        false => vec![None],
    };
    let mut at_s = 0.0;
    loop {
        at_s += match origin {
            Origin::Interval(_) => mean_s,
            Origin::Detector(_) | Origin::Vote(_) => -mean_s * libm::log1p(-stream.uniform()),
        };
        if at_s >= month_s {
            return Ok(());
        }
        let at = Ns::from_s_f64(at_s).map_err(|e| e.to_string())?;
        let mut passed = false;
        let mut until = Ns::MAX;
        for (gate, sending) in gates.iter_mut().zip(fed()) {
            for _ in 0..sending.ways[&origin] {
                match refused_until(gate, at) {
                    None if gate.is_none() => {
                        passed = true;
                        break;
                    }
                    None => passed = true,
                    Some(then) => {
                        until = until.min(then);
                        break;
                    }
                }
            }
        }
        if passed {
            starts.push((at_s, origin));
            continue;
        }
        let until_s = until.as_s_f64();
        match origin {
            Origin::Interval(_) => {
                at_s += (((until_s - at_s) / mean_s).ceil() - 1.0).max(0.0) * mean_s
            }
            Origin::Detector(_) | Origin::Vote(_) => at_s = at_s.max(until_s),
        }
    }
}

fn gate(sending: &Sending) -> Option<RateLimit> {
    sending.limit.map(RateLimit::new)
}

/// From when on a start may pass that may not now.
fn refused_until(gate: &mut Option<RateLimit>, at: Ns) -> Option<Ns> {
    match gate.as_mut()?.admit(at) {
        Ok(Admission::Passed) => None,
        Ok(Admission::Refused { until }) => Some(until),
        Err(_) => unreachable!("starts are asked for in order"),
    }
}
