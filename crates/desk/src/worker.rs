//! Checks of the text as it is typed: one worker for each tier, and of one page only the newest text waits.

use std::collections::VecDeque;
use std::panic::{self, AssertUnwindSafe};
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::thread;

use assess::Tier;
use axum::http::StatusCode;
use tokio::sync::oneshot;

use crate::error::ApiError;

/// A text that waits to be checked.
pub(crate) struct Wanted {
    /// The page that asks.
    pub(crate) client: String,
    /// Counts its texts.
    pub(crate) serial: u64,
    pub(crate) tier: Tier,
    pub(crate) text: String,
}

type Answer = oneshot::Sender<Result<Vec<u8>, ApiError>>;
/// Checks a text and gives the document; `None` where it is told on the way not to go on.
type Work = dyn Fn(&Wanted, &dyn Fn() -> bool) -> Option<Vec<u8>> + Send + Sync;

/// The workers and what waits for them.
pub(crate) struct Workers {
    queue: Arc<Queue>,
}

#[derive(Default)]
struct Queue {
    state: Mutex<State>,
    more: Condvar,
}

#[derive(Default)]
struct State {
    waiting: VecDeque<(Wanted, Answer)>,
    closed: bool,
}

impl Queue {
    fn lock(&self) -> MutexGuard<'_, State> {
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

fn superseded() -> ApiError {
    ApiError::new(
        StatusCode::CONFLICT,
        "superseded",
        "a newer text of this page has come",
    )
}

fn stopped() -> ApiError {
    ApiError::new(
        StatusCode::INTERNAL_SERVER_ERROR,
        "stopped",
        "the check did not come to its end",
    )
}

/// Whether `newer` makes `older` pointless.
fn supersedes(newer: &Wanted, older: &Wanted) -> bool {
    let covers = newer.tier == older.tier || older.tier == Tier::Full;
    newer.client == older.client && newer.serial > older.serial && covers
}

impl Workers {
    /// `work` checks a text; it is stopped when nobody waits for it any more. A text that is typed never waits for one that is counted in full.
    pub(crate) fn new(work: Box<Work>) -> Workers {
        let queue = Arc::new(Queue::default());
        let work: Arc<Work> = Arc::from(work);
        for tier in [Tier::Quick, Tier::Full] {
            let (queue, work) = (Arc::clone(&queue), Arc::clone(&work));
            thread::spawn(move || run(&queue, tier, &*work));
        }
        Workers { queue }
    }

    /// The document of a text, or that a newer one has come.
    pub(crate) async fn check(&self, wanted: Wanted) -> Result<Vec<u8>, ApiError> {
        let (answer, answered) = oneshot::channel();
        self.put(wanted, answer)?;
        answered.await.unwrap_or_else(|_| Err(stopped()))
    }

