//! `soundline desk`: the plan and its consequences side by side, in a browser.

use std::io::Write;
use std::net::IpAddr;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use desk::{DeskError, Options, bind, no_page};

use crate::cancel::Cancel;
use crate::exit::Exit;
use crate::failure::Failure;
use crate::listen;
use crate::out::{Format, Out};
use crate::plan_file;

/// Open a local page on which the plan and all that follows from it lie side by side: edit, see every margin move, rehearse with sound.
///
/// Prints the address and answers until Ctrl-C. Only this machine can ask, unless --listen names another address: then the address carries
/// a token, and whoever has it can read and change the plan, unencrypted.
#[derive(Debug, clap::Args)]
pub(crate) struct Args {
    /// The plan.
    plan: PathBuf,
    /// The port; 8427, or any that is free, when not given.
    #[arg(long, value_name = "N")]
    port: Option<u16>,
    /// Listen on this address instead of the loopback address.
    #[arg(long, value_name = "ADDRESS")]
    listen: Option<IpAddr>,
}

/// Why there is no desk.
#[derive(Debug, thiserror::Error)]
#[error("the desk cannot be opened: {0}")]
pub(crate) struct DeskCommandError(#[from] DeskError);

impl DeskCommandError {
    /// How the user may mend it.
    pub(crate) fn help(&self) -> Option<String> {
        match &self.0 {
            DeskError::Listen { .. } => {
                Some("name another --port, or leave it out for any that is free".to_owned())
            }
            _ => None,
        }
    }
}

/// What `listen` tells of a recording, with the plan's text as it is on the page.
fn hears(
    plan: &Path,
    text: &str,
    recording: &Path,
    sensors: &[String],
    watch: &(dyn Fn(f64) -> bool + Sync),
) -> Result<serde_json::Value, (String, Option<String>)> {
    let folder = plan::from_folder_of(plan);
    let reading = assess::read(plan, &|wanted: &Path| match wanted == plan {
        true => Ok(text.as_bytes().to_vec()),
        false => folder(wanted),
    });
    let heard = listen::heard(plan, &reading, recording, sensors, watch);
    heard.map_err(|failure| (failure.to_string(), failure.help()))
}

pub(crate) fn run(args: &Args, out: &mut Out) -> Result<Exit, Failure> {
    // A plan with mistakes is what a desk is for; one without a text is not.
    plan_file::read(&args.plan, out)?;
    let options = Options {
        plan: args.plan.clone(),
        listen: args.listen,
        port: args.port,
        hears: Some(Arc::new(hears)),
    };
    let bound = bind(options).map_err(DeskCommandError::from)?;
    if let Some(why) = no_page() {
        writeln!(out.stderr, "warning: {why}")?;
    }
    match out.format {
        Format::Text => {
            writeln!(out.stdout, "{}", bound.url())?;
            if bound.address().ip().is_unspecified() {
                writeln!(
                    out.stderr,
                    "it listens on every address of this machine: another machine puts the name or the address of this one in place of {}, and keeps the rest",
                    bound.address().ip()
                )?;
            }
            writeln!(out.stderr, "the desk answers until Ctrl-C")?;
        }
        Format::Json => {
            let told = serde_json::json!({ "format": "address/1", "program": beside::PROGRAM, "url": bound.url() });
            out.json(&told)?;
        }
    }
    out.stdout.flush()?;
    let cancel = Cancel::on_ctrl_c()?;
    bound
        .serve(&|| cancel.asked())
        .map_err(DeskCommandError::from)?;
    Ok(Exit::Met)
}
