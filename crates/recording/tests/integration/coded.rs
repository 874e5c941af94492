//! FLAC and Ogg Vorbis: cut off, with holes, chained, with wrong promises.

use recording::{RecordingError, Unsupported, Warning};

use crate::bytes::{all, data, open};

/// Frames in a block of i16.flac, as its STREAMINFO says.
const BLOCK: u64 = 4096;
const FRAMES: u64 = 10_000;

fn flac() -> Vec<u8> {
    let bytes = data("i16.flac");
    assert_eq!(&bytes[..4], b"fLaC");
    assert_eq!(u16::from_be_bytes([bytes[8], bytes[9]]), BLOCK as u16);
    bytes
}

/// Where the FLAC frame of this number begins (RFC 9639, section 9.1: sync code and coded number).
fn frame_at(bytes: &[u8], number: u8) -> usize {
    (86..bytes.len())
        .find(|&at| bytes[at..].starts_with(&[0xFF, 0xF8]) && bytes.get(at + 4) == Some(&number))
        .unwrap()
}

#[test]
fn verif_a_hole_in_flac_is_a_gap_with_its_true_place() {
    let bytes = flac();
    let whole = all(&mut open(&bytes).unwrap(), 1000).unwrap();
    let (second, third) = (frame_at(&bytes, 1), frame_at(&bytes, 2));
    let mut cut = bytes.clone();
    cut.drain(second..third);
    let mut flipped = bytes.clone();
    flipped[(second + third) / 2] ^= 0x10;
    for damaged in [cut, flipped] {
        let mut recording = open(&damaged).unwrap();
        let mut block = vec![0.0; 5000];
        let before = recording.read(&mut block).unwrap();
        assert_eq!(
            (before.first, before.frames as u64, before.after_gap),
            (0, BLOCK, false)
        );
        assert!(block[..before.frames] == whole[..BLOCK as usize]);
        let after = recording.read(&mut block).unwrap();
        assert_eq!(
            (after.first, after.frames as u64, after.after_gap),
            (2 * BLOCK, FRAMES - 2 * BLOCK, true)
        );
        assert!(block[..after.frames] == whole[2 * BLOCK as usize..]);
        assert_eq!(recording.read(&mut block).unwrap().frames, 0);
        assert_eq!(
            recording.warnings(),
            [Warning::Gap {
                at_frame: BLOCK,
                missing_frames: BLOCK
            }]
        );
    }
}

/// A frame is known to be whole only by the beginning of the next or the end of the file, so a few bytes of the next
/// may cost the frame before them too; nothing else is lost.
#[test]
fn verif_a_flac_file_that_is_cut_off_ends_with_a_warning() {
    let bytes = flac();
    let whole = all(&mut open(&bytes).unwrap(), 1000).unwrap();
    let third = frame_at(&bytes, 2);
    for (length, blocks) in [
        (third, 2),
        (third + 1, 1),
        (third + 700, 2),
        (bytes.len() - 1, 2),
    ] {
        let mut recording = open(&bytes[..length]).unwrap();
        let samples = all(&mut recording, 1000).unwrap();
        let read_frames = blocks * BLOCK;
        assert_eq!(samples.len() as u64, read_frames, "cut at byte {length}");
        assert!(
            samples == whole[..read_frames as usize],
            "cut at byte {length}"
        );
        let expected = Warning::EndedEarly {
            stated_frames: Some(FRAMES),
            read_frames,
        };
        assert_eq!(recording.warnings(), [expected], "cut at byte {length}");
    }
}

#[test]
fn verif_flac_promises_are_held_against_what_is_there() {
    let bytes = flac();
    let whole = all(&mut open(&bytes).unwrap(), 1000).unwrap();
    // STREAMINFO begins at byte 8; the number of frames is the 36 bits before the MD5 of 16 bytes at its byte 18.
    let mut unknown = bytes.clone();
    unknown[8 + 13] &= 0xF0;
    unknown[8 + 14..8 + 18].fill(0);
    let mut recording = open(&unknown).unwrap();
    assert_eq!(recording.info().frames, None);
    assert!(all(&mut recording, 777).unwrap() == whole);
    assert_eq!(recording.warnings(), []);

    let mut fewer = bytes.clone();
    fewer[8 + 17] -= 1;
    let mut recording = open(&fewer).unwrap();
    let read_frames = all(&mut recording, 777).unwrap().len() as u64;
    let expected = Warning::MoreThanStated {
        stated_frames: FRAMES - 1,
        read_frames,
    };
    assert_eq!((read_frames, &recording.warnings()[0]), (FRAMES, &expected));

    let mut sum = bytes;
    sum[8 + 18] ^= 1;
    let mut recording = open(&sum).unwrap();
    assert!(all(&mut recording, 777).unwrap() == whole);
    assert_eq!(recording.warnings(), [Warning::ChecksumDiffers]);
}

