//! An hour of the example with its two hydrophones at 48 kHz, noise synthesis included, and the memory of a week beside that of a day.
//!
//! Run with `cargo bench -p soundline --bench rehearsal`. All are whole processes. The hour must take at most 20 s on two threads and
//! give the same result on one; the week is one of messages alone, each day of it alike, and its memory must be that of a day.
//! `REHEARSALS` (3) is how often the hour is timed. Exit status 1 when a bound is missed.
#![expect(clippy::print_stdout, reason = "a bench tells its figures")]

use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::process::{Command, ExitCode, Stdio};
use std::time::{Duration, Instant};

const PROGRAM: &str = env!("CARGO_BIN_EXE_soundline");
const ROOT: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../..");
/// The hour on two threads, s.
const LONGEST_HOUR_S: f64 = 20.0;
/// Peak memory of the week over that of the day.
const MOST_GROWTH: f64 = 1.1;
/// The program keeps so many records for its text; a day must have more, so that day and week keep as many.
const KEPT: u64 = 200_000;

fn main() -> ExitCode {
    let folder = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join("rehearsal");
    std::fs::create_dir_all(&folder).expect("the target folder can be written");
    let hour = the_hour(&folder);
    let week = the_week(&folder);
    if hour && week {
        ExitCode::SUCCESS
    } else {
        ExitCode::FAILURE
    }
}

fn the_hour(folder: &Path) -> bool {
    let demo = Path::new(ROOT).join("plans/harrow-sound");
    let read = |name: &str| std::fs::read_to_string(demo.join(name)).expect("the example is there");
    let write = |name: &str, text: &str| {
        std::fs::write(folder.join(name), text).expect("the target folder can be written");
    };
    write("plan.toml", &read("plan.toml"));
    write(
        "parts.toml",
        &changed(
            &read("parts.toml"),
            "rate = \"16 kHz\"",
            "rate = \"48 kHz\"",
        ),
    );
    write(
        "hour.toml",
        &changed(
            &read("cues/ferry-night.toml"),
            "duration = \"21 min\"",
            "duration = \"60 min\"",
        ),
    );
    let run = |threads: &str| {
        rehearse(
            &folder.join("plan.toml"),
            &folder.join("hour.toml"),
            threads,
        )
    };
    let count = std::env::var("REHEARSALS").ok();
    let count = count.map_or(3, |n| n.parse().expect("REHEARSALS is a number"));
    let runs: Vec<Ran> = (0..count.max(1)).map(|_| run("2")).collect();
    let alone = run("1");
    let mut seconds: Vec<f64> = runs.iter().map(|r| r.seconds).collect();
    seconds.sort_by(f64::total_cmp);
    let median = seconds[seconds.len() / 2];
    println!(
        "rehearse, an hour of the example, two hydrophones at 48 kHz: {median:.2} s on two threads ({:.2} to {:.2}; bound {LONGEST_HOUR_S} s), {:.2} s on one",
        seconds[0],
        seconds[seconds.len() - 1],
        alone.seconds
    );
    let same = runs.iter().all(|r| r.result == alone.result);
    println!(
        "result {}: {}",
        alone.result,
        if same {
            "the same on one thread and on two"
        } else {
            "NOT THE SAME on one thread and on two"
        }
    );
    same && median <= LONGEST_HOUR_S
}

fn the_week(folder: &Path) -> bool {
    let plan = folder.join("chain.toml");
    std::fs::write(&plan, chain(20)).expect("the target folder can be written");
    let run = |days: u32| {
        let cues = folder.join(format!("days-{days}.toml"));
        let text = format!(
            "format = 1\n[rehearsal]\nname = \"Days\"\nduration = \"{days} d\"\nseed = 1\nwind = \"4 m/s\"\n"
        );
        std::fs::write(&cues, text).expect("the target folder can be written");
        rehearse(&plan, &cues, "1")
    };
    let (day, week) = (run(1), run(7));
    let growth = week.memory_mb / day.memory_mb;
    println!(
        "rehearse, twenty modules with a message a minute each: a day {:.2} s and {:.1} MB, a week {:.2} s and {:.1} MB: {growth:.3} times (bound {MOST_GROWTH})",
        day.seconds, day.memory_mb, week.seconds, week.memory_mb
    );
    let full = day.left_out > 0;
    if !full {
        println!(
            "a day has no more than {KEPT} records: it does not fill what is kept for the text"
        );
    }
    full && growth <= MOST_GROWTH
}

