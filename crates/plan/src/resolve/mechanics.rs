//! Sections and positions: where everything hangs when the line stands straight, and the distance along it.

use super::{Resolver, ix_of, module_of};
use crate::field::RefKind;
use crate::line::{
    Anchor, Line, ModuleIx, OutputKind, Position, Q, Rope, Section, SectionEnd, SectionIx,
};
use crate::mistake::{Code, Mistake};
use crate::read::{Fields, Reader};
use crate::site::Site;
use crate::tables::ROPE;

pub(super) fn sections(r: &mut Resolver<'_>, root: &Fields, line: &mut Line) {
    for (id, f) in root.keyed("anchor") {
        line.anchors.push(Anchor {
            id: id.to_owned(),
            at: f.site,
            weight_in_water_n: f.q("weight_in_water"),
            holding_n: f.q("holding"),
        });
    }
    for (id, f) in root.keyed("section") {
        r.part = format!("section.{id}");
        if let Some(section) = section(r, id, f, line) {
            line.sections.push(section);
        }
    }
}

fn section(r: &mut Resolver<'_>, id: &str, f: &Fields, line: &Line) -> Option<Section> {
    let (from, to) = (end(r, f, "from", line), end(r, f, "to", line));
    let (from, to) = (from?, to?);
    if from == to {
        let site = f.site_of("to").unwrap_or(f.site);
        r.tell(
            Mistake::error(
                Code::Duplicate,
                site,
                "both ends of this section are the same",
            )
            .label("the same end"),
        );
        return None;
    }
    Some(Section {
        id: id.to_owned(),
        at: f.site,
        from,
        to,
        length_m: f.q("length")?,
        rope: rope(r, f),
    })
}

fn end(r: &mut Resolver<'_>, f: &Fields, key: &'static str, line: &Line) -> Option<SectionEnd> {
    let (kind, path, _) = r.reference(f, key)?;
    match kind {
        RefKind::Anchor => ix_of(&line.anchors, path, |a| &a.id).map(SectionEnd::Anchor),
        _ => module_of(line, path).map(SectionEnd::Module),
    }
}

fn rope(r: &mut Resolver<'_>, f: &Fields) -> Option<Rope> {
    let (_, path, site) = f.reference("rope")?;
    let user = r.part.clone();
    let part = r.catalogue.part(&ROPE, path, site, r.mistakes, &user)?;
    let fields = Reader::new(r.catalogue, r.mistakes).part(&ROPE, &part.table, part.site, &user);
    Some(Rope {
        diameter_m: fields.q("diameter"),
        weight_in_water_n_m: fields.q("weight_in_water"),
        stiffness_n: fields.q("stiffness"),
        breaking_load_n: fields.q("breaking_load"),
    })
}

/// Settles each module's position and its depth.
pub(super) fn positions(r: &mut Resolver<'_>, root: &Fields, line: &mut Line) {
    for (id, f) in root.keyed("module") {
        r.part = format!("module.{id}");
        let Some(ix) = line.module_by_id(id) else {
            continue;
        };
        if let Some((p, site)) = f.table("position")
            && let Some(position) = position(r, p, site, line)
        {
            line.modules[ix.0].position = position;
        }
    }
    for i in 0..line.modules.len() {
        let mut under_way = vec![false; line.modules.len()];
        let depth = depth_of(line, ModuleIx(i), &mut under_way);
        line.modules[i].depth_m = depth.unwrap_or(f64::NAN);
    }
    check_places(r, line);
    // A module whose place could not be settled has had its mistake told and is left out of depth-dependent results.
    if line.modules.iter().all(|m| m.depth_m.is_finite()) {
        lanterns(r, line);
    }
}

fn position(r: &mut Resolver<'_>, p: &Fields, site: Site, line: &Line) -> Option<Position> {
    let along: Vec<&'static str> = ["from_top", "from_anchor", "depth"]
        .into_iter()
        .filter(|k| p.has(k))
        .collect();
    let [key] = along.as_slice() else {
        r.tell(
            Mistake::error(Code::KeyConflict, site, "a position is said in exactly one way")
                .label(if along.is_empty() { "nothing says where" } else { "said twice" })
                .help("write { section = \"section.ID\", from_top = \"22 m\" }, the same with from_anchor, or { depth = \"0 m\" }"),
        );
        return None;
    };
    let length_m = p.q(key)?;
    if *key == "depth" {
        if let Some(site) = p.site_of("section") {
            r.tell(
                Mistake::error(
                    Code::KeyConflict,
                    site,
                    "a module on a section is placed by from_top or from_anchor",
                )
                .label("a section here")
                .related(length_m.at, "and a depth here"),
            );
        }
        return Some(Position::Depth(length_m));
    }
    if !p.has("section") {
        r.tell(
            Mistake::error(
                Code::MissingKey,
                site,
                format!("`{key}` needs the section it is measured on"),
            )
            .label("`section` is missing here")
            .help("add `section = \"section.ID\"`"),
        );
        return None;
    }
    let (_, path, _) = r.reference(p, "section")?;
    let section = ix_of(&line.sections, path, |s| &s.id).map(SectionIx)?;
    let whole = &line.sections[section.0].length_m;
    if length_m.si > whole.si {
        r.tell(
            Mistake::error(
                Code::BadPlace,
                length_m.at,
                "this is beyond the end of the section",
            )
            .label(format!(
                "the section is {} long",
                quantity::show(whole.si, quantity::Dimension::Length)
            ))
            .related(whole.at, "its length"),
        );
        return None;
    }
    Some(match *key {
        "from_top" => Position::FromTop { section, length_m },
        _ => Position::FromAnchor { section, length_m },
    })
}

