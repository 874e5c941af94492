//! What a requirement is of: the thing behind its key `of`, or so many hydrophones at once.

use super::{Resolver, ix_of, module_of};
use crate::field::RefKind;
use crate::line::{DetectorIx, Line, Listeners, ModuleIx, SensorIx, SensorKind, SpanIx, SupplyIx};
use crate::mistake::{Code, Mistake};
use crate::read::Fields;

/// The path behind `of`, if it names a thing of the wanted kind; `Some(None)` when it is not written.
#[expect(clippy::option_option, reason = "absent and wrong are different")]
pub(super) fn of<'f>(
    r: &mut Resolver<'_>,
    f: &'f Fields,
    wanted: RefKind,
) -> Option<Option<&'f str>> {
    if !f.has("of") {
        return Some(None);
    }
    let (kind, path, site) = r.reference(f, "of")?;
    if kind != wanted {
        r.tell(
            Mistake::error(
                Code::BadReference,
                site,
                format!("`{path}` cannot stand here"),
            )
            .label("another kind of thing")
            .help(format!("expected {}", wanted.example())),
        );
        return None;
    }
    Some(Some(path))
}

/// The detector behind `of`, which must be written.
pub(super) fn detector(r: &mut Resolver<'_>, f: &Fields, line: &Line) -> Option<DetectorIx> {
    let path = of(r, f, RefKind::Detector)??;
    ix_of(&line.detectors, path, |d| &d.id).map(DetectorIx)
}

/// The supply behind `of`; `Some(None)` when it is not written.
#[expect(clippy::option_option, reason = "absent and wrong are different")]
pub(super) fn supply(r: &mut Resolver<'_>, f: &Fields, line: &Line) -> Option<Option<SupplyIx>> {
    match of(r, f, RefKind::Supply)? {
        None => Some(None),
        Some(p) => ix_of(&line.supplies, p, |s| &s.id).map(|i| Some(SupplyIx(i))),
    }
}

/// The span behind `of`; `Some(None)` when it is not written.
#[expect(clippy::option_option, reason = "absent and wrong are different")]
pub(super) fn span(r: &mut Resolver<'_>, f: &Fields, line: &Line) -> Option<Option<SpanIx>> {
    match of(r, f, RefKind::Span)? {
        None => Some(None),
        Some(p) => ix_of(&line.spans, p, |s| &s.id).map(|i| Some(SpanIx(i))),
    }
}

/// The module behind `of`; `Some(None)` when it is not written.
#[expect(clippy::option_option, reason = "absent and wrong are different")]
pub(super) fn module(r: &mut Resolver<'_>, f: &Fields, line: &Line) -> Option<Option<ModuleIx>> {
    match of(r, f, RefKind::Module)? {
        None => Some(None),
        Some(p) => module_of(line, p).map(Some),
    }
}

/// The hydrophone behind `of`; `Some(None)` when it is not written.
#[expect(clippy::option_option, reason = "absent and wrong are different")]
pub(super) fn hydrophone(
    r: &mut Resolver<'_>,
    f: &Fields,
    line: &Line,
) -> Option<Option<SensorIx>> {
    let Some(path) = of(r, f, RefKind::Sensor)? else {
        return Some(None);
    };
    let sensor = r.sensor(line, f, "of")?;
    if line.sensor(sensor).kind != SensorKind::Hydrophone {
        let site = f.site_of("of").unwrap_or(f.site);
        r.tell(
            Mistake::error(
                Code::BadReference,
                site,
                format!("`{path}` is no hydrophone"),
            )
            .label("another kind of sensor"),
        );
        return None;
    }
    Some(Some(sensor))
}

/// Whose hearing is meant: one hydrophone, so many at once, or each.
pub(super) fn listeners(r: &mut Resolver<'_>, f: &Fields, line: &Line) -> Option<Listeners> {
    let Some((count, site)) = f.count("hydrophones") else {
        return hydrophone(r, f, line)?.map_or(Some(Listeners::Each), |s| Some(Listeners::One(s)));
    };
    if let Some(of) = f.site_of("of") {
        r.tell(
            Mistake::error(
                Code::KeyConflict,
                site,
                "it is about one hydrophone, or about so many at once",
            )
            .label("so many at once")
            .related(of, "one of them"),
        );
        return None;
    }
    let there = line.hydrophones().count();
    let count = u32::try_from(*count).ok()?;
    // Hydrophones that a mistake has taken may be the missing ones.
    if count as usize > there && !r.declared.lost("module", line.modules.len()) {
        r.tell(
            Mistake::error(
                Code::OutOfRange,
                site,
                format!("the line has no {count} hydrophones"),
            )
            .label(format!("it has {there}")),
        );
        return None;
    }
    Some(Listeners::AtOnce(count))
}

/// The metal behind `of`; `Some(None)` when it is not written.
#[expect(clippy::option_option, reason = "absent and wrong are different")]
pub(super) fn metal(r: &mut Resolver<'_>, f: &Fields, line: &Line) -> Option<Option<usize>> {
    match of(r, f, RefKind::Metal)? {
        None => Some(None),
        Some(p) => ix_of(&line.metals, p, |m| &m.id).map(Some),
    }
}
