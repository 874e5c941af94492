//! What is offered to an uplink in one month.

use std::collections::BTreeMap;

use chance::Stream;
use network::{Admission, RateLimit, UplinkMessage};
use timeline::Ns;

use super::{Origin, Sending};

/// Rounding of a number of periods: a start that is due at the end of a month but for this belongs to the next.
const ROUNDING: f64 = 1e-9;
/// Months after which intervals are taken to come round, where they do not sooner.
const MOST_ROUND: u32 = 5000;

/// The number of the first start of an interval in or after this month, counted from that at the start of the deployment.
fn first(number: u32, rate: f64) -> f64 {
    (f64::from(number) * rate - ROUNDING).ceil().max(0.0)
}

/// Starts of an interval in this month of the deployment, of so many in a month on average: the whole number below or above.
pub(super) fn started(number: u32, rate: f64) -> u64 {
    (first(number + 1, rate) - first(number, rate)) as u64
}

/// Months after which intervals of these rates fall as in the first one.
pub(super) fn round(rates: &[f64]) -> u32 {
    let whole = |months: &u32| {
        rates.iter().all(|rate| {
            let starts = f64::from(*months) * rate;
            (starts - starts.round()).abs() < ROUNDING
        })
    };
    (1..MOST_ROUND).find(whole).unwrap_or(MOST_ROUND)
}

/// The starts of one origin, one after the other.
struct Source {
    origin: Origin,
    mean_s: f64,
    /// Of an interval: which start comes first in the month, and how many it has.
    offset_s: f64,
    left: u64,
    next_s: f64,
}

impl Source {
    fn new(origin: Origin, rate: f64, month: (u32, f64), stream: &mut Stream) -> Source {
        let (number, month_s) = month;
        let mean_s = month_s / rate;
        let mut source = Source {
            origin,
            mean_s,
            offset_s: 0.0,
            left: 0,
            next_s: 0.0,
        };
        match origin {
            Origin::Interval(_) => {
                let begun = f64::from(number) * rate;
                source.offset_s = (first(number, rate) - begun).max(0.0) * mean_s;
                source.left = started(number, rate);
                source.next_s = source.offset_s;
            }
            Origin::Detector(_) | Origin::Vote(_) => source.after(0.0, stream),
        }
        source
    }

    /// The next of a Poisson process after any instant is as far from it as from the last one.
    fn after(&mut self, at_s: f64, stream: &mut Stream) {
        self.next_s = at_s - self.mean_s * libm::log1p(-stream.uniform());
    }

    fn ended(&self, month_s: f64) -> bool {
        self.next_s >= month_s || (matches!(self.origin, Origin::Interval(_)) && self.left == 0)
    }

    /// Goes on to the next start, or to the next that is not before `until_s`.
    fn go_on(&mut self, until_s: Option<f64>, stream: &mut Stream) {
        match self.origin {
            Origin::Interval(_) => {
                let wait_s = until_s.unwrap_or(self.next_s) - self.next_s;
                let steps = (wait_s / self.mean_s).ceil().max(1.0);
                self.left = self.left.saturating_sub(steps as u64);
                self.next_s += steps * self.mean_s;
            }
            Origin::Detector(_) | Origin::Vote(_) => {
                let at_s = until_s.map_or(self.next_s, |until_s| until_s.max(self.next_s));
                self.after(at_s, stream);
            }
        }
    }
}

/// What is offered in this month of the deployment, in order, each with the number of its sending: what the `at_most` of the behaviours lets pass of what the origins start. Intervals
/// begin with the deployment.
///
/// Starts that every `at_most` they come to would refuse are passed over, so that there are no more of them than of what passes, for each origin: what is refused until an instant stays so
/// until then, whatever else comes.
pub(super) fn offers(
    sendings: &[Sending],
    rates: &BTreeMap<Origin, f64>,
    (number, month_s): (u32, f64),
    stream: &mut Stream,
) -> Result<Vec<(Ns, usize, UplinkMessage)>, String> {
    let mut sources: Vec<Source> = rates
        .iter()
        .filter(|(_, rate)| **rate > 0.0)
        .map(|(origin, rate)| Source::new(*origin, *rate, (number, month_s), stream))
        .collect();
    let mut gates: Vec<Option<RateLimit>> = sendings.iter().map(gate).collect();
    let mut all = Vec::new();
    loop {
        sources.retain(|source| !source.ended(month_s));
        let soonest = sources
            .iter_mut()
            .min_by(|a, b| a.next_s.total_cmp(&b.next_s).then(a.origin.cmp(&b.origin)));
        let Some(source) = soonest else {
            return Ok(all);
        };
        let at = Ns::from_s_f64(source.next_s).map_err(|e| e.to_string())?;
        let before = all.len();
        let mut until = Ns::MAX;
        for (sender, (sending, gate)) in sendings.iter().zip(&mut gates).enumerate() {
            for _ in 0..sending.ways.get(&source.origin).copied().unwrap_or(0) {
                if let Some(then) = refused_until(gate, at) {
                    until = until.min(then);
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
        let passed = all.len() > before;
        source.go_on((!passed).then(|| until.as_s_f64()), stream);
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
