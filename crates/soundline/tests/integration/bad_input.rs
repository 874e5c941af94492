//! What a command cannot use is told with its remedy, the exit status says how much that was, and the rest of the work goes on.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Output;

use serde_json::Value;

use crate::files::{POOL, RATE_HZ, float_wav_at, tone};
use crate::support::{Demo, demo, expect_status, run, stderr, stdout};

/// Status when all recordings failed, and when some did.
const UNUSABLE: i32 = 2;
const SOME_FAILED: i32 = 4;

/// A command that hears recordings, with a plan and a sound of its own.
struct Bench {
    command: &'static str,
    demo: Demo,
    sensor: String,
    rate_hz: u32,
    seconds: u32,
}

impl Bench {
    /// The four commands that hear recordings.
    fn all() -> Vec<Bench> {
        let bench = |command| {
            let demo = demo("listening-bench", false);
            let rows = "good_20270315T041500Z.wav,0.3,0.6\n";
            fs::write(
                demo.folder.path().join("labels.csv"),
                format!("recording,from_s,to_s\n{rows}"),
            )
            .unwrap();
            Bench {
                command,
                demo,
                sensor: POOL.to_owned(),
                rate_hz: RATE_HZ,
                seconds: 2,
            }
        };
        let range = Bench {
            command: "range",
            demo: demo("harrow-sound", false),
            sensor: "module.upper.sensor.ear".to_owned(),
            rate_hz: 16_000,
            seconds: 60,
        };
        vec![bench("listen"), bench("measure"), bench("tune"), range]
    }

    fn path(&self, name: &str) -> PathBuf {
        self.demo.folder.path().join(name)
    }

    fn wav(&self, name: &str, sample: impl Fn(u32) -> f32) -> PathBuf {
        let frames = 0..self.seconds * self.rate_hz;
        float_wav_at(&self.path(name), self.rate_hz, frames.map(sample))
    }

    /// A recording that can be used: a tone in each second, and even noise.
    fn good(&self) -> PathBuf {
        self.wav("good_20270315T041500Z.wav", hiss_and_tone(self.rate_hz))
    }

    fn run(&self, recordings: &[&Path], more: &[&str]) -> Output {
        let recordings: Vec<&str> = recordings.iter().map(|r| r.to_str().unwrap()).collect();
        let labels = self.path("labels.csv").display().to_string();
        let mut args = vec![self.command, &self.demo.plan];
        if self.command == "range" {
            args.extend(["--detector", "upcall-upper", "--calls", "25", "--noise"]);
        }
        args.extend(&recordings);
        if !more.contains(&"--as") {
            args.extend(["--as", &self.sensor]);
        }
        match self.command {
            "listen" => args.extend(["--detector", "orca"]),
            "tune" => args.extend(["--detector", "orca", "--labels", &labels]),
            _ => {}
        }
        args.extend(more);
        run(&args)
    }

    /// A word that only a recording which was heard makes the command say.
    fn heard(&self) -> &'static str {
        match self.command {
            "listen" => "peak dB",
            "measure" => "whole",
            "tune" => "1 of 1 label",
            _ => "as recorded",
        }
    }

    /// One that is bad costs itself alone; where there is none but it, nothing is done.
    #[track_caller]
    fn costs_itself(&self, bad: &Path, words: &str) {
        let good = self.good();
        let some = self.run(&[&good, bad], &[]);
        self.told(&some, SOME_FAILED, words);
        assert!(
            stdout(&some).contains(self.heard()),
            "{}: {}",
            self.command,
            stdout(&some)
        );
        let none = self.run(&[bad], &[]);
        self.told(&none, UNUSABLE, words);
    }

    #[track_caller]
    fn told(&self, output: &Output, status: i32, words: &str) {
        expect_status(output, status);
        let said = stderr(output);
        assert!(said.contains(words), "{}, {words}: {said}", self.command);
    }
}

/// Even noise from a linear congruence (Numerical Recipes' constants, from memory), and the tone of the other checks in every second.
fn hiss_and_tone(rate_hz: u32) -> impl Fn(u32) -> f32 {
    move |frame| {
        let state = frame.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        let state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        let hiss = ((state >> 16) as f32 / 32_768.0 - 1.0) * 1e-3;
        hiss + tone(frame % rate_hz * (RATE_HZ / 100) / (rate_hz / 100))
    }
}

