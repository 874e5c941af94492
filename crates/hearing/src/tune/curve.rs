//! The operating curve: shares and rates with exact limits, threshold by threshold, and the threshold that keeps an allowance.
//!
//! Recall and precision have two-sided Clopper-Pearson limits, the rate of false alarms two-sided Garwood limits over the time
//! judged, or from [`chance::FEWEST_DAYS`] days of recordings with a time on those of days drawn whole. "Two-sided at 95 %" leaves 2.5 % beyond each limit, so that a rate whose upper limit keeps an allowance keeps it with
//! 97.5 % confidence. With no false alarm at all the upper limit is 3.689 over the time, so an allowance of one a day needs 3.69 days.

use chance::{LimitError, LimitsFrom, clopper_pearson, garwood};

use super::days::{DayCounts, alarm_rate, together};
use super::score::{Counts, Score};

const SECONDS_PER_HOUR: f64 = 3600.0;

/// A share (0 to 1) or a rate, in the unit of the field that holds it, with its two-sided limits.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Limited {
    /// As it was counted.
    pub value: f64,
    /// Lower limit.
    pub low: f64,
    /// Upper limit.
    pub high: f64,
}

/// What a detector does at one threshold.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Point {
    /// The deciding threshold, dB.
    pub threshold_db: f64,
    /// What was found.
    pub counts: Counts,
    /// Share of the labels that were found; `None` without labels.
    pub recall: Option<Limited>,
    /// Share of what was found that is labelled; `None` when nothing was found.
    pub precision: Option<Limited>,
    /// Harmonic mean of the two; `None` without labels when nothing was found.
    pub f1: Option<f64>,
    /// False alarms per hour; `None` when no time was judged.
    pub false_alarms_per_h: Option<Limited>,
}

/// A detector at many thresholds.
#[derive(Debug, Clone, PartialEq)]
pub struct Curve {
    /// Confidence of all limits, two-sided, 0 to 1.
    pub confidence: f64,
    /// Time in which the detector could decide, s.
    pub judged_s: f64,
    /// Time heard, gaps among it, s.
    pub heard_s: f64,
    /// Labels that count.
    pub labelled: u64,
    /// By threshold, rising.
    pub points: Vec<Point>,
    /// The days on which something was judged; `None` where a recording has no time.
    pub days: Option<Vec<DayCounts>>,
}

impl Curve {
    /// What the limits of its false alarms rest on.
    #[must_use]
    pub fn alarm_limits(&self) -> LimitsFrom {
        let judged_s: Option<Vec<f64>> = self
            .days
            .as_ref()
            .map(|all| all.iter().map(|d| d.judged_s).collect());
        LimitsFrom::days(judged_s.as_deref())
    }
}

/// The curve of several stretches together.
///
/// # Errors
/// [`LimitError`] for a confidence that is none.
///
/// # Panics
/// When a score does not have one count for each threshold.
pub fn curve(
    scores: &[Score],
    thresholds_db: &[f64],
    confidence: f64,
) -> Result<Curve, LimitError> {
    let judged_s: f64 = scores.iter().map(|s| s.judged_s).sum();
    let labelled: u64 = scores.iter().map(|s| s.labelled).sum();
    let days = together(scores.iter().map(|s| s.days.as_deref()));
    let points = thresholds_db
        .iter()
        .enumerate()
        .map(|(i, &threshold_db)| {
            let counts = scores.iter().fold(Counts::default(), |sum, s| Counts {
                hits: sum.hits + s.counts[i].hits,
                false_alarms: sum.false_alarms + s.counts[i].false_alarms,
            });
            let mut found = point(threshold_db, counts, labelled, judged_s, confidence)?;
            if let (Some(days), Some(rate)) = (&days, &mut found.false_alarms_per_h) {
                let of_days: Vec<(f64, u64)> = days
                    .iter()
                    .map(|d| (d.judged_s, d.false_alarms[i]))
                    .collect();
                let alarms = counts.false_alarms;
                *rate = alarm_rate(Some(&of_days), alarms, judged_s, confidence)?;
            }
            Ok(found)
        })
        .collect::<Result<_, LimitError>>()?;
    Ok(Curve {
        confidence,
        judged_s,
        heard_s: scores.iter().map(|s| s.heard_s).sum(),
        labelled,
        points,
        days,
    })
}

/// What was counted at one threshold (or least probability) among so many labels and in so much time, with its limits.
///
/// # Errors
/// [`LimitError`] for a confidence that is none.
pub fn point(
    threshold_db: f64,
    counts: Counts,
    labelled: u64,
    judged_s: f64,
    confidence: f64,
) -> Result<Point, LimitError> {
    let found = counts.hits + counts.false_alarms;
    let hours = judged_s / SECONDS_PER_HOUR;
    let rate = (hours > 0.0)
        .then(|| -> Result<Limited, LimitError> {
            alarm_rate(None, counts.false_alarms, judged_s, confidence)
        })
        .transpose()?;
    Ok(Point {
        threshold_db,
        counts,
        recall: share(counts.hits, labelled, confidence)?,
        precision: share(counts.hits, found, confidence)?,
        f1: (found + labelled > 0).then(|| 2.0 * counts.hits as f64 / (found + labelled) as f64),
        false_alarms_per_h: rate,
    })
}

