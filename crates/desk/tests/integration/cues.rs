//! Cue sheets: read, written without loss, and rehearsed from where they lie.

use std::fs;

use serde_json::{Value, json};

use crate::bench_plan::Desk;
use crate::jobs::{CUES, done, events, start};

const NIGHT: &str = "/api/cues/cues/ferry-night.toml";

/// What is saved is what was sent, and only over what was read; a sheet that somebody else wrote is given back.
#[test]
fn verif_saving_a_sheet_overwrites_nothing_that_changed_meanwhile() {
    let desk = Desk::open();
    let path = desk.folder.path().join("cues/ferry-night.toml");
    let read = desk.get(NIGHT).ok();
    assert_eq!(read["text"], fs::read_to_string(&path).unwrap());
    let mine = format!("{}# mine\r\n", read["text"].as_str().unwrap());
    let identity = desk.get("/api/plan").ok()["identity"].clone();
    let mut asked =
        json!({ "text": mine, "base_digest": read["source_digest"], "identity": identity });
    let saved = desk.send("PUT", NIGHT, &asked).ok();
    assert_eq!(fs::read_to_string(&path).unwrap(), mine);
    let theirs = format!("{mine}# theirs: π\n");
    fs::write(&path, &theirs).unwrap();
    asked["text"] = json!(format!("{mine}# mine again\n"));
    asked["base_digest"] = saved["source_digest"].clone();
    let conflict = desk.send("PUT", NIGHT, &asked);
    assert_eq!(
        (conflict.status, conflict.error().as_str()),
        (409, "changed-meanwhile")
    );
    let told = conflict.json();
    assert_eq!(told["text"], theirs);
    assert_eq!(fs::read_to_string(&path).unwrap(), theirs);
    // Knowing the difference it may be written.
    asked["base_digest"] = told["source_digest"].clone();
    desk.send("PUT", NIGHT, &asked).ok();
    assert_eq!(json!(fs::read_to_string(&path).unwrap()), asked["text"]);
    // A page of another plan writes nothing.
    asked["identity"] = json!("0");
    assert_eq!(desk.send("PUT", NIGHT, &asked).error(), "another-plan");
}

/// A new sheet comes where nothing is, also into a folder that is not there yet, and is told from then on.
#[test]
fn verif_a_new_sheet_is_written_where_nothing_is() {
    let desk = Desk::open();
    let put = |name: &str, text: &str, base: Value| {
        let asked = json!({ "text": text, "base_digest": base });
        desk.send("PUT", &format!("/api/cues/{name}"), &asked)
    };
    let saved = put("own/calm.toml", CUES, Value::Null).ok();
    let read = desk.get("/api/cues/own/calm.toml").ok();
    assert_eq!(
        (&read["text"], &read["source_digest"]),
        (&json!(CUES), &saved["source_digest"])
    );
    let told = desk.get("/api/session").ok()["cue_sheets"].clone();
    assert_eq!(told, json!(["cues/ferry-night.toml", "own/calm.toml"]));
    // One that is there already is not written over unseen.
    let there = put("own/calm.toml", &format!("{CUES}# other\n"), Value::Null);
    assert_eq!(
        (there.status, there.error().as_str()),
        (409, "changed-meanwhile")
    );
    assert_eq!(there.json()["text"], CUES);
    // One that is gone is said to be gone.
    let digest = saved["source_digest"].clone();
    assert_eq!(put("own/none.toml", CUES, digest.clone()).error(), "gone");
    // Neither the plan nor a catalogue nor anything outside becomes a sheet, and nothing but a sheet is written.
    let before = desk.text();
    for (name, text, code) in [
        ("plan.toml", CUES, "no-cue-sheet"),
        ("parts.toml", CUES, "no-cue-sheet"),
        ("own/calm.toml", "format = 1\n", "no-cue-sheet"),
        ("own/night.txt", CUES, "no-name"),
        ("..%2Fout.toml", CUES, "no-name"),
        (".own/calm.toml", CUES, "no-name"),
    ] {
        assert_eq!(put(name, text, digest.clone()).error(), code, "{name}");
        assert_eq!(put(name, text, Value::Null).error(), code, "{name}");
    }
    assert_eq!(desk.text(), before);
    // One with mistakes can be kept all the same.
    put(
        "own/half.toml",
        &format!("{CUES}[sound.half\n"),
        Value::Null,
    )
    .ok();
    desk.get("/api/cues/own/half.toml").ok();
}

#[cfg(unix)]
#[test]
fn verif_no_sheet_is_written_through_a_link_that_leads_out() {
    let desk = Desk::open();
    let outside = tempfile::tempdir().unwrap();
    let secret = outside.path().join("secret.toml");
    fs::write(&secret, CUES).unwrap();
    let link = |name: &str, to: &std::path::Path| {
        std::os::unix::fs::symlink(to, desk.folder.path().join(name)).unwrap();
    };
    link("linked.toml", &secret);
    link("nowhere.toml", &outside.path().join("none.toml"));
    link("out", outside.path());
    for name in [
        "linked.toml",
        "nowhere.toml",
        "out/secret.toml",
        "out/new.toml",
    ] {
        for base in [Value::Null, json!(plan_digest(CUES))] {
            let asked = json!({ "text": format!("{CUES}# over\n"), "base_digest": base });
            let answer = desk.send("PUT", &format!("/api/cues/{name}"), &asked);
            assert_eq!(
                (answer.status, answer.error().as_str()),
                (422, "no-name"),
                "{name}"
            );
        }
    }
    assert_eq!(fs::read_to_string(&secret).unwrap(), CUES);
    assert_eq!(fs::read_dir(outside.path()).unwrap().count(), 1);
}

