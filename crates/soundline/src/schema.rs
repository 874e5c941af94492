//! `soundline schema`: the JSON Schema of the files that people write.

use clap::ValueEnum;

use crate::exit::Exit;
use crate::failure::Failure;
use crate::out::Out;

/// Print the JSON Schema of a plan or a cue sheet, for editors that complete and check such files.
#[derive(Debug, clap::Args)]
pub(crate) struct Args {
    /// Which file.
    #[arg(value_enum, default_value_t = Kind::Plan)]
    of: Kind,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Kind {
    /// The plan, which describes a deployment.
    Plan,
    /// The cue sheet, which drives a rehearsal.
    Cues,
}

/// A schema is JSON whatever `--format` says.
pub(crate) fn run(args: &Args, out: &mut Out) -> Result<Exit, Failure> {
    let schema = match args.of {
        Kind::Plan => plan::plan_schema(),
        Kind::Cues => plan::cues_schema(),
    };
    out.reference(|out| out.json(&schema))?;
    Ok(Exit::Met)
}
