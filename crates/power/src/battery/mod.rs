//! Batteries through a year at sea, Peukert's rule, and capacitors for short bursts.
//!
//! A [`Battery`] is what the user has; [`Battery::at`] is that battery at one temperature, and [`BatteryAt::step`]
//! takes it through one hour; [`PrimaryCells`] are not charged and last so long. What goes in and comes out in it is accounted for ([`Flows`]). Equations, sources, limits
//! and checks: `docs/method/energy-year.md`.
//!
//! Cells can burn, and lithium cells more than others. Nothing here says that a battery is safe in a housing: the
//! maker's data, local codes and licensed practice decide.

mod autonomy;
mod capacitor;
mod chemistry;
mod error;
mod lying;
mod peukert;
mod primary;
mod restart;
mod run_down;
mod step;

pub use autonomy::Autonomy;
pub use capacitor::{capacitance_needed_f, voltage_after_burst_v};
pub use chemistry::{ChargeOf, Charging, Chemistry, Cutoff, Taper};
pub use error::{BatteryError, BatteryQuantity};
pub use lying::Lying;
pub use peukert::{peukert_exponent, peukert_hours};
pub use primary::{CellLife, CurrentShare, LONGEST_CELL_LIFE_YEARS, PrimaryCells, SteadyCapacity};
pub use restart::{Bank, Dawn, Demand, Hold, OpenVoltage, Spell, Stretch, Thresholds, terminal_v};
pub use step::{Battery, BatteryAt, BatteryState, Flows, HOURS_PER_MONTH};
