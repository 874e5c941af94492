//! One reader for all kinds of file.

use std::fs::File;
use std::io::{self, Read, Seek, SeekFrom};
use std::path::Path;

use crate::coded::Coded;
use crate::error::{RecordingError, Unsupported};
use crate::info::Info;
use crate::name::start_from_name;
use crate::plain::Plain;
use crate::riff;
use crate::sniff::{self, Kind};
use crate::warning::{Warning, Warnings};

/// What a recording can be read from; every reader that can seek and be sent to another thread is one.
pub trait ReadSeek: Read + Seek + Send + Sync {}

impl<T: Read + Seek + Send + Sync> ReadSeek for T {}

/// A sound file, read from its start in blocks of the caller's size; memory does not depend on its length.
///
/// ```no_run
/// # fn main() -> Result<(), recording::RecordingError> {
/// let mut recording = recording::Recording::open("site_20270315T041500Z.wav".as_ref())?;
/// let channels = usize::from(recording.info().channels);
/// let mut samples = vec![0.0; 4096 * channels];
/// loop {
///     let chunk = recording.read(&mut samples)?;
///     if chunk.frames == 0 {
///         break;
///     }
///     let _interleaved = &samples[..chunk.frames * channels];
/// }
/// # Ok(()) }
/// ```
pub struct Recording {
    file: String,
    info: Info,
    source: Source,
    position: u64,
    full_scale: u64,
    warnings: Warnings,
    /// What came in the way of the last read, after frames that were still given out.
    pending: Option<RecordingError>,
    stopped: bool,
}

/// What one call of [`Recording::read`] gave.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Chunk {
    /// Index of its first frame from the start of the file; missing frames are counted, so that
    /// `start + first / rate` is its time.
    pub first: u64,
    /// Frames written to the buffer; 0 only at the end.
    pub frames: usize,
    /// Whether frames are missing before it. A chunk never spans a gap.
    pub after_gap: bool,
    /// Samples in it (over all channels) at full scale: at the highest or lowest code of the converter, or at 1.0 and
    /// beyond where the file stores floating point.
    pub full_scale: u64,
}

enum Source {
    Plain(Plain),
    Coded(Box<Coded>),
}

impl Recording {
    /// Opens a file; its kind is told from its content, its start time from its name.
    ///
    /// # Errors
    /// See [`RecordingError`]; nothing of the samples has been read yet.
    pub fn open(path: &Path) -> Result<Recording, RecordingError> {
        let name = path
            .file_name()
            .unwrap_or(path.as_os_str())
            .to_string_lossy();
        let shown = path.display().to_string();
        let reader = File::open(path).map_err(|source| RecordingError::Io {
            file: shown.clone(),
            action: "open it",
            source,
        })?;
        Self::new(Box::new(reader), shown, &name)
    }

    /// Opens anything that reads and seeks. `name` stands for the file's name: it tells the start time and is shown in
    /// messages.
    ///
    /// # Errors
    /// As [`Recording::open`].
    pub fn from_reader(reader: Box<dyn ReadSeek>, name: &str) -> Result<Recording, RecordingError> {
        Self::new(reader, name.to_owned(), name)
    }

    fn new(
        mut reader: Box<dyn ReadSeek>,
        file: String,
        name: &str,
    ) -> Result<Recording, RecordingError> {
        let (length, head) = measure(&mut *reader).map_err(|source| RecordingError::Io {
            file: file.clone(),
            action: "read its beginning",
            source,
        })?;
        if length == 0 {
            return Err(RecordingError::Empty { file, bytes: 0 });
        }
        let mut warnings = Warnings::default();
        let start = start_from_name(name)
            .map_err(|why| warnings.push(Warning::StartUnknown(why)))
            .ok();
        let (mut info, source) = match sniff::kind(&head) {
            Kind::NotSound(looks) => return Err(RecordingError::NotARecording { file, looks }),
            Kind::OtherSound(name) => {
                return Err(RecordingError::Unsupported {
                    file,
                    what: Unsupported::Container { name },
                });
            }
            Kind::Riff => {
                let layout = riff::layout(&mut *reader, length, &file, &mut warnings)?;
                let plain = Plain::new(reader, layout);
                (plain.info(), Source::Plain(plain))
            }
            Kind::Flac => {
                let (info, coded) = Coded::flac(reader, length, &file)?;
                (info, Source::Coded(Box::new(coded)))
            }
            Kind::Ogg => {
                let (info, coded) = Coded::ogg(reader, length, &file)?;
                (info, Source::Coded(Box::new(coded)))
            }
        };
        info.start = start;
        Ok(Recording {
            file,
            info,
            source,
            position: 0,
            full_scale: 0,
            warnings,
            pending: None,
            stopped: false,
        })
    }

