//! The paid link ashore: a queue by priority, with windows, retries, packing, expiry, a limited room, a monthly cap and outages.
//!
//! Rules. Messages wait by priority, lower numbers first, and within one in the order in which they were offered. An attempt lasts one session and
//! carries one *load*: the first message, and when messages are packed those behind it, in order, as long as each fits whole into what is left of
//! one billed message; the first that does not fit ends the load. An attempt begins only where it fits whole into a window, no outage is on, the
//! back-off is over, the cap of the month leaves room, and the load is due. Without packing a load is always due. With it a load is due when its first
//! message is urgent, when it is full (a message waits that does not fit, or one as large as its last would not), or when the message
//! that has waited longest has done so for the time for which messages are held.
//! At an instant at which an attempt could begin, and only then, all messages that are older than the expiry are dropped; the attempt begins if it
//! still may. What begins is not overtaken. A failed attempt costs its session and then the back-off, which grows from failure to failure in
//! a row; its messages go back to their places, and the next load is made anew. Attempts are numbered from 1 over the life of the uplink. An outage is
//! not foreseen: an attempt it touches fails at its end.
//! While the module that sends does not work no attempt begins. The attempt under way as it stops fails at that instant, also one that would end then; when it works again
//! no back-off is left and the next failure is the first in a row. What waits is kept.
//! A load is billed as one message; a message larger than one billed message is a load by itself, sent whole within its session and
//! billed as ceil(bytes / room). Failed attempts are billed like others, or not at all, as the service does. A billed message counts for the month in which its attempt began. At the cap either nothing goes until the
//! next month, or only urgent messages go, above the cap and without others in their load. When more messages wait than there is room for, one of those that wait, not being tried, of
//! the least urgent priority is dropped: the oldest or the newest. The rules are common practice of message services, not a standard.

mod burst;
mod lone;
mod sea;
mod spec;
mod tries;

use timeline::{Class, Ns};

pub use burst::attempts_for_burst;
pub use lone::{LoneDelay, lone_delay, lone_delay_by_sea};
pub use sea::{OfferedIn, SeaLink, SeaLinkError, of_attempts};
pub use spec::{
    AtCap, BackOff, Cap, Failure, GivesUp, Outcome, Room, UplinkError, UplinkEvent, UplinkMessage,
    UplinkSpec, UplinkStats, Windows,
};
pub use tries::{SeaDrawn, Tries};

/// A message that waits.
#[derive(Clone, Copy, Debug)]
struct Waiting {
    message: UplinkMessage,
    offered: Ns,
    /// Order of the offers.
    order: u64,
}

/// An attempt under way.
#[derive(Clone, Debug)]
struct Attempt {
    start: Ns,
    end: Ns,
    load: Vec<Waiting>,
    billed: u64,
}

/// An uplink in time; its master offers, steps and breaks it.
#[derive(Clone, Debug)]
pub struct Uplink {
    spec: UplinkSpec,
    /// By priority, then in the order of the offers; what is being tried is not among them.
    waiting: Vec<Waiting>,
    trying: Option<Attempt>,
    /// What comes next.
    upcoming: Option<(Ns, Class)>,
    /// No attempt before this; `None` once that lies beyond time.
    ready: Option<Ns>,
    failures_in_row: u32,
    /// The module that sends does not work.
    stopped: bool,
    outages: Vec<(Ns, Ns)>,
    reached: Ns,
    /// Month of the latest attempt that was billed, and what was billed in it.
    month: (u64, u64),
    counts: UplinkStats,
}

impl Uplink {
    /// An uplink with nothing to send.
    ///
    /// # Errors
    /// [`UplinkError`] for a specification by which nothing could ever be sent or billed.
    pub fn new(spec: UplinkSpec) -> Result<Uplink, UplinkError> {
        sane(&spec)?;
        Ok(Uplink {
            spec,
            waiting: Vec::new(),
            trying: None,
            upcoming: None,
            ready: Some(Ns::ZERO),
            failures_in_row: 0,
            stopped: false,
            outages: Vec::new(),
            reached: Ns::ZERO,
            month: (0, 0),
            counts: UplinkStats::default(),
        })
    }

