//! FLAC and Ogg Vorbis, decoded by symphonia.
//!
//! Every block says at which frame it begins, so a hole in a FLAC file (RFC 9639: each frame carries its number and two
//! checksums) shows as a gap with its true place. In Ogg (RFC 3533) the place is written once a page and the samples
//! of a page after a lost one cannot be placed surely, so a hole there is an error.
//!
//! The decoder is foreign code fed with untrusted bytes: a panic inside it is caught and becomes
//! [`RecordingError::Damaged`].

use std::io::ErrorKind;

use symphonia::core::errors::Error as Fault;
use symphonia::core::formats::{FormatOptions, FormatReader};
use symphonia::core::io::MediaSourceStream;
use symphonia::core::packet::Packet;
use symphonia::default::formats::{FlacReader, OggReader};

use crate::error::{RecordingError, Unsupported};
use crate::info::{Container, Info};
use crate::ogg::{self, Tail};
use crate::recording::{Chunk, ReadSeek};
use crate::stream::{Bytes, Stream, failure, guarded, interleave};
use crate::warning::{Warning, Warnings};

/// A coded stream with the frames of the block last decoded.
pub(crate) struct Coded {
    reader: Box<dyn FormatReader>,
    stream: Stream,
    container: Container,
    stated_frames: Option<u64>,
    /// Samples of the current block, interleaved.
    block: Vec<f32>,
    /// Samples of the block already given out.
    used: usize,
    /// Index of the next frame to give out.
    next: u64,
    /// Frame index minus time stamp, once known.
    origin: Option<i128>,
    after_gap: bool,
    /// Whether all frames so far were there, so that a checksum of the whole means something.
    whole: bool,
    ended: bool,
}

/// What came of asking the demultiplexer for more.
enum Next {
    Packet(Packet),
    NewStream,
    End,
    CutOff,
}

impl Coded {
    pub(crate) fn flac(
        reader: Box<dyn ReadSeek>,
        length: u64,
        file: &str,
    ) -> Result<(Info, Coded), RecordingError> {
        let bytes = Bytes::stream(reader, length, file)?;
        Self::open(bytes, length, Container::Flac, file)
    }

    pub(crate) fn ogg(
        mut reader: Box<dyn ReadSeek>,
        length: u64,
        file: &str,
    ) -> Result<(Info, Coded), RecordingError> {
        let tail = ogg::tail(&mut *reader, length).map_err(|source| RecordingError::Io {
            file: file.to_owned(),
            action: "read its pages",
            source,
        })?;
        let bytes = Bytes::stream(reader, length, file)?;
        let (mut info, mut coded) = Self::open(bytes, length, Container::Ogg, file)?;
        // What the decoder finds out about the end is left aside: behind a damaged page it finds nothing.
        let frames = match tail {
            Tail::SameStream { last_count } => coded.stream.frames_to(last_count),
            Tail::Unknown | Tail::Chained => None,
        };
        (info.frames, coded.stated_frames) = (frames, frames);
        if tail != Tail::Chained {
            coded.stream.frames = frames;
        }
        Ok((info, coded))
    }

    fn open(
        bytes: MediaSourceStream<'static>,
        length: u64,
        container: Container,
        file: &str,
    ) -> Result<(Info, Coded), RecordingError> {
        let opened = guarded(|| -> Result<Box<dyn FormatReader>, Fault> {
            let options = FormatOptions::default();
            Ok(match container {
                Container::Flac => Box::new(FlacReader::try_new(bytes, options)?),
                _ => Box::new(OggReader::try_new(bytes, options)?),
            })
        });
        let reader = opened.map_err(|fault| match fault {
            Fault::IoError(error) if error.kind() == ErrorKind::UnexpectedEof => {
                RecordingError::Empty {
                    file: file.to_owned(),
                    bytes: length,
                }
            }
            fault => failure(fault, file, 0),
        })?;
        let stream = Stream::of(&*reader, file, 0)?;
        let info = Info {
            rate_hz: stream.rate_hz,
            channels: stream.channels,
            frames: stream.frames,
            encoding: stream.encoding,
            container,
            start: None,
        };
        let stated_frames = stream.frames;
        let coded = Coded {
            reader,
            stream,
            container,
            stated_frames,
            block: Vec::new(),
            used: 0,
            next: 0,
            // FLAC counts from the start of the file; an Ogg stream may have been cut out of a longer one.
            origin: (container == Container::Flac).then_some(0),
            after_gap: false,
            whole: true,
            ended: false,
        };
        Ok((info, coded))
    }

