//! Interpolation in tables and roots of one-variable functions.
//!
//! Nothing here knows a unit: `x` and `y` are whatever the caller means by them. Every function is a pure function of its
//! arguments, and every failure is a named error that holds the numbers behind it.

mod bisect;
mod brent;
mod table;

pub use bisect::bisect_last_true;
pub use brent::{MAX_ITERATIONS, Root, RootError, brent};
pub use table::{Table, TableError};