    /// Puts a message into the queue. Gives back the one that is dropped for it, if there is no room.
    ///
    /// # Errors
    /// [`UplinkError::Late`], [`UplinkError::Early`].
    pub fn offer(
        &mut self,
        now: Ns,
        message: UplinkMessage,
    ) -> Result<Option<UplinkMessage>, UplinkError> {
        self.check_now(now)?;
        self.reached = now;
        let order = self.counts.offered;
        self.counts.offered += 1;
        self.put(Waiting {
            message,
            offered: now,
            order,
        });
        let dropped = self.spec.room.and_then(|room| self.make_room(room));
        self.look_ahead();
        Ok(dropped)
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
        self.look_ahead();
        Ok(())
    }

    /// The module that sends stops: the attempt under way fails, which is appended to `out`, and none begins until [`start`](Self::start). Changes nothing of one that
    /// has stopped already.
    ///
    /// # Errors
    /// [`UplinkError::Late`], [`UplinkError::Early`].
    pub fn stop(&mut self, now: Ns, out: &mut Vec<UplinkEvent>) -> Result<(), UplinkError> {
        self.check_now(now)?;
        self.reached = now;
        self.stopped = true;
        if let Some(attempt) = self.trying.take() {
            self.fail(attempt, now, out);
        }
        self.look_ahead();
        Ok(())
    }

    /// The module that sends works again, and remembers no failures. Changes nothing of one that works.
    ///
    /// # Errors
    /// [`UplinkError::Late`], [`UplinkError::Early`].
    pub fn start(&mut self, now: Ns) -> Result<(), UplinkError> {
        self.check_now(now)?;
        self.reached = now;
        if std::mem::replace(&mut self.stopped, false) {
            self.ready = Some(now);
            self.failures_in_row = 0;
            self.look_ahead();
        }
        Ok(())
    }

    /// Instant and class of what comes next: [`Class::Arrive`] for the end of an attempt, [`Class::StartService`] for the turn of a load.
    /// `None` when nothing waits, the module has stopped, or nothing can ever be sent any more.
    #[must_use]
    pub fn next(&self) -> Option<(Ns, Class)> {
        self.upcoming
    }

    /// Instant of what comes next.
    #[must_use]
    pub fn next_time(&self) -> Option<Ns> {
        self.upcoming.map(|(at, _)| at)
    }

    /// Does what comes next and appends what happened to `out`. Does nothing when nothing comes.
    ///
    /// # Errors
    /// [`UplinkError::NobodyAsked`] at the end of an attempt under [`Failure::Asked`] that no outage touches.
    pub fn step(&mut self, out: &mut Vec<UplinkEvent>) -> Result<(), UplinkError> {
        let touched = |t: &Attempt| self.touched_by_outage(t.start, t.end);
        if self.spec.failure == Failure::Asked && self.trying.as_ref().is_some_and(|t| !touched(t))
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
        let Some((at, _)) = self.upcoming else { return };
        self.reached = at;
        match self.trying.take() {
            Some(attempt) => self.end_attempt(attempt, out, ask),
            None => self.begin_attempt(at, out),
        }
        self.look_ahead();
    }

    /// Counters.
    #[must_use]
    pub fn stats(&self) -> UplinkStats {
        UplinkStats {
            waiting: self.held() as u64,
            ..self.counts
        }
    }

    fn held(&self) -> usize {
        self.waiting.len() + self.trying.as_ref().map_or(0, |t| t.load.len())
    }

    /// Puts a message to its place.
    fn put(&mut self, new: Waiting) {
        let key = |w: &Waiting| (w.message.priority, w.order);
        let place = self.waiting.partition_point(|w| key(w) < key(&new));
        self.waiting.insert(place, new);
    }

    /// Drops one of the least urgent messages when there is one too many.
    fn make_room(&mut self, room: Room) -> Option<UplinkMessage> {
        if self.held() as u64 <= room.messages {
            return None;
        }
        let least = self.waiting.last()?.message.priority;
        let at = match room.gives_up {
            GivesUp::Newest => self.waiting.len() - 1,
            GivesUp::Oldest => self.waiting.partition_point(|w| w.message.priority < least),
        };
        self.counts.dropped += 1;
        Some(self.waiting.remove(at).message)
    }

