//! The whole program at its main jobs: `listen` beside the same work in SciPy, `check` and `rehearse` on the example.
//!
//! Run with `cargo bench -p soundline`. `PYTHON` names an interpreter with numpy, scipy and soundfile (default `python3`).
//! `listen` is timed as a whole process on one thread; SciPy as the work alone, warm, without starting its interpreter.
//! `LISTEN_SECONDS` (600) and `LISTEN_REPEATS` (5) shorten it. Exit status 1 when
//! a bound is missed or SciPy does not run.
#![expect(clippy::print_stdout, reason = "a bench tells its figures")]

#[path = "../../../bench/scipy_peer.rs"]
mod scipy_peer;

use std::path::{Path, PathBuf};
use std::process::{Command, ExitCode, Stdio};
use std::time::Instant;

use scipy_peer::{Peer, compare, number, spread};

const PROGRAM: &str = env!("CARGO_BIN_EXE_soundline");
const ROOT: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../..");
const RATE_HZ: usize = 96_000;
/// Detector, and how many times faster than SciPy we mean to be.
const BANDS: [(&str, f64); 2] = [("full", 1.5), ("low", 5.0)];
/// Memory of `listen` for any length, MB (10^6 bytes).
const MOST_MEMORY_MB: f64 = 100.0;
/// Whole process of `check` on the example, s.
const LONGEST_CHECK_S: f64 = 0.3;

const PLAN: &str = r#"
format = 1
[deployment]
name = "Bench"
start = 2027-01-01
duration = "1 d"
[site]
latitude = "50 deg"
longitude = "0 deg"
water_depth = "10 m"
profile = [{ depth = "0 m", temperature = "10 degC", salinity = 35 }]
[supply.bench]
at = "module.ear"
kind = "bench"
output = { voltage = "24 V", resistance = "0 ohm" }
[module.ear]
position = { depth = "5 m" }
[module.ear.sensor.one]
kind = "hydrophone"
sensitivity = "-180 dB re 1 V/uPa"
gain = "0 dB"
adc = { full_scale = "1 V", bits = 16, rate = "96 kHz" }
[detector.full]
on = "module.ear.sensor.one"
stages = [{ band = ["5 kHz", "40 kHz"] }, { level = "rms", window = "10 ms" }, { on_above = "0 dB re 1 uPa", off_below = "0 dB re 1 uPa", shortest = "0 s", hold_off = "0 s" }]
[detector.low]
on = "module.ear.sensor.one"
stages = [{ band = ["60 Hz", "260 Hz"] }, { level = "rms", window = "10 ms" }, { on_above = "0 dB re 1 uPa", off_below = "0 dB re 1 uPa", shortest = "0 s", hold_off = "0 s" }]
"#;
/// Full scale of that chain: 1 V at -180 dB re 1 V/uPa, so levels re full scale lie 180 dB below those re 1 uPa.
const FULL_SCALE_DB: f64 = 180.0;

fn main() -> ExitCode {
    let mut good = true;
    let folder = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join("whole");
    std::fs::create_dir_all(&folder).expect("the target folder can be written");
    let plan = folder.join("plan.toml");
    std::fs::write(&plan, PLAN).expect("the plan can be written");
    let seconds = number("LISTEN_SECONDS", 600);
    let repeats = number("LISTEN_REPEATS", 5).max(1);
    let wav = folder.join("bench.wav");
    write_wav(&wav, RATE_HZ * seconds);
    let mut peer = Peer::start("listen_scipy.py", Some(&wav));
    for (place, (detector, aim)) in BANDS.into_iter().enumerate() {
        let (mut ours, mut theirs) = (Vec::new(), Vec::new());
        let (mut level_db, mut peer_db, mut memory_mb) = (f64::NAN, f64::NAN, 0.0f64);
        listen(&plan, &wav, detector);
        if let Some(p) = &mut peer {
            p.run(place);
        }
        for _ in 0..repeats {
            let run = listen(&plan, &wav, detector);
            ours.push(run.seconds);
            level_db = run.level_db;
            memory_mb = memory_mb.max(run.memory_mb);
            if let Some(p) = &mut peer {
                let (seconds, level) = p.run(place);
                theirs.push(seconds);
                peer_db = level;
            }
        }
        let (median, range) = spread(&mut ours);
        println!(
            "listen, detector {detector}: ours {median:.3} s {range}, {memory_mb:.1} MB at most (bound {MOST_MEMORY_MB} MB)"
        );
        let difference_db = level_db - FULL_SCALE_DB - peer_db;
        good &= peer.is_some() && compare(&ours, &mut theirs, aim, difference_db);
        good &= memory_mb <= MOST_MEMORY_MB;
    }
    if peer.is_none() {
        println!("scipy was not run: no interpreter with scipy and soundfile (set PYTHON)");
    }
    let demo = Path::new(ROOT).join("plans/harrow-sound/plan.toml");
    let cues = Path::new(ROOT).join("plans/harrow-sound/cues/ferry-night.toml");
    let mut checks: Vec<f64> = (0..20)
        .map(|_| timed(Command::new(PROGRAM).arg("check").arg(&demo)))
        .collect();
    let (median, range) = spread(&mut checks);
    println!(
        "check on the example, whole process: {median:.3} s {range} (bound {LONGEST_CHECK_S} s)"
    );
    good &= median <= LONGEST_CHECK_S;
    let rehearse = || {
        timed(
            Command::new(PROGRAM)
                .arg("rehearse")
                .arg(&demo)
                .arg(&cues)
                .arg("--no-evidence"),
        )
    };
    let mut rehearsals: Vec<f64> = (0..3).map(|_| rehearse()).collect();
    let (median, range) = spread(&mut rehearsals);
    println!(
        "rehearse on the example (21 min, two ears at 16 kHz), whole process: {median:.3} s {range}"
    );
    if good {
        ExitCode::SUCCESS
    } else {
        ExitCode::FAILURE
    }
}

