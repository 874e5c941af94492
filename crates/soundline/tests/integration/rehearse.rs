//! `rehearse`: exit status, trace, evidence, sameness, and the bounds of `check`.

use std::collections::BTreeSet;
use std::fs;

use serde_json::Value;

use crate::support::{
    Demo, demo, edit, expect_status, only_evidence, run, soundline, stderr, stdout,
};

const CUES: &str = "cues/ferry-night.toml";

fn cues(demo: &Demo, name: &str) -> String {
    demo.folder.path().join(name).display().to_string()
}

fn parsed(output: &std::process::Output) -> Value {
    serde_json::from_str(&stdout(output)).unwrap()
}

/// A short cue sheet for the first example: one near call.
fn short(demo: &Demo) -> String {
    let path = cues(demo, "cues/short.toml");
    let text = r#"format = 1
[rehearsal]
name = "One call"
duration = "90 s"
seed = 3
wind = "7 m/s"
[sound.call]
at = "50 s"
kind = "upsweep"
from = "90 Hz"
to = "150 Hz"
length = "0.7 s"
source_level = "176 dB re 1 uPa m"
track = [{ range = "1.2 km", bearing = "80 deg", depth = "15 m" }]
[expect.lamp]
that = "switched"
of = "module.marker.output.lamp"
to = "on"
after = "sound.call"
within = "2 s"
"#;
    fs::write(&path, text).unwrap();
    path
}

/// Unknown without evidence, met with what the rehearsal leaves; run twice and on other numbers of threads it is the same.
#[test]
fn verif_a_rehearsal_leaves_evidence_and_is_the_same_on_any_number_of_threads() {
    let demo = demo("harrow-sound", false);
    expect_status(&run(&["check", &demo.plan]), 3);
    let mut digests = Vec::new();
    for threads in ["1", "4"] {
        let output = soundline()
            .env("RAYON_NUM_THREADS", threads)
            .args([
                "--format",
                "json",
                "rehearse",
                &demo.plan,
                &cues(&demo, CUES),
            ])
            .output()
            .unwrap();
        expect_status(&output, 0);
        let whole = parsed(&output);
        for field in ["plan_digest", "cues_digest", "result_digest", "program"] {
            assert!(whole[field].is_string(), "{field} in {whole}");
        }
        digests.push(whole["result_digest"].clone());
    }
    assert_eq!(digests[0], digests[1]);
    // The same content in the same file, and no other.
    let record = only_evidence(&demo);
    let record: Value = serde_json::from_str(&fs::read_to_string(record).unwrap()).unwrap();
    assert_eq!(record["result_digest"], digests[0]);
    expect_status(&run(&["check", &demo.plan]), 0);
}

#[test]
fn verif_the_trace_is_kept_from_overwriting() {
    let demo = demo("harrow-sound", false);
    let sheet = short(&demo);
    let trace = cues(&demo, "trace.jsonl");
    let rehearse = |extra: &[&str]| {
        let mut args = vec!["rehearse", &demo.plan, &sheet, "--trace", &trace];
        args.extend_from_slice(extra);
        run(&args)
    };
    let first = rehearse(&[]);
    expect_status(&first, 0);
    let text = fs::read_to_string(&trace).unwrap();
    assert!(text.lines().count() > 10);
    for line in text.lines().skip(1) {
        let record: Value = serde_json::from_str(line).unwrap();
        assert!(
            record["at_ns"].is_u64() && record["what"].is_string(),
            "{line}"
        );
    }
    fs::write(&trace, "mine").unwrap();
    expect_status(&rehearse(&[]), 2);
    assert_eq!(fs::read_to_string(&trace).unwrap(), "mine");
    expect_status(&rehearse(&["--force"]), 0);
    assert_eq!(fs::read_to_string(&trace).unwrap(), text);
}

#[test]
fn verif_no_evidence_leaves_none() {
    let demo = demo("harrow-sound", false);
    let sheet = short(&demo);
    expect_status(&run(&["rehearse", "--no-evidence", &demo.plan, &sheet]), 0);
    assert!(!demo.folder.path().join("plan.evidence").exists());
}

