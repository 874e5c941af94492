//! How far detectors find calls, by the counts that lie beside the plan.

mod under;
mod words;

use chance::each_for_any_of_alike;
use injection::Outer;
use plan::{CallIx, DetectorIx, Encounter, Q};
use quantity::{Dimension, show};

use crate::cell_verdicts::MONTHS;
use crate::check::Shelf;
use crate::mooring_verdicts::Hangs;
use crate::pick_up::KEPT_OUT_UNSAID;
use crate::range::{
    INJECTION, InjectionRecord, Laws, RangeError, Sampled, Subject, Wind, deployment_months,
    doubts, doubts_of_ranges, told,
};
use crate::verdict::{Against, Evidence, Ruling, Side, Verdict, unknown};
use under::{Stands, UnderLaw, under_laws, under_laws_in_hours};
use words::{by_chance, no_law, not_sampled, over_the_hours, place, rests_on, run_again};

/// A range within so much of its limit is marginal, m: less than what half a decibel of noise makes of 3 km.
const NARROW_M: f64 = 200.0;

/// Lines that may fold into a band count as nothing so far below its noise, dB: they then add 0.04 dB (a choice of ours).
const NOTHING_FOLDED_DB: f64 = 20.0;

/// What a requirement on a detection range asks.
pub(crate) struct Asked {
    pub(crate) of: DetectorIx,
    pub(crate) call: CallIx,
    pub(crate) at_least_m: Q,
    pub(crate) share: Option<Q>,
    pub(crate) encounter: Option<Encounter>,
    /// Share of the hours of each month in which it must hold; at the mean wind of each without it.
    pub(crate) in_hours: Option<Q>,
    /// Whether it is a `shall`: then no law that nobody measured decides it alone.
    pub(crate) binding: bool,
    pub(crate) wind_at_most_m_s: Option<Q>,
}

/// Range to which a detector finds a share of the calls of a kind without a gap nearer, by the lower limits of the shares that were
/// counted: at the wind up to which the requirement is to hold, with a fixed threshold also at those below it, or where it names none in the
/// worst month of the deployment.
pub(crate) fn detection_range(hangs: &Hangs<'_>, asked: &Asked, shelf: &Shelf) -> Verdict {
    let line = hangs.line();
    let path = format!("detector.{}", line.detectors[asked.of.0].id);
    let by_rays = line.sea.paths == Some(plan::Paths::Rays);
    if by_rays && !asked.binding {
        return unknown(
            path,
            "the site asks for rays, which the figure of a `should` does not know: on the spreading law alone nothing is judged (`soundline paths` shows the rays, and a `shall` is judged under them and every law)",
        );
    }
    let laws = match asked.binding {
        true => Laws::All,
        false => Laws::Own,
    };
    let subject = match Subject::of(hangs, asked.of, asked.call, laws) {
        Ok(subject) => subject,
        Err(error) => return unknown(path, error.to_string()),
    };
    if let (true, Err(why)) = (by_rays, &subject.rays) {
        return unknown(
            path,
            format!(
                "the site asks for rays, and none can be followed: {why}; on laws of spreading alone nothing is judged"
            ),
        );
    }
    if let Some(why) = subject.other_sound() {
        return unknown(path, why);
    }
    let winds: Vec<Wind> = match asked.wind_at_most_m_s {
        Some(most) => subject.winds_up_to(most.si, &deployment_months(line)),
        None => deployment_months(line)
            .into_iter()
            .map(Wind::OfMonth)
            .collect(),
    };
    let verdict = judged(&subject, asked, &winds, shelf).unwrap_or_else(|why| unknown(&path, why));
    let Some(unsaid) = unsaid(&subject, &winds) else {
        return verdict;
    };
    // What is known of its noise is the least that there is: over a background a range can be broken by it, and not kept. Over a fixed
    // threshold more noise may carry more calls.
    match verdict {
        Verdict::Known(mut known)
            if known.ruling == Ruling::Broken && subject.over_background() =>
        {
            known
                .why
                .push_str(&format!("; {}, so this is the most it can be", unsaid.what));
            Verdict::Known(known)
        }
        Verdict::Known(_) | Verdict::Provisional(_) | Verdict::Unknown { .. } => unknown(
            path,
            format!(
                "{}, {}{}",
                unsaid.what,
                unsaid.so,
                if subject.over_background() {
                    ""
                } else {
                    ", and without a background may carry more calls over the threshold as well as fewer"
                }
            ),
        ),
    }
}

