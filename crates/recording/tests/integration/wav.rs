//! WAV, RF64 and what recorders and other programs make of them.

use recording::{Encoding, Looks, Recording, RecordingError, Unsupported, Warning};

use crate::bytes::{NAME, all, chunk, extensible, format, little, mono16, open, put_u32, riff};

const CODES: [i16; 5] = [0, 16384, -16384, 32767, -32768];
const SAMPLES: [f32; 5] = [0.0, 0.5, -0.5, 32767.0 / 32768.0, -1.0];

/// Where the size of `data` stands in `mono16`.
const DATA_SIZE_AT: usize = 40;

fn read(bytes: &[u8]) -> (Vec<f32>, Vec<Warning>) {
    let mut recording = open(bytes).unwrap();
    let samples = all(&mut recording, 3).unwrap();
    (samples, recording.warnings().to_vec())
}

fn error(bytes: &[u8]) -> RecordingError {
    match open(bytes).and_then(|mut recording| all(&mut recording, 3)) {
        Err(error) => error,
        Ok(samples) => panic!("{} samples were read", samples.len()),
    }
}

#[test]
fn verif_sizes_left_by_a_crashed_recorder_are_read_to_the_end() {
    let with_size = |size| {
        let mut bytes = mono16(&CODES);
        put_u32(&mut bytes, DATA_SIZE_AT, size);
        put_u32(&mut bytes, 4, 0);
        bytes
    };
    let not_written = |stated_bytes| {
        vec![Warning::SizeNotWritten {
            stated_bytes,
            read_bytes: 10,
        }]
    };
    assert_eq!(read(&with_size(0)), (SAMPLES.to_vec(), not_written(0)));
    assert_eq!(
        read(&with_size(u32::MAX)),
        (SAMPLES.to_vec(), not_written(u32::MAX.into()))
    );
    let too_long = vec![Warning::SizeTooLong {
        stated_bytes: 1_000_000,
        read_bytes: 10,
    }];
    assert_eq!(read(&with_size(1_000_000)), (SAMPLES.to_vec(), too_long));
    let mut cut = with_size(10);
    cut.truncate(DATA_SIZE_AT + 4 + 7);
    let cut_off = vec![
        Warning::SizeTooLong {
            stated_bytes: 10,
            read_bytes: 7,
        },
        Warning::PartialFrame { dropped_bytes: 1 },
    ];
    assert_eq!(read(&cut), (SAMPLES[..3].to_vec(), cut_off));
}

#[test]
fn verif_a_size_of_0_before_further_chunks_is_taken_at_its_word() {
    let empty = riff(&[
        chunk(b"fmt ", &format(1, 1, 8000, 16)),
        chunk(b"data", &[]),
        chunk(b"LIST", b"INFOodd"),
    ]);
    assert!(matches!(error(&empty), RecordingError::Empty { .. }));
    let header_only = riff(&[chunk(b"fmt ", &format(1, 1, 8000, 16)), chunk(b"data", &[])]);
    assert!(matches!(
        error(&header_only),
        RecordingError::Empty { bytes: 44, .. }
    ));
}

#[test]
fn verif_unknown_and_odd_chunks_are_passed_over() {
    let chunks = [
        chunk(b"bext", &[7; 33]),
        chunk(b"fmt ", &format(1, 1, 8000, 16)),
        chunk(b"LIST", b"INFO"),
        chunk(b"data", &little(&CODES)),
        chunk(b"iXML", b"<a/>x"),
    ];
    assert_eq!(read(&riff(&chunks)), (SAMPLES.to_vec(), vec![]));
    let mut unpadded = chunk(b"note", b"odd");
    unpadded.pop();
    let bytes = riff(&[
        unpadded,
        chunk(b"fmt ", &format(1, 1, 8000, 16)),
        chunk(b"data", &little(&CODES)),
    ]);
    assert_eq!(
        read(&bytes),
        (SAMPLES.to_vec(), vec![Warning::MissingPad { at_byte: 23 }])
    );
}

#[test]
fn verif_bytes_behind_the_data_are_shown() {
    let mut bytes = mono16(&CODES);
    put_u32(&mut bytes, DATA_SIZE_AT, 4);
    let (samples, warnings) = read(&bytes);
    assert_eq!(samples, SAMPLES[..2]);
    assert_eq!(
        warnings,
        [Warning::TrailingBytes {
            at_byte: 48,
            bytes: 6
        }]
    );
}

