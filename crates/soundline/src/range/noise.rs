//! Recordings whose noise calls are put into.

use std::io::Write;

use hearing::{Ear, line_up, take_noise};
use plan::{DetectorIx, Line};
use serde_json::{Value, json};

use super::{Args, MOST_SAMPLES, RangeCommandError};
use crate::cancel::Cancel;
use crate::failure::Failure;
use crate::listen::{self, Asked, Assignment, ListenError, RecordingFault};
use crate::out::Out;
use beside::recordings::digest;

/// What was heard of the recordings.
pub(super) struct Heard {
    /// Stretches of samples, uPa.
    pub(super) stretches: Vec<Vec<f32>>,
    /// Samples at full scale, left out.
    pub(super) full_scale_samples: u64,
    /// Samples of one value for long, left out.
    pub(super) repeated_samples: u64,
    /// Those that were heard, with the digest of each.
    pub(super) recordings: Vec<Value>,
    /// What went wrong with the others.
    pub(super) errors: Vec<String>,
}

/// Hears the recordings as `listen` does, at the rate of the detector's sensor.
pub(super) fn hear(
    args: &Args,
    line: &Line,
    detector: DetectorIx,
    cancel: &Cancel,
    out: &mut Out,
) -> Result<Heard, Failure> {
    let plan = &line.detectors[detector.0];
    let assignment = match &args.assignment {
        Some(assignment) => assignment.clone(),
        None => Assignment::whole(line.sensor_path(plan.on)),
    };
    let assigned = listen::assign(line, &[assignment], std::slice::from_ref(&plan.id))?;
    let asked = Asked {
        recordings: &args.noise,
        start: None,
        own_rate: false,
    };
    let mut heard = Heard {
        stretches: Vec::new(),
        full_scale_samples: 0,
        repeated_samples: 0,
        recordings: Vec::new(),
        errors: Vec::new(),
    };
    let mut surveys = Vec::new();
    for looked in listen::look(asked, line, &assigned)? {
        match looked {
            Ok(looked) => surveys.push(looked.survey),
            Err((_, fault)) => tell(&fault, &mut heard, out)?,
        }
    }
    let Some(first) = surveys.first() else {
        return Err(RangeCommandError::Unheard.into());
    };
    let ear: Ear = listen::ears(line, &assigned, &first.info)?.remove(0);
    let mut left = MOST_SAMPLES;
    for indices in line_up(&surveys).map_err(ListenError::from)? {
        let files: Vec<_> = indices.iter().map(|&i| surveys[i].clone()).collect();
        let noise = take_noise(&files, &ear, left, &|_| !cancel.asked())
            .map_err(RangeCommandError::from)?;
        if noise.cut {
            return Err(RangeCommandError::TooMuch.into());
        }
        left -= noise.stretches.iter().map(Vec::len).sum::<usize>();
        heard.stretches.extend(noise.stretches);
        heard.full_scale_samples += noise.full_scale_samples;
        heard.repeated_samples += noise.repeated_samples;
        for (file, hearing) in files.iter().zip(noise.hearings) {
            if let Some(blank) = listen::blank(&hearing, 0) {
                let fault = RecordingFault::Blank {
                    path: file.path.clone(),
                    channel: assigned[0].channel.unwrap_or(1),
                    blank,
                };
                tell(&fault, &mut heard, out)?;
            }
            if let Some(why) = hearing.failed {
                tell(&why.into(), &mut heard, out)?;
            }
            let sha256 = digest(&file.path).map_err(|source| RangeCommandError::Digest {
                path: file.path.clone(),
                source,
            })?;
            heard.recordings.push(json!({
                "recording": file.path.display().to_string(),
                "sha256": sha256,
                "heard_s": hearing.duration_s,
            }));
        }
    }
    Ok(heard)
}

fn tell(fault: &RecordingFault, heard: &mut Heard, out: &mut Out) -> Result<(), Failure> {
    writeln!(out.stderr, "error: {fault}")?;
    let help = match fault {
        // The calls are made at the rate of the plan, and the detector decides at it.
        RecordingFault::OtherRate { .. } => Some(
            "calls are put into noise at the plan's rate: name recordings of that rate, or take a copy of the plan with the recording's"
                .to_owned(),
        ),
        fault => fault.help(),
    };
    if let Some(help) = help {
        writeln!(out.stderr, "  help: {help}")?;
    }
    heard.errors.push(fault.to_string());
    Ok(())
}
