//! What is answered to what: each route hands its request on to the piece that does the work.

mod records;
mod streams;

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use assess::{Memo, Tier};
use axum::Router;
use axum::body::Body;
use axum::extract::{Path, Request, State};
use axum::http::{Method, Response, StatusCode, Uri, header};
use axum::response::IntoResponse;
use axum::routing::{MethodRouter, get, post};
use beside::Kept;
use serde::Deserialize;
use serde_json::{Value, json};
use tokio::sync::{Semaphore, broadcast};

use crate::consequences::consequences;
use crate::disk::PlanFile;
use crate::document::{self, Ask, Given};
use crate::error::{self, ApiError};
use crate::guard::{self, Guard};
use crate::jobs::{self, Job, Jobs, Left};
use crate::openapi::PATHS;
use crate::recordings::{self, Tile, Tiles};
use crate::server::Listen;
use crate::watch::Happened;
use crate::worker::{Wanted, Workers};
use crate::{disk, edit, folder, openapi, page, places, quay, session, sheet, text, threshold};

/// Documents, places and pictures that are worked out at once. Each may take all processors.
const MOST_COMPUTED: usize = 4;
/// Longest name of a page.
const LONGEST_CLIENT: usize = 64;

/// All that requests share.
pub(crate) struct Desk {
    pub(crate) plan: Arc<PlanFile>,
    pub(crate) memo: Arc<Memo>,
    /// What was read beside the plan.
    pub(crate) kept: Arc<Kept>,
    workers: Workers,
    happened: broadcast::Sender<Happened>,
    pub(crate) jobs: Jobs,
    tiles: Tiles,
    /// For work that computes.
    turns: Arc<Semaphore>,
    listen: Option<Arc<Listen>>,
}

impl Desk {
    pub(crate) fn new(
        plan: Arc<PlanFile>,
        kept: Arc<Kept>,
        happened: broadcast::Sender<Happened>,
        listen: Option<Arc<Listen>>,
    ) -> Desk {
        let memo = Arc::new(Memo::new());
        let path = plan.path().to_path_buf();
        let own = (Arc::clone(&memo), Arc::clone(&kept));
        let work = move |wanted: &Wanted, go_on: &dyn Fn() -> bool| {
            consequences(&path, (&own.0, &own.1), wanted, go_on)
        };
        Desk {
            plan,
            memo,
            kept,
            workers: Workers::new(Box::new(work)),
            happened,
            jobs: Jobs::new(),
            tiles: Tiles::default(),
            turns: Arc::new(Semaphore::new(MOST_COMPUTED)),
            listen,
        }
    }

    /// Starts long work; how far it is, is told to all pages.
    fn start(
        &self,
        kind: &'static str,
        work: impl FnOnce(&Job) -> Result<Left, ApiError> + Send + 'static,
    ) -> Answer {
        let number = self.jobs.start(kind, work)?;
        let state = self.jobs.get(number)?.watch();
        tokio::spawn(streams::tell_of(number, state, self.happened.clone()));
        let told = json!({ "job": number });
        Ok(error::document(StatusCode::ACCEPTED, &told))
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
        "/api/place" => post(put),
        "/api/threshold" => post(turned),
        "/api/cues/{*name}" => get(cues).put(save_cues),
        "/api/sheet" => post(looked_through),
        "/api/quay" => post(read_on_the_quay),
        "/api/recordings/{name}" => get(recording),
        "/api/recordings/{name}/picture" => get(picture),
        "/api/recordings/{name}/sound" => get(streams::sound),
        "/api/listen" => post(listened),
        "/api/jobs" => post(started),
        "/api/jobs/{id}" => get(job).delete(stopped),
        "/api/jobs/{id}/events" => get(streams::followed),
        "/api/jobs/{id}/records" => get(records::records),
        "/api/jobs/{id}/chain" => get(records::chained),
        "/api/jobs/{id}/export" => get(streams::exported),
        "/api/events" => get(streams::events),
        other => unreachable!("{other} is told and not answered"),
    }
}

