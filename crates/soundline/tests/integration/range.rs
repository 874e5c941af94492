//! `range`: calls in noise, ranges, pictures, the evidence that `check` reads, and what is refused.

use std::fs;
use std::path::Path;

use serde_json::Value;

use crate::support::{demo, edit, expect_status, only_evidence, run, stderr, stdout};

const FAR: &str = "\n[requirement.far]\nthat = \"detection-range\"\nof = \"detector.upcall-upper\"\ncall = \"call.upcall\"\nat_least = \"2 km\"\nshare = \"90 %\"\nwhen_wind_at_most = \"6.85 m/s\"\n";

/// The same seed gives the same bytes, on any number of threads; what was counted is read again and not drawn anew.
#[test]
fn verif_ranges_are_told_in_text_and_json_and_kept_as_evidence() {
    let demo = demo("harrow-sound", false);
    let folder = Path::new(&demo.plan).parent().unwrap();
    let arguments = [
        "--detector",
        "upcall-upper",
        "--month",
        "6",
        "--calls",
        "50",
    ];
    let json = |more: &[&str]| -> Value {
        let mut all = vec!["--format", "json", "range", &demo.plan];
        all.extend(arguments);
        all.extend(more);
        let output = run(&all);
        expect_status(&output, 0);
        serde_json::from_str(&stdout(&output)).unwrap()
    };
    let first = json(&["--no-evidence"]);
    assert_eq!(first, json(&["--no-evidence"]));
    assert_eq!(first["format"], "range/1");
    assert!(first["evidence"].as_array().unwrap().is_empty());
    let month = &first["months"][0];
    assert_eq!(month["calls"], 50);
    let half = month["ranges"][0]["seen"]["range_m"].as_f64().unwrap();
    let most = month["ranges"][1]["seen"]["range_m"].as_f64().unwrap();
    let least = month["ranges"][1]["at_least"]["range_m"].as_f64().unwrap();
    assert!(half > most && most > least && least > 100.0, "{month}");
    // 6 dB over a window a quarter of a second long: calls at 4 dB rise by 5.5 dB, at 9 dB by 9.5 dB.
    let share = |db: f64| {
        let points = month["points"].as_array().unwrap();
        let point = points.iter().find(|p| p["snr_db"].as_f64() == Some(db));
        point.unwrap()["share"].as_f64().unwrap()
    };
    assert!(share(9.0) == 1.0 && share(1.0) < 0.1);
    let left = json(&[]);
    assert_eq!(left["evidence"].as_array().unwrap().len(), 1);
    let again = json(&[]);
    assert!(again["evidence"].as_array().unwrap().is_empty());
    assert_eq!(again["months"][0]["kept"], true);
    assert_eq!(again["months"][0]["points"], month["points"]);
    let mut all = vec!["range", &demo.plan];
    all.extend(arguments);
    let text = run(&all);
    expect_status(&text, 0);
    for what in [
        "limits at 95 %",
        "effective area",
        "ideal energy detector",
        "5 dB louder",
        "doubtful",
    ] {
        assert!(stdout(&text).contains(what), "{what}");
    }
    assert!(folder.join("plan.evidence").is_dir());
    let fewer = [
        "--detector",
        "upcall-upper",
        "--month",
        "6",
        "--calls",
        "30",
    ];
    let fewer = run(&[&["range", &demo.plan][..], &fewer].concat());
    let says = "50 calls at each ratio, seed 1, counted before; 30 were asked for\n";
    assert!(stdout(&fewer).contains(says), "{}", stdout(&fewer));
}