#[test]
fn verif_coded_recordings_read_the_same_in_blocks_and_skips_of_any_size() {
    for file in ["i16.flac", "tone.ogg", "stereo.ogg"] {
        let bytes = data(file);
        let mut first = open(&bytes).unwrap();
        let channels = usize::from(first.info().channels);
        let whole = all(&mut first, 1 << 20).unwrap();
        for frames in [1, 3, 4096, 4097] {
            assert!(
                all(&mut open(&bytes).unwrap(), frames).unwrap() == whole,
                "{file} by {frames}"
            );
        }
        let mut recording = open(&bytes).unwrap();
        let mut block = vec![0.0; 10 * channels];
        for at in [5, 100, 900, 999] {
            recording.skip(at - recording.position()).unwrap();
            let chunk = recording.read(&mut block[..channels]).unwrap();
            assert_eq!(chunk.first, at, "{file}");
            let from = at as usize * channels;
            assert_eq!(
                block[..channels],
                whole[from..from + channels],
                "{file} frame {at}"
            );
        }
        let end = (whole.len() / channels) as u64;
        assert_eq!(recording.skip(u64::MAX).unwrap(), end);
        assert_eq!(recording.read(&mut block).unwrap().frames, 0);
    }
}

/// Where the pages of an Ogg file begin (RFC 3533, section 6).
pub(crate) fn pages(bytes: &[u8]) -> Vec<usize> {
    let mut starts = vec![];
    let mut at = 0;
    while at + 27 <= bytes.len() {
        starts.push(at);
        let segments = usize::from(bytes[at + 26]);
        at += 27
            + segments
            + bytes[at + 27..at + 27 + segments]
                .iter()
                .map(|&s| usize::from(s))
                .sum::<usize>();
    }
    starts
}

/// Writes the checksum of the page that fills `page` (RFC 3533: polynomial 04c11db7, not reflected, start 0).
pub(crate) fn seal(page: &mut [u8]) {
    page[22..26].fill(0);
    let mut sum = 0_u32;
    for &byte in page.iter() {
        sum ^= u32::from(byte) << 24;
        for _ in 0..8 {
            sum = if sum & 0x8000_0000 == 0 {
                sum << 1
            } else {
                sum << 1 ^ 0x04C1_1DB7
            };
        }
    }
    page[22..26].copy_from_slice(&sum.to_le_bytes());
}

fn with_serial(bytes: &[u8], serial: u32) -> Vec<u8> {
    let mut bytes = bytes.to_vec();
    let starts = pages(&bytes);
    for (i, &at) in starts.iter().enumerate() {
        let end = starts.get(i + 1).copied().unwrap_or(bytes.len());
        bytes[at + 14..at + 18].copy_from_slice(&serial.to_le_bytes());
        seal(&mut bytes[at..end]);
    }
    bytes
}

#[test]
fn val_own_page_checksums_are_those_that_libogg_wrote() {
    let bytes = data("tone.ogg");
    let twice = with_serial(&with_serial(&bytes, 77), 0);
    assert_eq!(
        twice, bytes,
        "the reference script sealed the pages by its own sum, and the decoder accepts them"
    );
}

#[test]
fn verif_a_vorbis_file_that_is_cut_off_ends_with_a_warning() {
    let bytes = data("tone.ogg");
    let whole = all(&mut open(&bytes).unwrap(), 1000).unwrap();
    let last = *pages(&bytes).last().unwrap();
    let stated = u64::from_le_bytes(bytes[last + 6..last + 14].try_into().unwrap());
    assert_eq!(whole.len() as u64, stated);
    let before_last = pages(&bytes).into_iter().rev().nth(1).unwrap();
    for length in [last, before_last, before_last + 500] {
        let mut recording = open(&bytes[..length]).unwrap();
        let samples = all(&mut recording, 1000).unwrap();
        assert!(
            samples.len() > 1000 && samples.len() < whole.len(),
            "{} frames",
            samples.len()
        );
        assert!(samples == whole[..samples.len()], "cut at byte {length}");
        let read_frames = samples.len() as u64;
        let [
            Warning::EndedEarly {
                read_frames: said, ..
            },
        ] = recording.warnings()
        else {
            panic!("{:?}", recording.warnings())
        };
        assert_eq!(*said, read_frames);
    }
}

