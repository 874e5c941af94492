//! Lines of plans against SciPy's integrator: what a plan says of sections, floats, weights, hulls and cases becomes the same line.

use std::fmt::Write as _;

use assess::{CaseShape, Moorings, Shelf, Word, check, moorings};
use serde_json::Value;

use crate::support::{NO_CURRENT, NO_WIND, close, known, read, requirement, why_unknown};

/// As the reference file is held.
const PLACE_M: f64 = 1e-4;
const FORCE_N: f64 = 1e-3;
/// Speed of the wind that is to give a force on the buoy, m/s.
const WIND_M_S: f64 = 20.0;
/// Density of air, kg/m3 (standard atmosphere).
const AIR_KG_M3: f64 = 1.225;

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap()
}

/// Direction of a vector, degrees from the y axis, and its length.
fn towards(x: f64, y: f64) -> (f64, f64) {
    (x.atan2(y).to_degrees(), x.hypot(y))
}

/// What the plan of a line under a buoy begins with: water, a buoy at its surface, and the anchor.
pub(crate) fn head(name: &str, depth_m: f64, density_kg_m3: f64) -> String {
    format!(
        r#"format = 1
[deployment]
name = "{name}"
start = 2027-03-15
duration = "30 d"
[site]
latitude = "57 deg"
longitude = "0 deg"
water_depth = "{depth_m} m"
density = "{density_kg_m3} kg/m3"
profile = [{{ depth = "0 m", temperature = "9 degC", salinity = 34 }}]
{NO_CURRENT}{NO_WIND}[supply.bench]
at = "module.buoy"
kind = "bench"
output = {{ voltage = "24 V", resistance = "0.1 ohm" }}
[module.buoy]
position = {{ depth = "0 m" }}
[anchor.sinker]
"#
    )
}

/// The plan that says a line of the reference file.
pub(crate) fn plan_of(case: &Value) -> String {
    let depth_m = number(&case["depth"]);
    let mut text = head("a line of the reference", depth_m, 1025.0);
    let ropes = case["ropes"].as_array().unwrap();
    let top = &case["top"];
    let floats = top["kind"] == "float";
    for (i, rope) in ropes.iter().enumerate() {
        let stiffness = rope["stiffness"].as_f64().unwrap_or(1e13);
        let _ = write!(
            text,
            r#"[part.rope-{i}]
is = "rope"
diameter = "{} m"
weight_in_water = "{} N/m"
stiffness = "{stiffness} N"
normal_drag = {:?}
tangential_drag = {:?}
strumming_drag = {:?}
"#,
            number(&rope["diameter"]),
            number(&rope["weight"]),
            number(&rope["normal"]),
            number(&rope["tangential"]),
            number(&rope["normal"]),
        );
    }
    assert_eq!(ropes.len(), 1);
    let from = if floats { "float.top" } else { "module.buoy" };
    let _ = write!(
        text,
        r#"[section.riser]
from = "{from}"
to = "anchor.sinker"
length = "{} m"
rope = "part.rope-0"
"#,
        number(&ropes[0]["length"])
    );
    for (i, body) in case["bodies"].as_array().unwrap().iter().enumerate() {
        let _ = write!(
            text,
            r#"[weight.w{i}]
position = {{ section = "section.riser", from_anchor = "{} m" }}
weight_in_water = "{} N"
cd_a = "{} m2"
"#,
            number(&body["at"]),
            number(&body["weight"]),
            number(&body["drag_area"]),
        );
    }
    let points: Vec<String> = case["current"]
        .as_array()
        .unwrap()
        .iter()
        .map(|p| {
            let (deg, speed) = towards(number(&p[1]), number(&p[2]));
            format!(
                r#"{{ depth = "{} m", speed = "{speed} m/s", towards = "{deg} deg" }}"#,
                number(&p[0])
            )
        })
        .collect();
    let mut of_case = String::new();
    if !points.is_empty() {
        let _ = writeln!(of_case, "current = [{}]", points.join(", "));
    }
    if floats {
        let _ = write!(
            text,
            "[float.top]\nbuoyancy = \"{} N\"\ncd_a = \"{} m2\"\n",
            number(&top["buoyancy"]),
            number(&top["drag_area"])
        );
    } else {
        let (deg, force_n) = towards(number(&top["force"][0]), number(&top["force"][1]));
        let cd_a_m2 = force_n / (0.5 * AIR_KG_M3 * WIND_M_S * WIND_M_S);
        text.push_str("[module.buoy.hull]\nweight = \"1000 N\"\nwaterplane = \"1 m2\"\nfull_draught = \"1 m\"\ncd_a_water = \"0 m2\"\n");
        let _ = writeln!(text, "cd_a_wind = \"{cd_a_m2} m2\"");
        let _ = writeln!(
            of_case,
            "wind = {{ speed = \"{WIND_M_S} m/s\", towards = \"{deg} deg\" }}"
        );
    }
    let _ = write!(text, "[case.only]\n{of_case}");
    text
}

