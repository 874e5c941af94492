//! Each part of the line broken in turn: which hydrophones fall silent, what outputs do, what the shore sees, and when it can tell.

mod after;
mod asks;
mod breakage;
mod notice;
mod stays_out;
mod talk;
mod worst;

use std::cmp::Reverse;

use plan::{Line, ModuleIx, OutputIx, TopicIx};

use crate::input::{Contacts, InputError};
use crate::memo::Memo;
use crate::month::UnderLoad;

use after::Parts;

pub use asks::{WoundUp, wound_up};
pub(crate) use stays_out::Ashore;

/// What is broken of a part.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Breakage {
    /// Of a span: both its conductors are open, and its link carries nothing.
    Cut,
    /// Of a span: its conductors touch at the end that is further from a supply, and its link carries nothing.
    Shorted,
    /// Of a span: a contact just beyond what the line bears of it; its link carries on.
    PoorContact {
        /// What the contact adds to the loop, ohm.
        ohm: f64,
    },
    /// Of a module: it has no power of its own.
    Unpowered,
    /// Of a module: it draws as always, and its program stands still.
    Hung,
    /// Of a module: without power, and a short at its inlet unless its `passes` says that power goes on always.
    Flooded,
    /// Of a supply: it gives nothing.
    NoSupply,
    /// Of an uplink: nothing goes ashore by it.
    NoUplink,
    /// Of a module: its clock is wrong by any amount.
    WrongClock,
    /// Of a hydrophone: its detectors hear nothing, and its module works on.
    Deaf,
}

impl Breakage {
    /// In a word for programs.
    #[must_use]
    pub fn word(&self) -> &'static str {
        match self {
            Breakage::Cut => "cut",
            Breakage::Shorted => "shorted",
            Breakage::PoorContact { .. } => "poor-contact",
            Breakage::Unpowered => "unpowered",
            Breakage::Hung => "hung",
            Breakage::Flooded => "flooded",
            Breakage::NoSupply => "no-supply",
            Breakage::NoUplink => "no-uplink",
            Breakage::WrongClock => "wrong-clock",
            Breakage::Deaf => "deaf",
        }
    }
}

/// One failure, and what comes of it.
#[derive(Clone, Debug, PartialEq)]
pub struct Failure {
    /// The part: a typed path.
    pub subject: String,
    /// What is broken of it.
    pub breakage: Breakage,
    /// What comes of it, or why that is unknown.
    pub outcome: Result<After, String>,
}

impl Failure {
    /// What it is called in a sentence.
    #[must_use]
    pub fn called(&self) -> String {
        let of = &self.subject;
        match self.breakage {
            Breakage::Cut => format!("{of} cut"),
            Breakage::Shorted => format!("a short in {of}"),
            Breakage::PoorContact { ohm } => {
                format!(
                    "a contact of {of} with {} ohm more",
                    quantity::show_number(ohm)
                )
            }
            Breakage::Unpowered => format!("{of} without power"),
            Breakage::Hung => format!("{of} hung"),
            Breakage::Flooded => format!("{of} flooded"),
            Breakage::NoSupply => format!("{of} gone"),
            Breakage::NoUplink => format!("{of} out"),
            Breakage::WrongClock => format!("the clock of {of} wrong"),
            Breakage::Deaf => format!("{of} deaf while its module works"),
        }
    }
}

/// What comes of a failure.
#[derive(Clone, Debug, PartialEq)]
pub struct After {
    /// Modules that have no power, or too little, and had it before: typed paths.
    pub without_power: Vec<String>,
    /// Of these, the ones whose voltage is back once they have dropped out, so that they boot again and again: typed paths.
    pub tries_again: Vec<String>,
    /// Modules that drop out at times as well, while those boot or while the outputs are on that are asked for: typed paths.
    pub at_times: Vec<String>,
    /// Hydrophones whose module has stopped, or of whose detections nobody on the line learns who did before: typed paths.
    pub lost_to_line: Vec<String>,
    /// Hydrophones of whose detections the shore no longer learns: typed paths.
    pub lost_to_shore: Vec<String>,
    /// Hydrophones whose times are wrong: typed paths.
    pub times_wrong: Vec<String>,
    /// Every output of the line.
    pub outputs: Vec<OutputAfter>,
    /// What the shore sees.
    pub shore: Sees,
    /// Time until the shore can tell that something is wrong, s, or why it is unknown; `None` where nothing tells.
    pub shore_notices_s: Option<Result<f64, String>>,
    /// Voltage at each module that a supply feeds and that goes on, V.
    pub voltages_v: Vec<(String, f64)>,
    /// Of each module, in the order of the line, whether it works on; `None` of one that did not work before.
    pub works_on: Vec<Option<bool>>,
    /// Of each module, whether it is without power at times only: among those that try again or drop out at times.
    pub unsteady: Vec<bool>,
    /// Every copy of a message that the line asks for while it is whole.
    pub copies: Vec<CopyAfter>,
    /// Whether a module with an uplink tries again or drops out at times.
    pub shore_unsteady: bool,
    /// The same at other times, where modules work or drop out at times only: with those working that can hold out alone once they have booted again, and with those out
    /// that drop out at times. Empty where all stays as it is above.
    pub others: Vec<After>,
}

