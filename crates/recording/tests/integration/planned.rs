//! Files as a plan foresees them, against files: written by this crate, by libsndfile's rules, and read back.

use jiff::Timestamp;
use recording::{
    Container, HEADER_BYTES, MOST_RIFF_DATA_BYTES, Overwrite, SampleFormat, WavWriter,
    planned_container, planned_file_bytes, planned_name, start_from_name,
};

/// Hours until the sizes of RIFF end, at bytes a second: 48 kHz of 24 bits 8.285 h, 96 kHz of 16 bits 6.214, 96 kHz of 24 bits 4.1425, 192 kHz of 16 bits 3.107,
/// 384 kHz of 16 bits 1.553, 48 kHz of 24 bits in four channels 2.071 (arithmetic).
#[test]
fn val_hours_until_riff_ends() {
    for (rate_hz, bytes, channels, hours) in [
        (48_000.0, 3.0, 1.0, 8.285),
        (96_000.0, 2.0, 1.0, 6.214),
        (96_000.0, 3.0, 1.0, 4.1425),
        (192_000.0, 2.0, 1.0, 3.107),
        (384_000.0, 2.0, 1.0, 1.553),
        (48_000.0, 3.0, 4.0, 2.071),
    ] {
        let found = MOST_RIFF_DATA_BYTES as f64 / (rate_hz * bytes * channels) / 3600.0;
        assert!((found - hours).abs() < 5.1e-4, "{found} {hours}");
    }
    assert_eq!(MOST_RIFF_DATA_BYTES, 4_294_967_259);
}

#[test]
fn verif_rf64_begins_where_the_sizes_of_riff_end() {
    let last = u64::from(u32::MAX) + 8 - HEADER_BYTES;
    assert_eq!(planned_container(last - 1), Container::Wav);
    assert_eq!(planned_container(last + 1), Container::Rf64);
    assert_eq!(planned_container(8 * 3600 * 144_000), Container::Wav);
    assert_eq!(planned_container(9 * 3600 * 144_000), Container::Rf64);
}

/// The writer of this crate makes files of the length foreseen.
#[test]
fn verif_a_file_is_as_long_as_planned() {
    let folder = tempfile::tempdir().unwrap();
    for frames in [0_u64, 1, 1000] {
        let path = folder.path().join(format!("{frames}.wav"));
        let mut writer =
            WavWriter::create(&path, 48_000, 1, SampleFormat::Pcm24, Overwrite::Refuse).unwrap();
        writer.write(&vec![0.25; frames as usize]).unwrap();
        let written = writer.finish().unwrap();
        assert_eq!(written.bytes, planned_file_bytes(3 * frames));
        assert_eq!(std::fs::metadata(&path).unwrap().len(), written.bytes);
    }
}

#[test]
fn verif_a_name_tells_the_time_of_its_first_sample() {
    let at: Timestamp = "2027-03-15T04:15:00.250Z".parse().unwrap();
    let name = planned_name("Harrow Sound, ferry-lane", at, 1);
    assert_eq!(name, "harrow-sound-ferry-lane_20270315T041500.250Z_ch01");
    assert_eq!(start_from_name(&format!("{name}.wav")), Ok(at));
    assert_eq!(
        planned_name("(Ø) 5 ", at, 12),
        "5_20270315T041500.250Z_ch12"
    );
}

/// Nine hours at 48 kHz and 24 bits, 4.67 GB, as a file with holes: it is read as the container planned, to its last frame. Eight hours are RIFF.
#[test]
fn verif_a_file_planned_above_4_gib_is_rf64() {
    let folder = tempfile::tempdir().unwrap();
    for (hours, container) in [(8_u64, Container::Wav), (9, Container::Rf64)] {
        let frames = hours * 3600 * 48_000;
        let data = 3 * frames;
        assert_eq!(planned_container(data), container);
        let long = container == Container::Rf64;
        let small = |size: u64| if long { u32::MAX } else { size as u32 };
        let mut head = Vec::new();
        head.extend_from_slice(if long { b"RF64" } else { b"RIFF" });
        head.extend_from_slice(&small(planned_file_bytes(data) - 8).to_le_bytes());
        head.extend_from_slice(b"WAVE");
        head.extend_from_slice(if long { b"ds64" } else { b"JUNK" });
        head.extend_from_slice(&28_u32.to_le_bytes());
        for size in [planned_file_bytes(data) - 8, data, frames] {
            head.extend_from_slice(&size.to_le_bytes());
        }
        head.extend_from_slice(&0_u32.to_le_bytes());
        head.extend_from_slice(b"fmt ");
        for field in [
            40_u32,
            0x0001_FFFE,
            48_000,
            144_000,
            0x0018_0003,
            0x0018_0016,
            0,
            1,
            0x0010_0000,
            0xAA00_0080,
            0x719B_3800,
        ] {
            head.extend_from_slice(&field.to_le_bytes());
        }
        head.extend_from_slice(b"fact");
        for field in [4, small(frames)] {
            head.extend_from_slice(&field.to_le_bytes());
        }
        head.extend_from_slice(b"data");
        head.extend_from_slice(&small(data).to_le_bytes());
        assert_eq!(head.len() as u64, HEADER_BYTES);
        let start = "2027-03-15T00:00:00Z".parse().unwrap();
        let path = folder
            .path()
            .join(format!("{}.wav", planned_name("Harrow Sound", start, 1)));
        std::fs::write(&path, &head).unwrap();
        let file = std::fs::OpenOptions::new().write(true).open(&path).unwrap();
        file.set_len(planned_file_bytes(data)).unwrap();
        let mut recording = recording::Recording::open(&path).unwrap();
        assert_eq!(recording.info().container, container);
        assert_eq!(recording.info().frames, Some(frames));
        assert_eq!(recording.info().start, Some(start));
        assert_eq!(recording.skip(frames - 1).unwrap(), frames - 1);
        assert_eq!(recording.read(&mut [1.0; 4]).unwrap().frames, 1);
        assert!(
            recording.warnings().is_empty(),
            "{:?}",
            recording.warnings()
        );
    }
}
