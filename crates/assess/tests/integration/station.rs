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

/// Under a slack line a buoy goes furthest at the lowest water: where no case is declared there the strongest counts there too, and comes to what it comes to when it is written.
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
    let said = "no declared case stands at the lowest water of the tide, -1 m: the outermost count once more there (flows-lowest, still-lowest)";
    assert!(left_out.assumed.iter().any(|a| a.contains(said)));
    assert!(!written.assumed.iter().any(|a| a.contains(said)));
}

/// Two cases that differ in their level alone are one at an end of the tide: of `still` at the level of `water_depth` and `low` at -1 m, both slack, the first counts at the highest water, and `low` does for it at
/// the lowest, though not for the current of `flows`.
#[test]
fn verif_cases_that_differ_in_their_level_alone_count_once_at_an_end_of_the_tide() {
    let text = BUOY.replace(
        "[case.flows]\n",
        "[case.low]\nwater_level = \"-1 m\"\n[case.flows]\n",
    );
    let reading = read(&text);
    assert!(!reading.has_errors(), "{:?}", reading.mistakes);
    let found = assess::moorings(reading.line.as_ref().unwrap()).unwrap();
    let ids: Vec<&str> = found.cases.iter().map(|c| c.id.as_str()).collect();
    assert_eq!(
        ids,
        [
            "flows",
            "low",
            "still",
            "flows-lowest",
            "flows-highest",
            "still-highest"
        ]
    );
    for said in ["(flows-lowest)", "(flows-highest, still-highest)"] {
        let told = found.assumed.iter().any(|a| a.contains(said));
        assert!(told, "{said}: {:?}", found.assumed);
    }
}

/// A watch circle is that of what holds the top: asked of what hangs below it, it is unknown, and the top is named.
#[test]
fn verif_a_circle_of_what_does_not_hold_the_top_names_the_top() {
    let asks = "[requirement.round]\nthat = \"watch-circle\"\nof = \"module.ear\"\nat_most = \"50 m\"\n[case.flows]\n";
    let reading = read(&BUOY.replace("[case.flows]\n", asks));
    assert!(!reading.has_errors(), "{:?}", reading.mistakes);
    let told = check(&reading, &Shelf::default());
    let why = why_unknown(&told, "round");
    assert!(
        why.contains("does not hold the top of its line") && why.contains("`of = \"module.buoy\"`"),
        "{why}"
    );
}

/// Modules are told from the top of the line down, whatever they are called.
#[test]
fn verif_modules_are_told_from_the_top_down() {
    let reading = read(BUOY);
    let line = reading.line.as_ref().unwrap();
    let found = assess::moorings(line).unwrap();
    let of = found.lines[0].as_ref().unwrap();
    let paths: Vec<String> = of
        .modules
        .iter()
        .map(|m| line.module_path(m.module))
        .collect();
    assert_eq!(paths, ["module.buoy", "module.ear"]);
    let deeper: Vec<f64> = of.modules.iter().map(|m| m.deepest_m.value).collect();
    assert!(deeper[0] < deeper[1]);
}

/// 86 m of line do not reach the surface of 90 m of water: how far it falls short is told beside the force that would stretch it.
#[test]
fn verif_a_line_too_short_for_the_water_is_told_by_its_length() {
    let reading = read(
        &BUOY
            .replace(
                "[case.flows]\n",
                "[case.surge]\nwater_level = \"10 m\"\n[case.flows]\n",
            )
            .replace("highest = \"1 m\"", "highest = \"5 m\""),
    );
    assert!(!reading.has_errors(), "{:?}", reading.mistakes);
    let told = check(&reading, &Shelf::default());
    let afloat = known(&told, "afloat");
    assert!(
        afloat.why.contains(" m of line in 90 m of water"),
        "{}",
        afloat.why
    );
}

/// Without a depth of the water nothing says how deep hangs what stands over the bed: what the conductors then lack is named, and no number is made of it.
#[test]
fn verif_conductors_without_a_depth_of_water_say_what_they_lack() {
    let text = crate::weight_reserve::still("").replace("water_depth = \"120 m\"\n", "");
    let reading = read(&text);
    let line = reading.line.as_ref().unwrap();
    let why = assess::input::electric(line).unwrap_err().to_string();
    assert!(why.starts_with("site says nothing of water_depth"), "{why}");
}
