//! `soundline listen`: recordings through the detectors of a plan.

mod blank;
mod csv;
mod drawn;
mod ears;
mod error;
mod json;
mod levels;
mod odd;
mod picture;
mod table;
mod two_ears;
mod work;

use std::io::Write;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU64, Ordering};

use assess::input::arithmetic;
use clap::ValueEnum;
use jiff::Timestamp;
use jiff::fmt::temporal::Pieces;
use jiff::tz::Offset;
use plan::{Detector, Mistake};
use report::Inputs;

use crate::cancel::Cancel;
use crate::exit::Exit;
use crate::failure::Failure;
use crate::out::{Format, Out};
use crate::outputs::Outputs;
use crate::plan_file;
pub(crate) use blank::{Blank, blank};
pub(crate) use csv::quoted;
pub(crate) use ears::{Assigned, Assignment, assign};
pub(crate) use error::{ListenError, RecordingFault, hear_words};
pub(crate) use odd::odd;
use two_ears::{Clocks, Pairs};
use work::Outcome;
pub(crate) use work::{Asked, look};

/// Run the detectors of a plan over recordings; list what they find, with sound levels.
///
/// Reads WAV, RF64, BW64, FLAC and Ogg Vorbis. Each channel is matched to a sensor of the plan with --as; its sensitivity,
/// gain and converter turn samples into sound pressure. Where channels are hydrophones one above the other, each event is told
/// with the time at which the other one hears it, and the elevation of its sound. Recordings that follow each other without a gap are heard as one.
#[derive(Debug, clap::Args)]
pub(crate) struct Args {
    /// The plan.
    plan: PathBuf,
    /// The recordings.
    #[arg(required = true, value_name = "RECORDING")]
    recordings: Vec<PathBuf>,
    /// Which sensor made the sound: `module.upper.sensor.ear`, or `2=module.upper.sensor.ear` for the second channel.
    /// Channels that are not named are left out.
    #[arg(long = "as", value_name = "[N=]SENSOR")]
    assignments: Vec<Assignment>,
    /// Only these detectors; without it, all that are on the named sensors.
    #[arg(long = "detector", value_name = "ID")]
    detectors: Vec<String>,
    /// When the recording begins, such as 2027-03-15T04:15:00Z; otherwise the file name tells (..._20270315T041500Z...).
    #[arg(long, value_name = "TIME", value_parser = instant)]
    start: Option<Timestamp>,
    /// Take the sample rate of the recording where it differs from that of the sensor in the plan.
    #[arg(long)]
    own_rate: bool,
    /// What levels are measured against: sound pressure, or the largest sample that the recording can hold.
    #[arg(long, value_enum, default_value_t = Units::Pressure)]
    units: Units,
    /// By which clocks the channels were written between which times of arrival are told: that of the recording, or those of the
    /// modules (`clock_error`) where a recording was put together from theirs.
    #[arg(long, value_enum, default_value_t = Clocks::Recording)]
    clocks: Clocks,
    /// Write pictures of the sound with its events and of the level of each detector, PNG and SVG: a folder; or of the sound
    /// alone: FILE.png or FILE.svg for one channel of one recording.
    #[arg(long, value_name = "DIR|FILE.png|FILE.svg", value_parser = crate::picture_name::folder_or_file)]
    picture: Option<PathBuf>,
    /// Write the events to a file as well: FILE.csv (a row an event, and one for each other hydrophone that may hear it) or FILE.json.
    #[arg(long, value_name = "FILE")]
    out: Option<PathBuf>,
    /// Replace files that exist.
    #[arg(long)]
    force: bool,
}

/// What levels are told against.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Units {
    /// Sound pressure: re 1 µPa in water, re 20 µPa in air.
    Pressure,
    /// The largest sample.
    FullScale,
}

/// A kind of events file, by the end of its name.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Table {
    Csv,
    Json,
}

/// `--start` with something that cannot be taken.
#[derive(Debug, thiserror::Error)]
pub(crate) enum NoTime {
    /// It is no time.
    #[error(
        "it is no time such as 2027-03-15T04:15:00Z, in UTC (Z) or with its offset (+02:00); a date alone is 00:00 UTC"
    )]
    None,
    /// It is one that the clock does not reach.
    #[error(
        "it lies outside {} to {}, the times that are known",
        Timestamp::MIN,
        Timestamp::MAX
    )]
    Outside,
}

/// A time with its offset, or a date, which is 00:00 UTC.
pub(crate) fn instant(text: &str) -> Result<Timestamp, NoTime> {
    text.parse::<Timestamp>().or_else(|_| {
        let pieces = Pieces::parse(text).map_err(|_| NoTime::None)?;
        if pieces.time().is_some() && pieces.offset().is_some() {
            return Err(NoTime::Outside);
        }
        // A time of day without an offset would be taken for a date, and its time be lost.
        let date = pieces.date();
        if date.to_string() != text {
            return Err(NoTime::None);
        }
        Offset::UTC
            .to_timestamp(date.at(0, 0, 0, 0))
            .map_err(|_| NoTime::Outside)
    })
}

