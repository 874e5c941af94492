//! `soundline start`: the line from the switch to rest.

use std::io::Write;
use std::path::PathBuf;

use report::{start_json, start_picture_png, start_picture_svg, start_text};
use serde_json::json;

use crate::age::Age;
use crate::exit::Exit;
use crate::failure::Failure;
use crate::out::{Format, Out};
use crate::outputs::{Outputs, Pictures, shown};
use crate::plan_file;

/// Switch the line on and follow it until it is at rest: when each module switches on and has booted, what the supplies give.
#[derive(Debug, clap::Args)]
pub(crate) struct Args {
    /// The plan.
    plan: PathBuf,
    /// State of the mated contacts; `check` takes both.
    #[arg(long, value_enum, default_value_t = Age::Aged)]
    contacts: Age,
    /// Longest time that is followed, s; as long as boots and capacitors may take when not given.
    #[arg(long, value_name = "SECONDS", value_parser = longest)]
    longest: Option<f64>,
    /// Draw voltages and currents: start.png and start.svg in this folder.
    #[arg(long, value_name = "DIR", value_parser = crate::picture_name::folder)]
    picture: Option<PathBuf>,
    /// Replace the pictures if they exist.
    #[arg(long)]
    force: bool,
}

fn longest(text: &str) -> Result<f64, String> {
    let seconds: f64 = text.parse().map_err(|_| "not a number".to_owned())?;
    if seconds > 0.0 && seconds <= 1e6 {
        Ok(seconds)
    } else {
        Err("must be above 0 and at most 1000000".to_owned())
    }
}

/// Why a start could not be followed.
#[derive(Debug, thiserror::Error)]
pub(crate) enum StartCommandError {
    /// The plan does not say enough, or something that cannot be.
    #[error("the start cannot be followed: {0}")]
    Start(#[from] assess::StartError),
    /// The picture cannot be drawn.
    #[error("the picture cannot be drawn: {0}")]
    Draw(#[from] report::PictureError),
}

pub(crate) fn run(args: &Args, out: &mut Out) -> Result<Exit, Failure> {
    let reading = plan_file::read_and_show(&args.plan, out)?;
    let line = plan_file::line(&reading, &args.plan)?;
    let outputs = Outputs::new(args.force, plan_file::inputs(&reading.sources));
    let pictures = Pictures::named(["start".to_owned()], args.picture.as_deref(), &outputs)?;
    let start =
        assess::start(line, args.contacts.into(), args.longest).map_err(StartCommandError::from)?;
    let name = &line.deployment.name;
    pictures.draw(&outputs, |_, page| {
        let title = format!("{name}: start");
        let png = start_picture_png(&title, &start, page)?;
        Ok::<_, StartCommandError>((png, start_picture_svg(&title, &start, page)?))
    })?;
    match out.format {
        Format::Text => {
            out.stdout.write_all(start_text(name, &start).as_bytes())?;
            pictures.tell(&mut out.stdout)?;
        }
        Format::Json => {
            let mut whole = out.of_plan(start_json(name, &start));
            whole["pictures"] = json!(shown(pictures.paths()));
            out.json(&whole)?;
        }
    }
    Ok(match start.outcome {
        "started" => Exit::Met,
        "unsettled" => Exit::Unknown,
        _ => Exit::Broken,
    })
}
