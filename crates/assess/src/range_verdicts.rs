//! How far detectors find calls, by the counts that lie beside the plan.

use chance::each_for_any_of_alike;
use injection::Outer;
use plan::{CallIx, DetectorIx, Encounter, Q};
use quantity::{Dimension, show, show_number};

use crate::cell_verdicts::MONTHS;
use crate::check::Shelf;
use crate::mooring_verdicts::Hangs;
use crate::pick_up::KEPT_OUT_UNSAID;
use crate::range::{
    BY_CHANCE_ALLOWED, Found, INJECTION, InjectionRecord, Laws, RangeError, Sampled, Subject,
    SurveyLaw, Wind, at_least_m, deployment_months, doubts, doubts_of_ranges, found, hours_of,
    month_range, reaches, reaches_in, told,
};
use crate::verdict::{Against, Evidence, Ruling, Side, Verdict, unknown};

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
    if let Some(why) = of_other_sound(&subject) {
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

/// Why a measured law says nothing of the call; `None` where it does, or none was measured.
fn of_other_sound(subject: &Subject) -> Option<String> {
    let local = subject.local.as_ref()?;
    let (low_hz, high_hz) = subject.call_band_hz;
    let inside = local.band_hz.0 <= low_hz && high_hz <= local.band_hz.1;
    let range = |(low, high): (f64, f64)| {
        format!(
            "{} to {}",
            show(low, Dimension::Frequency),
            show(high, Dimension::Frequency)
        )
    };
    (!inside).then(|| {
        format!(
            "{}, in {}, and the call lies in {}: bed, surface and the depth of the water carry other frequencies otherwise; a loss measured there settles it",
            local.words,
            range(local.band_hz),
            range(subject.call_band_hz)
        )
    })
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

/// What came of one wind under one law.
#[derive(Clone, Copy)]
struct Came {
    found: Found,
    /// Which wind of those that were drawn.
    wind: usize,
}

/// Counts in the noise of a wind.
struct Drawn<'s> {
    wind: Wind,
    place: String,
    record: &'s InjectionRecord,
    sampled: Sampled,
}

/// How a law stands to a limit.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Stands {
    /// Found so far by the lower limits.
    Kept,
    /// Not even seen so far.
    Broken,
    /// Seen, and not shown by so few calls.
    TooFew,
    /// The limit lies beyond what is computed.
    Beyond,
}

/// Where all winds are looked at under one law: the one that counts.
struct UnderLaw<'l> {
    law: &'l SurveyLaw,
    worst: Came,
    stands: Stands,
}

impl<'l> UnderLaw<'l> {
    /// The worst of the winds: what is not even seen is broken, else the nearest by the lower limits.
    fn new(law: &'l SurveyLaw, each: &[Came], limit_m: f64) -> Self {
        let low_m = |c: &Came| at_least_m(c.found.unbroken_low);
        let seen_m = |c: &Came| at_least_m(c.found.unbroken_seen);
        let least = |of: &dyn Fn(&Came) -> f64| {
            let nearer = |a: Came, b: &Came| if of(b) < of(&a) { *b } else { a };
            let first = *each.first().expect("a deployment has months");
            each[1..].iter().fold(first, nearer)
        };
        let unseen = Some(least(&seen_m)).filter(|c| {
            // What is still seen as far as is computed may reach any limit.
            seen_m(c) < limit_m && !matches!(c.found.unbroken_seen, Outer::Beyond(_))
        });
        let worst = unseen.unwrap_or_else(|| least(&low_m));
        let stands = match (unseen, worst.found.unbroken_low) {
            (Some(_), _) => Stands::Broken,
            (None, Outer::Beyond(m)) if limit_m > m => Stands::Beyond,
            (None, low) if at_least_m(low) < limit_m => Stands::TooFew,
            (None, _) => Stands::Kept,
        };
        Self { law, worst, stands }
    }

    fn low_m(&self) -> f64 {
        at_least_m(self.worst.found.unbroken_low)
    }

    fn told(&self) -> String {
        format!(
            "{} under {}",
            told(self.worst.found.unbroken_low),
            self.law.words
        )
    }
}

/// Where a range must hold in a share of the hours: the month of a wind and the wind that so many of its hours stay below, m/s.
fn windy(subject: &Subject, asked: &Asked, wind: Wind) -> Result<Option<(u8, f64)>, String> {
    let Some((share, month)) = asked.in_hours.zip(wind.month()) else {
        return Ok(None);
    };
    let winds = subject.hour_winds.as_ref().map_err(String::clone)?;
    Ok(Some((month, winds.at_share_below(&[month], share.si))))
}

