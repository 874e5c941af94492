//! Writing an output file: whole or not at all, never over another file unasked, and never over what the command reads. What
//! is no file (a pipe, a terminal, a device) is written to as it stands.

use std::ffi::OsString;
use std::fs::{self, File, OpenOptions};
use std::io::{self, Write};
use std::path::{Path, PathBuf};

use thiserror::Error;

/// The files that a command reads: none of them may become its output, whatever it is asked.
#[derive(Debug, Clone, Default)]
pub struct Inputs {
    files: Vec<Input>,
}

/// A file that is read, under every name.
#[derive(Debug, Clone)]
struct Input {
    named: PathBuf,
    identity: Identity,
}

/// What tells whether two names are of one file.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Identity {
    /// Without links and `..`.
    path: PathBuf,
    /// Where the system numbers its files.
    number: Option<FileNumber>,
}

/// Device and number on it.
type FileNumber = (u64, u64);

impl Inputs {
    /// Nothing is read.
    #[must_use]
    pub fn none() -> Self {
        Self::default()
    }

    /// These files are read. One that is not there is no file that could be lost.
    pub fn of<P: AsRef<Path>>(paths: impl IntoIterator<Item = P>) -> Self {
        let mut inputs = Self::none();
        for path in paths {
            inputs.add(path.as_ref());
        }
        inputs
    }

    /// These are read too.
    pub fn extend(&mut self, others: Inputs) {
        self.files.extend(others.files);
    }

    /// This file is read too.
    pub fn add(&mut self, path: &Path) {
        self.files.extend(Identity::of(path).map(|identity| Input {
            named: path.to_path_buf(),
            identity,
        }));
    }

    /// Refuses an output that is one of these files, by this name, by another, or by a link of either kind.
    ///
    /// # Errors
    /// [`OutputError::Input`].
    pub fn refuse(&self, path: &Path) -> Result<(), OutputError> {
        let Some(output) = Identity::of(path) else {
            return Ok(());
        };
        match self.files.iter().find(|i| i.identity.is_of(&output)) {
            Some(input) => Err(OutputError::Input {
                path: path.to_path_buf(),
                input: input.named.clone(),
            }),
            None => Ok(()),
        }
    }
}

impl Identity {
    /// `None` when there is no such file, or a link that leads nowhere.
    fn of(path: &Path) -> Option<Self> {
        let number = fs::metadata(path).ok().and_then(|found| number(&found));
        Some(Self {
            path: path.canonicalize().ok()?,
            number,
        })
    }

    fn is_of(&self, other: &Self) -> bool {
        self.path == other.path || (self.number.is_some() && self.number == other.number)
    }
}

#[cfg(unix)]
fn number(found: &fs::Metadata) -> Option<FileNumber> {
    use std::os::unix::fs::MetadataExt;
    Some((found.dev(), found.ino()))
}

#[cfg(not(unix))]
fn number(_: &fs::Metadata) -> Option<FileNumber> {
    None
}

/// What to do when the file is already there.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Overwrite {
    /// Leave it and give an error.
    Refuse,
    /// Replace it.
    Force,
}

/// Why an output was not written. The former file, if any, is as it was.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum OutputError {
    /// The file is there and may not be replaced.
    #[error("write {}: it exists and is left as it is", path.display())]
    Exists {
        /// The file.
        path: PathBuf,
    },
    /// The file is one of those that the command reads, under this name or another.
    #[error("write {}: the command reads it{}", path.display(), also_named(path, input))]
    Input {
        /// The output as it was named.
        path: PathBuf,
        /// The input as it was named.
        input: PathBuf,
    },
    /// The path names a folder.
    #[error("write {}: it is a folder", path.display())]
    Folder {
        /// The folder.
        path: PathBuf,
    },
    /// The path does not end in a file name.
    #[error("write {}: the path has no file name", path.display())]
    NoName {
        /// The path.
        path: PathBuf,
    },
    /// The system refused.
    #[error("{action} {}: {source}", path.display())]
    Io {
        /// What was being done.
        action: &'static str,
        /// The path it was done to.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
    },
}

fn also_named(path: &Path, input: &Path) -> String {
    if path == input {
        String::new()
    } else {
        format!(", named {}", input.display())
    }
}

/// Writes `bytes` to `path`: see [`write_atomically_with`].
///
/// # Errors
/// As [`write_atomically_with`].
pub fn write_atomically(
    path: &Path,
    bytes: &[u8],
    overwrite: Overwrite,
    inputs: &Inputs,
) -> Result<(), OutputError> {
    write_atomically_with(path, overwrite, inputs, |file| file.write_all(bytes))
}

