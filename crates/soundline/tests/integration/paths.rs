//! `soundline paths` on the invented Silt Hollow.

use std::fs;

use serde_json::Value;

use crate::support::{expect_status, repository, run, stderr, stdout};

fn plan() -> String {
    repository("plans/silt-hollow/plan.toml")
        .display()
        .to_string()
}

fn json(args: &[&str]) -> Value {
    let output = run(&[&["--format", "json", "paths", &plan()], args].concat());
    expect_status(&output, 0);
    serde_json::from_str(&stdout(&output)).unwrap()
}

/// Text and JSON tell the same paths; the earliest comes first, and the loss of all together is below that of each.
#[test]
fn verif_paths_are_told() {
    let told = json(&["--from", "900 m, 10 m"]);
    let ears = told["hydrophones"].as_array().unwrap();
    assert_eq!(ears.len(), 2);
    for ear in ears {
        let paths = ear["paths"]["paths"].as_array().unwrap();
        let number = |p: &Value, key: &str| p[key].as_f64().unwrap();
        assert!(paths.len() > 5);
        assert!(
            paths
                .windows(2)
                .all(|w| number(&w[0], "time_s") <= number(&w[1], "time_s"))
        );
        let together = number(&ear["paths"], "power_loss_db");
        assert!(paths.iter().all(|p| number(p, "loss_db") > together));
        assert_eq!(ear["paths"]["comes"], "direct");
    }
    let output = run(&["paths", &plan(), "--from", "900 m, 10 m"]);
    let text = stdout(&output);
    let first = ears[0]["paths"]["paths"][0]["time_s"].as_f64().unwrap();
    assert!(text.contains(&format!("{:.3}", 1e3 * first)), "{text}");
    assert!(text.contains("elevation +"), "{text}");
    assert!(
        text.contains("Angles of a path: + on its way down"),
        "{text}"
    );
}

/// The limits of the elevation that the pair gives hold the angles of both paths, near and far. Where both hear different ways first, none is told.
#[test]
fn verif_two_ears_hold_the_elevation_of_the_paths() {
    for from in ["900 m, 10 m", "600 m, 100 m", "300 m, 50 m"] {
        let told = json(&["--from", from]);
        let pair = &told["pairs"][0];
        let number = |v: &Value, key: &str| v[key].as_f64().unwrap();
        let e = &pair["elevation"];
        for key in [
            "upper_first_path_elevation_deg",
            "lower_first_path_elevation_deg",
        ] {
            let path = number(pair, key);
            assert!(
                number(e, "least_deg") <= path && path <= number(e, "most_deg"),
                "{from}: {pair}"
            );
        }
        assert_eq!(pair["bearing"], "open");
    }
    let told = json(&["--from", "600 m, 40 m"]);
    let pair = &told["pairs"][0];
    assert!(pair["elevation"].is_null() && pair["upper_later_s"].is_f64());
    assert!(
        pair["why"][0].as_str().unwrap().contains("different ways"),
        "{pair}"
    );
}

#[test]
fn verif_shadows_are_told_by_range() {
    let told = json(&[
        "--source-depth",
        "10 m",
        "--out-to",
        "5 km",
        "--to",
        "module.shallow.sensor.ear",
    ]);
    let shadow = &told["hydrophones"][0]["shadows"][0];
    assert_eq!(shadow["comes"], "bed");
    assert!(shadow["from_m"].as_f64().unwrap() > 2000.0);
    let far = told["hydrophones"][0]["by_range"]
        .as_array()
        .unwrap()
        .last()
        .unwrap();
    assert_eq!(far["comes"], "bed");
}

