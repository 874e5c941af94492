//! `soundline check`: every requirement of a plan, met or not.

use std::io::Write;
use std::path::{Path, PathBuf};
use std::sync::atomic::AtomicUsize;
use std::sync::atomic::Ordering::Relaxed;

use assess::{
    Certainty, CertaintyAsk, Check, DrawsRecord, FEW_YEARS, LeverageOf, Memo, Shelf, Tier,
    assumed_by_leverage, certainty, evidence_table,
};
use beside::{PROGRAM, computed_by, shelf, shelf_without_records};
use plan::Reading;
use report::{
    OutputError, PictureError, certainty_json, certainty_picture_png, certainty_picture_svg,
    certainty_text, check_json, check_text, check_text_by_leverage, evidence_table_json,
    evidence_table_text, leverage_json,
};
use serde_json::json;

use crate::cancel::Cancel;
use crate::exit::Exit;
use crate::failure::Failure;
use crate::out::{Format, Out};
use crate::outputs::{self, Outputs};
use crate::picture_name;
use crate::plan_file;

/// Check a plan against its requirements: met, marginal, broken or unknown, with value, limit, margin and why.
///
/// Reads the evidence that rehearsals have left beside the plan. A mistake in the plan leaves what does not rest on it
/// standing, and the rest unknown.
#[derive(Debug, clap::Args)]
pub(crate) struct Args {
    /// The plan.
    plan: PathBuf,
    /// Count only the first of the weather years that a share of years asks for, and call provisional what rests on the others.
    #[arg(long, conflicts_with = "certainty")]
    quick: bool,
    /// Also tell for each requirement which evidence supports it: a calculation, a rehearsal, recordings, a measurement, or nothing yet.
    #[arg(long, conflicts_with = "certainty")]
    evidence: bool,
    /// Also write another value in place of each that is assumed, and list those first that move a verdict most. A check for each value: takes a while.
    #[arg(long, conflicts_with_all = ["certainty", "quick"])]
    assumed: bool,
    /// Also draw every value that is written with a spread, many times, and tell how surely each requirement is met. JSON is then the
    /// document of the draws alone.
    #[arg(long)]
    certainty: bool,
    /// How many draws.
    #[arg(long, value_name = "N", default_value_t = 1000, requires = "certainty")]
    draws: usize,
    /// Seed of the draws and of their weather.
    #[arg(
        long,
        value_name = "NUMBER",
        default_value_t = 1,
        requires = "certainty"
    )]
    seed: u64,
    /// Weather years of each draw's own.
    #[arg(long, value_name = "N", default_value_t = FEW_YEARS, requires = "certainty")]
    years: u64,
    /// Draw the spread of each requirement's margin against its limit, the least sure first: a file ending in .png or .svg.
    #[arg(long, value_name = "FILE", value_parser = picture_name::file, requires = "certainty")]
    picture: Option<PathBuf>,
    /// Replace the picture if it exists.
    #[arg(long, requires = "picture")]
    force: bool,
    /// Read none of the evidence that lies beside the plan. With --certainty: leave none of the draws there; what lies there is read.
    #[arg(long)]
    no_evidence: bool,
}

impl Args {
    /// What is asked of the draws.
    fn ask(&self) -> CertaintyAsk {
        CertaintyAsk {
            draws: self.draws,
            seed: self.seed,
            years: self.years,
            threads: std::thread::available_parallelism().map_or(1, usize::from),
        }
    }
}

