//! FLAC and Ogg Vorbis, decoded by symphonia.
//!
//! Every block says at which frame it begins, so a hole in a FLAC file (RFC 9639: each frame carries its number and two
//! checksums) shows as a gap with its true place. In Ogg (RFC 3533) the place is written once a page and the samples
//! of a page after a lost one cannot be placed surely, so a hole there is an error.
//!
//! The decoder is foreign code fed with untrusted bytes: a panic inside it is caught and becomes
//! [`RecordingError::Damaged`].

use std::io::{self, ErrorKind, Read, Seek, SeekFrom};
use std::panic::{AssertUnwindSafe, catch_unwind};

use symphonia::core::audio::{Audio, GenericAudioBufferRef};
use symphonia::core::codecs::audio::well_known::{
    CODEC_ID_FLAC, CODEC_ID_OPUS, CODEC_ID_SPEEX, CODEC_ID_VORBIS,
};
use symphonia::core::codecs::audio::{AudioCodecParameters, AudioDecoder, AudioDecoderOptions};
use symphonia::core::errors::Error as Fault;
use symphonia::core::formats::{FormatOptions, FormatReader, TrackType};
use symphonia::core::io::{MediaSource, MediaSourceStream, MediaSourceStreamOptions};
use symphonia::core::packet::Packet;
use symphonia::default::codecs::{FlacDecoder, VorbisDecoder};
use symphonia::default::formats::{FlacReader, OggReader};

use crate::error::{RecordingError, Unsupported};
use crate::info::{Container, Encoding, Info};
use crate::pcm::{from_code, top_code};
use crate::recording::{Chunk, ReadSeek};
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

