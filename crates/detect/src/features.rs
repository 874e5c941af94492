//! What can be told of a finished event in numbers: the closed list that the logistic judgement weighs.

use crate::notice::Event;

/// A feature of a finished event.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Feature {
    /// The score: greatest excess, dB.
    Excess,
    /// From begin to end, s.
    Length,
    /// Highest level less the energy mean of the levels, dB.
    PeakOverMean,
    /// Where the highest cell lies, as a share of the length: 0 at the begin, 1 at the end.
    TimeOfPeak,
    /// Slope of the straight line through a ridge, Hz/s, negative when it falls.
    Slope,
    /// Lower end of a ridge's line, Hz.
    Low,
    /// Upper end of a ridge's line, Hz.
    High,
    /// Number of pulses of a train.
    Pulses,
    /// Mean interval between the pulses of a train, s.
    Interval,
    /// Standard deviation of those intervals over their mean.
    IntervalSpread,
}

impl Feature {
    /// All of them, in a fixed order.
    pub const ALL: [Self; 10] = [
        Self::Excess,
        Self::Length,
        Self::PeakOverMean,
        Self::TimeOfPeak,
        Self::Slope,
        Self::Low,
        Self::High,
        Self::Pulses,
        Self::Interval,
        Self::IntervalSpread,
    ];

    /// Its name, with its unit at the end, as plans, tables and keys write it.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Excess => "excess_db",
            Self::Length => "length_s",
            Self::PeakOverMean => "peak_over_mean_db",
            Self::TimeOfPeak => "time_of_peak",
            Self::Slope => "slope_hz_per_s",
            Self::Low => "low_hz",
            Self::High => "high_hz",
            Self::Pulses => "pulses",
            Self::Interval => "interval_s",
            Self::IntervalSpread => "interval_spread",
        }
    }

    /// The feature of that name.
    #[must_use]
    pub fn of_name(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|feature| feature.name() == name)
    }
}

/// The features of one event. What its detector cannot tell is `None`: slope and frequencies without a ridge, pulses and
/// intervals without a train.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Features {
    values: [Option<f64>; Feature::ALL.len()],
}

impl Features {
    /// The value of one, in the unit of its name.
    #[must_use]
    pub fn get(&self, feature: Feature) -> Option<f64> {
        self.values[feature as usize]
    }
}

impl Event {
    /// Its features; `rate_hz` is the rate of the samples that the event counts.
    #[must_use]
    pub fn features(&self, rate_hz: f64) -> Features {
        let length = self.end_sample.saturating_sub(self.begin_sample) as f64;
        let peak = self.peak_sample.saturating_sub(self.begin_sample) as f64;
        let length_s = length / rate_hz;
        let mut values = [None; Feature::ALL.len()];
        let mut set = |feature: Feature, value| values[feature as usize] = Some(value);
        set(Feature::Excess, self.score_db);
        set(Feature::Length, length_s);
        set(
            Feature::PeakOverMean,
            self.peak_level_db - self.mean_level_db,
        );
        set(Feature::TimeOfPeak, peak / length);
        if let Some(sweep) = self.sweep {
            set(Feature::Slope, (sweep.to_hz - sweep.from_hz) / length_s);
            set(Feature::Low, sweep.from_hz.min(sweep.to_hz));
            set(Feature::High, sweep.from_hz.max(sweep.to_hz));
        }
        if let Some(pulses) = self.pulses {
            set(Feature::Pulses, f64::from(pulses));
        }
        if let Some(intervals) = self.intervals {
            set(Feature::Interval, intervals.mean_s);
            set(Feature::IntervalSpread, intervals.spread);
        }
        Features { values }
    }
}
