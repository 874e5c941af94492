//! No command replaces a file that it reads, whatever the file is called and with --force too.

use std::fs;
use std::path::Path;

use crate::files::{PLAN, POOL, tone_wav};
use crate::support::{demo, expect_status, run, stderr};

/// Runs it, and holds that it refuses and that every file of the folder is as it was.
#[track_caller]
fn refused(folder: &Path, args: &[&str]) {
    let all = |folder: &Path| -> Vec<_> {
        let mut all: Vec<_> = fs::read_dir(folder)
            .unwrap()
            .map(|entry| entry.unwrap().path())
            .map(|path| (path.clone(), fs::read(path).unwrap_or_default()))
            .collect();
        all.sort();
        all
    };
    let before = all(folder);
    let output = run(args);
    expect_status(&output, 2);
    let said = stderr(&output);
    assert!(said.contains("the command reads it"), "{said}");
    assert!(said.contains("is never replaced"), "{said}");
    assert!(all(folder) == before, "{args:?} changed a file");
}

#[test]
fn verif_a_trace_replaces_neither_plan_nor_cues_nor_recording() {
    let demo = demo("harrow-sound", false);
    let folder = demo.folder.path();
    tone_wav(&folder.join("call.wav"));
    let cues = folder.join("night.toml");
    let sheet = "format = 1\n[rehearsal]\nname = \"Night\"\nduration = \"10 s\"\nseed = 1\nwind = \"7 m/s\"\n\
        [sound.call]\nkind = \"recording\"\nat = \"5 s\"\nfile = \"call.wav\"\nsource_level = \"150 dB re 1 uPa m\"\n\
        track = [{ range = \"100 m\", depth = \"20 m\" }]\n";
    fs::write(&cues, sheet).unwrap();
    let path = |name: &str| folder.join(name).display().to_string();
    let cues = cues.display().to_string();
    for trace in [demo.plan.clone(), cues.clone(), path("call.wav")] {
        let args = ["rehearse", &demo.plan, &cues, "--trace", &trace, "--force"];
        refused(folder, &args);
    }
}

#[test]
fn verif_listening_replaces_no_recording_and_no_plan() {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name).display().to_string();
    for name in ["g.csv", "g.png", "sea.wav"] {
        tone_wav(&folder.path().join(name));
    }
    fs::copy(PLAN, at("plan.csv")).unwrap();
    let listen = |recording: &str, more: &[&str]| {
        let (plan, recording) = (at("plan.csv"), at(recording));
        let args = ["listen", &plan, &recording, "--as", POOL, "--force"];
        refused(folder.path(), &[&args[..], more].concat());
    };
    listen("g.csv", &["--out", &at("g.csv")]);
    listen("sea.wav", &["--out", &at("plan.csv")]);
    listen("g.png", &["--picture", &at("g.png")]);
    #[cfg(unix)]
    {
        std::os::unix::fs::symlink(at("sea.wav"), at("soft.csv")).unwrap();
        fs::hard_link(at("sea.wav"), at("hard.csv")).unwrap();
        listen("sea.wav", &["--out", &at("soft.csv")]);
        listen("sea.wav", &["--out", &at("hard.csv")]);
    }
}
