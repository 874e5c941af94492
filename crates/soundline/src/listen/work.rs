//! From the named files to what was heard in each, in the order in which they were named.

use std::path::PathBuf;

use assess::input::sensor_chain;
use detect::Stage;
use hearing::{ChannelLevels, Ear, Found, HearError, Hearing, Survey, line_up, survey};
use plan::Line;
use rayon::prelude::*;
use recording::Warning;
use report::{Inputs, Overwrite};

use super::ears::{Assigned, ears};
use super::error::{ListenError, RecordingFault};
use super::picture::Pictures;
use super::{Args, picture};
use crate::failure::Failure;

/// A recording that can be heard.
#[derive(Debug)]
pub(crate) struct Looked {
    pub(crate) survey: Survey,
}

/// What came of one recording.
#[derive(Debug)]
pub(crate) struct Outcome {
    /// The file as it was named.
    pub(crate) path: PathBuf,
    /// What it says about itself, when it could be opened.
    pub(crate) survey: Option<Survey>,
    /// What was heard.
    pub(crate) hearing: Option<Hearing>,
    /// With what it was heard.
    pub(crate) ears: Vec<Ear>,
    /// Pictures that were written.
    pub(crate) pictures: Vec<PathBuf>,
    /// What the user should know.
    pub(crate) notes: Vec<String>,
    /// What went wrong.
    pub(crate) errors: Vec<RecordingFault>,
}

impl Outcome {
    pub(crate) fn failed(&self) -> bool {
        !self.errors.is_empty()
    }

    /// What is odd about the recording, as text.
    pub(crate) fn warnings(&self) -> Vec<String> {
        let Some(hearing) = &self.hearing else {
            return Vec::new();
        };
        let start_given = self.survey.as_ref().is_some_and(|s| s.start.is_some());
        let mut texts: Vec<String> = hearing
            .warnings
            .iter()
            .filter(|w| !(start_given && matches!(w, Warning::StartUnknown(_))))
            .map(ToString::to_string)
            .collect();
        if hearing.warnings_left_out > 0 {
            texts.push(format!("{} further warnings", hearing.warnings_left_out));
        }
        texts.extend(self.too_short(hearing));
        texts
    }

    /// A detector over a background hears nothing before half of the background's time has been heard.
    fn too_short(&self, hearing: &Hearing) -> Option<String> {
        let longest_s = self
            .ears
            .iter()
            .flat_map(|ear| &ear.detectors)
            .flat_map(|spec| &spec.stages)
            .filter_map(|stage| match stage {
                Stage::Background { over_s, .. } => Some(*over_s),
                _ => None,
            })
            .fold(0.0, f64::max);
        let deaf_s = longest_s / 2.0;
        (hearing.duration_s < deaf_s).then(|| {
            format!(
                "a detector over a background of {longest_s} s is deaf for its first {deaf_s} s, and this recording lasts {:.3} s: it can tell nothing, unless another recording leads up to it without a gap",
                hearing.duration_s
            )
        })
    }

    /// Events that begin in it.
    pub(crate) fn events(&self) -> &[Found] {
        self.hearing.as_ref().map_or(&[], |h| &h.events)
    }

    /// Levels of the ears that heard something.
    pub(crate) fn levels(&self) -> impl Iterator<Item = (usize, &ChannelLevels)> {
        let levels = self.hearing.as_ref().map_or(&[][..], |h| &h.levels);
        levels
            .iter()
            .enumerate()
            .filter_map(|(ear, levels)| Some((ear, levels.as_ref()?)))
    }
}

/// Looks at every recording. One that cannot be used is its fault.
pub(crate) type Lookings = Vec<Result<Looked, (Option<Survey>, RecordingFault)>>;

/// Looks at every recording and at whether it goes with the sensors.
pub(crate) fn look(
    args: &Args,
    line: &Line,
    assigned: &[Assigned],
) -> Result<Lookings, ListenError> {
    args.recordings
        .iter()
        .map(|path| {
            let mut found = match survey(path) {
                Ok(found) => found,
                Err(error) => return Ok(Err((None, error.into()))),
            };
            if args.start.is_some() {
                found.start = args.start;
            }
            Ok(match misfit(args, line, assigned, &found)? {
                None => Ok(Looked { survey: found }),
                Some(fault) => Err((Some(found), fault)),
            })
        })
        .collect()
}

fn misfit(
    args: &Args,
    line: &Line,
    assigned: &[Assigned],
    survey: &Survey,
) -> Result<Option<RecordingFault>, ListenError> {
    let path = || survey.path.clone();
    for a in assigned {
        if a.channel.is_none() && survey.info.channels > 1 {
            return Ok(Some(RecordingFault::WhichChannel {
                path: path(),
                channels: survey.info.channels,
                sensor: a.path.clone(),
            }));
        }
        if let Some(channel) = a.channel.filter(|&n| n > survey.info.channels) {
            return Ok(Some(RecordingFault::NoSuchChannel {
                path: path(),
                channel,
                channels: survey.info.channels,
                sensor: a.path.clone(),
            }));
        }
        let plan_rate_hz = sensor_chain(line, a.sensor)?.rate_hz();
        if plan_rate_hz != f64::from(survey.info.rate_hz) && !args.own_rate {
            return Ok(Some(RecordingFault::OtherRate {
                path: path(),
                rate_hz: survey.info.rate_hz,
                sensor: a.path.clone(),
                plan_rate_hz,
            }));
        }
    }
    Ok(None)
}

