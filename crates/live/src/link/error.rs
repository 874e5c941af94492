//! Why there is no link.

use crate::address::Address;

/// Why there is no link.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum LinkError {
    /// The broker does not answer, or refuses.
    #[error("no MQTT 5 broker at {address}: {why}")]
    Connect {
        /// Where.
        address: Address,
        /// Why.
        why: String,
    },
    /// The broker does not let it hear what comes in.
    #[error("the broker at {address} refuses the subscription to {filter}: {why}")]
    Subscribe {
        /// Where.
        address: Address,
        /// To what.
        filter: String,
        /// Why.
        why: String,
    },
    /// The client of the connection has stopped by itself.
    #[error("the connection to {address} has ended for good: {why}")]
    Gone {
        /// Where.
        address: Address,
        /// Why.
        why: String,
    },
}
