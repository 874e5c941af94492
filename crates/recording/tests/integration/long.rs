//! Files beyond 4 GiB, through a reader that makes up its bytes.

use std::io::{self, Read, Seek, SeekFrom};

use recording::{Container, Recording, RecordingError, Warning};

use crate::bytes::{NAME, all, chunk, format, little, open, put_u32, riff};

/// A file that is mostly not there: a header, then frames whose code tells their index.
struct Sparse {
    header: Vec<u8>,
    length: u64,
    /// Where reading really ends.
    ends: u64,
    position: u64,
}

impl Sparse {
    fn code(frame: u64) -> i16 {
        (frame % 65_521) as u16 as i16
    }
}

impl Read for Sparse {
    fn read(&mut self, out: &mut [u8]) -> io::Result<usize> {
        let count = out
            .len()
            .min(self.ends.saturating_sub(self.position) as usize);
        for byte in &mut out[..count] {
            *byte = match self.header.get(self.position as usize) {
                Some(&byte) => byte,
                None => {
                    let at = self.position - self.header.len() as u64;
                    Self::code(at / 2).to_le_bytes()[(at % 2) as usize]
                }
            };
            self.position += 1;
        }
        Ok(count)
    }
}

impl Seek for Sparse {
    fn seek(&mut self, to: SeekFrom) -> io::Result<u64> {
        self.position = match to {
            SeekFrom::Start(at) => at,
            SeekFrom::End(by) => self.length.saturating_add_signed(by),
            SeekFrom::Current(by) => self.position.saturating_add_signed(by),
        };
        Ok(self.position)
    }
}

/// `id` with 64-bit sizes, mono, 16 bits, 500 kHz, `frames` frames.
fn long_header(id: &[u8; 4], data_bytes: u64) -> Vec<u8> {
    let mut long = Vec::new();
    for size in [data_bytes + 72, data_bytes, data_bytes / 2] {
        long.extend_from_slice(&size.to_le_bytes());
    }
    long.extend_from_slice(&0_u32.to_le_bytes());
    let mut bytes = riff(&[
        chunk(b"ds64", &long),
        chunk(b"fmt ", &format(1, 1, 500_000, 16)),
        chunk(b"data", &[]),
    ]);
    bytes[..4].copy_from_slice(id);
    put_u32(&mut bytes, 4, u32::MAX);
    let end = bytes.len();
    put_u32(&mut bytes, end - 4, u32::MAX);
    bytes
}

#[test]
fn verif_files_beyond_4_gib_read_at_the_right_place() {
    let frames: u64 = 3_000_000_017;
    let plain = {
        let mut bytes = riff(&[
            chunk(b"fmt ", &format(1, 1, 500_000, 16)),
            chunk(b"data", &[]),
        ]);
        let end = bytes.len();
        put_u32(&mut bytes, end - 4, u32::MAX);
        bytes
    };
    let not_written = Warning::SizeNotWritten {
        stated_bytes: u32::MAX.into(),
        read_bytes: 2 * frames,
    };
    for (header, container, warnings) in [
        (long_header(b"RF64", 2 * frames), Container::Rf64, vec![]),
        (long_header(b"BW64", 2 * frames), Container::Bw64, vec![]),
        (plain, Container::Wav, vec![not_written]),
    ] {
        let length = header.len() as u64 + 2 * frames;
        let reader = Sparse {
            header,
            length,
            ends: length,
            position: 0,
        };
        let mut recording = Recording::from_reader(Box::new(reader), NAME).unwrap();
        assert_eq!(recording.info().frames, Some(frames));
        assert_eq!(recording.info().container, container);
        let mut block = vec![0.0; 1000];
        for at in [0, 1 << 31, frames - 400] {
            recording.skip(at - recording.position()).unwrap();
            let chunk = recording.read(&mut block).unwrap();
            assert_eq!(
                (chunk.first, chunk.frames as u64),
                (at, (frames - at).min(1000))
            );
            for (frame, sample) in (at..).zip(&block[..chunk.frames]) {
                assert_eq!(
                    *sample,
                    f32::from(Sparse::code(frame)) / 32768.0,
                    "frame {frame}"
                );
            }
        }
        assert_eq!(recording.read(&mut block).unwrap().frames, 0);
        assert_eq!(recording.warnings(), warnings);
    }
}

#[test]
fn verif_64_bit_sizes_left_by_a_crashed_recorder() {
    for stated in [0, u64::MAX] {
        let mut header = long_header(b"RF64", 0);
        header[28..36].copy_from_slice(&stated.to_le_bytes());
        let length = header.len() as u64 + 5_000_000_000;
        let reader = Sparse {
            header,
            length,
            ends: length,
            position: 0,
        };
        let recording = Recording::from_reader(Box::new(reader), NAME).unwrap();
        assert_eq!(recording.info().frames, Some(2_500_000_000));
        let expected = Warning::SizeNotWritten {
            stated_bytes: stated,
            read_bytes: 5_000_000_000,
        };
        assert_eq!(recording.warnings(), [expected]);
    }
}

#[test]
fn verif_64_bit_sizes_that_cannot_be() {
    let wav = riff(&[
        chunk(b"fmt ", &format(1, 1, 8000, 16)),
        chunk(b"data", &little(&[1, 2, 3])),
    ]);
    let mut no_sizes = wav;
    no_sizes[..4].copy_from_slice(b"RF64");
    assert!(matches!(
        open(&no_sizes).unwrap_err(),
        RecordingError::Malformed { at_byte: 12, .. }
    ));
    let mut table = long_header(b"RF64", 10);
    put_u32(&mut table, 44, 7);
    assert!(matches!(
        open(&table).unwrap_err(),
        RecordingError::Malformed { at_byte: 44, .. }
    ));
    put_u32(&mut table, 44, u32::MAX);
    assert!(matches!(
        open(&table).unwrap_err(),
        RecordingError::OverLimit { .. }
    ));
}

#[test]
fn verif_a_file_that_shrinks_while_it_is_read_ends_with_a_warning() {
    let header = long_header(b"RF64", 2000);
    let length = header.len() as u64 + 2000;
    let reader = Sparse {
        ends: length - 1001,
        header,
        length,
        position: 0,
    };
    let mut recording = Recording::from_reader(Box::new(reader), NAME).unwrap();
    assert_eq!(all(&mut recording, 300).unwrap().len(), 499);
    assert_eq!(
        recording.warnings(),
        [Warning::EndedEarly {
            stated_frames: Some(1000),
            read_frames: 499
        }]
    );
}
