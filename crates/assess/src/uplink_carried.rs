//! What waits on an uplink as a time begins, and is billed in it.
//!
//! Purpose: no more messages are billed in a time than were offered in it and what waited as it began. A message that is given up at an age `E` was offered no more than `E` before it is
//! tried, so that those of a time `T` were offered within `T + E`; of a room for `R` messages no more than `R` wait. Attempts that never fail, on a module that works on, leave no message
//! waiting longer than `B + h`: `h` the time for which it is held, `B` the least time in which all that may be offered within `B + h` can begin
//! (the busy period of a queue that serves one after the other; from `h` after its offer on a message finds loads due all the time). Without windows and holds attempts then begin a session
//! apart as long as any wait, and what began in the `u` before a time begins, of what waits then, is no fewer than what can begin in the last `u` of it: so no more are tried in
//! it than are offered in any time of its length. Before the deployment nothing was offered.
//!
//! Source: queues in order, textbook; held to the queue itself (docs/method/uplink.md). Units: seconds, messages.

use network::UplinkSpec;
use plan::{Line, ModuleIx, Uplink, UplinkIx};
use quantity::SECONDS_PER_DAY;

use crate::hours::{fed_by, never_off};
use crate::input::{MONTH_DAYS, never_fails};
use crate::queue::queue_s;

const MONTH_S: f64 = MONTH_DAYS * SECONDS_PER_DAY;
/// Waits beyond this are not worked out, s.
const LONGEST_S: f64 = MONTH_S;
/// Steps to a busy period at most.
const MOST_STEPS: u32 = 10_000;

/// One thing that is sent up.
#[derive(Clone, Debug)]
pub(crate) struct Offered {
    /// Id of the behaviour.
    pub(crate) behaviour: String,
    /// So many messages in any span of this length, s.
    pub(crate) messages: f64,
    pub(crate) per_s: f64,
    /// Billed messages that each takes by itself.
    pub(crate) each: f64,
    pub(crate) bytes: u32,
    pub(crate) priority: u8,
    pub(crate) is_urgent: bool,
}

impl Offered {
    /// Messages of a time at most, begin included and end excluded.
    pub(crate) fn within(&self, time_s: f64) -> f64 {
        self.messages * (time_s / self.per_s).ceil()
    }

    /// Messages of a time at most, both ends included.
    fn within_closed(&self, time_s: f64) -> f64 {
        self.messages * ((time_s / self.per_s).floor() + 1.0)
    }
}

/// What may share billed messages.
pub(crate) struct Shared {
    /// Messages that may.
    pub(crate) messages: f64,
    /// How many of the largest fit into one.
    fit: f64,
    /// Loads that messages which go by themselves may end: none where these go before all that share, one each where nothing that shares goes before them by its priority. What is overtaken
    /// by later ones may end any number: `None`.
    ended: Option<f64>,
    /// Messages that go by themselves, those that are urgent among them.
    alone: f64,
}

impl Shared {
    /// Of so many messages of each.
    pub(crate) fn of(
        spec: &UplinkSpec,
        offered: &[Offered],
        count: impl Fn(&Offered) -> f64,
    ) -> Shared {
        let shares = |o: &&Offered| spec.capacity(o.bytes) > 0 && !o.is_urgent;
        let sharing = || offered.iter().filter(shares);
        let alone = || offered.iter().filter(|o| !shares(o));
        let largest = sharing().map(|o| o.bytes).max().unwrap_or(0);
        let first = sharing().map(|o| o.priority).min();
        // What is urgent and small leaves alone and ends no load.
        let ending = alone().filter(|o| spec.capacity(o.bytes) == 0);
        let ended = ending
            .map(|o| match first {
                Some(first) if o.priority > first => None,
                Some(first) if o.priority == first => Some(count(o)),
                _ => Some(0.0),
            })
            .sum();
        Shared {
            messages: sharing().map(&count).sum(),
            fit: (spec.capacity(largest) as f64).max(1.0),
            ended,
            alone: alone().map(&count).sum(),
        }
    }

    /// Loads of what shares at most, of which so many are not full. Full ones carry at least as many as of the largest fit, or end before a message that goes by itself.
    pub(crate) fn loads(&self, not_full: f64) -> f64 {
        let full = (self.messages / self.fit).floor();
        let loads = self.ended.map(|ended| not_full + full + ended);
        loads.map_or(self.messages, |loads| loads.min(self.messages))
    }
}

/// A bound of what waits as a time begins.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Carried {
    /// What was offered no longer than this before, s.
    Aged(f64),
    /// No more messages than this.
    Number(f64),
}

