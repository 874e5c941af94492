//! The years of a line's hydrophones: power of each supply, wind and tide, hour by hour.

use std::cell::RefCell;
use std::sync::Arc;

use chance::Stream;
use mooring::TideCourse;
use plan::{Line, SupplyIx};
use power::weather::{WIND_LASTS_H, WindYears};
use power::year::YearPlan;

use super::cause::Cause;
use super::ears::{CauseKnown, Ear, Feeds, Told, ear};
use super::feeding::never_off;
use super::joint::{EarRun, JointYear, SLOTS, Tracks, year};
use super::strums::{StrumRun, slots_that_strum};
use super::waves::Seas;
use super::{HoursError, all_ears};
use crate::input::{EnergyInput, InputError, energy_of, measured_winds};
use crate::memo::{Canon, Canonical, Digest, Job, Memo, canonical};
use crate::mooring_verdicts::Hangs;
use crate::threads::on_threads;
use crate::years::{BatteryYear, battery_from};

const HOURS: usize = 8760;
/// So many years or more are run on all threads that there are: those of a draw, which has a thread of its own, are fewer, and so are those of a quick check.
const WORTH_THREADS: usize = 60;
/// Name of the stream from which the phases of a year's tide come.
const TIDE_STREAM: &str = "tide-phases";

/// A supply that may be off.
struct Off {
    supply: usize,
    what: String,
    input: EnergyInput,
    plans: Vec<YearPlan>,
    /// What the years of its battery are made from.
    made_from: Digest,
}

/// Winds of the hours.
enum Winds {
    /// Nothing asks for them.
    None,
    Drawn(WindYears),
    Measured(Arc<Vec<Vec<f64>>>),
}

/// All that the years of hearing need.
pub(crate) struct Hearing {
    pub(super) ears: Vec<Ear>,
    pub(super) assumed: Vec<String>,
    feeds: Feeds,
    off: Vec<Off>,
    winds: Winds,
    seed: u64,
    measured_years: Option<u64>,
    made_from: Digest,
    /// The same without what its supplies are made of: they count by the hours in which they are off.
    heard_from: Digest,
    first_hour: usize,
}

impl Hearing {
    /// # Errors
    /// [`HoursError::NoHydrophone`]; what a weather file refuses.
    pub(crate) fn of(hangs: &Hangs<'_>, seed: u64) -> Result<Hearing, HoursError> {
        let line = hangs.line();
        let sensors = all_ears(line);
        if sensors.is_empty() {
            return Err(HoursError::NoHydrophone);
        }
        let (mut feeds, mut assumed) = (Feeds::default(), Vec::new());
        let seas = Seas::of(line);
        let mut told = Told {
            feeds: &mut feeds,
            seas: &seas,
            assumed: &mut assumed,
        };
        let mut ears: Vec<Ear> = sensors
            .into_iter()
            .map(|sensor| ear(hangs, sensor, &mut told))
            .collect();
        let memo = hangs.memo();
        let off = supplies_off(line, &feeds, &mut ears, &mut assumed, (seed, memo));
        let winds = winds(line, &ears, &seas, memo)?;
        if matches!(winds, Winds::Drawn(_)) {
            assumed.push(format!(
                "the wind of an hour is drawn about the mean of its month by Rayleigh's law and forgets in {WIND_LASTS_H} h (common practice), beside the light and not with it"
            ));
        }
        let measured_years = match &winds {
            Winds::Measured(years) => Some(years.len() as u64),
            Winds::None | Winds::Drawn(_) => {
                off.iter().find_map(|o| o.input.light.measured_years())
            }
        };
        let mut from = Canon::new("years of hearing");
        seed.write(&mut from);
        let runs: Vec<&EarRun> = ears.iter().map(|e| &e.run).collect();
        from.debug(&(
            &runs,
            &feeds.sets,
            line.sea.weather.as_ref().map(|w| &w.path),
        ));
        if let Winds::Drawn(winds) = &winds {
            from.debug(winds);
        }
        if let Some(weather) = &line.sea.weather {
            weather.text.as_str().write(&mut from);
        }
        let heard_from = from.clone().digest();
        for one in &off {
            one.input.light.made_from().write(&mut from);
            from.debug(&(one.supply, &one.input.systems, &one.input.load));
        }
        let first_hour = crate::input::start_hour(line).unwrap_or(0);
        first_hour.write(&mut from);
        Ok(Hearing {
            ears,
            assumed,
            feeds,
            off,
            winds,
            seed,
            measured_years,
            made_from: from.digest(),
            heard_from,
            first_hour,
        })
    }

