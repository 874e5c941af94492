//! `soundline listen`: how much of a recording was heard, what is said of its samples, and when it is said.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Stdio;

use crate::files::{PLAN, POOL, RATE_HZ, float_wav, listen, tone, tone_wav};
use crate::support::{expect_status, run, soundline, stderr, stdout};

/// Two tones, and between them a sample that is no number: it costs itself alone, and a warning says where.
#[test]
fn verif_a_sample_that_is_no_number_costs_itself_alone() {
    let folder = tempfile::tempdir().unwrap();
    let path = float_wav(
        &folder.path().join("nan.wav"),
        (0..2 * RATE_HZ).map(|frame| match frame {
            40_000 => f32::NAN,
            frame => tone(frame % RATE_HZ),
        }),
    );
    let csv = folder.path().join("events.csv");
    let output = listen(&[&path], &["--out", csv.to_str().unwrap()]);
    expect_status(&output, 0);
    let said = stdout(&output);
    assert!(said.contains("2.000 s, start unknown"), "{said}");
    assert!(
        said.contains("warning: 1 frame from frame 40000 on holds a sample that is no number"),
        "{said}"
    );
    let rows = fs::read_to_string(&csv).unwrap();
    assert_eq!(rows.lines().count(), 3, "{rows}");
    assert!(
        rows.lines()
            .nth(2)
            .unwrap()
            .ends_with(",quiet,0,2.000000,2.000000,,,,,,,"),
        "{rows}"
    );
}

/// A sample beyond any sound ends the hearing: text, CSV and JSON say up to where, of how much, and why.
#[test]
fn verif_what_was_heard_before_a_bad_sample_stands_and_is_told_as_a_part() {
    let folder = tempfile::tempdir().unwrap();
    let path = float_wav(
        &folder.path().join("beyond.wav"),
        (0..4 * RATE_HZ).map(|frame| if frame == 132_300 { 3e38 } else { tone(frame) }),
    );
    let csv = folder.path().join("events.csv");
    let output = listen(&[&path], &["--out", csv.to_str().unwrap()]);
    expect_status(&output, 2);
    let said = stdout(&output);
    assert!(
        said.contains("heard 3.000 s of 4.000 s, start unknown\n  then: sample 3"),
        "{said}"
    );
    assert!(said.contains("frame 132300"), "{said}");
    assert!(stderr(&output).contains("  help: what was heard before it stands"));
    let rows = fs::read_to_string(&csv).unwrap();
    assert!(
        rows.lines()
            .nth(1)
            .unwrap()
            .ends_with(",0,3.000000,4.000000,,,,,,,"),
        "{rows}"
    );
    let output = listen(&[&path], &["--format", "json"]);
    expect_status(&output, 2);
    let told: serde_json::Value = serde_json::from_str(&stdout(&output)).unwrap();
    let recording = &told["recordings"][0];
    assert_eq!(recording["events"].as_array().unwrap().len(), 1);
    assert_eq!(recording["frames"], 4 * RATE_HZ);
    assert_eq!(recording["heard_frames"], 132_300);
    assert_eq!(recording["whole"], false);
}

/// Samples at full scale are told of the event that holds them, and an offset of the recorder of its channel.
#[test]
fn verif_full_scale_and_offset_are_told() {
    let folder = tempfile::tempdir().unwrap();
    let loud = float_wav(
        &folder.path().join("loud.wav"),
        (0..RATE_HZ).map(|frame| (3.0 * tone(frame)).clamp(-1.0, 1.0)),
    );
    let clipped = (0..RATE_HZ)
        .filter(|&f| (3.0 * tone(f)).abs() >= 1.0)
        .count();
    let output = listen(&[&loud], &[]);
    expect_status(&output, 0);
    let said = stdout(&output);
    assert!(said.contains("full scale\n"), "{said}");
    let row = said.lines().last().unwrap();
    let told: usize = row.split_whitespace().last().unwrap().parse().unwrap();
    // The event may begin and end a tile inside the tone.
    assert!(
        told <= clipped && told > clipped * 9 / 10,
        "{told} of {clipped}"
    );
    assert!(!said.contains("the mean of"), "{said}");

    let offset = float_wav(
        &folder.path().join("offset.wav"),
        (0..RATE_HZ).map(|frame| 0.2 + 0.5 * tone(frame)),
    );
    let said = stdout(&listen(&[&offset], &[]));
    // A tone of 0.25 for 0.3 s: 160 dB - 12.04 dB - 3.01 dB - 5.23 dB.
    assert!(
        said.contains(
            "warning: the mean of channel 1 is 20.0 % of full scale: the overall level, peak and exposure hold it; without it rms 139.7 dB re 1 uPa"
        ),
        "{said}"
    );
    assert!(!said.contains("full scale\n"), "{said}");
}

