//! Calls put into noise before a detector: how many it finds, against the ideal one, and how far that is.
//!
//! A [`CallSound`] is added to noise at rising signal-to-noise ratios and given to the very detector of the plan
//! ([`inject`]); what comes back is a [`Tally`], from which a [`Curve`] of found shares with exact limits is made. The ideal
//! energy detector of Urkowitz ([`ideal_found_share`], [`ideal_snr_db`]) says how much a detector loses. A curve, a source level with its spread and a loss over range
//! give the share found over range ([`Reach`]), the range of a share and the effective area.
//!
//! Pure functions without threads: one call of [`inject`] is one stretch of noise, and tallies add up in any grouping. The
//! method page is `docs/method/range.md`.

mod call;
mod curve;
mod error;
mod ideal;
mod inject;
mod range;
mod recorded;

/// Version of what this crate makes of calls in noise. Evidence names it, so that a build that comes to
/// something else leaves older evidence out: raise it with every change of the frozen counts (`tests/integration/frozen.rs`).
pub const METHOD: u32 = 2;

pub use call::CallSound;
pub use curve::{Bound, Curve, Point};
pub use error::InjectionError;
pub use ideal::{ideal_found_share, ideal_snr_db};
pub use inject::{Injection, NoiseLevel, Tally, inject, settling_samples, tail_samples};
pub use range::{Outer, Reach, Shares, Spread, effective_area_m2, outer_range_m, unbroken_range_m};
pub use recorded::recorded_level_db;
