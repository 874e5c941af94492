//! What a range rests on, why there is none and what to do, in words.

use quantity::{Dimension, show, show_number};

use super::under::UnderLaw;
use super::{Asked, Drawn};
use crate::cell_verdicts::MONTHS;
use crate::check::Shelf;
use crate::range::{BY_CHANCE_ALLOWED, RangeError, Sampled, Subject, Wind, hours_of, told};

/// How the hours of the month that counts differ, as the end of a sentence; nothing where it is of no month or the hours are not known.
pub(super) fn over_the_hours(
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
pub(super) fn no_law(subject: &Subject, asked: &Asked) -> String {
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
pub(super) fn rests_on(subject: &Subject, asked: &Asked) -> String {
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

/// In which noise, as the begin of a sentence.
pub(super) fn place(wind: Wind, wind_m_s: f64, most_m_s: Option<f64>) -> String {
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
pub(super) fn by_chance(sampled: &Sampled, share: f64) -> Result<Option<String>, RangeError> {
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
pub(super) fn not_sampled(subject: &Subject, wind_m_s: f64, shelf: &Shelf) -> String {
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
pub(super) fn run_again(subject: &Subject, shelf: &Shelf) -> String {
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
