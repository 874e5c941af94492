//! Who sends up an uplink, and how many messages that bills at most.

use network::AtMost;
use plan::{Action, AtCap, BehaviourIx, Line, TopicIx, UplinkIx};
use quantity::SECONDS_PER_DAY;

use crate::cap::{Capped, Declared, cap, capped};
use crate::hours::{fed_by, never_off};
use crate::input::{
    InputError, MONTH_DAYS, billed_alone, bills_failed, payload_bytes, start_limits, streams,
    traffic, uplink_spec,
};

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
    let (mut messages, mut urgent_messages) = (0.0, 0.0);
    // What may wait at the cap by its age, and the most that one message is billed as.
    let goes_on = matches!(u.cap, Some((_, AtCap::UrgentOnly)));
    let (mut young, mut most_each) = (0.0, 0.0_f64);
    // What may share a billed message, and the largest of it.
    let (mut sharing, mut largest) = (0.0, 0);
    // Priorities of what may share, and of what goes by itself with how many of it there are.
    let (mut most_urgent, mut alone) = (None, Vec::new());
    // All of them, and the most that one attempt bills.
    let (mut all, mut dearest) = (0.0, 1.0_f64);
    // Those that may have waited as the time began: of one expiry before it.
    let mut before = 0.0;
    let mut parts = Vec::new();
    let mut from = format!("{span_s:?} {spec:?}");
    for sender in sent_up(line, uplink).map_err(|e| e.to_string())? {
        let priority = line.topics[sender.topic.0].priority;
        from.push_str(&format!(" {sender:?} {priority}"));
        let limit = sender.limit.ok_or_else(|| as_it_likes(&sender.behaviour))?;
        let each = billed_alone(u, sender.bytes) as f64;
        let count = f64::from(limit.messages()) * (span_s / limit.per().as_s_f64()).ceil();
        messages += each * count;
        all += count;
        before += u.expiry_s.map_or(0.0, |e| {
            f64::from(limit.messages()) * ((e.si / limit.per().as_s_f64()).floor() + 1.0)
        });
        dearest = dearest.max(each);
        parts.push(format!(
            "{count:.0} of behaviour.{} at {each:.0} billed each",
            sender.behaviour
        ));
        let urgent = u.urgent.is_some_and(|p| priority <= p);
        if urgent {
            urgent_messages += each * count;
        }
        if !(urgent && goes_on) {
            let kept = u.expiry_s.map_or(f64::INFINITY, |e| {
                (e.si / limit.per().as_s_f64()).floor() + 1.0
            });
            young += each * f64::from(limit.messages()) * kept;
            most_each = most_each.max(each);
        }
        if spec.capacity(sender.bytes) == 0 {
            alone.push((priority, count));
        } else if !urgent {
            sharing += count;
            largest = largest.max(sender.bytes);
            most_urgent = Some(most_urgent.map_or(priority, |p: u8| p.min(priority)));
        }
    }
    if parts.is_empty() {
        parts.push("nothing is sent up".to_owned());
    }
    let mut why = parts.join(", ");
    if let Some(hold) = u.pack_within_s.filter(|q| q.si > 0.0)
        && sharing > 0.0
    {
        // Loads that are not full begin at least the hold apart; full ones carry at least as many as of the largest fit, or end before a message that goes by itself.
        let full =
            (span_s / hold.si).floor() + 1.0 + (sharing / spec.capacity(largest) as f64).floor();
        let loads = full + ended_by(most_urgent, &alone).map_or(sharing, |ended| ended);
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
            (Some(expiry), None) => ((expiry.si / apart_s).floor() + 1.0) * (all + before),
            _ => f64::INFINITY,
        };
        let failed = by_time.min(by_age) * dearest;
        messages += failed;
        urgent_messages += failed;
        why.push_str(&format!(
            ", and at most {failed:.0} for attempts that fail, what waited as the time began among them, while its module works on"
        ));
    }
    let room = u.room.map_or(f64::INFINITY, |(room, _)| {
        if most_each > 0.0 {
            f64::from(room) * most_each
        } else {
            0.0
        }
    });
    let declared = Declared {
        messages,
        urgent: urgent_messages,
        waiting: Some(young.min(room)).filter(|waiting| waiting.is_finite()),
    };
    Ok(Billed {
        declared,
        why,
        from,
    })
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
    let endless = |declared: Declared| Declared {
        messages: f64::INFINITY,
        urgent: f64::INFINITY,
        ..declared
    };
    let with_restarts = capped(u, span_s, endless(span.declared), endless(month.declared)).messages;
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
    let feeding = fed_by(line, u.module);
    if feeding.iter().any(|s| never_off(line.supplies[*s].kind)) {
        return None;
    }
    let battery = line.supplies.get(*feeding.first()?)?;
    Some(format!(
        "supply.{} may take {} off the line and on again, how often is not known, and each time an attempt that breaks off may be billed",
        battery.id,
        line.module_path(u.module)
    ))
}

/// Loads that messages which go by themselves may end: none where these go before all that share, one each where nothing that shares goes before them by its priority. What
/// is overtaken by later ones may end any number: `None`.
fn ended_by(most_urgent: Option<u8>, alone: &[(u8, f64)]) -> Option<f64> {
    let mut ended = 0.0;
    for (priority, count) in alone {
        match most_urgent {
            Some(first) if *priority > first => return None,
            Some(first) if *priority == first => ended += count,
            _ => {}
        }
    }
    Some(ended)
}