#[track_caller]
pub(crate) fn hung(text: &str) -> Moorings {
    let reading = read(text);
    assert!(!reading.has_errors(), "{:?}", reading.mistakes);
    moorings(reading.line.as_ref().unwrap()).unwrap()
}

#[track_caller]
pub(crate) fn only_shape(moorings: &Moorings) -> &CaseShape {
    let line = moorings.lines[0].as_ref().unwrap();
    line.shapes[0].as_ref().unwrap()
}

/// reference/mooring/scipy-lines.json, the six named lines: floats with and without bodies, a turning current, buoys with line on the seabed.
#[test]
fn val_a_plan_hangs_as_another_integrator_says() {
    let document = truth::json("mooring/scipy-lines.json");
    for entry in document["lines"].as_array().unwrap().iter().take(6) {
        let name = entry["case"]["name"].as_str().unwrap();
        let moorings = hung(&plan_of(&entry["case"]));
        let found = only_shape(&moorings);
        let theirs = &entry["found"];
        for part in 0..3 {
            let near = |ours: f64, theirs: &Value, tolerance: f64, what: &str| {
                let theirs = number(&theirs[part]);
                assert!(
                    (ours - theirs).abs() <= tolerance,
                    "{name}, {what}, part {part}: {ours} is not {theirs}"
                );
            };
            near(found.shape.top_m[part], &theirs["top"], PLACE_M, "top");
            near(
                found.shape.anchor_n[part],
                &theirs["anchor_n"],
                FORCE_N,
                "anchor",
            );
            near(
                found.shape.top_n[part],
                &theirs["top_n"],
                FORCE_N,
                "pull at the top",
            );
        }
        let bodies = theirs["bodies"].as_array().unwrap();
        assert_eq!(found.things.len(), bodies.len());
        for (ours, at) in found.things.iter().zip(&found.shape.bodies) {
            let own = |b: &&Value| (number(&b["s"]) - at.s_m).abs() < 1e-9;
            let body = bodies.iter().find(own).unwrap();
            for part in 0..3 {
                close(ours.at_m[part], number(&body["r"][part]), PLACE_M);
            }
            let size = |v: &Value| (0..3).map(|i| number(&v[i]).powi(2)).sum::<f64>().sqrt();
            close(ours.above_n, size(&body["above"]), FORCE_N);
            close(ours.below_n, size(&body["below"]), FORCE_N);
        }
    }
}

