//! Metals in the water of a plan: which of them are joined, which is eaten for which, and how long their anodes last.
//!
//! What touches is one piece for the current in the sea: metals are judged in groups that touch or are wired together, each with every other of its group.

use mooring::{
    ALUMINIUM_AH_KG, ALUMINIUM_IN_MUD_AH_KG, ALUMINIUM_KG_M3, ALUMINIUM_V, Anode, AnodeForm,
    Couple, IN_MUD_V, PROTECTED_V, SeaMetal, Wetted, ZINC_AH_KG, ZINC_IN_MUD_AH_KG, ZINC_KG_M3,
    ZINC_V, anode_holds_m3, anode_life_s, anode_ohm, protection_a, worn_anode_ohm,
};
use plan::{AnodeFormSaid, AnodeLies, AnodeMetal, AnodeSaid, Line, Metal};
use quantity::{Dimension, show};

const COULOMBS_PER_AH: f64 = 3600.0;
/// An anode may weigh so much more than its sizes hold: sizes are rounded.
const ROUNDED: f64 = 1.02;

/// Two metals that are joined.
#[derive(Clone, Debug, PartialEq)]
pub struct MetalPair {
    /// Index of the one into [`plan::Line::metals`]; of the one that is eaten, where that is known.
    pub eaten: usize,
    /// Index of the other.
    pub other: usize,
    /// What they do to each other.
    pub couple: Couple,
    /// How many times the bare area of what is eaten the bare area of the other is; why that is not known.
    pub area_ratio: Result<f64, String>,
}

/// Anodes of a group.
#[derive(Clone, Debug, PartialEq)]
pub struct GroupAnodes {
    /// Indices into [`plan::Line::anodes`], ascending.
    pub anodes: Vec<usize>,
    /// Mass of all of them, kg.
    pub mass_kg: f64,
    /// Current that the group takes, A; why that is not known.
    pub current_a: Result<f64, String>,
    /// How long they give it, s; nothing without any. Why that is not known.
    pub life_s: Result<f64, String>,
    /// Mass of them, in the proportions of those that are there, that lasts for the longest time in the water, kg; why that is not known.
    pub needed_kg: Result<f64, String>,
}

/// Metals that touch or are wired together.
#[derive(Clone, Debug, PartialEq)]
pub struct MetalGroup {
    /// Indices into [`plan::Line::metals`], ascending.
    pub metals: Vec<usize>,
    /// Every two of them of which it is known what they are made of.
    pub pairs: Vec<MetalPair>,
    /// Those of which it is not written what they are made of.
    pub unsaid: Vec<usize>,
    /// Its anodes.
    pub anodes: GroupAnodes,
}

impl MetalGroup {
    /// Whether anodes protect it, or somebody has written what they would have to give.
    pub(crate) fn wants_anodes(&self, line: &Line) -> bool {
        let written = |m: &usize| {
            let of = &line.metals[*m];
            let all = [
                of.current_density_a_m2,
                of.first_current_density_a_m2,
                of.last_current_density_a_m2,
            ];
            all.iter().any(Option::is_some)
        };
        !self.anodes.anodes.is_empty() || self.metals.iter().any(written)
    }
}

/// The metals of a line by groups, in the order of the first of each.
#[must_use]
pub fn metal_groups(line: &Line) -> Vec<MetalGroup> {
    let count = line.metals.len();
    let mut first: Vec<usize> = (0..count).collect();
    // Groups are few and small: each contact gives all of one group the lower number of the two.
    for (own, metal) in line.metals.iter().enumerate() {
        for other in &metal.touches {
            let (a, b) = (first[own], first[*other]);
            for of in &mut first {
                if *of == a.max(b) {
                    *of = a.min(b);
                }
            }
        }
    }
    let groups = (0..count).filter(|m| first[*m] == *m);
    let each = groups.map(|lead| {
        let metals: Vec<usize> = (0..count).filter(|m| first[*m] == lead).collect();
        group(line, metals)
    });
    each.collect()
}

