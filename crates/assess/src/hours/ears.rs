//! What each hydrophone of a plan depends on, hour by hour: causes that may keep it deaf, those that cannot, and those of which the plan does not say enough.

use std::collections::BTreeSet;

use plan::{Line, ModuleIx, PassWhen, SensorIx, StorageIx};
use quantity::{Dimension, show, show_share};

use super::cause::{CAUSES, Cause};
use super::feeding::{Goes, fed_by, goes};
use super::joint::EarRun;
use super::strums::StrumRun;
use super::waves::{Seas, Waved};
use crate::input::SECONDS_PER_HOUR;
use crate::locked_out::locked_out;
use crate::mooring_verdicts::Hangs;
use crate::pick_up_verdicts::{self, Drowned, drowned};
use crate::storage_verdicts::not_all_kept;
use crate::strum::{Banded, Beside, RopeBeside, bands, beside};

/// How much is known of a cause.
#[derive(Clone, Debug, PartialEq)]
pub enum CauseKnown {
    /// It is worked out, and of what, in words.
    Asked(String),
    /// It takes nothing, and why.
    Nothing(String),
    /// The plan does not say enough.
    Unknown(String),
}

/// Tracks of power: sets of supplies, each of which feeds some modules.
#[derive(Debug, Default)]
pub(super) struct Feeds {
    pub(super) sets: Vec<BTreeSet<usize>>,
}

impl Feeds {
    /// The track of a module; one that is always off of a module that never switches on.
    ///
    /// # Errors
    /// In words, where nothing feeds it.
    fn of(&mut self, line: &Line, module: ModuleIx) -> Result<usize, String> {
        let set = match locked_out(line, module) {
            // What feeds it never switches it on.
            Some(_) => BTreeSet::new(),
            None => fed_by(line, module),
        };
        if set.is_empty() && locked_out(line, module).is_none() {
            return Err(format!(
                "no supply feeds {}, as far as the plan says",
                line.module_path(module)
            ));
        }
        let known = self.sets.iter().position(|s| *s == set);
        Ok(known.unwrap_or_else(|| {
            self.sets.push(set);
            self.sets.len() - 1
        }))
    }
}

/// A hydrophone with its causes.
pub(super) struct Ear {
    pub(super) sensor: SensorIx,
    pub(super) run: EarRun,
    pub(super) causes: [CauseKnown; 7],
    /// What a return of power would need and the plan does not say; it matters only where power is off at some hour.
    pub(super) start_unsaid: Option<String>,
    /// The same of the clock, where its master is off.
    pub(super) clock_unsaid: Option<String>,
    /// Track whose hours off make the clock matter.
    pub(super) clock_track: Option<usize>,
    pub(super) waved: Option<Waved>,
    /// What it would take to know for how long electronics drown it, in words; empty where that is known.
    pub(super) between: Vec<String>,
}

/// What is said of the whole.
pub(super) struct Told<'a> {
    pub(super) feeds: &'a mut Feeds,
    pub(super) seas: &'a Result<Seas, String>,
    pub(super) assumed: &'a mut Vec<String>,
}

impl Told<'_> {
    pub(super) fn assume(&mut self, told: String) {
        if !self.assumed.contains(&told) {
            self.assumed.push(told);
        }
    }
}

pub(super) fn ear(hangs: &Hangs<'_>, sensor: SensorIx, told: &mut Told<'_>) -> Ear {
    let line = hangs.line();
    let nothing = || CauseKnown::Nothing(String::new());
    let mut ear = Ear {
        sensor,
        run: EarRun::default(),
        causes: CAUSES.map(|_| nothing()),
        start_unsaid: None,
        clock_unsaid: None,
        clock_track: None,
        waved: None,
        between: Vec::new(),
    };
    let way = goes(line, sensor);
    power(line, &mut ear, &way, told);
    path(line, &mut ear, way, told);
    clock(line, &mut ear, told);
    heave(line, &mut ear, told);
    strum(hangs, &mut ear, told);
    pick_up(hangs, &mut ear, told);
    ear
}

impl Ear {
    fn set(&mut self, cause: Cause, known: CauseKnown) {
        self.causes[cause as usize] = known;
    }

    /// The causes of which the plan does not say enough, in words.
    pub(super) fn unknown(&self) -> Vec<String> {
        CAUSES
            .iter()
            .zip(&self.causes)
            .filter_map(|(cause, known)| match known {
                CauseKnown::Unknown(why) => Some(format!("{}: {why}", cause.word())),
                CauseKnown::Asked(_) | CauseKnown::Nothing(_) => None,
            })
            .collect()
    }
}

