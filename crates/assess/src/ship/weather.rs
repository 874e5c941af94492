//! Waiting for weather: how long until the sea lets the work be done.
//!
//! In each month the significant heights follow a Weibull law with the mean of `site.wave_height`; an hour is calm for a work where the height is at most what it
//! bears. Calm and rough follow each other as a chain of two states whose correlation over an hour is `e^(-1 h / memory)`, and the wait is that of
//! [`chance::window_wait`].

use chance::{TwoState, window_wait};
use jiff::{SignedDuration, Timestamp, tz::Offset, tz::TimeZone};
use plan::{Line, Work};
use quantity::SECONDS_PER_DAY;

const HOUR_S: f64 = 3600.0;
/// How long a wait is followed beyond a slip, h: 120 d.
const FOLLOWED_H: usize = 120 * 24;
/// Slips that are followed, h: two years.
const MOST_SLIP_H: f64 = 2.0 * 8760.0;

/// The sea of a month for a work.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MonthOfCalm {
    /// Share of the hours that are calm enough, 0 to 1.
    pub calm_share: f64,
    /// Mean length of a spell that is, h; infinite where it is never rough.
    pub mean_calm_h: f64,
    /// Mean length of one that is not, h; infinite where it is never calm.
    pub mean_rough_h: f64,
    /// Ready on the first of the month, the window begins within so many days with a chance of one half and of nine tenths; `None` beyond 120 d.
    pub within_d: [Option<f64>; 2],
}

/// How a wait that begins on a day goes.
#[derive(Clone, Debug, PartialEq)]
pub struct Ready {
    /// From when, in words: `as planned`, `after a start 6 wk late`.
    pub from: String,
    /// The day.
    pub on: Timestamp,
    /// Chance that the window begins within the slip, 0 to 1; `None` where the plan writes no slip.
    pub in_slip: Option<f64>,
    /// As [`MonthOfCalm::within_d`], from that day.
    pub within_d: [Option<f64>; 2],
}

/// A work and its waits.
#[derive(Clone, Debug, PartialEq)]
pub struct WorkWait {
    /// Key of the work: `deploying`, `recovering`.
    pub key: &'static str,
    /// Key of the slip within which it must be done.
    pub slip_key: &'static str,
    /// That slip, s.
    pub slip_s: Option<f64>,
    /// Height up to which it goes on, m.
    pub wave_m: f64,
    /// Hours in a row that it takes, rounded up.
    pub lasts_h: usize,
    /// Each day from which it may have to wait.
    pub ready: Vec<Ready>,
    /// January to December.
    pub months: [MonthOfCalm; 12],
}

/// What is known of a wait.
pub(crate) type Wait = Result<WorkWait, String>;

/// Both works; `None` of one that the plan does not write.
#[derive(Clone, Debug, PartialEq)]
pub struct WeatherWaits {
    /// Laying the line.
    pub deploying: Option<Result<WorkWait, String>>,
    /// Bringing it back.
    pub recovering: Option<Result<WorkWait, String>>,
}

/// Waits for weather of a line; in an error what the plan does not say.
#[must_use]
pub fn weather_waits(line: &Line) -> WeatherWaits {
    let of = &line.deployment;
    let start_slip_s = of.start_slip_s.map(|q| q.si);
    let deploying = of.deploying.map(|work| -> Wait {
        let start = of.start.ok_or("the plan does not say when it starts")?;
        let ready = vec![("as planned".to_owned(), start)];
        waits(
            line,
            &work,
            ("deploying", "start_slip", start_slip_s),
            &ready,
        )
    });
    let recovering = of.recovering.map(|work| -> Wait {
        let recovery_slip_s = of.recovery_slip_s.map(|q| q.si);
        let start = of.start.ok_or("the plan does not say when it starts")?;
        let beyond = "its dates lie beyond the calendar";
        let planned = later(start, of.duration_s.si).ok_or(beyond)?;
        let mut ready = vec![("as planned".to_owned(), planned)];
        if let Some(late_s) = start_slip_s.filter(|s| *s > 0.0) {
            let from = format!(
                "after a start {} late",
                quantity::show(late_s, quantity::Dimension::Time)
            );
            ready.push((from, later(planned, late_s).ok_or(beyond)?));
        }
        waits(
            line,
            &work,
            ("recovering", "recovery_slip", recovery_slip_s),
            &ready,
        )
    });
    WeatherWaits {
        deploying,
        recovering,
    }
}

fn later(from: Timestamp, seconds: f64) -> Option<Timestamp> {
    from.checked_add(SignedDuration::try_from_secs_f64(seconds).ok()?)
        .ok()
}

/// The months of a sea for one height.
#[derive(Clone, Copy, Debug)]
pub struct Calms {
    /// Mean significant height of each month, m, above 0.
    pub mean_m: [f64; 12],
    /// Shape of the Weibull law.
    pub shape: f64,
    /// Memory, h.
    pub memory_h: f64,
}

impl Calms {
    /// Share of the hours of a month, 0 to 11, with a significant height of at most so much, 0 to 1.
    #[must_use]
    pub fn share(&self, month: usize, wave_m: f64) -> f64 {
        // The mean of a Weibull law is its scale times gamma(1 + 1/shape).
        let scale_m = self.mean_m[month % 12] / libm::tgamma(1.0 + 1.0 / self.shape);
        -libm::expm1(-libm::pow(wave_m / scale_m, self.shape))
    }

