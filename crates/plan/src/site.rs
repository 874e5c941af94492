//! Where a value was written: file and byte range. Every value of a plan carries one.

use std::ops::Range;
use std::path::{Path, PathBuf};

/// Index of a file in [`Sources`].
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, Hash)]
pub struct FileId(pub u32);

/// A byte range of one source file.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, Hash)]
pub struct Site {
    /// The file.
    pub file: FileId,
    /// First byte.
    pub start: u32,
    /// One past the last byte.
    pub end: u32,
}

impl Site {
    pub(crate) fn new(file: FileId, range: Range<usize>) -> Site {
        let clip = |x: usize| u32::try_from(x).expect("a source file is smaller than 4 GiB");
        Site {
            file,
            start: clip(range.start),
            end: clip(range.end),
        }
    }

    /// The byte range within the file's text.
    #[must_use]
    pub fn range(&self) -> Range<usize> {
        self.start as usize..self.end as usize
    }
}

/// One text that was read.
#[derive(Clone, Debug)]
pub struct Source {
    /// Path as it is shown to the user.
    pub path: PathBuf,
    /// The whole text.
    pub text: String,
}

/// All the texts that a plan was read from, in reading order.
#[derive(Clone, Debug, Default)]
pub struct Sources {
    files: Vec<Source>,
}

impl Sources {
    pub(crate) fn add(&mut self, path: &Path, text: String) -> FileId {
        self.files.push(Source {
            path: path.to_path_buf(),
            text,
        });
        FileId(u32::try_from(self.files.len() - 1).expect("few files"))
    }

    /// The file with this id.
    #[must_use]
    pub fn get(&self, file: FileId) -> &Source {
        &self.files[file.0 as usize]
    }

    /// The files in reading order; the plan itself is the first.
    pub fn iter(&self) -> impl Iterator<Item = (FileId, &Source)> {
        (0u32..).map(FileId).zip(&self.files)
    }

    /// A place in words: `line 34` in the first file, `line 3 of parts/pods.toml` in another, named from the folder of the first.
    #[must_use]
    pub fn place(&self, site: Site) -> String {
        let (line, _) = self.line_column(site);
        let path = &self.get(site.file).path;
        if site.file == FileId(0) {
            return format!("line {line}");
        }
        let folder = self.get(FileId(0)).path.parent();
        let path = folder
            .and_then(|f| path.strip_prefix(f).ok())
            .unwrap_or(path);
        format!("line {line} of {}", path.display())
    }

    /// Line and column (both from 1, the column in characters) of a site's first byte.
    #[must_use]
    pub fn line_column(&self, site: Site) -> (usize, usize) {
        let before = &self.get(site.file).text[..site.start as usize];
        let line = before.matches('\n').count() + 1;
        let column = before.chars().rev().take_while(|&c| c != '\n').count() + 1;
        (line, column)
    }
}
