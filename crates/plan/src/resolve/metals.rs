//! Metals in the water, what they touch, and their anodes.

use super::{Resolver, ix_of};

use crate::line::{AnodeFormSaid, AnodeLies, AnodeMetal, AnodeSaid, Line, Metal, Q};
use crate::mistake::{Code, Mistake};
use crate::read::Fields;

/// Keys of the sizes of all forms of anodes.
const FORM_SIZES: [&str; 8] = [
    "length",
    "girth",
    "core",
    "stands_off",
    "width",
    "thickness",
    "outer_area",
    "inner_area",
];

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
            first_current_density_a_m2: f.q("first_current_density"),
            last_current_density_a_m2: f.q("last_current_density"),
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
        capacity_c_kg: capacity(r, f)?,
        form: form(r, f)?,
        resistivity_ohm_m: f.q("resistivity"),
        about: f.choice("about").map(|(word, _)| match *word {
            "mud" => AnodeLies::Mud,
            _ => AnodeLies::Water,
        }),
    })
}

/// Faraday constant, C/mol (CODATA 2018, exact since 2019).
const FARADAY_C_MOL: f64 = 96_485.332_12;
/// Molar masses, kg/mol (IUPAC standard atomic weights, from memory).
const ZINC_KG_MOL: f64 = 0.065_38;
const ALUMINIUM_KG_MOL: f64 = 0.026_981_5;

/// The capacity of an anode, at most what Faraday's law gives of its metal; `None` where it is more.
#[expect(
    clippy::option_option,
    reason = "a mistake, nothing written, something written"
)]
fn capacity(r: &mut Resolver<'_>, f: &Fields) -> Option<Option<Q>> {
    let Some(said) = f.q("capacity") else {
        return Some(None);
    };
    let (metal, most_c_kg) = match *f.choice("metal")?.0 {
        "zinc" => ("zinc", 2.0 * FARADAY_C_MOL / ZINC_KG_MOL),
        _ => ("aluminium", 3.0 * FARADAY_C_MOL / ALUMINIUM_KG_MOL),
    };
    if said.si <= most_c_kg {
        return Some(Some(said));
    }
    r.tell(
        Mistake::error(
            Code::OutOfRange,
            said.at,
            format!(
                "a kilogram of {metal} gives no more than {:.0} Ah, by Faraday's law",
                most_c_kg / 3600.0
            ),
        )
        .label("more than that")
        .help("write what a test of the alloy gave, or leave it out for the design value of its metal"),
    );
    None
}

#[expect(
    clippy::option_option,
    reason = "a mistake, nothing written, something written"
)]
fn form(r: &mut Resolver<'_>, f: &Fields) -> Option<Option<AnodeFormSaid>> {
    let Some((t, site)) = f.table("form") else {
        return (!f.has("form")).then_some(None);
    };
    let kind = *t.choice("kind")?.0;
    let (needed, may): (&[&str], &[&str]) = match kind {
        "slender" => (&["length", "girth"], &["core", "stands_off"]),
        "flat" => (&["length", "width", "thickness"], &[]),
        _ => (&["outer_area", "inner_area"], &[]),
    };
    let mut wrong = false;
    for key in needed.iter().filter(|key| !t.has(key)) {
        wrong = true;
        r.tell(
            Mistake::error(
                Code::MissingKey,
                site,
                format!("the form of a {kind} anode needs `{key}`"),
            )
            .label("not written here"),
        );
    }
    for key in FORM_SIZES.iter().filter(|key| t.has(key)) {
        if !needed.contains(key) && !may.contains(key) {
            wrong = true;
            r.tell(
                Mistake::error(
                    Code::KeyConflict,
                    t.site_of(key).unwrap_or(site),
                    format!("a {kind} anode has no `{key}`"),
                )
                .label("a size of another form"),
            );
        }
    }
    if wrong {
        return None;
    }
    let said = match kind {
        "slender" => AnodeFormSaid::Slender {
            length_m: t.q("length")?,
            girth_m: t.q("girth")?,
            core_m: t.q("core"),
            stands_off_m: t.q("stands_off"),
        },
        "flat" => AnodeFormSaid::Flat {
            length_m: t.q("length")?,
            width_m: t.q("width")?,
            thickness_m: t.q("thickness")?,
        },
        _ => AnodeFormSaid::Bracelet {
            outer_m2: t.q("outer_area")?,
            inner_m2: t.q("inner_area")?,
        },
    };
    let (one, other, what, than) = match said {
        AnodeFormSaid::Flat {
            length_m, width_m, ..
        } if width_m.si > length_m.si => (width_m, length_m, "width", "length"),
        AnodeFormSaid::Slender {
            girth_m,
            core_m: Some(core_m),
            ..
        } if std::f64::consts::PI * core_m.si >= girth_m.si => (core_m, girth_m, "core", "girth"),
        _ => return Some(Some(said)),
    };
    r.tell(
        Mistake::error(
            Code::OutOfRange,
            one.at,
            format!("the {what} of an anode is too great for its {than}"),
        )
        .label("here")
        .related(other.at, format!("its {than}")),
    );
    None
}
