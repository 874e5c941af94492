//! `soundline tune`: what a user meets, on sounds whose levels are known and on real recordings.

mod fitted;
mod kept;

use std::fs;
use std::path::{Path, PathBuf};

use serde_json::Value;

use crate::files::float_wav;
use crate::support::{expect_status, repository, soundline, stderr, stdout};

const RATE_HZ: u32 = 44_100;

const SENSOR: &str = "module.bench.sensor.pool";

fn plan() -> PathBuf {
    repository("plans/listening-bench/plan.toml")
}

/// Ten seconds with a tone of 1 kHz of 0.3 s in each second but the last, every one 3 dB below the one before; the first has
/// 160 - 6.02 - 3.01 dB re 1 uPa.
fn steps(path: &Path) -> PathBuf {
    let sample = |i: u32| {
        let t_s = f64::from(i) / f64::from(RATE_HZ);
        let (second, into_s) = (t_s.floor(), t_s.fract());
        let amplitude = if (0.4..0.7).contains(&into_s) && second < 9.0 {
            0.5 * 10_f64.powf(-3.0 * second / 20.0)
        } else {
            1e-6
        };
        (amplitude * (std::f64::consts::TAU * 1000.0 * t_s).sin()) as f32
    };
    float_wav(path, (0..10 * RATE_HZ).map(sample))
}

fn tune(recordings: &[&Path], labels: &Path, more: &[&str]) -> std::process::Output {
    soundline()
        .arg("tune")
        .arg(plan())
        .args(recordings)
        .args([
            "--as",
            SENSOR,
            "--detector",
            "orca",
            "--no-evidence",
            "--labels",
        ])
        .arg(labels)
        .args(more)
        .output()
        .unwrap()
}

fn json(output: &std::process::Output) -> Value {
    serde_json::from_str(&stdout(output)).unwrap()
}

struct Steps {
    folder: tempfile::TempDir,
    wav: PathBuf,
    labels: PathBuf,
}

/// The recording with its nine tones, of which the first, third, ... are labelled.
fn labelled() -> Steps {
    let folder = tempfile::tempdir().unwrap();
    let wav = steps(&folder.path().join("steps.wav"));
    let labels = folder.path().join("labels.csv");
    let rows: String = (0..9)
        .step_by(2)
        .map(|second| format!("steps.wav,{second}.4,{second}.7\n"))
        .collect();
    fs::write(&labels, format!("recording,from_s,to_s\n{rows}")).unwrap();
    Steps {
        folder,
        wav,
        labels,
    }
}

/// The threshold of the plan is 138 dB: the tones of 150.97, 147.97, 144.97, 141.97 and 138.97 dB reach it, of which three are
/// labelled; every other threshold follows likewise.
#[test]
fn verif_figures_follow_from_the_levels() {
    let steps = labelled();
    let told = json(&tune(&[&steps.wav], &steps.labels, &["--format", "json"]));
    assert_eq!(told["format"], "tune/1");
    assert_eq!(told["threshold_db"], 138.0);
    assert_eq!(told["threshold_reference"], "dB re 1 uPa");
    assert_eq!(told["labelled"], 5);
    let curve = told["curve"].as_array().unwrap();
    assert_eq!(curve.len(), 61);
    for point in curve {
        let db = point["threshold_db"].as_f64().unwrap();
        let loud = |first: i32| {
            let levels = (0..9).map(|second| 160.0 - 9.031 - 3.0 * f64::from(second));
            levels
                .enumerate()
                .filter(|(i, level)| *i as i32 % 2 == first && *level >= db)
                .count()
        };
        assert_eq!(point["hits"], loud(0), "{db}");
        assert_eq!(point["false_alarms"], loud(1), "{db}");
    }
    let own = curve.iter().find(|p| p["threshold_db"] == 138.0).unwrap();
    // Clopper-Pearson of 3 of 5 at 95 %: scipy.stats.beta.ppf(.025, 3, 3) = .1466, .ppf(.975, 4, 2) = .9473.
    assert!((own["recall"]["low"].as_f64().unwrap() - 0.1466).abs() < 1e-4);
    assert!((own["recall"]["high"].as_f64().unwrap() - 0.9473).abs() < 1e-4);
    assert_eq!(told["missed_lines"], serde_json::json!([5, 6]));
    assert_eq!(told["events"].as_array().unwrap().len(), 5);
}

