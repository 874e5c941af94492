//! The paid link ashore: first in, first out, with windows, retries, expiry and outages.
//!
//! Rules. Messages wait in the order they were offered; only the first is tried. An attempt lasts one session and begins only where it fits whole
//! into a window and no outage is on. At that instant, and only then, messages at the head that are older than the expiry are dropped. A failed attempt
//! costs its session and then the back-off; the message stays at the head. Attempts are numbered from 1 over the life of the uplink. An outage is
//! not foreseen: an attempt it touches fails at the attempt's end. A message larger than one billed message is sent whole within its session and
//! billed as ceil(bytes / message size); failed attempts are not billed. The rules are common practice of message services, not a standard.

use std::collections::VecDeque;

use timeline::{Class, Ns};

/// What an uplink is like.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct UplinkSpec {
    /// How long one attempt lasts.
    pub session: Ns,
    /// When the far end can be reached.
    pub windows: Windows,
    /// Which attempts fail.
    pub failure: Failure,
    /// How long to wait after a failed attempt.
    pub backoff: Ns,
    /// Messages older than this at an attempt are dropped; `None` keeps them for ever.
    pub expiry: Option<Ns>,
    /// Bytes of one billed message.
    pub message_bytes: u32,
}

/// When the far end can be reached.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Windows {
    /// At any time.
    Always,
    /// From `first + k period` for `width`, k = 0, 1, 2 ...; an attempt may end at the very end of a window.
    Every {
        /// Begin of the first window.
        first: Ns,
        /// From one begin to the next.
        period: Ns,
        /// Length of a window.
        width: Ns,
    },
}

/// Which attempts fail, apart from those that an outage touches.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Failure {
    /// None.
    Never,
    /// Every n-th, counted over all attempts.
    EveryNth(u64),
    /// The master says, attempt by attempt: [`Uplink::step_asking`].
    Asked,
}

/// How an attempt went.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Outcome {
    /// The message is ashore.
    Arrived,
    /// It is not.
    Failed,
}

/// A message for the shore.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct UplinkMessage {
    /// The master's number for it.
    pub id: u64,
    /// Its size in bytes.
    pub bytes: u32,
}

/// What an uplink tells.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum UplinkEvent {
    /// An attempt begins.
    Started {
        /// Which message.
        id: u64,
        /// Number of the attempt, from 1.
        attempt: u64,
        /// When.
        at: Ns,
    },
    /// A message is ashore.
    Sent {
        /// Which message.
        id: u64,
        /// Number of the attempt.
        attempt: u64,
        /// When it was offered.
        offered: Ns,
        /// When its session ended.
        at: Ns,
        /// How many messages are billed for it.
        billed: u32,
    },
    /// An attempt failed; the message stays at the head.
    Failed {
        /// Which message.
        id: u64,
        /// Number of the attempt.
        attempt: u64,
        /// When its session ended.
        at: Ns,
    },
    /// A message was too old when its turn came.
    Expired {
        /// Which message.
        id: u64,
        /// When it was offered.
        offered: Ns,
        /// When it was dropped.
        at: Ns,
    },
}

/// Counters of an uplink. `offered = sent + expired + waiting` at every instant.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct UplinkStats {
    /// Messages offered.
    pub offered: u64,
    /// Messages ashore.
    pub sent: u64,
    /// Messages dropped for their age.
    pub expired: u64,
    /// Messages waiting or being tried.
    pub waiting: u64,
    /// Attempts begun.
    pub attempts: u64,
    /// Messages billed.
    pub billed: u64,
}

/// An uplink or a call that makes no sense; nothing has changed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum UplinkError {
    /// A session of no length.
    #[error("a session of 0 s is no session")]
    NoSession,
    /// A billed message of no bytes.
    #[error("a billed message of 0 bytes carries nothing")]
    NoMessageSize,
    /// Every 0th attempt.
    #[error("every 0th attempt is no attempt; use `Never`")]
    NoNth,
    /// A window longer than the period.
    #[error("a window of {width} is longer than its period of {period}")]
    WindowsOverlap {
        /// Window length.
        width: Ns,
        /// Period.
        period: Ns,
    },
    /// No attempt fits into a window.
    #[error(
        "a session of {session} does not fit into a window of {width}: nothing would ever be sent"
    )]
    WindowTooShort {
        /// Session length.
        session: Ns,
        /// Window length.
        width: Ns,
    },
    /// An outage that ends before it begins.
    #[error("an outage from {from} to {to} has no length")]
    NoOutage {
        /// Begin.
        from: Ns,
        /// End.
        to: Ns,
    },
    /// The uplink has gone past this instant.
    #[error("{now} is late: the uplink has reached {reached}")]
    Late {
        /// Instant named.
        now: Ns,
        /// Instant reached.
        reached: Ns,
    },
    /// Something earlier is still to be done: step first.
    #[error("{now} is early: the uplink has something to do at {pending} first")]
    Early {
        /// Instant named.
        now: Ns,
        /// Instant of what comes next.
        pending: Ns,
    },
    /// With [`Failure::Asked`] only [`Uplink::step_asking`] can end an attempt.
    #[error("the outcome of attempt {attempt} must be asked for, and this step asks nobody")]
    NobodyAsked {
        /// Number of the attempt.
        attempt: u64,
    },
}