/// The metal of the sea's table behind a name of the plan.
pub(crate) fn sea_metal(name: &str) -> Option<SeaMetal> {
    Some(match name {
        "graphite" | "carbon-fibre" => SeaMetal::Graphite,
        "nickel-chromium-molybdenum" => SeaMetal::NickelChromiumMolybdenum,
        "titanium" => SeaMetal::Titanium,
        "stainless-316" => SeaMetal::Stainless316,
        "stainless-304" => SeaMetal::Stainless304,
        "nickel-copper" => SeaMetal::NickelCopper,
        "silver" => SeaMetal::Silver,
        "nickel" => SeaMetal::Nickel,
        "nickel-aluminium-bronze" => SeaMetal::NickelAluminiumBronze,
        "copper-nickel-70-30" => SeaMetal::CopperNickel70,
        "copper-nickel-90-10" => SeaMetal::CopperNickel90,
        "bronze" => SeaMetal::TinBronze,
        "copper" => SeaMetal::Copper,
        "tin" => SeaMetal::Tin,
        "brass" => SeaMetal::Brass,
        "low-alloy-steel" => SeaMetal::LowAlloySteel,
        "mild-steel" | "cast-iron" => SeaMetal::MildSteel,
        "aluminium" => SeaMetal::AluminiumAlloy,
        "zinc" | "galvanised-steel" => SeaMetal::Zinc,
        "magnesium" => SeaMetal::Magnesium,
        _ => return None,
    })
}

/// Share of a metal that is bare: all of it where the plan does not say.
fn bare_share(metal: &Metal) -> f64 {
    metal.bare_share.map_or(1.0, |q| q.si)
}

fn group(line: &Line, metals: Vec<usize>) -> MetalGroup {
    let known = |m: usize| line.metals[m].metal.as_deref().and_then(sea_metal);
    let mut pairs = Vec::new();
    for (i, one) in metals.iter().enumerate() {
        for other in &metals[i + 1..] {
            if let (Some(a), Some(b)) = (known(*one), known(*other)) {
                pairs.push(pair(line, (*one, a), (*other, b)));
            }
        }
    }
    MetalGroup {
        unsaid: metals
            .iter()
            .copied()
            .filter(|m| known(*m).is_none())
            .collect(),
        anodes: anodes(line, &metals),
        metals,
        pairs,
    }
}

fn pair(line: &Line, (one, a): (usize, SeaMetal), (two, b): (usize, SeaMetal)) -> MetalPair {
    let couple = a.with(b);
    let (eaten, other) = match couple.eaten {
        Some(eaten) if eaten == b => (two, one),
        _ => (one, two),
    };
    let bare_m2 = |m: usize| {
        let metal = &line.metals[m];
        let area = metal.area_m2.ok_or_else(|| no_area(metal))?;
        Ok::<f64, String>(area.si * bare_share(metal))
    };
    let area_ratio = bare_m2(other).and_then(|o| Ok(o / bare_m2(eaten)?));
    MetalPair {
        eaten,
        other,
        couple,
        area_ratio,
    }
}

fn no_area(metal: &Metal) -> String {
    format!(
        "metal.{} says nothing of its surface: add `area = \"0.4 m2\"`",
        metal.id
    )
}

fn anodes(line: &Line, metals: &[usize]) -> GroupAnodes {
    let all = line.anodes.iter().enumerate();
    let own: Vec<usize> = all
        .filter(|(_, a)| metals.contains(&a.on))
        .map(|(i, _)| i)
        .collect();
    let mass_kg = own.iter().map(|a| line.anodes[*a].mass_kg.si).sum();
    let current_a = current_a(line, metals);
    let life_s = current_a.clone().and_then(|current_a| {
        let lives: Result<Vec<f64>, String> = own
            .iter()
            .map(|a| life_s(&line.anodes[*a], current_a))
            .collect();
        Ok(lives?.iter().sum())
    });
    // A mass lasts in proportion to itself.
    let needed_kg = match &life_s {
        Ok(life_s) if *life_s > 0.0 => Ok(mass_kg * line.deployment.longest_s() / life_s),
        Ok(_) => Err("it has no anode of which the mass could be told".to_owned()),
        Err(why) => Err(why.clone()),
    };
    GroupAnodes {
        anodes: own,
        mass_kg,
        current_a,
        life_s,
        needed_kg,
    }
}

fn current_a(line: &Line, metals: &[usize]) -> Result<f64, String> {
    let mean = taken(
        line,
        metals,
        ("current_density", |m| m.current_density_a_m2),
    );
    mean.map_err(|missing| missing.join("; "))
}

