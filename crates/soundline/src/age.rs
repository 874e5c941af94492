//! The state of the mated contacts, as a command is asked for it.

use assess::input::Contacts;
use clap::ValueEnum;

/// State of the contacts.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum Age {
    /// As new.
    New,
    /// As aged.
    Aged,
}

impl From<Age> for Contacts {
    fn from(age: Age) -> Self {
        match age {
            Age::New => Self::New,
            Age::Aged => Self::Aged,
        }
    }
}
