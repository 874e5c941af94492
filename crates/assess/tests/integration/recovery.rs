//! Growth, what comes up when a line parts, and by which means it comes back: sums of weights, volumes of layers, independent chances.

use assess::{Recovery, Shelf, Verdict, Word, check, moorings, recovery};

use crate::moored::{silent_on_strum, tideless, with_modules};
use crate::support::{close, known, read, requirement, why_unknown};
use crate::weight_reserve::still;

/// Of the line in `moored.rs`: a rope of 95 m, modules of 60 N at 40 m and of 120 N at 75 m from the anchor, a float of 1200 N, in 120 m of water.
pub(crate) const LIFT_N: f64 = 1200.0;
pub(crate) const LONG_M: f64 = 95.0;
const WATER_KG_M3: f64 = 1025.0;
/// Standard gravity (ISO 80000-3).
const G: f64 = 9.80665;

const SIZES: &str =
    "flooding_adds = \"90 N\", outside = { diameter = \"0.2 m\", length = \"0.6 m\" }, cd_a = ";

/// With what floods and how large all is.
pub(crate) fn sized(text: &str) -> String {
    text.replace("cd_a = \"0.05 m2\" }", &format!("{SIZES}\"0.05 m2\" }}"))
        .replace("cd_a = \"0.08 m2\" }", &format!("{SIZES}\"0.08 m2\" }}"))
        .replace(
            "[float.top]\n",
            "[float.top]\ndiameter = \"0.6 m\"\nflooding_adds = \"200 N\"\n",
        )
}

fn grown(text: &str, growth: &str) -> String {
    text.replace("density =", &format!("growth = {growth}\ndensity ="))
}

#[track_caller]
fn found(text: &str) -> Recovery {
    let reading = read(text);
    assert!(!reading.has_errors(), "{:?}", reading.mistakes);
    recovery(reading.line.as_ref().unwrap()).unwrap()
}

#[track_caller]
pub(crate) fn judged(text: &str) -> assess::Check {
    let reading = read(text);
    assert!(!reading.has_errors(), "{:?}", reading.mistakes);
    check(&reading, &Shelf::default())
}

/// Diameter, m, weight in water, N/m, and drag coefficients across and along of the rope.
pub(crate) fn rope() -> (f64, f64, f64, f64) {
    let document = truth::json("mooring/scipy-lines.json");
    let rope = &document["lines"][1]["case"]["ropes"][0];
    let number = |key: &str| rope[key].as_f64().unwrap();
    (
        number("diameter"),
        number("weight"),
        number("normal"),
        number("tangential"),
    )
}

fn float_cd_a_m2() -> f64 {
    let document = truth::json("mooring/scipy-lines.json");
    let top = &document["lines"][1]["case"]["top"];
    top["drag_area"].as_f64().unwrap()
}

/// Archimedes: what comes up is what floats less what hangs below it; drag balances it at the terminal speed, `N = 0.5 rho v^2 sum Cd A`.
#[test]
fn verif_a_parting_frees_what_hangs_above_it() {
    let (diameter_m, weight_n_m, _, tangential) = rope();
    let found = found(&sized(&still("")));
    let line = found.lines[0].as_ref().unwrap();
    let partings = line.partings.as_ref().unwrap();
    let places: Vec<&str> = partings.iter().map(|p| p.place.as_str()).collect();
    assert_eq!(
        places,
        [
            "just above anchor.sinker",
            "just below module.w0",
            "just above module.w0",
            "just below module.w1",
            "just above module.w1",
            "just below float.top",
        ]
    );
    let bodies = [(60.0, 0.05), (120.0, 0.08)];
    for (parting, (at_m, carried)) in partings.iter().zip([
        (0.0, &bodies[..]),
        (40.0, &bodies[..]),
        (40.0, &bodies[1..]),
        (75.0, &bodies[1..]),
        (75.0, &[]),
        (LONG_M, &[]),
    ]) {
        let up_m = LONG_M - at_m;
        let lift_n = LIFT_N - weight_n_m * up_m - carried.iter().map(|b| b.0).sum::<f64>();
        close(parting.clean.net_n, lift_n, 1e-9);
        let area_m2 = float_cd_a_m2()
            + core::f64::consts::PI * diameter_m * tangential * up_m
            + carried.iter().map(|b| b.1).sum::<f64>();
        let drag_n = 0.5 * WATER_KG_M3 * parting.clean.rises_m_s.powi(2) * area_m2;
        close(drag_n, lift_n, 1e-6);
        // The float costs most.
        let flooded = parting.flooded.as_ref().unwrap().as_ref().unwrap();
        assert_eq!(flooded.what, "float.top");
        close(flooded.freed.net_n, lift_n - 200.0, 1e-9);
        assert_eq!(parting.stays.len(), 2 - carried.len());
        close(parting.slack_m, 0.0, 0.0);
    }
}