pub(crate) fn run(args: &Args, out: &mut Out) -> Result<Exit, Failure> {
    if args.certainty {
        // Before anything is told.
        args.ask().possible()?;
    }
    let reading = plan_file::read_and_show(&args.plan, out)?;
    let cancel = Cancel::on_ctrl_c()?;
    let bar = out.progress(0, "reading recordings that evidence names");
    let watch = |read, whole| {
        bar.set_length(whole);
        bar.set_position(read);
        !cancel.asked()
    };
    let looked = match args.no_evidence && !args.certainty {
        true => Some(shelf_without_records(&args.plan, &reading)),
        false => shelf(&args.plan, &reading, &watch),
    };
    bar.finish_and_clear();
    let Some((shelf, warnings)) = looked else {
        return Ok(Exit::Cancelled);
    };
    if args.certainty {
        return sure(args, &reading, shelf, &warnings, &cancel, out);
    }
    let tier = match args.quick {
        true => Tier::Quick,
        false => Tier::Full,
    };
    let memo = Memo::new();
    let check = assess::check_with(&reading, &shelf, &memo, tier);
    let by_leverage = match args.assumed && !reading.has_errors() {
        true => {
            let bar = out.progress(0, "trying other values");
            let fetch = plan::from_folder_of(&args.plan);
            let of = LeverageOf {
                path: &args.plan,
                reading: &reading,
                shelf: &shelf,
                fetch: &fetch,
                memo: &memo,
            };
            let watch = |part: f64| {
                bar.set_length(100);
                bar.set_position((100.0 * part) as u64);
                !cancel.asked()
            };
            let threads = std::thread::available_parallelism().map_or(1, usize::from);
            let found = assumed_by_leverage(&of, &check, threads, &watch);
            bar.finish_and_clear();
            if cancel.asked() {
                return Ok(Exit::Cancelled);
            }
            found
        }
        false => None,
    };
    match out.format {
        Format::Text => {
            for warning in &warnings {
                writeln!(out.stderr, "warning: {warning}")?;
            }
            let text = match &by_leverage {
                Some(found) => check_text_by_leverage(&check, found, out.colour),
                None => check_text(&check, out.colour),
            };
            out.stdout.write_all(text.as_bytes())?;
            if args.evidence {
                let found = evidence_table(reading.line.as_ref(), &check);
                write!(out.stdout, "\n{}", evidence_table_text(&found, out.colour))?;
            }
        }
        Format::Json => {
            let mut whole = check_json(&check, PROGRAM, &reading.mistakes, &reading.sources);
            if args.evidence {
                let found = evidence_table(reading.line.as_ref(), &check);
                whole["rests_on"] = evidence_table_json(&found);
            }
            if let Some(found) = &by_leverage {
                whole["assumed_by_leverage"] = leverage_json(found);
            }
            whole["warnings"] = json!(warnings);
            out.json(&whole)?;
        }
    }
    Ok(check.status().into())
}