/// Current that metals take at a density of theirs, A; or all that is missing of it.
fn taken(
    line: &Line,
    metals: &[usize],
    (key, density_a_m2): (&str, fn(&Metal) -> Option<plan::Q>),
) -> Result<f64, Vec<String>> {
    let mut wetted = Vec::new();
    let mut missing = Vec::new();
    for metal in metals.iter().map(|m| &line.metals[*m]) {
        if metal.area_m2.is_none() {
            missing.push(no_area(metal));
        }
        let density = density_a_m2(metal);
        if density.is_none() {
            missing.push(format!(
                "metal.{} does not say what current it takes: add `{key} = \"100 mA/m2\"`",
                metal.id
            ));
        }
        if let (Some(area), Some(density)) = (metal.area_m2, density) {
            wetted.push(Wetted {
                area_m2: area.si,
                current_density_a_m2: density.si,
                bare_share: bare_share(metal),
            });
        }
    }
    if !missing.is_empty() {
        return Err(missing);
    }
    protection_a(&wetted).map_err(|e| vec![e.to_string()])
}

/// What an anode can give, by its form: its resistance, ohm, and its current, A, new and used up.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AnodeGives {
    /// New and used up, ohm.
    pub resistance_ohm: [f64; 2],
    /// New and used up, A.
    pub current_a: [f64; 2],
}

/// What an anode can give at the beginning and at the end of its life; why that is not known.
///
/// # Errors
/// In words, all that the plan does not say, or a figure out of its range.
pub fn anode_gives(anode: &AnodeSaid) -> Result<AnodeGives, String> {
    let mut missing = Vec::new();
    let mut wants = |known: bool, says: &str, example: &str| {
        if !known {
            missing.push(format!(
                "anode.{} says nothing of {says}: add `{example}`",
                anode.id
            ));
        }
    };
    wants(
        anode.form.is_some(),
        "its form and sizes",
        "form = { kind = \"flat\", length = \"200 mm\", width = \"40 mm\", thickness = \"20 mm\" }",
    );
    wants(
        anode.resistivity_ohm_m.is_some(),
        "the resistivity of what is about it",
        "resistivity = \"0.25 ohm.m\"",
    );
    wants(
        anode.about.is_some(),
        "what is about it, by which it has its potential",
        "about = \"water\"` or `about = \"mud\"",
    );
    let stands = match anode.form {
        Some(AnodeFormSaid::Slender { stands_off_m, .. }) => stands_off_m.is_some(),
        _ => true,
    };
    wants(
        stands,
        "how far it stands off what it protects",
        "stands_off = \"0.3 m\"` to its `form",
    );
    wants(
        anode.usable_share.is_some(),
        "how much of it can be used up",
        "usable_share = \"80 %\"",
    );
    let (Some(said), Some(resistivity), Some(usable), Some(about), true) = (
        anode.form,
        anode.resistivity_ohm_m,
        anode.usable_share,
        anode.about,
        stands,
    ) else {
        return Err(missing.join("; "));
    };
    let (in_water_v, density_kg_m3) = match anode.metal {
        AnodeMetal::Aluminium => (ALUMINIUM_V, ALUMINIUM_KG_M3),
        AnodeMetal::Zinc => (ZINC_V, ZINC_KG_M3),
    };
    let own_v = match about {
        AnodeLies::Water => in_water_v,
        AnodeLies::Mud => IN_MUD_V,
    };
    let form = match said {
        AnodeFormSaid::Slender {
            length_m,
            girth_m,
            core_m,
            stands_off_m,
        } => AnodeForm::Slender {
            length_m: length_m.si,
            girth_m: girth_m.si,
            core_m: core_m.map_or(0.0, |q| q.si),
            stands_off_m: stands_off_m.map_or(0.0, |q| q.si),
        },
        AnodeFormSaid::Flat {
            length_m,
            width_m,
            thickness_m,
        } => AnodeForm::Flat {
            length_m: length_m.si,
            width_m: width_m.si,
            thickness_m: thickness_m.si,
        },
        AnodeFormSaid::Bracelet { outer_m2, inner_m2 } => AnodeForm::Bracelet {
            outer_m2: outer_m2.si,
            inner_m2: inner_m2.si,
        },
    };
    let volume_m3 = anode.mass_kg.si / density_kg_m3;
    let new_ohm = anode_ohm(&form, resistivity.si).map_err(|e| e.to_string())?;
    let worn_ohm = worn_anode_ohm(&form, volume_m3, usable.si, resistivity.si)
        .map_err(|e| format!("anode.{} used up: {e}", anode.id))?;
    let holds_m3 = anode_holds_m3(&form).map_err(|e| e.to_string())?;
    if let Some(holds_m3) = holds_m3.filter(|holds_m3| volume_m3 > ROUNDED * holds_m3) {
        return Err(format!(
            "anode.{} weighs more than its sizes hold: {} of its `mass` against {} of its `form`",
            anode.id,
            show(anode.mass_kg.si, Dimension::Mass),
            show(holds_m3 * density_kg_m3, Dimension::Mass)
        ));
    }
    if worn_ohm < new_ohm {
        return Err(format!(
            "anode.{} would give more used up than new, so that its `form` and its `mass` cannot both be right",
            anode.id
        ));
    }
    let drives_v = PROTECTED_V - own_v;
    Ok(AnodeGives {
        resistance_ohm: [new_ohm, worn_ohm],
        current_a: [drives_v / new_ohm, drives_v / worn_ohm],
    })
}

