//! `soundline compare`: what changed between two plans, and what that did to every verdict.

use std::io::Write;
use std::path::PathBuf;

use assess::{Memo, Tier};
use report::{Compared, compare_json, compare_markdown, compare_text};

use crate::cancel::Cancel;
use crate::exit::Exit;
use crate::failure::Failure;
use crate::out::{Format, Out};
use crate::plan_file;
use beside::shelf;

/// Tell what changed between two plans, key by key, and what that did to every verdict and margin.
///
/// Each plan is checked with its own evidence, also one with mistakes: what rests on a mistake is unknown. --format markdown
/// writes tables for a review. The exit status is that of `check` for the second plan.
#[derive(Debug, clap::Args)]
pub(crate) struct Args {
    /// The plan as it was.
    before: PathBuf,
    /// The plan as it is.
    after: PathBuf,
}

pub(crate) fn run(args: &Args, out: &mut Out) -> Result<Exit, Failure> {
    let cancel = Cancel::on_ctrl_c()?;
    let memo = Memo::new();
    let mut sides = Vec::new();
    for path in [&args.before, &args.after] {
        let reading = plan_file::read_and_show(path, out)?;
        let Some((shelf, warnings)) = shelf(path, &reading, &|_, _| !cancel.asked()) else {
            return Ok(Exit::Cancelled);
        };
        for warning in &warnings {
            writeln!(out.stderr, "warning: {warning}")?;
        }
        let check = assess::check_with(&reading, &shelf, &memo, Tier::Full);
        sides.push((reading, shelf, check));
    }
    let Ok([before, after]) = <[_; 2]>::try_from(sides) else {
        unreachable!("two plans were read")
    };
    let found = assess::compare(
        (&before.0, &before.1, before.2),
        (&after.0, &after.1, after.2),
    );
    let named = [&args.before, &args.after].map(|p| p.display().to_string());
    let names = Compared {
        before: &named[0],
        after: &named[1],
    };
    match out.format {
        Format::Json => out.json(&out.of_plan(compare_json(&found, names)))?,
        Format::Text => {
            let text = match out.markdown {
                true => compare_markdown(&found, names),
                false => compare_text(&found, names),
            };
            out.stdout.write_all(text.as_bytes())?;
        }
    }
    Ok(found.after.status().into())
}