/// A layer of `t` all round: a rope's diameter grows by `2 t`, the layer weighs `g (1300 - 1025)` times its volume, drag is taken on what is grown and rough. A plan
/// in which all this is written by hand has the same shapes.
#[test]
fn verif_growth_is_a_plan_with_thicker_and_heavier_parts() {
    const T: f64 = 0.01;
    const ROUGH: f64 = 1.5;
    let pi = core::f64::consts::PI;
    let heavy_n_m3 = G * (1300.0 - WATER_KG_M3);
    let (d, weight_n_m, normal, tangential) = rope();
    let growth =
        "{ a_month = \"50 mm\", most = \"10 mm\", density = \"1300 kg/m3\", rougher = 1.5 }";
    let with_growth = grown(&sized(&tideless(&with_modules(""))), growth);
    let can_m3 = pi / 4.0 * ((0.2f64 + 2.0 * T).powi(2) * (0.6 + 2.0 * T) - 0.2 * 0.2 * 0.6);
    let can_area = (0.2 + 2.0 * T) * (0.6 + 2.0 * T) / (0.2 * 0.6);
    let ball_m3 = pi / 6.0 * ((0.6f64 + 2.0 * T).powi(3) - 0.6f64.powi(3));
    let ball_area = ((0.6 + 2.0 * T) / 0.6f64).powi(2);
    let layer_m2 = pi / 4.0 * ((d + 2.0 * T).powi(2) - d * d);
    let mut by_hand = tideless(&with_modules(""));
    for (from, to) in [
        (
            format!("diameter = \"{d} m\""),
            format!("diameter = \"{} m\"", d + 2.0 * T),
        ),
        (
            format!("weight_in_water = \"{weight_n_m} N/m\""),
            format!(
                "weight_in_water = \"{} N/m\"",
                weight_n_m + heavy_n_m3 * layer_m2
            ),
        ),
        (
            format!("normal_drag = {normal:?}"),
            format!("normal_drag = {:?}", normal * ROUGH),
        ),
        (
            format!("tangential_drag = {tangential:?}"),
            format!("tangential_drag = {:?}", tangential * ROUGH),
        ),
        (
            "weight_in_water = \"60 N\", cd_a = \"0.05 m2\"".to_owned(),
            format!(
                "weight_in_water = \"{} N\", cd_a = \"{} m2\"",
                60.0 + heavy_n_m3 * can_m3,
                0.05 * can_area * ROUGH
            ),
        ),
        (
            "weight_in_water = \"120 N\", cd_a = \"0.08 m2\"".to_owned(),
            format!(
                "weight_in_water = \"{} N\", cd_a = \"{} m2\"",
                120.0 + heavy_n_m3 * can_m3,
                0.08 * can_area * ROUGH
            ),
        ),
        (
            "buoyancy = \"1200 N\"".to_owned(),
            format!("buoyancy = \"{} N\"", LIFT_N - heavy_n_m3 * ball_m3),
        ),
        (
            format!("cd_a = \"{} m2\"\n[case", float_cd_a_m2()),
            format!(
                "cd_a = \"{} m2\"\n[case",
                float_cd_a_m2() * ball_area * ROUGH
            ),
        ),
    ] {
        assert_eq!(by_hand.matches(&from).count(), 1, "{from}");
        by_hand = by_hand.replace(&from, &to);
    }
    let shapes = |text: &str| {
        let reading = read(text);
        assert!(!reading.has_errors(), "{:?}", reading.mistakes);
        moorings(reading.line.as_ref().unwrap()).unwrap()
    };
    let (grown, hand) = (shapes(&with_growth), shapes(&silent_on_strum(&by_hand)));
    let names: Vec<&str> = grown.cases.iter().map(|c| c.id.as_str()).collect();
    assert_eq!(names, ["only", "only-fouled"]);
    let of = |found: &assess::Moorings, case: usize| {
        found.lines[0].as_ref().unwrap().shapes[case]
            .clone()
            .unwrap()
    };
    let (fouled, clean, hand) = (of(&grown, 1), of(&grown, 0), of(&hand, 0));
    for (a, b) in fouled.things.iter().zip(&hand.things) {
        close(a.depth_m, b.depth_m, 1e-6);
        close(a.above_n, b.above_n, 1e-6);
    }
    close(fouled.shape.anchor_n[0], hand.shape.anchor_n[0], 1e-6);
    // Growth is no small thing here.
    assert!(fouled.shape.excursion_m() > 1.2 * clean.shape.excursion_m());
}

