//! Hours in which each hydrophone of a line hears, over the years of its supplies: what its power, its start, its way ashore, its clock, its own heave and the strum of its rope leave.
//!
//! The years are those of the energy year (same seed, same weather), the wind of each hour is drawn beside them, the tide runs from a phase of the year's own. Causes fall together as they fall: nothing
//! is multiplied. Equations, sources and limits: docs/method/hours.md.

mod at_once;
mod cause;
mod ears;
mod feeding;
mod joint;
mod kept;
mod run;
mod strums;
mod waves;

use plan::{Line, SensorIx};

pub use cause::{CAUSES, Cause};
pub use ears::CauseKnown;
pub(crate) use feeding::{fed_by, never_off};
pub(crate) use kept::{HeardYears, Whose};
pub(crate) use waves::Seas;
pub use waves::{CLIPPED_SHARE, Waved};

use crate::input::InputError;
use crate::memo::Memo;
use crate::months::months_in_water;
use crate::mooring_verdicts::Hangs;
use crate::years::WEATHER_SEED;
use joint::JointYear;
pub(crate) use run::Hearing;

/// Years that are drawn where none are said.
pub const LISTENING_YEARS: u64 = 300;
const YEAR_S: f64 = 8760.0 * 3600.0;

/// What is asked.
#[derive(Clone, Copy, Debug)]
pub struct HoursAsk {
    /// Years; [`LISTENING_YEARS`], or all that were measured, where none are said.
    pub years: Option<u64>,
    /// Seed of weather, wind and tide; [`WEATHER_SEED`] is that of `check`.
    pub seed: u64,
    /// Threads.
    pub threads: usize,
}

impl Default for HoursAsk {
    fn default() -> HoursAsk {
        HoursAsk {
            years: None,
            seed: WEATHER_SEED,
            threads: 1,
        }
    }
}

/// Shares of years below three figures: the lowest tenth, the middle, the highest tenth.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tenths {
    /// A tenth of the years lie below.
    pub p10: f64,
    /// Half.
    pub p50: f64,
    /// Nine tenths.
    pub p90: f64,
}

impl Tenths {
    /// Of the figures of the years: the least of them of which so large a share lies at or below it.
    fn of(mut each: Vec<f64>) -> Tenths {
        each.sort_by(f64::total_cmp);
        let at = |share: f64| {
            let place = (share * each.len() as f64).ceil() as usize;
            each.get(place.max(1) - 1).copied().unwrap_or(f64::NAN)
        };
        Tenths {
            p10: at(0.1),
            p50: at(0.5),
            p90: at(0.9),
        }
    }
}

/// Hearing over the years: of a hydrophone, or of so many at once.
#[derive(Clone, Debug, PartialEq)]
pub struct HearingShares {
    /// Share of the hours of each month, January to December, 0 to 1.
    pub months: [Tenths; 12],
    /// Share of the hours of a year.
    pub whole: Tenths,
    /// Share of all hours of all years.
    pub mean: f64,
    /// The month of the deployment with the least in the lowest tenth of the years, 0 to 11.
    pub worst_month: usize,
    /// The longest time without hearing of each year, h.
    pub gap_h: Tenths,
    /// The longest of all years, h.
    pub longest_gap_h: f64,
}

/// What a cause takes.
#[derive(Clone, Debug, PartialEq)]
pub struct CauseTold {
    /// Which.
    pub cause: Cause,
    /// How much is known of it.
    pub known: CauseKnown,
    /// Share of the time of all years that it takes by itself.
    pub alone: f64,
    /// Share that no other takes.
    pub only: f64,
}

/// A hydrophone.
#[derive(Clone, Debug, PartialEq)]
pub struct EarHours {
    /// The sensor.
    pub sensor: SensorIx,
    /// Its typed path.
    pub path: String,
    /// The causes that are left out because the plan does not say enough; what is heard is then at most what is told.
    pub unknown: Vec<String>,
    /// What is heard, by the causes that are known.
    pub heard: HearingShares,
    /// Each cause.
    pub causes: Vec<CauseTold>,
    /// What waves do to it, where that is known.
    pub waved: Option<Waved>,
}

/// So many hydrophones at once.
#[derive(Clone, Debug, PartialEq)]
pub struct AtOnce {
    /// At least so many.
    pub at_least: usize,
    /// Of so many.
    pub of: usize,
    /// What is heard.
    pub heard: HearingShares,
}

/// Hours of hearing of a line.
#[derive(Clone, Debug, PartialEq)]
pub struct ListeningHours {
    /// Seed.
    pub seed: u64,
    /// Years that were run.
    pub years: u64,
    /// Path of the weather file that they come from; `None` for generated years.
    pub weather_file: Option<String>,
    /// Months of the deployment, 0 to 11, slips included.
    pub months_in_water: Vec<usize>,
    /// Each hydrophone, in the order of the line.
    pub ears: Vec<EarHours>,
    /// At least one at once, at least two, and so on; of a line with several.
    pub at_once: Vec<AtOnce>,
    /// Values that count although the plan does not write them.
    pub assumed: Vec<String>,
}

