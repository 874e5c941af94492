//! `tune --real`: what the uplink and the battery of a plan leave for false alarms, from end to end.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Output;

use serde_json::Value;

use crate::files::float_wav_at;
use crate::support::{edit, expect_status, repository, run, soundline, stderr, stdout};

const RATE_HZ: u32 = 4000;
const SECONDS: u32 = 60;
/// Nothing but what is asked limits how often the base sends: the small line without limits of its own.
const UNLIMITED: [(&str, &str); 2] = [
    ("at_most = \"12 per d\"\n", ""),
    ("at_most = \"10 per min\"\n", ""),
];
/// Supply and requirement of a battery.
const BATTERY: [(&str, &str); 2] = [
    (
        "kind = \"bench\"",
        "kind = \"solar-battery\"\npanels = { peak_power_each = \"20 W\", tilt = \"60 deg\", faces = 4, loss = \"15 %\" }\nbattery = { chemistry = \"lifepo4\", capacity = \"60 Ah\", voltage = \"12.8 V\" }",
    ),
    (
        "[requirement.voltage]\n",
        "[requirement.dark]\nthat = \"autonomy\"\nat_least = \"4 d\"\n\n[requirement.voltage]\n",
    ),
];

/// A plan, a minute of its hydrophone with a loud tone every ten seconds, and labels of all of them.
struct Bench {
    folder: tempfile::TempDir,
    plan: String,
    wav: PathBuf,
    labels: PathBuf,
}

impl Bench {
    fn new(changes: &[(&str, &str)]) -> Bench {
        let folder = tempfile::tempdir().unwrap();
        let at = |name: &str| folder.path().join(name);
        let small = repository("crates/assess/tests/integration/small.toml");
        let plan = at("plan.toml").display().to_string();
        fs::copy(small, &plan).unwrap();
        for (from, to) in UNLIMITED.iter().chain(changes) {
            edit(&plan, from, to);
        }
        let sample = |i: u32| {
            let t_s = f64::from(i) / f64::from(RATE_HZ);
            let amplitude = if (5.0..5.5).contains(&(t_s % 10.0)) {
                0.1
            } else {
                1e-4
            };
            (amplitude * (std::f64::consts::TAU * 150.0 * t_s).sin()) as f32
        };
        let wav = float_wav_at(&at("sea.wav"), RATE_HZ, (0..SECONDS * RATE_HZ).map(sample));
        let labels = at("labels.csv");
        let rows: String = (0..SECONDS / 10)
            .map(|i| format!("sea.wav,{i}5,{i}5.5\n"))
            .collect();
        fs::write(&labels, format!("recording,from_s,to_s\n{rows}")).unwrap();
        Bench {
            folder,
            plan,
            wav,
            labels,
        }
    }

    fn tune(&self, more: &[&str]) -> Output {
        let path = |path: &Path| path.display().to_string();
        soundline()
            .args(["tune", &self.plan, &path(&self.wav)])
            .args(["--as", "module.ear.sensor.one"])
            .args(["--no-evidence", "--labels", &path(&self.labels)])
            .args(more)
            .output()
            .unwrap()
    }

    /// What came of `--real` as a document, with the exit status that is expected.
    fn real(&self, rate: &str, status: i32) -> Value {
        let output = self.tune(&["--real", rate, "--format", "json"]);
        expect_status(&output, status);
        serde_json::from_str::<Value>(&stdout(&output)).unwrap()["allowance"].clone()
    }

    /// The ruling of a requirement with so many events of the detector expected.
    fn ruling(&self, id: &str, per_day: f64) -> String {
        let plan = self.folder.path().join("expecting.toml");
        let text = fs::read_to_string(&self.plan).unwrap();
        let detector = "on = \"module.ear.sensor.one\"\n";
        assert_eq!(text.matches(detector).count(), 1);
        let expecting = format!("{detector}expects = \"{per_day:.6} per d\"\n");
        fs::write(&plan, text.replace(detector, &expecting)).unwrap();
        let output = run(&["--format", "json", "check", plan.to_str().unwrap()]);
        let told: Value = serde_json::from_str(&stdout(&output)).unwrap();
        let mut all = told["requirements"].as_array().unwrap().iter();
        let found = all.find(|r| r["id"] == id).unwrap();
        found["ruling"].as_str().unwrap().to_owned()
    }
}

fn per_day(allowance: &Value) -> f64 {
    allowance["false_alarms_per_d"].as_f64().unwrap()
}

fn from(allowance: &Value) -> String {
    let all = allowance["from"].as_array().unwrap();
    let lines: Vec<&str> = all.iter().map(|line| line.as_str().unwrap()).collect();
    lines.join("\n")
}