    /// What the recording says about itself.
    pub fn info(&self) -> &Info {
        &self.info
    }

    /// Index of the frame after the last one given out.
    pub fn position(&self) -> u64 {
        self.position
    }

    /// What is odd about the file as far as it has been read; grows while reading. At most 256 are kept.
    pub fn warnings(&self) -> &[Warning] {
        self.warnings.list()
    }

    /// Warnings beyond those kept.
    pub fn warnings_left_out(&self) -> u64 {
        self.warnings.left_out()
    }

    /// Samples at full scale in all chunks so far (see [`Chunk::full_scale`]).
    pub fn full_scale(&self) -> u64 {
        self.full_scale
    }

    /// Whether a sample that was given out lies at full scale (see [`Chunk::full_scale`]).
    pub fn at_full_scale(&self, sample: f32) -> bool {
        let top = match &self.source {
            Source::Plain(plain) => plain.top(),
            Source::Coded(coded) => coded.top(),
        };
        sample >= top || sample <= -1.0
    }

    /// Reads the next frames into `out`, interleaved: frame by frame, channel by channel. Gives fewer frames than fit
    /// only before a gap, before an error and at the end, and none only at the end.
    ///
    /// Frames with a stored sample that is no number are missing frames: a gap, with a warning.
    ///
    /// # Errors
    /// [`RecordingError::Buffer`] if `out` is empty or no whole number of frames; otherwise what is wrong with the file
    /// at this place, once all frames before it have been given out. After any other error the recording is stopped,
    /// since the place of what follows is not known.
    pub fn read(&mut self, out: &mut [f32]) -> Result<Chunk, RecordingError> {
        self.ready()?;
        let channels = self.info.channels;
        if out.is_empty() || !out.len().is_multiple_of(usize::from(channels)) {
            return Err(RecordingError::Buffer {
                file: self.file.clone(),
                samples: out.len(),
                channels,
            });
        }
        let mut chunk = Chunk {
            first: self.position,
            frames: 0,
            after_gap: false,
            full_scale: 0,
        };
        let read = match &mut self.source {
            Source::Plain(plain) => plain.read(&mut chunk, out, &self.file, &mut self.warnings),
            Source::Coded(coded) => coded.read(&mut chunk, out, &self.file, &mut self.warnings),
        };
        match read {
            Err(error) if chunk.frames == 0 => {
                self.stopped = true;
                return Err(error);
            }
            Err(error) => self.pending = Some(error),
            Ok(()) => {}
        }
        self.position = chunk.first + chunk.frames as u64;
        self.full_scale += chunk.full_scale;
        Ok(chunk)
    }

    /// Tells the error that came in the way of the last read, or that there was one.
    fn ready(&mut self) -> Result<(), RecordingError> {
        if self.stopped {
            return Err(RecordingError::Stopped {
                file: self.file.clone(),
            });
        }
        match self.pending.take() {
            None => Ok(()),
            Some(error) => {
                self.stopped = true;
                Err(error)
            }
        }
    }

    /// Passes over `frames` frames without giving them out, or up to the end; gives the new position. Missing frames
    /// count. Plain files are not read for this, coded ones are decoded.
    ///
    /// # Errors
    /// As [`Recording::read`].
    pub fn skip(&mut self, frames: u64) -> Result<u64, RecordingError> {
        self.ready()?;
        let to = self.position.saturating_add(frames);
        self.position = match &mut self.source {
            Source::Plain(plain) => to.min(plain.frames()),
            Source::Coded(coded) => coded
                .skip_to(to, &self.file, &mut self.warnings)
                .inspect_err(|_| self.stopped = true)?,
        };
        Ok(self.position)
    }
}

impl std::fmt::Debug for Recording {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Recording")
            .field("file", &self.file)
            .field("info", &self.info)
            .field("position", &self.position)
            .finish_non_exhaustive()
    }
}

/// Length of the file and its first 512 bytes (or all).
fn measure(reader: &mut dyn ReadSeek) -> io::Result<(u64, Vec<u8>)> {
    let length = reader.seek(SeekFrom::End(0))?;
    reader.seek(SeekFrom::Start(0))?;
    let mut head = Vec::new();
    reader.take(512).read_to_end(&mut head)?;
    Ok((length, head))
}
