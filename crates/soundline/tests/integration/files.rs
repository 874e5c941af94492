//! `soundline listen` on files that are damaged, missing, huge, in the way, or made to be heard.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Output, Stdio};

use crate::support::{expect_status, run, soundline, stderr, stdout};

pub(crate) const PLAN: &str = concat!(
    env!("CARGO_MANIFEST_DIR"),
    "/../../plans/listening-bench/plan.toml"
);
pub(crate) const POOL: &str = "module.bench.sensor.pool";
pub(crate) const RATE_HZ: u32 = 44_100;

/// A second of silence with a tone of 2 kHz at half of full scale from 0.3 s to 0.6 s.
pub(crate) fn tone(frame: u32) -> f32 {
    let t_s = frame as f32 / RATE_HZ as f32;
    if (0.3..0.6).contains(&t_s) {
        0.5 * (std::f32::consts::TAU * 2000.0 * t_s).sin()
    } else {
        0.0
    }
}

pub(crate) fn float_wav(path: &Path, samples: impl Iterator<Item = f32>) -> PathBuf {
    float_wav_at(path, RATE_HZ, samples)
}

pub(crate) fn float_wav_at(
    path: &Path,
    sample_rate: u32,
    samples: impl Iterator<Item = f32>,
) -> PathBuf {
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate,
        bits_per_sample: 32,
        sample_format: hound::SampleFormat::Float,
    };
    let mut writer = hound::WavWriter::create(path, spec).unwrap();
    for sample in samples {
        writer.write_sample(sample).unwrap();
    }
    writer.finalize().unwrap();
    path.to_path_buf()
}

pub(crate) fn tone_wav(path: &Path) -> PathBuf {
    float_wav(path, (0..RATE_HZ).map(tone))
}

pub(crate) fn listen(recordings: &[&Path], more: &[&str]) -> Output {
    soundline()
        .args(["listen", PLAN, "--as", POOL, "--detector", "orca"])
        .args(recordings)
        .args(more)
        .output()
        .unwrap()
}

#[test]
fn verif_a_tone_is_found_with_its_level_and_time() {
    let folder = tempfile::tempdir().unwrap();
    let wav = tone_wav(&folder.path().join("tone_20270315T041500Z.wav"));
    let output = listen(&[&wav], &["--format", "json"]);
    expect_status(&output, 0);
    let told: serde_json::Value = serde_json::from_str(&stdout(&output)).unwrap();
    assert_eq!(told["format"], "events/1");
    assert_eq!(told["plan_digest"].as_str().unwrap().len(), 64);
    let event = &told["recordings"][0]["events"][0];
    // Half of full scale, rms: 160 dB - 6.02 dB - 3.01 dB.
    let level_db = event["peak_level_db"].as_f64().unwrap();
    assert!((level_db - 150.97).abs() < 0.1, "{level_db}");
    assert!((event["begin_s"].as_f64().unwrap() - 0.3).abs() < 0.03);
    assert!((event["end_s"].as_f64().unwrap() - 0.6).abs() < 0.03);
    let begin = event["begin_utc"].as_str().unwrap();
    assert!(begin.starts_with("2027-03-15T04:15:00."), "{begin}");
    assert!(event["background_db"].is_null());
    assert_eq!(event["ending"], "quiet");
}

#[test]
fn verif_start_and_units_are_the_users() {
    let folder = tempfile::tempdir().unwrap();
    let wav = tone_wav(&folder.path().join("tone.wav"));
    let more = [
        "--start",
        "2027-03-15T04:15:00+02:00",
        "--units",
        "full-scale",
        "--format",
        "json",
    ];
    let output = listen(&[&wav], &more);
    expect_status(&output, 0);
    let told: serde_json::Value = serde_json::from_str(&stdout(&output)).unwrap();
    assert_eq!(told["recordings"][0]["start_utc"], "2027-03-15T02:15:00Z");
    let event = &told["recordings"][0]["events"][0];
    assert_eq!(event["level_reference"], "full scale");
    let level_db = event["peak_level_db"].as_f64().unwrap();
    assert!((level_db + 9.03).abs() < 0.1, "{level_db}");
    let two = listen(&[&wav, &wav], &["--start", "2027-03-15T04:15:00Z"]);
    expect_status(&two, 2);
}

