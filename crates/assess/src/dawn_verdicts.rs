//! Whether a solar battery that has run empty comes back by itself, and stays.

use plan::{Battery, Chemistry, Line, StartsOn, Supply, SupplyIx, SupplyKind, Wakes};
use power::battery::{Dawn, Hold, Thresholds};
use quantity::{SECONDS_PER_DAY, show_number};

use crate::cell_verdicts::MONTHS;
use crate::dawn::{ComesBack, MeanDay, comes_back as of_supply, demand};
use crate::input::at_rest;
use crate::memo::Memo;
use crate::start_verdicts::never_starts;
use crate::start_words::listed;
use crate::verdict::{Against, Evidence, Side, Verdict, unknown};
use crate::waking::{Booting, Staggered, booting, staggerings, while_booting};
use crate::year_verdicts::each_supply;

/// Volts, or shares of the charge in %, by which a load may come back above what it needs and be marginal.
const NARROW_V: f64 = 0.1;
const NARROW_PERCENT: f64 = 1.0;
/// Mean days from flat that are followed.
const DAYS: usize = 60;
/// A load that stays so long has come back, s.
const STAYS_S: f64 = 3600.0;
const HOLD: &str = "cells behind a resistance that a load comes back to, in closed form (docs/method/energy-year.md; Ohm's law)";
const DAWN: &str = "mean days of the months through a battery that is taken off and comes back (docs/method/energy-year.md)";
const FLAT: &str = "conditions from the protection of the cells to the booted line (docs/method/energy-year.md; common practice)";

fn solar(s: &Supply) -> bool {
    s.kind == SupplyKind::SolarBattery
}

/// Whether each solar battery holds the load that comes back, as far as the plan says enough.
/// With a memo it is told what stays broken with what would help.
pub(crate) fn comes_back(line: &Line, memo: Option<&Memo>) -> Vec<Verdict> {
    let supplies = (0..line.supplies.len()).filter(|s| solar(&line.supplies[*s]));
    supplies
        .filter_map(|s| {
            let back = of_supply(line, SupplyIx(s)).ok()?;
            if let Some(beyond) = beyond_full(line, &back) {
                return Some(beyond);
            }
            let hold = back.hold(line).ok()?;
            let opens = opens_its_protection(line, &back, &hold);
            Some(opens.unwrap_or_else(|| held(line, &back, &hold, memo)))
        })
        .collect()
}

/// A protection of the cells that opens at the voltage to which the boots lower the terminals when the load comes back: then nothing is held, whatever the load's own switch does.
fn opens_its_protection(line: &Line, back: &ComesBack, hold: &Hold) -> Option<Verdict> {
    let own = &line.supplies[back.supply.0];
    let cuts_off_v = own.battery.as_ref()?.protection?.cuts_off_v.si;
    let rest_v = match back.bank.thresholds {
        Thresholds::Voltage { .. } => hold.on,
        Thresholds::Content { .. } => back.rest_v(hold.on * back.bank.capacity_wh),
    };
    let lowered_v = rest_v - hold.drop_v?;
    let against = Against {
        side: Side::AtLeast,
        limit: cuts_off_v,
        narrow: 0.0,
        unit: "V".to_owned(),
    };
    let why = format!(
        "at rest it has {rest_v:.2} V when the load comes back, the boots lower its terminals to this, and the `protection` of its cells opens there"
    );
    let evidence = Evidence::computed(HOLD, &(&back.bank, &back.demand, cuts_off_v));
    let subject = format!("supply.{}", own.id);
    (lowered_v <= cuts_off_v).then(|| against.judge(subject, lowered_v - LEAST_V, evidence, why))
}

/// A battery whose protection opens just there does not hold, V.
const LEAST_V: f64 = 1e-9;

/// Why a battery does not stay on when the load comes back: its protection opens.
fn protection_opens(line: &Line, back: &ComesBack) -> Option<String> {
    let hold = back.hold(line).ok()?;
    let opens = opens_its_protection(line, back, &hold)?;
    Some(format!("{}; see `comes-back`", opens.why()))
}

