//! How many false alarms may come: what was given, or what the plan leaves.

use hearing::Curve;
use plan::{DetectorIx, Line};
use quantity::{EventRate, SECONDS_PER_DAY};
use report::Allowance;

use super::{Args, TuneError};
use crate::failure::Failure;
use crate::listen;

/// The allowance that was given, or what the plan leaves.
pub(super) fn allowance(
    args: &Args,
    line: &Line,
    detector: DetectorIx,
    curve: &Curve,
) -> Result<Option<Allowance>, Failure> {
    let per_day = |rate: EventRate| rate.count / rate.per_s * SECONDS_PER_DAY;
    let (allowed, from) = match (args.false_alarms, args.real) {
        (Some(rate), _) => (per_day(rate), Vec::new()),
        (None, None) => return Ok(None),
        (None, Some(real)) => left_by_the_plan(line, detector, per_day(real))?,
    };
    let choice = curve
        .choose(allowed / SECONDS_PER_DAY)
        .map_err(|error| TuneError::Limits(error.to_string()))?;
    Ok(Some(Allowance {
        per_day: allowed,
        from,
        choice,
    }))
}

/// False alarms a day that the plan leaves beside so many real events a day, and how that comes about.
fn left_by_the_plan(
    line: &Line,
    detector: DetectorIx,
    real_per_day: f64,
) -> Result<(f64, Vec<String>), Failure> {
    let limits = assess::event_limits(line, detector).map_err(listen::ListenError::from)?;
    let mut from = Vec::new();
    let mut least: Option<(f64, &str)> = None;
    for limit in &limits {
        let Some(events) = limit.events_per_day else {
            from.push(format!("{} does not limit it: {}", limit.from, limit.why));
            continue;
        };
        from.push(format!(
            "{} leaves {events:.2} events a day: {}",
            limit.from, limit.why
        ));
        if least.is_none_or(|(fewest, _)| events < fewest) {
            least = Some((events, &limit.from));
        }
    }
    let Some((events, by)) = least else {
        return Err(TuneError::NoLimit { why: from }.into());
    };
    let left = events - real_per_day;
    from.push(if left > 0.0 {
        format!("{by} leaves fewest; less {real_per_day} real events a day (--real)")
    } else {
        format!("{by} leaves fewest, and {real_per_day} real events a day (--real) take all of it")
    });
    Ok((left.max(0.0), from))
}
