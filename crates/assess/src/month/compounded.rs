//! The exact distribution of what a month bills where each message is billed by itself.

use std::collections::BTreeMap;

use super::offers::{Span, round};
use super::{MONTH_S, Origin, Sending, TAIL};

/// Products that are added up at most in one convolution.
const MOST_PRODUCTS: f64 = 5e7;
/// Sets of counts that are taken together at most.
const MOST_TOGETHER: f64 = 5e6;

/// The exact distribution when each message is billed by itself.
///
/// Origins that start the same behaviour share its `at_most`, so that their counts are taken together; all others are independent of each other. Intervals start
/// with the deployment, so that what they bill is mixed month by month, each with what shares a limit with them.
pub(super) fn compounded(
    sendings: &[Sending],
    rates: &BTreeMap<Origin, f64>,
    lead_s: f64,
) -> Result<Vec<f64>, String> {
    let longer = 1.0 + lead_s / MONTH_S;
    let is_interval = |origin: &Origin| matches!(origin, Origin::Interval(_));
    let billed = |counts: &[(Origin, u64)]| -> u64 {
        let started = |s: &Sending| {
            let each = counts
                .iter()
                .map(|(origin, n)| s.ways.get(origin).copied().unwrap_or(0).saturating_mul(*n));
            each.fold(0, u64::saturating_add).min(s.most)
        };
        let each = sendings.iter().map(|s| s.billed.saturating_mul(started(s)));
        each.fold(0, u64::saturating_add)
    };
    let (with_intervals, apart): (Vec<_>, Vec<_>) = sharing(sendings, rates)
        .into_iter()
        .partition(|group| group.iter().any(is_interval));
    let mut sum = vec![1.0];
    for group in &apart {
        let one = together(&alike(sendings, rates, group, longer), &[], &billed)?;
        sum = convolved(&sum, &one)?;
    }
    let by_chance: Vec<Vec<(Origin, f64)>> = with_intervals
        .iter()
        .map(|group| {
            let chance: Vec<Origin> = group.iter().filter(|o| !is_interval(o)).copied().collect();
            alike(sendings, rates, &chance, longer)
        })
        .collect();
    let mut mixed: Vec<f64> = Vec::new();
    for (starts, share) in starts_of_intervals(rates, lead_s) {
        let mut month = vec![1.0];
        for (group, chance) in with_intervals.iter().zip(&by_chance) {
            let own: Vec<(Origin, u64)> = starts
                .iter()
                .filter(|(o, _)| group.contains(o))
                .copied()
                .collect();
            month = convolved(&month, &together(chance, &own, &billed)?)?;
        }
        if mixed.len() < month.len() {
            mixed.resize(month.len(), 0.0);
        }
        for (into, p) in mixed.iter_mut().zip(month) {
            *into += share * p;
        }
    }
    convolved(&mixed, &sum)
}

/// Origins in groups: in one those that start a behaviour with an `at_most` together, directly or by way of another.
fn sharing(sendings: &[Sending], rates: &BTreeMap<Origin, f64>) -> Vec<Vec<Origin>> {
    let mut groups: Vec<Vec<Origin>> = rates.keys().map(|o| vec![*o]).collect();
    for s in sendings.iter().filter(|s| s.most < u64::MAX) {
        let starts = |origin: &Origin| s.ways.get(origin).is_some_and(|ways| *ways > 0);
        let (tied, others): (Vec<_>, Vec<_>) = groups
            .into_iter()
            .partition(|group| group.iter().any(starts));
        groups = others;
        if !tied.is_empty() {
            groups.push(tied.concat());
        }
    }
    for group in &mut groups {
        group.sort_unstable();
    }
    groups.sort_unstable();
    groups
}

/// The means of what comes by chance in a group, with origins that lead to the same in the same ways as one: sums of Poisson counts are Poisson counts.
fn alike(
    sendings: &[Sending],
    rates: &BTreeMap<Origin, f64>,
    group: &[Origin],
    longer: f64,
) -> Vec<(Origin, f64)> {
    let ways = |origin: &Origin| -> Vec<u64> {
        let each = sendings.iter().map(|s| s.ways.get(origin));
        each.map(|ways| ways.copied().unwrap_or(0)).collect()
    };
    let mut all: Vec<(Origin, f64)> = Vec::new();
    for origin in group {
        let mean = rates[origin] * longer;
        match all.iter_mut().find(|(o, _)| ways(o) == ways(origin)) {
            Some((_, sum)) => *sum += mean,
            None => all.push((*origin, mean)),
        }
    }
    all
}

