//! Ranges over the hours of a month and of the year, as the wind of its hours has it.
//!
//! The wind of an hour is that of `hours`: Rayleigh's law about the month's mean, or the hours of a weather file. Over a background less wind is less noise
//! and no fewer calls are found, so that the range which a share of the hours exceed is the range in the wind that this share stay below: no hours are
//! drawn. The noise is that of the formula in that wind, the share of calls over the ratio that of the calls that were drawn in the noise nearest to it.

use injection::{Bound, Outer, Reach, Shares};
use plan::Line;
use power::MONTH_DAYS;
use power::weather::{WIND_LASTS_H, WindYears};

use super::laws::SurveyLaw;
use super::over::{SHARES, SIMPLE_LAW_REFUSED_M};
use super::{Found, RangeError, Sampled, Subject};
use crate::input::measured_winds;
use crate::memo::Memo;

/// Shares of the hours in which less is found: the tenth, the middle, the ninetieth hundredth.
pub const PERCENTILES: [f64; 3] = [0.1, 0.5, 0.9];

/// Farther than this from every noise in which calls were drawn a range is not told, dB (a choice of ours): the hysteresis of a background, full scale and the
/// chain's own noise do not go with the ratio.
const FARTHEST_DB: f64 = 20.0;
/// To which the wind of a share is found, m/s.
const NEAR_M_S: f64 = 1e-6;

/// The winds of the hours of each month.
#[derive(Clone, Debug, PartialEq)]
pub struct HourWinds {
    law: HourLaw,
    /// What they are, in words.
    pub words: String,
}

#[derive(Clone, Debug, PartialEq)]
enum HourLaw {
    Drawn(WindYears),
    /// Of each month, rising, m/s.
    Measured(Box<[Vec<f64>; 12]>),
}

impl HourWinds {
    /// Those of a plan.
    ///
    /// # Errors
    /// Why there are none, in words.
    pub fn of(line: &Line) -> Result<Self, String> {
        if let Some(years) = measured_winds(line, &Memo::new()).map_err(|e| e.to_string())? {
            let path = line.sea.weather.as_ref().map_or("", |w| &w.path);
            return Ok(Self::measured(&years, path));
        }
        let means: Vec<f64> = line.sea.wind_m_s.iter().map(|q| q.si).collect();
        let means = <[f64; 12]>::try_from(means);
        Self::drawn(means.map_err(|_| "the site says no `wind` of the months")?)
    }

    /// By Rayleigh's law about the mean of each month, m/s, January first.
    ///
    /// # Errors
    /// A mean that cannot be, in words.
    pub fn drawn(mean_m_s: [f64; 12]) -> Result<Self, String> {
        let years = WindYears::new(mean_m_s, WIND_LASTS_H).map_err(|source| source.to_string())?;
        Ok(Self {
            law: HourLaw::Drawn(years),
            words: "Rayleigh's law about the mean wind of each month (common practice), as `soundline hours` draws it".to_owned(),
        })
    }

    /// The hours of measured years, each from 1 January on, m/s.
    fn measured(years: &[Vec<f64>], path: &str) -> Self {
        let mut months: [Vec<f64>; 12] = std::array::from_fn(|_| Vec::new());
        for year in years {
            let mut hours = year.iter();
            for (month, days) in months.iter_mut().zip(MONTH_DAYS) {
                month.extend(hours.by_ref().take(24 * usize::from(days)));
            }
        }
        for month in &mut months {
            month.sort_by(f64::total_cmp);
        }
        Self {
            law: HourLaw::Measured(Box::new(months)),
            words: format!("the hours of {path}"),
        }
    }

    /// The wind that a share of the hours of some months (1 to 12; each by its days) stay below or at, m/s; the share lies above 0 and below 1.
    #[must_use]
    pub fn at_share_below(&self, months: &[u8], share: f64) -> f64 {
        let (mut low_m_s, mut high_m_s) = (0.0, 1.0);
        while self.share_below(months, high_m_s) < share {
            low_m_s = high_m_s;
            high_m_s *= 2.0;
        }
        while high_m_s - low_m_s > NEAR_M_S {
            let middle_m_s = f64::midpoint(low_m_s, high_m_s);
            if self.share_below(months, middle_m_s) < share {
                low_m_s = middle_m_s;
            } else {
                high_m_s = middle_m_s;
            }
        }
        high_m_s
    }

