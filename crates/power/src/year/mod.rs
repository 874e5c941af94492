//! The hourly year: what the panels give, what the load takes, and whether the battery lives through the winter.
//!
//! In steps that can each be kept: weather to irradiance of the array ([`GeneratedPlane`]), irradiance to yield
//! ([`GeneratedYields`], [`measured_yields`]: energy per watt of peak power, hour by hour), yield and load to one year's account ([`YearPlan::run`]), many years to a claim
//! ([`Outages`], [`LowestCharges`], [`ShareOfYears`], [`smallest_batteries`]). Each year is a pure function of its yields, so that years may be
//! shared out to threads. Equations, sources, limits and checks: `docs/method/energy-year.md`.

mod account;
mod claim;
mod error;
mod load;
mod plan;
mod sizing;
mod yields;

pub use crate::calendar::MONTH_DAYS;
pub use account::{Ledger, MonthAccount, Settled, WEEK_HOURS, Week, YearAccount};
pub use claim::{Claim, LowestCharges, Outages, ShareOfYears};
pub use error::{YearError, YearQuantity};
pub use load::{Extra, Load, StateShare};
pub use plan::{PowerSystem, Scratch, Start, YearPlan, first_hour_of_month};
pub use sizing::{CapacitySearch, SizeRow, smallest_batteries};
pub use yields::{Climate, GeneratedPlane, GeneratedYields, PanelModel, measured_yields};