#[test]
fn verif_a_failed_expectation_gives_status_1() {
    let demo = demo("harrow-sound", false);
    let sheet = short(&demo);
    edit(&sheet, "within = \"2 s\"", "within = \"0.1 s\"");
    let output = run(&["rehearse", &demo.plan, &sheet]);
    expect_status(&output, 1);
    assert!(stdout(&output).contains("FAIL"), "{}", stdout(&output));
    let told = parsed(&run(&["--format", "json", "rehearse", &demo.plan, &sheet]));
    assert_eq!(told["status"], "broken");
    assert_eq!(told["counts"]["passed"], 0);
    assert_eq!(told["counts"]["failed"], 1);
}

#[test]
fn verif_a_cue_sheet_with_mistakes_gives_status_2_and_leaves_no_evidence() {
    let demo = demo("harrow-sound", false);
    let sheet = short(&demo);
    edit(&sheet, "sound.call\"", "sound.cal\"");
    let output = run(&["rehearse", &demo.plan, &sheet]);
    expect_status(&output, 2);
    assert!(stderr(&output).contains("sound.cal"), "{}", stderr(&output));
    assert!(!demo.folder.path().join("plan.evidence").exists());
}

#[test]
fn verif_a_plan_with_mistakes_is_not_rehearsed() {
    let demo = demo("harrow-sound", false);
    let sheet = short(&demo);
    edit(&demo.plan, "voltage = \"24 V\"", "voltage = \"24 kg\"");
    expect_status(&run(&["rehearse", &demo.plan, &sheet]), 2);
}

/// In both examples the first event of no confirmed sound reaches the module of the output, or switches it, later than `check` says it may.
#[test]
fn verif_no_delay_of_a_rehearsal_exceeds_the_bound_of_check() {
    for (name, sheet, module, detectors) in [
        (
            "harrow-sound",
            CUES,
            "module.marker",
            &[
                ("prompt-lamp", "detector.upcall-upper"),
                ("prompt-lamp-lower", "detector.upcall-lower"),
            ][..],
        ),
        (
            "pile-watch",
            "cues/soft-start.toml",
            "module.deck",
            &[("stop-in-time", "detector.strike")][..],
        ),
    ] {
        let demo = demo(name, false);
        let trace = cues(&demo, "trace.jsonl");
        let sheet = cues(&demo, sheet);
        let output = run(&["rehearse", &demo.plan, &sheet, "--trace", &trace]);
        expect_status(&output, 0);
        let output = run(&["--format", "json", "check", &demo.plan]);
        let verdicts = parsed(&output);
        let records: Vec<Value> = fs::read_to_string(&trace)
            .unwrap()
            .lines()
            .skip(1)
            .map(|l| serde_json::from_str(l).unwrap())
            .collect();
        let by_id = |id: &Value| records.iter().find(|r| r["id"] == *id);
        for (requirement, detector) in detectors {
            let bound_s = verdicts["requirements"]
                .as_array()
                .unwrap()
                .iter()
                .find(|r| r["id"] == *requirement)
                .unwrap()["verdicts"][0]["value"]["value"]
                .as_f64()
                .unwrap();
            // The strikes of a train count from its first: only the first event of a sound is asked for.
            let mut seen = BTreeSet::new();
            for reached in records.iter().filter(|r| {
                let switched = r["what"] == "switched" && r["to"] == "on";
                // A lamp that is on already is not switched again; its module is told all the same.
                switched || r["what"] == "delivered" && r["module"] == *module
            }) {
                let mut cause = reached;
                while cause["what"] != "notice" {
                    match by_id(&cause["parent"]) {
                        Some(parent) => cause = parent,
                        None => break,
                    }
                }
                if cause["detector"] != *detector || !reached["sound"].is_object() {
                    continue;
                }
                let at_ns = reached["at_ns"].as_u64().unwrap();
                let heard_ns = reached["sound"]["heard_at_ns"].as_u64().unwrap();
                if !seen.insert(heard_ns) {
                    continue;
                }
                let delay_s = (at_ns - heard_ns) as f64 / 1e9;
                assert!(
                    delay_s <= bound_s,
                    "{name} {requirement}: {delay_s} s is over {bound_s} s"
                );
            }
            assert!(
                !seen.is_empty(),
                "{name}: nothing of {detector} reached {module}"
            );
        }
    }
}