/// An uplink in time; its master offers, steps and breaks it.
#[derive(Clone, Debug)]
pub struct Uplink {
    spec: UplinkSpec,
    waiting: VecDeque<(UplinkMessage, Ns)>,
    /// Begin and end of the attempt under way.
    trying: Option<(Ns, Ns)>,
    /// No attempt before this; `None` once that lies beyond time.
    ready: Option<Ns>,
    outages: Vec<(Ns, Ns)>,
    reached: Ns,
    counts: UplinkStats,
}

impl Uplink {
    /// An uplink with nothing to send.
    ///
    /// # Errors
    /// [`UplinkError`] for a specification by which nothing could ever be sent or billed.
    pub fn new(spec: UplinkSpec) -> Result<Uplink, UplinkError> {
        if spec.session == Ns::ZERO {
            return Err(UplinkError::NoSession);
        }
        if spec.message_bytes == 0 {
            return Err(UplinkError::NoMessageSize);
        }
        if spec.failure == Failure::EveryNth(0) {
            return Err(UplinkError::NoNth);
        }
        if let Windows::Every { period, width, .. } = spec.windows {
            if width > period {
                return Err(UplinkError::WindowsOverlap { width, period });
            }
            if spec.session > width {
                return Err(UplinkError::WindowTooShort {
                    session: spec.session,
                    width,
                });
            }
        }
        Ok(Uplink {
            spec,
            waiting: VecDeque::new(),
            trying: None,
            ready: Some(Ns::ZERO),
            outages: Vec::new(),
            reached: Ns::ZERO,
            counts: UplinkStats {
                offered: 0,
                sent: 0,
                expired: 0,
                waiting: 0,
                attempts: 0,
                billed: 0,
            },
        })
    }

    /// Puts a message at the end of the queue.
    ///
    /// # Errors
    /// [`UplinkError::Late`], [`UplinkError::Early`].
    pub fn offer(&mut self, now: Ns, message: UplinkMessage) -> Result<(), UplinkError> {
        self.check_now(now)?;
        self.reached = now;
        self.waiting.push_back((message, now));
        self.counts.offered += 1;
        Ok(())
    }

    /// Declares an outage from `from` (included) to `to` (excluded). Outages may overlap.
    ///
    /// # Errors
    /// [`UplinkError::NoOutage`]; [`UplinkError::Late`] when it begins before the instant reached.
    pub fn set_outage(&mut self, from: Ns, to: Ns) -> Result<(), UplinkError> {
        if to <= from {
            return Err(UplinkError::NoOutage { from, to });
        }
        if from < self.reached {
            return Err(UplinkError::Late {
                now: from,
                reached: self.reached,
            });
        }
        self.outages.push((from, to));
        Ok(())
    }

    /// Instant and class of what comes next: [`Class::Arrive`] for the end of an attempt, [`Class::StartService`] for the turn of a message.
    /// `None` when nothing waits, or nothing can ever be sent any more.
    #[must_use]
    pub fn next(&self) -> Option<(Ns, Class)> {
        if let Some((_, end)) = self.trying {
            return Some((end, Class::Arrive));
        }
        let &(_, offered) = self.waiting.front()?;
        let start = self.first_start(self.ready?.max(offered).max(self.reached))?;
        Some((start, Class::StartService))
    }

    /// Instant of what comes next.
    #[must_use]
    pub fn next_time(&self) -> Option<Ns> {
        self.next().map(|(at, _)| at)
    }

    /// Does what comes next and appends what happened to `out`. Does nothing when nothing comes.
    ///
    /// # Errors
    /// [`UplinkError::NobodyAsked`] at the end of an attempt under [`Failure::Asked`] that no outage touches.
    pub fn step(&mut self, out: &mut Vec<UplinkEvent>) -> Result<(), UplinkError> {
        if self.spec.failure == Failure::Asked
            && self
                .trying
                .is_some_and(|(start, end)| !self.touched_by_outage(start, end))
        {
            return Err(UplinkError::NobodyAsked {
                attempt: self.counts.attempts,
            });
        }
        self.step_asking(out, |_| Outcome::Failed);
        Ok(())
    }

