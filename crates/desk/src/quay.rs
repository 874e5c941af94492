//! The dockside sheet and the readings that are typed beside it, judged as the command `dockside` judges a file of them.

use std::path::Path;

use assess::Memo;
use assess::dockside::{Calibrator, QuayAsk, Tolerance, dockside, judge_readings};
use beside::{Readings, ReadingsError, read_readings, read_rows, tolerance};
use report::{dockside_json, readings_csv};
use serde::Deserialize;
use serde_json::{Value, json};

use crate::error::ApiError;
use crate::text;

/// Most rows that a page may send, far more than a line has steps.
const MOST_ROWS: usize = 20_000;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Ask {
    text: String,
    #[serde(default)]
    quay: QuaySaid,
    /// Step, reading, unit, initials and note of each row.
    #[serde(default)]
    rows: Vec<[String; 5]>,
    /// The text of a file of readings, in place of rows.
    csv: Option<String>,
}

/// What somebody says of the quay: the flags of the command.
#[derive(Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
struct QuaySaid {
    temperature_degc: Option<f64>,
    /// Percent of the reading and volts, `0.1,0.01`.
    meter_volts: Option<String>,
    /// Percent and amperes.
    meter_amps: Option<String>,
    /// Percent and ohms.
    meter_ohms: Option<String>,
    spread_wire_percent: Option<f64>,
    spread_load_percent: Option<f64>,
    spread_supply_percent: Option<f64>,
    calibrator_level_db_re_1upa: Option<f64>,
    calibrator_frequency_hz: Option<f64>,
}

fn wrong(key: &str, why: impl std::fmt::Display) -> ApiError {
    ApiError::unusable("bad-ask", format!("`{key}`: {why}"))
}

fn meter(key: &str, said: Option<&str>) -> Result<Option<Tolerance>, ApiError> {
    said.map(|text| tolerance(text).map_err(|why| wrong(key, why)))
        .transpose()
}

impl QuaySaid {
    fn ask(&self) -> Result<QuayAsk, ApiError> {
        let share = |percent: Option<f64>| percent.map(|p| p / 100.0);
        let calibrator = match (
            self.calibrator_level_db_re_1upa,
            self.calibrator_frequency_hz,
        ) {
            (None, None) => None,
            (Some(level_db), Some(frequency_hz)) => Some(Calibrator {
                level_db,
                frequency_hz,
            }),
            _ => {
                let why = "a calibrator has a level and a frequency, and only one of them is given";
                return Err(wrong("calibrator_level_db_re_1upa", why));
            }
        };
        Ok(QuayAsk {
            temperature_degc: self.temperature_degc,
            volts: meter("meter_volts", self.meter_volts.as_deref())?,
            amps: meter("meter_amps", self.meter_amps.as_deref())?,
            ohms: meter("meter_ohms", self.meter_ohms.as_deref())?,
            wire_share: share(self.spread_wire_percent),
            load_share: share(self.spread_load_percent),
            supply_share: share(self.spread_supply_percent),
            calibrator,
        })
    }
}

/// The document `dockside/1` with readings, what is written in each box, what of it cannot be used, and the file that all of it makes.
pub(crate) fn judged(plan: &Path, memo: &Memo, ask: &Ask) -> Result<Value, ApiError> {
    let reading = text::read(plan, &ask.text, memo);
    let line = text::line(&reading)?;
    let no = |why: &dyn std::fmt::Display| {
        ApiError::unusable(
            "cannot-be",
            format!("the sheet cannot be worked out: {why}"),
        )
    };
    let sheet = dockside(line, &ask.quay.ask()?).map_err(|why| no(&why))?;
    let read: Readings = match &ask.csv {
        Some(_) if !ask.rows.is_empty() => {
            return Err(wrong("csv", "either `rows` or `csv` is given"));
        }
        Some(csv) => read_readings(csv.as_bytes(), &sheet).map_err(|why| {
            ApiError::unusable("no-readings", format!("nothing of this file can be used: {why}"))
                .help("save the readings here, or take the file that `soundline dockside PLAN --csv FILE` writes: it has the columns step, reading, unit, initials, note")
        })?,
        None if ask.rows.len() > MOST_ROWS => {
            return Err(wrong("rows", format!("there may be {MOST_ROWS}")));
        }
        None => read_rows(&ask.rows, &sheet),
    };
    let judged = judge_readings(line, &sheet, &read.readings).map_err(|why| no(&why))?;
    let mut told = dockside_json(line, &sheet, Some(&judged));
    let rows = read.written.iter().map(|(step, written)| {
        json!([
            step,
            written.reading,
            written.unit,
            written.initials,
            written.note
        ])
    });
    told["rows"] = rows.collect();
    let faults = read.faults.iter();
    told["row_faults"] = faults
        .map(|f| {
            let kept = f.step.is_some() && !matches!(f.why, ReadingsError::Twice { .. });
            json!({ "line": f.line, "step": f.step, "kept": kept, "why": f.why.to_string() })
        })
        .collect();
    told["oddities"] = json!(read.oddities);
    told["csv"] = json!(readings_csv(&sheet, &read.written));
    let mistakes = report::mistakes_json(&reading.mistakes, &reading.sources);
    Ok(beside::of_plan(told, Some(&reading.digest), &mistakes))
}
