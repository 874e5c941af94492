//! Which single fault explains the readings: each is fitted by solving the line again, and all are ranked.
//!
//! A fault with a free size is given the one with the least chi-square: on a grid even in its logarithm, then by golden section between the neighbours of the best (J. Kiefer,
//! Proceedings of the American Mathematical Society 4 (1953), 502; from memory). Rank is by `chi-square + 2 k`, `k` the free sizes: Akaike's criterion for Gaussian
//! errors of known spread (H. Akaike, IEEE Transactions on Automatic Control 19 (1974), 716; from memory).
//!
//! Two faults are alike where what they predict lies no further apart than [`ALIKE`] deviations, all readings and their correlation together: were one of them true, the other would
//! come before it in more than one of twenty readings of the line (half the distance is 1.645 deviations of the normal law).

use chance::chi_square_share_above;
use plan::{ModuleIx, SpanIx, SupplyIx};
use power::conductor::conductor_resistance_20_ohm_per_km;

use super::bench::{Bench, Setup};
use super::covariance::{Covariance, deviations, expected};
use super::predict::{End, Fault, Probe};
use super::quay::Quay;
use crate::conductors::next_sizes;

/// So many deviations keep two faults apart.
pub const ALIKE: f64 = 3.29;
/// Below this share of chance no single fault explains the readings.
pub const UNLIKELY: f64 = 0.01;
/// What a reading beyond every range adds where a number is expected, and the other way round: a hundred deviations (a choice of ours).
const MISMATCH: f64 = 1e4;
/// Above this a resistance is beyond the ranges that matter here, ohm (a choice of ours).
const OPEN_OHM: f64 = 1e5;
/// Sizes that are tried over the whole range of a fault, and steps that then close in on the best by 0.618 each (choices of ours).
const GRID: usize = 17;
const GOLDEN_STEPS: usize = 16;
/// Members of the first class that a further reading is asked to tell apart.
const MOST_MEMBERS: usize = 12;
/// Deviations beyond which more do not make a further reading better (a choice of ours).
const PLENTY: f64 = 10.0;

/// A fault fitted to the readings.
#[derive(Clone, Debug, PartialEq)]
pub struct Candidate {
    /// The fault.
    pub fault: Fault,
    /// Its size where it has a free one, in the unit that [`Fault`] states.
    pub size: Option<f64>,
    /// Sum of squares of what it leaves unexplained, in deviations.
    pub chi_square: f64,
    /// The same with twice the free sizes: less is better.
    pub criterion: f64,
    predicted: Vec<f64>,
}

/// A reading that was not taken and would tell the likeliest faults apart.
#[derive(Clone, Debug, PartialEq)]
pub struct Further {
    /// What to read.
    pub probe: Probe,
    /// What each of the first class predicts, in its order; `None` beyond those that are told apart.
    pub predicted: Vec<Option<f64>>,
    /// Pairs of the first class that it tells apart, and all pairs.
    pub pairs: (usize, usize),
}

/// Single faults ranked by how well they explain the readings.
#[derive(Clone, Debug, PartialEq)]
pub struct Ranking {
    /// Electric readings that were taken.
    pub readings: usize,
    /// The faults, the likeliest first.
    pub candidates: Vec<Candidate>,
    /// Faults that the readings do not tell apart, by their place in the list: the likeliest class first, each led by its likeliest.
    pub classes: Vec<Vec<usize>>,
    /// Share of lines with the likeliest fault and no other whose readings lie further off than these.
    pub share_further_off: f64,
    /// The reading that would tell the first class apart best; `None` where it has one member, or nothing that is read would.
    pub further: Option<Further>,
}

impl Ranking {
    /// Whether the readings call for no fault: that is in the first class.
    #[must_use]
    pub fn calls_for_none(&self) -> bool {
        let first = self.classes.first();
        first.is_some_and(|c| {
            c.iter()
                .any(|i| self.candidates[*i].fault == Fault::Nothing)
        })
    }

    /// Whether no single fault explains the readings.
    #[must_use]
    pub fn unexplained(&self) -> bool {
        self.share_further_off < UNLIKELY
    }
}

