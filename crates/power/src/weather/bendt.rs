//! Days of clearness from a distribution that depends on the month's mean alone.
//!
//! Source: Bendt, Collares-Pereira and Rabl 1981 as equations 2.9.4 to 2.9.6 of Duffie and Beckman, Solar Engineering
//! of Thermal Processes, read in public programs. Between `Kmin` and `Kmax` the density of a day's clearness K is
//! proportional to `exp(gamma K)`:
//!
//! `F(K) = (e^(gamma Kmin) - e^(gamma K)) / (e^(gamma Kmin) - e^(gamma Kmax))`, `Kmin = 0.05`,
//! `Kmax = 0.6313 + 0.267 Km - 11.9 (Km - 0.75)^8` (Hollands and Huget 1983; one public program writes 0.613).
//!
//! Deliberate deviation: gamma solves the mean exactly; the printed fit of it misses the mean by up to 0.002 between 0.3
//! and 0.7, and by 0.015 at 0.2. With `y = gamma (Kmax - Kmin)` the mean stands at the share `1/(1 - e^-y) - 1/y` of the
//! range, which is solved for y.
//!
//! Validity: Km 0.1 to 0.8. Accuracy: mean and quantiles 1e-12 of the distribution as written.

/// Lowest clearness of a day.
const LOWEST: f64 = 0.05;

/// The distribution of a day's clearness in a month.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bendt {
    highest: f64,
    /// Gamma times the range.
    y: f64,
}

impl Bendt {
    /// The distribution with a monthly mean from [`super::LOWEST_MONTHLY_CLEARNESS`] to
    /// [`super::HIGHEST_MONTHLY_CLEARNESS`].
    ///
    /// # Errors
    /// [`super::WeatherError::Clearness`]: a mean outside that range.
    pub fn new(monthly: f64) -> Result<Self, super::WeatherError> {
        if !super::clearness::is_taken(monthly) {
            return Err(super::WeatherError::Clearness {
                value: monthly,
                lowest: super::LOWEST_MONTHLY_CLEARNESS,
                highest: super::HIGHEST_MONTHLY_CLEARNESS,
            });
        }
        Ok(Self::of_checked(monthly))
    }

    pub(super) fn of_checked(monthly: f64) -> Self {
        let beside = monthly - 0.75;
        let square = beside * beside;
        let fourth = square * square;
        let highest = 0.6313 + 0.267 * monthly - 11.9 * fourth * fourth;
        let mean_share = (monthly - LOWEST) / (highest - LOWEST);
        // Shares of 0.05 to 0.95 need |y| below 20.
        let y = numerics::brent(|y| share_of_mean(y) - mean_share, -60.0, 60.0, 1e-13)
            .expect("the share rises from 1/60 to 59/60 and the means taken lie between")
            .x;
        Self { highest, y }
    }

    /// Highest clearness of a day.
    #[must_use]
    pub fn highest(&self) -> f64 {
        self.highest
    }

    /// Gamma, the steepness of the density.
    #[must_use]
    pub fn gamma(&self) -> f64 {
        self.y / (self.highest - LOWEST)
    }

    /// Share of days at or below a clearness, 0 to 1.
    #[must_use]
    pub fn share_below(&self, clearness: f64) -> f64 {
        let at = ((clearness - LOWEST) / (self.highest - LOWEST)).clamp(0.0, 1.0);
        if self.y.abs() < FLAT {
            at
        } else {
            libm::expm1(self.y * at) / libm::expm1(self.y)
        }
    }

    /// The clearness that a share of days, 0 to 1, does not exceed.
    #[must_use]
    pub fn quantile(&self, share: f64) -> f64 {
        let at = if self.y.abs() < FLAT {
            share
        } else {
            libm::log1p(share * libm::expm1(self.y)) / self.y
        };
        LOWEST + (self.highest - LOWEST) * at
    }
}

/// Below this |y| the distribution is even to within rounding.
const FLAT: f64 = 1e-12;

/// Place of the mean within the range, 0 to 1.
fn share_of_mean(y: f64) -> f64 {
    // Below 0.05 the two terms cancel; the next term of the series is y^7/1209600.
    if y.abs() < 0.05 {
        let square = y * y;
        0.5 + y * (1.0 / 12.0 + square * (-1.0 / 720.0 + square / 30240.0))
    } else {
        -1.0 / libm::expm1(-y) - 1.0 / y
    }
}
