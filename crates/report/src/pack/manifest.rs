//! The list of a pack's files with their digests, and a folder held against it.

use std::collections::BTreeMap;

use serde_json::{Value, json};
use sha2::{Digest, Sha256};

use super::{NotWritten, Pack, PackFile};

/// Name of the manifest in the folder of a pack.
pub const MANIFEST: &str = "pack.json";
const FORMAT: &str = "pack/1";

/// Why a manifest cannot be read.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum ManifestError {
    /// It is no manifest.
    #[error("`{MANIFEST}` is no manifest of a pack: {0}")]
    Unreadable(String),
    /// It has another format.
    #[error("`{MANIFEST}` has the format {0:?}, and this program reads {FORMAT:?}")]
    OtherFormat(String),
}

/// Something of a pack that is not as it was written.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Strange {
    /// Listed and not there.
    Missing(String),
    /// There with other bytes.
    Changed(String),
    /// There and not listed.
    Added(String),
}

impl Strange {
    /// Which file.
    #[must_use]
    pub fn path(&self) -> &str {
        let (Strange::Missing(path) | Strange::Changed(path) | Strange::Added(path)) = self;
        path
    }

    /// In a word: `missing`, `changed`, `added`.
    #[must_use]
    pub fn word(&self) -> &'static str {
        match self {
            Strange::Missing(_) => "missing",
            Strange::Changed(_) => "changed",
            Strange::Added(_) => "added",
        }
    }
}

/// What is found of a pack.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PackState {
    /// Name of the deployment.
    pub name: Option<String>,
    /// Digest of the plan of which it is.
    pub plan_digest: String,
    /// The program that wrote it.
    pub program: String,
    /// Files that are listed.
    pub listed: usize,
    /// What is not as it was written, sorted by path.
    pub strange: Vec<Strange>,
}

/// The manifest of a pack: `pack/1`.
///
/// # Errors
/// [`serde_json::Error`]: it cannot be written down.
pub fn manifest(pack: &Pack, verdicts: &Value) -> Result<PackFile, serde_json::Error> {
    let files = pack.files.iter().map(|file| {
        json!({
            "path": file.path,
            "bytes": file.bytes.len(),
            "sha256": digest(&file.bytes),
        })
    });
    let not_written = pack
        .not_written
        .iter()
        .map(|NotWritten { path, why }| json!({ "of": path, "why": why }));
    let whole = json!({
        "format": FORMAT,
        "program": verdicts["program"],
        "name": verdicts["name"],
        "plan_digest": verdicts["plan_digest"],
        "source_digest": verdicts["source_digest"],
        "status": verdicts["status"],
        "files": files.collect::<Vec<_>>(),
        "software_not_written": not_written.collect::<Vec<_>>(),
    });
    Ok(PackFile::text(MANIFEST, super::pretty(&whole)?))
}

/// Holds the files of a folder, each by its path under it, against its manifest.
///
/// # Errors
/// [`ManifestError`]: the manifest cannot be read.
pub fn verify(manifest: &[u8], files: &[PackFile]) -> Result<PackState, ManifestError> {
    let whole: Value = serde_json::from_slice(manifest)
        .map_err(|error| ManifestError::Unreadable(error.to_string()))?;
    let text = |key: &str| {
        let value = whole.get(key).and_then(Value::as_str);
        value
            .map(str::to_owned)
            .ok_or_else(|| ManifestError::Unreadable(format!("it has no `{key}`")))
    };
    let format = text("format")?;
    if format != FORMAT {
        return Err(ManifestError::OtherFormat(format));
    }
    let listed = whole.get("files").and_then(Value::as_array);
    let listed = listed.ok_or_else(|| ManifestError::Unreadable("it lists no files".to_owned()))?;
    let mut wanted = BTreeMap::new();
    for file in listed {
        let of = |key: &str| file.get(key).and_then(Value::as_str);
        let (Some(path), Some(sha256)) = (of("path"), of("sha256")) else {
            return Err(ManifestError::Unreadable(
                "a file is listed without its path or its digest".to_owned(),
            ));
        };
        if wanted.insert(path, sha256).is_some() {
            return Err(ManifestError::Unreadable(format!("{path} is listed twice")));
        }
    }
    let found: BTreeMap<&str, &PackFile> = files.iter().map(|f| (f.path.as_str(), f)).collect();
    let mut strange = Vec::new();
    for (path, sha256) in &wanted {
        match found.get(path) {
            None => strange.push(Strange::Missing((*path).to_owned())),
            Some(file) if digest(&file.bytes) != *sha256 => {
                strange.push(Strange::Changed((*path).to_owned()));
            }
            Some(_) => {}
        }
    }
    let added = found.keys().filter(|path| !wanted.contains_key(*path));
    strange.extend(added.map(|path| Strange::Added((*path).to_owned())));
    strange.sort_by(|a, b| a.path().cmp(b.path()));
    Ok(PackState {
        name: whole.get("name").and_then(Value::as_str).map(str::to_owned),
        plan_digest: text("plan_digest")?,
        program: text("program")?,
        listed: wanted.len(),
        strange,
    })
}

fn digest(bytes: &[u8]) -> String {
    plan::hex(&Sha256::digest(bytes))
}