    /// As [`step`](Self::step); under [`Failure::Asked`], `ask` gives the outcome of the attempt with this number.
    pub fn step_asking(&mut self, out: &mut Vec<UplinkEvent>, ask: impl FnOnce(u64) -> Outcome) {
        let Some((at, _)) = self.next() else { return };
        self.reached = at;
        match self.trying.take() {
            Some((start, _)) => self.end_attempt(start, at, out, ask),
            None => self.begin_attempt(at, out),
        }
    }

    /// Counters.
    #[must_use]
    pub fn stats(&self) -> UplinkStats {
        UplinkStats {
            waiting: self.waiting.len() as u64,
            ..self.counts
        }
    }

    fn begin_attempt(&mut self, at: Ns, out: &mut Vec<UplinkEvent>) {
        while let Some(&(message, offered)) = self.waiting.front() {
            if self
                .spec
                .expiry
                .is_some_and(|expiry| at.0 - offered.0 > expiry.0)
            {
                self.waiting.pop_front();
                self.counts.expired += 1;
                out.push(UplinkEvent::Expired {
                    id: message.id,
                    offered,
                    at,
                });
                continue;
            }
            let end = at
                .checked_add(self.spec.session)
                .expect("an attempt is begun only where its end lies within time");
            self.trying = Some((at, end));
            self.counts.attempts += 1;
            out.push(UplinkEvent::Started {
                id: message.id,
                attempt: self.counts.attempts,
                at,
            });
            return;
        }
    }

    fn end_attempt(
        &mut self,
        start: Ns,
        at: Ns,
        out: &mut Vec<UplinkEvent>,
        ask: impl FnOnce(u64) -> Outcome,
    ) {
        let attempt = self.counts.attempts;
        let &(message, offered) = self
            .waiting
            .front()
            .expect("the message being tried stays at the head");
        let outcome = if self.touched_by_outage(start, at) {
            Outcome::Failed
        } else {
            match self.spec.failure {
                Failure::Never => Outcome::Arrived,
                Failure::EveryNth(n) if attempt.is_multiple_of(n) => Outcome::Failed,
                Failure::EveryNth(_) => Outcome::Arrived,
                Failure::Asked => ask(attempt),
            }
        };
        match outcome {
            Outcome::Arrived => {
                self.waiting.pop_front();
                self.ready = Some(at);
                let billed = message.bytes.div_ceil(self.spec.message_bytes).max(1);
                self.counts.sent += 1;
                self.counts.billed += u64::from(billed);
                out.push(UplinkEvent::Sent {
                    id: message.id,
                    attempt,
                    offered,
                    at,
                    billed,
                });
            }
            Outcome::Failed => {
                self.ready = at.checked_add(self.spec.backoff);
                out.push(UplinkEvent::Failed {
                    id: message.id,
                    attempt,
                    at,
                });
            }
        }
    }

    fn touched_by_outage(&self, start: Ns, end: Ns) -> bool {
        self.outages
            .iter()
            .any(|&(from, to)| from < end && start < to)
    }

    /// The first instant from `earliest` on at which an attempt may begin.
    fn first_start(&self, earliest: Ns) -> Option<Ns> {
        let mut start = earliest;
        loop {
            start = self.fits_window(start)?;
            match self
                .outages
                .iter()
                .filter(|&&(from, to)| from <= start && start < to)
                .map(|&(_, to)| to)
                .max()
            {
                Some(over) => start = over,
                None => return Some(start),
            }
        }
    }

    fn fits_window(&self, earliest: Ns) -> Option<Ns> {
        let end = earliest.checked_add(self.spec.session)?;
        let Windows::Every {
            first,
            period,
            width,
        } = self.spec.windows
        else {
            return Some(earliest);
        };
        let Some(since) = earliest.checked_sub(first) else {
            return first.checked_add(self.spec.session).map(|_| first);
        };
        let begin = Ns(earliest.0 - since.0 % period.0);
        if end.0 - begin.0 <= width.0 {
            return Some(earliest);
        }
        let next = begin.checked_add(period)?;
        next.checked_add(self.spec.session).map(|_| next)
    }

    fn check_now(&self, now: Ns) -> Result<(), UplinkError> {
        if now < self.reached {
            return Err(UplinkError::Late {
                now,
                reached: self.reached,
            });
        }
        match self.next_time() {
            Some(pending) if pending < now => Err(UplinkError::Early { now, pending }),
            _ => Ok(()),
        }
    }
}
