//! Who may ask for an output that fails safe by itself, as its timer sees it.

use std::collections::BTreeSet;

use plan::{Line, ModuleIx, OutputIx};

use super::talk::{Led, Talk};
use crate::input::{InputError, streams, traffic};

/// An output with a timer (`fails_safe_within`), and whose heartbeats wind it up.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct WoundUp {
    /// The output.
    pub output: OutputIx,
    /// Modules that have a part in asking for it and whose heartbeats its module hears, ascending; each has a timer of its own.
    pub by: Vec<ModuleIx>,
}

/// Every output of the line that fails safe by itself, in the order of the line.
///
/// # Errors
/// Those of the messages of the line.
pub fn wound_up(line: &Line) -> Result<Vec<WoundUp>, InputError> {
    let waiting: Vec<OutputIx> = waiting(line).collect();
    if waiting.is_empty() {
        return Ok(Vec::new());
    }
    let net = traffic(line)?
        .map(|t| streams(line, &t).map(|s| (t, s)))
        .transpose()?;
    let talk = Talk { line, net };
    let count = line.modules.len();
    let whole = talk.now(&vec![None; count], None, None, vec![false; count]);
    let mut led: Vec<Led> = line.hydrophones().map(|h| talk.led(&whole, h)).collect();
    led.extend(talk.led_at_intervals(&whole));
    let hears = |m: &usize, at: ModuleIx| {
        let own = line.modules[*m].heartbeat;
        own.is_some_and(|h| talk.hearers(ModuleIx(*m), h.topic).contains(&at.0))
    };
    let wound = |output: OutputIx| WoundUp {
        output,
        by: askers(line, led.iter(), output)
            .into_iter()
            .filter(|m| hears(m, output.module))
            .map(ModuleIx)
            .collect(),
    };
    Ok(waiting.into_iter().map(wound).collect())
}

/// Outputs with a timer.
pub(super) fn waiting(line: &Line) -> impl Iterator<Item = OutputIx> {
    let modules = line.modules.iter().enumerate();
    modules.flat_map(|(m, module)| {
        let own = module.outputs.iter().enumerate();
        own.filter(|(_, o)| o.fails_safe_within_s.is_some())
            .map(move |(output, _)| OutputIx {
                module: ModuleIx(m),
                output,
            })
    })
}

/// Modules that have a part in asking for an output, its own left out.
pub(super) fn askers<'l>(
    line: &Line,
    led: impl Iterator<Item = &'l Led>,
    output: OutputIx,
) -> BTreeSet<usize> {
    led.flat_map(|l| l.askers(line, (output.module.0, output.output)))
        .collect()
}
