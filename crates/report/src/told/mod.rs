//! A rehearsal told in text and in JSON.

mod json;
mod text;
mod words;

pub use json::{record_json, rehearsal_json};
pub use text::rehearsal_text;
