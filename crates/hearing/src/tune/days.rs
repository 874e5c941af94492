//! What was judged and cried day by day, of UTC.

use chance::{Day, LEAST_OF_DAY_S, LimitError, rate_limits};

use super::curve::Limited;

const SECONDS_PER_HOUR: f64 = 3600.0;

/// A day of UTC.
#[derive(Debug, Clone, PartialEq)]
pub struct DayCounts {
    /// Days since 1970-01-01.
    pub day: i64,
    /// Time of it in which the detector could decide, s.
    pub judged_s: f64,
    /// False alarms that begin in it, by threshold.
    pub false_alarms: Vec<u64>,
}

/// The days of several scores together, in order; `None` where one of them has none.
pub(super) fn together<'s>(
    all: impl Iterator<Item = Option<&'s [DayCounts]>>,
) -> Option<Vec<DayCounts>> {
    let mut days: Vec<DayCounts> = Vec::new();
    for day in all.collect::<Option<Vec<_>>>()?.into_iter().flatten() {
        match days.binary_search_by_key(&day.day, |d| d.day) {
            Ok(at) => {
                days[at].judged_s += day.judged_s;
                for (sum, more) in days[at].false_alarms.iter_mut().zip(&day.false_alarms) {
                    *sum += more;
                }
            }
            Err(at) => days.insert(at, day.clone()),
        }
    }
    Some(days)
}

/// The rate of false alarms an hour, with the limits that its days show, each with its judged time in s and its false alarms; of too few
/// days, or of none, the exact ones of so many single events.
///
/// # Errors
/// [`LimitError`] for a confidence that is none.
pub fn alarm_rate(
    days: Option<&[(f64, u64)]>,
    false_alarms: u64,
    judged_s: f64,
    confidence: f64,
) -> Result<Limited, LimitError> {
    let hours = judged_s / SECONDS_PER_HOUR;
    let counted = |days: &[(f64, u64)]| -> Vec<Day> {
        let there = days.iter().filter(|(judged_s, _)| *judged_s > 0.0);
        there
            .map(|(judged_s, events)| Day {
                exposure: judged_s / SECONDS_PER_HOUR,
                events: *events,
            })
            .collect()
    };
    let days = days.map(counted);
    let (low, high) = rate_limits(
        days.as_deref(),
        LEAST_OF_DAY_S / SECONDS_PER_HOUR,
        false_alarms,
        hours,
        confidence,
    )?;
    Ok(Limited {
        value: false_alarms as f64 / hours,
        low,
        high,
    })
}
