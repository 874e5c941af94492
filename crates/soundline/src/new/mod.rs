//! `soundline new`: a running plan from about fifteen answers.

mod answers;
mod ask;
mod cues;
mod questions;
mod template;
#[cfg(test)]
mod tests;
mod text;

use std::io::{self, IsTerminal, Write};
use std::path::PathBuf;

use jiff::Timestamp;
use jiff::tz::Offset;
use plan::{Mistake, Reading, Sources};
use report::{Inputs, OutputError};
use serde::Serialize;
use thiserror::Error;

use crate::exit::Exit;
use crate::failure::Failure;
use crate::out::{Format, Out};
use crate::outputs::{Outputs, make_folder};
use crate::plan_file;
use answers::TemplateError;
use beside::PROGRAM;
use beside::{rehearse_line, shell_word};
use questions::{Answers, Ask, SupplyKind};

/// Write a first plan and cue sheet from about fifteen answers, asked on a terminal or given as flags.
///
/// What is not answered is assumed, and each assumed value is marked `# assumed` at its line. The plan is checked at once,
/// and what does not hold is told with what to change. Files that exist are replaced only with --force.
#[derive(Debug, clap::Args)]
pub(crate) struct Args {
    /// The folder in which plan.toml and cues.toml are written; made if it is not there.
    #[arg(long, value_name = "DIR", default_value = ".")]
    out: PathBuf,
    /// Replace plan.toml and cues.toml if they exist.
    #[arg(long)]
    force: bool,
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
    #[arg(long, value_name = "LENGTH", allow_hyphen_values = true)]
    water_depth: Option<String>,
    /// Start, such as 2027-03-15.
    #[arg(long, value_name = "DATE")]
    start: Option<String>,
    /// Time in the water, such as "240 d".
    #[arg(long, value_name = "TIME", allow_hyphen_values = true)]
    duration: Option<String>,
    /// Mean wind over the year, such as "8 m/s".
    #[arg(long, value_name = "SPEED", allow_hyphen_values = true)]
    wind: Option<String>,
    /// Where power comes from.
    #[arg(long, value_enum)]
    supply: Option<SupplyKind>,
    /// Voltage of the supply, such as "24 V".
    #[arg(long, value_name = "VOLTAGE", allow_hyphen_values = true)]
    voltage: Option<String>,
    /// Depth of each hydrophone, from the top, such as "22 m, 58 m".
    #[arg(long, value_name = "LENGTHS", allow_hyphen_values = true)]
    depths: Option<String>,
    /// Conductor of the cables, such as "1.0 mm2 class 5" or "18 AWG".
    #[arg(long)]
    conductor: Option<String>,
    /// Data link in the cables, by its standard: 10BASE-T1L, 100BASE-T1 or 100BASE-TX.
    #[arg(long)]
    link: Option<String>,
    /// Lowest and highest frequency of the sound, such as "60 Hz, 260 Hz".
    #[arg(long, value_name = "FREQUENCIES", allow_hyphen_values = true)]
    band: Option<String>,
    /// How far the sound must stand out of the background, such as "6 dB".
    #[arg(long, value_name = "LEVEL", allow_hyphen_values = true)]
    threshold: Option<String>,
    /// Price of one message ashore, such as "0.12 EUR".
    #[arg(long, value_name = "MONEY", allow_hyphen_values = true)]
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
    plan_digest: &'a str,
    cues: String,
    /// Flags whose answers were assumed.
    not_answered: Vec<&'a str>,
    assumed_lines: usize,
    assumed_lines_of_cues: usize,
    /// What `check` finds broken or unknown in the plan as it was written.
    not_met: Vec<NotMet>,
}

#[derive(Serialize)]
struct NotMet {
    id: String,
    ruling: &'static str,
    sentence: String,
    /// What would mend it.
    change: Option<&'static str>,
}

const MARKED: &str = "  # assumed";

