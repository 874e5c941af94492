//! `soundline workpack`: the files that leave the computer, and a folder of them held against its manifest.

use std::fs;
use std::io::{self, Write};
use std::path::{Path, PathBuf};

use beside::{PROGRAM, shelf};
use report::{
    Inputs, MANIFEST, ManifestError, Pack, PackFile, PackOf, PackState, check_json, manifest, pack,
    verify,
};
use serde_json::json;

use crate::cancel::Cancel;
use crate::exit::Exit;
use crate::failure::Failure;
use crate::out::{Format, Out};
use crate::outputs::{Outputs, make_folder};
use crate::plan_file;

/// Largest file of a pack that is read when one is verified, bytes; none is near it.
const LARGEST_BYTES: u64 = 256 << 20;
/// Most files that are looked at.
const MOST_FILES: usize = 10_000;

/// Write the deployment pack of a plan, or hold one against its manifest.
///
/// A pack has a report for a design review as a page and as a PDF with its pictures, the verdicts as text and as a document, the connection schedule, the parts with their weights, permits and spares as tables, the sheets for the deck, what each
/// module is to be set to, the sheet for the quay, a description of the recordings to come, and each detector and packed topic that can be written as C99 with its test program. The same plan and the same program give the
/// same bytes. Exit status: that of `check` for the plan; with --verify 0 where all is as it was written, 1 where something is not.
#[derive(Debug, clap::Args)]
#[command(group = clap::ArgGroup::new("what").required(true).args(["out", "verify"]))]
pub(crate) struct Args {
    /// The plan.
    #[arg(required_unless_present = "verify", conflicts_with = "verify")]
    plan: Option<PathBuf>,
    /// Write the pack into this folder, which must be new or empty.
    #[arg(long, value_name = "DIR", requires = "plan")]
    out: Option<PathBuf>,
    /// Tell which files of the pack in this folder are not as they were written.
    #[arg(long, value_name = "DIR")]
    verify: Option<PathBuf>,
}

