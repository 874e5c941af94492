//! Why a command could not do its work.

use std::io::{self, Write};
use std::path::Path;

use assess::CertaintyError;
use report::OutputError;
use serde_json::json;
use thiserror::Error;

use crate::chain::ChainCommandError;
use crate::check::CheckError;
use crate::desk::DeskCommandError;
use crate::dockside::DocksideCommandError;
use crate::exit::Exit;
use crate::failures::FailuresCommandError;
use crate::faults::FaultsCommandError;
use crate::hours::HoursCommandError;
use crate::listen::ListenError;
use crate::measure::MeasureCommandError;
use crate::mooring::MooringCommandError;
use crate::new::NewError;
use crate::out::{Format, Out};
use crate::paths::PathsCommandError;
use crate::payload::PayloadCommandError;
use crate::place::PlaceCommandError;
use crate::range::RangeCommandError;
use crate::recovery::RecoveryCommandError;
use crate::rehearse::RehearseError;
use crate::remedy::RemedyCommandError;
use crate::reserve::ReserveCommandError;
use crate::slip::SlipCommandError;
use crate::start::StartCommandError;
use crate::tune::TuneError;
use crate::uplink::UplinkCommandError;
use crate::workpack::WorkpackError;
use crate::year::YearCommandError;
use beside::PROGRAM;

