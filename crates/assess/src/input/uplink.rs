//! Uplinks: as the network steps them, and how their attempts succeed.

use network::{AtCap, BackOff, Cap, Failure, GivesUp, Room, UplinkSpec, Windows};
use plan::{Line, SeaLimit, Uplink, UplinkIx};
use quantity::{Dimension, SECONDS_PER_DAY, show};
use timeline::Ns;

use super::{InputError, ns};

/// Days of a month in which messages are counted and paid.
pub const MONTH_DAYS: f64 = 30.0;

/// An uplink as the network steps it; whether an attempt succeeds is left to the master.
///
/// # Errors
/// [`InputError::Time`]; [`InputError::NotSaid`] for a chance of failure without a back-off.
pub fn uplink_spec(line: &Line, uplink: UplinkIx) -> Result<UplinkSpec, InputError> {
    let u = &line.uplinks[uplink.0];
    let what = || format!("uplink.{}", u.id);
    let backoff = match u.back_off_s {
        Some(q) => ns(what, q.si)?,
        None if never_fails(u) => Ns::ZERO,
        None => {
            return Err(InputError::NotSaid {
                what: what(),
                missing: "its back-off after a failed attempt",
            });
        }
    };
    let backoff = match u.back_off_grows {
        None => BackOff::steady(backoff),
        Some((growth, longest)) => BackOff {
            first: backoff,
            growth,
            longest: ns(what, longest.si)?,
        },
    };
    let windows = match u.windows {
        None => Windows::Always,
        Some(w) => Windows::Every {
            first: ns(what, w.first_s.si)?,
            period: ns(what, w.period_s.si)?,
            width: ns(what, w.width_s.si)?,
        },
    };
    let cap = match u.cap {
        None => None,
        Some((most, then)) => u.affordable(most).map(|messages| (messages, then)),
    };
    let month = ns(what, MONTH_DAYS * SECONDS_PER_DAY)?;
    Ok(UplinkSpec {
        session: ns(what, u.attempt_s())?,
        windows,
        failure: Failure::Asked,
        backoff,
        expiry: u.expiry_s.map(|q| ns(what, q.si)).transpose()?,
        message_bytes: u.message_bytes,
        overhead_bytes: u.overhead_bytes,
        stamp_bytes: u.adds_bytes,
        pack: u.pack_within_s.map(|q| ns(what, q.si)).transpose()?,
        urgent: u.urgent,
        room: u.room.map(|(messages, gives_up)| Room {
            messages: u64::from(messages),
            gives_up: match gives_up {
                plan::GivesUp::Oldest => GivesUp::Oldest,
                plan::GivesUp::Newest => GivesUp::Newest,
            },
        }),
        cap: cap.map(|(messages, then)| Cap {
            month,
            messages,
            then: match then {
                plan::AtCap::Stop => AtCap::Stop,
                plan::AtCap::UrgentOnly => AtCap::UrgentOnly,
            },
        }),
        bills_failed: u.bills_failed == Some(true),
    })
}

const NO_WAVES: &str = "the `wave_height` of the cue sheet, on which its chance of success depends";

/// Whether attempts that fail are billed, in words; none where none fails.
pub(crate) fn failed_attempts_words(u: &Uplink) -> Option<&'static str> {
    if never_fails(u) {
        return None;
    }
    Some(match u.bills_failed {
        Some(true) => "failed attempts are billed like others",
        Some(false) => "failed attempts are free",
        None => "failed attempts count as free, because `failed_attempts` is not written",
    })
}

/// Whether some attempts fail and are billed.
pub(crate) fn bills_failed(u: &Uplink) -> bool {
    u.bills_failed == Some(true) && !never_fails(u)
}

/// Whether every attempt succeeds, in every sea.
pub(crate) fn never_fails(u: &Uplink) -> bool {
    u.success.is_some_and(|q| q.si >= 1.0)
        || !u.success_by.is_empty() && u.success_by.iter().all(|row| row.success.si >= 1.0)
        || u.sea.is_some_and(|sea| sea.high.si >= 1.0)
}

/// How many billed messages a message of so many bytes takes by itself.
#[must_use]
pub(crate) fn billed_alone(u: &Uplink, bytes: u32) -> u64 {
    UplinkSpec {
        overhead_bytes: u.overhead_bytes,
        stamp_bytes: u.adds_bytes,
        ..UplinkSpec::plain(Ns(1), u.message_bytes)
    }
    .billed_alone(bytes)
}

