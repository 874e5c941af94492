//! `soundline faults`: shorts, broken spans, poor contacts and leaks of a line.

use std::io::Write;
use std::path::PathBuf;

use report::{faults_json, faults_text};

use crate::age::Age;
use crate::exit::Exit;
use crate::failure::Failure;
use crate::out::{Format, Out};
use crate::plan_file;

/// Tell what faults of the network do: shorts and the fuses that see them, broken spans, poor contacts, leaks, what a tester reads.
#[derive(Debug, clap::Args)]
pub(crate) struct Args {
    /// The plan.
    plan: PathBuf,
    /// State of the mated contacts.
    #[arg(long, value_enum, default_value_t = Age::Aged)]
    contacts: Age,
    /// The leak of which current and cost are told, ohm; all its ends in the water together.
    #[arg(long, value_name = "OHM", default_value_t = 1000.0, value_parser = leak)]
    leak: f64,
}

fn leak(text: &str) -> Result<f64, String> {
    let ohm: f64 = text.parse().map_err(|_| "not a number".to_owned())?;
    if (1e-3..=1e12).contains(&ohm) {
        Ok(ohm)
    } else {
        Err("must be 0.001 to 1e12 ohm".to_owned())
    }
}

/// Why faults could not be told.
#[derive(Debug, thiserror::Error)]
#[error("the faults cannot be worked out: {0}")]
pub(crate) struct FaultsCommandError(#[from] assess::FaultsError);

pub(crate) fn run(args: &Args, out: &mut Out) -> Result<Exit, Failure> {
    let reading = plan_file::read_and_show(&args.plan, out)?;
    let line = plan_file::line(&reading, &args.plan)?;
    let faults =
        assess::faults(line, args.contacts.into(), args.leak).map_err(FaultsCommandError::from)?;
    let name = &line.deployment.name;
    match out.format {
        Format::Text => out
            .stdout
            .write_all(faults_text(name, &faults).as_bytes())?,
        Format::Json => out.json(&out.of_plan(faults_json(name, &faults)))?,
    }
    Ok(Exit::Met)
}
