//! What is answered to what: each route hands its request on to the piece that does the work.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use assess::{Memo, Tier};
use axum::Router;
use axum::body::{Body, Bytes};
use axum::extract::{Path, Request, State};
use axum::http::{HeaderMap, Method, Response, StatusCode, Uri, header};
use axum::response::IntoResponse;
use axum::routing::{MethodRouter, get, post};
use serde::Deserialize;
use serde_json::{Value, json};
use tokio::sync::broadcast;

use crate::consequences::consequences;
use crate::disk::PlanFile;
use crate::document::{self, Ask, Given};
use crate::error::{self, ApiError};
use crate::guard::{self, Guard};
use crate::jobs::{self, Jobs};
use crate::openapi::PATHS;
use crate::recordings::{self, Tile, Tiles};
use crate::server::Listen;
use crate::watch::Happened;
use crate::worker::{Wanted, Workers};
use crate::{edit, folder, openapi, page, places, session, stream, text, threshold};

/// A page that hears nothing for so long may take the server for lost.
const HEARTBEAT: Duration = Duration::from_secs(5);
/// From one progress to the next at least.
const PROGRESS_EACH: Duration = Duration::from_millis(100);
/// Bytes of an export that are read at once.
const PIECE: usize = 1 << 16;
/// Longest name of a page.
const LONGEST_CLIENT: usize = 64;

/// All that requests share.
pub(crate) struct Desk {
    pub(crate) plan: Arc<PlanFile>,
    pub(crate) memo: Arc<Memo>,
    workers: Workers,
    happened: broadcast::Sender<Happened>,
    jobs: Jobs,
    tiles: Tiles,
    listen: Option<Arc<Listen>>,
}

impl Desk {
    pub(crate) fn new(
        plan: Arc<PlanFile>,
        happened: broadcast::Sender<Happened>,
        listen: Option<Arc<Listen>>,
    ) -> Desk {
        let memo = Arc::new(Memo::new());
        let (path, kept) = (plan.path().to_path_buf(), Arc::clone(&memo));
        let work = move |wanted: &Wanted| consequences(&path, &kept, wanted);
        Desk {
            plan,
            memo,
            workers: Workers::new(Box::new(work)),
            happened,
            jobs: Jobs::new(),
            tiles: Tiles::default(),
            listen,
        }
    }
}

type Shared = State<Arc<Desk>>;
type Answer = Result<Response<Body>, ApiError>;

/// Every route of the server: those that [`PATHS`] tells, and the page.
pub(crate) fn routes(desk: Arc<Desk>, guard: Arc<Guard>) -> Router {
    let mut router = Router::new();
    for told in PATHS {
        router = router.route(told.path, methods(told.path));
    }
    router
        .fallback(paged)
        .method_not_allowed_fallback(no_method)
        .with_state(desk)
        .layer(axum::middleware::from_fn_with_state(guard, guard::guarded))
}

/// What answers on a path that is told.
fn methods(path: &str) -> MethodRouter<Arc<Desk>> {
    match path {
        "/api/openapi.json" => get(told_routes),
        "/api/session" => get(open),
        "/api/plan" => get(plan).put(save),
        "/api/consequences" => post(follow),
        "/api/document/{kind}" => post(documented),
        "/api/edit" => post(edited),
        "/api/places" => post(held),
        "/api/threshold" => post(turned),
        "/api/cues/{*name}" => get(cues),
        "/api/recordings/{name}" => get(recording),
        "/api/recordings/{name}/picture" => get(picture),
        "/api/recordings/{name}/sound" => get(sound),
        "/api/listen" => post(listened),
        "/api/jobs" => post(started),
        "/api/jobs/{id}" => get(job).delete(stopped),
        "/api/jobs/{id}/events" => get(followed),
        "/api/jobs/{id}/records" => get(records),
        "/api/jobs/{id}/chain" => get(chained),
        "/api/jobs/{id}/export" => get(exported),
        "/api/events" => get(listen),
        other => unreachable!("{other} is told and not answered"),
    }
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
    told(&work(&desk, |desk, _| session::session(&desk.plan, &desk.memo)).await?)
}

