//! Metals in the water: which pair is named, what anodes keep from being eaten, how long they last.

use assess::{Check, Known, Ruling, Verdict, Word, metal_groups};

use crate::support::{checked, close, good, known, requirement, why_unknown};

const ASKED: &str = "[requirement.voltage]\n";

/// An aluminium housing with a bare stainless bracket on it, as many a line has; invented.
const BRACKET: &str = r#"
[metal.housing]
of = "module.ear"
metal = "aluminium"
area = "0.25 m2"
bare_share = "4 %"
current_density = "100 mA/m2"

[metal.bracket]
metal = "stainless-316"
area = "0.1 m2"
current_density = "120 mA/m2"
touches = ["metal.housing"]
"#;

const ZINC: &str = r#"
[anode.block]
on = "metal.bracket"
metal = "zinc"
mass = "150 g"
usable_share = "80 %"
"#;

const LIFE: &str = "[requirement.anodes]\nthat = \"anode-life\"\nof = \"metal.housing\"\n";

fn with(texts: &[&str]) -> Check {
    let mut all = texts.join("\n");
    all.push_str(ASKED);
    checked(&[(ASKED, &all)])
}

fn only<'c>(check: &'c Check, id: &str) -> &'c Known {
    let judged = requirement(check, id);
    assert_eq!(judged.verdicts.len(), 1, "{judged:?}");
    known(check, id)
}

/// The printed ranges: 316 from 0 to -0.46 V, aluminium alloys from -0.76 to -1.00 V, so 0.30 V apart at least and 1.00 V at most; ten times the bare area.
#[test]
fn val_bare_stainless_on_an_aluminium_housing_is_named() {
    let check = with(&[BRACKET]);
    let of = only(&check, "unlike-metals");
    assert_eq!(of.ruling, Ruling::Broken);
    assert_eq!(of.subject, "metal.housing with metal.bracket");
    close(of.value.value, 0.30, 1e-12);
    close(of.limit.value, 0.2, 0.0);
    assert!(
        of.why.starts_with(
            "metal.housing (aluminium, of module.ear) is eaten for metal.bracket (stainless-316), 0.3 V to 1 V apart"
        ),
        "{}",
        of.why
    );
    assert!(of.why.contains("10 times its bare area"), "{}", of.why);
    assert!(of.why.contains("no anode is on them"), "{}", of.why);
}

/// Parted by plastic, or of one metal, nothing is eaten; a plan without metals is not told of them.
#[test]
fn verif_only_what_touches_is_judged() {
    let parted = BRACKET.replace("touches = [\"metal.housing\"]", "");
    let one = BRACKET.replace("stainless-316", "aluminium");
    let all = |check: &Check| check.standing.iter().any(|j| j.id == "unlike-metals");
    assert!(!all(&with(&[&parted])));
    assert!(!all(&with(&[])));
    let of = with(&[&one]);
    assert_eq!(requirement(&of, "unlike-metals").word(), Word::Met);
}

/// Metals that touch the same third one are joined by it.
#[test]
fn verif_what_a_third_metal_joins_is_judged() {
    let ring =
        "[metal.ring]\nmetal = \"titanium\"\narea = \"0.01 m2\"\ntouches = [\"metal.bracket\"]\n";
    let check = with(&[BRACKET, ring]);
    let subjects: Vec<&str> = requirement(&check, "unlike-metals")
        .verdicts
        .iter()
        .map(Verdict::subject)
        .collect();
    assert!(
        subjects.contains(&"metal.housing with metal.ring"),
        "{subjects:?}"
    );
    assert_eq!(subjects.len(), 3);
    // Titanium and 316: from 0.04 V to 0.52 V apart.
    let all = requirement(&check, "unlike-metals").verdicts.iter();
    let ring = all
        .filter_map(|v| match v {
            Verdict::Known(known) if known.subject == "metal.bracket with metal.ring" => {
                Some(known)
            }
            _ => None,
        })
        .next()
        .unwrap();
    assert_eq!(ring.ruling, Ruling::Marginal);
    close(ring.value.value, 0.04, 1e-12);
}

#[test]
fn verif_an_unwritten_metal_in_contact_is_unknown() {
    let silent = BRACKET.replace("metal = \"stainless-316\"\n", "");
    let check = with(&[&silent]);
    let why = why_unknown(&check, "unlike-metals");
    assert!(why.contains("joined to metal.housing"), "{why}");
    assert!(why.contains("add `metal = "), "{why}");
}

