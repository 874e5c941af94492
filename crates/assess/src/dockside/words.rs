//! Faults, setups and readings in the words of the plan.

use plan::{Line, ModuleIx, SpanIx, SupplyIx};
use quantity::{Dimension, show};

use super::bench::Setup;
use super::predict::{End, Fault, Probe};
use super::rank::Candidate;

fn module(line: &Line, m: ModuleIx) -> String {
    line.module_path(m)
}

fn span(line: &Line, s: SpanIx) -> String {
    format!("span.{}", line.spans[s.0].id)
}

fn supply(line: &Line, s: SupplyIx) -> String {
    format!("supply.{}", line.supplies[s.0].id)
}

fn end(line: &Line, s: SpanIx, end: End) -> String {
    let of = &line.spans[s.0];
    module(
        line,
        match end {
            End::From => of.from,
            End::To => of.to,
        },
    )
}

/// A fitted fault in a sentence.
#[must_use]
pub fn fault_words(line: &Line, found: &Candidate) -> String {
    let ohm = || show(found.size.unwrap_or(f64::NAN), Dimension::Resistance);
    let percent = || 100.0 * (found.size.unwrap_or(f64::NAN) - 1.0);
    match &found.fault {
        Fault::Nothing => "no fault".to_owned(),
        Fault::PoorContact {
            span: s,
            end: e,
            at_joining,
        } => format!(
            "a poor contact of {} at the end of {} towards {}{}",
            ohm(),
            span(line, *s),
            end(line, *s, *e),
            match at_joining {
                true => ", that came when it was joined",
                false => "",
            }
        ),
        Fault::Conductor { span: s, size, .. } => {
            format!("{} has a conductor of {size}", span(line, *s))
        }
        Fault::Length(s) => {
            let length_m = line.spans[s.0].length_m;
            format!(
                "{} is {} long, {:+.0} %",
                span(line, *s),
                show(found.size.unwrap_or(f64::NAN) * length_m, Dimension::Length),
                percent()
            )
        }
        Fault::Swapped(a, b) => format!(
            "{} and {} sit at each other's place",
            module(line, *a),
            module(line, *b)
        ),
        Fault::DrawsNothing(m) => format!(
            "{} draws nothing: missing, dead, or not joined to its branch",
            module(line, *m)
        ),
        Fault::OtherLoad(m) => format!(
            "{} draws {:+.0} % in every state: another load, or another module",
            module(line, *m),
            percent()
        ),
        Fault::Leak(m) => format!(
            "a leak of {} between the conductors at {}",
            ohm(),
            module(line, *m)
        ),
        Fault::Short(m) => format!("the conductors touch at {}", module(line, *m)),
        Fault::SupplyVolts(s) => format!(
            "{} gives {}, {:+.1} %",
            supply(line, *s),
            show(
                found.size.unwrap_or(f64::NAN) * line.supplies[s.0].voltage_v.si,
                Dimension::Voltage
            ),
            percent()
        ),
        Fault::SupplyContact(s) => format!(
            "a poor contact of {} at the terminals of {}",
            ohm(),
            supply(line, *s)
        ),
        Fault::Open(s) => format!("{} does not conduct", span(line, *s)),
        Fault::Reversed(s) => format!("the conductors of {} are crossed", span(line, *s)),
    }
}

/// A setup in words.
#[must_use]
pub fn setup_words(line: &Line, setup: Setup) -> String {
    match setup {
        Setup::Joined(m) => format!("joined as far as {}, as it starts", module(line, m)),
        Setup::Off => "the whole line, nothing draws".to_owned(),
        Setup::Usual => "the whole line as it starts".to_owned(),
        Setup::Heaviest(m) => format!(
            "{} at its heaviest, the others as they start",
            module(line, m)
        ),
    }
}

/// A reading in words.
#[must_use]
pub fn probe_words(line: &Line, probe: Probe) -> String {
    match probe {
        Probe::Loop(s) => format!("loop resistance of {} by itself", span(line, s)),
        Probe::Open(s) => format!("voltage of {} with nothing connected", supply(line, s)),
        Probe::Volts(setup, m) => format!(
            "voltage at {} with {}",
            module(line, m),
            setup_words(line, setup)
        ),
        Probe::Amps(setup, s) => format!(
            "current of {} with {}",
            supply(line, s),
            setup_words(line, setup)
        ),
        Probe::Drop(setup, s, e) => format!(
            "voltage across the contacts of {} towards {}, both poles together, with {}",
            span(line, s),
            end(line, s, e),
            setup_words(line, setup)
        ),
    }
}

/// Unit of a reading.
#[must_use]
pub fn probe_dimension(probe: Probe) -> Dimension {
    match probe {
        Probe::Loop(_) => Dimension::Resistance,
        Probe::Open(_) | Probe::Volts(..) | Probe::Drop(..) => Dimension::Voltage,
        Probe::Amps(..) => Dimension::Current,
    }
}
