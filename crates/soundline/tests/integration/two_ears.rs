//! `soundline listen` on a recording of two hydrophones, one over the other (the invented Silt Hollow).

use std::fs;
use std::path::{Path, PathBuf};

use serde_json::Value;

use crate::support::{demo, edit, expect_status, repository, run, stdout};

const RATE_HZ: u32 = 8000;
const EARS: [&str; 2] = ["module.shallow.sensor.ear", "module.deep.sensor.ear"];
/// By how much the upper hydrophone hears the call later.
const LATER_S: f64 = 0.007;

fn sweep(t: f64) -> f64 {
    if !(0.0..=0.8).contains(&t) {
        return 0.0;
    }
    let edge = (20.0 * t).min(20.0 * (0.8 - t)).min(1.0);
    edge * (std::f64::consts::TAU * (160.0 * t + 0.5 * 300.0 * t * t)).sin()
}

/// Half a minute of noise with a call at 24 s, upper hydrophone first.
pub(crate) fn recording(folder: &Path, on_both: bool) -> PathBuf {
    recording_later(folder, on_both, LATER_S)
}

fn recording_later(folder: &Path, on_both: bool, later_s: f64) -> PathBuf {
    let path = folder.join("pair.wav");
    let spec = hound::WavSpec {
        channels: 2,
        sample_rate: RATE_HZ,
        bits_per_sample: 32,
        sample_format: hound::SampleFormat::Float,
    };
    let mut writer = hound::WavWriter::create(&path, spec).unwrap();
    let mut state = 1_u64;
    let mut noise = || {
        state = state
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        2e-3 * ((state >> 11) as f64 / (1_u64 << 53) as f64 - 0.5)
    };
    for frame in 0..30 * RATE_HZ {
        let t = f64::from(frame) / f64::from(RATE_HZ) - 24.0;
        let below = if on_both { sweep(t) } else { 0.0 };
        for heard in [sweep(t - later_s), below] {
            writer
                .write_sample((0.02 * heard + noise()) as f32)
                .unwrap();
        }
    }
    writer.finalize().unwrap();
    path
}

fn listen(plan: &str, wav: &Path, more: &[&str]) -> String {
    let (one, two) = (format!("1={}", EARS[0]), format!("2={}", EARS[1]));
    let wav = wav.display().to_string();
    let args = ["listen", plan, "--as", &one, "--as", &two, &wav];
    let output = run(&[&args[..], more].concat());
    expect_status(&output, 0);
    stdout(&output)
}

fn json(plan: &str, wav: &Path, more: &[&str]) -> Value {
    serde_json::from_str(&listen(plan, wav, &[&["--format", "json"], more].concat())).unwrap()
}

fn plan() -> String {
    repository("plans/silt-hollow/plan.toml")
        .display()
        .to_string()
}

fn number(of: &Value, key: &str) -> f64 {
    of[key].as_f64().unwrap_or_else(|| panic!("{key}: {of}"))
}

