//! `soundline dockside`: what the deck reads while the line is put together, and what is wrong where it reads otherwise.

mod settings;

use std::collections::BTreeMap;
use std::fs;
use std::io::{self, Write};
use std::path::{Path, PathBuf};

use assess::dockside::{
    Calibrator, Dockside, DocksideError, Found, QuayAsk, QuayJudged, Tolerance, judge_readings,
};
use beside::{ReadingFault, ReadingsError, read_readings, tolerance};
use plan::{Line, Reading};
use report::{dockside_csv, dockside_json, dockside_text};
use serde_json::json;

use crate::exit::Exit;
use crate::failure::Failure;
use crate::out::{Format, Out};
use crate::outputs::Outputs;
use crate::plan_file;
use settings::SettingsError;

/// Largest file of readings or settings, bytes.
const LARGEST_BYTES: u64 = 16 << 20;

/// Print what a meter must read while the line is put together, step by step; with READINGS, say what is off and which single fault explains it.
///
/// READINGS is CSV with the columns step, reading, unit, initials, note: `--csv FILE` writes one with empty boxes. A reading beyond the range of the meter is written OL. Exit status with READINGS: 0 all
/// within, 1 something off, 2 unusable, 3 nothing off but something not taken or with nothing to hold it against; with --settings 0 as in the plan, 1 not; else 0.
#[derive(Debug, clap::Args)]
pub(crate) struct Args {
    /// The plan.
    plan: PathBuf,
    /// Readings to judge: step,reading,unit,initials,note.
    #[arg(conflicts_with_all = ["csv", "settings"])]
    readings: Option<PathBuf>,
    /// Write a file of readings with an empty box for each step.
    #[arg(long, value_name = "FILE", conflicts_with = "settings")]
    csv: Option<PathBuf>,
    /// Replace it if it exists.
    #[arg(long, requires = "csv")]
    force: bool,
    /// Settings read back from a module, a `KEY = VALUE` on each line, held against what `workpack` writes for it.
    #[arg(long, value_name = "FILE", requires = "module")]
    settings: Option<PathBuf>,
    /// The module of which they are: `module.upper`.
    #[arg(long, value_name = "MODULE", requires = "settings")]
    module: Option<String>,
    /// Temperature of cable and air, degC.
    #[arg(long, value_name = "DEGC")]
    temperature: Option<f64>,
    /// How far the meter may be off on voltages: percent of the reading and volts (95 %).
    #[arg(long, value_name = "PERCENT,V", value_parser = tolerance)]
    meter_volts: Option<Tolerance>,
    /// The same on supply currents, in percent and amperes.
    #[arg(long, value_name = "PERCENT,A", value_parser = tolerance)]
    meter_amps: Option<Tolerance>,
    /// The same on resistances, in percent and ohms.
    #[arg(long, value_name = "PERCENT,OHM", value_parser = tolerance)]
    meter_ohms: Option<Tolerance>,
    /// How far a conductor may be from the resistance of its table, percent (95 %).
    #[arg(long, value_name = "PERCENT")]
    spread_wire: Option<f64>,
    /// How far a load may be from what is written without a spread, percent (95 %).
    #[arg(long, value_name = "PERCENT")]
    spread_load: Option<f64>,
    /// How far a supply may be from a voltage that is written without a spread, percent (95 %).
    #[arg(long, value_name = "PERCENT")]
    spread_supply: Option<f64>,
    /// Level of the calibrator at the hydrophone, dB re 1 uPa, rms.
    #[arg(long, value_name = "DB", requires = "calibrator_frequency")]
    calibrator_level: Option<f64>,
    /// Its frequency, Hz.
    #[arg(long, value_name = "HZ", requires = "calibrator_level")]
    calibrator_frequency: Option<f64>,
}

