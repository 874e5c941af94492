//! Looking at files before they are heard, and putting them in order.

use std::path::{Path, PathBuf};

use jiff::Timestamp;
use recording::{Info, Piece, Recording, RecordingError, StretchError, stretches};

use crate::error::LineUpError;

/// What is known of a file before it is heard.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Survey {
    /// The file.
    pub path: PathBuf,
    /// What it says about itself.
    pub info: Info,
    /// Instant of the first frame: that of the file name, or what the caller sets instead.
    pub start: Option<Timestamp>,
}

/// Opens a file, and closes it again.
///
/// # Errors
/// [`RecordingError`], naming the file.
pub fn survey(path: &Path) -> Result<Survey, RecordingError> {
    let info = Recording::open(path)?.info().clone();
    Ok(Survey {
        path: path.to_path_buf(),
        start: info.start,
        info,
    })
}

/// Groups files: those that follow each other within one sample period, at the same rate and with as many channels, are
/// one stretch, in order of time. A file whose start is unknown is a stretch of its own. Gives indices into `surveys`,
/// the stretches in the order of their lowest index.
///
/// Counts the frames of files that do not say how many they have, by decoding them; one that fails is a stretch of its
/// own.
///
/// # Errors
/// [`LineUpError`]: two files overlap.
pub fn line_up(surveys: &[Survey]) -> Result<Vec<Vec<usize>>, LineUpError> {
    let timed = surveys.iter().filter(|s| s.start.is_some()).count();
    let mut groups: Vec<Vec<usize>> = Vec::new();
    let (mut pieces, mut indices) = (Vec::new(), Vec::new());
    for (index, survey) in surveys.iter().enumerate() {
        let piece = if timed > 1 { piece(survey) } else { None };
        match piece {
            Some(piece) => {
                pieces.push(piece);
                indices.push(index);
            }
            None => groups.push(vec![index]),
        }
    }
    let path = |piece: usize| surveys[indices[piece]].path.clone();
    let found = stretches(&pieces).map_err(|error| match error {
        StretchError::Overlap {
            earlier,
            later,
            overlap_ns,
        } => LineUpError::Overlap {
            earlier: path(earlier),
            later: path(later),
            overlap_s: overlap_ns as f64 / 1e9,
        },
        StretchError::TooLong { piece } | StretchError::NoLength { piece, .. } => {
            LineUpError::TooLong { at: path(piece) }
        }
    })?;
    for stretch in found {
        let mut members = stretch.pieces.into_iter().map(|piece| indices[piece]);
        let mut group: Vec<usize> = members.next().into_iter().collect();
        for index in members {
            let before = group.last().map(|&i| surveys[i].info.channels);
            if before == Some(surveys[index].info.channels) {
                group.push(index);
            } else {
                groups.push(std::mem::replace(&mut group, vec![index]));
            }
        }
        groups.push(group);
    }
    groups.sort_by_key(|group| group.iter().min().copied());
    Ok(groups)
}

/// The file as a piece of time; `None` when its start is unknown, or it cannot be counted.
fn piece(survey: &Survey) -> Option<Piece> {
    let start = survey.start?;
    let frames = match survey.info.frames {
        Some(frames) => frames,
        None => Recording::open(&survey.path).ok()?.skip(u64::MAX).ok()?,
    };
    (frames > 0).then_some(Piece {
        start,
        frames,
        rate_hz: survey.info.rate_hz,
    })
}
