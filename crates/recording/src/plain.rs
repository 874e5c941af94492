//! Samples stored one after the other: WAV, RF64, BW64.
//!
//! A stored sample that is no number (not-a-number, infinite, or a 64-bit one beyond the range of 32 bits) leaves the place
//! of all others known. Its frame is missing, as a lost one is: what follows comes after a gap, and nothing is filled in.

use std::io::{Read, SeekFrom};

use crate::error::RecordingError;
use crate::info::Info;
use crate::pcm::NotFinite;
use crate::recording::{Chunk, ReadSeek};
use crate::riff::Layout;
use crate::warning::{Warning, Warnings};

/// Bytes turned at once: enough to make system calls rare, and at least one frame of the widest kind.
const BLOCK_BYTES: usize = 64 * 1024;
/// Most runs of frames without numbers in one file (ours): with more it is no sound that was stored.
const MOST_HOLES: u64 = 1000;

pub(crate) struct Plain {
    reader: Box<dyn ReadSeek>,
    layout: Layout,
    bytes: Vec<u8>,
    /// Frame at which `bytes` begins.
    held_from: u64,
    holes: Holes,
}

/// Runs of frames without numbers.
#[derive(Debug, Default)]
struct Holes {
    found: u64,
    /// First and number of frames of the one under way.
    open: Option<(u64, u64)>,
    first: Option<RecordingError>,
    /// Whether any frame was given out.
    any_sound: bool,
}

impl Plain {
    pub(crate) fn new(reader: Box<dyn ReadSeek>, layout: Layout) -> Self {
        Self {
            reader,
            layout,
            bytes: Vec::new(),
            held_from: 0,
            holes: Holes::default(),
        }
    }

    pub(crate) fn frames(&self) -> u64 {
        self.layout.frames
    }

    pub(crate) fn top(&self) -> f32 {
        self.layout.format.top()
    }

    pub(crate) fn info(&self) -> Info {
        Info {
            rate_hz: self.layout.rate_hz,
            channels: self.layout.format.channels,
            frames: Some(self.layout.frames),
            encoding: self.layout.format.encoding,
            container: self.layout.container,
            start: None,
        }
    }

    /// Reads from `chunk.first` on.
    pub(crate) fn read(
        &mut self,
        chunk: &mut Chunk,
        out: &mut [f32],
        file: &str,
        warnings: &mut Warnings,
    ) -> Result<(), RecordingError> {
        let channels = usize::from(self.layout.format.channels);
        let frame_bytes = self.layout.format.frame_bytes();
        let room = out.len() / channels;
        while chunk.frames < room {
            let at = chunk.first + chunk.frames as u64;
            let wanted = (room - chunk.frames) as u64;
            let frames = self.hold(at, wanted, file, warnings)?;
            if frames == 0 {
                self.holes.close(warnings);
                return self.holes.any_sound_or_why();
            }
            let stored = (at - self.held_from) as usize * frame_bytes;
            let stored = &self.bytes[stored..][..frames * frame_bytes];
            let samples = &mut out[chunk.frames * channels..][..frames * channels];
            match self.layout.format.convert(stored, samples) {
                Ok(full_scale) => {
                    self.holes.close(warnings);
                    self.holes.any_sound = true;
                    chunk.full_scale += full_scale;
                    chunk.frames += frames;
                }
                Err(bad) => {
                    let good = bad.sample / channels;
                    if good > 0 {
                        self.holes.close(warnings);
                        self.holes.any_sound = true;
                        let converted = self.layout.format.convert(
                            &stored[..good * frame_bytes],
                            &mut samples[..good * channels],
                        );
                        chunk.full_scale += converted.expect("these samples are numbers");
                        chunk.frames += good;
                    }
                    if chunk.frames > 0 {
                        return Ok(());
                    }
                    self.holes.take(at, bad, channels, file)?;
                    (chunk.first, chunk.after_gap) = (at + 1, true);
                }
            }
        }
        Ok(())
    }

    /// Holds the frames from `at` on, as many as are wanted and fit a block; gives their number, 0 at the end.
    fn hold(
        &mut self,
        at: u64,
        wanted: u64,
        file: &str,
        warnings: &mut Warnings,
    ) -> Result<usize, RecordingError> {
        let frame_bytes = self.layout.format.frame_bytes();
        let held = (self.bytes.len() / frame_bytes) as u64;
        if (self.held_from..self.held_from + held).contains(&at) {
            let left = self.held_from + held - at;
            return Ok(left.min(wanted) as usize);
        }
        let frames = wanted
            .min(self.layout.frames.saturating_sub(at))
            .min((BLOCK_BYTES / frame_bytes) as u64);
        self.bytes.clear();
        self.held_from = at;
        if frames == 0 {
            return Ok(0);
        }
        let asked = frames * frame_bytes as u64;
        let reader = &mut self.reader;
        reader
            .seek(SeekFrom::Start(
                self.layout.data_at + at * frame_bytes as u64,
            ))
            .and_then(|_| reader.take(asked).read_to_end(&mut self.bytes))
            .map_err(|source| RecordingError::Io {
                file: file.to_owned(),
                action: "read its samples",
                source,
            })?;
        if (self.bytes.len() as u64) < asked {
            let read_frames = at + (self.bytes.len() / frame_bytes) as u64;
            warnings.push(Warning::EndedEarly {
                stated_frames: Some(self.layout.frames),
                read_frames,
            });
            self.layout.frames = read_frames;
        }
        Ok(self.bytes.len() / frame_bytes)
    }
}

impl Holes {
    /// Counts a frame without numbers.
    fn take(
        &mut self,
        frame: u64,
        bad: NotFinite,
        channels: usize,
        file: &str,
    ) -> Result<(), RecordingError> {
        let error = || RecordingError::NotFinite {
            file: file.to_owned(),
            frame,
            channel: (bad.sample % channels) as u16,
            value: bad.value,
        };
        match &mut self.open {
            Some((_, frames)) => *frames += 1,
            None if self.found == MOST_HOLES => return Err(error()),
            None => {
                self.found += 1;
                self.open = Some((frame, 1));
            }
        }
        self.first.get_or_insert_with(error);
        Ok(())
    }

    fn close(&mut self, warnings: &mut Warnings) {
        if let Some((at_frame, frames)) = self.open.take() {
            warnings.push(Warning::NoNumbers { at_frame, frames });
        }
    }

    /// A file without one frame of numbers holds no sound.
    fn any_sound_or_why(&mut self) -> Result<(), RecordingError> {
        match self.first.take() {
            Some(error) if !self.any_sound => Err(error),
            _ => Ok(()),
        }
    }
}
