//! Sections and positions: where everything hangs when the line stands straight, and the distance along it.

use std::collections::VecDeque;

use super::hung::floats;
use super::{Resolver, bare, ix_of, module_of};
use crate::field::RefKind;
use crate::line::{
    Anchor, Line, Module, ModuleIx, OutputKind, Position, Rope, Section, SectionEnd, SectionIx,
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
            holding_factor: f.q("holding_factor"),
            safety_factor: f.number("safety_factor").map(bare),
        });
    }
    floats(root, line);
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
        fairing: f.flag("fairing").map(|(carries, _)| *carries),
        heave_share: f.q("heave_share"),
    })
}

pub(super) fn end(
    r: &mut Resolver<'_>,
    f: &Fields,
    key: &'static str,
    line: &Line,
) -> Option<SectionEnd> {
    let (kind, path, _) = r.reference(f, key)?;
    match kind {
        RefKind::Anchor => ix_of(&line.anchors, path, |a| &a.id).map(SectionEnd::Anchor),
        RefKind::Float => ix_of(&line.floats, path, |f| &f.id).map(SectionEnd::Float),
        _ => module_of(line, path).map(SectionEnd::Module),
    }
}

fn rope(r: &mut Resolver<'_>, f: &Fields) -> Option<Rope> {
    let (_, path, site) = f.reference("rope")?;
    let user = r.part.clone();
    let part = r.catalogue.part(&ROPE, path, site, r.mistakes, &user)?;
    let held = part.used_at(site);
    let mut fields = Reader::new(r.catalogue, r.mistakes).part(&ROPE, &held, part.site, &user);
    if let Some(Err(not_drawn)) = r.draw.map(|draw| draw.apply_rope(&user, &mut fields)) {
        r.not_drawn.get_or_insert(not_drawn);
    }
    if r.draw.is_none() {
        breaks_first(r, &fields);
        strums_less(r, &fields);
    }
    Some(Rope {
        diameter_m: fields.q("diameter"),
        weight_in_water_n_m: fields.q("weight_in_water"),
        stiffness_n: fields.q("stiffness"),
        breaking_load_n: fields.q("breaking_load"),
        working_load_n: fields.q("working_load"),
        normal_drag: fields.q("normal_drag"),
        tangential_drag: fields.q("tangential_drag"),
        strumming_drag: fields.q("strumming_drag"),
    })
}

/// A rope that breaks before it has its working load bears no working load.
fn breaks_first(r: &mut Resolver<'_>, fields: &Fields) {
    let (Some(working), Some(breaking)) = (fields.q("working_load"), fields.q("breaking_load"))
    else {
        return;
    };
    if working.si > breaking.si {
        r.tell(
            Mistake::error(
                Code::KeyConflict,
                working.at,
                "the working load is more than the breaking load",
            )
            .label("here")
            .related(breaking.at, "it breaks at this")
            .help("write what the maker lets it bear: its breaking load over the factor of safety of the job"),
        );
    }
}

fn strums_less(r: &mut Resolver<'_>, fields: &Fields) {
    let (Some(still), Some(strumming)) = (fields.q("normal_drag"), fields.q("strumming_drag"))
    else {
        return;
    };
    if strumming.si < still.si {
        r.tell(
            Mistake::error(
                Code::KeyConflict,
                strumming.at,
                "a rope that strums drags less than one that does not",
            )
            .label("less than `normal_drag`")
            .related(still.at, "without strum")
            .help("write the drag coefficient of the rope while it strums, which is the larger one, or leave it out"),
        );
    }
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
    settle_depths(line);
    check_lengths(r, line);
    check_places(r, line);
    // A module whose place could not be settled has had its mistake told and is left out of depth-dependent results.
    if line.modules.iter().all(|m| m.depth_m.is_finite()) {
        lanterns(r, line);
    }
}

