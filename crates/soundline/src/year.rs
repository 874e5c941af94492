//! `soundline year`: panels, battery and load of a supply through many years.

use std::io::Write;
use std::path::{Path, PathBuf};

use assess::{NamedError, solar_supply};
use report::{
    PictureSize, sizes_picture_png, sizes_picture_svg, year_json, year_picture_png,
    year_picture_svg, year_text,
};
use serde_json::json;

use crate::cancel::Cancel;
use crate::exit::Exit;
use crate::failure::Failure;
use crate::numbers::whole;
use crate::out::{Format, Out};
use crate::outputs::{self, Outputs, shown};
use crate::plan_file;

/// Take a solar supply through many years, generated or of the plan's weather file: load, months, hours off, the worst week, and the sizes that would do.
#[derive(Debug, clap::Args)]
pub(crate) struct Args {
    /// The plan.
    plan: PathBuf,
    /// The supply, `supply.ID`; not needed where only one has panels and a battery.
    #[arg(long, value_name = "SUPPLY")]
    supply: Option<String>,
    /// How many years; as many as the plan's requirement needs, and at least 100, when not given. Of a weather file all.
    #[arg(long, value_name = "N", value_parser = whole::<u64>(1, 10_000))]
    years: Option<u64>,
    /// Seed of the weather; `check` takes 1.
    #[arg(long, value_name = "N", default_value_t = assess::WEATHER_SEED, value_parser = whole::<u64>(0, u64::MAX))]
    seed: u64,
    /// Draw the state of charge through the year: a file ending in .png or .svg; and beside it, with `-sizes` in its name, the
    /// smallest battery against the panels.
    #[arg(long, value_name = "FILE")]
    picture: Option<PathBuf>,
    /// Replace the picture if it exists.
    #[arg(long)]
    force: bool,
}

/// Why the years could not be computed.
#[derive(Debug, thiserror::Error)]
pub(crate) enum YearCommandError {
    /// The supply is not known.
    #[error(transparent)]
    Named(#[from] NamedError),
    /// The plan does not say enough, or something that cannot be.
    #[error("the year cannot be worked out: {0}")]
    Input(#[from] assess::input::InputError),
    /// A picture is neither PNG nor SVG.
    #[error("{path}: a picture is a .png or an .svg file", path = .0.display())]
    Picture(PathBuf),
    /// The picture cannot be drawn.
    #[error("the picture cannot be drawn: {0}")]
    Draw(#[from] report::PictureError),
    /// The user asked to stop.
    #[error("cancelled")]
    Cancelled,
}

impl YearCommandError {
    /// How the user may mend it.
    pub(crate) fn help(&self) -> Option<String> {
        match self {
            YearCommandError::Named(NamedError::NoSolarSupply) => Some(
                "a supply of the kind \"solar-battery\" has them; `soundline check` judges the others"
                    .to_owned(),
            ),
            YearCommandError::Named(NamedError::WhichSolarSupply(_)) => Some("add --supply supply.ID".to_owned()),
            YearCommandError::Named(_)
            | YearCommandError::Input(_)
            | YearCommandError::Picture(_)
            | YearCommandError::Draw(_)
            | YearCommandError::Cancelled => None,
        }
    }
}

#[derive(Clone, Copy)]
enum Drawn {
    Png,
    Svg,
}

pub(crate) fn run(args: &Args, out: &mut Out) -> Result<Exit, Failure> {
    let reading = plan_file::read_and_show(&args.plan, out)?;
    let line = plan_file::line(&reading, &args.plan)?;
    let outputs = Outputs::new(args.force, plan_file::inputs(&reading.sources));
    let picture = match &args.picture {
        None => None,
        Some(path) => {
            let (kind, ending) = match path.extension().and_then(|e| e.to_str()) {
                Some("png") => (Drawn::Png, "png"),
                Some("svg") => (Drawn::Svg, "svg"),
                _ => return Err(YearCommandError::Picture(path.clone()).into()),
            };
            let of_sizes = beside(path, ending);
            outputs.refuse([path.as_path(), of_sizes.as_path()])?;
            Some((path, of_sizes, kind))
        }
    };
    let of = solar_supply(line, args.supply.as_deref()).map_err(YearCommandError::from)?;
    let cancel = Cancel::on_ctrl_c()?;
    let bar = out.progress(1000, "years");
    let years = assess::energy_years(line, of, args.seed, args.years, &mut |share| {
        bar.set_position((1000.0 * share) as u64);
        !cancel.asked()
    });
    bar.finish_and_clear();
    let Some(years) = years.map_err(YearCommandError::from)? else {
        return Err(YearCommandError::Cancelled.into());
    };
    let name = &line.deployment.name;
    let mut drawn: Vec<&Path> = Vec::new();
    if let Some((path, of_sizes, kind)) = &picture {
        let title = format!("{name}: {}", years.supply);
        let page = PictureSize::PAGE;
        let bytes = match kind {
            Drawn::Png => year_picture_png(&title, &years, page),
            Drawn::Svg => year_picture_svg(&title, &years, page).map(String::into_bytes),
        };
        let bytes = bytes.map_err(YearCommandError::from)?;
        outputs.write(path, &bytes)?;
        drawn.push(path);
        if let Some(sizes) = &years.sizes {
            let bytes = match kind {
                Drawn::Png => sizes_picture_png(&title, sizes, page),
                Drawn::Svg => sizes_picture_svg(&title, sizes, page).map(String::into_bytes),
            };
            let bytes = bytes.map_err(YearCommandError::from)?;
            outputs.write(of_sizes, &bytes)?;
            drawn.push(of_sizes);
        }
    }
    match out.format {
        Format::Text => {
            out.stdout.write_all(year_text(name, &years).as_bytes())?;
            outputs::tell(&mut out.stdout, drawn.iter().map(|path| ("picture", *path)))?;
        }
        Format::Json => {
            let mut whole = out.of_plan(year_json(name, &years));
            let drawn = shown(drawn.into_iter());
            whole["picture"] = json!(drawn.first());
            whole["picture_of_sizes"] = json!(drawn.get(1));
            out.json(&whole)?;
        }
    }
    Ok(Exit::Met)
}

/// Where the picture of sizes goes: `year.png` has `year-sizes.png` beside it.
fn beside(picture: &Path, ending: &str) -> PathBuf {
    let stem = picture
        .file_stem()
        .expect("a file with an ending has a name before it");
    let mut name = stem.to_os_string();
    name.push(format!("-sizes.{ending}"));
    picture.with_file_name(name)
}