struct Run {
    seconds: f64,
    level_db: f64,
    memory_mb: f64,
}

/// One whole process of `listen` on one thread.
fn listen(plan: &Path, wav: &Path, detector: &str) -> Run {
    let start = Instant::now();
    let mut child = Command::new(PROGRAM)
        .args([
            "listen",
            "--format",
            "json",
            "--as",
            "module.ear.sensor.one",
            "--detector",
            detector,
        ])
        .args([plan, wav])
        .env("RAYON_NUM_THREADS", "1")
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .expect("the program starts");
    let status = format!("/proc/{}/status", child.id());
    let mut memory_mb = 0.0f64;
    while child
        .try_wait()
        .expect("the program can be waited for")
        .is_none()
    {
        memory_mb = memory_mb.max(peak_mb(&status).unwrap_or(0.0));
        std::thread::sleep(std::time::Duration::from_millis(1));
    }
    let seconds = start.elapsed().as_secs_f64();
    let mut text = String::new();
    std::io::Read::read_to_string(&mut child.stdout.take().expect("piped"), &mut text)
        .expect("JSON is text");
    let json: serde_json::Value = serde_json::from_str(&text).expect("listen prints JSON");
    let level_db = find(&json, "mean_level_db").expect("the whole file is one event");
    Run {
        seconds,
        level_db,
        memory_mb,
    }
}

/// The first number under a key, wherever it stands.
fn find(value: &serde_json::Value, key: &str) -> Option<f64> {
    match value {
        serde_json::Value::Object(map) => map
            .get(key)
            .and_then(serde_json::Value::as_f64)
            .or_else(|| map.values().find_map(|v| find(v, key))),
        serde_json::Value::Array(list) => list.iter().find_map(|v| find(v, key)),
        _ => None,
    }
}

fn peak_mb(status: &str) -> Option<f64> {
    let text = std::fs::read_to_string(status).ok()?;
    let line = text.lines().find(|l| l.starts_with("VmHWM:"))?;
    let kib: f64 = line.split_whitespace().nth(1)?.parse().ok()?;
    Some(kib * 1024.0 / 1e6)
}

fn timed(command: &mut Command) -> f64 {
    let start = Instant::now();
    let status = command
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .status()
        .expect("the program starts");
    assert!(
        status.code().is_some_and(|c| c != 2),
        "{command:?} refused its input"
    );
    start.elapsed().as_secs_f64()
}

/// The sound of `bench/listen_scipy.py`: noise of a linear congruential generator and tones at 150 Hz and 12 kHz.
fn write_wav(path: &Path, count: usize) {
    let mut value: u64 = 1;
    let noise: Vec<f64> = (0..1 << 16)
        .map(|_| {
            value = value
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            (value >> 48) as f64 / 65536.0 - 0.5
        })
        .collect();
    let turn = std::f64::consts::TAU / 640.0;
    let tones: Vec<f64> = (0..640)
        .map(|k| 2000.0 * sine(turn * f64::from(k)) + 1000.0 * sine(80.0 * turn * f64::from(k)))
        .collect();
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: RATE_HZ as u32,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut writer = hound::WavWriter::create(path, spec).expect("the recording can be written");
    let mut chunk = writer.get_i16_writer(count as u32);
    for k in 0..count {
        let x = 6000.0 * noise[k & 0xffff] + tones[k % 640];
        chunk.write_sample(x.round() as i16);
    }
    chunk.flush().expect("the recording can be written");
    writer.finalize().expect("the recording can be written");
}

fn sine(x: f64) -> f64 {
    x.sin()
}
