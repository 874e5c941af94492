//! What lies beside a plan on the disk: records of evidence, cue sheets, labels and recordings by their content, readings of the quay.
//!
//! A check is a pure function of a plan that was read and of its [`assess::Shelf`]; here the shelf is filled, for every command and for the
//! page alike.

mod cue_digest;
mod kept;
mod leave;
mod program;
mod readings;
pub mod recordings;
mod replace;
mod shelf;
mod shell;

pub use cue_digest::cue_digest;
pub use kept::Kept;
pub use leave::{Rehearsed, TraceDigest, leave, rehearsal_evidence};
pub use program::{PROGRAM, computed_by, of_plan};
pub use readings::{ReadingFault, Readings, ReadingsError, read_readings, read_rows, tolerance};
pub use replace::{ReplaceError, replace_text};
pub use shelf::{kept_shelf, records, shelf, shelf_without_records};
pub use shell::{rehearse_line, shell_word};