pub(super) fn position(
    r: &mut Resolver<'_>,
    p: &Fields,
    site: Site,
    line: &Line,
) -> Option<Position> {
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
            return None;
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

/// Settles the depths step by step from what is known: modules placed by depth, and anchors.
///
/// A section hangs straight down from its upper end, and what of it is longer than the water lies on the seabed: so a place
/// on it has one depth, by whichever end it is written. Only when the upper end has no depth of its own does the section
/// stand straight up from its lower one.
fn settle_depths(line: &mut Line) {
    for module in &mut line.modules {
        module.straight_depth_m = match module.position {
            Position::Depth(q) if q.si.is_finite() => q.si,
            _ => f64::NAN,
        };
    }
    while settle_some(line, depth_below_top) || settle_some(line, depth_above_bottom) {}
    for module in &mut line.modules {
        module.depth_m = module.straight_depth_m;
    }
}

/// Settles what can be settled in one step; whether there was anything.
fn settle_some(line: &mut Line, depth_m: fn(&Line, &Section, f64) -> Option<f64>) -> bool {
    let found: Vec<(usize, f64)> = (0..line.modules.len())
        .filter(|&i| line.modules[i].straight_depth_m.is_nan())
        .filter_map(|i| {
            let (section, from_top_m) = place(line, &line.modules[i])?;
            Some((i, depth_m(line, section, from_top_m)?))
        })
        .collect();
    for &(i, depth_m) in &found {
        line.modules[i].straight_depth_m = depth_m;
    }
    !found.is_empty()
}

/// The section on which a module hangs, and the length along it from its upper end, m.
fn place<'a>(line: &'a Line, module: &Module) -> Option<(&'a Section, f64)> {
    match module.position {
        Position::Depth(_) => None,
        Position::FromTop { section, length_m } => Some((&line.sections[section.0], length_m.si)),
        Position::FromAnchor { section, length_m } => {
            let section = &line.sections[section.0];
            Some((section, section.length_m.si - length_m.si))
        }
    }
}

fn depth_below_top(line: &Line, section: &Section, from_top_m: f64) -> Option<f64> {
    let most = line.sections.len();
    let hanging_m = upper_end_depth_m(line, section, most)? + from_top_m;
    match lowest_end(line, section, most) {
        Some(SectionEnd::Anchor(a)) => {
            let seabed_m = line.end_depth_m(SectionEnd::Anchor(a));
            Some(seabed_m.map_or(hanging_m, |seabed_m| hanging_m.min(seabed_m)))
        }
        _ => Some(hanging_m),
    }
}

fn depth_above_bottom(line: &Line, section: &Section, from_top_m: f64) -> Option<f64> {
    let below_m = lower_end_depth_m(line, section, line.sections.len())?;
    Some(below_m - (section.length_m.si - from_top_m))
}

/// Depth of the upper end of a section; one at a float hangs as low as the sections above are long. At most `most` sections are gone through.
fn upper_end_depth_m(line: &Line, section: &Section, most: usize) -> Option<f64> {
    let SectionEnd::Float(_) = section.from else {
        return line.end_depth_m(section.from);
    };
    let above = line.sections.iter().find(|s| s.to == section.from)?;
    let most = most.checked_sub(1)?;
    Some(upper_end_depth_m(line, above, most)? + above.length_m.si)
}

/// Depth of the lower end of a section; one at a float stands as high as the sections below are long.
fn lower_end_depth_m(line: &Line, section: &Section, most: usize) -> Option<f64> {
    let SectionEnd::Float(_) = section.to else {
        return line.end_depth_m(section.to);
    };
    let below = line.sections.iter().find(|s| s.from == section.to)?;
    let most = most.checked_sub(1)?;
    Some(lower_end_depth_m(line, below, most)? - below.length_m.si)
}

/// What the lowest of the sections that floats join below one ends at.
fn lowest_end(line: &Line, section: &Section, most: usize) -> Option<SectionEnd> {
    let SectionEnd::Float(_) = section.to else {
        return Some(section.to);
    };
    let below = line.sections.iter().find(|s| s.from == section.to)?;
    lowest_end(line, below, most.checked_sub(1)?)
}

/// A section must span the water between its ends.
fn check_lengths(r: &mut Resolver<'_>, line: &Line) {
    for section in &line.sections {
        r.part = format!("section.{}", section.id);
        let Some(excess_m) = line.excess_m(section) else {
            continue;
        };
        let show = |m: f64| quantity::show(m, quantity::Dimension::Length);
        if excess_m < 0.0 {
            r.tell(
                Mistake::error(
                    Code::BadPlace,
                    section.length_m.at,
                    format!("`section.{}` does not reach from one end to the other", section.id),
                )
                .label(format!("{} too short", show(-excess_m)))
                .related(line.sea.water_depth_m.at, "the water depth")
                .help(format!(
                    "its ends are {} apart in depth; a rope that stretches has the length that it has under tension",
                    show(section.length_m.si - excess_m)
                )),
            );
        }
    }
}