/// The second named line of the reference, its bodies as modules, with requirements of every kind on where the line hangs.
pub(crate) fn with_modules(requirements: &str) -> String {
    let document = truth::json("mooring/scipy-lines.json");
    let mut text = plan_of(&document["lines"][1]["case"]);
    for (i, weight, cd_a) in [(0, "60 N", "0.05 m2"), (1, "120 N", "0.08 m2")] {
        let from = format!("[weight.w{i}]");
        let at = text.find(&from).unwrap();
        let end = at + text[at..].find("cd_a").unwrap();
        let position = text[at + from.len()..end]
            .lines()
            .nth(1)
            .unwrap()
            .to_owned();
        let end = end + text[end..].find('\n').unwrap() + 1;
        let module = format!(
            "[module.w{i}]\n{position}\nhousing = {{ rated_depth = \"200 m\", weight_in_water = \"{weight}\", cd_a = \"{cd_a}\" }}\n[span.w{i}]\nfrom = \"module.buoy\"\nto = \"module.w{i}\"\nlength = \"300 m\"\nconductor = \"1.0 mm2 class 5\"\ncontacts = {{ mated_pins_in_loop = 4, resistance = \"8 mohm\" }}\n"
        );
        text.replace_range(at..end, &module);
    }
    let text = text
        .replace("[anchor.sinker]", "[anchor.sinker]\nweight_in_water = \"2000 N\"\nholding_factor = 0.5\nsafety_factor = 1.5")
        .replace("[float.top]", "[float.top]\nrated_depth = \"150 m\"")
        .replace("is = \"rope\"", "is = \"rope\"\nworking_load = \"3 kN\"")
        .replace("density =", "tide = { lowest = \"-2 m\", highest = \"2.5 m\" }\ndensity =");
    format!("{text}{requirements}")
}

/// The same where there is no tide, so that no case counts anywhere but where it is written.
/// The same with no word on how its ropes drag when they strum.
pub(crate) fn silent_on_strum(text: &str) -> String {
    let lines = text.lines().filter(|l| !l.starts_with("strumming_drag"));
    lines.map(|l| format!("{l}\n")).collect()
}

pub(crate) fn tideless(text: &str) -> String {
    let tide = "tide = { lowest = \"-2 m\", highest = \"2.5 m\" }";
    assert_eq!(text.matches(tide).count(), 1);
    text.replace(tide, "tide = { lowest = \"0 m\", highest = \"0 m\" }")
}

const ASKS: &str = r#"
[requirement.depth]
that = "module-depth"
of = "module.w0"
at_least = "70 m"
at_most = "90 m"
[requirement.shallow]
that = "module-depth"
of = "module.w1"
at_most = "40 m"
[requirement.tilt]
that = "module-tilt"
of = "module.w0"
at_most = "10 deg"
[requirement.tension]
that = "line-tension"
[requirement.anchor]
that = "anchor-load"
[requirement.anchor-doubled]
that = "anchor-load"
of = "anchor.sinker"
at_least = "200 %"
[requirement.housings]
that = "housing-margin"
at_least = "20 m"
[requirement.swing]
that = "watch-circle"
at_most = "30 m"
"#;

#[track_caller]
fn judged(text: &str) -> assess::Check {
    let reading = read(text);
    assert!(!reading.has_errors(), "{:?}", reading.mistakes);
    check(&reading, &Shelf::default())
}

/// The figures of SciPy for that line; the anchor's by the friction of a deadweight (1.5 (922.946 + 173.649 / 0.5) = 1905.37 N, 2540.49 N
/// with a factor of two), the housing's by subtraction.
#[test]
fn val_verdicts_tell_what_another_integrator_finds() {
    let check = judged(&tideless(&with_modules(ASKS)));
    for (id, value, limit, within, word) in [
        ("depth", 80.581384, 90.0, 1e-4, Word::Met),
        ("shallow", 45.846538, 40.0, 1e-4, Word::Broken),
        ("tilt", 9.425781, 10.0, 1e-4, Word::Marginal),
        ("tension", 1201.156716, 3000.0, 1e-3, Word::Met),
        ("anchor", 1905.366, 2000.0, 1e-2, Word::Marginal),
        ("anchor-doubled", 2540.488, 2000.0, 1e-2, Word::Broken),
        ("housings", 150.0 - 120.0, 20.0, 1e-9, Word::Met),
        ("swing", 13.069065, 30.0, 1e-4, Word::Met),
    ] {
        let judged = requirement(&check, id);
        assert_eq!(judged.word(), word, "{id}: {judged:?}");
        let known = known(&check, id);
        close(known.value.value, value, within);
        close(known.limit.value, limit, 1e-9);
        if id != "housings" {
            assert!(known.why.contains("case.only"), "{id}: {}", known.why);
        }
    }
}

