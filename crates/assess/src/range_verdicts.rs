//! How far detectors find calls, by the counts that lie beside the plan.

use injection::Outer;
use plan::{CallIx, DetectorIx, Line, Q};
use quantity::{Dimension, show};

use crate::cell_verdicts::MONTHS;
use crate::check::Shelf;
use crate::range::{
    BY_CHANCE_ALLOWED, Found, INJECTION, InjectionRecord, RangeError, Sampled, Subject, doubts,
    found, month_range, told,
};
use crate::verdict::{Against, Evidence, Side, Verdict, unknown};

/// A range within so much of its limit is marginal, m: less than what half a decibel of noise makes of 3 km.
const NARROW_M: f64 = 200.0;

/// What a requirement on a detection range asks.
pub(crate) struct Asked {
    pub(crate) of: DetectorIx,
    pub(crate) call: CallIx,
    pub(crate) at_least_m: Q,
    pub(crate) share: Option<Q>,
    pub(crate) wind_at_most_m_s: Option<Q>,
}

/// Range to which a detector finds a share of the calls of a kind without a gap nearer, in the worst of the months that count, by
/// the lower limits of the shares that were counted.
pub(crate) fn detection_range(line: &Line, asked: &Asked, shelf: &Shelf) -> Verdict {
    let path = format!("detector.{}", line.detectors[asked.of.0].id);
    let Some(share) = asked.share else {
        return unknown(path, "the requirement names no share of the calls");
    };
    if line.sea.paths == Some(plan::Paths::Rays) {
        return unknown(
            path,
            "the site asks for rays, which ranges do not know: on the spreading law alone nothing is judged (`soundline paths` shows the rays)",
        );
    }
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
    let mut worst: Option<(Found, u8, f64, &InjectionRecord)> = None;
    for &(month, wind_m_s) in &counting {
        let digest = subject.digest(wind_m_s);
        let fresh = shelf
            .injections
            .iter()
            .filter(|r| r.inputs_digest == digest);
        let Some(record) = fresh.max_by_key(|r| (r.calls(), std::cmp::Reverse(r.seed))) else {
            return unknown(path, not_sampled(&subject, month, shelf));
        };
        let range = record.sampled().and_then(|s| {
            let range = month_range(&subject, &s, Some(month), subject.hydrophone_depth_m)?;
            Ok((by_chance(&s, share.si)?, range))
        });
        let range = match range {
            Ok((None, range)) => range,
            Ok((Some(why), _)) => {
                let again = run_again(&subject, shelf);
                return unknown(path, format!("{}: {why}{again}", name(month)));
            }
            Err(error) => return unknown(path, error.to_string()),
        };
        let here = found(&range, share.si);
        if worst
            .as_ref()
            .is_none_or(|(held, ..)| at_least_m(here.unbroken_low) < at_least_m(held.unbroken_low))
        {
            worst = Some((here, month, wind_m_s, record));
        }
    }
    let (found, month, wind_m_s, record) = worst.expect("some month counts");
    let mut why = format!(
        "in {}, at {} m/s of wind, by the lower limits of {} calls at each signal-to-noise ratio; as seen {} are found {}",
        name(month),
        wind_m_s,
        record.calls(),
        show(share.si, Dimension::Ratio),
        told(found.unbroken_seen),
    );
    if let Outer::Beyond(m) = found.unbroken_low {
        let far = show(m, Dimension::Length);
        if asked.at_least_m.si > m {
            return unknown(
                path,
                format!(
                    "{why}; by the lower limits at least to {far}, and what lies beyond is not computed"
                ),
            );
        }
        why.push_str(&format!("; the value is at least {far}"));
    }
    for warning in doubts(&subject, &[found]) {
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
    let range_m = at_least_m(found.unbroken_low);
    against.judge(path, range_m.round(), evidence, why)
}

fn at_least_m(outer: Outer) -> f64 {
    match outer {
        Outer::Nowhere => 0.0,
        Outer::At(m) | Outer::Beyond(m) => m,
    }
}

fn name(month: u8) -> &'static str {
    MONTHS[usize::from(month) - 1]
}

/// Why a share says nothing where events in the noise alone may make up too much of it; `None` where they do not.
fn by_chance(sampled: &Sampled, share: f64) -> Result<Option<String>, RangeError> {
    let (_, high) = sampled.by_chance_limits()?;
    let allowed = BY_CHANCE_ALLOWED * share;
    if high <= allowed {
        return Ok(None);
    }
    let (found, calls) = (sampled.by_chance, sampled.calls());
    let remedy = if found as f64 > allowed * calls as f64 {
        "raise the detector's threshold"
    } else {
        "put in more calls (`--calls`) or raise the detector's threshold"
    };
    Ok(Some(format!(
        "at {found} of {calls} places of calls the noise alone gave an event, which may be {:.1} % of all, and more than a tenth of the share asked, {:.1} %, is taken to say nothing of calls (judgement): {remedy}",
        100.0 * high,
        100.0 * allowed,
    )))
}

fn not_sampled(subject: &Subject, month: u8, shelf: &Shelf) -> String {
    let other = shelf
        .injections
        .iter()
        .any(|r| r.detector == subject.detector && r.call == subject.call);
    let why = if other {
        "the detector, its sensor, the call or the noise has changed since calls were put into it"
    } else {
        "no calls have been put into its noise yet"
    };
    format!("{}: {why}{}", name(month), run_again(subject, shelf))
}

/// The command that puts calls into noise, as the end of a sentence.
fn run_again(subject: &Subject, shelf: &Shelf) -> String {
    let id = |path: &str| path.rsplit('.').next().unwrap_or(path).to_owned();
    shelf
        .range_command
        .as_ref()
        .map_or_else(String::new, |command| {
            format!(
                "; run `{command} --detector {} --call {}`",
                id(&subject.detector),
                id(&subject.call)
            )
        })
}