fn supplies(line: &Line, set: &BTreeSet<usize>) -> String {
    let names: Vec<String> = set
        .iter()
        .map(|s| format!("supply.{}", line.supplies[*s].id))
        .collect();
    names.join(", ")
}

/// Time that a module takes from power to work, s.
fn boots_s(line: &Line, module: ModuleIx) -> Option<f64> {
    let of = &line.modules[module.0];
    // What holds it off comes before its boot.
    let wakes_s = of.wakes_after_s.map_or(0.0, |q| q.si);
    of.boot.as_ref().map(|b| b.time_s.si + wakes_s)
}

fn power(line: &Line, ear: &mut Ear, way: &Result<Goes, String>, told: &mut Told<'_>) {
    let module = ear.sensor.module;
    let track = match told.feeds.of(line, module) {
        Ok(track) => track,
        Err(why) => {
            ear.set(Cause::Power, CauseKnown::Unknown(why));
            ear.set(
                Cause::Starting,
                CauseKnown::Nothing("no return of its power is known".to_owned()),
            );
            return;
        }
    };
    let set = told.feeds.sets[track].clone();
    if set.len() > 1 {
        told.assume(format!(
            "{} has power while any of its supplies gives it ({}): whether one alone carries the line is for `voltage` to ask",
            line.module_path(module),
            supplies(line, &set)
        ));
    }
    ear.run.power = Some(track);
    let of_what = match locked_out(line, module) {
        Some(beyond) => beyond.why(line),
        None => supplies(line, &set),
    };
    ear.set(Cause::Power, CauseKnown::Asked(of_what));
    // What leads ashore on the same power starts with it: the slowest counts.
    let mut unsaid = Vec::new();
    let mut slowest_s: f64 = 0.0;
    let settles_s = line.sensor(ear.sensor).settles_s.map(|q| q.si);
    let own_s = boots_s(line, module);
    if own_s.is_none() {
        unsaid.push(format!("`boot` of {}", line.module_path(module)));
    }
    if settles_s.is_none() {
        unsaid.push(format!("`settles_in` of {}", line.sensor_path(ear.sensor)));
    }
    slowest_s = slowest_s.max(own_s.unwrap_or(0.0) + settles_s.unwrap_or(0.0));
    if let Ok(Goes::Over(modules, _)) = way {
        for on_the_way in modules.iter().filter(|m| needs_power(line, **m)) {
            if told.feeds.of(line, *on_the_way) != Ok(track) {
                continue;
            }
            match boots_s(line, *on_the_way) {
                Some(seconds) => slowest_s = slowest_s.max(seconds),
                None => unsaid.push(format!("`boot` of {}", line.module_path(*on_the_way))),
            }
        }
    }
    ear.run.start_s = slowest_s;
    ear.start_unsaid = (!unsaid.is_empty()).then(|| {
        format!(
            "after each return of power it takes a time that is not known: {} not written",
            unsaid.join(", ")
        )
    });
    ear.set(
        Cause::Starting,
        CauseKnown::Asked(format!(
            "{} s after each return of power",
            quantity::show_number(slowest_s)
        )),
    );
}

/// Why what goes to a store, by its typed path, is not kept until the latest recovery.
fn not_kept(line: &Line, end: &str) -> Option<String> {
    let mut stores = line.storages.iter();
    let store = stores.position(|s| format!("storage.{}", s.id) == end)?;
    let why = not_all_kept(line, StorageIx(store))?;
    Some(format!(
        "{why}, and whether what is heard besides comes anywhere else is not worked out"
    ))
}

/// Whether a module passes data on only while it has power.
fn needs_power(line: &Line, module: ModuleIx) -> bool {
    let passes = line.modules[module.0].passes.map(|p| p.data);
    passes != Some(PassWhen::Always)
}