#[test]
fn verif_an_allowance_needs_long_recordings() {
    let steps = labelled();
    let short = tune(&[&steps.wav], &steps.labels, &["--false-alarms", "1 per d"]);
    expect_status(&short, 3);
    assert!(
        stdout(&short).contains("it takes 3.689 d without a single one"),
        "{}",
        stdout(&short)
    );
    // 10 s without one show fewer than 0.37 a second.
    let kept = tune(
        &[&steps.wav],
        &steps.labels,
        &["--false-alarms", "1 per s", "--format", "json"],
    );
    expect_status(&kept, 0);
    let allowance = &json(&kept)["allowance"];
    // Garwood of 3 in 10 s is 0.877 a second, of 4 it is 1.024: above 129.97 dB three of the four that are not labelled get by, and four
    // of the labelled are found.
    assert_eq!(allowance["threshold_db"], 130.0);
    let none = tune(
        &[&steps.wav],
        &steps.labels,
        &["--false-alarms", "0.4 per s", "--highest", "140"],
    );
    expect_status(&none, 1);
    let never = tune(&[&steps.wav], &steps.labels, &["--false-alarms", "0 per d"]);
    expect_status(&never, 2);
}

#[test]
fn verif_bad_labels_are_all_told_and_the_rest_goes_on() {
    let steps = labelled();
    let text = "\u{feff}recording;from_s;to_s;sure\r\n\
        steps.wav;0.4;0.7;y\r\n\
        steps.wav;0,4;0.7;y\r\n\
        steps.wav;2.4;nan;y\r\n\
        steps.wav;9;8;y\r\n\
        other.wav;1;2;y\r\n\
        other.wav;3;4;y\r\n\
        steps.wav;11;12;y\r\n\
        steps.wav;0.5;0.6;n\r\n";
    fs::write(&steps.labels, text).unwrap();
    let output = tune(&[&steps.wav], &steps.labels, &["--format", "json"]);
    expect_status(&output, 4);
    let told = json(&output);
    assert_eq!(told["labelled"], 2);
    let errors = told["errors"].as_array().unwrap();
    let said: Vec<&str> = errors
        .iter()
        .map(|e| e.as_str().unwrap().rsplit_once("labels.csv, ").unwrap().1)
        .collect();
    assert_eq!(
        said,
        [
            "line 3: `from_s` is `0,4`: write the number with a decimal point; the label is left out",
            "line 4: `to_s` is NaN, it must be finite and zero or more; the label is left out",
            "line 5: it goes from 9 s to 8 s: the end must come after the begin; the label is left out",
            "lines 6, 7: `other.wav` is not among the recordings that are given; the labels are left out",
            "line 8: it begins at 11 s, and the recording ends at 10.000 s; the label is left out",
        ]
    );
    let warnings = told["warnings"].as_array().unwrap();
    assert_eq!(warnings.len(), 4, "{warnings:?}");
    for word in ["byte order mark", "semicolons", "`sure`", "overlaps line 2"] {
        let has = |w: &Value| w.as_str().unwrap().contains(word);
        assert!(warnings.iter().any(has), "{word}");
    }
    for error in said {
        assert!(stderr(&output).contains(error), "{error}");
    }
}

#[test]
fn verif_what_cannot_be_asked_is_refused_with_help() {
    let steps = labelled();
    let empty = steps.folder.path().join("empty.csv");
    fs::write(&empty, "").unwrap();
    let refused = |labels: &Path, more: &[&str], says: &str| {
        let output = tune(&[&steps.wav], labels, more);
        expect_status(&output, 2);
        let said = stderr(&output);
        assert!(said.contains(says), "{said}");
    };
    refused(&empty, &[], "it is empty");
    refused(&steps.folder.path().join("no.csv"), &[], "cannot be read");
    refused(
        &steps.labels,
        &["--within", "1 s"],
        "belongs to --match begin",
    );
    refused(&steps.labels, &["--step", "0.01"], "1 to 400 are tried");
    refused(
        &steps.labels,
        &["--confidence", "1000 %"],
        "between 0 % and 100 %",
    );
    refused(&steps.labels, &["--confidence", "95"], "write \"95 %\"");
    refused(&steps.labels, &["--false-alarms", "1 per month"], "month");
    refused(
        &steps.labels,
        &["--out", "curve.txt"],
        "ends in .csv or .json",
    );
    let several = soundline()
        .arg("tune")
        .arg(plan())
        .arg(&steps.wav)
        .args(["--as", SENSOR, "--no-evidence", "--labels"])
        .arg(&steps.labels)
        .output()
        .unwrap();
    expect_status(&several, 2);
    assert!(
        stderr(&several).contains("name one of them: --detector clicks, --detector orca"),
        "{}",
        stderr(&several)
    );
    // A recording that is missing is told; the other is worked through.
    let missing = steps.folder.path().join("missing.wav");
    let output = tune(&[&steps.wav, &missing], &steps.labels, &[]);
    expect_status(&output, 4);
    assert!(
        stdout(&output).contains("1 recording"),
        "{}",
        stdout(&output)
    );
    expect_status(&tune(&[&missing], &steps.labels, &[]), 2);
}

