//! Where pictures are to go, as it stands on the command line.

use std::path::{Path, PathBuf};

/// Ends of the names of picture files; a folder with such a name is nearly always a file that was meant.
const OF_FILES: [&str; 12] = [
    "png", "svg", "jpg", "jpeg", "gif", "bmp", "webp", "tif", "tiff", "pdf", "eps", "ps",
];
/// Those that are drawn.
const DRAWN: [&str; 2] = ["png", "svg"];

/// A picture asked for by the name of a file that is not made.
#[derive(Debug, PartialEq, Eq, thiserror::Error)]
pub(crate) enum NoPicture {
    /// Where a folder is meant.
    #[error("a folder is wanted, for pictures as .png and .svg; this is the name of a file")]
    Folder,
    /// Where a folder or a file is meant.
    #[error("a picture ends in .png or .svg")]
    File,
}

/// The folder that pictures go into.
pub(crate) fn folder(text: &str) -> Result<PathBuf, NoPicture> {
    match ending(Path::new(text)) {
        Some(_) => Err(NoPicture::Folder),
        None => Ok(PathBuf::from(text)),
    }
}

/// One file.
pub(crate) fn file(text: &str) -> Result<PathBuf, NoPicture> {
    match DRAWN.iter().any(|drawn| has_ending(text, drawn)) {
        true => Ok(PathBuf::from(text)),
        false => Err(NoPicture::File),
    }
}

/// The folder that pictures go into, or one file.
pub(crate) fn folder_or_file(text: &str) -> Result<PathBuf, NoPicture> {
    match ending(Path::new(text)) {
        Some(_) if !DRAWN.iter().any(|drawn| has_ending(text, drawn)) => Err(NoPicture::File),
        _ => Ok(PathBuf::from(text)),
    }
}

fn has_ending(text: &str, ending: &str) -> bool {
    Path::new(text).extension().is_some_and(|e| e == ending)
}

/// The end of the name of a picture file, in small letters; `None` of anything else, and of a folder that is there.
fn ending(path: &Path) -> Option<String> {
    let ending = path.extension()?.to_str()?.to_ascii_lowercase();
    (OF_FILES.contains(&ending.as_str()) && !path.is_dir()).then_some(ending)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn verif_names_of_files_are_no_folders() {
        for name in ["one.jpg", "there/one.PNG", "one.svg", "one.tiff"] {
            assert_eq!(folder(name), Err(NoPicture::Folder), "{name}");
        }
        for name in ["pictures", "pictures/of.sea", "2027.08", "./"] {
            assert_eq!(folder(name), Ok(PathBuf::from(name)));
            assert_eq!(folder_or_file(name), Ok(PathBuf::from(name)));
        }
        for name in ["one.png", "there/one.svg"] {
            assert_eq!(folder_or_file(name), Ok(PathBuf::from(name)));
            assert_eq!(file(name), Ok(PathBuf::from(name)));
        }
        for name in ["one", "one.pdf", "pictures/"] {
            assert_eq!(file(name), Err(NoPicture::File), "{name}");
        }
        for name in ["one.jpeg", "one.PNG"] {
            assert_eq!(folder_or_file(name), Err(NoPicture::File), "{name}");
        }
    }

    #[test]
    fn verif_a_folder_that_is_there_is_one_whatever_its_name() {
        let within = tempfile::tempdir().unwrap();
        let named = within.path().join("old.jpg");
        std::fs::create_dir(&named).unwrap();
        assert_eq!(folder(named.to_str().unwrap()), Ok(named));
    }
}
