//! `soundline measure`: levels of recordings by the minute, in a table.

mod columns;
mod csv;
mod error;
mod inputs;
#[cfg(feature = "parquet")]
mod parquet;
mod table;
mod told;

use std::io::{self, Write};
use std::num::NonZeroU32;
use std::path::PathBuf;

use hearing::{HearError, MeasureError, Measured, Meter, Period};
use jiff::Timestamp;
use plan::Line;
use quantity::{Dimension, parse_amount};
use report::{Inputs, Overwrite, refuse_output, write_atomically_with};

use crate::cancel::Cancel;
use crate::exit::Exit;
use crate::failure::Failure;
use crate::listen::{self, Assigned, Assignment};
use crate::out::{Format, Out};
use crate::plan_file;
use columns::Columns;
pub(crate) use error::MeasureCommandError;
use error::MeasureFault;
use inputs::Stretch;
use table::{Kind, Table};
use told::Told;

/// Measure recordings by the minute: levels, exposure, peaks, kurtosis, decidecade levels, percentiles of spectral density.
///
/// Reads WAV, RF64, BW64, FLAC and Ogg Vorbis, and all of these in a folder. Minutes are those of the clock where the start of a
/// recording is known. A gap is not filled, and seconds with samples at full scale are left out of every figure; the table says
/// of each minute how much was heard and how much was averaged over.
#[derive(Debug, clap::Args)]
pub(crate) struct Args {
    /// The plan.
    plan: PathBuf,
    /// The recordings, or folders of them.
    #[arg(required = true, value_name = "RECORDING|FOLDER")]
    recordings: Vec<PathBuf>,
    /// Which sensor made the sound: `module.upper.sensor.ear`, or `2=module.upper.sensor.ear` for the second channel.
    /// Channels that are not named are left out.
    #[arg(long = "as", value_name = "[N=]SENSOR")]
    assignments: Vec<Assignment>,
    /// Length of the periods that are measured: a whole number of seconds up to a day.
    #[arg(long, value_name = "TIME", default_value = "1 min", value_parser = period)]
    every: NonZeroU32,
    /// Write the table: FILE.csv or FILE.parquet. It holds the bands and percentiles too.
    #[arg(long, value_name = "FILE")]
    out: Option<PathBuf>,
    /// When the recording begins, such as 2027-03-15T04:15:00Z; otherwise the file name tells (..._20270315T041500Z...).
    #[arg(long, value_name = "TIME", value_parser = listen::instant)]
    start: Option<Timestamp>,
    /// Take the sample rate of the recording where it differs from that of the sensor in the plan.
    #[arg(long)]
    own_rate: bool,
    /// Replace a table that exists.
    #[arg(long)]
    force: bool,
}

/// Longest period, s.
const LONGEST_S: u32 = 86_400;

fn period(text: &str) -> Result<NonZeroU32, String> {
    let amount = parse_amount(text, Dimension::Time).map_err(|fault| match fault.help() {
        Some(help) => format!("{fault}; {help}"),
        None => fault.to_string(),
    })?;
    let seconds = amount.si;
    let whole = amount.law.is_none() && seconds == seconds.round();
    if whole && (1.0..=f64::from(LONGEST_S)).contains(&seconds) {
        Ok(NonZeroU32::new(seconds as u32).expect("at least one"))
    } else {
        Err("must be a whole number of seconds from 1 s to 1 d, such as `1 min`".to_owned())
    }
}

pub(crate) fn run(args: &Args, out: &mut Out) -> Result<Exit, Failure> {
    let overwrite = if args.force {
        Overwrite::Force
    } else {
        Overwrite::Refuse
    };
    let kind = args.out.as_deref().map(table::kind).transpose()?;
    let reading = plan_file::read(&args.plan, out)?;
    plan_file::show(
        reading.mistakes.iter().filter(|m| m.is_error()),
        &reading.sources,
        out,
    )?;
    let line = plan_file::line(&reading, &args.plan)?;
    let mut assigned = listen::assign(line, &args.assignments, &[])?;
    for one in &mut assigned {
        // Detectors are not asked; one that cannot be at the recording's own rate is no hindrance.
        one.detectors.clear();
    }
    let found = inputs::find(&args.recordings)?;
    for note in &found.notes {
        writeln!(out.stderr, "note: {note}")?;
    }
    if args.start.is_some() && found.recordings.len() > 1 {
        return Err(listen::ListenError::OneStart {
            recordings: found.recordings.len(),
        }
        .into());
    }
    let mut inputs = plan_file::inputs(&reading.sources);
    inputs.extend(Inputs::of(&found.recordings));
    if let Some(path) = &args.out {
        refuse_output(path, overwrite, &inputs)?;
    }
    let lined = inputs::line_up(
        &found.recordings,
        args.start,
        args.own_rate,
        line,
        &assigned,
    )?;
    let mut told = Told::new(args.every, found.recordings.clone(), &assigned);
    for (place, fault) in lined.faults {
        tell_fault(&fault, out)?;
        told.fail(place, &fault);
    }
    told.surveys = lined.surveys;
    told.gaps = lined.gaps;

    let columns = Columns::new(&lined.rates_hz);
    let about = told::About {
        plan: &args.plan,
        plan_digest: &reading.digest,
        every: args.every,
        line,
        assigned: &assigned,
    };
    let head = told::head(&about, &columns)?;
    let work = Work {
        args,
        line,
        assigned: &assigned,
        stretches: &lined.stretches,
        columns: &columns,
    };
    match (&args.out, kind) {
        (Some(path), Some(kind)) if !lined.stretches.is_empty() => {
            write_table(path, kind, overwrite, &inputs, &head, &work, &mut told, out)?;
        }
        _ => work.run(None, &mut told, out)?,
    }
    if out.format == Format::Json {
        let mistakes = report::mistakes_json(&reading.mistakes, &reading.sources);
        out.json(&told::document(&told, &about, &head, &mistakes))?;
    } else {
        told::summary(&told, &mut out.stdout)?;
    }
    out.stdout.flush()?;
    if let Some(path) = args.out.as_ref().filter(|_| !lined.stretches.is_empty()) {
        writeln!(out.stderr, "wrote {}", path.display())?;
    }
    Ok(match told.failed() {
        0 => Exit::Met,
        n if n == found.recordings.len() => Exit::Unusable,
        _ => Exit::SomeFailed,
    })
}