    fn put(&self, wanted: Wanted, answer: Answer) -> Result<(), ApiError> {
        let mut state = self.queue.lock();
        if state.waiting.iter().any(|(w, _)| supersedes(w, &wanted)) {
            return Err(superseded());
        }
        let mut kept = VecDeque::new();
        for (older, its) in state.waiting.drain(..) {
            match supersedes(&wanted, &older) {
                // Where nobody listens any more there is nobody to tell.
                true => drop(its.send(Err(superseded()))),
                false => kept.push_back((older, its)),
            }
        }
        kept.push_back((wanted, answer));
        state.waiting = kept;
        self.queue.more.notify_all();
        Ok(())
    }
}

impl Drop for Workers {
    fn drop(&mut self) {
        self.queue.lock().closed = true;
        self.queue.more.notify_all();
    }
}

fn run(queue: &Queue, tier: Tier, work: &Work) {
    loop {
        let mut state = queue.lock();
        let (wanted, answer) = loop {
            if state.closed {
                return;
            }
            let at = state.waiting.iter().position(|(w, _)| w.tier == tier);
            match at.and_then(|at| state.waiting.remove(at)) {
                Some(next) => break next,
                None => {
                    state = queue
                        .more
                        .wait(state)
                        .unwrap_or_else(PoisonError::into_inner);
                }
            }
        };
        drop(state);
        if answer.is_closed() {
            continue;
        }
        // Work that breaks its own promises takes no later text with it.
        let go_on = || !answer.is_closed();
        let done = panic::catch_unwind(AssertUnwindSafe(|| work(&wanted, &go_on)));
        let told = match done {
            Ok(Some(document)) => Ok(document),
            Ok(None) | Err(_) => Err(stopped()),
        };
        // A page that left in the meantime is told nothing.
        drop(answer.send(told));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn wanted(client: &str, serial: u64, tier: Tier) -> Wanted {
        Wanted {
            client: client.to_owned(),
            serial,
            tier,
            text: String::new(),
        }
    }

    #[test]
    fn verif_only_newer_texts_of_one_page_make_others_pointless() {
        let (quick, full) = (Tier::Quick, Tier::Full);
        let case = |newer: (&str, u64, Tier), older: (&str, u64, Tier)| {
            supersedes(
                &wanted(newer.0, newer.1, newer.2),
                &wanted(older.0, older.1, older.2),
            )
        };
        assert!(case(("a", 2, quick), ("a", 1, quick)));
        assert!(case(("a", 2, quick), ("a", 1, full)));
        assert!(case(("a", 2, full), ("a", 1, full)));
        // What is typed is told quickly even where its full check waits.
        assert!(!case(("a", 2, full), ("a", 1, quick)));
        assert!(!case(("a", 2, full), ("a", 2, quick)));
        assert!(!case(("a", 1, quick), ("a", 2, quick)));
        assert!(!case(("b", 9, quick), ("a", 1, quick)));
    }

    /// A check that breaks its own promises is told, and the next one is done.
    #[test]
    fn verif_a_check_that_breaks_takes_no_other_with_it() {
        let workers = Workers::new(Box::new(|w: &Wanted, _: &dyn Fn() -> bool| {
            assert_ne!(w.serial, 1, "the first one breaks");
            Some(Vec::new())
        }));
        let ask = |serial| {
            let (answer, answered) = oneshot::channel();
            workers
                .put(wanted("a", serial, Tier::Quick), answer)
                .unwrap();
            answered.blocking_recv().unwrap()
        };
        assert_eq!(ask(1).unwrap_err().code(), "stopped");
        assert_eq!(ask(2).unwrap(), b"");
    }

    /// Work that asks on the way is told when its answer is no longer waited for, and the next text is done.
    #[test]
    fn verif_work_stops_when_nobody_waits() {
        let workers = Workers::new(Box::new(|w: &Wanted, go_on: &dyn Fn() -> bool| {
            if w.serial > 1 {
                return Some(Vec::new());
            }
            while go_on() {
                thread::yield_now();
            }
            None
        }));
        let ask = |serial| {
            let (answer, answered) = oneshot::channel();
            workers
                .put(wanted("a", serial, Tier::Quick), answer)
                .unwrap();
            answered
        };
        let first = ask(1);
        while !workers.queue.lock().waiting.is_empty() {
            thread::yield_now();
        }
        drop(first);
        assert_eq!(ask(2).blocking_recv().unwrap().unwrap(), b"");
    }

    /// While one text is worked on, of those that wait only the newest is.
    #[test]
    fn verif_of_texts_that_wait_the_newest_is_checked() {
        let (go, gate) = std::sync::mpsc::channel::<()>();
        let gate = Mutex::new(gate);
        let workers = Workers::new(Box::new(move |w: &Wanted, _: &dyn Fn() -> bool| {
            gate.lock().unwrap().recv().unwrap();
            Some(w.serial.to_string().into_bytes())
        }));
        let ask = |serial| {
            let (answer, answered) = oneshot::channel();
            let put = workers.put(wanted("a", serial, Tier::Quick), answer);
            (put, answered)
        };
        let (first, mut first_answered) = ask(1);
        first.unwrap();
        // Until the worker holds the first.
        while !workers.queue.lock().waiting.is_empty() {
            thread::yield_now();
        }
        let (_, second) = ask(2);
        let (_, third) = ask(3);
        let late = ask(2).0.unwrap_err();
        assert_eq!(late.code(), "superseded");
        assert_eq!(
            second.blocking_recv().unwrap().unwrap_err().code(),
            "superseded"
        );
        assert!(first_answered.try_recv().is_err());
        go.send(()).unwrap();
        assert_eq!(first_answered.blocking_recv().unwrap().unwrap(), b"1");
        go.send(()).unwrap();
        assert_eq!(third.blocking_recv().unwrap().unwrap(), b"3");
    }
}
