//! `soundline rehearse`: the whole line in time, driven by a cue sheet.

use std::collections::BTreeSet;
use std::io::Write;
use std::path::{Path, PathBuf};

use assess::depths_told;
use live::LiveError;
use plan::{Code, CueReading, CueSheet, Line, Mistake, Reading, Severity, SoundKind};
use rehearsal::{Outcome, Record, RehearsalError, What};
use report::{Inputs, OutputError, depths_json, rehearsal_json, rehearsal_text, trace_json};
use serde_json::{Value, json};

use crate::cancel::Cancel;
use crate::exit::Exit;
use crate::failure::Failure;
use crate::live_link::{LiveArgs, LiveLinkError, Session};
use crate::out::{Format, Out};
use crate::outputs::Outputs;
use crate::plan_file;
use beside::cue_digest;
use beside::{PROGRAM, Rehearsed, TraceDigest, rehearsal_evidence};

/// Records that are kept for the text; a longer rehearsal is told whole only in its trace.
const KEPT: usize = 200_000;

/// Rehearse the line: play a cue sheet of sounds and faults, and see what the line makes of it.
///
/// Leaves its result beside the plan, in PLAN's folder under `<plan>.evidence`, where `check` finds it.
#[derive(Debug, clap::Args)]
pub(crate) struct Args {
    /// The plan.
    plan: PathBuf,
    /// The cue sheet.
    cues: PathBuf,
    /// Write every record, one JSON object a line, each with the record that caused it. The first line says of what.
    #[arg(long, value_name = "FILE")]
    trace: Option<PathBuf>,
    /// Replace the trace if it exists.
    #[arg(long)]
    force: bool,
    /// Leave no evidence beside the plan.
    #[arg(long)]
    no_evidence: bool,
    #[command(flatten)]
    live: LiveArgs,
}

