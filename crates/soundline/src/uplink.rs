//! `soundline uplink`: how late messages are ashore, month by month, and when the shore should look.

use std::io::Write;
use std::path::PathBuf;

use assess::uplinks_ashore;
use report::{uplink_json, uplink_text};

use crate::exit::Exit;
use crate::failure::Failure;
use crate::out::{Format, Out};
use crate::plan_file;

/// How late messages are ashore through calm and high seas, by month; when the shore should look for a heartbeat that stays out; what sending draws.
///
/// Ends with 3 where something of it is unknown.
#[derive(Debug, clap::Args)]
pub(crate) struct Args {
    /// The plan; `sea`, `registers`, `fix` and `off_below` of its uplinks say how they fail and what they draw.
    plan: PathBuf,
}

/// Why the uplinks cannot be told.
#[derive(Debug, thiserror::Error)]
pub(crate) enum UplinkCommandError {
    /// There is none.
    #[error("the plan has no `uplink`")]
    NoUplink,
}

pub(crate) fn run(args: &Args, out: &mut Out) -> Result<Exit, Failure> {
    let reading = plan_file::read_and_show(&args.plan, out)?;
    let line = plan_file::line(&reading, &args.plan)?;
    if line.uplinks.is_empty() {
        return Err(UplinkCommandError::NoUplink.into());
    }
    let found = uplinks_ashore(line);
    match out.format {
        Format::Text => out.stdout.write_all(uplink_text(line, &found).as_bytes())?,
        Format::Json => out.json(&out.of_plan(uplink_json(line, &found)))?,
    }
    Ok(match found.iter().any(Result::is_err) {
        true => Exit::Unknown,
        false => Exit::Met,
    })
}
