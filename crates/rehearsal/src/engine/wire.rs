//! What the links themselves do to messages.

use assess::input::{Carrier, Traffic};
use network::{Machine, MachineError, Medium};
use plan::{CueSheet, FaultKind, Line, SpanIx};
use timeline::Ns;

use super::Engine;
use crate::error::RehearsalError;

/// Sets the bit error rates that the plan says.
pub(super) fn standing_bit_errors(
    machine: &mut Machine,
    traffic: &Traffic,
    line: &Line,
    cues: &CueSheet,
) -> Result<(), MachineError> {
    let names = traffic.error_names(line, cues.seed);
    for (over, rate) in &traffic.bit_errors {
        machine.set_bit_errors(Ns::ZERO, *over, *rate, &names)?;
    }
    Ok(())
}

impl Engine<'_> {
    /// Sets anew what of its bits the link of a span gets wrong: the worst that the plan and the faults that hold say.
    pub(super) fn renew_bit_errors(&mut self, span: SpanIx) -> Result<(), RehearsalError> {
        let (Some(traffic), Some(post)) = (&self.traffic, &mut self.machine) else {
            return Ok(());
        };
        let bus = self.line.spans[span.0].bus;
        let own = traffic.link_spans.iter().position(|s| *s == span);
        let carried = |shared: &Carrier| match shared {
            Carrier::Span(s) => *s == span,
            Carrier::Bus(b) => bus == Some(*b),
        };
        let shared = traffic.shared.iter().position(carried);
        let Some(over) = own.map(Medium::Link).or_else(|| shared.map(Medium::Bus)) else {
            return Ok(());
        };
        let same = |s: SpanIx| s == span || (bus.is_some() && self.line.spans[s.0].bus == bus);
        let standing = traffic.bit_errors.get(&over).copied().unwrap_or(0.0);
        let faults = self.cues.faults.iter().zip(&self.faults.in_force);
        let worst = faults
            .filter(|(_, holds)| **holds)
            .fold(standing, |worst, (f, _)| match f.what {
                FaultKind::BitErrors { span, rate } if same(span) => worst.max(rate.si),
                _ => worst,
            });
        let names = traffic.error_names(self.line, self.cues.seed);
        post.machine_mut()
            .set_bit_errors(self.now, over, worst, &names)
            .map_err(|source| RehearsalError::Machine {
                at: self.now,
                source,
            })
    }
}