/// What bounds the messages that wait as a time begins; each bound alone does.
#[derive(Debug)]
pub(crate) struct Waiting {
    /// Where no cap stops the uplink.
    pub(crate) at_work: Vec<Carried>,
    /// Where one does.
    pub(crate) at_cap: Vec<Carried>,
    /// Whether attempts begin a session apart as long as any message waits.
    pub(crate) is_steady: bool,
}

impl Waiting {
    pub(crate) fn of(
        line: &Line,
        (of, spec): (UplinkIx, &UplinkSpec),
        offered: &[Offered],
        span_s: f64,
    ) -> Waiting {
        let u = &line.uplinks[of.0];
        let before_s = (line.deployment.longest_s() - span_s).max(0.0);
        let aged = |age_s: f64| Carried::Aged(age_s.min(before_s));
        let mut at_cap: Vec<Carried> = u.expiry_s.map(|e| aged(e.si)).into_iter().collect();
        at_cap.extend(
            u.room
                .map(|(messages, _)| Carried::Number(f64::from(messages))),
        );
        if before_s == 0.0 {
            at_cap.push(Carried::Aged(0.0));
        }
        let sure = never_fails(u) && may_be_off(line, u.module).is_none();
        let longest_s = longest_wait_s(u, spec, offered).filter(|_| sure);
        let mut at_work = at_cap.clone();
        at_work.extend(longest_s.map(aged));
        Waiting {
            at_work,
            at_cap,
            is_steady: longest_s.is_some() && u.windows.is_none() && u.pack_within_s.is_none(),
        }
    }
}

/// What may wait as a month begins, where events come by chance: one bound of it, by age where there is one. Where no attempt fails messages wait for no more than each other's sessions, which is left
/// out of this.
///
/// # Errors
/// In words, where any number may wait.
pub(crate) fn carried_by_chance(line: &Line, of: UplinkIx) -> Result<Carried, String> {
    let u = &line.uplinks[of.0];
    let before_s = (line.deployment.longest_s() - MONTH_S).max(0.0);
    let sure = never_fails(u) && may_be_off(line, u.module).is_none();
    let at_once = sure && u.windows.is_none() && u.pack_within_s.is_none();
    if before_s == 0.0 || at_once {
        return Ok(Carried::Aged(0.0));
    }
    let by_number = || u.room.map(|(room, _)| Carried::Number(f64::from(room)));
    let by_age = u.expiry_s.map(|e| Carried::Aged(e.si.min(before_s)));
    by_age
        .or_else(by_number)
        .ok_or_else(|| any_number_waits(line, of))
}

/// The longest time from its offer until a message is tried, where no attempt fails, s; `None` where more may be offered than can go.
fn longest_wait_s(u: &Uplink, spec: &UplinkSpec, offered: &[Offered]) -> Option<f64> {
    let held_s = u.pack_within_s.map_or(0.0, |q| q.si);
    let windows = u.windows.map(|w| (w.period_s.si, w.width_s.si));
    let mut busy_s = 0.0;
    for _ in 0..MOST_STEPS {
        let shared = Shared::of(spec, offered, |o| o.within_closed(busy_s + held_s));
        let attempts = match held_s > 0.0 {
            false => shared.alone + shared.messages,
            // While loads are due all the time one that is not full leaves nothing, and the next is held again. One may be under way as the first is due.
            true => shared.alone + shared.loads((busy_s / held_s).floor() + 1.0) + 1.0,
        };
        if attempts > f64::from(u32::MAX) {
            return None;
        }
        let takes_s = queue_s(attempts as u32, 0, u.attempt_s(), 0.0, windows)?;
        let until_last_s = takes_s - u.attempt_s();
        if until_last_s <= busy_s {
            return Some(busy_s + held_s);
        }
        if until_last_s > LONGEST_S {
            return None;
        }
        busy_s = until_last_s;
    }
    None
}

/// The id of a supply that may take a module off the line, where none feeds it that never does.
pub(crate) fn may_be_off(line: &Line, module: ModuleIx) -> Option<&str> {
    let feeding = fed_by(line, module);
    if feeding.iter().any(|s| never_off(line.supplies[*s].kind)) {
        return None;
    }
    let battery = line.supplies.get(*feeding.first()?)?;
    Some(&battery.id)
}

/// Why any number of messages may wait on an uplink as a time begins.
pub(crate) fn any_number_waits(line: &Line, of: UplinkIx) -> String {
    let u = &line.uplinks[of.0];
    let path = format!("uplink.{}", u.id);
    let reason = match may_be_off(line, u.module) {
        _ if !never_fails(u) => "attempts may fail".to_owned(),
        Some(battery) => format!("supply.{battery} may take its module off"),
        None => "messages wait for others, for windows or for each other".to_owned(),
    };
    format!(
        "{path} gives no message up by its age and has room for any number, and {reason}: any number may wait as such a time begins and be billed in it; write its `expiry` or its `room`"
    )
}
