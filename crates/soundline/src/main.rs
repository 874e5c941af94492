//! The command line: parse arguments, call the libraries, print.
//!
//! A command is one file with its `Args` and `run(args, &mut Out) -> Result<Exit, Failure>`; it is named three times here
//! (`mod`, [`Command`], `match`) and once in [`Failure`].

mod age;
mod cancel;
mod chain;
mod check;
mod compare;
mod completions;
mod desk;
mod dockside;
mod exit;
mod failure;
mod failures;
mod faults;
mod hours;
mod listen;
mod live_link;
mod measure;
mod mooring;
mod new;
mod numbers;
mod out;
mod outputs;
mod paths;
mod payload;
mod picture_name;
mod place;
mod plan_file;
mod range;
mod recovery;
mod rehearse;
mod remedy;
mod reserve;
mod schema;
mod slip;
mod start;
mod tune;
mod uplink;
mod workpack;
mod year;

use clap::{Parser, Subcommand};

use crate::exit::Exit;
use crate::failure::Failure;
use crate::out::{Asked, Colour, Out};

/// Prove an underwater listening line on the bench before a ship takes it out.
#[derive(Parser)]
#[command(
    name = "soundline",
    version,
    propagate_version = true,
    max_term_width = 110,
    after_help = exit::HELP
)]
pub(crate) struct Cli {
    /// How results are written to standard output. Only `compare` writes markdown.
    #[arg(long, global = true, value_enum, default_value_t = Asked::Text, help_heading = "For every command")]
    format: Asked,
    /// When to use colour. `auto`: on a terminal, unless NO_COLOR is set.
    #[arg(long, global = true, value_enum, default_value_t = Colour::Auto, help_heading = "For every command")]
    color: Colour,
    #[command(subcommand)]
    command: Command,
}

#[derive(Subcommand)]
enum Command {
    Check(check::Args),
    Compare(compare::Args),
    Remedy(remedy::Args),
    Rehearse(rehearse::Args),
    Listen(listen::Args),
    Tune(tune::Args),
    Chain(chain::Args),
    Measure(measure::Args),
    Start(start::Args),
    Range(range::Args),
    Reserve(reserve::Args),
    Faults(faults::Args),
    Failures(failures::Args),
    Mooring(mooring::Args),
    Recovery(recovery::Args),
    Slip(slip::Args),
    Paths(paths::Args),
    Payload(payload::Args),
    Uplink(uplink::Args),
    Year(year::Args),
    Hours(hours::Args),
    Workpack(workpack::Args),
    Dockside(dockside::Args),
    Desk(desk::Args),
    New(new::Args),
    Schema(schema::Args),
    Completions(completions::Args),
}

fn main() -> std::process::ExitCode {
    let cli = match Cli::try_parse_from(numbers::with_values_below_zero(std::env::args_os())) {
        Ok(cli) => cli,
        Err(error) => {
            let exit = if error.use_stderr() {
                Exit::Unusable
            } else {
                Exit::Met
            };
            // Whoever reads the help may close it early; there is nobody left to tell.
            drop(error.print());
            return exit.into();
        }
    };
    let mut out = Out::standard(cli.format, cli.color);
    let outcome = run(cli.command, &mut out).and_then(|exit| {
        out.stdout.flush()?;
        Ok(exit)
    });
    match outcome {
        Ok(exit) => exit,
        Err(failure) => failure.tell(&mut out),
    }
    .into()
}

fn run(command: Command, out: &mut Out) -> Result<Exit, Failure> {
    if out.markdown && !matches!(command, Command::Compare(_)) {
        return Err(Failure::NoMarkdown);
    }
    match command {
        Command::Check(args) => check::run(&args, out),
        Command::Compare(args) => compare::run(&args, out),
        Command::Remedy(args) => remedy::run(&args, out),
        Command::Rehearse(args) => rehearse::run(&args, out),
        Command::Listen(args) => listen::run(&args, out),
        Command::Tune(args) => tune::run(&args, out),
        Command::Chain(args) => chain::run(&args, out),
        Command::Measure(args) => measure::run(&args, out),
        Command::Start(args) => start::run(&args, out),
        Command::Range(args) => range::run(&args, out),
        Command::Reserve(args) => reserve::run(&args, out),
        Command::Faults(args) => faults::run(&args, out),
        Command::Failures(args) => failures::run(&args, out),
        Command::Workpack(args) => workpack::run(&args, out),
        Command::Dockside(args) => dockside::run(&args, out),
        Command::Mooring(args) => mooring::run(&args, out),
        Command::Recovery(args) => recovery::run(&args, out),
        Command::Slip(args) => slip::run(&args, out),
        Command::Paths(args) => paths::run(&args, out),
        Command::Payload(args) => payload::run(&args, out),
        Command::Uplink(args) => uplink::run(&args, out),
        Command::Year(args) => year::run(&args, out),
        Command::Hours(args) => hours::run(&args, out),
        Command::Desk(args) => desk::run(&args, out),
        Command::New(args) => new::run(&args, out),
        Command::Schema(args) => schema::run(&args, out),
        Command::Completions(args) => completions::run(&args, out),
    }
}
