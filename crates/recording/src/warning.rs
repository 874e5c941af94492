//! What is odd in a recording that could be read all the same.

use std::fmt;

use crate::name::NameTimeError;

/// Something that the user must see about a recording that was read nevertheless.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Warning {
    /// The data size was never written (0 or all ones): read to the end of the file.
    SizeNotWritten {
        /// Size in the header, bytes.
        stated_bytes: u64,
        /// Bytes read instead.
        read_bytes: u64,
    },
    /// The data size is longer than the file: read to the end of the file.
    SizeTooLong {
        /// Size in the header, bytes.
        stated_bytes: u64,
        /// Bytes that are there.
        read_bytes: u64,
    },
    /// The data end within a frame.
    PartialFrame {
        /// Bytes of the incomplete frame, not read.
        dropped_bytes: u64,
    },
    /// Bytes after the data that are no chunks; if sizes were left stale, they are samples that were not read.
    TrailingBytes {
        /// Where they begin, bytes from the start of the file.
        at_byte: u64,
        /// How many.
        bytes: u64,
    },
    /// The bytes per second in the header do not fit rate and frame; the rate is used.
    ByteRateDisagrees {
        /// Bytes per second in the header.
        stated: u32,
        /// Rate times bytes per frame.
        computed: u64,
    },
    /// A chunk of odd length lacks its padding byte; the next chunk is read from where it really begins.
    MissingPad {
        /// Where the padding byte was due, bytes from the start of the file.
        at_byte: u64,
    },
    /// An extensible header gives 0 valid bits; all bits of the container are taken as valid.
    ValidBitsMissing {
        /// Bits of the container.
        container_bits: u16,
    },
    /// The file name tells no start time in UTC.
    StartUnknown(NameTimeError),
    /// The file ends before the frames that its header promises, or without its end mark.
    EndedEarly {
        /// Frames promised, if the header says.
        stated_frames: Option<u64>,
        /// Frames up to the end.
        read_frames: u64,
    },
    /// The stream holds more frames than its header says.
    MoreThanStated {
        /// Frames in the header.
        stated_frames: u64,
        /// Frames found.
        read_frames: u64,
    },
    /// Frames are missing; the next frame keeps its true index.
    Gap {
        /// First missing frame.
        at_frame: u64,
        /// How many are missing.
        missing_frames: u64,
    },
    /// Frames with a sample that is not a number or infinite: they are left out, and what follows comes after a gap.
    NoNumbers {
        /// First of them.
        at_frame: u64,
        /// How many there are.
        frames: u64,
    },
    /// A coded block could not be decoded and is left out (a gap follows).
    Undecodable {
        /// Frame at which it would have begun.
        at_frame: u64,
        /// What the decoder said.
        reason: &'static str,
    },
    /// The decoded samples do not give the checksum in the header.
    ChecksumDiffers,
    /// An Ogg stream counts its first frame higher than 0: it was cut out of a longer one, or its beginning is lost. The
    /// first frame found is taken for the beginning.
    StartsLate {
        /// Index of that frame in the file.
        at_frame: u64,
        /// Its number in the stream's own count.
        stamp: u64,
    },
    /// A further stream was chained on; it is read as following at once.
    Chained {
        /// First frame of the further stream.
        at_frame: u64,
    },
}

impl fmt::Display for Warning {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Warning::SizeNotWritten {
                stated_bytes,
                read_bytes,
            } => write!(
                f,
                "the data size was never written (it says {stated_bytes}); read to the end of the file, {read_bytes} bytes"
            ),
            Warning::SizeTooLong {
                stated_bytes,
                read_bytes,
            } => write!(
                f,
                "the header promises {stated_bytes} bytes of data and the file ends after {read_bytes}; read to the end"
            ),
            Warning::PartialFrame { dropped_bytes } => {
                write!(
                    f,
                    "the data end within a frame; its {dropped_bytes} bytes are not read"
                )
            }
            Warning::TrailingBytes { at_byte, bytes } => write!(
                f,
                "{bytes} bytes from byte {at_byte} on are no chunk; if the recorder left an old size, they are samples that were not read"
            ),
            Warning::ByteRateDisagrees { stated, computed } => {
                write!(
                    f,
                    "the header says {stated} bytes/s, rate and frame give {computed}; the rate is used"
                )
            }
            Warning::MissingPad { at_byte } => {
                write!(
                    f,
                    "the chunk before byte {at_byte} is odd in length and lacks its padding byte"
                )
            }
            Warning::ValidBitsMissing { container_bits } => {
                write!(
                    f,
                    "the header gives 0 valid bits; all {container_bits} are taken as valid"
                )
            }
            Warning::StartUnknown(why) => write!(f, "start time unknown: {why}"),
            Warning::EndedEarly {
                stated_frames: Some(stated),
                read_frames,
            } => {
                write!(
                    f,
                    "the file ends after {read_frames} frames of {stated} promised"
                )
            }
            Warning::EndedEarly {
                stated_frames: None,
                read_frames,
            } => {
                write!(
                    f,
                    "the file ends after {read_frames} frames without its end mark"
                )
            }
            Warning::MoreThanStated {
                stated_frames,
                read_frames,
            } => {
                write!(
                    f,
                    "{read_frames} frames were read, the header says {stated_frames}"
                )
            }
            Warning::Gap {
                at_frame,
                missing_frames,
            } => {
                write!(
                    f,
                    "{missing_frames} frames are missing from frame {at_frame} on"
                )
            }
            Warning::NoNumbers { at_frame, frames } => write!(
                f,
                "{} from frame {at_frame} on {} a sample that is no number: left out, and what follows is heard as after a gap",
                if *frames == 1 {
                    "1 frame".to_owned()
                } else {
                    format!("{frames} frames")
                },
                if *frames == 1 { "holds" } else { "hold" },
            ),
            Warning::Undecodable { at_frame, reason } => {
                write!(
                    f,
                    "the block at frame {at_frame} cannot be decoded: {reason}"
                )
            }
            Warning::ChecksumDiffers => {
                write!(
                    f,
                    "the samples do not give the checksum in the header: the file was changed or damaged"
                )
            }
            Warning::StartsLate { at_frame, stamp } => write!(
                f,
                "the stream that begins at frame {at_frame} counts it as its frame {stamp}: cut out of a longer one, or its beginning is lost"
            ),
            Warning::Chained { at_frame } => {
                write!(
                    f,
                    "a further stream is chained on at frame {at_frame}; read as following at once"
                )
            }
        }
    }
}

/// A list that stays small however damaged the file is.
#[derive(Debug, Default)]
pub(crate) struct Warnings {
    list: Vec<Warning>,
    left_out: u64,
}

impl Warnings {
    /// Most warnings kept for one recording (ours).
    pub(crate) const KEPT: usize = 256;

    pub(crate) fn push(&mut self, warning: Warning) {
        if self.list.len() < Self::KEPT {
            self.list.push(warning);
        } else {
            self.left_out += 1;
        }
    }

    pub(crate) fn list(&self) -> &[Warning] {
        &self.list
    }

    pub(crate) fn left_out(&self) -> u64 {
        self.left_out
    }
}
