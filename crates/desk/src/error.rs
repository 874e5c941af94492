//! What is answered where something cannot be done: a status, a code, a sentence and what would help.

use axum::body::Body;
use axum::http::{Response, StatusCode, header};
use axum::response::IntoResponse;
use serde_json::{Map, Value, json};

/// Why a request was not answered with what it asked for.
#[derive(Clone, Debug)]
pub(crate) struct ApiError {
    status: StatusCode,
    code: &'static str,
    message: String,
    help: Option<String>,
    /// What stands beside the error.
    beside: Map<String, Value>,
}

impl ApiError {
    pub(crate) fn new(status: StatusCode, code: &'static str, message: impl Into<String>) -> Self {
        ApiError {
            status,
            code,
            message: message.into(),
            help: None,
            beside: Map::new(),
        }
    }

    /// The request itself cannot be read.
    pub(crate) fn bad(code: &'static str, message: impl Into<String>) -> Self {
        ApiError::new(StatusCode::BAD_REQUEST, code, message)
    }

    /// The request can be read, and the plan or the question cannot be answered so.
    pub(crate) fn unusable(code: &'static str, message: impl Into<String>) -> Self {
        ApiError::new(StatusCode::UNPROCESSABLE_ENTITY, code, message)
    }

    pub(crate) fn missing(code: &'static str, message: impl Into<String>) -> Self {
        ApiError::new(StatusCode::NOT_FOUND, code, message)
    }

    /// The work was stopped because nobody waits for it any more.
    pub(crate) fn cancelled() -> Self {
        ApiError::new(StatusCode::CONFLICT, "cancelled", "cancelled")
    }

    #[must_use]
    pub(crate) fn help(mut self, help: impl Into<String>) -> Self {
        self.help = Some(help.into());
        self
    }

    #[must_use]
    pub(crate) fn saying(mut self, message: String) -> Self {
        self.message = message;
        self
    }

    #[must_use]
    pub(crate) fn help_of(mut self, help: Option<String>) -> Self {
        self.help = help.or(self.help);
        self
    }

    #[must_use]
    pub(crate) fn with(mut self, key: &str, value: Value) -> Self {
        self.beside.insert(key.to_owned(), value);
        self
    }

    #[cfg(test)]
    pub(crate) fn code(&self) -> &'static str {
        self.code
    }

    pub(crate) fn document(&self) -> Value {
        let mut told = Map::new();
        told.insert(
            "error".to_owned(),
            json!({ "code": self.code, "message": self.message, "help": self.help }),
        );
        told.extend(self.beside.clone());
        Value::Object(told)
    }
}

impl IntoResponse for ApiError {
    fn into_response(self) -> Response<Body> {
        Response::builder()
            .status(self.status)
            .header(header::CONTENT_TYPE, "application/json")
            .body(Body::from(self.document().to_string()))
            .expect("these headers are well formed")
    }
}

/// A JSON document as an answer.
pub(crate) fn document(status: StatusCode, value: &Value) -> Response<Body> {
    json_bytes(status, value.to_string().into_bytes())
}

/// The same, of a document that is text already.
pub(crate) fn json_bytes(status: StatusCode, bytes: Vec<u8>) -> Response<Body> {
    Response::builder()
        .status(status)
        .header(header::CONTENT_TYPE, "application/json")
        .body(Body::from(bytes))
        .expect("these headers are well formed")
}