/// 400 messages in 30 d are 13.33 a day and 50 EUR at 0.10 EUR 16.67: the fewer of both, less 4 real ones, are 9.33 a day. With no false
/// alarm it takes 3.689 (minus ln 0.025) over that to show it, 0.395 d, and a minute shows nothing.
#[test]
fn verif_an_uplink_leaves_what_its_messages_do() {
    let bench = Bench::new(&[]);
    let allowance = bench.real("4 per d", 3);
    let left = 400.0 / 30.0 - 4.0;
    assert!(
        (per_day(&allowance) / left - 1.0).abs() < 1e-5,
        "{allowance}"
    );
    let said = from(&allowance);
    for what in [
        "requirement.messages leaves 13.33 events a day",
        "requirement.budget leaves 16.67 events a day",
        "requirement.messages leaves fewest; less 4 real events a day (--real)",
    ] {
        assert!(said.contains(what), "{said}");
    }
    let text = bench.tune(&["--real", "4 per d"]);
    expect_status(&text, 3);
    assert!(stdout(&text).contains("it takes 9.48"), "{}", stdout(&text));
}

/// 14 real events a day are more than the 13.33 that the messages leave: the figures and the curve are told all the same, and that nothing is
/// left for false alarms.
#[test]
fn verif_real_events_that_take_all_leave_the_figures() {
    let bench = Bench::new(&[]);
    let folder = bench.folder.path().join("pictures");
    let all = bench.tune(&["--real", "14 per d", "--picture", folder.to_str().unwrap()]);
    expect_status(&all, 3);
    let told = stdout(&all);
    for what in [
        "recall",
        "Allowance: 0 false alarms a day",
        "requirement.messages leaves fewest, and 14 real events a day (--real) take all of it",
        "nothing is left for false alarms",
    ] {
        assert!(told.contains(what), "{what}: {told}");
    }
    let allowance = bench.real("14 per d", 3);
    assert_eq!(per_day(&allowance), 0.0);
    assert_eq!(allowance["word"], "nothing-left");
}

/// An uplink that takes two thirds of an event a second leaves so much that a minute shows it: the threshold is told that keeps it.
#[test]
fn verif_an_allowance_that_the_recording_can_show_gives_a_threshold() {
    let bench = Bench::new(&[
        ("400 per 30 d", "1728000 per 30 d"),
        ("price = \"0.10 EUR\"", "price = \"0 EUR\""),
    ]);
    let allowance = bench.real("1 per d", 0);
    assert!(
        (per_day(&allowance) / 57_599.0 - 1.0).abs() < 1e-5,
        "{allowance}"
    );
    assert!(
        from(&allowance).contains("requirement.budget does not limit it: messages cost nothing")
    );
    assert_eq!(allowance["word"], "kept");
    assert!(allowance["threshold_db"].as_f64().unwrap() < 40.0);
}

/// What a battery leaves is what `check` itself still calls met with so many events expected, and no longer with more; each event
/// costs 20 s of the lamp and 5 s of sending.
#[test]
fn verif_a_battery_leaves_as_many_events_as_keep_its_requirement() {
    let changes: Vec<_> = BATTERY
        .into_iter()
        .chain([("price = \"0.10 EUR\"", "price = \"0 EUR\"")])
        .collect();
    let bench = Bench::new(&changes);
    let allowance = bench.real("0 per d", 3);
    let said = from(&allowance);
    assert!(
        said.contains("requirement.dark leaves fewest")
            || said.contains("requirement.messages leaves fewest"),
        "{said}"
    );
    let dark = said
        .lines()
        .find_map(|line| line.strip_prefix("requirement.dark leaves "))
        .unwrap_or_else(|| panic!("{said}"));
    let events: f64 = dark.split(' ').next().unwrap().parse().unwrap();
    assert_ne!(bench.ruling("dark", 0.97 * events), "broken");
    assert_eq!(bench.ruling("dark", 1.03 * events), "broken");
}

/// Where nothing limits it there is no allowance, and that is said.
#[test]
fn verif_where_nothing_limits_it_there_is_no_allowance() {
    let plan = repository("plans/listening-bench/plan.toml");
    let bench = Bench::new(&[]);
    fs::copy(plan, &bench.plan).unwrap();
    let wav = float_wav_at(
        &bench.folder.path().join("sea.wav"),
        44_100,
        (0..88_200).map(|i| (f64::from(i) * 0.1).sin() as f32 * 0.01),
    );
    fs::write(&bench.labels, "recording,from_s,to_s\nsea.wav,0.5,1\n").unwrap();
    let output = soundline()
        .args(["tune", &bench.plan, &wav.display().to_string()])
        .args(["--as", "module.bench.sensor.pool", "--detector", "orca"])
        .args(["--no-evidence", "--real", "1 per d", "--labels"])
        .arg(&bench.labels)
        .output()
        .unwrap();
    expect_status(&output, 2);
    for what in ["nothing in the plan limits", "--false-alarms \"1 per d\""] {
        assert!(stderr(&output).contains(what), "{}", stderr(&output));
    }
}
