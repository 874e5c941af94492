//! Recordings that tell nothing, and requests that find nothing: `tune` and `measure` say so, and nothing rests on them.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Output;

use serde_json::Value;

use crate::files::{PLAN, POOL, RATE_HZ, float_wav, tone};
use crate::support::{expect_status, run, stderr, stdout};

struct Bench {
    folder: tempfile::TempDir,
    plan: PathBuf,
    labels: PathBuf,
}

impl Bench {
    fn new(labels: &str) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let plan = folder.path().join("plan.toml");
        fs::copy(PLAN, &plan).unwrap();
        let bench = Self {
            plan,
            labels: folder.path().join("labels.csv"),
            folder,
        };
        bench.label(labels);
        bench
    }

    fn label(&self, rows: &str) {
        fs::write(&self.labels, format!("recording,from_s,to_s,what\n{rows}")).unwrap();
    }

    fn wav(&self, name: &str, seconds: u32, sample: impl Fn(u32) -> f32) -> PathBuf {
        let path = self.folder.path().join(name);
        float_wav(&path, (0..seconds * RATE_HZ).map(sample))
    }

    fn tune(&self, wav: &Path, more: &[&str]) -> Output {
        let text = |path: &Path| path.to_str().unwrap().to_owned();
        let (plan, wav, labels) = (text(&self.plan), text(wav), text(&self.labels));
        let mut args = vec!["tune", &plan, &wav, "--labels", &labels];
        if !more.contains(&"--as") {
            args.extend(["--as", POOL]);
        }
        if !more.contains(&"--detector") {
            args.extend(["--detector", "orca"]);
        }
        args.extend(more);
        run(&args)
    }

    fn evidence(&self) -> usize {
        fs::read_dir(self.folder.path().join("plan.evidence")).map_or(0, Iterator::count)
    }
}

#[track_caller]
fn refused(output: &Output, says: &[&str]) {
    expect_status(output, 2);
    for words in says {
        assert!(
            stderr(output).contains(words),
            "{words}\n{}",
            stderr(output)
        );
    }
}

fn loud(frame: u32) -> f32 {
    if (frame / 40).is_multiple_of(2) {
        1.0
    } else {
        -1.0
    }
}

#[test]
fn verif_nothing_rests_on_recordings_that_are_silent_or_at_full_scale() {
    let bench = Bench::new("wet.wav,0.4,0.7,call\n");
    let wav = bench.wav("wet.wav", 4, loud);
    refused(
        &bench.tune(&wav, &[]),
        &["wet.wav: 4.000 s are at full scale", "could decide in none"],
    );
    let wav = bench.wav("wet.wav", 4, |_| 0.0);
    refused(
        &bench.tune(&wav, &[]),
        &[
            "wet.wav: in 4.000 s every sample is the same",
            "could decide in none",
        ],
    );
    assert_eq!(bench.evidence(), 0);
}

/// Two seconds of tones, three at full scale, two of tones, two of silence: four count.
#[test]
fn verif_clipped_and_silent_stretches_do_not_count_as_listened_to() {
    let bench = Bench::new("wet.wav,0,0.3,call\nwet.wav,3,3.5,call\n");
    let wav = bench.wav("wet.wav", 9, |frame| match frame / RATE_HZ {
        2..5 => loud(frame),
        7.. => 0.0,
        _ => tone(frame % RATE_HZ) + 1e-6 * (frame as f32).sin(),
    });
    let output = bench.tune(&wav, &["--format", "json"]);
    expect_status(&output, 0);
    let told: Value = serde_json::from_str(&stdout(&output)).unwrap();
    let judged_s = told["judged_s"].as_f64().unwrap();
    assert!((judged_s - 4.0).abs() < 0.3, "{judged_s}");
    assert_eq!(told["labelled"], 1);
    let warnings = told["warnings"].to_string();
    assert!(warnings.contains("3.000 s are at full scale"), "{warnings}");
    assert!(warnings.contains("every sample is the same"), "{warnings}");
}

#[test]
fn verif_what_finds_nothing_is_no_success() {
    let bench = Bench::new("./wet.wav,0.4,0.7,call\nwet.wav,1.4,1.7,song\n");
    let wav = bench.wav("wet.wav", 3, |frame| tone(frame % RATE_HZ) + 1e-6);
    refused(
        &bench.tune(&wav, &["--what", "nosuch"]),
        &[
            "no label is of the kind `nosuch`",
            "the labels have call, song",
        ],
    );
    refused(
        &bench.tune(&wav, &["--settling", "1 h"]),
        &[
            "could decide in none after 3600 s",
            "choose a shorter --settling",
        ],
    );
    refused(
        &bench.tune(&wav, &["--match", "begin", "--within", "100 s"]),
        &["--within 100 s is more than 2 s"],
    );
    refused(
        &bench.tune(&wav, &["--as", &format!("2={POOL}")]),
        &["no channel 2"],
    );
    bench.label("wet.wav,50,51,call\nwet.wav,9,8,call\n");
    let all_left_out = bench.tune(&wav, &[]);
    refused(
        &all_left_out,
        &["line 2: it begins at 50 s", "not one label can be used"],
    );
    assert_eq!(stdout(&all_left_out), "");
    assert_eq!(bench.evidence(), 0);
    bench.label("./wet.wav,0.4,0.7,call\nwet.wav,1.4,1.7,song\n");
    // A name that begins with `./` is found.
    expect_status(
        &bench.tune(&wav, &["--match", "begin", "--within", "2 s"]),
        0,
    );
    assert_eq!(bench.evidence(), 1);
}