/// In JSON standard output holds one document whatever happens, and nothing is drawn on standard error.
#[test]
fn verif_json_holds_the_mistakes_of_plan_and_cue_sheet() {
    let demo = demo("harrow-sound", false);
    let sheet = short(&demo);
    let args = ["--format", "json", "rehearse", &demo.plan, &sheet];
    edit(&sheet, "duration = \"90 s\"", "duration = \"90 kg\"");
    let output = run(&args);
    expect_status(&output, 2);
    let told = parsed(&output);
    assert_eq!(told["format"], "failure/1");
    let mistakes = told["mistakes"].as_array().unwrap();
    assert_eq!(mistakes.len(), 1, "{told}");
    assert_eq!(mistakes[0]["severity"], "error");
    assert!(
        mistakes[0]["file"]
            .as_str()
            .unwrap()
            .ends_with("short.toml")
    );
    assert_eq!(stderr(&output).lines().count(), 1, "{}", stderr(&output));

    edit(&sheet, "duration = \"90 kg\"", "duration = \"90 s\"");
    let told = parsed(&run(&args));
    assert_eq!(told["format"], "rehearsal/1");
    assert_eq!(told["mistakes"].as_array().unwrap().len(), 0);
    let evidence = told["evidence"].as_str().unwrap();
    assert!(fs::exists(evidence).unwrap(), "{evidence}");
}

/// Where no evidence can be left the result is told all the same, and the status says that the work was not done.
#[test]
fn verif_evidence_that_cannot_be_left_does_not_cost_the_result() {
    let demo = demo("harrow-sound", false);
    let sheet = short(&demo);
    fs::write(demo.folder.path().join("plan.evidence"), "no folder").unwrap();
    let output = run(&["rehearse", &demo.plan, &sheet]);
    expect_status(&output, 2);
    assert!(
        stdout(&output).contains("1 of 1 seen"),
        "{}",
        stdout(&output)
    );
    let said = stderr(&output);
    assert!(
        said.contains("plan.evidence") && said.contains("--no-evidence"),
        "{said}"
    );
    let output = run(&["--format", "json", "rehearse", &demo.plan, &sheet]);
    expect_status(&output, 2);
    assert_eq!(parsed(&output)["format"], "rehearsal/1");
    assert!(parsed(&output)["evidence"].is_null());
}

/// Evidence is of the very recordings that were played: another one under the same name makes it stale, and so does none.
/// A record of another program counts as none.
#[test]
fn verif_evidence_is_of_the_recordings_that_were_played() {
    let demo = demo("harrow-sound", false);
    let folder = demo.folder.path().join("cues");
    let wav = folder.join("played.wav");
    let write = |hz: f32| {
        let spec = hound::WavSpec {
            channels: 1,
            sample_rate: 16_000,
            bits_per_sample: 16,
            sample_format: hound::SampleFormat::Int,
        };
        let mut file = hound::WavWriter::create(&wav, spec).unwrap();
        for i in 0..16_000 {
            let v = (std::f32::consts::TAU * hz * i as f32 / 16_000.0).sin();
            file.write_sample((v * 20_000.0) as i16).unwrap();
        }
        file.finalize().unwrap();
    };
    write(200.0);
    let sheet = short(&demo);
    let text = fs::read_to_string(&sheet).unwrap();
    let begin = text.find("kind = ").unwrap();
    let end = text.find("source_level").unwrap();
    let played = format!(
        "{}kind = \"recording\"\nfile = \"played.wav\"\n{}",
        &text[..begin],
        &text[end..]
    );
    let lamp = played.find("[expect.lamp]").unwrap();
    let dark = "[expect.up]\nthat = \"voltage\"\nof = \"module.buoy\"\nat_least = \"10 V\"\nfrom = \"1 s\"\nuntil = \"80 s\"\n";
    fs::write(&sheet, format!("{}{dark}", &played[..lamp])).unwrap();
    edit(
        &demo.plan,
        "cues = \"cues/ferry-night.toml\"",
        "cues = \"cues/short.toml\"",
    );
    let verdict = || {
        let output = run(&["--format", "json", "check", &demo.plan]);
        let whole = parsed(&output);
        let all = whole["requirements"].as_array().unwrap();
        let night = all.iter().find(|r| r["id"] == "night").unwrap();
        (
            night["ruling"].as_str().unwrap().to_owned(),
            whole["warnings"].to_string(),
        )
    };
    assert_eq!(verdict().0, "unknown");
    expect_status(&run(&["rehearse", &demo.plan, &sheet]), 0);
    assert_eq!(verdict().0, "met");
    write(1_500.0);
    assert_eq!(verdict().0, "unknown");
    fs::remove_file(&wav).unwrap();
    assert_eq!(verdict().0, "unknown");
    let output = run(&["rehearse", &demo.plan, &sheet]);
    expect_status(&output, 2);
    assert!(
        stderr(&output).contains("played.wav"),
        "{}",
        stderr(&output)
    );
    write(200.0);
    assert_eq!(verdict().0, "met");
    let record = only_evidence(&demo);
    let other = fs::read_to_string(&record)
        .unwrap()
        .replace("\"soundline 0", "\"soundline 9");
    fs::write(&record, other).unwrap();
    let (ruling, warnings) = verdict();
    assert_eq!(ruling, "unknown");
    assert!(warnings.contains("soundline 9"), "{warnings}");
}

