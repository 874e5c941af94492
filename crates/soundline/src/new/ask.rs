//! Asking on a terminal: an answer that makes no plan is asked again.

use std::io::{self, BufRead, Write};
use std::path::Path;

use jiff::civil::Date;
use plan::{CueReading, Mistake, Reading};

use super::questions::Answers;
use super::template::plan_text;

/// How the asking ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Asked {
    /// All was asked.
    All,
    /// The input ended before.
    Cancelled,
}

/// Asks what has no answer yet. An empty answer leaves it to be assumed.
pub(crate) fn ask(
    answers: &mut Answers,
    today: Date,
    from: &mut dyn BufRead,
    to: &mut dyn Write,
) -> io::Result<Asked> {
    writeln!(
        to,
        "An empty answer takes what stands in [brackets], marked as assumed."
    )?;
    for ask in answers.missing() {
        loop {
            let assumed = ask
                .assumed(today)
                .unwrap_or_else(|| "a quarter and three quarters of the water depth".to_owned());
            write!(to, "{} [{assumed}] ", ask.question())?;
            to.flush()?;
            let mut answer = String::new();
            if from.read_line(&mut answer)? == 0 {
                writeln!(to)?;
                return Ok(Asked::Cancelled);
            }
            let answer = answer.trim();
            let given = (!answer.is_empty()).then(|| answer.to_owned());
            answers.set(ask, given);
            let Some(wrong) = wrong(answers, today) else {
                break;
            };
            answers.set(ask, None);
            if answer.is_empty() {
                // What is assumed does not go with a flag or an earlier answer: only another answer helps.
                writeln!(to, "  an answer is needed here: {wrong}")?;
            } else {
                writeln!(to, "  {wrong}")?;
            }
        }
    }
    Ok(Asked::All)
}

/// Why the answers so far make no plan.
fn wrong(answers: &Answers, today: Date) -> Option<String> {
    match plan_text(answers, today) {
        Err(error) => Some(error.to_string()),
        Ok(text) => {
            let reading = read(&text);
            let mistake = reading.mistakes.iter().find(|m| m.is_error())?;
            let Mistake { message, help, .. } = mistake;
            Some(match help {
                Some(help) => format!("{message}; {help}"),
                None => message.clone(),
            })
        }
    }
}

/// Reads a plan that is not on the disk yet.
pub(crate) fn read(text: &str) -> Reading {
    assess::read(Path::new("plan.toml"), &|_| Ok(text.as_bytes().to_vec()))
}

/// Reads a cue sheet that is not on the disk yet, against such a plan.
pub(crate) fn read_cues(text: &str, plan: &Reading) -> CueReading {
    plan::read_cues(Path::new("cues.toml"), plan, &|_| {
        Ok(text.as_bytes().to_vec())
    })
}