fn changed(text: &str, from: &str, to: &str) -> String {
    assert!(text.contains(from), "{from}");
    text.replace(from, to)
}

/// Modules one behind another, each telling the first one something every minute.
fn chain(modules: usize) -> String {
    let mut text = String::from(
        r#"format = 1
[deployment]
name = "Chain"
start = 2027-01-01
duration = "30 d"
[site]
latitude = "50 deg"
longitude = "0 deg"
water_depth = "40 m"
profile = [{ depth = "0 m", temperature = "10 degC", salinity = 35 }]
[supply.bench]
at = "module.m0"
kind = "bench"
output = { voltage = "48 V", resistance = "0 ohm" }
[traffic]
stack = ["ethernet", "ipv6", "udp"]
packet = "1400 B"
[behaviour.told]
on = "module.m0"
when_told = "state/#"
do = [{ log = "told" }]
"#,
    );
    for i in 0..modules {
        write!(
            text,
            r#"
[module.m{i}]
position = {{ depth = "20 m" }}
input = {{ minimum = "20 V", maximum = "56 V" }}
loads = {{ idle = "0.1 W" }}
starts_in = "idle"
boot = {{ time = "3 s", power = "0.2 W" }}
passes = {{ power = "always", data = "running" }}
through = {{ resistance = "0 ohm" }}
processing = "100 us"
"#
        )
        .expect("a string takes text");
        if i > 0 {
            let before = i - 1;
            write!(
                text,
                r#"
[topic."state/m{i}"]
at_most = "2 per min"
priority = 0
size = "40 B"
[behaviour.tell-{i}]
on = "module.m{i}"
each = "60 s"
do = [{{ publish = "state/m{i}" }}]
[span.s{i}]
from = "module.m{before}"
to = "module.m{i}"
length = "10 m"
conductor = "18 AWG"
contacts = {{ mated_pins_in_loop = 0, resistance = "0 ohm" }}
link = "10BASE-T1L"
"#
            )
            .expect("a string takes text");
        }
    }
    text
}

struct Ran {
    seconds: f64,
    memory_mb: f64,
    result: String,
    left_out: u64,
}

/// One whole process of `rehearse`.
fn rehearse(plan: &Path, cues: &Path, threads: &str) -> Ran {
    let start = Instant::now();
    let mut child = Command::new(PROGRAM)
        .args(["rehearse", "--no-evidence"])
        .args([plan, cues])
        .env("RAYON_NUM_THREADS", threads)
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .expect("the program starts");
    let mut stdout = child.stdout.take().expect("piped");
    let reader = std::thread::spawn(move || {
        let mut text = String::new();
        std::io::Read::read_to_string(&mut stdout, &mut text).expect("the program prints text");
        text
    });
    let status = format!("/proc/{}/status", child.id());
    let mut memory_mb = 0.0f64;
    let ended = loop {
        if let Some(ended) = child.try_wait().expect("the program can be waited for") {
            break ended;
        }
        memory_mb = memory_mb.max(peak_mb(&status).unwrap_or(0.0));
        std::thread::sleep(Duration::from_millis(2));
    };
    let seconds = start.elapsed().as_secs_f64();
    assert!(
        matches!(ended.code(), Some(0 | 3)),
        "{} ended with {ended}",
        plan.display()
    );
    let text = reader.join().expect("the program prints text");
    let word = |after: &str| text.lines().find_map(|l| l.strip_prefix(after));
    let left_out = text
        .lines()
        .find_map(|l| l.strip_suffix(" further records are told only in the trace (--trace FILE)"));
    Ran {
        seconds,
        memory_mb,
        result: word("result ")
            .expect("the program tells its result")
            .to_owned(),
        left_out: left_out.map_or(0, |n| n.parse().expect("a number")),
    }
}

fn peak_mb(status: &str) -> Option<f64> {
    let text = std::fs::read_to_string(status).ok()?;
    let line = text.lines().find(|l| l.starts_with("VmHWM:"))?;
    let kib: f64 = line.split_whitespace().nth(1)?.parse().ok()?;
    Some(kib * 1024.0 / 1e6)
}