/// Each law that counts where a range must hold in a share of the hours, in the winds that so many of them stay below: over a background less wind is less noise, and no
/// fewer calls are found.
fn under_laws_in_hours<'s>(
    subject: &'s Subject,
    asked: &Asked,
    drawn: &[Drawn<'_>],
    share: f64,
) -> Result<Vec<UnderLaw<'s>>, String> {
    let sampled: Vec<&Sampled> = drawn.iter().map(|d| &d.sampled).collect();
    let laws = subject.laws.iter().filter(|law| asked.binding || law.own);
    laws.map(|law| {
        let mut each = Vec::new();
        for (wind, d) in drawn.iter().enumerate() {
            let Some((_, windy_m_s)) = windy(subject, asked, d.wind)? else {
                continue;
            };
            let ([seen, low], _) = reaches_in(subject, law, windy_m_s, &sampled)?;
            each.push(Came {
                found: Found::new(&seen, &low, share),
                wind,
            });
        }
        Ok(UnderLaw::new(law, &each, asked.at_least_m.si))
    })
    .collect()
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

/// Each law that counts: for what is only advised that of the plan, else all that are looked at.
fn under_laws<'s>(
    subject: &'s Subject,
    asked: &Asked,
    drawn: &[Drawn<'_>],
    share: f64,
) -> Result<Vec<UnderLaw<'s>>, RangeError> {
    let (depth_m, limit_m) = (subject.hydrophone_depth_m, asked.at_least_m.si);
    if !asked.binding {
        let each = drawn.iter().enumerate().map(|(wind, d)| {
            let range = month_range(subject, &d.sampled, d.wind.month(), depth_m)?;
            Ok(Came {
                found: found(&range, share),
                wind,
            })
        });
        let each: Vec<Came> = each.collect::<Result<_, RangeError>>()?;
        return Ok(vec![UnderLaw::new(subject.own(), &each, limit_m)]);
    }
    let mut by_law: Vec<Vec<Came>> = vec![Vec::new(); subject.laws.len()];
    for (wind, d) in drawn.iter().enumerate() {
        for (came, (seen, low)) in by_law
            .iter_mut()
            .zip(reaches(subject, &d.sampled, depth_m)?)
        {
            came.push(Came {
                found: Found::new(&seen, &low, share),
                wind,
            });
        }
    }
    let laws = subject.laws.iter().zip(&by_law);
    Ok(laws
        .map(|(law, each)| UnderLaw::new(law, each, limit_m))
        .collect())
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
    let laws = match asked.in_hours {
        Some(_) => under_laws_in_hours(subject, asked, &drawn, share)?,
        None => under_laws(subject, asked, &drawn, share).map_err(|error| error.to_string())?,
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
    let evidence = Evidence::Sampled {
        method: INJECTION,
        inputs: record.inputs_digest.clone(),
        draws: record.calls(),
        seed: record.seed,
    };
    let range_m = worst.low_m();
    Ok(against.judge(subject.detector.clone(), range_m.round(), evidence, why))
}

/// How the hours of the month that counts differ, as the end of a sentence; nothing where it is of no month or the hours are not known.
fn over_the_hours(
    subject: &Subject,
    under: &UnderLaw<'_>,
    drawn: &[Drawn<'_>],
    share: f64,
) -> String {
    let month = drawn[under.worst.wind].wind.month();
    let (Some(month), Ok(winds)) = (month, &subject.hour_winds) else {
        return String::new();
    };
    let sampled: Vec<&Sampled> = drawn.iter().map(|d| &d.sampled).collect();
    let Ok([p10, p50, p90]) = hours_of(subject, under.law, (winds, month), &sampled, share) else {
        return String::new();
    };
    format!(
        "; over the hours of {}'s wind {} (P10: nine tenths of the hours exceed it), {} (P50), {} (P90)",
        MONTHS[usize::from(month) - 1],
        told(p10),
        told(p50),
        told(p90)
    )
}

/// Why laws that differ leave it open, and what would settle it.
fn no_law(subject: &Subject, asked: &Asked) -> String {
    let limit = show(asked.at_least_m.si, Dimension::Length);
    match &subject.local {
        Some(local) if local.farthest_m < asked.at_least_m.si => format!(
            "{}, and which law holds beyond is not known. A loss measured to {limit} settles it (`loss_measured`)",
            local.words
        ),
        Some(local) => format!(
            "{}, and not surely enough to tell. A measurement of less uncertainty settles it (`loss_measured`)",
            local.words
        ),
        None => format!(
            "which law of spreading holds here nobody has measured. A loss measured at the place to {limit} settles it (`spreading = \"measured\"` with `loss_measured`)"
        ),
    }
}

/// What a range rests on beside the counts, as the end of a sentence.
fn rests_on(subject: &Subject, asked: &Asked) -> String {
    let law = match &subject.local {
        Some(local) => match &local.season {
            Some(season) => format!("{}; {season}", local.words),
            None => local.words.clone(),
        },
        None if asked.binding => return String::new(),
        None => format!(
            "it rests on {}, which nobody has measured here",
            subject.own_law()
        ),
    };
    format!("; {law}, and the noise is that of a formula")
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
