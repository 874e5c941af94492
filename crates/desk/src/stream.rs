//! Bodies that come piece by piece: server-sent events, and files that are made on the way.

use std::convert::Infallible;
use std::pin::Pin;
use std::task::{Context, Poll};

use axum::body::{Body, Bytes};
use axum::http::{Response, header};
use http_body::Frame;
use serde_json::Value;
use tokio::sync::mpsc;

/// Pieces that wait for a slow reader.
const ROOM: usize = 16;

struct Pieces(mpsc::Receiver<Bytes>);

impl http_body::Body for Pieces {
    type Data = Bytes;
    type Error = Infallible;

    fn poll_frame(
        mut self: Pin<&mut Self>,
        cx: &mut Context<'_>,
    ) -> Poll<Option<Result<Frame<Bytes>, Infallible>>> {
        let next = self.0.poll_recv(cx);
        next.map(|piece| piece.map(|bytes| Ok(Frame::data(bytes))))
    }
}

/// A body, and where its pieces are put in; the body ends when that is dropped.
pub(crate) fn pieces() -> (mpsc::Sender<Bytes>, Body) {
    let (into, out) = mpsc::channel(ROOM);
    (into, Body::new(Pieces(out)))
}

/// One server-sent event (WHATWG HTML, 9.2): its name and one line of JSON.
pub(crate) fn event(name: &str, data: &Value) -> Bytes {
    Bytes::from(format!("event: {name}\ndata: {data}\n\n"))
}

/// The answer that carries events.
pub(crate) fn events(body: Body) -> Response<Body> {
    Response::builder()
        .header(header::CONTENT_TYPE, "text/event-stream")
        .header(header::CACHE_CONTROL, "no-store")
        .body(body)
        .expect("these headers are well formed")
}