/// Refuses an output before the work that would be lost with it: an input of the command always, and an existing file
/// with [`Overwrite::Refuse`]. [`write_atomically_with`] looks again.
///
/// # Errors
/// [`OutputError::Input`], [`OutputError::Exists`], [`OutputError::Folder`].
pub fn refuse_output(
    path: &Path,
    overwrite: Overwrite,
    inputs: &Inputs,
) -> Result<(), OutputError> {
    inputs.refuse(path)?;
    refuse_what_is_there(path, overwrite)
}

/// Lets `write` fill a temporary file beside `path`, hands it to the disk, and gives it its name
/// in one step. When anything fails the temporary file is removed. A symbolic link at `path`
/// counts as an existing file; with [`Overwrite::Force`] the link itself is replaced.
///
/// Where `path` leads to a pipe or a device, or to what the process's own standard output or error leads to, `write` goes
/// straight into it, nothing is replaced, and what was written before an error has gone. A pipe is waited for until somebody reads
/// it. Only a block device, which holds what would be lost, needs [`Overwrite::Force`].
///
/// With [`Overwrite::Refuse`] a file that appears while writing is left too, except on a file
/// system without hard links, where a file made between the last look and the renaming is lost.
///
/// What is among the `inputs` is refused with either.
///
/// # Errors
/// [`OutputError::Input`], [`OutputError::Exists`], [`OutputError::Folder`], [`OutputError::NoName`], and
/// [`OutputError::Io`] with what was being done, also for an error of `write` itself.
pub fn write_atomically_with(
    path: &Path,
    overwrite: Overwrite,
    inputs: &Inputs,
    write: impl FnOnce(&mut dyn Write) -> io::Result<()>,
) -> Result<(), OutputError> {
    PendingOutput::begin(path, overwrite, inputs)?.finish(write)
}

/// An output that can be written, as far as that can be known beforehand: its temporary file is there, or what is no file is
/// open. Without [`finish`](Self::finish) the temporary file is removed again.
#[derive(Debug)]
pub struct PendingOutput {
    path: PathBuf,
    overwrite: Overwrite,
    into: Target,
}

/// What an output is written into.
#[derive(Debug)]
enum Target {
    /// A file that gets the output's name once it is whole.
    Part { path: PathBuf, file: File },
    /// What stands at the output's name and is no file.
    AsItStands(File),
}

impl PendingOutput {
    /// Refuses as [`refuse_output`] does, then makes the temporary file beside `path`, or opens what is no file.
    ///
    /// # Errors
    /// As [`write_atomically_with`], but for those of `write`.
    pub fn begin(
        path: &Path,
        overwrite: Overwrite,
        inputs: &Inputs,
    ) -> Result<PendingOutput, OutputError> {
        refuse_output(path, overwrite, inputs)?;
        let into = match open_as_it_stands(path)? {
            Some(open) => Target::AsItStands(open),
            None => create_part(path)?,
        };
        Ok(PendingOutput {
            path: path.to_path_buf(),
            overwrite,
            into,
        })
    }

    /// Where it will stand.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// The temporary file, empty until it is finished; `None` where what stands at the output's name is written to.
    #[must_use]
    pub fn part(&self) -> Option<&File> {
        match &self.into {
            Target::Part { file, .. } => Some(file),
            Target::AsItStands(_) => None,
        }
    }

    /// Lets `write` fill it and gives it its name, as [`write_atomically_with`] does.
    ///
    /// # Errors
    /// As [`write_atomically_with`].
    pub fn finish(
        self,
        write: impl FnOnce(&mut dyn Write) -> io::Result<()>,
    ) -> Result<(), OutputError> {
        self.finish_if(write, || true).map(|_| ())
    }

    /// The same, but when all is on the disk `still` is asked whether the output is to have its name. Gives what it said; after a no
    /// what stands there is as it was. What is no file was written to by then.
    ///
    /// # Errors
    /// As [`write_atomically_with`].
    pub fn finish_if(
        self,
        write: impl FnOnce(&mut dyn Write) -> io::Result<()>,
        still: impl FnOnce() -> bool,
    ) -> Result<bool, OutputError> {
        match &self.into {
            Target::AsItStands(open) => fill(open, &self.path, write).map(|()| true),
            Target::Part { path, file } => {
                fill(file, &self.path, write)?;
                file.sync_all()
                    .map_err(io_error("hand to the disk", &self.path))?;
                if !still() {
                    return Ok(false);
                }
                give_name(path, &self.path, self.overwrite).map(|()| true)
            }
        }
    }
}

impl Drop for PendingOutput {
    fn drop(&mut self) {
        if let Target::Part { path, .. } = &self.into {
            // Once it has its name the part is no more. The first error is the one to tell; a part that cannot be removed bears a plain name.
            drop(fs::remove_file(path));
        }
    }
}

