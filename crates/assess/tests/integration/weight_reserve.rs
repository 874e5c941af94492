//! What weight a line in the water could still bear, by sums of weights and by Archimedes.

use assess::{
    LineWeightReserve, PlaceWeightReserve, Ruling, Shelf, Verdict, WeightReserve, check,
    line_weight_reserve,
};

use crate::moored::{plan_of, with_modules};
use crate::recovery::{BUOY, LIFT_N, LONG_M, rope, sized};
use crate::support::{NO_CURRENT, close, read, requirement};

/// The search stops within this share of the weight, or within 0.1 N.
const FINE: f64 = 1e-3;

#[track_caller]
fn reserve(text: &str) -> LineWeightReserve {
    let reading = read(text);
    assert!(!reading.has_errors(), "{:?}", reading.mistakes);
    line_weight_reserve(&reading).unwrap()
}

#[track_caller]
fn weight<'f>(found: &'f LineWeightReserve, path: &str) -> (f64, &'f str) {
    let place = found.places.iter().find(|p| p.path == path).unwrap();
    match &place.reserve {
        WeightReserve::Weight { weight_n, binds } => (*weight_n, binds),
        other => panic!("{path}: {other:?}"),
    }
}

/// The reference line without its current: a float bears what it lifts less all that hangs below, wherever the weight hangs.
pub(crate) fn still(requirements: &str) -> String {
    let text = with_modules(requirements);
    let at = text.find("[case.only]").unwrap();
    let from = at + text[at..].find("current = ").unwrap();
    let end = from + text[from..].find('\n').unwrap();
    format!("{}{}", &text[..from], &text[end..])
}

/// Down to the lowest module: the rope below it may lie on the bed. `check` keeps to the same.
#[test]
fn verif_a_float_bears_its_buoyancy_less_what_hangs_above_the_lowest_module() {
    let document = truth::json("mooring/scipy-lines.json");
    let case = &document["lines"][1]["case"];
    let number = |v: &serde_json::Value| v.as_f64().unwrap();
    let rope = &case["ropes"][0];
    let bodies = case["bodies"].as_array().unwrap();
    let lowest_m = bodies
        .iter()
        .map(|b| number(&b["at"]))
        .fold(f64::INFINITY, f64::min);
    let hangs_n = number(&rope["weight"]) * (number(&rope["length"]) - lowest_m)
        + bodies.iter().map(|b| number(&b["weight"])).sum::<f64>();
    let left_n = number(&case["top"]["buoyancy"]) - hangs_n;
    let found = reserve(&still(""));
    for path in ["module.w0", "module.w1", "float.top"] {
        let (weight_n, binds) = weight(&found, path);
        close(weight_n, left_n, FINE * left_n);
        assert!(
            binds.contains("what a float lifts, float.top"),
            "{path}: {binds}"
        );
    }
    for (share, broken) in [(0.98, false), (1.02, true)] {
        let heavier = format!("weight_in_water = \"{} N\"", 60.0 + share * left_n);
        let text = still("").replacen("weight_in_water = \"60 N\"", &heavier, 1);
        let check = check(&read(&text), &Shelf::default());
        assert_eq!(
            requirement(&check, "held-up").is_broken(),
            broken,
            "{share}"
        );
    }
}

/// Under a working load a little above the greatest tension (the float's buoyancy, at the top) nothing that sinks is stopped by it; a limit on depth
/// that is broken already leaves nothing.
#[test]
fn verif_what_is_broken_already_leaves_nothing() {
    let loads = still("").replace("working_load = \"3 kN\"", "working_load = \"1201 N\"");
    let found = reserve(&loads);
    let (_, binds) = weight(&found, "float.top");
    assert!(binds.contains("float.top"), "{binds}");
    let asks =
        "\n[requirement.depth]\nthat = \"module-depth\"\nof = \"module.w1\"\nat_most = \"40 m\"\n";
    for place in reserve(&still(asks)).places {
        match place.reserve {
            WeightReserve::None { why } => {
                assert!(why.contains("requirement.depth, module.w1"), "{why}")
            }
            other => panic!("{other:?}"),
        }
    }
}

/// A second line whose module hangs beyond its rating, and a frame on the bed beyond its own: what hangs on the first line changes neither, so each
/// place of it bears what it did, and each of the second line bears nothing.
#[test]
fn verif_what_is_broken_elsewhere_takes_nothing_from_a_line() {
    let elsewhere = r#"
[anchor.second]
weight_in_water = "2000 N"
[float.second]
buoyancy = "500 N"
cd_a = "0.1 m2"
[section.second]
from = "float.second"
to = "anchor.second"
length = "60 m"
rope = "part.rope-0"
[module.deep]
position = { section = "section.second", from_anchor = "10 m" }
housing = { rated_depth = "50 m", weight_in_water = "60 N", cd_a = "0.05 m2" }
[module.frame]
position = { depth = "100 m" }
housing = { rated_depth = "90 m" }
[span.deep]
from = "module.buoy"
to = "module.deep"
length = "300 m"
conductor = "1.0 mm2 class 5"
contacts = { mated_pins_in_loop = 4, resistance = "8 mohm" }
[span.frame]
from = "module.buoy"
to = "module.frame"
length = "300 m"
conductor = "1.0 mm2 class 5"
contacts = { mated_pins_in_loop = 4, resistance = "8 mohm" }
"#;
    let alone = reserve(&still(""));
    let both = reserve(&still(elsewhere));
    let of = |section: &str| -> Vec<PlaceWeightReserve> {
        let places = both.places.iter().filter(|p| p.line == section);
        places.cloned().collect()
    };
    assert_eq!(of("section.riser"), alone.places);
    let second = of("section.second");
    assert_eq!(second.len(), 2, "{second:?}");
    for place in second {
        match place.reserve {
            WeightReserve::None { why } => {
                assert!(why.contains("the rated depth, module.deep"), "{why}");
            }
            other => panic!("{other:?}"),
        }
    }
}

