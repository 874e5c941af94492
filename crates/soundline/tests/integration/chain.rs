//! `chain`: text, JSON, pictures, exit status and refusals.

use serde_json::Value;

use crate::support::{demo, edit, expect_status, run, stderr, stdout};

#[test]
fn verif_chains_are_told_in_text_and_json() {
    let demo = demo("harrow-sound", false);
    let text = run(&["chain", &demo.plan]);
    expect_status(&text, 0);
    let text = stdout(&text);
    let json = run(&["--format", "json", "chain", &demo.plan]);
    expect_status(&json, 0);
    let told: Value = serde_json::from_str(&stdout(&json)).unwrap();
    assert_eq!(told["format"], "chain/1");
    let sensors = told["sensors"].as_array().unwrap();
    assert_eq!(sensors.len(), 2);
    for sensor in sensors {
        assert!(text.contains(sensor["id"].as_str().unwrap()));
        let peak_db = sensor["overload_peak_level_db_re_1upa"].as_f64().unwrap();
        assert!(
            text.contains(&format!("overload      {peak_db:.1} dB")),
            "{text}"
        );
        let bands = sensor["bands"].as_array().unwrap();
        let of_1_khz = bands.iter().find(|b| b["centre_hz"] == 1000.0).unwrap();
        // The mean density of a band is its level less its width.
        let width_hz = of_1_khz["high_hz"].as_f64().unwrap() - of_1_khz["low_hz"].as_f64().unwrap();
        let density_db =
            of_1_khz["chain_level_db_re_1upa"].as_f64().unwrap() - 10.0 * width_hz.log10();
        let row = text
            .lines()
            .find(|l| l.trim_start().starts_with("1 kHz |"))
            .unwrap();
        assert!(row.contains(&format!(" {density_db:.1} |")), "{row}");
        assert!(row.ends_with("sea      sea"), "{row}");
    }
    let one = run(&[
        "chain",
        &demo.plan,
        "--as",
        "module.upper.sensor.ear",
        "--month",
        "7",
    ]);
    expect_status(&one, 0);
    let one = stdout(&one);
    assert!(one.contains("Jul") && !one.contains("Jan") && !one.contains("module.lower"));
}

#[test]
fn verif_pictures_of_chains_are_written_once() {
    let demo = demo("harrow-sound", false);
    let folder = std::path::Path::new(&demo.plan)
        .parent()
        .unwrap()
        .join("pictures");
    let folder = folder.to_str().unwrap();
    let args = [
        "chain",
        &demo.plan,
        "--as",
        "module.upper.sensor.ear",
        "--picture",
        folder,
    ];
    expect_status(&run(&args), 0);
    let png = std::fs::read(format!("{folder}/chain-upper-ear.png")).unwrap();
    assert!(png.starts_with(b"\x89PNG"));
    let svg = std::fs::read_to_string(format!("{folder}/chain-upper-ear.svg")).unwrap();
    for wanted in [
        "dB re 1 µPa²/Hz",
        "frequency, Hz",
        "sea in a calm",
        "detector.upcall-upper: chain 22.1 dB below the sea",
    ] {
        assert!(svg.contains(wanted), "{wanted}");
    }
    let again = run(&args);
    expect_status(&again, 2);
    assert!(stderr(&again).contains("--force"));
}

/// A chain above the sea that lies far below the threshold of its detector is no fault, and the picture tells both.
#[test]
fn verif_a_fixed_threshold_is_told_in_the_picture() {
    let demo = demo("pile-watch", false);
    let folder = std::path::Path::new(&demo.plan)
        .parent()
        .unwrap()
        .join("pictures");
    let args = ["chain", &demo.plan, "--picture", folder.to_str().unwrap()];
    let text = stdout(&run(&args));
    let below = text
        .split("the chain lies ")
        .find(|part| part.contains(" its threshold of 160.0 dB"))
        .and_then(|part| part.split(" dB below its threshold").next())
        .unwrap();
    let svg = std::fs::read_to_string(folder.join("chain-ear-strike.svg")).unwrap();
    let wanted = format!("detector.strike: chain {below} dB below its threshold, ");
    assert!(svg.contains(&wanted), "{wanted}");
}

/// What is picked up is in the picture of its chain, and what may fold in beside it.
#[test]
fn verif_what_a_chain_picks_up_is_in_its_picture() {
    let demo = demo("vennick-ledge", false);
    let folder = std::path::Path::new(&demo.plan).parent().unwrap();
    let drawn = |name: &str| {
        let into = folder.join(name);
        let args = ["chain", &demo.plan, "--picture", into.to_str().unwrap()];
        run(&args);
        std::fs::read_to_string(into.join("chain-first-ear.svg")).unwrap()
    };
    let svg = drawn("kept-out");
    assert!(svg.contains("picked up, a line over a decidecade"));
    assert!(svg.contains("chain, sum without what it picks up") && !svg.contains("may fold in"));
    edit(
        &demo.plan,
        ", anti_alias = { corner = \"4 kHz\", poles = 1 }, oversampling = { rate = \"1.024 MHz\", stop_band = \"100 dB\" }",
        "",
    );
    assert!(drawn("not-said").contains("may fold in"));
}

#[test]
fn verif_a_chain_of_unknown_noise_leaves_the_status_unknown() {
    let demo = demo("harrow-sound", false);
    let parts = demo.plan.replace("plan.toml", "parts.toml");
    let text = std::fs::read_to_string(&parts).unwrap();
    let begin = text.find("self_noise = [").unwrap();
    let end = begin + text[begin..].find("\n]\n").unwrap() + 3;
    edit(&parts, &text[begin..end], "");
    let output = run(&["chain", &demo.plan]);
    expect_status(&output, 3);
    let told = stdout(&output);
    assert!(
        told.contains("the chain lies at most") && told.contains(">3.8"),
        "{told}"
    );
}

#[test]
fn verif_a_sensor_that_is_not_there_is_refused() {
    let demo = demo("harrow-sound", false);
    let output = run(&["chain", &demo.plan, "--as", "module.upper.sensor.eye"]);
    expect_status(&output, 2);
    let told = stderr(&output);
    assert!(
        told.contains("module.lower.sensor.ear, module.upper.sensor.ear"),
        "{told}"
    );
    expect_status(&run(&["chain", &demo.plan, "--month", "13"]), 2);
}

/// There is no model of noise in air: no column of a sea and of what it limits stands in the table of a microphone.
#[test]
fn verif_a_microphone_is_told_without_a_sea() {
    let bench = crate::files::PLAN;
    let output = run(&["chain", bench, "--as", "module.bench.sensor.cage"]);
    let told = stdout(&output);
    let heading = told.lines().find(|l| l.contains("h-p dB")).unwrap();
    assert!(heading.contains("converter"), "{told}");
    for word in ["calm", "quietest", "limited by"] {
        let before_notes = told.split("\n- ").next().unwrap();
        assert!(!before_notes.contains(word), "{word}: {told}");
    }
    let rows = told.lines().filter(|l| l.contains("Hz | ")).count();
    assert!(rows > 30, "{told}");
    // The hydrophone of the same bench has no calibration; that is no matter of the microphone.
    assert!(!stderr(&output).contains("has no calibration"));
    let pool = run(&["chain", bench, "--as", "module.bench.sensor.pool"]);
    assert!(stderr(&pool).contains("hydrophone `pool` has no calibration"));
}