/// A load that comes back at a voltage that the full battery does not have at rest, or does not come to at all.
fn beyond_full(line: &Line, back: &ComesBack) -> Option<Verdict> {
    let Thresholds::Voltage { on_v, .. } = back.bank.thresholds else {
        return None;
    };
    let own = &line.supplies[back.supply.0];
    let panels = own.panels.as_ref()?;
    let peak_w = panels.peak_power_each_w.si * f64::from(panels.faces);
    let (rest_v, charged_v) = back.bank.highest_v(peak_w);
    if on_v <= rest_v {
        return None;
    }
    let subject = format!("supply.{}", own.id);
    if on_v <= charged_v {
        return Some(unknown(
            subject,
            format!(
                "its `reconnect_voltage` of {on_v} V is more than the {rest_v:.2} V that it has full and at rest: the load comes back only while it is charged, and whether it then stays depends on the light; see `dawn-restarts`"
            ),
        ));
    }
    let against = Against {
        side: Side::AtMost,
        limit: charged_v,
        narrow: 0.0,
        unit: "V".to_owned(),
    };
    let why = format!(
        "the load comes back there, and the terminals never come to it: full and at rest they have {rest_v:.2} V, and {charged_v:.2} V while the peak power of its panels, {peak_w:.0} W, is offered to it"
    );
    let evidence = Evidence::computed(HOLD, &(&back.bank, peak_w));
    Some(against.judge(subject, on_v, evidence, why))
}

fn held(line: &Line, back: &ComesBack, hold: &Hold, memo: Option<&Memo>) -> Verdict {
    let subject = format!("supply.{}", line.supplies[back.supply.0].id);
    let heaviest_w = back.demand.boot.iter().map(|s| s.power_w);
    let heaviest_w = heaviest_w.fold(back.demand.running_w, f64::max);
    let (times, narrow, unit) = match back.bank.thresholds {
        Thresholds::Voltage { .. } => (1.0, NARROW_V, "V"),
        Thresholds::Content { .. } => (100.0, NARROW_PERCENT, "% of the charge"),
    };
    let drop = match hold.drop_v {
        Some(drop_v) => format!("lowers its terminals by {drop_v:.2} V"),
        None => "leaves its terminals no voltage".to_owned(),
    };
    let enough = match hold.reachable {
        true => "",
        false => ", and not even full does it hold it",
    };
    let why = format!(
        "the load comes back there and draws up to {heaviest_w:.1} W at the battery while it boots, which {drop} over {:.0} mohm{enough}; it is taken off at {:.3} {unit}",
        1e3 * back.bank.resistance_ohm,
        times * hold.off
    );
    let against = Against {
        side: Side::AtLeast,
        limit: times * hold.needed,
        narrow,
        unit: unit.to_owned(),
    };
    let evidence = Evidence::computed(HOLD, &(&back.bank, &back.demand));
    let verdict = against.judge(subject, times * hold.on, evidence, why);
    // Beyond what the battery has no threshold helps.
    let verdict = match (hold.reachable, hold.holds()) {
        (true, true) => return verdict,
        _ => verdict,
    };
    let mut helps = Vec::new();
    if hold.reachable {
        let up = (10.0 * times * hold.needed).ceil() / 10.0;
        let (low, high) = match back.bank.thresholds {
            Thresholds::Voltage { .. } => ("disconnect_voltage", "reconnect_voltage"),
            Thresholds::Content { .. } => ("disconnect_at", "reconnect_at"),
        };
        helps.push(format!(
            "it needs a gap of {:.3} {unit} between `{low}` and `{high}`, which {up:.1} {unit} gives",
            times * (hold.needed - hold.off)
        ));
    }
    helps.extend(staggering_that_holds(line, back).map(|(most_w, found)| {
        format!(
            "with boots staggered the battery gives no more than {most_w:.1} W and holds: give {}{}",
            found.delays(line),
            memo.map_or_else(String::new, |memo| found.beside(line, memo))
        )
    }));
    match helps.is_empty() {
        true => verdict,
        false => verdict.because(&format!("; {}", helps.join("; or "))),
    }
}

