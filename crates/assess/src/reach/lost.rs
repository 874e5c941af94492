//! What is told where a mistake reaches, and of requirements that are lost to one.

use std::collections::BTreeSet;

use plan::{Must, Reading, Spoilt};

use crate::judged::Judged;
use crate::verdict::{Verdict, unknown};

/// How a mistake is told of the part that has it.
const IN_IT: &str = "the plan has a mistake in it, ";

/// Why something is unknown, with the part of a mistake named where that is what it is told of.
pub(crate) fn named_mistake(subject: &str, why: &str) -> String {
    match why.strip_prefix(IN_IT) {
        Some(rest) => format!("the plan has a mistake in {subject}, {rest}"),
        None => why.to_owned(),
    }
}

/// What is told of a part of the plan that a mistake reaches.
pub(super) fn mistaken(reading: &Reading, part: &str, spoilt: &Spoilt) -> Verdict {
    let place = reading.sources.place(spoilt.at);
    let why = if spoilt.part == part {
        format!("{IN_IT}at {place}")
    } else if matches!(spoilt.part.as_str(), "file" | "include") {
        format!("the plan has a mistake at {place}")
    } else {
        format!("the plan has a mistake in {}, at {place}", spoilt.part)
    };
    unknown(part, why)
}

/// What is told of a requirement when the plan gives no line, or loses it without a trace.
fn too_little(reading: &Reading, requirement: String) -> Verdict {
    let parts = &reading.spoilt;
    let table = ["deployment", "site"].into_iter().find_map(|t| parts.of(t));
    let first = reading
        .mistakes
        .iter()
        .find(|m| m.is_error())
        .map(|m| m.site);
    let at = table.map(|spoilt| spoilt.at).or(first);
    let place = at.map_or_else(String::new, |at| {
        format!(", for the mistake at {}", reading.sources.place(at))
    });
    unknown(
        requirement,
        format!("too little of the plan can be read{place}"),
    )
}

/// The requirements that are written and of which the line has none: they are lost to a mistake, their own or another's.
pub(crate) fn lost(reading: &Reading) -> Vec<Judged> {
    let held = reading.line.iter().flat_map(|l| &l.requirements);
    let held: BTreeSet<&str> = held.map(|r| r.id.as_str()).collect();
    let parts = &reading.spoilt;
    let missing = parts
        .requirements()
        .iter()
        .filter(|r| !held.contains(r.id.as_str()));
    missing
        .map(|r| {
            let own = format!("requirement.{}", r.id);
            let named = || {
                r.names
                    .iter()
                    .find_map(|n| Some((n.as_str(), parts.of(n)?)))
            };
            let found = match (parts.of(&own), named(), parts.whole()) {
                (Some(spoilt), ..) => mistaken(reading, &own, spoilt),
                (_, Some((part, spoilt)), _) => mistaken(reading, part, spoilt),
                (_, _, Some(spoilt)) => mistaken(reading, "the plan", spoilt),
                _ => too_little(reading, own),
            };
            let about = match (r.that, r.names.is_empty()) {
                (None, _) => "it cannot be read what this requires".to_owned(),
                (Some(that), true) => format!("a requirement on {that}"),
                (Some(that), false) => format!("a requirement on {that}: {}", r.names.join(", ")),
            };
            Judged::new(
                r.id.clone(),
                r.must.unwrap_or(Must::Shall),
                r.source.clone(),
                about,
                vec![found],
            )
            .asking(reading.asks(&r.id))
        })
        .collect()
}