    pub(crate) fn top(&self) -> f32 {
        self.stream.top()
    }

    /// Fills `chunk` as far as frames come; what comes in the way is told when they have been taken.
    pub(crate) fn read(
        &mut self,
        chunk: &mut Chunk,
        out: &mut [f32],
        file: &str,
        warnings: &mut Warnings,
    ) -> Result<(), RecordingError> {
        let channels = usize::from(self.stream.channels);
        chunk.first = self.next;
        let mut filled = 0;
        while filled < out.len() {
            if self.used == self.block.len() && !self.decode(file, warnings)? {
                break;
            }
            if self.after_gap {
                if filled > 0 {
                    break;
                }
                (chunk.first, chunk.after_gap, self.after_gap) = (self.next, true, false);
            }
            let samples = (self.block.len() - self.used).min(out.len() - filled);
            let given = &self.block[self.used..self.used + samples];
            out[filled..filled + samples].copy_from_slice(given);
            chunk.full_scale += self.stream.at_full_scale(given);
            filled += samples;
            chunk.frames = filled / channels;
            self.used += samples;
            self.next += (samples / channels) as u64;
        }
        Ok(())
    }

    pub(crate) fn skip_to(
        &mut self,
        to: u64,
        file: &str,
        warnings: &mut Warnings,
    ) -> Result<u64, RecordingError> {
        let channels = usize::from(self.stream.channels);
        while self.next < to && (self.used < self.block.len() || self.decode(file, warnings)?) {
            if self.next >= to {
                break;
            }
            self.after_gap = false;
            let here = (self.block.len() - self.used) / channels;
            let frames = usize::try_from(to - self.next).map_or(here, |left| left.min(here));
            self.used += frames * channels;
            self.next += frames as u64;
        }
        Ok(self.next)
    }

    /// Decodes up to the next block with frames in it; `false` at the end.
    fn decode(&mut self, file: &str, warnings: &mut Warnings) -> Result<bool, RecordingError> {
        while !self.ended {
            match self.next_packet(file)? {
                Next::Packet(packet) if packet.track_id != self.stream.track => {}
                Next::Packet(packet) => {
                    if self.decode_packet(&packet, file, warnings)? {
                        return Ok(true);
                    }
                }
                Next::NewStream => {
                    self.hold_against_last_page(file)?;
                    self.chain(file, warnings)?;
                }
                Next::End => {
                    self.hold_against_last_page(file)?;
                    self.end(false, warnings);
                }
                Next::CutOff => self.end(true, warnings),
            }
        }
        Ok(false)
    }

    fn next_packet(&mut self, file: &str) -> Result<Next, RecordingError> {
        let reader = &mut self.reader;
        match guarded(|| reader.next_packet()) {
            Ok(Some(packet)) => Ok(Next::Packet(packet)),
            Ok(None) => Ok(Next::End),
            Err(Fault::ResetRequired) => Ok(Next::NewStream),
            Err(Fault::IoError(error)) if error.kind() == ErrorKind::UnexpectedEof => {
                Ok(Next::CutOff)
            }
            Err(fault) => Err(failure(fault, file, self.next)),
        }
    }

    /// Decodes one block; `false` if no frames come of it.
    fn decode_packet(
        &mut self,
        packet: &Packet,
        file: &str,
        warnings: &mut Warnings,
    ) -> Result<bool, RecordingError> {
        let (decoder, block) = (&mut self.stream.decoder, &mut self.block);
        block.clear();
        self.used = 0;
        match guarded(|| {
            decoder
                .decode(packet)
                .map(|decoded| interleave(&decoded, block))
        }) {
            Ok(()) => {}
            Err(Fault::DecodeError(reason)) if self.container == Container::Flac => {
                warnings.push(Warning::Undecodable {
                    at_frame: self.next,
                    reason,
                });
                self.whole = false;
                return Ok(false);
            }
            Err(fault) => return Err(failure(fault, file, self.next)),
        }
        if self.block.is_empty() {
            return Ok(false);
        }
        let channels = usize::from(self.stream.channels);
        if !self.block.len().is_multiple_of(channels) {
            return Err(self.damaged(
                file,
                "a block has another number of channels than the stream",
            ));
        }
        if let Some(bad) = self.block.iter().position(|sample| !sample.is_finite()) {
            return Err(RecordingError::NotFinite {
                file: file.to_owned(),
                frame: self.next + (bad / channels) as u64,
                channel: (bad % channels) as u16,
                value: self.block[bad].into(),
            });
        }
        self.place(packet, file, warnings)?;
        Ok(true)
    }

