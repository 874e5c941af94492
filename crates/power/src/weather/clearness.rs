//! A year of daily clearness from twelve monthly values, by one of two models.

use chance::Stream;

use super::aguiar::Chain;
use super::bendt::Bendt;
use super::error::WeatherError;
use crate::sun::{DAYS, SunYear};

/// Lowest monthly clearness taken: below it the distribution of [`Bendt`] runs out of range.
pub const LOWEST_MONTHLY_CLEARNESS: f64 = 0.1;
/// Highest monthly clearness taken: above it a month would need days clearer than the data have.
pub const HIGHEST_MONTHLY_CLEARNESS: f64 = 0.8;
/// Highest clearness of a day: the upper end of the clearest class of Aguiar and others 1988.
pub const HIGHEST_DAILY_CLEARNESS: f64 = 0.865;
/// Correlation from day to day of the Gaussian behind [`ClearnessModel::Bendt`]: Graham, Hollands and Huget 1988 (from
/// memory; the matrices of Aguiar give 0.02 to 0.39).
pub const PERSISTENCE: f64 = 0.29;
/// Name of the random stream of the days; its index is the number of the year.
pub const WEATHER_STREAM: &str = "weather-days";

/// How days are drawn.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum ClearnessModel {
    /// Markov chain of Aguiar, Collares-Pereira and Conde 1988.
    Aguiar,
    /// Gaussian with memory of one day, brought to the distribution of Bendt, Collares-Pereira and Rabl 1981.
    Bendt {
        /// Correlation of the Gaussian from day to day, 0 to below 1; [`PERSISTENCE`] is the published one.
        persistence: f64,
    },
}

/// What the monthly values mean.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum MonthMean {
    /// The mean over many years: single months lie above and below it, as real ones do.
    OverYears,
    /// The value of every single year: its days are scaled to it. Years then differ far less than real ones, and bad
    /// winters are missing; for comparisons only.
    EveryYear,
}

/// What draws years of daily clearness.
#[derive(Clone, Debug)]
pub struct ClearnessYears {
    model: Model,
    monthly: [f64; 12],
    mean: MonthMean,
    /// Month and energy outside the atmosphere of each day.
    days: Vec<(usize, f64)>,
}

#[derive(Clone, Debug)]
enum Model {
    Aguiar(Box<[Chain; 12]>),
    Bendt {
        months: [Bendt; 12],
        persistence: f64,
        fresh: f64,
    },
}

impl ClearnessYears {
    /// Prepares a model for twelve monthly clearness values ([`LOWEST_MONTHLY_CLEARNESS`] to
    /// [`HIGHEST_MONTHLY_CLEARNESS`]): global energy on the horizontal over that outside the atmosphere.
    ///
    /// A month without sun needs a value too; it has no effect on energy.
    ///
    /// # Errors
    /// A clearness or a persistence outside its range.
    pub fn new(
        model: ClearnessModel,
        monthly: &[f64; 12],
        mean: MonthMean,
        sun: &SunYear,
    ) -> Result<Self, WeatherError> {
        for (month, &value) in monthly.iter().enumerate() {
            check_monthly(month, value)?;
        }
        let model = match model {
            ClearnessModel::Aguiar => Model::Aguiar(Box::new(monthly.map(Chain::new))),
            ClearnessModel::Bendt { persistence } => {
                if !(0.0..1.0).contains(&persistence) {
                    return Err(WeatherError::Persistence { value: persistence });
                }
                Model::Bendt {
                    months: monthly.map(Bendt::of_checked),
                    persistence,
                    fresh: (1.0 - persistence * persistence).sqrt(),
                }
            }
        };
        Ok(Self {
            model,
            monthly: *monthly,
            mean,
            days: sun
                .days()
                .iter()
                .map(|day| (day.month, day.extraterrestrial_wh_m2))
                .collect(),
        })
    }

