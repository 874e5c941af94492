//! Reading the plan that a command was given, and showing what is wrong with it.

use std::io::{self, Write};
use std::path::Path;

use plan::{Mistake, Reading};

use crate::out::Out;

/// Reads the plan at `path` from the disk.
pub(crate) fn read(path: &Path) -> Reading {
    plan::read(path, &plan::from_folder_of(path))
}

/// Shows those mistakes and warnings that `wanted` picks on standard error; gives their number.
pub(crate) fn show(
    reading: &Reading,
    wanted: impl Fn(&Mistake) -> bool,
    out: &mut Out,
) -> io::Result<usize> {
    let shown: Vec<Mistake> = reading
        .mistakes
        .iter()
        .filter(|mistake| wanted(mistake))
        .cloned()
        .collect();
    let drawn = plan::render(&shown, &reading.sources, out.drawing);
    out.stderr.write_all(drawn.as_bytes())?;
    Ok(shown.len())
}
