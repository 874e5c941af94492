//! Long work: it runs beside the answers, tells how far it is, can be stopped, and keeps its document until it is asked for.

mod rehearse;
mod trace;
mod work;

use std::collections::BTreeMap;
use std::io;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::thread;

use axum::http::StatusCode;
use serde_json::{Value, json};
use tempfile::TempDir;
use tokio::sync::watch;

use crate::error::ApiError;
pub(crate) use trace::Trace;
pub(crate) use work::{Ask, KINDS, Work, kind, work};

/// Jobs that run at once.
pub(crate) const MOST_AT_ONCE: usize = 4;
/// Jobs that are kept when they are done; the oldest leave first.
const MOST_KEPT: usize = 16;
/// Steps of progress that are told apart.
const STEPS: f64 = 1000.0;

/// How far a job is.
#[derive(Clone, PartialEq, Debug)]
pub(crate) enum State {
    Running {
        /// Thousandths.
        steps: u32,
        words: &'static str,
    },
    Done,
    Failed(Value),
    Cancelled,
}

impl State {
    /// The event of that name.
    pub(crate) fn event(&self) -> (&'static str, Value) {
        match self {
            State::Running { steps, words } => (
                "progress",
                json!({ "share": f64::from(*steps) / STEPS, "words": words }),
            ),
            State::Done => ("done", json!({})),
            State::Failed(error) => ("failed", error.clone()),
            State::Cancelled => ("cancelled", json!({})),
        }
    }

    pub(crate) fn is_over(&self) -> bool {
        !matches!(self, State::Running { .. })
    }
}

/// A job, for as long as it is kept.
pub(crate) struct Job {
    kind: &'static str,
    state: watch::Sender<State>,
    stop: AtomicBool,
    result: Mutex<Option<Value>>,
    trace: Mutex<Option<Arc<Trace>>>,
}

impl Job {
    /// Tells how far the work is; whether to go on.
    pub(crate) fn at(&self, share: f64, words: &'static str) -> bool {
        let steps = (STEPS * share.clamp(0.0, 1.0)) as u32;
        self.state.send_if_modified(|state| {
            let now = State::Running { steps, words };
            let moved = *state != now && !state.is_over();
            if moved {
                *state = now;
            }
            moved
        });
        self.goes_on()
    }

    pub(crate) fn goes_on(&self) -> bool {
        !self.stop.load(Ordering::Relaxed)
    }

    pub(crate) fn watch(&self) -> watch::Receiver<State> {
        self.state.subscribe()
    }

    /// What came of it so far.
    pub(crate) fn told(&self) -> Value {
        let state = self.state.borrow().clone();
        let (name, data) = state.event();
        let mut told = json!({ "kind": self.kind, "state": name, "result": *lock(&self.result) });
        match state {
            State::Running { .. } => told["progress"] = data,
            State::Failed(_) => told["error"] = data["error"].clone(),
            State::Done | State::Cancelled => {}
        }
        told
    }

    pub(crate) fn trace(&self) -> Result<Arc<Trace>, ApiError> {
        lock(&self.trace).clone().ok_or_else(|| {
            ApiError::missing(
                "no-trace",
                "this job has no records: only a rehearsal that is done has",
            )
        })
    }
}

fn lock<T>(of: &Mutex<T>) -> MutexGuard<'_, T> {
    of.lock().unwrap_or_else(PoisonError::into_inner)
}

/// What a job leaves.
pub(crate) struct Left {
    pub(crate) document: Value,
    pub(crate) trace: Option<Trace>,
}

impl From<Value> for Left {
    fn from(document: Value) -> Left {
        Left {
            document,
            trace: None,
        }
    }
}

/// All jobs of a server.
pub(crate) struct Jobs {
    all: Mutex<BTreeMap<u64, Arc<Job>>>,
    next: AtomicU64,
    /// Where traces lie; it goes with the server.
    scratch: Mutex<Option<Arc<TempDir>>>,
}

impl Jobs {
    pub(crate) fn new() -> Jobs {
        Jobs {
            all: Mutex::new(BTreeMap::new()),
            next: AtomicU64::new(1),
            scratch: Mutex::new(None),
        }
    }

    /// Starts work; its number.
    pub(crate) fn start(
        &self,
        kind: &'static str,
        work: impl FnOnce(&Job) -> Result<Left, ApiError> + Send + 'static,
    ) -> Result<u64, ApiError> {
        let mut all = lock(&self.all);
        let running = |job: &Arc<Job>| !job.state.borrow().is_over();
        if all.values().filter(|job| running(job)).count() >= MOST_AT_ONCE {
            return Err(ApiError::new(
                StatusCode::SERVICE_UNAVAILABLE,
                "busy",
                format!("{MOST_AT_ONCE} jobs are running"),
            )
            .help("wait for one to end, or stop one"));
        }
        while all.len() >= MOST_KEPT + MOST_AT_ONCE {
            let oldest = all.iter().find(|(_, job)| !running(job));
            let Some(number) = oldest.map(|(number, _)| *number) else {
                break;
            };
            all.remove(&number);
        }
        let (state, _) = watch::channel(State::Running {
            steps: 0,
            words: "begins",
        });
        let job = Arc::new(Job {
            kind,
            state,
            stop: AtomicBool::new(false),
            result: Mutex::new(None),
            trace: Mutex::new(None),
        });
        let number = self.next.fetch_add(1, Ordering::Relaxed);
        all.insert(number, Arc::clone(&job));
        drop(all);
        thread::spawn(move || run(&job, work));
        Ok(number)
    }

    pub(crate) fn get(&self, number: u64) -> Result<Arc<Job>, ApiError> {
        let all = lock(&self.all);
        let job = all.get(&number).cloned();
        job.ok_or_else(|| ApiError::missing("no-such-job", format!("there is no job {number}")))
    }

    /// Stops a job that runs, and forgets one that is over.
    pub(crate) fn stop(&self, number: u64) -> Result<(), ApiError> {
        let job = self.get(number)?;
        job.stop.store(true, Ordering::Relaxed);
        if job.state.borrow().is_over() {
            lock(&self.all).remove(&number);
        }
        Ok(())
    }

    /// A folder for traces, made when the first is wanted.
    pub(crate) fn scratch(&self) -> io::Result<Arc<TempDir>> {
        let mut scratch = lock(&self.scratch);
        if let Some(made) = &*scratch {
            return Ok(Arc::clone(made));
        }
        let made = Arc::new(
            tempfile::Builder::new()
                .prefix("soundline-desk-")
                .tempdir()?,
        );
        *scratch = Some(Arc::clone(&made));
        Ok(made)
    }
}

/// Work that breaks its own promises ends as a failure, not as a job that runs for ever.
struct Breaks<'a>(&'a Job);

impl Drop for Breaks<'_> {
    fn drop(&mut self) {
        if !self.0.state.borrow().is_over() {
            let error = ApiError::new(
                StatusCode::INTERNAL_SERVER_ERROR,
                "stopped",
                "the work did not come to its end",
            );
            self.0.state.send_replace(State::Failed(error.document()));
        }
    }
}

fn run(job: &Job, work: impl FnOnce(&Job) -> Result<Left, ApiError>) {
    let over = Breaks(job);
    let state = match work(job) {
        // What was finished just before it was to stop is kept all the same.
        Ok(left) => {
            *lock(&job.result) = Some(left.document);
            *lock(&job.trace) = left.trace.map(Arc::new);
            State::Done
        }
        Err(_) if !job.goes_on() => State::Cancelled,
        Err(error) => State::Failed(error.document()),
    };
    job.state.send_replace(state);
    drop(over);
}