#[test]
fn verif_events_go_to_a_file_and_none_is_replaced_unasked() {
    let folder = tempfile::tempdir().unwrap();
    let wav = tone_wav(&folder.path().join("to,ne.wav"));
    let csv = folder.path().join("events.csv");
    let out = ["--out", csv.to_str().unwrap()];
    expect_status(&listen(&[&wav], &out), 0);
    let text = fs::read_to_string(&csv).unwrap();
    let rows: Vec<&str> = text.lines().collect();
    assert_eq!(rows.len(), 2, "{text}");
    let quoted = format!("\"{}\",1,{POOL},orca,1,0.", wav.display());
    assert!(rows[1].starts_with(&quoted), "{text}");
    assert_eq!(rows[0].split(',').count(), 31);
    // Nothing is known of the instant, the background and pulses.
    assert!(rows[1].contains(",,,1 uPa,"), "{text}");

    fs::write(&csv, "kept").unwrap();
    let again = listen(&[&wav], &out);
    expect_status(&again, 2);
    assert!(again.stdout.is_empty(), "refused before the work");
    assert_eq!(fs::read_to_string(&csv).unwrap(), "kept");
    expect_status(&listen(&[&wav], &[&out[..], &["--force"]].concat()), 0);
    assert_eq!(fs::read_to_string(&csv).unwrap(), text);
    expect_status(&listen(&[&wav], &["--out", "events.xls"]), 2);
}

#[test]
fn verif_pictures_are_named_after_recording_and_channel() {
    let folder = tempfile::tempdir().unwrap();
    let wav = tone_wav(&folder.path().join("tone.wav"));
    let at = folder.path().join("pictures");
    let output = listen(&[&wav], &["--picture", at.to_str().unwrap()]);
    expect_status(&output, 0);
    let png = fs::read(at.join("tone.wav.ch1.png")).unwrap();
    assert!(png.starts_with(b"\x89PNG\r\n\x1a\n"));
    assert!(stderr(&output).contains("tone.wav.ch1.png"));
    // The same as SVG, and the level of each detector with its threshold and, over a background, that.
    let svg = fs::read_to_string(at.join("tone.wav.ch1.svg")).unwrap();
    assert!(svg.contains("module.bench.sensor.pool") && svg.contains(">dB re 1 µPa²/Hz<"));
    let of = |name: &str| fs::read_to_string(at.join(name)).unwrap();
    let orca = of("tone.wav.ch1.level-orca.svg");
    for wanted in [
        ">Level (dB re 1 µPa)<",
        ">threshold 138.0 dB re 1 µPa<",
        ">rms over 20 ms, 400 Hz to 6 kHz<",
    ] {
        assert!(orca.contains(wanted), "{wanted}");
    }
    let both = run(&[
        "listen",
        PLAN,
        wav.to_str().unwrap(),
        "--as",
        POOL,
        "--picture",
        at.join("all").to_str().unwrap(),
    ]);
    expect_status(&both, 0);
    let clicks = of("all/tone.wav.ch1.level-clicks.svg");
    for wanted in [">background<", ">threshold, 12 dB above<"] {
        assert!(clicks.contains(wanted), "{wanted}");
    }
    let one = folder.path().join("one.svg");
    let alone = listen(&[&wav], &["--picture", one.to_str().unwrap()]);
    expect_status(&alone, 0);
    assert_eq!(fs::read_to_string(&one).unwrap(), svg);
    let one = folder.path().join("one.png");
    let both = listen(&[&wav, &wav], &["--picture", one.to_str().unwrap()]);
    expect_status(&both, 2);
    assert!(!one.exists());
}

/// Each bad file with what its message must name.
fn bad_files(folder: &Path) -> Vec<(PathBuf, &'static str)> {
    let empty = folder.join("empty.wav");
    fs::write(&empty, b"").unwrap();
    let text = folder.join("text.wav");
    fs::write(&text, "This is a letter, not a recording.\n").unwrap();
    let header = folder.join("header.wav");
    fs::write(
        &header,
        &fs::read(tone_wav(&folder.join("whole.wav"))).unwrap()[..30],
    )
    .unwrap();
    let nan = float_wav(&folder.join("nan.wav"), (0..RATE_HZ).map(|_| f32::NAN));
    let adpcm = folder.join("adpcm.wav");
    let mut bytes = fs::read(folder.join("whole.wav")).unwrap();
    // The format tag, behind RIFF, size, WAVE, fmt and its size.
    bytes[20..22].copy_from_slice(&0x0011_u16.to_le_bytes());
    fs::write(&adpcm, bytes).unwrap();
    let inside = folder.join("inside");
    fs::create_dir_all(&inside).unwrap();
    vec![
        (empty, "no samples"),
        (text, "not a recording"),
        (header, "byte"),
        (nan, "frame 0"),
        (adpcm, "FLAC and Ogg Vorbis are read; turn it into"),
        (inside, "name the recordings in it: "),
        (folder.join("missing.wav"), "missing.wav"),
    ]
}