/// Growth ends where the plan says: below it rope and housings stay clean, and need no size.
#[test]
fn verif_growth_reaches_down_to_a_depth() {
    let (d, weight_n_m, ..) = rope();
    // In 120 m of water the line stands to 95 m; growth above 60 m, and so on 35 m of rope, the upper module and the float.
    let growth =
        "{ a_month = \"50 mm\", most = \"10 mm\", density = \"1300 kg/m3\", down_to = \"60 m\" }";
    let text = grown(&sized(&still("")), growth);
    let found = found(&text);
    let line = found.lines[0].as_ref().unwrap();
    let lowest = &line.partings.as_ref().unwrap()[0];
    let pi = core::f64::consts::PI;
    let volume_m3 = pi / 4.0 * ((d + 0.02).powi(2) - d * d) * 35.0
        + pi / 4.0 * (0.22f64.powi(2) * 0.62 - 0.04 * 0.6)
        + pi / 6.0 * (0.62f64.powi(3) - 0.6f64.powi(3));
    let lift_n = LIFT_N - 180.0 - weight_n_m * LONG_M - G * 275.0 * volume_m3;
    close(lowest.fouled.as_ref().unwrap().net_n, lift_n, 1e-6);
    let unsized_below = text.replacen(
        "outside = { diameter = \"0.2 m\", length = \"0.6 m\" }, cd_a = \"0.05 m2\"",
        "cd_a = \"0.05 m2\"",
        1,
    );
    assert_ne!(unsized_below, text);
    let known = self::found(&unsized_below);
    let partings = known.lines[0].as_ref().unwrap().partings.as_ref().unwrap();
    assert!(partings.iter().all(|p| p.least_lift_n().is_ok()));
    let unsized_above = text.replacen(
        "outside = { diameter = \"0.2 m\", length = \"0.6 m\" }, cd_a = \"0.08 m2\"",
        "cd_a = \"0.08 m2\"",
        1,
    );
    let check = judged(&format!(
        "{unsized_above}[requirement.up]\nthat = \"parted-lift\"\nat_least = \"10 N\"\n[requirement.swing]\nthat = \"watch-circle\"\nat_most = \"30 m\"\n"
    ));
    for id in ["up", "swing"] {
        let why = why_unknown(&check, id);
        assert!(why.contains("module.w1.housing.outside"), "{why}");
    }
}

const MEANS: &str = r#"
[recovery.call]
kind = "release"
at = "anchor.sinker"
works = "95 %"
relies_on = ["the transducer on deck"]
[recovery.timer]
kind = "release"
at = "anchor.sinker"
works = "90 %"
[recovery.grapnel]
kind = "drag"
works = "70 %"
[requirement.back]
that = "recovery-chance"
at_least = "99 %"
[requirement.up]
that = "parted-lift"
at_least = "700 N"
[requirement.slack]
that = "surface-slack"
at_most = "1 m"
"#;