/// Ranks the single faults by electric readings of those that a sheet asks; `None` without any reading, or where the line as planned has no operating point.
pub(super) fn rank(
    bench: &Bench<'_>,
    quay: &Quay,
    asked: &[Probe],
    read: &[(Probe, f64)],
) -> Option<Ranking> {
    if read.is_empty() {
        return None;
    }
    let probes: Vec<Probe> = read.iter().map(|(p, _)| *p).collect();
    let readings: Vec<f64> = read.iter().map(|(_, r)| *r).collect();
    let (_, covariance) = expected(bench, quay, &probes)?;
    let held = Held {
        bench,
        probes: &probes,
        readings: &readings,
        covariance: &covariance,
    };
    let mut candidates: Vec<Candidate> = faults(bench)
        .into_iter()
        .filter_map(|fault| held.fitted(fault))
        .collect();
    candidates.sort_by(|a, b| a.criterion.total_cmp(&b.criterion));
    let classes = classes(&held, &candidates);
    let best = candidates.first()?;
    let degrees = readings.len().saturating_sub(best.fault.free());
    let share_further_off = match degrees {
        0 => 1.0,
        n => chi_square_share_above(best.chi_square.min(1e8), n as f64).ok()?,
    };
    let further = further(bench, quay, (asked, &probes), &candidates, classes.first()?);
    Some(Ranking {
        readings: readings.len(),
        share_further_off,
        classes,
        further,
        candidates,
    })
}

struct Held<'a> {
    bench: &'a Bench<'a>,
    probes: &'a [Probe],
    readings: &'a [f64],
    covariance: &'a Covariance,
}

impl Held<'_> {
    fn apart(&self, a: &[f64], b: &[f64]) -> f64 {
        let mut beyond = 0.0;
        let residuals = a.iter().zip(b).map(|(a, b)| {
            if a.is_finite() && b.is_finite() {
                return a - b;
            }
            if a.min(*b) < OPEN_OHM {
                beyond += MISMATCH;
            }
            0.0
        });
        let residuals: Vec<f64> = residuals.collect();
        self.covariance.chi_square(&residuals) + beyond
    }

    fn at(&self, fault: &Fault, size: f64) -> Option<(f64, Vec<f64>)> {
        let nominal = &self.bench.nominal;
        let predicted = self.bench.predict(nominal, fault, size, self.probes)?;
        Some((self.apart(self.readings, &predicted), predicted))
    }

    fn fitted(&self, fault: Fault) -> Option<Candidate> {
        let size = match fault.sizes() {
            None => None,
            Some(range) => Some(self.best_size(&fault, range)?),
        };
        let (chi_square, predicted) = self.at(&fault, size.unwrap_or(0.0))?;
        Some(Candidate {
            criterion: chi_square + 2.0 * fault.free() as f64,
            fault,
            size,
            chi_square,
            predicted,
        })
    }

    fn best_size(&self, fault: &Fault, (low, high): (f64, f64)) -> Option<f64> {
        let of = |ln: f64| {
            let found = self.at(fault, libm::exp(ln));
            found.map_or(f64::INFINITY, |(chi_square, _)| chi_square)
        };
        let (low, high) = (libm::log(low), libm::log(high));
        let step = (high - low) / (GRID - 1) as f64;
        let grid: Vec<f64> = (0..GRID).map(|i| of(low + step * i as f64)).collect();
        let best = (0..GRID).min_by(|a, b| grid[*a].total_cmp(&grid[*b]))?;
        if grid[best].is_infinite() {
            return None;
        }
        let at = |i: usize| low + step * i as f64;
        let (mut a, mut b) = (at(best.saturating_sub(1)), at((best + 1).min(GRID - 1)));
        let golden = 0.5 * (libm::sqrt(5.0) - 1.0);
        let (mut left, mut right) = (b - golden * (b - a), a + golden * (b - a));
        let (mut at_left, mut at_right) = (of(left), of(right));
        for _ in 0..GOLDEN_STEPS {
            if at_left <= at_right {
                (b, right, at_right) = (right, left, at_left);
                left = b - golden * (b - a);
                at_left = of(left);
            } else {
                (a, left, at_left) = (left, right, at_right);
                right = a + golden * (b - a);
                at_right = of(right);
            }
        }
        let (found, at_found) = match at_left <= at_right {
            true => (left, at_left),
            false => (right, at_right),
        };
        Some(libm::exp(if at_found <= grid[best] {
            found
        } else {
            at(best)
        }))
    }
}