/// Why there are no hours of hearing.
#[derive(Clone, Debug, thiserror::Error)]
pub enum HoursError {
    /// The line has none.
    #[error("the plan has no hydrophone")]
    NoHydrophone,
    /// None was asked for.
    #[error("no year was asked for")]
    NoYear,
    /// More were asked for than were measured.
    #[error("the weather of {path} holds out for {there} years, and {asked} were asked for")]
    FewYears {
        /// The file.
        path: String,
        /// How many there are.
        there: u64,
        /// How many were asked for.
        asked: u64,
    },
    /// The years cannot be run.
    #[error(transparent)]
    Input(#[from] InputError),
}

/// Hours of hearing of a plan's line. `watch` gets the share that is done, 0 to 1, and says whether to go on; `Ok(None)` when it says no.
///
/// # Errors
/// [`HoursError`].
pub fn listening_hours(
    line: &Line,
    ask: &HoursAsk,
    watch: &(dyn Fn(f64) -> bool + Sync),
) -> Result<Option<ListeningHours>, HoursError> {
    let memo = Memo::with_room(0);
    let hangs = Hangs::new(line, &memo);
    let hearing = Hearing::of(&hangs, ask.seed)?;
    let there = hearing.measured_years();
    let years = ask.years.or(there).unwrap_or(LISTENING_YEARS);
    if years == 0 {
        return Err(HoursError::NoYear);
    }
    if let (Some(there), Some(weather)) = (there.filter(|t| *t < years), &line.sea.weather) {
        return Err(HoursError::FewYears {
            path: weather.path.clone(),
            there,
            asked: years,
        });
    }
    let Some(run) = hearing.run(years, ask.threads, watch)? else {
        return Ok(None);
    };
    Ok(Some(told(line, hearing, &run, ask.seed, years)))
}

fn told(
    line: &Line,
    mut hearing: Hearing,
    run: &[JointYear],
    seed: u64,
    years: u64,
) -> ListeningHours {
    hearing.settle(run);
    let months = months_in_water(line);
    let all_s = YEAR_S * years as f64;
    let ears = hearing.ears.iter().enumerate().map(|(ix, ear)| {
        let each = || run.iter().map(|year| &year.ears[ix]);
        let sum = |of: &dyn Fn(&joint::EarYear) -> f64| each().map(of).sum::<f64>() / all_s;
        let causes = CAUSES.iter().zip(&ear.causes).enumerate();
        EarHours {
            sensor: ear.sensor,
            path: line.sensor_path(ear.sensor),
            unknown: ear.unknown(),
            heard: heard(each().map(|y| (&y.heard_s, y.gap_s)), &months),
            causes: causes
                .map(|(at, (cause, known))| CauseTold {
                    cause: *cause,
                    known: known.clone(),
                    alone: sum(&|y| y.alone_s[at]),
                    only: sum(&|y| y.only_s[at]),
                })
                .collect(),
            waved: ear.waved.clone(),
        }
    });
    let count = hearing.ears.len();
    let at_once = (0..count).filter(|_| count > 1).map(|ix| AtOnce {
        at_least: ix + 1,
        of: count,
        heard: heard(
            run.iter()
                .map(|y| (&y.at_once[ix].heard_s, y.at_once[ix].gap_s)),
            &months,
        ),
    });
    ListeningHours {
        seed,
        years,
        weather_file: line.sea.weather.as_ref().map(|w| w.path.clone()),
        ears: ears.collect(),
        at_once: at_once.collect(),
        months_in_water: months,
        assumed: hearing.assumed.clone(),
    }
}

/// Hours of a month, in s.
pub(crate) fn month_s(month: usize) -> f64 {
    86_400.0 * f64::from(power::year::MONTH_DAYS[month])
}

fn heard<'y>(
    years: impl Iterator<Item = (&'y [f64; 12], f64)> + Clone,
    in_water: &[usize],
) -> HearingShares {
    let months: [Tenths; 12] = core::array::from_fn(|month| {
        let share = |(heard_s, _): (&[f64; 12], f64)| heard_s[month] / month_s(month);
        Tenths::of(years.clone().map(share).collect())
    });
    let worst = in_water
        .iter()
        .copied()
        .min_by(|a, b| months[*a].p10.total_cmp(&months[*b].p10).then(a.cmp(b)));
    let gaps_h: Vec<f64> = years.clone().map(|(_, gap_s)| gap_s / 3600.0).collect();
    let whole: Vec<f64> = years
        .map(|(heard_s, _)| heard_s.iter().sum::<f64>() / YEAR_S)
        .collect();
    HearingShares {
        mean: whole.iter().sum::<f64>() / whole.len() as f64,
        whole: Tenths::of(whole),
        worst_month: worst.unwrap_or(0),
        longest_gap_h: gaps_h.iter().copied().fold(0.0, f64::max),
        gap_h: Tenths::of(gaps_h),
        months,
    }
}

/// The hydrophones of a line in their order.
pub(crate) fn all_ears(line: &Line) -> Vec<SensorIx> {
    line.hydrophones().collect()
}