#[test]
fn verif_extensible_formats() {
    let data = chunk(
        b"data",
        &[
            0xFF, 0xFF, 0x7F, 0x00, 0x00, 0xF0, 0xFF, 0x7F, 0, 0, 0, 0x80,
        ],
    );
    let wav = |format: &[u8]| riff(&[chunk(b"fmt ", format), data.clone()]);
    let mut twenty = open(&wav(&extensible(1, 1, 96_000, 32, 20))).unwrap();
    assert_eq!(twenty.info().encoding, Encoding::Pcm32);
    all(&mut twenty, 3).unwrap();
    assert_eq!(
        twenty.full_scale(),
        2,
        "the highest code of 20 bits and the lowest"
    );
    assert_eq!(twenty.warnings(), []);
    let none = open(&wav(&extensible(1, 1, 96_000, 32, 0))).unwrap();
    assert_eq!(
        none.warnings(),
        [Warning::ValidBitsMissing { container_bits: 32 }]
    );
    let too_many = error(&wav(&extensible(1, 1, 96_000, 32, 33)));
    assert!(
        matches!(too_many, RecordingError::Malformed { at_byte: 38, .. }),
        "{too_many}"
    );
    let other = error(&wav(&extensible(0x0161, 1, 96_000, 32, 32)));
    let tag = Unsupported::FormatTag { tag: 0x0161 };
    assert!(
        matches!(other, RecordingError::Unsupported { ref what, .. } if *what == tag),
        "{other}"
    );
    let mut private = extensible(1, 1, 96_000, 32, 32);
    private[39] = 0;
    let private = error(&wav(&private));
    assert!(
        matches!(
            private,
            RecordingError::Unsupported {
                what: Unsupported::SubFormat { .. },
                ..
            }
        ),
        "{private}"
    );
}

#[test]
fn verif_many_channels() {
    let codes: Vec<i16> = (0..1024).chain(-1024..0).collect();
    let wav = riff(&[
        chunk(b"fmt ", &format(1, 1024, 1000, 16)),
        chunk(b"data", &little(&codes)),
    ]);
    let (samples, warnings) = read(&wav);
    assert_eq!(warnings, []);
    assert!(
        samples
            .iter()
            .zip(&codes)
            .all(|(sample, &code)| *sample == f32::from(code) / 32768.0)
    );
    let more = riff(&[
        chunk(b"fmt ", &format(1, 1025, 1000, 16)),
        chunk(b"data", &little(&codes)),
    ]);
    let more = error(&more);
    assert!(
        matches!(
            more,
            RecordingError::OverLimit {
                value: 1025,
                limit: 1024,
                ..
            }
        ),
        "{more}"
    );
}

#[test]
fn verif_what_is_no_recording_says_what_it_looks_like() {
    let looks = |bytes: &[u8]| match error(bytes) {
        RecordingError::NotARecording { looks, .. } => looks,
        other => panic!("{other}"),
    };
    let text = looks("Datum;Tiefe über Grund\r\n2027-03-15;12,5\n".as_bytes());
    assert_eq!(
        text,
        Looks::Text {
            beginning: "Datum;Tiefe über Grund".into()
        }
    );
    assert_eq!(looks(&[0; 4096]), Looks::Zeros);
    assert_eq!(
        looks(b"%PDF-1.7\n%\xe2\xe3"),
        Looks::Known {
            name: "a PDF document"
        }
    );
    assert_eq!(
        looks(b"RIFF\x10\0\0\0AVI LIST"),
        Looks::RiffForm {
            form: "AVI ".into()
        }
    );
    assert_eq!(
        looks(&[0x80, 1, 2, 3]),
        Looks::Bytes {
            hex: "80 01 02 03".into()
        }
    );
    let other = error(b"RIFX\0\0\0\x10WAVEfmt ");
    assert!(
        matches!(
            other,
            RecordingError::Unsupported {
                what: Unsupported::Container { .. },
                ..
            }
        ),
        "{other}"
    );
    assert!(matches!(error(b""), RecordingError::Empty { bytes: 0, .. }));
}