    fn share_below(&self, months: &[u8], wind_m_s: f64) -> f64 {
        let (mut below, mut all) = (0.0, 0.0);
        for month in months {
            let at = usize::from(*month) - 1;
            let days = f64::from(MONTH_DAYS[at]);
            all += days;
            below += days
                * match &self.law {
                    HourLaw::Drawn(years) => 1.0 - years.share_above(at, wind_m_s),
                    HourLaw::Measured(hours) => {
                        let hours = &hours[at];
                        hours.partition_point(|m_s| *m_s <= wind_m_s) as f64 / hours.len() as f64
                    }
                };
        }
        below / all
    }
}

/// Ranges over the hours of a month or of the year.
#[derive(Clone, Debug, PartialEq)]
pub struct OverHours {
    /// The month, 1 to 12; `None` for the year.
    pub month: Option<u8>,
    /// The winds of the ranges, m/s: that which nine tenths of the hours stay below, half, one tenth.
    pub wind_m_s: [f64; 3],
    /// In each of them, out to where a half and nine tenths are found: the range that nine tenths of the hours exceed (P10), the middle (P50), the range
    /// that one in ten exceeds (P90).
    pub found: [[Found; 2]; 3],
    /// How far the noise in each of them lies from that in which the calls were drawn that count for it, dB.
    pub apart_db: [f64; 3],
}

/// Ranges over the hours of each month that was drawn, and of the year.
///
/// # Errors
/// Why there are none, in words.
pub fn over_hours(
    subject: &Subject,
    months: &[u8],
    drawn: &[&Sampled],
) -> Result<Vec<OverHours>, String> {
    let winds = subject.hour_winds.as_ref().map_err(String::clone)?;
    if months.is_empty() {
        return Err("no month was asked for".to_owned());
    }
    let all_year: Vec<u8> = (1..=12).collect();
    let one = |month: Option<u8>| {
        let of = month.map_or_else(|| all_year.clone(), |month| vec![month]);
        let mut found = Vec::new();
        let (mut wind_m_s, mut apart_db) = ([0.0; 3], [0.0; 3]);
        for (i, share) in PERCENTILES.into_iter().enumerate() {
            wind_m_s[i] = winds.at_share_below(&of, 1.0 - share);
            let ([seen, low], db) = reaches_in(subject, subject.own(), wind_m_s[i], drawn)?;
            apart_db[i] = db;
            found.push(SHARES.map(|share| Found::new(&seen, &low, share)));
        }
        Ok(OverHours {
            month,
            wind_m_s,
            found: found.try_into().expect("one for each percentile"),
            apart_db,
        })
    };
    let each = months.iter().map(|month| Some(*month));
    each.chain([None]).map(one).collect()
}

/// Out to where a share is found without a gap by the lower limits, in the hours of a month: the ranges that nine tenths of them exceed, half, one tenth.
///
/// # Errors
/// Why there are none, in words.
pub(crate) fn hours_of(
    subject: &Subject,
    law: &SurveyLaw,
    (winds, month): (&HourWinds, u8),
    drawn: &[&Sampled],
    share: f64,
) -> Result<[Outer; 3], String> {
    let mut all = [Outer::Nowhere; 3];
    for (outer, percentile) in all.iter_mut().zip(PERCENTILES) {
        let wind_m_s = winds.at_share_below(&[month], 1.0 - percentile);
        let ([seen, low], _) = reaches_in(subject, law, wind_m_s, drawn)?;
        *outer = Found::new(&seen, &low, share).unbroken_low;
    }
    Ok(all)
}