/// Set when nobody waits for the work any more: the request was left, or took too long.
struct Unwaited(Arc<AtomicBool>);

impl Drop for Unwaited {
    fn drop(&mut self) {
        self.0.store(true, Ordering::Relaxed);
    }
}

/// Work that reads files, off the thread that answers. It is told when nobody waits any more.
async fn work<T: Send + 'static>(
    desk: &Arc<Desk>,
    task: impl FnOnce(&Desk, &(dyn Fn() -> bool + Sync)) -> Result<T, ApiError> + Send + 'static,
) -> Result<T, ApiError> {
    with(desk, (), task).await
}

/// Work that computes. Only a few are done at once, those too that nobody waits for and that have not seen it yet; a request whose page
/// leaves while it waits for its turn is never begun.
async fn compute<T: Send + 'static>(
    desk: &Arc<Desk>,
    task: impl FnOnce(&Desk, &(dyn Fn() -> bool + Sync)) -> Result<T, ApiError> + Send + 'static,
) -> Result<T, ApiError> {
    let turn = Arc::clone(&desk.turns).acquire_owned().await;
    with(desk, turn, task).await
}

/// `held` is let go when the work has come to its end, however the request ends.
async fn with<T: Send + 'static>(
    desk: &Arc<Desk>,
    held: impl Send + 'static,
    task: impl FnOnce(&Desk, &(dyn Fn() -> bool + Sync)) -> Result<T, ApiError> + Send + 'static,
) -> Result<T, ApiError> {
    let left = Unwaited(Arc::new(AtomicBool::new(false)));
    let (desk, flag) = (Arc::clone(desk), Arc::clone(&left.0));
    let go_on = move || !flag.load(Ordering::Relaxed);
    let done = tokio::task::spawn_blocking(move || {
        let _held = held;
        match go_on() {
            true => task(&desk, &go_on),
            false => Err(ApiError::cancelled()),
        }
    })
    .await;
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
            kept: &desk.kept,
            go_on,
            at: &|_| go_on(),
        };
        document::document(&given, &kind, &asked.text, &asked.ask)
    };
    told(&compute(&desk, task).await?)
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

async fn told_routes() -> Answer {
    told(&openapi::document())
}

async fn held(State(desk): Shared, request: Request) -> Answer {
    let asked: places::Ask = guard::body(request).await?;
    let task = move |desk: &Desk, go_on: &(dyn Fn() -> bool + Sync)| {
        places::places(desk.plan.path(), (&desk.memo, &desk.kept), go_on, &asked)
    };
    told(&compute(&desk, task).await?)
}

async fn put(State(desk): Shared, request: Request) -> Answer {
    let asked: places::Put = guard::body(request).await?;
    let task = move |desk: &Desk, _: &(dyn Fn() -> bool + Sync)| {
        places::put(desk.plan.path(), &desk.memo, &asked)
    };
    told(&work(&desk, task).await?)
}

async fn turned(State(desk): Shared, request: Request) -> Answer {
    let asked: threshold::Ask = guard::body(request).await?;
    let task = move |desk: &Desk, go_on: &(dyn Fn() -> bool + Sync)| {
        threshold::moved(desk.plan.path(), (&desk.memo, &desk.kept), go_on, &asked)
    };
    told(&compute(&desk, task).await?)
}

