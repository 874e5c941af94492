//! `soundline listen` on real recordings: the calls and clicks that SciPy finds.
//!
//! Labels: `reference/recording/scipy-calls.csv` and `scipy-clicks.csv` (`reference/make/recording_calls.py`), whose
//! tolerances are used; levels are turned from full scale into pressure by the plan's sensors. `python3 reference/fetch.py`
//! fetches the recordings; without them the checks are skipped aloud, and fail where `CI=true` or
//! `SOUNDLINE_REQUIRE_RECORDINGS=1`.

use std::fs;
use std::path::{Path, PathBuf};

use serde_json::Value;

use crate::support::{expect_status, repository, run, soundline, stderr, stdout};

const PLAN: &str = concat!(
    env!("CARGO_MANIFEST_DIR"),
    "/../../plans/listening-bench/plan.toml"
);
/// A sample of 1.0 on the hydrophone of the plan, dB re 1 uPa.
const POOL_DB: f64 = 160.0;
/// A sample of 1.0 on its microphones, dB re 20 uPa: 1 Pa, 20 lg(10^6 / 20).
const AIR_DB: f64 = 93.979_400_086_720_37;

fn fetched(name: &str) -> Option<PathBuf> {
    truth::fetched(
        "`listen` on a real recording",
        &format!("recordings/{name}"),
    )
}

fn listen(path: &Path, more: &[&str]) -> Value {
    let args = ["listen", PLAN, path.to_str().unwrap(), "--format", "json"];
    let output = run(&[&args[..], more].concat());
    expect_status(&output, 0);
    serde_json::from_str(&stdout(&output)).unwrap()
}

#[derive(Debug, Clone, Copy)]
struct Call {
    begin_s: f64,
    end_s: f64,
    level_db: f64,
}

/// The events of the first recording, those that follow each other within `join_s` joined, as the labels were made, and
/// joined ones shorter than `shortest_s` left out.
fn calls(told: &Value, join_s: f64, shortest_s: f64) -> Vec<Call> {
    let number = |event: &Value, key: &str| event[key].as_f64().unwrap();
    let mut calls: Vec<Call> = Vec::new();
    for event in told["recordings"][0]["events"].as_array().unwrap() {
        let call = Call {
            begin_s: number(event, "begin_s"),
            end_s: number(event, "end_s"),
            level_db: number(event, "peak_level_db"),
        };
        match calls.last_mut() {
            Some(last) if call.begin_s - last.end_s < join_s => {
                last.end_s = call.end_s;
                last.level_db = last.level_db.max(call.level_db);
            }
            _ => calls.push(call),
        }
    }
    calls.retain(|call| call.end_s - call.begin_s >= shortest_s);
    calls
}

fn check_calls(
    name: &str,
    sensor: &str,
    detector: &str,
    full_scale_db: f64,
    join_s: f64,
    shortest_s: f64,
) {
    let Some(path) = fetched(name) else { return };
    let sensor = format!("module.bench.sensor.{sensor}");
    let told = listen(&path, &["--as", &sensor, "--detector", detector]);
    let found = calls(&told, join_s, shortest_s);
    let labels: Vec<Vec<f64>> = truth::rows("recording/scipy-calls.csv")
        .iter()
        .filter(|row| row[0] == name)
        .map(|row| {
            row[4..11]
                .iter()
                .map(|field| field.parse().unwrap())
                .collect()
        })
        .collect();
    assert!(!labels.is_empty());
    assert_eq!(found.len(), labels.len(), "{found:?}");
    for (call, label) in found.iter().zip(&labels) {
        let [
            window_s,
            _,
            begin_s,
            end_s,
            begin_spread_s,
            end_spread_s,
            level_db,
        ] = label[..]
        else {
            panic!("{label:?}");
        };
        let told = format!("{name}: {call:?} against {label:?}");
        assert!(
            (call.begin_s - begin_s).abs() <= window_s + begin_spread_s,
            "{told}"
        );
        assert!(
            (call.end_s - end_s).abs() <= window_s + end_spread_s,
            "{told}"
        );
        assert!(
            (call.level_db - full_scale_db - level_db).abs() <= 1.0,
            "{told}"
        );
    }
}

#[test]
fn val_orca_calls_are_those_that_scipy_finds() {
    check_calls("orca.ogg", "pool", "orca", POOL_DB, 0.03, 0.1);
}

#[test]
fn val_mouse_calls_are_those_that_scipy_finds() {
    check_calls("BM003.wav", "cage", "mouse", AIR_DB, 0.01, 0.015);
}

#[test]
fn val_deer_mouse_calls_are_those_that_scipy_finds() {
    check_calls("deermouse-go.wav", "nest", "deer-mouse", AIR_DB, 0.01, 0.01);
}

