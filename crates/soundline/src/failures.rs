//! `soundline failures`: each part of the line broken in turn.

use std::fmt::Write as _;
use std::io::Write as _;
use std::path::{Path, PathBuf};

use assess::Failures;
use plan::Line;
use report::{FailureCues, Inputs, failure_cues, failures_json, failures_text};
use serde_json::{Value, json};

use crate::age::Age;
use crate::exit::Exit;
use crate::failure::Failure;
use crate::out::{Format, Out};
use crate::outputs::{Outputs, make_folder};
use crate::plan_file;

/// Break every span, module, supply, uplink and clock in turn: hydrophones lost, outputs, what the shore sees and when. Ends with 3 where something of them is unknown.
#[derive(Debug, clap::Args)]
pub(crate) struct Args {
    /// The plan.
    plan: PathBuf,
    /// State of the mated contacts.
    #[arg(long, value_enum, default_value_t = Age::Aged)]
    contacts: Age,
    /// Write a cue sheet of each failure into this folder, with what the table promises of it as expectations. No file is replaced.
    #[arg(long, value_name = "FOLDER")]
    cues: Option<PathBuf>,
}

/// Why single failures could not be told.
#[derive(Debug, thiserror::Error)]
#[error("the single failures cannot be worked out: {0}")]
pub(crate) struct FailuresCommandError(#[from] assess::FailuresError);

pub(crate) fn run(args: &Args, out: &mut Out) -> Result<Exit, Failure> {
    let reading = plan_file::read_and_show(&args.plan, out)?;
    let line = plan_file::line(&reading, &args.plan)?;
    let failures =
        assess::failures(line, args.contacts.into()).map_err(FailuresCommandError::from)?;
    let written = match &args.cues {
        Some(folder) => write_cues(line, &failures, folder)?,
        None => Vec::new(),
    };
    let name = &line.deployment.name;
    match out.format {
        Format::Text => {
            let mut text = failures_text(name, &failures);
            if let Some(folder) = &args.cues {
                text.push_str(&cues_text(&written, folder));
            }
            out.stdout.write_all(text.as_bytes())?;
        }
        Format::Json => {
            let mut told = failures_json(name, &failures);
            if args.cues.is_some() {
                told["cue_sheets"] = written.iter().map(cues_json).collect();
            }
            out.json(&out.of_plan(told))?;
        }
    }
    Ok(match failures.some_unknown() {
        true => Exit::Unknown,
        false => Exit::Met,
    })
}

/// Writes the cue sheets, all or, where one of them is there already, none.
fn write_cues(
    line: &Line,
    failures: &Failures,
    folder: &Path,
) -> Result<Vec<FailureCues>, Failure> {
    let all = failure_cues(line, failures);
    let outputs = Outputs::new(false, Inputs::none());
    let texts = || {
        let each = all.iter();
        each.filter_map(|c| Some((folder.join(&c.file), c.text.as_ref().ok()?)))
    };
    let paths: Vec<PathBuf> = texts().map(|(path, _)| path).collect();
    outputs.refuse(paths.iter().filter(|p| p.exists()).map(PathBuf::as_path))?;
    make_folder(folder)?;
    for (path, text) in texts() {
        outputs.write(&path, text.as_bytes())?;
    }
    Ok(all)
}

fn cues_text(written: &[FailureCues], folder: &Path) -> String {
    let mut text = format!("\nCue sheets in {}\n", folder.display());
    for cues in written {
        let _ = match &cues.text {
            Ok(_) => writeln!(text, "  {}: {}", cues.file, cues.failure),
            Err(why) => writeln!(text, "  none of {}: {why}", cues.failure),
        };
    }
    text
}

fn cues_json(cues: &FailureCues) -> Value {
    match &cues.text {
        Ok(_) => json!({ "failure": cues.failure, "file": cues.file, "why": null }),
        Err(why) => json!({ "failure": cues.failure, "file": null, "why": why }),
    }
}
