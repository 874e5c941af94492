//! How late messages are ashore, month by month, and when the shore should look.
//!
//! A message that finds the queue empty, from the instant at which it is ready to its acknowledgement ashore: windows, session, registration, failures, back-off, expiry and the time for which it is held
//! for others, through calm and high seas where the plan writes a `sea` (docs/method/uplink.md). Hours in which the battery's charge lies below `off_below` let nothing through: what becomes ready in them
//! counts as late, which is on the safe side.

use network::{LoneDelay, lone_delay_by_sea};
use plan::{Line, SupplyIx, SupplyKind, TopicIx, UplinkIx};
use quantity::{Dimension, SECONDS_PER_DAY, show};

use crate::cell_verdicts::MONTHS;
use crate::hours::{fed_by, never_off};
use crate::input::{
    InputError, LoadPart, MONTH_DAYS, Succeeds, energy_of, succeeds, supply_load, uplink_spec,
};
use crate::memo::Memo;
use crate::month::UnderLoad;
use crate::months::months_in_water;
use crate::uplink_load::sent_up;
use crate::years::{WEATHER_SEED, run_years};

/// The shore looks for a message that is later than this share of them.
pub const LOOK_SHARE: f64 = 0.99;
/// Years of which the hours below `off_below` are counted.
const CHARGE_YEARS: u64 = 60;

/// Messages of one month.
#[derive(Clone, Debug, PartialEq)]
pub struct UplinkMonth {
    /// Share of the time in which the sea is high; `None` where the plan writes no `sea`.
    pub high_share: Option<f64>,
    /// Mean length of the runs of hours with a high sea, h.
    pub high_lasts_h: Option<f64>,
    /// Chance of an attempt at any instant.
    pub success: f64,
    /// Share of the hours in which the uplink is off for want of charge.
    pub off_share: f64,
    /// Times within which half, 90 and 99 % of all messages are ashore, s; `None` where fewer ever are.
    pub within_s: [Option<f64>; 3],
    /// Share that is given up for its age.
    pub given_up: f64,
    /// Share that needs more attempts than are followed.
    pub left: f64,
    /// Attempts of a message on average.
    pub attempts: f64,
    lone: LoneDelay,
    held_s: f64,
}

impl UplinkMonth {
    /// Share of all messages that is ashore within a time, s.
    #[must_use]
    pub fn share_within(&self, time_s: f64) -> f64 {
        (1.0 - self.off_share) * self.lone.share_within(time_s - self.held_s)
    }

    fn held_within_s(&self, share: f64, held_s: f64) -> Option<f64> {
        // What becomes ready while the uplink is off is never in time.
        let of_rest = share / (1.0 - self.off_share);
        let within_s = (of_rest <= 1.0).then(|| self.lone.within_s(of_rest))?;
        within_s.map(|s| s + held_s)
    }
}

/// When the shore should look for a heartbeat that stays out.
#[derive(Clone, Debug, PartialEq)]
pub struct UplinkWatch {
    /// Path of the module.
    pub module: String,
    /// From one heartbeat to the next, s.
    pub every_s: f64,
    /// January to December: how long after its time a heartbeat is later than 99 % of them, s; `None` where fewer ever come ashore.
    pub look_after_s: [Option<f64>; 12],
    /// January to December: share of them that stays out by itself, of those that find the queue empty.
    pub stays_out: [f64; 12],
    /// The same in the worst month of the deployment among all other messages that are expected, its cap counted; or why that is not known.
    pub among_others: Result<f64, String>,
}

impl UplinkWatch {
    /// Heartbeats of 30 d.
    #[must_use]
    pub fn in_30_d(&self) -> f64 {
        MONTH_DAYS * SECONDS_PER_DAY / self.every_s
    }

    /// Heartbeats of 30 d that are later, although the module is well; they come in clusters, as high seas do.
    #[must_use]
    pub fn false_alarms(&self) -> f64 {
        (1.0 - LOOK_SHARE) * self.in_30_d()
    }

