//! What came in, as a cue sheet that replays it.

use std::fmt::Write;

use jiff::Timestamp;
use network::{FieldKind, Layout, Value};
use plan::{CueSheet, Line};
use rehearsal::{answer_id, input_id};
use timeline::Ns;

use crate::run::{EnteredAnswer, Lived};

/// The text of a cue sheet with the messages and answers that came in from the world behind it, a table each; `topics` are the layouts of all topics, `answers` those of the
/// answers of all requests. Rehearsing it gives the same records
/// as the rehearsal to which they came.
#[must_use]
pub fn replay_sheet(
    text: &str,
    line: &Line,
    cues: &CueSheet,
    [topics, answers]: [&[Option<Layout>]; 2],
    lived: &Lived,
) -> String {
    let mut sheet = text.trim_end().to_owned();
    sheet.push('\n');
    if lived.came_in() {
        sheet.push_str("\n# What came in from the world.\n");
    }
    for (i, entered) in lived.entered.iter().enumerate() {
        let id = input_id(cues, cues.inputs.len() + i);
        let message = &entered.message;
        let at = seconds(entered.at);
        let module = line.module_path(message.module);
        let topic = toml_text(&line.topics[message.topic.0].name);
        write!(
            sheet,
            "\n[input.{id}]\nat = \"{at}\"\nmodule = \"{module}\"\npublish = {topic}\n"
        )
        .expect("a string takes text");
        push_values(
            &mut sheet,
            message.values.as_deref(),
            topics[message.topic.0].as_ref(),
        );
    }
    for (i, EnteredAnswer { at, answer }) in lived.answers.iter().enumerate() {
        let id = answer_id(cues, cues.answers.len() + i);
        let (at, request) = (seconds(*at), &line.requests[answer.request.0].id);
        write!(
            sheet,
            "\n[answer.{id}]\nat = \"{at}\"\nrequest = \"request.{request}\"\nask = {}\n",
            answer.ask
        )
        .expect("a string takes text");
        push_values(
            &mut sheet,
            answer.values.as_deref(),
            answers[answer.request.0].as_ref(),
        );
    }
    sheet
}

/// An instant to the nanosecond.
fn seconds(at: Ns) -> String {
    format!("{}.{:09} s", at.0 / 1_000_000_000, at.0 % 1_000_000_000)
}

fn push_values(sheet: &mut String, values: Option<&[Value]>, layout: Option<&Layout>) {
    let (Some(values), Some(layout)) = (values, layout) else {
        return;
    };
    let fields: Vec<String> = layout
        .places()
        .iter()
        .zip(values)
        .filter_map(|(place, value)| {
            let name = toml_text(&place.field.name);
            Some(format!(
                "{name} = {}",
                toml_value(&place.field.kind, *value)?
            ))
        })
        .collect();
    writeln!(sheet, "values = {{ {} }}", fields.join(", ")).expect("a string takes text");
}

/// `None` for no data, which is written by leaving it out.
fn toml_value(kind: &FieldKind, value: Value) -> Option<String> {
    Some(match (value, kind) {
        (Value::NoData, _) => return None,
        // The last step may lie beyond the end of the range, which stands for it.
        (Value::Number(x), FieldKind::Scaled { from, to, .. }) => {
            format!("{:?}", x.clamp(*from, *to))
        }
        (Value::Number(x), _) => format!("{x:?}"),
        (Value::Choice(choice), FieldKind::Choice { values }) => {
            toml_text(&values[choice as usize])
        }
        (Value::Choice(choice), _) => choice.to_string(),
        (Value::Flag(yes), _) => yes.to_string(),
        (Value::Time(ns), _) => {
            let time = Timestamp::from_nanosecond(i128::from(ns))
                .expect("64 bits of nanoseconds lie within the years that are told");
            time.to_string()
        }
    })
}

/// A TOML string: the escapes of JSON are among those of TOML 1.0.
fn toml_text(text: &str) -> String {
    serde_json::Value::from(text)
        .to_string()
        .replace('\u{7f}', "\\u007f")
}
