//! All that is told of a detector and a call.

use super::{
    Draws, Found, InjectionRecord, LawRange, Loss, MonthRange, OverHours, RangeError, Recorded,
    Sampled, Subject, Wind, depth_ranges, law_ranges, losses, month_range, over_hours, sample,
};

/// Ranges of a detector and a call, month by month.
#[derive(Clone, Debug)]
pub struct Ranges {
    /// Detector and call.
    pub subject: Subject,
    /// Each wind that was asked for, months first as they were given; a single one without a month in recorded noise.
    pub months: Vec<Month>,
    /// Calls at each ratio that were asked for.
    pub asked: u64,
    /// Ranges over the hours of each month and of the year, or why there are none.
    pub over_hours: Result<Vec<OverHours>, String>,
    /// Of the recordings, where the noise is theirs.
    pub recorded: Option<Recorded>,
}

/// What is told of a month, of a wind, or of recordings.
#[derive(Clone, Debug)]
pub struct Month {
    /// Calls found in its noise.
    pub sampled: Sampled,
    /// Shares over range.
    pub range: MonthRange,
    /// Losses against the ideal energy detector at a half and nine tenths.
    pub losses: [Loss; 2],
    /// Ranges at several depths of the hydrophone, m.
    pub by_depth: Vec<(f64, [Found; 2])>,
    /// Ranges under each law of spreading that is looked at.
    pub by_law: Vec<LawRange>,
}

impl Ranges {
    /// The counts that are new, as evidence: those of recordings are of no month, and are none. The same counts of two months are one.
    #[must_use]
    pub fn to_keep(&self, program: &str) -> Vec<InjectionRecord> {
        let mut new: Vec<InjectionRecord> = Vec::new();
        for month in self.months.iter().filter(|m| !m.sampled.kept) {
            let record = InjectionRecord::new(&self.subject, &month.sampled, program);
            new.extend(record.filter(|r| !new.contains(r)));
        }
        new
    }
}

/// Samples the winds that are asked for and works out their ranges. What `kept` holds of enough calls is not drawn again. `watch` is told the share done, and stops the work by `false`.
///
/// # Errors
/// [`RangeError`]; [`RangeError::Cancelled`] when `watch` stopped it.
pub fn ranges(
    subject: Subject,
    winds: &[Wind],
    draws: Draws,
    kept: &[InjectionRecord],
    threads: usize,
    watch: &(dyn Fn(f64) -> bool + Sync),
) -> Result<Ranges, RangeError> {
    let mut drawn: Vec<Sampled> = Vec::new();
    for (done, wind) in winds.iter().enumerate() {
        let wind_m_s = wind.m_s(&subject)?;
        if drawn.iter().any(|s| s.wind_m_s == Some(wind_m_s)) {
            continue;
        }
        let digest = subject.digest(wind_m_s)?;
        let fresh = kept.iter().filter(|r| {
            r.inputs_digest == digest
                && r.calls() >= draws.calls
                && r.seed == draws.seed
                && r.listened_s() >= draws.alone_s
        });
        let one = match fresh.max_by_key(|r| r.calls()) {
            Some(record) => record.sampled()?,
            None => {
                let watch = |share: f64| watch((done as f64 + share) / winds.len() as f64);
                sample(&subject, wind_m_s, draws, threads, &watch)?
            }
        };
        drawn.push(one);
    }
    let all: Vec<&Sampled> = drawn.iter().collect();
    let losses = losses(&subject, &all)?;
    let months = winds
        .iter()
        .map(|wind| {
            let wind_m_s = Some(wind.m_s(&subject)?);
            let drawn_there = drawn.iter().position(|s| s.wind_m_s == wind_m_s);
            let i = drawn_there.expect("every wind was drawn above");
            let (sampled, month) = (&drawn[i], wind.month());
            Ok(Month {
                sampled: sampled.clone(),
                range: month_range(&subject, sampled, month, subject.hydrophone_depth_m)?,
                losses: losses[i],
                by_depth: depth_ranges(&subject, sampled, month)?,
                by_law: law_ranges(&subject, sampled, subject.hydrophone_depth_m)?,
            })
        })
        .collect::<Result<_, RangeError>>()?;
    let of_months: Vec<u8> = winds.iter().filter_map(|wind| wind.month()).collect();
    let over_hours = over_hours(&subject, &of_months, &all);
    Ok(Ranges {
        over_hours,
        subject,
        months,
        asked: draws.calls,
        recorded: None,
    })
}
