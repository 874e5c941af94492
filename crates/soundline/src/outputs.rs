//! What a command writes: over what is there only where it may, and never over what it reads.

use std::io::{self, Write};
use std::path::{Path, PathBuf};

use report::{
    Inputs, OutputError, Overwrite, PendingOutput, PictureSize, refuse_output, write_atomically,
    write_atomically_with,
};

use crate::failure::Failure;

/// What a command may write.
pub(crate) struct Outputs {
    overwrite: Overwrite,
    inputs: Inputs,
}

impl Outputs {
    /// With `force` what is there is replaced; what is among the `inputs` never is.
    pub(crate) fn new(force: bool, inputs: Inputs) -> Outputs {
        let overwrite = if force {
            Overwrite::Force
        } else {
            Overwrite::Refuse
        };
        Outputs { overwrite, inputs }
    }

    /// Refuses what may not be written, before the work that would be lost with it.
    ///
    /// # Errors
    /// As [`refuse_output`].
    pub(crate) fn refuse<'p>(
        &self,
        paths: impl IntoIterator<Item = &'p Path>,
    ) -> Result<(), OutputError> {
        paths
            .into_iter()
            .try_for_each(|path| refuse_output(path, self.overwrite, &self.inputs))
    }

    /// Begins a file that is to be written at the end of long work, so that what cannot be written is refused before it.
    ///
    /// # Errors
    /// As [`PendingOutput::begin`].
    pub(crate) fn begin(&self, path: &Path) -> Result<PendingOutput, OutputError> {
        PendingOutput::begin(path, self.overwrite, &self.inputs)
    }

    /// Writes a file whole or not at all.
    ///
    /// # Errors
    /// As [`write_atomically_with`].
    pub(crate) fn write(&self, path: &Path, bytes: &[u8]) -> Result<(), OutputError> {
        write_atomically(path, bytes, self.overwrite, &self.inputs)
    }

    /// The same, of what `fill` writes.
    ///
    /// # Errors
    /// As [`write_atomically_with`].
    pub(crate) fn write_with(
        &self,
        path: &Path,
        fill: impl FnOnce(&mut dyn Write) -> io::Result<()>,
    ) -> Result<(), OutputError> {
        write_atomically_with(path, self.overwrite, &self.inputs, fill)
    }

    /// Leaves evidence in its folder beside the plan. Its name says what is in it: what is replaced is the same.
    ///
    /// # Errors
    /// As [`write_atomically_with`], and for a folder that cannot be made.
    pub(crate) fn leave(
        &self,
        plan: &Path,
        path: &Path,
        evidence: &str,
    ) -> Result<(), OutputError> {
        beside::leave(plan, path, evidence, &self.inputs)
    }
}

/// Pictures in a folder, each as .png and as .svg.
#[derive(Default)]
pub(crate) struct Pictures {
    folder: PathBuf,
    files: Vec<[PathBuf; 2]>,
}

impl Pictures {
    /// Pictures of these names in the folder that was asked for; none without one.
    ///
    /// # Errors
    /// As [`Outputs::refuse`].
    pub(crate) fn named(
        names: impl IntoIterator<Item = String>,
        folder: Option<&Path>,
        outputs: &Outputs,
    ) -> Result<Pictures, OutputError> {
        let Some(folder) = folder else {
            return Ok(Pictures::default());
        };
        let file = |name: &str, ending: &str| folder.join(format!("{name}.{ending}"));
        let pictures = Pictures {
            folder: folder.to_path_buf(),
            files: names
                .into_iter()
                .map(|name| ["png", "svg"].map(|ending| file(&name, ending)))
                .collect(),
        };
        outputs.refuse(pictures.paths())?;
        Ok(pictures)
    }

    /// Draws each by its number, then writes them all; makes the folder for them.
    ///
    /// # Errors
    /// Those of `draw` and as [`Outputs::write`].
    pub(crate) fn draw<E>(
        &self,
        outputs: &Outputs,
        draw: impl FnMut(usize, PictureSize) -> Result<(Vec<u8>, String), E>,
    ) -> Result<(), Failure>
    where
        Failure: From<E>,
    {
        if self.files.is_empty() {
            return Ok(());
        }
        let mut draw = draw;
        let drawn = (0..self.files.len())
            .map(|number| draw(number, PictureSize::PAGE))
            .collect::<Result<Vec<_>, E>>()?;
        make_folder(&self.folder)?;
        for ([png, svg], (pixels, text)) in self.files.iter().zip(&drawn) {
            outputs.write(png, pixels)?;
            outputs.write(svg, text.as_bytes())?;
        }
        Ok(())
    }

    /// Their files.
    pub(crate) fn paths(&self) -> impl Iterator<Item = &Path> {
        self.files.iter().flatten().map(PathBuf::as_path)
    }

    /// Tells where they are, after an empty line.
    pub(crate) fn tell(&self, to: &mut dyn Write) -> io::Result<()> {
        tell(to, self.paths().map(|path| ("picture", path)))
    }
}

/// Tells where files are, each after what it is, and all after an empty line.
pub(crate) fn tell<'p>(
    to: &mut dyn Write,
    files: impl Iterator<Item = (&'static str, &'p Path)>,
) -> io::Result<()> {
    for (i, (what, path)) in files.enumerate() {
        let gap = if i == 0 { "\n" } else { "" };
        writeln!(to, "{gap}{what}: {}", path.display())?;
    }
    Ok(())
}

/// Paths as documents hold them.
pub(crate) fn shown<'p>(paths: impl Iterator<Item = &'p Path>) -> Vec<String> {
    paths.map(|path| path.display().to_string()).collect()
}

/// Makes a folder and those above it.
///
/// # Errors
/// [`OutputError::Io`].
pub(crate) fn make_folder(folder: &Path) -> Result<(), OutputError> {
    std::fs::create_dir_all(folder).map_err(|source| OutputError::Io {
        action: "create the folder",
        path: folder.to_path_buf(),
        source,
    })
}