#[test]
fn verif_a_recording_that_cannot_be_used_costs_itself_alone() {
    for bench in Bench::all() {
        let other = float_wav_at(&bench.path("other.wav"), 8000, (0..8000).map(|_| 0.01));
        bench.costs_itself(&other, "other.wav: is sampled at 8000 Hz");
        let empty = bench.path("empty.wav");
        fs::write(&empty, b"").unwrap();
        bench.costs_itself(&empty, "empty.wav");
        let text = bench.path("text.wav");
        fs::write(&text, "no sound\n".repeat(20)).unwrap();
        bench.costs_itself(&text, "text.wav");
        bench.costs_itself(&bench.path("missing.wav"), "missing.wav");
        if bench.command != "measure" {
            let folder = bench.path("folder.wav");
            fs::create_dir(&folder).unwrap();
            bench.costs_itself(&folder, "folder.wav");
        }
    }
}

/// A channel that a recording has not costs that recording; the one that has it is heard.
#[test]
fn verif_a_channel_that_is_not_there_costs_its_recording() {
    for bench in Bench::all() {
        let mono = bench.good();
        let stereo = bench.path("good_20270315T051500Z.wav");
        let spec = hound::WavSpec {
            channels: 2,
            sample_rate: bench.rate_hz,
            bits_per_sample: 32,
            sample_format: hound::SampleFormat::Float,
        };
        let mut writer = hound::WavWriter::create(&stereo, spec).unwrap();
        let sample = hiss_and_tone(bench.rate_hz);
        for frame in 0..bench.seconds * bench.rate_hz {
            writer.write_sample(0.0_f32).unwrap();
            writer.write_sample(sample(frame)).unwrap();
        }
        writer.finalize().unwrap();
        let labels = "recording,from_s,to_s\ngood_20270315T051500Z.wav,0.3,0.6\n";
        fs::write(bench.path("labels.csv"), labels).unwrap();
        let second = format!("2={}", bench.sensor);
        let words = "has 1 channel, and no channel 2";
        let some = bench.run(&[&stereo, &mono], &["--as", &second]);
        bench.told(&some, SOME_FAILED, words);
        assert!(
            stdout(&some).contains(bench.heard()),
            "{}: {}",
            bench.command,
            stdout(&some)
        );
        bench.told(&bench.run(&[&mono], &["--as", &second]), UNUSABLE, words);
        bench.told(
            &bench.run(&[&stereo], &["--as", &bench.sensor]),
            UNUSABLE,
            "--as must say which",
        );
        let nobody = bench.run(&[&mono], &["--as", "module.none.sensor.ear"]);
        bench.told(
            &nobody,
            UNUSABLE,
            "is no hydrophone or microphone of the plan",
        );
    }
}

/// Silence and a recorder at its limit are no sound: three commands call the recording failed, `tune` warns and does not count it.
#[test]
fn verif_recordings_without_sound_are_told_and_the_rest_counts() {
    for bench in Bench::all() {
        let silent = bench.wav("silent.wav", |_| 0.0);
        let clipped = bench.wav(
            "clipped.wav",
            |frame| if frame / 9 % 2 == 0 { 1.0 } else { -1.0 },
        );
        if bench.command == "tune" {
            let all = bench.run(&[&bench.good(), &silent, &clipped], &["--format", "json"]);
            expect_status(&all, 0);
            let told: Value = serde_json::from_str(&stdout(&all)).unwrap();
            let judged_s = told["judged_s"].as_f64().unwrap();
            assert!((judged_s - 2.0).abs() < 0.1, "{judged_s}");
            let warnings = told["warnings"].to_string();
            for words in [
                "silent.wav: in 2.000 s every sample is the same",
                "clipped.wav: 2.000 s are at full scale",
            ] {
                assert!(warnings.contains(words), "{words}: {warnings}");
            }
            continue;
        }
        bench.costs_itself(&silent, "silent.wav: channel 1 is exact silence");
        bench.costs_itself(
            &clipped,
            "clipped.wav: channel 1 is at full scale from end to end",
        );
    }
}

/// What lies on two sides of a gap is heard, and the gap itself is nothing: no event, no period, no time that counts, no noise.
#[test]
fn verif_a_gap_in_time_is_no_sound() {
    for bench in Bench::all() {
        let first = bench.good();
        let name = match bench.seconds {
            2 => "good_20270315T041512Z.wav",
            _ => "good_20270315T041610Z.wav",
        };
        let second = bench.wav(name, hiss_and_tone(bench.rate_hz));
        let output = bench.run(&[&first, &second], &["--format", "json"]);
        expect_status(&output, 0);
        let told: Value = serde_json::from_str(&stdout(&output)).unwrap();
        match bench.command {
            "listen" => {
                let all = told["recordings"].as_array().unwrap();
                let heard = all.iter().map(|r| r["events"].as_array().unwrap().len());
                assert_eq!(heard.collect::<Vec<_>>(), [2, 2], "{told:#}");
            }
            "measure" => {
                let gaps = told["gaps"].as_array().unwrap();
                assert_eq!(gaps.len(), 1);
                assert_eq!(gaps[0]["length_s"], 10.0);
                let heard = told["periods"][0]["listened_s"].as_f64();
                assert_eq!(heard, Some(4.0));
            }
            "tune" => {
                let judged_s = told["judged_s"].as_f64().unwrap();
                assert!(judged_s <= 4.0 && judged_s > 3.9, "{judged_s}");
            }
            _ => assert_eq!(told["recorded"]["stretches"], 2),
        }
    }
}