/// Without counts a requirement is unknown and says what to run; with them it is judged by the lower limits; a change of the
/// detector makes them stale, a change of the source level does not.
#[test]
fn verif_a_requirement_on_the_range_reads_the_counts_beside_the_plan() {
    let demo = demo("harrow-sound", false);
    let text = fs::read_to_string(&demo.plan).unwrap();
    fs::write(&demo.plan, text + FAR).unwrap();
    let judged = || -> Value {
        let told: Value =
            serde_json::from_str(&stdout(&run(&["--format", "json", "check", &demo.plan])))
                .unwrap();
        let all = told["requirements"].as_array().unwrap();
        all.iter().find(|r| r["id"] == "far").unwrap().clone()
    };
    let before = judged();
    assert_eq!(before["ruling"], "unknown");
    let why = before["verdicts"][0]["why"].as_str().unwrap();
    assert!(
        why.contains("soundline range") && why.contains("--call upcall"),
        "{why}"
    );
    let sampled = run(&[
        "range",
        &demo.plan,
        "--detector",
        "upcall-upper",
        "--wind",
        "6.85 m/s",
    ]);
    expect_status(&sampled, 0);
    let after = judged();
    assert_eq!(after["ruling"], "met", "{after}");
    let verdict = &after["verdicts"][0];
    assert_eq!(verdict["evidence"]["kind"], "sampling");
    assert_eq!(verdict["value"]["unit"], "m");
    assert!(verdict["value"]["value"].as_f64().unwrap() > 2200.0);
    // A record of another version of what finds the calls is none, and that is said.
    let record = only_evidence(&demo).display().to_string();
    let now = format!("detect {}", detect::METHOD);
    edit(&record, &now, "detect 0");
    assert_eq!(judged()["ruling"], "unknown");
    let told = run(&["check", &demo.plan]);
    assert!(
        stderr(&told).contains("detect 0") && stderr(&told).contains(&now),
        "{}",
        stderr(&told)
    );
    edit(&record, "detect 0", &now);
    edit(&demo.plan, "172 dB re 1 uPa m", "140 dB re 1 uPa m");
    assert_eq!(judged()["ruling"], "broken");
    edit(&demo.plan, "on_above = \"6 dB\"", "on_above = \"7 dB\"");
    let stale = judged();
    assert_eq!(stale["ruling"], "unknown");
    assert!(
        stale["verdicts"][0]["why"]
            .as_str()
            .unwrap()
            .contains("has changed")
    );
}

/// With the surface's image the loss of the far field is 20 lg(r^2 / (2 k zs zr)): twice as deep a hydrophone hears the root of two
/// times as far, where absorption is small.
#[test]
fn verif_the_image_in_the_surface_makes_depth_count() {
    let demo = demo("harrow-sound", false);
    edit(
        &demo.plan,
        "spreading = \"transition\"\nspreading_changes_at = \"1 km\"\n",
        "paths = \"surface-image\"\n",
    );
    let output = run(&[
        "--format",
        "json",
        "range",
        &demo.plan,
        "--detector",
        "upcall-upper",
        "--month",
        "1",
        "--calls",
        "25",
    ]);
    expect_status(&output, 0);
    let told: Value = serde_json::from_str(&stdout(&output)).unwrap();
    let all = told["months"][0]["by_depth"].as_array().unwrap();
    let range_m = |depth_m: f64| {
        let row = all
            .iter()
            .find(|row| row["depth_m"].as_f64() == Some(depth_m));
        row.unwrap()["ranges"][0]["seen"]["range_m"]
            .as_f64()
            .unwrap()
    };
    let ratio = range_m(85.0) / range_m(42.5);
    assert!((1.35..1.45).contains(&ratio), "{ratio}");
}

/// A law that was measured at other frequencies than the call's is told with its band, and that it says nothing of the call.
#[test]
fn verif_the_band_of_a_measured_loss_is_told() {
    let demo = demo("harrow-sound", false);
    edit(
        &demo.plan,
        "spreading = \"transition\"\nspreading_changes_at = \"1 km\"\n",
        "spreading = \"measured\"\nloss_measured = { slope = \"17 dB\", farthest = \"5 km\", band = [\"9 kHz\", \"11 kHz\"], document = \"SV-11\", by = \"the survey launch\", date = 2027-02-14 }\n",
    );
    let arguments = [
        "range",
        &demo.plan,
        "--detector",
        "upcall-upper",
        "--month",
        "1",
        "--calls",
        "25",
    ];
    let output = run(&[&["--format", "json"][..], &arguments].concat());
    expect_status(&output, 0);
    let told: Value = serde_json::from_str(&stdout(&output)).unwrap();
    let measured = &told["loss_measured"];
    assert_eq!(measured["band_low_hz"], 9000.0);
    assert_eq!(measured["band_high_hz"], 11000.0);
    let season = measured["season"].as_str().unwrap();
    assert!(season.contains("it was measured in February"), "{season}");
    let why = measured["why_not_of_this_call"].as_str().unwrap();
    assert!(why.contains("and the call lies in"), "{why}");
    let row = &told["over_hours"]["rows"][0]["p50"];
    assert!(
        row["drawn_in_noise_apart_db"].as_f64().unwrap() < 3.0,
        "{row}"
    );
    let text = run(&arguments);
    let text = stdout(&text)
        .split_whitespace()
        .collect::<Vec<_>>()
        .join(" ");
    assert!(text.contains("No law was measured for this call"), "{text}");
    assert!(text.contains("it was measured in February"), "{text}");
}

