//! How far detectors find calls.
//!
//! Slow part: calls are put into the noise of a month's wind before the very detector ([`sample`]); what came of it is a
//! [`Sampled`] curve and may be kept as an [`InjectionRecord`]. Fast part: the curve, source level, loss and noise give the share found over
//! range, the range of a share and the effective area ([`month_range`]). The method page is `docs/method/range.md`.

mod hours;
mod laws;
mod over;
mod rays;
mod record;
mod recorded;
mod sample;
mod sound;
mod spectrum;
mod subject;
mod way;
mod whole;
mod wind;

pub use hours::{HourWinds, OverHours, PERCENTILES, over_hours};
pub(crate) use hours::{hours_of, reaches_in};
pub use laws::{LawRange, Local, SurveyLaw, law_ranges};
pub(crate) use laws::{at_least_m, measured_loss, reaches};
pub(crate) use over::{BY_CHANCE_ALLOWED, doubts, doubts_of_ranges, found, told};
pub use over::{
    Found, Loss, MonthRange, SIMPLE_LAW_DOUBTFUL_M, SIMPLE_LAW_REFUSED_M, depth_ranges, losses,
    month_range,
};
pub use record::InjectionRecord;
pub use recorded::{Recorded, recorded_ranges};
pub use sample::{Draws, sample};
pub use sound::BandOf;
pub(crate) use sound::listens_in;
pub use spectrum::{CallBand, CallSpectrum, call_spectrum};
pub use subject::Subject;
pub(crate) use subject::{INJECTION, Laws};

pub use injection::{Bound, Curve, Outer, Point, Reach, Spread, ideal_found_share};
pub use whole::{Month, Ranges, ranges};
pub use wind::{Wind, deployment_months, limit_winds_m_s};

use injection::InjectionError;

use crate::input::{InputError, SiteNoiseError};

/// What came of calls in the noise of one wind, or of recordings.
#[derive(Clone, Debug, PartialEq)]
pub struct Sampled {
    /// The wind, m/s; `None` in recorded noise.
    pub wind_m_s: Option<f64>,
    /// Level of the noise in the detector's band, dB re 1 uPa.
    pub noise_level_db: f64,
    /// Share found against the in-band signal-to-noise ratio.
    pub curve: Curve,
    /// Places of calls where the detector told an event in the noise alone.
    pub by_chance: u64,
    /// Events in the noise alone.
    pub false_alarms: u64,
    /// Noise alone in which they could be told, s.
    pub listened_s: f64,
    /// Calls at each ratio of which the converter clipped a sample.
    pub clipped: Vec<u64>,
    /// Seed of the draws.
    pub seed: u64,
    /// Whether it was read from what had been kept, not drawn anew.
    pub kept: bool,
}

impl Sampled {
    /// Calls at each ratio.
    #[must_use]
    pub fn calls(&self) -> u64 {
        self.curve.points().first().map_or(0, |p| p.calls)
    }

    /// Limits at 95 % of the share of places at which noise alone gave an event.
    ///
    /// # Errors
    /// [`RangeError::Injection`] for counts that cannot be.
    pub fn by_chance_limits(&self) -> Result<(f64, f64), RangeError> {
        let limits = chance::clopper_pearson(self.by_chance, self.calls(), 0.95);
        Ok(limits.map_err(InjectionError::from)?)
    }
}

/// Why no range can be given.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum RangeError {
    /// The plan does not say enough, or something that cannot be.
    #[error(transparent)]
    Input(#[from] InputError),
    /// Figures that make no sound.
    #[error("{call}: {source}")]
    Call {
        /// The call: a typed path.
        call: String,
        /// Why.
        source: signal::SynthError,
    },
    /// A call that the sensor cannot hear as it is.
    #[error("{call} reaches {high_hz:.0} Hz, and its sensor hears up to {audible_hz:.0} Hz")]
    AboveTheEar {
        /// The call: a typed path.
        call: String,
        /// Its greatest frequency, Hz.
        high_hz: f64,
        /// The greatest frequency that is heard, Hz.
        audible_hz: f64,
    },
    /// Noise outside what the formulas hold for.
    #[error("the noise of the site: {0}")]
    Noise(#[from] SiteNoiseError),
    /// Nothing comes of putting the call into noise.
    #[error(transparent)]
    Injection(#[from] InjectionError),
    /// No stretch of the recordings is long enough for the detector and a call.
    #[error(
        "the longest stretch of the recordings without a gap or a sample at full scale is {longest_s:.1} s; {detector} needs {needed_s:.1} s: {settling_s:.1} s to settle, and the rest for one call and to decide on it"
    )]
    TooShort {
        /// The detector: a typed path.
        detector: String,
        /// The longest stretch, s.
        longest_s: f64,
        /// What is needed, s.
        needed_s: f64,
        /// Of which to settle, s.
        settling_s: f64,
    },
    /// The user asked to stop.
    #[error("cancelled")]
    Cancelled,
}
