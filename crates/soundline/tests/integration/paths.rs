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
}

/// The elevation that the pair gives holds the middle of those of the two paths within its limits: the waves are bent, near sources
/// too, by less than half a degree about it.
#[test]
fn verif_two_ears_hold_the_elevation_of_the_path() {
    for from in ["900 m, 10 m", "600 m, 100 m", "300 m, 40 m"] {
        let told = json(&["--from", from]);
        let pair = &told["pairs"][0];
        let number = |v: &Value, key: &str| v[key].as_f64().unwrap();
        let path = 0.5
            * (number(pair, "upper_first_path_elevation_deg")
                + number(pair, "lower_first_path_elevation_deg"));
        let e = &pair["elevation"];
        let (least, most) = (number(e, "least_deg"), number(e, "most_deg"));
        assert!(least - 0.5 <= path && path <= most + 0.5, "{from}: {pair}");
        assert!((number(e, "elevation_deg") - path).abs() < 1.0);
        assert_eq!(pair["bearing"], "open");
    }
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
    }
    let reef = repository("plans/reef-light/plan.toml")
        .display()
        .to_string();
    let output = run(&["paths", &reef, "--source-depth", "3 m"]);
    expect_status(&output, 2);
    assert!(stderr(&output).contains("bottom = {"));
}
