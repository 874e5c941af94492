//! A rehearsal as a job: the sheet that is named or written, played to its end, with its records in a file.

use std::cell::RefCell;
use std::io;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use assess::depths_told;
use beside::{PROGRAM, Rehearsed, TraceDigest, cue_digest, leave, rehearsal_evidence};
use plan::{CueReading, CueSheet, Mistake, Reading, SoundKind};
use rehearsal::RehearsalError;
use report::{Inputs, depths_json, rehearsal_json, trace_json};
use serde_json::{Value, json};

use super::work::{Ask, Work};
use super::{Job, Left, trace::Pen};
use crate::error::ApiError;
use crate::offsets::Places;
use crate::{sheet, text};

pub(crate) fn rehearse(work: &Work, ask: &Ask, job: &Job) -> Result<Left, ApiError> {
    let reading = work.read();
    let line = text::line(&reading)?;
    let (path, read) = sheet::read(
        work.plan(),
        &reading,
        ask.cues.as_deref(),
        ask.cue_text.as_deref(),
    )?;
    let cues = usable(&read)?;
    inside(work.plan(), cues)?;
    let digest = cue_digest(&read).map_err(|why| {
        ApiError::unusable("no-recording", why)
            .help("mend the path in the cue sheet, or put the recording there")
    })?;
    let head = trace_json(PROGRAM, &reading.digest, &digest, line, cues);
    let mut pen = Pen::begin(Arc::clone(&work.scratch), &head).map_err(unwritten)?;
    let mut hash = TraceDigest::default();
    let failed: RefCell<Option<io::Error>> = RefCell::new(None);
    let whole_s = cues.duration_s.si;
    let mut sink = |record: &rehearsal::Record| {
        if failed.borrow().is_some() {
            return;
        }
        let written = hash
            .line(line, cues, record)
            .map_err(io::Error::from)
            .and_then(|text| pen.write(record.id.0, record.at.0, &text));
        *failed.borrow_mut() = written.err();
    };
    // What cannot be kept is not played on to its end.
    let mut watch = |at: timeline::Ns| {
        job.at(at.as_s_f64() / whole_s, "rehearsing") && failed.borrow().is_none()
    };
    let outcome = rehearsal::run(line, cues, &mut sink, &mut watch);
    if let Some(error) = failed.into_inner() {
        return Err(unwritten(error));
    }
    let outcome = outcome.map_err(|error| stopped(&error, &read, cues))?;
    let trace = pen.end().map_err(unwritten)?;
    let result_digest = hash.end(line, cues, &outcome);
    let of = Rehearsed {
        cues_path: &path,
        cues_digest: &digest,
        cues,
        outcome: &outcome,
        result_digest: &result_digest,
    };
    // What a page has in hand and not in a file supports no verdict of the file.
    let keeps = ask.cue_text.is_none() && !ask.no_evidence;
    let evidence = keeps
        .then(|| left_beside(work.plan(), &reading, &of))
        .transpose()?;
    let mistakes = report::mistakes_json(&reading.mistakes, &reading.sources);
    let whole = rehearsal_json(line, cues, &outcome);
    let mut whole = beside::of_plan(whole, Some(&reading.digest), &mistakes);
    whole["depths"] = depths_json(depths_told(line).as_ref());
    whole["cues_digest"] = json!(digest);
    whole["result_digest"] = json!(result_digest);
    whole["trace"] = Value::Null;
    whole["evidence"] = json!(evidence.map(|p| p.display().to_string()));
    whole["records"] = json!(trace.records);
    Ok(Left {
        document: whole,
        trace: Some(trace),
    })
}

fn unwritten(error: io::Error) -> ApiError {
    ApiError::unusable(
        "no-trace",
        format!("the records of the rehearsal cannot be kept: {error}"),
    )
    .help("make room in the folder for temporary files, or rehearse with `soundline rehearse --trace FILE`")
}

fn usable(read: &CueReading) -> Result<&CueSheet, ApiError> {
    let wrong = read.mistakes.iter().any(Mistake::is_error);
    read.cues.as_ref().filter(|_| !wrong).ok_or_else(|| {
        ApiError::unusable(
            "mistakes",
            "the cue sheet has mistakes, and cannot be used as it is",
        )
        .help("mend what is listed: each tells its line in the sheet")
        .with("mistakes", json!(sheet::mistakes(read)))
    })
}

/// A sheet that a page writes plays no file outside the plan's folder.
fn inside(plan: &Path, cues: &CueSheet) -> Result<(), ApiError> {
    let beside = sheet::folder_of(plan);
    let root = beside.canonicalize();
    for sound in &cues.sounds {
        let SoundKind::Recording { path, .. } = &sound.what else {
            continue;
        };
        // One that is not there is told with its path by the reading of it.
        let Ok(real) = path.canonicalize() else {
            continue;
        };
        if !root.as_ref().is_ok_and(|root| real.starts_with(root)) {
            return Err(ApiError::unusable(
                "outside",
                format!("sound.{} plays a file outside the plan's folder", sound.id),
            )
            .help("copy the recording into the plan's folder, or use `soundline rehearse`"));
        }
    }
    Ok(())
}

/// What stopped it, told where the sound that it is about stands in the sheet.
fn stopped(error: &RehearsalError, read: &CueReading, cues: &CueSheet) -> ApiError {
    let told = ApiError::unusable("stopped", format!("the rehearsal cannot be run: {error}"));
    let id = error.sound();
    let sound = id.and_then(|id| cues.sounds.iter().find(|sound| sound.id == id));
    match sound {
        None => told,
        Some(sound) => {
            let place = Places::of(&read.sources).place(sound.at);
            told.with("place", Value::Object(place))
        }
    }
}

fn left_beside(plan: &Path, reading: &Reading, of: &Rehearsed<'_>) -> Result<PathBuf, ApiError> {
    let (path, record) = rehearsal_evidence(plan, reading, of);
    leave(plan, &path, &record.to_json(), &Inputs::none()).map_err(|error| {
        ApiError::unusable("no-evidence", format!("the evidence was not left: {error}"))
            .help("ask with no_evidence to leave none")
    })?;
    Ok(path)
}
