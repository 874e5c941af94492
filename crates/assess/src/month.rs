//! Billed messages of a month as a distribution.
//!
//! Purpose: how many messages an uplink bills in 30 d when events come by chance. The events of a detector, or the votes carried, are a Poisson process
//! of the rate that is expected; they are independent of those of another. `n` events of one origin start a behaviour `k n` times (`k` ways
//! lead to it), but no more often than its `at_most` lets it in the month, whatever starts it; each start bills what its message takes by itself. What starts at
//! intervals starts with the deployment, and bills what falls into each of its months. The sum over the origins is the convolution of their distributions, but for those that share an `at_most`, whose counts are taken together; to 10^-12 of the whole in each.
//!
//! With messages that share billed ones that sum is only an upper limit, so months are drawn: exponential times between events, and the queue of
//! [`network::Uplink`] with its windows, failures, expiry and room, but without the cap. What drawn months show has limits at 95 % (order statistics: no
//! more than a share `1 - q` lies above the upper limit of a quantile `q`, by the exact limit of the share that was counted above it).
//!
//! Source: textbook probability; H. A. David and H. N. Nagaraja, Order Statistics (2003), section 7.1; held to scipy.stats.poisson, scipy.stats.binom and to
//! numpy and SimPy draws (docs/method/uplink.md).

use std::collections::BTreeMap;

use chance::LimitsFrom;
use network::AtMost;
use plan::{Action, DetectorIx, Line, UplinkIx, VoteIx, When};
use quantity::{SECONDS_PER_DAY, show_number};

use crate::check::Shelf;
use crate::input::{
    InputError, MONTH_DAYS, SECONDS_PER_HOUR, at_most, billed_alone, bills_failed, payload_bytes,
    runs_per_h, streams, traffic,
};
use crate::memo::Memo;
use crate::tuning::{ShelvedTuning, chain_digest};

mod ashore;
mod compounded;
mod drawn;
mod leads;
mod offers;
mod shares;

pub(crate) use ashore::UnderLoad;
use compounded::compounded;
use drawn::{by_chance, drawn, queue};
use leads::{leads, tellers};
pub(crate) use shares::Month;

const MONTH_S: f64 = MONTH_DAYS * SECONDS_PER_DAY;
/// What is left out at each end of a distribution.
const TAIL: f64 = 1e-12;
/// Seed of the draws.
pub(crate) const SEED: u64 = 1;
/// Confidence of the limits of a rate of false alarms, two-sided, and of what drawn months show, one-sided.
const CONFIDENCE: f64 = 0.95;

/// Where events come from.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
enum Origin {
    Detector(DetectorIx),
    Vote(VoteIx),
    /// A behaviour that starts at intervals.
    Interval(usize),
}

/// One thing that is sent up.
#[derive(Clone, Debug)]
struct Sending {
    /// How many times an event of each origin leads to it.
    ways: BTreeMap<Origin, u64>,
    /// How often its behaviour may start, and how many starts that are in a month.
    limit: Option<AtMost>,
    most: u64,
    /// Messages billed by itself.
    billed: u64,
    bytes: u32,
    priority: u8,
}

/// Billed messages of a month on an uplink, of what is offered in it.
pub(crate) fn month(
    line: &Line,
    of: UplinkIx,
    shelf: &Shelf,
    memo: &Memo,
) -> Result<Month, String> {
    month_since(line, of, 0.0, shelf, memo)
}

/// The same of what is offered in it and in so long before it, s: no fewer than a month bills in which that may still wait as it begins.
pub(crate) fn month_since(
    line: &Line,
    of: UplinkIx,
    lead_s: f64,
    shelf: &Shelf,
    memo: &Memo,
) -> Result<Month, String> {
    let sendings = sendings(line, of, lead_s)?;
    let Rates {
        rates,
        worse,
        mut notes,
    } = rates(line, &sendings, shelf)?;
    let mut found = distribution(line, of, &sendings, &rates, (lead_s, memo))?;
    if !worse.is_empty() {
        let mut at_upper = rates.clone();
        at_upper.extend(worse);
        let upper = distribution(line, of, &sendings, &at_upper, (lead_s, memo))?;
        notes.push(format!(
            "at the upper limits of these 90 % of the months bill at most {} messages",
            upper.quantile(0.9)?
        ));
    }
    found.notes.extend(notes);
    Ok(found)
}

/// The urgent messages alone of a month on an uplink whose cap lets them go on, each billed by itself.
pub(crate) fn urgent_month(
    line: &Line,
    of: UplinkIx,
    lead_s: f64,
    shelf: &Shelf,
) -> Result<Month, String> {
    let u = &line.uplinks[of.0];
    if bills_failed(u) {
        return Err(format!(
            "how many failed attempts of urgent messages uplink.{} bills above its cap is not counted",
            u.id
        ));
    }
    let urgent = u.urgent;
    let mut sendings = sendings(line, of, lead_s)?;
    sendings.retain(|s| urgent.is_some_and(|most| s.priority <= most));
    let Rates { rates, .. } = rates(line, &sendings, shelf)?;
    Ok(Month {
        probabilities: compounded(&sendings, &rates, lead_s)?,
        drawn: None,
        chance: by_chance(1.0, &rates),
        why: String::new(),
        notes: Vec::new(),
        from: String::new(),
    })
}

