//! What `soundline tune` is asked.

use std::path::PathBuf;

use clap::ValueEnum;
use detect::Rule;
use jiff::Timestamp;
use quantity::{Dimension, EventRate, parse_amount, parse_event_rate};

use super::TuneError;
use crate::listen::{self, Assignment};

/// Hold a detector of the plan against labelled recordings: what it finds, what it misses, how often it cries wolf, at every threshold.
///
/// Labels are CSV with the columns recording, from_s, to_s and, where wanted, low_hz, high_hz, what. Limits are exact. With an
/// allowance of false alarms the lowest threshold is chosen whose upper limit keeps it.
#[derive(Debug, clap::Args)]
pub(crate) struct Args {
    /// The plan.
    pub(super) plan: PathBuf,
    /// The recordings.
    #[arg(required = true, value_name = "RECORDING")]
    pub(super) recordings: Vec<PathBuf>,
    /// The labels: FILE.csv.
    #[arg(long, value_name = "FILE")]
    pub(super) labels: PathBuf,
    /// Which sensor made the sound: `module.upper.sensor.ear`, or `2=module.upper.sensor.ear` for the second channel.
    #[arg(long = "as", value_name = "[N=]SENSOR")]
    pub(super) assignment: Option<Assignment>,
    /// The detector, where several are on the sensor.
    #[arg(long, value_name = "ID")]
    pub(super) detector: Option<String>,
    /// Only labels of this kind (the column `what`); several may be named. Other labels only say what false alarms fall on.
    #[arg(long, value_name = "KIND")]
    pub(super) what: Vec<String>,
    /// When an event counts as finding a label: they overlap, or their begins are near each other.
    #[arg(long = "match", value_enum, default_value_t = MatchBy::Overlap)]
    pub(super) matched_by: MatchBy,
    /// With `--match begin`: how far the begins may be apart; half a second when not given.
    #[arg(long, value_name = "TIME", value_parser = time)]
    pub(super) within: Option<f64>,
    /// How often false alarms may come, such as "1 per d".
    #[arg(long, value_name = "RATE", value_parser = rate)]
    pub(super) false_alarms: Option<EventRate>,
    /// How often real events come, such as "2 per d": the allowance is then what the uplink and the battery of the plan leave.
    #[arg(long, value_name = "RATE", value_parser = rate, conflicts_with = "false_alarms")]
    pub(super) real: Option<EventRate>,
    /// Fit a judgement of finished events (a stage `likely`) and print it with its figures on events that it had not seen.
    #[arg(long)]
    pub(super) fit: bool,
    /// Ridge of the fit, on weights per standard deviation.
    #[arg(long, value_name = "NUMBER", default_value = "1", value_parser = ridge, requires = "fit")]
    pub(super) ridge: f64,
    /// Lowest threshold that is tried, dB; 10 dB below that of the plan when not given.
    #[arg(long, value_name = "DB", allow_negative_numbers = true, value_parser = decibels)]
    pub(super) lowest: Option<f64>,
    /// Highest threshold that is tried, dB; 20 dB above that of the plan when not given.
    #[arg(long, value_name = "DB", allow_negative_numbers = true, value_parser = decibels)]
    pub(super) highest: Option<f64>,
    /// Step from threshold to threshold, dB.
    #[arg(long, value_name = "DB", default_value = "0.5", value_parser = step)]
    pub(super) step: f64,
    /// Confidence of the limits, two-sided, such as "95 %".
    #[arg(long, value_name = "SHARE", default_value = "95 %", value_parser = confidence)]
    pub(super) confidence: f64,
    /// Time after the begin of each stretch and after each gap that does not count, for sensors that were switched on with the recorder.
    #[arg(long, value_name = "TIME", default_value = "0 s", value_parser = time)]
    pub(super) settling: f64,
    /// When the recording begins; otherwise the file name tells (..._20270315T041500Z...).
    #[arg(long, value_name = "TIME", value_parser = listen::instant)]
    pub(super) start: Option<Timestamp>,
    /// Take the sample rate of the recording where it differs from that of the sensor in the plan.
    #[arg(long)]
    pub(super) own_rate: bool,
    /// Draw the operating curve, and shares and rates against the threshold: ID-curve and ID-threshold, .png and .svg, in this folder.
    #[arg(long, value_name = "DIR", value_parser = crate::picture_name::folder)]
    pub(super) picture: Option<PathBuf>,
    /// Write the operating curve to a file as well: FILE.csv or FILE.json.
    #[arg(long, value_name = "FILE")]
    pub(super) out: Option<PathBuf>,
    /// Leave no evidence beside the plan.
    #[arg(long)]
    pub(super) no_evidence: bool,
    /// Replace files and pictures that exist.
    #[arg(long)]
    pub(super) force: bool,
}

/// When an event counts as finding a label.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(super) enum MatchBy {
    /// They have time in common.
    Overlap,
    /// Their begins are near each other.
    Begin,
}

/// Begins may be so far apart when nothing is said, s.
const WITHIN_S: f64 = 0.5;

fn amount(text: &str, dimension: Dimension) -> Result<f64, String> {
    match parse_amount(text, dimension) {
        Ok(amount) if amount.law.is_none() => Ok(amount.si),
        Ok(_) => Err("a spread has no place here".to_owned()),
        Err(fault) => Err(match fault.help() {
            Some(help) => format!("{fault}; {help}"),
            None => fault.to_string(),
        }),
    }
}

fn time(text: &str) -> Result<f64, String> {
    let seconds = amount(text, Dimension::Time)?;
    if (0.0..=1e6).contains(&seconds) {
        Ok(seconds)
    } else {
        Err("must be from 0 s to 1000000 s".to_owned())
    }
}

fn confidence(text: &str) -> Result<f64, String> {
    let share = amount(text, Dimension::Ratio)?;
    if share > 0.0 && share < 1.0 {
        Ok(share)
    } else {
        let percent = format!("{text} %");
        Err(match amount(&percent, Dimension::Ratio) {
            Ok(share) if share > 0.0 && share < 1.0 => {
                format!("must lie between 0 % and 100 %: write \"{percent}\"")
            }
            _ => "must lie between 0 % and 100 %".to_owned(),
        })
    }
}

fn rate(text: &str) -> Result<EventRate, String> {
    parse_event_rate(text).map_err(|fault| match fault.help() {
        Some(help) => format!("{fault}; {help}"),
        None => fault.to_string(),
    })
}

fn ridge(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(value) if value > 0.0 && value.is_finite() => Ok(value),
        _ => Err("must be a number above 0".to_owned()),
    }
}

fn decibels(text: &str) -> Result<f64, String> {
    let number = text.strip_suffix("dB").unwrap_or(text).trim();
    match number.parse::<f64>() {
        Ok(value) if value.is_finite() => Ok(value),
        _ => Err("not a number of decibels, such as 6 or 6 dB".to_owned()),
    }
}

fn step(text: &str) -> Result<f64, String> {
    match decibels(text)? {
        value if value >= 0.01 => Ok(value),
        _ => Err("must be 0.01 dB or more".to_owned()),
    }
}

impl Args {
    pub(super) fn rule(&self) -> Result<Rule, TuneError> {
        match (self.matched_by, self.within) {
            (MatchBy::Overlap, None) => Ok(Rule::Overlap { least_s: 0.0 }),
            (MatchBy::Overlap, Some(_)) => Err(TuneError::Within),
            (MatchBy::Begin, within) => Ok(Rule::Begin {
                within_s: within.unwrap_or(WITHIN_S),
            }),
        }
    }
}