#[test]
fn verif_two_channels_tell_time_and_elevation() {
    let folder = tempfile::tempdir().unwrap();
    let wav = recording(folder.path(), true);
    let told = json(&plan(), &wav, &[]);
    let pair = &told["pairs"][0];
    assert_eq!(
        (&pair["upper"], &pair["clock"]),
        (&EARS[0].into(), &"recording".into())
    );
    assert_eq!(number(pair, "distance_m"), 30.0);
    let events = told["recordings"][0]["events"].as_array().unwrap();
    assert_eq!(events.len(), 2, "{events:?}");
    // What comes later to the upper one comes from below: the sine of the elevation is -c t / d.
    let sine = -number(pair, "sound_speed_m_s") * LATER_S / 30.0;
    let elevation_deg = sine.asin().to_degrees();
    for (event, sign) in events.iter().zip([-1.0, 1.0]) {
        let arrival = &event["arrivals"][0];
        let off_s = (number(arrival, "later_s") - sign * LATER_S).abs();
        assert!(off_s <= number(arrival, "time_uncertainty_s"), "{arrival}");
        assert_eq!(number(arrival, "clock_uncertainty_s"), 0.0);
        let e = &arrival["elevation"];
        assert!(
            (number(e, "elevation_deg") - elevation_deg).abs() < 0.1,
            "{e}"
        );
        let (least, most) = (number(e, "least_deg"), number(e, "most_deg"));
        assert!(least < elevation_deg && elevation_deg < most, "{e}");
        // The parts make the whole: the limits of the sine, and refraction beyond them.
        let parts: f64 = ["clocks", "estimate", "distance", "formula", "profile"]
            .iter()
            .map(|part| number(e, &format!("sine_from_{part}")).powi(2))
            .sum();
        let told = number(e, "elevation_deg").to_radians().sin();
        let above = most.to_radians().sin() - (told + parts.sqrt());
        let below = (told - parts.sqrt()) - least.to_radians().sin();
        assert!(above > 0.0 && below > 0.0, "{e}");
        let refraction = number(e, "sine_from_refraction");
        assert!((above.max(below) - refraction).abs() < 1e-9, "{e}");
        // The steepest is Snell's law from the fastest water to the slowest.
        let ratio =
            number(pair, "least_sound_speed_m_s") / number(pair, "greatest_sound_speed_m_s");
        let flat = (told - parts.sqrt()).asin().cos();
        assert!(
            (least.to_radians().cos() / flat / ratio - 1.0).abs() < 1e-9,
            "{e}"
        );
        // Two places of 0.3 m each, and half a metre a second.
        let distance = sine.abs() * 0.3 * 2.0_f64.sqrt() / 30.0;
        assert!((number(e, "sine_from_distance") / distance - 1.0).abs() < 0.02);
        let formula = sine.abs() * 0.5 / number(pair, "sound_speed_m_s");
        assert!((number(e, "sine_from_formula") / formula - 1.0).abs() < 0.02);
    }
    let text = listen(&plan(), &wav, &[]);
    assert!(
        text.contains("channel 1 event 1 (call-shallow): channel 2 hears it 7.0"),
        "{text}"
    );
    assert!(
        text.contains("earlier") && text.contains("elevation -20."),
        "{text}"
    );
    assert!(text.contains("taken: one clock for both"), "{text}");
    let csv = folder.path().join("events.csv");
    listen(&plan(), &wav, &["--out", &csv.display().to_string()]);
    let csv = fs::read_to_string(csv).unwrap();
    let mut rows = csv.lines().map(|row| row.split(',').collect::<Vec<_>>());
    let header = rows.next().unwrap();
    let rows: Vec<_> = rows.collect();
    assert_eq!(rows.len(), 2, "{csv}");
    for (row, event) in rows.iter().zip(events) {
        let at = |name: &str| row[header.iter().position(|n| *n == name).unwrap()];
        let arrival = &event["arrivals"][0];
        assert_eq!(at("detector"), event["detector"]);
        assert_eq!(at("other_channel"), arrival["other_channel"].to_string());
        assert_eq!(at("not_told"), "");
        for (name, of, key, within) in [
            ("later_s", arrival, "later_s", 1e-7),
            ("time_uncertainty_s", arrival, "time_uncertainty_s", 1e-7),
            (
                "elevation_deg",
                &arrival["elevation"],
                "elevation_deg",
                1e-3,
            ),
            (
                "elevation_least_deg",
                &arrival["elevation"],
                "least_deg",
                1e-3,
            ),
            (
                "elevation_most_deg",
                &arrival["elevation"],
                "most_deg",
                1e-3,
            ),
        ] {
            let off = at(name).parse::<f64>().unwrap() - number(of, key);
            assert!(off.abs() <= within, "{name}: {csv}");
        }
    }
}

/// Across a thermocline the same time may come of different rays: the time is told, and why it gives no elevation.
#[test]
fn verif_no_elevation_is_told_across_a_thermocline() {
    let folder = tempfile::tempdir().unwrap();
    let wav = recording(folder.path(), true);
    let changed = demo("silt-hollow", false);
    edit(&changed.plan, "45 m ± 0.3 m", "12 m ± 0.3 m");
    let told = json(&changed.plan, &wav, &[]);
    let arrival = &told["recordings"][0]["events"][0]["arrivals"][0];
    assert!(arrival["later_s"].is_f64() && arrival["elevation"].is_null());
    let why = arrival["not_told"].as_str().unwrap();
    assert!(why.contains("bent by up to 10."), "{why}");
    let text = listen(&changed.plan, &wav, &[]);
    assert!(
        text.contains("elevation not told: sound between the two"),
        "{text}"
    );
    assert!(text.contains("taken: the source is far off"), "{text}");
}

/// Modules that wrote for themselves have clocks of their own: what the plan writes counts, and where it writes nothing there is no
/// pair.
#[test]
fn verif_the_clocks_of_the_modules_count_when_asked() {
    let folder = tempfile::tempdir().unwrap();
    let wav = recording(folder.path(), true);
    let told = json(&plan(), &wav, &["--clocks", "modules"]);
    let arrival = &told["recordings"][0]["events"][0]["arrivals"][0];
    // Twice 0.2 ms, as independent.
    let clocks_s = 0.2e-3 * 2.0_f64.sqrt();
    assert!((number(arrival, "clock_uncertainty_s") - clocks_s).abs() < 1e-9);
    assert!(number(arrival, "time_uncertainty_s") > clocks_s);
    let one = json(&plan(), &wav, &[]);
    let one = &one["recordings"][0]["events"][0]["arrivals"][0];
    let wide =
        |a: &Value| number(&a["elevation"], "most_deg") - number(&a["elevation"], "least_deg");
    assert!(wide(arrival) > wide(one));
    let changed = demo("silt-hollow", false);
    edit(&changed.plan, "clock_error = \"0.2 ms\"\n", "");
    let text = listen(&changed.plan, &wav, &["--clocks", "modules"]);
    assert!(text.contains("no `clock_error` is written"), "{text}");
    let told = json(&changed.plan, &wav, &["--clocks", "modules"]);
    assert_eq!(told["pairs"].as_array().unwrap().len(), 0);
    assert_eq!(
        told["recordings"][0]["events"][0]["arrivals"]
            .as_array()
            .unwrap()
            .len(),
        0
    );
}

