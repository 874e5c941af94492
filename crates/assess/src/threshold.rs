//! What moving a detector's threshold does: calls that are missed, false alarms, messages, how late they are, money and charge, side by side,
//! as none is had without the others.
//!
//! What is missed and cried comes from records of tuning, by their operating curves at thresholds that were tried. The events that a
//! detector tells in a day are `R f + a`: the real ones that come, `R`, of which it finds the share `f`, and its false alarms `a`. `R` is
//! stated, or what the plan's `expects` leaves beside the false alarms at the planned threshold. From these events, as the detector's
//! `expects`, follows all else by the calculations of `check`; what an `at_most` of the plan holds back is held back there.

use plan::{DetectorIx, Line, Requirement, That, UplinkIx};
use quantity::{Money, SECONDS_PER_DAY, show_number};

use crate::allowance::{MOST_PER_DAY, expecting, messages};
use crate::check::{Shelf, Tier, verdicts};
use crate::input::{MONTH_DAYS, bills_failed, detector_spec, threshold_offset_db};
use crate::memo::Memo;
use crate::month::{UnderLoad, month};
use crate::tune_verdicts::{Says, speaking};
use crate::tuning::{Counted, HeardAt, OnCurve, ShelvedTuning};
use crate::uplink_load::paid;
use crate::verdict::Verdict;
use crate::years::{CONFIDENCE, Years};

/// What a month of an uplink is, d.
pub const UPLINK_MONTH_DAYS: f64 = MONTH_DAYS;
/// The share of messages whose time ashore is told.
pub const ASHORE_SHARE: f64 = 0.9;
/// So many times more events tell whether any limit of the plan holds them.
const A_LITTLE_MORE: f64 = 1.01;

/// A threshold that is moved.
#[derive(Clone, Copy)]
pub struct ThresholdAsk<'a> {
    /// The plan as it is.
    pub before: &'a Line,
    /// The plan with the one threshold moved.
    pub after: &'a Line,
    /// What lies beside it.
    pub shelf: &'a Shelf,
    /// The detector, in both.
    pub detector: DetectorIx,
    /// Real events that come in a day, found or not; `None` for what the plan's `expects` leaves.
    pub real_per_d: Option<f64>,
    /// Results that are kept.
    pub memo: &'a Memo,
    /// How much is counted of what rests on years.
    pub tier: Tier,
}

/// What comes of it.
#[derive(Clone, Debug)]
pub struct ThresholdMoved {
    /// Real events that come in a day, found or not; or why that is unknown.
    pub real_per_d: Result<f64, String>,
    /// Lowest and highest threshold of the curve that is used, dB as the plan writes them; `None` without one.
    pub tried_db: Option<(f64, f64)>,
    /// Records that speak of the threshold as it is.
    pub records: usize,
    /// With the threshold as it is.
    pub before: ThresholdSide,
    /// With the threshold moved.
    pub after: ThresholdSide,
}

/// What comes of a plan with one threshold.
#[derive(Clone, Debug)]
pub struct ThresholdSide {
    /// What the detector did against labels; or why that is unknown.
    pub heard: Result<HeardAt, String>,
    /// Events that it tells in a day, with what the limits of both shares and rates leave; or why that is unknown.
    pub events_per_d: Result<Counted, String>,
    /// What goes up each uplink in a month.
    pub uplinks: Vec<UplinkMonthly>,
    /// The worst verdict on charge, outages and cells of each requirement that asks for one, with its id; or why it is unknown.
    pub charge: Result<Vec<(String, Verdict)>, String>,
    /// The worst verdict on what the detector finds and on its false alarms, with the requirement's id.
    pub judged: Vec<(String, Verdict)>,
}

/// What goes up an uplink in a month.
#[derive(Clone, Debug)]
pub struct UplinkMonthly {
    /// Its typed path.
    pub uplink: String,
    /// What is expected with so many events; or why that is unknown.
    pub expected: Result<Expected, String>,
    /// Billed messages in a month at most and what they cost, however many events there are; or why that is unknown.
    pub at_most: Result<(u64, Option<Money>), String>,
    /// The time within which [`ASHORE_SHARE`] of the messages are ashore under load, s; or why that is unknown.
    pub ashore_s: Result<f64, String>,
}

/// Billed messages that are expected in a month.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Expected {
    /// With the events as they were counted.
    pub messages: f64,
    /// At the upper limit of the events; `None` where nothing is counted.
    pub messages_at_high: Option<f64>,
    /// What they cost.
    pub cost: Option<Money>,
    /// What they cost at the upper limit.
    pub cost_at_high: Option<Money>,
    /// Whether limits of the plan hold them there: more events send no more.
    pub held: bool,
}

