//! How a detector does against labels, for people and for programs.

mod data;
mod text;

use detect::Rule;
use hearing::{Choice, Curve, JudgeError, Judgement, Outcome, Point};
use quantity::{Dimension, show};

pub use data::{tune_csv, tune_json};
pub(crate) use text::short;
pub use text::tune_text;

/// What came of tuning one detector.
#[derive(Debug, Clone)]
pub struct Tuned {
    /// Name of the deployment.
    pub name: String,
    /// Id of the detector.
    pub detector: String,
    /// Typed path of its sensor.
    pub sensor: String,
    /// What its threshold is measured in.
    pub unit: &'static str,
    /// What is taken from a threshold of the curve to tell it in that unit, dB.
    pub offset_db: f64,
    /// The operating curve.
    pub curve: Curve,
    /// Index of the threshold of the plan.
    pub own: usize,
    /// The file of labels.
    pub labels: String,
    /// Kinds of labels that were chosen; empty for all.
    pub what: Vec<String>,
    /// How events and labels are matched.
    pub rule: Rule,
    /// Recordings that were heard.
    pub recordings: usize,
    /// Time after each begin that does not count, s.
    pub settling_s: f64,
    /// Lines of labels that do not count, because the detector could not hear there.
    pub set_aside: Vec<usize>,
    /// Lines of labels that were missed at the threshold of the plan.
    pub missed: Vec<usize>,
    /// Events at the threshold of the plan.
    pub events: Vec<TunedEvent>,
    /// The allowance of false alarms, where there is one.
    pub allowance: Option<Allowance>,
    /// A judgement of the finished event, where one was asked for.
    pub judgement: Option<Judged>,
}

/// An event at the threshold of the plan.
#[derive(Debug, Clone, PartialEq)]
pub struct TunedEvent {
    /// The recording in which it begins.
    pub recording: String,
    /// Begin, s of that recording.
    pub begin_s: f64,
    /// End, likewise.
    pub end_s: f64,
    /// Greatest excess, dB.
    pub score_db: f64,
    /// What it turned out to be.
    pub outcome: Outcome,
}

/// How many false alarms are allowed, and which threshold keeps to it.
#[derive(Debug, Clone, PartialEq)]
pub struct Allowance {
    /// False alarms a day that are allowed; zero where real events take all that there is.
    pub per_day: f64,
    /// Where that comes from, line by line.
    pub from: Vec<String>,
    /// What keeps to it.
    pub choice: Choice,
}

/// A judgement that was fitted, and how it did on events that it had not seen.
#[derive(Debug, Clone)]
pub struct Judged {
    /// The judgement, or why there is none.
    pub fitted: Result<Judgement, JudgeError>,
    /// The ridge of the fit (`numerics::Logistic`), no unit.
    pub ridge: f64,
    /// Share of labels found and rate of false alarms with it, by least probability, from the events that it had not seen.
    pub points: Vec<Point>,
}

/// The least probability that the stage is written with.
const LIKELY: f64 = 0.5;

impl Judged {
    /// The stage as the plan writes it.
    fn stage(judgement: &Judgement) -> String {
        let number = |x: f64| {
            let rounded: f64 = format!("{x:.5e}").parse().unwrap_or(x);
            // TOML needs a digit after the point of a number that is none but whole.
            format!("{rounded:?}")
        };
        let weights = judgement.features.iter().zip(&judgement.model.weights);
        let weights: Vec<String> = weights
            .map(|(feature, weight)| format!("{} = {}", feature.name(), number(*weight)))
            .collect();
        format!(
            "{{ likely = \"{:.0} %\", constant = {}, weights = {{ {} }} }}",
            100.0 * LIKELY,
            number(judgement.model.constant),
            weights.join(", ")
        )
    }
}

impl Tuned {
    fn shown_db(&self, point: &Point) -> f64 {
        point.threshold_db - self.offset_db
    }

    fn own(&self) -> &Point {
        &self.curve.points[self.own]
    }

    /// Index of the threshold that keeps the allowance.
    pub(crate) fn chosen(&self) -> Option<usize> {
        match self.allowance.as_ref()?.choice {
            Choice::Threshold(i) => Some(i),
            Choice::TooShort { .. } | Choice::NoneKeepsIt | Choice::NothingAllowed => None,
        }
    }
}

/// How events and labels are matched, in words.
#[must_use]
pub fn matched_words(rule: Rule) -> String {
    match rule {
        Rule::Overlap { least_s } if least_s > 0.0 => {
            format!("by more than {} in common", show(least_s, Dimension::Time))
        }
        Rule::Overlap { .. } => "by overlap".to_owned(),
        Rule::Begin { within_s } => format!(
            "by begins at most {} apart",
            show(within_s, Dimension::Time)
        ),
    }
}