    /// How many years there are; `None` where as many as are asked for are drawn.
    pub(crate) fn measured_years(&self) -> Option<u64> {
        self.measured_years
    }

    /// What its years are made from.
    pub(crate) fn digest(&self) -> String {
        plan::hex(&self.made_from)
    }

    /// Runs the first of the years; `Ok(None)` when `watch` says no.
    ///
    /// # Errors
    /// What the hourly year refuses.
    pub(crate) fn run(
        &self,
        years: u64,
        threads: usize,
        watch: &(dyn Fn(f64) -> bool + Sync),
    ) -> Result<Option<Vec<JointYear>>, InputError> {
        on_threads(years as usize, threads, watch, |number| {
            self.year(number as u64, &Memo::with_room(0))
                .map(|year| year.as_ref().clone())
        })
    }

    /// Those of some numbers, with what is kept of earlier ones.
    ///
    /// # Errors
    /// What the hourly year refuses.
    pub(crate) fn kept(&self, numbers: &[u64], memo: &Memo) -> Result<Vec<JointYear>, InputError> {
        let one = |ix: usize| {
            let found = memo.of(&KeptYear {
                hearing: self,
                number: numbers[ix],
            });
            found
                .as_ref()
                .as_ref()
                .map(|year| year.as_ref().clone())
                .map_err(Clone::clone)
        };
        if numbers.len() < WORTH_THREADS {
            return (0..numbers.len()).map(one).collect();
        }
        let threads = std::thread::available_parallelism().map_or(1, usize::from);
        let years = on_threads(numbers.len(), threads, &|_| true, one)?;
        Ok(years.expect("nothing stops these years"))
    }

    /// What is unknown only where power was off at some hour, after the years have been run.
    pub(super) fn settle(&mut self, run: &[JointYear]) {
        let tracks = 0..self.feeds.sets.len();
        let may_be_off: Vec<bool> = tracks.map(|track| self.may_be_off(track)).collect();
        for (ix, ear) in self.ears.iter_mut().enumerate() {
            let lost = |cause: Cause| run.iter().any(|y| y.ears[ix].alone_s[cause as usize] > 0.0);
            if let Some(why) = ear
                .start_unsaid
                .take_if(|_| lost(Cause::Power) || lost(Cause::Path))
            {
                ear.causes[Cause::Starting as usize] = CauseKnown::Unknown(why);
            }
            if let Some(why) = &ear.clock_unsaid
                && let Some(track) = ear.clock_track
                && may_be_off[track]
            {
                ear.causes[Cause::Clock as usize] = CauseKnown::Unknown(why.clone());
            }
        }
    }

    /// Whether a track may be off at some hour.
    fn may_be_off(&self, track: usize) -> bool {
        let set = &self.feeds.sets[track];
        set.iter().all(|s| self.off.iter().any(|o| o.supply == *s))
    }

    fn year(&self, number: u64, memo: &Memo) -> Result<Arc<JointYear>, InputError> {
        let (off_of, first_hour) = self.hours_off(number, memo)?;
        let tracks: Vec<Vec<bool>> = self
            .feeds
            .sets
            .iter()
            .map(|set| {
                let mut of_set = set.iter().map(|s| {
                    let at = self.off.iter().position(|o| o.supply == *s)?;
                    Some(&off_of[at])
                });
                let all: Option<Vec<&Vec<bool>>> = of_set.by_ref().collect();
                match all {
                    Some(all) => (0..HOURS).map(|h| all.iter().all(|o| o[h])).collect(),
                    None => vec![false; HOURS],
                }
            })
            .collect();
        Ok(memo.of(&HeardYear {
            hearing: self,
            number,
            tracks,
            first_hour,
        }))
    }