async fn plan(State(desk): Shared) -> Answer {
    let text = work(&desk, |desk, _| desk.plan.read()).await?;
    let source_digest = text::text_digest(&text);
    let identity = desk.plan.identity();
    told(&json!({ "text": text, "source_digest": source_digest, "identity": identity }))
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Save {
    text: String,
    base_digest: String,
    identity: Option<String>,
}

async fn save(State(desk): Shared, request: Request) -> Answer {
    let asked: Save = guard::body(request).await?;
    let save = move |desk: &Desk, _: &(dyn Fn() -> bool + Sync)| {
        if let Some(identity) = &asked.identity {
            desk.plan.is_meant(identity)?;
        }
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
            at: &|_| go_on(),
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

async fn told_routes() -> Answer {
    told(&openapi::document())
}

async fn held(State(desk): Shared, request: Request) -> Answer {
    let asked: places::Ask = guard::body(request).await?;
    let task = move |desk: &Desk, go_on: &(dyn Fn() -> bool + Sync)| {
        places::places(desk.plan.path(), &desk.memo, go_on, &asked)
    };
    told(&work(&desk, task).await?)
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Turned {
    text: String,
    detector: String,
    on_above_db: f64,
}

async fn turned(State(desk): Shared, request: Request) -> Answer {
    let asked: Turned = guard::body(request).await?;
    let task = move |desk: &Desk, go_on: &(dyn Fn() -> bool + Sync)| {
        let (path, memo) = (desk.plan.path(), &desk.memo);
        threshold::moved(
            path,
            memo,
            go_on,
            &asked.text,
            &asked.detector,
            asked.on_above_db,
        )
    };
    told(&work(&desk, task).await?)
}

async fn cues(State(desk): Shared, Path(name): Path<String>) -> Answer {
    let task = move |desk: &Desk, _: &(dyn Fn() -> bool + Sync)| {
        let path = folder::file(desk.plan.folder(), &name)?;
        let text = folder::cue_text(&path)?;
        Ok(json!({ "path": name, "text": text }))
    };
    told(&work(&desk, task).await?)
}

async fn recording(State(desk): Shared, Path(name): Path<String>) -> Answer {
    let task = move |desk: &Desk, _: &(dyn Fn() -> bool + Sync)| {
        let path = folder::recording(desk.plan.folder(), &name)?;
        recordings::about(&path, &name)
    };
    told(&work(&desk, task).await?)
}

async fn picture(State(desk): Shared, Path(name): Path<String>, uri: Uri) -> Answer {
    let tile = Tile::of_query(uri.query().unwrap_or(""))?;
    let task = move |desk: &Desk, go_on: &(dyn Fn() -> bool + Sync)| {
        let path = folder::recording(desk.plan.folder(), &name)?;
        // Only a level in micropascals needs the plan.
        let reading = match tile.sensor {
            Some(_) => Some(text::read(desk.plan.path(), &desk.plan.read()?, &desk.memo)),
            None => None,
        };
        let line = reading.as_ref().and_then(|r| r.line.as_ref());
        desk.tiles.png(&path, line, &tile, go_on)
    };
    let png = work(&desk, task).await?;
    let answer = Response::builder()
        .header(header::CONTENT_TYPE, "image/png")
        .header(header::CACHE_CONTROL, "no-cache")
        .body(Body::from(png.to_vec()));
    Ok(answer.expect("these headers are well formed"))
}

async fn sound(State(desk): Shared, Path(name): Path<String>, headers: HeaderMap) -> Answer {
    let kind = recordings::kind(&name);
    let range = headers
        .get(header::RANGE)
        .map(|r| r.to_str().unwrap_or("").to_owned());
    let path = move |desk: &Desk| folder::recording(desk.plan.folder(), &name);
    let answer = Response::builder()
        .header(header::CONTENT_TYPE, kind)
        .header(header::CACHE_CONTROL, "no-cache")
        .header(header::ACCEPT_RANGES, "bytes");
    let answer = match range {
        None => {
            let whole = work(&desk, move |desk, _| recordings::whole(&path(desk)?)).await?;
            let (file, length) = whole;
            answer
                .header(header::CONTENT_LENGTH, length)
                .body(file_body(file, ()))
        }
        // A player asks on where it is given less than it asked for.
        Some(range) => {
            let piece = work(&desk, move |desk, _| {
                recordings::piece(&path(desk)?, &range)
            })
            .await?;
            let last = (piece.from + piece.bytes.len() as u64).saturating_sub(1);
            let told = format!("bytes {}-{last}/{}", piece.from, piece.whole);
            answer
                .status(StatusCode::PARTIAL_CONTENT)
                .header(header::CONTENT_RANGE, told)
                .body(Body::from(piece.bytes))
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

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Listened {
    text: String,
    recording: String,
    /// `module.x.sensor.y`, or `2=module.x.sensor.y` of the second channel.
    #[serde(default, rename = "as")]
    sensors: Vec<String>,
}

async fn listened(State(desk): Shared, request: Request) -> Answer {
    let asked: Listened = guard::body(request).await?;
    let Some(listen) = desk.listen.clone() else {
        return Err(ApiError::unusable(
            "no-listening",
            "this server does not listen to recordings",
        ));
    };
    let path = folder::recording(desk.plan.folder(), &asked.recording)?;
    let plan = desk.plan.path().to_path_buf();
    let number = desk.jobs.start("listen", move |job| {
        let heard = listen(&plan, &asked.text, &path, &asked.sensors, &|share| {
            job.at(share, "listening")
        });
        match heard {
            Ok(document) => Ok(document.into()),
            Err((why, help)) => Err(ApiError::unusable("unheard", why).help_of(help)),
        }
    })?;
    Ok(error::document(
        StatusCode::ACCEPTED,
        &json!({ "job": number }),
    ))
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Started {
    kind: String,
    text: String,
    #[serde(default)]
    ask: jobs::Ask,
}

async fn started(State(desk): Shared, request: Request) -> Answer {
    let asked: Started = guard::body(request).await?;
    let kind = jobs::kind(&asked.kind)?;
    let scratch = desk.jobs.scratch().map_err(|error| {
        ApiError::unusable(
            "no-scratch",
            format!("there is no folder for temporary files: {error}"),
        )
    })?;
    let on = jobs::Work {
        path: desk.plan.path().to_path_buf(),
        text: asked.text,
        memo: Arc::clone(&desk.memo),
        scratch,
    };
    let number = desk
        .jobs
        .start(kind, move |job| jobs::work(kind, &on, &asked.ask, job))?;
    Ok(error::document(
        StatusCode::ACCEPTED,
        &json!({ "job": number }),
    ))
}

/// The number of a job, as it stands in a path.
#[derive(Deserialize)]
struct JobNumber(String);

impl JobNumber {
    fn read(&self) -> Result<u64, ApiError> {
        self.0.parse().map_err(|_| {
            ApiError::missing("no-such-job", format!("`{}` is no number of a job", self.0))
        })
    }
}

async fn job(State(desk): Shared, Path(id): Path<JobNumber>) -> Answer {
    told(&desk.jobs.get(id.read()?)?.told())
}

async fn stopped(State(desk): Shared, Path(id): Path<JobNumber>) -> Answer {
    desk.jobs.stop(id.read()?)?;
    told(&json!({ "job": id.read()? }))
}

/// How far a job is, until it is over.
async fn followed(State(desk): Shared, Path(id): Path<JobNumber>) -> Answer {
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

/// A number of the query; `None` where it is not given.
fn number(uri: &Uri, key: &str) -> Result<Option<f64>, ApiError> {
    let query = uri.query().unwrap_or("");
    let own = query.split('&').filter_map(|pair| pair.split_once('='));
    let Some((_, value)) = own.into_iter().find(|(k, _)| *k == key) else {
        return Ok(None);
    };
    let read = value
        .parse::<f64>()
        .ok()
        .filter(|n| n.is_finite() && *n >= 0.0);
    let read = read.ok_or_else(|| {
        ApiError::bad(
            "bad-query",
            format!("`{key}` is no number of 0 or more: {value}"),
        )
    })?;
    Ok(Some(read))
}

fn unread(error: &std::io::Error) -> ApiError {
    ApiError::missing("no-trace", format!("the records cannot be read: {error}"))
}

async fn records(State(desk): Shared, Path(id): Path<JobNumber>, uri: Uri) -> Answer {
    const NS: f64 = 1e9;
    let trace = desk.jobs.get(id.read()?)?.trace()?;
    let from_ns = number(&uri, "from_s")?.unwrap_or(0.0) * NS;
    let to_ns = number(&uri, "to_s")?.map_or(u64::MAX, |s| (s * NS) as u64);
    let limit = number(&uri, "limit")?.map_or(usize::MAX, |n| n as usize);
    let task = move |_: &Desk, _: &(dyn Fn() -> bool + Sync)| {
        let found = trace.between(from_ns as u64, to_ns, limit);
        let (records, more) = found.map_err(|e| unread(&e))?;
        Ok(json!({ "records": records, "more": more, "of": trace.records }))
    };
    told(&work(&desk, task).await?)
}

async fn chained(State(desk): Shared, Path(id): Path<JobNumber>, uri: Uri) -> Answer {
    let trace = desk.jobs.get(id.read()?)?.trace()?;
    let record = number(&uri, "record")?;
    let record = record.ok_or_else(|| ApiError::bad("bad-query", "`record` is missing"))? as u64;
    let task = move |_: &Desk, _: &(dyn Fn() -> bool + Sync)| {
        let found = trace.chain(record).map_err(|e| unread(&e))?;
        let (records, more) = found.ok_or_else(|| {
            ApiError::missing("no-such-record", format!("there is no record {record}"))
        })?;
        Ok(json!({ "records": records, "more": more }))
    };
    told(&work(&desk, task).await?)
}

async fn exported(State(desk): Shared, Path(id): Path<JobNumber>) -> Answer {
    let trace = desk.jobs.get(id.read()?)?.trace()?;
    let file = trace.open().map_err(|e| unread(&e))?;
    // The folder of the trace stays as long as it is read.
    let body = file_body(file, trace);
    let name = format!("attachment; filename=\"rehearsal-{}.jsonl\"", id.read()?);
    let answer = Response::builder()
        .header(header::CONTENT_TYPE, "application/x-ndjson")
        .header(header::CONTENT_DISPOSITION, name)
        .body(body);
    Ok(answer.expect("these headers are well formed"))
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
