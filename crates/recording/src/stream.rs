//! The one stream of sound in a coded file and its decoder, fenced off from the rest.

use std::io::{self, Read, Seek, SeekFrom};
use std::panic::{AssertUnwindSafe, catch_unwind};

use symphonia::core::audio::{Audio, GenericAudioBufferRef};
use symphonia::core::codecs::audio::well_known::{
    CODEC_ID_FLAC, CODEC_ID_OPUS, CODEC_ID_SPEEX, CODEC_ID_VORBIS,
};
use symphonia::core::codecs::audio::{AudioCodecParameters, AudioDecoder, AudioDecoderOptions};
use symphonia::core::errors::Error as Fault;
use symphonia::core::formats::{FormatReader, TrackType};
use symphonia::core::io::{MediaSource, MediaSourceStream, MediaSourceStreamOptions};
use symphonia::default::codecs::{FlacDecoder, VorbisDecoder};

use crate::error::{RecordingError, Unsupported};
use crate::info::{Encoding, RATE_LIMIT_HZ};
use crate::pcm::{from_code, top_code};
use crate::recording::ReadSeek;

/// The one stream of sound and its decoder.
pub(crate) struct Stream {
    pub(crate) track: u32,
    pub(crate) decoder: Box<dyn AudioDecoder>,
    pub(crate) encoding: Encoding,
    pub(crate) rate_hz: u32,
    pub(crate) channels: u16,
    /// Frames in this stream, where its header or its last page tells.
    pub(crate) frames: Option<u64>,
    /// Index in the file of its first frame.
    pub(crate) begins_at: u64,
    /// Number of its first frame in its own count: above 0 where it was cut out of a longer one.
    pub(crate) counted_from: i128,
}

/// Most channels of Vorbis that are decoded. Where channels are coupled in several steps, the steps are to be undone
/// from the last to the first (Vorbis I, section 4.3.5); symphonia 0.6.1 goes from the first to the last, which gives
/// other samples (seen against libsndfile). With two channels there is one step at most.
const VORBIS_CHANNELS_LIMIT: u16 = 2;

impl Stream {
    pub(crate) fn of(
        reader: &dyn FormatReader,
        file: &str,
        at_frame: u64,
    ) -> Result<Stream, RecordingError> {
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
        if rate_hz > RATE_LIMIT_HZ {
            return Err(RecordingError::OverLimit {
                file: file.to_owned(),
                quantity: "rate in Hz",
                value: rate_hz.into(),
                limit: RATE_LIMIT_HZ.into(),
            });
        }
        let channels = parameters
            .channels
            .as_ref()
            .and_then(|channels| u16::try_from(channels.count()).ok())
            .filter(|&channels| channels > 0)
            .ok_or_else(|| damaged("the number of channels is not given"))?;
        if encoding == Encoding::Vorbis && channels > VORBIS_CHANNELS_LIMIT {
            return Err(unsupported(Unsupported::VorbisChannels { channels }));
        }
        let counted_from = i128::from(track.start_ts.get()) + i128::from(track.delay.unwrap_or(0));
        let mut stream = Stream {
            track: track.id,
            decoder,
            encoding,
            rate_hz,
            channels,
            frames: None,
            begins_at: at_frame,
            counted_from: counted_from.max(0),
        };
        stream.frames = track
            .num_frames
            .and_then(|last_count| stream.frames_to(last_count));
        Ok(stream)
    }

    /// Frames in a stream whose last page or header counts up to `last_count`.
    pub(crate) fn frames_to(&self, last_count: u64) -> Option<u64> {
        u64::try_from(i128::from(last_count) - self.counted_from).ok()
    }

    /// The lowest sample that lies at full scale above zero.
    pub(crate) fn top(&self) -> f32 {
        match self.encoding {
            Encoding::Flac { bits } => from_code(top_code(bits.into())),
            _ => 1.0,
        }
    }

    pub(crate) fn at_full_scale(&self, samples: &[f32]) -> u64 {
        let top = self.top();
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

/// Adds the frames of a decoded block to `block`, interleaved, full scale = 1.0.
pub(crate) fn interleave(decoded: &GenericAudioBufferRef<'_>, block: &mut Vec<f32>) {
    match decoded {
        GenericAudioBufferRef::S32(buffer) => {
            block.extend(buffer.iter_interleaved().map(from_code))
        }
        decoded => decoded.copy_to_vec_interleaved(block),
    }
}

const PANICKED: Fault = Fault::DecodeError("the decoder broke down on it");

/// Runs foreign code; a panic in it becomes a fault. The panic hook of the process, which prints unless a program sets its
/// own, still runs.
pub(crate) fn guarded<T>(run: impl FnOnce() -> Result<T, Fault>) -> Result<T, Fault> {
    catch_unwind(AssertUnwindSafe(run)).unwrap_or(Err(PANICKED))
}

pub(crate) fn failure(fault: Fault, file: &str, at_frame: u64) -> RecordingError {
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

/// The caller's reader as the decoder wants it.
pub(crate) struct Bytes {
    reader: Box<dyn ReadSeek>,
    length: u64,
}

impl Bytes {
    /// The stream from the first byte on.
    pub(crate) fn stream(
        mut reader: Box<dyn ReadSeek>,
        length: u64,
        file: &str,
    ) -> Result<MediaSourceStream<'static>, RecordingError> {
        reader
            .seek(SeekFrom::Start(0))
            .map_err(|source| RecordingError::Io {
                file: file.to_owned(),
                action: "go back to its first byte",
                source,
            })?;
        Ok(MediaSourceStream::new(
            Box::new(Bytes { reader, length }),
            MediaSourceStreamOptions::default(),
        ))
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
