//! Days of clearness from a library of Markov transition matrices.
//!
//! Source: Aguiar, Collares-Pereira and Conde 1988 (see [`super::matrices`]). The month's clearness Kt picks one of ten
//! classes; a day's clearness K falls in one of ten bins; the next day's bin is drawn from the row of the present one,
//! and K evenly within the bin.
//!
//! Deliberate deviations: the rows are divided by their sums; the K of a class are multiplied by one factor so that the
//! mean over the chain's stationary state, with K cut at [`HIGHEST_DAILY_CLEARNESS`], is Kt and not the class's own
//! mean (which jumps at the edges: Kt 0.2987 would get 0.241). At the turn of a month the chain goes on from the bin of
//! the new class that has the last day's rank (the share of days below it, in the stationary state of each class): a
//! day that was dull for its month is followed by one that is dull for the next, and the mean of neither month moves.
//!
//! Validity: Kt 0.1 to 0.8; the classes below 0.30 and from 0.65 to 0.70 come from little data. Accuracy: of the
//! stationary mean 1e-12. How far the spread of a chain is that of a given site, no check here can tell.

use chance::Stream;

use super::clearness::HIGHEST_DAILY_CLEARNESS;
use super::matrices::{CLASS_STEPS, RANGES, TRANSITIONS};

const BINS: usize = 10;

/// The chain of one month.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Chain {
    /// Running sums of the rows, without the last, which is 1.
    cumulative: [[f64; BINS - 1]; BINS],
    /// Running sums of the stationary state, without the last.
    stationary: [f64; BINS - 1],
    low: f64,
    width: f64,
    factor: f64,
}

impl Chain {
    /// The chain for a month's clearness, which the caller has checked.
    pub(super) fn new(monthly: f64) -> Self {
        let class = CLASS_STEPS.partition_point(|&end| end < monthly);
        let rows = rows(class);
        let stationary = stationary(&rows);
        let (low, high) = RANGES[class];
        let width = (high - low) / BINS as f64;
        Self {
            cumulative: rows.map(running_sums),
            stationary: running_sums(stationary),
            low,
            width,
            factor: factor(&stationary, low, width, monthly),
        }
    }

    /// Bin of a first day.
    pub(super) fn first_bin(&self, stream: &mut Stream) -> usize {
        bin_at(&self.stationary, stream.uniform())
    }

    /// Bin of the day after a day in `bin`.
    pub(super) fn next_bin(&self, bin: usize, stream: &mut Stream) -> usize {
        bin_at(&self.cumulative[bin], stream.uniform())
    }

    /// The clearness of a day at a place in its bin (0 to below 1), with this month's factor, cut at the highest.
    pub(super) fn clearness(&self, bin: usize, place: f64) -> f64 {
        let before = self.low + self.width * (bin as f64 + place);
        (self.factor * before).min(HIGHEST_DAILY_CLEARNESS)
    }

    /// Share of days below a place in a bin, in the stationary state.
    pub(super) fn rank(&self, bin: usize, place: f64) -> f64 {
        let below = if bin == 0 {
            0.0
        } else {
            self.stationary[bin - 1]
        };
        let above = if bin == BINS - 1 {
            1.0
        } else {
            self.stationary[bin]
        };
        below + place * (above - below)
    }

    /// The bin of a rank.
    pub(super) fn bin_of_rank(&self, rank: f64) -> usize {
        bin_at(&self.stationary, rank)
    }
}

/// The rows of a class, each divided by its sum.
fn rows(class: usize) -> [[f64; BINS]; BINS] {
    TRANSITIONS[class].map(|row| {
        let sum: f64 = row.iter().sum();
        row.map(|chance| chance / sum)
    })
}

/// The state that a step leaves as it is, by steps from an even one. Every class has one such state and forgets its
/// beginning by a factor below 0.5 a step, so a thousand steps leave nothing of it.
fn stationary(rows: &[[f64; BINS]; BINS]) -> [f64; BINS] {
    let mut state = [1.0 / BINS as f64; BINS];
    for _ in 0..1000 {
        let mut next = [0.0; BINS];
        for (share, row) in state.iter().zip(rows) {
            for (sum, chance) in next.iter_mut().zip(row) {
                *sum += share * chance;
            }
        }
        state = next;
    }
    state
}