/// The keys that `comes-back` names for one of its supplies, each with its value; none where it names none.
pub(crate) fn named_keys(line: &Line) -> Vec<(String, String)> {
    let supplies = (0..line.supplies.len()).filter(|s| solar(&line.supplies[*s]));
    let mut named = supplies.filter_map(|s| {
        let back = of_supply(line, SupplyIx(s)).ok()?;
        let (_, found) = staggering_that_holds(line, &back)?;
        Some(found.keys(line))
    });
    named.next().unwrap_or_default()
}

/// The least staggering of the boots with which the battery holds the load, and what it then gives at most, W.
fn staggering_that_holds(line: &Line, back: &ComesBack) -> Option<(f64, Staggered)> {
    staggerings(line).find_map(|(staged, found)| {
        let turns = crate::waking::waking(&staged);
        let demand = demand(&staged, back.supply, &turns, &back.drawn).ok()?;
        let hold = back.hold_with(line, &demand).ok()?;
        let heaviest_w = demand.boot.iter().map(|s| s.power_w).fold(0.0, f64::max);
        hold.holds().then_some((heaviest_w, found))
    })
}

/// Times that the load is taken off again after a dawn on which the battery was empty, in the worst month.
pub(crate) fn dawn_restarts(
    line: &Line,
    of: Option<SupplyIx>,
    at_most: u32,
    memo: &Memo,
    assumed: &mut Vec<String>,
) -> Vec<Verdict> {
    each_supply(line, of, solar, &mut |supply| {
        let (back, days) = ready(line, supply, memo, assumed)?;
        let subject = format!("supply.{}", line.supplies[supply.0].id);
        let evidence = || Evidence::computed(DAWN, &(&back.bank, &back.demand, &days));
        let opens = protection_opens(line, &back);
        if let Some(why) = opens.or_else(|| never_starts(line, memo)) {
            let months: Vec<String> = days.iter().map(|d| d.name().to_owned()).collect();
            return Ok(never_back(subject, &months, &why, evidence()));
        }
        if let Some(beyond) = beyond_full(line, &back).filter(Verdict::is_broken) {
            let months: Vec<String> = days.iter().map(|d| d.name().to_owned()).collect();
            let why = format!("as {}; see `comes-back`", beyond.why());
            return Ok(never_back(subject, &months, &why, evidence()));
        }
        let mut worst: Option<(&MeanDay, Dawn)> = None;
        // Months in which it never comes back, and why; dawns that a person may have to help.
        let mut dead: Vec<(String, String)> = Vec::new();
        let mut open: Option<String> = None;
        for day in &days {
            let dawn = back.dawn(line, day, DAYS).map_err(|e| e.to_string())?;
            if dawn.spells.is_empty() && back.on_beyond_rest() {
                return Err(format!(
                    "{}: it comes to its `reconnect_voltage` only while it is charged, and such days charge it too little",
                    told(day, &dawn)
                ));
            }
            if dawn.spells.is_empty() && dawn.endless_from_s.is_none() {
                let why = format!(
                    "it has not come to the charge at which the load comes back in {DAYS} mean days that begin empty"
                );
                dead.push((day.name().to_owned(), why));
                continue;
            }
            match behind_its_protection(line, &back, &dawn, assumed) {
                Met(_) => {}
                Broken(why) => {
                    dead.push((day.name().to_owned(), why));
                    continue;
                }
                Unknown(why) => {
                    open.get_or_insert_with(|| format!("before {} is out: {why}", day.name()));
                }
            }
            let endless = dawn.endless_from_s.is_some();
            let more = |known: &Dawn| {
                (endless, dawn.falls()) > (known.endless_from_s.is_some(), known.falls())
            };
            if worst.as_ref().is_none_or(|(_, known)| more(known)) {
                worst = Some((day, dawn));
            }
        }
        if let Some((_, why)) = dead.first() {
            let months: Vec<String> = dead.iter().map(|(month, _)| month.clone()).collect();
            let why = format!("{why}; see `wakes-from-flat` for each condition on the way");
            return Ok(never_back(subject, &months, &why, evidence()));
        }
        let (day, dawn) = worst.ok_or("the deployment has no month")?;
        if let Some(at_s) = dawn.endless_from_s {
            return Err(format!(
                "on a mean day of {} it comes back at {} and is taken off in the same instant, on and on: how often depends on `reconnect_after` and `disconnect_after`, of which the plan says nothing; see `comes-back` for what would hold it",
                day.name(),
                clock(at_s)
            ));
        }
        let why = told(day, &dawn);
        let against = Against {
            side: Side::AtMost,
            limit: f64::from(at_most),
            narrow: 0.0,
            unit: "times".to_owned(),
        };
        let verdict = against.judge(subject, dawn.falls() as f64, evidence(), why);
        if let (Some(open), false) = (open, verdict.is_broken()) {
            return Err(open);
        }
        let hold = back.hold(line).map_err(|e| e.to_string())?;
        if !verdict.is_broken() || hold.holds() {
            return Ok(verdict);
        }
        Ok(verdict.because("; see `comes-back` for what would hold it"))
    })
}

