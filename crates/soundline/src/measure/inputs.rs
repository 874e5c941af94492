//! From the named files and folders to stretches in order of time.

use std::path::{Path, PathBuf};

use hearing::{Survey, measured_bands};
use jiff::Timestamp;
use plan::Line;

use super::error::{MeasureCommandError, MeasureFault};
use crate::listen::{Asked, Assigned, ListenError, look};

/// Ends of the names of recordings in a folder.
pub(super) const ENDINGS: [&str; 7] = [".wav", ".wave", ".rf64", ".bw64", ".flac", ".ogg", ".oga"];

/// Files that are left out of a folder and named in its note.
const NAMED: usize = 3;

/// What the named files and folders hold.
#[derive(Debug)]
pub(super) struct Found {
    pub(super) recordings: Vec<PathBuf>,
    pub(super) notes: Vec<String>,
}

/// Puts the recordings of each folder in its place, in order of their names.
pub(super) fn find(named: &[PathBuf]) -> Result<Found, MeasureCommandError> {
    let mut found = Found {
        recordings: Vec::new(),
        notes: Vec::new(),
    };
    for path in named {
        if path.is_dir() {
            open(path, &mut found)?;
        } else {
            found.recordings.push(path.clone());
        }
    }
    Ok(found)
}

fn open(folder: &Path, found: &mut Found) -> Result<(), MeasureCommandError> {
    let error = |source| MeasureCommandError::Folder {
        path: folder.to_path_buf(),
        source,
    };
    let mut paths = std::fs::read_dir(folder)
        .map_err(error)?
        .map(|entry| entry.map(|entry| entry.path()))
        .collect::<Result<Vec<PathBuf>, _>>()
        .map_err(error)?;
    paths.sort();
    let (recordings, others): (Vec<PathBuf>, Vec<PathBuf>) =
        paths.into_iter().partition(|path| is_named_like_one(path));
    if recordings.is_empty() {
        return Err(MeasureCommandError::EmptyFolder {
            path: folder.to_path_buf(),
        });
    }
    found.recordings.extend(recordings);
    let names: Vec<String> = others
        .iter()
        .filter_map(|path| Some(path.file_name()?.to_string_lossy().into_owned()))
        .collect();
    if !names.is_empty() {
        let shown = names.iter().take(NAMED).cloned().collect::<Vec<_>>();
        let more = match names.len() - shown.len() {
            0 => String::new(),
            n => format!(" and {n} more"),
        };
        found.notes.push(format!(
            "{}: {}{more} left out: not named like a recording",
            folder.display(),
            shown.join(", ")
        ));
    }
    Ok(())
}

fn is_named_like_one(path: &Path) -> bool {
    let name = path.file_name().unwrap_or_default().to_string_lossy();
    let name = name.to_ascii_lowercase();
    !name.starts_with('.') && path.is_file() && ENDINGS.iter().any(|e| name.ends_with(e))
}

/// Recordings that follow each other without a gap.
#[derive(Debug)]
pub(super) struct Stretch {
    pub(super) files: Vec<Survey>,
    /// Place of each among the recordings.
    pub(super) places: Vec<usize>,
}

/// Time between two stretches in which nothing was recorded.
#[derive(Debug, Clone, Copy)]
pub(super) struct Gap {
    pub(super) from: Timestamp,
    pub(super) length_s: f64,
}

/// The recordings put in order.
#[derive(Debug)]
pub(super) struct Lined {
    /// In order of time, then those whose start is unknown.
    pub(super) stretches: Vec<Stretch>,
    pub(super) gaps: Vec<Gap>,
    /// By recording: what it says about itself, if it could be opened.
    pub(super) surveys: Vec<Option<Survey>>,
    /// Recordings that cannot be used.
    pub(super) faults: Vec<(usize, MeasureFault)>,
    /// Rates of those that can, Hz.
    pub(super) rates_hz: Vec<u32>,
}

/// Looks at every recording and puts those that can be used in order.
pub(super) fn line_up(
    recordings: &[PathBuf],
    start: Option<Timestamp>,
    own_rate: bool,
    line: &Line,
    assigned: &[Assigned],
) -> Result<Lined, ListenError> {
    let asked = Asked {
        recordings,
        start,
        own_rate,
    };
    let mut lined = Lined {
        stretches: Vec::new(),
        gaps: Vec::new(),
        surveys: Vec::with_capacity(recordings.len()),
        faults: Vec::new(),
        rates_hz: Vec::new(),
    };
    let (mut files, mut places) = (Vec::new(), Vec::new());
    for (place, looked) in look(asked, line, assigned)?.into_iter().enumerate() {
        match looked {
            Ok(looked) => {
                let survey = looked.survey;
                lined.surveys.push(Some(survey.clone()));
                if let Err(source) = measured_bands(survey.info.rate_hz) {
                    let fault = MeasureFault::Rate {
                        path: survey.path,
                        source,
                    };
                    lined.faults.push((place, fault));
                    continue;
                }
                lined.rates_hz.push(survey.info.rate_hz);
                files.push(survey);
                places.push(place);
            }
            Err((survey, fault)) => {
                lined.surveys.push(survey);
                lined.faults.push((place, fault.into()));
            }
        }
    }
    let groups = hearing::line_up(&files)?;
    lined.stretches = groups
        .into_iter()
        .map(|group| Stretch {
            places: group.iter().map(|&i| places[i]).collect(),
            files: group.into_iter().map(|i| files[i].clone()).collect(),
        })
        .collect();
    // Stable, so that those without a start keep their order, behind the others.
    lined
        .stretches
        .sort_by_key(|stretch| (stretch.files[0].start.is_none(), stretch.files[0].start));
    lined.gaps = gaps(&lined.stretches);
    Ok(lined)
}

fn gaps(stretches: &[Stretch]) -> Vec<Gap> {
    stretches
        .windows(2)
        .filter_map(|pair| {
            let last = pair[0].files.last()?;
            let (start, frames) = (last.start?, last.info.frames?);
            let length_ns = i128::from(frames) * 1_000_000_000 / i128::from(last.info.rate_hz);
            let from = Timestamp::from_nanosecond(start.as_nanosecond() + length_ns).ok()?;
            let after_ns = pair[1].files[0].start?.as_nanosecond() - from.as_nanosecond();
            // Files that abut but for their rate or channels are a stretch each.
            (after_ns > 1_000_000).then_some(Gap {
                from,
                length_s: after_ns as f64 / 1e9,
            })
        })
        .collect()
}
