//! What a message of a rehearsal holds, in words and in JSON.

use std::fmt::Write as _;

use assess::input::{layout, request_layouts};
use network::Layout;
use plan::{Request, Topic};
use rehearsal::{AskStep, Content};
use serde_json::{Value, json};

use super::payload::{as_read, record_text, values_json};

/// ` (level=121.5 dB re 1 uPa)`; nothing where it is not said what a message holds.
pub(super) fn words(topic: &Topic, content: Option<&Content>) -> String {
    values(laid_out(topic, content))
}

/// The same of a question or an answer.
pub(super) fn asking_words(request: &Request, what: AskStep, content: Option<&Content>) -> String {
    values(asking_laid_out(request, what, content))
}

fn values(laid_out: Option<(Layout, &Content)>) -> String {
    let Some((layout, content)) = laid_out else {
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
pub(super) fn json(told: Value, topic: &Topic, content: Option<&Content>) -> Value {
    with_values(told, laid_out(topic, content))
}

/// What a record tells of a question or an answer, with what that holds.
pub(super) fn asking_json(
    told: Value,
    request: &Request,
    what: AskStep,
    content: Option<&Content>,
) -> Value {
    with_values(told, asking_laid_out(request, what, content))
}

fn with_values(mut told: Value, laid_out: Option<(Layout, &Content)>) -> Value {
    let Some((layout, content)) = laid_out else {
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

fn asking_laid_out<'c>(
    request: &Request,
    what: AskStep,
    content: Option<&'c Content>,
) -> Option<(Layout, &'c Content)> {
    let content = content?;
    let [question, answer] = request_layouts(request).ok()?;
    let layout = match what {
        AskStep::Asked { .. } | AskStep::Reached => question,
        _ => answer,
    };
    Some((
        layout.expect("what holds values was packed by its layout"),
        content,
    ))
}
