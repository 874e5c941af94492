//! `soundline remedy`: what would mend a plan, and writing it into the plan.

use std::io::Write;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};

use assess::{Mended, Remedies, Remedy, RemedyAsk, RemedyError, remedies_as_found};
use plan::Reading;
use report::{difference, remedies_of_one, remedy_end, remedy_json};
use serde_json::{Value, json};

use crate::cancel::Cancel;
use crate::exit::Exit;
use crate::failure::Failure;
use crate::out::{Format, Out};
use crate::plan_file;
use beside::{ReplaceError, replace_text, shelf};

/// Tell the smallest single change that mends each broken requirement; pairs where no single one does.
///
/// Each change is made in the plan's text, read and checked whole, so that one which breaks something else is shown as such. What
/// can be had, and at what cost, the plan may say in [remedy.ID] tables. The exit status is that of `check` for the plan; with
/// --apply for the plan as it is then.
#[derive(Debug, clap::Args)]
pub(crate) struct Args {
    /// The plan.
    plan: PathBuf,
    /// Only this requirement or standing check; one that is just met may be named too.
    #[arg(long, value_name = "ID")]
    requirement: Option<String>,
    /// Write the remedy with this number into the plan, comments and layout kept, and show what changed.
    #[arg(long, value_name = "NUMBER")]
    apply: Option<usize>,
}

