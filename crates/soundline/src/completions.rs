//! `soundline completions`: what a shell needs to complete the commands and flags.

use clap::CommandFactory;
use clap_complete::Shell;

use crate::Cli;
use crate::exit::Exit;
use crate::failure::Failure;
use crate::out::Out;

/// Print the script with which a shell completes the commands and flags of this program.
#[derive(Debug, clap::Args)]
pub(crate) struct Args {
    /// The shell.
    #[arg(value_enum)]
    shell: Shell,
}

pub(crate) fn run(args: &Args, out: &mut Out) -> Result<Exit, Failure> {
    // The generator panics when its writer fails, so it writes to memory.
    let mut script = Vec::new();
    clap_complete::generate(args.shell, &mut Cli::command(), "soundline", &mut script);
    out.reference(|out| out.stdout.write_all(&script))?;
    Ok(Exit::Met)
}