#[test]
fn val_dolphin_clicks_are_one_train_of_those_that_scipy_finds() {
    let Some(path) = fetched("dolphin.ogg") else {
        return;
    };
    let told = listen(
        &path,
        &["--as", "module.bench.sensor.pool", "--detector", "clicks"],
    );
    let events = told["recordings"][0]["events"].as_array().unwrap();
    let [train] = events.as_slice() else {
        panic!("one train: {events:?}");
    };
    let at_s: Vec<f64> = truth::rows("recording/scipy-clicks.csv")
        .iter()
        .map(|row| row[1].parse().unwrap())
        .collect();
    // Whistles come first: the background is that of the clicks alone only half of its 0.5 s into them, so that up to
    // three of the 45 clicks may stand out less than 12 dB. The rest are counted exactly.
    let first = at_s
        .iter()
        .position(|at_s| (at_s - train["begin_s"].as_f64().unwrap()).abs() <= 0.005)
        .expect("the train begins at a click, within the smoothing of 5 ms");
    assert!(first <= 3, "begins at click {first}");
    assert_eq!(
        train["pulses"].as_u64().unwrap() as usize,
        at_s.len() - first
    );
    let end_s = train["end_s"].as_f64().unwrap();
    assert!((end_s - at_s[at_s.len() - 1]).abs() <= 0.005, "{end_s}");
}

#[test]
fn verif_each_microphone_of_a_recording_goes_to_its_own_sensor() {
    let Some(path) = fetched("fruitfly-song-multichannel.wav") else {
        return;
    };
    let sensors = [
        "--as",
        "1=module.bench.sensor.left",
        "--as",
        "3=module.bench.sensor.right",
    ];
    let told = listen(&path, &sensors);
    let levels = told["recordings"][0]["levels"].as_array().unwrap();
    assert_eq!(levels.len(), 2);
    // hound reads the same channels.
    let mut reader = hound::WavReader::open(&path).unwrap();
    let samples: Vec<i16> = reader.samples().map(Result::unwrap).collect();
    for (told, channel) in levels.iter().zip([1_usize, 3]) {
        assert_eq!(told["channel"], channel);
        let own: Vec<f64> = samples
            .iter()
            .skip(channel - 1)
            .step_by(3)
            .map(|&x| f64::from(x) / 32_768.0)
            .collect();
        let mean_square = own.iter().map(|x| x * x).sum::<f64>() / own.len() as f64;
        let wanted_db = AIR_DB + 10.0 * mean_square.log10();
        let level_db = told["level_db"].as_f64().unwrap();
        assert!(
            (level_db - wanted_db).abs() < 1e-3,
            "{level_db} for {wanted_db}"
        );
    }
    let events = told["recordings"][0]["events"].as_array().unwrap();
    assert!(
        !events.is_empty() && events.iter().all(|e| e["channel"] == 1),
        "{events:?}"
    );
}

/// The tour of `listen` in the README: run from a folder that looks like a clone, word for word what the README shows.
#[cfg(unix)]
#[test]
fn verif_the_tour_of_listening_prints_what_the_readme_shows() {
    let Some(recording) = fetched("orca.ogg") else {
        return;
    };
    let readme = fs::read_to_string(repository("README.md")).unwrap();
    let mut block = readme
        .lines()
        .skip_while(|line| !line.starts_with("    $ soundline listen "))
        .map_while(|line| line.strip_prefix("    "));
    let command = block.next().unwrap().strip_prefix("$ soundline ").unwrap();
    let shown: Vec<&str> = block.collect();
    let clone = tempfile::tempdir().unwrap();
    for (folder, real) in [
        ("plans", repository("plans")),
        (
            "fetched/recordings",
            recording.parent().unwrap().to_path_buf(),
        ),
    ] {
        let link = clone.path().join(folder);
        fs::create_dir_all(link.parent().unwrap()).unwrap();
        std::os::unix::fs::symlink(real.canonicalize().unwrap(), link).unwrap();
    }
    let output = soundline()
        .args(command.split_whitespace())
        .current_dir(clone.path())
        .output()
        .unwrap();
    expect_status(&output, 0);
    let said = stdout(&output) + &stderr(&output);
    assert_eq!(said.lines().collect::<Vec<_>>(), shown);
    assert!(clone.path().join("pictures/orca.ogg.ch1.png").is_file());
}

/// Every sensor and recording that the bench's README names is there to be heard.
#[test]
fn verif_the_listening_bench_hears_each_recording_that_it_names() {
    let readme = fs::read_to_string(repository("plans/listening-bench/README.md")).unwrap();
    let rows: Vec<Vec<&str>> = readme
        .lines()
        .filter(|line| line.starts_with("| `"))
        .map(|line| line.split('`').skip(1).step_by(2).collect())
        .collect();
    assert_eq!(rows.len(), 5);
    for row in rows {
        let Some(path) = fetched(row[0]) else {
            continue;
        };
        let sensors = row[1..].iter().filter(|word| word.contains(".sensor."));
        let named: Vec<&str> = sensors.flat_map(|sensor| ["--as", sensor]).collect();
        let told = listen(&path, &named);
        let recording = &told["recordings"][0];
        assert_eq!(recording["whole"], true, "{}", row[0]);
        assert!(
            !recording["events"].as_array().unwrap().is_empty(),
            "{}",
            row[0]
        );
    }
}