/// What of the noise is not known, and what follows, both in words.
struct Unsaid {
    what: String,
    so: String,
}

/// Why the noise in which calls were drawn is only the least that there is; `None` where it is all. A wind for which the formula of the
/// sea does not hold has no figure, and says so there.
fn unsaid(subject: &Subject, winds: &[Wind]) -> Option<Unsaid> {
    if !subject.says_its_noise {
        return Some(Unsaid {
            what: format!(
                "{} does not say all of its own noise (`self_noise`)",
                subject.sensor
            ),
            so: "which may drown the sea's".to_owned(),
        });
    }
    let below = winds.iter().filter_map(|wind| {
        let wind_m_s = wind.m_s(subject).ok()?;
        subject.doubtful_below_db(wind_m_s).ok()?
    });
    let least_db = below
        .reduce(f64::min)
        .filter(|db| *db < NOTHING_FOLDED_DB)?;
    Some(Unsaid {
        what: format!(
            "lines of electronics that may fold into what {} passes are not in the noise",
            subject.detector
        ),
        so: format!("of which they lie {least_db:.1} dB below; {KEPT_OUT_UNSAID}"),
    })
}

/// Counts in the noise of a wind.
struct Drawn<'s> {
    wind: Wind,
    place: String,
    record: &'s InjectionRecord,
    sampled: Sampled,
}

/// Where a range must hold in a share of the hours: the month of a wind and the wind that so many of its hours stay below, m/s.
fn windy(subject: &Subject, asked: &Asked, wind: Wind) -> Result<Option<(u8, f64)>, String> {
    let Some((share, month)) = asked.in_hours.zip(wind.month()) else {
        return Ok(None);
    };
    let winds = subject.hour_winds.as_ref().map_err(String::clone)?;
    Ok(Some((month, winds.at_share_below(&[month], share.si))))
}

