//! What is answered to what: each route hands its request on to the piece that does the work.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use assess::{Memo, Tier};
use axum::Router;
use axum::body::Body;
use axum::extract::{Path, Request, State};
use axum::http::{Method, Response, StatusCode, Uri};
use axum::response::IntoResponse;
use axum::routing::{get, post};
use serde::Deserialize;
use serde_json::{Value, json};
use tokio::sync::broadcast;

use crate::consequences::consequences;
use crate::disk::PlanFile;
use crate::document::{self, Ask, Given};
use crate::error::{self, ApiError};
use crate::guard::{self, Guard};
use crate::watch::Happened;
use crate::worker::{Wanted, Workers};
use crate::{edit, page, session, stream};

/// A page that hears nothing for so long may take the server for lost.
const HEARTBEAT: Duration = Duration::from_secs(5);
/// Longest name of a page.
const LONGEST_CLIENT: usize = 64;

/// All that requests share.
pub(crate) struct Desk {
    pub(crate) plan: Arc<PlanFile>,
    pub(crate) memo: Arc<Memo>,
    workers: Workers,
    happened: broadcast::Sender<Happened>,
}

impl Desk {
    pub(crate) fn new(plan: Arc<PlanFile>, happened: broadcast::Sender<Happened>) -> Desk {
        let memo = Arc::new(Memo::new());
        let (path, kept) = (plan.path().to_path_buf(), Arc::clone(&memo));
        let work = move |wanted: &Wanted| consequences(&path, &kept, wanted);
        Desk {
            plan,
            memo,
            workers: Workers::new(Box::new(work)),
            happened,
        }
    }
}

type Shared = State<Arc<Desk>>;
type Answer = Result<Response<Body>, ApiError>;

/// Every route of the server.
pub(crate) fn routes(desk: Arc<Desk>, guard: Arc<Guard>) -> Router {
    Router::new()
        .route("/api/session", get(open))
        .route("/api/plan", get(plan).put(save))
        .route("/api/consequences", post(follow))
        .route("/api/document/{kind}", post(documented))
        .route("/api/edit", post(edited))
        .route("/api/events", get(listen))
        .fallback(paged)
        .method_not_allowed_fallback(no_method)
        .with_state(desk)
        .layer(axum::middleware::from_fn_with_state(guard, guard::guarded))
}

/// Set when nobody waits for the work any more: the request was left, or took too long.
struct Left(Arc<AtomicBool>);

impl Drop for Left {
    fn drop(&mut self) {
        self.0.store(true, Ordering::Relaxed);
    }
}

/// Work that reads files or computes, off the thread that answers. It is told when nobody waits any more.
async fn work<T: Send + 'static>(
    desk: &Arc<Desk>,
    task: impl FnOnce(&Desk, &(dyn Fn() -> bool + Sync)) -> Result<T, ApiError> + Send + 'static,
) -> Result<T, ApiError> {
    let left = Left(Arc::new(AtomicBool::new(false)));
    let (desk, flag) = (Arc::clone(desk), Arc::clone(&left.0));
    let go_on = move || !flag.load(Ordering::Relaxed);
    let done = tokio::task::spawn_blocking(move || task(&desk, &go_on)).await;
    done.unwrap_or_else(|_| {
        Err(ApiError::new(
            StatusCode::INTERNAL_SERVER_ERROR,
            "stopped",
            "the work did not come to its end",
        ))
    })
}

fn told(value: &Value) -> Answer {
    Ok(error::document(StatusCode::OK, value))
}

async fn open(State(desk): Shared) -> Answer {
    told(&work(&desk, |desk, _| session::session(&desk.plan)).await?)
}

async fn plan(State(desk): Shared) -> Answer {
    let text = work(&desk, |desk, _| desk.plan.read()).await?;
    let source_digest = crate::text::text_digest(&text);
    told(&json!({ "text": text, "source_digest": source_digest }))
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Save {
    text: String,
    base_digest: String,
}

async fn save(State(desk): Shared, request: Request) -> Answer {
    let asked: Save = guard::body(request).await?;
    let save = move |desk: &Desk, _: &(dyn Fn() -> bool + Sync)| {
        desk.plan.replace(&asked.text, &asked.base_digest)
    };
    let digest = work(&desk, save).await?;
    told(&json!({ "source_digest": digest }))
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Follow {
    text: String,
    tier: String,
    serial: u64,
    #[serde(default)]
    client: String,
}

async fn follow(State(desk): Shared, request: Request) -> Answer {
    let asked: Follow = guard::body(request).await?;
    let tier = match asked.tier.as_str() {
        "quick" => Tier::Quick,
        "full" => Tier::Full,
        other => {
            return Err(ApiError::bad(
                "bad-body",
                format!("`tier` is neither `quick` nor `full`: `{other}`"),
            ));
        }
    };
    if asked.client.chars().count() > LONGEST_CLIENT {
        return Err(ApiError::bad(
            "bad-body",
            format!("`client` has more than {LONGEST_CLIENT} characters"),
        ));
    }
    let wanted = Wanted {
        client: asked.client,
        serial: asked.serial,
        tier,
        text: asked.text,
    };
    let bytes = desk.workers.check(wanted).await?;
    Ok(error::json_bytes(StatusCode::OK, bytes))
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Documented {
    text: String,
    #[serde(default)]
    ask: Ask,
}

async fn documented(State(desk): Shared, Path(kind): Path<String>, request: Request) -> Answer {
    let asked: Documented = guard::body(request).await?;
    let task = move |desk: &Desk, go_on: &(dyn Fn() -> bool + Sync)| {
        let given = Given {
            path: desk.plan.path(),
            memo: &desk.memo,
            go_on,
        };
        document::document(&given, &kind, &asked.text, &asked.ask)
    };
    told(&work(&desk, task).await?)
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Edited {
    text: String,
    path: String,
    value: String,
}

async fn edited(State(desk): Shared, request: Request) -> Answer {
    let asked: Edited = guard::body(request).await?;
    let task = move |desk: &Desk, _: &(dyn Fn() -> bool + Sync)| {
        let path = desk.plan.path();
        edit::edited(path, &desk.memo, &asked.text, &asked.path, &asked.value)
    };
    told(&work(&desk, task).await?)
}

/// Changes of the plan on the disk, and that the server is there.
async fn listen(State(desk): Shared) -> Response<Body> {
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
                    Ok(Err(broadcast::error::RecvError::Lagged(_))) | Err(_) => {
                        stream::event("heartbeat", &json!({}))
                    }
                },
            };
            if into.send(piece).await.is_err() {
                return;
            }
        }
    });
    stream::events(body)
}

async fn paged(method: Method, uri: Uri) -> Response<Body> {
    match uri.path().strip_prefix("/api/") {
        Some(_) => no_route().into_response(),
        None if method == Method::GET || method == Method::HEAD => page::serve(uri.path()),
        None => no_method().await.into_response(),
    }
}

fn no_route() -> ApiError {
    ApiError::missing("no-such-route", "there is no such route")
        .help("GET /api/openapi.json lists them")
}

async fn no_method() -> ApiError {
    ApiError::new(
        StatusCode::METHOD_NOT_ALLOWED,
        "no-such-method",
        "this route does not take that method",
    )
    .help("GET /api/openapi.json lists what each takes")
}