/// 0.25 m2 bare to 4 % at 100 mA/m2 and 0.1 m2 at 120 mA/m2 take 13 mA; 150 g of zinc, 80 % of them usable, give 0.15 x 780 x 0.8 = 93.6 Ah: 7200 h, 300 d. One day
/// needs half a gram: 0.013 A x 24 h / (780 Ah/kg x 0.8).
#[test]
fn val_anodes_last_by_their_charge() {
    let check = with(&[BRACKET, ZINC, LIFE]);
    let of = only(&check, "anodes");
    close(of.value.value, 300.0, 1e-9);
    assert_eq!(of.value.unit, "d");
    close(of.limit.value, 1.0, 0.0);
    assert!(of.why.contains("takes 13 mA"), "{}", of.why);
    assert!(of.why.contains("780 Ah/kg"), "{}", of.why);
    let reading = good(&[(ASKED, &[BRACKET, ZINC, ASKED].concat())]);
    let line = reading.line.as_ref().unwrap();
    let groups = metal_groups(line);
    assert_eq!(groups.len(), 1);
    close(
        *groups[0].anodes.needed_kg.as_ref().unwrap(),
        0.013 * 24.0 / (780.0 * 0.8),
        1e-12,
    );
    assert!(check.assumed.iter().any(|a| a.contains("780 Ah/kg")));
    assert!(
        check
            .assumed
            .iter()
            .any(|a| a.ends_with("no `bare_share` is written: metal.bracket"))
    );
}

/// What was eaten bare is only marginal while anodes last, with the recovery slip, and broken again once they do not.
#[test]
fn verif_anodes_guard_as_long_as_they_last() {
    let slip = |wk: u32| {
        let text = format!("duration = \"1 d\"\nrecovery_slip = \"{wk} wk\"");
        let all = [BRACKET, ZINC, LIFE, ASKED].concat();
        checked(&[(ASKED, &all), ("duration = \"1 d\"", &text)])
    };
    for (wk, pair, anodes) in [
        (1, Ruling::Marginal, Ruling::Met),
        (40, Ruling::Marginal, Ruling::Marginal),
        (43, Ruling::Broken, Ruling::Broken),
    ] {
        let check = slip(wk);
        let of = only(&check, "unlike-metals");
        assert_eq!(of.ruling, pair, "{wk}: {}", of.why);
        let lasts = match pair {
            Ruling::Broken => "for 300 d of the 302 d at most",
            _ => "for all of the",
        };
        assert!(of.why.contains(lasts), "{}", of.why);
        assert_eq!(only(&check, "anodes").ruling, anodes, "{wk}");
    }
    // Zinc does not guard what is of zinc.
    let galvanised = BRACKET.replace("\"aluminium\"", "\"galvanised-steel\"");
    let check = with(&[&galvanised, ZINC]);
    let of = only(&check, "unlike-metals");
    assert_eq!(of.ruling, Ruling::Broken);
    assert!(of.why.contains("no baser"), "{}", of.why);
}

#[test]
fn verif_each_missing_key_of_anodes_is_named() {
    for (from, missing) in [
        ("area = \"0.25 m2\"\n", "add `area = "),
        (
            "current_density = \"120 mA/m2\"\n",
            "add `current_density = ",
        ),
        ("usable_share = \"80 %\"\n", "add `usable_share = "),
    ] {
        let all = [BRACKET, ZINC].concat();
        assert!(all.contains(from));
        let check = with(&[&all.replace(from, ""), LIFE]);
        let why = why_unknown(&check, "anodes");
        assert!(why.contains(missing), "{why}");
    }
    let each = "[requirement.anodes]\nthat = \"anode-life\"\n";
    let why = with(&[each]);
    assert!(why_unknown(&why, "anodes").contains("`[anode.ID]`"));
    // Somebody wrote what it would take, and forgot the anode.
    let check = with(&[BRACKET, each]);
    let of = only(&check, "anodes");
    assert_eq!(of.ruling, Ruling::Broken);
    close(of.value.value, 0.0, 0.0);
    assert!(of.why.contains("no anode is on it"), "{}", of.why);
}

const OUTPUT: &str = "[requirement.output]\nthat = \"anode-current\"\nof = \"metal.housing\"\n";

/// What is needed of the anode of `BRACKET` to know what it can give.
fn formed(zinc: &str) -> String {
    zinc.replace(
        "usable_share",
        "form = { kind = \"flat\", length = \"100 mm\", width = \"30 mm\", thickness = \"8 mm\" }\nresistivity = \"0.25 ohm.m\"\nabout = \"water\"\nusable_share",
    )
}

fn dense(bracket: &str) -> String {
    bracket
        .replace("current_density = \"100", "first_current_density = \"200 mA/m2\"\nlast_current_density = \"150 mA/m2\"\ncurrent_density = \"100")
        .replace("current_density = \"120", "first_current_density = \"300 mA/m2\"\nlast_current_density = \"200 mA/m2\"\ncurrent_density = \"120")
}