/// Every single fault that is tried. Two modules that are alike in all that is read are not swapped.
pub(super) fn faults(bench: &Bench<'_>) -> Vec<Fault> {
    let line = bench.line;
    let mut all = vec![Fault::Nothing];
    let wired = |s: &usize| {
        let usual = bench
            .read_of(Setup::Usual)
            .map(|r| &bench.reads[r].topology);
        usual.is_some_and(|t| t.legs.iter().any(|l| l.2 == super::bench::Leg::Span(*s)))
    };
    for s in (0..line.spans.len()).filter(wired) {
        let span = SpanIx(s);
        for at_joining in [false, true] {
            for end in [End::From, End::To] {
                all.push(Fault::PoorContact {
                    span,
                    end,
                    at_joining,
                });
            }
        }
        if let Some(own) = line.spans[s].conductor {
            let per_km = conductor_resistance_20_ohm_per_km;
            for (other, size) in next_sizes(own) {
                if let (Ok(own), Ok(other)) = (per_km(own), per_km(other)) {
                    let times = other / own;
                    all.push(Fault::Conductor { span, size, times });
                }
            }
        }
        all.extend([
            Fault::Length(span),
            Fault::Open(span),
            Fault::Reversed(span),
        ]);
    }
    let nominal = &bench.nominal;
    let alike = |a: usize, b: usize| {
        nominal.usual[a] == nominal.usual[b]
            && nominal.heavy[a] == nominal.heavy[b]
            && nominal.through_ohm[a] == nominal.through_ohm[b]
    };
    let placed: Vec<usize> = bench.order.iter().map(|(m, _)| m.0).collect();
    for (i, &a) in placed.iter().enumerate() {
        for &b in placed[i + 1..].iter().filter(|b| !alike(a, **b)) {
            all.push(Fault::Swapped(ModuleIx(a), ModuleIx(b)));
        }
    }
    for &m in &placed {
        let module = ModuleIx(m);
        if !(nominal.usual[m].is_empty() && nominal.heavy[m].is_empty()) {
            all.extend([Fault::DrawsNothing(module), Fault::OtherLoad(module)]);
        }
        all.extend([Fault::Leak(module), Fault::Short(module)]);
    }
    for s in 0..line.supplies.len() {
        let supply = SupplyIx(s);
        all.extend([Fault::SupplyVolts(supply), Fault::SupplyContact(supply)]);
    }
    all
}

fn classes(held: &Held<'_>, candidates: &[Candidate]) -> Vec<Vec<usize>> {
    let mut left: Vec<usize> = (0..candidates.len()).collect();
    let mut classes = Vec::new();
    while let Some(&leader) = left.first() {
        let of = &candidates[leader].predicted;
        let (class, others) = left.iter().partition(|i| {
            **i == leader || held.apart(of, &candidates[**i].predicted) <= ALIKE * ALIKE
        });
        classes.push(class);
        left = others;
    }
    classes
}

/// The reading that was not taken and tells most pairs of a class apart: of the sheet first, then every voltage at a module and across a contact.
fn further(
    bench: &Bench<'_>,
    quay: &Quay,
    (asked, taken): (&[Probe], &[Probe]),
    candidates: &[Candidate],
    class: &[usize],
) -> Option<Further> {
    let members = &class[..class.len().min(MOST_MEMBERS)];
    if members.len() < 2 {
        return None;
    }
    let mut probes = asked.to_vec();
    for read in bench
        .reads
        .iter()
        .filter(|r| !matches!(r.setup, Setup::Joined(_)))
    {
        probes.extend(
            bench
                .order
                .iter()
                .map(|(m, _)| Probe::Volts(read.setup, *m)),
        );
        if read.setup != Setup::Off {
            for (s, _) in bench.line.spans.iter().enumerate() {
                for end in [End::From, End::To] {
                    probes.push(Probe::Drop(read.setup, SpanIx(s), end));
                }
            }
        }
    }
    probes.retain(|p| !taken.contains(p) && bench.expectation(*p).is_ok());
    probes.retain(|p| {
        bench
            .predict(&bench.nominal, &Fault::Nothing, 0.0, &[*p])
            .is_some()
    });
    let (_, deviations) = deviations(bench, quay, &probes)?;
    let told: Vec<Option<Vec<f64>>> = members
        .iter()
        .map(|&i| {
            let c = &candidates[i];
            bench.predict(&bench.nominal, &c.fault, c.size.unwrap_or(0.0), &probes)
        })
        .collect();
    let pairs = members.len() * (members.len() - 1) / 2;
    let mut best: Option<(usize, (usize, f64))> = None;
    for (p, deviation) in deviations.iter().enumerate() {
        let (mut apart, mut sum) = (0, 0.0);
        for (i, one) in told.iter().enumerate() {
            for other in &told[i + 1..] {
                let (Some(one), Some(other)) = (one, other) else {
                    continue;
                };
                let between = (one[p] - other[p]).abs() / deviation;
                let between = if between.is_nan() { 0.0 } else { between };
                apart += usize::from(between > ALIKE);
                sum += between.min(PLENTY);
            }
        }
        let more = best.is_none_or(|(_, (held, held_sum))| {
            apart > held || apart == held && sum > held_sum * (1.0 + 1e-9)
        });
        if apart > 0 && more {
            best = Some((p, (apart, sum)));
        }
    }
    let (p, (apart, _)) = best?;
    let predicted = told.iter().map(|t| t.as_ref().map(|t| t[p])).collect();
    Some(Further {
        probe: probes[p],
        predicted,
        pairs: (apart, pairs),
    })
}