/// Without a month and a wind all is drawn that requirements of the detector for the call read: the months in which the line may be in the
/// water, and the wind up to which one is to hold. One for which the formula of the noise does not hold is told, and the rest drawn.
#[test]
fn verif_all_that_requirements_read_is_drawn() {
    let demo = demo("harrow-sound", false);
    let text = fs::read_to_string(&demo.plan).unwrap();
    let storm = FAR
        .replace("requirement.far", "requirement.storm")
        .replace("6.85", "40");
    let other = FAR
        .replace("requirement.far", "requirement.other")
        .replace("upcall-upper", "upcall-lower")
        .replace("6.85", "5");
    fs::write(&demo.plan, text + FAR + &storm + &other).unwrap();
    for (from, to) in [
        ("start = 2027-03-15", "start = 2027-06-20"),
        ("duration = \"240 d\"", "duration = \"20 d\""),
        ("start_slip = \"8 wk\"\n", ""),
        ("recovery_slip = \"12 wk\"\n", ""),
    ] {
        edit(&demo.plan, from, to);
    }
    let arguments = [
        "range",
        &demo.plan,
        "--detector",
        "upcall-upper",
        "--calls",
        "25",
    ];
    let output = run(&[&["--format", "json"][..], &arguments].concat());
    expect_status(&output, 3);
    let told: Value = serde_json::from_str(&stdout(&output)).unwrap();
    let winds: Vec<(Value, f64)> = told["months"]
        .as_array()
        .unwrap()
        .iter()
        .map(|m| (m["month"].clone(), m["wind_m_s"].as_f64().unwrap()))
        .collect();
    assert_eq!(
        winds,
        [(6.into(), 6.8), (7.into(), 6.9), (Value::Null, 6.85)]
    );
    assert_eq!(told["band_of"], "detector");
    assert_eq!(told["evidence"].as_array().unwrap().len(), 3);
    assert!(
        stderr(&output).contains("nothing is drawn at 40 m/s of wind"),
        "{}",
        stderr(&output)
    );
    let text = run(&arguments);
    expect_status(&text, 3);
    assert!(
        stdout(&text).contains("  wind    6.9 m/s") || stdout(&text).contains("  wind    6.8 m/s"),
        "{}",
        stdout(&text)
    );
    let alone = [&arguments[..], &["--wind", "9 m/s"]].concat();
    let text = run(&alone);
    expect_status(&text, 0);
    assert!(
        stdout(&text).contains("9 m/s of wind, 25 calls"),
        "{}",
        stdout(&text)
    );
    let wrong = [&arguments[..], &["--wind", "9 knots per hour"]].concat();
    expect_status(&run(&wrong), 2);
}

#[test]
fn verif_pictures_are_drawn_and_nothing_is_replaced() {
    let demo = demo("harrow-sound", false);
    let folder = Path::new(&demo.plan).parent().unwrap().join("pictures");
    let draw = || {
        run(&[
            "range",
            &demo.plan,
            "--detector",
            "detector.upcall-upper",
            "--call",
            "call.upcall",
            "--month",
            "1",
            "--month",
            "7",
            "--wind",
            "8 m/s",
            "--calls",
            "25",
            "--picture",
            folder.to_str().unwrap(),
        ])
    };
    expect_status(&draw(), 0);
    for (name, words) in [
        ("found", "limits at 95 %"),
        ("over-range", "horizontal range"),
        ("by-month", "depth of the hydrophone, m"),
    ] {
        let png = fs::read(folder.join(name).with_extension("png")).unwrap();
        assert!(png.starts_with(b"\x89PNG\r\n\x1a\n"));
        let svg = fs::read_to_string(folder.join(name).with_extension("svg")).unwrap();
        assert!(svg.contains(words), "{name}");
        // The wind by itself stands behind the months.
        let places = [">Dec<", ">8 m/s<"].map(|label| svg.contains(label));
        assert_eq!(places, [name == "by-month"; 2], "{name}");
    }
    let again = draw();
    expect_status(&again, 2);
    assert!(stderr(&again).contains("exists"));
}

