//! `soundline reserve`: what may still be added at each module, and how far the line is from collapse; of a part, where it may go.

use std::io::Write;
use std::path::PathBuf;

use assess::{
    Factor, LineReserve, Room, WeightReserve, depths_told, line_reserve, line_weight_reserve,
};
use report::{WeightReserveFound, reserve_json, reserve_text};

use crate::exit::Exit;
use crate::failure::Failure;
use crate::out::{Format, Out};
use crate::{place, plan_file};

/// Tell what each module could draw more, and what stops it; how far the line is from collapse in each set of states; and what weight each
/// place of a line in the water could still take.
///
/// With --module it says for every place on the line whether that part may be added there, and what binds. Exit status then:
/// 0 it may go somewhere, 1 nowhere, 3 that is not known.
#[derive(Debug, clap::Args)]
pub(crate) struct Args {
    /// The plan.
    plan: PathBuf,
    #[command(flatten)]
    place: place::PlaceArgs,
}

/// Why the reserve could not be worked out.
#[derive(Debug, thiserror::Error)]
pub(crate) enum ReserveCommandError {
    /// The plan says something that cannot be.
    #[error("the reserve cannot be worked out: {0}")]
    Input(#[from] assess::input::InputError),
}

pub(crate) fn run(args: &Args, out: &mut Out) -> Result<Exit, Failure> {
    let reading = plan_file::read_and_show(&args.plan, out)?;
    if let Some(part) = args.place.asks() {
        return place::run(&args.plan, &args.place, part, &reading, out);
    }
    let line = plan_file::line(&reading, &args.plan)?;
    let found = line_reserve(line).map_err(ReserveCommandError::from)?;
    let weight = line_weight_reserve(&reading);
    let depths = depths_told(line);
    let depths = depths.as_ref();
    let name = &line.deployment.name;
    match out.format {
        Format::Text => out
            .stdout
            .write_all(reserve_text(name, &found, &weight, depths).as_bytes())?,
        Format::Json => out.json(&out.of_plan(reserve_json(name, &found, &weight, depths)))?,
    }
    Ok(exit(&found, &weight))
}

/// A limit that is not kept counts as broken, a line that cannot carry its load too. A line in the water of which the plan does not say enough
/// is told and changes nothing here, as most plans ask for power alone.
fn exit(found: &LineReserve, weight: &WeightReserveFound) -> Exit {
    let places = || weight.iter().flat_map(|l| &l.places).map(|p| &p.reserve);
    let factors = || found.weakest.iter().map(|set| &set.factor);
    let broken = found
        .modules
        .iter()
        .any(|m| matches!(m.room, Room::None { .. }))
        || factors().any(|f| matches!(f, Factor::Share(share) if *share < 1.0))
        || places().any(|l| matches!(l, WeightReserve::None { .. }));
    let unknown = !found.unknowns.is_empty()
        || found
            .modules
            .iter()
            .any(|m| matches!(m.room, Room::Unknown { .. }))
        || factors().any(|f| matches!(f, Factor::Unknown { .. }))
        || places().any(|l| matches!(l, WeightReserve::Unknown { .. }));
    if broken {
        Exit::Broken
    } else if unknown {
        Exit::Unknown
    } else {
        Exit::Met
    }
}
