//! Files bent field by field: an error or samples, never a panic, never much memory.

use std::io::{self, Cursor, Read, Seek, SeekFrom};
use std::process::Command;

use proptest::prelude::*;
use recording::{Recording, RecordingError};

use crate::bytes::{all, data, open, put_u32};
use crate::coded::{pages, seal};

const FILES: [&str; 11] = [
    "u8.wav",
    "i16.wav",
    "i24.wav",
    "i32.wav",
    "f32.wav",
    "f64.wav",
    "i16.rf64",
    "i16.flac",
    "i24.flac",
    "tone.ogg",
    "stereo.ogg",
];

/// Address space of the child process, KiB: the binary, its threads and 64 KiB blocks fit many times over.
#[cfg(unix)]
const LIMIT_KIB: u32 = 256 * 1024;

/// Bytes whose `fails`-th seek fails and leaves the place where it was.
struct Stubborn {
    bytes: Cursor<Vec<u8>>,
    seeks: u32,
    fails: u32,
}

impl Read for Stubborn {
    fn read(&mut self, out: &mut [u8]) -> io::Result<usize> {
        self.bytes.read(out)
    }
}

impl Seek for Stubborn {
    fn seek(&mut self, to: SeekFrom) -> io::Result<u64> {
        self.seeks += 1;
        if self.seeks == self.fails {
            return Err(io::Error::other("will not go"));
        }
        self.bytes.seek(to)
    }
}

fn read(bytes: &[u8]) -> Result<usize, RecordingError> {
    open(bytes)
        .and_then(|mut recording| all(&mut recording, 512))
        .map(|samples| samples.len())
}

/// Reads every bent file; gives how many were read and how many refused.
fn bend_all() -> (u32, u32) {
    let (mut read_ones, mut refused) = (0, 0);
    let mut count = |bytes: &[u8]| match read(bytes) {
        Ok(_) => read_ones += 1,
        Err(error) => {
            assert!(!error.to_string().is_empty());
            refused += 1;
        }
    };
    for file in FILES {
        let bytes = data(file);
        let plain = file.ends_with("wav") || file.ends_with("rf64");
        let header = if plain { 128 } else { 96 };
        let later = (header..bytes.len()).step_by(if plain { bytes.len() } else { 211 });
        for at in (0..header).chain(later) {
            for value in [0, 1, 0x7F, 0x80, 0xFF, bytes[at] ^ 1, bytes[at] ^ 0x80] {
                let mut bent = bytes.clone();
                bent[at] = value;
                count(&bent);
            }
            if at < header {
                for value in [0, 1, 0x7FFF_FFFF, 0x8000_0000, 0xFFFF_FFFF, 0x0001_0000] {
                    let mut bent = bytes.clone();
                    put_u32(&mut bent, at, value);
                    count(&bent);
                }
                count(&bytes[..at]);
            }
        }
        for length in (header..bytes.len()).step_by(97) {
            count(&bytes[..length]);
        }
    }
    // In Ogg a checksum guards every page; bent pages with a right one reach the decoder.
    for file in ["tone.ogg", "stereo.ogg"] {
        let bytes = data(file);
        let starts = pages(&bytes);
        for (i, &start) in starts.iter().take(3).enumerate() {
            let end = starts[i + 1..].first().copied().unwrap_or(bytes.len());
            let dense = (start..end).take(if i == 1 { 700 } else { 120 });
            for at in dense.chain((start..end).step_by(61)) {
                for value in [0, 0xFF, bytes[at] ^ 0x10] {
                    let mut bent = bytes.clone();
                    bent[at] = value;
                    seal(&mut bent[start..end]);
                    count(&bent);
                }
            }
        }
    }
    (read_ones, refused)
}

const CHILD: &str = "RECORDING_BENT_FILES_CHILD";

#[cfg(unix)]
#[test]
fn verif_bent_files_neither_break_nor_fill_the_memory() {
    if std::env::var_os(CHILD).is_some() {
        let (read, refused) = bend_all();
        assert!(
            read > 1000 && refused > 1000,
            "{read} read, {refused} refused"
        );
        return;
    }
    let child = Command::new("sh")
        .arg("-c")
        .arg(format!("ulimit -v {LIMIT_KIB} && exec \"$0\" \"$@\""))
        .arg(std::env::current_exe().unwrap())
        .args([
            "--exact",
            "hostile::verif_bent_files_neither_break_nor_fill_the_memory",
            "--test-threads",
            "1",
        ])
        .env(CHILD, "1")
        .output()
        .unwrap();
    let said = String::from_utf8_lossy(&child.stdout);
    let tail: String = String::from_utf8_lossy(&child.stderr)
        .chars()
        .rev()
        .take(2000)
        .collect();
    assert!(
        child.status.success(),
        "{said}\n{}",
        tail.chars().rev().collect::<String>()
    );
    assert!(said.contains("1 passed"), "the child ran the check: {said}");
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn verif_random_bytes_are_refused_or_read(
        magic in prop::sample::select(vec![&b""[..], b"RIFF....WAVEfmt ", b"RF64....WAVEds64", b"fLaC\0\0\0\x22", b"OggS\0\x02"]),
        tail in prop::collection::vec(any::<u8>(), 0..600),
    ) {
        let bytes = [magic, &tail].concat();
        if let Err(error) = read(&bytes) {
            prop_assert!(!error.to_string().is_empty());
        }
    }

    /// A WAV with any header fields and any data gives exactly the whole frames that are there, or an error.
    #[test]
    fn verif_whole_frames_are_all_that_is_read(
        channels in 1_u16..9, bytes_each in 1_u16..5, data in prop::collection::vec(any::<u8>(), 0..300),
    ) {
        let format = crate::bytes::format(1, channels, 48_000, 8 * bytes_each);
        let wav = crate::bytes::riff(&[crate::bytes::chunk(b"fmt ", &format), crate::bytes::chunk(b"data", &data)]);
        let frames = data.len() / usize::from(channels * bytes_each);
        match read(&wav) {
            Ok(samples) => prop_assert_eq!(samples, frames * usize::from(channels)),
            Err(error) => {
                let empty = matches!(error, RecordingError::Empty { .. });
                prop_assert!(frames == 0 && empty, "{}", error);
            }
        }
    }
}

/// Reading is given to another thread by `listen`; a recording must be able to go there.
#[test]
fn verif_a_recording_can_be_sent_to_another_thread() {
    fn sent<T: Send>() {}
    sent::<Recording>();
}

/// Of a file that will not be gone through as asked the samples are not given from another place.
#[test]
fn verif_a_seek_that_fails_is_told() {
    for file in ["i16.wav", "i16.flac", "tone.ogg"] {
        let bytes = data(file);
        let whole = all(&mut open(&bytes).unwrap(), 512).unwrap();
        let mut told = 0;
        for fails in 1..12 {
            let reader = Stubborn {
                bytes: Cursor::new(bytes.clone()),
                seeks: 0,
                fails,
            };
            match Recording::from_reader(Box::new(reader), file)
                .and_then(|mut recording| all(&mut recording, 512))
            {
                Ok(samples) => assert!(samples == whole, "{file}, seek {fails}"),
                Err(RecordingError::Io { source, .. }) => {
                    assert_eq!(source.to_string(), "will not go");
                    told += 1;
                }
                Err(other) => panic!("{file}, seek {fails}: {other}"),
            }
        }
        assert!(told > 0, "{file}");
    }
}
