//! The plan's file and what its checks read beside it, looked at each second: who changes them elsewhere is told to the page.

use std::sync::Arc;
use std::time::Duration;

use beside::Kept;
use serde_json::{Value, json};
use tokio::sync::broadcast;

use crate::disk::{PlanFile, Stamp};
use crate::jobs::State;
use crate::text::text_digest;

/// From one look to the next.
const LOOKS_EACH: Duration = Duration::from_secs(1);

/// What pages are told.
#[derive(Clone, Debug)]
pub(crate) enum Happened {
    /// The plan's file holds another text.
    Changed {
        /// Digest of the text.
        source_digest: String,
    },
    /// Files beside it that a check had looked at, evidence among them, came, went or are others.
    Beside {
        /// Their names, relative to the plan's folder where they lie there.
        files: Vec<String>,
    },
    /// It is no longer there, or no longer readable.
    Gone {
        /// In words.
        why: Value,
    },
    /// Long work went on, or came to its end.
    Job {
        /// Its number.
        number: u64,
        /// How far it is.
        state: State,
    },
}

impl Happened {
    pub(crate) fn event(&self) -> (&'static str, Value) {
        match self {
            Happened::Changed { source_digest } => {
                ("plan-changed", json!({ "source_digest": source_digest }))
            }
            Happened::Beside { files } => ("beside-changed", json!({ "files": files })),
            Happened::Gone { why } => ("plan-gone", why.clone()),
            Happened::Job { number, state } => {
                let (name, mut data) = state.event();
                data["job"] = json!(number);
                data["state"] = json!(name);
                ("job", data)
            }
        }
    }
}

/// What was last seen of the file.
pub(crate) struct Seen {
    stamp: Option<Stamp>,
    digest: Option<String>,
}

impl Seen {
    /// Looks now: taken before the first answer, so that no change after it goes untold.
    pub(crate) fn of(plan: &PlanFile) -> Seen {
        // The stamp first: what is written between the two is looked at again.
        let stamp = plan.stamp();
        let digest = plan.read().ok().map(|text| text_digest(&text));
        Seen { stamp, digest }
    }
}

/// Looks until the server ends. Only what the file's length and time say has changed is read.
pub(crate) async fn watch(
    plan: Arc<PlanFile>,
    kept: Arc<Kept>,
    seen: Seen,
    tell: broadcast::Sender<Happened>,
) {
    // Off the thread that answers: a disk may be slow.
    let look = |plan: &Arc<PlanFile>| {
        let (plan, kept) = (Arc::clone(plan), Arc::clone(&kept));
        tokio::task::spawn_blocking(move || (plan.stamp(), kept.changed(plan.path())))
    };
    let read = |plan: &Arc<PlanFile>| {
        let plan = Arc::clone(plan);
        tokio::task::spawn_blocking(move || plan.read())
    };
    let Seen {
        mut stamp,
        mut digest,
    } = seen;
    loop {
        tokio::time::sleep(LOOKS_EACH).await;
        let Ok((seen, beside)) = look(&plan).await else {
            return;
        };
        if !beside.is_empty() {
            let files = beside.iter().map(|file| {
                let own = file.strip_prefix(plan.folder()).unwrap_or(file);
                own.display().to_string()
            });
            // Nobody may be there to listen.
            drop(tell.send(Happened::Beside {
                files: files.collect(),
            }));
        }
        if seen == stamp {
            continue;
        }
        stamp = seen;
        let Ok(read) = read(&plan).await else {
            return;
        };
        let happened = match read {
            Ok(text) => {
                let now = Some(text_digest(&text));
                if now == digest {
                    continue;
                }
                digest = now;
                let source_digest = digest.clone().expect("it was just made");
                Happened::Changed { source_digest }
            }
            Err(error) => {
                digest = None;
                Happened::Gone {
                    why: error.document(),
                }
            }
        };
        // Nobody may be there to listen.
        drop(tell.send(happened));
    }
}
