//! Where checks find the figures that come from outside: files of `reference/`, and what `reference/fetch.py` fetches.
//!
//! For `[dev-dependencies]` only. What is missing or torn fails the check that asks for it.

use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::Command;

/// Path of `name` in the repository.
#[must_use]
pub fn in_repository(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("../..")
        .join(name)
}

/// Path of a reference file: `"signal/scipy-filters.json"`.
#[must_use]
pub fn path(name: &str) -> PathBuf {
    in_repository("reference").join(name)
}

/// A reference file as it is, header and all.
///
/// # Panics
/// When it cannot be read.
#[must_use]
pub fn text(name: &str) -> String {
    std::fs::read_to_string(path(name)).unwrap_or_else(|error| panic!("reference/{name}: {error}"))
}

/// A JSON reference file.
///
/// # Panics
/// When it cannot be read or is not JSON.
#[must_use]
pub fn json(name: &str) -> serde_json::Value {
    serde_json::from_str(&text(name)).unwrap_or_else(|error| panic!("reference/{name}: {error}"))
}

/// Fields of the rows of a CSV reference file, without its `#` lines and its line of headings.
///
/// # Panics
/// When it cannot be read, holds no rows, or a row has another number of fields than the headings.
#[must_use]
pub fn rows(name: &str) -> Vec<Vec<String>> {
    let text = text(name);
    let fields = |line: &str| line.split(',').map(str::to_owned).collect::<Vec<_>>();
    let mut lines = text.lines().filter(|line| !line.starts_with('#'));
    let headings = lines.next().map_or(0, |line| fields(line).len());
    let rows: Vec<_> = lines.map(fields).collect();
    assert!(!rows.is_empty(), "reference/{name} holds no rows");
    for row in &rows {
        assert_eq!(row.len(), headings, "reference/{name}: {row:?}");
    }
    rows
}

/// Rows of a CSV reference file whose fields are all numbers.
///
/// # Panics
/// As [`rows`], and when a field is no number or there are not `N` of them.
#[must_use]
pub fn numbers<const N: usize>(name: &str) -> Vec<[f64; N]> {
    rows(name)
        .into_iter()
        .map(|row| {
            let numbers: Vec<f64> = row.iter().map(|field| number(field)).collect();
            numbers
                .try_into()
                .unwrap_or_else(|_| panic!("reference/{name}: {row:?} has not {N} fields"))
        })
        .collect()
}

/// A number as reference files write it.
///
/// # Panics
/// When it is none.
#[must_use]
pub fn number(field: &str) -> f64 {
    field
        .parse()
        .unwrap_or_else(|_| panic!("{field} is no number"))
}

/// Path of a file that `reference/fetch.py` fetches, such as `"recordings/orca.ogg"`, or `None` after saying that the check is
/// skipped.
///
/// # Panics
/// When it is missing where fetched files are required: with `CI=true` or `SOUNDLINE_REQUIRE_RECORDINGS=1`.
#[must_use]
pub fn fetched(check: &str, name: &str) -> Option<PathBuf> {
    let path = in_repository("fetched").join(name);
    if path.is_file() {
        return Some(path);
    }
    let required = in_ci() || set("SOUNDLINE_REQUIRE_RECORDINGS", "1");
    assert!(!required, "{check} needs {name}: run reference/fetch.py");
    skipped(
        check,
        &format!("{name} is not fetched: python3 reference/fetch.py"),
    );
    None
}

/// Whether a program such as `"gcc"` can be run with `--version`; when not, says that the check is skipped.
///
/// # Panics
/// When it cannot be run in CI (`CI=true`).
#[must_use]
pub fn has_program(check: &str, name: &str) -> bool {
    has(check, name, "--version", "cc python")
}

/// Whether the programs that read PDF files (`pdftotext`, `pdfinfo` of Poppler) can be run; when not, says that the check is skipped.
///
/// # Panics
/// When they cannot be run in CI (`CI=true`).
#[must_use]
pub fn has_pdf_readers(check: &str) -> bool {
    let mut each = ["pdftotext", "pdfinfo"].into_iter();
    each.all(|name| has(check, name, "-v", "poppler"))
}

/// Whether a program ends well when it is asked for its version; `needs` is what `scripts/need.sh` calls it.
fn has(check: &str, name: &str, asked: &str, needs: &str) -> bool {
    let asked = Command::new(name).arg(asked).output();
    let has = asked.is_ok_and(|output| output.status.success());
    if !has {
        assert!(
            !in_ci(),
            "{check} needs {name}: run scripts/need.sh {needs}"
        );
        let why = format!("{name} is not here: bash scripts/need.sh {needs}");
        skipped(check, &why);
    }
    has
}

fn in_ci() -> bool {
    set("CI", "true")
}

fn set(variable: &str, value: &str) -> bool {
    std::env::var(variable).is_ok_and(|found| found == value)
}

fn skipped(check: &str, why: &str) {
    // Straight to the stream: the test harness would swallow what a passing test prints.
    let line = format!("\nSKIPPED: {check} ({why})\n");
    std::io::stdout()
        .write_all(line.as_bytes())
        .expect("the check has an output");
}
