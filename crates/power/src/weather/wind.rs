//! Hourly wind drawn from the mean wind of each month.
//!
//! Law of an hour: Rayleigh about the month's mean, `P(U > u) = exp(-(pi/4) (u/mean)^2)`, a Weibull law of shape 2 (common practice where of a wind only its mean is known; the standards
//! of wind turbines have it, IEC 61400-1, from memory). Persistence: the rank of an hour is that of a Gaussian sequence `x' = r x + sqrt(1 - r^2) e`, so that the law of every hour is kept whatever
//! the persistence; `r = exp(-1 h / T)` with the time `T` in which the correlation falls to 1/e. A day is common practice for open water (hourly winds a day apart still know of each other through
//! the same weather, from memory). Over the end of a month the rank is handed on, not the speed.
//!
//! Limits: real winds have calmer summers and stormier winters than one law by month says only as far as the means do; no day and night, no direction; independent of the light of the same year.

use chance::{Stream, normal_share_below};

use super::WeatherError;
use crate::calendar::MONTH_DAYS;
use crate::sun::HOURS;

/// The time in which the correlation of hourly winds falls to 1/e, h (common practice).
pub const WIND_LASTS_H: f64 = 24.0;
/// Name of the random stream.
pub const WIND_STREAM: &str = "wind-hours";
/// Fastest monthly mean that is taken, m/s.
const FASTEST_M_S: f64 = 60.0;

/// Years of hourly wind.
#[derive(Clone, Debug, PartialEq)]
pub struct WindYears {
    mean_m_s: [f64; 12],
    persistence: f64,
}

impl WindYears {
    /// From the mean of each month, January first, m/s, and the time in which the correlation falls to 1/e, h (0 for hours that know nothing of each other).
    ///
    /// # Errors
    /// A mean that is not from 0 to 60 m/s, a time that is negative or no number.
    pub fn new(mean_m_s: [f64; 12], lasts_h: f64) -> Result<Self, WeatherError> {
        for (month, value) in mean_m_s.into_iter().enumerate() {
            if !(0.0..=FASTEST_M_S).contains(&value) {
                return Err(WeatherError::MonthlyWind {
                    month,
                    value,
                    highest: FASTEST_M_S,
                });
            }
        }
        if !(lasts_h >= 0.0 && lasts_h.is_finite()) {
            return Err(WeatherError::WindLasts { value_h: lasts_h });
        }
        let persistence = if lasts_h == 0.0 {
            0.0
        } else {
            libm::exp(-1.0 / lasts_h)
        };
        Ok(Self {
            mean_m_s,
            persistence,
        })
    }

    /// The winds of a year, 1 January first, m/s. Every year is a stream of its own, named by seed and number.
    pub fn fill(&self, seed: u64, year: u64, wind_m_s: &mut Vec<f64>) {
        let mut draws = Stream::named(seed, WIND_STREAM, year);
        let fresh = (1.0 - self.persistence * self.persistence).sqrt();
        let mut rank = draws.gaussian();
        wind_m_s.clear();
        wind_m_s.reserve(HOURS);
        for (month, days) in MONTH_DAYS.iter().enumerate() {
            for _ in 0..24 * u32::from(*days) {
                wind_m_s.push(self.at_share_above(month, normal_share_below(-rank)));
                rank = self.persistence * rank + fresh * draws.gaussian();
            }
        }
    }

    /// The wind that so large a share of the hours of a month, 0 to 11, exceed, m/s: the share lies above 0 and up to 1.
    #[must_use]
    pub fn at_share_above(&self, month: usize, share: f64) -> f64 {
        self.mean_m_s[month] * (-4.0 / core::f64::consts::PI * libm::log(share)).sqrt()
    }