/// A load that never comes back is not restarted, and yet no line that is dead keeps a limit on restarts.
fn never_back(subject: String, months: &[String], why: &str, evidence: Evidence) -> Verdict {
    let against = Against {
        side: Side::AtMost,
        limit: 0.0,
        narrow: 0.0,
        unit: "months in which the load never comes back".to_owned(),
    };
    let why = format!(
        "in {} no restart is counted, because the line stays dead: {why}",
        listed(months)
    );
    against.judge(subject, months.len() as f64, evidence, why)
}

/// Whether a battery that fell so low that its protection opened before its load came back is charged again by itself.
fn behind_its_protection(
    line: &Line,
    back: &ComesBack,
    dawn: &Dawn,
    assumed: &mut Vec<String>,
) -> Stands {
    let own = &line.supplies[back.supply.0];
    let Some(battery) = own.battery.as_ref() else {
        return Met("it has no battery".to_owned());
    };
    let lowest_v = back.rest_v(dawn.lowest_wh);
    let opens = match battery.protection {
        Some(p) => lowest_v <= p.cuts_off_v.si,
        None => dawn.lowest_wh <= 0.0,
    };
    if !opens {
        return Met("its protection stays closed".to_owned());
    }
    let ways = [protection(own, battery, assumed), charger(own, battery)];
    let fell = format!("what the supply draws itself takes it down to {lowest_v:.2} V at rest");
    let mut unknown = None;
    for stands in ways {
        match stands {
            Broken(why) => return Broken(format!("{fell}, and {why}")),
            Unknown(why) => unknown = unknown.or(Some(Unknown(format!("{fell}, and {why}")))),
            Met(_) => {}
        }
    }
    unknown.unwrap_or(Met(fell))
}

fn ready(
    line: &Line,
    supply: SupplyIx,
    memo: &Memo,
    assumed: &mut Vec<String>,
) -> Result<(ComesBack, Vec<MeanDay>), String> {
    if !solar(&line.supplies[supply.0]) {
        return Err("no sun charges it".to_owned());
    }
    let back = of_supply(line, supply).map_err(|e| e.to_string())?;
    let mut counted = back.drawn.assumed.clone();
    let days = back.days(line, memo, &mut counted);
    assumed.extend(counted);
    Ok((back, days.map_err(|e| e.to_string())?))
}

