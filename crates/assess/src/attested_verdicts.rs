//! What documents and dates say: attestations that hold until they expire, and calibrations that are young enough.
//!
//! Both are judged at the worst corner of the slips: an attestation from the planned start to the latest recovery, a calibration at the latest start.

use jiff::{Span, Timestamp, tz::TimeZone};
use plan::{Age, Attestation, Line, SensorIx};
use quantity::{Dimension, SECONDS_PER_DAY, show};

use crate::corners;
use crate::verdict::{Against, Evidence, Side, Verdict, unknown};

/// An attestation that expires, or a calibration that is too old, in less than this is marginal, d.
const NARROW_D: f64 = 14.0;
const METHOD: &str = "calendar dates (docs/method/assess.md)";

/// A day as it is told.
pub(crate) fn day(at: Timestamp) -> String {
    at.strftime("%Y-%m-%d").to_string()
}

fn days(from: Timestamp, to: Timestamp) -> f64 {
    to.duration_since(from).as_secs_f64() / SECONDS_PER_DAY
}

/// The beginning of a day (UTC): a calibration is good for the whole of its last one.
fn day_of(at: Timestamp) -> Timestamp {
    let begins = TimeZone::UTC.to_datetime(at).date().at(0, 0, 0, 0);
    // Only the first day of the calendar has none.
    TimeZone::UTC.to_timestamp(begins).unwrap_or(at)
}

fn later(from: Timestamp, seconds: f64) -> Option<Timestamp> {
    let span = jiff::SignedDuration::try_from_secs_f64(seconds).ok()?;
    from.checked_add(span).ok()
}

/// The latest start, and the slip in words; why it is not known.
fn latest_start(line: &Line) -> Result<(Timestamp, &'static str), String> {
    let of = &line.deployment;
    let start = of.start.ok_or("the plan does not say when it starts")?;
    let (slip_s, said) = match of.start_slip_s {
        Some(q) => (q.si, ""),
        None => (0.0, ", no `start_slip` is written"),
    };
    let latest = later(start, slip_s).ok_or("its dates lie beyond the calendar")?;
    Ok((latest, said))
}

/// The latest recovery, and what of its slips is not written; why it is not known.
pub(crate) fn latest_recovery(line: &Line) -> Result<(Timestamp, String), String> {
    let (latest, said) = latest_start(line)?;
    let longest_s = line.deployment.longest_s();
    let end = later(latest, longest_s).filter(|_| longest_s.is_finite());
    let end = end.ok_or("the plan does not say for how long")?;
    let recovery = match line.deployment.recovery_slip_s {
        Some(_) => "",
        None => ", no `recovery_slip` is written",
    };
    Ok((end, format!("{said}{recovery}")))
}

/// Whether a document attests from the planned start to the latest recovery.
pub(crate) fn attested(line: &Line, id: &str, attested: Option<&Attestation>) -> Verdict {
    let Some(of) = attested else {
        return unknown(
            format!("requirement.{id}"),
            "no document attests it yet: write `attested = { document = \"...\", by = \"...\", date = 2027-01-15, expires = 2028-01-15 }`",
        );
    };
    let subject = of.document.clone();
    let end = latest_recovery(line);
    let ((end, unsaid), Some(start)) = (
        match end {
            Ok(end) => end,
            Err(why) => return unknown(subject, why),
        },
        line.deployment.start,
    ) else {
        return unknown(subject, "the plan does not say when it starts");
    };
    let evidence = Evidence::Attested {
        document: of.document.clone(),
        by: of.by.clone(),
        date: day(of.date),
        expires: of.expires.map(day),
    };
    let against = |narrow| Against {
        side: Side::AtLeast,
        limit: 0.0,
        narrow,
        unit: "d".to_owned(),
    };
    let given = format!("given by {} on {}", of.by, day(of.date));
    let before_d = days(of.date, start);
    match of.expires {
        Some(_) if before_d < 0.0 => {}
        Some(expires) => {
            let why = format!(
                "{given}; it expires on {}, and the latest recovery is on {}{}{unsaid}",
                day(expires),
                day(end),
                corners::at_the_latest_recovery(line)
            );
            return against(NARROW_D).judge(subject, days(end, expires), evidence, why);
        }
        None => {}
    }
    let why = if before_d < 0.0 {
        format!("{given}, after the planned start on {}", day(start))
    } else {
        format!("{given}, so long before the planned start; it does not expire")
    };
    against(0.0).judge(subject, before_d, evidence, why)
}

/// How old the calibration of a hydrophone is at the latest start, of one or of each.
pub(crate) fn calibration_age(line: &Line, of: Option<SensorIx>, at_most: Age) -> Vec<Verdict> {
    let asked: Vec<SensorIx> = match of {
        Some(one) => vec![one],
        None => line.hydrophones().collect(),
    };
    let latest = latest_start(line);
    let each = asked.into_iter().map(|ix| {
        let path = line.sensor_path(ix);
        let Some(calibrated) = &line.sensor(ix).calibrated else {
            let why = "no calibration is written: add `calibrated = { date = 2026-11-02, by = \"...\" }` to it";
            return unknown(path, why);
        };
        let (latest, unsaid) = match &latest {
            Ok(latest) => latest,
            Err(why) => return unknown(path, why.clone()),
        };
        let (date, latest) = (day_of(calibrated.date), &day_of(*latest));
        let age_d = days(date, *latest);
        let by = format!("calibrated on {} by {}", day(date), calibrated.by);
        if age_d < 0.0 {
            let why = format!("it is {by}, after the latest start on {}", day(*latest));
            return unknown(path, why);
        }
        let planned = line.deployment.start.map(day_of);
        if let Some(planned) = planned.filter(|planned| days(date, *planned) < 0.0) {
            let why = format!(
                "it is {by}, after the planned start on {}: a ship that comes on time takes it uncalibrated",
                day(planned)
            );
            return unknown(path, why);
        }
        let (until, words) = match at_most {
            Age::Time(q) => (later(date, q.si), show(q.si, Dimension::Time)),
            Age::Months(months) => {
                let civil = TimeZone::UTC.to_datetime(date);
                let until = civil.checked_add(Span::new().months(i64::from(months)));
                let until = until.and_then(|civil| TimeZone::UTC.to_timestamp(civil));
                let words = match months {
                    1 => "1 calendar month".to_owned(),
                    _ => format!("{months} calendar months"),
                };
                (until.ok(), words)
            }
        };
        let Some(until) = until else {
            return unknown(path, "its dates lie beyond the calendar");
        };
        let why = format!(
            "{by}; {words} from then end on {}, and the latest start is on {}{}{unsaid}",
            day(until),
            day(*latest),
            corners::at_the_latest_start(line)
        );
        let against = Against {
            side: Side::AtMost,
            limit: days(date, until),
            narrow: NARROW_D,
            unit: "d".to_owned(),
        };
        let input = (&path, date.as_second(), latest.as_second(), until.as_second());
        let evidence = Evidence::computed(METHOD, &input);
        against.judge(path, age_d, evidence, why)
    });
    each.collect()
}
