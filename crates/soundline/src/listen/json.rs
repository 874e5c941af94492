//! What was heard, as JSON (`events/1`). A level of minus infinity (exact silence) is `null`.

use std::path::Path;

use assess::input::arithmetic;
use detect::Ending;
use hearing::Found;
use plan::Line;
use serde::Serialize;
use serde_json::Value;

use super::ears::Assigned;
use super::two_ears::Pairs;
use super::work::Outcome;
use beside::PROGRAM;

/// What channels and detectors are called.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Labels<'a> {
    pub(crate) assigned: &'a [Assigned],
    pub(crate) line: &'a Line,
    pub(crate) pairs: &'a Pairs,
}

/// All that the outputs are made from.
pub(crate) struct Told<'a> {
    pub(crate) plan: &'a Path,
    pub(crate) plan_digest: &'a str,
    pub(crate) outcomes: &'a [Outcome],
    pub(crate) labels: Labels<'a>,
    /// Mistakes and warnings of the plan.
    pub(crate) mistakes: Vec<Value>,
}

impl Labels<'_> {
    /// Number of an ear's channel, from 1.
    pub(crate) fn channel(&self, ear: usize) -> u16 {
        self.assigned[ear].channel.unwrap_or(1)
    }

    /// Id of the detector that found it.
    pub(crate) fn detector(&self, event: &Found) -> &str {
        let ix = self.assigned[event.ear].detectors[event.detector];
        &self.line.detectors[ix.0].id
    }
}

/// The word for how an event came to its end.
pub(crate) fn ending(ending: Ending) -> &'static str {
    match ending {
        Ending::Quiet => "quiet",
        Ending::StretchEnded => "cut-off",
    }
}

#[derive(Serialize)]
pub(crate) struct Document<'a> {
    format: &'static str,
    program: &'static str,
    plan: String,
    plan_digest: &'a str,
    /// Events and levels are computed without vector transforms: the same on every processor.
    arithmetic: &'static str,
    mistakes: &'a [Value],
    /// Channels between which times of arrival are told.
    pairs: Value,
    /// Why others are no such pair.
    unpaired: &'a [String],
    recordings: Vec<Recording<'a>>,
}

#[derive(Serialize)]
struct Recording<'a> {
    recording: String,
    container: Option<String>,
    encoding: Option<String>,
    rate_hz: Option<u32>,
    channels: Option<u16>,
    start_utc: Option<String>,
    /// Frames that the file says or has.
    frames: Option<u64>,
    heard_frames: Option<u64>,
    heard_s: Option<f64>,
    /// Whether it was heard to its end.
    whole: bool,
    full_scale_samples: Option<u64>,
    warnings: Vec<String>,
    notes: &'a [String],
    errors: Vec<String>,
    pictures: Vec<String>,
    levels: Vec<Levels<'a>>,
    events: Vec<Event<'a>>,
}

#[derive(Serialize)]
struct Levels<'a> {
    channel: u16,
    sensor: &'a str,
    level_reference: &'static str,
    level_db: f64,
    peak_level_db: f64,
    exposure_reference: &'static str,
    exposure_level_db: f64,
    level_without_mean_db: f64,
    /// Magnitude of the mean over full scale.
    mean_share: f64,
    heard_s: f64,
}

#[derive(Serialize)]
struct Event<'a> {
    channel: u16,
    sensor: &'a str,
    detector: &'a str,
    event: u64,
    begin_s: f64,
    end_s: f64,
    begin_utc: Option<String>,
    end_utc: Option<String>,
    level_reference: &'static str,
    peak_level_db: f64,
    mean_level_db: f64,
    background_db: Option<f64>,
    score_db: f64,
    peak_s: f64,
    pulses: Option<u32>,
    mean_interval_s: Option<f64>,
    /// Standard deviation of the intervals over their mean.
    interval_spread: Option<f64>,
    sweep_from_hz: Option<f64>,
    sweep_to_hz: Option<f64>,
    full_scale_samples: u64,
    ending: &'static str,
    /// When the other channels of its pairs hear it.
    arrivals: Vec<Value>,
}