/// A dawn in words.
fn told(day: &MeanDay, dawn: &Dawn) -> String {
    let Some(first) = dawn.spells.first() else {
        return format!("on a mean day of {} it does not come back", day.name());
    };
    let mut told = match libm::floor(first.on_s / SECONDS_PER_DAY) as usize {
        0 => format!(
            "on a mean day of {}, begun empty, it comes back at {}",
            day.name(),
            clock(first.on_s)
        ),
        later => format!(
            "of mean days of {}, the first begun empty, it comes back on day {} at {}",
            day.name(),
            later + 1,
            clock(first.on_s)
        ),
    };
    if dawn.falls() > 0 {
        told.push_str(&format!(
            ", is first taken off again after {}",
            lasting(first.off_s.unwrap_or(first.on_s) - first.on_s)
        ));
    }
    match dawn.holds_from_s() {
        Some(at_s) if dawn.falls() > 0 => told.push_str(&format!(
            ", and stays from {}: {} and {:.2} Wh are lost",
            clock(at_s),
            lasting(at_s - first.on_s),
            dawn.lost_wh()
        )),
        Some(_) => told.push_str(" and stays"),
        None => told.push_str(" and is off again at the end of the day"),
    }
    told
}

/// A time of the day, to the minute.
fn clock(s: f64) -> String {
    let minutes = libm::floor(s / 60.0) as u64;
    format!("{:02}:{:02}", minutes / 60 % 24, minutes % 60)
}

fn lasting(s: f64) -> String {
    match s {
        ..120.0 => format!("{s:.0} s"),
        ..7200.0 => format!("{:.0} min", s / 60.0),
        _ => format!("{:.1} h", s / 3600.0),
    }
}

/// How a condition stands.
#[derive(Clone, Debug, PartialEq)]
enum Stands {
    Met(String),
    Broken(String),
    Unknown(String),
}
use Stands::{Broken, Met, Unknown};

/// Whether a solar battery wakes by itself from flat: each condition on the way, and how it stands.
pub(crate) fn wakes_from_flat(
    line: &Line,
    of: Option<SupplyIx>,
    memo: &Memo,
    assumed: &mut Vec<String>,
) -> Vec<Verdict> {
    each_supply(line, of, solar, &mut |supply| {
        let own = &line.supplies[supply.0];
        if !solar(own) {
            return Err("no sun charges it".to_owned());
        }
        let battery = own.battery.as_ref().ok_or("it has no battery")?;
        let ready = ready(line, supply, memo, assumed);
        let chain = [
            (
                "the protection of its cells closes",
                protection(own, battery, assumed),
            ),
            ("its charger starts", charger(own, battery)),
            ("its cells take charge", takes_charge(&ready)),
            ("the light is more than it draws itself", light(own, &ready)),
            ("the load comes back", load_comes_back(line, &ready)),
            ("it stays", stays(line, &ready)),
            (
                "the line carries its modules while they boot",
                boots(line, memo),
            ),
        ];
        let subject = format!("supply.{}", own.id);
        // What is not known counts for nothing good.
        let holding = chain.iter().filter(|(_, s)| matches!(s, Met(_))).count();
        let broken = chain.iter().find_map(|(what, s)| match s {
            Broken(why) => Some((what, why)),
            _ => None,
        });
        // Those that one missing thing leaves open are told with it once.
        let mut open: Vec<(String, &str)> = Vec::new();
        for (what, stands) in &chain {
            let Unknown(why) = stands else { continue };
            match open.iter_mut().find(|(_, told)| told == why) {
                Some((all, _)) => all.push_str(&format!(", whether {what}")),
                None => open.push((format!("whether {what}"), why)),
            }
        }
        let open: Vec<String> = open
            .into_iter()
            .map(|(what, why)| format!("{what}: {why}"))
            .collect();
        let first = match broken {
            Some((what, why)) => format!("it does not wake: that {what} fails, as {why}"),
            None if !open.is_empty() => return Ok(unknown(subject, open.join("; "))),
            None => "each step from flat to the booted line is met".to_owned(),
        };
        let each = chain.iter().map(|(what, stands)| {
            let (word, why) = match stands {
                Met(why) => ("met", why),
                Broken(why) => ("broken", why),
                Unknown(why) => ("unknown", why),
            };
            format!("\n{word}: {what}: {why}")
        });
        let why = format!("{first}{}", each.collect::<String>());
        let against = Against {
            side: Side::AtLeast,
            limit: chain.len() as f64,
            narrow: 0.0,
            unit: "steps of the way from flat that are met".to_owned(),
        };
        let evidence = Evidence::computed(FLAT, &chain);
        Ok(against.judge(subject, holding as f64, evidence, why))
    })
}

