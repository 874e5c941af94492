//! Recordings of the folder: their pictures, their sound, and nothing outside.

use std::fs;

use serde_json::json;

use crate::bench_plan::Desk;
use crate::http::ask;

const RATE_HZ: u32 = 8000;

/// Eight seconds of silence with a tone of 1 kHz from the third to the fifth.
fn tone(path: &std::path::Path) {
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: RATE_HZ,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut writer = hound::WavWriter::create(path, spec).unwrap();
    for n in 0..8 * RATE_HZ {
        let t = f64::from(n) / f64::from(RATE_HZ);
        let on = (3.0..5.0).contains(&t);
        let x = (std::f64::consts::TAU * 1000.0 * t).sin();
        writer
            .write_sample(if on { (x * 16_000.0) as i16 } else { 0 })
            .unwrap();
    }
    writer.finalize().unwrap();
}

/// Columns and rows of a picture whose pixels are brighter than half.
fn bright(png: &[u8]) -> Vec<(u32, u32)> {
    let mut reader = png::Decoder::new(std::io::Cursor::new(png))
        .read_info()
        .unwrap();
    let mut bytes = vec![0; reader.output_buffer_size().unwrap()];
    let info = reader.next_frame(&mut bytes).unwrap();
    let at = |n: usize| (n as u32 % info.width, n as u32 / info.width);
    let loud = |c: &[u8]| c.iter().map(|b| u32::from(*b)).sum::<u32>() > 3 * 128;
    bytes
        .chunks(3)
        .enumerate()
        .filter(|(_, c)| loud(c))
        .map(|(n, _)| at(n))
        .collect()
}

/// The tone is drawn where it is in time and frequency, whichever piece is looked at.
#[test]
fn verif_a_tile_shows_a_tone_where_it_is() {
    let desk = Desk::open();
    tone(&desk.folder.path().join("tone.wav"));
    let about = desk.get("/api/recordings/tone.wav").ok();
    assert_eq!(about["rate_hz"], RATE_HZ);
    assert_eq!(about["duration_s"], 8.0);
    // 80 columns of 0.1 s, 40 rows of 100 Hz from the top.
    for (from_s, to_s) in [(0.0, 8.0), (2.0, 6.0), (4.0, 12.0)] {
        let width = ((to_s - from_s) * 10.0) as u32;
        let path = format!(
            "/api/recordings/tone.wav/picture?from_s={from_s}&to_s={to_s}&width={width}&height=40&top_db=-25&range_db=40"
        );
        let answer = desk.get(&path);
        assert_eq!(
            (answer.status, answer.header("Content-Type")),
            (200, Some("image/png"))
        );
        let lit = bright(&answer.body);
        let begin = |t: f64| ((t - from_s) * 10.0).max(0.0) as u32;
        for (x, y) in &lit {
            // A column and two rows of what a window smears.
            assert!(
                *x + 2 >= begin(3.0) && *x <= begin(5.0) + 2,
                "{x} of {from_s}"
            );
            assert!(y.abs_diff(29) <= 3, "{y}");
        }
        let columns: std::collections::BTreeSet<u32> = lit.iter().map(|(x, _)| *x).collect();
        for x in begin(3.2)..begin(4.8) {
            assert!(columns.contains(&x), "{x} of {from_s}");
        }
    }
    for bad in [
        "",
        "from_s=1",
        "from_s=2&to_s=1&width=9&height=9",
        "from_s=0&to_s=1&width=99999&height=9",
        "from_s=0&to_s=1&width=9&height=9&low_hz=5000",
        "from_s=0&to_s=1&width=9&height=9&channel=2",
        "from_s=0&to_s=1e300&width=9&height=9",
        "from_s=1e300&to_s=2e300&width=9&height=9",
    ] {
        let answer = desk.get(&format!("/api/recordings/tone.wav/picture?{bad}"));
        assert!(
            answer.status == 400 || answer.status == 422,
            "{bad}: {}",
            answer.status
        );
    }
}

