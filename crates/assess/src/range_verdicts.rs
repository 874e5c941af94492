//! How far detectors find calls, by the counts that lie beside the plan.

use injection::Outer;
use plan::{CallIx, DetectorIx, Line, Q};
use quantity::{Dimension, show};

use crate::check::Shelf;
use crate::range::{INJECTION, InjectionRecord, MonthRange, Subject, doubts, found, month_range};
use crate::verdict::{Against, Evidence, Side, Verdict, unknown};

/// A range within so much of its limit is marginal, m: less than what half a decibel of noise makes of 3 km.
const NARROW_M: f64 = 200.0;
const MONTHS: [&str; 12] = [
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
];

/// What a requirement on a detection range asks.
pub(crate) struct Asked {
    pub(crate) of: DetectorIx,
    pub(crate) call: CallIx,
    pub(crate) at_least_m: Q,
    pub(crate) share: Option<Q>,
    pub(crate) wind_at_most_m_s: Option<Q>,
}

/// Range to which a detector finds a share of the calls of a kind in the worst of the months that count, by the lower limits of
/// the shares that were counted.
pub(crate) fn detection_range(line: &Line, asked: &Asked, shelf: &Shelf) -> Verdict {
    let path = format!("detector.{}", line.detectors[asked.of.0].id);
    let Some(share) = asked.share else {
        return unknown(path, "the requirement names no share of the calls");
    };
    let subject = match Subject::new(line, asked.of, asked.call) {
        Ok(subject) => subject,
        Err(error) => return unknown(path, error.to_string()),
    };
    if !subject.says_its_noise {
        return unknown(
            path,
            format!(
                "{} says nothing of its own noise, which may drown the sea's",
                subject.sensor
            ),
        );
    }
    let most = asked.wind_at_most_m_s.map_or(f64::INFINITY, |q| q.si);
    let winds = subject.wind_m_s.iter().enumerate();
    let counting: Vec<(u8, f64)> = winds
        .filter(|(_, wind)| **wind <= most)
        .map(|(i, wind)| (i as u8 + 1, *wind))
        .collect();
    if counting.is_empty() {
        return unknown(
            path,
            format!("no month has a mean wind of at most {most} m/s"),
        );
    }
    let mut worst: Option<(f64, MonthRange, &InjectionRecord)> = None;
    for &(month, wind_m_s) in &counting {
        let digest = subject.digest(wind_m_s);
        let fresh = shelf
            .injections
            .iter()
            .filter(|r| r.inputs_digest == digest);
        let Some(record) = fresh.max_by_key(|r| (r.calls(), std::cmp::Reverse(r.seed))) else {
            return unknown(path, not_sampled(&subject, month, shelf));
        };
        let range = match record
            .sampled()
            .and_then(|s| month_range(&subject, &s, month, subject.hydrophone_depth_m))
        {
            Ok(range) => range,
            Err(error) => return unknown(path, error.to_string()),
        };
        let range_m = match found(&range, share.si).low {
            Outer::Nowhere => 0.0,
            Outer::At(m) | Outer::Beyond(m) => m,
        };
        if worst.as_ref().is_none_or(|(held, ..)| range_m < *held) {
            worst = Some((range_m, range, record));
        }
    }
    let (range_m, range, record) = worst.expect("some month counts");
    let seen = match found(&range, share.si).seen {
        Outer::Nowhere => "nowhere".to_owned(),
        Outer::At(m) => format!("to {}", show(m.round(), Dimension::Length)),
        Outer::Beyond(m) => format!("beyond {}", show(m, Dimension::Length)),
    };
    let mut why = format!(
        "in {}, at {} m/s of wind, by the lower limits of {} calls at each signal-to-noise ratio; as seen {} are found {seen}",
        MONTHS[usize::from(range.month) - 1],
        range.wind_m_s,
        record.calls(),
        show(share.si, Dimension::Ratio),
    );
    for warning in doubts(&subject, &[found(&range, share.si)]) {
        why.push_str("; ");
        why.push_str(&warning);
    }
    let against = Against {
        side: Side::AtLeast,
        limit: asked.at_least_m.si,
        narrow: NARROW_M,
        unit: "m".to_owned(),
    };
    let evidence = Evidence::Sampled {
        method: INJECTION,
        inputs: record.inputs_digest.clone(),
        draws: record.calls(),
        seed: record.seed,
    };
    against.judge(path, range_m.round(), evidence, why)
}

fn not_sampled(subject: &Subject, month: u8, shelf: &Shelf) -> String {
    let id = |path: &str| path.rsplit('.').next().unwrap_or(path).to_owned();
    let other = shelf
        .injections
        .iter()
        .any(|r| r.detector == subject.detector && r.call == subject.call);
    let why = if other {
        "the detector, its sensor, the call or the noise has changed since calls were put into it"
    } else {
        "no calls have been put into its noise yet"
    };
    let again = shelf
        .range_command
        .as_ref()
        .map_or_else(String::new, |command| {
            format!(
                "; run `{command} --detector {} --call {}`",
                id(&subject.detector),
                id(&subject.call)
            )
        });
    format!("{}: {why}{again}", MONTHS[usize::from(month) - 1])
}
