//! `year`: months, hours off, sizes, pictures, and what is refused.

use std::fs;

use serde_json::Value;

use crate::support::{demo, edit, expect_status, run, stderr, stdout};

/// The same seed gives the same years; the JSON names its format, plan and units, and the text shows the load, part by part.
#[test]
fn verif_years_are_told_in_text_and_json() {
    let demo = demo("harrow-sound", false);
    let json = || {
        let output = run(&["--format", "json", "year", &demo.plan, "--years", "12"]);
        expect_status(&output, 0);
        stdout(&output)
    };
    let told: Value = serde_json::from_str(&json()).unwrap();
    assert_eq!(json(), json());
    assert_eq!(told["format"], "year/1");
    assert_eq!(told["plan_digest"].as_str().unwrap().len(), 64);
    assert_eq!(told["hours_off_h"].as_array().unwrap().len(), 12);
    assert_eq!(told["months"].as_array().unwrap().len(), 12);
    assert_eq!(told["charge_by_day"].as_array().unwrap().len(), 365);
    // Twelve years show nothing of 99 % of years: no sizes are told.
    assert!(told["sizes"].is_null());
    let parts: f64 = told["load_parts"]
        .as_array()
        .unwrap()
        .iter()
        .map(|p| p["power_w"].as_f64().unwrap())
        .sum();
    assert!((parts - told["load_w"].as_f64().unwrap()).abs() < 1e-12);
    let text = run(&["year", &demo.plan, "--years", "12"]);
    expect_status(&text, 0);
    for what in [
        "Load at the battery",
        "behaviour.light-the-lane",
        "Worst week",
        "Hours off a year",
    ] {
        assert!(stdout(&text).contains(what), "{what}");
    }
}

#[test]
fn verif_pictures_are_png_or_svg_and_nothing_is_replaced() {
    let demo = demo("harrow-sound", false);
    let folder = std::path::Path::new(&demo.plan).parent().unwrap();
    let draw = |name: &str, status: i32| {
        let path = folder.join(name);
        let output = run(&[
            "year",
            &demo.plan,
            "--years",
            "3",
            "--picture",
            path.to_str().unwrap(),
        ]);
        expect_status(&output, status);
        (path, stderr(&output))
    };
    let (png, _) = draw("y.png", 0);
    assert!(fs::read(&png).unwrap().starts_with(b"\x89PNG\r\n\x1a\n"));
    let (svg, _) = draw("y.svg", 0);
    let text = fs::read_to_string(&svg).unwrap();
    assert!(text.starts_with("<svg ") && text.ends_with("</svg>\n"));
    for what in ["lowest of all years", "worst week", "Wh: bar the panels"] {
        assert!(text.contains(what), "{what}");
    }
    assert!(draw("y.svg", 2).1.contains("exists"));
    assert!(draw("y.jpg", 2).1.contains(".png"));
    assert!(!folder.join("y.jpg").exists());
    // The plan itself is never the picture.
    assert!(draw("plan.toml", 2).1.contains(".png"));
}