/// Of two recordings that overlap in time the later one is left out; the first, and one without a start, are heard.
#[test]
fn verif_a_recording_that_overlaps_another_is_left_out() {
    for bench in Bench::all() {
        let first = bench.good();
        let again = bench.wav("late_20270315T041501Z.wav", hiss_and_tone(bench.rate_hz));
        let plain = bench.wav("plain.wav", hiss_and_tone(bench.rate_hz));
        let output = bench.run(&[&first, &again, &plain], &[]);
        bench.told(&output, SOME_FAILED, "late_20270315T041501Z.wav: begins ");
        bench.told(&output, SOME_FAILED, "it is left out");
        assert!(
            stdout(&output).contains(bench.heard()),
            "{}",
            stdout(&output)
        );
    }
}

/// `paths` and `chain` hear no recording: what they cannot use is a plan or a sensor.
#[test]
fn verif_paths_and_chain_say_what_they_cannot_use() {
    let demo = demo("silt-hollow", false);
    let folder = demo.folder.path();
    let empty = folder.join("empty.toml");
    fs::write(&empty, "").unwrap();
    let refused = |args: &[&str], words: &str| {
        let output = run(args);
        expect_status(&output, UNUSABLE);
        let said = stderr(&output);
        assert!(said.contains(words), "{args:?}, {words}: {said}");
        assert_eq!(stdout(&output), "");
    };
    let text = |path: &Path| path.to_str().unwrap().to_owned();
    for (command, more) in [("chain", &[][..]), ("paths", &["--from", "900 m, 10 m"])] {
        let with = |plan: &str, rest: &[&str]| -> Vec<String> {
            [&[command, plan], more, rest]
                .concat()
                .iter()
                .map(ToString::to_string)
                .collect()
        };
        let refused = |args: Vec<String>, words: &str| {
            let args: Vec<&str> = args.iter().map(String::as_str).collect();
            refused(&args, words);
        };
        refused(with(&text(folder), &[]), "it is a folder");
        refused(with(&text(&empty), &[]), "the plan cannot be used");
        refused(
            with(&text(&folder.join("no.toml")), &[]),
            "there is no such file",
        );
        let option = if command == "chain" { "--as" } else { "--to" };
        refused(
            with(&demo.plan, &[option, "module.deck.sensor.ear"]),
            "module.shallow.sensor.ear",
        );
    }
    for (from, words) in [
        ("900 m, 111 m", "source depth 111 m is outside"),
        ("900 m, -1 m", "source depth -1 m is outside"),
        ("-1 m, 10 m", "horizontal distance -1 m is outside"),
        ("1e9 km, 10 m", "horizontal distance"),
    ] {
        refused(&["paths", &demo.plan, "--from", from], words);
    }
    refused(
        &[
            "paths",
            &demo.plan,
            "--from",
            "900 m, 10 m",
            "--frequency",
            "0 Hz",
        ],
        "frequency 0 Hz",
    );
}

/// A file of labels with other columns is refused with what it lacks; a column too many is warned of.
#[test]
fn verif_label_files_of_other_columns_are_told() {
    let tune = Bench::all().remove(2);
    assert_eq!(tune.command, "tune");
    let good = tune.good();
    let labels = tune.path("labels.csv");
    let row = "good_20270315T041500Z.wav,0.3,0.6";
    for (columns, words) in [
        (
            "file,start,end",
            "`recording` is missing (it reads `file,start,end`)",
        ),
        ("recording,from_s,until_s", "`to_s` is missing"),
        (
            "recording,from_s,to_s,to_s",
            "names the column `to_s` twice",
        ),
    ] {
        fs::write(&labels, format!("{columns}\n{row}\n")).unwrap();
        let refused = tune.run(&[&good], &[]);
        tune.told(&refused, UNUSABLE, words);
        assert_eq!(stdout(&refused), "");
    }
    fs::write(&labels, format!("recording,from_s,to_s,mood\n{row},calm\n")).unwrap();
    let used = tune.run(&[&good], &["--no-evidence"]);
    tune.told(&used, 0, "the column `mood` is not looked at");
    assert!(stdout(&used).contains(tune.heard()));
    // A folder in place of the file.
    fs::remove_file(&labels).unwrap();
    fs::create_dir(&labels).unwrap();
    let refused = tune.run(&[&good], &[]);
    tune.told(&refused, UNUSABLE, "the labels cannot be read");
}
