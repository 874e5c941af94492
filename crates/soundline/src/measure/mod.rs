//! `soundline measure`: levels of recordings by the minute, in a table.

mod columns;
mod csv;
mod dummy;
mod error;
mod head;
mod inputs;
mod json;
#[cfg(feature = "parquet")]
mod parquet;
mod periods;
mod table;
mod told;

use std::cell::Cell;
use std::io::{self, Write};
use std::num::NonZeroU32;
use std::path::PathBuf;

use hearing::{HearError, Lines, MeasureError, Measured, Meter, Period, lines_bytes};
use jiff::Timestamp;
use plan::Line;
use quantity::{Dimension, parse_amount};
use report::Inputs;

use crate::cancel::Cancel;
use crate::exit::Exit;
use crate::failure::Failure;
use crate::listen::{self, Assigned, Assignment};
use crate::out::{Format, Out};
use crate::outputs::Outputs;
use crate::plan_file;
use columns::Columns;
pub(crate) use error::MeasureCommandError;
use error::MeasureFault;
use head::About;
use inputs::Stretch;
use periods::Periods;
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
    /// Length of the periods that are measured: a whole number of seconds up to a day. 1 s with `--dummy`, as a longer one hides what is short in its mean.
    #[arg(long, value_name = "TIME", default_value = "1 min", default_value_if("dummy", "true", "1 s"), value_parser = period)]
    every: NonZeroU32,
    /// Write the table: FILE.csv or FILE.parquet. It holds the bands and percentiles too.
    #[arg(long, value_name = "FILE")]
    out: Option<PathBuf>,
    /// Write a second table: percentiles of spectral density by lines of 1 Hz, a row for each line of each period: FILE.csv or
    /// FILE.parquet.
    #[arg(long, value_name = "FILE")]
    lines: Option<PathBuf>,
    /// When the recording begins, such as 2027-03-15T04:15:00Z; otherwise the file name tells (..._20270315T041500Z...).
    #[arg(long, value_name = "TIME", value_parser = listen::instant)]
    start: Option<Timestamp>,
    /// Take the sample rate of the recording where it differs from that of the sensor in the plan.
    #[arg(long)]
    own_rate: bool,
    /// The recording was made with a dummy in place of the element: judge each decidecade against the sea of the quietest month of
    /// the deployment, of which it must lie 10 dB below. Make one for each state of the module, and name each with `--state`.
    #[arg(long)]
    dummy: bool,
    /// A state of the sensor's module in which these recordings were made, one of its `loads`, such as `sending`; once for each. Of a state
    /// that is not named it is not known what is picked up in it.
    #[arg(long = "state", value_name = "STATE", requires = "dummy")]
    states: Vec<String>,
    /// Replace tables that exist.
    #[arg(long)]
    force: bool,
}

