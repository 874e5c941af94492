//! Why a command could not do its work.

use std::io::{self, Write};

use report::OutputError;
use thiserror::Error;

use crate::exit::Exit;
use crate::listen::ListenError;
use crate::new::NewError;
use crate::out::Out;
use crate::rehearse::RehearseError;

/// Why a command ended without doing its work.
#[derive(Debug, Error)]
pub(crate) enum Failure {
    /// Standard output or standard error cannot be written.
    #[error("write the output: {0}")]
    Output(#[from] io::Error),
    /// A file cannot be written.
    #[error(transparent)]
    File(#[from] OutputError),
    /// Recordings cannot be listened to.
    #[error(transparent)]
    Listen(#[from] ListenError),
    /// No new plan was written.
    #[error(transparent)]
    New(#[from] NewError),
    /// A rehearsal cannot be run.
    #[error(transparent)]
    Rehearse(#[from] RehearseError),
    /// The plan cannot be used. What is wrong has been shown already.
    #[error("{path}: the plan cannot be used as it is")]
    Plan {
        /// The plan's path as the user gave it.
        path: String,
    },
}

impl Failure {
    /// How the user may mend it.
    fn help(&self) -> Option<String> {
        match self {
            Failure::File(OutputError::Exists { .. }) => Some(
                "give another name, or add --force to replace it where the command has that flag"
                    .to_owned(),
            ),
            Failure::Listen(error) => error.help(),
            Failure::New(error) => error.help(),
            Failure::Output(_) | Failure::File(_) | Failure::Rehearse(_) | Failure::Plan { .. } => {
                None
            }
        }
    }

    /// Tells the user, and gives the exit status. A reader that went away is told nothing.
    pub(crate) fn tell(&self, out: &mut Out) -> Exit {
        if let Failure::Output(error) = self
            && error.kind() == io::ErrorKind::BrokenPipe
        {
            return Exit::Cancelled;
        }
        let told = writeln!(out.stderr, "error: {self}").and_then(|()| match self.help() {
            Some(help) => writeln!(out.stderr, "  help: {help}"),
            None => Ok(()),
        });
        // When standard error cannot be written either, the exit status is all that is left.
        drop(told);
        Exit::Unusable
    }
}