#[test]
fn verif_a_start_is_a_time_or_a_date() {
    let folder = tempfile::tempdir().unwrap();
    let wav = tone_wav(&folder.path().join("tone.wav"));
    for wrong in ["yesterday", "2027-03-15T04:15:00", "2027-02-30", "20270315"] {
        let output = listen(&[&wav], &["--start", wrong]);
        expect_status(&output, 2);
        let said = stderr(&output);
        assert!(
            said.contains("it is no time such as 2027-03-15T04:15:00Z"),
            "{said}"
        );
    }
    for beyond in ["9999-12-31T23:59:59Z", "9999-12-31"] {
        let output = listen(&[&wav], &["--start", beyond]);
        expect_status(&output, 2);
        let said = stderr(&output);
        assert!(said.contains("it lies outside -009999-01-02"), "{said}");
        assert!(said.contains(" to 9999-12-30T22:00:00"), "{said}");
    }
    let output = listen(&[&wav], &["--start", "2027-03-15", "--format", "json"]);
    expect_status(&output, 0);
    let told: serde_json::Value = serde_json::from_str(&stdout(&output)).unwrap();
    assert_eq!(told["recordings"][0]["start_utc"], "2027-03-15T00:00:00Z");
}

/// A folder that is there and takes no files is not to be made.
#[cfg(target_os = "linux")]
#[test]
fn verif_a_folder_that_is_there_is_not_to_be_made() {
    let folder = tempfile::tempdir().unwrap();
    let wav = tone_wav(&folder.path().join("tone.wav"));
    let said = |out: &str| {
        let output = listen(&[&wav], &["--out", out]);
        expect_status(&output, 2);
        stderr(&output)
    };
    let there = said("/proc/x.csv");
    assert!(
        there.contains("help: name another folder: /proc takes no files"),
        "{there}"
    );
    let missing = folder.path().join("missing/x.csv");
    assert!(said(missing.to_str().unwrap()).contains("help: make the folder first: mkdir -p "));
}

/// Whoever has read enough of a schema has what he wanted.
#[test]
fn verif_a_reader_may_leave_a_schema() {
    for args in [
        &["schema"][..],
        &["schema", "cues"],
        &["completions", "bash"],
    ] {
        let (reader, writer) = std::io::pipe().unwrap();
        drop(reader);
        let output = soundline()
            .args(args)
            .stdout(writer)
            .stderr(Stdio::piped())
            .spawn()
            .unwrap()
            .wait_with_output()
            .unwrap();
        expect_status(&output, 0);
        assert_eq!(stderr(&output), "");
    }
}

/// A sensor has one channel: the same for two of them is a slip.
#[test]
fn verif_a_sensor_is_given_to_one_channel() {
    let folder = tempfile::tempdir().unwrap();
    let wav = tone_wav(&folder.path().join("tone.wav"));
    let (one, two) = (format!("1={POOL}"), format!("3={POOL}"));
    let wav = wav.to_str().unwrap();
    let output = run(&["listen", PLAN, wav, "--as", &one, "--as", &two]);
    expect_status(&output, 2);
    let said = stderr(&output);
    assert!(said.contains("is given to channels 1 and 3"), "{said}");
    assert!(said.contains("  help: each channel has"), "{said}");
}

