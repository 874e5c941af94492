//! `soundline failures`: each part of the line broken in turn.

use std::io::Write;
use std::path::PathBuf;

use report::{failures_json, failures_text};

use crate::age::Age;
use crate::exit::Exit;
use crate::failure::Failure;
use crate::out::{Format, Out};
use crate::plan_file;

/// Break every span, module, supply, uplink and clock in turn: hydrophones lost, outputs, what the shore sees and when. Ends with 3 where something of them is unknown.
#[derive(Debug, clap::Args)]
pub(crate) struct Args {
    /// The plan.
    plan: PathBuf,
    /// State of the mated contacts.
    #[arg(long, value_enum, default_value_t = Age::Aged)]
    contacts: Age,
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
    let name = &line.deployment.name;
    match out.format {
        Format::Text => out
            .stdout
            .write_all(failures_text(name, &failures).as_bytes())?,
        Format::Json => out.json(&out.of_plan(failures_json(name, &failures)))?,
    }
    Ok(match failures.some_unknown() {
        true => Exit::Unknown,
        false => Exit::Met,
    })
}