/// What origins bill together, of these means by chance and of so many starts that are sure.
fn together(
    chance: &[(Origin, f64)],
    sure: &[(Origin, u64)],
    billed: &impl Fn(&[(Origin, u64)]) -> u64,
) -> Result<Vec<f64>, String> {
    let counts: Vec<Vec<(u64, f64)>> = chance.iter().map(|(_, mean)| poisson(*mean)).collect();
    let products: f64 = counts.iter().map(|c| c.len() as f64).product();
    if products > MOST_TOGETHER {
        return Err(format!(
            "{} detectors or votes lead in unlike ways to behaviours that share an `at_most`, and come too often to be counted together",
            counts.len()
        ));
    }
    let mut numbers: BTreeMap<u64, f64> = BTreeMap::new();
    let mut at = vec![0; counts.len()];
    let mut now: Vec<(Origin, u64)> = chance.iter().map(|(o, _)| (*o, 0)).collect();
    now.extend(sure);
    loop {
        let mut p = 1.0;
        for (i, of) in counts.iter().enumerate() {
            now[i].1 = of[at[i]].0;
            p *= of[at[i]].1;
        }
        *numbers.entry(billed(&now)).or_insert(0.0) += p;
        let Some(next) = (0..at.len()).rev().find(|i| at[*i] + 1 < counts[*i].len()) else {
            return counted(numbers.into_iter().collect());
        };
        at[next] += 1;
        at[next + 1..].fill(0);
    }
}

/// The distribution of a sum of two numbers that are independent.
fn convolved(a: &[f64], b: &[f64]) -> Result<Vec<f64>, String> {
    if a.len() as f64 * b.len() as f64 > MOST_PRODUCTS {
        return Err(too_many());
    }
    let mut both = vec![0.0; a.len() + b.len() - 1];
    for (i, p) in a.iter().enumerate().filter(|(_, p)| **p > 0.0) {
        for (j, q) in b.iter().enumerate() {
            both[i + j] += p * q;
        }
    }
    Ok(both)
}

fn too_many() -> String {
    "more messages are expected than can be added up".to_owned()
}

/// Numbers billed and how likely they are, as a distribution from 0.
fn counted(numbers: Vec<(u64, f64)>) -> Result<Vec<f64>, String> {
    let longest = numbers.iter().map(|(n, _)| *n).max().unwrap_or(0);
    if longest as f64 > MOST_PRODUCTS {
        return Err(too_many());
    }
    let mut all = vec![0.0; longest as usize + 1];
    for (n, p) in numbers {
        all[n as usize] += p;
    }
    Ok(all)
}

/// How often each interval starts in a month, with the share of such months, until the intervals come round.
fn starts_of_intervals(
    rates: &BTreeMap<Origin, f64>,
    lead_s: f64,
) -> Vec<(Vec<(Origin, u64)>, f64)> {
    let intervals: Vec<(Origin, f64)> = rates
        .iter()
        .filter(|(o, _)| matches!(o, Origin::Interval(_)))
        .map(|(o, rate)| (*o, *rate))
        .collect();
    let of_all: Vec<f64> = intervals.iter().map(|(_, rate)| *rate).collect();
    let months = round(&of_all);
    let mut alike: BTreeMap<Vec<(Origin, u64)>, u32> = BTreeMap::new();
    for number in 0..months {
        let span = Span {
            number,
            month_s: MONTH_S,
            lead_s,
        };
        let starts = intervals.iter().map(|(o, rate)| (*o, span.started(*rate)));
        *alike.entry(starts.collect()).or_insert(0) += 1;
    }
    let all = alike.into_iter();
    all.map(|(starts, n)| (starts, f64::from(n) / f64::from(months)))
        .collect()
}

/// A Poisson distribution but for its tails: `P(n) = exp(n ln m - m - ln n!)`.
fn poisson(mean: f64) -> Vec<(u64, f64)> {
    if mean <= 0.0 {
        return vec![(0, 1.0)];
    }
    let at = |n: u64| {
        let n = n as f64;
        libm::exp(n * libm::log(mean) - mean - libm::lgamma(n + 1.0))
    };
    let middle = mean.floor() as u64;
    let mut below = middle;
    while below > 0 && at(below - 1) > TAIL * 1e-3 {
        below -= 1;
    }
    let mut all: Vec<(u64, f64)> = Vec::new();
    for n in below.. {
        let p = at(n);
        if n > middle && p < TAIL * 1e-3 {
            break;
        }
        all.push((n, p));
    }
    all
}