/// The bed bears the pressure of the waves of any case at the highest water, at whatever level that case is written: linear theory gives `a / cosh(k h)` there, with
/// `omega^2 = g k tanh(k h)`.
#[test]
fn verif_a_housing_on_the_bed_bears_waves_at_the_highest_water() {
    let storm = "[case.storm]\nwave = { height = \"6 m\", period = \"12 s\" }\n";
    let text = format!(
        "{}{storm}",
        with_modules("[requirement.housings]\nthat = \"housing-margin\"\n")
    );
    let (deep_m, omega): (f64, f64) = (122.5, std::f64::consts::TAU / 12.0);
    let (mut low, mut high) = (1e-4_f64, 1.0_f64);
    for _ in 0..100 {
        let k = 0.5 * (low + high);
        match 9.806_65 * k * (k * deep_m).tanh() > omega * omega {
            true => high = k,
            false => low = k,
        }
    }
    let adds_m = 3.0 / (low * deep_m).cosh();
    assert!(adds_m > 0.1, "{adds_m}");
    let check = judged(&text);
    let margin = known(&check, "housings");
    close(margin.value.value, 150.0 - deep_m - adds_m, 1e-6);
    assert!(
        margin.why.contains("the waves of case.storm"),
        "{}",
        margin.why
    );
}

/// What the plan does not say is named, all of it, and is unknown: no rope drags nothing because nothing is written.
#[test]
fn verif_what_is_not_written_is_unknown() {
    for (from, to, ids, word) in [
        (
            "normal_drag = 1.2\n",
            "",
            &["depth", "tension", "anchor", "swing"][..],
            "normal_drag",
        ),
        (
            "cd_a = \"0.05 m2\"",
            "rated_depth = \"200 m\"",
            &["depth"],
            "module.w0",
        ),
        (
            "working_load = \"3 kN\"\n",
            "",
            &["tension"],
            "working_load",
        ),
        ("safety_factor = 1.5\n", "", &["anchor"], "safety_factor"),
        ("holding_factor = 0.5\n", "", &["anchor"], "holding"),
        (
            "tide = { lowest = \"-2 m\", highest = \"2.5 m\" }\n",
            "",
            &["housings"],
            "tide",
        ),
        (
            "rated_depth = \"150 m\"\n",
            "",
            &["housings"],
            "rated_depth",
        ),
        (
            "[case.only]\n",
            "[case.only]\nstrum = true\n",
            &["depth"],
            "strumming_drag",
        ),
    ] {
        let text = with_modules(ASKS);
        assert!(text.contains(from), "{from}");
        let text = match from {
            // The rating stands twice when it replaces the drag area.
            "cd_a = \"0.05 m2\"" => text.replace(", cd_a = \"0.05 m2\"", ""),
            "[case.only]\n" => silent_on_strum(&text.replace(from, to)),
            _ => text.replace(from, to),
        };
        let check = judged(&text);
        for id in ids {
            let why = why_unknown(&check, id);
            assert!(why.contains(word), "{id} without {from}: {why}");
        }
    }
}

/// In still water under a float everything is a sum: the pull on the anchor is the buoyancy less all weights, and the height of the float the
/// lengths with their stretch, a rope of weight w under T at its top stretching by (T L - w L^2 / 2) / EA.
#[test]
fn verif_a_line_in_still_water_is_a_sum() {
    let text = with_modules("").replace("current = [", "# current = [");
    let let_in = text.replace(
        "cd_a = \"0.05 m2\" }",
        "cd_a = \"0.05 m2\", added_length = \"1.5 m\" }",
    );
    for (text, added_m) in [(text, 0.0), (let_in, 1.5)] {
        let found = hung(&text);
        let shape = only_shape(&found);
        let (w, ea, buoyancy_n) = (0.9, 8e5, 1200.0);
        close(
            shape.shape.anchor_n[2],
            buoyancy_n - 60.0 - 120.0 - 95.0 * w,
            1e-6,
        );
        // From the top: 20 m, the body of 120 N, 35 m, the body of 60 N, 40 m.
        let mut up_n = buoyancy_n;
        let mut height_m = added_m;
        for (length_m, body_n) in [(20.0, 120.0), (35.0, 60.0), (40.0, 0.0)] {
            height_m += length_m + (up_n * length_m - 0.5 * w * length_m * length_m) / ea;
            up_n -= w * length_m + body_n;
        }
        close(120.0 - shape.top_depth_m, height_m, 1e-6);
        assert!(shape.shape.excursion_m() < 1e-9);
    }
}

