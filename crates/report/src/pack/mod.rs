//! The deployment pack: the files that leave the computer, all of one plan and one check.
//!
//! A pack is a pure function of what was read and checked: no clock, no machine, so that the same plan and the same program give the same
//! bytes. [`manifest`] lists every file with its digest; [`verify`] holds a folder against it.

mod csv;
mod manifest;
mod permits;
mod recordings;
mod review;
mod settings;
mod software;
mod wiring;

use assess::{Check, Shelf};
use plan::{Line, Reading};
use serde_json::Value;

pub(crate) use csv::rows;
pub use manifest::{MANIFEST, ManifestError, PackState, Strange, manifest, verify};
pub use review::PdfError;
pub use settings::{PLAN_DIGEST, module_settings};
pub use software::NotWritten;

/// A file of a pack.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PackFile {
    /// Its path under the folder of the pack, with `/` between names.
    pub path: String,
    /// What is in it.
    pub bytes: Vec<u8>,
}

impl PackFile {
    fn text(path: impl Into<String>, text: String) -> PackFile {
        PackFile {
            path: path.into(),
            bytes: text.into_bytes(),
        }
    }
}

/// Of what a pack is.
#[derive(Clone, Copy)]
pub struct PackOf<'a> {
    /// The plan as it was read.
    pub reading: &'a Reading,
    /// Its line.
    pub line: &'a Line,
    /// Its verdicts.
    pub check: &'a Check,
    /// The evidence on which they rest.
    pub shelf: &'a Shelf,
    /// The same as a document.
    pub verdicts: &'a Value,
}

/// A pack.
#[derive(Clone, Debug, PartialEq)]
pub struct Pack {
    /// Its files without the manifest, sorted by path.
    pub files: Vec<PackFile>,
    /// Detectors and topics of which no source is written, and why.
    pub not_written: Vec<NotWritten>,
}

/// Why there is no pack.
#[derive(Debug, thiserror::Error)]
pub enum PackError {
    /// A document cannot be written down.
    #[error("a document of the pack cannot be written: {0}")]
    Document(#[from] serde_json::Error),
    /// Nor can the report on paper.
    #[error(transparent)]
    Pdf(#[from] PdfError),
}

/// Gathers a pack.
///
/// # Errors
/// [`PackError`]: one of its files cannot be written down.
pub fn pack(of: &PackOf<'_>) -> Result<Pack, PackError> {
    let report = review::report(of);
    let mut files = vec![
        PackFile::text("report.html", review::html(&report)),
        PackFile {
            path: "report.pdf".to_owned(),
            bytes: review::pdf(&report)?,
        },
        PackFile::text("verdicts.json", pretty(of.verdicts)?),
        PackFile::text("verdicts.txt", crate::check_text(of.check, false)),
        PackFile::text("wiring/spans.csv", wiring::spans(of)),
        PackFile::text("wiring/parts.csv", wiring::parts(of)),
        PackFile::text("wiring/permits.csv", permits::csv(of)),
        PackFile::text("wiring/spares.csv", wiring::spares(of)),
        PackFile::text(
            "recordings.json",
            pretty(&recordings::description(of.line))?,
        ),
    ];
    files.extend(settings::modules(of));
    files.extend(dockside(of.line));
    let sheets = review::deck_sheets(of).into_iter();
    files.extend(
        sheets
            .map(|(name, sheet)| PackFile::text(format!("deck/{name}.txt"), review::text(&sheet))),
    );
    let software = software::software(of.line);
    files.extend(software.files);
    files.sort_by(|a, b| a.path.cmp(&b.path));
    Ok(Pack {
        files,
        not_written: software.not_written,
    })
}

/// The sheet for the quay with its file of boxes, all that nobody has said yet assumed and told; why there is none.
fn dockside(line: &Line) -> Vec<PackFile> {
    const SHEET: &str = "dockside/sheet.txt";
    match assess::dockside::dockside(line, &assess::dockside::QuayAsk::default()) {
        Ok(sheet) => vec![
            PackFile::text(SHEET, crate::dockside_text(line, &sheet, None)),
            PackFile::text("dockside/readings.csv", crate::dockside_csv(&sheet)),
        ],
        Err(why) => vec![PackFile::text(SHEET, format!("No sheet: {why}.\n"))],
    }
}

/// A document with its line end.
fn pretty(document: &Value) -> Result<String, serde_json::Error> {
    serde_json::to_string_pretty(document).map(|text| text + "\n")
}