/// A sheet that expects nothing shows nothing: neither met nor broken.
#[test]
fn verif_a_cue_sheet_without_expectations_is_unknown() {
    let demo = demo("harrow-sound", false);
    let sheet = short(&demo);
    let text = fs::read_to_string(&sheet).unwrap();
    fs::write(&sheet, text.split("[expect").next().unwrap()).unwrap();
    let output = run(&[
        "--format",
        "json",
        "rehearse",
        &demo.plan,
        &sheet,
        "--no-evidence",
    ]);
    expect_status(&output, 3);
    assert_eq!(parsed(&output)["status"], "unknown");
}

/// The cue sheet of `short` with one text replaced, rehearsed: the whole output.
fn short_with(from: &str, to: &str, status: i32) -> std::process::Output {
    let demo = demo("harrow-sound", false);
    let path = short(&demo);
    edit(&path, from, to);
    let output = run(&["rehearse", &demo.plan, &path]);
    expect_status(&output, status);
    output
}

#[test]
fn verif_a_source_that_comes_too_close_is_told_where_its_sound_stands() {
    let output = short_with(
        "range = \"1.2 km\", bearing = \"80 deg\", depth = \"15 m\"",
        "range = \"0.2 m\", depth = \"58 m\"",
        2,
    );
    let told = stderr(&output);
    assert!(told.contains("short.toml:7:"), "{told}");
    assert!(told.contains("comes within 0.20 m of"), "{told}");
}

/// The hydrophones sample at 16 kHz, and hear up to 0.9 of half of that.
#[test]
fn verif_a_sound_above_what_the_ear_hears_is_told_as_such() {
    let tone = "kind = \"tone\"\nfrequency = \"9 kHz\"\nlength";
    let upsweep = "kind = \"upsweep\"\nfrom = \"90 Hz\"\nto = \"150 Hz\"\nlength";
    let told = stdout(&short_with(upsweep, tone, 1));
    let nothing = "hears up to 7200 Hz: nothing of it is heard";
    let after = |head: &str| told.split(head).nth(1).unwrap().contains(nothing);
    assert!(after("FAIL") && after("What happened"), "{told}");

    let high = "kind = \"upsweep\"\nfrom = \"100 kHz\"\nto = \"50 kHz\"\nlength";
    assert!(stdout(&short_with(upsweep, high, 1)).contains(nothing));

    let across = "kind = \"upsweep\"\nfrom = \"200 kHz\"\nto = \"150 Hz\"\nlength";
    let told = stdout(&short_with(upsweep, across, 1));
    assert!(
        told.contains("sound.call reaches 200000 Hz, and module."),
        "{told}"
    );
    assert!(
        told.contains("that is of all up to 200000 Hz, and it hears up to 7200 Hz"),
        "{told}"
    );
}