/// Current that metals take at the beginning and at the end, A; why that is not known.
pub(crate) fn taken_a(line: &Line, metals: &[usize]) -> Result<[f64; 2], String> {
    let at = |key: &str, of: fn(&Metal) -> Option<plan::Q>| taken(line, metals, (key, of));
    let first = at("first_current_density", |m| m.first_current_density_a_m2);
    let last = at("last_current_density", |m| m.last_current_density_a_m2);
    match (first, last) {
        (Ok(first_a), Ok(last_a)) => Ok([first_a, last_a]),
        (first, last) => {
            let mut why: Vec<String> = Vec::new();
            for part in [first.err(), last.err()].into_iter().flatten().flatten() {
                if !why.contains(&part) {
                    why.push(part);
                }
            }
            Err(why.join("; "))
        }
    }
}

/// Capacity of an anode, C/kg: that of its metal where the plan does not say.
pub(crate) fn capacity_c_kg(anode: &AnodeSaid) -> f64 {
    let in_mud = anode.about == Some(AnodeLies::Mud);
    let of_metal_ah_kg = match (anode.metal, in_mud) {
        (AnodeMetal::Aluminium, false) => ALUMINIUM_AH_KG,
        (AnodeMetal::Aluminium, true) => ALUMINIUM_IN_MUD_AH_KG,
        (AnodeMetal::Zinc, false) => ZINC_AH_KG,
        (AnodeMetal::Zinc, true) => ZINC_IN_MUD_AH_KG,
    };
    anode
        .capacity_c_kg
        .map_or(COULOMBS_PER_AH * of_metal_ah_kg, |q| q.si)
}

fn life_s(anode: &AnodeSaid, current_a: f64) -> Result<f64, String> {
    let usable = anode.usable_share.ok_or_else(|| {
        format!(
            "anode.{} does not say how much of it can be used up: add `usable_share = \"80 %\"`",
            anode.id
        )
    })?;
    let of = Anode {
        capacity_ah_kg: capacity_c_kg(anode) / COULOMBS_PER_AH,
        usable_share: usable.si,
    };
    anode_life_s(anode.mass_kg.si, current_a, of).map_err(|e| e.to_string())
}

/// What counts of metals and anodes although nobody wrote it.
pub(crate) fn assumed(line: &Line) -> Vec<String> {
    let mut all = Vec::new();
    let bare = line.metals.iter().filter(|m| m.bare_share.is_none());
    let bare: Vec<String> = bare.map(|m| format!("metal.{}", m.id)).collect();
    if !bare.is_empty() {
        all.push(format!(
            "all of the surface is bare, because no `bare_share` is written: {}",
            bare.join(", ")
        ));
    }
    for anode in line.anodes.iter().filter(|a| a.capacity_c_kg.is_none()) {
        all.push(format!(
            "anode.{} gives {}, the design value of its metal in {} (from memory)",
            anode.id,
            show(capacity_c_kg(anode), Dimension::ChargePerMass),
            match anode.about {
                Some(AnodeLies::Mud) => "mud",
                Some(AnodeLies::Water) => "sea water",
                None => "sea water, as `about` is not written",
            }
        ));
    }
    let bars = line
        .anodes
        .iter()
        .filter(|a| matches!(a.form, Some(AnodeFormSaid::Slender { core_m: None, .. })));
    for anode in bars {
        all.push(format!(
            "anode.{} has no core, because no `core` is written: used up it is then thinner and gives less",
            anode.id
        ));
    }
    all
}

#[cfg(test)]
mod tests {
    use super::sea_metal;

    #[test]
    fn verif_every_metal_of_a_plan_is_one_of_the_sea() {
        let mut found: Vec<_> = plan::METALS.iter().filter_map(|m| sea_metal(m)).collect();
        assert_eq!(found.len(), plan::METALS.len());
        // The noblest first in both.
        assert!(found.is_sorted(), "{found:?}");
        found.dedup();
        assert_eq!(found, mooring::SeaMetal::ALL);
    }
}
