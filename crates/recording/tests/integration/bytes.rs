//! Building files byte by byte, and reading them whole.

use std::io::Cursor;
use std::path::Path;

use recording::{Recording, RecordingError};

pub(crate) const NAME: &str = "site_20270315T041500Z_ch00.wav";

pub(crate) fn data(name: &str) -> Vec<u8> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests/data")
        .join(name);
    std::fs::read(path).unwrap()
}

/// The rows of a file in `reference/recording`.
pub(crate) fn reference(name: &str) -> Vec<Vec<String>> {
    truth::rows(&format!("recording/{name}"))
}

pub(crate) fn open(bytes: &[u8]) -> Result<Recording, RecordingError> {
    Recording::from_reader(Box::new(Cursor::new(bytes.to_vec())), NAME)
}

/// All samples, read in blocks of `frames`.
pub(crate) fn all(recording: &mut Recording, frames: usize) -> Result<Vec<f32>, RecordingError> {
    let channels = usize::from(recording.info().channels);
    let mut block = vec![f32::NAN; frames * channels];
    let mut samples = Vec::new();
    loop {
        let chunk = recording.read(&mut block)?;
        if chunk.frames == 0 {
            return Ok(samples);
        }
        samples.extend_from_slice(&block[..chunk.frames * channels]);
    }
}

pub(crate) fn chunk(id: &[u8; 4], payload: &[u8]) -> Vec<u8> {
    let mut bytes = id.to_vec();
    bytes.extend_from_slice(&(payload.len() as u32).to_le_bytes());
    bytes.extend_from_slice(payload);
    if payload.len() % 2 == 1 {
        bytes.push(0);
    }
    bytes
}

pub(crate) fn format(tag: u16, channels: u16, rate_hz: u32, bits: u16) -> Vec<u8> {
    let frame = channels * (bits / 8);
    let mut payload = Vec::new();
    payload.extend_from_slice(&tag.to_le_bytes());
    payload.extend_from_slice(&channels.to_le_bytes());
    payload.extend_from_slice(&rate_hz.to_le_bytes());
    payload.extend_from_slice(&(rate_hz * u32::from(frame)).to_le_bytes());
    payload.extend_from_slice(&frame.to_le_bytes());
    payload.extend_from_slice(&bits.to_le_bytes());
    payload
}

pub(crate) fn extensible(
    tag: u16,
    channels: u16,
    rate_hz: u32,
    bits: u16,
    valid_bits: u16,
) -> Vec<u8> {
    let mut payload = format(0xFFFE, channels, rate_hz, bits);
    payload.extend_from_slice(&22_u16.to_le_bytes());
    payload.extend_from_slice(&valid_bits.to_le_bytes());
    payload.extend_from_slice(&0_u32.to_le_bytes());
    payload.extend_from_slice(&tag.to_le_bytes());
    payload.extend_from_slice(&[0, 0, 0, 0, 0x10, 0, 0x80, 0, 0, 0xAA, 0, 0x38, 0x9B, 0x71]);
    payload
}

pub(crate) fn riff(chunks: &[Vec<u8>]) -> Vec<u8> {
    let body: Vec<u8> = chunks.concat();
    let mut bytes = b"RIFF".to_vec();
    bytes.extend_from_slice(&(body.len() as u32 + 4).to_le_bytes());
    bytes.extend_from_slice(b"WAVE");
    bytes.extend_from_slice(&body);
    bytes
}

/// 16-bit mono at 8 kHz with these codes.
pub(crate) fn mono16(codes: &[i16]) -> Vec<u8> {
    riff(&[
        chunk(b"fmt ", &format(1, 1, 8000, 16)),
        chunk(b"data", &little(codes)),
    ])
}

pub(crate) fn little(codes: &[i16]) -> Vec<u8> {
    codes.iter().flat_map(|code| code.to_le_bytes()).collect()
}

pub(crate) fn put_u32(bytes: &mut [u8], at: usize, value: u32) {
    bytes[at..at + 4].copy_from_slice(&value.to_le_bytes());
}
