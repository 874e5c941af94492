//! Spares, and what they stand for.

use super::{Resolver, ix_of, module_of};
use crate::field::RefKind;
use crate::line::{Line, SpanIx, Spare, SpareOf};
use crate::mistake::{Code, Mistake};
use crate::read::Fields;
use crate::site::Site;

pub(super) fn spares(r: &mut Resolver<'_>, root: &Fields, line: &mut Line) {
    for (id, f) in root.keyed("spare") {
        r.part = format!("spare.{id}");
        let Some(spare) = spare(r, id, f, line) else {
            continue;
        };
        if let Some(first) = line.spares.iter().find(|s| s.of == spare.of) {
            let told = Mistake::error(
                Code::Duplicate,
                f.site_of("of").unwrap_or(f.site),
                "these have their spares already",
            )
            .label("again")
            .related(first.at, "first here")
            .help("write all that are aboard in one table");
            r.tell(told);
            continue;
        }
        line.spares.push(spare);
    }
}

fn spare(r: &mut Resolver<'_>, id: &str, f: &Fields, line: &Line) -> Option<Spare> {
    let (kind, path, site) = f.reference("of")?;
    let of = match kind {
        RefKind::Part => of_part(r, path, site, line)?,
        RefKind::Module => {
            if !r.names(kind, path, site) {
                return None;
            }
            let ix = module_of(line, path)?;
            alone(r, path, site, line.modules[ix.0].part.as_deref())?;
            SpareOf::Module(ix)
        }
        _ => {
            if !r.names(kind, path, site) {
                return None;
            }
            let ix = ix_of(&line.spans, path, |s| &s.id)?;
            alone(r, path, site, line.spans[ix].part.as_deref())?;
            SpareOf::Span(SpanIx(ix))
        }
    };
    Some(Spare {
        id: id.to_owned(),
        at: f.site,
        of,
        carried: u32::try_from(*f.count("carried")?.0).ok()?,
        dead_on_deck: f.q("dead_on_deck"),
    })
}

fn of_part(r: &mut Resolver<'_>, path: &str, site: Site, line: &Line) -> Option<SpareOf> {
    let modules = line.modules.iter().map(|m| &m.part);
    let mut parts = modules.chain(line.spans.iter().map(|s| &s.part));
    if parts.any(|p| p.as_deref() == Some(path)) {
        return Some(SpareOf::Part(path.to_owned()));
    }
    r.tell(
        Mistake::error(
            Code::BadReference,
            site,
            format!("no module and no span of this plan is a `{path}`"),
        )
        .label("nothing to stand for")
        .help("name the part of modules or spans, or a module or span without a part"),
    );
    None
}

fn alone(r: &mut Resolver<'_>, path: &str, site: Site, part: Option<&str>) -> Option<()> {
    let Some(part) = part else { return Some(()) };
    r.tell(
        Mistake::error(
            Code::BadReference,
            site,
            format!("`{path}` is a `{part}`, and all of a part share their spares"),
        )
        .label("made of a part")
        .help(format!("write `of = \"{part}\"`")),
    );
    None
}
