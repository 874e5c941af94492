//! `soundline new`: a running plan from about fifteen answers.

mod answers;
mod ask;
mod questions;
mod template;
#[cfg(test)]
mod tests;
mod text;

use std::io::{self, IsTerminal, Write};
use std::path::PathBuf;

use assess::{Shelf, Word};
use jiff::Timestamp;
use jiff::tz::Offset;
use plan::Mistake;
use report::{OutputError, Overwrite, write_atomically};
use serde::Serialize;
use thiserror::Error;

use crate::exit::Exit;
use crate::failure::Failure;
use crate::out::{Format, Out, PROGRAM};
use answers::TemplateError;
use questions::{Answers, Ask, SupplyKind};

/// Write a first plan from about fifteen answers, asked on a terminal or given as flags.
///
/// What is not answered is assumed, and each assumed value is marked `# assumed` at its line. A file that exists is never
/// replaced.
#[derive(Debug, clap::Args)]
pub(crate) struct Args {
    /// The folder in which plan.toml is written; made if it is not there.
    #[arg(long, value_name = "DIR", default_value = ".")]
    out: PathBuf,
    /// Ask nothing: assume what no flag answers.
    #[arg(long)]
    yes: bool,
    /// Name of the deployment.
    #[arg(long)]
    name: Option<String>,
    /// Latitude, north positive, such as "57.3 deg".
    #[arg(long, value_name = "ANGLE", allow_hyphen_values = true)]
    latitude: Option<String>,
    /// Longitude, east positive, such as "-6.0 deg".
    #[arg(long, value_name = "ANGLE", allow_hyphen_values = true)]
    longitude: Option<String>,
    /// Depth of the water, such as "85 m".
    #[arg(long, value_name = "LENGTH")]
    water_depth: Option<String>,
    /// Start, such as 2027-03-15.
    #[arg(long, value_name = "DATE")]
    start: Option<String>,
    /// Time in the water, such as "240 d".
    #[arg(long, value_name = "TIME")]
    duration: Option<String>,
    /// Mean wind over the year, such as "8 m/s".
    #[arg(long, value_name = "SPEED")]
    wind: Option<String>,
    /// Where power comes from.
    #[arg(long, value_enum)]
    supply: Option<SupplyKind>,
    /// Voltage of the supply, such as "24 V".
    #[arg(long, value_name = "VOLTAGE")]
    voltage: Option<String>,
    /// Depth of each hydrophone, from the top, such as "22 m, 58 m".
    #[arg(long, value_name = "LENGTHS")]
    depths: Option<String>,
    /// Conductor of the cables, such as "1.0 mm2 class 5" or "18 AWG".
    #[arg(long)]
    conductor: Option<String>,
    /// Data link in the cables, by its standard: 10BASE-T1L, 100BASE-T1 or 100BASE-TX.
    #[arg(long)]
    link: Option<String>,
    /// Lowest and highest frequency of the sound, such as "60 Hz, 260 Hz".
    #[arg(long, value_name = "FREQUENCIES")]
    band: Option<String>,
    /// How far the sound must stand out of the background, such as "6 dB".
    #[arg(long, value_name = "LEVEL", allow_hyphen_values = true)]
    threshold: Option<String>,
    /// Price of one message ashore, such as "0.12 EUR".
    #[arg(long, value_name = "MONEY")]
    price: Option<String>,
}

/// Why no plan was written.
#[derive(Debug, Error)]
pub(crate) enum NewError {
    /// Nobody can be asked.
    #[error("not on a terminal, and not answered: {}", flags(missing))]
    NotAnswered {
        /// The questions without an answer.
        missing: Vec<Ask>,
    },
    /// An answer cannot be read.
    #[error(transparent)]
    Template(#[from] TemplateError),
    /// The answers make no plan that can be read. What is wrong has been shown.
    #[error("these answers make no plan: {mistakes} mistakes")]
    NoPlan {
        /// How many.
        mistakes: usize,
    },
}

impl NewError {
    /// How the user may mend it.
    pub(crate) fn help(&self) -> Option<String> {
        match self {
            NewError::NotAnswered { .. } => {
                Some("give these flags, or --yes to have them assumed and marked".to_owned())
            }
            NewError::Template(_) => {
                Some("`soundline new --help` shows the form of each answer".to_owned())
            }
            NewError::NoPlan { .. } => {
                Some("change the answers to which the lines above belong".to_owned())
            }
        }
    }
}

fn flags(missing: &[Ask]) -> String {
    let flags: Vec<&str> = missing.iter().map(|ask| ask.flag()).collect();
    flags.join(" ")
}

#[derive(Serialize)]
struct Written<'a> {
    format: &'static str,
    program: &'static str,
    plan: String,
    /// Flags whose answers were assumed.
    not_answered: Vec<&'a str>,
    assumed_lines: usize,
    /// What `check` finds broken or unknown in the plan as it was written.
    not_met: Vec<NotMet>,
}