/// Independent means: `1 - 0.05 0.1 0.3`; two that need the same thing count as the better of them.
#[test]
fn verif_means_fail_independently_unless_they_share_something() {
    let check = judged(&sized(&still(MEANS)));
    close(
        known(&check, "back").value.value,
        100.0 * (1.0 - 0.05 * 0.1 * 0.3),
        1e-9,
    );
    let shared = MEANS.replace(
        "works = \"90 %\"",
        "works = \"90 %\"\nrelies_on = [\"the transducer on deck\"]",
    );
    let check = judged(&sized(&still(&shared)));
    let back = known(&check, "back");
    close(back.value.value, 100.0 * (1.0 - 0.05 * 0.3), 1e-9);
    assert!(
        back.why.contains("share the transducer on deck"),
        "{}",
        back.why
    );
    assert_eq!(requirement(&check, "back").word(), Word::Broken);
    // Two that share nothing count together, although a third shares something with each: P(A or B) is no more than P(A or B or C). More means never lower the chance.
    let chain = MEANS
        .replace(
            "works = \"90 %\"",
            "works = \"90 %\"\nrelies_on = [\"the ship\"]",
        )
        .replace(
            "works = \"70 %\"",
            "works = \"96 %\"\nrelies_on = [\"the ship\", \"the transducer on deck\"]",
        );
    let check = judged(&sized(&still(&chain)));
    let back = known(&check, "back");
    close(back.value.value, 100.0 * (1.0 - 0.05 * 0.1), 1e-9);
    assert!(
        back.why
            .contains("only recovery.call and recovery.timer count"),
        "{}",
        back.why
    );
    // A float that no longer lifts what hangs on it does not come up, whatever lets it go.
    let heavy = sized(&still(MEANS)).replace("buoyancy = \"1200 N\"", "buoyancy = \"200 N\"");
    let check = judged(&heavy);
    let back = known(&check, "back");
    close(back.value.value, 70.0, 1e-9);
    assert!(
        back.why
            .contains("not by recovery.call: what it frees sinks"),
        "{}",
        back.why
    );
    let without = judged(&sized(&still(
        &MEANS[MEANS.find("[requirement.back]").unwrap()..],
    )));
    assert!(why_unknown(&without, "back").contains("no `recovery`"));
}

/// The least lift is at the anchor with the float flooded; floating rope that stays can come up by as much as it is longer than the water is deep.
#[test]
fn verif_the_least_lift_and_the_most_slack_are_judged() {
    let (_, weight_n_m, ..) = rope();
    let check = judged(&sized(&still(MEANS)));
    let up = known(&check, "up");
    close(
        up.value.value,
        LIFT_N - 180.0 - weight_n_m * LONG_M - 200.0,
        1e-9,
    );
    assert!(
        up.why
            .contains("just above anchor.sinker with float.top flooded"),
        "{}",
        up.why
    );
    assert_eq!(requirement(&check, "slack").word(), Word::Met);
    let silent = judged(&sized(&still(MEANS)).replace("flooding_adds = \"200 N\"\n", ""));
    assert!(why_unknown(&silent, "up").contains("float.top.flooding_adds"));
    // 95 m of rope that floats in 76 m at the lowest water: 19 m more than it is deep.
    let floating = sized(&still(MEANS))
        .replace(
            &format!("weight_in_water = \"{weight_n_m} N/m\""),
            "weight_in_water = \"-0.2 N/m\"",
        )
        .replace("water_depth = \"120 m\"", "water_depth = \"96 m\"")
        .replace("lowest = \"-2 m\"", "lowest = \"-20 m\"");
    let check = judged(&floating);
    let slack = known(&check, "slack");
    close(slack.value.value, 95.0 - 76.0, 1e-9);
    assert_eq!(requirement(&check, "slack").word(), Word::Broken);
    // Without a tide nothing says how little water there is: enough of it keeps no limit, and a case breaks it. Rope that sinks asks for none.
    let untold = floating.replace("tide = { lowest = \"-20 m\", highest = \"2.5 m\" }\n", "");
    assert!(why_unknown(&judged(&untold), "slack").contains("tide"));
    let low = untold.replace("[case.only]\n", "[case.only]\nwater_level = \"-12 m\"\n");
    let slack = judged(&low);
    close(known(&slack, "slack").value.value, 95.0 - 84.0, 1e-9);
    assert_eq!(requirement(&slack, "slack").word(), Word::Broken);
    let lower = floating
        .replace("lowest = \"-20 m\"", "lowest = \"-15 m\"")
        .replace("[case.only]\n", "[case.only]\nwater_level = \"-19 m\"\n");
    close(
        known(&judged(&lower), "slack").value.value,
        95.0 - 77.0,
        1e-9,
    );
    let sinks =
        sized(&still(MEANS)).replace("tide = { lowest = \"-2 m\", highest = \"2.5 m\" }\n", "");
    assert_eq!(requirement(&judged(&sinks), "slack").word(), Word::Met);
}

