//! What the links themselves do to messages.

use assess::input::Traffic;
use network::{Machine, MachineError};
use plan::{CueSheet, Line};
use timeline::Ns;

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