    /// What is heard in a year, by the hours in which each track is off.
    fn heard(
        &self,
        number: u64,
        tracks: &[Vec<bool>],
        first_hour: usize,
        memo: &Memo,
    ) -> JointYear {
        let mut drawn = Vec::new();
        let wind_m_s: &[f64] = match &self.winds {
            Winds::None => &[],
            Winds::Drawn(winds) => {
                winds.fill(self.seed, number, &mut drawn);
                &drawn
            }
            Winds::Measured(years) => &years[number as usize],
        };
        let runs: Vec<EarRun> = self.ears.iter().map(|e| e.run.clone()).collect();
        let slots = memo.of(&StrumYear {
            seed: self.seed,
            number,
            ropes: runs.iter().map(|run| run.strum.as_slice()).collect(),
        });
        year(
            &runs,
            &Tracks {
                off: tracks,
                wind_m_s,
                slots: &slots,
                first_hour,
            },
        )
    }

    /// Hours off of each supply that may be off, of the start with most of them, and the hour at which that begins.
    fn hours_off(&self, number: u64, memo: &Memo) -> Result<(Vec<Vec<bool>>, usize), InputError> {
        let rooms = RefCell::default();
        // Of each supply and each start: hours off, their number, and the first hour.
        let mut starts: Vec<Vec<(Vec<bool>, u32, usize)>> = Vec::new();
        for one in &self.off {
            // The same years as those of requirements on the supply.
            let found = memo.of(&BatteryYear {
                supply: &one.what,
                input: &one.input,
                plans: &one.plans,
                made_from: one.made_from,
                seed: self.seed,
                year: number,
                rooms: &rooms,
            });
            let year = found.as_ref().as_ref().map_err(Clone::clone)?;
            let each = year.starts().iter().zip(&one.input.systems);
            let of_one = each.map(|(start, system)| {
                let first = match system.start {
                    power::year::Start::At { hour, .. } => hour,
                    power::year::Start::Repeating => 0,
                };
                (start.off(), start.hours_off, first)
            });
            starts.push(of_one.collect());
        }
        let count = starts.iter().map(Vec::len).min().unwrap_or(0);
        let off = |start: usize| -> u32 { starts.iter().map(|s| s[start].1).sum() };
        // Of equal ones the planned one.
        let Some(worse) = (0..count).rev().max_by_key(|start| off(*start)) else {
            return Ok((Vec::new(), self.first_hour));
        };
        let first_hour = starts[0][worse].2;
        let hours = starts.into_iter().map(|mut s| s.swap_remove(worse).0);
        Ok((hours.collect(), first_hour))
    }
}

/// The strum of a year beside each hydrophone: a plan that is changed elsewhere has the same.
struct StrumYear<'a> {
    seed: u64,
    number: u64,
    /// Those beside each hydrophone.
    ropes: Vec<&'a [StrumRun]>,
}

canonical!('a StrumYear<'a> { seed, number } debug { ropes });

impl Job for StrumYear<'_> {
    const METHOD: &'static str = "strum of a year/1";
    type Out = Vec<Vec<u8>>;

    fn run(&self, _: &Memo) -> Self::Out {
        let mut tide = TideCourse::default();
        if self.ropes.iter().any(|ropes| !ropes.is_empty()) {
            let mut draws = Stream::named(self.seed, TIDE_STREAM, self.number);
            let turns = [draws.uniform(), draws.uniform()];
            tide.fill(HOURS * SLOTS, 1.0 / SLOTS as f64, turns);
        }
        let ropes = self.ropes.iter();
        ropes.map(|ropes| slots_that_strum(ropes, &tide)).collect()
    }

    fn bytes(out: &Self::Out) -> usize {
        out.iter().map(Vec::len).sum()
    }
}

/// A year that is kept from check to check.
struct KeptYear<'a> {
    hearing: &'a Hearing,
    number: u64,
}

impl Canonical for KeptYear<'_> {
    fn write(&self, to: &mut Canon) {
        self.hearing.made_from.write(to);
        self.number.write(to);
    }
}

impl Job for KeptYear<'_> {
    const METHOD: &'static str = "year of hearing/2";
    type Out = Result<Arc<JointYear>, InputError>;

    fn run(&self, memo: &Memo) -> Self::Out {
        self.hearing.year(self.number, memo)
    }

    fn bytes(out: &Self::Out) -> usize {
        out.as_ref().map_or(0, |year| bytes_of(year))
    }
}