/// The plan with its verdicts, drawn.
fn sure(
    args: &Args,
    reading: &Reading,
    mut shelf: Shelf,
    warnings: &[String],
    cancel: &Cancel,
    out: &mut Out,
) -> Result<Exit, Failure> {
    let outputs = Outputs::new(args.force, plan_file::inputs(&reading.sources));
    outputs.refuse(args.picture.as_deref())?;
    // What earlier draws say is told again with these.
    let earlier = std::mem::take(&mut shelf.draws);
    let memo = Memo::new();
    let mut check = assess::check_with(reading, &shelf, &memo, Tier::Full);
    let requirements = reading.line.iter().flat_map(|line| &line.requirements);
    let asked = requirements.filter(|r| r.share_of_draws.is_some()).count() > 0;
    if out.format == Format::Text {
        for warning in warnings {
            writeln!(out.stderr, "warning: {warning}")?;
        }
        if !asked {
            // The verdicts need not wait for the draws.
            out.stdout
                .write_all(check_text(&check, out.colour).as_bytes())?;
            out.stdout.flush()?;
        }
    }
    let ask = args.ask();
    let found = drawn(reading, &shelf, &check, &ask, cancel, out)?;
    let record = DrawsRecord::new(&reading.drawn_digests, &ask, &found, computed_by());
    let mut evidence = None;
    let mut refused: Option<Failure> = None;
    shelf.draws = earlier;
    if !args.no_evidence {
        let path = record.path(&args.plan);
        // The draws are told even where they cannot be left beside the plan.
        match outputs.leave(&args.plan, &path, &record.to_json()) {
            Ok(()) => evidence = Some(path),
            Err(error) => refused = Some(CheckError::Evidence(error).into()),
        }
        if !shelf.draws.contains(&record) {
            shelf.draws.push(record);
        }
    }
    if asked {
        check = assess::check_with(reading, &shelf, &memo, Tier::Full);
    }
    if let Some(path) = &args.picture {
        outputs.write(path, &picture(path, &found).map_err(CheckError::from)?)?;
    }
    let shown = |path: &Option<PathBuf>| path.as_ref().map(|p| p.display().to_string());
    match out.format {
        Format::Text => {
            if asked {
                out.stdout
                    .write_all(check_text(&check, out.colour).as_bytes())?;
            }
            let text = certainty_text(&found, &reading.sources, out.colour);
            write!(out.stdout, "\n{text}")?;
            let written = [("picture", &args.picture), ("evidence", &evidence)];
            let written = written
                .iter()
                .filter_map(|(what, path)| Some((*what, path.as_deref()?)));
            outputs::tell(&mut out.stdout, written)?;
        }
        Format::Json => {
            let mut whole = out.of_plan(certainty_json(&found, &reading.sources));
            whole["picture"] = json!(shown(&args.picture));
            whole["evidence"] = json!(shown(&evidence));
            whole["warnings"] = json!(warnings);
            out.json(&whole)?;
        }
    }
    match refused {
        Some(failure) => Err(failure),
        None => Ok(check.status().into()),
    }
}

fn picture(path: &Path, found: &Certainty) -> Result<Vec<u8>, PictureError> {
    match path.extension().is_some_and(|e| e == "png") {
        true => certainty_picture_png(found),
        false => certainty_picture_svg(found).map(String::into_bytes),
    }
}

/// Why a check could not be told.
#[derive(Debug, thiserror::Error)]
pub(crate) enum CheckError {
    /// The picture cannot be drawn.
    #[error("the picture cannot be drawn: {0}")]
    Draw(#[from] PictureError),
    /// The draws cannot be left beside the plan.
    #[error("the evidence was not left: {0}")]
    Evidence(#[source] OutputError),
    /// The user asked to stop.
    #[error("cancelled after {done} of {draws} draws: what they showed was not kept")]
    Cancelled {
        /// Draws that were judged.
        done: usize,
        /// Asked for.
        draws: usize,
    },
}

impl CheckError {
    /// How the user may mend it.
    pub(crate) fn help(&self) -> Option<String> {
        match self {
            CheckError::Evidence(_) => Some(
                "add --no-evidence to leave none, or copy the plan's folder to where you may write"
                    .to_owned(),
            ),
            CheckError::Draw(PictureError::Size { .. }) => {
                Some("the plan has more requirements than one picture holds".to_owned())
            }
            CheckError::Draw(_) | CheckError::Cancelled { .. } => None,
        }
    }
}

/// The plan drawn.
fn drawn(
    reading: &Reading,
    shelf: &Shelf,
    check: &Check,
    ask: &CertaintyAsk,
    cancel: &Cancel,
    out: &Out,
) -> Result<Certainty, Failure> {
    let bar = out.progress(1000, "drawing the plan");
    let done = AtomicUsize::new(0);
    let watch = |share: f64| {
        bar.set_position((1000.0 * share) as u64);
        done.fetch_max((share * ask.draws as f64).round() as usize, Relaxed);
        !cancel.asked()
    };
    let found = certainty(reading, shelf, check, ask, &watch);
    bar.finish_and_clear();
    let cancelled = || CheckError::Cancelled {
        done: done.load(Relaxed),
        draws: ask.draws,
    };
    Ok(found?.ok_or_else(cancelled)?)
}