fn io_error<'a>(
    action: &'static str,
    path: &'a Path,
) -> impl FnOnce(io::Error) -> OutputError + 'a {
    move |source| OutputError::Io {
        action,
        path: path.to_path_buf(),
        source,
    }
}

fn refuse_what_is_there(path: &Path, overwrite: Overwrite) -> Result<(), OutputError> {
    match fs::symlink_metadata(path) {
        Ok(found) if found.is_dir() => Err(OutputError::Folder {
            path: path.to_path_buf(),
        }),
        Ok(_) if overwrite == Overwrite::Force => Ok(()),
        Ok(_) if stands(path).is_some_and(|stands| stands != Stands::Device) => Ok(()),
        Ok(_) => Err(OutputError::Exists {
            path: path.to_path_buf(),
        }),
        Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(()),
        Err(error) => Err(io_error("look at", path)(error)),
    }
}

/// What a path may lead to that is no file to be replaced.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Stands {
    /// What the process writes its results to, be it a file.
    StandardOutput,
    /// What the process writes its messages to, be it a file.
    StandardError,
    /// A pipe, a socket or a device that hands on what it is given.
    Stream,
    /// A device that keeps what it is given.
    Device,
}

#[cfg(unix)]
fn stands(path: &Path) -> Option<Stands> {
    use std::os::unix::fs::FileTypeExt;
    let found = fs::metadata(path).ok()?;
    let is = |own: io::Result<File>| {
        own.and_then(|own| own.metadata())
            .is_ok_and(|own| number(&own) == number(&found))
    };
    let kind = found.file_type();
    match kind {
        _ if kind.is_dir() => None,
        _ if is(own(&io::stdout())) => Some(Stands::StandardOutput),
        _ if is(own(&io::stderr())) => Some(Stands::StandardError),
        _ if kind.is_file() => None,
        _ if kind.is_block_device() => Some(Stands::Device),
        _ => Some(Stands::Stream),
    }
}

#[cfg(not(unix))]
fn stands(_: &Path) -> Option<Stands> {
    None
}

/// A stream of the process once more: what is written goes on where the stream is.
#[cfg(unix)]
fn own(stream: &impl std::os::fd::AsFd) -> io::Result<File> {
    stream.as_fd().try_clone_to_owned().map(File::from)
}

/// Opens what is no file to be replaced; `None` where a file is or may become.
#[cfg(unix)]
fn open_as_it_stands(path: &Path) -> Result<Option<File>, OutputError> {
    let open = match stands(path) {
        None => return Ok(None),
        Some(Stands::StandardOutput) => own(&io::stdout()),
        Some(Stands::StandardError) => own(&io::stderr()),
        Some(Stands::Stream | Stands::Device) => OpenOptions::new().write(true).open(path),
    };
    open.map(Some).map_err(io_error("open", path))
}

#[cfg(not(unix))]
fn open_as_it_stands(_: &Path) -> Result<Option<File>, OutputError> {
    Ok(None)
}

/// A new file beside `path`, with a name that no other file has.
fn create_part(path: &Path) -> Result<Target, OutputError> {
    let name = path.file_name().ok_or_else(|| OutputError::NoName {
        path: path.to_path_buf(),
    })?;
    let mut number = 0_u32;
    loop {
        let mut part_name = OsString::from(".");
        part_name.push(name);
        part_name.push(format!(".{}-{number}.part", std::process::id()));
        let part_path = path.with_file_name(part_name);
        match OpenOptions::new()
            .write(true)
            .create_new(true)
            .open(&part_path)
        {
            Ok(file) => {
                return Ok(Target::Part {
                    path: part_path,
                    file,
                });
            }
            Err(error) if error.kind() == io::ErrorKind::AlreadyExists && number < 1000 => {
                number += 1;
            }
            Err(error) => return Err(io_error("create a file beside", path)(error)),
        }
    }
}

fn fill(
    into: &File,
    path: &Path,
    write: impl FnOnce(&mut dyn Write) -> io::Result<()>,
) -> Result<(), OutputError> {
    let mut buffered = io::BufWriter::new(into);
    write(&mut buffered)
        .and_then(|()| buffered.flush())
        .map_err(io_error("write", path))
}

fn give_name(part_path: &Path, path: &Path, overwrite: Overwrite) -> Result<(), OutputError> {
    if overwrite == Overwrite::Refuse {
        match fs::hard_link(part_path, path) {
            Ok(()) => {
                return fs::remove_file(part_path).map_err(io_error("remove", part_path));
            }
            Err(error) if error.kind() == io::ErrorKind::AlreadyExists => {
                return Err(OutputError::Exists {
                    path: path.to_path_buf(),
                });
            }
            Err(_) => refuse_what_is_there(path, overwrite)?,
        }
    }
    fs::rename(part_path, path).map_err(io_error("name", path))
}
