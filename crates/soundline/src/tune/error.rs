//! Why a detector could not be tuned.

use std::path::PathBuf;

use hearing::{HearError, LabelError};
use thiserror::Error;

/// A request that cannot be carried out at all.
#[derive(Debug, Error)]
pub(crate) enum TuneError {
    /// The file of labels cannot be read.
    #[error("{}: the labels cannot be read: {why}", path.display())]
    NoLabels {
        /// The file.
        path: PathBuf,
        /// Why.
        why: std::io::Error,
    },
    /// Nothing of it can be used.
    #[error("{}: {why}", path.display())]
    Labels {
        /// The file.
        path: PathBuf,
        /// Why.
        why: LabelError,
    },
    /// Which detector is meant is not said.
    #[error("{} detectors are on the named sensors, and one is tuned at a time", ids.len())]
    Several {
        /// Their ids.
        ids: Vec<String>,
    },
    /// The sensors that are named have no detector.
    #[error("no detector is on the named sensors")]
    None {
        /// The detectors of the plan with their sensors.
        all: Vec<String>,
    },
    /// Thresholds that are none, or too many.
    #[error(
        "from {} dB to {} dB in steps of {} dB are {} thresholds: 1 to {most} are tried",
        plain(*low_db),
        plain(*high_db),
        plain(*step_db),
        plain(*number)
    )]
    Thresholds {
        /// The lowest, dB.
        low_db: f64,
        /// The highest, dB.
        high_db: f64,
        /// The step, dB.
        step_db: f64,
        /// How many that are.
        number: f64,
        /// How many may be tried.
        most: usize,
    },
    /// `--within` without the rule that reads it.
    #[error("--within belongs to --match begin")]
    Within,
    /// Begins that may lie so far apart that a match says nothing.
    #[error(
        "--within {within_s} s is more than {most_s} s, the most that these labels allow (the longest of them, 2 s at least): an event would find a sound that it never met"
    )]
    TooFar {
        /// What was asked for, s.
        within_s: f64,
        /// The most, s.
        most_s: f64,
    },
    /// No label is of a kind that was asked for.
    #[error("no label is of the kind `{what}`")]
    NoKind {
        /// The kind.
        what: String,
        /// The kinds that there are.
        all: Vec<String>,
    },
    /// Every label was left out.
    #[error("{}: not one label can be used, so there is nothing to be found and no evidence", path.display())]
    NoneUsed {
        /// The file.
        path: PathBuf,
    },
    /// Nothing that was heard counts.
    #[error(
        "of {heard_s:.3} s that were heard the detector could decide in none{}, so there is nothing to tell and no evidence",
        if *.settling_s > 0.0 { format!(" after {settling_s} s of settling") } else { String::new() }
    )]
    NothingJudged {
        /// Time heard, s.
        heard_s: f64,
        /// Time after each begin that does not count, s.
        settling_s: f64,
    },
    /// An allowance of nothing.
    #[error("an allowance of no false alarm at all cannot be shown by any recording")]
    NoAllowance,
    /// The detector cannot be tried.
    #[error("{}", crate::listen::hear_words(Some(id), source))]
    Hear {
        /// The detector.
        id: String,
        /// Why.
        source: HearError,
    },
    /// Limits cannot be given.
    #[error("the limits: {0}")]
    Limits(String),
    /// The pictures cannot be drawn.
    #[error("the pictures cannot be drawn: {0}")]
    Draw(#[from] report::PictureError),
    /// Recordings at several rates.
    #[error("{} is sampled at {first_hz} Hz and {} at {other_hz} Hz: a detector is tuned at one rate", first.display(), other.display())]
    Rates {
        /// The first recording.
        first: PathBuf,
        /// Its rate, Hz.
        first_hz: u32,
        /// Another.
        other: PathBuf,
        /// Its rate, Hz.
        other_hz: u32,
    },
    /// Nothing in the plan limits how often the detector may tell.
    #[error("nothing in the plan limits how often the detector may tell{}", .why.iter().map(|w| format!("; {w}")).collect::<String>())]
    NoLimit {
        /// What there is, and why it is no limit.
        why: Vec<String>,
    },
    /// The result cannot be left beside the plan.
    #[error("the evidence was not left: {0}")]
    Evidence(String),
    /// Not one recording could be heard.
    #[error("none of the recordings could be heard")]
    Unheard,
    /// `--out` does not end in .csv or .json.
    #[error("{}: a file of the operating curve ends in .csv or .json", path.display())]
    OutName {
        /// The file.
        path: PathBuf,
    },
    /// The user asked to stop.
    #[error("cancelled")]
    Cancelled,
}

/// A number in few digits, however large.
fn plain(number: f64) -> String {
    if number.abs() < 1e6 {
        number.to_string()
    } else {
        format!("{number:.2e}")
    }
}

impl TuneError {
    /// How the user may mend it.
    pub(crate) fn help(&self) -> Option<String> {
        match self {
            TuneError::NoLabels { .. } => Some("check the name after --labels".to_owned()),
            TuneError::Labels { why, .. } => match why {
                LabelError::NotText { .. } | LabelError::Utf16 => {
                    Some("save it as UTF-8 (editors call this the encoding)".to_owned())
                }
                LabelError::Empty | LabelError::NoRows | LabelError::NoColumn { .. } => Some(
                    "the first line names the columns: recording,from_s,to_s and, where wanted, low_hz,high_hz,what; each label is a line below, such as day.wav,12.5,13.4"
                        .to_owned(),
                ),
                _ => None,
            },
            TuneError::Several { ids } => Some(format!(
                "name one of them: --detector {}",
                ids.join(", --detector ")
            )),
            TuneError::None { all } => Some(match all.as_slice() {
                [] => "the plan has no detector".to_owned(),
                all => format!("the plan has {}", all.join(", ")),
            }),
            TuneError::Thresholds { .. } => {
                Some("choose --lowest, --highest and --step".to_owned())
            }
            TuneError::Evidence(_) => Some(
                "add --no-evidence to leave none, or copy the plan's folder to where you may write"
                    .to_owned(),
            ),
            TuneError::NoLimit { .. } => {
                Some("give the allowance yourself: --false-alarms \"1 per d\"".to_owned())
            }
            TuneError::NoKind { all, .. } => Some(match all.as_slice() {
                [] => "no label has a kind (the column `what`); leave --what out".to_owned(),
                all => format!("the labels have {}", all.join(", ")),
            }),
            TuneError::NothingJudged { settling_s, .. } => Some(if *settling_s > 0.0 {
                "choose a shorter --settling, or longer recordings".to_owned()
            } else {
                "recordings must be longer than the detector's windows and its background take to fill, neither silent nor at full scale throughout".to_owned()
            }),
            TuneError::Rates { .. } => Some("tune them one after the other".to_owned()),
            TuneError::Within
            | TuneError::TooFar { .. }
            | TuneError::NoAllowance
            | TuneError::Hear { .. }
            | TuneError::Limits(_)
            | TuneError::Draw(_)
            | TuneError::Unheard
            | TuneError::NoneUsed { .. }
            | TuneError::OutName { .. }
            | TuneError::Cancelled => None,
        }
    }
}