/// Chance that an attempt succeeds in one state of the sea.
///
/// # Errors
/// [`InputError::NotSaid`] when the plan gives no chance, or the wave height on which it depends is not told; [`InputError::Open`] when the sea is
/// rougher than the plan's last row.
pub fn success_at(
    u: &Uplink,
    wind_m_s: f64,
    wave_height_m: Option<f64>,
) -> Result<f64, InputError> {
    if let Some(success) = u.success {
        return Ok(success.si);
    }
    let not_said = |missing| InputError::NotSaid {
        what: format!("uplink.{}", u.id),
        missing,
    };
    if let Some(sea) = u.sea {
        let high = match sea.high_above {
            SeaLimit::Wind(limit) => wind_m_s > limit.si,
            SeaLimit::WaveHeight(limit) => {
                wave_height_m.ok_or_else(|| not_said(NO_WAVES))? > limit.si
            }
        };
        return Ok(if high { sea.high.si } else { sea.calm.si });
    }
    let last = u
        .success_by
        .last()
        .ok_or_else(|| not_said("its chance of success"))?;
    let (now, dimension, of) = match last.up_to {
        SeaLimit::Wind(_) => (wind_m_s, Dimension::Speed, "wind"),
        SeaLimit::WaveHeight(_) => {
            let now = wave_height_m.ok_or_else(|| not_said(NO_WAVES))?;
            (now, Dimension::Length, "wave height")
        }
    };
    let row = u.success_by.iter().find(|row| now <= row.up_to.q().si);
    row.map(|row| row.success.si)
        .ok_or_else(|| InputError::Open {
            what: format!(
                "uplink.{} gives its chance of success up to a {of} of {}, not for {}",
                u.id,
                show(last.up_to.q().si, dimension),
                show(now, dimension)
            ),
        })
}

/// The least chance that an attempt succeeds, and where it holds: up to a wind, or in the mean sea of the roughest month.
///
/// # Errors
/// As [`success_at`]; [`InputError::NotSaid`] when the site gives no such months.
pub(super) fn least_success(
    line: &Line,
    uplink: UplinkIx,
    wind_at_most_m_s: Option<f64>,
) -> Result<(f64, String), InputError> {
    let u = &line.uplinks[uplink.0];
    if let Some(success) = u.success {
        return Ok((success.si, String::new()));
    }
    let by_wind = u
        .success_by
        .first()
        .is_some_and(|row| matches!(row.up_to, SeaLimit::Wind(_)));
    let least_up_to = |roughest: f64| {
        let at = success_at(u, roughest, Some(roughest))?;
        let calmer = u
            .success_by
            .iter()
            .filter(|row| row.up_to.q().si <= roughest);
        Ok(calmer.fold(at, |least, row| least.min(row.success.si)))
    };
    if let (true, Some(wind_m_s)) = (by_wind, wind_at_most_m_s) {
        let how = format!(" in winds up to {}", show(wind_m_s, Dimension::Speed));
        return least_up_to(wind_m_s).map(|chance| (chance, how));
    }
    let (months, missing, dimension, of) = if by_wind {
        let missing = "the `wind` of the site's months, on which its chance of success depends";
        (&line.sea.wind_m_s, missing, Dimension::Speed, "wind")
    } else {
        let missing =
            "the `wave_height` of the site's months, on which its chance of success depends";
        (
            &line.sea.wave_height_m,
            missing,
            Dimension::Length,
            "wave height",
        )
    };
    if u.success_by.is_empty() {
        return success_at(u, 0.0, None).map(|chance| (chance, String::new()));
    }
    let mut least: Option<(f64, f64)> = None;
    for month in months {
        let chance = success_at(u, month.si, Some(month.si))?;
        if least.is_none_or(|(l, _)| chance < l) {
            least = Some((chance, month.si));
        }
    }
    let (chance, at) = least.ok_or_else(|| InputError::NotSaid {
        what: format!("uplink.{}", u.id),
        missing,
    })?;
    Ok((
        chance,
        format!(
            " in the month with the mean {of} of {}",
            show(at, dimension)
        ),
    ))
}
