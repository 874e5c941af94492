//! Comparing what was found with what was labelled: one to one, greedy by score.
//!
//! Found soundings are taken from the highest score down (equal scores: the earlier begin, then the lower index); each
//! takes the free labelled sounding that fits best. What takes none is a false alarm, what is not taken is missed. Two that
//! both say their band fit only if the bands touch.
//! Precision = hits / found, recall = hits / labelled, F1 = 2 hits / (found + labelled).
//!
//! Greedy matching is not always the largest possible one; it finds at least half as many pairs (a maximal matching
//! against a maximum one) and all of them where no sounding fits two.

use alloc::vec;
use alloc::vec::Vec;
use core::cmp::Ordering;

/// A sound in time, and in frequency where that is known.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sounding {
    /// Begin, s.
    pub begin_s: f64,
    /// End, s.
    pub end_s: f64,
    /// Score by which found soundings take their turn, any scale; not looked at in labels.
    pub score: f64,
    /// Lowest and highest frequency, Hz; `None` where nothing is said of it.
    pub band_hz: Option<(f64, f64)>,
}

/// When a found sounding fits a labelled one.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Rule {
    /// They have more than `least_s` (zero or more) of time in common. Best: most in common, then the nearest begin, then
    /// the lower index.
    Overlap {
        /// Time in common that must be exceeded, s.
        least_s: f64,
    },
    /// Their begins differ by at most this. Best: the nearest begin, then the lower index.
    Begin {
        /// Largest difference, s.
        within_s: f64,
    },
}

/// What was paired.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Matching {
    /// Pairs of indices (found, labelled), in the order of the found ones.
    pub hits: Vec<(usize, usize)>,
    /// Found without a label.
    pub false_alarms: Vec<usize>,
    /// Labelled, not found.
    pub missed: Vec<usize>,
}

impl Matching {
    /// Share of what was found that is labelled; `None` when nothing was found.
    #[must_use]
    pub fn precision(&self) -> Option<f64> {
        share(self.hits.len(), self.hits.len() + self.false_alarms.len())
    }

    /// Share of the labelled that was found; `None` when nothing is labelled.
    #[must_use]
    pub fn recall(&self) -> Option<f64> {
        share(self.hits.len(), self.hits.len() + self.missed.len())
    }

    /// Harmonic mean of precision and recall; `None` when nothing was found and nothing is labelled.
    #[must_use]
    pub fn f1(&self) -> Option<f64> {
        share(
            2 * self.hits.len(),
            2 * self.hits.len() + self.false_alarms.len() + self.missed.len(),
        )
    }
}

fn share(part: usize, whole: usize) -> Option<f64> {
    (whole > 0).then(|| part as f64 / whole as f64)
}

/// Pair found with labelled soundings. Soundings with a not-a-number fit nothing. Each found one looks at the labels whose begin
/// lies near enough, so long as none of them is very long.
#[must_use]
pub fn match_events(found: &[Sounding], truth: &[Sounding], rule: Rule) -> Matching {
    let mut turns: Vec<usize> = (0..found.len()).collect();
    turns.sort_by(|&a, &b| {
        found[b]
            .score
            .total_cmp(&found[a].score)
            .then(found[a].begin_s.total_cmp(&found[b].begin_s))
            .then(a.cmp(&b))
    });
    let by_begin = ByBegin::new(truth);
    let mut taken_by: Vec<Option<usize>> = vec![None; truth.len()];
    let mut partner: Vec<Option<usize>> = vec![None; found.len()];
    for &f in &turns {
        let mut best: Option<(usize, Fit)> = None;
        for &t in by_begin.near(truth, &found[f], rule) {
            if taken_by[t].is_some() {
                continue;
            }
            let Some(fit) = fit(&found[f], &truth[t], rule) else {
                continue;
            };
            let better = |(held_by, held): &(usize, Fit)| fit.order(held).then(held_by.cmp(&t));
            if best
                .as_ref()
                .is_none_or(|held| better(held) == Ordering::Greater)
            {
                best = Some((t, fit));
            }
        }
        if let Some((t, _)) = best {
            taken_by[t] = Some(f);
            partner[f] = Some(t);
        }
    }
    Matching {
        hits: partner
            .iter()
            .enumerate()
            .filter_map(|(f, t)| t.map(|t| (f, t)))
            .collect(),
        false_alarms: (0..found.len()).filter(|&f| partner[f].is_none()).collect(),
        missed: (0..truth.len())
            .filter(|&t| taken_by[t].is_none())
            .collect(),
    }
}

/// Labelled soundings in the order of their begin.
struct ByBegin {
    /// Indices; those without a begin are left out, as they fit nothing.
    order: Vec<usize>,
    /// Length of the longest, s.
    longest_s: f64,
}

impl ByBegin {
    fn new(truth: &[Sounding]) -> Self {
        let mut order: Vec<usize> = (0..truth.len())
            .filter(|&t| !truth[t].begin_s.is_nan())
            .collect();
        order.sort_by(|&a, &b| truth[a].begin_s.total_cmp(&truth[b].begin_s));
        let longest_s = truth
            .iter()
            .map(|t| t.end_s - t.begin_s)
            .fold(0.0, f64::max);
        Self { order, longest_s }
    }

    /// All that may fit by their begin, and perhaps more.
    fn near(&self, truth: &[Sounding], found: &Sounding, rule: Rule) -> &[usize] {
        let (before_s, after_s) = match rule {
            Rule::Overlap { .. } => (self.longest_s, found.end_s - found.begin_s),
            Rule::Begin { within_s } => (within_s, within_s),
        };
        // More than any rounding.
        let slack_s = 1e-9 * (1.0 + before_s + after_s.abs() + found.begin_s.abs());
        let (from_s, to_s) = (
            found.begin_s - before_s - slack_s,
            found.begin_s + after_s + slack_s,
        );
        let first = self.order.partition_point(|&t| truth[t].begin_s < from_s);
        let last = self.order.partition_point(|&t| truth[t].begin_s <= to_s);
        &self.order[first..last.max(first)]
    }
}

/// How well two soundings fit: more in common first, then the nearer begin.
#[derive(Clone, Copy)]
struct Fit {
    common_s: f64,
    apart_s: f64,
}

impl Fit {
    fn order(&self, other: &Self) -> Ordering {
        self.common_s
            .total_cmp(&other.common_s)
            .then(other.apart_s.total_cmp(&self.apart_s))
    }
}

fn bands_touch(found: &Sounding, label: &Sounding) -> bool {
    match (found.band_hz, label.band_hz) {
        (Some(a), Some(b)) => a.0 <= b.1 && b.0 <= a.1,
        _ => true,
    }
}

fn fit(found: &Sounding, label: &Sounding, rule: Rule) -> Option<Fit> {
    if !bands_touch(found, label) {
        return None;
    }
    let apart_s = (found.begin_s - label.begin_s).abs();
    match rule {
        Rule::Overlap { least_s } => {
            let common_s = found.end_s.min(label.end_s) - found.begin_s.max(label.begin_s);
            (common_s > least_s && !apart_s.is_nan()).then_some(Fit { common_s, apart_s })
        }
        Rule::Begin { within_s } => (apart_s <= within_s).then_some(Fit {
            common_s: 0.0,
            apart_s,
        }),
    }
}