/// With as many years as the claim needs the picture of sizes lies beside the other, and tells the claim, its units, the planned
/// sizes and the panels with which nothing does.
#[test]
fn verif_the_picture_of_sizes_tells_claim_units_and_what_does_not_do() {
    let demo = demo("harrow-sound", false);
    edit(&demo.plan, "share = \"99 %\"", "share = \"80 %\"");
    edit(
        &demo.plan,
        "peak_power_each = \"60 W\"",
        "peak_power_each = \"12 W\"",
    );
    let folder = std::path::Path::new(&demo.plan).parent().unwrap();
    let path = folder.join("y.svg");
    let path = path.to_str().unwrap();
    let draw = |force: bool| {
        let mut args = vec!["--format", "json", "year", &demo.plan, "--picture", path];
        args.extend(force.then_some("--force"));
        run(&args)
    };
    let output = draw(false);
    expect_status(&output, 0);
    let told: Value = serde_json::from_str(&stdout(&output)).unwrap();
    let beside = told["picture_of_sizes"].as_str().unwrap();
    assert!(beside.ends_with("y-sizes.svg"));
    let svg = fs::read_to_string(beside).unwrap();
    for what in [
        "at most 0 h off in 80 % of years, shown at 95 % confidence",
        "battery, Wh",
        "peak power of all panels, W",
        "X planned: 48 W",
        "x: no battery up to",
        "these do not",
    ] {
        assert!(svg.contains(what), "{what}");
    }
    let rows = told["sizes"]["rows"].as_array().unwrap();
    let none = rows.iter().filter(|r| r["battery_wh"].is_null()).count();
    assert!((1..rows.len()).contains(&none), "{none} of {}", rows.len());
    let sizes: Vec<f64> = rows
        .iter()
        .filter_map(|r| r["battery_wh"].as_f64())
        .collect();
    assert!(sizes.windows(2).all(|pair| pair[1] <= pair[0]), "{sizes:?}");
    // What lies there is not replaced unless that is asked for; the picture of sizes counts as well.
    fs::remove_file(path).unwrap();
    expect_status(&draw(false), 2);
    expect_status(&draw(true), 0);
}

/// A weather file beside the plan stands for the generated years: it is told and drawn as measured, and holds no more years than it
/// has.
#[test]
fn verif_a_weather_file_gives_the_years_that_it_holds() {
    let demo = demo("harrow-sound", false);
    let folder = std::path::Path::new(&demo.plan).parent().unwrap();
    edit(
        &demo.plan,
        "clearness = [0.34,",
        "weather = \"hours.csv\"\nclearness = [0.34,",
    );
    let mut hours =
        "time,ghi_w_m2,dni_w_m2,dhi_w_m2,air_temperature_degc,wind_speed_m_s\n".to_owned();
    for (month, days) in (1..).zip([31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31]) {
        for hour in 0..24 * days {
            let (day, hour) = (hour / 24 + 1, hour % 24);
            let w_m2 = if (9..15).contains(&hour) { 150 } else { 0 };
            hours += &format!("2023-{month:02}-{day:02}T{hour:02}:00Z,{w_m2},0,{w_m2},8,5\n");
        }
    }
    fs::write(folder.join("hours.csv"), hours).unwrap();
    let picture = folder.join("y.svg");
    let output = run(&["year", &demo.plan, "--picture", picture.to_str().unwrap()]);
    expect_status(&output, 0);
    let said = stdout(&output);
    for what in [
        "1 measured year of hours.csv",
        "0 of 1 year has an hour off",
        "at most 95.0 % of",
        "No sizes are told",
    ] {
        assert!(said.contains(what), "{what}: {said}");
    }
    assert!(!said.contains("generated years"), "{said}");
    let svg = fs::read_to_string(picture).unwrap();
    assert!(svg.contains("Measured years of hours.csv"));
    let json = run(&["--format", "json", "year", &demo.plan]);
    let told: Value = serde_json::from_str(&stdout(&json)).unwrap();
    assert_eq!(told["weather_file"], "hours.csv");
    let output = run(&["year", &demo.plan, "--years", "2"]);
    expect_status(&output, 2);
    assert!(stderr(&output).contains("hours.csv"));
}

#[test]
fn verif_a_plan_without_sun_or_clearness_is_refused_with_what_is_missing() {
    let bench = demo("pile-watch", false);
    let output = run(&["year", &bench.plan]);
    expect_status(&output, 2);
    assert!(stderr(&output).contains("no supply of this plan has panels"));
    let sun = demo("harrow-sound", false);
    edit(&sun.plan, "clearness = [0.34,", "# clearness = [0.34,");
    let output = run(&["year", &sun.plan, "--years", "3"]);
    expect_status(&output, 2);
    assert!(stderr(&output).contains("clearness"), "{}", stderr(&output));
    let output = run(&["year", &sun.plan, "--supply", "supply.moon"]);
    expect_status(&output, 2);
    assert!(stderr(&output).contains("there is supply.sun"));
}