#[test]
fn verif_nothing_is_told_of_what_one_alone_hears() {
    let folder = tempfile::tempdir().unwrap();
    let wav = recording(folder.path(), false);
    let told = json(&plan(), &wav, &[]);
    let events = told["recordings"][0]["events"].as_array().unwrap();
    assert_eq!(events.len(), 1);
    let arrival = &events[0]["arrivals"][0];
    assert!(arrival["later_s"].is_null() && arrival["elevation"].is_null());
    let why = arrival["not_told"].as_str().unwrap();
    assert!(why.contains("with nothing in common"), "{why}");
    assert!(listen(&plan(), &wav, &[]).contains("channel 2 not told: "));
}

/// Sound that one hears 24 ms before the other did not come along 30 m: what is most alike about the end of what is looked through is a
/// side lobe, and its time is none, by either clock.
#[test]
fn verif_no_time_is_told_that_cannot_be() {
    let folder = tempfile::tempdir().unwrap();
    for later_s in [0.0225, 0.024, 0.025] {
        let wav = recording_later(folder.path(), true, later_s);
        for clocks in ["recording", "modules"] {
            let clocks = ["--clocks", clocks];
            let told = json(&plan(), &wav, &clocks);
            for event in told["recordings"][0]["events"].as_array().unwrap() {
                let arrival = &event["arrivals"][0];
                assert!(arrival["later_s"].is_null(), "{clocks:?}: {arrival}");
            }
            let text = listen(&plan(), &wav, &clocks);
            let said: Vec<&str> = text.lines().filter(|l| l.contains("not told: ")).collect();
            assert!(!said.is_empty(), "{text}");
            for line in said {
                // No figure of more than three decimals, and none in s.
                let long = line
                    .split(|c: char| !c.is_ascii_digit())
                    .any(|digits| digits.len() > 4);
                assert!(!long && !line.contains(" s,"), "{line}");
            }
        }
    }
}

/// A place without a spread gives a time and no elevation; two hydrophones at one depth are no pair.
#[test]
fn verif_what_the_plan_does_not_say_is_not_told() {
    let folder = tempfile::tempdir().unwrap();
    let wav = recording(folder.path(), true);
    let changed = demo("silt-hollow", false);
    edit(&changed.plan, "75 m ± 0.3 m", "75 m");
    let told = json(&changed.plan, &wav, &[]);
    let arrival = &told["recordings"][0]["events"][0]["arrivals"][0];
    assert!(arrival["later_s"].is_number() && arrival["elevation"].is_null());
    let why = arrival["not_told"].as_str().unwrap();
    assert!(why.contains("without a spread"), "{why}");
    edit(&changed.plan, "75 m", "45 m");
    let text = listen(&changed.plan, &wav, &[]);
    assert!(text.contains("are at the same depth, 45 m"), "{text}");
}

/// Temperatures that are uncertain by 0.2 degC make the speed uncertain by as much times its slope, 3.698 m/s for each degree at 9.0 degC and
/// 34.6 (derivative of Mackenzie's equation, 4.591 - 0.10608 T + 7.122e-4 T^2 - 0.01025 (S - 35), by hand); and what is told of it is no longer
/// taken.
#[test]
fn verif_an_uncertain_profile_counts() {
    let changed = demo("silt-hollow", false);
    let paths = || -> Value {
        let from = [
            "--format",
            "json",
            "paths",
            &changed.plan,
            "--from",
            "900 m, 10 m",
        ];
        let told: Value = serde_json::from_str(&stdout(&run(&from))).unwrap();
        told["pairs"][0].clone()
    };
    let exact = paths();
    assert!(exact["profile_uncertainty_m_s"].is_null());
    assert!(
        exact["assumed"]
            .to_string()
            .contains("the profile is exact")
    );
    for degc in ["16.4", "16.1", "9.2", "8.4"] {
        let from = format!("temperature = \"{degc} degC\"");
        let to = format!("temperature = \"{degc} degC ± 0.2 degC\"");
        edit(&changed.plan, &from, &to);
    }
    let spread = paths();
    let profile = number(&spread, "profile_uncertainty_m_s");
    assert!((profile - 0.2 * 3.698).abs() < 0.01, "{profile}");
    assert!(
        !spread["assumed"]
            .to_string()
            .contains("the profile is exact")
    );
    let part = number(&spread["elevation"], "sine_from_profile");
    let formula = number(&spread["elevation"], "sine_from_formula");
    assert!(
        (part / formula - profile / 0.5).abs() < 1e-3,
        "{part} {formula}"
    );
}

/// The footer of the picture holds the same time.
#[test]
fn verif_a_picture_says_when_the_other_hears() {
    let folder = tempfile::tempdir().unwrap();
    let wav = recording(folder.path(), true);
    let pictures = folder.path().join("new");
    listen(
        &plan(),
        &wav,
        &["--picture", &pictures.display().to_string()],
    );
    let svg = fs::read_to_string(pictures.join("pair.wav.ch1.svg")).unwrap();
    assert!(svg.contains("Between the hydrophones"), "{svg}");
}
