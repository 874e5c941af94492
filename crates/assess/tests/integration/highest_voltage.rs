//! `highest-voltage`: Ohm's law without a current.

use assess::Word;

use crate::support::{checked, known, requirement, why_unknown};

const ASKS: (&str, &str) = (
    "[requirement.voltage]\n",
    "[requirement.peak]\nthat = \"highest-voltage\"\n[requirement.touch]\nthat = \"highest-voltage\"\nof = \"module.ear\"\nat_most = \"60 V\"\n[requirement.voltage]\n",
);
const OUTPUT: &str = "output = { voltage = \"48 V\",";

/// No current, no drop: 48 V through any cable (Ohm's law), 8 V under the 56 V that both inputs bear.
#[test]
fn val_the_far_end_of_an_unloaded_line_is_at_the_voltage_of_its_supply() {
    let told = checked(&[ASKS]);
    for (id, limit) in [("peak", 56.0), ("touch", 60.0)] {
        let known = known(&told, id);
        assert!((known.value.value - 48.0).abs() < 1e-12, "{known:?}");
        assert!((known.margin.value - (limit - 48.0)).abs() < 1e-12);
        assert_eq!(requirement(&told, id).word(), Word::Met);
        assert!(known.why.contains("above 30 V dc"), "{}", known.why);
    }
    assert_eq!(requirement(&told, "peak").verdicts.len(), 2);
    assert!(
        told.assumed
            .iter()
            .any(|a| a.contains("no `highest` is written"))
    );
}

/// A supply that reaches 57.6 V while it charges breaks what bears 56 V, though in use the plan stays within.
#[test]
fn verif_the_highest_of_a_supply_counts_and_not_its_usual_voltage() {
    let highest = "output = { voltage = \"48 V\", highest = \"57.6 V\",";
    let told = checked(&[ASKS, (OUTPUT, highest)]);
    assert_eq!(requirement(&told, "peak").word(), Word::Broken);
    let over = known(&told, "peak");
    assert!((over.value.value - 57.6).abs() < 1e-12 && (over.margin.value + 1.6).abs() < 1e-9);
    assert_eq!(
        requirement(&told, "voltage").word(),
        requirement(&checked(&[ASKS]), "voltage").word()
    );
    assert!(
        !told
            .assumed
            .iter()
            .any(|a| a.contains("no `highest` is written"))
    );
    // With a spread its upper end: 59.5 V and 5 % are 62.475 V.
    let spread = "output = { voltage = \"48 V\", highest = \"59.5 V ± 5 %\",";
    let told = checked(&[ASKS, (OUTPUT, spread)]);
    let touch = known(&told, "touch");
    assert!((touch.value.value - 1.05 * 59.5).abs() < 1e-9, "{touch:?}");
    assert!(touch.why.contains("above 60 V dc"), "{}", touch.why);
    assert_eq!(requirement(&told, "touch").word(), Word::Broken);
}

/// What nothing feeds has no voltage that could be told.
#[test]
fn verif_a_module_that_no_supply_feeds_is_unknown() {
    let told = checked(&[
        ASKS,
        (
            "[supply.bench]\n",
            "[module.alone]\nposition = { depth = \"1 m\" }\ninput = { minimum = \"9 V\", maximum = \"36 V\" }\nloads = { listening = \"1 W\" }\n[span.on]\nfrom = \"module.ear\"\nto = \"module.alone\"\nlength = \"5 m\"\nconductor = \"18 AWG\"\ncontacts = { mated_pins_in_loop = 0, resistance = \"0 ohm\" }\n[supply.bench]\n",
        ),
        (
            "of = \"module.ear\"\nat_most = \"60 V\"",
            "of = \"module.alone\"",
        ),
    ]);
    assert!(why_unknown(&told, "touch").contains("no supply feeds it"));
}
