//! How far detectors find calls, by the counts that lie beside the plan.

use chance::each_for_any_of_alike;
use injection::Outer;
use plan::{CallIx, DetectorIx, Encounter, Line, Q};
use quantity::{Dimension, show, show_number};

use crate::cell_verdicts::MONTHS;
use crate::check::Shelf;
use crate::range::{
    BY_CHANCE_ALLOWED, Found, INJECTION, InjectionRecord, RangeError, Sampled, Subject, Wind,
    deployment_months, doubts, found, month_range, told,
};
use crate::verdict::{Against, Evidence, Ruling, Side, Verdict, unknown};

/// A range within so much of its limit is marginal, m: less than what half a decibel of noise makes of 3 km.
const NARROW_M: f64 = 200.0;

/// What a requirement on a detection range asks.
pub(crate) struct Asked {
    pub(crate) of: DetectorIx,
    pub(crate) call: CallIx,
    pub(crate) at_least_m: Q,
    pub(crate) share: Option<Q>,
    pub(crate) encounter: Option<Encounter>,
    pub(crate) wind_at_most_m_s: Option<Q>,
}

/// Range to which a detector finds a share of the calls of a kind without a gap nearer, by the lower limits of the shares that were
/// counted: at the wind up to which the requirement is to hold, with a fixed threshold also at those below it, or where it names none in the
/// worst month of the deployment.
pub(crate) fn detection_range(line: &Line, asked: &Asked, shelf: &Shelf) -> Verdict {
    let path = format!("detector.{}", line.detectors[asked.of.0].id);
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
    let winds: Vec<Wind> = match asked.wind_at_most_m_s {
        Some(most) => subject.winds_up_to(most.si, &deployment_months(line)),
        None => deployment_months(line)
            .into_iter()
            .map(Wind::OfMonth)
            .collect(),
    };
    let verdict = judged(&subject, asked, &winds, shelf).unwrap_or_else(|why| unknown(&path, why));
    if subject.says_its_noise {
        return verdict;
    }
    // What is known of its noise is the least that there is: over a background a range can be broken by it, and not kept. Over a fixed
    // threshold more noise may carry more calls.
    match verdict {
        Verdict::Known(mut known)
            if known.ruling == Ruling::Broken && subject.over_background() =>
        {
            known.why.push_str(&format!(
                "; {} does not say all of its own noise (`self_noise`), so this is the most it can be",
                subject.sensor
            ));
            Verdict::Known(known)
        }
        Verdict::Known(_) | Verdict::Provisional(_) | Verdict::Unknown { .. } => unknown(
            path,
            format!(
                "{} does not say all of its own noise (`self_noise`), which may drown the sea's{}",
                subject.sensor,
                if subject.over_background() {
                    ""
                } else {
                    ", and without a background may carry more calls over the threshold as well as fewer"
                }
            ),
        ),
    }
}

/// What came of the worst of some winds.
struct Worst<'s> {
    found: Found,
    place: String,
    record: &'s InjectionRecord,
}