pub(crate) fn run(args: &Args, out: &mut Out) -> Result<Exit, Failure> {
    let table = args.out.as_deref().map(table_kind).transpose()?;
    if args.start.is_some() && args.recordings.len() > 1 {
        return Err(ListenError::OneStart {
            recordings: args.recordings.len(),
        }
        .into());
    }
    let reading = plan_file::read(&args.plan, out)?;
    let unusable = || Failure::Plan {
        path: args.plan.display().to_string(),
    };
    let Some(line) = &reading.line else {
        plan_file::show(
            reading.mistakes.iter().filter(|m| m.is_error()),
            &reading.sources,
            out,
        )?;
        return Err(unusable());
    };
    let concerns = |m: &&Mistake| m.is_error() && m.parts().any(|part| concerns(part, args));
    if plan_file::show(
        reading.mistakes.iter().filter(concerns),
        &reading.sources,
        out,
    )? > 0
    {
        return Err(unusable());
    }
    if reading.has_errors() && out.format == Format::Text {
        writeln!(
            out.stderr,
            "note: the plan has mistakes elsewhere; they do not touch what is listened with"
        )?;
    }
    let assigned = assign(line, &args.assignments, &args.detectors)?;
    let mut inputs = plan_file::inputs(&reading.sources);
    inputs.extend(Inputs::of(&args.recordings));
    let outputs = Outputs::new(args.force, inputs);
    let pairs = Pairs::new(line, &assigned, args.clocks);
    let labels = json::Labels {
        assigned: &assigned,
        line,
        pairs: &pairs,
    };
    let heard = listen(args, labels, &outputs, out)?;

    let told = json::Told {
        plan: &args.plan,
        plan_digest: &reading.digest,
        outcomes: &heard.kept,
        labels,
        mistakes: report::mistakes_json(&reading.mistakes, &reading.sources),
    };
    if let (Some(path), Some(table)) = (&args.out, table) {
        let bytes = match table {
            Table::Csv => csv::events(&told).into_bytes(),
            Table::Json => json::bytes(&told),
        };
        outputs.write(path, &bytes)?;
    }
    if out.format == Format::Json {
        out.json(&json::document(&told))?;
    }
    out.stdout.flush()?;
    if let Some(path) = &args.out {
        writeln!(out.stderr, "wrote {}", path.display())?;
    }
    Ok(match heard.failed {
        0 => Exit::Met,
        n if n == args.recordings.len() => Exit::Unusable,
        _ => Exit::SomeFailed,
    })
}

/// The document of one recording that a page asks for, of a plan that was read; `watch` gets the share that is done, and says whether to go on.
///
/// # Errors
/// Those of the command.
pub(crate) fn heard(
    plan: &Path,
    reading: &plan::Reading,
    recording: &Path,
    sensors: &[String],
    watch: &(dyn Fn(f64) -> bool + Sync),
) -> Result<serde_json::Value, Failure> {
    let line = plan_file::line(reading, plan)?;
    let named = sensors.iter().map(|s| s.parse::<Assignment>());
    let assignments = named.collect::<Result<Vec<_>, _>>();
    let args = Args {
        plan: plan.to_path_buf(),
        recordings: vec![recording.to_path_buf()],
        assignments: assignments.map_err(ListenError::from)?,
        detectors: Vec::new(),
        start: None,
        own_rate: false,
        units: Units::Pressure,
        clocks: Clocks::Recording,
        picture: None,
        out: None,
        force: false,
    };
    let assigned = assign(line, &args.assignments, &args.detectors)?;
    let outputs = Outputs::new(false, Inputs::none());
    let pairs = Pairs::new(line, &assigned, args.clocks);
    let asked = Asked {
        recordings: &args.recordings,
        start: args.start,
        own_rate: args.own_rate,
    };
    let looked = look(asked, line, &assigned)?;
    let pictures = picture::paths(None, &looked, line, &assigned)?;
    let whole: u64 = looked
        .iter()
        .flatten()
        .filter_map(|f| f.survey.info.frames)
        .sum();
    let done = AtomicU64::new(0);
    let read = |frames| {
        let done = done.fetch_add(frames, Ordering::Relaxed) + frames;
        watch(done as f64 / whole.max(1) as f64)
    };
    let files = work::Files {
        pictures: &pictures,
        outputs: &outputs,
        pairs: &pairs,
    };
    let mut outcomes = Vec::new();
    let mut each = |outcome: Outcome| {
        outcomes.push(outcome);
        Ok(())
    };
    work::hear(&args, looked, line, &assigned, files, &read, &mut each)?;
    let told = json::Told {
        plan,
        plan_digest: &reading.digest,
        outcomes: &outcomes,
        labels: json::Labels {
            assigned: &assigned,
            line,
            pairs: &pairs,
        },
        mistakes: report::mistakes_json(&reading.mistakes, &reading.sources),
    };
    Ok(serde_json::to_value(json::document(&told)).expect("numbers and texts always become JSON"))
}

