//! Behaviours written as small programs in an embedded language (Rhai), run within limits.
//!
//! A routine is a text of functions and constants. Its handlers `when_heard(event)`, `when_told(message)`, `when_voted()`,
//! `when_asked(question)`, `when_answered(answer)` and `each()` are
//! called by whoever runs it ([`Program::run`]); what they do comes back as [`Deed`]s, the same closed set that rules have. The names that a
//! routine uses for topics, requests, outputs, uplinks, states and its settings are bound from outside ([`Binding`]), so that the same text runs on any
//! module.
//!
//! Everything that a routine computes depends on its text, its binding, its memory and what it is called with: there is no clock, no draw,
//! no file and no mathematics of the platform (`exp`, `log10`, `sin` and the like come from libm). It stops at [`LIMITS`].

mod binding;
mod check;
mod deed;
mod fault;
mod host;
mod keys;
mod language;
mod program;

pub use binding::{Binding, Bound, FieldKind, FieldShape, Ranges, Setting, Shape};
pub use deed::{Deed, Held, Place};
pub use fault::Fault;
pub use language::{FUNCTIONS, LIMITS, Limits, is_reserved};
pub use program::{Call, Failed, Given, Handler, Memory, Program, Run};
