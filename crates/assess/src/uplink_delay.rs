//! The time messages take to the shore.

use network::{Tries, attempts_for_burst, lone_delay_by_sea};
use plan::{AtCap, Line, TopicIx, UplinkIx};
use quantity::SECONDS_PER_DAY;

use crate::cap::cap;
use crate::input::{MONTH_DAYS, Succeeds, succeeds, uplink_spec};
use crate::memo::Memo;
use crate::month::UnderLoad;
use crate::queue::{attempts_needed, queue_s};
use crate::uplink_carried::any_number_waits;
use crate::uplink_load::{as_it_likes, billed, sent_up};
use crate::uplink_wait::worst_off;

/// An outage that is shown by way of example, s.
const OUTAGE_S: f64 = 3600.0;

/// Longest time on an uplink in the wanted share of cases, s, with how it comes about, and the share of the hours of its worst month in which a low charge does not switch it off; see
/// [`crate::queue`]. `left_s` is what the limit leaves for it. The time is that of so many of the messages that come while it is on as make up the share of all.
pub(crate) fn ashore(
    line: &Line,
    uplink: UplinkIx,
    topic: TopicIx,
    share: Option<f64>,
    wind_at_most_m_s: Option<f64>,
    (left_s, load): (f64, &mut UnderLoad<'_>),
) -> Result<(f64, String, f64), String> {
    let u = &line.uplinks[uplink.0];
    let id = &u.id;
    let how = succeeds(line, uplink, wind_at_most_m_s).map_err(|e| e.to_string())?;
    let tries = how.tries().map_err(|e| e.to_string())?;
    let (success, where_) = (tries.mean_success(), how.where_());
    let unkept = Memo::with_room(0);
    let (off, off_in) = worst_off(line, uplink, load.memo().unwrap_or(&unkept))?;
    let on = 1.0 - off;
    let share = match share.map(|share| share / on) {
        _ if success >= 1.0 => 1.0,
        Some(share) if share < 1.0 => share,
        // Too few come while it is on, whatever the queue does.
        Some(_) if off > 0.0 => {
            let step = format!(
                "uplink.{id} is off for want of charge {:.2} % of the hours of {off_in} (`off_below`)",
                100.0 * off
            );
            return Ok((f64::INFINITY, step, on));
        }
        _ => {
            return Err(format!(
                "uplink.{id} succeeds in {:.0} % of attempts{where_}, so only a `share` of the messages has a bound",
                100.0 * success
            ));
        }
    };
    let mut messages: u32 = 0;
    let mut shortest_per_s = f64::INFINITY;
    for sender in sent_up(line, uplink).map_err(|e| e.to_string())? {
        let limit = sender.limit.ok_or_else(|| as_it_likes(&sender.behaviour))?;
        messages = messages.saturating_add(limit.messages());
        shortest_per_s = shortest_per_s.min(limit.per().as_s_f64());
    }
    let needed = match &how {
        Succeeds::Steady { chance, .. } => attempts_needed(messages, *chance, share),
        Succeeds::BySea(_) if success >= 1.0 => Some(messages),
        // The shortest time between two attempts: the sea has changed least.
        Succeeds::BySea(_) => {
            let back_off_s = u.back_off_s.map_or(0.0, |q| q.si);
            let gaps_s = (u.attempt_s(), u.attempt_s() + back_off_s);
            attempts_for_burst(&tries, messages, gaps_s, share)
        }
    };
    let attempts = needed.ok_or_else(|| {
        format!(
            "uplink.{id} succeeds so seldom{where_} that no number of attempts worth counting is enough"
        )
    })?;
    let failures = attempts - messages;
    let back_off_s = match (u.back_off_s, u.back_off_grows) {
        // Failures in a row reach the longest, and are counted as if all did.
        (Some(_), Some((_, longest))) => longest.si,
        (Some(q), None) => q.si,
        (None, _) if failures == 0 => 0.0,
        (None, _) => return Err(format!("uplink.{id} says nothing of its back-off")),
    };
    let in_queue_s = queue_s(
        attempts,
        failures,
        u.attempt_s(),
        back_off_s,
        u.windows.map(|w| (w.period_s.si, w.width_s.si)),
    )
    .ok_or_else(|| {
        format!("the back-off of uplink.{id} leaves no window in which an attempt is sure to fit")
    })?;
    let urgent = u.urgent.is_some_and(|p| line.topics[topic.0].priority <= p);
    let held_s = u.pack_within_s.filter(|_| !urgent).map_or(0.0, |q| q.si);
    let seconds = in_queue_s + held_s;
    if let Some(expiry) = u.expiry_s.filter(|e| seconds - u.attempt_s() > e.si) {
        return Err(format!(
            "uplink.{id} gives a message up after {}, and {messages} messages may take {seconds:.0} s: the last may never be sent",
            quantity::show(expiry.si, quantity::Dimension::Time)
        ));
    }
    if seconds > shortest_per_s {
        let packed = match u.pack_within_s {
            Some(_) => " that several go as one is not counted, and",
            None => "",
        };
        return Err(format!(
            "uplink.{id} may take {seconds:.0} s for {messages} messages one by one, and more may come within {shortest_per_s:.0} s:{packed} no bound is worked out; give what sends them up a lower `at_most`"
        ));
    }
    if let Some((room, _)) = u.room.filter(|(room, _)| *room < messages) {
        return Err(format!(
            "uplink.{id} has room for {room} messages, and {messages} may come in a burst: one may be dropped"
        ));
    }
    let goes_on = urgent && matches!(u.cap, Some((_, AtCap::UrgentOnly)));
    if let Some((most, _)) = cap(u).filter(|_| !goes_on) {
        let billed = billed(line, uplink, MONTH_DAYS * SECONDS_PER_DAY)?;
        if billed.declared.messages.is_infinite() {
            return Err(any_number_waits(line, uplink));
        }
        if billed.declared.messages > most as f64 {
            return Err(format!(
                "uplink.{id} may bill {:.0} messages in a month and stops at its cap of {most}: a message may wait for the next month",
                billed.declared.messages
            ));
        }
    }
    let window = match u.windows {
        None => "",
        Some(_) => ", the wait for windows included",
    };
    let held = if held_s > 0.0 {
        format!(", {held_s:.0} s of waiting for others to share a billed message included")
    } else {
        String::new()
    };
    let load = load
        .words(line, uplink, topic, wind_at_most_m_s, left_s)
        .map_or(String::new(), |words| {
            format!("; with the alarms that are expected {words}")
        });
    let off_words = match off > 0.0 {
        true => format!(
            ", while it is on: {:.2} % of the hours of {off_in} it is off for want of charge (`off_below`)",
            100.0 * off
        ),
        false => String::new(),
    };
    Ok((
        seconds,
        format!(
            "{seconds:.0} s on uplink.{id}{where_}: {attempts} attempts of {:.0} s for a burst of {messages}, of which this is the last{window}{held}{off_words}{}{load}",
            u.attempt_s(),
            usual(line, uplink, &tries)
        ),
        on,
    ))
}

/// What a message takes that finds the queue empty, and how soon an hour's outage is made good, in words.
fn usual(line: &Line, uplink: UplinkIx, tries: &Tries) -> String {
    let Ok(spec) = uplink_spec(line, uplink) else {
        return String::new();
    };
    let Some(lone) = lone_delay_by_sea(&spec, tries) else {
        return String::new();
    };
    let within = |share: f64| {
        lone.within_s(share)
            .map_or("never".to_owned(), |s| format!("within {s:.0} s"))
    };
    let mut words = format!(
        "; one that finds the queue empty is ashore {} in half of the cases, {} in 90 %",
        within(0.5),
        within(0.9)
    );
    let u = &line.uplinks[uplink.0];
    let back_off_s = u
        .back_off_grows
        .map_or_else(|| u.back_off_s, |(_, longest)| Some(longest))
        .map_or(0.0, |q| q.si);
    let arrivals_per_s = sent_up(line, uplink).ok().and_then(|all| {
        let rates = all.iter().map(|sender| {
            let limit = sender.limit?;
            Some(f64::from(limit.messages()) / limit.per().as_s_f64())
        });
        rates.sum::<Option<f64>>()
    });
    let windows = u.windows.map(|w| (w.period_s.si, w.width_s.si));
    let served = served_per_s(tries.mean_success(), u.attempt_s(), back_off_s, windows);
    if let Some(clear_s) = arrivals_per_s.and_then(|a| clear_s(OUTAGE_S, a, served)) {
        words.push_str(&format!(
            "; after an hour without it what is sent at most is made good in {clear_s:.0} s"
        ));
    }
    words
}

/// Messages that are ashore per second while more wait: `p / (session + (1 - p) back-off)`, or `floor(W / session) p / P` with windows, less what back-offs take.
fn served_per_s(success: f64, session_s: f64, back_off_s: f64, windows: Option<(f64, f64)>) -> f64 {
    let each_s = session_s + (1.0 - success) * back_off_s;
    match windows {
        None => success / each_s,
        Some((period_s, width_s)) if success >= 1.0 => (width_s / session_s).floor() / period_s,
        Some((period_s, width_s)) => (width_s / each_s).floor() * success / period_s,
    }
}

/// Time in which a backlog of an outage is made good: `a O / (s - a)`; `None` where as many come as are served.
fn clear_s(outage_s: f64, arrivals_per_s: f64, served_per_s: f64) -> Option<f64> {
    (served_per_s > arrivals_per_s)
        .then(|| arrivals_per_s * outage_s / (served_per_s - arrivals_per_s))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand: 2 messages a minute in an hour without uplink are 120; one is served each 20 s, so one a minute more than comes: 120 min. Windows of 420 s each 6000 s hold
    /// ten sessions of 40 s, of which 3 in 4 succeed: 7.5 (methods of queues; arithmetic).
    #[test]
    fn val_a_backlog_is_made_good_at_the_rate_that_is_left() {
        let served = served_per_s(1.0, 20.0, 0.0, None);
        let clear = clear_s(3600.0, 2.0 / 60.0, served).unwrap();
        assert!((clear - 7200.0).abs() < 1e-6, "{clear}");
        assert_eq!(clear_s(3600.0, 3.0 / 60.0, served), None);
        let windowed = served_per_s(0.75, 40.0, 0.0, Some((6000.0, 420.0)));
        assert!((windowed * 6000.0 - 7.5).abs() < 1e-12, "{windowed}");
        let failing = served_per_s(0.5, 20.0, 60.0, None);
        assert!((failing - 0.01).abs() < 1e-12, "{failing}");
    }
}
