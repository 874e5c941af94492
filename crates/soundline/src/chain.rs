//! `soundline chain`: what limits each hydrophone, the sea, its own noise or full scale.

use std::io::Write;
use std::path::PathBuf;

use assess::{ChainBudget, LimitedBy, NamedError, chain_budget, hearing_sensors};
use report::{chain_json, chain_picture_png, chain_picture_svg, chain_text};
use serde_json::json;

use crate::exit::Exit;
use crate::failure::Failure;
use crate::numbers::whole;
use crate::out::{Format, Out};
use crate::outputs::{Outputs, Pictures, shown};
use crate::plan_file;

/// Set the noise of each hydrophone's chain and its full scale against the sea, band by band: what it can hear, and what clips.
#[derive(Debug, clap::Args)]
pub(crate) struct Args {
    /// The plan.
    plan: PathBuf,
    /// Only this sensor, such as module.upper.sensor.ear.
    #[arg(long = "as", value_name = "SENSOR")]
    sensors: Vec<String>,
    /// The sea of this month, 1 to 12; all months of the deployment when not given.
    #[arg(long, value_name = "MONTH", value_parser = whole::<u8>(1, 12))]
    month: Option<u8>,
    /// Draw each sensor: chain-MODULE-SENSOR.png and .svg in this folder.
    #[arg(long, value_name = "DIR", value_parser = crate::picture_name::folder)]
    picture: Option<PathBuf>,
    /// Replace the pictures if they exist.
    #[arg(long)]
    force: bool,
}

/// Why the chains could not be told.
#[derive(Debug, thiserror::Error)]
pub(crate) enum ChainCommandError {
    /// The sensor is not known.
    #[error(transparent)]
    Named(#[from] NamedError),
    /// The plan does not say enough, or something that cannot be.
    #[error("the chain cannot be worked out: {0}")]
    Input(#[from] assess::input::InputError),
    /// The picture cannot be drawn.
    #[error("the picture of {sensor} cannot be drawn: {source}")]
    Draw {
        /// The sensor's typed path.
        sensor: String,
        /// Why.
        source: report::PictureError,
    },
}

pub(crate) fn run(args: &Args, out: &mut Out) -> Result<Exit, Failure> {
    let reading = plan_file::read(&args.plan, out)?;
    plan_file::show_about(&reading, &args.sensors, out)?;
    let line = plan_file::line(&reading, &args.plan)?;
    let outputs = Outputs::new(args.force, plan_file::inputs(&reading.sources));
    let sensors = hearing_sensors(line, &args.sensors).map_err(ChainCommandError::from)?;
    let names = sensors.iter().map(|(path, _)| picture(path));
    let pictures = Pictures::named(names, args.picture.as_deref(), &outputs)?;
    let month = args.month.map(|m| usize::from(m) - 1);
    let budgets = sensors
        .iter()
        .map(|(_, ix)| chain_budget(line, *ix, month))
        .collect::<Result<Vec<ChainBudget>, _>>()
        .map_err(ChainCommandError::from)?;
    let name = &line.deployment.name;
    pictures.draw(&outputs, |number, page| {
        let budget = &budgets[number];
        let title = format!("{name}: {}", budget.path);
        let failed = |source| ChainCommandError::Draw {
            sensor: budget.path.clone(),
            source,
        };
        let png = chain_picture_png(&title, budget, page).map_err(failed)?;
        let svg = chain_picture_svg(&title, budget, page).map_err(failed)?;
        Ok::<_, ChainCommandError>((png, svg))
    })?;
    match out.format {
        Format::Text => {
            out.stdout
                .write_all(chain_text(name, &budgets).as_bytes())?;
            pictures.tell(&mut out.stdout)?;
        }
        Format::Json => {
            let mut whole = out.of_plan(chain_json(name, &budgets));
            whole["pictures"] = json!(shown(pictures.paths()));
            out.json(&whole)?;
        }
    }
    Ok(exit(&budgets))
}

/// Unknown where it is not known what limits some band that a detector may use.
fn exit(budgets: &[ChainBudget]) -> Exit {
    let open = budgets
        .iter()
        .flat_map(|b| &b.bands)
        .any(|band| !band.above_filter && band.in_quietest == LimitedBy::Unknown);
    if open { Exit::Unknown } else { Exit::Met }
}

/// `module.upper.sensor.ear` as `chain-upper-ear`.
fn picture(sensor: &str) -> String {
    let mut words = sensor.split('.');
    let (module, id) = (words.nth(1).unwrap_or(""), words.nth(1).unwrap_or(""));
    format!("chain-{module}-{id}")
}
