//! Sound files (WAV, RF64, FLAC, Ogg Vorbis) as streams of samples with their start time.
//!
//! [`Recording`] reads a file of any length in bounded memory and gives `f32` samples, interleaved, full scale = 1.0.
//! Nothing is repaired in silence: what is odd but readable comes with a [`Warning`], what is not is a [`RecordingError`].
//! [`stretches`] joins files that abut; [`WavWriter`] writes WAV, turning into RF64 where RIFF's 32-bit sizes end.
//!
//! WAV, RF64 and BW64 are read by this crate (RIFF of 1991, EBU Tech 3306 of 2009 and
//! ITU-R BS.2088 of 2019); FLAC (RFC 9639) and Vorbis I in Ogg (RFC 3533) are decoded by symphonia.

mod coded;
mod error;
mod info;
mod name;
mod ogg;
mod pcm;
mod plain;
mod planned;
mod recording;
mod riff;
mod sniff;
mod stream;
mod stretch;
mod warning;
mod writer;

pub use error::{RecordingError, Unsupported};
pub use info::{Container, Encoding, Info};
pub use name::{NameTimeError, start_from_name};
pub use planned::{
    HEADER_BYTES, MOST_RIFF_DATA_BYTES, planned_container, planned_file_bytes, planned_name,
};
pub use recording::{Chunk, ReadSeek, Recording};
pub use sniff::Looks;
pub use stretch::{Piece, Stretch, StretchError, stretches};
pub use warning::Warning;
pub use writer::{Overwrite, SampleFormat, WavWriter, WriteError, Written};
