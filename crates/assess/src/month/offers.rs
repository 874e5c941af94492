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

/// A month of the deployment.
#[derive(Clone, Copy, Debug)]
pub(super) struct Span {
    /// Which of them, from 0.
    pub(super) number: u32,
    pub(super) month_s: f64,
    /// How long before it begins what is offered may still wait, s; before the first there is nothing.
    pub(super) lead_s: f64,
}

impl Span {
    /// A month by itself.
    #[cfg(test)]
    pub(super) fn alone(number: u32, month_s: f64) -> Span {
        Span {
            number,
            month_s,
            lead_s: 0.0,
        }
    }

    /// From its begin, the time before it in, to its end, s.
    fn length_s(&self) -> f64 {
        match self.number {
            0 => self.month_s,
            _ => self.lead_s + self.month_s,
        }
    }

    /// Begin of it in periods of an interval that starts so often a month, from the start of the deployment.
    fn begun(&self, rate: f64) -> f64 {
        (f64::from(self.number) * rate - self.lead_s / self.month_s * rate).max(0.0)
    }

    /// Number of the first start in it, counted from that at the start of the deployment.
    fn first(&self, rate: f64) -> f64 {
        (self.begun(rate) - ROUNDING).ceil().max(0.0)
    }

    /// Starts of an interval in it: the whole number below or above.
    pub(super) fn started(&self, rate: f64) -> u64 {
        let next = Span {
            number: self.number + 1,
            lead_s: 0.0,
            ..*self
        };
        (next.first(rate) - self.first(rate)) as u64
    }
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
    fn new(origin: Origin, rate: f64, span: Span, stream: &mut Stream) -> Source {
        let mean_s = span.month_s / rate;
        let mut source = Source {
            origin,
            mean_s,
            offset_s: 0.0,
            left: 0,
            next_s: 0.0,
        };
        match origin {
            Origin::Interval(_) => {
                source.offset_s = (span.first(rate) - span.begun(rate)).max(0.0) * mean_s;
                source.left = span.started(rate);
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

    fn ended(&self, length_s: f64) -> bool {
        self.next_s >= length_s || (matches!(self.origin, Origin::Interval(_)) && self.left == 0)
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

/// What is offered in this month of the deployment and the time before it, from whose begin it is counted, in order, each with the number of its sending: what the `at_most` of the behaviours lets pass of what the origins start. Intervals
/// begin with the deployment.
///
/// Starts that every `at_most` they come to would refuse are passed over, so that there are no more of them than of what passes, for each origin: what is refused until an instant stays so
/// until then, whatever else comes.
pub(super) fn offers(
    sendings: &[Sending],
    rates: &BTreeMap<Origin, f64>,
    span: Span,
    stream: &mut Stream,
) -> Result<Vec<(Ns, usize, UplinkMessage)>, String> {
    let mut sources: Vec<Source> = rates
        .iter()
        .filter(|(_, rate)| **rate > 0.0)
        .map(|(origin, rate)| Source::new(*origin, *rate, span, stream))
        .collect();
    let mut gates: Vec<Option<RateLimit>> = sendings.iter().map(gate).collect();
    let mut all = Vec::new();
    loop {
        sources.retain(|source| !source.ended(span.length_s()));
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
