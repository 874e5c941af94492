//! `soundline start`: the line from the switch to rest.

use std::io::Write;
use std::path::{Path, PathBuf};

use report::{
    OutputError, Overwrite, PictureSize, refuse_output, start_json, start_picture_png,
    start_picture_svg, start_text, write_atomically,
};
use serde_json::json;

use crate::age::Age;
use crate::exit::Exit;
use crate::failure::Failure;
use crate::out::{Format, Out, PROGRAM};
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
    let reading = plan_file::read(&args.plan, out)?;
    plan_file::show(reading.mistakes.iter(), &reading.sources, out)?;
    let line = plan_file::line(&reading, &args.plan)?;
    let overwrite = if args.force {
        Overwrite::Force
    } else {
        Overwrite::Refuse
    };
    let inputs = plan_file::inputs(&reading.sources);
    let pictures = args
        .picture
        .as_ref()
        .map(|folder| ["png", "svg"].map(|ending| folder.join("start").with_extension(ending)));
    for path in pictures.iter().flatten() {
        refuse_output(path, overwrite, &inputs)?;
    }
    let start =
        assess::start(line, args.contacts.into(), args.longest).map_err(StartCommandError::from)?;
    let name = &line.deployment.name;
    if let (Some(folder), Some([png, svg])) = (&args.picture, &pictures) {
        let title = format!("{name}: start");
        let page = PictureSize::PAGE;
        let drawn = start_picture_png(&title, &start, page).map_err(StartCommandError::from)?;
        let text = start_picture_svg(&title, &start, page).map_err(StartCommandError::from)?;
        make(folder)?;
        write_atomically(png, &drawn, overwrite, &inputs)?;
        write_atomically(svg, text.as_bytes(), overwrite, &inputs)?;
    }
    match out.format {
        Format::Text => {
            out.stdout.write_all(start_text(name, &start).as_bytes())?;
            for (i, path) in pictures.iter().flatten().enumerate() {
                let gap = if i == 0 { "\n" } else { "" };
                writeln!(out.stdout, "{gap}picture: {}", path.display())?;
            }
        }
        Format::Json => {
            let mut whole = start_json(name, &start);
            whole["plan_digest"] = json!(reading.digest);
            whole["program"] = json!(PROGRAM);
            let paths: Vec<String> = pictures
                .iter()
                .flatten()
                .map(|p| p.display().to_string())
                .collect();
            whole["pictures"] = json!(paths);
            whole["mistakes"] = json!(out.mistakes);
            out.json(&whole)?;
        }
    }
    Ok(match start.outcome {
        "started" => Exit::Met,
        "unsettled" => Exit::Unknown,
        _ => Exit::Broken,
    })
}

fn make(folder: &Path) -> Result<(), OutputError> {
    std::fs::create_dir_all(folder).map_err(|source| OutputError::Io {
        action: "create the folder",
        path: folder.to_path_buf(),
        source,
    })
}
