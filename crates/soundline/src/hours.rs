//! `soundline hours`: for how much of the time each hydrophone hears, and what takes the rest.

use std::io::Write;
use std::path::PathBuf;

use assess::{HoursAsk, listening_hours, module_health};
use report::{hours_json, hours_text};

use crate::cancel::Cancel;
use crate::exit::Exit;
use crate::failure::Failure;
use crate::numbers::whole;
use crate::out::{Format, Out};
use crate::plan_file;

/// Tell for how much of the time each hydrophone hears, over many years: what its power, its start, its way ashore, its clock, its own heave and the strum of
/// its rope leave, all at once.
///
/// It judges nothing: requirements on `listening-share` and `listening-gap` do, in `soundline check`. Exit status: 0, or 3 where the plan does not say enough of a
/// cause; what is heard is then at most what is told.
#[derive(Debug, clap::Args)]
pub(crate) struct Args {
    /// The plan.
    plan: PathBuf,
    /// How many years; 300 when not given, of a weather file all.
    #[arg(long, value_name = "N", value_parser = whole::<u64>(1, 10_000))]
    years: Option<u64>,
    /// Seed of the weather, the wind and the tide; `check` takes 1.
    #[arg(long, value_name = "N", default_value_t = assess::WEATHER_SEED, value_parser = whole::<u64>(0, u64::MAX))]
    seed: u64,
    /// Tell as well what each module could say of its own health in its heartbeat (voltage, current, leak, humidity, restarts, room of its store, offset of its
    /// clock): a packed payload to be written into the plan, and its bytes.
    #[arg(long)]
    health: bool,
}

/// Why the hours could not be computed.
#[derive(Debug, thiserror::Error)]
pub(crate) enum HoursCommandError {
    /// The plan says something that cannot be, or has no hydrophone.
    #[error("the hours of hearing cannot be worked out: {0}")]
    Hours(#[from] assess::HoursError),
    /// A topic's payload cannot be packed.
    #[error("the messages on health cannot be worked out: {0}")]
    Health(#[from] assess::input::InputError),
    /// The user asked to stop.
    #[error("cancelled")]
    Cancelled,
}

pub(crate) fn run(args: &Args, out: &mut Out) -> Result<Exit, Failure> {
    let reading = plan_file::read_and_show(&args.plan, out)?;
    let line = plan_file::line(&reading, &args.plan)?;
    let cancel = Cancel::on_ctrl_c()?;
    let bar = out.progress(1000, "years");
    let ask = HoursAsk {
        years: args.years,
        seed: args.seed,
        threads: std::thread::available_parallelism().map_or(1, usize::from),
    };
    let hours = listening_hours(line, &ask, &|share| {
        bar.set_position((1000.0 * share) as u64);
        !cancel.asked()
    });
    bar.finish_and_clear();
    let Some(hours) = hours.map_err(HoursCommandError::from)? else {
        return Err(HoursCommandError::Cancelled.into());
    };
    let health = args.health.then(|| module_health(line)).transpose();
    let health = health.map_err(HoursCommandError::from)?;
    let health = health.as_deref();
    let name = &line.deployment.name;
    match out.format {
        Format::Text => out
            .stdout
            .write_all(hours_text(name, &hours, health).as_bytes())?,
        Format::Json => out.json(&out.of_plan(hours_json(name, &hours, health)))?,
    }
    let known = hours.ears.iter().all(|ear| ear.unknown.is_empty());
    Ok(if known { Exit::Met } else { Exit::Unknown })
}
