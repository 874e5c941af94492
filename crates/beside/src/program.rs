//! The program as documents and evidence name it.

use serde_json::{Value, json};

/// Name and version of the program, as outputs carry them.
pub const PROGRAM: &str = concat!("soundline ", env!("CARGO_PKG_VERSION"));

/// The program as evidence names it, with the methods of what it hears and rehearses.
#[must_use]
pub fn computed_by() -> String {
    assess::evidence::made_by(PROGRAM, hearing::METHOD, rehearsal::METHOD)
}

/// A document of a result with what every document of a plan carries: its digest, the program, and what is wrong with its files.
#[must_use]
pub fn of_plan(mut document: Value, plan_digest: Option<&str>, mistakes: &[Value]) -> Value {
    document["plan_digest"] = json!(plan_digest);
    document["program"] = json!(PROGRAM);
    document["mistakes"] = json!(mistakes);
    document
}