/// Why no pack was written or verified.
#[derive(Debug, thiserror::Error)]
pub(crate) enum WorkpackError {
    /// Something lies there.
    #[error("{} is there already and not empty", .0.display())]
    Taken(PathBuf),
    /// A file or folder cannot be read.
    #[error("{} cannot be read: {source}", path.display())]
    Read {
        /// Which.
        path: PathBuf,
        /// Why.
        source: io::Error,
    },
    /// Something in the folder is no plain file.
    #[error("{} is no plain file, or larger than any of a pack", .0.display())]
    NoFile(PathBuf),
    /// Too many files.
    #[error("{} holds more than {MOST_FILES} files: that is no pack", .0.display())]
    TooMany(PathBuf),
    /// No pack.
    #[error("{}: {source}", folder.display())]
    Manifest {
        /// The folder.
        folder: PathBuf,
        /// Why.
        source: ManifestError,
    },
    /// The manifest is missing.
    #[error("{} has no `{MANIFEST}`, so it is no pack", .0.display())]
    NoPack(PathBuf),
    /// A file of the pack cannot be written down.
    #[error(transparent)]
    Pack(#[from] report::PackError),
}

impl WorkpackError {
    /// How the user may mend it.
    pub(crate) fn help(&self) -> Option<String> {
        match self {
            WorkpackError::Taken(_) => Some(
                "name a new folder: a pack is written over nothing, so that none is half of one plan and half of another".to_owned(),
            ),
            WorkpackError::NoPack(_) => {
                Some("name the folder that `soundline workpack PLAN --out` was given".to_owned())
            }
            WorkpackError::NoFile(_) => {
                Some("a pack holds plain files alone: take it out, or copy the pack anew".to_owned())
            }
            _ => None,
        }
    }
}

pub(crate) fn run(args: &Args, out: &mut Out) -> Result<Exit, Failure> {
    match (&args.plan, &args.out, &args.verify) {
        (Some(plan), Some(folder), _) => write(plan, folder, out),
        (_, _, Some(folder)) => held(folder, out),
        _ => Ok(Exit::Unusable),
    }
}

fn write(path: &Path, folder: &Path, out: &mut Out) -> Result<Exit, Failure> {
    refuse_taken(folder)?;
    let reading = plan_file::read_and_show(path, out)?;
    let line = plan_file::line(&reading, path)?;
    let cancel = Cancel::on_ctrl_c()?;
    let Some((shelf, warnings)) = shelf(path, &reading, &|_, _| !cancel.asked()) else {
        return Ok(Exit::Cancelled);
    };
    let check = assess::check(&reading, &shelf);
    let verdicts = check_json(&check, PROGRAM, &reading.mistakes, &reading.sources);
    let of = PackOf {
        reading: &reading,
        line,
        check: &check,
        shelf: &shelf,
        verdicts: &verdicts,
    };
    let pack = pack(&of).map_err(WorkpackError::from)?;
    let manifest = manifest(&pack, &verdicts)
        .map_err(report::PackError::from)
        .map_err(WorkpackError::from)?;
    lay_down(folder, &pack, &manifest)?;
    match out.format {
        Format::Text => {
            for warning in &warnings {
                writeln!(out.stderr, "warning: {warning}")?;
            }
            out.stdout.write_all(told(folder, &pack).as_bytes())?;
        }
        Format::Json => {
            let files = pack.files.iter().chain([&manifest]).map(|f| &f.path);
            let not_written = pack
                .not_written
                .iter()
                .map(|n| json!({ "of": n.path, "why": n.why }));
            let whole = json!({
                "format": "workpack/1",
                "folder": folder.display().to_string(),
                "files": files.collect::<Vec<_>>(),
                "software_not_written": not_written.collect::<Vec<_>>(),
                "warnings": warnings,
            });
            let whole = out.of_plan(whole);
            out.json(&whole)?;
        }
    }
    Ok(check.status().into())
}

fn refuse_taken(folder: &Path) -> Result<(), WorkpackError> {
    match fs::read_dir(folder) {
        Ok(mut within) => match within.next() {
            None => Ok(()),
            Some(_) => Err(WorkpackError::Taken(folder.to_path_buf())),
        },
        Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(()),
        Err(source) => Err(WorkpackError::Read {
            path: folder.to_path_buf(),
            source,
        }),
    }
}

/// Lays the files down in a folder, the manifest last: without it a folder is no pack.
fn lay_down(folder: &Path, pack: &Pack, manifest: &PackFile) -> Result<(), Failure> {
    let outputs = Outputs::new(false, Inputs::none());
    make_folder(folder)?;
    for file in pack.files.iter().chain([manifest]) {
        let path = folder.join(&file.path);
        if let Some(within) = path.parent() {
            make_folder(within)?;
        }
        outputs.write(&path, &file.bytes)?;
    }
    Ok(())
}

/// What was written, by folder.
fn told(folder: &Path, pack: &Pack) -> String {
    let mut text = format!(
        "{}: {} files and their list, {MANIFEST}\n\n",
        folder.display(),
        pack.files.len()
    );
    for file in &pack.files {
        text.push_str(&format!("  {}\n", file.path));
    }
    if !pack.not_written.is_empty() {
        text.push_str("\nNot written as C99\n");
        for one in &pack.not_written {
            text.push_str(&format!("  {}: {}\n", one.path, one.why));
        }
    }
    text
}

fn held(folder: &Path, out: &mut Out) -> Result<Exit, Failure> {
    let mut files = Vec::new();
    read_below(folder, "", &mut files)?;
    let at = files.iter().position(|f| f.path == MANIFEST);
    let at = at.ok_or_else(|| WorkpackError::NoPack(folder.to_path_buf()))?;
    let manifest = files.swap_remove(at);
    let state = verify(&manifest.bytes, &files).map_err(|source| WorkpackError::Manifest {
        folder: folder.to_path_buf(),
        source,
    })?;
    match out.format {
        Format::Text => out.stdout.write_all(state_told(&state).as_bytes())?,
        Format::Json => {
            let strange = state.strange.iter();
            let strange = strange.map(|s| json!({ "path": s.path(), "is": s.word() }));
            out.json(&json!({
                "format": "workpack-verified/1",
                "program": PROGRAM,
                "name": state.name,
                "pack_plan_digest": state.plan_digest,
                "pack_program": state.program,
                "files": state.listed,
                "strange": strange.collect::<Vec<_>>(),
            }))?;
        }
    }
    Ok(match state.strange.is_empty() {
        true => Exit::Met,
        false => Exit::Broken,
    })
}

fn state_told(state: &PackState) -> String {
    let name = state.name.as_deref().unwrap_or("a plan without a name");
    let mut text = format!(
        "{name}\nof the plan {}, by {}\n\n",
        state.plan_digest, state.program
    );
    if state.strange.is_empty() {
        text.push_str(&format!(
            "All {} files are as they were written.\n",
            state.listed
        ));
    }
    for one in &state.strange {
        text.push_str(&format!("  {:<8} {}\n", one.word(), one.path()));
    }
    text
}

/// Reads every file below a folder, its path with `/` between names, sorted.
fn read_below(folder: &Path, before: &str, files: &mut Vec<PackFile>) -> Result<(), WorkpackError> {
    let unread = |path: &Path| {
        let path = path.to_path_buf();
        move |source| WorkpackError::Read { path, source }
    };
    let entries = fs::read_dir(folder).map_err(unread(folder))?;
    let mut entries: Vec<fs::DirEntry> =
        entries.collect::<Result<_, _>>().map_err(unread(folder))?;
    entries.sort_by_key(fs::DirEntry::file_name);
    for entry in entries {
        let path = entry.path();
        let name = format!("{before}{}", entry.file_name().to_string_lossy());
        let kind = entry.file_type().map_err(unread(&path))?;
        if kind.is_dir() {
            read_below(&path, &format!("{name}/"), files)?;
            continue;
        }
        let size = entry.metadata().map_err(unread(&path))?.len();
        if !kind.is_file() || size > LARGEST_BYTES {
            return Err(WorkpackError::NoFile(path));
        }
        if files.len() >= MOST_FILES {
            return Err(WorkpackError::TooMany(folder.to_path_buf()));
        }
        let bytes = fs::read(&path).map_err(unread(&path))?;
        files.push(PackFile { path: name, bytes });
    }
    Ok(())
}