fn protection(supply: &Supply, battery: &Battery, assumed: &mut Vec<String>) -> Stands {
    match (battery.protection, battery.chemistry) {
        (None, Chemistry::Agm) => {
            assumed.push(format!(
                "supply.{}.battery: nothing takes it off its charger, because no `protection` is written and lead-acid cells have none of their own (common practice)",
                supply.id
            ));
            Met("no protection is written, and lead-acid cells have none of their own".to_owned())
        }
        (None, _) => Unknown(
            "`battery.protection` is not written: at which voltage it opens, and what closes it"
                .to_owned(),
        ),
        (Some(p), _) => match p.wakes {
            None => Unknown("`battery.protection.wakes` is not written".to_owned()),
            Some(Wakes::ByCharge) => Met(format!(
                "it opens at {} V, and the voltage of a charger closes it",
                show_number(p.cuts_off_v.si)
            )),
            Some(Wakes::ByHand) => Broken(format!(
                "it opens at {} V and a person has to close it (`battery.protection.wakes = \"by-hand\"`)",
                show_number(p.cuts_off_v.si)
            )),
        },
    }
}

fn charger(supply: &Supply, battery: &Battery) -> Stands {
    let Some(charger) = supply.charger else {
        return Unknown(
            "`charger` is not written: whether it starts on the battery or on the panels alone"
                .to_owned(),
        );
    };
    let opens = battery.protection.is_some();
    match (charger.starts_on, charger.from_v, opens) {
        (StartsOn::Panels, None, _) => Met("it starts on the panels alone".to_owned()),
        (StartsOn::Battery, _, true) => Broken(
            "it starts on the battery (`charger.starts_on`), and behind an open protection there are 0 V"
                .to_owned(),
        ),
        (StartsOn::Panels, Some(from), true) => Broken(format!(
            "it charges from {} V of the battery on (`charger.from`), and behind an open protection there are 0 V",
            show_number(from.si)
        )),
        (StartsOn::Battery, None, false) => Unknown(
            "`charger.from` is not written: the lowest battery voltage from which it charges"
                .to_owned(),
        ),
        (_, Some(from), false) => match at_rest(supply) {
            Err(error) => Unknown(error.to_string()),
            Ok((open, _)) => {
                let flat_v = open.at(0.0);
                let told = format!(
                    "it charges from {} V on, and the empty battery has {} V at rest",
                    show_number(from.si),
                    show_number(flat_v)
                );
                match flat_v >= from.si {
                    true => Met(told),
                    false => Broken(told),
                }
            }
        },
    }
}

type Ready = Result<(ComesBack, Vec<MeanDay>), String>;

fn takes_charge(ready: &Ready) -> Stands {
    let (back, _) = match ready {
        Ok(ready) => ready,
        Err(why) => return Unknown(why.clone()),
    };
    let cold: Vec<String> = back
        .months
        .iter()
        .filter(|(_, takes)| !*takes)
        .map(|(m, _)| {
            format!(
                "{} ({:.1} degC)",
                MONTHS[*m], back.drawn.temperature_degc[*m]
            )
        })
        .collect();
    match (cold.as_slice(), back.drawn.battery.chemistry.charging) {
        ([], Some(c)) => Met(format!(
            "they are within {} to {} degC in every month in the water",
            c.lowest_degc, c.highest_degc
        )),
        ([], None) => Unknown("nothing says how they are charged".to_owned()),
        (cold, _) => Broken(format!(
            "they are too cold or too warm for it in {}",
            listed(cold)
        )),
    }
}