/// The document.
pub(crate) fn document<'a>(told: &'a Told<'_>) -> Document<'a> {
    Document {
        format: "events/1",
        program: PROGRAM,
        plan: told.plan.display().to_string(),
        plan_digest: told.plan_digest,
        arithmetic: arithmetic(told.labels.line),
        mistakes: &told.mistakes,
        pairs: told.labels.pairs.json(told.labels.assigned),
        unpaired: told.labels.pairs.unpaired(),
        recordings: told.outcomes.iter().map(|o| recording(told, o)).collect(),
    }
}

/// The document, indented, with a line end.
pub(crate) fn bytes(told: &Told<'_>) -> Vec<u8> {
    let mut bytes =
        serde_json::to_vec_pretty(&document(told)).expect("numbers and texts always become JSON");
    bytes.push(b'\n');
    bytes
}

fn recording<'a>(told: &'a Told<'_>, outcome: &'a Outcome) -> Recording<'a> {
    let info = outcome.survey.as_ref().map(|survey| &survey.info);
    let hearing = outcome.hearing.as_ref();
    Recording {
        recording: outcome.path.display().to_string(),
        container: info.map(|info| info.container.to_string()),
        encoding: info.map(|info| info.encoding.to_string()),
        rate_hz: info.map(|info| info.rate_hz),
        channels: info.map(|info| info.channels),
        start_utc: outcome
            .survey
            .as_ref()
            .and_then(|survey| survey.start.map(|start| start.to_string())),
        frames: info.and_then(|info| info.frames),
        heard_frames: hearing.map(|h| h.frames),
        heard_s: hearing.map(|h| h.duration_s),
        whole: hearing.is_some() && outcome.heard_of().is_none(),
        full_scale_samples: hearing.map(|h| h.full_scale_samples),
        warnings: outcome
            .warnings()
            .into_iter()
            .chain(outcome.offsets(|ear| told.labels.channel(ear)))
            .collect(),
        notes: &outcome.notes,
        errors: outcome.errors.iter().map(ToString::to_string).collect(),
        pictures: outcome
            .pictures
            .iter()
            .map(|path| path.display().to_string())
            .collect(),
        levels: outcome
            .levels()
            .map(|(ear, levels)| Levels {
                channel: told.labels.channel(ear),
                sensor: &told.labels.assigned[ear].path,
                level_reference: outcome.ears[ear].reference.pressure(),
                level_db: levels.level_db,
                peak_level_db: levels.peak_level_db,
                exposure_reference: outcome.ears[ear].reference.exposure(),
                exposure_level_db: levels.exposure_level_db,
                level_without_mean_db: levels.level_without_mean_db,
                mean_share: levels.mean_share,
                heard_s: levels.heard_s,
            })
            .collect(),
        events: outcome
            .events()
            .iter()
            .map(|event| Event {
                channel: told.labels.channel(event.ear),
                sensor: &told.labels.assigned[event.ear].path,
                detector: told.labels.detector(event),
                event: event.number,
                begin_s: event.begin_s,
                end_s: event.end_s,
                begin_utc: event.begin_utc.map(|at| at.to_string()),
                end_utc: event.end_utc.map(|at| at.to_string()),
                level_reference: outcome.ears[event.ear].level_reference(event.detector),
                peak_level_db: event.peak_level_db,
                mean_level_db: event.mean_level_db,
                background_db: event.background_db,
                score_db: event.score_db,
                peak_s: event.peak_s,
                pulses: event.pulses,
                mean_interval_s: event.intervals.map(|i| i.mean_s),
                interval_spread: event.intervals.map(|i| i.spread),
                sweep_from_hz: event.sweep.map(|s| s.from_hz),
                sweep_to_hz: event.sweep.map(|s| s.to_hz),
                full_scale_samples: event.full_scale_samples,
                ending: ending(event.ending),
                arrivals: told
                    .labels
                    .pairs
                    .arrivals(event)
                    .iter()
                    .map(|arrival| arrival.json(told.labels.assigned))
                    .collect(),
            })
            .collect(),
    }
}