/// With an anchor so heavy that no link can lift it.
fn dug_in(text: &str) -> String {
    let written = "weight_in_water = \"2000 N\"";
    assert!(text.contains(written));
    text.replace(written, "weight_in_water = \"40 kN\"")
}

/// A weak link must hold the greatest tension as often over as it says, and part before the rope does: in still water the tension is what the float lifts less what hangs between.
#[test]
fn verif_a_weak_link_parts_between_its_load_and_the_rope() {
    let (_, weight_n_m, ..) = rope();
    let greatest_n = LIFT_N - weight_n_m * 5.0;
    let link = |from: &str, by: &str| {
        let text = still(&format!(
            "[weak_link.top]\nposition = {{ section = \"section.riser\", from_top = \"5 m\" }}\nparts_from = \"{from}\"\nparts_by = \"{by}\"\nsafety_factor = 1.5\n"
        ));
        let text = text.replace("is = \"rope\"", "is = \"rope\"\nbreaking_load = \"6 kN\"");
        judged(&dug_in(&text))
    };
    let verdicts = |check: &assess::Check| -> Vec<(f64, f64, Word)> {
        let all = requirement(check, "weak-link").verdicts.iter();
        all.map(|v| match v {
            Verdict::Known(k) => (k.value.value, k.limit.value, v.word()),
            other => panic!("{other:?}"),
        })
        .collect()
    };
    for (from, by, words) in [
        ("2.5 kN", "4 kN", [Word::Met, Word::Met]),
        ("1.5 kN", "4 kN", [Word::Broken, Word::Met]),
        ("2.5 kN", "6.5 kN", [Word::Met, Word::Broken]),
    ] {
        let check = link(from, by);
        let mut found = verdicts(&check);
        found.sort_by(|a, b| a.1.total_cmp(&b.1));
        // The shape has points a little apart, and the larger tension beside the place counts.
        close(found[0].1, 1.5 * greatest_n, 1.5 * 5.0 * weight_n_m);
        assert!(found[0].1 >= 1.5 * greatest_n - 1e-6);
        close(found[1].1, 6000.0, 0.0);
        assert_eq!([found[0].2, found[1].2], words, "{from}, {by}");
    }
    let silent = still(
        "[weak_link.top]\nposition = { section = \"section.riser\", from_top = \"5 m\" }\nparts_from = \"2 kN\"\nparts_by = \"4 kN\"\n",
    );
    assert!(why_unknown(&judged(&dug_in(&silent)), "weak-link").contains("breaking_load"));
}