fn check_places(r: &mut Resolver<'_>, line: &Line) {
    let floor = line.sea.water_depth_m;
    // What cannot be found because of another mistake has been told there.
    let all_read = !floor.si.is_nan()
        && !r.declared.lost("section", line.sections.len())
        && !(0..line.modules.len()).any(|i| unsettled(line, ModuleIx(i)));
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
        } else if on_the_seabed(line, module) {
            r.tell(
                Mistake::warning(
                    Code::BadPlace,
                    at,
                    format!(
                        "`module.{}` lies on the seabed when the line hangs straight",
                        module.id
                    ),
                )
                .label("within what the section is longer than the water")
                .related(floor.at, "the water depth")
                .help(
                    "shorten the section, place the module higher, or see that floats hold it up",
                ),
            );
        } else if module.depth_m.is_nan() && all_read {
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

/// Whether a module hangs so low on a section that is longer than the water that it comes to lie on the seabed.
fn on_the_seabed(line: &Line, module: &Module) -> bool {
    place(line, module).is_some_and(|(section, from_top_m)| {
        line.end_depth_m(section.from)
            .is_some_and(|top_m| top_m + from_top_m > module.depth_m)
    })
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

/// The sections as ways between what hangs on them and what they end at.
pub(super) struct Ways {
    /// Of each node those that are next to it, with the way to them, m: modules, then anchors, then floats.
    next: Vec<Vec<(usize, f64)>>,
}

impl Ways {
    pub(super) fn of(line: &Line) -> Ways {
        let modules = line.modules.len();
        let ends = modules + line.anchors.len();
        let node = |end: SectionEnd| match end {
            SectionEnd::Module(m) => m.0,
            SectionEnd::Anchor(i) => modules + i,
            SectionEnd::Float(i) => ends + i,
        };
        let each = line.sections.iter();
        let mut stops: Vec<Vec<(f64, usize)>> = each
            .map(|section| {
                vec![
                    (0.0, node(section.from)),
                    (section.length_m.si, node(section.to)),
                ]
            })
            .collect();
        for (m, module) in line.modules.iter().enumerate() {
            let (section, from_top_m) = match module.position {
                Position::FromTop { section, length_m } => (section, length_m.si),
                Position::FromAnchor { section, length_m } => {
                    let long_m = line.sections[section.0].length_m.si;
                    (section, long_m - length_m.si)
                }
                Position::Depth(_) => continue,
            };
            stops[section.0].push((from_top_m, m));
        }
        let mut next = vec![Vec::new(); ends + line.floats.len()];
        for stops in &mut stops {
            stops.sort_by(|x, y| x.0.total_cmp(&y.0).then(x.1.cmp(&y.1)));
            for pair in stops.windows(2) {
                let (a, b, way_m) = (pair[0].1, pair[1].1, pair[1].0 - pair[0].0);
                next[a].push((b, way_m));
                next[b].push((a, way_m));
            }
        }
        Ways { next }
    }

    /// Shortest distance along the sections between two modules, m.
    pub(super) fn distance_m(&self, from: ModuleIx, to: ModuleIx) -> Option<f64> {
        let mut best = vec![f64::INFINITY; self.next.len()];
        best[from.0] = 0.0;
        // Each node whose distance has become less is looked at again: no way is below zero, so that this ends.
        let mut nearer = VecDeque::from([from.0]);
        while let Some(at) = nearer.pop_front() {
            for &(other, way_m) in &self.next[at] {
                if best[at] + way_m < best[other] {
                    best[other] = best[at] + way_m;
                    nearer.push_back(other);
                }
            }
        }
        best[to.0].is_finite().then_some(best[to.0])
    }
}

/// Whether a module's position could not be read.
pub(super) fn unsettled(line: &Line, ix: ModuleIx) -> bool {
    matches!(line.modules[ix.0].position, Position::Depth(q) if q.si.is_nan())
}
