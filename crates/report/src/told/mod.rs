//! Verdicts and rehearsals told in text and in JSON.

mod check;
mod json;
mod text;
mod words;
mod year;

pub use check::{check_brief, check_json, check_text, mistakes_json};
pub use json::{record_json, rehearsal_json, trace_json};
pub use text::rehearsal_text;
pub use year::{year_json, year_text};