/// A threshold as it is and moved.
#[must_use]
pub fn threshold_moved(ask: &ThresholdAsk<'_>) -> ThresholdMoved {
    let of = ask.detector;
    let records = speaking(ask.before, of, ask.shelf);
    let speaking_now = records.as_ref().map_or(&[][..], Vec::as_slice);
    let used = worst_record(ask.before, of, speaking_now);
    let before_heard = heard(ask.before, of, ask.shelf, used.as_deref());
    let after_heard = heard(ask.after, of, ask.shelf, used.as_deref());
    let real_per_d = real(ask, &before_heard);
    let same = written_db(ask.before, of) == written_db(ask.after, of);
    let planned = expects_per_d(ask.before, of);
    let before_events = match (planned, ask.real_per_d) {
        // As the plan says, whatever records show.
        (Some(planned), None) => Ok(with_limits(&before_heard, &real_per_d, planned)),
        _ => events(&before_heard, &real_per_d),
    };
    let after_events = match same {
        true => before_events.clone(),
        false => events(&after_heard, &real_per_d),
    };
    let curve = records.ok().and_then(|all| {
        let own = all.iter().find(|(s, _)| Some(&s.file) == used.as_ref())?;
        let points = &own.0.tuning.curve.as_ref()?.points;
        let offset_db = threshold_offset_db(ask.before, of);
        let (first, last) = (points.first()?, points.last()?);
        Some((
            first.threshold_db - offset_db,
            last.threshold_db - offset_db,
            all.len(),
        ))
    });
    ThresholdMoved {
        tried_db: curve.map(|(low, high, _)| (low, high)),
        records: curve.map_or(0, |(_, _, records)| records),
        before: side(ask, ask.before, before_heard, before_events, true),
        after: side(ask, ask.after, after_heard, after_events, same),
        real_per_d,
    }
}

