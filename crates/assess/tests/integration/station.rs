//! `on-station`: `reference/mooring/scipy-station.json`, through a plan.

use assess::{Shelf, Word, check};

use crate::recovery::{BUOY, buoy_at_lowest_water};
use crate::support::{known, read, requirement, why_unknown};

const ASKS: &str = r#"
[requirement.swing]
that = "watch-circle"
at_most = "500 m"
[requirement.here]
that = "on-station"
of = "module.buoy"
laying_error = "20 m"
fix_error = "5 m"
share = "99 %"
at_most = "500 m"
"#;

fn checked(from: &str, to: &str) -> assess::Check {
    checked_of(&buoy_at_lowest_water(), from, to)
}

fn checked_of(buoy: &str, from: &str, to: &str) -> assess::Check {
    let text = format!("{buoy}{ASKS}");
    assert!(text.contains(from), "{from}");
    let reading = read(&text.replace(from, to));
    assert!(!reading.has_errors(), "{:?}", reading.mistakes);
    check(&reading, &Shelf::default())
}

/// The watch circle of the same plan and, outwards, what SciPy gives for circles of 20 m and 5 m in 99 % of cases.
#[test]
fn val_a_buoy_is_seen_within_its_circle_and_the_errors_of_laying_and_fix() {
    let document = truth::json("mooring/scipy-station.json");
    let case = &document["cases"][1];
    let errors_m = case["seen_m"].as_f64().unwrap() - case["circle_m"].as_f64().unwrap();
    assert_eq!(case["share"].as_f64(), Some(0.99));
    let told = checked("500 m", "500 m");
    let circle_m = known(&told, "swing").value.value;
    let here = known(&told, "here");
    assert!(
        (here.value.value - circle_m - errors_m).abs() < 1e-7,
        "{here:?}"
    );
    assert!(circle_m > 1.0);
    assert_eq!(requirement(&told, "here").word(), Word::Met);
    // A limit a little below what is seen is broken, and the share at the rim is beside it.
    let tight = format!(
        "share = \"99 %\"\nat_most = \"{} m\"",
        here.value.value - 0.5
    );
    let told = checked("share = \"99 %\"\nat_most = \"500 m\"", &tight);
    assert_eq!(requirement(&told, "here").word(), Word::Broken);
    let why = &known(&told, "here").why;
    assert!(why.contains("with the errors in any direction"), "{why}");
}

/// The share at the rim in the words of the verdict is that of Rice's law: no watch circle leaves Rayleigh's law itself, and with errors of nothing the circle is all.
#[test]
fn verif_without_errors_the_circle_is_all() {
    let told = checked(
        "laying_error = \"20 m\"\nfix_error = \"5 m\"",
        "laying_error = \"0 m\"\nfix_error = \"0 m\"",
    );
    let circle_m = known(&told, "swing").value.value;
    assert!((known(&told, "here").value.value - circle_m).abs() < 1e-12);
    let every = checked("share = \"99 %\"", "share = \"100 %\"");
    let why = why_unknown(&every, "here");
    assert!(why.contains("share"), "{why}");
}

/// A mistake in what hangs hides it, one in the supply does not.
#[test]
fn verif_it_reads_what_hangs_alone() {
    let text = format!("{}{ASKS}", buoy_at_lowest_water());
    for (from, to, word) in [
        ("diameter = \"12 mm\"", "diameter = \"12 V\"", Word::Unknown),
        (
            "waterplane = \"0.5 m2\"",
            "waterplane = \"0.5 m\"",
            Word::Unknown,
        ),
        (
            "resistance = \"0.1 ohm\"",
            "resistance = \"0.1 m\"",
            Word::Met,
        ),
    ] {
        assert_eq!(text.matches(from).count(), 1, "{from}");
        let reading = read(&text.replace(from, to));
        assert!(reading.has_errors(), "{to}");
        let told = check(&reading, &Shelf::default());
        assert_eq!(requirement(&told, "here").word(), word, "{to}");
    }
}

/// Under a slack line a buoy goes furthest at the lowest water: where no case is declared there each counts there too, and comes to what it comes to when it is written.
#[test]
fn verif_a_circle_is_that_of_the_lowest_water_written_or_not() {
    let wide = |buoy: &str| buoy.replace("radius = \"50 m\"", "radius = \"500 m\"");
    let left_out = checked_of(&wide(BUOY), "500 m", "500 m");
    let written = checked_of(&wide(&buoy_at_lowest_water()), "500 m", "500 m");
    for id in ["swing", "here", "drift-alarm"] {
        let (is, was) = (known(&left_out, id), known(&written, id));
        let figure = |k: &assess::Known| match id {
            "drift-alarm" => k.limit.value,
            _ => k.value.value,
        };
        assert!((figure(is) - figure(was)).abs() < 1e-6, "{id}");
    }
    let swing = known(&left_out, "swing");
    assert!(swing.why.contains("the case flows-lowest"), "{}", swing.why);
    let said = "no declared case stands at the lowest water of the tide, -1 m: each counts once more there";
    assert!(left_out.assumed.iter().any(|a| a.contains(said)));
    assert!(!written.assumed.iter().any(|a| a.contains(said)));
}
