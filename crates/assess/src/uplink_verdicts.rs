//! Uplinks: the time messages take to the shore, how many are billed, and their price.

use network::AtMost;
use plan::{Action, BehaviourIx, Line, UplinkIx};
use quantity::{EventRate, Money, SECONDS_PER_DAY};

use crate::input::{InputError, payload_bytes, start_limits, streams, traffic};
use crate::queue::{attempts_needed, queue_s};
use crate::verdict::{Against, Evidence, Side, Verdict, unknown};

/// Messages closer to their limit than this are marginal.
const NARROW_MESSAGES: f64 = 1.0;
/// Days over which a price is taken.
pub(crate) const PRICE_DAYS: f64 = 30.0;
const UPLINK_METHOD: &str = "declared rates times billed messages (docs/method/assess.md)";

/// Longest time on an uplink in the wanted share of cases, s; see [`crate::queue`].
pub(crate) fn ashore(
    line: &Line,
    uplink: UplinkIx,
    share: Option<f64>,
) -> Result<(f64, String), String> {
    let u = &line.uplinks[uplink.0];
    let id = &u.id;
    let success = u
        .success
        .ok_or_else(|| format!("uplink.{id} says nothing of its chance of success"))?
        .si;
    let share = match share {
        _ if success >= 1.0 => 1.0,
        Some(share) if share < 1.0 => share,
        _ => {
            return Err(format!(
                "uplink.{id} succeeds in {:.0} % of attempts, so only a `share` of the messages has a bound",
                100.0 * success
            ));
        }
    };
    let mut messages: u32 = 0;
    let mut shortest_per_s = f64::INFINITY;
    for (behaviour, limit, _) in sent_up(line, uplink).map_err(|e| e.to_string())? {
        let limit = limit.ok_or_else(|| as_it_likes(&behaviour))?;
        messages = messages.saturating_add(limit.messages());
        shortest_per_s = shortest_per_s.min(limit.per().as_s_f64());
    }
    let attempts = attempts_needed(messages, success, share).ok_or_else(|| {
        format!(
            "uplink.{id} succeeds so seldom that no number of attempts worth counting is enough"
        )
    })?;
    let failures = attempts - messages;
    let back_off_s = match u.back_off_s {
        Some(q) => q.si,
        None if failures == 0 => 0.0,
        None => return Err(format!("uplink.{id} says nothing of its back-off")),
    };
    let seconds = queue_s(
        attempts,
        failures,
        u.session_s.si,
        back_off_s,
        u.windows.map(|w| (w.period_s.si, w.width_s.si)),
    )
    .ok_or_else(|| {
        format!("the back-off of uplink.{id} leaves no window in which an attempt is sure to fit")
    })?;
    if let Some(expiry) = u.expiry_s.filter(|e| seconds - u.session_s.si > e.si) {
        return Err(format!(
            "uplink.{id} gives a message up after {}, and {messages} messages may take {seconds:.0} s: the last may never be sent",
            quantity::show(expiry.si, quantity::Dimension::Time)
        ));
    }
    if seconds > shortest_per_s {
        return Err(format!(
            "uplink.{id} may take {seconds:.0} s for {messages} messages, and more may come within {shortest_per_s:.0} s: the queue has no bound"
        ));
    }
    let window = match u.windows {
        None => "",
        Some(_) => ", the wait for windows included",
    };
    Ok((
        seconds,
        format!(
            "{seconds:.0} s on uplink.{id}: {attempts} attempts of {:.0} s for a burst of {messages}, of which this is the last{window}",
            u.session_s.si
        ),
    ))
}

fn as_it_likes(behaviour: &str) -> String {
    format!("behaviour.{behaviour} sends up as often as it likes: give it `at_most`")
}