    /// Draws the days of year number `year` of a seed, 1 January first. The same seed and number give the same days,
    /// whatever else was drawn.
    pub fn fill(&self, seed: u64, year: u64, clearness: &mut [f64; DAYS]) {
        let mut stream = Stream::named(seed, WEATHER_STREAM, year);
        match &self.model {
            Model::Aguiar(chains) => self.fill_aguiar(chains, &mut stream, clearness),
            Model::Bendt {
                months,
                persistence,
                fresh,
            } => {
                let mut x = stream.gaussian();
                for (day, k) in clearness.iter_mut().enumerate() {
                    if day > 0 {
                        x = persistence * x + fresh * stream.gaussian();
                    }
                    *k = months[self.days[day].0].quantile(chance::normal_share_below(x));
                }
            }
        }
        if self.mean == MonthMean::EveryYear {
            self.scale_months(clearness);
        }
    }

    fn fill_aguiar(&self, chains: &[Chain; 12], stream: &mut Stream, clearness: &mut [f64; DAYS]) {
        let mut month_before = self.days[0].0;
        let mut bin = chains[month_before].first_bin(stream);
        let mut place = 0.0;
        for (day, k) in clearness.iter_mut().enumerate() {
            let month = self.days[day].0;
            let chain = &chains[month];
            if day > 0 {
                if month != month_before {
                    bin = chain.bin_of_rank(chains[month_before].rank(bin, place));
                }
                bin = chain.next_bin(bin, stream);
            }
            place = stream.uniform();
            *k = chain.clearness(bin, place);
            month_before = month;
        }
    }

    /// Scales each month so that its energy is that of the monthly clearness, with no day above the highest.
    fn scale_months(&self, clearness: &mut [f64; DAYS]) {
        let mut begin = 0;
        while begin < DAYS {
            let month = self.days[begin].0;
            let end = begin
                + self.days[begin..]
                    .iter()
                    .take_while(|day| day.0 == month)
                    .count();
            scale_to_mean(
                &mut clearness[begin..end],
                &self.days[begin..end],
                self.monthly[month],
            );
            begin = end;
        }
    }
}

/// One factor on all days, those that reach the highest clearness staying there. Days that are cut leave more to the
/// others, so the factor only grows and each day is cut at most once.
fn scale_to_mean(clearness: &mut [f64], days: &[(usize, f64)], mean: f64) {
    let total: f64 = days.iter().map(|day| day.1).sum();
    if total <= 0.0 {
        return;
    }
    let mut cut = vec![false; clearness.len()];
    let factor = loop {
        let (mut cut_weight, mut free_sum) = (0.0, 0.0);
        for ((k, day), &cut) in clearness.iter().zip(days).zip(&cut) {
            if cut {
                cut_weight += day.1;
            } else {
                free_sum += day.1 * k;
            }
        }
        let factor = (mean * total - HIGHEST_DAILY_CLEARNESS * cut_weight) / free_sum;
        let mut grown = false;
        for (k, cut) in clearness.iter().zip(&mut cut) {
            if !*cut && factor * k > HIGHEST_DAILY_CLEARNESS {
                *cut = true;
                grown = true;
            }
        }
        if !grown {
            break factor;
        }
    };
    for (k, cut) in clearness.iter_mut().zip(cut) {
        *k = if cut {
            HIGHEST_DAILY_CLEARNESS
        } else {
            *k * factor
        };
    }
}

fn check_monthly(month: usize, value: f64) -> Result<(), WeatherError> {
    if is_taken(value) {
        Ok(())
    } else {
        Err(WeatherError::MonthlyClearness {
            month,
            value,
            lowest: LOWEST_MONTHLY_CLEARNESS,
            highest: HIGHEST_MONTHLY_CLEARNESS,
        })
    }
}

/// Whether the models take a monthly mean.
pub(super) fn is_taken(monthly: f64) -> bool {
    (LOWEST_MONTHLY_CLEARNESS..=HIGHEST_MONTHLY_CLEARNESS).contains(&monthly)
}