fn judged(
    subject: &Subject,
    asked: &Asked,
    winds: &[Wind],
    shelf: &Shelf,
) -> Result<Verdict, String> {
    let wanted = asked
        .share
        .ok_or("the requirement names no share of the calls")?
        .si;
    let share = of_each_call(wanted, asked.encounter)?;
    let mut each: Vec<Worst<'_>> = Vec::new();
    for &wind in winds {
        // Where the formula of the noise does not hold no calls can be drawn either.
        let words = |error: RangeError| error.to_string();
        let wind_m_s = wind.m_s(subject).map_err(words)?;
        let most_m_s = asked.wind_at_most_m_s.map(|q| q.si);
        let place = || place(wind, wind_m_s, most_m_s);
        subject.noise_level_db(wind_m_s).map_err(words)?;
        let digest = subject.digest(wind_m_s).map_err(words)?;
        let fresh = shelf
            .injections
            .iter()
            .filter(|r| r.inputs_digest == digest);
        let Some(record) = fresh.max_by_key(|r| (r.calls(), std::cmp::Reverse(r.seed))) else {
            return Err(format!(
                "{}: {}",
                place(),
                not_sampled(subject, wind_m_s, shelf)
            ));
        };
        let sampled = record.sampled().map_err(words)?;
        if let Some(why) = by_chance(&sampled, share).map_err(words)? {
            let again = run_again(subject, shelf);
            return Err(format!("{}: {why}{again}", place()));
        }
        let depth_m = subject.hydrophone_depth_m;
        let range = month_range(subject, &sampled, wind.month(), depth_m).map_err(words)?;
        let found = found(&range, share);
        each.push(Worst {
            found,
            place: place(),
            record,
        });
    }
    let low = |w: &&Worst<'_>| at_least_m(w.found.unbroken_low);
    let seen = |w: &&Worst<'_>| at_least_m(w.found.unbroken_seen);
    let least = |of: fn(&&Worst<'_>) -> f64| {
        let mut all = each.iter();
        let first = all.next().expect("a deployment has months");
        all.fold(
            first,
            |least, one| {
                if of(&one) < of(&least) { one } else { least }
            },
        )
    };
    let shown = least(low);
    // What is not even seen is broken; what is seen and not shown by so many calls is neither.
    let unseen = Some(least(seen)).filter(|w| seen(w) < asked.at_least_m.si);
    let Worst {
        found,
        place,
        record,
    } = unseen.unwrap_or(shown);
    let mut why = format!(
        "{}, by the lower limits of {} calls at each signal-to-noise ratio; as seen {} are found {}",
        place,
        record.calls(),
        show(share, Dimension::Ratio),
        told(found.unbroken_seen),
    );
    if let Some(of_calls) = asked.encounter {
        why.push_str(&format!(
            "; that many of single calls leave {} of encounters of {} calls with some that is found, of whose variance {} is common to them (beta-binomial)",
            show(wanted, Dimension::Ratio),
            of_calls.calls,
            show(of_calls.correlation, Dimension::Ratio),
        ));
    }
    if let Outer::Beyond(m) = found.unbroken_low {
        let far = show(m, Dimension::Length);
        if asked.at_least_m.si > m {
            return Err(format!(
                "{why}; by the lower limits at least to {far}, and what lies beyond is not computed"
            ));
        }
        why.push_str(&format!("; the value is at least {far}"));
    }
    if asked.wind_at_most_m_s.is_some() && winds.len() > 1 {
        why.push_str(&format!(
            "; with a fixed threshold less noise may carry fewer calls over it, so this is the worst of {} winds: a calm, the means of months below the limit, and the limit",
            winds.len()
        ));
    }
    for warning in doubts(subject, &[*found]) {
        why.push_str("; ");
        why.push_str(&warning);
    }
    if unseen.is_none() && at_least_m(found.unbroken_low) < asked.at_least_m.si {
        return Err(format!(
            "{why}; by the lower limits only {}: too few calls to tell, and more of them (`--calls`) bring the two together{}",
            told(found.unbroken_low),
            run_again(subject, shelf)
        ));
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
    Ok(against.judge(subject.detector.clone(), range_m.round(), evidence, why))
}

/// The share of single calls that leaves a wanted share of encounters with some call that is found.
fn of_each_call(wanted: f64, encounter: Option<Encounter>) -> Result<f64, String> {
    match encounter {
        None => Ok(wanted),
        Some(of) => each_for_any_of_alike(wanted, of.calls, of.correlation)
            .map_err(|error| error.to_string()),
    }
}

/// In which noise, as the begin of a sentence.
fn place(wind: Wind, wind_m_s: f64, most_m_s: Option<f64>) -> String {
    let shown = show_number(wind_m_s);
    match wind {
        Wind::OfMonth(month) => format!(
            "in {}, at {shown} m/s of wind",
            MONTHS[usize::from(month) - 1]
        ),
        Wind::AtMost(_) if most_m_s == Some(wind_m_s) => {
            format!("at {shown} m/s of wind, the most in which it is to hold")
        }
        Wind::AtMost(_) => {
            format!("at {shown} m/s of wind, the least in which it is to hold")
        }
    }
}

fn at_least_m(outer: Outer) -> f64 {
    match outer {
        Outer::Nowhere => 0.0,
        Outer::At(m) | Outer::Beyond(m) => m,
    }
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

/// Why there are no counts in the noise of a wind: they were never drawn, or of something else.
fn not_sampled(subject: &Subject, wind_m_s: f64, shelf: &Shelf) -> String {
    let drawn = shelf.injections.iter().any(|r| {
        r.detector == subject.detector && r.call == subject.call && r.wind_m_s() == wind_m_s
    });
    let why = if drawn {
        "the detector, its sensor, the call or the noise has changed since calls were put into it"
    } else {
        "no calls have been drawn in this noise yet"
    };
    format!("{why}{}", run_again(subject, shelf))
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