/// A share with its limits; `None` of nothing.
fn share(part: u64, whole: u64, confidence: f64) -> Result<Option<Limited>, LimitError> {
    if whole == 0 {
        return Ok(None);
    }
    let (low, high) = clopper_pearson(part, whole, confidence)?;
    Ok(Some(Limited {
        value: part as f64 / whole as f64,
        low,
        high,
    }))
}

/// Which threshold keeps an allowance of false alarms.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Choice {
    /// Of those whose upper limit keeps it the one that finds most labels, and of equals the one with fewest false alarms, then
    /// the lowest; where no label is found, the lowest from which on all keep it. Index into [`Curve::points`].
    Threshold(usize),
    /// Even without any false alarm the time judged shows nothing: it would have to be so long, s.
    TooShort {
        /// Least time, s.
        needed_s: f64,
    },
    /// None that was tried keeps it (and, where no label is found, not the highest).
    NoneKeepsIt,
    /// Not one false alarm is allowed, which no recording can show.
    NothingAllowed,
}

/// Time that must be judged without any false alarm for the upper limit to be at most `at_most_per_s`, s.
///
/// # Errors
/// [`LimitError`] for a confidence that is none.
fn least_time_s(at_most_per_s: f64, confidence: f64) -> Result<f64, LimitError> {
    Ok(garwood(0, 1.0, confidence)?.1 / at_most_per_s)
}

impl Curve {
    /// The threshold that keeps an allowance, false alarms per s.
    ///
    /// Where recall and false alarms both fall as the threshold rises, that is the lowest whose upper limit keeps it. At very low
    /// thresholds all sounds melt into one and false alarms vanish with the hits, so the lowest alone will not do.
    ///
    /// It is chosen on the same recordings on which its false alarms are counted, and so looks a little better than it is.
    ///
    /// # Errors
    /// [`LimitError`] for a confidence that is none.
    pub fn choose(&self, at_most_per_s: f64) -> Result<Choice, LimitError> {
        if at_most_per_s <= 0.0 {
            return Ok(Choice::NothingAllowed);
        }
        let needed_s = least_time_s(at_most_per_s, self.confidence)?;
        if self.judged_s < needed_s {
            return Ok(Choice::TooShort { needed_s });
        }
        let keeps = |point: &Point| {
            point
                .false_alarms_per_h
                .is_some_and(|rate| rate.high <= SECONDS_PER_HOUR * at_most_per_s)
        };
        let best = (0..self.points.len())
            .filter(|&i| keeps(&self.points[i]) && self.points[i].counts.hits > 0)
            .min_by_key(|&i| {
                let counts = self.points[i].counts;
                (std::cmp::Reverse(counts.hits), counts.false_alarms, i)
            });
        if let Some(best) = best {
            return Ok(Choice::Threshold(best));
        }
        let from = self.points.iter().rposition(|point| !keeps(point));
        let first = from.map_or(0, |last| last + 1);
        Ok(if first < self.points.len() {
            Choice::Threshold(first)
        } else {
            Choice::NoneKeepsIt
        })
    }

    /// Index of the point with the highest F1, the lowest threshold among equals; `None` where there is none above zero.
    #[must_use]
    pub fn highest_f1(&self) -> Option<usize> {
        let f1 = |i: usize| self.points[i].f1.filter(|f1| *f1 > 0.0);
        (0..self.points.len())
            .filter(|&i| f1(i).is_some())
            .reduce(|best, i| if f1(i) > f1(best) { i } else { best })
    }
}