#[test]
fn verif_help_stands_below_its_own_error() {
    let bench = Bench::new("wet.wav,0.4,0.7,call\nnone.wav,1,2,call\n");
    let path = bench.folder.path().join("wet.wav");
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: 48_000,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut writer = hound::WavWriter::create(&path, spec).unwrap();
    (0..48_000).for_each(|i| writer.write_sample((i % 99) as i16).unwrap());
    writer.finalize().unwrap();
    let output = bench.tune(&path, &[]);
    expect_status(&output, 2);
    let said = stderr(&output);
    let at = |words: &str| {
        said.find(words)
            .unwrap_or_else(|| panic!("{words}\n{said}"))
    };
    assert!(
        at("is sampled at 48000 Hz") < at("help: add --own-rate"),
        "{said}"
    );
    assert!(
        at("help: add --own-rate") < at("`none.wav` is not among"),
        "{said}"
    );
}

/// Labels that the plan writes with `./` are told as changed when only they are.
#[test]
fn verif_labels_that_change_are_told_as_changed_however_they_are_written() {
    let bench = Bench::new("wet.wav,0.4,0.7,call\n");
    let wav = bench.wav("wet.wav", 3, |frame| tone(frame % RATE_HZ) + 1e-6);
    let plan = &bench.plan;
    let finds = "\n[requirement.finds]\nthat = \"recall\"\nof = \"detector.orca\"\nat_least = \"1 %\"\nlabels = \"./labels.csv\"\n";
    fs::write(plan, fs::read_to_string(PLAN).unwrap() + finds).unwrap();
    expect_status(&bench.tune(&wav, &[]), 0);
    let why = || {
        let checked = run(&["check", plan.to_str().unwrap(), "--format", "json"]);
        let told: Value = serde_json::from_str(&stdout(&checked)).unwrap();
        let all = told["requirements"].as_array().unwrap();
        let finds = all.iter().find(|r| r["id"] == "finds").unwrap();
        finds["verdicts"][0]["why"].as_str().unwrap().to_owned()
    };
    assert!(
        why().contains("of 1 labels") || why().contains("of 1 label"),
        "{}",
        why()
    );
    bench.label("wet.wav,0.4,0.7,call\n\n");
    assert!(why().contains("the labels have changed"), "{}", why());
}

#[test]
fn verif_measure_tells_what_has_no_figure_and_keeps_its_table_whole() {
    let bench = Bench::new("");
    let measure = |paths: &[&Path]| {
        let mut args = vec!["measure", PLAN, "--as", POOL, "--every", "1 s"];
        args.extend(paths.iter().map(|p| p.to_str().unwrap()));
        run(&args)
    };
    // A sample at full scale in every second, and a tone else.
    let crest = bench.wav("crest.wav", 3, |frame| {
        if frame % RATE_HZ == 9 {
            1.0
        } else {
            tone(frame % RATE_HZ)
        }
    });
    refused(
        &measure(&[&crest]),
        &["not one figure: every second holds samples at full scale, 3 in all"],
    );
    let silent = bench.wav("silent.wav", 2, |_| 0.0);
    let output = measure(&[&silent]);
    expect_status(&output, 2);
    let told = stdout(&output);
    assert!(told.contains("0 periods of 1 s whole"), "{told}");
    assert!(told.contains("2 of exact silence"), "{told}");
    assert!(!told.contains("-inf"), "{told}");
}

/// What is wrong with a detector and what is odd about a sensor is told by their names in the plan, and only of those that are tuned.
#[test]
fn verif_only_the_detector_and_sensor_in_question_are_told() {
    let bench = Bench::new("wet.wav,0.4,0.7,call\n");
    let wav = bench.wav("wet.wav", 3, |frame| tone(frame % RATE_HZ) + 1e-6);
    let said = |output: &Output| stderr(output);
    let pool = bench.tune(&wav, &["--no-evidence"]);
    expect_status(&pool, 0);
    assert!(said(&pool).contains("hydrophone `pool` has no calibration"));
    let cage = bench.tune(
        &wav,
        &["--as", "module.bench.sensor.cage", "--detector", "mouse"],
    );
    assert!(!said(&cage).contains("`pool`"), "{}", said(&cage));
    // A window shorter than a sample.
    let plan = fs::read_to_string(&bench.plan).unwrap();
    let (from, to) = ("window = \"20 ms\"", "window = \"10 us\"");
    assert!(plan.contains(from));
    fs::write(&bench.plan, plan.replacen(from, to, 1)).unwrap();
    let bad = bench.tune(&wav, &["--no-evidence"]);
    expect_status(&bad, 2);
    assert!(
        said(&bad).contains("detector.orca: stage 2") && !said(&bad).contains("of ear"),
        "{}",
        said(&bad)
    );
}
