//! A value that was measured, beside the one that is calculated or in its place.
//!
//! Its uncertainty is counted against it: what is judged is the end of the interval (k = 2) that lies nearer to the limit, or beyond it. One
//! that is dated after the latest recovery cannot be of the deployment, and does not count.

use jiff::Timestamp;
use plan::{Limits, Line, Measurement, Requirement, That};
use quantity::{Dimension, SECONDS_PER_DAY, show};

use crate::attested_verdicts::{day, latest_recovery};
use crate::cell_verdicts::NARROW_AUTONOMY_D;
use crate::delay_verdicts::NARROW_S as NARROW_DELAY_S;
use crate::highest_voltage::highest_given;
use crate::mooring_verdicts::{CIRCLE_M, DEPTH_M, FORCE_N};
use crate::power_verdicts::{NARROW_A, NARROW_V};
use crate::reserve_verdicts::NARROW_W;
use crate::start_verdicts::NARROW_S as NARROW_START_S;
use crate::verdict::{Against, Evidence, Side, Verdict, unknown};

/// The limits of what was measured, and how many seconds or SI units one of its own has.
struct Asked {
    at_least: Option<f64>,
    at_most: Option<f64>,
    narrow: f64,
    unit: &'static str,
    si: f64,
}

/// The verdicts of a requirement with what was measured: in place of all others where the plan lets it decide, else as one more.
pub(crate) fn beside(
    line: &Line,
    r: &Requirement,
    measured: &Measurement,
    calculated: Vec<Verdict>,
) -> Vec<Verdict> {
    let verdict = judged(line, r, measured);
    let too_late = after_the_end(line, measured.date);
    if let Some(why) = too_late {
        // It neither breaks nor decides: what is calculated stands, with what is wrong beside it.
        let mut all = calculated;
        all.push(unknown(verdict.subject(), why));
        return all;
    }
    if let Some(why) = more_than_is_given(line, &r.that, measured) {
        let mut all = calculated;
        all.push(unknown(verdict.subject(), why));
        return all;
    }
    // One reading is of one state: it answers what cannot be calculated, and mends no other state that is broken.
    let breaks = calculated.iter().any(Verdict::is_broken);
    if breaks && measured.decides {
        let state = "; it is of one state, and is to hold in every one: so it does not decide where the calculation of another breaks it";
        let mut all = calculated;
        all.push(verdict.because(state));
        return all;
    }
    if !measured.decides {
        let mut all = calculated;
        all.push(verdict);
        return all;
    }
    let mut told: Vec<String> = calculated.iter().map(in_short).collect();
    told.dedup();
    let told = match told.is_empty() {
        true => String::new(),
        false => format!("; it decides, and calculated is: {}", told.join("; ")),
    };
    vec![verdict.because(&told)]
}

/// Why a value of this date cannot be of the deployment: it lies after the latest recovery.
fn after_the_end(line: &Line, date: Timestamp) -> Option<String> {
    let (end, unsaid) = latest_recovery(line).ok()?;
    (date > end).then(|| {
        format!(
            "it was measured on {}, and the latest recovery is on {}{unsaid}: correct `date`, or measure it before",
            day(date),
            day(end)
        )
    })
}

/// Why a voltage cannot have been read at a module: no supply of the plan gives so much.
fn more_than_is_given(line: &Line, that: &That, measured: &Measurement) -> Option<String> {
    if !matches!(that, That::Voltage { .. }) {
        return None;
    }
    let volts = line.supplies.iter().map(|s| highest_given(s).0);
    let highest_v = volts.reduce(f64::max)?;
    let doubt_v = measured.uncertainty.map_or(0.0, |q| q.si);
    (measured.value.si - doubt_v > highest_v).then(|| {
        format!(
            "{} is read, and no supply of the plan ever gives more than {}: correct `measured`, or write the `highest` that the supply gives",
            show(measured.value.si, Dimension::Voltage),
            show(highest_v, Dimension::Voltage)
        )
    })
}

fn in_short(verdict: &Verdict) -> String {
    match verdict {
        Verdict::Known(k) => format!(
            "{} {} {} ({})",
            k.subject,
            quantity::show_number(k.value.value),
            k.value.unit,
            verdict.word().as_str()
        ),
        other => format!("{} {}", other.subject(), other.word().as_str()),
    }
}