async fn cues(State(desk): Shared, Path(name): Path<String>) -> Answer {
    let task = move |desk: &Desk, _: &(dyn Fn() -> bool + Sync)| {
        let path = folder::file(desk.plan.folder(), &name)?;
        let text = folder::cue_text(&path)?;
        let source_digest = text::text_digest(&text);
        Ok(json!({ "path": name, "text": text, "source_digest": source_digest }))
    };
    told(&work(&desk, task).await?)
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct SaveCues {
    text: String,
    /// Of the text that it replaces; none for a sheet that is not there yet.
    base_digest: Option<String>,
    identity: Option<String>,
}

async fn save_cues(State(desk): Shared, Path(name): Path<String>, request: Request) -> Answer {
    let asked: SaveCues = guard::body(request).await?;
    let save = move |desk: &Desk, _: &(dyn Fn() -> bool + Sync)| {
        if let Some(identity) = &asked.identity {
            desk.plan.is_meant(identity)?;
        }
        disk::save_cues(&desk.plan, &name, &asked.text, asked.base_digest.as_deref())
    };
    let digest = work(&desk, save).await?;
    told(&json!({ "source_digest": digest }))
}

async fn looked_through(State(desk): Shared, request: Request) -> Answer {
    let asked: sheet::Ask = guard::body(request).await?;
    let task = move |desk: &Desk, _: &(dyn Fn() -> bool + Sync)| {
        sheet::looked_through(desk.plan.path(), &desk.memo, &asked)
    };
    told(&work(&desk, task).await?)
}

async fn read_on_the_quay(State(desk): Shared, request: Request) -> Answer {
    let asked: quay::Ask = guard::body(request).await?;
    let task = move |desk: &Desk, _: &(dyn Fn() -> bool + Sync)| {
        quay::judged(desk.plan.path(), &desk.memo, &asked)
    };
    told(&compute(&desk, task).await?)
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
    let png = compute(&desk, task).await?;
    let answer = Response::builder()
        .header(header::CONTENT_TYPE, "image/png")
        .header(header::CACHE_CONTROL, "no-cache")
        .body(Body::from(png.to_vec()));
    Ok(answer.expect("these headers are well formed"))
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
    desk.start("listen", move |job| {
        let heard = listen(&plan, &asked.text, &path, &asked.sensors, &|share| {
            job.at(share, "listening")
        });
        match heard {
            Ok(document) => Ok(document.into()),
            Err((why, help)) => Err(ApiError::unusable("unheard", why).help_of(help)),
        }
    })
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
        kept: Arc::clone(&desk.kept),
        scratch,
    };
    desk.start(kind, move |job| jobs::work(kind, &on, &asked.ask, job))
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

#[cfg(test)]
mod tests {
    use std::sync::atomic::AtomicUsize;
    use std::time::Duration;

    use super::*;

    /// Work that its page has left, and that does not see it, takes no more than its share: what comes after waits, and is done.
    #[test]
    fn verif_only_a_few_are_worked_out_at_once_though_their_pages_leave() {
        let plan = Arc::new(PlanFile::at("none.toml".into()));
        let desk = Arc::new(Desk::new(
            plan,
            Arc::default(),
            broadcast::channel(1).0,
            None,
        ));
        let (at_work, most) = (Arc::new(AtomicUsize::new(0)), Arc::new(AtomicUsize::new(0)));
        let ends = Arc::new(AtomicBool::new(false));
        let runtime = tokio::runtime::Builder::new_current_thread()
            .enable_time()
            .build();
        runtime.unwrap().block_on(async {
            for _ in 0..3 * MOST_COMPUTED {
                let (at_work, most, ends) =
                    (Arc::clone(&at_work), Arc::clone(&most), Arc::clone(&ends));
                let blind = move |_: &Desk, _: &(dyn Fn() -> bool + Sync)| {
                    let now = at_work.fetch_add(1, Ordering::SeqCst) + 1;
                    most.fetch_max(now, Ordering::SeqCst);
                    while !ends.load(Ordering::SeqCst) {
                        std::thread::sleep(Duration::from_millis(1));
                    }
                    at_work.fetch_sub(1, Ordering::SeqCst);
                    Ok(())
                };
                let left = tokio::time::timeout(Duration::from_millis(20), compute(&desk, blind));
                assert!(left.await.is_err());
            }
            // What reads files does not wait for it.
            work(&desk, |_, _| Ok(())).await.unwrap();
            ends.store(true, Ordering::SeqCst);
            compute(&desk, |_, _| Ok(())).await.unwrap();
        });
        assert_eq!(most.load(Ordering::SeqCst), MOST_COMPUTED);
    }
}
