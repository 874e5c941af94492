//! Votes, and whether their detectors can make themselves heard.

use super::{Resolver, ix_of};
use crate::line::{DetectorIx, Line, Vote};
use crate::mistake::{Code, Mistake};
use crate::read::Fields;

pub(super) fn votes(r: &mut Resolver<'_>, root: &Fields, line: &mut Line) {
    for (id, f) in root.keyed("vote") {
        r.part = format!("vote.{id}");
        if let Some(vote) = vote(r, id, f, line) {
            line.votes.push(vote);
        }
    }
}

fn vote(r: &mut Resolver<'_>, id: &str, f: &Fields, line: &Line) -> Option<Vote> {
    let on = r.module(line, f, "on");
    let mut of: Vec<DetectorIx> = Vec::new();
    let mut whole = true;
    for (kind, path, site) in f.references("of")?.0 {
        if !r.names(*kind, path, *site) {
            whole = false;
            continue;
        }
        let Some(detector) = ix_of(&line.detectors, path, |d| &d.id).map(DetectorIx) else {
            whole = false;
            continue;
        };
        if of.contains(&detector) {
            r.tell(
                Mistake::error(Code::Duplicate, *site, "a detector has one vote")
                    .label("again here"),
            );
            return None;
        }
        of.push(detector);
    }
    let (count, count_at) = f.count("at_least")?;
    if f.is_wrong("within") || !whole {
        return None;
    }
    let at_least = u32::try_from(*count).ok()?;
    if at_least as usize > of.len() {
        r.tell(
            Mistake::error(
                Code::OutOfRange,
                count_at,
                format!("of {} detectors no {at_least} can hear it", of.len()),
            )
            .label("more than there are"),
        );
        return None;
    }
    Some(Vote {
        id: id.to_owned(),
        at: f.site,
        on: on?,
        of,
        at_least,
        within_s: f.q("within"),
        hold_off_s: f.q("hold_off")?,
    })
}

/// A detector of another module is known to a vote by a topic that its own module publishes when it has heard.
pub(super) fn told(r: &mut Resolver<'_>, line: &Line) {
    for vote in &line.votes {
        r.part = format!("vote.{}", vote.id);
        for detector in &vote.of {
            let d = &line.detectors[detector.0];
            let own = &line.modules[d.on.module.0].id;
            if d.on.module == vote.on || line.tellers(*detector).next().is_some() {
                continue;
            }
            // What starts the behaviours that could not be read is not known.
            if r.declared.lost("behaviour", line.behaviours.len()) {
                continue;
            }
            r.tell(
                Mistake::error(
                    Code::NobodyPublishes,
                    vote.at,
                    format!("nobody tells this vote when detector.{} has heard", d.id),
                )
                .label(format!("counts on module.{}", line.modules[vote.on.0].id))
                .related(d.at, format!("runs on module.{own}"))
                .help(format!(
                    "let module.{own} publish a topic: a behaviour with when_heard = \"detector.{}.confirmed\" and the action {{ publish = \"...\" }}",
                    d.id
                )),
            );
        }
    }
}