/// Does the work into a table that is written whole or not at all.
#[expect(
    clippy::too_many_arguments,
    reason = "what it is called, what it may not replace, and the work"
)]
fn write_table(
    path: &std::path::Path,
    kind: Kind,
    overwrite: Overwrite,
    inputs: &Inputs,
    head: &[(String, String)],
    work: &Work<'_>,
    told: &mut Told,
    out: &mut Out,
) -> Result<(), Failure> {
    let mut failure = None;
    let written = write_atomically_with(path, overwrite, inputs, |file| {
        let mut table = Table::begin(kind, file, head, work.columns)?;
        if let Err(why) = work.run(Some(&mut table), told, out) {
            failure = Some(why);
            return Err(io::Error::other("the work was not done"));
        }
        table.end()
    });
    match failure {
        Some(failure) => Err(failure),
        None => Ok(written?),
    }
}

/// What is to be measured.
struct Work<'a> {
    args: &'a Args,
    line: &'a Line,
    assigned: &'a [Assigned],
    stretches: &'a [Stretch],
    columns: &'a Columns,
}

impl Work<'_> {
    /// Measures stretch after stretch; a period is told as soon as it is over.
    fn run(
        &self,
        mut table: Option<&mut Table<'_>>,
        told: &mut Told,
        out: &mut Out,
    ) -> Result<(), Failure> {
        let frames = self.stretches.iter().flat_map(|s| &s.files);
        let frames = frames.filter_map(|file| file.info.frames).sum();
        let cancel = Cancel::on_ctrl_c()?;
        let progress = out.progress(frames, "measuring");
        let read = |frames| {
            progress.inc(frames);
            !cancel.asked()
        };
        let in_text = out.format == Format::Text && table.is_none();
        let mut meter = Meter::new(self.args.every, self.assigned.len());
        let mut broken: Option<Failure> = None;
        let mut each = |measured: Measured| {
            if broken.is_some() {
                return;
            }
            let done = progress.suspend(|| match measured {
                Measured::Period(period) => {
                    self.period(&period, table.as_deref_mut(), told, in_text, out)
                }
                Measured::File { place, hearing } => {
                    let faults = told.heard(place, hearing, &mut out.stderr)?;
                    faults.iter().try_for_each(|fault| tell_fault(fault, out))
                }
            });
            broken = done.err();
        };
        for stretch in self.stretches {
            let ears = listen::ears(self.line, self.assigned, &stretch.files[0].info)?;
            let files = (&stretch.files[..], &stretch.places[..]);
            match meter.stretch(files.0, files.1, &ears, &mut each, &read) {
                Ok(()) => {}
                Err(MeasureError::Hear(HearError::Cancelled)) => {
                    return Err(MeasureCommandError::Cancelled {
                        table: table.is_some(),
                    }
                    .into());
                }
                Err(source) => {
                    return Err(MeasureCommandError::Stretch {
                        path: stretch.files[0].path.clone(),
                        source,
                    }
                    .into());
                }
            }
        }
        meter.finish(&mut each);
        progress.finish_and_clear();
        broken.map_or(Ok(()), Err)
    }

    fn period(
        &self,
        period: &Period,
        table: Option<&mut Table<'_>>,
        told: &mut Told,
        in_text: bool,
        out: &mut Out,
    ) -> Result<(), Failure> {
        let reference = told::reference(self.line, &self.assigned[period.ear]);
        if let Some(table) = table {
            let recording = &told.recordings[period.place];
            let row = self
                .columns
                .row(period, &self.assigned[period.ear], recording, reference);
            table.row(&row)?;
        }
        if in_text {
            told::row(told, period, reference, &mut out.stdout)?;
        }
        told.take(period, reference, out.format == Format::Json);
        Ok(())
    }
}

/// What went wrong with one recording, on standard error.
fn tell_fault(fault: &MeasureFault, out: &mut Out) -> Result<(), Failure> {
    writeln!(out.stderr, "error: {fault}")?;
    if let Some(help) = fault.help() {
        writeln!(out.stderr, "  help: {help}")?;
    }
    Ok(())
}