/// The plan of a buoy that holds the same rope, with one let-in housing of 120 N at 60 m, and means at its top, its anchor and the housing.
pub(crate) const BUOY: &str = r#"format = 1
[deployment]
name = "a buoy"
start = 2027-03-15
duration = "100 d"
recovery_slip = "20 d"
[site]
latitude = "57 deg"
longitude = "0 deg"
water_depth = "80 m"
density = "1025 kg/m3"
tide = { lowest = "-1 m", highest = "1 m" }
wind = ["0 m/s", "0 m/s", "0 m/s", "0 m/s", "0 m/s", "0 m/s", "0 m/s", "0 m/s", "0 m/s", "0 m/s", "0 m/s", "0 m/s"]
profile = [{ depth = "0 m", temperature = "9 degC", salinity = 34 }]
[supply.bench]
at = "module.buoy"
kind = "bench"
output = { voltage = "24 V", resistance = "0.1 ohm" }
[module.buoy]
position = { depth = "0 m" }
hull = { weight = "1000 N", waterplane = "0.5 m2", full_draught = "0.5 m", cd_a_water = "0.2 m2", cd_a_wind = "0.3 m2", flooding_adds = "400 N" }
drift_alarm = { radius = "50 m", every = "1 h", fix_error = "8 m", place_error = "15 m", false_alarms = "1 %" }
output.lantern = { kind = "lamp", power = "1 W", starts = "on" }
input = { minimum = "9 V", maximum = "36 V" }
[span.riser]
from = "module.buoy"
to = "module.ear"
length = "90 m"
conductor = "1.0 mm2 class 5"
contacts = { mated_pins_in_loop = 4, resistance = "8 mohm" }
[module.ear]
position = { section = "section.riser", from_anchor = "60 m" }
housing = { rated_depth = "200 m", weight_in_water = "120 N", cd_a = "0.05 m2", added_length = "1 m", flooding_adds = "90 N" }
[anchor.sinker]
weight_in_water = "4 kN"
[section.riser]
from = "module.buoy"
to = "anchor.sinker"
length = "86 m"
rope = "part.rope"
[part.rope]
is = "rope"
diameter = "12 mm"
weight_in_water = "0.5 N/m"
stiffness = "600 kN"
normal_drag = 1.3
tangential_drag = 0.02
strumming_drag = 1.3
breaking_load = "30 kN"
[case.still]
nominal = true
[case.flows]
current = [{ depth = "0 m", speed = "0.5 m/s" }]
[recovery.haul]
kind = "haul"
at = "module.buoy"
works = "90 %"
[recovery.call]
kind = "release"
at = "anchor.sinker"
works = "80 %"
[recovery.cutter]
kind = "release"
at = "module.ear"
works = "50 %"
[recovery.grapnel]
kind = "drag"
works = "60 %"
[requirement.back]
that = "recovery-chance"
at_least = "90 %"
"#;

/// A buoy is hauled or let go at its anchor; a cutter above the housing frees the buoy and leaves the housing down. What stays after a parting is dragged for.
#[test]
fn verif_each_means_brings_what_hangs_above_it() {
    let recovery = found(BUOY);
    let line = recovery.lines[0].as_ref().unwrap();
    let chance = |module: &str| {
        let of = read(BUOY);
        let ix = of.line.as_ref().unwrap().module_by_id(module).unwrap();
        let one = line.modules.iter().find(|m| m.module == ix).unwrap();
        one.chance.works().unwrap()
    };
    close(chance("buoy"), 1.0 - 0.1 * 0.2 * 0.5 * 0.4, 1e-12);
    close(chance("ear"), 1.0 - 0.1 * 0.2 * 0.4, 1e-12);
    let partings = line.partings.as_ref().unwrap();
    let below = partings.iter().find(|p| p.place == "just below module.ear");
    let above = partings.iter().find(|p| p.place == "just above module.ear");
    // All of the let-in housing goes one way: 25 m of rope above it, and 1 m of housing that weighs 120 N.
    let hull_n = WATER_KG_M3 * G * 0.5 * 0.5 - 1000.0;
    close(above.unwrap().clean.net_n, hull_n - 0.5 * 26.0, 1e-9);
    close(
        below.unwrap().clean.net_n,
        hull_n - 0.5 * 26.0 - 120.0,
        1e-9,
    );
    let stays = above.unwrap().stays_back.as_ref().unwrap();
    close(stays.works().unwrap(), 0.6, 1e-12);
    assert_eq!(stays.by, ["recovery.grapnel"]);
    assert!(below.unwrap().stays_back.is_none());
}