/// By hand: 100 x 30 x 8 mm is shorter than four widths, so McCoy's `0.315 rho/sqrt(A)` of 3000 + 2 x 130 x 8 = 5080 mm2 new, and of the 3000 mm2 that face the metal used up; zinc drives 0.20 V. The metals take
/// 0.01 x 0.2 + 0.1 x 0.3 = 32 mA at the beginning, 0.01 x 0.15 + 0.1 x 0.2 = 21.5 mA at the end.
#[test]
fn val_what_anodes_give_at_once_by_hand() {
    let check = with(&[&dense(BRACKET), &formed(ZINC), OUTPUT]);
    let of = only(&check, "output");
    let ohm = |area_m2: f64| 0.315 * 0.25 / area_m2.sqrt();
    let first = 0.2 / ohm(5.08e-3) / 0.032;
    let last = 0.2 / ohm(3e-3) / 0.0215;
    close(of.value.value, 100.0 * first.min(last), 1e-9);
    close(of.limit.value, 100.0, 0.0);
    assert_eq!(of.ruling, Ruling::Met);
    assert!(
        of.why
            .contains("takes 32 mA at the beginning and 21.5 mA at the end"),
        "{}",
        of.why
    );
    for (at_least, ruling) in [("500 %", Ruling::Marginal), ("900 %", Ruling::Broken)] {
        let asked = OUTPUT.replace("of = ", &format!("at_least = \"{at_least}\"\nof = "));
        let check = with(&[&dense(BRACKET), &formed(ZINC), &asked]);
        assert_eq!(only(&check, "output").ruling, ruling);
    }
    let bare = with(&[&dense(BRACKET), OUTPUT]);
    let none = only(&bare, "output");
    close(none.value.value, 0.0, 0.0);
    assert!(none.why.contains("no anode is on it"), "{}", none.why);
}

/// In mud zinc drives 0.15 V and not 0.20 V, and gives 750 Ah/kg (DNV-RP-B401, from memory).
#[test]
fn verif_an_anode_in_mud_gives_less() {
    let share = |zinc: &str| {
        only(&with(&[&dense(BRACKET), zinc, OUTPUT]), "output")
            .value
            .value
    };
    let water = formed(ZINC);
    let mud = water.replace("about = \"water\"", "about = \"mud\"");
    assert_ne!(mud, water);
    close(share(&mud), 0.75 * share(&water), 1e-9);
    let days = |zinc: &str| only(&with(&[BRACKET, zinc, LIFE]), "anodes").value.value;
    close(days(&mud) / days(&water), 750.0 / 780.0, 1e-12);
}

/// A plate of 100 x 30 x 8 mm holds 171 g of zinc: 150 g are one with holes, 200 g are none. A bar needs its distance.
#[test]
fn verif_mass_and_sizes_of_an_anode_agree_and_a_bar_stands_off() {
    let why = |zinc: &str| {
        let check = with(&[&dense(BRACKET), zinc, OUTPUT]);
        why_unknown(&check, "output").to_owned()
    };
    let thin = formed(ZINC).replace("thickness = \"8 mm\"", "thickness = \"6 mm\"");
    assert!(
        why(&thin).contains("weighs more than its sizes hold"),
        "{}",
        why(&thin)
    );
    let flat =
        "form = { kind = \"flat\", length = \"100 mm\", width = \"30 mm\", thickness = \"8 mm\" }";
    let of = |form: &str| {
        let text = formed(ZINC);
        assert!(text.contains(flat));
        text.replace(flat, &format!("form = {{ {form} }}"))
    };
    let ring = of("kind = \"bracelet\", outer_area = \"2e-3 m2\", inner_area = \"3e-3 m2\"");
    assert!(
        why(&ring).contains("more used up than new"),
        "{}",
        why(&ring)
    );
    let bar = of("kind = \"slender\", length = \"200 mm\", girth = \"60 mm\"");
    assert!(why(&bar).contains("`stands_off = "), "{}", why(&bar));
}

/// All that is missing is told at once, with what to write.
#[test]
fn verif_what_an_anode_gives_is_not_guessed() {
    let check = with(&[BRACKET, ZINC, OUTPUT]);
    let why = why_unknown(&check, "output");
    for key in [
        "`first_current_density = ",
        "`last_current_density = ",
        "`form = ",
        "`resistivity = ",
        "`about = ",
    ] {
        assert!(why.contains(key), "{key}: {why}");
    }
    let asked = |check: &Check| check.open.iter().any(|u| u.contains("`anode-current`"));
    assert!(asked(&with(&[BRACKET, ZINC])));
    assert!(!asked(&check));
}

/// Magnesium is baser than zinc (-1.60 to -1.63 V against -0.98 to -1.03 V, the printed ranges): an anode of zinc, however heavy, is protected by it and not the other way round.
#[test]
fn verif_no_anode_protects_what_is_baser_than_itself() {
    let heavy = ZINC.replace("150 g", "50 kg");
    let steel = with(&[BRACKET, &heavy, LIFE]);
    assert_eq!(requirement(&steel, "anodes").word(), Word::Met);
    let base = BRACKET.replace("metal = \"aluminium\"", "metal = \"magnesium\"");
    let magnesium = with(&[&base, &heavy, LIFE]);
    let why = why_unknown(&magnesium, "anodes");
    assert!(why.contains("is baser than anode.block"), "{why}");
}