/// A year by the hours in which its tracks are off, whatever batteries leave them so.
struct HeardYear<'a> {
    hearing: &'a Hearing,
    number: u64,
    tracks: Vec<Vec<bool>>,
    first_hour: usize,
}

impl Canonical for HeardYear<'_> {
    fn write(&self, to: &mut Canon) {
        self.hearing.heard_from.write(to);
        self.number.write(to);
        self.first_hour.write(to);
        for track in &self.tracks {
            let turns = (1..track.len()).filter(|h| track[*h] != track[*h - 1]);
            to.debug(&(track.len(), track.first(), turns.collect::<Vec<usize>>()));
        }
    }
}

impl Job for HeardYear<'_> {
    const METHOD: &'static str = "year of hearing by its hours off/2";
    type Out = JointYear;

    fn run(&self, memo: &Memo) -> Self::Out {
        self.hearing
            .heard(self.number, &self.tracks, self.first_hour, memo)
    }

    fn bytes(out: &Self::Out) -> usize {
        bytes_of(out)
    }
}

fn bytes_of(year: &JointYear) -> usize {
    size_of_val(year.ears.as_slice())
        + size_of_val(year.at_once.as_slice())
        + year.at_best.as_deref().map_or(0, bytes_of)
}

/// The supplies that may be off, each made ready; of one that cannot be worked out the power of all that it feeds alone is unknown.
fn supplies_off(
    line: &Line,
    feeds: &Feeds,
    ears: &mut [Ear],
    assumed: &mut Vec<String>,
    (seed, memo): (u64, &Memo),
) -> Vec<Off> {
    let mut off = Vec::new();
    let mut unknown: Vec<(usize, String)> = Vec::new();
    let mut asked: Vec<usize> = feeds.sets.iter().flatten().copied().collect();
    asked.sort_unstable();
    asked.dedup();
    for supply in asked {
        let of = &line.supplies[supply];
        let what = format!("supply.{}", of.id);
        if never_off(of.kind) {
            assumed.push(format!(
                "{what} gives power at every hour: only panels with a battery are followed hour by hour"
            ));
            continue;
        }
        let made = energy_of(line, SupplyIx(supply), memo).and_then(|input| {
            let plans = input.plans(line)?;
            Ok((input, plans))
        });
        match made {
            Ok((input, plans)) => {
                assumed.extend(input.assumed.iter().cloned());
                off.push(Off {
                    supply,
                    what,
                    made_from: battery_from(&input, seed),
                    input,
                    plans,
                });
            }
            Err(error) => unknown.push((supply, error.to_string())),
        }
    }
    let blind = |track: usize| -> Option<String> {
        let set = &feeds.sets[track];
        if set.iter().any(|s| never_off(line.supplies[*s].kind)) {
            return None;
        }
        let found = unknown.iter().find(|(s, _)| set.contains(s));
        found.map(|(_, why)| why.clone())
    };
    for ear in ears {
        if let Some(why) = ear.run.power.and_then(blind) {
            ear.causes[Cause::Power as usize] = CauseKnown::Unknown(why);
            ear.causes[Cause::Starting as usize] = CauseKnown::Unknown("as its power".to_owned());
        }
        let of_path = ear.run.path.iter().find_map(|(track, _)| blind(*track));
        if let Some(why) = of_path {
            ear.causes[Cause::Path as usize] = CauseKnown::Unknown(why);
        }
        let of_clock = ear.clock_track.and_then(blind);
        if let Some(why) = of_clock {
            ear.causes[Cause::Clock as usize] = CauseKnown::Unknown(why);
        }
    }
    off
}

/// The wind of the hours, where a hydrophone is clipped in some wind.
fn winds(
    line: &Line,
    ears: &[Ear],
    seas: &Result<Seas, String>,
    memo: &Memo,
) -> Result<Winds, InputError> {
    if let Some(years) = measured_winds(line, memo)? {
        return Ok(Winds::Measured(years));
    }
    let asked = ears.iter().any(|e| e.run.clips_above_m_s.is_some());
    match seas {
        Ok(seas) if asked => {
            let winds = WindYears::new(seas.wind_m_s(), WIND_LASTS_H);
            winds.map(Winds::Drawn).map_err(|source| InputError::Open {
                what: source.to_string(),
            })
        }
        _ => Ok(Winds::None),
    }
}