#[derive(Serialize)]
struct NotMet {
    id: String,
    ruling: &'static str,
    sentence: String,
}

pub(crate) fn run(args: &Args, out: &mut Out) -> Result<Exit, Failure> {
    let path = args.out.join("plan.toml");
    if path.symlink_metadata().is_ok() {
        return Err(OutputError::Exists { path }.into());
    }
    let today = Offset::UTC.to_datetime(Timestamp::now()).date();
    let mut answers = args.answers();
    let missing = answers.missing();
    if !missing.is_empty() && !args.yes {
        if !(io::stdin().is_terminal() && io::stderr().is_terminal()) {
            return Err(NewError::NotAnswered { missing }.into());
        }
        let asked = ask::ask(
            &mut answers,
            today,
            &mut io::stdin().lock(),
            &mut out.stderr,
        )?;
        if asked == ask::Asked::Cancelled {
            return Ok(Exit::Cancelled);
        }
    }
    let text = template::plan_text(&answers, today).map_err(NewError::from)?;
    let reading = ask::read(&text);
    if reading.has_errors() {
        let wrong: Vec<Mistake> = reading
            .mistakes
            .iter()
            .filter(|m| m.is_error())
            .cloned()
            .collect();
        let drawn = plan::render(&wrong, &reading.sources, out.drawing);
        out.stderr.write_all(drawn.as_bytes())?;
        return Err(NewError::NoPlan {
            mistakes: wrong.len(),
        }
        .into());
    }
    std::fs::create_dir_all(&args.out).map_err(|source| OutputError::Io {
        action: "create the folder",
        path: args.out.clone(),
        source,
    })?;
    write_atomically(&path, text.as_bytes(), Overwrite::Refuse)?;
    let assumed_lines = text
        .lines()
        .filter(|line| line.contains("  # assumed"))
        .count();
    let check = assess::check(&reading, &Shelf::default());
    let not_met: Vec<NotMet> = check
        .requirements
        .into_iter()
        .chain(check.standing)
        .filter(|judged| matches!(judged.word(), Word::Broken | Word::Unknown))
        .map(|judged| NotMet {
            ruling: judged.word().as_str(),
            id: judged.id,
            sentence: judged.sentence,
        })
        .collect();
    match out.format {
        Format::Text => {
            writeln!(
                out.stdout,
                "wrote {}: {assumed_lines} lines are marked `# assumed`",
                path.display()
            )?;
            if !not_met.is_empty() {
                writeln!(out.stdout, "as it stands it does not hold:")?;
            }
            for NotMet {
                id,
                ruling,
                sentence,
            } in &not_met
            {
                writeln!(out.stdout, "  {ruling}: {id}: {sentence}")?;
            }
            writeln!(
                out.stdout,
                "next: look at each assumed line, then run soundline check {}",
                path.display()
            )?;
        }
        Format::Json => out.json(&Written {
            format: "new/1",
            program: PROGRAM,
            plan: path.display().to_string(),
            not_answered: answers.missing().into_iter().map(Ask::flag).collect(),
            assumed_lines,
            not_met,
        })?,
    }
    Ok(Exit::Met)
}

impl Args {
    fn answers(&self) -> Answers {
        use clap::ValueEnum;
        let mut answers = Answers::default();
        for ask in Ask::ALL {
            let given = match ask {
                Ask::Name => self.name.clone(),
                Ask::Latitude => self.latitude.clone(),
                Ask::Longitude => self.longitude.clone(),
                Ask::WaterDepth => self.water_depth.clone(),
                Ask::Start => self.start.clone(),
                Ask::Duration => self.duration.clone(),
                Ask::Wind => self.wind.clone(),
                Ask::Supply => self
                    .supply
                    .and_then(|kind| Some(kind.to_possible_value()?.get_name().to_owned())),
                Ask::Voltage => self.voltage.clone(),
                Ask::Depths => self.depths.clone(),
                Ask::Conductor => self.conductor.clone(),
                Ask::Link => self.link.clone(),
                Ask::Band => self.band.clone(),
                Ask::Threshold => self.threshold.clone(),
                Ask::Price => self.price.clone(),
            };
            answers.set(ask, given);
        }
        answers
    }
}
