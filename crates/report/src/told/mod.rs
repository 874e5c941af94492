//! Verdicts and rehearsals told in text and in JSON.

mod check;
mod json;
mod start;
mod text;
mod words;
mod year;

pub use check::{check_brief, check_json, check_text, mistakes_json};
pub use json::{record_json, rehearsal_json, trace_json};
pub(crate) use start::contacts;
pub use start::{start_json, start_text};
pub use text::rehearsal_text;
pub use year::{year_json, year_text};