/// Events of each origin in a month.
struct Rates {
    rates: BTreeMap<Origin, f64>,
    /// Of those with labelled recordings, at the upper limit.
    worse: BTreeMap<Origin, f64>,
    notes: Vec<String>,
}

fn rates(line: &Line, sendings: &[Sending], shelf: &Shelf) -> Result<Rates, String> {
    let mut rates = BTreeMap::new();
    let mut notes = Vec::new();
    let mut worse = BTreeMap::new();
    for origin in sendings.iter().flat_map(|s| s.ways.keys()) {
        if rates.contains_key(origin) {
            continue;
        }
        let mut rate = expected(line, *origin)?;
        if let Origin::Detector(d) = origin
            && let Some(seen) = cried(line, *d, shelf)
        {
            let id = &line.detectors[d.0].id;
            notes.push(format!(
                "of detector.{id} labelled recordings show {} false alarms a day, between {} and {} at 95 % confidence, two-sided, {}",
                show_number(seen.found),
                show_number(seen.low),
                show_number(seen.high),
                rests_on(seen.from)
            ));
            if seen.found * MONTH_DAYS > rate {
                rate = seen.found * MONTH_DAYS;
                notes.push(format!(
                    "that is more than detector.{id} is expected to tell, and is counted instead"
                ));
            }
            worse.insert(*origin, rate.max(seen.high * MONTH_DAYS));
        }
        rates.insert(*origin, rate);
    }
    Ok(Rates {
        rates,
        worse,
        notes,
    })
}

fn distribution(
    line: &Line,
    of: UplinkIx,
    sendings: &[Sending],
    rates: &BTreeMap<Origin, f64>,
    (lead_s, memo): (f64, &Memo),
) -> Result<Month, String> {
    let events: Vec<String> = rates
        .iter()
        .filter_map(|(origin, rate)| {
            let what = match origin {
                Origin::Detector(d) => format!("events of detector.{}", line.detectors[d.0].id),
                Origin::Vote(v) => format!("votes of vote.{}", line.votes[v.0].id),
                Origin::Interval(_) => return None,
            };
            Some(format!("{} {what}", show_number(*rate)))
        })
        .collect();
    let events = match events.is_empty() {
        true => "no events".to_owned(),
        false => format!("{} by chance", events.join(" and ")),
    };
    let mut from = format!("{sendings:?} {rates:?} {lead_s:?}");
    let u = &line.uplinks[of.0];
    let (probabilities, months) = match u.pack_within_s.is_some() || bills_failed(u) {
        false => (compounded(sendings, rates, lead_s)?, None),
        true => {
            let (spec, tries) = queue(line, of)?;
            from.push_str(&format!(" {spec:?} {tries:?}"));
            let (probabilities, months) = drawn(line, of, sendings, rates, (lead_s, memo))?;
            (
                probabilities,
                by_chance(tries.mean_success(), rates).then_some(months),
            )
        }
    };
    let how = match months {
        None => String::new(),
        Some(months) => format!(
            ", as {months} drawn months with seed {SEED} show, each number the upper limit at {} % confidence, one-sided",
            100.0 * CONFIDENCE
        ),
    };
    Ok(Month {
        probabilities,
        drawn: months,
        chance: months.is_some() || by_chance(1.0, rates),
        why: format!("of {events} in each{how}"),
        notes: Vec::new(),
        from,
    })
}

/// Events of an origin that are expected in a month.
fn expected(line: &Line, origin: Origin) -> Result<f64, String> {
    let month_h = MONTH_DAYS * SECONDS_PER_DAY / SECONDS_PER_HOUR;
    match origin {
        Origin::Detector(d) => {
            let d = &line.detectors[d.0];
            let rate = d.expects.ok_or_else(|| {
                format!(
                    "detector.{} says nothing of how many events it is expected to tell (`expects`)",
                    d.id
                )
            })?;
            Ok(rate.count / rate.per_s * MONTH_DAYS * SECONDS_PER_DAY)
        }
        Origin::Vote(vote) => {
            let started = line
                .behaviours
                .iter()
                .position(|b| matches!(b.when, When::Voted { vote: v } if v == vote))
                .expect("an origin is one of a behaviour");
            let mut plain = line.clone();
            plain.behaviours[started].at_most = None;
            let runs = runs_per_h(&plain).map_err(|e| e.to_string())?;
            Ok(runs[started] * month_h)
        }
        Origin::Interval(b) => match line.behaviours[b].when {
            When::Each { period_s } => Ok(MONTH_DAYS * SECONDS_PER_DAY / period_s.si),
            _ => unreachable!("an interval is one of a behaviour that starts at intervals"),
        },
    }
}

/// False alarms a day.
struct Cried {
    found: f64,
    low: f64,
    high: f64,
    from: LimitsFrom,
}