/// Most memory for the spectra of periods at hand (ours).
const MOST_LINES_BYTES: u64 = 1 << 30;
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
    let target = |path: &Option<PathBuf>| -> Result<Option<Target>, MeasureCommandError> {
        path.as_ref()
            .map(|path| Ok((path.clone(), table::kind(path)?)))
            .transpose()
    };
    let (periods, lines) = (target(&args.out)?, target(&args.lines)?);
    if let Some(path) = args.out.as_ref().filter(|_| args.out == args.lines) {
        return Err(MeasureCommandError::OneFile { path: path.clone() }.into());
    }
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
    let chains = match args.dummy {
        true => dummy::budgets(line, &assigned)?,
        false => Vec::new(),
    };
    let states_missing = dummy::states_missing(line, &assigned, &args.states)?;
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
    let outputs = Outputs::new(args.force, inputs);
    outputs.refuse(args.out.as_deref().into_iter().chain(args.lines.as_deref()))?;
    let lined = inputs::line_up(
        &found.recordings,
        args.start,
        args.own_rate,
        line,
        &assigned,
    )?;
    let kept = (out.format == Format::Json).then(Periods::new);
    let mut told = Told::new(args.every, found.recordings.clone(), &assigned, kept);
    for (place, fault) in lined.faults {
        tell_fault(&fault, &mut out.stderr)?;
        told.fail(place, &fault);
    }
    told.surveys = lined.surveys;
    told.gaps = lined.gaps;

    let columns = Columns::new(&lined.rates_hz);
    let about = About {
        plan: &args.plan,
        plan_digest: &reading.digest,
        every: args.every,
        line,
        assigned: &assigned,
    };
    let head = head::head(&about, &columns)?;
    let work = Work {
        args,
        line,
        assigned: &assigned,
        stretches: &lined.stretches,
        columns: &columns,
    };
    work.refuse_too_many_lines()?;
    let nothing = lined.stretches.is_empty();
    let files = Files {
        outputs: &outputs,
        head: &head,
    };
    let line_columns = Columns::of_lines();
    files.with(periods.filter(|_| !nothing), &columns, |periods| {
        files.with(lines.filter(|_| !nothing), &line_columns, |lines| {
            work.run(Tables { periods, lines }, &mut told, out)
        })
    })?;
    let judged = dummy::judged((&chains, &states_missing), &told.sensors, args.every);
    if let Some(periods) = told.periods.take() {
        let mistakes = report::mistakes_json(&reading.mistakes, &reading.sources);
        let document = json::document(&told, &judged, &about, &head, &mistakes);
        out.document(|to| periods.write_into(&document, to))?;
    } else {
        told::summary(&told, &mut out.stdout)?;
        dummy::tell(&judged, &told.sensors, &mut out.stdout)?;
    }
    out.stdout.flush()?;
    for path in args.out.iter().chain(&args.lines).filter(|_| !nothing) {
        writeln!(out.stderr, "wrote {}", path.display())?;
    }
    let without = told.without_any_figure();
    // A recording that failed has told why.
    if told.failed() == 0 {
        for fault in &without {
            tell_fault(fault, &mut out.stderr)?;
        }
    }
    Ok(match told.failed() {
        0 if without.is_empty() => dummy::exit(&judged),
        0 if without.len() == told.sensors() => Exit::Unusable,
        n if n == found.recordings.len() => Exit::Unusable,
        _ => Exit::SomeFailed,
    })
}

/// A table that is wanted: its path and its kind.
type Target = (PathBuf, Kind);

/// What may be written, and what stands at the head of each table.
struct Files<'a> {
    outputs: &'a Outputs,
    head: &'a [(String, String)],
}