/// The counts in the noise of each wind.
fn drawn<'s>(
    subject: &Subject,
    asked: &Asked,
    winds: &[Wind],
    share: f64,
    shelf: &'s Shelf,
) -> Result<Vec<Drawn<'s>>, String> {
    let words = |error: RangeError| error.to_string();
    let mut all = Vec::new();
    for &wind in winds {
        // Where the formula of the noise does not hold no calls can be drawn either.
        let wind_m_s = wind.m_s(subject).map_err(words)?;
        let most_m_s = asked.wind_at_most_m_s.map(|q| q.si);
        let place = match windy(subject, asked, wind)? {
            Some((month, windy_m_s)) => format!(
                "in {}, at {windy_m_s:.1} m/s of wind, below which {} of its hours stay",
                MONTHS[usize::from(month) - 1],
                asked
                    .in_hours
                    .map_or_else(String::new, |q| show(q.si, Dimension::Ratio))
            ),
            None => place(wind, wind_m_s, most_m_s),
        };
        subject.noise_level_db(wind_m_s).map_err(words)?;
        let digest = subject.digest(wind_m_s).map_err(words)?;
        let fresh = shelf
            .injections
            .iter()
            .filter(|r| r.inputs_digest == digest);
        let Some(record) = fresh.max_by_key(|r| (r.calls(), std::cmp::Reverse(r.seed))) else {
            return Err(format!(
                "{place}: {}",
                not_sampled(subject, wind_m_s, shelf)
            ));
        };
        let sampled = record.sampled().map_err(words)?;
        if let Some(why) = by_chance(&sampled, share).map_err(words)? {
            let again = run_again(subject, shelf);
            return Err(format!("{place}: {why}{again}"));
        }
        all.push(Drawn {
            wind,
            place,
            record,
            sampled,
        });
    }
    Ok(all)
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
    let drawn = drawn(subject, asked, winds, share, shelf)?;
    let (laws, apart_db) = match asked.in_hours {
        Some(_) => {
            let (laws, apart_db) = under_laws_in_hours(subject, asked, &drawn, share)?;
            (laws, Some(apart_db))
        }
        None => {
            let laws = under_laws(subject, asked, &drawn, share);
            (laws.map_err(|error| error.to_string())?, None)
        }
    };
    let nearer = |a: &UnderLaw<'_>, b: &UnderLaw<'_>| a.low_m().total_cmp(&b.low_m());
    let worst = laws.iter().min_by(|a, b| nearer(a, b));
    let best = laws.iter().max_by(|a, b| nearer(a, b));
    let (worst, best) = worst.zip(best).expect("a way of sound is always one law");
    let found = &worst.worst.found;
    let Drawn { place, record, .. } = &drawn[worst.worst.wind];
    let mut why = format!(
        "{}, by the lower limits of {} calls at each signal-to-noise ratio; as seen {} are found {}",
        place,
        record.calls(),
        show(share, Dimension::Ratio),
        told(found.unbroken_seen),
    );
    if let Some(apart_db) = apart_db {
        why.push_str(&format!(
            "; these were drawn in noise of other winds, up to {apart_db:.1} dB from it"
        ));
    }
    if let Some(of_calls) = asked.encounter {
        why.push_str(&format!(
            "; that many of single calls leave {} of encounters of {} calls with some that is found, of whose variance {} is common to them (beta-binomial)",
            show(wanted, Dimension::Ratio),
            of_calls.calls,
            show(of_calls.correlation, Dimension::Ratio),
        ));
    }
    let every = |stands| laws.iter().all(|law| law.stands == stands);
    let alike = [Stands::Kept, Stands::Broken].into_iter().any(every);
    if !alike && laws.iter().any(|l| l.stands == Stands::Broken) {
        let limit = show(asked.at_least_m.si, Dimension::Length);
        return Err(format!(
            "{}, {}, limit {limit} ({place}, by the lower limits of {} calls at each signal-to-noise ratio): {}{}",
            best.told(),
            worst.told(),
            record.calls(),
            no_law(subject, asked),
            if worst.low_m() > 0.0 {
                format!(
                    ", or ask for at most {}",
                    show(worst.low_m().floor(), Dimension::Length)
                )
            } else {
                String::new()
            }
        ));
    }
    if laws.len() > 1 {
        let own = laws.iter().find(|under| under.law.own);
        let own = own.filter(|own| ![worst.law, best.law].contains(&own.law));
        why.push_str(&format!(
            "; under {}{}, of which {} is the worst: {}{}",
            if subject.local.is_some() {
                "the measured law at the ends of its uncertainty, with every law from 15 to 20 lg r where it ends"
            } else {
                "every law from 15 to 20 lg r"
            },
            if subject.rays.is_ok() {
                " and by rays through the profile"
            } else {
                ""
            },
            worst.law.words,
            best.told(),
            own.map_or_else(String::new, |own| format!(", {}", own.told())),
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
    why.push_str(&rests_on(subject, asked));
    if let (false, Some(from_m), Some(to_m)) = (
        asked.binding,
        subject.depth_ends_m.iter().copied().reduce(f64::min),
        subject.depth_ends_m.iter().copied().reduce(f64::max),
    ) {
        let own_m = subject.hydrophone_depth_m;
        why.push_str(&format!(
            "; over the design cases the hydrophone hangs at {} to {}, and with the image of the surface its depth decides the range: this is that at {}",
            show(from_m.min(own_m), Dimension::Length),
            show(to_m.max(own_m), Dimension::Length),
            show(own_m, Dimension::Length),
        ));
    }
    why.push_str(&over_the_hours(subject, worst, &drawn, share));
    if asked.wind_at_most_m_s.is_some() && winds.len() > 1 {
        why.push_str(&format!(
            "; with a fixed threshold less noise may carry fewer calls over it, so this is the worst of {} winds: a calm, the means of months below the limit, and the limit",
            winds.len()
        ));
    }
    let doubts = if asked.binding {
        doubts_of_ranges(&[*found])
    } else {
        doubts(subject, &[*found])
    };
    for warning in doubts {
        why.push_str("; ");
        why.push_str(&warning);
    }
    if !alike {
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
    // The counts are those of the record; what makes ranges of them is the plan's.
    let evidence = Evidence::sampled(
        INJECTION,
        &(&record.inputs_digest, subject.makes_ranges()),
        record.calls(),
        record.seed,
    );
    let range_m = worst.low_m();
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