    /// The longest time from the stop of a module in a month, 0 to 11, until the shore looks, s.
    #[must_use]
    pub fn noticed_within_s(&self, month: usize) -> Option<f64> {
        self.look_after_s[month].map(|late_s| self.every_s + late_s)
    }
}

/// How late messages of an uplink are ashore.
#[derive(Clone, Debug, PartialEq)]
pub struct UplinkAshore {
    /// Typed path of the uplink.
    pub uplink: String,
    /// From what the seas come, in words; `None` where the plan writes no `sea`.
    pub seas_from: Option<String>,
    /// How long a message waits for others, s.
    pub held_s: f64,
    /// The month of the deployment in which messages are latest, 0 to 11.
    pub worst_month: usize,
    /// January to December.
    pub months: [UplinkMonth; 12],
    /// Heartbeats that go ashore by it.
    pub watches: Vec<UplinkWatch>,
    /// What sending, registering and position fixes draw of each supply, with the path of the supply; or why that is unknown.
    pub load_parts: Vec<(String, Result<Vec<LoadPart>, String>)>,
    /// Values that count although the plan does not write them.
    pub assumed: Vec<String>,
}

/// How late messages of each uplink are ashore, or its path and what the plan does not say and this needs.
#[must_use]
pub fn uplinks_ashore(line: &Line) -> Vec<Result<UplinkAshore, (String, String)>> {
    let memo = Memo::with_room(0);
    let each = line.uplinks.iter().enumerate();
    each.map(|(ix, u)| {
        uplink_ashore(line, UplinkIx(ix), &memo).map_err(|why| (format!("uplink.{}", u.id), why))
    })
    .collect()
}

/// How late messages of an uplink are ashore.
///
/// # Errors
/// In words, what the plan does not say and this needs.
pub fn uplink_ashore(line: &Line, of: UplinkIx, memo: &Memo) -> Result<UplinkAshore, String> {
    let u = &line.uplinks[of.0];
    let path = format!("uplink.{}", u.id);
    let (months, seas_from) = uplink_months(line, of, memo)?;
    let held_s = months[0].held_s;
    let in_water = months_in_water(line).into_iter();
    let worst_month = in_water
        .max_by(|a, b| later(&months[*a], &months[*b]).then(b.cmp(a)))
        .unwrap_or(0);
    let mut load = UnderLoad::new(memo);
    let off_share = months[worst_month].off_share;
    let beats = line.modules.iter().filter_map(|m| {
        let heartbeat = m.heartbeat.filter(|h| h.by == Some(of))?;
        let held_s = held_s_of(line, of, heartbeat.topic);
        Some(UplinkWatch {
            module: format!("module.{}", m.id),
            every_s: heartbeat.every_s.si,
            look_after_s: months
                .each_ref()
                .map(|month| month.held_within_s(LOOK_SHARE, held_s)),
            stays_out: months
                .each_ref()
                .map(|month| 1.0 - month.share_within(f64::INFINITY)),
            among_others: load
                .come_ashore(line, of, heartbeat.topic)
                .map(|comes| 1.0 - (1.0 - off_share) * comes),
        })
    });
    let watches = beats.collect();
    Ok(UplinkAshore {
        load_parts: load_parts(line, &path),
        assumed: assumed(line, of),
        uplink: path,
        seas_from,
        held_s,
        worst_month,
        months,
        watches,
    })
}

/// Which of two months has later messages, by their P99, then P90, then what is given up.
fn later(a: &UplinkMonth, b: &UplinkMonth) -> std::cmp::Ordering {
    let at = |m: &UplinkMonth, i: usize| m.within_s[i].unwrap_or(f64::INFINITY);
    at(a, 2)
        .total_cmp(&at(b, 2))
        .then(at(a, 1).total_cmp(&at(b, 1)))
        .then((a.given_up + a.off_share).total_cmp(&(b.given_up + b.off_share)))
}