/// Who sends up an uplink: behaviour, what it sends at most, bytes.
pub(crate) fn sent_up(
    line: &Line,
    uplink: UplinkIx,
) -> Result<Vec<(String, Option<AtMost>, u32)>, InputError> {
    let traffic = traffic(line)?;
    let streams = traffic.as_ref().map(|t| streams(line, t)).transpose()?;
    let talk = traffic.as_ref().zip(streams.as_ref());
    let mut all = Vec::new();
    for (i, b) in line.behaviours.iter().enumerate() {
        for action in &b.actions {
            if let Action::SendUp {
                uplink: u, topic, ..
            } = action
                && *u == uplink
            {
                let bytes = payload_bytes(&line.topics[topic.0])?;
                for limit in start_limits(line, talk, BehaviourIx(i))? {
                    all.push((b.id.clone(), limit, bytes));
                }
            }
        }
    }
    Ok(all)
}

/// Billed messages of an uplink in a time, at most.
struct Billed {
    messages: f64,
    /// Behaviour by behaviour.
    why: String,
    /// What it follows from: the time in s, and of each behaviour its limit and the messages that each start costs.
    from: (f64, Vec<(AtMost, f64)>),
}

fn billed(line: &Line, uplink: UplinkIx, span_s: f64) -> Result<Billed, String> {
    let u = &line.uplinks[uplink.0];
    let mut messages = 0.0;
    let mut parts = Vec::new();
    let mut from = Vec::new();
    for (behaviour, limit, bytes) in sent_up(line, uplink).map_err(|e| e.to_string())? {
        let limit = limit.ok_or_else(|| as_it_likes(&behaviour))?;
        let each = f64::from(bytes.div_ceil(u.message_bytes).max(1));
        let count = f64::from(limit.messages()) * (span_s / limit.per().as_s_f64()).ceil();
        messages += each * count;
        from.push((limit, each));
        parts.push(format!(
            "{count:.0} of behaviour.{behaviour} at {each:.0} billed each"
        ));
    }
    if parts.is_empty() {
        parts.push("nothing is sent up".to_owned());
    }
    Ok(Billed {
        messages,
        why: parts.join(", "),
        from: (span_s, from),
    })
}

pub(crate) fn uplink_messages(line: &Line, of: UplinkIx, limit: EventRate) -> Verdict {
    let subject = format!("uplink.{}", line.uplinks[of.0].id);
    match billed(line, of, limit.per_s) {
        Err(why) => unknown(subject, why),
        Ok(Billed {
            messages,
            why,
            from,
        }) => {
            let against = Against {
                side: Side::AtMost,
                limit: limit.count,
                narrow: NARROW_MESSAGES,
                unit: "messages".to_owned(),
            };
            let why = format!(
                "in {}: {why}",
                quantity::show(limit.per_s, quantity::Dimension::Time)
            );
            against.judge(
                subject,
                messages,
                Evidence::computed(UPLINK_METHOD, &(limit, from)),
                why,
            )
        }
    }
}

pub(crate) fn uplink_cost(line: &Line, of: UplinkIx, limit: Money) -> Verdict {
    let u = &line.uplinks[of.0];
    let subject = format!("uplink.{}", u.id);
    match billed(line, of, PRICE_DAYS * SECONDS_PER_DAY) {
        Err(why) => unknown(subject, why),
        Ok(Billed {
            messages,
            why,
            from,
        }) => {
            let Some(total) = u.price.times(messages as u64) else {
                let why =
                    format!("the price of {messages:.0} messages is more than can be counted");
                return unknown(subject, why);
            };
            let unit = String::from_utf8_lossy(&limit.currency).into_owned();
            let (Some(limit_major), Some(price_major), Some(total_major)) =
                (limit.major(), u.price.major(), total.major())
            else {
                return unknown(subject, format!("how {unit} is divided is not known"));
            };
            let against = Against {
                side: Side::AtMost,
                limit: limit_major,
                narrow: price_major,
                unit,
            };
            let why = format!("in {PRICE_DAYS:.0} d: {why}");
            against.judge(
                subject,
                total_major,
                Evidence::computed(UPLINK_METHOD, &(limit, u.price, from)),
                why,
            )
        }
    }
}
