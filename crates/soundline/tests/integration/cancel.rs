//! Ctrl-C or SIGTERM during long work: status 130, and nothing is left half written. On Linux, whose `/proc` tells when a program has begun
//! to watch for the signal.

use std::fs::{self, File};
use std::io::{BufRead, BufReader, Write};
use std::path::Path;
use std::process::{Child, Command, Output, Stdio};
use std::time::{Duration, Instant};

use serde_json::Value;

use crate::files::{PLAN, POOL, tone_wav};
use crate::support::{demo, expect_status, soundline, stderr, stdout};

const PATIENCE: Duration = Duration::from_secs(60);
/// The bit of SIGINT (2) in the mask of `SigCgt`, counted from 1.
const SIGINT_BIT: u64 = 1 << 1;

/// Whether a child has a handler of its own for SIGINT.
fn watches(child: &Child) -> bool {
    let status = fs::read_to_string(format!("/proc/{}/status", child.id())).unwrap();
    let caught = status
        .lines()
        .find_map(|line| line.strip_prefix("SigCgt:"))
        .unwrap();
    u64::from_str_radix(caught.trim(), 16).unwrap() & SIGINT_BIT != 0
}

/// Runs the program, presses Ctrl-C once it watches for it and `under_way` holds, and gives what it said.
fn cancelled(args: &[&str], under_way: impl Fn() -> bool) -> Output {
    ended_by("INT", args, under_way)
}

/// The same by a signal of this name.
fn ended_by(signal: &str, args: &[&str], under_way: impl Fn() -> bool) -> Output {
    let mut child = soundline()
        .args(args)
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let begun = Instant::now();
    while !(watches(&child) && under_way()) {
        assert!(begun.elapsed() < PATIENCE, "it has not begun to watch");
        assert_eq!(child.try_wait().unwrap(), None, "it was over before");
        std::thread::sleep(Duration::from_millis(5));
    }
    let kill = Command::new("sh")
        .args(["-c", &format!("kill -{signal} {}", child.id())])
        .status()
        .unwrap();
    assert!(kill.success());
    child.wait_with_output().unwrap()
}

fn names(folder: &Path) -> Vec<String> {
    let mut names: Vec<String> = fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    names.sort();
    names
}

#[test]
fn verif_a_cancelled_rehearsal_leaves_nothing_and_gives_status_130() {
    let demo = demo("harrow-sound", false);
    let folder = demo.folder.path();
    let sheet = folder.join("cues/long.toml");
    let text = "format = 1\n[rehearsal]\nname = \"Long\"\nduration = \"300 d\"\nseed = 1\nwind = \"7 m/s\"\n";
    fs::write(&sheet, text).unwrap();
    let before = names(folder);
    let trace = folder.join("trace.jsonl");
    let (sheet, trace) = (sheet.display().to_string(), trace.display().to_string());
    let args = ["rehearse", &demo.plan, &sheet, "--trace", &trace];
    let half_written = || names(folder).iter().any(|name| name.ends_with(".part"));
    for signal in ["INT", "TERM"] {
        let output = ended_by(signal, &args, half_written);
        expect_status(&output, 130);
        let said = stderr(&output);
        assert!(said.starts_with("cancelled at "), "{said}");
        assert_eq!(names(folder), before, "SIG{signal}");
    }

    let args = ["--format", "json", "rehearse", &demo.plan, &sheet];
    let output = cancelled(&args, || true);
    expect_status(&output, 130);
    let told: Value = serde_json::from_str(&stdout(&output)).unwrap();
    assert_eq!(told["format"], "failure/1");
    assert_eq!(names(folder), before);
}

/// A reader of a trace who leaves has read enough, whether the trace goes to a file or to a pipe under a name of its own.
#[test]
fn verif_a_trace_whose_reader_leaves_gives_status_130() {
    let demo = demo("harrow-sound", false);
    let sheet = demo.folder.path().join("cues/ferry-night.toml");
    let sheet = sheet.display().to_string();
    let mut child = soundline()
        .args(["rehearse", &demo.plan, &sheet, "--trace", "/dev/stdout"])
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let mut first = String::new();
    let mut reader = BufReader::new(child.stdout.take().unwrap());
    reader.read_line(&mut first).unwrap();
    assert!(first.contains("trace/1"), "{first}");
    drop(reader);
    let output = child.wait_with_output().unwrap();
    expect_status(&output, 130);
    assert_eq!(stderr(&output), "");
}

/// Ten hours of silence, of which the file system keeps no byte.
fn long_wav(path: &Path, rate_hz: u32) {
    let bytes = 10 * 3600 * rate_hz * 2;
    let mut file = File::create(path).unwrap();
    let mut header = Vec::new();
    header.extend_from_slice(b"RIFF");
    header.extend_from_slice(&(bytes + 36).to_le_bytes());
    header.extend_from_slice(b"WAVEfmt ");
    header.extend_from_slice(&16_u32.to_le_bytes());
    header.extend_from_slice(&1_u16.to_le_bytes());
    header.extend_from_slice(&1_u16.to_le_bytes());
    header.extend_from_slice(&rate_hz.to_le_bytes());
    header.extend_from_slice(&(2 * rate_hz).to_le_bytes());
    header.extend_from_slice(&2_u16.to_le_bytes());
    header.extend_from_slice(&16_u16.to_le_bytes());
    header.extend_from_slice(b"data");
    header.extend_from_slice(&bytes.to_le_bytes());
    file.write_all(&header).unwrap();
    file.set_len(u64::from(bytes) + 44).unwrap();
}

