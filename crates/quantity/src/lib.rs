//! Quantities as people write them (`150 m`, `0.42 W ± 10 %`, `18 AWG`) to and from SI numbers.
//!
//! Every parser takes the text of one value and what it ought to be, and gives either plain SI numbers or a
//! [`Fault`] that says which bytes are wrong and how to mend them. Nothing is guessed: a missing unit, a
//! decimal comma or a doubtful percentage is a fault, never a default.
//!
//! Units of the numbers: SI throughout, with four declared exceptions that are the same in the whole project:
//! temperatures are in degC, data sizes in bytes, data rates in bit/s, and levels in decibels with the one
//! reference that their [`LevelKind`] fixes.
//!
//! Conversions come from the table in `unit.rs`, where each source is named.

mod amount;
mod conductor;
mod dimension;
mod event_rate;
mod fault;
mod level;
mod money;
mod nearest;
mod pattern;
mod scan;
mod share;
mod show;
mod strand;
mod unit;

pub use amount::{Amount, HALF_WIDTH_DEVIATIONS, Law, parse_amount, parse_number};
pub use conductor::{CROSS_SECTIONS_MM2, Conductor, parse_conductor};
pub use dimension::{Dimension, article};
pub use event_rate::{EventRate, parse_event_rate};
pub use fault::{Fault, FaultKind, SpreadFault};
pub use level::{LevelAmount, LevelKind, parse_level};
pub use money::{Money, currency_decimals, parse_money};
pub use nearest::nearest;
pub use pattern::{
    Sign, amount_pattern, conductor_pattern, event_rate_pattern, level_pattern, money_pattern,
    number_pattern,
};
pub use share::{Share, parse_share};
pub use show::{show, show_bare, show_number, show_share};
pub use strand::StrandClass;

/// Seconds of a day (SI Brochure, 9th edition, table 8).
pub const SECONDS_PER_DAY: f64 = 86_400.0;

/// Standard gravity, m/s2 (SI Brochure, 9th edition; its conventional value of 1901).
pub const STANDARD_GRAVITY_M_S2: f64 = 9.80665;