/// A path that is found but not listed is told as such: here the only one free of the bed is fainter than the plan wants.
#[test]
fn verif_what_comes_is_listed_or_told_to_be_missing() {
    let to = "module.shallow.sensor.ear";
    let (mut unlisted, mut listed) = (0, 0);
    for range in [
        "100 m", "500 m", "1000 m", "1400 m", "2 km", "2.8 km", "3.1 km",
    ] {
        let told = json(&["--from", &format!("{range}, 20 m"), "--to", to]);
        let found = &told["hydrophones"][0]["paths"];
        let paths = found["paths"].as_array().unwrap();
        let bounces = |p: &Value, of: &str| p[format!("{of}_bounces")].as_u64().unwrap();
        let direct = paths
            .iter()
            .any(|p| bounces(p, "surface") == 0 && bounces(p, "bottom") == 0);
        let missing = &found["comes_below_loudest_db"];
        match found["comes"].as_str().unwrap() {
            "direct" if direct => {
                listed += 1;
                assert!(missing.is_null(), "{range}: {found}");
            }
            "direct" => {
                unlisted += 1;
                assert!(missing.as_f64().unwrap() > 0.0, "{range}: {found}");
            }
            _ => assert!(!direct, "{range}: {found}"),
        }
    }
    assert!(unlisted > 0 && listed > 0, "{unlisted} {listed}");
    let output = run(&["paths", &plan(), "--from", "2.8 km, 20 m", "--to", to]);
    let text = stdout(&output);
    assert!(text.contains("no such path is listed"), "{text}");
    assert!(text.contains("all touch the bed"), "{text}");
}

#[test]
fn verif_too_far_is_told_in_words() {
    let output = run(&["paths", &plan(), "--from", "200 km, 10 m"]);
    let text = stdout(&output);
    assert!(!text.contains("without end"), "{text}");
    assert!(
        text.contains("no path comes from 200000 m away with at most 3 bounces from the bed"),
        "{text}"
    );
}

/// The picture's dashes begin where the text says that the shadow begins, to a column of the picture, and nowhere else.
#[test]
fn verif_picture_and_text_tell_the_same_shadow() {
    const FAR_M: f64 = 6000.0;
    const SEABED_M: f64 = 110.0;
    const COLUMN_M: f64 = FAR_M / 240.0;
    let folder = tempfile::tempdir().unwrap();
    let place = folder.path().join("new").display().to_string();
    let to = "module.shallow.sensor.ear";
    let ask = |depth: &str, more: &[&str]| {
        let args = ["--source-depth", depth, "--out-to", "6 km", "--to", to];
        json(&[&args[..], more].concat())
    };
    ask("20 m", &["--picture", &place]);
    let svg = fs::read_to_string(folder.path().join("new/paths-shallow-ear.svg")).unwrap();
    // The plot of a page of 1400 by 820: its left and right, top and bottom.
    let range_of = |x: f64| (x - 336.0) / (1370.0 - 336.0) * FAR_M;
    let depth_of = |y: f64| (y - 92.0) / (670.0 - 92.0) * SEABED_M;
    let dashes: Vec<(f64, f64, f64)> = svg
        .lines()
        .filter(|l| l.contains("stroke-dasharray=\"3,7\""))
        .map(|l| {
            let points = l.split('"').nth(1).unwrap();
            let n: Vec<f64> = points
                .split([' ', ','])
                .map(|n| n.parse().unwrap())
                .collect();
            (depth_of(n[1]), range_of(n[0]), range_of(n[2]))
        })
        .collect();
    let mut held = 0;
    for row in [7.0, 19.0, 22.0, 40.0, 76.0, 103.0] {
        let depth_m = (row + 0.5) * SEABED_M / 120.0;
        let told = ask(&format!("{depth_m} m"), &[]);
        let shadows = told["hydrophones"][0]["shadows"].as_array().unwrap();
        let drawn: Vec<_> = dashes
            .iter()
            .filter(|(z, _, _)| (z - depth_m).abs() < 0.1)
            .collect();
        assert_eq!(
            drawn.len(),
            shadows.len(),
            "{depth_m} m: {drawn:?} {shadows:?}"
        );
        for ((_, from_m, until_m), shadow) in drawn.iter().zip(shadows) {
            let number = |key: &str| shadow[key].as_f64().unwrap();
            assert!((from_m - number("from_m")).abs() < COLUMN_M, "{depth_m} m");
            assert!(
                (until_m - number("until_m")).abs() < COLUMN_M,
                "{depth_m} m"
            );
            held += 1;
        }
    }
    assert!(held >= 5);
}