#[test]
fn verif_cancelled_listening_leaves_nothing_and_gives_status_130() {
    let demo = demo("harrow-sound", false);
    let folder = demo.folder.path();
    let wav = folder.join("long.wav");
    long_wav(&wav, 48_000);
    let before = names(folder);
    let path = |name: &str| folder.join(name).display().to_string();
    let args = [
        "listen",
        &demo.plan,
        &path("long.wav"),
        "--as",
        "module.upper.sensor.ear",
        "--own-rate",
        "--picture",
        &path("picture.png"),
        "--out",
        &path("events.csv"),
    ];
    let output = cancelled(&args, || true);
    expect_status(&output, 130);
    assert_eq!(
        stderr(&output),
        "cancelled: 0 of 1 recordings are told above\n"
    );
    assert_eq!(stdout(&output), "");
    assert_eq!(names(folder), before);
}

#[test]
fn verif_cancelled_measuring_leaves_no_table_and_gives_status_130() {
    let folder = tempfile::tempdir().unwrap();
    long_wav(&folder.path().join("long.wav"), 44_100);
    let before = names(folder.path());
    let path = |name: &str| folder.path().join(name).display().to_string();
    let (wav, csv) = (path("long.wav"), path("levels.csv"));
    let args = ["measure", PLAN, &wav, "--as", POOL, "--out", &csv];
    let half_written = || names(folder.path()).iter().any(|n| n.ends_with(".part"));
    let output = cancelled(&args, half_written);
    expect_status(&output, 130);
    assert_eq!(stderr(&output), "cancelled: no table was written\n");
    assert_eq!(names(folder.path()), before);
}

/// What cannot be written is not measured to its end.
#[test]
fn verif_measuring_ends_when_its_output_cannot_be_written() {
    let folder = tempfile::tempdir().unwrap();
    let wav = folder.path().join("long.wav");
    long_wav(&wav, 44_100);
    let full = File::options().write(true).open("/dev/full").unwrap();
    let begun = Instant::now();
    let output = soundline()
        .args(["measure", PLAN, wav.to_str().unwrap(), "--as", POOL])
        .args(["--every", "1 s"])
        .stdout(full)
        .stderr(Stdio::piped())
        .output()
        .unwrap();
    expect_status(&output, 2);
    let said = stderr(&output);
    assert!(said.contains("write the output"), "{said}");
    assert!(begun.elapsed() < PATIENCE);
}

/// What was done before Ctrl-C has been told; what was not is neither told nor half written.
#[test]
fn verif_what_was_heard_before_the_cancelling_is_told() {
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| folder.path().join(name).display().to_string();
    tone_wav(&folder.path().join("first.wav"));
    long_wav(&folder.path().join("long.wav"), 44_100);
    let args = [
        "listen",
        PLAN,
        &path("first.wav"),
        &path("long.wav"),
        "--as",
        POOL,
        "--picture",
        &path("pictures"),
        "--out",
        &path("events.csv"),
    ];
    let picture = folder.path().join("pictures/first.wav.ch1.png");
    let output = cancelled(&args, || picture.is_file());
    expect_status(&output, 130);
    let told = stdout(&output);
    assert!(
        told.contains("first.wav") && told.contains("orca"),
        "{told}"
    );
    assert!(!told.contains("long.wav"), "{told}");
    let said = stderr(&output);
    assert!(
        said.ends_with("cancelled: 1 of 2 recordings are told above\n"),
        "{said}"
    );
    assert_eq!(names(folder.path()), ["first.wav", "long.wav", "pictures"]);
    assert_eq!(
        names(&folder.path().join("pictures")),
        [
            "level-clicks.png",
            "level-clicks.svg",
            "level-orca.png",
            "level-orca.svg",
            "png",
            "svg"
        ]
        .map(|end| format!("first.wav.ch1.{end}"))
    );
}

/// Draws that were made before are counted, and nothing of them lies beside the plan, nor is a share told.
#[test]
fn verif_cancelled_draws_are_counted_and_not_kept() {
    let demo = demo("harrow-sound", false);
    let before = names(demo.folder.path());
    let args = ["check", &demo.plan, "--certainty", "--draws", "100000"];
    let output = cancelled(&args, || true);
    expect_status(&output, 130);
    let said = stderr(&output);
    let told = said.lines().find(|l| l.starts_with("cancelled after "));
    let told = told.unwrap_or_else(|| panic!("{said}"));
    let counts: Vec<&str> = told
        .split(' ')
        .filter(|w| w.parse::<usize>().is_ok())
        .collect();
    let done: usize = counts[0].parse().unwrap();
    assert!(done < 100_000 && counts[1] == "100000", "{told}");
    assert!(told.ends_with("was not kept"), "{told}");
    assert_eq!(names(demo.folder.path()), before);
    let output = cancelled(&[&["--format", "json"], &args[..]].concat(), || true);
    expect_status(&output, 130);
    let failure: Value = serde_json::from_str(&stdout(&output)).unwrap();
    assert!(
        failure["error"]
            .as_str()
            .unwrap()
            .starts_with("cancelled after ")
    );
}