/// Thresholds from `low_db` to `high_db` at `step_db` (greater than zero), and `own_db` among them, rising.
#[must_use]
pub fn thresholds_db(own_db: f64, low_db: f64, high_db: f64, step_db: f64) -> Vec<f64> {
    // Anchored at the own one, which is then met exactly.
    let below = libm::floor((own_db - low_db) / step_db + 1e-9);
    let above = libm::floor((high_db - own_db) / step_db + 1e-9);
    let (first, last) = (-below as i64, above as i64);
    let mut all: Vec<f64> = (first..=last)
        .map(|k| own_db + k as f64 * step_db)
        .collect();
    if !all.contains(&own_db) {
        all.push(own_db);
        all.sort_by(f64::total_cmp);
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(labelled: u64, judged_s: f64, counts: &[(u64, u64)]) -> Curve {
        let counts: Vec<Counts> = counts
            .iter()
            .map(|&(hits, false_alarms)| Counts { hits, false_alarms })
            .collect();
        let thresholds: Vec<f64> = (0..counts.len()).map(|i| i as f64).collect();
        let score = Score {
            judged_s,
            heard_s: judged_s,
            labelled,
            counts,
            ..Score::default()
        };
        curve(&[score], &thresholds, 0.95).unwrap()
    }

    fn near(found: f64, expected: f64, tolerance: f64) {
        assert!(
            (found - expected).abs() <= tolerance,
            "{found} for {expected}"
        );
    }

    /// TP 42, FP 6, FN 8: .875, .84, .857143; Clopper-Pearson of 45/50 [.781865, .966725], Garwood of 3 in 24 h [.025778,
    /// .365303] and of none [0, .153703] per h: scipy.stats (beta, chi2), reference/chance/scipy-limits.csv holds the same.
    #[test]
    fn val_shares_and_rates_with_their_limits() {
        let point = of(50, 86_400.0, &[(42, 6)]).points[0];
        near(point.precision.unwrap().value, 0.875, 1e-12);
        near(point.recall.unwrap().value, 0.84, 1e-12);
        near(point.f1.unwrap(), 0.857_142_857, 1e-9);
        let of_45 = of(50, 86_400.0, &[(45, 3)]).points[0];
        near(of_45.recall.unwrap().low, 0.781_865, 1e-6);
        near(of_45.recall.unwrap().high, 0.966_725, 1e-6);
        let rate = of_45.false_alarms_per_h.unwrap();
        near(rate.value, 0.125, 1e-12);
        near(rate.low, 0.025_778, 1e-6);
        near(rate.high, 0.365_303, 1e-6);
        let none = of(50, 86_400.0, &[(0, 0)]).points[0];
        near(none.false_alarms_per_h.unwrap().high, 0.153_703, 1e-6);
        assert_eq!(none.precision, None);
        let nothing = of(0, 0.0, &[(0, 0)]).points[0];
        assert_eq!(
            (nothing.recall, nothing.f1, nothing.false_alarms_per_h),
            (None, None, None)
        );
    }

    /// -ln(0.025) = 3.6889: one a day needs 3.69 days without a false alarm; a plain rate (none seen, so none a day) needs none.
    #[test]
    fn val_one_a_day_needs_3_69_days() {
        let day_s = 86_400.0;
        near(
            least_time_s(1.0 / day_s, 0.95).unwrap() / day_s,
            3.688_879,
            1e-6,
        );
        let short = of(5, 3.6 * day_s, &[(5, 0)]);
        let Choice::TooShort { needed_s } = short.choose(1.0 / day_s).unwrap() else {
            panic!("3.6 days cannot show one a day");
        };
        near(needed_s / day_s, 3.688_879, 1e-6);
        let long = of(5, 3.7 * day_s, &[(5, 0)]);
        assert_eq!(long.choose(1.0 / day_s).unwrap(), Choice::Threshold(0));
    }

    #[test]
    fn verif_the_chosen_threshold_keeps_the_allowance_and_finds_most() {
        let day_s = 86_400.0;
        let choose = |counts: &[(u64, u64)], a_day: f64| {
            let chosen = of(9, 10.0 * day_s, counts).choose(a_day / day_s);
            chosen.unwrap()
        };
        // At the lowest everything has melted into one event, and the second has a burst of false alarms.
        let counts = [(1, 0), (9, 400), (8, 30), (7, 3), (6, 2), (2, 0)];
        // Garwood of 3 in 10 d is 0.877 a day, of 30 it is 4.28, of 400 it is 44.1.
        assert_eq!(choose(&counts, 1.0), Choice::Threshold(3));
        assert_eq!(choose(&counts, 5.0), Choice::Threshold(2));
        assert_eq!(choose(&counts, 45.0), Choice::Threshold(1));
        assert_eq!(of(9, day_s, &counts).highest_f1(), Some(3));
        // Equal hits: fewer false alarms, then the lower threshold.
        assert_eq!(choose(&[(5, 3), (5, 0), (5, 0)], 1.0), Choice::Threshold(1));
        // What was seen keeps it where the upper limit does not: red if the plain rate decided.
        assert_eq!(choose(&[(9, 9)], 1.0), Choice::NoneKeepsIt);
        // Without a hit the false alarms decide alone.
        assert_eq!(
            choose(&[(0, 0), (0, 400), (0, 3), (0, 0)], 1.0),
            Choice::Threshold(2)
        );
        assert_eq!(choose(&[(0, 0), (0, 400)], 1.0), Choice::NoneKeepsIt);
    }

    #[test]
    fn verif_the_own_threshold_is_met_exactly() {
        let all = thresholds_db(9.0, 7.9, 10.1, 0.5);
        assert_eq!(all, [8.0, 8.5, 9.0, 9.5, 10.0]);
        assert_eq!(thresholds_db(0.1, 20.0, 21.0, 0.5)[0], 0.1);
        assert!(thresholds_db(138.3, 120.0, 150.0, 0.25).contains(&138.3));
    }
}
