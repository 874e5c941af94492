//! What the anchor does to a haul and to a weak link: arithmetic of its weight against what ropes and links bear.

use assess::{Verdict, Word};

use crate::recovery::{BUOY, judged};
use crate::support::{close, known, requirement};

/// Without the haul (90 %) the buoy is left with release, cutter and grapnel, `1 - 0.2 0.5 0.4`, 96 %; the anchor of 40 kN breaks a rope of 30 kN, and one of 4 kN does not.
#[test]
fn verif_a_line_is_not_hauled_by_a_rope_that_its_anchor_breaks() {
    let asked = BUOY.replace(
        "that = \"recovery-chance\"\n",
        "that = \"recovery-chance\"\nof = \"module.buoy\"\n",
    );
    let light = judged(&asked);
    close(
        known(&light, "back").value.value,
        100.0 * (1.0 - 0.1 * 0.2 * 0.5 * 0.4),
        1e-9,
    );
    let heavy = judged(&asked.replace("weight_in_water = \"4 kN\"", "weight_in_water = \"40 kN\""));
    let told = known(&heavy, "back");
    close(told.value.value, 100.0 * (1.0 - 0.2 * 0.5 * 0.4), 1e-9);
    assert!(told.why.contains("not by recovery.haul"), "{}", told.why);
}

/// The release and the cutter fail together whatever the spelling of what they share: the surer of the two counts, `1 - 0.1 0.2 0.4`, 99.2 %, and apart `1 - 0.1 0.2 0.5 0.4`, 99.6 %.
#[test]
fn verif_spelling_does_not_part_what_means_rely_on() {
    let with = |one: &str, other: &str| {
        let text = BUOY
            .replace(
                "that = \"recovery-chance\"\n",
                "that = \"recovery-chance\"\nof = \"module.buoy\"\n",
            )
            .replace(
                "works = \"80 %\"",
                &format!("works = \"80 %\"\nrelies_on = [\"{one}\"]"),
            )
            .replace(
                "works = \"50 %\"",
                &format!("works = \"50 %\"\nrelies_on = [\"{other}\"]"),
            );
        known(&judged(&text), "back").value.value
    };
    close(with("deck unit", "Deck  unit "), 99.2, 1e-9);
    close(with("deck unit", "battery"), 99.6, 1e-9);
}

/// 2 m above an anchor of 4 kN, nothing but a metre or two of rope between: a link that parts by 5 kN holds when the anchor has come off the bed, one that parts by 3 kN does not.
#[test]
fn verif_a_weak_link_parts_before_its_anchor_comes_up() {
    let link = |from: &str, by: &str| {
        judged(&BUOY.replace(
            "[case.still]",
            &format!("[weak_link.foot]\nposition = {{ section = \"section.riser\", from_anchor = \"2 m\" }}\nparts_from = \"{from}\"\nparts_by = \"{by}\"\n[case.still]"),
        ))
    };
    let late = link("4.5 kN", "5 kN");
    let told = known(&late, "weak-link");
    assert!(requirement(&late, "weak-link").is_broken());
    close(told.value.value, 5000.0, 1e-9);
    close(told.limit.value, 4000.0 + 2.0 * 0.5, 1e-6);
    let soon = link("2.5 kN", "3 kN");
    let lifts = |v: &&Verdict| v.why().contains("comes off the bed");
    let judged = requirement(&soon, "weak-link");
    assert!(judged.verdicts.iter().find(lifts).is_none());
    assert_ne!(judged.word(), Word::Unknown);
}