/// The months of an uplink, and from what its seas come.
pub(crate) fn uplink_months(
    line: &Line,
    of: UplinkIx,
    memo: &Memo,
) -> Result<([UplinkMonth; 12], Option<String>), String> {
    let said = |e: InputError| e.to_string();
    let u = &line.uplinks[of.0];
    let how = succeeds(line, of, None).map_err(said)?;
    let spec = uplink_spec(line, of).map_err(said)?;
    let off = off_shares(line, of, memo)?;
    let senders = sent_up(line, of).map_err(said)?;
    let held = senders.iter().map(|s| held_s_of(line, of, s.topic));
    let held_s = held.fold(0.0, f64::max);
    let by_sea = matches!(how, Succeeds::BySea(_));
    let written_h = u.sea.and_then(|s| s.high_lasts_s).map(|q| q.si / 3600.0);
    let mut months = Vec::with_capacity(12);
    for (tries, off_share) in how.by_month().map_err(said)?.iter().zip(off) {
        let lone = lone_delay_by_sea(&spec, tries)
            .ok_or_else(|| format!("no attempt of uplink.{} ever succeeds", u.id))?;
        let mut month = UplinkMonth {
            high_share: by_sea.then(|| tries.chain.at_rest()[1]),
            high_lasts_h: by_sea.then(|| written_h.unwrap_or(1.0 / tries.chain.leaves_bad())),
            success: tries.mean_success(),
            off_share,
            within_s: [None; 3],
            given_up: lone.given_up,
            left: lone.left,
            attempts: lone.attempts,
            lone,
            held_s,
        };
        month.within_s = [0.5, 0.9, LOOK_SHARE].map(|share| month.held_within_s(share, held_s));
        months.push(month);
    }
    let months: [UplinkMonth; 12] = months.try_into().expect("one for each of twelve months");
    let from = match how {
        Succeeds::BySea(sea) => Some(sea.from.clone()),
        Succeeds::Steady { .. } => None,
    };
    Ok((months, from))
}

/// How long a message of a topic waits for others at most, s.
fn held_s_of(line: &Line, of: UplinkIx, topic: TopicIx) -> f64 {
    let u = &line.uplinks[of.0];
    let urgent = u.urgent.is_some_and(|p| line.topics[topic.0].priority <= p);
    u.pack_within_s.filter(|_| !urgent).map_or(0.0, |q| q.si)
}

/// Share of the hours of each month in which the charge lies below `off_below`; none where the plan writes none, or where the uplink is fed by what is never off.
fn off_shares(line: &Line, of: UplinkIx, memo: &Memo) -> Result<[f64; 12], String> {
    let u = &line.uplinks[of.0];
    let Some(off_below) = u.off_below else {
        return Ok([0.0; 12]);
    };
    let feeding: Vec<usize> = fed_by(line, u.module).into_iter().collect();
    if feeding.iter().any(|s| never_off(line.supplies[*s].kind)) {
        return Ok([0.0; 12]);
    }
    let [supply] = feeding[..] else {
        return Err(format!(
            "uplink.{} is switched off below a charge (`off_below`), and {} feed its module: of which the charge counts is not known",
            u.id,
            match feeding.len() {
                0 => "no supplies".to_owned(),
                n => format!("{n} supplies"),
            }
        ));
    };
    let said = |e: InputError| format!("whether uplink.{} is off is not known: {e}", u.id);
    let input = energy_of(line, SupplyIx(supply), memo).map_err(said)?;
    let years = input.light.measured_years().unwrap_or(CHARGE_YEARS);
    let mut below = [0_u64; 12];
    run_years(line, &input, WEATHER_SEED, years, &mut |_, _, charge| {
        let mut hours = charge.iter();
        for (count, days) in below.iter_mut().zip(power::year::MONTH_DAYS) {
            let month = hours.by_ref().take(24 * usize::from(days));
            *count += month.filter(|c| **c < off_below.si).count() as u64;
        }
        true
    })
    .map_err(said)?;
    let hours = power::year::MONTH_DAYS.map(|days| 24.0 * f64::from(days) * years as f64);
    Ok(core::array::from_fn(|m| below[m] as f64 / hours[m]))
}