/// Where pictures go, and what may not be lost to them.
#[derive(Clone, Copy)]
pub(crate) struct Files<'a> {
    pub(crate) pictures: &'a Pictures,
    pub(crate) overwrite: Overwrite,
    pub(crate) inputs: &'a Inputs,
}

/// Hears every recording that can be heard: stretches side by side, each on one thread.
pub(crate) fn hear(
    args: &Args,
    looked: Lookings,
    line: &Line,
    assigned: &[Assigned],
    to: Files<'_>,
    read: &(dyn Fn(u64) -> bool + Sync),
) -> Result<Vec<Outcome>, Failure> {
    let mut outcomes: Vec<Outcome> = Vec::new();
    let (mut surveys, mut places) = (Vec::new(), Vec::new());
    for (index, looked) in looked.into_iter().enumerate() {
        let (survey, errors) = match looked {
            Ok(looked) => {
                surveys.push(looked.survey.clone());
                places.push(index);
                (Some(looked.survey), Vec::new())
            }
            Err((survey, fault)) => (survey, vec![fault]),
        };
        outcomes.push(Outcome {
            path: args.recordings[index].clone(),
            survey,
            hearing: None,
            ears: Vec::new(),
            pictures: Vec::new(),
            notes: Vec::new(),
            errors,
        });
    }
    let stretches = line_up(&surveys).map_err(ListenError::from)?;
    let heard = rehearsal::in_order(stretches.into_par_iter().map(|stretch| {
        let files: Vec<Survey> = stretch.iter().map(|&i| surveys[i].clone()).collect();
        let indices: Vec<usize> = stretch.iter().map(|&i| places[i]).collect();
        let painter = picture::Painter {
            paths: indices.iter().map(|&i| to.pictures[i].clone()).collect(),
            overwrite: to.overwrite,
            inputs: to.inputs,
        };
        let outcome = stretch_outcomes(args, line, assigned, files, painter, read);
        outcome.map(|outcome| (indices, outcome))
    }))?;
    for (indices, heard) in heard {
        for (index, outcome) in indices.into_iter().zip(heard) {
            outcomes[index] = outcome;
        }
    }
    Ok(outcomes)
}

fn stretch_outcomes(
    args: &Args,
    line: &Line,
    assigned: &[Assigned],
    files: Vec<Survey>,
    painter: picture::Painter<'_>,
    read: &(dyn Fn(u64) -> bool + Sync),
) -> Result<Vec<Outcome>, ListenError> {
    let ears = ears(line, assigned, &files[0].info, args.units)?;
    let labels = picture::Labels {
        line,
        assigned,
        ears: &ears,
        files: &files,
    };
    let mut painting = painter.begin(labels);
    let heard = hearing::hear(&files, &ears, &mut |step| painting.step(step), &read);
    if matches!(heard, Err(HearError::Cancelled)) {
        return Err(ListenError::Cancelled);
    }
    let painted = painting.done();
    let hearings: Vec<Result<Hearing, HearError>> = match heard {
        Ok(hearings) => hearings.into_iter().map(Ok).collect(),
        Err(error) => files.iter().map(|_| Err(error.clone())).collect(),
    };
    let outcomes = files.into_iter().zip(hearings).zip(painted);
    Ok(outcomes
        .map(|((survey, hearing), painted)| {
            outcome(line, assigned, &ears, survey, hearing, painted)
        })
        .collect())
}

fn outcome(
    line: &Line,
    assigned: &[Assigned],
    ears: &[Ear],
    survey: Survey,
    hearing: Result<Hearing, HearError>,
    painted: picture::Painted,
) -> Outcome {
    let mut errors = Vec::new();
    let hearing = match hearing {
        Ok(mut hearing) => {
            errors.extend(hearing.failed.take().map(RecordingFault::from));
            Some(hearing)
        }
        Err(source) => {
            errors.push(RecordingFault::Ear {
                path: survey.path.clone(),
                detector: match source {
                    HearError::Detector { ear, detector, .. } => {
                        let ix = assigned[ear].detectors[detector];
                        Some(line.detectors[ix.0].id.clone())
                    }
                    HearError::Rate(_) | HearError::FullScale { .. } | HearError::Cancelled => None,
                },
                source,
            });
            None
        }
    };
    errors.extend(painted.faults);
    Outcome {
        path: survey.path.clone(),
        survey: Some(survey),
        hearing,
        ears: ears.to_vec(),
        pictures: painted.written,
        notes: painted.notes,
        errors,
    }
}
