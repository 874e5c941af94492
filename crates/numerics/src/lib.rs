//! Interpolation in tables, roots of one-variable functions (that of `x tanh x` by its own), and a logistic model of two outcomes.
//!
//! Nothing here knows a unit: `x` and `y` are whatever the caller means by them. Every function is a pure function of its
//! arguments, and every failure is a named error that holds the numbers behind it.

mod bisect;
mod brent;
mod logistic;
mod table;
mod x_tanh_x;

pub use bisect::bisect_last_true;
pub use brent::{MAX_ITERATIONS, Root, RootError, brent};
pub use logistic::{Logistic, LogisticError};
pub use table::{Table, TableError};
pub use x_tanh_x::x_tanh_x;