/// The largest share of the hours of a month of the deployment in which an uplink is off for want of charge, and that month in words.
///
/// # Errors
/// In words.
pub(crate) fn worst_off(
    line: &Line,
    of: UplinkIx,
    memo: &Memo,
) -> Result<(f64, &'static str), String> {
    let off = off_shares(line, of, memo)?;
    let months = months_in_water(line).into_iter();
    let worst = months.max_by(|a, b| off[*a].total_cmp(&off[*b]).then(b.cmp(a)));
    let worst = worst.unwrap_or(0);
    Ok((off[worst], MONTHS[worst]))
}

/// What the uplink draws of each supply with panels, a battery or cells.
fn load_parts(line: &Line, path: &str) -> Vec<(String, Result<Vec<LoadPart>, String>)> {
    let stored =
        |kind: SupplyKind| matches!(kind, SupplyKind::SolarBattery | SupplyKind::PrimaryCells);
    let supplies = line.supplies.iter().enumerate();
    supplies
        .filter(|(_, s)| stored(s.kind))
        .map(|(ix, s)| {
            let of_uplink = |part: &LoadPart| {
                part.what.contains(&format!("{path},"))
                    || part.what.starts_with(&format!("{path}:"))
            };
            let parts = supply_load(line, SupplyIx(ix))
                .map(|load| load.parts.into_iter().filter(of_uplink).collect())
                .map_err(|e| e.to_string());
            (format!("supply.{}", s.id), parts)
        })
        .collect()
}

/// What counts of an uplink's waits although the plan does not write it.
pub(crate) fn assumed(line: &Line, of: UplinkIx) -> Vec<String> {
    let u = &line.uplinks[of.0];
    let path = format!("uplink.{}", u.id);
    let mut all = Vec::new();
    match &u.sea {
        None => all.push(format!(
            "{path}: attempts succeed or fail each on its own, because no `sea` is written: a storm that lasts makes messages later"
        )),
        Some(sea) => {
            all.push(format!(
                "{path}: its seas are high and calm by Rayleigh's law about the mean wind of each month (common practice), and spells end by chance, however long they have lasted: real storms have longer tails"
            ));
            if sea.high_lasts_s.is_none() {
                all.push(format!(
                    "{path}: high seas hold on as the wind of the hours does, because no `high_lasts` is written"
                ));
            }
        }
    }
    match u.registers {
        None => all.push(format!(
            "{path}: it registers in no time and draws nothing for it, because no `registers` is written"
        )),
        Some(r) if r.when == plan::RegistersWhen::PowerOn => all.push(format!(
            "{path}: what it draws to register after each return of power is not counted, nor the {} by which the first message after it is later",
            show(r.takes_s.si, Dimension::Time)
        )),
        Some(_) => {}
    }
    if u.fix.is_none() {
        all.push(format!(
            "{path}: no position fix draws anything, because no `fix` is written"
        ));
    }
    if u.off_below.is_none() {
        all.push(format!(
            "{path}: no low charge switches it off, because no `off_below` is written"
        ));
    }
    all
}

/// The times of a month in words.
pub(crate) fn told(month: &UplinkMonth, number: usize) -> String {
    let within = |i: usize| {
        month.within_s[i].map_or("never".to_owned(), |s| {
            format!("within {}", show(s.round(), Dimension::Time))
        })
    };
    let high = month.high_share.map_or(String::new(), |share| {
        format!(
            ", when the sea is high {:.1} % of the time, {:.1} h at a time",
            100.0 * share,
            month.high_lasts_h.unwrap_or(0.0)
        )
    });
    let off = match month.off_share > 0.0 {
        true => format!(
            ", {:.2} % of the hours off for want of charge",
            100.0 * month.off_share
        ),
        false => String::new(),
    };
    format!(
        "in {}{high}{off}, half of the messages that find the queue empty are ashore {}, 90 % {}, 99 % {}, {:.2} % are given up, {:.2} attempts each",
        MONTHS[number],
        within(0),
        within(1),
        within(2),
        100.0 * month.given_up,
        month.attempts
    )
}