impl Files<'_> {
    /// Does the work into a table that is written whole or not at all; without a target, into none.
    fn with(
        &self,
        target: Option<Target>,
        columns: &Columns,
        work: impl FnOnce(Option<&mut Table<'_>>) -> Result<(), Failure>,
    ) -> Result<(), Failure> {
        let Some((path, kind)) = target else {
            return work(None);
        };
        let mut failure = None;
        let written = self.outputs.write_with(&path, |file| {
            let mut table = Table::begin(kind, file, self.head, columns)?;
            if let Err(why) = work(Some(&mut table)) {
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
}

/// The tables that are wanted.
struct Tables<'t, 'p, 'l> {
    periods: Option<&'t mut Table<'p>>,
    lines: Option<&'t mut Table<'l>>,
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
    /// Spectra of long periods at high rates would fill the memory.
    fn refuse_too_many_lines(&self) -> Result<(), MeasureCommandError> {
        let rates = self.stretches.iter().map(|s| s.files[0].info.rate_hz);
        let Some(rate_hz) = rates.max().filter(|_| self.args.lines.is_some()) else {
            return Ok(());
        };
        let bytes = lines_bytes(rate_hz, self.args.every) * self.assigned.len() as u64;
        if bytes > MOST_LINES_BYTES {
            return Err(MeasureCommandError::TooManyLines {
                every_s: self.args.every.get(),
                rate_hz,
                bytes,
                limit_bytes: MOST_LINES_BYTES,
            });
        }
        Ok(())
    }

    /// Measures stretch after stretch; a period is told as soon as it is over.
    fn run(
        &self,
        mut tables: Tables<'_, '_, '_>,
        told: &mut Told,
        out: &mut Out,
    ) -> Result<(), Failure> {
        let frames = self.stretches.iter().flat_map(|s| &s.files);
        let frames = frames.filter_map(|file| file.info.frames).sum();
        let cancel = Cancel::on_ctrl_c()?;
        let progress = out.progress(frames, "measuring");
        // Nothing is measured any more once it cannot be written.
        let unwritten = Cell::new(false);
        let read = |frames| {
            progress.inc(frames);
            !(cancel.asked() || unwritten.get())
        };
        let in_text = out.format == Format::Text && tables.periods.is_none();
        let lines = if tables.lines.is_some() {
            Lines::Keep
        } else {
            Lines::Leave
        };
        let any_table = tables.periods.is_some() || tables.lines.is_some();
        let mut meter = Meter::new(self.args.every, self.assigned.len(), lines);
        let mut broken: Option<Failure> = None;
        // What is odd about recordings would stand in the middle of the rows.
        let mut after: Vec<u8> = Vec::new();
        let mut each = |measured: Measured| {
            if broken.is_some() {
                return;
            }
            let done = progress.suspend(|| match measured {
                Measured::Period(period) => self.period(&period, &mut tables, told, in_text, out),
                Measured::File { place, hearing } => {
                    let to: &mut dyn Write = if in_text { &mut after } else { &mut out.stderr };
                    let faults = told.heard(place, hearing, to)?;
                    faults.iter().try_for_each(|fault| tell_fault(fault, to))
                }
            });
            broken = done.err();
            unwritten.set(broken.is_some());
        };
        let mut stopped: Option<Failure> = None;
        for stretch in self.stretches {
            let ears = listen::ears(self.line, self.assigned, &stretch.files[0].info)?;
            let Stretch { files, places } = stretch;
            if let Err(error) = meter.stretch(files, places, &ears, &mut each, &read) {
                stopped = Some(match error {
                    MeasureError::Hear(HearError::Cancelled) => {
                        MeasureCommandError::Cancelled { table: any_table }.into()
                    }
                    source => MeasureCommandError::Stretch {
                        path: files[0].path.clone(),
                        source,
                    }
                    .into(),
                });
                break;
            }
        }
        if stopped.is_none() {
            meter.finish(&mut each);
        }
        progress.finish_and_clear();
        out.stderr.write_all(&after)?;
        broken.or(stopped).map_or(Ok(()), Err)
    }

    fn period(
        &self,
        period: &Period,
        tables: &mut Tables<'_, '_, '_>,
        told: &mut Told,
        in_text: bool,
        out: &mut Out,
    ) -> Result<(), Failure> {
        let reference = head::reference(self.line, &self.assigned[period.ear]);
        let (assigned, recording) = (
            &self.assigned[period.ear],
            told.recordings[period.place].as_path(),
        );
        if let Some(table) = &mut tables.periods {
            table.row(&self.columns.row(period, assigned, recording, reference))?;
        }
        if let Some(table) = &mut tables.lines {
            for row in Columns::line_rows(period, assigned, recording, reference) {
                table.row(&row)?;
            }
        }
        if in_text {
            told::row(told, period, reference, &mut out.stdout)?;
            out.stdout.flush()?;
        }
        let taken = told.take(period, reference);
        Ok(taken.map_err(MeasureCommandError::Kept)?)
    }
}

/// What went wrong with one recording, on standard error.
fn tell_fault(fault: &MeasureFault, to: &mut dyn Write) -> Result<(), Failure> {
    writeln!(to, "error: {fault}")?;
    if let Some(help) = fault.help() {
        writeln!(to, "  help: {help}")?;
    }
    Ok(())
}