/// The one stream of sound and its decoder.
struct Stream {
    track: u32,
    decoder: Box<dyn AudioDecoder>,
    encoding: Encoding,
    rate_hz: u32,
    channels: u16,
    /// Frames in this stream, where its header or its last page tells.
    frames: Option<u64>,
    /// Index in the file of its first frame.
    begins_at: u64,
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
        Self::open(Bytes::stream(reader, length), length, Container::Flac, file)
    }

    pub(crate) fn ogg(
        mut reader: Box<dyn ReadSeek>,
        length: u64,
        file: &str,
    ) -> Result<(Info, Coded), RecordingError> {
        let chained = is_chained(&mut *reader, length).map_err(|source| RecordingError::Io {
            file: file.to_owned(),
            action: "read its pages",
            source,
        })?;
        let (mut info, mut coded) =
            Self::open(Bytes::stream(reader, length), length, Container::Ogg, file)?;
        if chained {
            (info.frames, coded.stated_frames) = (None, None);
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

    pub(crate) fn read(
        &mut self,
        out: &mut [f32],
        file: &str,
        warnings: &mut Warnings,
    ) -> Result<Chunk, RecordingError> {
        let channels = usize::from(self.stream.channels);
        let mut chunk = Chunk {
            first: self.next,
            frames: 0,
            after_gap: false,
            full_scale: 0,
        };
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
            self.used += samples;
            self.next += (samples / channels) as u64;
        }
        chunk.frames = filled / channels;
        Ok(chunk)
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
        let (decoder, encoding, block) = (
            &mut self.stream.decoder,
            self.stream.encoding,
            &mut self.block,
        );
        block.clear();
        self.used = 0;
        match guarded(|| {
            decoder
                .decode(packet)
                .map(|decoded| interleave(&decoded, encoding, block))
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

impl Stream {
    fn of(reader: &dyn FormatReader, file: &str, at_frame: u64) -> Result<Stream, RecordingError> {
        let unsupported = |what| RecordingError::Unsupported {
            file: file.to_owned(),
            what,
        };
        let damaged = |reason| RecordingError::Damaged {
            file: file.to_owned(),
            at_frame,
            reason,
        };
        let count = reader.tracks().len();
        if count > 1 {
            return Err(unsupported(Unsupported::Streams { count }));
        }
        let track = reader.default_track(TrackType::Audio).ok_or_else(|| {
            unsupported(Unsupported::Coding {
                what: "an Ogg file without a stream of sound",
            })
        })?;
        let parameters = track
            .codec_params
            .as_ref()
            .and_then(|parameters| parameters.audio())
            .ok_or_else(|| damaged("the stream does not say how it is coded"))?;
        let (decoder, encoding) = decoder(parameters, file, at_frame)?;
        let rate_hz = parameters
            .sample_rate
            .filter(|&rate_hz| rate_hz > 0)
            .ok_or_else(|| damaged("the rate is not given"))?;
        let channels = parameters
            .channels
            .as_ref()
            .and_then(|channels| u16::try_from(channels.count()).ok())
            .filter(|&channels| channels > 0)
            .ok_or_else(|| damaged("the number of channels is not given"))?;
        // In Ogg the last page tells the count of its last frame; the first page may have begun above 0.
        let counted_from = i128::from(track.start_ts.get()) + i128::from(track.delay.unwrap_or(0));
        let frames = track
            .num_frames
            .and_then(|last| u64::try_from(i128::from(last) - counted_from.max(0)).ok());
        Ok(Stream {
            track: track.id,
            decoder,
            encoding,
            rate_hz,
            channels,
            frames,
            begins_at: at_frame,
        })
    }

    fn at_full_scale(&self, samples: &[f32]) -> u64 {
        let top = match self.encoding {
            Encoding::Flac { bits } => from_code(top_code(bits.into())),
            _ => 1.0,
        };
        samples
            .iter()
            .filter(|&&sample| sample >= top || sample <= -1.0)
            .count() as u64
    }
}

fn decoder(
    parameters: &AudioCodecParameters,
    file: &str,
    at_frame: u64,
) -> Result<(Box<dyn AudioDecoder>, Encoding), RecordingError> {
    let unsupported = |what| RecordingError::Unsupported {
        file: file.to_owned(),
        what,
    };
    let options = AudioDecoderOptions::default().verify(true);
    let built: Result<(Box<dyn AudioDecoder>, Encoding), Fault> = match parameters.codec {
        CODEC_ID_VORBIS => guarded(|| {
            Ok((
                Box::new(VorbisDecoder::try_new(parameters, &options)?) as _,
                Encoding::Vorbis,
            ))
        }),
        CODEC_ID_FLAC => {
            let bits = parameters
                .bits_per_sample
                .and_then(|bits| u8::try_from(bits).ok());
            let bits = bits.filter(|bits| (4..=32).contains(bits)).ok_or_else(|| {
                unsupported(Unsupported::Coding {
                    what: "FLAC without a sample size of 4 to 32 bits",
                })
            })?;
            guarded(|| {
                Ok((
                    Box::new(FlacDecoder::try_new(parameters, &options)?) as _,
                    Encoding::Flac { bits },
                ))
            })
        }
        CODEC_ID_OPUS => {
            return Err(unsupported(Unsupported::Coding {
                what: "Opus in Ogg",
            }));
        }
        CODEC_ID_SPEEX => {
            return Err(unsupported(Unsupported::Coding {
                what: "Speex in Ogg",
            }));
        }
        _ => {
            return Err(unsupported(Unsupported::Coding {
                what: "Ogg with neither Vorbis nor FLAC in it",
            }));
        }
    };
    built.map_err(|fault| failure(fault, file, at_frame))
}

/// Adds the frames of a decoded block to `block`, interleaved in the order of coding, full scale = 1.0.
fn interleave(decoded: &GenericAudioBufferRef<'_>, encoding: Encoding, block: &mut Vec<f32>) {
    match decoded {
        GenericAudioBufferRef::S32(buffer) => {
            block.extend(buffer.iter_interleaved().map(from_code));
        }
        decoded => {
            decoded.copy_to_vec_interleaved(block);
            if encoding == Encoding::Vorbis {
                unsort(block, decoded.num_planes());
            }
        }
    }
}

/// Puts the channels of Vorbis back into the order in which they are coded. The decoder sorts them by the speaker that
/// music would play them on (Vorbis I, section 4.3.9); for hydrophones the number of the channel is all that counts.
/// Entry k is where the decoder leaves channel k.
fn unsort(block: &mut [f32], channels: usize) {
    let sorted: &[usize] = match channels {
        3 => &[0, 2, 1],
        5 => &[0, 2, 1, 3, 4],
        6 => &[0, 2, 1, 4, 5, 3],
        7 => &[0, 2, 1, 5, 6, 4, 3],
        8 => &[0, 2, 1, 6, 7, 4, 5, 3],
        _ => return,
    };
    let mut frame = [0.0; 8];
    for samples in block.chunks_exact_mut(channels) {
        for (coded, &at) in frame.iter_mut().zip(sorted) {
            *coded = samples[at];
        }
        samples.copy_from_slice(&frame[..channels]);
    }
}

const PANICKED: Fault = Fault::DecodeError("the decoder broke down on it");

/// Runs foreign code; a panic in it becomes a fault.
fn guarded<T>(run: impl FnOnce() -> Result<T, Fault>) -> Result<T, Fault> {
    catch_unwind(AssertUnwindSafe(run)).unwrap_or(Err(PANICKED))
}

fn failure(fault: Fault, file: &str, at_frame: u64) -> RecordingError {
    let file = file.to_owned();
    match fault {
        Fault::IoError(source) => RecordingError::Io {
            file,
            action: "read its samples",
            source,
        },
        Fault::Unsupported(what) => RecordingError::Unsupported {
            file,
            what: Unsupported::Coding { what },
        },
        Fault::DecodeError(reason) | Fault::LimitError(reason) => RecordingError::Damaged {
            file,
            at_frame,
            reason,
        },
        _ => RecordingError::Damaged {
            file,
            at_frame,
            reason: "the stream cannot be followed",
        },
    }
}

/// Longest page: header, 255 lengths, 255 segments of 255 bytes (RFC 3533, section 6).
const OGG_PAGE_LIMIT: u64 = 27 + 255 + 255 * 255;

/// Whether the last page belongs to another stream than the first, so that the length of the first is not the whole.
fn is_chained(reader: &mut dyn ReadSeek, length: u64) -> io::Result<bool> {
    let mut first = Vec::new();
    reader.seek(SeekFrom::Start(0))?;
    reader.take(27).read_to_end(&mut first)?;
    let mut last = Vec::new();
    reader.seek(SeekFrom::Start(length.saturating_sub(2 * OGG_PAGE_LIMIT)))?;
    reader.take(2 * OGG_PAGE_LIMIT).read_to_end(&mut last)?;
    reader.seek(SeekFrom::Start(0))?;
    let serial = |page: &[u8]| page.get(14..18).map(<[u8]>::to_vec);
    let at = last
        .windows(6)
        .rposition(|bytes| bytes.starts_with(b"OggS\0") && bytes[5] & !7 == 0);
    Ok(at.is_some_and(|at| serial(&last[at..]).is_some_and(|last| Some(last) != serial(&first))))
}

/// The caller's reader as the decoder wants it.
struct Bytes {
    reader: Box<dyn ReadSeek>,
    length: u64,
}

impl Bytes {
    fn stream(reader: Box<dyn ReadSeek>, length: u64) -> MediaSourceStream<'static> {
        let mut bytes = Bytes { reader, length };
        // A failure to go back shows again at the first read.
        let _ = bytes.seek(SeekFrom::Start(0));
        MediaSourceStream::new(Box::new(bytes), MediaSourceStreamOptions::default())
    }
}

impl Read for Bytes {
    fn read(&mut self, out: &mut [u8]) -> io::Result<usize> {
        self.reader.read(out)
    }
}

impl Seek for Bytes {
    fn seek(&mut self, to: SeekFrom) -> io::Result<u64> {
        self.reader.seek(to)
    }
}

impl MediaSource for Bytes {
    fn is_seekable(&self) -> bool {
        true
    }

    fn byte_len(&self) -> Option<u64> {
        Some(self.length)
    }
}