fn darkest(days: &[MeanDay]) -> Option<&MeanDay> {
    days.iter().min_by(|a, b| a.wh().total_cmp(&b.wh()))
}

fn light(supply: &Supply, ready: &Ready) -> Stands {
    let (back, days) = match ready {
        Ok(ready) => ready,
        Err(why) => return Unknown(why.clone()),
    };
    let Some(day) = darkest(days) else {
        return Unknown("the deployment has no month".to_owned());
    };
    if supply.standing_w.is_none() {
        return Unknown("`standing` is not written: what its controller draws".to_owned());
    }
    let draws_wh = 24.0 * back.drawn.standing_w;
    let told = format!(
        "a mean day of {} gives {:.1} Wh, and it draws {draws_wh:.1} Wh itself",
        day.name(),
        day.wh()
    );
    match day.wh() > draws_wh {
        true => Met(told),
        false => Broken(told),
    }
}

fn flat_days(line: &Line, ready: &Ready) -> Result<(&'static str, Dawn), String> {
    let (back, days) = ready.as_ref().map_err(Clone::clone)?;
    let day = darkest(days).ok_or("the deployment has no month")?;
    let dawn = back
        .out_of_flat(line, day, DAYS)
        .map_err(|e| e.to_string())?;
    Ok((day.name(), dawn))
}

fn load_comes_back(line: &Line, ready: &Ready) -> Stands {
    match flat_days(line, ready) {
        Err(why) => Unknown(why),
        Ok((month, dawn)) => match dawn.spells.first() {
            None => Broken(format!(
                "it has not come to the charge at which the load comes back in {DAYS} mean days of {month}"
            )),
            Some(first) => Met(format!(
                "after {:.1} d of mean days of {month}",
                first.on_s / SECONDS_PER_DAY
            )),
        },
    }
}

fn stays(line: &Line, ready: &Ready) -> Stands {
    if let Some(why) = ready
        .as_ref()
        .ok()
        .and_then(|(back, _)| protection_opens(line, back))
    {
        return Broken(why);
    }
    let (month, dawn) = match flat_days(line, ready) {
        Err(why) => return Unknown(why),
        Ok(found) => found,
    };
    let Some(first) = dawn.spells.first() else {
        return Broken("it does not come back".to_owned());
    };
    let stay = dawn
        .spells
        .iter()
        .position(|s| s.off_s.is_none_or(|off_s| off_s - s.on_s >= STAYS_S));
    match stay {
        Some(_) if dawn.endless_from_s.is_some() => {
            Broken("it switches on and off without end: see `comes-back`".to_owned())
        }
        Some(0) => Met("from the first time on, for an hour and more".to_owned()),
        Some(n) => Met(format!(
            "from the {}th time on, {} after the first, for an hour and more",
            n + 1,
            lasting(dawn.spells[n].on_s - first.on_s)
        )),
        None => Broken(format!(
            "in {DAYS} mean days of {month} it never stays for an hour: see `comes-back`"
        )),
    }
}

fn boots(line: &Line, memo: &Memo) -> Stands {
    if let Some(why) = never_starts(line, memo) {
        return Broken(why);
    }
    match booting(line) {
        Booting::Nothing => Met("nothing that boots lies behind a resistance".to_owned()),
        Booting::Unknown(missing) => Unknown(missing.join("; ")),
        Booting::Least(least) if least.share < 1.0 => Broken(format!(
            "{} it has no operating point",
            while_booting(line, &least)
        )),
        Booting::Least(least) => Met(format!(
            "it could carry {:.0} % of what they draw",
            100.0 * least.share
        )),
        Booting::OverLimit(instant, supply, asked_a) => Broken(format!(
            "{} supply.{} is asked for {asked_a:.2} A, more than it gives",
            while_booting(line, &instant),
            line.supplies[supply].id
        )),
    }
}
