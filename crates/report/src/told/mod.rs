//! Verdicts and rehearsals told in text and in JSON.

mod check;
mod json;
mod text;
mod words;

pub use check::{check_json, check_text};
pub use json::{record_json, rehearsal_json};
pub use text::rehearsal_text;