/// Recordings of the sensor take the place of wind and shipping: one row, no month and no evidence, and what does not go with the
/// sensor is told while the rest of the work goes on.
#[test]
fn verif_calls_are_put_into_recordings_and_their_noise_is_told() {
    let demo = demo("harrow-sound", false);
    let folder = Path::new(&demo.plan).parent().unwrap();
    let wav = |name: &str, rate_hz: u32, seconds: u32| {
        let path = folder.join(name);
        let spec = hound::WavSpec {
            channels: 1,
            sample_rate: rate_hz,
            bits_per_sample: 16,
            sample_format: hound::SampleFormat::Int,
        };
        let mut writer = hound::WavWriter::create(&path, spec).unwrap();
        // Even noise of 49 steps rms from a linear congruence (Numerical Recipes' constants, from memory), and one sample at full scale.
        let mut state = 1_u32;
        for i in 0..rate_hz * seconds {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            let step = i16::try_from((state >> 16) % 171).unwrap() - 85;
            let loud = name.starts_with("quiet") && i == rate_hz;
            writer
                .write_sample(if loud { i16::MAX } else { step })
                .unwrap();
        }
        writer.finalize().unwrap();
        path.to_str().unwrap().to_owned()
    };
    let (quiet, other, short) = (
        wav("quiet.wav", 16_000, 70),
        wav("other.wav", 8000, 1),
        wav("short.wav", 16_000, 20),
    );
    let heard = |more: &[&str]| {
        let mut all = vec!["--format", "json", "range", &demo.plan];
        all.extend(["--detector", "upcall-upper", "--calls", "25", "--noise"]);
        all.extend(more);
        run(&all)
    };
    let whole = heard(&[&quiet]);
    expect_status(&whole, 0);
    let told: Value = serde_json::from_str(&stdout(&whole)).unwrap();
    let month = &told["months"][0];
    assert!(month["month"].is_null() && month["wind_m_s"].is_null());
    assert_eq!(told["months"].as_array().unwrap().len(), 1);
    assert_eq!(told["recorded"]["full_scale_samples"], 1);
    assert_eq!(told["recorded"]["stretches"], 1);
    assert_eq!(told["recorded"]["stretches_too_short"], 1);
    assert_eq!(told["evidence"].as_array().unwrap().len(), 0);
    assert!(
        told["no_evidence"]
            .as_str()
            .unwrap()
            .contains("of no month")
    );
    // 20 lg(1.25 V) + 168 - 26 = 143.94 dB re 1 uPa at full scale; 171 equally likely steps of 1/32768 have an rms of 49.36 steps,
    // spread evenly over 8 kHz, of which the detector takes 200 Hz.
    let level_db =
        143.94 + 20.0 * (49.36_f64 / 32_768.0).log10() + 10.0 * (200.0_f64 / 8000.0).log10();
    let off_db = month["noise_level_db_re_1upa"].as_f64().unwrap() - level_db;
    assert!(off_db.abs() < 0.4, "{off_db} dB");
    assert_eq!(stdout(&whole), stdout(&heard(&[&quiet])));
    assert!(!folder.join("plan.evidence").exists());
    let some = heard(&[&quiet, &other, "--as", "module.upper.sensor.ear"]);
    expect_status(&some, 4);
    assert!(
        stderr(&some).contains("sampled at 8000 Hz")
            && stderr(&some).contains("name recordings of that rate")
            && !stderr(&some).contains("--own-rate"),
        "{}",
        stderr(&some)
    );
    let none = heard(&[&other]);
    expect_status(&none, 2);
    assert!(stderr(&none).contains("none of the recordings"));
    let settling = heard(&[&short]);
    expect_status(&settling, 2);
    assert!(
        stderr(&settling).contains("to settle"),
        "{}",
        stderr(&settling)
    );
    let deaf = heard(&[&quiet, "--as", "module.lower.sensor.ear"]);
    expect_status(&deaf, 2);
    let text = run(&[
        "range",
        &demo.plan,
        "--detector",
        "upcall-upper",
        "--calls",
        "25",
        "--noise",
        &quiet,
    ]);
    expect_status(&text, 0);
    let words = stdout(&text);
    let in_one_line = words.split_whitespace().collect::<Vec<_>>().join(" ");
    for what in [
        "as recorded",
        "limits speak for these recordings",
        "no evidence was left",
        "± 10.0 dB (95 %, k = 2: a standard deviation of 5.0 dB)",
    ] {
        assert!(in_one_line.contains(what), "{what}: {in_one_line}");
    }
}