/// A figure of growth that is not known decides nothing where the other means are enough, and leaves it unknown where they are not.
#[test]
fn verif_what_is_unknown_of_a_means_is_not_taken_for_a_failure() {
    let grows = BUOY.replace(
        "density =",
        "growth = { a_month = \"1 mm\", density = \"1300 kg/m3\" }\ndensity =",
    );
    let asked = |share: &str| {
        judged(&grows.replace("at_least = \"90 %\"", &format!("at_least = \"{share}\"")))
    };
    // Without the releases and the haul, as nobody knows what grows on the housing and whether that holds the buoy under: the grapnel alone.
    let enough = asked("55 %");
    assert_eq!(requirement(&enough, "back").word(), Word::Met);
    close(known(&enough, "back").value.value, 60.0, 1e-9);
    assert!(
        known(&enough, "back")
            .why
            .contains("whether by recovery.call is unknown")
    );
    assert!(why_unknown(&asked("98 %"), "back").contains("module.ear.housing.outside"));
    assert_eq!(requirement(&asked("99.9 %"), "back").word(), Word::Broken);
}

/// The same with its water current at the lowest water, where its circle is widest.
pub(crate) fn buoy_at_lowest_water() -> String {
    BUOY.replace("[case.flows]\n", "[case.flows]\nwater_level = \"-1 m\"\n")
}

/// Rayleigh's law by hand: a circle of 95 % of r is r / sqrt(-2 ln 0.05); one false alarm in a hundred deployments of 2880 fixes lies `sqrt(-2 ln(1 - 0.99^(1/2880)))` deviations out.
#[test]
fn verif_a_drift_alarm_is_wider_than_the_circle_and_the_errors() {
    let buoy = buoy_at_lowest_water();
    let check = judged(&buoy);
    let alarm = known(&check, "drift-alarm");
    let sigma_m = (8.0f64 * 8.0 + 15.0 * 15.0).sqrt() / (-2.0 * 0.05f64.ln()).sqrt();
    let each = 1.0 - 0.99f64.powf(1.0 / 2880.0);
    let reading = read(&buoy);
    let shapes = moorings(reading.line.as_ref().unwrap()).unwrap();
    let circle_m = shapes.lines[0]
        .as_ref()
        .unwrap()
        .watch_circle
        .unwrap()
        .radius_m;
    assert!(circle_m > 10.0);
    let least_m = circle_m + sigma_m * (-2.0 * each.ln()).sqrt();
    close(alarm.limit.value, least_m, 1e-6);
    assert_eq!(requirement(&check, "drift-alarm").word(), Word::Broken);
    let wide = format!("radius = \"{:.0} m\"", least_m + 5.0);
    let check = judged(&buoy.replace("radius = \"50 m\"", &wide));
    assert_eq!(requirement(&check, "drift-alarm").word(), Word::Met);
}

/// A second line of which nothing is known leaves the requirement unknown, though every module of the first comes back.
#[test]
fn verif_a_line_that_is_not_known_is_told() {
    let two = BUOY.replace(
        "[case.still]",
        "[anchor.other]\n[float.up]\n[section.lost]\nfrom = \"float.up\"\nto = \"anchor.other\"\nlength = \"20 m\"\n[case.still]",
    );
    let check = judged(&two);
    assert!(why_unknown(&check, "back").contains("section.lost"));
}

/// Growth of which the float lifts 100 N less leaves as much less of what it lifts in still water.
#[test]
fn verif_what_a_float_holds_up_counts_with_growth() {
    let (d, ..) = rope();
    let clean = known(&judged(&sized(&still(""))), "held-up").value.value;
    let growth = "{ a_month = \"50 mm\", most = \"10 mm\", density = \"1300 kg/m3\" }";
    let check = judged(&grown(&sized(&still("")), growth));
    let held = known(&check, "held-up");
    let pi = core::f64::consts::PI;
    let volume_m3 = pi / 4.0 * ((d + 0.02).powi(2) - d * d) * 55.0
        + 2.0 * pi / 4.0 * (0.22f64.powi(2) * 0.62 - 0.04 * 0.6)
        + pi / 6.0 * (0.62f64.powi(3) - 0.6f64.powi(3));
    close(held.value.value, clean - G * 275.0 * volume_m3, 1e-6);
    assert!(held.why.contains("has grown"), "{}", held.why);
}