/// What is done is told while others are still to come, in the order of the names.
#[test]
fn verif_recordings_are_told_as_they_are_done() {
    use std::io::{BufRead, BufReader};
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name);
    let good = tone_wav(&at("good.wav"));
    let mut child = soundline()
        .args(["listen", PLAN, "--as", POOL, "--detector", "orca"])
        .args([
            &good,
            &at("missing.wav"),
            &tone_wav(&at("other.wav")),
            &endless_wav(&at("endless.wav")),
        ])
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    let mut told = BufReader::new(child.stdout.take().unwrap()).lines();
    let mut seen = Vec::new();
    // Were all told together, the last would stand behind this at once.
    while !seen.iter().any(|line: &String| line.ends_with("other.wav")) {
        seen.push(told.next().unwrap().unwrap());
    }
    assert!(seen[0].ends_with("good.wav"), "{seen:?}");
    assert!(seen.iter().any(|line| line.contains("orca")), "{seen:?}");
    assert!(seen.contains(&"  not read".to_owned()), "{seen:?}");
    child.kill().unwrap();
    child.wait().unwrap();
    let rest: Vec<String> = told.map(Result::unwrap).collect();
    assert!(
        !rest.iter().any(|line| line.contains("endless")),
        "{rest:?}"
    );
}

/// Hours of sound of which the disk holds only the header.
fn endless_wav(path: &Path) -> PathBuf {
    let mut bytes = fs::read(tone_wav(path)).unwrap();
    let file = fs::File::create(path).unwrap();
    let seconds = 12_000;
    let data = seconds * RATE_HZ * 4;
    let at = bytes.windows(4).position(|w| w == b"data").unwrap();
    bytes.truncate(at);
    bytes.extend_from_slice(b"data");
    bytes.extend_from_slice(&data.to_le_bytes());
    bytes[4..8].copy_from_slice(&(data + at as u32).to_le_bytes());
    std::io::Write::write_all(&mut &file, &bytes).unwrap();
    file.set_len(bytes.len() as u64 + u64::from(data)).unwrap();
    path.to_path_buf()
}

/// A recorder that heard nothing, or nothing but its own limit, has recorded no sea without calls: it has failed, as for `measure`.
#[test]
fn verif_recordings_without_any_sound_have_failed() {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name);
    let good = tone_wav(&at("good.wav"));
    let silent = float_wav(&at("silent.wav"), (0..RATE_HZ).map(|_| 0.0));
    let clipped = float_wav(&at("clipped.wav"), (0..RATE_HZ).map(|_| 1.0));
    for (path, why) in [
        (
            &silent,
            "channel 1 is exact silence, every sample is zero: nothing was recorded",
        ),
        (
            &clipped,
            "channel 1 is at full scale from end to end: nothing can be heard in it",
        ),
    ] {
        let alone = listen(&[path], &[]);
        expect_status(&alone, 2);
        assert!(stderr(&alone).contains(why), "{}", stderr(&alone));
        expect_status(&listen(&[&good, path], &[]), 4);
    }
}

/// A detector that cannot be at the rate of the recording is named as in the plan.
#[test]
fn verif_a_detector_that_cannot_be_is_called_by_its_name() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("slow.wav");
    crate::files::float_wav_at(&path, 1000, (0..1000).map(|_| 0.1));
    let output = listen(&[&path], &["--own-rate"]);
    expect_status(&output, 2);
    let said = stderr(&output);
    assert!(said.contains("slow.wav: detector.orca: stage "), "{said}");
    assert!(!said.contains("of ear"), "{said}");
}

/// No folder is made of the name of a picture.
#[test]
fn verif_a_picture_of_a_form_that_is_not_made_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    let wav = tone_wav(&folder.path().join("tone.wav"));
    let picture = folder.path().join("one.jpg");
    let output = listen(&[&wav], &["--picture", picture.to_str().unwrap()]);
    expect_status(&output, 2);
    let said = stderr(&output);
    assert!(said.contains("a picture ends in .png or .svg"), "{said}");
    assert!(!picture.exists());
    for command in ["start", "chain"] {
        let output = run(&[command, PLAN, "--picture", picture.to_str().unwrap()]);
        expect_status(&output, 2);
        assert!(stderr(&output).contains("a folder is wanted"));
        assert!(!picture.exists());
    }
}