#[test]
fn verif_a_bad_recording_is_named_and_alone_gives_status_2() {
    let folder = tempfile::tempdir().unwrap();
    for (path, word) in bad_files(folder.path()) {
        let output = listen(&[&path], &[]);
        expect_status(&output, 2);
        let said = stderr(&output);
        assert!(said.contains(word), "{said}");
        assert!(
            said.contains(path.file_name().unwrap().to_str().unwrap()),
            "{said}"
        );
        assert!(!said.contains("panicked"), "{said}");
    }
}

#[test]
fn verif_one_bad_among_good_gives_status_4_and_the_others_are_heard() {
    let folder = tempfile::tempdir().unwrap();
    let good = tone_wav(&folder.path().join("good.wav"));
    let other = tone_wav(&folder.path().join("other.wav"));
    for (bad, _) in bad_files(folder.path()) {
        let output = listen(&[&good, &bad, &other], &["--format", "json"]);
        expect_status(&output, 4);
        let told: serde_json::Value = serde_json::from_str(&stdout(&output)).unwrap();
        let recordings = told["recordings"].as_array().unwrap();
        let events = |i: usize| recordings[i]["events"].as_array().unwrap().len();
        assert_eq!((events(0), events(2)), (1, 1), "{told}");
        assert_eq!(recordings[1]["recording"], bad.to_str().unwrap());
        assert_eq!(recordings[1]["errors"].as_array().unwrap().len(), 1);
    }
}

#[test]
fn verif_a_truncated_recording_is_heard_with_a_warning() {
    let folder = tempfile::tempdir().unwrap();
    let bytes = fs::read(tone_wav(&folder.path().join("whole.wav"))).unwrap();
    let cut = folder.path().join("cut.wav");
    fs::write(&cut, &bytes[..bytes.len() * 3 / 4 + 1]).unwrap();
    let output = listen(&[&cut], &[]);
    expect_status(&output, 0);
    let said = stdout(&output);
    assert!(said.contains("warning: the header promises"), "{said}");
    assert!(said.contains("orca"), "{said}");
}

#[test]
fn verif_channels_are_never_guessed() {
    let folder = tempfile::tempdir().unwrap();
    let wav = tone_wav(&folder.path().join("tone.wav"));
    let wav = wav.to_str().unwrap();
    let unsaid = run(&["listen", PLAN, wav]);
    expect_status(&unsaid, 2);
    assert!(
        stderr(&unsaid).contains(&format!("--as {POOL}")),
        "{}",
        stderr(&unsaid)
    );
    for (wrong, word) in [
        ("module.bench.sensor.poool", POOL),
        (
            "7=module.bench.sensor.pool",
            "has 1 channel, and no channel 7",
        ),
        ("0=module.bench.sensor.pool", "counted from 1"),
        ("left=module.bench.sensor.pool", "`left` is no channel"),
        // At 10 kHz in the plan.
        ("module.bench.sensor.left", "--own-rate"),
    ] {
        let output = run(&["listen", PLAN, wav, "--as", wrong]);
        expect_status(&output, 2);
        assert!(stderr(&output).contains(word), "{}", stderr(&output));
        // Nothing was heard: there is nothing to tell but the error.
        assert_eq!(stdout(&output), "", "{wrong}");
    }
    let near = run(&["listen", PLAN, wav, "--as", POOL, "--detector", "orka"]);
    expect_status(&near, 2);
    assert!(
        stderr(&near).contains("--detector orca"),
        "{}",
        stderr(&near)
    );
}

#[test]
fn verif_plans_that_cannot_be_used_give_status_2() {
    let folder = tempfile::tempdir().unwrap();
    let wav = tone_wav(&folder.path().join("tone.wav"));
    let plan = fs::read_to_string(PLAN).unwrap();
    let huge = format!("{plan}\n{}", "# filling\n".repeat(1024 * 1024));
    assert!(huge.len() > 10_000_000);
    let myself = plan.replace("format = 1", "format = 1\ninclude = [\"myself.toml\"]");
    let syntax = plan.replace("format = 1", "format = ");
    let detector = plan.replace("off_below = \"135 dB re 1 uPa\"", "off_below = \"135\"");
    for (name, text, word) in [
        ("huge.toml", huge, "larger than"),
        ("myself.toml", myself, "includes itself"),
        ("syntax.toml", syntax, "syntax"),
        ("detector.toml", detector, "135"),
    ] {
        let path = folder.path().join(name);
        fs::write(&path, text).unwrap();
        let args = [
            "listen",
            path.to_str().unwrap(),
            wav.to_str().unwrap(),
            "--as",
            POOL,
        ];
        let output = run(&args);
        expect_status(&output, 2);
        let said = stderr(&output);
        assert!(said.contains(word) && said.contains(name), "{name}: {said}");
    }
    let missing = run(&[
        "listen",
        "no-such-plan.toml",
        wav.to_str().unwrap(),
        "--as",
        POOL,
    ]);
    expect_status(&missing, 2);
    assert!(stderr(&missing).contains("no-such-plan.toml"));
}