fn depth_of(line: &Line, ix: ModuleIx, under_way: &mut [bool]) -> Option<f64> {
    if std::mem::replace(&mut under_way[ix.0], true) {
        return None;
    }
    let depth = match line.modules[ix.0].position {
        Position::Depth(q) => Some(q.si).filter(|d| d.is_finite()),
        Position::FromTop { section, length_m } => {
            let top = end_depth(line, line.sections[section.0].from, under_way);
            let bottom = || end_depth(line, line.sections[section.0].to, &mut under_way.to_vec());
            let rest = line.sections[section.0].length_m.si - length_m.si;
            top.map(|d| d + length_m.si)
                .or_else(|| bottom().map(|d| d - rest))
        }
        Position::FromAnchor { section, length_m } => {
            let bottom = end_depth(line, line.sections[section.0].to, under_way);
            let top = || end_depth(line, line.sections[section.0].from, &mut under_way.to_vec());
            let rest = line.sections[section.0].length_m.si - length_m.si;
            bottom
                .map(|d| d - length_m.si)
                .or_else(|| top().map(|d| d + rest))
        }
    };
    under_way[ix.0] = false;
    depth
}

fn end_depth(line: &Line, end: SectionEnd, under_way: &mut [bool]) -> Option<f64> {
    match end {
        SectionEnd::Anchor(_) => Some(line.sea.water_depth_m.si),
        SectionEnd::Module(m) => depth_of(line, m, under_way),
    }
}

fn check_places(r: &mut Resolver<'_>, line: &Line) {
    let floor = line.sea.water_depth_m;
    for module in &line.modules {
        r.part = format!("module.{}", module.id);
        let at = match module.position {
            Position::Depth(q) => q.at,
            Position::FromTop { length_m, .. } | Position::FromAnchor { length_m, .. } => {
                length_m.at
            }
        };
        if module.depth_m > floor.si {
            r.tell(
                Mistake::error(
                    Code::BadPlace,
                    at,
                    format!("`module.{}` lies below the seabed", module.id),
                )
                .label(format!(
                    "{} deep",
                    quantity::show(module.depth_m, quantity::Dimension::Length)
                ))
                .related(floor.at, "the water depth"),
            );
        } else if module.depth_m < 0.0 {
            r.tell(
                Mistake::error(
                    Code::BadPlace,
                    at,
                    format!("`module.{}` lies above the surface", module.id),
                )
                .label(format!(
                    "{} above",
                    quantity::show(-module.depth_m, quantity::Dimension::Length)
                )),
            );
        } else if module.depth_m.is_nan() && !matches!(module.position, Position::Depth(_)) {
            r.tell(
                Mistake::error(
                    Code::BadPlace,
                    at,
                    "sections that hang only on each other give no depth",
                )
                .label("this depth cannot be found")
                .help("end one of the sections at an anchor, or place a module by `depth`"),
            );
        }
    }
}

/// A surface buoy without a lantern is a hazard to navigation, and its load is often forgotten.
fn lanterns(r: &mut Resolver<'_>, line: &Line) {
    let on_section = |i: usize| {
        line.sections
            .iter()
            .any(|s| s.from == SectionEnd::Module(ModuleIx(i)))
    };
    for (i, module) in line.modules.iter().enumerate() {
        let lit = module.outputs.iter().any(|o| o.kind == OutputKind::Lamp);
        if module.depth_m == 0.0 && on_section(i) && !lit {
            r.part = format!("module.{}", module.id);
            r.tell(
                Mistake::warning(Code::Absent, module.at, format!("surface buoy `{}` has no lantern", module.id))
                    .label("a lamp and its load are usual here")
                    .help("add [module.ID.output.lantern] with kind = \"lamp\", its power, and starts = \"on\"; local rules on marking decide"),
            );
        }
    }
}

/// Shortest distance along the sections between two modules, m.
pub(super) fn distance_m(line: &Line, a: ModuleIx, b: ModuleIx) -> Option<f64> {
    let modules = line.modules.len();
    let nodes = modules + line.anchors.len();
    let node = |end: SectionEnd| match end {
        SectionEnd::Module(m) => m.0,
        SectionEnd::Anchor(i) => modules + i,
    };
    let mut edges: Vec<(usize, usize, f64)> = Vec::new();
    for (i, section) in line.sections.iter().enumerate() {
        let mut stops: Vec<(f64, usize)> = vec![
            (0.0, node(section.from)),
            (section.length_m.si, node(section.to)),
        ];
        for (m, module) in line.modules.iter().enumerate() {
            match module.position {
                Position::FromTop { section, length_m } if section.0 == i => {
                    stops.push((length_m.si, m))
                }
                Position::FromAnchor {
                    section: s,
                    length_m,
                } if s.0 == i => stops.push((section.length_m.si - length_m.si, m)),
                _ => {}
            }
        }
        stops.sort_by(|x, y| x.0.total_cmp(&y.0).then(x.1.cmp(&y.1)));
        edges.extend(stops.windows(2).map(|w| (w[0].1, w[1].1, w[1].0 - w[0].0)));
    }
    shortest(nodes, &edges, a.0, b.0)
}

fn shortest(nodes: usize, edges: &[(usize, usize, f64)], from: usize, to: usize) -> Option<f64> {
    let mut best = vec![f64::INFINITY; nodes];
    best[from] = 0.0;
    for _ in 0..nodes {
        let mut changed = false;
        for &(a, b, d) in edges {
            for (x, y) in [(a, b), (b, a)] {
                if best[x] + d < best[y] {
                    best[y] = best[x] + d;
                    changed = true;
                }
            }
        }
        if !changed {
            break;
        }
    }
    best[to].is_finite().then_some(best[to])
}

pub(super) fn shown_m(q: Q) -> String {
    quantity::show(q.si, quantity::Dimension::Length)
}