fn path(line: &Line, ear: &mut Ear, way: Result<Goes, String>, told: &mut Told<'_>) {
    let (modules, end) = match way {
        Err(why) => return ear.set(Cause::Path, CauseKnown::Unknown(why)),
        Ok(Goes::Kept(store)) => {
            let known = match not_kept(line, &store) {
                Some(why) => CauseKnown::Unknown(why),
                None => CauseKnown::Nothing(format!("it is kept in {store} beside it")),
            };
            return ear.set(Cause::Path, known);
        }
        Ok(Goes::Nowhere) => {
            let why = "the plan has no uplink and no store of it: it counts as heard on the line";
            return ear.set(Cause::Path, CauseKnown::Nothing(why.to_owned()));
        }
        Ok(Goes::Over(modules, end)) => (modules, end),
    };
    if let Some(why) = not_kept(line, &end) {
        return ear.set(Cause::Path, CauseKnown::Unknown(why));
    }
    let last = modules.last().copied();
    for module in modules {
        // The last one is where it goes, and must work whatever it passes on.
        if Some(module) != last && !needs_power(line, module) {
            continue;
        }
        let track = match told.feeds.of(line, module) {
            Ok(track) => track,
            Err(why) => return ear.set(Cause::Path, CauseKnown::Unknown(why)),
        };
        // What is off with the hydrophone itself is told as its power.
        if Some(track) == ear.run.power {
            continue;
        }
        let boots = boots_s(line, module);
        if boots.is_none() && ear.start_unsaid.is_none() {
            ear.start_unsaid = Some(format!(
                "`boot` of {} is not written, which leads to {end}",
                line.module_path(module)
            ));
        }
        let seconds = boots.unwrap_or(0.0);
        match ear.run.path.iter_mut().find(|(t, _)| *t == track) {
            Some((_, slowest_s)) => *slowest_s = slowest_s.max(seconds),
            None => ear.run.path.push((track, seconds)),
        }
    }
    let known = if ear.run.path.is_empty() {
        CauseKnown::Nothing(format!(
            "what leads to {end} has power whenever it has itself"
        ))
    } else {
        CauseKnown::Asked(format!("what leads to {end} on other supplies"))
    };
    ear.set(Cause::Path, known);
}

fn clock(line: &Line, ear: &mut Ear, told: &mut Told<'_>) {
    let module = ear.sensor.module;
    let nothing = |ear: &mut Ear, why: &str| {
        ear.set(Cause::Clock, CauseKnown::Nothing(why.to_owned()));
    };
    let Some(sync) = &line.time_sync else {
        return nothing(ear, "no clock is set along the line");
    };
    if sync.master == module {
        return nothing(ear, "its clock sets the others");
    }
    let Some(clock) = line.modules[module.0].clock else {
        return nothing(ear, "it has no `clock` that is set");
    };
    let master = line.module_path(sync.master);
    if let Some(holds) = clock.holds_s.filter(|holds| holds.si < sync.every_s.si) {
        let why = format!(
            "the clock of {} is good for {} after an exchange, and they come {} apart (`every` of [time-sync]): in between its time is no good, whatever has power",
            line.module_path(module),
            show(holds.si, Dimension::Time),
            show(sync.every_s.si, Dimension::Time)
        );
        return ear.set(Cause::Clock, CauseKnown::Unknown(why));
    }
    let track = match told.feeds.of(line, sync.master) {
        Ok(track) => track,
        Err(why) => return ear.set(Cause::Clock, CauseKnown::Unknown(why)),
    };
    if Some(track) == ear.run.power {
        return nothing(
            ear,
            &format!("{master}, which sets it, has power whenever it has itself"),
        );
    }
    ear.clock_track = Some(track);
    match clock.holds_s {
        Some(holds) => {
            let holds_h = holds.si / SECONDS_PER_HOUR;
            ear.run.clock = Some((track, holds_h));
            ear.set(
                Cause::Clock,
                CauseKnown::Asked(format!(
                    "good for {} h without {master}",
                    quantity::show_number(holds_h)
                )),
            );
        }
        None => {
            ear.clock_unsaid = Some(format!(
                "`clock` of {} says nothing of `holds`: how long its time is good enough without {master}",
                line.module_path(module)
            ));
            ear.set(
                Cause::Clock,
                CauseKnown::Nothing(format!("{master}, which sets it, is never off")),
            );
        }
    }
}

fn heave(line: &Line, ear: &mut Ear, told: &mut Told<'_>) {
    let seas = match told.seas {
        Ok(seas) => seas,
        Err(why) => return ear.set(Cause::Heave, CauseKnown::Unknown(why.clone())),
    };
    let waved = match Waved::of(line, ear.sensor) {
        Ok(waved) => waved,
        Err(why) => return ear.set(Cause::Heave, CauseKnown::Unknown(why)),
    };
    for assumed in &waved.assumed {
        told.assume(assumed.clone());
    }
    told.assume(seas.words().to_owned());
    let above_m = waved.clips_above_m();
    let known = if above_m.is_finite() {
        let above = core::array::from_fn(|month| seas.wind_for_m_s(month, above_m));
        ear.run.clips_above_m_s = Some(above);
        CauseKnown::Asked(format!(
            "{}: clipped in seas above {above_m:.1} m",
            waved.held
        ))
    } else {
        CauseKnown::Nothing(format!("{}: no sea clips its chain", waved.held))
    };
    ear.set(Cause::Heave, known);
    ear.waved = Some(waved);
}

