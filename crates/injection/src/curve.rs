//! Share of calls found against the signal-to-noise ratio.
//!
//! Points are counts with exact two-sided limits (Clopper and Pearson 1934) at 95 %. Between two points shares and limits are read on
//! straight lines over decibels; nothing is fitted. Above the last point it holds on; below the first, nothing is found.

use chance::clopper_pearson;

use crate::error::InjectionError;

/// Confidence of the limits.
const CONFIDENCE: f64 = 0.95;

/// Calls found at one signal-to-noise ratio.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Point {
    /// In-band signal-to-noise ratio, dB.
    pub snr_db: f64,
    /// Calls found.
    pub found: u64,
    /// Calls in all.
    pub calls: u64,
    /// Lower limit of the share found, at 95 % two-sided, 0 to 1.
    pub low: f64,
    /// Its upper limit, likewise.
    pub high: f64,
}

impl Point {
    /// Share found, 0 to 1.
    #[must_use]
    pub fn share(&self) -> f64 {
        self.found as f64 / self.calls as f64
    }
}

/// Which line through the points is read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Bound {
    /// The shares as they were seen.
    Seen,
    /// Their lower limits.
    Low,
    /// Their upper limits.
    High,
}

/// Share of calls found against the signal-to-noise ratio.
#[derive(Debug, Clone, PartialEq)]
pub struct Curve {
    points: Vec<Point>,
}

impl Curve {
    /// A curve through counts: ratio in dB (rising) and calls found of `calls`.
    ///
    /// # Errors
    /// [`InjectionError::Ratios`] for ratios that do not rise or none at all, [`InjectionError::Limit`] for counts that cannot be.
    pub fn new(counts: &[(f64, u64)], calls: u64) -> Result<Self, InjectionError> {
        let rising = counts.windows(2).all(|w| w[0].0 < w[1].0);
        if counts.is_empty() || !rising || !counts.iter().all(|c| c.0.is_finite()) {
            return Err(InjectionError::Ratios);
        }
        let points = counts
            .iter()
            .map(|&(snr_db, found)| {
                let (low, high) = clopper_pearson(found, calls, CONFIDENCE)?;
                Ok(Point {
                    snr_db,
                    found,
                    calls,
                    low,
                    high,
                })
            })
            .collect::<Result<_, InjectionError>>()?;
        Ok(Self { points })
    }

    /// The points, by rising ratio.
    #[must_use]
    pub fn points(&self) -> &[Point] {
        &self.points
    }

    /// Share found at a ratio.
    #[must_use]
    pub fn share(&self, snr_db: f64, bound: Bound) -> f64 {
        let after = self.points.partition_point(|p| p.snr_db <= snr_db);
        let Some(before) = after.checked_sub(1).map(|i| &self.points[i]) else {
            return 0.0;
        };
        let here = bound.of(before);
        match self.points.get(after) {
            None => here,
            Some(next) => {
                let part = (snr_db - before.snr_db) / (next.snr_db - before.snr_db);
                here + part * (bound.of(next) - here)
            }
        }
    }

    /// The lowest ratio, in dB, at which the share reaches `share`; `None` when no point does.
    #[must_use]
    pub fn snr_at(&self, share: f64, bound: Bound) -> Option<f64> {
        let at = self.points.iter().position(|p| bound.of(p) >= share)?;
        let here = &self.points[at];
        let Some(before) = at.checked_sub(1).map(|i| &self.points[i]) else {
            return Some(here.snr_db);
        };
        let part = (share - bound.of(before)) / (bound.of(here) - bound.of(before));
        Some(before.snr_db + part * (here.snr_db - before.snr_db))
    }
}

impl Bound {
    fn of(self, point: &Point) -> f64 {
        match self {
            Self::Seen => point.share(),
            Self::Low => point.low,
            Self::High => point.high,
        }
    }
}
