//! `soundline slip`: what late ships do to a plan.

use std::io::Write;
use std::path::PathBuf;

use assess::{Memo, SlipAsk};
use report::{slip_json, slip_picture_png, slip_picture_svg, slip_text};
use serde_json::json;

use crate::cancel::Cancel;
use crate::exit::Exit;
use crate::failure::Failure;
use crate::out::{Format, Out};
use crate::outputs::{Outputs, Pictures, shown};
use crate::plan_file;
use beside::shelf;

/// Judge all that rests on dates for every start and every recovery up to the plan's slips, and half of them further: battery, store, calibrations, documents, growth. With it the spares against parts that are dead on deck, and the waits for weather.
///
/// Ends with 1 where something that must hold is broken within the plan's own slips, and with 3 where something is unknown there.
#[derive(Debug, clap::Args)]
pub(crate) struct Args {
    /// The plan; `start_slip` and `recovery_slip` of its deployment say how late the ships may be.
    plan: PathBuf,
    /// Draw the grids, all together and one by one: a .png and a .svg of each in this folder.
    #[arg(long, value_name = "DIR", value_parser = crate::picture_name::folder)]
    picture: Option<PathBuf>,
    /// Replace the pictures if they exist.
    #[arg(long)]
    force: bool,
}

/// Why the slips cannot be worked out.
#[derive(Debug, thiserror::Error)]
pub(crate) enum SlipCommandError {
    /// The picture cannot be drawn.
    #[error("the picture cannot be drawn: {0}")]
    Draw(#[from] report::PictureError),
    /// The user asked to stop.
    #[error("cancelled")]
    Cancelled,
}

pub(crate) fn run(args: &Args, out: &mut Out) -> Result<Exit, Failure> {
    let reading = plan_file::read_and_show(&args.plan, out)?;
    let line = plan_file::line(&reading, &args.plan)?;
    let name = &line.deployment.name;
    let outputs = Outputs::new(args.force, plan_file::inputs(&reading.sources));
    let cancel = Cancel::on_ctrl_c()?;
    let Some((shelf, _)) = shelf(&args.plan, &reading, &|_, _| !cancel.asked()) else {
        return Err(SlipCommandError::Cancelled.into());
    };
    let bar = out.progress(1000, "starts and recoveries");
    let ask = SlipAsk {
        threads: std::thread::available_parallelism().map_or(1, usize::from),
    };
    let found = assess::slip(&reading, &shelf, &Memo::new(), ask, &|share| {
        bar.set_position((1000.0 * share) as u64);
        !cancel.asked()
    });
    bar.finish_and_clear();
    let Some(found) = found else {
        return Err(SlipCommandError::Cancelled.into());
    };
    let (spares, waits) = (assess::spares(line), assess::weather_waits(line));
    let moved = found.moved().map(|g| format!("slip-{}", g.id));
    let names = std::iter::once("slip".to_owned()).chain(moved);
    let pictures = Pictures::named(names, args.picture.as_deref(), &outputs)?;
    pictures.draw(&outputs, |ix, page| {
        let of = ix.checked_sub(1);
        let png = slip_picture_png(name, &found, of, page)?;
        Ok::<_, SlipCommandError>((png, slip_picture_svg(name, &found, of, page)?))
    })?;
    match out.format {
        Format::Text => {
            out.stdout
                .write_all(slip_text(name, &found, &spares, &waits).as_bytes())?;
            pictures.tell(&mut out.stdout)?;
        }
        Format::Json => {
            let mut whole = out.of_plan(slip_json(name, &found, &spares, &waits));
            whole["pictures"] = json!(shown(pictures.paths()));
            out.json(&whole)?;
        }
    }
    Ok(match (found.is_broken(), found.some_unknown()) {
        (true, _) => Exit::Broken,
        (false, true) => Exit::Unknown,
        (false, false) => Exit::Met,
    })
}
