//! Why a connection broke, or could not be made, in words.

use std::io::ErrorKind;

use rumqttc::v5::mqttbytes::v5::ConnectReturnCode as Code;
use rumqttc::v5::{ConnectionError, StateError};

use super::CONNECT_WITHIN_S;

/// Why a connection broke or could not be made.
#[derive(Debug)]
pub(super) struct Broken {
    pub(super) why: String,
    /// The broker has said that it will not take it, however often it is asked.
    pub(super) refused: Option<Refusal>,
}

/// What a broker refuses for good.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Refusal {
    Login,
    Connection,
}

impl Broken {
    pub(super) fn from_silence(why: String) -> Broken {
        Broken { why, refused: None }
    }

    pub(super) fn from_error(error: &ConnectionError) -> Broken {
        let ended = || "it ended the connection".to_owned();
        let why = match error {
            ConnectionError::Timeout(_) => {
                format!("it gives no answer within {CONNECT_WITHIN_S} s")
            }
            ConnectionError::Io(io) | ConnectionError::MqttState(StateError::Io(io)) => {
                match io.kind() {
                    ErrorKind::ConnectionRefused => "nothing listens there".to_owned(),
                    ErrorKind::ConnectionReset
                    | ErrorKind::ConnectionAborted
                    | ErrorKind::BrokenPipe
                    | ErrorKind::UnexpectedEof => ended(),
                    _ => io.to_string(),
                }
            }
            ConnectionError::MqttState(StateError::ConnectionAborted) => ended(),
            ConnectionError::MqttState(StateError::Deserialization(what)) => {
                format!("what it says is no MQTT 5: {what}")
            }
            ConnectionError::NotConnAck(_) => {
                "it does not answer as an MQTT 5 broker does".to_owned()
            }
            ConnectionError::ConnectionRefused(code) => said(*code),
            other => other.to_string(),
        };
        let refused = match error {
            ConnectionError::ConnectionRefused(code) => refusal(*code),
            _ => None,
        };
        Broken { why, refused }
    }
}

/// The names of OASIS MQTT 5.0, section 3.2.2.2.
fn said(code: Code) -> String {
    match code {
        Code::NotAuthorized => "not authorized".to_owned(),
        Code::BadUserNamePassword => "bad user name or password".to_owned(),
        Code::Banned => "banned".to_owned(),
        Code::BadAuthenticationMethod => "bad authentication method".to_owned(),
        Code::UnsupportedProtocolVersion | Code::RefusedProtocolVersion => {
            "unsupported protocol version: it does not speak MQTT 5".to_owned()
        }
        Code::ServerBusy => "server busy".to_owned(),
        Code::ServerUnavailable | Code::ServiceUnavailable => "server unavailable".to_owned(),
        other => format!("{other:?}"),
    }
}

/// What passes by itself is no refusal for good.
fn refusal(code: Code) -> Option<Refusal> {
    match code {
        Code::NotAuthorized
        | Code::BadUserNamePassword
        | Code::Banned
        | Code::BadAuthenticationMethod => Some(Refusal::Login),
        Code::ServerBusy
        | Code::ServerUnavailable
        | Code::ServiceUnavailable
        | Code::ConnectionRateExceeded
        | Code::QuotaExceeded
        | Code::UnspecifiedError
        | Code::ImplementationSpecificError => None,
        _ => Some(Refusal::Connection),
    }
}