/// Why a command ended without doing its work.
#[derive(Debug, Error)]
pub(crate) enum Failure {
    /// Standard output or standard error cannot be written.
    #[error("write the output: {0}")]
    Output(#[from] io::Error),
    /// A file cannot be written.
    #[error(transparent)]
    File(#[from] OutputError),
    /// A check cannot be told.
    #[error(transparent)]
    Check(#[from] CheckError),
    /// The sensor chains cannot be told.
    #[error(transparent)]
    Chain(#[from] ChainCommandError),
    /// Faults cannot be told.
    #[error(transparent)]
    Faults(#[from] FaultsCommandError),
    /// Single failures cannot be told.
    #[error(transparent)]
    Failures(#[from] FailuresCommandError),
    /// The desk cannot be opened.
    #[error(transparent)]
    Desk(#[from] DeskCommandError),
    /// Recordings cannot be listened to.
    #[error(transparent)]
    Listen(#[from] ListenError),
    /// Recordings cannot be measured.
    #[error(transparent)]
    Measure(#[from] MeasureCommandError),
    /// No new plan was written.
    #[error(transparent)]
    New(#[from] NewError),
    /// Where the line hangs cannot be told.
    #[error(transparent)]
    Mooring(#[from] MooringCommandError),
    /// The uplinks cannot be told.
    #[error(transparent)]
    Uplink(#[from] UplinkCommandError),
    /// The recovery cannot be told.
    #[error(transparent)]
    Recovery(#[from] RecoveryCommandError),
    /// What late ships do cannot be told.
    #[error(transparent)]
    Slip(#[from] SlipCommandError),
    /// Paths of sound cannot be told.
    #[error(transparent)]
    Paths(#[from] PathsCommandError),
    /// No pack was written or verified.
    #[error(transparent)]
    Workpack(#[from] WorkpackError),
    /// Nothing came of a dockside sheet.
    #[error(transparent)]
    Dockside(#[from] DocksideCommandError),
    /// Payloads cannot be told.
    #[error(transparent)]
    Payload(#[from] PayloadCommandError),
    /// Nothing can be said of a part.
    #[error(transparent)]
    Place(#[from] PlaceCommandError),
    /// A rehearsal cannot be run.
    #[error(transparent)]
    Rehearse(#[from] RehearseError),
    /// No range was worked out.
    #[error(transparent)]
    Range(#[from] RangeCommandError),
    /// No remedy was told or written.
    #[error(transparent)]
    Remedy(#[from] RemedyCommandError),
    /// A format that the command does not write.
    #[error("--format markdown: only `compare` writes it")]
    NoMarkdown,
    /// The reserve cannot be worked out.
    #[error(transparent)]
    Reserve(#[from] ReserveCommandError),
    /// How surely the plan holds could not be worked out.
    #[error("how surely the plan holds cannot be told: {0}")]
    Certainty(#[from] CertaintyError),
    /// A start cannot be followed.
    #[error(transparent)]
    Start(#[from] StartCommandError),
    /// A detector cannot be tuned.
    #[error(transparent)]
    Tune(#[from] TuneError),
    /// The years of a supply cannot be computed.
    #[error(transparent)]
    Year(#[from] YearCommandError),
    /// Hours of hearing cannot be computed.
    #[error(transparent)]
    Hours(#[from] HoursCommandError),
    /// Ctrl-C cannot be watched for.
    #[error("watch for Ctrl-C: {0}")]
    Signal(#[from] ctrlc::Error),
    /// A plan or a cue sheet gives no text.
    #[error("{path}: this {what} cannot be read: {why}")]
    Unreadable {
        /// Plan or cue sheet.
        what: &'static str,
        /// Its path as the user gave it.
        path: String,
        /// Why.
        why: String,
        /// What to do.
        help: String,
    },
    /// The plan cannot be used. What is wrong has been shown already.
    #[error("{path}: the plan cannot be used as it is")]
    Plan {
        /// The plan's path as the user gave it.
        path: String,
    },
}

impl Failure {
    /// How the user may mend it.
    pub(crate) fn help(&self) -> Option<String> {
        match self {
            Failure::File(OutputError::Exists { .. }) => {
                Some("give another name; a command with --force replaces it".to_owned())
            }
            Failure::File(OutputError::Input { .. }) => {
                Some("give another name: what a command reads is never replaced".to_owned())
            }
            Failure::File(OutputError::Io { source, path, .. }) => io_help(source, path),
            Failure::Unreadable { help, .. } => Some(help.clone()),
            Failure::Check(error) => error.help(),
            Failure::Desk(error) => error.help(),
            Failure::Listen(error) => error.help(),
            Failure::Measure(error) => error.help(),
            Failure::New(error) => error.help(),
            Failure::Mooring(error) => error.help(),
            Failure::Workpack(error) => error.help(),
            Failure::Dockside(error) => error.help(),
            Failure::Paths(error) => error.help(),
            Failure::Payload(error) => error.help(),
            Failure::Place(error) => error.help(),
            Failure::Range(error) => error.help(),
            Failure::Rehearse(error) => error.help(),
            Failure::Remedy(error) => error.help(),
            Failure::NoMarkdown => Some("use text or json".to_owned()),
            Failure::Tune(error) => error.help(),
            Failure::Year(error) => error.help(),
            Failure::Output(_)
            | Failure::Signal(_)
            | Failure::Chain(_)
            | Failure::Hours(_)
            | Failure::Faults(_)
            | Failure::Failures(_)
            | Failure::Recovery(_)
            | Failure::Slip(_)
            | Failure::Uplink(_)
            | Failure::Start(_)
            | Failure::Reserve(_)
            | Failure::Certainty(_)
            | Failure::File(_)
            | Failure::Plan { .. } => None,
        }
    }

    /// Whether the user asked to stop.
    fn is_cancelled(&self) -> bool {
        matches!(
            self,
            Failure::Check(CheckError::Cancelled { .. })
                | Failure::Listen(ListenError::Cancelled { .. })
                | Failure::Measure(MeasureCommandError::Cancelled { .. })
                | Failure::Rehearse(RehearseError::Cancelled { .. })
                | Failure::Tune(TuneError::Cancelled)
                | Failure::Year(YearCommandError::Cancelled)
                | Failure::Hours(HoursCommandError::Cancelled)
                | Failure::Slip(SlipCommandError::Cancelled)
        ) || matches!(self, Failure::Place(error) if error.is_cancelled())
            || matches!(self, Failure::Range(error) if error.is_cancelled())
            || matches!(self, Failure::Remedy(error) if error.is_cancelled())
    }

    /// Tells the user, and gives the exit status. A reader that went away is told nothing. In JSON standard output holds the
    /// same, with the mistakes of the files.
    pub(crate) fn tell(&self, out: &mut Out) -> Exit {
        let written = match self {
            Failure::Output(error) => Some(error),
            // A file that is a pipe, such as /dev/stdout.
            Failure::File(OutputError::Io { source, .. }) => Some(source),
            _ => None,
        };
        if written.is_some_and(|error| error.kind() == io::ErrorKind::BrokenPipe) {
            return Exit::Cancelled;
        }
        if out.format == Format::Json && !matches!(self, Failure::Output(_)) && !out.documented {
            let document = json!({
                "format": "failure/1",
                "program": PROGRAM,
                "plan_digest": out.plan_digest,
                "error": self.to_string(),
                "help": self.help(),
                "mistakes": out.mistakes,
            });
            // When standard output cannot be written, standard error still tells.
            drop(out.json(&document).and_then(|()| out.stdout.flush()));
        }
        let kind = if self.is_cancelled() { "" } else { "error: " };
        let told = writeln!(out.stderr, "{kind}{self}").and_then(|()| match self.help() {
            Some(help) => writeln!(out.stderr, "  help: {help}"),
            None => Ok(()),
        });
        // When standard error cannot be written either, the exit status is all that is left.
        drop(told);
        if self.is_cancelled() {
            Exit::Cancelled
        } else {
            Exit::Unusable
        }
    }
}

/// What to do when the system refuses to write.
fn io_help(error: &io::Error, path: &Path) -> Option<String> {
    let folder = path.parent().filter(|f| !f.as_os_str().is_empty());
    match (error.kind(), folder) {
        (io::ErrorKind::NotFound, Some(folder)) if folder.is_dir() => Some(format!(
            "name another folder: {} takes no files",
            folder.display()
        )),
        (io::ErrorKind::NotFound, Some(folder)) => Some(format!(
            "make the folder first: mkdir -p {}",
            folder.display()
        )),
        (io::ErrorKind::PermissionDenied | io::ErrorKind::ReadOnlyFilesystem, _) => {
            Some("name a folder in which you may write".to_owned())
        }
        (io::ErrorKind::NotADirectory, _) => {
            Some("a part of this path is a file: name a folder".to_owned())
        }
        _ => None,
    }
}