#[test]
fn verif_headers_that_cannot_be_understood_name_the_byte() {
    let fmt = || chunk(b"fmt ", &format(1, 2, 8000, 16));
    let data = || chunk(b"data", &little(&CODES));
    let at = |bytes: &[u8]| match error(bytes) {
        RecordingError::Malformed { at_byte, .. } => at_byte,
        other => panic!("{other}"),
    };
    assert_eq!(at(b"RIFF\0\0"), 0, "a header that ends too soon");
    assert_eq!(at(&riff(&[fmt()])), 36, "no samples");
    assert_eq!(
        at(&riff(&[data(), fmt()])),
        12,
        "samples before their format"
    );
    assert_eq!(at(&riff(&[fmt(), fmt(), data()])), 36, "two formats");
    assert_eq!(
        at(&riff(&[chunk(b"fmt ", &[1; 14]), data()])),
        16,
        "a format that is too short"
    );
    let bent = |byte: usize, value: u8| {
        let mut bytes = riff(&[fmt(), data()]);
        bytes[byte] = value;
        at(&bytes)
    };
    assert_eq!(bent(22, 0), 22, "no channels");
    assert_eq!(bent(32, 5), 32, "bytes per frame");
    assert_eq!(bent(19, 1), 16, "a format that ends behind the file");
    let mut rate = riff(&[fmt(), data()]);
    put_u32(&mut rate, 24, 0);
    assert_eq!(at(&rate), 24, "no rate");
    let message = error(&rate).to_string();
    assert_eq!(
        message,
        format!("{NAME}: byte 24: expected a rate above 0 Hz, found 0")
    );
    let mut fast = riff(&[fmt(), data()]);
    put_u32(&mut fast, 24, u32::MAX);
    assert!(matches!(error(&fast), RecordingError::OverLimit { .. }));
    let walk: Vec<Vec<u8>> = vec![chunk(b"note", b""); 10_001];
    assert!(matches!(
        error(&riff(&walk)),
        RecordingError::OverLimit { limit: 10_000, .. }
    ));
    let mut slow = riff(&[fmt(), data()]);
    put_u32(&mut slow, 28, 1);
    assert_eq!(
        open(&slow).unwrap().warnings()[0],
        Warning::ByteRateDisagrees {
            stated: 1,
            computed: 32_000
        }
    );
}

fn float_wav(channels: u16, samples: &[f32]) -> Vec<u8> {
    let bytes: Vec<u8> = samples.iter().flat_map(|s| s.to_le_bytes()).collect();
    riff(&[
        chunk(b"fmt ", &format(3, channels, 8000, 32)),
        chunk(b"data", &bytes),
    ])
}

/// First frame, number of frames and gap of each chunk, read `frames` at a time; the error, if there is one.
fn chunks(
    recording: &mut Recording,
    frames: usize,
) -> (Vec<(u64, usize, bool)>, Option<RecordingError>) {
    let mut samples = vec![0.0; frames * usize::from(recording.info().channels)];
    let mut found = Vec::new();
    loop {
        match recording.read(&mut samples) {
            Ok(chunk) if chunk.frames == 0 => return (found, None),
            Ok(chunk) => found.push((chunk.first, chunk.frames, chunk.after_gap)),
            Err(error) => return (found, Some(error)),
        }
    }
}

/// Every frame around a sample that is no number is given out, with its true index and a gap.
#[test]
fn verif_a_sample_that_is_no_number_costs_its_frame_alone() {
    let mut samples = [0.25_f32; 24];
    for bad in [7, 12, 15, 23] {
        samples[bad] = [f32::NAN, f32::INFINITY][bad % 2];
    }
    let wav = float_wav(2, &samples);
    for (frames, expected) in [
        (20, vec![(0, 3, false), (4, 2, true), (8, 3, true)]),
        (
            2,
            vec![
                (0, 2, false),
                (2, 1, false),
                (4, 2, true),
                (8, 2, true),
                (10, 1, false),
            ],
        ),
    ] {
        let mut recording = open(&wav).unwrap();
        let (found, error) = chunks(&mut recording, frames);
        assert_eq!(found, expected);
        assert!(error.is_none());
        assert_eq!(recording.position(), 12);
        let holes = [(3, 1), (6, 2), (11, 1)]
            .map(|(at_frame, frames)| Warning::NoNumbers { at_frame, frames });
        assert!(recording.warnings().ends_with(&holes));
    }
    // A 64-bit number beyond the range of 32 bits is none here.
    let beyond: Vec<u8> = [1.0_f64, 1e39]
        .iter()
        .flat_map(|s| s.to_le_bytes())
        .collect();
    let wav = riff(&[
        chunk(b"fmt ", &format(3, 1, 8000, 64)),
        chunk(b"data", &beyond),
    ]);
    let mut recording = open(&wav).unwrap();
    assert_eq!(chunks(&mut recording, 8).0, [(0, 1, false)]);
    assert_eq!(recording.position(), 2);
}