#[test]
fn verif_what_is_not_there_is_told_with_what_is() {
    let demo = demo("harrow-sound", false);
    let refused = |arguments: &[&str]| {
        let mut all = vec!["range", &demo.plan];
        all.extend(arguments);
        let output = run(&all);
        expect_status(&output, 2);
        stderr(&output)
    };
    let told = refused(&["--detector", "upcall"]);
    assert!(
        told.contains("detector.upcall-lower, detector.upcall-upper"),
        "{told}"
    );
    let told = refused(&["--detector", "upcall-upper", "--call", "moan"]);
    assert!(
        told.contains("no call.moan") && told.contains("call.upcall"),
        "{told}"
    );
    edit(&demo.plan, "to = \"150 Hz\"", "to = \"7.9 kHz\"");
    let told = refused(&["--detector", "upcall-upper"]);
    assert!(told.contains("hears up to 7200 Hz"), "{told}");
    edit(&demo.plan, "to = \"7.9 kHz\"", "to = \"150 Hz\"");
    edit(
        &demo.plan,
        "spreading = \"transition\"\nspreading_changes_at = \"1 km\"\n",
        "",
    );
    let told = refused(&["--detector", "upcall-upper"]);
    assert!(told.contains("how sound spreads"), "{told}");
    assert!(told.contains("spreading = \"spherical\""), "{told}");
    for (option, value) in [("--seed", "-1"), ("--calls", "-5"), ("--month", "13")] {
        let told = refused(&["--detector", "upcall-upper", option, value]);
        assert!(told.contains("a whole number from"), "{told}");
        assert!(!told.contains("unexpected argument"), "{told}");
    }
}

/// An example that asks for a range and an encounter: unknown until the command that `check` names has been run, and then as its README tells it.
#[test]
fn verif_an_example_asks_for_a_range_and_an_encounter() {
    let demo = demo("petrel-bank", false);
    let told = || stdout(&run(&["check", &demo.plan]));
    let before = told();
    let of = |text: &str, id: &str| {
        let row = text
            .lines()
            .find(|l| l.contains(&format!("  {id} (shall)")));
        row.unwrap().split_whitespace().next().unwrap().to_owned()
    };
    for id in ["heard", "heard-in-passing"] {
        assert_eq!(of(&before, id), "unknown");
    }
    assert!(before.contains("soundline range"), "{before}");
    let drawn = run(&["range", &demo.plan, "--detector", "moan", "--wind", "8 m/s"]);
    expect_status(&drawn, 0);
    let after = told();
    let readme = fs::read_to_string(demo.folder.path().join("README.md")).unwrap();
    for (id, ruled) in [
        (
            "heard",
            "detector.moan: 1.575 km, limit 1 km, margin 0.5750 km",
        ),
        (
            "heard-in-passing",
            "detector.moan: 2.500 km, limit 2 km, margin 0.5000 km",
        ),
    ] {
        assert_eq!(of(&after, id), "met");
        assert!(after.contains(ruled) && readme.contains(ruled), "{after}");
    }
    assert!(
        after.contains("under every law from 15 to 20 lg r, of"),
        "{after}"
    );
}
