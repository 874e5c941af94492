//! Outputs that go to their fail-safe state by themselves.

use plan::{Line, OutputIx};
use quantity::{Dimension, show};
use rehearsal::FailSafeStep;
use serde_json::{Value, json};

use super::words;

/// What is told of the timer of an output, in words.
pub(super) fn step_words(line: &Line, output: OutputIx, what: FailSafeStep) -> String {
    let path = line.output_path(output);
    let own = &line.modules[output.module.0].outputs[output.output];
    let safe = own.fail_safe_on.map_or("", words::on_off);
    match what {
        FailSafeStep::RunsOut { silent } => {
            let waited = own
                .fails_safe_within_s
                .map_or_else(String::new, |q| show(q.si, Dimension::Time));
            let why = match silent {
                Some(module) => {
                    let module = line.module_path(module);
                    format!("no heartbeat of {module} for {waited}")
                }
                None => format!(
                    "nobody who asks for it has a heartbeat that it hears, and {waited} are over"
                ),
            };
            format!("{path} goes to its fail-safe state, {safe}: {why}")
        }
        FailSafeStep::Withholds => {
            format!("{path} stays {safe} whatever it is told: its timer has run out")
        }
        FailSafeStep::Over => {
            format!("{path} does again what it is told: those who may ask for it are heard")
        }
    }
}

/// Kind and keys of it.
pub(super) fn step_json(
    line: &Line,
    output: OutputIx,
    what: FailSafeStep,
) -> (&'static str, Value) {
    let mut told = json!({ "output": line.output_path(output) });
    let kind = match what {
        FailSafeStep::RunsOut { silent } => {
            told["silent"] = json!(silent.map(|m| line.module_path(m)));
            "fail-safe"
        }
        FailSafeStep::Withholds => "fail-safe-withholds",
        FailSafeStep::Over => "fail-safe-over",
    };
    (kind, told)
}