/// Why nothing came of a sheet.
#[derive(Debug, thiserror::Error)]
pub(crate) enum DocksideCommandError {
    /// There is no sheet.
    #[error("the sheet cannot be worked out: {0}")]
    Sheet(#[from] DocksideError),
    /// A file cannot be read.
    #[error("{} cannot be read: {source}", path.display())]
    Read {
        /// Which.
        path: PathBuf,
        /// Why.
        source: io::Error,
    },
    /// A file is too large.
    #[error("{} is larger than {LARGEST_BYTES} bytes: that is no file of readings or settings", .0.display())]
    TooLarge(PathBuf),
    /// Nothing of the readings can be used.
    #[error("{}: {why}", path.display())]
    Readings {
        /// The file.
        path: PathBuf,
        /// Why.
        why: Box<ReadingsError>,
    },
    /// Rows of the readings cannot be used.
    #[error("{}: {} of its rows cannot be used{}", path.display(), faults.len(), listed(faults))]
    Rows {
        /// The file.
        path: PathBuf,
        /// Each with its line.
        faults: Vec<ReadingFault>,
    },
    /// Settings cannot be used.
    #[error(transparent)]
    Settings(#[from] SettingsError),
}

fn listed(faults: &[ReadingFault]) -> String {
    let each = faults.iter();
    each.map(|f| format!("\n  line {}: {}", f.line, f.why))
        .collect()
}

impl DocksideCommandError {
    /// How the user may mend it.
    pub(crate) fn help(&self) -> Option<String> {
        match self {
            DocksideCommandError::Readings { .. } | DocksideCommandError::Rows { .. } => Some(
                "`soundline dockside PLAN --csv FILE` writes the steps with their units: fill in the readings, and leave a box empty where none was taken".to_owned(),
            ),
            DocksideCommandError::Settings(error) => error.help(),
            _ => None,
        }
    }
}

pub(crate) fn run(args: &Args, out: &mut Out) -> Result<Exit, Failure> {
    let reading = plan_file::read_and_show(&args.plan, out)?;
    let line = plan_file::line(&reading, &args.plan)?;
    if let (Some(path), Some(module)) = (&args.settings, &args.module) {
        let text = bytes_of(path)?;
        let held = settings::hold(&reading, line, module, path, &text);
        return settings::tell(&held.map_err(DocksideCommandError::from)?, out);
    }
    let sheet = assess::dockside::dockside(line, &ask(args)).map_err(DocksideCommandError::from)?;
    let Some(path) = &args.readings else {
        return print(args, &reading, line, &sheet, out);
    };
    let bytes = bytes_of(path)?;
    let taken = read_readings(&bytes, &sheet).map_err(|why| DocksideCommandError::Readings {
        path: path.clone(),
        why: Box::new(why),
    })?;
    if !taken.faults.is_empty() {
        return Err(DocksideCommandError::Rows {
            path: path.clone(),
            faults: taken.faults,
        }
        .into());
    }
    for odd in &taken.oddities {
        writeln!(out.stderr, "{}: {odd}", path.display())?;
    }
    let values: BTreeMap<String, f64> = taken.readings;
    let judged = judge_readings(line, &sheet, &values).map_err(DocksideCommandError::from)?;
    told(line, &sheet, Some(&judged), out)?;
    let any = |wanted: Found| judged.found.iter().any(|(found, _)| *found == wanted);
    Ok(match () {
        () if any(Found::Off) => Exit::Broken,
        () if any(Found::NotTaken) || any(Found::NothingExpected) => Exit::Unknown,
        () => Exit::Met,
    })
}

fn ask(args: &Args) -> QuayAsk {
    let share = |percent: Option<f64>| percent.map(|p| p / 100.0);
    let calibrator = args.calibrator_level.zip(args.calibrator_frequency);
    QuayAsk {
        temperature_degc: args.temperature,
        volts: args.meter_volts,
        amps: args.meter_amps,
        ohms: args.meter_ohms,
        wire_share: share(args.spread_wire),
        load_share: share(args.spread_load),
        supply_share: share(args.spread_supply),
        calibrator: calibrator.map(|(level_db, frequency_hz)| Calibrator {
            level_db,
            frequency_hz,
        }),
    }
}

fn bytes_of(path: &Path) -> Result<Vec<u8>, DocksideCommandError> {
    let unread = |source| DocksideCommandError::Read {
        path: path.to_path_buf(),
        source,
    };
    if fs::metadata(path).map_err(unread)?.len() > LARGEST_BYTES {
        return Err(DocksideCommandError::TooLarge(path.to_path_buf()));
    }
    fs::read(path).map_err(unread)
}

fn print(
    args: &Args,
    reading: &Reading,
    line: &Line,
    sheet: &Dockside,
    out: &mut Out,
) -> Result<Exit, Failure> {
    if let Some(path) = &args.csv {
        let outputs = Outputs::new(args.force, plan_file::inputs(&reading.sources));
        outputs.write(path, dockside_csv(sheet).as_bytes())?;
        if out.format == Format::Text {
            writeln!(
                out.stdout,
                "{}: {} steps, each with an empty box",
                path.display(),
                sheet.steps.len()
            )?;
            return Ok(Exit::Met);
        }
    }
    told(line, sheet, None, out)?;
    Ok(Exit::Met)
}

fn told(
    line: &Line,
    sheet: &Dockside,
    judged: Option<&QuayJudged>,
    out: &mut Out,
) -> Result<(), Failure> {
    match out.format {
        Format::Text => {
            let text = dockside_text(line, sheet, judged);
            out.stdout.write_all(text.as_bytes())?;
        }
        Format::Json => {
            let whole = out.of_plan(dockside_json(line, sheet, judged));
            out.json(&whole)?;
        }
    }
    Ok(())
}

/// The document of settings that were held against the plan.
fn settings_json(held: &settings::Held) -> serde_json::Value {
    let differs = held.differs.iter();
    let differs = differs
        .map(|d| json!({ "key": d.key, "plan": d.plan, "read_back": d.found, "line": d.line }));
    let strange = held.strange.iter();
    let strange = strange.map(|(line, key)| json!({ "key": key, "line": line }));
    json!({
        "format": "dockside-settings/1",
        "module": held.module,
        "settings": {
            "same": held.same,
            "differ": differs.collect::<Vec<_>>(),
            "missing": held.missing,
            "strange": strange.collect::<Vec<_>>(),
            "another_plan_digest": held.other_plan,
        },
    })
}
