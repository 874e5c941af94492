//! Means of recovery, weak links and drift alarms.

use super::hung::on_a_section;
use super::mechanics::end;
use super::{Resolver, bare};
use crate::line::{DriftAlarmSaid, Line, Means, MeansKind, SectionEnd, WeakLink};
use crate::mistake::{Code, Mistake};
use crate::read::Fields;

pub(super) fn recovery(r: &mut Resolver<'_>, root: &Fields, line: &mut Line) {
    for (id, f) in root.keyed("weak_link") {
        r.part = format!("weak_link.{id}");
        if let Some(link) = weak_link(r, id, f, line) {
            line.weak_links.push(link);
        }
    }
    for (id, f) in root.keyed("recovery") {
        r.part = format!("recovery.{id}");
        if let Some(means) = means(r, id, f, line) {
            line.means.push(means);
        }
    }
    for module in &line.modules {
        if module.drift_alarm.is_some() && module.hull.is_none() {
            r.part = format!("module.{}", module.id);
            r.tell(
                Mistake::error(
                    Code::KeyConflict,
                    module.at,
                    "a drift alarm is of a buoy at the surface, and this module has no hull",
                )
                .label("`drift_alarm` without `hull`"),
            );
        }
    }
}

fn weak_link(r: &mut Resolver<'_>, id: &str, f: &Fields, line: &Line) -> Option<WeakLink> {
    let (p, site) = f.table("position")?;
    let position = on_a_section(r, p, site, line);
    let (parts_from_n, parts_by_n) = (f.q("parts_from")?, f.q("parts_by")?);
    if parts_by_n.si < parts_from_n.si {
        r.tell(
            Mistake::error(
                Code::OutOfRange,
                parts_by_n.at,
                "it has surely parted at less than where it may part",
            )
            .label("below `parts_from`")
            .related(parts_from_n.at, "`parts_from`"),
        );
        return None;
    }
    Some(WeakLink {
        id: id.to_owned(),
        at: f.site,
        position: position?,
        parts_from_n,
        parts_by_n,
        safety_factor: f.number("safety_factor").map(bare),
    })
}

fn means(r: &mut Resolver<'_>, id: &str, f: &Fields, line: &Line) -> Option<Means> {
    let (word, site) = f.choice("kind")?;
    let kind = match *word {
        "release" => MeansKind::Release,
        "haul" => MeansKind::Haul,
        _ => MeansKind::Drag,
    };
    let acts_at = match (kind, f.has("at")) {
        (MeansKind::Drag, true) => {
            r.tell(
                Mistake::error(
                    Code::KeyConflict,
                    f.site_of("at").unwrap_or(site),
                    "a `drag` takes the line wherever it lies on the bed",
                )
                .label("of no use here"),
            );
            return None;
        }
        (MeansKind::Drag, false) => None,
        (MeansKind::Release | MeansKind::Haul, false) => {
            r.tell(
                Mistake::error(
                    Code::MissingKey,
                    site,
                    format!("a `{word}` needs the place where it acts"),
                )
                .label("`at` is missing")
                .help(match kind {
                    MeansKind::Release => "add `at = \"anchor.ID\"`",
                    MeansKind::Haul | MeansKind::Drag => "add `at = \"module.ID\"`, the buoy",
                }),
            );
            return None;
        }
        (MeansKind::Release | MeansKind::Haul, true) => Some(end(r, f, "at", line)?),
    };
    if let (MeansKind::Haul, Some(SectionEnd::Anchor(_))) = (kind, acts_at) {
        r.tell(
            Mistake::error(
                Code::BadReference,
                f.site_of("at").unwrap_or(site),
                "nobody takes hold of an anchor at the surface",
            )
            .label("not a top")
            .help("name the buoy or the float at the upper end of the line"),
        );
        return None;
    }
    Some(Means {
        id: id.to_owned(),
        at: f.site,
        kind,
        acts_at,
        works: f.q("works")?,
        relies_on: f.texts("relies_on").map_or_else(Vec::new, |(all, _)| {
            all.iter().map(|(text, _)| in_one_spelling(text)).collect()
        }),
    })
}

/// Words without what spelling changes: capitals, and spaces before, behind and in a row. What is shared must not look apart.
fn in_one_spelling(text: &str) -> String {
    let words: Vec<String> = text.split_whitespace().map(str::to_lowercase).collect();
    words.join(" ")
}

/// What a module says of its drift alarm.
pub(super) fn drift_alarm(f: &Fields) -> Option<DriftAlarmSaid> {
    let (t, _) = f.table("drift_alarm")?;
    Some(DriftAlarmSaid {
        radius_m: t.q("radius")?,
        every_s: t.q("every")?,
        fix_error_m: t.q("fix_error")?,
        place_error_m: t.q("place_error")?,
        false_alarms: t.q("false_alarms")?,
    })
}
