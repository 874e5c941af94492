//! Reading the fields of a payload.

use jiff::Timestamp;
use quantity::show_number;

use super::Resolver;
use crate::line::TopicField;
use crate::mistake::{Code, Mistake};
use crate::read::Fields;
use crate::site::Site;

/// A decimal step is seldom a double: the quotient of range and step is whole only to rounding. A millionth of a step is far above that up to 30 bits, and
/// beyond it the rounding itself counts; the packing of payloads judges in the same way.
const WHOLE_STEP: f64 = 1e-6;
const ROUNDINGS: f64 = 4.0 * f64::EPSILON;
/// From zero on, a double tells no half steps apart beyond so many.
const MOST_STEPS: f64 = 1e12;
const NS_PER_S: f64 = 1e9;

/// Whether a range is a whole number of steps that can be told apart; else why not, and what would do.
fn steps_fit(from: f64, to: f64, step: f64) -> Result<(), (String, Option<String>)> {
    let steps = (to - from) / step;
    let farthest = from.abs().max(to.abs()) / step;
    if !steps.is_finite() || steps > MOST_STEPS || farthest > MOST_STEPS {
        let why = format!("more than {MOST_STEPS:e} steps of a field cannot be told apart");
        return Err((why, Some("write a larger step".to_owned())));
    }
    let whole = steps.round();
    if (steps - whole).abs() <= WHOLE_STEP.max(ROUNDINGS * steps) && whole >= 1.0 {
        return Ok(());
    }
    let show = show_number;
    let why = format!(
        "from {} to {} is {} steps of {}, not a whole number",
        show(from),
        show(to),
        show(steps),
        show(step)
    );
    let (below, above) = (from + steps.floor() * step, from + steps.ceil() * step);
    let ends: Vec<String> = [below, above]
        .iter()
        .filter(|end| **end > from)
        .map(|end| format!("`to = {}`", show(*end)))
        .collect();
    Err((
        why,
        Some(format!("write {}, or another step", ends.join(" or "))),
    ))
}

/// Tells fields under one key that have the same name.
pub(super) fn different(r: &mut Resolver<'_>, f: &Fields, key: &'static str) {
    let names: Vec<(&String, Site)> = f
        .tables(key)
        .iter()
        .filter_map(|x| x.text("name"))
        .collect();
    for (i, (name, site)) in names.iter().enumerate() {
        if let Some((_, first)) = names[..i].iter().find(|(n, _)| n == name) {
            r.tell(
                Mistake::error(
                    Code::Duplicate,
                    *site,
                    format!("field `{name}` is there twice"),
                )
                .label("again here")
                .related(*first, "first here"),
            );
        }
    }
}

pub(super) fn topic_field(r: &mut Resolver<'_>, f: &Fields) -> Option<TopicField> {
    let name = f.text("name")?.0.clone();
    let number = f.has("from") || f.has("to") || f.has("step");
    let ways = [number, f.has("values"), f.has("flag"), f.has("time_bits")];
    if ways.iter().filter(|w| **w).count() != 1 {
        r.tell(
            Mistake::error(Code::KeyConflict, f.site, format!("field `{name}` is exactly one thing"))
                .label("here")
                .help("give it from, to and step (a number), values (a list), flag = true, or time_bits and time_step"),
        );
        return None;
    }
    for (key, of, there) in [
        ("unit", "a number", number),
        ("time_step", "a time stamp", f.has("time_bits")),
        ("time_epoch", "a time stamp", f.has("time_bits")),
    ] {
        if let Some(site) = f.site_of(key)
            && !there
        {
            r.tell(
                Mistake::error(Code::KeyConflict, site, format!("`{key}` belongs to {of}"))
                    .label(format!("field `{name}` is none")),
            );
            return None;
        }
    }
    if let Some((values, site)) = f.texts("values") {
        let again =
            (1..values.len()).find(|i| values[..*i].iter().any(|(v, _)| *v == values[*i].0));
        if let Some(again) = again {
            r.tell(
                Mistake::error(
                    Code::Duplicate,
                    values[again].1,
                    "this value is there twice",
                )
                .label("again here"),
            );
            return None;
        }
        if values.len() < 2 {
            r.tell(
                Mistake::error(Code::OutOfRange, site, "a list of one value says nothing")
                    .label("at least two needed"),
            );
            return None;
        }
        return Some(TopicField::Choice {
            name,
            values: values.iter().map(|(v, _)| v.clone()).collect(),
        });
    }
    if f.has("values") {
        return None;
    }
    if let Some((yes, site)) = f.flag("flag") {
        if !yes {
            r.tell(
                Mistake::error(
                    Code::KeyConflict,
                    site,
                    "a field that is no flag does not say so",
                )
                .label("remove this key"),
            );
            return None;
        }
        return Some(TopicField::Flag { name });
    }
    if let Some((bits, site)) = f.count("time_bits") {
        let Some(step) = f.q("time_step") else {
            if !f.has("time_step") {
                r.tell(
                    Mistake::error(Code::MissingKey, site, "a time stamp needs `time_step`")
                        .label("here")
                        .help("add `time_step = \"1 s\"`"),
                );
            }
            return None;
        };
        let ns = step.si * NS_PER_S;
        if ns.round() < 1.0
            || ns.round() >= i64::MAX as f64
            || (ns - ns.round()).abs() > ROUNDINGS * ns
        {
            r.tell(
                Mistake::error(
                    Code::OutOfRange,
                    step.at,
                    "a step of a time stamp is a whole number of nanoseconds, of 292 years at most",
                )
                .label("here"),
            );
            return None;
        }
        let epoch_ns = match f.date("time_epoch") {
            None if f.has("time_epoch") => return None,
            None => 0,
            Some((epoch, site)) => epoch_ns(r, *epoch, site)?,
        };
        return Some(TopicField::Time {
            name,
            bits: u32::try_from(*bits).ok()?,
            step_s: step.si,
            epoch_ns,
        });
    }
    let (Some((from, _)), Some((to, to_site)), Some((step, step_site))) =
        (f.number("from"), f.number("to"), f.number("step"))
    else {
        if !["from", "to", "step"].iter().all(|k| f.has(k)) {
            r.tell(
                Mistake::error(
                    Code::MissingKey,
                    f.site,
                    format!("number `{name}` needs from, to and step"),
                )
                .label("here"),
            );
        }
        return None;
    };
    if to <= from {
        r.tell(
            Mistake::error(
                Code::OutOfRange,
                to_site,
                "the highest value is not above the lowest",
            )
            .label("here"),
        );
        return None;
    }
    if let Err((why, help)) = steps_fit(*from, *to, *step) {
        let mut mistake = Mistake::error(Code::OutOfRange, step_site, why).label("this step");
        mistake.help = help;
        r.tell(mistake);
        return None;
    }
    let unit = f.text("unit").map_or_else(String::new, |(u, _)| u.clone());
    Some(TopicField::Scaled {
        name,
        unit,
        from: *from,
        to: *to,
        step: *step,
    })
}

/// An epoch in nanoseconds since 1970.
fn epoch_ns(r: &mut Resolver<'_>, epoch: Timestamp, site: Site) -> Option<i64> {
    let ns = i64::try_from(epoch.as_nanosecond()).ok();
    if ns.is_none() {
        r.tell(
            Mistake::error(
                Code::OutOfRange,
                site,
                "the epoch of a time stamp lies within the years 1678 to 2261",
            )
            .label("outside"),
        );
    }
    ns
}
