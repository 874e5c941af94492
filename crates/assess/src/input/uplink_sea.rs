//! How the attempts of an uplink succeed: with one chance, or through calm and high seas that last, month by month.
//!
//! The share of high sea of a month is what Rayleigh's law about its mean wind leaves above the wind that the plan writes. Of a wave height it is what the site's own law of heights (`site.waves`)
//! leaves above it, or, where the site has none, Rayleigh's law above the wind that raises it. How long high seas last the plan says; else it follows from the memory of the site's waves, or of a
//! limit by wind from how the wind of the hours holds on (docs/method/uplink.md).

use chance::{TwoState, exceedance_persistence};
use network::Tries;
use plan::{LastingSea, Line, SeaLimit, UplinkIx};
use power::weather::{WIND_LASTS_H, WindYears};
use quantity::{Dimension, show};

use super::uplink::least_success;
use super::{InputError, SECONDS_PER_HOUR};
use crate::cell_verdicts::MONTHS;
use crate::hours::Seas;
use crate::months::months_in_water;
use crate::ship::calms;

/// How attempts succeed.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Succeeds {
    /// Each on its own.
    Steady {
        /// Chance of each, above 0.
        chance: f64,
        /// Where it holds, in words.
        where_: String,
    },
    /// By the state of the sea.
    BySea(Box<BySea>),
}

/// Attempts through seas that last.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct BySea {
    /// January to December.
    pub(crate) months: [Tries; 12],
    /// The month of the deployment with most high sea, 0 to 11.
    pub(crate) worst: usize,
    /// From what the seas come, in words.
    pub(crate) from: String,
}

impl Succeeds {
    /// The attempts of the worst month.
    pub(crate) fn tries(&self) -> Result<Tries, InputError> {
        match self {
            Succeeds::BySea(sea) => Ok(sea.months[sea.worst]),
            Succeeds::Steady { chance, .. } => {
                Tries::steady(*chance).ok_or_else(|| InputError::Open {
                    what: format!("an uplink of which {chance} of the attempts succeed"),
                })
            }
        }
    }

    /// Where that holds, in words that follow on a chance.
    pub(crate) fn where_(&self) -> String {
        match self {
            Succeeds::Steady { where_, .. } => where_.clone(),
            Succeeds::BySea(sea) => {
                let high = sea.months[sea.worst].chain.at_rest()[1];
                format!(
                    " in {}, when the sea is high {:.1} % of the time",
                    MONTHS[sea.worst],
                    100.0 * high
                )
            }
        }
    }

    /// By month, January to December, and the worst of them, 0 to 11.
    pub(crate) fn by_month(&self) -> Result<[Tries; 12], InputError> {
        match self {
            Succeeds::BySea(sea) => Ok(sea.months),
            Succeeds::Steady { .. } => Ok([self.tries()?; 12]),
        }
    }
}

/// How the attempts of an uplink succeed, up to a wind where one is given.
///
/// # Errors
/// As [`least_success`]; [`InputError::NotSaid`] where the site says no wind; [`InputError::Open`] for a month in which no attempt ever succeeds.
pub(crate) fn succeeds(
    line: &Line,
    uplink: UplinkIx,
    wind_at_most_m_s: Option<f64>,
) -> Result<Succeeds, InputError> {
    let u = &line.uplinks[uplink.0];
    let Some(sea) = u.sea else {
        let (chance, where_) = least_success(line, uplink, wind_at_most_m_s)?;
        return Ok(Succeeds::Steady { chance, where_ });
    };
    if let (SeaLimit::Wind(limit), Some(wind_m_s)) = (sea.high_above, wind_at_most_m_s)
        && wind_m_s <= limit.si
    {
        return Ok(Succeeds::Steady {
            chance: sea.calm.si,
            where_: format!(" in winds up to {}", show(wind_m_s, Dimension::Speed)),
        });
    }
    let what = || format!("uplink.{}", u.id);
    if let (SeaLimit::WaveHeight(limit), Some(_)) = (sea.high_above, line.sea.spells) {
        return by_waves(line, uplink, &sea, limit.si);
    }
    if let (SeaLimit::WaveHeight(_), None) = (sea.high_above, sea.high_lasts_s) {
        return Err(InputError::NotSaid {
            what: what(),
            missing: "how long a high sea lasts: `high_lasts` of its `sea`, or `site.waves` with the memory of the heights",
        });
    }
    let seas = Seas::of(line).map_err(|_| InputError::NotSaid {
        what: what(),
        missing: "the `wind` of the site's months, from which its high seas come",
    })?;
    let winds = WindYears::new(seas.wind_m_s(), WIND_LASTS_H).map_err(|e| InputError::Open {
        what: format!("{}: {e}", what()),
    })?;
    let high = |month| winds.share_above(month, high_wind_m_s(line, &seas, &sea, month));
    let hour = |high| exceedance_persistence(high, libm::exp(-1.0 / WIND_LASTS_H));
    let lasts = match sea.high_lasts_s {
        Some(q) => format!("high seas last {} on average", show(q.si, Dimension::Time)),
        None => format!(
            "high seas hold on as the wind of the hours does, whose ranks forget in {WIND_LASTS_H} h (common practice)"
        ),
    };
    let by = match sea.high_above {
        SeaLimit::Wind(_) => "Rayleigh's law about the mean wind of each month".to_owned(),
        SeaLimit::WaveHeight(_) => format!(
            "Rayleigh's law about the mean wind of each month and {}{}",
            seas.words(),
            line.sea.swell.map_or("", |_| ", with the swell")
        ),
    };
    let seas = HighSeas {
        share: &high,
        hour: &hour,
    };
    by_sea(line, uplink, &sea, &seas, format!("{by}; {lasts}"))
}