/// A copy of a message after a failure.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct CopyAfter {
    /// The module that publishes it.
    pub from: ModuleIx,
    /// Its topic.
    pub topic: TopicIx,
    /// The module that hears it.
    pub to: ModuleIx,
    /// Whether it still comes there.
    pub comes: bool,
    /// Whether that is so at all times.
    pub steady: bool,
}

/// What the shore sees of a failure.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Sees {
    /// There is no uplink.
    NoShore,
    /// Alerts of every hydrophone, as before.
    Alerts,
    /// Too few alerts, and after a time that it does not know what the line hears.
    Unknown,
    /// Too few alerts, and nothing that the plan says tells it from a quiet sea.
    Quiet,
}

/// An output after a failure.
#[derive(Clone, Debug, PartialEq)]
pub struct OutputAfter {
    /// The output: a typed path.
    pub output: String,
    /// Hydrophones whose detections still switch it.
    pub asked_by: usize,
    /// Hydrophones whose detections switched it before.
    pub asked_before: usize,
    /// What it does.
    pub does: Does,
    /// Whether it comes to its fail-safe state.
    pub safe: Safe,
    /// Whether a timer brings it there that heartbeats wind up anew.
    pub by_timer: bool,
    /// Whether all that is so at all times.
    pub steady: bool,
}

/// What an output does after a failure.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Does {
    /// It is asked as before.
    AsBefore,
    /// It is off without power.
    Off,
    /// It stays as it was: its module hangs.
    Stays,
    /// Its module works, and some that asked it, or all, do not reach it.
    Unasked,
}

/// Whether an output comes to its fail-safe state after a failure for which it may no longer be asked.
#[derive(Clone, Debug, PartialEq)]
pub enum Safe {
    /// It need not: it is asked as before.
    NotNeeded,
    /// Within so long of the failure, s.
    Within(f64),
    /// Nothing brings it there.
    Never,
    /// Why it is not known.
    Unknown(String),
}

/// What hydrophones do while nothing is broken: of what is not there then, no failure takes anything.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Whole {
    /// Hydrophones whose module has no power, or too little: typed paths.
    pub without_power: Vec<String>,
    /// Hydrophones of whose detections the shore never learns, where there is an uplink: typed paths.
    pub not_ashore: Vec<String>,
}

/// Every single failure of a line, the worst first, those of which the outcome is unknown last.
#[derive(Clone, Debug, PartialEq)]
pub struct Failures {
    /// State of the contacts.
    pub contacts: Contacts,
    /// Hydrophones of the line.
    pub hydrophones: usize,
    /// Whether there is an uplink.
    pub has_shore: bool,
    /// What hydrophones do while nothing is broken.
    pub whole: Whole,
    /// The failures.
    pub failures: Vec<Failure>,
    /// What the figures rest on.
    pub rests_on: Vec<String>,
}

/// Why failures cannot be told.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum FailuresError {
    /// The input cannot be built.
    #[error(transparent)]
    Input(#[from] InputError),
    /// The plan does not say what the network needs.
    #[error("{}", .0.join("; "))]
    Open(Vec<String>),
    /// The plan has no supply.
    #[error("no supply feeds the line")]
    NoSupply,
}

/// Breaks every span, module, hydrophone, supply, uplink and clock of the line in turn, with these contacts, every module in the state in which it starts.
///
/// # Errors
/// Every variant of [`FailuresError`]. What is unknown of one failure alone is its outcome.
pub fn failures(line: &Line, contacts: Contacts) -> Result<Failures, FailuresError> {
    let memo = Memo::with_room(0);
    let ashore = Ashore::of(line, &mut UnderLoad::new(&memo), &memo);
    failures_by(line, contacts, ashore)
}

