//! What a message of a rehearsal holds, in words and in JSON.

use std::fmt::Write as _;

use assess::input::layout;
use network::Layout;
use plan::Topic;
use rehearsal::Content;
use serde_json::{Value, json};

use super::payload::{as_read, record_text, values_json};

/// ` (level=121.5 dB re 1 uPa)`; nothing where it is not said what a message holds.
pub(super) fn words(topic: &Topic, content: Option<&Content>) -> String {
    let Some((layout, content)) = laid_out(topic, content) else {
        return String::new();
    };
    let mut told = format!(
        " ({}",
        record_text(&layout, &as_read(&layout, &content.values))
    );
    for number in &content.clamped {
        let name = &layout.places()[*number].field.name;
        let _ = write!(told, "; {name} lay outside its range");
    }
    told.push(')');
    told
}

/// What a record tells of a message, with what that holds.
pub(super) fn json(mut told: Value, topic: &Topic, content: Option<&Content>) -> Value {
    let Some((layout, content)) = laid_out(topic, content) else {
        return told;
    };
    told["values"] = json!(values_json(&layout, &as_read(&layout, &content.values)));
    told["payload"] = json!(plan::hex(&content.bytes));
    let clamped: Vec<&str> = content
        .clamped
        .iter()
        .map(|number| layout.places()[*number].field.name.as_str())
        .collect();
    if !clamped.is_empty() {
        told["clamped"] = json!(clamped);
    }
    told
}

fn laid_out<'c>(topic: &Topic, content: Option<&'c Content>) -> Option<(Layout, &'c Content)> {
    let content = content?;
    let layout = layout(topic).ok().flatten();
    Some((
        layout.expect("what holds values was packed by its layout"),
        content,
    ))
}