fn running_sums(row: [f64; BINS]) -> [f64; BINS - 1] {
    let mut sums = [0.0; BINS - 1];
    let mut sum = 0.0;
    for (at, chance) in sums.iter_mut().zip(row) {
        sum += chance;
        *at = sum;
    }
    sums
}

fn bin_at(sums: &[f64; BINS - 1], share: f64) -> usize {
    sums.iter().filter(|&&sum| sum <= share).count()
}

/// Mean over the stationary state of `factor` times K, cut at the highest of a day.
fn cut_mean(stationary: &[f64; BINS], low: f64, width: f64, factor: f64) -> f64 {
    let cut = HIGHEST_DAILY_CLEARNESS / factor;
    stationary
        .iter()
        .enumerate()
        .map(|(bin, share)| {
            let from = low + width * bin as f64;
            let uncut = (cut - from).clamp(0.0, width);
            let below = uncut * (from + 0.5 * uncut) + (width - uncut) * cut;
            share * factor * below / width
        })
        .sum()
}

/// The factor that gives the mean `monthly`; the mean rises with it.
fn factor(stationary: &[f64; BINS], low: f64, width: f64, monthly: f64) -> f64 {
    // Every class's mean lies above 0.24 and no monthly clearness above 0.8, so the root lies below 20.
    numerics::brent(
        |factor| cut_mean(stationary, low, width, factor) - monthly,
        1e-3,
        20.0,
        1e-13,
    )
    .expect("the mean rises from below every monthly clearness to the highest of a day")
    .x
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Stationary mean, spread, correlation from day to day and share below 0.2 of the ten classes:
    /// `reference/power/numpy-weather-chains.csv`, by NumPy's eigenvectors.
    #[test]
    fn val_stationary_states() {
        let rows_of_file = crate::weather::reference_rows("numpy-weather-chains.csv");
        assert_eq!(rows_of_file.len(), 10);
        for row in &rows_of_file {
            let class = row[0] as usize;
            let rows = rows(class);
            let state = stationary(&rows);
            let (low, high) = RANGES[class];
            let width = (high - low) / 10.0;
            let middle: Vec<f64> = (0..10)
                .map(|bin| low + width * (bin as f64 + 0.5))
                .collect();
            let mean: f64 = state.iter().zip(&middle).map(|(p, k)| p * k).sum();
            let variance: f64 = state
                .iter()
                .zip(&middle)
                .map(|(p, k)| p * ((k - mean).powi(2) + width * width / 12.0))
                .sum();
            let product: f64 = (0..10)
                .flat_map(|i| (0..10).map(move |j| (i, j)))
                .map(|(i, j)| state[i] * rows[i][j] * (middle[i] - mean) * (middle[j] - mean))
                .sum();
            let below: f64 = state
                .iter()
                .enumerate()
                .map(|(bin, p)| p * ((0.2 - low) / width - bin as f64).clamp(0.0, 1.0))
                .sum();
            for (ours, theirs) in [mean, variance.sqrt(), product / variance, below]
                .into_iter()
                .zip(&row[1..])
            {
                assert!(
                    (ours - theirs).abs() < 1e-8,
                    "{class}: {ours} against {theirs}"
                );
            }
        }
    }

    /// The ranks of two classes meet: a rank taken from a bin leads back to it.
    #[test]
    fn verif_ranks_lead_back_to_their_bins() {
        for monthly in [0.2, 0.33, 0.5, 0.75] {
            let chain = Chain::new(monthly);
            for bin in 0..BINS {
                let (from, to) = (chain.rank(bin, 0.0), chain.rank(bin, 1.0));
                assert!(from <= to);
                if from < to {
                    assert_eq!(chain.bin_of_rank(chain.rank(bin, 0.5)), bin);
                }
            }
            assert_eq!((chain.rank(0, 0.0), chain.rank(BINS - 1, 1.0)), (0.0, 1.0));
        }
    }

    #[test]
    fn verif_the_factor_gives_the_month_its_mean() {
        for hundredth in 10..=80 {
            let monthly = f64::from(hundredth) / 100.0;
            let chain = Chain::new(monthly);
            let class = CLASS_STEPS.partition_point(|&end| end < monthly);
            let state = stationary(&rows(class));
            let mean = cut_mean(&state, chain.low, chain.width, chain.factor);
            assert!((mean - monthly).abs() < 1e-11, "{monthly}: {mean}");
        }
    }
}