fn strum(hangs: &Hangs<'_>, ear: &mut Ear, told: &mut Told<'_>) {
    let known = strum_known(hangs, ear, told);
    ear.set(Cause::Strum, known.unwrap_or_else(CauseKnown::Unknown));
}

/// Of each section the rope, clean or with what has grown on it, that is in one of the bands for more of a fortnight.
fn louder_of_each<'r>(
    ropes: &'r [RopeBeside],
    bands: &[Banded],
) -> Result<Vec<&'r RopeBeside>, String> {
    let mut chosen: Vec<(&RopeBeside, f64)> = Vec::new();
    for rope in ropes {
        let mut share = 0.0_f64;
        for (_, band_hz) in bands {
            let fortnight = rope.fortnight(*band_hz).map_err(|e| e.to_string())?;
            share = share.max(fortnight.map_or(0.0, |f| f.either));
        }
        match chosen.iter_mut().find(|(r, _)| r.section == rope.section) {
            Some(known) if share > known.1 => *known = (rope, share),
            Some(_) => {}
            None => chosen.push((rope, share)),
        }
    }
    Ok(chosen.into_iter().map(|(rope, _)| rope).collect())
}

fn strum_known(
    hangs: &Hangs<'_>,
    ear: &mut Ear,
    told: &mut Told<'_>,
) -> Result<CauseKnown, String> {
    let line = hangs.line();
    let bands = bands(line, ear.sensor)?;
    if bands.is_empty() {
        return Ok(CauseKnown::Nothing(
            "no detector hears through it".to_owned(),
        ));
    }
    let ropes = match beside(hangs, ear.sensor)? {
        Beside::Nothing { why } => return Ok(CauseKnown::Nothing(why)),
        Beside::Ropes(ropes) => ropes,
    };
    for rope in louder_of_each(&ropes, &bands)? {
        let section = &line.sections[rope.section.0];
        if rope.grown_m > 0.0 {
            told.assume(format!(
                "section.{} strums all the time as with what has grown on it by the end, {:.1} mm thick: of a fortnight that is more in the bands than clean",
                section.id,
                1e3 * rope.grown_m
            ));
        }
        let tide = rope.tide().ok_or(
            "no `case` says with `strongest_at = \"neaps\"` how strong the current is at neaps",
        )?;
        if section.fairing.is_none() {
            told.assume(crate::strum::no_fairing(section));
        }
        let loud_m_s = bands
            .iter()
            .flat_map(|(_, band_hz)| rope.loud_m_s(*band_hz))
            .filter(|(low, high)| high > low)
            .collect();
        ear.run.strum.push(StrumRun { tide, loud_m_s });
    }
    let detectors: Vec<&str> = bands.iter().map(|(path, _)| path.as_str()).collect();
    Ok(CauseKnown::Asked(format!(
        "in the band of {}",
        detectors.join(", ")
    )))
}

fn pick_up(hangs: &Hangs<'_>, ear: &mut Ear, told: &mut Told<'_>) {
    let line = hangs.line();
    let known = match drowned(line, ear.sensor, hangs.memo()) {
        Err(why) => CauseKnown::Unknown(why),
        Ok(Drowned::Unsaid) => {
            let path = line.sensor_path(ear.sensor);
            let unsaid = pick_up_verdicts::unsaid(line).contains(&path);
            if unsaid {
                told.assume(format!(
                    "electronics put nothing into the chain of {path}: it has no `pick_up`"
                ));
            }
            CauseKnown::Nothing(match unsaid {
                true => "assumed, as the plan writes no `pick_up` of it".to_owned(),
                false => "it has no `pick_up`, and by `no_pick_up` needs none".to_owned(),
            })
        }
        Ok(Drowned::Shares {
            least,
            most,
            states,
            between,
            unsaid,
        }) => {
            (ear.run.drowned, ear.run.drowned_least) = (most, least);
            ear.between = between;
            if ear.run.drowned_at_times() {
                told.assume(format!(
                    "electronics drown what the detectors of {} listen for {}, when nothing else keeps it deaf, and no two hydrophones at the same time: the most that they can take; of the longest time without they are no part, because for how long at a stretch they do is not known",
                    line.sensor_path(ear.sensor),
                    match least < most {
                        true => format!("{} to {} of the time, of which the larger counts", show_share(least), show_share(most)),
                        false => format!("{} of the time", show_share(most)),
                    }
                ));
            }
            match unsaid {
                Some(why) => CauseKnown::Unknown(why),
                None if most > 0.0 => {
                    CauseKnown::Asked(format!("above the sea: {}", states.join(", ")))
                }
                None => CauseKnown::Nothing("below the sea in every state".to_owned()),
            }
        }
    };
    ear.set(Cause::PickUp, known);
}
