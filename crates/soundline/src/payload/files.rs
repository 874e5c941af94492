//! The files of generated code.

use std::path::{Path, PathBuf};

use network::{c99, identifier, python};
use report::PackedTopic;

use super::PayloadCommandError;
use crate::failure::Failure;
use crate::outputs::{Outputs, make_folder};

/// Writes the code of these topics; gives the paths. Nothing is written when one of the files may not be.
pub(super) fn write(
    folder: &Path,
    topics: &[PackedTopic],
    outputs: &Outputs,
) -> Result<Vec<PathBuf>, Failure> {
    let mut files: Vec<(PathBuf, String)> = Vec::new();
    for (number, topic) in topics.iter().enumerate() {
        let name = identifier(&topic.topic, "topic");
        let same = |other: &&PackedTopic| identifier(&other.topic, "topic") == name;
        if let Some(first) = topics[..number].iter().find(same) {
            return Err(PayloadCommandError::SameFile {
                first: first.topic.clone(),
                second: topic.topic.clone(),
                name,
            }
            .into());
        }
        let c = c99(&topic.layout, &topic.topic);
        files.push((folder.join(c.header_name), c.header));
        files.push((folder.join(c.source_name), c.source));
        let module = python(&topic.layout, &topic.topic);
        files.push((folder.join(format!("{name}.py")), module));
    }
    outputs.refuse(files.iter().map(|(path, _)| path.as_path()))?;
    make_folder(folder)?;
    for (path, text) in &files {
        outputs.write(path, text.as_bytes())?;
    }
    Ok(files.into_iter().map(|(path, _)| path).collect())
}