/// Why no remedy was told or written.
#[derive(Debug, thiserror::Error)]
pub(crate) enum RemedyCommandError {
    /// None could be looked for.
    #[error(transparent)]
    Remedy(#[from] RemedyError),
    /// No remedy has this number.
    #[error("--apply {asked}: there is no such remedy")]
    NoNumber {
        /// What was asked.
        asked: usize,
        /// How many there are.
        count: usize,
        /// Whether anything that was asked about is broken or just met.
        to_mend: bool,
    },
    /// The plan was left as it is.
    #[error(transparent)]
    Replace(#[from] ReplaceError),
}

impl RemedyCommandError {
    /// How the user may mend it.
    pub(crate) fn help(&self) -> Option<String> {
        match self {
            RemedyCommandError::NoNumber { to_mend: false, .. } => Some(
                "nothing that was asked about is broken or just met: there is nothing to mend"
                    .to_owned(),
            ),
            RemedyCommandError::NoNumber { count: 0, .. } => {
                Some("nothing that was tried mends the plan".to_owned())
            }
            RemedyCommandError::NoNumber { count, .. } => {
                Some(format!("the numbers go from 1 to {count}"))
            }
            RemedyCommandError::Replace(ReplaceError::ChangedMeanwhile { .. }) => {
                Some("run the command again".to_owned())
            }
            RemedyCommandError::Remedy(RemedyError::NoRequirement { all, .. }) => {
                Some(format!("the plan and its checks have {}", all.join(", ")))
            }
            RemedyCommandError::Remedy(RemedyError::Unknown { .. }) => {
                Some("make it known first: `soundline check` says what it lacks".to_owned())
            }
            _ => None,
        }
    }

    pub(crate) fn is_cancelled(&self) -> bool {
        matches!(self, RemedyCommandError::Remedy(RemedyError::Cancelled))
    }
}

pub(crate) fn run(args: &Args, out: &mut Out) -> Result<Exit, Failure> {
    let reading = plan_file::read_and_show(&args.plan, out)?;
    plan_file::line(&reading, &args.plan)?;
    let cancel = Cancel::on_ctrl_c()?;
    let looked = shelf(&args.plan, &reading, &|_, _| !cancel.asked());
    let Some((evidence, warnings)) = looked else {
        return Ok(Exit::Cancelled);
    };
    for warning in &warnings {
        writeln!(out.stderr, "warning: {warning}")?;
    }
    let ask = RemedyAsk {
        requirement: args.requirement.clone(),
        threads: std::thread::available_parallelism().map_or(1, usize::from),
    };
    let bar = out.progress(0, "trying changes");
    let gone = AtomicBool::new(false);
    let watch = |done, all| {
        bar.set_length(all);
        bar.set_position(done);
        !cancel.asked() && !gone.load(Ordering::Relaxed)
    };
    let fetch = plan::from_folder_of(&args.plan);
    // Text is told as it is found, so that a plan with much to mend is not waited for.
    let as_found = args.apply.is_none() && matches!(out.format, Format::Text);
    let mut written = Ok(());
    let mut named = false;
    let stdout = &mut out.stdout;
    let mut told = |name: &str, mended: &Mended| {
        if !as_found || written.is_err() {
            return;
        }
        let head = if named {
            String::new()
        } else {
            format!("{name}\n")
        };
        named = true;
        let text = head + &remedies_of_one(mended);
        written = bar.suspend(|| {
            stdout.write_all(text.as_bytes())?;
            stdout.flush()
        });
        gone.store(written.is_err(), Ordering::Relaxed);
    };
    let found = remedies_as_found(
        &args.plan, &reading, &evidence, &fetch, &ask, &watch, &mut told,
    );
    bar.finish_and_clear();
    written?;
    let found = found.map_err(RemedyCommandError::from)?;
    let chosen = args
        .apply
        .map(|number| chosen(&found, number))
        .transpose()?;
    let status = found.status;
    let mut document = remedy_json(&found);
    document["applied"] = Value::Null;
    let Some(remedy) = chosen else {
        match out.format {
            Format::Text => {
                if !named {
                    writeln!(out.stdout, "{}", found.name)?;
                }
                out.stdout.write_all(remedy_end(&found).as_bytes())?;
            }
            Format::Json => out.json(&out.of_plan(document))?,
        }
        return Ok(status.into());
    };
    let shown = apply(&args.plan, &reading, remedy)?;
    let now = assess::read(&args.plan, &plan::from_folder_of(&args.plan));
    let Some((evidence, _)) = shelf(&args.plan, &now, &|_, _| true) else {
        return Ok(Exit::Cancelled);
    };
    let check = assess::check(&now, &evidence);
    match out.format {
        Format::Text => out.stdout.write_all(shown.as_bytes())?,
        Format::Json => {
            document["applied"] = json!({
                "number": remedy.number,
                "file": args.plan.display().to_string(),
                "difference": shown,
                "plan_digest": now.digest,
            });
            out.json(&out.of_plan(document))?;
        }
    }
    Ok(check.status().into())
}

fn chosen(found: &Remedies, number: usize) -> Result<&Remedy, RemedyCommandError> {
    found
        .by_number(number)
        .ok_or_else(|| RemedyCommandError::NoNumber {
            asked: number,
            count: found.mended.iter().map(|m| m.remedies.len()).sum(),
            to_mend: !found.mended.is_empty(),
        })
}

/// Writes a remedy into the plan, whole or not at all, unless the plan is no longer what was read. Gives the difference.
fn apply(path: &Path, reading: &Reading, remedy: &Remedy) -> Result<String, Failure> {
    let shown = path.display().to_string();
    let (_, source) = reading.sources.iter().next().expect("a plan has a text");
    let same = |now: &[u8]| now == source.text.as_bytes();
    replace_text(path, &same, &remedy.text).map_err(|error| match error {
        ReplaceError::Output(error) => Failure::from(error),
        other => RemedyCommandError::from(other).into(),
    })?;
    Ok(difference(&shown, &source.text, &remedy.edits))
}

#[cfg(test)]
mod tests {
    use std::fs;

    use assess::{RemedyAsk, Shelf, remedies};

    use super::*;

    #[test]
    fn verif_a_plan_that_was_changed_meanwhile_is_left_as_it_is() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("plan.toml");
        let example = concat!(
            env!("CARGO_MANIFEST_DIR"),
            "/../../plans/gannet-stack/plan.toml"
        );
        fs::copy(example, &path).unwrap();
        let fetch = plan::from_folder_of(&path);
        let reading = assess::read(&path, &fetch);
        let ask = RemedyAsk {
            requirement: Some("messages".to_owned()),
            threads: 1,
        };
        let shelf = Shelf::default();
        let found = remedies(&path, &reading, &shelf, &fetch, &ask, &|_, _| true).unwrap();
        let remedy = found.by_number(1).unwrap();
        let other = fs::read_to_string(&path).unwrap() + "# a note\n";
        fs::write(&path, &other).unwrap();
        let refused = apply(&path, &reading, remedy);
        assert!(matches!(
            refused,
            Err(Failure::Remedy(RemedyCommandError::Replace(
                ReplaceError::ChangedMeanwhile { .. }
            )))
        ));
        assert_eq!(fs::read_to_string(&path).unwrap(), other);
    }
}
