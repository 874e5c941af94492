//! Remedies that a plan declares.

use quantity::Money;

use crate::site::Site;

/// What can be had instead of what one key says.
#[derive(Clone, Debug)]
pub struct Remedy {
    /// Id.
    pub id: String,
    /// Where it was declared.
    pub at: Site,
    /// Path of the key that it sets.
    pub sets: String,
    /// The values that can be had, in the order of the plan.
    pub to: Vec<Choice>,
}

/// A value that can be had.
#[derive(Clone, Debug)]
pub struct Choice {
    /// As the key is written, without quotes.
    pub value: String,
    /// What it costs; `None` when the plan does not say.
    pub cost: Option<Money>,
}
