//! Who sends up an uplink, and how many messages that bills at most.

use network::{AtMost, UplinkSpec};
use plan::{Action, BehaviourIx, Line, TopicIx, Uplink, UplinkIx};
use quantity::SECONDS_PER_DAY;

use crate::cap::{Capped, Declared, cap, capped};
use crate::input::{
    InputError, MONTH_DAYS, billed_alone, bills_failed, payload_bytes, start_limits, streams,
    traffic, uplink_spec,
};
use crate::uplink_carried::{Carried, Offered, Shared, Waiting, any_number_waits, may_be_off};

pub(crate) fn as_it_likes(behaviour: &str) -> String {
    format!("behaviour.{behaviour} sends up as often as it likes: give it `at_most`")
}

/// Who sends up an uplink.
#[derive(Clone, Debug)]
pub(crate) struct Sender {
    /// Id of the behaviour.
    pub(crate) behaviour: String,
    /// How often it may.
    pub(crate) limit: Option<AtMost>,
    /// What it sends, and how large that is.
    pub(crate) topic: TopicIx,
    pub(crate) bytes: u32,
}

pub(crate) fn sent_up(line: &Line, uplink: UplinkIx) -> Result<Vec<Sender>, InputError> {
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
                    all.push(Sender {
                        behaviour: b.id.clone(),
                        limit,
                        topic: *topic,
                        bytes,
                    });
                }
            }
        }
    }
    Ok(all)
}

/// The most billed messages that a message takes by itself.
pub(crate) fn dearest(line: &Line, uplink: UplinkIx) -> Result<u64, String> {
    let all = sent_up(line, uplink).map_err(|e| e.to_string())?;
    let each = all
        .iter()
        .map(|sender| billed_alone(&line.uplinks[uplink.0], sender.bytes));
    Ok(each.max().unwrap_or(1))
}

/// Billed messages of an uplink in a time at most, its cap left out.
pub(crate) struct Billed {
    pub(crate) declared: Declared,
    /// Behaviour by behaviour.
    pub(crate) why: String,
    /// What it follows from, for a digest.
    pub(crate) from: String,
}

pub(crate) fn billed(line: &Line, uplink: UplinkIx, span_s: f64) -> Result<Billed, String> {
    let u = &line.uplinks[uplink.0];
    let spec = uplink_spec(line, uplink).map_err(|e| e.to_string())?;
    let mut from = format!("{span_s:?} {spec:?}");
    let mut offered = Vec::new();
    for sender in sent_up(line, uplink).map_err(|e| e.to_string())? {
        let priority = line.topics[sender.topic.0].priority;
        from.push_str(&format!(" {sender:?} {priority}"));
        let limit = sender.limit.ok_or_else(|| as_it_likes(&sender.behaviour))?;
        offered.push(Offered {
            behaviour: sender.behaviour,
            messages: f64::from(limit.messages()),
            per_s: limit.per().as_s_f64(),
            each: billed_alone(u, sender.bytes) as f64,
            bytes: sender.bytes,
            priority,
            is_urgent: u.urgent.is_some_and(|most| priority <= most),
        });
    }
    let carried = Waiting::of(line, (uplink, &spec), &offered, span_s);
    from.push_str(&format!(" {carried:?}"));
    let least = |by: &[Carried]| {
        let each = by.iter().map(|c| counted(u, &spec, &offered, span_s, *c));
        each.reduce(|a, b| if b.messages < a.messages { b } else { a })
    };
    let waits = least(&carried.at_work).unwrap_or(Counted {
        messages: f64::INFINITY,
        urgent: f64::INFINITY,
        why: String::new(),
    });
    let all_alike = carried.is_steady && offered.windows(2).all(|w| w[0].each == w[1].each);
    let found = match all_alike {
        // As many of them as began before the time begin after it for the same wait.
        true => Counted {
            urgent: waits.urgent,
            ..counted(u, &spec, &offered, span_s, Carried::Aged(0.0))
        },
        false => waits,
    };
    Ok(Billed {
        declared: Declared {
            messages: found.messages,
            urgent: found.urgent,
            in_all: least(&carried.at_cap).map(|c| c.messages),
        },
        why: found.why,
        from,
    })
}

/// What of it is billed in a time.
struct Counted {
    messages: f64,
    /// The urgent ones, each for itself.
    urgent: f64,
    why: String,
}

