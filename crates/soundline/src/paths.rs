//! `soundline paths`: how sound comes from a place to the hydrophones.

use std::io::Write;
use std::path::PathBuf;

use assess::{NamedError, PathAsk, PathError, sensor_named, sound_paths};
use quantity::{Dimension, parse_amount};
use report::{paths_json, paths_picture_png, paths_picture_svg, paths_text};
use serde_json::json;

use crate::exit::Exit;
use crate::failure::Failure;
use crate::out::{Format, Out};
use crate::outputs::{Outputs, Pictures, shown};
use crate::plan_file;

/// Follow every ray from a place in the water to the hydrophones: times, levels, angles, bounces, shadows; and the elevation that two hydrophones make of it.
///
/// Angles at which a path leaves and arrives are positive on its way down. An elevation is positive where the sound comes from above.
#[derive(Debug, clap::Args)]
#[command(group(clap::ArgGroup::new("source").required(true)))]
pub(crate) struct Args {
    /// The plan; it says what the bed is (`site.bottom`).
    plan: PathBuf,
    /// Where the sound comes from: range and depth, as in "1.2 km, 20 m".
    #[arg(long, value_name = "RANGE,DEPTH", value_parser = place, group = "source")]
    from: Option<(f64, f64)>,
    /// The depth it comes from, at many ranges, as in "20 m".
    #[arg(long, value_name = "DEPTH", value_parser = length, group = "source")]
    source_depth: Option<f64>,
    /// With --source-depth: how far out, as in "10 km".
    #[arg(long, value_name = "RANGE", value_parser = length, default_value = "10 km")]
    out_to: f64,
    /// One hydrophone, `module.ID.sensor.ID`; all when not given.
    #[arg(long, value_name = "SENSOR")]
    to: Option<String>,
    /// Frequency of absorption, bed and interference, as in "150 Hz"; the middle of the detector's band when not given.
    #[arg(long, value_name = "FREQUENCY", value_parser = frequency)]
    frequency: Option<f64>,
    /// Draw loss, shadows, rays and the sound speed: for each hydrophone a .png and a .svg in this folder.
    #[arg(long, value_name = "DIR", value_parser = crate::picture_name::folder)]
    picture: Option<PathBuf>,
    /// Replace the pictures if they exist.
    #[arg(long)]
    force: bool,
}

fn length(text: &str) -> Result<f64, String> {
    amount(text, Dimension::Length)
}

fn frequency(text: &str) -> Result<f64, String> {
    amount(text, Dimension::Frequency)
}

fn amount(text: &str, dimension: Dimension) -> Result<f64, String> {
    parse_amount(text.trim(), dimension)
        .map(|a| a.si)
        .map_err(|fault| fault.to_string())
}

fn place(text: &str) -> Result<(f64, f64), String> {
    let (range, depth) = text
        .split_once(',')
        .ok_or("a range and a depth with a comma between, as in \"1.2 km, 20 m\"")?;
    Ok((length(range)?, length(depth)?))
}

/// Why no paths could be told.
#[derive(Debug, thiserror::Error)]
pub(crate) enum PathsCommandError {
    /// The plan or the question cannot be.
    #[error("the paths cannot be worked out: {0}")]
    Paths(#[from] PathError),
    /// The sensor is not known.
    #[error(transparent)]
    Named(#[from] NamedError),
    /// The picture cannot be drawn.
    #[error("the picture cannot be drawn: {0}")]
    Draw(#[from] report::PictureError),
}

impl PathsCommandError {
    /// How the user may mend it.
    pub(crate) fn help(&self) -> Option<String> {
        match self {
            Self::Paths(PathError::NoBottom) => Some(
                "add to [site]: bottom = { sound_speed = \"1650 m/s\", density = \"1900 kg/m3\", attenuation_per_wavelength = \"0.8 dB\" } or { loss_per_bounce = \"10 dB\" }"
                    .to_owned(),
            ),
            Self::Paths(PathError::NoAcidity) => Some("add to [site]: ph = 8.0".to_owned()),
            Self::Paths(PathError::Sea(_) | PathError::OnSensor { .. }) => Some(
                "a place is a range from the line and a depth in its water: --from \"900 m, 10 m\""
                    .to_owned(),
            ),
            Self::Paths(_) | Self::Named(_) | Self::Draw(_) => None,
        }
    }
}

pub(crate) fn run(args: &Args, out: &mut Out) -> Result<Exit, Failure> {
    let reading = plan_file::read_and_show(&args.plan, out)?;
    let line = plan_file::line(&reading, &args.plan)?;
    let (range_m, source_depth_m) = match (args.from, args.source_depth) {
        (Some((range_m, depth_m)), _) => (Some(range_m), depth_m),
        (None, Some(depth_m)) => (None, depth_m),
        (None, None) => unreachable!("one of both is required"),
    };
    let ask = PathAsk {
        source_depth_m,
        range_m,
        out_to_m: args.out_to,
        to: args
            .to
            .as_deref()
            .map(|named| sensor_named(line, named))
            .transpose()
            .map_err(PathsCommandError::from)?,
        frequency_hz: args.frequency,
        field: args.picture.is_some(),
    };
    let found = sound_paths(line, &ask).map_err(PathsCommandError::from)?;
    let name = &line.deployment.name;
    let outputs = Outputs::new(args.force, plan_file::inputs(&reading.sources));
    let names = found.ears.iter().map(|ear| picture(&ear.sensor));
    let pictures = Pictures::named(names, args.picture.as_deref(), &outputs)?;
    pictures.draw(&outputs, |ear, page| {
        let title = format!("{name}: sound to {}", found.ears[ear].sensor);
        let png = paths_picture_png(&title, &found, ear, page)?;
        Ok::<_, PathsCommandError>((png, paths_picture_svg(&title, &found, ear, page)?))
    })?;
    match out.format {
        Format::Text => {
            out.stdout.write_all(paths_text(name, &found).as_bytes())?;
            pictures.tell(&mut out.stdout)?;
        }
        Format::Json => {
            let mut whole = out.of_plan(paths_json(name, &found));
            whole["pictures"] = json!(shown(pictures.paths()));
            out.json(&whole)?;
        }
    }
    Ok(Exit::Met)
}

/// `module.upper.sensor.ear` as `paths-upper-ear`.
fn picture(sensor: &str) -> String {
    let word = sensor
        .trim_start_matches("module.")
        .replace(".sensor.", "-");
    format!("paths-{word}")
}
