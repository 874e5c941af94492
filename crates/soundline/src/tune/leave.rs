//! What is left on disk: the evidence beside the plan, and the pictures.

use std::path::{Path, PathBuf};

use assess::tuning::{Tuning, chain_digest};
use plan::{DetectorIx, Line};
use report::{
    Inputs, OutputError, Overwrite, PictureSize, Tuned, matched_words, operating_picture_png,
    operating_picture_svg, threshold_picture_png, threshold_picture_svg, write_atomically,
};

use super::{Args, TuneError};
use crate::failure::Failure;
use crate::listen;
use crate::out::computed_by;
use crate::recordings;

/// What became of the evidence.
pub(super) enum Left {
    At(PathBuf),
    None(&'static str),
    /// The result is told even where it cannot be left beside the plan.
    Refused(Failure),
}

/// Writes what was found beside the plan, for `check`.
pub(super) fn leave(
    args: &Args,
    line: &Line,
    detector: DetectorIx,
    rate_hz: f64,
    plan_digest: &str,
    tuned: &Tuned,
    inputs: &Inputs,
) -> Result<PathBuf, Failure> {
    let unread = |why: std::io::Error| TuneError::Evidence(why.to_string());
    let point = &tuned.curve.points[tuned.own];
    let tuning = Tuning {
        program: computed_by(),
        plan_digest: plan_digest.to_owned(),
        detector: tuned.detector.clone(),
        chain_digest: chain_digest(line, detector, Some(rate_hz))
            .map_err(listen::ListenError::from)?,
        labels: recordings::named(&args.plan, &args.labels)
            .display()
            .to_string(),
        labels_digest: recordings::digest(&args.labels).map_err(unread)?,
        what: tuned.what.clone(),
        matched: matched_words(tuned.rule),
        settling_s: tuned.settling_s,
        recordings: args
            .recordings
            .iter()
            .map(|file| recordings::recording(&args.plan, file))
            .collect::<Result<_, _>>()
            .map_err(unread)?,
        labelled: tuned.curve.labelled,
        hits: point.counts.hits,
        false_alarms: point.counts.false_alarms,
        judged_s: tuned.curve.judged_s,
        ..Tuning::begun()
    };
    let path = tuning.path(&args.plan);
    let folder = assess::evidence::folder(&args.plan);
    std::fs::create_dir_all(&folder)
        .map_err(|source| OutputError::Io {
            action: "create the folder",
            path: folder,
            source,
        })
        // The name says what is in it: what is replaced is the same.
        .and_then(|()| {
            write_atomically(&path, tuning.to_json().as_bytes(), Overwrite::Force, inputs)
        })
        .map_err(|error| TuneError::Evidence(error.to_string()))?;
    Ok(path)
}

/// The pictures of a detector: end of the name, and of the file.
pub(super) const PICTURES: [(&str, &str); 4] = [
    ("curve", "png"),
    ("curve", "svg"),
    ("threshold", "png"),
    ("threshold", "svg"),
];

pub(super) fn draw(
    folder: &Path,
    paths: &[PathBuf; 4],
    tuned: &Tuned,
    overwrite: Overwrite,
    inputs: &Inputs,
) -> Result<(), Failure> {
    let page = PictureSize::PAGE;
    let drawn = [
        operating_picture_png(tuned, page).map_err(TuneError::from)?,
        operating_picture_svg(tuned, page)
            .map_err(TuneError::from)?
            .into_bytes(),
        threshold_picture_png(tuned, page).map_err(TuneError::from)?,
        threshold_picture_svg(tuned, page)
            .map_err(TuneError::from)?
            .into_bytes(),
    ];
    std::fs::create_dir_all(folder).map_err(|source| OutputError::Io {
        action: "create the folder",
        path: folder.to_path_buf(),
        source,
    })?;
    for (path, bytes) in paths.iter().zip(&drawn) {
        write_atomically(path, bytes, overwrite, inputs)?;
    }
    Ok(())
}