/// RFC 9110, section 14: a player asks for pieces.
#[test]
fn verif_the_sound_comes_in_pieces() {
    let desk = Desk::open();
    let path = desk.folder.path().join("tone.wav");
    tone(&path);
    let bytes = fs::read(&path).unwrap();
    let whole = desk.get("/api/recordings/tone.wav/sound");
    assert_eq!((whole.status, &whole.body), (200, &bytes));
    assert_eq!(whole.header("Content-Type"), Some("audio/wav"));
    let piece = ask(
        desk.address,
        "GET",
        "/api/recordings/tone.wav/sound",
        &[("Range", "bytes=100-199")],
        None,
    );
    assert_eq!((piece.status, &piece.body[..]), (206, &bytes[100..200]));
    let told = format!("bytes 100-199/{}", bytes.len());
    assert_eq!(piece.header("Content-Range"), Some(told.as_str()));
    let none = ask(
        desk.address,
        "GET",
        "/api/recordings/tone.wav/sound",
        &[("Range", "bytes=99999999-")],
        None,
    );
    assert_eq!(none.status, 416);
    let length = format!("bytes */{}", bytes.len());
    assert_eq!(none.header("Content-Range"), Some(length.as_str()));
    // A unit that nobody knows is as none.
    let unknown = ask(
        desk.address,
        "GET",
        "/api/recordings/tone.wav/sound",
        &[("Range", "items=0-1")],
        None,
    );
    assert_eq!((unknown.status, &unknown.body), (200, &bytes));
}

/// Of a recording of hours a piece is drawn, and of the whole it is said at once that it is too long.
#[test]
fn verif_a_very_long_recording_is_drawn_in_pieces() {
    let desk = Desk::open();
    let path = desk.folder.path().join("long.wav");
    tone(&path);
    // The rest are zeros that lie nowhere, told in the head.
    let bytes = 2 * (1_u32 << 28) + 4 * RATE_HZ;
    let mut head = fs::read(&path).unwrap();
    head[4..8].copy_from_slice(&(36 + bytes).to_le_bytes());
    head[40..44].copy_from_slice(&bytes.to_le_bytes());
    fs::write(&path, head).unwrap();
    let file = fs::OpenOptions::new().write(true).open(&path).unwrap();
    file.set_len(44 + u64::from(bytes)).unwrap();
    let whole_s = desk.get("/api/recordings/long.wav").ok()["duration_s"].clone();
    let whole_s = whole_s.as_f64().unwrap();
    assert!(whole_s > 33_000.0, "{whole_s}");
    let picture = |to_s: f64| {
        desk.get(&format!(
            "/api/recordings/long.wav/picture?from_s=0&to_s={to_s}&width=80&height=40&top_db=-25&range_db=40"
        ))
    };
    let begun = std::time::Instant::now();
    for to_s in [whole_s, 1e9] {
        let answer = picture(to_s);
        assert_eq!((answer.status, answer.error().as_str()), (422, "too-long"));
    }
    assert!(begun.elapsed().as_secs() < 20);
    assert!(!bright(&picture(8.0).body).is_empty());
}

/// Names that lead out of the folder, by dots or by links, lead nowhere.
#[cfg(unix)]
#[test]
fn verif_nothing_outside_the_folder_is_read() {
    let desk = Desk::open();
    let outside = tempfile::tempdir().unwrap();
    tone(&outside.path().join("secret.wav"));
    fs::write(outside.path().join("secret.toml"), "[rehearsal]\n").unwrap();
    let link = |from: &str, to: &str| {
        std::os::unix::fs::symlink(outside.path().join(from), desk.folder.path().join(to)).unwrap();
    };
    link("secret.wav", "linked.wav");
    link("secret.toml", "linked.toml");
    link("", "up");
    for name in [
        "linked.wav",
        "up%2Fsecret.wav",
        "..%2Fsecret.wav",
        "%2Fetc%2Fpasswd",
        "none.wav",
    ] {
        for end in ["", "/sound", "/picture?from_s=0&to_s=1&width=8&height=8"] {
            let answer = desk.get(&format!("/api/recordings/{name}{end}"));
            assert_eq!(
                (answer.status, answer.error().as_str()),
                (404, "outside"),
                "{name}{end}"
            );
        }
    }
    for name in [
        "linked.toml",
        "up/secret.toml",
        "../secret.toml",
        "..%2F..%2Fetc%2Fpasswd",
    ] {
        let answer = desk.get(&format!("/api/cues/{name}"));
        assert!(answer.status == 404, "{name}: {}", answer.status);
    }
    // What is no recording, or no cue sheet, is not handed out as one.
    assert_eq!(
        desk.get("/api/recordings/plan.toml/sound").error(),
        "no-recording"
    );
    assert_eq!(desk.get("/api/cues/plan.toml").error(), "no-cue-sheet");
    let session = desk.get("/api/session").ok();
    assert_eq!(session["recordings"], json!([]));
    assert_eq!(session["cue_sheets"], json!(["cues/ferry-night.toml"]));
    let cues = desk.get("/api/cues/cues/ferry-night.toml").ok();
    assert!(cues["text"].as_str().unwrap().contains("[rehearsal]"));
}