/// The hull's own weight and the line's pull are the water that it displaces; of twice the drag area in the water the buoy takes twice the force at the
/// same draught; a buoy too small for its line goes under, and is told.
#[test]
fn verif_a_buoy_displaces_what_it_bears() {
    let document = truth::json("mooring/scipy-lines.json");
    let text = plan_of(&document["lines"][5]["case"]);
    let with = |wet: &str, draught: &str| {
        let text = text
            .replace("cd_a_water = \"0 m2\"", &format!("cd_a_water = \"{wet}\""))
            .replace(
                "full_draught = \"1 m\"",
                &format!("full_draught = \"{draught}\""),
            );
        let found = hung(&text);
        let shape = only_shape(&found);
        (shape.buoy.unwrap(), shape.top_depth_m)
    };
    for (wet_m2, draught_m) in [(0.3, 1.0), (0.6, 2.0)] {
        let (buoy, depth_m) = with(&format!("{wet_m2} m2"), &format!("{draught_m} m"));
        let per_m = 1025.0 * 9.806_65;
        close(buoy.draught_m * per_m, 1000.0 + buoy.pull_n, 1e-4);
        close(
            buoy.reserve_n,
            draught_m * per_m - 1000.0 - buoy.pull_n,
            1e-4,
        );
        // 0.4 m/s of current on the wet part, 600 N of wind, both eastwards.
        let wet_n = 0.5 * 1025.0 * 0.16 * wet_m2 * buoy.draught_m / draught_m;
        close(buoy.drag_n, 600.0 + wet_n, 1e-4);
        assert_eq!(depth_m, 0.0);
    }
    let (buoy, depth_m) = with("0.3 m2", "0.15 m");
    assert!(buoy.reserve_n <= 0.0 && depth_m > 1.0, "{buoy:?} {depth_m}");
}

/// Without cases the site gives them, and says so; a site that says too little gives none.
#[test]
fn verif_cases_come_from_the_site_and_are_told() {
    let text = with_modules(ASKS);
    let at = text.find("[case.only]").unwrap();
    let end = at + text[at..].find("[requirement").unwrap();
    let current = text[at..end].lines().nth(1).unwrap().to_owned();
    let mut bare = text.clone();
    bare.replace_range(at..end, "");
    let bare = bare.replacen(NO_CURRENT, "", 1);
    let why = judged(&bare);
    assert!(why_unknown(&why, "depth").contains("current"), "{why:?}");
    let sited = bare.replace("density =", &format!("{current}\ndensity ="));
    let check = judged(&sited);
    let known = known(&check, "swing");
    assert!(known.why.contains("current-lowest"), "{}", known.why);
    let told = check
        .assumed
        .iter()
        .find(|a| a.contains("design cases are taken from the site"));
    let told = told.unwrap();
    for case in [
        "slack, ",
        "slack-lowest",
        "slack-highest",
        "current, ",
        "current-lowest",
        "current-highest",
    ] {
        assert!(told.contains(case), "{case}: {told}");
    }
}

/// An angle of which the radians have no end is told as it was written.
#[test]
fn verif_a_limit_is_told_by_four_digits() {
    let asks = "\n[requirement.tilt]\nthat = \"module-tilt\"\nat_most = \"29.2 deg\"\n";
    let check = check(&read(&with_modules(asks)), &Shelf::default());
    let sentence = &requirement(&check, "tilt").sentence;
    assert!(
        sentence.contains("within 29.2 deg of upright"),
        "{sentence}"
    );
}