fn judged(line: &Line, r: &Requirement, measured: &Measurement) -> Verdict {
    let (what, asked) = asked(line, &r.that);
    let subject = format!("{what}, measured");
    let Some(asked) = asked else {
        return unknown(subject, "a requirement on this takes no measured value");
    };
    let value = measured.value.si / asked.si;
    let doubt = measured.uncertainty.map(|q| q.si / asked.si);
    let end = |side| match side {
        Side::AtLeast => value - doubt.unwrap_or(0.0),
        Side::AtMost => value + doubt.unwrap_or(0.0),
    };
    let sides = [
        asked.at_least.map(|limit| (Side::AtLeast, limit)),
        asked.at_most.map(|limit| (Side::AtMost, limit)),
    ];
    let margin = |side, limit: f64| match side {
        Side::AtLeast => end(side) - limit,
        Side::AtMost => limit - end(side),
    };
    let tighter = sides
        .into_iter()
        .flatten()
        .min_by(|a, b| margin(a.0, a.1).total_cmp(&margin(b.0, b.1)));
    let Some((side, limit)) = tighter else {
        return unknown(
            subject,
            "neither the requirement nor what it is about has a limit",
        );
    };
    let number = quantity::show_number;
    let sure = match doubt {
        Some(doubt) => format!(
            " ± {} {} (k = 2), which counts against it",
            number(doubt),
            asked.unit
        ),
        None => ", without an uncertainty".to_owned(),
    };
    let why = format!(
        "measured {} {}{sure}, by {} on {} ({})",
        number(value),
        asked.unit,
        measured.by,
        day(measured.date),
        measured.document
    );
    let against = Against {
        side,
        limit,
        narrow: asked.narrow,
        unit: asked.unit.to_owned(),
    };
    let evidence = Evidence::Measured {
        document: measured.document.clone(),
        by: measured.by.clone(),
        date: day(measured.date),
    };
    against.judge(subject, end(side), evidence, why)
}

/// What a requirement is about, with its limits or those of the thing itself, in the unit in which its verdicts are told.
fn asked(line: &Line, that: &That) -> (String, Option<Asked>) {
    let one = |at_least: Option<f64>, at_most: Option<f64>, narrow, unit| {
        Some(Asked {
            at_least,
            at_most,
            narrow,
            unit,
            si: 1.0,
        })
    };
    let both = |l: &Limits| (l.at_least.map(|q| q.si), l.at_most.map(|q| q.si));
    match that {
        That::Voltage {
            of: Some(m),
            limits,
        } => {
            let own = line.modules[m.0].input.as_ref();
            let own = own.map_or((None, None), |i| {
                (Some(i.minimum_v.si), Some(i.maximum_v.si))
            });
            let (low, high) = limits.as_ref().map_or(own, both);
            (line.module_path(*m), one(low, high, NARROW_V, "V"))
        }
        That::HighestVoltage {
            of: Some(m),
            at_most_v,
        } => {
            let own = line.modules[m.0].input.as_ref();
            let limit = at_most_v.or(own.map(|i| i.maximum_v)).map(|q| q.si);
            (line.module_path(*m), one(None, limit, NARROW_V, "V"))
        }
        That::SupplyCurrent {
            of: Some(s),
            at_most_a,
        } => {
            let supply = &line.supplies[s.0];
            let limit = at_most_a.or(supply.current_limit_a).map(|q| q.si);
            (
                format!("supply.{}", supply.id),
                one(None, limit, NARROW_A, "A"),
            )
        }
        That::Delay { at_most_s, .. } => (
            "the delay".to_owned(),
            one(None, Some(at_most_s.si), NARROW_DELAY_S, "s"),
        ),
        That::StartUp { at_most_s } => (
            "the line".to_owned(),
            one(None, at_most_s.map(|q| q.si), NARROW_START_S, "s"),
        ),
        That::Reserve {
            of: Some(m),
            at_least_w,
        } => (
            line.module_path(*m),
            one(Some(at_least_w.si), None, NARROW_W, "W"),
        ),
        That::ModuleDepth {
            of: Some(m),
            limits,
        } => {
            let (low, high) = both(limits);
            (line.module_path(*m), one(low, high, DEPTH_M, "m"))
        }
        That::LineTension {
            of: Some(s),
            at_most_n,
        } => {
            let section = &line.sections[s.0];
            let working = section.rope.as_ref().and_then(|rope| rope.working_load_n);
            let limit = at_most_n.or(working).map(|q| q.si);
            (
                format!("section.{}", section.id),
                one(None, limit, FORCE_N, "N"),
            )
        }
        That::WatchCircle {
            of: Some(m),
            at_most_m,
        }
        | That::OnStation {
            of: Some(m),
            at_most_m,
            ..
        } => (
            line.module_path(*m),
            one(None, Some(at_most_m.si), CIRCLE_M, "m"),
        ),
        That::Autonomy {
            of: Some(s),
            at_least_s,
        } => (
            format!("supply.{}", line.supplies[s.0].id),
            Some(Asked {
                at_least: Some(at_least_s.si / SECONDS_PER_DAY),
                at_most: None,
                narrow: NARROW_AUTONOMY_D,
                unit: "d",
                si: SECONDS_PER_DAY,
            }),
        ),
        _ => ("what was".to_owned(), None),
    }
}