    /// Holds the time stamp of a block against the frames given out so far.
    fn place(
        &mut self,
        packet: &Packet,
        file: &str,
        warnings: &mut Warnings,
    ) -> Result<(), RecordingError> {
        let stamp = i128::from(packet.pts.get()) + i128::from(packet.trim_start.get());
        let origin = *self.origin.get_or_insert_with(|| {
            if let Ok(stamp @ 1..) = u64::try_from(stamp) {
                warnings.push(Warning::StartsLate {
                    at_frame: self.next,
                    stamp,
                });
            }
            i128::from(self.next) - stamp
        });
        let missing = stamp + origin - i128::from(self.next);
        if missing == 0 {
            return Ok(());
        }
        if missing < 0 {
            return Err(self.damaged(file, "a block belongs before the frames already read"));
        }
        if self.container == Container::Ogg {
            return Err(self.damaged(
                file,
                "pages are missing or damaged, and what follows has no sure place in time",
            ));
        }
        let missing_frames =
            u64::try_from(missing).expect("a positive difference of time stamps fits 64 bits");
        warnings.push(Warning::Gap {
            at_frame: self.next,
            missing_frames,
        });
        (self.after_gap, self.whole) = (true, false);
        self.next = self
            .next
            .checked_add(missing_frames)
            .ok_or_else(|| self.damaged(file, "a time stamp is too large"))?;
        Ok(())
    }

    /// A page lost just before the last one leaves no jump behind, only too few frames in an Ogg stream that has its
    /// end mark.
    fn hold_against_last_page(&self, file: &str) -> Result<(), RecordingError> {
        let read = self.next - self.stream.begins_at;
        if self.container == Container::Ogg
            && self.stream.frames.is_some_and(|frames| read < frames)
        {
            return Err(self.damaged(
                file,
                "pages are missing or damaged: there are fewer frames than the last page counts",
            ));
        }
        Ok(())
    }

    /// Goes on with a stream that is chained behind the one that ended.
    fn chain(&mut self, file: &str, warnings: &mut Warnings) -> Result<(), RecordingError> {
        let next = Stream::of(&*self.reader, file, self.next)?;
        let before = &self.stream;
        if (before.rate_hz, before.channels) != (next.rate_hz, next.channels) {
            let what = Unsupported::ChainChanges {
                at_frame: self.next,
                from_rate_hz: before.rate_hz,
                from_channels: before.channels,
                to_rate_hz: next.rate_hz,
                to_channels: next.channels,
            };
            return Err(RecordingError::Unsupported {
                file: file.to_owned(),
                what,
            });
        }
        warnings.push(Warning::Chained {
            at_frame: self.next,
        });
        self.stream = next;
        self.origin = None;
        Ok(())
    }

    fn end(&mut self, cut_off: bool, warnings: &mut Warnings) {
        self.ended = true;
        let read_frames = self.next;
        let stated_frames = self.stated_frames;
        if cut_off || stated_frames.is_some_and(|stated| read_frames < stated) {
            warnings.push(Warning::EndedEarly {
                stated_frames,
                read_frames,
            });
            return;
        }
        match stated_frames {
            Some(stated_frames) if read_frames > stated_frames => {
                warnings.push(Warning::MoreThanStated {
                    stated_frames,
                    read_frames,
                });
            }
            _ => {}
        }
        if self.whole && self.stream.decoder.finalize().verify_ok == Some(false) {
            warnings.push(Warning::ChecksumDiffers);
        }
    }

    fn damaged(&self, file: &str, reason: &'static str) -> RecordingError {
        RecordingError::Damaged {
            file: file.to_owned(),
            at_frame: self.next,
            reason,
        }
    }
}