#[test]
fn verif_a_mistake_elsewhere_in_the_plan_does_not_stop_listening() {
    let folder = tempfile::tempdir().unwrap();
    let wav = tone_wav(&folder.path().join("tone.wav"));
    let plan = folder.path().join("plan.toml");
    let text = fs::read_to_string(PLAN).unwrap();
    fs::write(&plan, text.replace("\"62 dB re 20 uPa\"", "\"62\"")).unwrap();
    let (plan, wav) = (plan.to_str().unwrap(), wav.to_str().unwrap());
    let one = run(&["listen", plan, wav, "--as", POOL, "--detector", "orca"]);
    expect_status(&one, 0);
    assert!(
        stderr(&one).contains("mistakes elsewhere"),
        "{}",
        stderr(&one)
    );
    // With all detectors asked for, one that cannot be read must not stay silent.
    let all = run(&["listen", plan, wav, "--as", POOL]);
    expect_status(&all, 2);
    assert!(stderr(&all).contains("62"), "{}", stderr(&all));
}

#[test]
fn verif_a_reader_that_goes_away_while_listening_is_no_panic() {
    let folder = tempfile::tempdir().unwrap();
    let wav = tone_wav(&folder.path().join("tone.wav"));
    let (reader, writer) = std::io::pipe().unwrap();
    drop(reader);
    let output = soundline()
        .args(["listen", PLAN, wav.to_str().unwrap(), "--as", POOL])
        .stdout(writer)
        .stderr(Stdio::piped())
        .spawn()
        .unwrap()
        .wait_with_output()
        .unwrap();
    expect_status(&output, 130);
    assert_eq!(stderr(&output), "");
}

/// A catalogue may be a link, but not one that leads out of the plan's folder.
#[cfg(unix)]
#[test]
fn verif_an_included_link_stays_in_the_folder_of_the_plan() {
    let folder = tempfile::tempdir().unwrap();
    let home = folder.path().join("home");
    fs::create_dir(&home).unwrap();
    let plan = fs::read_to_string(PLAN).unwrap();
    let path = home.join("plan.toml");
    fs::write(
        &path,
        plan.replace("format = 1", "format = 1\ninclude = [\"parts.toml\"]"),
    )
    .unwrap();
    fs::write(folder.path().join("outside.toml"), "format = 1\n").unwrap();
    fs::write(home.join("inside.toml"), "format = 1\n").unwrap();
    let link = home.join("parts.toml");
    let said = |target: &Path| {
        let _ = fs::remove_file(&link);
        std::os::unix::fs::symlink(target, &link).unwrap();
        stderr(&run(&["check", path.to_str().unwrap()]))
    };
    let refused = said(&folder.path().join("outside.toml"));
    assert!(
        refused.contains("leads out of the plan's folder"),
        "{refused}"
    );
    let taken = said(&home.join("inside.toml"));
    assert!(!taken.contains("parts.toml"), "{taken}");
}

/// In JSON the mistakes of the plan are in the document, with what was heard or with why nothing was.
#[test]
fn verif_json_of_listening_holds_the_mistakes_of_the_plan() {
    let folder = tempfile::tempdir().unwrap();
    let wav = tone_wav(&folder.path().join("tone.wav"));
    let plan = folder.path().join("plan.toml");
    let text = fs::read_to_string(PLAN).unwrap();
    fs::write(&plan, text.replace("\"62 dB re 20 uPa\"", "\"62\"")).unwrap();
    let (plan, wav) = (plan.to_str().unwrap(), wav.to_str().unwrap());
    let args = ["--format", "json", "listen", plan, wav, "--as", POOL];
    for (more, status, format, said) in [
        (&["--detector", "orca"][..], 0, "events/1", 0),
        (&[][..], 2, "failure/1", 1),
    ] {
        let output = run(&[&args[..], more].concat());
        expect_status(&output, status);
        let told: serde_json::Value = serde_json::from_str(&stdout(&output)).unwrap();
        assert_eq!(told["format"], format);
        let mistakes = told["mistakes"].as_array().unwrap();
        assert!(mistakes.iter().any(|m| m["severity"] == "error"), "{told}");
        assert_eq!(stderr(&output).lines().count(), said, "{}", stderr(&output));
    }
}