#[test]
fn verif_a_lost_or_damaged_vorbis_page_is_an_error_not_a_shift() {
    let bytes = data("tone.ogg");
    let whole = all(&mut open(&bytes).unwrap(), 1000).unwrap();
    let starts = pages(&bytes);
    assert!(starts.len() >= 5, "{starts:?}");
    let mut lost = bytes.clone();
    lost.drain(starts[3]..starts[4]);
    let lost_then_chained = [lost.clone(), with_serial(&bytes, 3)].concat();
    let mut flipped = bytes.clone();
    flipped[starts[3] + 400] ^= 1;
    for damaged in [lost, flipped, lost_then_chained] {
        // However many frames are asked for, all that lie before the damage are given out first.
        for frames in [1, 7, 1000] {
            let mut recording = open(&damaged).unwrap();
            let mut block = vec![0.0; frames];
            let mut given = 0;
            let error = loop {
                match recording.read(&mut block) {
                    Ok(chunk) => given += chunk.frames as u64,
                    Err(error) => break error,
                }
            };
            let RecordingError::Damaged { at_frame, .. } = error else {
                panic!("{error}")
            };
            assert!(at_frame < whole.len() as u64, "{at_frame}");
            assert_eq!((given, recording.position()), (at_frame, at_frame));
        }
    }
}

#[test]
fn verif_a_vorbis_file_whose_beginning_is_lost_warns() {
    let bytes = data("tone.ogg");
    let starts = pages(&bytes);
    let mut lost = bytes.clone();
    lost.drain(starts[2]..starts[3]);
    let mut recording = open(&lost).unwrap();
    let samples = all(&mut recording, 1000).unwrap();
    let warnings = recording.warnings().to_vec();
    let [Warning::StartsLate { at_frame: 0, stamp }] = warnings[..] else {
        panic!("{warnings:?}")
    };
    assert_eq!(recording.info().frames, Some(samples.len() as u64));
    let whole = all(&mut open(&bytes).unwrap(), 1000).unwrap();
    assert_eq!(stamp as usize + samples.len(), whole.len());
    assert!(
        whole.ends_with(&samples),
        "what is left keeps its place before the end"
    );
}

#[test]
fn verif_chained_streams_follow_each_other() {
    let bytes = data("tone.ogg");
    let whole = all(&mut open(&bytes).unwrap(), 1000).unwrap();
    let chained = [bytes.clone(), with_serial(&bytes, 99)].concat();
    let mut recording = open(&chained).unwrap();
    assert_eq!(recording.info().frames, None, "only reading tells");
    let samples = all(&mut recording, 1000).unwrap();
    assert!(samples == [whole.clone(), whole.clone()].concat());
    assert_eq!(
        recording.warnings(),
        [Warning::Chained {
            at_frame: whole.len() as u64
        }]
    );

    let other = [bytes, with_serial(&data("stereo.ogg"), 98)].concat();
    let error = all(&mut open(&other).unwrap(), 1000).unwrap_err();
    assert!(
        matches!(
            error,
            RecordingError::Unsupported {
                what: Unsupported::ChainChanges { to_channels: 2, .. },
                ..
            }
        ),
        "{error}"
    );
}

/// The identification header of Opus in Ogg (RFC 7845, section 5.1) is refused by its name.
#[test]
fn verif_opus_is_refused_by_name() {
    let page = |flags: u8, sequence: u8, payload: &[u8]| {
        let mut page = b"OggS\0".to_vec();
        page.push(flags);
        page.extend_from_slice(&[0; 8]);
        page.extend_from_slice(&[
            7,
            0,
            0,
            0,
            sequence,
            0,
            0,
            0,
            0,
            0,
            0,
            0,
            1,
            payload.len() as u8,
        ]);
        page.extend_from_slice(payload);
        seal(&mut page);
        page
    };
    let head = page(2, 0, b"OpusHead\x01\x01\x38\x01\x80\xbb\0\0\0\0\0");
    let tags = page(0, 1, b"OpusTags\x04\0\0\0none\0\0\0\0");
    let audio = page(4, 2, &[0xFC, 0xFF, 0xFE]);
    let error = open(&[head, tags, audio].concat()).unwrap_err();
    let what = Unsupported::Coding {
        what: "Opus in Ogg",
    };
    assert!(
        matches!(&error, RecordingError::Unsupported { what: found, .. } if *found == what),
        "{error}"
    );
}

/// The rate stands in bytes 12 to 16 of the identification header (Vorbis I, section 4.2.2), which the first page holds.
#[test]
fn verif_a_vorbis_file_beyond_the_highest_rate_is_refused() {
    for (rate_hz, read) in [
        (100_000_000_u32, true),
        (100_000_001, false),
        (2_000_000_000, false),
    ] {
        let mut bytes = data("tone.ogg");
        let second = pages(&bytes)[1];
        let header = bytes.windows(7).position(|w| w == b"\x01vorbis").unwrap();
        bytes[header + 12..header + 16].copy_from_slice(&rate_hz.to_le_bytes());
        seal(&mut bytes[..second]);
        match open(&bytes) {
            Ok(recording) => assert!(read && recording.info().rate_hz == rate_hz, "{rate_hz}"),
            Err(RecordingError::OverLimit { value, limit, .. }) => {
                assert!(!read);
                assert_eq!((value, limit), (rate_hz.into(), 100_000_000));
            }
            Err(other) => panic!("{rate_hz}: {other}"),
        }
    }
}