pub(crate) fn run(args: &Args, out: &mut Out) -> Result<Exit, Failure> {
    let (plan_path, cues_path) = (args.out.join("plan.toml"), args.out.join("cues.toml"));
    let outputs = Outputs::new(args.force, Inputs::none());
    if !args.force {
        // Both, so that a plan is not left without its cue sheet.
        for path in [&plan_path, &cues_path] {
            if path.symlink_metadata().is_ok() {
                return Err(OutputError::Exists { path: path.clone() }.into());
            }
        }
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
    let plan_text = template::plan_text(&answers, today).map_err(NewError::from)?;
    let cues_text = cues::cues_text(&answers, today).map_err(NewError::from)?;
    let reading = ask::read(&plan_text);
    refuse_errors(&reading.mistakes, &reading.sources, out)?;
    let cues = ask::read_cues(&cues_text, &reading);
    refuse_errors(&cues.mistakes, &cues.sources, out)?;
    make_folder(&args.out)?;
    outputs.write(&plan_path, plan_text.as_bytes())?;
    outputs.write(&cues_path, cues_text.as_bytes())?;

    // What `soundline check` finds, from what now lies on the disk.
    let reading = plan_file::read(&plan_path, out)?;
    // A new plan has no evidence with recordings to read.
    let (shelf, _) = beside::shelf(&plan_path, &reading, &|_, _| true).expect("nothing stops it");
    let check = assess::check(&reading, &shelf);
    let marked = |text: &str| text.lines().filter(|line| line.contains(MARKED)).count();
    let (plan_marked, cues_marked) = (marked(&plan_text), marked(&cues_text));
    match out.format {
        Format::Text => {
            let (plan, cues) = (plan_path.display(), cues_path.display());
            writeln!(
                out.stdout,
                "wrote {plan}: {plan_marked} lines are marked `# assumed`\n\
                 wrote {cues}: {cues_marked} lines are marked `# assumed`"
            )?;
            if let Some(suited) = suited(&reading) {
                writeln!(out.stdout, "{suited}")?;
            }
            writeln!(out.stdout)?;
            let mut not_held = check.not_held().peekable();
            if not_held.peek().is_some() {
                let begins = match not_held.any(assess::Judged::is_broken) {
                    true => {
                        "As written, the plan does not hold (edit it, or answer anew with --force):"
                    }
                    false => "What the plan does not say yet is unknown, and nothing is broken:",
                };
                writeln!(out.stdout, "{begins}")?;
            }
            let brief = report::check_brief(&check, out.colour, &|judged| change(&judged.id));
            write!(out.stdout, "{brief}")?;
            writeln!(
                out.stdout,
                "\nNext: look at each assumed line, then\n  \
                   soundline check {}\n  \
                   {}",
                shell_word(&plan_path),
                rehearse_line(&plan_path, &cues_path),
            )?;
        }
        Format::Json => out.json(&Written {
            format: "new/1",
            program: PROGRAM,
            plan: plan_path.display().to_string(),
            plan_digest: &reading.digest,
            cues: cues_path.display().to_string(),
            not_answered: answers.missing().into_iter().map(Ask::flag).collect(),
            assumed_lines: plan_marked,
            assumed_lines_of_cues: cues_marked,
            not_met: check
                .not_held()
                .map(|judged| NotMet {
                    ruling: judged.word().as_str(),
                    id: judged.id.clone(),
                    sentence: judged.sentence.clone(),
                    change: change(&judged.id),
                })
                .collect(),
        })?,
    }
    Ok(Exit::Met)
}

/// Shows the errors of a text that was made from the answers, and refuses it for them.
fn refuse_errors(mistakes: &[Mistake], sources: &Sources, out: &mut Out) -> Result<(), Failure> {
    let errors = mistakes.iter().filter(|m| m.is_error());
    match plan_file::show(errors, sources, out)? {
        0 => Ok(()),
        mistakes => Err(NewError::NoPlan { mistakes }.into()),
    }
}

/// The limits that were assumed such that the answers fit them: with others they may not.
fn suited(reading: &Reading) -> Option<String> {
    use quantity::{Dimension, show};
    let modules = &reading.line.as_ref()?.modules;
    let input = modules.iter().find_map(|m| m.input.as_ref())?;
    let rated_m = modules
        .iter()
        .find_map(|m| m.housing.as_ref()?.rated_depth_m)?;
    Some(format!(
        "modules are assumed to suit these answers: an input of {} to {}, a housing for {}; put in what yours have",
        show(input.minimum_v.si, Dimension::Voltage),
        show(input.maximum_v.si, Dimension::Voltage),
        show(rated_m.si, Dimension::Length)
    ))
}

/// What mends a requirement that the template writes, or one of those that are checked in every plan.
fn change(id: &str) -> Option<&'static str> {
    Some(match id {
        "voltage" => {
            "a higher --voltage, a thicker --conductor, or fewer or higher hydrophones (--depths); or `input` and `loads` of the modules, which are assumed"
        }
        "supply" => {
            "a higher --voltage or a thicker --conductor; or `current_limit` under [supply.main.output], which is assumed"
        }
        "links" => "a faster --link, or a lower `at_most` under [topic.\"alert/call\"]",
        "prompt" => {
            "a wider --band, whose detector tells sooner; or `at_most` under [requirement.prompt], which is assumed"
        }
        "messages" => {
            "`at_most` under [behaviour.tell-the-shore] or [requirement.messages], which are assumed"
        }
        "winter" => {
            "larger panels or battery under [supply.main] (`soundline year` tells the sizes that do); or `loads`, `clearness` of the site, which are assumed"
        }
        "cells" => {
            "a larger battery under [supply.main.battery]; or `loads` of the modules, which are assumed"
        }
        "boots-carried" => {
            "a higher --voltage or a thicker --conductor; or `lock_out` and `wakes_after` of the modules, so that they boot in turn"
        }
        "link-reach" => {
            "a --link that reaches further, hydrophones nearer to each other (--depths), or the `length` of a span where it is assumed"
        }
        "housing-depth" => "`rated_depth` under [part.listener], which is assumed",
        _ => return None,
    })
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
