//! Fetching the files of a plan: how large each may be, and what is told of one that gives no text.

use std::io;
use std::path::Path;

use crate::mistake::{Code, Mistake, Mistakes};
use crate::site::{FileId, Site, Sources};

/// Largest file that is read, bytes.
pub const LARGEST_FILE: usize = 2 * 1024 * 1024;
/// Largest routine that is fetched, bytes; a routine itself says how long it may be.
pub(crate) const LARGEST_ROUTINE: usize = 1024 * 1024;
/// Largest weather file that is read, bytes: some hundred years of hours.
pub const LARGEST_WEATHER: usize = 64 * 1024 * 1024;
/// Largest recording that a stage is held against, bytes.
pub const LARGEST_TEMPLATE: usize = 16 * 1024 * 1024;
/// Largest learned model of a stage, bytes.
pub const LARGEST_MODEL: usize = 32 * 1024 * 1024;

/// How files are fetched; lets tests and other hosts stand in for the disk.
pub type Fetch<'a> = dyn Fn(&Path) -> io::Result<Vec<u8>> + 'a;

/// Fetches from the disk, at most a little more than [`LARGEST_WEATHER`] bytes.
///
/// # Errors
/// Those of the file system.
pub fn from_disk(path: &Path) -> io::Result<Vec<u8>> {
    use std::io::Read as _;
    let mut bytes = Vec::new();
    let most = LARGEST_WEATHER as u64 + 1;
    std::fs::File::open(path)?
        .take(most)
        .read_to_end(&mut bytes)?;
    Ok(bytes)
}

/// Fetches a plan and what it includes from the disk. The plan itself may be a link to anywhere; what it includes may be a
/// link too, but not one that leads out of the plan's folder.
pub fn from_folder_of(plan: &Path) -> impl Fn(&Path) -> io::Result<Vec<u8>> + '_ {
    move |path| {
        if path != plan {
            lies_beside(plan, path)?;
        }
        from_disk(path)
    }
}

/// Whether a file may be read for what a plan names: in the plan's folder with links followed, and a file that has an end.
///
/// # Errors
/// What is wrong with it, in words.
pub fn lies_beside(plan: &Path, path: &Path) -> io::Result<()> {
    let folder = match plan.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    };
    let refused = |why| Err(io::Error::new(io::ErrorKind::PermissionDenied, why));
    if !path.canonicalize()?.starts_with(folder.canonicalize()?) {
        return refused(
            "it is a link that leads out of the plan's folder; copy the file into the folder",
        );
    }
    // A pipe would be waited for, and a device read for ever.
    match path.metadata()?.is_file() {
        true => Ok(()),
        false => refused("it is no file"),
    }
}

/// Fetches a text, and tells whether it could be had. What is wrong with the file as a whole is told, and an empty text
/// stands in for it.
pub(crate) fn load(
    path: &Path,
    sources: &mut Sources,
    mistakes: &mut Mistakes,
    fetch: &Fetch<'_>,
    asked: Option<Site>,
) -> (FileId, bool) {
    load_up_to(LARGEST_FILE, path, sources, mistakes, fetch, asked)
}

/// As [`load`], with the largest size that is read.
pub(crate) fn load_up_to(
    largest: usize,
    path: &Path,
    sources: &mut Sources,
    mistakes: &mut Mistakes,
    fetch: &Fetch<'_>,
    asked: Option<Site>,
) -> (FileId, bool) {
    const NAME: &str = "check the name and that it may be read";
    let path_shown = path.display();
    let read = match fetch(path) {
        Err(error) => Err((
            Code::Unreadable,
            format!("cannot read {path_shown}: {error}"),
            NAME,
        )),
        Ok(bytes) if bytes.len() > largest => Err((
            Code::TooLarge,
            format!("{path_shown} is larger than {} MiB", largest / 1024 / 1024),
            if largest == LARGEST_FILE {
                "a plan is a text of some pages; is this the right file?"
            } else {
                "a year of hourly weather is some hundred thousand bytes; is this the right file?"
            },
        )),
        Ok(bytes) if bytes.is_empty() => Err((
            Code::Syntax,
            "the file is empty".to_owned(),
            "`soundline new` writes a first plan and a first cue sheet",
        )),
        // Before all else: with a character beyond ASCII it is no UTF-8 either.
        Ok(bytes) if is_utf_16(&bytes) => Err((
            Code::Syntax,
            "this is UTF-16 text, not UTF-8".to_owned(),
            "save it as UTF-8 (editors call this the encoding)",
        )),
        Ok(bytes) => match String::from_utf8(bytes) {
            Ok(text) => Ok(text),
            Err(error) => Err((
                Code::Unreadable,
                format!(
                    "{path_shown} is not UTF-8 text (byte {})",
                    error.utf8_error().valid_up_to()
                ),
                NAME,
            )),
        },
    };
    let (text, wrong) = match read {
        Ok(text) => (text, None),
        Err(wrong) => (String::new(), Some(wrong)),
    };
    let file = sources.add(path, text);
    let readable = wrong.is_none();
    if let Some((code, message, help)) = wrong {
        let site = asked.unwrap_or(Site::new(file, 0..0));
        mistakes.push(
            Mistake::error(code, site, message)
                .label("here")
                .part(if asked.is_some() { "include" } else { "file" })
                .help(help),
        );
    }
    (file, readable)
}

/// Whether a text is one of two bytes a character, most of them from ASCII, so that every other byte is zero.
fn is_utf_16(bytes: &[u8]) -> bool {
    let zeros = bytes.iter().filter(|b| **b == 0).count();
    bytes.len() > 2 && zeros > bytes.len() / 3
}