#[test]
fn verif_a_profile_that_ends_above_the_bed_is_told() {
    let demo = crate::support::demo("silt-hollow", false);
    let ask = ["paths", &demo.plan, "--source-depth", "20 m"];
    assert!(!stdout(&run(&ask)).contains("the profile"));
    let text = fs::read_to_string(&demo.plan).unwrap();
    let ends = text.replace("{ depth = \"110 m\",", "{ depth = \"60 m\",");
    assert_ne!(text, ends);
    fs::write(&demo.plan, ends).unwrap();
    for output in [run(&ask), run(&["check", &demo.plan])] {
        let told = stdout(&output);
        assert!(told.contains("the profile ends at 60 m of 110 m"), "{told}");
    }
}

/// The example's own rehearsal, whose ears follow rays, sees what its cue sheet expects, twice the same.
#[test]
fn verif_a_rehearsal_with_rays_sees_what_it_expects() {
    let demo = crate::support::demo("silt-hollow", false);
    let cues = demo
        .folder
        .path()
        .join("cues/passing-caller.toml")
        .display()
        .to_string();
    let output = run(&["rehearse", &demo.plan, &cues]);
    expect_status(&output, 0);
    let again = run(&["rehearse", &demo.plan, &cues, "--force"]);
    assert_eq!(stdout(&output), stdout(&again));
}

#[test]
fn verif_pictures_are_drawn_once() {
    let folder = tempfile::tempdir().unwrap();
    let place = folder.path().join("new").display().to_string();
    let (plan, to) = (plan(), "module.deep.sensor.ear");
    let args = [
        "paths",
        &plan,
        "--from",
        "700 m, 10 m",
        "--to",
        to,
        "--picture",
        &place,
    ];
    expect_status(&run(&args), 0);
    let png = fs::read(folder.path().join("new/paths-deep-ear.png")).unwrap();
    assert_eq!(&png[1..4], b"PNG");
    let svg = fs::read_to_string(folder.path().join("new/paths-deep-ear.svg")).unwrap();
    assert!(svg.contains("sound speed, m/s") && svg.contains("range from the hydrophone, m"));
    expect_status(&run(&args), 2);
    expect_status(&run(&[&args[..], &["--force"]].concat()), 0);
}

#[test]
fn verif_wrong_questions_get_an_answer() {
    for (args, says) in [
        (vec!["--from", "900 m"], "a range and a depth"),
        (vec!["--source-depth", "10"], "needs a unit"),
        (vec!["--from", "900 m, 200 m"], "outside 0.01 to 110 m"),
        (
            vec!["--from", "900 m, 10 m", "--to", "module.moon.sensor.ear"],
            "its hydrophones are",
        ),
        (vec!["--from", "-900 m, 10 m"], "outside 0 to 500000 m"),
        (
            vec!["--from", "0 m, 45 m"],
            "the source lies on module.shallow.sensor.ear",
        ),
        (vec!["--from", "900 m, -10 m"], "outside 0.01 to 110 m"),
        (vec!["--source-depth", "-20 m"], "outside 0.01 to 110 m"),
        (
            vec!["--source-depth", "20 m", "--out-to", "0 m"],
            "out to 1 m at the least, not to 0 m",
        ),
        (
            vec!["--source-depth", "20 m", "--out-to", "-5 km"],
            "not to -5000 m",
        ),
        (vec![], "--from"),
    ] {
        let plan = plan();
        let output = run(&[&["paths", &plan], &args[..]].concat());
        expect_status(&output, 2);
        assert!(
            stderr(&output).contains(says),
            "{args:?}: {}",
            stderr(&output)
        );
        if says.contains("outside") || says.contains("lies on") {
            assert!(
                stderr(&output).contains("help: a place is a range from the line"),
                "{args:?}"
            );
        }
    }
    let reef = repository("plans/reef-light/plan.toml")
        .display()
        .to_string();
    let output = run(&["paths", &reef, "--source-depth", "3 m"]);
    expect_status(&output, 2);
    assert!(stderr(&output).contains("bottom = {"));
}