#[test]
fn verif_a_file_without_numbers_is_refused_at_its_first_frame() {
    let mut recording = open(&float_wav(2, &[0.5, f32::NAN, f32::NAN, 0.5])).unwrap();
    let (found, error) = chunks(&mut recording, 8);
    assert!(found.is_empty());
    let error = error.unwrap();
    assert!(
        matches!(
            error,
            RecordingError::NotFinite {
                frame: 0,
                channel: 1,
                ..
            }
        ),
        "{error}"
    );
    let said = error.to_string();
    assert!(
        said.contains("frame 0 (counted from 0) of channel 2 is not finite"),
        "{said}"
    );
    let after = recording.read(&mut [0.0; 2]).unwrap_err();
    assert!(matches!(after, RecordingError::Stopped { .. }), "{after}");
}

/// The thousand-and-first hole ends the reading; all that lies before it has been given out.
#[test]
fn verif_a_file_full_of_holes_ends_with_an_error_after_what_was_good() {
    let samples: Vec<f32> = (0..5000)
        .map(|i| if i % 3 == 2 { f32::NAN } else { 0.5 })
        .collect();
    let mut recording = open(&float_wav(1, &samples)).unwrap();
    let (found, error) = chunks(&mut recording, 4096);
    assert_eq!(found.len(), 1001);
    assert_eq!(found[1000], (3000, 2, true));
    assert!(
        matches!(error, Some(RecordingError::NotFinite { frame: 3002, .. })),
        "{error:?}"
    );
    assert_eq!(recording.position(), 3002);
}

#[test]
fn verif_buffers_must_hold_whole_frames() {
    let mut recording = open(&riff(&[
        chunk(b"fmt ", &format(1, 2, 8000, 16)),
        chunk(b"data", &[0; 8]),
    ]))
    .unwrap();
    for samples in [0, 1, 3] {
        let refused = recording.read(&mut vec![0.0; samples]).unwrap_err();
        assert!(
            matches!(refused, RecordingError::Buffer { channels: 2, .. }),
            "{refused}"
        );
    }
    assert_eq!(
        recording.read(&mut [0.0; 6]).unwrap().frames,
        2,
        "a refused buffer does not stop the recording"
    );
}

#[test]
fn verif_full_scale_is_counted_a_chunk_and_in_all() {
    let mut recording = open(&mono16(&CODES)).unwrap();
    let mut block = [0.0; 4];
    assert_eq!(recording.read(&mut block).unwrap().full_scale, 1);
    assert_eq!(recording.read(&mut block).unwrap().full_scale, 1);
    assert_eq!(recording.full_scale(), 2);
}

#[test]
fn verif_blocks_and_skips_of_any_size_give_the_same_samples() {
    let codes: Vec<i16> = (0..40_000).map(|i| (i * 7 % 30_000) as i16).collect();
    let wav = riff(&[
        chunk(b"fmt ", &format(1, 2, 8000, 16)),
        chunk(b"data", &little(&codes)),
    ]);
    let whole = all(&mut open(&wav).unwrap(), 100_000).unwrap();
    assert_eq!(whole.len(), codes.len());
    for frames in [1, 3, 16_384, 16_385] {
        assert!(
            all(&mut open(&wav).unwrap(), frames).unwrap() == whole,
            "{frames}"
        );
    }
    let mut recording = open(&wav).unwrap();
    assert_eq!(recording.skip(12_345).unwrap(), 12_345);
    let mut block = [0.0; 2];
    let chunk = recording.read(&mut block).unwrap();
    assert_eq!((chunk.first, &block[..]), (12_345, &whole[24_690..24_692]));
    assert_eq!(recording.skip(u64::MAX).unwrap(), 20_000);
    assert_eq!(recording.read(&mut block).unwrap().frames, 0);
}

#[test]
fn verif_a_file_that_is_not_there_or_is_a_folder_says_so() {
    let folder = tempfile::tempdir().unwrap();
    for path in [folder.path().join("none.wav"), folder.path().to_owned()] {
        let error = Recording::open(&path).unwrap_err();
        assert!(matches!(error, RecordingError::Io { .. }), "{error}");
        assert!(
            error.to_string().contains(&path.display().to_string()),
            "{error}"
        );
    }
}
