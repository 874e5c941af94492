//! What is assumed of an added module and its place, and what no check of it answers.

use plan::{Line, That};

use super::{PlaceAsk, Talk};

pub(super) fn assumed(line: &Line, ask: &PlaceAsk) -> Vec<String> {
    let mut told = Vec::new();
    let cable = match &ask.cable {
        Some(part) => part.clone(),
        None => "the cable of the span that leads to the neighbour, with its contacts".to_owned(),
    };
    told.push(format!(
        "beside a module it hangs on a stub of {} m: {cable}",
        ask.stub_m
    ));
    told.push(
        "a span that is cut becomes two of the same cable, each with all that the plan writes of it: contacts, fuse, rating"
            .to_owned(),
    );
    told.push("every module has an outlet free for it".to_owned());
    if ask.speaks.is_empty() {
        told.push(
            "the part speaks the link of every span that leads to it, because nothing says which it speaks (`--speaks`)"
                .to_owned(),
        );
    }
    if line.spans.iter().any(|s| {
        let link = s.link.as_ref();
        link.is_some_and(|l| l.polled_by.is_some())
    }) {
        told.push(
            "of a polled span that is cut, the new module asks on the half that loses its asker"
                .to_owned(),
        );
    }
    told
}

pub(super) fn open(line: &Line, ask: &PlaceAsk) -> Vec<String> {
    let mut told = Vec::new();
    let hangs = |r: &plan::Requirement| {
        matches!(
            r.that,
            That::ModuleDepth { .. }
                | That::ModuleTilt { .. }
                | That::LineTension { .. }
                | That::AnchorLoad { .. }
                | That::WatchCircle { .. }
                | That::OnStation { .. }
        )
    };
    if !line.sections.is_empty() && !line.requirements.iter().any(hangs) {
        told.push(
            "what it weighs and how it drags on the sections: the plan claims nothing of where the line hangs (`module-depth`, `line-tension`, `anchor-load`)"
                .to_owned(),
        );
    } else if !line.sections.is_empty() {
        told.push(
            "what its weight and its drag do to sound, temperature and delays: there the line is taken to hang straight"
                .to_owned(),
        );
    }
    let solar = line.supplies.iter().enumerate().filter(|(i, s)| {
        let claims = |r: &plan::Requirement| match r.that {
            That::OutageHours { of, .. } | That::LowestCharge { of, .. } => {
                of.is_none_or(|o| o.0 == *i)
            }
            _ => false,
        };
        s.kind == plan::SupplyKind::SolarBattery && !line.requirements.iter().any(claims)
    });
    for (_, supply) in solar {
        told.push(format!(
            "the energy of supply.{} through the year: the plan claims nothing of it (`outage-hours`, `lowest-charge`)",
            supply.id
        ));
    }
    if ask.talk == Talk::Silent {
        told.push(
            "messages to the part: it is said to publish nothing and to be told nothing".to_owned(),
        );
    }
    told
}
