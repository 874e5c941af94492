//! Paid links ashore.

use quantity::Money;

use super::{ModuleIx, Q};
use crate::site::Site;

/// A paid link ashore.
#[derive(Clone, Debug)]
pub struct Uplink {
    /// Id.
    pub id: String,
    /// Where it was declared.
    pub at: Site,
    /// The module at which it sits.
    pub module: ModuleIx,
    /// Size of one billed message, B.
    pub message_bytes: u32,
    /// Price of one billed message.
    pub price: Money,
    /// Time of one attempt, s.
    pub session_s: Q,
    /// When the satellite can be reached; always when absent.
    pub windows: Option<Windows>,
    /// Chance that an attempt succeeds, 0 to 1.
    pub success: Option<Q>,
    /// Wait after a failed attempt, s.
    pub back_off_s: Option<Q>,
    /// Age at which a message is given up, s.
    pub expiry_s: Option<Q>,
    /// State of the module while sending: index into its loads.
    pub sending_state: Option<usize>,
}

/// Windows of an uplink, counted from the start of the deployment.
#[derive(Clone, Copy, Debug)]
pub struct Windows {
    /// Start of the first, s.
    pub first_s: Q,
    /// Period, s.
    pub period_s: Q,
    /// Width, s.
    pub width_s: Q,
}