/// A buoy bears what its hull displaces (1025 kg/m3 x 9.80665 m/s2 x 1 m3) less its weight and SciPy's pull of the line.
#[test]
fn val_a_buoy_bears_what_it_displaces_less_another_integrators_pull() {
    let document = truth::json("mooring/scipy-lines.json");
    let entry = &document["lines"][4];
    let pull_n = entry["found"]["top_n"][2].as_f64().unwrap();
    let left_n = 1025.0 * 9.80665 - 1000.0 - pull_n;
    let found = reserve(&plan_of(&entry["case"]));
    let (weight_n, binds) = weight(&found, "module.buoy");
    close(weight_n, left_n, FINE * left_n);
    assert!(binds.contains("the buoy, module.buoy"), "{binds}");
}

/// A weak link under a buoy in still water bears what hangs below it: 75 m of rope down to the bed at the highest water and a housing of 120 N. What may be added
/// there is the rest of what it holds, and `check` says the same of a housing that is so much heavier.
#[test]
fn verif_a_weight_parts_no_weak_link() {
    let text = BUOY.replace(
        "drift_alarm = { radius = \"50 m\", every = \"1 h\", fix_error = \"8 m\", place_error = \"15 m\", false_alarms = \"1 %\" }\n",
        "",
    ) + "[weak_link.top]\nposition = { section = \"section.riser\", from_top = \"5 m\" }\nparts_from = \"500 N\"\nparts_by = \"4 kN\"\n";
    let text = text.replace(
        "[case.flows]\ncurrent = [{ depth = \"0 m\", speed = \"0.5 m/s\" }]\n",
        "",
    );
    let text = text.replacen("tide =", &format!("{NO_CURRENT}tide ="), 1);
    let hangs_n = 120.0 + 0.5 * 75.0;
    let found = reserve(&text);
    let (weight_n, binds) = weight(&found, "module.ear");
    close(weight_n, 500.0 - hangs_n, 1.0);
    assert!(binds.contains("the weak link, weak_link.top"), "{binds}");
    for (share, broken) in [(0.98, false), (1.02, true)] {
        let heavier = format!("weight_in_water = \"{} N\"", 120.0 + share * weight_n);
        let check = check(
            &read(&text.replacen("weight_in_water = \"120 N\"", &heavier, 1)),
            &Shelf::default(),
        );
        let word = requirement(&check, "weak-link").is_broken();
        assert_eq!(word, broken, "{share}");
    }
}

/// What a parting must bring up is a limit too, by sums of weights; a requirement on something that no weight moves is none, be it broken.
#[test]
fn verif_a_weight_leaves_the_lift_that_is_asked_of_a_parting() {
    let (_, weight_n_m, ..) = rope();
    let asks = "[requirement.up]\nthat = \"parted-lift\"\nat_least = \"500 N\"\n[requirement.volts]\nthat = \"voltage\"\nof = \"module.w0\"\nat_least = \"100 V\"\n";
    let left_n = LIFT_N - 180.0 - weight_n_m * LONG_M - 200.0 - 500.0;
    let found = reserve(&sized(&still(asks)));
    for path in ["module.w0", "module.w1", "float.top"] {
        let (weight_n, binds) = weight(&found, path);
        close(weight_n, left_n, FINE * left_n);
        assert!(binds.contains("requirement.up, float.top"), "{binds}");
    }
}

/// A line of which the plan does not say enough is told with what is missing.
#[test]
fn verif_a_line_without_a_shape_is_unknown() {
    let found = reserve(&with_modules("").replace("normal_drag = 1.2\n", ""));
    assert!(found.places.is_empty());
    assert!(found.unknown[0].1.contains("normal_drag"), "{found:?}");
}

/// A hull under 600 N of wind, of 1000 N, on a slack line of 8 N/m in 60 m, and SciPy's pull of it, 896.8 N: one that displaces less than both goes under. Of that
/// the one that bears the line hanging straight down, 480 N, would come up without the wind, and is awash; the other is pulled under.
#[test]
fn val_a_buoy_is_awash_where_it_would_come_up_without_the_wind() {
    let document = truth::json("mooring/scipy-lines.json");
    let entry = &document["lines"][4];
    let pull_n = entry["found"]["top_n"][2].as_f64().unwrap();
    let plan = plan_of(&entry["case"]);
    for (draught_m, said) in [
        (0.19, "afloat"),
        (0.17, "it is awash"),
        (0.14, "it is pulled under"),
    ] {
        let most_n = 1025.0 * 9.80665 * draught_m;
        assert_eq!(most_n > 1000.0 + pull_n, said == "afloat");
        assert_eq!(most_n > 1000.0 + 480.0, said != "it is pulled under");
        let text = plan.replace(
            "full_draught = \"1 m\"",
            &format!("full_draught = \"{draught_m} m\""),
        );
        let check = check(&read(&text), &Shelf::default());
        let afloat = &requirement(&check, "afloat").verdicts[0];
        let Verdict::Known(known) = afloat else {
            panic!("{afloat:?}");
        };
        assert_eq!(known.ruling == Ruling::Broken, said != "afloat");
        assert!(
            said == "afloat" || known.why.contains(said),
            "{}",
            known.why
        );
        if said != "it is pulled under" {
            close(known.value.value, most_n - 1000.0 - pull_n, 0.01);
        }
    }
}