/// A buoy that its line holds under in still water is not hauled, and what rises from there has a speed: what is left are the release and the grapnel, `1 - 0.2 0.5 0.4` for the buoy.
#[test]
fn verif_a_buoy_that_is_held_under_is_not_hauled() {
    let heavy = BUOY.replace("weight_in_water = \"120 N\"", "weight_in_water = \"9 kN\"");
    assert_ne!(heavy, BUOY);
    let recovery = found(&heavy);
    let line = recovery.lines[0].as_ref().unwrap();
    for module in &line.modules {
        let by = &module.chance.by;
        assert!(!by.iter().any(|id| id == "recovery.haul"), "{by:?}");
        let why = module
            .chance
            .not_by
            .iter()
            .find(|(id, _)| id == "recovery.haul");
        assert!(why.unwrap().1.contains("holds the buoy under"), "{why:?}");
    }
    let partings = line.partings.as_ref().unwrap();
    let last = partings.last().unwrap();
    assert!(last.clean.net_n > 0.0);
    assert_eq!(last.rises_m_s(&last.clean), Some(last.clean.rises_m_s));
    // On a line that leaves its buoy afloat there is none.
    let afloat = found(BUOY);
    let partings = afloat.lines[0].as_ref().unwrap().partings.as_ref().unwrap();
    let last = partings.last().unwrap();
    assert_eq!(last.rises_m_s(&last.clean), None);
}

/// A buoy of whose line the usual case has no shape may be held under: whether it is hauled is unknown, and without it are left the release and the grapnel, `1 - 0.2 0.5 0.4` for the
/// buoy. A chance that these reach is met all the same, and one that the haul does not reach either is broken.
#[test]
fn verif_a_buoy_of_an_unknown_line_is_not_known_to_be_hauled() {
    let windy = BUOY.replace(", cd_a_wind = \"0.3 m2\"", "").replace(
        "nominal = true\n",
        "nominal = true\nwind = { speed = \"5 m/s\" }\n",
    );
    let recovery = found(&windy);
    let line = recovery.lines[0].as_ref().unwrap();
    let buoy = line
        .modules
        .iter()
        .find(|m| m.chance.by.len() == 3)
        .unwrap();
    close(
        *buoy.chance.at_least.as_ref().unwrap(),
        1.0 - 0.2 * 0.5 * 0.4,
        1e-12,
    );
    for module in &line.modules {
        assert!(!module.chance.by.iter().any(|id| id == "recovery.haul"));
        let (_, why) = &module.chance.unknown[0];
        assert!(why.contains("cd_a_wind"), "{why}");
    }
    for (asked, word) in [("50 %", Word::Met), ("99.9 %", Word::Broken)] {
        let of_buoy = format!(
            "[requirement.home]\nthat = \"recovery-chance\"\nof = \"module.buoy\"\nat_least = \"{asked}\"\n[case.still]"
        );
        let check = judged(&windy.replace("[case.still]", &of_buoy));
        assert_eq!(requirement(&check, "home").word(), word, "{asked}");
    }
    let check = judged(&windy.replace(
        "[case.still]",
        "[requirement.home]\nthat = \"recovery-chance\"\nof = \"module.buoy\"\nat_least = \"99 %\"\n[case.still]",
    ));
    let why = why_unknown(&check, "home");
    assert!(why.contains("no shape"), "{why}");
}

/// Margins in one unit stand by what is left, not by their share of limits that differ: a link that holds with 400 N to spare is nearer than one that parts 26 000 N before its rope.
#[test]
fn verif_the_nearest_of_one_unit_stands_first() {
    let text = sized(&still(
        "[weak_link.top]\nposition = { section = \"section.riser\", from_top = \"5 m\" }\nparts_from = \"2 kN\"\nparts_by = \"4 kN\"\nsafety_factor = 1.0\n",
    ));
    let text = text.replace("is = \"rope\"", "is = \"rope\"\nbreaking_load = \"30 kN\"");
    let check = judged(&dug_in(&text));
    let all = &requirement(&check, "weak-link").verdicts;
    let margins: Vec<f64> = all
        .iter()
        .map(|v| match v {
            Verdict::Known(known) => known.margin.value,
            other => panic!("{other:?}"),
        })
        .collect();
    assert_eq!(margins.len(), 2);
    assert!(margins[0] < margins[1], "{margins:?}");
}