/// Of several records the one that cries most, by its file.
fn worst_record(line: &Line, of: DetectorIx, all: &[(&ShelvedTuning, Says<'_>)]) -> Option<String> {
    let rate = |(s, says): &(&ShelvedTuning, Says<'_>)| {
        let told = told(line, of, s, *says).ok()?;
        Some((told.false_alarms_per_d.value, s.file.clone()))
    };
    let all = all.iter().filter_map(rate);
    let worst = all.reduce(|worst, one| if one.0 > worst.0 { one } else { worst });
    worst.map(|(_, file)| file)
}

/// What the record of this file, or the one that cries most, shows of the detector at its threshold in this line.
fn heard(
    line: &Line,
    of: DetectorIx,
    shelf: &Shelf,
    file: Option<&str>,
) -> Result<HeardAt, String> {
    let all = speaking(line, of, shelf)?;
    let file = match file {
        Some(file) => Some(file.to_owned()),
        None => worst_record(line, of, &all),
    };
    let own = all.iter().find(|(s, _)| Some(&s.file) == file.as_ref());
    match own {
        Some((s, says)) => told(line, of, s, *says),
        None => Err(
            "what its records show at the planned threshold is not known at this one".to_owned(),
        ),
    }
}

fn told(
    line: &Line,
    of: DetectorIx,
    shelved: &ShelvedTuning,
    says: Says<'_>,
) -> Result<HeardAt, String> {
    let (tuning, file) = (&shelved.tuning, shelved.file.as_str());
    let found = match says {
        Says::Own => tuning.heard(file, CONFIDENCE),
        Says::OnCurve(OnCurve::At(point)) => tuning.at_point(point).heard(file, CONFIDENCE),
        Says::OnCurve(OnCurve::Between(a, b)) => {
            let spec = detector_spec(line, of, None).map_err(|e| e.to_string())?;
            let threshold_db = spec.threshold_db().unwrap_or(a.threshold_db);
            let mut found = tuning.heard_between((a, b), threshold_db, file, CONFIDENCE);
            let offset_db = threshold_offset_db(line, of);
            if let Ok(HeardAt {
                between_db: Some((low, high)),
                ..
            }) = &mut found
            {
                (*low, *high) = (*low - offset_db, *high - offset_db);
            }
            found
        }
        Says::OnCurve(OnCurve::Beyond { .. }) => {
            return Err("it lies beyond the thresholds that were tried".to_owned());
        }
    };
    found.map_err(|e| e.to_string())
}

/// The deciding threshold, in bits; `None` where the stages cannot be told.
fn written_db(line: &Line, of: DetectorIx) -> Option<u64> {
    let spec = detector_spec(line, of, None).ok()?;
    spec.threshold_db().map(f64::to_bits)
}

fn expects_per_d(line: &Line, of: DetectorIx) -> Option<f64> {
    let rate = line.detectors[of.0].expects?;
    Some(rate.count / rate.per_s * SECONDS_PER_DAY)
}

/// The share of real events that is found; all of them where no label counts.
fn found_share(heard: &HeardAt) -> Counted {
    let missed = heard.missed_share.unwrap_or(Counted {
        value: 0.0,
        low: 0.0,
        high: 1.0,
    });
    Counted {
        value: 1.0 - missed.value,
        low: 1.0 - missed.high,
        high: 1.0 - missed.low,
    }
}

/// Real events that come in a day, found or not.
fn real(ask: &ThresholdAsk<'_>, before: &Result<HeardAt, String>) -> Result<f64, String> {
    if let Some(stated) = ask.real_per_d {
        return Ok(stated);
    }
    let id = &ask.before.detectors[ask.detector.0].id;
    let state = "say how many real ones come in a day";
    let planned = expects_per_d(ask.before, ask.detector).ok_or_else(|| {
        format!("the plan does not say how many events detector.{id} is expected to tell (`expects`): {state}")
    })?;
    let heard = before.as_ref().map_err(|why| {
        format!("how many of the events that detector.{id} is expected to tell are real is not known, as its false alarms are not: {why}")
    })?;
    let cried = heard.false_alarms_per_d.value;
    let share = found_share(heard).value;
    match planned - cried {
        left if left < 0.0 => Err(format!(
            "detector.{id} is expected to tell {} events a day (`expects`), and its recordings show {} false alarms a day already: {state}",
            show_number(planned),
            show_number(cried)
        )),
        _ if share <= 0.0 => Err(format!(
            "detector.{id} finds none of its labels, so that nothing follows from how many events it is expected to tell: {state}"
        )),
        left => Ok(left / share),
    }
}

/// Events a day at one threshold.
fn events(heard: &Result<HeardAt, String>, real: &Result<f64, String>) -> Result<Counted, String> {
    let heard = heard
        .as_ref()
        .map_err(|why| format!("how many events it tells at this threshold is not known: {why}"))?;
    let real = real.as_ref().map_err(Clone::clone)?;
    let (found, cried) = (found_share(heard), heard.false_alarms_per_d);
    Ok(Counted {
        value: real * found.value + cried.value,
        low: real * found.low + cried.low,
        high: real * found.high + cried.high,
    })
}

/// Events of which the plan says how many there are, with the limits of what records show.
fn with_limits(
    heard: &Result<HeardAt, String>,
    real: &Result<f64, String>,
    planned: f64,
) -> Counted {
    let limits = events(heard, real).ok();
    Counted {
        value: planned,
        low: limits.map_or(planned, |l| l.low),
        high: limits.map_or(planned, |l| l.high),
    }
}

fn side(
    ask: &ThresholdAsk<'_>,
    line: &Line,
    heard: Result<HeardAt, String>,
    events_per_d: Result<Counted, String>,
    is_planned: bool,
) -> ThresholdSide {
    let of = ask.detector;
    let uplinks = (0..line.uplinks.len()).map(|u| {
        let uplink = UplinkIx(u);
        let at_most = paid(line, uplink, MONTH_DAYS * SECONDS_PER_DAY);
        let at_most = at_most.map(|paid| libm::ceil(paid.messages) as u64);
        let expected = match (&events_per_d, is_planned) {
            (Ok(events), _) => expected(ask, line, uplink, *events, at_most.as_ref().ok()),
            // As often as the plan lets it.
            (Err(_), true) => as_it_is(ask, line, uplink, at_most.as_ref().ok()),
            (Err(why), false) => whatever(ask, line, uplink, at_most.as_ref().ok(), why),
        };
        let ashore_s = match (&events_per_d, is_planned) {
            (Ok(events), _) => ashore_s(ask, &expecting(line, of, events.value), uplink),
            (Err(_), true) => ashore_s(ask, line, uplink),
            (Err(why), false) => Err(why.clone()),
        };
        UplinkMonthly {
            uplink: format!("uplink.{}", line.uplinks[u].id),
            expected,
            at_most: at_most.map(|billed| (billed, line.uplinks[u].cost(billed))),
            ashore_s,
        }
    });
    let charge = match (&events_per_d, is_planned) {
        (Ok(events), _) => Ok(charge(ask, &expecting(line, of, events.value))),
        (Err(_), true) => Ok(charge(ask, line)),
        (Err(why), false) => Err(why.clone()),
    };
    ThresholdSide {
        uplinks: uplinks.collect(),
        charge,
        judged: judged(
            ask,
            line,
            |that| matches!(that, That::Recall { of: d, .. } | That::FalseAlarms { of: d, .. } if *d == of),
        ),
        heard,
        events_per_d,
    }
}

fn charge(ask: &ThresholdAsk<'_>, line: &Line) -> Vec<(String, Verdict)> {
    judged(ask, line, |that| {
        matches!(
            that,
            That::LowestCharge { .. }
                | That::OutageHours { .. }
                | That::Autonomy { .. }
                | That::CellLife { .. }
        )
    })
}

/// The worst verdict of each requirement that asks for one.
fn judged(
    ask: &ThresholdAsk<'_>,
    line: &Line,
    asks: impl Fn(&That) -> bool,
) -> Vec<(String, Verdict)> {
    let mut years = Years::new(line, ask.memo, ask.tier);
    let asked = line.requirements.iter().filter(|r| asks(&r.that));
    let worst = asked.filter_map(|r: &Requirement| {
        let all = verdicts(line, r, "", ask.shelf, &mut years);
        let worst = all.into_iter().min_by(Verdict::worse_first)?;
        Some((r.id.clone(), worst))
    });
    worst.collect()
}

fn expected(
    ask: &ThresholdAsk<'_>,
    line: &Line,
    uplink: UplinkIx,
    events: Counted,
    at_most: Option<&u64>,
) -> Result<Expected, String> {
    let with = |per_d: f64| billed(ask, &expecting(line, ask.detector, per_d), uplink, at_most);
    let messages = with(events.value)?;
    let messages_at_high = with(events.high)?;
    let more = with(events.value * A_LITTLE_MORE)?;
    let cost = |messages: f64| line.uplinks[uplink.0].cost(libm::ceil(messages) as u64);
    Ok(Expected {
        messages,
        messages_at_high: Some(messages_at_high),
        cost: cost(messages),
        cost_at_high: cost(messages_at_high),
        held: events.value > 0.0 && more <= messages,
    })
}

/// With the rates that the plan has, of whatever they are.
fn as_it_is(
    ask: &ThresholdAsk<'_>,
    line: &Line,
    uplink: UplinkIx,
    at_most: Option<&u64>,
) -> Result<Expected, String> {
    let messages = billed(ask, line, uplink, at_most)?;
    Ok(Expected {
        messages,
        messages_at_high: None,
        cost: line.uplinks[uplink.0].cost(libm::ceil(messages) as u64),
        cost_at_high: None,
        held: false,
    })
}

/// Of a detector of which nothing is known: what goes up however often it tells, where that is the same.
fn whatever(
    ask: &ThresholdAsk<'_>,
    line: &Line,
    uplink: UplinkIx,
    at_most: Option<&u64>,
    why: &str,
) -> Result<Expected, String> {
    let with = |per_d: f64| as_it_is(ask, &expecting(line, ask.detector, per_d), uplink, at_most);
    match (with(0.0), with(MOST_PER_DAY)) {
        (Ok(none), Ok(most)) if none.messages == most.messages => Ok(none),
        _ => Err(why.to_owned()),
    }
}

/// Billed messages that are expected in a month, never more than the plan lets go.
fn billed(
    ask: &ThresholdAsk<'_>,
    line: &Line,
    uplink: UplinkIx,
    at_most: Option<&u64>,
) -> Result<f64, String> {
    let u = &line.uplinks[uplink.0];
    let alone = u.pack_within_s.is_none_or(|q| q.si <= 0.0) && !bills_failed(u);
    let mean = match alone {
        true => messages(line, uplink, MONTH_DAYS * SECONDS_PER_DAY).map_err(|e| e.to_string())?,
        // Those that share a billed message, and attempts that fail, are drawn.
        false => month(line, uplink, &Shelf::default(), ask.memo)?.mean(),
    };
    Ok(at_most.map_or(mean, |most| mean.min(*most as f64)))
}

fn ashore_s(ask: &ThresholdAsk<'_>, line: &Line, uplink: UplinkIx) -> Result<f64, String> {
    UnderLoad::new(ask.memo).within_s(line, uplink, ASHORE_SHARE)
}
