//! What comes of a part at one place, from the changed plan and the check of it.

use plan::{Code, Line, Mistake, PassWhen, Reading, That};

use super::weigh::{Bind, Weighed};
use super::{Answer, Place, PlaceAsk, Site, Talk, Way};
use crate::check::Check;
use crate::verdict::{Ruling, Verdict};

pub(super) fn answer(
    ask: &PlaceAsk,
    site: Site,
    text: String,
    with: &Reading,
    after: Option<Check>,
    weighed: Option<Weighed>,
) -> Place {
    let line = with.line.as_ref();
    let at = line.and_then(|l| l.module_by_id(&ask.id).map(|m| l.modules[m.0].depth_m));
    let mut place = Place {
        site,
        depth_m: at.filter(|d| d.is_finite()),
        answer: Answer::MayGo,
        refused: Vec::new(),
        unknown: Vec::new(),
        binds: None,
        next: None,
        worse: Vec::new(),
        should: Vec::new(),
        check: after,
        text,
    };
    let Some(weighed) = weighed else {
        refused(&mut place, with);
        return place;
    };
    let broken = |b: &Bind| b.known.ruling == Ruling::Broken;
    if let Some(line) = line {
        place.refused = unspoken(line, ask);
        place.refused.extend(cut_off(line, &place.site.way, ask));
    }
    if weighed.known.first().is_some_and(broken) || !place.refused.is_empty() {
        place.answer = Answer::MayNot;
    }
    let mut unknown: Vec<String> = Vec::new();
    for (id, subject, why) in &weighed.unknown {
        // What is open is often so for many subjects at once.
        let told = format!("{id}: {subject}: {why}");
        if !weighed
            .unknown
            .iter()
            .take_while(|(i, s, _)| (i, s) != (id, subject))
            .any(|(_, _, w)| w == why)
        {
            unknown.push(told);
        }
    }
    if ask.talk == Talk::Unsaid && line.is_some_and(|l| l.traffic.is_some()) {
        unknown.push(
            "load and latency of the links, uplink: nothing says what the part publishes"
                .to_owned(),
        );
    }
    if let Some(check) = &place.check
        && let Some(l) = line
        && let Some(why) = unfed(check, l, &ask.id)
    {
        unknown.push(why);
    }
    if !weighed.worse.is_empty() {
        let mut ids: Vec<&str> = weighed.worse.iter().map(|(id, _)| id.as_str()).collect();
        ids.dedup();
        unknown.push(format!(
            "broken without the part, and further beyond its limit with it: {}; mend that first",
            ids.join(", ")
        ));
    }
    if place.answer == Answer::MayGo && !unknown.is_empty() {
        place.answer = Answer::Unknown;
    }
    place.unknown = unknown;
    let mut known = weighed.known.into_iter();
    place.binds = known.next();
    if let Some(first) = &place.binds {
        let id = first.requirement.clone();
        place.next = known.find(|b| b.requirement != id);
    }
    place.worse = weighed.worse;
    place.should = weighed.should;
    place
}

/// A changed plan that cannot be read as one: where the place is none, the part may not go there.
fn refused(place: &mut Place, with: &Reading) {
    let errors: Vec<&Mistake> = with.mistakes.iter().filter(|m| m.is_error()).collect();
    let cannot_be = |m: &&Mistake| {
        matches!(
            m.code,
            Code::BadPlace | Code::SpanTooShort | Code::OutOfRange
        )
    };
    place.answer = match errors.iter().any(cannot_be) {
        true => Answer::MayNot,
        false => Answer::Unknown,
    };
    let word = |m: &&Mistake| {
        let help = m
            .help
            .as_ref()
            .map_or_else(String::new, |h| format!("; {h}"));
        format!("{}{help}", m.message)
    };
    let why = errors.iter().map(word).collect();
    match place.answer {
        Answer::MayNot => place.refused = why,
        _ => place.unknown = why,
    }
}

/// What the neighbour does not pass on to a module that hangs on it.
fn cut_off(line: &Line, way: &Way, ask: &PlaceAsk) -> Vec<String> {
    let (Way::Beside { neighbour, .. } | Way::Beyond { neighbour, .. }) = way else {
        return Vec::new();
    };
    let module = line.module_by_id(neighbour).map(|m| &line.modules[m.0]);
    let Some(passes) = module.and_then(|m| m.passes) else {
        return Vec::new();
    };
    let draws = line
        .module_by_id(&ask.id)
        .is_some_and(|m| line.modules[m.0].input.is_some());
    let talks = matches!(ask.talk, Talk::Tables(_));
    [("power", passes.power, draws), ("data", passes.data, talks)]
        .into_iter()
        .filter(|(_, passes, needed)| *passes == PassWhen::Never && *needed)
        .map(|(what, ..)| format!("module.{neighbour} passes no {what} on"))
        .collect()
}

/// Links at the module that it does not speak.
fn unspoken(line: &Line, ask: &PlaceAsk) -> Vec<String> {
    let Some(module) = line
        .module_by_id(&ask.id)
        .filter(|_| !ask.speaks.is_empty())
    else {
        return Vec::new();
    };
    let own = line.spans.iter();
    own.filter(|s| s.from == module || s.to == module)
        .filter_map(|s| {
            let bus = s.bus.map(|b| &line.buses[b.0].link);
            let standard = &s.link.as_ref().or(bus)?.standard;
            (!ask.speaks.contains(standard)).then(|| {
                format!(
                    "span.{} is {standard}, and the part speaks {}",
                    s.id,
                    ask.speaks.join(", ")
                )
            })
        })
        .collect()
}

/// Why the voltage at the module is not known although nothing says so of it.
fn unfed(check: &Check, line: &Line, id: &str) -> Option<String> {
    let module = &line.modules[line.module_by_id(id)?.0];
    let path = format!("module.{id}");
    module.input.as_ref()?;
    let voltages = line
        .requirements
        .iter()
        .filter(|r| matches!(r.that, That::Voltage { of: None, .. }));
    let known = voltages
        .filter_map(|r| check.requirements.iter().find(|j| j.id == r.id))
        .flat_map(|j| &j.verdicts)
        .any(|v| v.subject() == path && matches!(v, Verdict::Known(_)));
    (!known).then(|| {
        format!("voltage: {path}: the line has no operating point from which to tell it; mend what is broken without the part first")
    })
}
