//! Years of hearing for the requirements of a check: run once, as many as the hardest claim asks for.

use plan::{Line, Listeners, SensorIx, That};

use super::cause::{CAUSES, Cause};
use super::joint::JointYear;
use super::run::Hearing;
use super::{LISTENING_YEARS, YEAR_S, month_s};
use crate::check::Tier;
use crate::memo::Memo;
use crate::months::months_in_water;
use crate::mooring_verdicts::Hangs;
use crate::years::{MOST_YEARS, OwnYears, QUICK_YEARS, WEATHER_SEED, share_of_years};

/// Whose hearing is judged.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Whose {
    /// A hydrophone, by its place among those of the line.
    Ear(usize),
    /// So many at once.
    AtOnce(usize),
}

/// A hydrophone of these years.
#[derive(Clone)]
struct KeptEar {
    sensor: SensorIx,
    /// The causes of which the plan does not say enough.
    unknown: Vec<String>,
    /// What it would take to know for how long electronics drown it.
    between: Vec<String>,
    /// Whether these drown it at times and not at others.
    drowned_at_times: bool,
}

/// Years of hearing.
#[derive(Clone)]
pub(crate) struct HeardYears {
    ears: Vec<KeptEar>,
    years: Vec<JointYear>,
    /// Number of each.
    pub(crate) numbers: Vec<u64>,
    /// How many were measured; `None` where they are drawn.
    pub(crate) measured: Option<u64>,
    /// How many a full check takes.
    pub(crate) of_years: u64,
    pub(crate) in_water: Vec<usize>,
    pub(crate) assumed: Vec<String>,
    /// What they were made from.
    pub(crate) made_from: String,
}

impl HeardYears {
    /// # Errors
    /// In words.
    pub(crate) fn of(
        hangs: &Hangs<'_>,
        tier: Tier,
        own: Option<OwnYears>,
        few: Option<&[u64]>,
    ) -> Result<HeardYears, String> {
        let (line, memo): (&Line, &Memo) = (hangs.line(), hangs.memo());
        let seed = own.map_or(WEATHER_SEED, |own| own.seed);
        let mut hearing = Hearing::of(hangs, seed).map_err(|e| e.to_string())?;
        let measured = hearing.measured_years();
        let of_years = measured.unwrap_or_else(|| asked(line).max(LISTENING_YEARS));
        let numbers: Vec<u64> = match (own, few) {
            (None, Some(few)) => few.to_vec(),
            (None, None) => {
                let count = match tier {
                    Tier::Quick if measured.is_none() => of_years.min(QUICK_YEARS),
                    Tier::Quick | Tier::Full => of_years,
                };
                (0..count).collect()
            }
            (Some(own), _) => {
                let count = own.count.min(measured.unwrap_or(own.count));
                (own.first..own.first + count)
                    .map(|n| measured.map_or(n, |of| n % of.max(1)))
                    .collect()
            }
        };
        let years = hearing.kept(&numbers, memo).map_err(|e| e.to_string())?;
        hearing.settle(&years);
        Ok(HeardYears {
            ears: hearing
                .ears
                .iter()
                .map(|ear| KeptEar {
                    sensor: ear.sensor,
                    unknown: ear.unknown(),
                    between: ear.between.clone(),
                    drowned_at_times: ear.run.drowned_at_times(),
                })
                .collect(),
            years,
            numbers,
            measured,
            of_years,
            in_water: months_in_water(line),
            made_from: hearing.digest(),
            assumed: hearing.assumed,
        })
    }

    /// Those that a requirement is about.
    pub(crate) fn whose(&self, of: Listeners) -> Vec<Whose> {
        match of {
            Listeners::Each => (0..self.ears.len()).map(Whose::Ear).collect(),
            Listeners::One(sensor) => {
                let place = self.ears.iter().position(|ear| ear.sensor == sensor);
                place.map(Whose::Ear).into_iter().collect()
            }
            Listeners::AtOnce(many) => vec![Whose::AtOnce(many as usize)],
        }
    }

    /// In words.
    pub(crate) fn subject(&self, line: &Line, whose: Whose) -> String {
        match whose {
            Whose::Ear(ix) => line.sensor_path(self.ears[ix].sensor),
            Whose::AtOnce(many) => format!("{many} of {} hydrophones at once", self.ears.len()),
        }
    }

    /// The causes of which the plan does not say enough.
    pub(crate) fn unknown(&self, line: &Line, whose: Whose) -> Vec<String> {
        match whose {
            Whose::Ear(ix) => self.ears[ix].unknown.clone(),
            Whose::AtOnce(_) => {
                let ears = self.ears.iter();
                ears.filter(|ear| !ear.unknown.is_empty())
                    .map(|ear| {
                        format!(
                            "{}: {}",
                            line.sensor_path(ear.sensor),
                            ear.unknown.join("; ")
                        )
                    })
                    .collect()
            }
        }
    }

