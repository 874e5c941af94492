//! What the line asks for, hour by hour.

use super::error::{YearError, YearQuantity};
use crate::sun::HOURS;

/// A state of the load and how much of the time it holds.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct StateShare {
    /// Power at the battery, W.
    pub power_w: f64,
    /// Share of the time, 0 to 1; the shares of all states add up to 1.
    pub share: f64,
}

/// Energy beyond that of the states: what events switch on and what messages through the uplink take.
#[derive(Clone, Debug, PartialEq)]
pub enum Extra {
    /// Nothing.
    None,
    /// The same in every hour, Wh.
    EveryHour(f64),
    /// One value for each hour of the year, Wh.
    Hours(Vec<f64>),
}

/// The load of a year.
#[derive(Clone, Debug, PartialEq)]
pub struct Load {
    /// States with their shares.
    pub states: Vec<StateShare>,
    /// Energy beyond them.
    pub extra: Extra,
}

/// Shares are decimals that people write: 0.1 + 0.2 + 0.7 must pass.
const SHARE_TOLERANCE: f64 = 1e-9;

impl Load {
    /// Mean power of the states, W.
    ///
    /// # Errors
    /// A power or share outside its range; shares that do not add up to 1.
    pub fn base_w(&self) -> Result<f64, YearError> {
        let (mut sum, mut base_w) = (0.0, 0.0);
        for state in &self.states {
            let share = YearQuantity::StateShare.check(state.share)?;
            base_w += share * YearQuantity::StatePower.check(state.power_w)?;
            sum += share;
        }
        if (sum - 1.0).abs() <= SHARE_TOLERANCE {
            Ok(base_w)
        } else {
            Err(YearError::Shares { sum })
        }
    }

    /// Energy asked for in each hour of the year, Wh.
    ///
    /// # Errors
    /// As [`Load::base_w`]; an extra energy outside its range, or not one for each hour.
    pub fn hourly_wh(&self) -> Result<Vec<f64>, YearError> {
        let base_wh = self.base_w()?;
        match &self.extra {
            Extra::None => Ok(vec![base_wh; HOURS]),
            Extra::EveryHour(extra_wh) => {
                let extra_wh = YearQuantity::ExtraEnergy.check(*extra_wh)?;
                Ok(vec![base_wh + extra_wh; HOURS])
            }
            Extra::Hours(hours) if hours.len() != HOURS => Err(YearError::Hours {
                found: hours.len(),
                what: "extra energy",
            }),
            Extra::Hours(hours) => hours
                .iter()
                .map(|&extra_wh| Ok(base_wh + YearQuantity::ExtraEnergy.check(extra_wh)?))
                .collect(),
        }
    }
}
