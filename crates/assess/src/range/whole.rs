//! All that is told of a detector and a call.

use super::{
    Draws, Found, InjectionRecord, Loss, MonthRange, RangeError, Recorded, Sampled, Subject,
    depth_ranges, losses, month_range, sample,
};

/// Ranges of a detector and a call, month by month.
#[derive(Clone, Debug)]
pub struct Ranges {
    /// Detector and call.
    pub subject: Subject,
    /// Each month that was asked for; one without a month in recorded noise.
    pub months: Vec<Month>,
    /// Of the recordings, where the noise is theirs.
    pub recorded: Option<Recorded>,
}

/// What is told of a month.
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
}

/// Samples the months that are asked for (1 to 12) and works out their ranges. What `kept` holds of enough calls is not
/// drawn again. `watch` is told the share done, and stops the work by `false`.
///
/// # Errors
/// [`RangeError`]; [`RangeError::Cancelled`] when `watch` stopped it.
pub fn ranges(
    subject: Subject,
    months: &[u8],
    draws: Draws,
    kept: &[InjectionRecord],
    threads: usize,
    watch: &(dyn Fn(f64) -> bool + Sync),
) -> Result<Ranges, RangeError> {
    let mut drawn: Vec<Sampled> = Vec::new();
    for (done, &month) in months.iter().enumerate() {
        let wind_m_s = subject.wind_m_s[usize::from(month) - 1];
        if let Some(same) = drawn.iter().find(|s| s.wind_m_s == Some(wind_m_s)) {
            drawn.push(same.clone());
            continue;
        }
        let digest = subject.digest(wind_m_s);
        let fresh = kept.iter().filter(|r| {
            r.inputs_digest == digest
                && r.calls() >= draws.calls
                && r.seed == draws.seed
                && r.listened_s() >= draws.alone_s
        });
        let one = match fresh.max_by_key(|r| r.calls()) {
            Some(record) => record.sampled()?,
            None => {
                let watch = |share: f64| watch((done as f64 + share) / months.len() as f64);
                sample(&subject, wind_m_s, draws, threads, &watch)?
            }
        };
        drawn.push(one);
    }
    let all: Vec<&Sampled> = drawn.iter().collect();
    let losses = losses(&subject, &all)?;
    let months = months
        .iter()
        .zip(&drawn)
        .zip(losses)
        .map(|((&month, sampled), losses)| {
            Ok(Month {
                sampled: sampled.clone(),
                range: month_range(&subject, sampled, Some(month), subject.hydrophone_depth_m)?,
                losses,
                by_depth: depth_ranges(&subject, sampled, Some(month))?,
            })
        })
        .collect::<Result<_, RangeError>>()?;
    Ok(Ranges {
        subject,
        months,
        recorded: None,
    })
}