    fn ears_of(&self, whose: Whose) -> &[KeptEar] {
        match whose {
            Whose::Ear(ix) => &self.ears[ix..ix + 1],
            Whose::AtOnce(_) => &self.ears,
        }
    }

    /// Why the longest time without hearing is not known by what drowns hydrophones at times; `None` where none is.
    pub(crate) fn stretch_unknown(&self, line: &Line, whose: Whose) -> Option<String> {
        let drowned = self.ears_of(whose).iter().filter(|e| e.drowned_at_times);
        let paths: Vec<String> = drowned.map(|e| line.sensor_path(e.sensor)).collect();
        (!paths.is_empty()).then(|| {
            format!(
                "{}: for how long at a stretch electronics drown {} is not known: what they put in is to lie below the sea in every state, or in all of them above it (`pick-up`)",
                Cause::PickUp.word(),
                paths.join(", ")
            )
        })
    }

    /// What it would take to know how much electronics take, in words.
    pub(crate) fn between(&self, whose: Whose) -> Vec<String> {
        let mut all: Vec<String> = Vec::new();
        for why in self.ears_of(whose).iter().flat_map(|e| &e.between) {
            if !all.contains(why) {
                all.push(why.clone());
            }
        }
        if all.is_empty() {
            all.push(
                "whether they drown it while something else keeps it or another hydrophone deaf, or beside that, is not known: keep them below the sea (`pick-up`)".to_owned(),
            );
        }
        all
    }

    /// The same years where electronics take the least that they can; `None` where that is what they take.
    pub(crate) fn at_best(&self) -> Option<HeardYears> {
        if self.years.iter().all(|year| year.at_best.is_none()) {
            return None;
        }
        let years = self.years.iter();
        Some(HeardYears {
            years: years
                .map(|year| match &year.at_best {
                    Some(best) => best.as_ref().clone(),
                    None => year.clone(),
                })
                .collect(),
            ..self.clone()
        })
    }

    /// Share of the hours of the worst month in the water, of each year, with that month.
    pub(crate) fn worst_months(&self, whose: Whose) -> Vec<(f64, usize)> {
        let worst = |heard_s: &[f64; 12]| {
            let months = self
                .in_water
                .iter()
                .map(|m| (heard_s[*m] / month_s(*m), *m));
            months
                .min_by(|a, b| a.0.total_cmp(&b.0))
                .expect("a deployment lies in some month")
        };
        let years = self.years.iter();
        years
            .map(|year| match whose {
                Whose::Ear(ix) => worst(&year.ears[ix].heard_s),
                Whose::AtOnce(many) => year
                    .at_once
                    .get(many - 1)
                    .map_or((0.0, 0), |o| worst(&o.heard_s)),
            })
            .collect()
    }

    /// The longest time without hearing of each year, h.
    pub(crate) fn gaps_h(&self, whose: Whose) -> Vec<f64> {
        let years = self.years.iter();
        years
            .map(|year| match whose {
                Whose::Ear(ix) => year.ears[ix].gap_s / 3600.0,
                Whose::AtOnce(many) => year
                    .at_once
                    .get(many - 1)
                    .map_or(f64::INFINITY, |o| o.gap_s / 3600.0),
            })
            .collect()
    }

    /// What each cause takes by itself of a hydrophone, as a share of all the time, the largest first, with the hydrophone by its place; of several at once of that of which it takes most.
    pub(crate) fn causes(&self, whose: Whose) -> Vec<(Cause, f64, usize)> {
        let all_s = YEAR_S * self.years.len() as f64;
        let of = |ix: usize, cause: Cause| {
            let years = self
                .years
                .iter()
                .map(|y| y.ears[ix].alone_s[cause as usize]);
            years.sum::<f64>() / all_s
        };
        let ears = match whose {
            Whose::Ear(ix) => ix..ix + 1,
            Whose::AtOnce(_) => 0..self.ears.len(),
        };
        let mut all: Vec<(Cause, f64, usize)> = CAUSES
            .iter()
            .filter_map(|cause| {
                let each = ears.clone().map(|ix| (of(ix, *cause), ix));
                let most = each.reduce(|a, b| if b.0 > a.0 { b } else { a });
                most.map(|(share, ix)| (*cause, share, ix))
            })
            .filter(|(_, share, _)| *share > 0.0)
            .collect();
        all.sort_by(|a, b| b.1.total_cmp(&a.1));
        all
    }
}

/// Years that the hardest claim on hearing needs when none is bad.
fn asked(line: &Line) -> u64 {
    let needed = line.requirements.iter().filter_map(|r| match &r.that {
        That::ListeningShare { confidence, .. } | That::ListeningGap { confidence, .. } => {
            let share = share_of_years(r.share?.si, *confidence);
            share.years_needed().ok()
        }
        _ => None,
    });
    needed.filter(|n| *n <= MOST_YEARS).max().unwrap_or(0)
}
