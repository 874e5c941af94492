//! What has to do with the ship: spares against parts that are dead on deck, windows of weather for the work, and what a battery has left when it goes overboard.
//!
//! Equations, sources, limits: docs/method/slip.md.

mod open;
mod spares;
mod verdicts;
mod weather;

pub(crate) use open::open;
pub use spares::{SpareRow, Spares, spares};
pub(crate) use verdicts::{charge_at_deployment, enough_spares, weather_window};
pub(crate) use weather::calms;
pub use weather::{Calms, MonthOfCalm, Ready, WeatherWaits, WorkWait, weather_waits};