    /// Share of the hours of a month, 0 to 11, with more wind than so much, m/s.
    #[must_use]
    pub fn share_above(&self, month: usize, wind_m_s: f64) -> f64 {
        if wind_m_s <= 0.0 {
            return 1.0;
        }
        let mean_m_s = self.mean_m_s[month];
        if mean_m_s == 0.0 {
            return 0.0;
        }
        let ratio = wind_m_s / mean_m_s;
        libm::exp(-core::f64::consts::FRAC_PI_4 * ratio * ratio)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::year::first_hour_of_month;

    const MEANS: [f64; 12] = [
        11.0, 10.5, 9.5, 8.0, 7.5, 7.0, 7.0, 7.5, 8.5, 9.5, 10.5, 11.0,
    ];

    fn years(count: u64, lasts_h: f64) -> Vec<Vec<f64>> {
        let winds = WindYears::new(MEANS, lasts_h).unwrap();
        (0..count)
            .map(|year| {
                let mut one = Vec::new();
                winds.fill(7, year, &mut one);
                assert_eq!(one.len(), HOURS);
                one
            })
            .collect()
    }

    /// Kolmogorov and Smirnov: of n hours that know nothing of each other the largest distance to the law lies below 1.628/sqrt(n) in 99 of 100 cases
    /// (asymptotic, from memory); every month of 20 years with its own mean, by the closed form of Rayleigh's law.
    #[test]
    fn val_the_law_of_an_hour_is_rayleighs_about_its_month() {
        let all = years(20, 0.0);
        let mut beyond = 0;
        for month in 0..12 {
            let first = first_hour_of_month(month).unwrap();
            let last = first_hour_of_month(month + 1).unwrap_or(HOURS);
            let mut hours: Vec<f64> = all.iter().flat_map(|y| y[first..last].to_vec()).collect();
            hours.sort_by(f64::total_cmp);
            let n = hours.len() as f64;
            let law =
                |u: f64| 1.0 - (-std::f64::consts::PI / 4.0 * (u / MEANS[month]).powi(2)).exp();
            let distance = hours
                .iter()
                .enumerate()
                .map(|(i, u)| {
                    let share = law(*u);
                    (share - i as f64 / n)
                        .abs()
                        .max((share - (i + 1) as f64 / n).abs())
                })
                .fold(0.0, f64::max);
            beyond += u32::from(distance > 1.628 / n.sqrt());
        }
        assert!(
            beyond <= 1,
            "{beyond} of 12 months lie further off than 1 in 100 do"
        );
    }

    /// With persistence the law stays: means within four sampling errors of a sequence whose hours count for `2 T` each, and the correlation of the normal ranks an
    /// hour and a day apart is `exp(-1/24)` and `1/e`.
    #[test]
    fn verif_persistence_keeps_the_law_and_is_what_was_asked() {
        let all = years(400, WIND_LASTS_H);
        for month in [0, 5] {
            let first = first_hour_of_month(month).unwrap();
            let last = first_hour_of_month(month + 1).unwrap();
            let hours: Vec<f64> = all.iter().flat_map(|y| y[first..last].to_vec()).collect();
            let n = hours.len() as f64;
            let mean = hours.iter().sum::<f64>() / n;
            // Rayleigh: standard deviation 0.5227 of the mean.
            let error = 0.5227 * MEANS[month] / (n / (2.0 * WIND_LASTS_H)).sqrt();
            assert!((mean - MEANS[month]).abs() < 4.0 * error, "{mean} {error}");
            let winds = WindYears::new(MEANS, WIND_LASTS_H).unwrap();
            let above = hours.iter().filter(|u| **u > 15.0).count() as f64 / n;
            let share = winds.share_above(month, 15.0);
            let error = (share * (1.0 - share) / (n / (2.0 * WIND_LASTS_H))).sqrt();
            assert!(
                (above - share).abs() < 4.0 * error,
                "{above} {share} {error}"
            );
        }
        // Ranks: u -> Gaussian.
        let ranks: Vec<Vec<f64>> = all
            .iter()
            .map(|y| {
                y[..31 * 24]
                    .iter()
                    .map(|u| {
                        let above = (-std::f64::consts::PI / 4.0 * (u / MEANS[0]).powi(2)).exp();
                        -chance::normal_value_at_share(above)
                    })
                    .collect()
            })
            .collect();
        for (apart, expected) in [(1, (-1.0_f64 / 24.0).exp()), (24, (-1.0_f64).exp())] {
            let (mut product, mut square, mut count) = (0.0, 0.0, 0.0);
            for year in &ranks {
                for pair in year.windows(apart + 1) {
                    product += pair[0] * pair[apart];
                    square += pair[0] * pair[0];
                    count += 1.0;
                }
            }
            let found = product / square;
            let error = 1.0 / (count / (2.0 * WIND_LASTS_H)).sqrt();
            assert!((found - expected).abs() < 4.0 * error, "{apart}: {found}");
        }
    }

    #[test]
    fn verif_shares_and_winds_are_each_others_inverse() {
        let winds = WindYears::new(MEANS, WIND_LASTS_H).unwrap();
        for wind_m_s in [0.5, 4.0, 12.0, 25.0] {
            let share = winds.share_above(3, wind_m_s);
            assert!((winds.at_share_above(3, share) / wind_m_s - 1.0).abs() < 1e-12);
        }
        // The median of Rayleigh's law: mean times sqrt(4 ln 2 / pi).
        let median = winds.at_share_above(0, 0.5);
        assert!(
            (median - 11.0 * 0.939_437_278_699_651_3).abs() < 1e-12,
            "{median}"
        );
        let calm = WindYears::new([0.0; 12], 1.0).unwrap();
        assert_eq!(calm.share_above(0, 0.1), 0.0);
        assert!(WindYears::new([-1.0; 12], 1.0).is_err());
        assert!(WindYears::new(MEANS, f64::NAN).is_err());
        let (mut a, mut b) = (Vec::new(), Vec::new());
        winds.fill(1, 4, &mut a);
        winds.fill(1, 4, &mut b);
        assert_eq!(a, b);
        winds.fill(1, 5, &mut b);
        assert_ne!(a, b);
    }
}