/// Shares over range in a wind, as seen and by the lower limits, and how far its noise lies from that of the calls, dB.
///
/// # Errors
/// Why there are none, in words.
pub(crate) fn reaches_in(
    subject: &Subject,
    law: &SurveyLaw,
    wind_m_s: f64,
    drawn: &[&Sampled],
) -> Result<([Reach; 2], f64), String> {
    let words = |error: RangeError| error.to_string();
    if !subject.over_background() {
        return Err("with a fixed threshold the share of calls over the ratio is that of the noise they were drawn in: draw the winds that count (`--wind`)".to_owned());
    }
    let noise_db = subject.noise_level_db(wind_m_s).map_err(words)?;
    let apart = |s: &&Sampled| (s.noise_level_db - noise_db).abs();
    let nearest = drawn
        .iter()
        .min_by(|a, b| apart(a).total_cmp(&apart(b)))
        .ok_or("no calls were drawn")?;
    let apart_db = apart(nearest);
    if apart_db > FARTHEST_DB {
        return Err(format!(
            "in {wind_m_s:.1} m/s of wind the noise lies {apart_db:.0} dB from the nearest in which calls were drawn, and what that many change is not known: draw calls in it (`--wind`)"
        ));
    }
    let depth_m = subject.hydrophone_depth_m;
    let (absorption, _) = subject.absorption(depth_m).map_err(words)?;
    let at_1_m_db = subject.in_band_source_db() - noise_db;
    let snr_db = |range_m: f64| -> Result<f64, RangeError> {
        Ok(at_1_m_db - subject.loss_by(law.way, range_m, depth_m, absorption)?)
    };
    let reach = |bound| {
        let shares = Shares::new(&nearest.curve, bound, subject.spread);
        Reach::by_way(&shares, SIMPLE_LAW_REFUSED_M, snr_db)
    };
    let both = [
        reach(Bound::Seen).map_err(words)?,
        reach(Bound::Low).map_err(words)?,
    ];
    Ok((both, apart_db))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Winds of a year below which a tenth, a half and nine tenths of the hours lie, m/s.
    const YEAR: [f64; 3] = [2.286_617_2, 5.966_845_4, 11.394_386_3];

    /// Each month by itself: `mean sqrt(-(4 / pi) ln(1 - p))`, the inverse of Rayleigh's law. All twelve alike are one of them.
    #[test]
    fn val_winds_of_a_share_are_those_of_rayleighs_law() {
        let means = [8.0, 7.5, 7.0, 6.0, 5.5, 5.0, 5.0, 5.5, 6.0, 7.0, 7.5, 8.0];
        let winds = HourWinds::drawn(means).unwrap();
        for (month, mean) in (1..=12).zip(means) {
            for share in PERCENTILES {
                let by_hand =
                    mean * libm::sqrt(-4.0 / std::f64::consts::PI * libm::log(1.0 - share));
                let found = winds.at_share_below(&[month], share);
                assert!((found - by_hand).abs() < 1e-5, "{found} {by_hand}");
            }
        }
        let year: Vec<u8> = (1..=12).collect();
        // SciPy 1.17.1: brentq over the sum of days of weibull_min.cdf(u, 2, scale=2 mean / sqrt(pi)).
        for (share, by_scipy) in PERCENTILES.into_iter().zip(YEAR) {
            let found = winds.at_share_below(&year, share);
            assert!((found - by_scipy).abs() < 1e-5, "{found} {by_scipy}");
        }
        let alike = HourWinds::drawn([9.0; 12]).unwrap();
        let (one, all) = (
            alike.at_share_below(&[3], 0.9),
            alike.at_share_below(&year, 0.9),
        );
        assert!((one - all).abs() < 1e-5);
    }

    /// Hours that were measured: of 744 that rise by a hundredth, a tenth (rounded up) stay at or below the 75th.
    #[test]
    fn verif_measured_hours_are_counted() {
        let year: Vec<f64> = (0..8760).map(|h| f64::from(h % 744) * 0.01).collect();
        let winds = HourWinds::measured(&[year], "wind.csv");
        let found = winds.at_share_below(&[1], 0.1);
        assert!((found - 0.74).abs() < 1e-5, "{found}");
        assert!(winds.words.contains("wind.csv"));
    }
}
