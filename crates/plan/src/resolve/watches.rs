//! Limits on the world that the line polices.

use quantity::LevelKind;

use super::resolver::output_of;
use super::{Resolver, ix_of, q};
use crate::field::RefKind;
use crate::line::{
    DelayEnd, DelayFrom, DetectorIx, Line, Must, NoticeKind, Requirement, That, UplinkIx,
    WatchedLevel, WorldWatch,
};
use crate::mistake::{Code, Mistake};
use crate::read::Fields;

pub(super) fn watches(r: &mut Resolver<'_>, root: &Fields, line: &mut Line) {
    for (id, f) in root.keyed("watch") {
        r.part = format!("watch.{id}");
        if let Some(watch) = watch(r, id, f, line) {
            line.watches.push(watch);
        }
    }
}

fn watch(r: &mut Resolver<'_>, id: &str, f: &Fields, line: &Line) -> Option<WorldWatch> {
    let by = r.reference(f, "by").map(|(_, path, _)| path);
    let by = by.and_then(|path| ix_of(&line.detectors, path, |d| &d.id).map(DetectorIx));
    let band_hz = band(r, f);
    let must = f
        .choice("must")
        .map_or(Must::Shall, |(word, _)| Must::of_word(word));
    let source = f.text("source").map(|(t, _)| t.clone());
    let to = end(r, f, line);
    for (key, other, example) in [
        ("to", "within", "within = \"10 s\""),
        ("within", "to", "to = \"module.ID.output.ID\""),
    ] {
        if let (Some(site), false) = (f.site_of(key), f.has(other)) {
            r.tell(
                Mistake::error(
                    Code::MissingKey,
                    site,
                    format!("`{key}` needs `{other}` beside it"),
                )
                .label(format!("without `{other}`"))
                .help(format!("add `{example}`")),
            );
        }
    }
    let (kind, _, _) = f.level("limit")?;
    let told = match (to, f.q("within"), by) {
        (Some(to), Some(at_most_s), Some(by)) => Some(Requirement {
            id: format!("watch.{id}"),
            at: f.site,
            must,
            source: source.clone(),
            that: That::Delay {
                from: DelayFrom::Notice(by, NoticeKind::Confirmed),
                to,
                at_most_s,
            },
            share: None,
            share_of_draws: None,
            measured: None,
            when_wind_at_most_m_s: None,
        }),
        _ => None,
    };
    Some(WorldWatch {
        id: id.to_owned(),
        at: f.site,
        must,
        source,
        of: match kind {
            LevelKind::Exposure => WatchedLevel::Exposure,
            _ => WatchedLevel::Rms,
        },
        limit_db: f.db("limit")?,
        at_m: f.q("at")?,
        band_hz: band_hz?,
        lasts_s: f.q("lasts"),
        by: by?,
        hydrophone_at_m: f.q("hydrophone_at")?,
        spreading_db: f.q("spreading"),
        varies_db: f.db("varies"),
        peak_above_db: f.db("peak_above"),
        missed: f.q("missed")?,
        told,
    })
}

/// The band, if one is written; `None` where it is the wrong way round.
fn band(r: &mut Resolver<'_>, f: &Fields) -> Option<Option<(crate::line::Q, crate::line::Q)>> {
    let Some((corners, _)) = f.amounts("band") else {
        return Some(None);
    };
    let (low, high) = (
        q((&corners[0].0, corners[0].1)),
        q((&corners[1].0, corners[1].1)),
    );
    if high.si <= low.si {
        r.tell(
            Mistake::error(
                Code::OutOfRange,
                high.at,
                "the upper corner is not above the lower",
            )
            .label("upper")
            .related(low.at, "lower"),
        );
        return None;
    }
    Some(Some((low, high)))
}

fn end(r: &mut Resolver<'_>, f: &Fields, line: &Line) -> Option<DelayEnd> {
    let (kind, path, _) = r.reference(f, "to")?;
    Some(match kind {
        RefKind::Output => DelayEnd::Output(output_of(line, path)?),
        _ => DelayEnd::Uplink(ix_of(&line.uplinks, path, |u| &u.id).map(UplinkIx)?),
    })
}