/// What limits of a rate of false alarms rest on, in words.
fn rests_on(from: LimitsFrom) -> String {
    match from {
        LimitsFrom::Days(days) => format!("of {days} days drawn whole"),
        LimitsFrom::FewDays(_) | LimitsFrom::NoDays => {
            "each taken as single, for want of days to draw whole: where they come in bursts the limits are wider".to_owned()
        }
    }
}

/// What labelled recordings show of a detector's false alarms: of several fresh records that with the most.
fn cried(line: &Line, detector: DetectorIx, shelf: &Shelf) -> Option<Cried> {
    let id = &line.detectors[detector.0].id;
    let chain = chain_digest(line, detector, None).ok()?;
    let fresh = |s: &&ShelvedTuning| {
        let t = &s.tuning;
        t.detector == *id
            && t.chain_digest == chain
            && t.what.is_empty()
            && s.changed.is_empty()
            && s.unread.is_empty()
    };
    let all = shelf.tunings.iter().filter(fresh).filter_map(|s| {
        let days = s.tuning.judged_s / SECONDS_PER_DAY;
        let limits = s.tuning.alarm_limits(CONFIDENCE, SECONDS_PER_DAY).ok()?;
        let ((low, high), from) = limits;
        Some(Cried {
            found: s.tuning.false_alarms as f64 / days,
            low,
            high,
            from,
        })
    });
    all.max_by(|a, b| a.found.total_cmp(&b.found))
}

/// What is sent up an uplink, and how events lead to it.
fn sendings(line: &Line, of: UplinkIx, lead_s: f64) -> Result<Vec<Sending>, String> {
    let ways = ways(line, of).map_err(|e| e.to_string())??;
    let mut all = Vec::new();
    for (b, ways) in line.behaviours.iter().zip(ways) {
        for action in &b.actions {
            let Action::SendUp { uplink, topic, .. } = action else {
                continue;
            };
            if *uplink != of {
                continue;
            }
            let t = &line.topics[topic.0];
            let bytes = payload_bytes(t).map_err(|e| e.to_string())?;
            let most = b.at_most.map_or(u64::MAX, |limit| {
                (limit.count * ((MONTH_S + lead_s) / limit.per_s).ceil()).floor() as u64
            });
            let limit = b
                .at_most
                .map(|rate| at_most(|| format!("behaviour.{}", b.id), rate))
                .transpose()
                .map_err(|e| e.to_string())?;
            all.push(Sending {
                ways: ways.clone(),
                limit,
                most,
                billed: billed_alone(&line.uplinks[of.0], bytes),
                bytes,
                priority: t.priority,
            });
        }
    }
    Ok(all)
}

type Ways = Vec<BTreeMap<Origin, u64>>;

/// In how many ways an event of each origin starts each behaviour that leads to what the uplink sends.
fn ways(line: &Line, of: UplinkIx) -> Result<Result<Ways, String>, InputError> {
    let traffic = traffic(line)?;
    let streams = traffic.as_ref().map(|t| streams(line, t)).transpose()?;
    let talk = traffic.as_ref().zip(streams.as_ref());
    let leading = leads(line, of, talk)?;
    let own = |i: usize| match &line.behaviours[i].when {
        _ if !leading[i] => None,
        When::Heard { detector, .. } => Some(Origin::Detector(*detector)),
        When::Voted { vote } => Some(Origin::Vote(*vote)),
        When::Each { .. } => Some(Origin::Interval(i)),
        When::Told { .. }
        | When::Asked { .. }
        | When::Answered { .. }
        | When::Unanswered { .. } => None,
    };
    let by_request = |b: &plan::Behaviour| {
        matches!(
            b.when,
            When::Asked { .. } | When::Answered { .. } | When::Unanswered { .. }
        )
    };
    let mut led = line.behaviours.iter().zip(&leading);
    if let Some((b, _)) = led.find(|(b, leads)| **leads && by_request(b)) {
        return Ok(Err(format!(
            "behaviour.{} is started by a request, and what it does leads to uplink.{}: how many messages events lead to over requests is not counted",
            b.id, line.uplinks[of.0].id
        )));
    }
    let first: Ways = (0..line.behaviours.len())
        .map(|i| own(i).into_iter().map(|o| (o, 1)).collect())
        .collect();
    let mut now = first.clone();
    let Some((traffic, streams)) = talk else {
        return Ok(Ok(now));
    };
    for _ in 0..=line.behaviours.len() {
        let mut next = first.clone();
        for (i, b) in line.behaviours.iter().enumerate() {
            let When::Told { filter } = &b.when else {
                continue;
            };
            if !leading[i] {
                continue;
            }
            for (j, times) in tellers(line, i, filter, traffic, streams)? {
                for (origin, ways) in &now[j] {
                    let sum = next[i].entry(*origin).or_insert(0);
                    *sum = ways.saturating_mul(times).saturating_add(*sum);
                }
            }
        }
        if next == now {
            return Ok(Ok(now));
        }
        now = next;
    }
    Ok(Err(
        "behaviours tell each other without end: how many messages an event leads to is not known"
            .to_owned(),
    ))
}

#[cfg(test)]
mod tests;
