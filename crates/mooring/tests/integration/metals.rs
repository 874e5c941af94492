//! Metals in contact: `reference/mooring/aca-potentials.csv`, and what every engineer knows of a few.

use mooring::{Contact, SeaMetal};

/// Waters, speeds and alloys differ.
const SECOND_V: f64 = 0.15;

fn rows_of(metal: SeaMetal) -> &'static [&'static str] {
    match metal {
        SeaMetal::Graphite => &["graphite"],
        SeaMetal::NickelChromiumMolybdenum => &["nickel-chromium-molybdenum"],
        SeaMetal::Titanium => &["titanium"],
        SeaMetal::Stainless316 => &["stainless-316-passive", "stainless-316-active"],
        SeaMetal::Stainless304 => &["stainless-304-passive", "stainless-304-active"],
        SeaMetal::NickelCopper => &["nickel-copper-400"],
        SeaMetal::Silver => &["silver"],
        SeaMetal::Nickel => &["nickel"],
        SeaMetal::NickelAluminiumBronze => &["nickel-aluminium-bronze"],
        SeaMetal::CopperNickel70 => &["copper-nickel-70-30"],
        SeaMetal::CopperNickel90 => &["copper-nickel-90-10"],
        SeaMetal::TinBronze => &["tin-bronze"],
        SeaMetal::Copper => &["copper"],
        SeaMetal::Tin => &["tin"],
        SeaMetal::Brass => &["brass"],
        SeaMetal::LowAlloySteel => &["low-alloy-steel"],
        SeaMetal::MildSteel => &["mild-steel"],
        SeaMetal::AluminiumAlloy => &["aluminium-alloy"],
        SeaMetal::Zinc => &["zinc"],
        SeaMetal::Magnesium => &["magnesium"],
    }
}

#[test]
fn val_potentials_as_printed() {
    let rows = truth::rows("mooring/aca-potentials.csv");
    assert_eq!(rows.len(), 22);
    let mut compared = 0;
    for metal in SeaMetal::ALL {
        let (noble_v, base_v) = metal.potential_v();
        let names = rows_of(metal);
        let found: Vec<_> = rows
            .iter()
            .filter(|r| names.contains(&r[0].as_str()))
            .collect();
        assert_eq!(found.len(), names.len());
        let most = |at: usize, pick: fn(f64, f64) -> f64| {
            let all = found.iter().map(|r| truth::number(&r[at]));
            all.reduce(pick).unwrap()
        };
        assert_eq!(
            (noble_v, base_v),
            (most(1, f64::max), most(2, f64::min)),
            "{metal:?}"
        );
        for row in found.iter().filter(|r| !r[3].is_empty()) {
            let second_v = truth::number(&row[3]);
            assert!(
                second_v < noble_v + SECOND_V && second_v > base_v - SECOND_V,
                "{row:?}"
            );
            compared += 1;
        }
    }
    assert_eq!(compared, 18);
}

/// Aluminium is eaten for titanium, stainless steel and bronze; zinc for steel, which is why it protects it; copper and brass may touch; what stainless steel and copper do depends on whether
/// the steel is passive.
#[test]
fn verif_couples_that_are_known() {
    for noble in [
        SeaMetal::Titanium,
        SeaMetal::Stainless316,
        SeaMetal::TinBronze,
        SeaMetal::Graphite,
    ] {
        let couple = noble.with(SeaMetal::AluminiumAlloy);
        assert_eq!(couple.eaten, Some(SeaMetal::AluminiumAlloy));
        assert_eq!(couple.ruling, Contact::Unlike);
    }
    let steel = SeaMetal::MildSteel.with(SeaMetal::Zinc);
    assert_eq!(
        (steel.eaten, steel.ruling),
        (Some(SeaMetal::Zinc), Contact::Unlike)
    );
    assert!((steel.least_v - 0.26).abs() < 1e-12 && (steel.most_v - 0.43).abs() < 1e-12);
    let brass = SeaMetal::Copper.with(SeaMetal::Brass);
    assert_eq!((brass.eaten, brass.ruling), (None, Contact::Alike));
    let steel = SeaMetal::Stainless316.with(SeaMetal::Copper);
    assert_eq!((steel.eaten, steel.ruling), (None, Contact::MayBeUnlike));
    assert_eq!(steel.least_v, 0.0);
}

#[test]
fn verif_couples_are_the_same_both_ways() {
    for a in SeaMetal::ALL {
        assert_eq!(a.with(a).ruling, Contact::Alike);
        for b in SeaMetal::ALL {
            let (one, other) = (a.with(b), b.with(a));
            assert_eq!(one, other);
            assert!(one.least_v <= one.most_v);
            assert_eq!(one.eaten.is_some(), one.least_v > 0.0);
        }
    }
}
