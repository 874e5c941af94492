//! Starts that are followed in time, each kept by its exact input.

use std::sync::Arc;

use power::startup::{Line, Report, Settings, Staged, StartupError, staged_start, start_up};

use crate::memo::{Job, Memo, canonical};

/// What is followed: a line, and how.
struct Start<'a> {
    line: &'a Line,
    settings: &'a Settings,
}

canonical!('a Start<'a> {} debug { line, settings });

/// A start of a line as it is.
struct AtOnce<'a> {
    of: Start<'a>,
}

canonical!('a AtOnce<'a> { of });

impl Job for AtOnce<'_> {
    const METHOD: &'static str = "start/1";
    type Out = Result<Report, StartupError>;

    fn run(&self, _: &Memo) -> Self::Out {
        start_up(self.of.line, self.of.settings)
    }

    fn bytes(out: &Self::Out) -> usize {
        out.as_ref().map_or(0, report_bytes)
    }
}

fn report_bytes(report: &Report) -> usize {
    let trace = &report.trace;
    let rows = 1 + trace.voltages_v.len() + trace.source_currents_a.len();
    rows * size_of_val(trace.time_s.as_slice()) + size_of_val(report.events.as_slice())
}

/// The order in which the modules of a line could start.
struct InTurn<'a> {
    of: Start<'a>,
}

canonical!('a InTurn<'a> { of });

impl Job for InTurn<'_> {
    const METHOD: &'static str = "start in turn/1";
    type Out = Result<Staged, StartupError>;

    fn run(&self, _: &Memo) -> Self::Out {
        staged_start(self.of.line, self.of.settings)
    }

    fn bytes(out: &Self::Out) -> usize {
        match out {
            Ok(Staged::NotNeeded { report } | Staged::InOrder { report, .. }) => {
                report_bytes(report)
            }
            Ok(Staged::Fails { .. }) | Err(_) => 0,
        }
    }
}

/// [`start_up`].
pub(crate) fn at_once(
    line: &Line,
    settings: &Settings,
    memo: &Memo,
) -> Arc<Result<Report, StartupError>> {
    let of = Start { line, settings };
    memo.of(&AtOnce { of })
}

/// [`staged_start`].
pub(crate) fn in_turn(
    line: &Line,
    settings: &Settings,
    memo: &Memo,
) -> Arc<Result<Staged, StartupError>> {
    let of = Start { line, settings };
    memo.of(&InTurn { of })
}
