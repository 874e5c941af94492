//! Reading texts from memory.

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::io;
use std::path::{Path, PathBuf};

use plan::{CueReading, Drawing, Reading, render};

pub(crate) const SMALL: &str = include_str!("../good/small.toml");
pub(crate) const CUES: &str = include_str!("../good/cues.toml");

/// Files in memory.
pub(crate) struct Files(BTreeMap<PathBuf, Vec<u8>>);

impl Files {
    pub(crate) fn one(text: impl Into<Vec<u8>>) -> Files {
        Files::default().with("plan.toml", text)
    }

    pub(crate) fn default() -> Files {
        Files(BTreeMap::new())
    }

    pub(crate) fn with(mut self, path: &str, text: impl Into<Vec<u8>>) -> Files {
        self.0.insert(PathBuf::from(path), text.into());
        self
    }

    fn fetch(&self, path: &Path) -> io::Result<Vec<u8>> {
        self.0
            .get(path)
            .cloned()
            .ok_or_else(|| io::Error::new(io::ErrorKind::NotFound, "no such file"))
    }

    pub(crate) fn read(&self) -> Reading {
        plan::read(Path::new("plan.toml"), &|p| self.fetch(p))
    }

    pub(crate) fn read_cues(&self, plan: &Reading) -> CueReading {
        plan::read_cues(Path::new("cues.toml"), plan, &|p| self.fetch(p))
    }
}

/// The small plan with one text replaced by another.
pub(crate) fn changed(text: &str, from: &str, to: &str) -> String {
    assert_eq!(
        text.matches(from).count(),
        1,
        "`{from}` must stand exactly once"
    );
    text.replace(from, to)
}

/// What is said of a plan: as it is drawn, then code, place and part of each.
pub(crate) fn said(files: &Files) -> String {
    let reading = files.read();
    let mut text = render(&reading.mistakes, &reading.sources, Drawing::Plain);
    for m in &reading.mistakes {
        let (line, column) = reading.sources.line_column(m.site);
        let _ = writeln!(
            text,
            "{} {}:{line}:{column} in {}",
            m.code,
            if m.is_error() { "error" } else { "warning" },
            m.part
        );
    }
    // Line ends without trailing blanks, so that editors leave the snapshots alone.
    text.lines()
        .map(str::trim_end)
        .collect::<Vec<_>>()
        .join("\n")
}

/// Tests, each of the small plan with one text replaced by another.
macro_rules! bad {
    ($($name:ident: $from:expr => $to:expr;)*) => {$(
        fn $name() {
            let text = crate::support::changed(crate::support::SMALL, $from, $to);
            insta::assert_snapshot!(
                stringify!($name),
                crate::support::said(&crate::support::Files::one(text))
            );
        }
        mod $name {
            #[test]
            fn regress_what_is_said() {
                super::$name();
            }
        }
    )*};
}
pub(crate) use bad;