#[test]
fn verif_pictures_and_the_curve_are_written() {
    let steps = labelled();
    let pictures = steps.folder.path().join("pictures");
    let csv = steps.folder.path().join("curve.csv");
    let more = [
        "--picture",
        pictures.to_str().unwrap(),
        "--out",
        csv.to_str().unwrap(),
        "--false-alarms",
        "1 per s",
    ];
    expect_status(&tune(&[&steps.wav], &steps.labels, &more), 0);
    for name in ["orca-curve", "orca-threshold"] {
        let png = fs::read(pictures.join(name).with_extension("png")).unwrap();
        assert_eq!(png[..8], *b"\x89PNG\r\n\x1a\n");
        let svg = fs::read_to_string(pictures.join(name).with_extension("svg")).unwrap();
        for text in [
            "false alarms an hour",
            "plan",
            "chosen",
            "allowed",
            "none seen",
        ] {
            assert!(svg.contains(text), "{name}: {text}");
        }
    }
    let text = fs::read_to_string(&csv).unwrap();
    let rows: Vec<&str> = text.lines().collect();
    assert_eq!(rows.len(), 62);
    assert!(
        rows.iter()
            .any(|row| row.starts_with("138.000,3,2,2,0.600000,")),
        "{text}"
    );
    let again = tune(&[&steps.wav], &steps.labels, &more);
    expect_status(&again, 2);
}

/// The calls that SciPy finds in real recordings (reference/recording/scipy-calls.csv; the labels of the plan hold the same figures)
/// are all found at the threshold of the plan.
#[test]
fn val_calls_in_real_recordings_are_found() {
    for (recording, sensor, detector, calls, apart) in [
        ("orca.ogg", "pool", "orca", 3, 0),
        ("BM003.wav", "cage", "mouse", 3, 0),
        ("deermouse-go.wav", "nest", "deer-mouse", 6, 2),
    ] {
        let Some(path) = truth::fetched(
            "`tune` on a real recording",
            &format!("recordings/{recording}"),
        ) else {
            return;
        };
        let stem = recording.split('.').next().unwrap();
        let labels = repository(&format!("plans/listening-bench/labels/{stem}.csv"));
        let text = fs::read_to_string(&labels).unwrap();
        let rows = truth::rows("recording/scipy-calls.csv");
        for row in rows.iter().filter(|row| row[0] == recording) {
            let label = format!(
                "{recording},{},{},{},{},call",
                row[6], row[7], row[11], row[12]
            );
            assert!(text.lines().any(|line| line == label), "{label}");
        }
        let output = soundline()
            .arg("tune")
            .arg(plan())
            .arg(path)
            .args([
                "--as",
                &format!("module.bench.sensor.{sensor}"),
                "--detector",
                detector,
                "--labels",
            ])
            .arg(labels)
            .args(["--format", "json", "--no-evidence"])
            .output()
            .unwrap();
        expect_status(&output, 0);
        let told = json(&output);
        let threshold = &told["threshold_db"];
        let curve = told["curve"].as_array().unwrap();
        let own = curve
            .iter()
            .find(|p| p["threshold_db"] == *threshold)
            .unwrap();
        assert_eq!(own["hits"], calls, "{recording}");
        // Pieces of a call beside its main part count as false alarms; the labels were made with pieces joined.
        assert_eq!(own["false_alarms"], apart, "{recording}");
    }
}
