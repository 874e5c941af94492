//! Floats and weights on the sections.

use super::mechanics::position;
use super::{Resolver, unknown};
use crate::line::{Float, Line, Outside, Position, SectionEnd, Weight};
use crate::mistake::{Code, Mistake};
use crate::read::Fields;
use crate::site::Site;

/// Floats, but for their positions: sections may end at them.
pub(super) fn floats(root: &Fields, line: &mut Line) {
    for (id, f) in root.keyed("float") {
        line.floats.push(Float {
            id: id.to_owned(),
            at: f.site,
            position: None,
            buoyancy_n: f.q("buoyancy"),
            cd_a_m2: f.q("cd_a"),
            rated_depth_m: f.q("rated_depth"),
            diameter_m: f.q("diameter"),
            flooding_adds_n: f.q("flooding_adds"),
        });
    }
}

/// Weights, and the positions of floats.
pub(super) fn weights(r: &mut Resolver<'_>, root: &Fields, line: &mut Line) {
    for (ix, (id, f)) in root.keyed("float").enumerate() {
        r.part = format!("float.{id}");
        let is_end = |end: SectionEnd| matches!(end, SectionEnd::Float(at) if at == ix);
        let ends = line
            .sections
            .iter()
            .find(|s| is_end(s.from) || is_end(s.to));
        match (f.table("position"), ends) {
            (Some((_, site)), Some(section)) => {
                let section = section.at;
                r.tell(
                    Mistake::error(
                        Code::KeyConflict,
                        site,
                        "a float at an end of a section is where that end is",
                    )
                    .label("a position here")
                    .related(section, "and a section that ends at it"),
                );
            }
            (Some((p, site)), None) => {
                let position = on_a_section(r, p, site, line);
                line.floats[ix].position = position;
            }
            (None, Some(_)) => {}
            // A section that a mistake keeps out of the line may end at it.
            (None, None) if r.declared.lost("section", line.sections.len()) || f.has("position") => {}
            (None, None) => r.tell(
                Mistake::error(Code::MissingKey, f.site, "nothing says where this float is")
                    .label("neither a position, nor a section that ends at it")
                    .help("add `position = { section = \"section.ID\", from_top = \"22 m\" }`, or write `from = \"float.ID\"` in a section"),
            ),
        }
    }
    for (id, f) in root.keyed("weight") {
        r.part = format!("weight.{id}");
        let Some((p, site)) = f.table("position") else {
            continue;
        };
        let position = on_a_section(r, p, site, line);
        line.weights.push(Weight {
            id: id.to_owned(),
            at: f.site,
            position: position.unwrap_or(Position::Depth(unknown(site))),
            weight_in_water_n: f.q("weight_in_water"),
            cd_a_m2: f.q("cd_a"),
            outside: outside(f),
        });
    }
}

pub(super) fn on_a_section(
    r: &mut Resolver<'_>,
    p: &Fields,
    site: Site,
    line: &Line,
) -> Option<Position> {
    match position(r, p, site, line)? {
        Position::Depth(depth) => {
            r.tell(
                Mistake::error(
                    Code::KeyConflict,
                    depth.at,
                    "only a module may be placed by a depth",
                )
                .label("a depth here")
                .help("write { section = \"section.ID\", from_top = \"22 m\" }, or the same with from_anchor"),
            );
            None
        }
        placed => Some(placed),
    }
}

/// Outer size of a housing or a weight.
pub(super) fn outside(f: &Fields) -> Option<Outside> {
    let (t, _) = f.table("outside")?;
    Some(Outside {
        diameter_m: t.q("diameter")?,
        length_m: t.q("length")?,
    })
}