/// Through seas whose heights follow the law of the site, high above this, m.
fn by_waves(
    line: &Line,
    uplink: UplinkIx,
    sea: &LastingSea,
    limit_m: f64,
) -> Result<Succeeds, InputError> {
    let calms = calms(line).map_err(|why| InputError::Open {
        what: format!("uplink.{}: {why}", line.uplinks[uplink.0].id),
    })?;
    let memory_s = calms.memory_h * SECONDS_PER_HOUR;
    let lasts = match sea.high_lasts_s {
        Some(q) => format!("high seas last {} on average", show(q.si, Dimension::Time)),
        None => format!(
            "high seas hold on as heights do, of which a share of 1/e is left after {}",
            show(memory_s, Dimension::Time)
        ),
    };
    let from = format!("the law of heights in `site.waves` about the mean of each month; {lasts}");
    let high = |month| 1.0 - calms.share(month, limit_m);
    let hour = |_| Some(libm::exp(-SECONDS_PER_HOUR / memory_s));
    let seas = HighSeas {
        share: &high,
        hour: &hour,
    };
    by_sea(line, uplink, sea, &seas, from)
}

/// How often the sea is high, and how it holds on.
struct HighSeas<'a> {
    /// Share of the hours of a month, 0 to 11, in which it is.
    share: &'a dyn Fn(usize) -> f64,
    /// Correlation of neighbouring hours at such a share.
    hour: &'a dyn Fn(f64) -> Option<f64>,
}

/// Month by month.
fn by_sea(
    line: &Line,
    uplink: UplinkIx,
    sea: &LastingSea,
    seas: &HighSeas<'_>,
    from: String,
) -> Result<Succeeds, InputError> {
    let mut months = Vec::with_capacity(12);
    for (month, name) in MONTHS.iter().enumerate() {
        let high = (seas.share)(month);
        let tries = tries(sea, high, seas.hour).ok_or_else(|| InputError::Open {
            what: format!(
                "uplink.{}: in {name} the sea is high {:.1} % of the time, and no attempt ever succeeds",
                line.uplinks[uplink.0].id,
                100.0 * high
            ),
        })?;
        months.push(tries);
    }
    let months: [Tries; 12] = months.try_into().expect("one for each of twelve months");
    let high = |m: usize| months[m].chain.at_rest()[1];
    let in_water = months_in_water(line).into_iter();
    let worst = in_water
        .max_by(|a, b| high(*a).total_cmp(&high(*b)).then(b.cmp(a)))
        .unwrap_or(0);
    Ok(Succeeds::BySea(Box::new(BySea {
        months,
        worst,
        from,
    })))
}

/// The wind of a month above which the sea is high, m/s; beside a swell the squares of heights add up.
fn high_wind_m_s(line: &Line, seas: &Seas, sea: &LastingSea, month: usize) -> f64 {
    match sea.high_above {
        SeaLimit::Wind(q) => q.si,
        SeaLimit::WaveHeight(q) => {
            let swell_m = line.sea.swell.map_or(0.0, |s| s.height_m.si);
            let raised = q.si * q.si - swell_m * swell_m;
            if raised <= 0.0 {
                return 0.0;
            }
            seas.wind_for_m_s(month, raised.sqrt())
        }
    }
}

/// The attempts of a month with this share of high sea.
fn tries(sea: &LastingSea, high: f64, hour: &dyn Fn(f64) -> Option<f64>) -> Option<Tries> {
    let calm = 1.0 - high;
    let chain = match sea.high_lasts_s {
        Some(lasts) => TwoState::from_share_and_bad_spell(calm, lasts.si / SECONDS_PER_HOUR),
        None => TwoState::from_share_and_persistence(calm, hour(high)?.min(1.0 - f64::EPSILON)),
    };
    let tries = Tries {
        chain: chain.ok()?,
        step_s: SECONDS_PER_HOUR,
        calm_succeeds: sea.calm.si,
        high_succeeds: sea.high.si,
    };
    tries.is_sane().then_some(tries)
}