/// What is left when all recordings have been told.
#[derive(Default)]
struct Heard {
    failed: usize,
    /// What came of each, where a document of them all is still to be written.
    kept: Vec<Outcome>,
}

/// Looks at the recordings, checks all that can be checked before the long work, and does it; each recording is told as
/// soon as it and all before it are done.
fn listen(
    args: &Args,
    labels: json::Labels<'_>,
    outputs: &Outputs,
    out: &mut Out,
) -> Result<Heard, Failure> {
    let json::Labels {
        assigned,
        line,
        pairs,
    } = labels;
    let asked = Asked {
        recordings: &args.recordings,
        start: args.start,
        own_rate: args.own_rate,
    };
    let looked = look(asked, line, assigned)?;
    let pictures = picture::paths(args.picture.as_deref(), &looked, line, assigned)?;
    let files = picture::files(&pictures).chain(&args.out);
    outputs.refuse(files.map(PathBuf::as_path))?;
    let frames = looked.iter().flatten().filter_map(|f| f.survey.info.frames);
    let cancel = Cancel::on_ctrl_c()?;
    let progress = out.progress(frames.sum(), "listening");
    let read = |frames| {
        progress.inc(frames);
        !cancel.asked()
    };
    let files = work::Files {
        pictures: &pictures,
        outputs,
        pairs,
    };
    // Where nothing can be heard, the errors alone say why.
    let in_text = out.format == Format::Text && looked.iter().any(Result::is_ok);
    let keep = args.out.is_some() || out.format == Format::Json;
    let mut heard = Heard::default();
    let mut first = true;
    let mut each = |outcome: Outcome| -> Result<(), Failure> {
        progress.suspend(|| {
            if in_text {
                if !std::mem::take(&mut first) {
                    writeln!(out.stdout)?;
                }
                table::recording(labels, &outcome, &mut out.stdout)?;
                out.stdout.flush()?;
            }
            tell(&outcome, out)
        })?;
        heard.failed += usize::from(outcome.failed());
        if keep {
            heard.kept.push(outcome);
        }
        Ok(())
    };
    let worked = work::hear(args, looked, line, assigned, files, &read, &mut each);
    progress.finish_and_clear();
    worked?;
    if in_text && line.detectors.iter().any(Detector::of_learned) {
        writeln!(out.stdout, "\n{} arithmetic", arithmetic(line))?;
    }
    Ok(heard)
}

/// The ears for recordings like this one, in sound pressure.
pub(crate) fn ears(
    line: &plan::Line,
    assigned: &[Assigned],
    info: &recording::Info,
) -> Result<Vec<hearing::Ear>, ListenError> {
    ears::ears(line, assigned, info, Units::Pressure)
}

/// Whether a mistake in a part of the plan touches what is listened with.
fn concerns(part: &str, args: &Args) -> bool {
    let mut words = part.split('.');
    match (words.next(), words.next()) {
        (Some("module"), Some(module)) => args
            .assignments
            .iter()
            .any(|a| a.sensor.split('.').nth(1) == Some(module)),
        (Some("detector"), Some(id)) => {
            args.detectors.is_empty() || args.detectors.iter().any(|d| d == id)
        }
        (Some("part" | "include" | "file" | "format" | "") | None, _) => true,
        _ => false,
    }
}

fn table_kind(path: &Path) -> Result<Table, ListenError> {
    match path.extension().and_then(|e| e.to_str()) {
        Some("csv") => Ok(Table::Csv),
        Some("json") => Ok(Table::Json),
        _ => Err(ListenError::OutName {
            path: path.to_path_buf(),
        }),
    }
}

/// What went wrong and what was written, on standard error.
fn tell(outcome: &Outcome, out: &mut Out) -> Result<(), Failure> {
    for picture in &outcome.pictures {
        writeln!(out.stderr, "wrote {}", picture.display())?;
    }
    for note in &outcome.notes {
        writeln!(out.stderr, "note: {}: {note}", outcome.path.display())?;
    }
    for error in &outcome.errors {
        writeln!(out.stderr, "error: {error}")?;
        if let Some(help) = error.help() {
            writeln!(out.stderr, "  help: {help}")?;
        }
    }
    Ok(())
}
