//! A plan with a learned stage, in a program that runs models and in one that does not.

use std::path::PathBuf;
use std::process::Output;

use crate::files::{POOL, tone_wav};
use crate::support::{expect_status, repository, soundline, stderr, stdout};

const DETECTOR: &str = r#"
[detector.model]
on = "module.bench.sensor.pool"
stages = [
  { decimate = 49 },
  { learned = "open.onnx", window = "0.2 s", hop = "50 ms", input = "unit-rms", gives = "log-odds" },
  { on_above = "-50 dB", off_below = "-60 dB", shortest = "0 s", hold_off = "0 s" },
]
"#;

/// The bench with such a detector, on a processor; in a folder with its model and a recording.
struct Bench {
    folder: tempfile::TempDir,
    wav: PathBuf,
}

fn bench() -> Bench {
    let folder = tempfile::tempdir().unwrap();
    let plan = std::fs::read_to_string(repository("plans/listening-bench/plan.toml")).unwrap();
    let processor = "[module.bench]\nprocessor = { operations_per_s = 1e9 }\n";
    let plan = plan.replacen("[module.bench]\n", processor, 1) + DETECTOR;
    std::fs::write(folder.path().join("plan.toml"), plan).unwrap();
    let model = repository("crates/learned/tests/data/open.onnx");
    std::fs::copy(model, folder.path().join("open.onnx")).unwrap();
    let wav = tone_wav(&folder.path().join("tone.wav"));
    Bench { folder, wav }
}

impl Bench {
    fn plan(&self) -> String {
        self.folder.path().join("plan.toml").display().to_string()
    }

    fn listen(&self, more: &[&str]) -> Output {
        soundline()
            .args(["listen", &self.plan(), "--as", POOL, "--detector", "model"])
            .arg(&self.wav)
            .args(more)
            .output()
            .unwrap()
    }

    fn checked(&self) -> String {
        let checked = soundline().args(["check", &self.plan()]).output().unwrap();
        stdout(&checked)
    }
}

#[cfg(feature = "learned")]
#[test]
fn verif_a_model_is_listened_with_and_the_arithmetic_is_told() {
    let bench = bench();
    let output = bench.listen(&["--format", "json"]);
    expect_status(&output, 0);
    let told: serde_json::Value = serde_json::from_str(&stdout(&output)).unwrap();
    assert_eq!(
        told["arithmetic"],
        "scalar (learned stages: vector, the same on one machine only)"
    );
    let event = &told["recordings"][0]["events"][0];
    assert_eq!(event["level_reference"], "even odds");
    let level_db = event["peak_level_db"].as_f64().unwrap();
    assert!(level_db.abs() < 50.0, "{level_db}");
    let text = bench.listen(&[]);
    expect_status(&text, 0);
    assert!(stdout(&text).contains("learned stages: vector"));
    assert!(!bench.checked().contains("built without"));
}

#[cfg(not(feature = "learned"))]
#[test]
fn verif_without_models_it_is_told_what_cannot_be_known_and_how_to_build() {
    const HOW: &str =
        "this program was built without learned stages; build it with --features learned";
    let bench = bench();
    let output = bench.listen(&[]);
    expect_status(&output, 2);
    // Lines are wrapped at the width of the terminal.
    let words = |text: String| text.split_whitespace().collect::<Vec<_>>().join(" ");
    let said = words(stderr(&output));
    assert!(said.contains(HOW) && said.contains("open.onnx"), "{said}");
    // The other detectors still hear.
    let other = soundline()
        .args(["listen", &bench.plan(), "--as", POOL, "--detector", "orca"])
        .arg(&bench.wav)
        .output()
        .unwrap();
    expect_status(&other, 0);
    let checked = words(bench.checked());
    assert!(
        checked.contains("unknown") && checked.contains(HOW),
        "{checked}"
    );
}
