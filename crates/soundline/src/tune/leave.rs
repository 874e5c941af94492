//! What is left on disk: the evidence beside the plan, and the pictures.

use std::path::PathBuf;

use assess::input::InputError;
use assess::tuning::{TunedCurve, TunedDay, TunedPoint, Tuning, chain_digest, steady_digest};
use plan::{DetectorIx, Line};
use report::{
    PictureSize, Tuned, matched_words, operating_picture_png, operating_picture_svg,
    threshold_picture_png, threshold_picture_svg,
};

use super::{Args, TuneError};
use crate::failure::Failure;
use crate::listen;
use crate::outputs::Outputs;
use beside::computed_by;
use beside::recordings;

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
    outputs: &Outputs,
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
        set_aside: tuned.set_aside.len() as u64,
        hits: point.counts.hits,
        false_alarms: point.counts.false_alarms,
        judged_s: tuned.curve.judged_s,
        days: tuned.curve.days.as_ref().map(|days| {
            let day = |d: &hearing::DayCounts| TunedDay {
                day: d.day,
                judged_s: d.judged_s,
                false_alarms: d.false_alarms[tuned.own],
            };
            days.iter().map(day).collect()
        }),
        curve: Some(curve(line, detector, rate_hz, tuned).map_err(listen::ListenError::from)?),
        ..Tuning::begun()
    };
    let path = tuning.path(&args.plan);
    outputs
        .leave(&args.plan, &path, &tuning.to_json())
        .map_err(|error| TuneError::Evidence(error.to_string()))?;
    Ok(path)
}

/// What it did at every threshold that was tried.
fn curve(
    line: &Line,
    detector: DetectorIx,
    rate_hz: f64,
    tuned: &Tuned,
) -> Result<TunedCurve, InputError> {
    let points = tuned.curve.points.iter().enumerate();
    Ok(TunedCurve {
        steady_digest: steady_digest(line, detector, Some(rate_hz))?,
        points: points
            .map(|(i, point)| TunedPoint {
                threshold_db: point.threshold_db,
                hits: point.counts.hits,
                false_alarms: point.counts.false_alarms,
                by_day: tuned
                    .curve
                    .days
                    .as_ref()
                    .map(|days| days.iter().map(|d| d.false_alarms[i]).collect()),
            })
            .collect(),
    })
}

/// The pictures of a detector: ends of their names.
pub(super) const PICTURES: [&str; 2] = ["curve", "threshold"];

/// Draws one of [`PICTURES`].
pub(super) fn draw(
    kind: &str,
    tuned: &Tuned,
    page: PictureSize,
) -> Result<(Vec<u8>, String), TuneError> {
    Ok(match kind {
        "curve" => (
            operating_picture_png(tuned, page)?,
            operating_picture_svg(tuned, page)?,
        ),
        _ => (
            threshold_picture_png(tuned, page)?,
            threshold_picture_svg(tuned, page)?,
        ),
    })
}
