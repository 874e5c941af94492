//! `soundline recovery`: what comes up when the line parts, and by which means it comes back.

use std::io::Write;
use std::path::PathBuf;

use report::{recovery_json, recovery_text};

use crate::exit::Exit;
use crate::failure::Failure;
use crate::out::{Format, Out};
use crate::plan_file;

/// Part the line at every place: what comes up, how fast, what stays down; the chance of every module to come back; weak links and drift alarms.
///
/// Ends with 3 where something of it is unknown.
#[derive(Debug, clap::Args)]
pub(crate) struct Args {
    /// The plan; its sections, housings, floats and hull say what floats, `[recovery.ID]` by which means it comes back.
    plan: PathBuf,
}

/// Why the recovery cannot be worked out.
#[derive(Debug, thiserror::Error)]
pub(crate) enum RecoveryCommandError {
    /// The plan gives no cases.
    #[error("the recovery cannot be worked out: {0}")]
    Cases(#[from] assess::input::CasesError),
    /// Nothing hangs.
    #[error("the plan has no `section`: nothing says what its modules hang on")]
    NoSections,
}

pub(crate) fn run(args: &Args, out: &mut Out) -> Result<Exit, Failure> {
    let reading = plan_file::read_and_show(&args.plan, out)?;
    let line = plan_file::line(&reading, &args.plan)?;
    if line.sections.is_empty() {
        return Err(RecoveryCommandError::NoSections.into());
    }
    let found = assess::recovery(line).map_err(RecoveryCommandError::from)?;
    match out.format {
        Format::Text => out
            .stdout
            .write_all(recovery_text(line, &found).as_bytes())?,
        Format::Json => out.json(&out.of_plan(recovery_json(line, &found)))?,
    }
    Ok(match found.some_unknown() {
        true => Exit::Unknown,
        false => Exit::Met,
    })
}
