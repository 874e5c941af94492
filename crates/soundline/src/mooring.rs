//! `soundline mooring`: where the line hangs and what it pulls, in every design case.

use std::io::Write;
use std::path::PathBuf;

use assess::{HungLine, Word, moorings, strengths};
use plan::Line;
use report::{PictureSize, mooring_json, mooring_picture_png, mooring_picture_svg, mooring_text};
use serde_json::json;

use crate::exit::Exit;
use crate::failure::Failure;
use crate::out::{Format, Out};
use crate::outputs::{Outputs, Pictures, shown};
use crate::plan_file;

/// Work out where the line hangs in every design case: depths, tilts, tensions, the pull on the anchor, the watch circle.
///
/// The cases are those that the plan declares (`[case.ID]`), else slack water and the current of its site at each end of the tide. Exit status: 1 where something bears
/// more than it may, a float does not lift what hangs below it, something comes to lie on the bed or a buoy is pulled under, 3 where a shape or what something may bear is unknown.
#[derive(Debug, clap::Args)]
pub(crate) struct Args {
    /// The plan; its sections, housings, floats, hull and anchor say what hangs.
    plan: PathBuf,
    /// Draw each line true to scale, with its modules, the bed and the current: a .png and a .svg in this folder.
    #[arg(long, value_name = "DIR", value_parser = crate::picture_name::folder)]
    picture: Option<PathBuf>,
    /// Replace the pictures if they exist.
    #[arg(long)]
    force: bool,
}

/// Why it cannot be told where the line hangs.
#[derive(Debug, thiserror::Error)]
pub(crate) enum MooringCommandError {
    /// The plan gives no cases; what else it leaves out, so that all can be written at once.
    #[error("where the line hangs cannot be worked out: {0}")]
    Cases(assess::input::CasesError, Vec<String>),
    /// Nothing hangs.
    #[error("the plan has no `section`: nothing says what its modules hang on")]
    NoSections,
    /// The picture cannot be drawn.
    #[error("the picture cannot be drawn: {0}")]
    Draw(#[from] report::PictureError),
}

impl MooringCommandError {
    /// How the user may mend it.
    pub(crate) fn help(&self) -> Option<String> {
        match self {
            Self::Cases(assess::input::CasesError::NothingToTake { .. }, also) => {
                let mut help = "declare cases, as in [case.spring] with current = [{ depth = \"0 m\", speed = \"0.9 m/s\" }] and water_level = \"1.8 m\", or write what is missing into [site]: tide = { lowest = \"-1.8 m\", highest = \"1.9 m\" }"
                    .to_owned();
                for what in also {
                    help.push_str("\nalso missing: ");
                    help.push_str(what);
                }
                Some(help)
            }
            Self::NoSections => Some("add [section.ID] with from, to, length and rope".to_owned()),
            Self::Cases(..) | Self::Draw(_) => None,
        }
    }
}

/// Named by its anchor; of several lines at one anchor each by its lowest section too.
fn picture_name(line: &Line, drawn: &[&HungLine], of: &HungLine) -> String {
    let anchor = of.line.anchor;
    let name = format!("mooring-{}", line.anchors[anchor].id);
    let at_it = drawn.iter().filter(|o| o.line.anchor == anchor).count();
    match of.line.pieces.first() {
        // No id has a `_`, so that this is the name of no other anchor.
        Some(lowest) if at_it > 1 => format!("{name}_{}", line.sections[lowest.section.0].id),
        _ => name,
    }
}

pub(crate) fn run(args: &Args, out: &mut Out) -> Result<Exit, Failure> {
    let reading = plan_file::read_and_show(&args.plan, out)?;
    let line = plan_file::line(&reading, &args.plan)?;
    if line.sections.is_empty() {
        return Err(MooringCommandError::NoSections.into());
    }
    let found = moorings(line).map_err(|error| {
        let lines = assess::input::moored(line).into_iter();
        let not = lines.filter_map(Result::err);
        let also = not.flat_map(|not| {
            let section = not.section;
            not.why
                .into_iter()
                .map(move |why| format!("{section}: {why}"))
        });
        MooringCommandError::Cases(error, also.collect())
    })?;
    let outputs = Outputs::new(args.force, plan_file::inputs(&reading.sources));
    let drawn: Vec<_> = found
        .lines
        .iter()
        .filter_map(|of| of.as_ref().ok())
        .collect();
    let names = drawn.iter().map(|of| picture_name(line, &drawn, of));
    let pictures = Pictures::named(names, args.picture.as_deref(), &outputs)?;
    pictures.draw(&outputs, |ix, _| {
        let (of, page) = (drawn[ix], PictureSize::LINE);
        let png = mooring_picture_png(line, &found, of, page)?;
        Ok::<_, MooringCommandError>((png, mooring_picture_svg(line, &found, of, page)?))
    })?;
    match out.format {
        Format::Text => {
            out.stdout
                .write_all(mooring_text(line, &found).as_bytes())?;
            pictures.tell(&mut out.stdout)?;
        }
        Format::Json => {
            let mut whole = out.of_plan(mooring_json(line, &found));
            whole["pictures"] = json!(shown(pictures.paths()));
            out.json(&whole)?;
        }
    }
    let sunk = |of: &&HungLine| of.shapes.iter().flatten().any(|s| s.sunk().is_some());
    let bears: Vec<Word> = strengths(line, &found)
        .iter()
        .map(|s| s.verdict.word())
        .collect();
    if drawn.iter().any(sunk) || bears.contains(&Word::Broken) {
        return Ok(Exit::Broken);
    }
    let known = drawn.len() == found.lines.len()
        && drawn.iter().all(|of| of.shapes.iter().all(Result::is_ok))
        && !bears.contains(&Word::Unknown);
    Ok(if known { Exit::Met } else { Exit::Unknown })
}