fn counted(
    u: &Uplink,
    spec: &UplinkSpec,
    offered: &[Offered],
    span_s: f64,
    carried: Carried,
) -> Counted {
    let (age_s, number) = match carried {
        Carried::Aged(age_s) => (age_s, 0.0),
        Carried::Number(number) => (0.0, number),
    };
    let dearest = offered.iter().map(|o| o.each).fold(1.0, f64::max);
    let (mut messages, mut urgent) = (number * dearest, number * dearest);
    let mut all = number;
    let mut parts = Vec::new();
    for o in offered {
        let count = o.within(span_s + age_s);
        messages += o.each * count;
        all += count;
        parts.push(format!(
            "{count:.0} of behaviour.{} at {:.0} billed each",
            o.behaviour, o.each
        ));
        if o.is_urgent {
            urgent += o.each * count;
        }
    }
    if parts.is_empty() {
        parts.push("nothing is sent up".to_owned());
    }
    let mut why = parts.join(", ");
    if age_s > 0.0 && !offered.is_empty() {
        why.push_str(&format!(
            ", those among them that came up to {} before and waited as the time began",
            quantity::show(age_s, quantity::Dimension::Time)
        ));
    }
    if number > 0.0 {
        why.push_str(&format!(
            ", and {number:.0} at most that waited as the time began"
        ));
    }
    if let Some(hold) = u.pack_within_s.filter(|q| q.si > 0.0) {
        let shared = Shared::of(spec, offered, |o| o.within(span_s + age_s));
        let (sharing, loads) = (
            shared.messages,
            shared.loads((span_s / hold.si).floor() + 1.0),
        );
        if loads < sharing {
            messages += loads - sharing;
            why.push_str(&format!(
                ", of which {sharing:.0} share at most {loads:.0} billed messages"
            ));
        }
    }
    if bills_failed(u) && all > 0.0 {
        // Each failed attempt takes its session and at least the first back-off; without a cap to wait at, a message is tried no more often than its age lets it.
        let apart_s = u.attempt_s() + spec.backoff.first.as_s_f64();
        let by_time = (span_s / apart_s).floor() + 1.0;
        let by_age = match (u.expiry_s, u.cap) {
            (Some(expiry), None) => ((expiry.si / apart_s).floor() + 1.0) * all,
            _ => f64::INFINITY,
        };
        let failed = by_time.min(by_age) * dearest;
        messages += failed;
        urgent += failed;
        why.push_str(&format!(
            ", and at most {failed:.0} for attempts that fail, while its module works on"
        ));
    }
    Counted {
        messages,
        urgent,
        why,
    }
}

/// Billed messages of an uplink in a time, at most.
pub(crate) struct Paid {
    pub(crate) messages: f64,
    /// The same however often its module stops and starts, where a cap limits it.
    pub(crate) with_restarts: Option<f64>,
    pub(crate) why: String,
    /// What it follows from, for a digest.
    pub(crate) from: String,
}

pub(crate) fn paid(line: &Line, uplink: UplinkIx, span_s: f64) -> Result<Paid, String> {
    let span = billed(line, uplink, span_s)?;
    let month = billed(line, uplink, MONTH_DAYS * SECONDS_PER_DAY)?;
    let u = &line.uplinks[uplink.0];
    let Capped { messages, note } = capped(u, span_s, span.declared, month.declared);
    if messages.is_infinite() {
        return Err(any_number_waits(line, uplink));
    }
    let endless = Declared {
        messages: f64::INFINITY,
        urgent: f64::INFINITY,
        in_all: None,
    };
    let with_restarts = capped(u, span_s, endless, endless).messages;
    Ok(Paid {
        messages,
        with_restarts: Some(with_restarts).filter(|messages| messages.is_finite()),
        why: format!("{}{note}", span.why),
        from: match cap(u) {
            None => span.from,
            Some(_) => format!("{} {:?}", span.from, month.declared),
        },
    })
}

/// Why the module of an uplink that bills attempts which break off may stop and start any number of times; `None` where nothing takes it off, or where they are free. Each stop breaks
/// off what is under way, and after a start no back-off is left.
pub(crate) fn restarts(line: &Line, uplink: UplinkIx) -> Option<String> {
    let u = &line.uplinks[uplink.0];
    if u.bills_failed != Some(true) {
        return None;
    }
    let battery = may_be_off(line, u.module)?;
    Some(format!(
        "supply.{battery} may take {} off the line and on again, how often is not known, and each time an attempt that breaks off may be billed",
        line.module_path(u.module)
    ))
}