    fn begin_attempt(&mut self, at: Ns, out: &mut Vec<UplinkEvent>) {
        if let Some(expiry) = self.spec.expiry {
            let counts = &mut self.counts;
            self.waiting.retain(|w| {
                let old = at.0 - w.offered.0 > expiry.0;
                if old {
                    counts.expired += 1;
                    out.push(UplinkEvent::Expired {
                        id: w.message.id,
                        offered: w.offered,
                        at,
                    });
                }
                !old
            });
        }
        if self.first_turn() != Some(at) {
            return;
        }
        let (length, billed) = self.load(self.only_urgent(at));
        let end = at
            .checked_add(self.spec.session)
            .expect("an attempt is begun only where its end lies within time");
        let load: Vec<Waiting> = self.waiting.drain(..length).collect();
        self.counts.attempts += 1;
        out.extend(load.iter().map(|w| UplinkEvent::Started {
            id: w.message.id,
            attempt: self.counts.attempts,
            at,
        }));
        self.trying = Some(Attempt {
            start: at,
            end,
            load,
            billed,
        });
    }

    fn end_attempt(
        &mut self,
        tried: Attempt,
        out: &mut Vec<UplinkEvent>,
        ask: impl FnOnce(u64) -> Outcome,
    ) {
        let Attempt {
            start,
            end: at,
            ref load,
            billed,
        } = tried;
        let attempt = self.counts.attempts;
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
                self.ready = Some(at);
                self.failures_in_row = 0;
                self.counts.sent += load.len() as u64;
                self.counts.billed += billed;
                let told = u32::try_from(billed).expect("no more billed messages than bytes");
                out.extend(load.iter().enumerate().map(|(i, w)| UplinkEvent::Sent {
                    id: w.message.id,
                    attempt,
                    offered: w.offered,
                    at,
                    billed: if i == 0 { told } else { 0 },
                }));
                self.count_for_month(start, at, billed, out);
            }
            Outcome::Failed => {
                self.failures_in_row = self.failures_in_row.saturating_add(1);
                self.ready = at.checked_add(self.spec.backoff.after(self.failures_in_row));
                self.fail(tried, at, out);
            }
        }
    }

    /// The messages of an attempt that failed go back to their places.
    fn fail(&mut self, tried: Attempt, at: Ns, out: &mut Vec<UplinkEvent>) {
        let attempt = self.counts.attempts;
        let billed = if self.spec.bills_failed {
            tried.billed
        } else {
            0
        };
        self.counts.billed += billed;
        let told = u32::try_from(billed).expect("no more billed messages than bytes");
        for (i, w) in tried.load.into_iter().enumerate() {
            out.push(UplinkEvent::Failed {
                id: w.message.id,
                attempt,
                at,
                billed: if i == 0 { told } else { 0 },
            });
            self.put(w);
        }
        if billed > 0 {
            self.count_for_month(tried.start, at, billed, out);
        }
    }

    fn count_for_month(&mut self, start: Ns, at: Ns, billed: u64, out: &mut Vec<UplinkEvent>) {
        let Some(cap) = self.spec.cap else { return };
        let month = start.0 / cap.month.0;
        let before = self.billed_in(month);
        let now = before + billed;
        self.month = (month, now);
        if before < cap.messages && now >= cap.messages {
            self.counts.months_capped += 1;
            out.push(UplinkEvent::CapReached { billed: now, at });
        }
    }

    fn billed_in(&self, month: u64) -> u64 {
        match self.month {
            (of, billed) if of == month => billed,
            _ => 0,
        }
    }

    /// How many messages the next attempt carries, and how many are billed for it.
    fn load(&self, only_urgent: bool) -> (usize, u64) {
        let Some(first) = self.waiting.first() else {
            return (0, 0);
        };
        let alone = self.spec.billed_alone(first.message.bytes);
        if self.spec.pack.is_none() || alone > 1 {
            return (1, alone);
        }
        let mut used = 0;
        let mut length = 0;
        for w in &self.waiting {
            used += self.stamped(w);
            if used > u64::from(self.spec.room_bytes()) || only_urgent && !self.is_urgent(w) {
                break;
            }
            length += 1;
        }
        (length, 1)
    }

    fn stamped(&self, w: &Waiting) -> u64 {
        u64::from(w.message.bytes) + u64::from(self.spec.stamp_bytes)
    }

    fn is_urgent(&self, w: &Waiting) -> bool {
        self.spec.urgent.is_some_and(|u| w.message.priority <= u)
    }

    /// When the load is due: at once, or when the message that has waited longest has done so long enough.
    fn due(&self, hold: Ns) -> Option<Ns> {
        let (length, _) = self.load(false);
        let load = &self.waiting[..length];
        let (first, last) = (load.first()?, load.last()?);
        let used: u64 = load.iter().map(|w| self.stamped(w)).sum();
        let full = length < self.waiting.len()
            || used + self.stamped(last) > u64::from(self.spec.room_bytes());
        if full || self.is_urgent(first) {
            return Some(Ns::ZERO);
        }
        let oldest = self.waiting.iter().map(|w| w.offered).min()?;
        oldest.checked_add(hold)
    }

    /// Whether the cap leaves only urgent messages at this instant.
    fn only_urgent(&self, at: Ns) -> bool {
        self.spec.cap.is_some_and(|cap| {
            cap.then == AtCap::UrgentOnly && self.billed_in(at.0 / cap.month.0) >= cap.messages
        })
    }

    fn look_ahead(&mut self) {
        self.upcoming = match &self.trying {
            Some(attempt) => Some((attempt.end, Class::Arrive)),
            None if self.stopped => None,
            None => self.first_turn().map(|at| (at, Class::StartService)),
        };
    }

    /// The first instant at which an attempt may begin.
    fn first_turn(&self) -> Option<Ns> {
        let first = self.waiting.first()?;
        let due = match self.spec.pack {
            None => Ns::ZERO,
            Some(hold) => self.due(hold)?,
        };
        let earliest = self.ready?.max(due).max(self.reached);
        let start = self.first_start(earliest)?;
        let Some(cap) = self.spec.cap else {
            return Some(start);
        };
        if cap.then == AtCap::UrgentOnly && self.is_urgent(first) {
            return Some(start);
        }
        let (_, billed) = self.load(false);
        let month = start.0 / cap.month.0;
        if self.billed_in(month) + billed <= cap.messages {
            return Some(start);
        }
        if billed > cap.messages {
            return None;
        }
        // Nothing is billed yet in a month to come.
        self.first_start(Ns((month + 1).checked_mul(cap.month.0)?))
    }

    fn touched_by_outage(&self, start: Ns, end: Ns) -> bool {
        self.outages
            .iter()
            .any(|&(from, to)| from < end && start < to)
    }

    /// The first instant from `earliest` on that lies in a window and in no outage.
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

fn sane(spec: &UplinkSpec) -> Result<(), UplinkError> {
    if spec.session == Ns::ZERO {
        return Err(UplinkError::NoSession);
    }
    if spec.message_bytes == 0 {
        return Err(UplinkError::NoMessageSize);
    }
    if spec.overhead_bytes >= spec.message_bytes {
        return Err(UplinkError::OverheadFills {
            overhead_bytes: spec.overhead_bytes,
            message_bytes: spec.message_bytes,
        });
    }
    if spec.failure == Failure::EveryNth(0) {
        return Err(UplinkError::NoNth);
    }
    let BackOff {
        first,
        growth,
        longest,
    } = spec.backoff;
    if growth == 0 {
        return Err(UplinkError::NoGrowth);
    }
    if longest < first {
        return Err(UplinkError::LongestTooShort { first, longest });
    }
    if spec.room.is_some_and(|r| r.messages == 0) {
        return Err(UplinkError::NoRoom);
    }
    if let Some(Cap {
        month,
        messages,
        then,
    }) = spec.cap
        && (messages == 0 && then == AtCap::Stop || month == Ns::ZERO)
    {
        return Err(UplinkError::NoCap { messages, month });
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
    Ok(())
}