/// The same by what is known of the heartbeats that go ashore.
pub(crate) fn failures_by(
    line: &Line,
    contacts: Contacts,
    ashore: Ashore,
) -> Result<Failures, FailuresError> {
    let parts = Parts::new(line, contacts, ashore)?;
    let mut failures: Vec<Failure> = Vec::new();
    for (broken, subject) in parts.all()? {
        failures.push(Failure {
            subject,
            breakage: broken.breakage,
            outcome: parts.after(&broken)?,
        });
    }
    failures.sort_by_cached_key(|failure| {
        let (is_unknown, counts, notice_ms, dead, subject) = rank(failure);
        (is_unknown, counts, notice_ms, dead, subject.to_owned())
    });
    Ok(Failures {
        contacts,
        hydrophones: line.hydrophones().count(),
        has_shore: !line.uplinks.is_empty(),
        whole: parts.whole(),
        failures,
        rests_on: parts.rests_on(),
    })
}

/// The longest time between two heartbeats of a module, as the module of an output hears them that fails safe by itself.
pub(crate) struct Silence {
    pub(crate) output: OutputIx,
    pub(crate) asker: ModuleIx,
    /// How they come, or why that is unknown.
    pub(crate) heard: Result<Heard, String>,
}

/// Heartbeats as another module hears them.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Heard {
    /// From one to the next at most, s.
    pub(crate) apart_s: f64,
    /// Longest time on the way, s.
    pub(crate) way_s: f64,
    /// Chance that bit errors lose one.
    pub(crate) lost: f64,
}

/// Of each output that fails safe by itself, the longest time between two heartbeats of each module that may ask for it, s, or why it is unknown.
pub(crate) fn silences(line: &Line, contacts: Contacts) -> Result<Vec<Silence>, FailuresError> {
    if asks::waiting(line).next().is_none() {
        return Ok(Vec::new());
    }
    Ok(Parts::new(line, contacts, Ashore::default())?.longest_silences())
}

impl Failures {
    /// Whether anything of them is unknown.
    #[must_use]
    pub fn some_unknown(&self) -> bool {
        self.failures.iter().any(|failure| match &failure.outcome {
            Err(_) => true,
            Ok(after) => {
                let after = after.at_worst();
                matches!(after.shore_notices_s, Some(Err(_)))
                    || after
                        .outputs
                        .iter()
                        .any(|o| matches!(o.safe, Safe::Unknown(_)))
            }
        })
    }
}

impl After {
    /// Hydrophones that are lost to the line or to the shore, each once.
    #[must_use]
    pub fn lost(&self) -> Vec<&str> {
        let all = self.lost_to_line.iter().chain(&self.lost_to_shore);
        let mut lost: Vec<&str> = all.map(String::as_str).collect();
        lost.sort_unstable();
        lost.dedup();
        lost
    }
}

/// Smaller is worse, at its worst time: a sea that seems quiet, outputs that warn nobody, hydrophones lost to the shore and to the line, a late notice, modules without power.
fn rank(
    failure: &Failure,
) -> (
    bool,
    [Reverse<usize>; 4],
    Reverse<u64>,
    Reverse<usize>,
    &str,
) {
    let Ok(after) = &failure.outcome else {
        return (
            true,
            [Reverse(0); 4],
            Reverse(0),
            Reverse(0),
            &failure.subject,
        );
    };
    let after = after.at_worst();
    let quiet = match after.shore {
        Sees::Quiet => after.lost_to_shore.len(),
        _ => 0,
    };
    let unsafe_outputs = after
        .outputs
        .iter()
        .filter(|o| matches!(o.safe, Safe::Never | Safe::Unknown(_)))
        .count();
    // Whole milliseconds are order enough, and can be compared.
    let notice_ms = match &after.shore_notices_s {
        Some(Ok(s)) => (s * 1e3) as u64,
        Some(Err(_)) | None => u64::MAX,
    };
    (
        false,
        [
            Reverse(quiet),
            Reverse(unsafe_outputs),
            Reverse(after.lost_to_shore.len()),
            Reverse(after.lost_to_line.len()),
        ],
        Reverse(notice_ms),
        Reverse(after.without_power.len()),
        &failure.subject,
    )
}