fn plan_digest(text: &str) -> String {
    let desk = Desk::open();
    fs::write(desk.plan(), text).unwrap();
    let told = desk.get("/api/plan").ok();
    told["source_digest"].as_str().unwrap().to_owned()
}

/// A sheet that is changed and not saved plays the recordings of its own folder, as it will when it is saved.
#[test]
fn verif_a_changed_sheet_plays_the_recordings_of_its_own_folder() {
    let desk = Desk::open();
    let tone = |name: &str, rate_hz: u32| {
        let spec = hound::WavSpec {
            channels: 1,
            sample_rate: rate_hz,
            bits_per_sample: 16,
            sample_format: hound::SampleFormat::Int,
        };
        let mut file = hound::WavWriter::create(desk.folder.path().join(name), spec).unwrap();
        for i in 0..rate_hz {
            let v = (std::f32::consts::TAU * 120.0 * i as f32 / rate_hz as f32).sin();
            file.write_sample((v * 20_000.0) as i16).unwrap();
        }
        file.finalize().unwrap();
    };
    tone("cues/played.wav", 16_000);
    let kinds = CUES.find("kind = ").unwrap()..CUES.find("source_level").unwrap();
    let mut played = CUES.to_owned();
    played.replace_range(kinds, "kind = \"recording\"\nfile = \"played.wav\"\n");
    let rehearse = |ask: Value| {
        let job = start(&desk, "rehearse", &ask);
        let told = events(&desk, &format!("/api/jobs/{job}/events"));
        (told.last().unwrap().clone(), job)
    };
    // Beside the plan there is none of that name.
    let (told, _) = rehearse(json!({ "cue_text": played }));
    assert_eq!(told.0, "failed", "{told:?}");
    let digest = |ask: Value| {
        let (told, job) = rehearse(ask);
        assert_eq!(told.0, "done", "{told:?}");
        done(&desk, job)["cues_digest"].clone()
    };
    let changed = json!({ "cues": "cues/ferry-night.toml", "cue_text": played });
    let of_changed = digest(changed.clone());
    // A new one that lies in no file yet is taken to lie where it will be saved.
    assert_eq!(
        digest(json!({ "cues": "cues/new.toml", "cue_text": played })),
        of_changed
    );
    // Another recording of that name beside the plan is not played.
    tone("played.wav", 8_000);
    assert_eq!(digest(changed), of_changed);
    assert_ne!(digest(json!({ "cue_text": played })), of_changed);
    fs::write(desk.folder.path().join("cues/ferry-night.toml"), &played).unwrap();
    assert_eq!(
        digest(json!({ "cues": "cues/ferry-night.toml", "no_evidence": true })),
        of_changed
    );
}

/// Mistakes of a sheet that is being written come with their places in its text, counted as JavaScript counts; what it names is held against the
/// line of the plan that is sent along, and against none where that plan gives no line.
#[test]
fn verif_a_sheet_is_looked_through_and_every_mistake_has_its_place() {
    let desk = Desk::open();
    let plan = desk.text();
    let look = |plan: &str, cues: &str| {
        let asked = json!({ "text": plan, "cues": "cues/new.toml", "cue_text": cues });
        desk.post("/api/sheet", &asked).ok()
    };
    let good = look(&plan, CUES);
    assert_eq!(
        (&good["mistakes"], &good["has_line"]),
        (&json!([]), &json!(true))
    );
    assert_eq!(good["file"], "cues/new.toml");
    assert!(!desk.folder.path().join("cues/new.toml").exists());
    let wrong = format!(
        "# \u{1f40b} \u{3bc}\r\n{CUES}\n[fault.late]\nkind = \"cut\"\nof = \"span.upper-probe\"\nat = \"20 kg\"\n[fault.gone]\nkind = \"cut\"\nof = \"span.nowhere\"\nat = \"20 s\"\n"
    );
    let units: Vec<u16> = wrong.encode_utf16().collect();
    let under = |one: &Value| {
        let end = |key: &str| usize::try_from(one[key].as_u64().unwrap()).unwrap();
        String::from_utf16(&units[end("from")..end("to")]).unwrap()
    };
    let told = look(&plan, &wrong);
    let all = told["mistakes"].as_array().unwrap();
    assert!(
        all.iter().all(|one| one["file"] == "cues/new.toml"),
        "{all:?}"
    );
    assert!(all.iter().any(|one| under(one).contains("kg")), "{all:?}");
    assert!(
        all.iter().any(|one| under(one).contains("span.nowhere")),
        "{all:?}"
    );
    // What is written is judged without a line too, what it names is not.
    let told = look("format = 1\n[", &wrong);
    assert_eq!(told["has_line"], false);
    let all = told["mistakes"].as_array().unwrap();
    assert!(all.iter().any(|one| under(one).contains("kg")), "{all:?}");
    assert!(
        !all.iter().any(|one| under(one).contains("span.nowhere")),
        "{all:?}"
    );
}
