//! Metals in the water, what they touch, and their anodes.

use super::{Resolver, ix_of};
use crate::line::{AnodeMetal, AnodeSaid, Line, Metal};
use crate::mistake::{Code, Mistake};
use crate::read::Fields;

pub(super) fn metals(r: &mut Resolver<'_>, root: &Fields, line: &mut Line) {
    for (id, f) in root.keyed("metal") {
        r.part = format!("metal.{id}");
        let of = match f.reference("of") {
            Some((kind, path, site)) if r.names(kind, path, site) => Some(path.to_owned()),
            _ => None,
        };
        line.metals.push(Metal {
            id: id.to_owned(),
            at: f.site,
            of,
            metal: f.choice("metal").map(|(word, _)| (*word).to_owned()),
            area_m2: f.q("area"),
            bare_share: f.q("bare_share"),
            current_density_a_m2: f.q("current_density"),
            touches: Vec::new(),
        });
    }
    for (id, f) in root.keyed("metal") {
        r.part = format!("metal.{id}");
        let Some(own) = line.metals.iter().position(|m| m.id == id) else {
            continue;
        };
        let touches = touched(r, f, own, line);
        line.metals[own].touches = touches;
    }
    for (id, f) in root.keyed("anode") {
        r.part = format!("anode.{id}");
        if let Some(anode) = anode(r, id, f, line) {
            line.anodes.push(anode);
        }
    }
}

fn touched(r: &mut Resolver<'_>, f: &Fields, own: usize, line: &Line) -> Vec<usize> {
    let mut all: Vec<usize> = Vec::new();
    let Some((paths, _)) = f.references("touches") else {
        return all;
    };
    for (kind, path, site) in paths {
        if !r.names(*kind, path, *site) {
            continue;
        }
        let Some(other) = ix_of(&line.metals, path, |m| &m.id) else {
            continue;
        };
        let (title, label) = match (other == own, all.contains(&other)) {
            (true, _) => ("a metal touches itself", "itself"),
            (_, true) => ("it touches one metal twice", "again here"),
            (false, false) => {
                all.push(other);
                continue;
            }
        };
        r.tell(Mistake::error(Code::Duplicate, *site, title).label(label));
    }
    all.sort_unstable();
    all
}

fn anode(r: &mut Resolver<'_>, id: &str, f: &Fields, line: &Line) -> Option<AnodeSaid> {
    let (_, path, _) = r.reference(f, "on")?;
    Some(AnodeSaid {
        id: id.to_owned(),
        at: f.site,
        on: ix_of(&line.metals, path, |m| &m.id)?,
        metal: match *f.choice("metal")?.0 {
            "zinc" => AnodeMetal::Zinc,
            _ => AnodeMetal::Aluminium,
        },
        mass_kg: f.q("mass")?,
        usable_share: f.q("usable_share"),
        capacity_c_kg: f.q("capacity"),
    })
}
