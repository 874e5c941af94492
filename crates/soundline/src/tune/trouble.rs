//! What goes wrong on the way, with recordings and with labels.

use std::collections::BTreeMap;
use std::io::Write;

use hearing::{LabelFile, Placed};

use super::Args;
use crate::failure::Failure;
use crate::listen::RecordingFault;
use crate::out::Out;

/// What went wrong on the way; the rest of the work went on.
#[derive(Default)]
pub(super) struct Trouble {
    /// By place among the recordings as they were named.
    pub(super) recordings: Vec<(usize, RecordingFault)>,
    /// What is odd about recordings that were heard, likewise.
    pub(super) oddities: Vec<(usize, String)>,
}

impl Trouble {
    /// Every error as a sentence.
    pub(super) fn errors(&self, args: &Args, labels: &LabelFile, placed: &Placed) -> Vec<String> {
        let recordings = self.recordings.iter().map(|(_, fault)| fault.to_string());
        recordings
            .chain(label_errors(args, labels, placed))
            .collect()
    }

    /// All that is odd about recordings and labels that are used.
    pub(super) fn warnings(&self, args: &Args, labels: &LabelFile, placed: &Placed) -> Vec<String> {
        let recordings = self.oddities.iter().map(|(_, odd)| odd.clone());
        recordings.chain(warnings(args, labels, placed)).collect()
    }

    pub(super) fn tell(
        &self,
        args: &Args,
        labels: &LabelFile,
        placed: &Placed,
        out: &mut Out,
    ) -> Result<(), Failure> {
        for (_, fault) in &self.recordings {
            writeln!(out.stderr, "error: {fault}")?;
            if let Some(help) = fault.help() {
                writeln!(out.stderr, "  help: {help}")?;
            }
        }
        for error in label_errors(args, labels, placed) {
            writeln!(out.stderr, "error: {error}")?;
        }
        for warning in self.warnings(args, labels, placed) {
            writeln!(out.stderr, "warning: {warning}")?;
        }
        Ok(())
    }
}

/// So many lines with the same mistake are named.
const LINES_TOLD: usize = 12;

/// What is wrong with labels, each kind of mistake once.
fn label_errors(args: &Args, labels: &LabelFile, placed: &Placed) -> Vec<String> {
    // A recording that is not given is told once, with the lines of all its labels.
    let mut told: BTreeMap<String, Vec<usize>> = BTreeMap::new();
    for fault in labels.faults.iter().chain(&placed.faults) {
        let lines = told.entry(fault.why.to_string()).or_default();
        lines.push(fault.line);
    }
    let mut told: Vec<(String, Vec<usize>)> = told.into_iter().collect();
    told.sort_by_key(|(_, lines)| lines.first().copied());
    told.into_iter()
        .map(|(why, lines)| {
            let first = lines.iter().take(LINES_TOLD).map(ToString::to_string);
            let more = match lines.len().saturating_sub(LINES_TOLD) {
                0 => String::new(),
                more => format!(" and {more} more"),
            };
            let (word, label) = match lines.len() {
                1 => ("line", "the label is"),
                _ => ("lines", "the labels are"),
            };
            format!(
                "{}, {word} {}{more}: {why}; {label} left out",
                args.labels.display(),
                first.collect::<Vec<_>>().join(", ")
            )
        })
        .collect()
}

/// What is odd about labels that are used.
fn warnings(args: &Args, labels: &LabelFile, placed: &Placed) -> Vec<String> {
    let file = args.labels.display();
    let odd = labels.oddities.iter().map(|odd| format!("{file}: {odd}"));
    let lines = placed
        .warnings
        .iter()
        .map(|(line, warning)| format!("{file}, line {line}: {warning}"));
    odd.chain(lines).collect()
}
