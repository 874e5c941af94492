//! Start-up in time: what happens between the switch and rest.
//!
//! Capacitors fill through long spans and current limits, lock-outs switch modules on and off, modules boot at more
//! than their running power. [`start_up`] follows a [`Line`] from empty capacitors until it is at rest, repeats itself or
//! is out of time, and says by name what it came to ([`Outcome`]), with switchings, traces and a ledger.
//! Equations, sources, limits and checks: `docs/method/start-up.md`.

mod circuit;
mod line;
mod outcome;
mod record;
mod repeat;
mod rosenbrock;
mod run;
mod staged;
mod turns;

pub use circuit::{Phase, Shortfall};
pub use line::{Capacitor, Input, Line, Module, Settings, StartupError};
pub use outcome::{ModuleRecord, Outcome, Report, Start, start_up, start_up_with_method};
pub use record::{Event, EventKind, Ledger, Trace};
pub use run::Effort;
pub use staged::{
    AtOnce, COMPLETE_UP_TO, NoOrder, Staged, Stop, booting_at_once, running_at_once, staged_start,
};
pub use turns::{Passing, Turn, TurnsError, Waits, turns};
