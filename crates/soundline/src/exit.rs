//! What the exit status says.

use std::process::ExitCode;

use assess::Status;

/// The exit status of every command.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Exit {
    /// 0: all that was asked is met (or marginal), and the command did its work.
    Met,
    /// 1: a requirement is broken.
    Broken,
    /// 2: the input cannot be used, or the output cannot be written.
    Unusable,
    /// 3: nothing is broken, but something is unknown, or provisional by a quick check.
    Unknown,
    /// 4: some of several inputs failed; the others were worked through.
    SomeFailed,
    /// 130: cancelled, by Ctrl-C or because nobody reads the output any more.
    Cancelled,
}

/// The same for the help text.
pub(crate) const HELP: &str = "\
Exit status:
  0    done; every requirement is met or just met
  1    a requirement is broken
  2    the input cannot be used, or the output cannot be written
  3    nothing is broken, but something is unknown, or provisional by a quick check
  4    some of several inputs failed; the others were worked through
  130  cancelled, or nobody read the output any more";

impl From<Status> for Exit {
    fn from(status: Status) -> Exit {
        match status {
            Status::Met => Exit::Met,
            Status::Broken => Exit::Broken,
            Status::Unusable => Exit::Unusable,
            Status::Unknown => Exit::Unknown,
        }
    }
}

impl From<Exit> for ExitCode {
    fn from(exit: Exit) -> ExitCode {
        ExitCode::from(match exit {
            Exit::Met => 0,
            Exit::Broken => 1,
            Exit::Unusable => 2,
            Exit::Unknown => 3,
            Exit::SomeFailed => 4,
            Exit::Cancelled => 130,
        })
    }
}
