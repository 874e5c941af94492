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
    /// The broker does not let this user in, or nobody without one.
    #[error("the broker at {address} does not let {} in: {why}", who(user.as_deref()))]
    Login {
        /// Where.
        address: Address,
        /// As whom, if a user was named.
        user: Option<String>,
        /// What it says.
        why: String,
    },
    /// The broker will never take this connection.
    #[error("the broker at {address} refuses the connection: {why}")]
    Refused {
        /// Where.
        address: Address,
        /// What it says.
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

fn who(user: Option<&str>) -> String {
    match user {
        Some(user) => format!("the user `{user}`"),
        None => "anybody without a user".to_owned(),
    }
}
