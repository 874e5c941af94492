//! Bodies that come piece by piece: events, files and their pieces.

use std::time::Duration;

use axum::body::{Body, Bytes};
use axum::extract::{Path, State};
use axum::http::{HeaderMap, HeaderValue, Response, StatusCode, header};
use axum::response::IntoResponse;
use serde_json::json;
use tokio::sync::{broadcast, watch};

use super::{Answer, Desk, JobNumber, Shared, records, work};
use crate::error::ApiError;
use crate::jobs;
use crate::pieces::{self, Sound};
use crate::watch::Happened;
use crate::{folder, stream};

/// A page that hears nothing for so long may take the server for lost.
const HEARTBEAT: Duration = Duration::from_secs(5);
/// From one progress to the next at least.
const PROGRESS_EACH: Duration = Duration::from_millis(100);
/// Bytes of an export that are read at once.
const PIECE: usize = 1 << 16;

/// Changes of the plan on the disk, how far all long work is, and that the server is there.
pub(super) async fn events(State(desk): Shared) -> Response<Body> {
    let mut happened = desk.happened.subscribe();
    let (into, body) = stream::pieces();
    tokio::spawn(async move {
        let mut first = Some(stream::event("heartbeat", &json!({})));
        loop {
            let piece = match first.take() {
                Some(piece) => piece,
                None => match tokio::time::timeout(HEARTBEAT, happened.recv()).await {
                    Ok(Ok(happened)) => {
                        let (name, data) = happened.event();
                        stream::event(name, &data)
                    }
                    Ok(Err(broadcast::error::RecvError::Closed)) => return,
                    // More happened than is kept for a slow page.
                    Ok(Err(broadcast::error::RecvError::Lagged(_))) => {
                        stream::event("missed", &json!({}))
                    }
                    Err(_) => stream::event("heartbeat", &json!({})),
                },
            };
            if into.send(piece).await.is_err() {
                return;
            }
        }
    });
    stream::events(body)
}

/// Tells all pages how far a job is, until it is over.
pub(super) async fn tell_of(
    number: u64,
    mut state: watch::Receiver<jobs::State>,
    tell: broadcast::Sender<Happened>,
) {
    loop {
        let now = state.borrow_and_update().clone();
        let over = now.is_over();
        // Nobody may be there to listen.
        drop(tell.send(Happened::Job { number, state: now }));
        if over || state.changed().await.is_err() {
            return;
        }
        // A bar that moves more often is not seen to.
        tokio::time::sleep(PROGRESS_EACH).await;
    }
}

/// How far a job is, until it is over.
pub(super) async fn followed(State(desk): Shared, Path(id): Path<JobNumber>) -> Answer {
    let mut state = desk.jobs.get(id.read()?)?.watch();
    let (into, body) = stream::pieces();
    tokio::spawn(async move {
        loop {
            let now = state.borrow_and_update().clone();
            let (name, data) = now.event();
            let sent = into.send(stream::event(name, &data)).await;
            if sent.is_err() || now.is_over() {
                return;
            }
            let changed = tokio::time::timeout(HEARTBEAT, state.changed()).await;
            if changed.is_ok_and(|c| c.is_err()) {
                return;
            }
            // A bar that moves more often is not seen to.
            tokio::time::sleep(PROGRESS_EACH).await;
        }
    });
    Ok(stream::events(body))
}

pub(super) async fn sound(
    State(desk): Shared,
    Path(name): Path<String>,
    headers: HeaderMap,
) -> Answer {
    let kind = pieces::kind(&name);
    let range = headers
        .get(header::RANGE)
        .map(|r| r.to_str().unwrap_or("").to_owned());
    let task = move |desk: &Desk, _: &(dyn Fn() -> bool + Sync)| {
        let path = folder::recording(desk.plan.folder(), &name)?;
        pieces::sound(&path, range.as_deref())
    };
    let answer = Response::builder()
        .header(header::CONTENT_TYPE, kind)
        .header(header::CACHE_CONTROL, "no-cache")
        .header(header::ACCEPT_RANGES, "bytes");
    let answer = match work(&desk, task).await? {
        Sound::Whole(file, length) => answer
            .header(header::CONTENT_LENGTH, length)
            .body(file_body(file, ())),
        // A player asks on where it is given less than it asked for.
        Sound::Piece { from, bytes, whole } => {
            let last = (from + bytes.len() as u64).saturating_sub(1);
            answer
                .status(StatusCode::PARTIAL_CONTENT)
                .header(
                    header::CONTENT_RANGE,
                    format!("bytes {from}-{last}/{whole}"),
                )
                .body(Body::from(bytes))
        }
        Sound::Beyond { whole } => {
            let (status, why) = (
                StatusCode::RANGE_NOT_SATISFIABLE,
                format!("the file has {whole} bytes"),
            );
            let mut told = ApiError::new(status, "no-such-range", why).into_response();
            let length = HeaderValue::from_str(&format!("bytes */{whole}"));
            let length = length.expect("it is plain text");
            told.headers_mut().insert(header::CONTENT_RANGE, length);
            return Ok(told);
        }
    };
    Ok(answer.expect("these headers are well formed"))
}

/// A file piece by piece, as fast as it is read; `held` is kept until its end.
fn file_body(mut file: std::fs::File, held: impl Send + 'static) -> Body {
    let (into, body) = stream::pieces();
    tokio::task::spawn_blocking(move || {
        let _held = held;
        let mut piece = vec![0; PIECE];
        while let Ok(read) = std::io::Read::read(&mut file, &mut piece) {
            let bytes = Bytes::copy_from_slice(&piece[..read]);
            if read == 0 || into.blocking_send(bytes).is_err() {
                return;
            }
        }
    });
    body
}

pub(super) async fn exported(State(desk): Shared, Path(id): Path<JobNumber>) -> Answer {
    let trace = desk.jobs.get(id.read()?)?.trace()?;
    let file = trace.open().map_err(|e| records::unread(&e))?;
    // The folder of the trace stays as long as it is read.
    let body = file_body(file, trace);
    let name = format!("attachment; filename=\"rehearsal-{}.jsonl\"", id.read()?);
    let answer = Response::builder()
        .header(header::CONTENT_TYPE, "application/x-ndjson")
        .header(header::CONTENT_DISPOSITION, name)
        .body(body);
    Ok(answer.expect("these headers are well formed"))
}
