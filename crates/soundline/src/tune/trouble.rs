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
}

impl Trouble {
    /// Every error as a sentence.
    pub(super) fn errors(&self, args: &Args, labels: &LabelFile, placed: &Placed) -> Vec<String> {
        let mut all: Vec<String> = self
            .recordings
            .iter()
            .map(|(_, fault)| fault.to_string())
            .collect();
        // A recording that is not given is told once, with the lines of all its labels.
        let mut told: BTreeMap<String, Vec<usize>> = BTreeMap::new();
        for fault in labels.faults.iter().chain(&placed.faults) {
            let lines = told.entry(fault.why.to_string()).or_default();
            lines.push(fault.line);
        }
        let mut told: Vec<(String, Vec<usize>)> = told.into_iter().collect();
        told.sort_by_key(|(_, lines)| lines.first().copied());
        all.extend(told.into_iter().map(|(why, lines)| {
            let place = lines.iter().map(ToString::to_string).collect::<Vec<_>>();
            let (word, label) = match lines.len() {
                1 => ("line", "the label is"),
                _ => ("lines", "the labels are"),
            };
            format!(
                "{}, {word} {}: {why}; {label} left out",
                args.labels.display(),
                place.join(", ")
            )
        }));
        all
    }

    pub(super) fn tell(
        &self,
        args: &Args,
        labels: &LabelFile,
        placed: &Placed,
        out: &mut Out,
    ) -> Result<(), Failure> {
        for error in self.errors(args, labels, placed) {
            writeln!(out.stderr, "error: {error}")?;
        }
        for help in self.recordings.iter().filter_map(|(_, fault)| fault.help()) {
            writeln!(out.stderr, "  help: {help}")?;
        }
        for warning in warnings(args, labels, placed) {
            writeln!(out.stderr, "warning: {warning}")?;
        }
        Ok(())
    }
}

/// What is odd about labels that are used.
pub(super) fn warnings(args: &Args, labels: &LabelFile, placed: &Placed) -> Vec<String> {
    let file = args.labels.display();
    let odd = labels.oddities.iter().map(|odd| format!("{file}: {odd}"));
    let lines = placed
        .warnings
        .iter()
        .map(|(line, warning)| format!("{file}, line {line}: {warning}"));
    odd.chain(lines).collect()
}