    /// The chain of calm and rough hours of a month.
    ///
    /// # Errors
    /// In words, a share or a memory outside its range.
    pub fn chain(&self, month: usize, wave_m: f64) -> Result<TwoState, String> {
        let persistence = libm::exp(-1.0 / self.memory_h);
        TwoState::from_share_and_persistence(self.share(month, wave_m), persistence)
            .map_err(|e| e.to_string())
    }
}

/// The heights of the sea of the site's months; in an error what the plan does not say.
pub(crate) fn calms(line: &Line) -> Result<Calms, String> {
    let sea = &line.sea;
    let means: Vec<f64> = sea.wave_height_m.iter().map(|q| q.si).collect();
    let mean_m: [f64; 12] = means.try_into().map_err(
        |_| "`site.wave_height` is not written: the mean significant height of each month",
    )?;
    let spells = sea.spells.ok_or(
        "`site.waves` is not written: how heights spread within a month, and how long calm and rough last: `waves = { shape = 1.6, memory = \"30 h\" }`",
    )?;
    if let Some(month) = mean_m.iter().position(|m| *m <= 0.0) {
        return Err(format!(
            "`site.wave_height` has no waves at all in its month {}",
            month + 1
        ));
    }
    Ok(Calms {
        mean_m,
        shape: spells.shape.si,
        memory_h: spells.memory_s.si / HOUR_S,
    })
}

fn waits(
    line: &Line,
    work: &Work,
    (key, slip_key, slip_s): (&'static str, &'static str, Option<f64>),
    ready: &[(String, Timestamp)],
) -> Wait {
    let calms = calms(line)?;
    let lasts_h = libm::ceil(work.lasts_s.si / HOUR_S).max(1.0) as usize;
    let slip_h = match slip_s.map(|s| libm::floor(s / HOUR_S)) {
        Some(hours) if hours > MOST_SLIP_H => {
            return Err(format!(
                "a {slip_key} of more than two years is not followed"
            ));
        }
        hours => hours.map(|h| h as usize),
    };
    let wave_m = work.wave_m.si;
    let from = |on: Timestamp| -> Result<chance::Wait, String> {
        let most = FOLLOWED_H.max(slip_h.unwrap_or(0));
        let seasons = seasons(&calms, wave_m, on, most + lasts_h)?;
        window_wait(&seasons, lasts_h, most).map_err(|e| e.to_string())
    };
    let ready = ready.iter().map(|(words, on)| {
        let wait = from(*on)?;
        Ok(Ready {
            from: words.clone(),
            on: *on,
            in_slip: slip_h.map(|h| wait.over_by(h)),
            within_d: within_d(&wait),
        })
    });
    let ready = ready.collect::<Result<Vec<Ready>, String>>()?;
    let year = line
        .deployment
        .start
        .map_or(2027, |at| Offset::UTC.to_datetime(at).year());
    let mut months = Vec::with_capacity(12);
    for month in 0..12_usize {
        let chain = calms.chain(month, wave_m)?;
        let first =
            jiff::civil::date(year, month as i8 + 1, 1).to_datetime(jiff::civil::Time::midnight());
        let wait = from(utc(first)?)?;
        months.push(MonthOfCalm {
            calm_share: chain.good_share(),
            mean_calm_h: 1.0 / chain.leaves_good(),
            mean_rough_h: 1.0 / chain.leaves_bad(),
            within_d: within_d(&wait),
        });
    }
    Ok(WorkWait {
        key,
        slip_key,
        slip_s,
        wave_m,
        lasts_h,
        ready,
        months: months.try_into().map_err(|_| "a year has twelve months")?,
    })
}

fn utc(at: jiff::civil::DateTime) -> Result<Timestamp, String> {
    let at = TimeZone::UTC.to_timestamp(at);
    at.map_err(|_| "its dates lie beyond the calendar".to_owned())
}

fn within_d(wait: &chance::Wait) -> [Option<f64>; 2] {
    [0.5, 0.9].map(|share| {
        let steps = wait.within_steps(share).filter(|h| *h <= FOLLOWED_H);
        steps.map(|h| h as f64 * HOUR_S / SECONDS_PER_DAY)
    })
}

/// The chain of each month from an instant on, with its hours, until so many hours are covered.
fn seasons(
    calms: &Calms,
    wave_m: f64,
    from: Timestamp,
    hours: usize,
) -> Result<Vec<(TwoState, usize)>, String> {
    let beyond = |_| "its dates lie beyond the calendar".to_owned();
    let mut at = from;
    let mut covered = 0;
    let mut all = Vec::new();
    while covered < hours {
        let now = Offset::UTC.to_datetime(at);
        let month = usize::from(now.month().unsigned_abs()) - 1;
        let next = now
            .date()
            .first_of_month()
            .checked_add(jiff::Span::new().months(1))
            .map_err(beyond)?;
        let next = utc(next.to_datetime(jiff::civil::Time::midnight()))?;
        let left_h = libm::ceil(next.duration_since(at).as_secs_f64() / HOUR_S) as usize;
        all.push((calms.chain(month, wave_m)?, left_h));
        covered += left_h;
        at = next;
    }
    Ok(all)
}
