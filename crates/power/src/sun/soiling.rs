//! Light lost to dirt on the panels, month by month.
//!
//! Birds, dried salt and growth each take a share of the light, independently: what is left is the product of what each
//! leaves. There is no published rule for a buoy; the shares are the user's, from recovered buoys of the same waters.

use super::error::{Quantity, SunError};

/// Share of the light that each kind of dirt takes, January to December, 0 to 1.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Soiling {
    /// Droppings.
    pub birds: [f64; 12],
    /// Dried spray.
    pub salt: [f64; 12],
    /// Algae and other growth.
    pub growth: [f64; 12],
}

impl Soiling {
    /// Clean panels.
    #[must_use]
    pub fn none() -> Self {
        Self {
            birds: [0.0; 12],
            salt: [0.0; 12],
            growth: [0.0; 12],
        }
    }

    /// Share of the light left, January to December.
    ///
    /// # Errors
    /// A share outside 0 to 1.
    pub fn factors(&self) -> Result<[f64; 12], SunError> {
        let mut factors = [1.0; 12];
        for shares in [&self.birds, &self.salt, &self.growth] {
            for (factor, &share) in factors.iter_mut().zip(shares) {
                *factor *= 1.0 - Quantity::SoilingShare.check(share)?;
            }
        }
        Ok(factors)
    }
}