/// Why a rehearsal could not be run.
#[derive(Debug, thiserror::Error)]
pub(crate) enum RehearseError {
    /// The cue sheet cannot be used. What is wrong has been shown already.
    #[error("{path}: the cue sheet cannot be used as it is")]
    Cues {
        /// Its path as the user gave it.
        path: String,
    },
    /// A recording that the cue sheet plays cannot be read.
    #[error("the rehearsal cannot be run: {0}")]
    Sounds(String),
    /// The rehearsal stopped.
    #[error("the rehearsal cannot be run: {0}")]
    Run(Box<RehearsalError>),
    /// The user asked to stop.
    #[error("cancelled at {at} of the rehearsal")]
    Cancelled {
        /// How far it had come.
        at: timeline::Ns,
        /// Where its trace stands as far as it came; of a live rehearsal alone.
        trace: Option<PathBuf>,
    },
    /// The rehearsal was not linked to the world.
    #[error("the rehearsal cannot be run: {0}")]
    Live(Box<LiveLinkError>),
    /// The result cannot be left beside the plan.
    #[error("the evidence was not left: {0}")]
    Evidence(#[source] OutputError),
}

impl From<LiveLinkError> for RehearseError {
    fn from(error: LiveLinkError) -> Self {
        RehearseError::Live(Box::new(error))
    }
}

impl RehearseError {
    /// How the user may mend it.
    pub(crate) fn help(&self) -> Option<String> {
        match self {
            RehearseError::Evidence(_) => Some(
                "add --no-evidence to leave none, or copy the plan's folder to where you may write"
                    .to_owned(),
            ),
            RehearseError::Sounds(_) => {
                Some("mend the path in the cue sheet, or put the recording there".to_owned())
            }
            RehearseError::Live(error) => error.help(),
            RehearseError::Cues { .. }
            | RehearseError::Run(_)
            | RehearseError::Cancelled { .. } => None,
        }
    }
}

pub(crate) fn run(args: &Args, out: &mut Out) -> Result<Exit, Failure> {
    let reading = plan_file::read_and_show(&args.plan, out)?;
    let path = |p: &Path| p.display().to_string();
    let line = plan_file::line(&reading, &args.plan)?;
    let read = plan_file::read_cues(&args.cues, &reading, out)?;
    plan_file::show(read.mistakes.iter(), &read.sources, out)?;
    let Some(cues) = read
        .cues
        .as_ref()
        .filter(|_| !read.mistakes.iter().any(Mistake::is_error))
    else {
        return Err(RehearseError::Cues {
            path: path(&args.cues),
        }
        .into());
    };
    let outputs = Outputs::new(args.force, inputs(&reading, &read));
    outputs.refuse(args.trace.as_deref())?;
    let record_inputs = args.live.record_inputs().map(|path| outputs.begin(path));
    let record_inputs = record_inputs.transpose()?;
    let digest = cue_digest(&read).map_err(RehearseError::Sounds)?;
    let head = trace_json(PROGRAM, &reading.digest, &digest, line, cues);
    let mut session = args
        .live
        .connect(line, record_inputs, &mut out.stderr)
        .map_err(RehearseError::from)?;
    let played = match play(args, line, cues, &head, &outputs, session.as_mut(), out) {
        Err(Failure::Rehearse(RehearseError::Run(error))) => {
            return Err(placed(error, args, &read, cues, out)?.into());
        }
        other => other,
    };
    // What came in is kept also where the rehearsal was stopped.
    let recorded = match &mut session {
        Some(session) => {
            let sheet = read.sources.get(read.file);
            session.record(&sheet.text, line, cues, &mut out.stderr)
        }
        None => Ok(None),
    };
    // What cannot be written takes nothing else with it.
    let mut refused = Vec::new();
    let recorded = recorded.unwrap_or_else(|error| {
        refused.push(Failure::from(RehearseError::from(error)));
        None
    });
    let mut played = match played {
        Ok(played) => played,
        Err(stopped) => {
            refused.iter().for_each(|failure| {
                failure.tell(out);
            });
            if let (Some(session), Failure::Rehearse(RehearseError::Cancelled { trace, .. })) =
                (&session, &stopped)
            {
                tell_left(session, recorded.as_deref(), trace.as_deref(), out)?;
            }
            return Err(stopped);
        }
    };
    let trace = args
        .trace
        .as_deref()
        .filter(|_| played.trace_refused.is_none());
    refused.extend(played.trace_refused.take());
    let of_the_world = session.as_ref().is_some_and(Session::is_of_the_world);
    // The result is told even where it cannot be left beside the plan.
    let left = (!args.no_evidence && !of_the_world)
        .then(|| leave_evidence(args, &reading, &digest, cues, &played, &outputs));
    let evidence = left.and_then(|left| left.map_err(|failure| refused.push(failure)).ok());
    match out.format {
        Format::Text => {
            let text = rehearsal_text(line, cues, &played.outcome, &played.kept);
            out.stdout.write_all(text.as_bytes())?;
            if played.left_out > 0 {
                writeln!(
                    out.stdout,
                    "\n{} further records are told only in the trace (--trace FILE)",
                    played.left_out
                )?;
            }
            writeln!(out.stdout)?;
            if let Some(session) = &session {
                writeln!(out.stdout, "{}\n", session.text(recorded.as_deref()))?;
            }
            if let Some(trace) = trace {
                writeln!(out.stdout, "trace: {}", trace.display())?;
            }
            if let Some(evidence) = evidence {
                writeln!(out.stdout, "evidence: {}", evidence.display())?;
            }
            writeln!(out.stdout, "result {}", played.digest)?;
        }
        Format::Json => {
            let mut whole = out.of_plan(rehearsal_json(line, cues, &played.outcome));
            // Beside what was played: its digest is of that alone.
            whole["depths"] = depths_json(depths_told(line).as_ref());
            whole["cues_digest"] = json!(digest);
            whole["result_digest"] = json!(played.digest);
            whole["trace"] = json!(trace.map(path));
            whole["evidence"] = json!(evidence.as_deref().map(path));
            if let Some(session) = &session {
                whole["live"] = session.json(recorded.as_deref());
            }
            out.json(&whole)?;
        }
    }
    if let Some(last) = refused.pop() {
        refused.iter().for_each(|failure| {
            failure.tell(out);
        });
        return Err(last);
    }
    Ok(played.outcome.status().into())
}

/// What a live rehearsal that was stopped leaves: it cannot be had again. Beside a failure as JSON there is no result for standard output.
fn tell_left(
    session: &Session,
    recorded: Option<&Path>,
    trace: Option<&Path>,
    out: &mut Out,
) -> std::io::Result<()> {
    let to: &mut dyn Write = match out.format {
        Format::Text => &mut out.stdout,
        Format::Json => &mut out.stderr,
    };
    writeln!(to, "{}", session.text(recorded))?;
    if let Some(trace) = trace {
        writeln!(to, "trace, as far as it came: {}", trace.display())?;
    }
    Ok(())
}

/// What stops a rehearsal, told where the sound that it is about stands in the cue sheet.
fn placed(
    error: Box<RehearsalError>,
    args: &Args,
    read: &CueReading,
    cues: &CueSheet,
    out: &mut Out,
) -> Result<RehearseError, Failure> {
    let sound = error
        .sound()
        .and_then(|id| cues.sounds.iter().find(|sound| sound.id == id));
    let Some(sound) = sound else {
        return Ok(RehearseError::Run(error));
    };
    let mistake = Mistake {
        code: Code::OutOfRange,
        severity: Severity::Error,
        site: sound.at,
        message: error.to_string(),
        label: "this sound".to_owned(),
        related: Vec::new(),
        help: None,
        part: format!("sound.{}", sound.id),
        also: BTreeSet::new(),
    };
    plan_file::show(std::iter::once(&mistake), &read.sources, out)?;
    Ok(RehearseError::Cues {
        path: args.cues.display().to_string(),
    })
}

/// All that the rehearsal reads: the plan with what it includes, the cue sheet, and the recordings that it plays.
fn inputs(reading: &Reading, read: &CueReading) -> Inputs {
    let mut inputs = plan_file::inputs(&reading.sources);
    inputs.extend(plan_file::inputs(&read.sources));
    for sound in read.cues.iter().flat_map(|cues| &cues.sounds) {
        if let SoundKind::Recording { path, .. } = &sound.what {
            inputs.add(path);
        }
    }
    inputs
}

struct Played {
    outcome: Outcome,
    kept: Vec<Record>,
    left_out: u64,
    /// SHA-256 of the trace and of the whole as JSON.
    digest: String,
    /// Why there is no trace, though one was asked for.
    trace_refused: Option<Failure>,
}

/// Runs the rehearsal; the trace goes straight to its file and into the digest.
fn play(
    args: &Args,
    line: &Line,
    cues: &CueSheet,
    head: &Value,
    outputs: &Outputs,
    session: Option<&mut Session>,
    out: &mut Out,
) -> Result<Played, Failure> {
    let cancel = Cancel::on_ctrl_c()?;
    let bar = out.progress(1000, "rehearsing");
    let mut watch = |at: timeline::Ns| {
        bar.set_position((1000.0 * at.as_s_f64() / cues.duration_s.si) as u64);
        !cancel.asked()
    };
    let mut kept = Vec::new();
    let mut left_out = 0;
    let mut hash = TraceDigest::default();
    let mut ran = None;
    let is_live = session.is_some();
    let stderr = &mut out.stderr;
    let run = |sink: &mut dyn FnMut(&Record), watch: &mut dyn FnMut(timeline::Ns) -> bool| {
        match session {
            Some(session) => session.run(line, cues, stderr, sink, watch),
            None => rehearsal::run(line, cues, sink, watch).map_err(LiveError::from),
        }
    };
    let mut each = |record: &Record, to: &mut dyn Write| -> std::io::Result<()> {
        let text = hash.line(line, cues, record)?;
        if !matches!(record.what, What::Settled { .. }) {
            if kept.len() < KEPT {
                kept.push(record.clone());
            } else {
                left_out += 1;
            }
        }
        to.write_all(text.as_bytes())
    };
    let all = |to: &mut dyn Write| -> std::io::Result<()> {
        writeln!(to, "{head}")?;
        let mut failed = None;
        ran = Some(run(
            &mut |record| {
                // The rehearsal goes on without a trace that cannot be written.
                let written = match failed {
                    None => each(record, to),
                    Some(_) => each(record, &mut std::io::sink()),
                };
                failed = failed.take().or(written.err());
            },
            &mut watch,
        ));
        match (&ran, failed) {
            (_, Some(error)) => Err(error),
            // What came from the world does not come again: the trace is kept, and says that it ends early.
            (Some(Err(LiveError::Rehearsal(error))), None)
                if is_live && let RehearsalError::Cancelled { at } = **error =>
            {
                writeln!(to, "{}", json!({ "at_ns": at.0, "what": "cancelled" }))
            }
            // A trace of half a rehearsal is not left behind.
            (Some(Err(_)), None) => Err(std::io::Error::other("the rehearsal stopped")),
            _ => Ok(()),
        }
    };
    let written = match &args.trace {
        Some(path) => outputs
            .write_with(path, |file| {
                let mut file = std::io::BufWriter::new(file);
                all(&mut file)?;
                file.flush()
            })
            .map_err(Failure::from),
        None => all(&mut std::io::sink()).map_err(Failure::from),
    };
    bar.finish_and_clear();
    let outcome = match ran {
        Some(Err(LiveError::Rehearsal(error))) => {
            return Err(match *error {
                RehearsalError::Cancelled { at } => {
                    let trace = args.trace.clone().filter(|_| is_live && written.is_ok());
                    if let Err(failure) = &written
                        && is_live
                    {
                        failure.tell(out);
                    }
                    RehearseError::Cancelled { at, trace }
                }
                other => RehearseError::Run(Box::new(other)),
            }
            .into());
        }
        Some(Err(error)) => return Err(RehearseError::from(LiveLinkError::from(error)).into()),
        Some(Ok(outcome)) => outcome,
        // The trace could not even be begun.
        None => {
            written?;
            unreachable!("a rehearsal that was not run could not be written");
        }
    };
    let digest = hash.end(line, cues, &outcome);
    Ok(Played {
        outcome,
        kept,
        left_out,
        digest,
        trace_refused: written.err(),
    })
}

/// Writes what the rehearsal showed beside the plan, for `check`.
fn leave_evidence(
    args: &Args,
    reading: &Reading,
    cues_digest: &str,
    cues: &CueSheet,
    played: &Played,
    outputs: &Outputs,
) -> Result<PathBuf, Failure> {
    let of = Rehearsed {
        cues_path: &args.cues,
        cues_digest,
        cues,
        outcome: &played.outcome,
        result_digest: &played.digest,
    };
    let (path, record) = rehearsal_evidence(&args.plan, reading, &of);
    outputs
        .leave(&args.plan, &path, &record.to_json())
        .map_err(RehearseError::Evidence)?;
    Ok(path)
}
