//! Uplinks: the time messages take to the shore, how many are billed, and their price.

use network::{AtMost, lone_delay};
use plan::{Action, AtCap, BehaviourIx, Line, TopicIx, UplinkIx};
use quantity::{EventRate, Money, SECONDS_PER_DAY};

use crate::cap::{Capped, Declared, cap, capped};
use crate::check::Shelf;
use crate::input::{
    InputError, MONTH_DAYS, billed_alone, least_success, payload_bytes, start_limits, streams,
    traffic, uplink_spec,
};
use crate::month::{Month, SEED, month, urgent_month};
use crate::queue::{attempts_needed, queue_s};
use crate::verdict::{Against, Evidence, Side, Verdict, unknown};

/// Messages closer to their limit than this are marginal.
const NARROW_MESSAGES: f64 = 1.0;
/// An outage that is shown by way of example, s.
const OUTAGE_S: f64 = 3600.0;
const UPLINK_METHOD: &str = "declared rates times billed messages, loads that large ones end counted (docs/method/uplink.md)";
const MONTH_METHOD: &str =
    "Poisson events, compounded with billed messages (docs/method/uplink.md)";
const DRAWN_METHOD: &str = "Poisson events in drawn months of the uplink's queue, order-statistic limits (docs/method/uplink.md)";

/// Longest time on an uplink in the wanted share of cases, s; see [`crate::queue`].
pub(crate) fn ashore(
    line: &Line,
    uplink: UplinkIx,
    topic: TopicIx,
    share: Option<f64>,
    wind_at_most_m_s: Option<f64>,
) -> Result<(f64, String), String> {
    let u = &line.uplinks[uplink.0];
    let id = &u.id;
    let (success, where_) =
        least_success(line, uplink, wind_at_most_m_s).map_err(|e| e.to_string())?;
    let share = match share {
        _ if success >= 1.0 => 1.0,
        Some(share) if share < 1.0 => share,
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
    let attempts = attempts_needed(messages, success, share).ok_or_else(|| {
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
        u.session_s.si,
        back_off_s,
        u.windows.map(|w| (w.period_s.si, w.width_s.si)),
    )
    .ok_or_else(|| {
        format!("the back-off of uplink.{id} leaves no window in which an attempt is sure to fit")
    })?;
    let urgent = u.urgent.is_some_and(|p| line.topics[topic.0].priority <= p);
    let held_s = u.pack_within_s.filter(|_| !urgent).map_or(0.0, |q| q.si);
    let seconds = in_queue_s + held_s;
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
    if let Some((room, _)) = u.room.filter(|(room, _)| *room < messages) {
        return Err(format!(
            "uplink.{id} has room for {room} messages, and {messages} may come in a burst: one may be dropped"
        ));
    }
    let goes_on = urgent && matches!(u.cap, Some((_, AtCap::UrgentOnly)));
    if let Some((most, _)) = cap(u).filter(|_| !goes_on) {
        let billed = billed(line, uplink, MONTH_DAYS * SECONDS_PER_DAY)?;
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
    Ok((
        seconds,
        format!(
            "{seconds:.0} s on uplink.{id}{where_}: {attempts} attempts of {:.0} s for a burst of {messages}, of which this is the last{window}{held}{}",
            u.session_s.si,
            usual(line, uplink, success)
        ),
    ))
}

/// What a message takes that finds the queue empty, and how soon an hour's outage is made good, in words.
fn usual(line: &Line, uplink: UplinkIx, success: f64) -> String {
    let Ok(spec) = uplink_spec(line, uplink) else {
        return String::new();
    };
    let Some(lone) = lone_delay(&spec, success) else {
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
    let served = served_per_s(success, u.session_s.si, back_off_s, windows);
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

fn as_it_likes(behaviour: &str) -> String {
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
struct Billed {
    declared: Declared,
    /// Behaviour by behaviour.
    why: String,
    /// What it follows from, for a digest.
    from: String,
}

fn billed(line: &Line, uplink: UplinkIx, span_s: f64) -> Result<Billed, String> {
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
    let mut parts = Vec::new();
    let mut from = format!("{span_s:?} {spec:?}");
    for sender in sent_up(line, uplink).map_err(|e| e.to_string())? {
        let priority = line.topics[sender.topic.0].priority;
        from.push_str(&format!(" {sender:?} {priority}"));
        let limit = sender.limit.ok_or_else(|| as_it_likes(&sender.behaviour))?;
        let each = billed_alone(u, sender.bytes) as f64;
        let count = f64::from(limit.messages()) * (span_s / limit.per().as_s_f64()).ceil();
        messages += each * count;
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
struct Paid {
    messages: f64,
    why: String,
    /// What it follows from, for a digest.
    from: String,
}

fn paid(line: &Line, uplink: UplinkIx, span_s: f64) -> Result<Paid, String> {
    let span = billed(line, uplink, span_s)?;
    let month = billed(line, uplink, MONTH_DAYS * SECONDS_PER_DAY)?;
    let u = &line.uplinks[uplink.0];
    let Capped { messages, note } = capped(u, span_s, span.declared, month.declared);
    Ok(Paid {
        messages,
        why: format!("{}{note}", span.why),
        from: match cap(u) {
            None => span.from,
            Some(_) => format!("{} {:?}", span.from, month.declared),
        },
    })
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

pub(crate) fn uplink_messages(line: &Line, of: UplinkIx, limit: EventRate) -> Verdict {
    let subject = format!("uplink.{}", line.uplinks[of.0].id);
    match paid(line, of, limit.per_s) {
        Err(why) => unknown(subject, why),
        Ok(Paid {
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

/// What the messages of a month cost: at most, or in a share of the months by the events that are expected.
pub(crate) fn uplink_cost(
    line: &Line,
    of: UplinkIx,
    limit: Money,
    share: Option<f64>,
    shelf: &Shelf,
) -> Verdict {
    let subject = format!("uplink.{}", line.uplinks[of.0].id);
    let found = match share {
        None => paid(line, of, MONTH_DAYS * SECONDS_PER_DAY).map(|b| {
            let why = format!("in {MONTH_DAYS:.0} d: {}", b.why);
            let evidence = Evidence::computed(UPLINK_METHOD, &(limit, tariff(line, of), b.from));
            (b.messages as u64, evidence, why)
        }),
        Some(share) => by_chance(line, of, limit, share, shelf),
    };
    match found {
        Err(why) => unknown(subject, why),
        Ok((paid, evidence, why)) => judge_cost(line, of, limit, paid, (evidence, why)),
    }
}

/// The messages that this share of the months does not pass, by the events that are expected.
fn by_chance(
    line: &Line,
    of: UplinkIx,
    limit: Money,
    share: f64,
    shelf: &Shelf,
) -> Result<(u64, Evidence, String), String> {
    let u = &line.uplinks[of.0];
    let m = month(line, of, shelf)?;
    let at_cap = AtTheCap::of(line, of, shelf)?;
    let billed = m.quantile(share)?;
    let paid = at_cap.most(billed, share)?;
    let why = expected(line, of, limit, share, &m, &at_cap)?;
    // What drawn months leave open, or how many of the urgent ones come after the cap, is not known: broken only where it costs too much by the lower limit too.
    let fewest = at_cap.fewest(m.lower(share)?.unwrap_or(billed));
    if let Some(most) = u.affordable(limit)
        && paid > most
        && fewest <= most
    {
        let open = if m.drawn.is_some() {
            format!(
                "each at 95 % confidence, one-sided, and {limit} pays {most}: the months that can be drawn do not decide"
            )
        } else {
            format!(
                "and {limit} pays {most}: how many of the urgent ones come after the cap is reached is not counted"
            )
        };
        return Err(format!(
            "between {fewest} and {paid} billed messages, {open}; {why}"
        ));
    }
    let input = (limit, share, tariff(line, of), &m.from);
    let evidence = match m.drawn {
        None => Evidence::computed(MONTH_METHOD, &input),
        Some(draws) => Evidence::sampled(DRAWN_METHOD, &input, u64::from(draws), SEED),
    };
    let stops = if paid < billed {
        at_cap.note()
    } else {
        String::new()
    };
    Ok((paid, evidence, format!("{why}{stops}")))
}

/// What the cap leaves of a month's billed messages.
enum AtTheCap {
    /// There is none.
    Free,
    /// Nothing above so many.
    Stop(u64),
    /// Above so many only the urgent ones, of which there are so many in a month.
    Urgent(u64, Month),
}

impl AtTheCap {
    fn of(line: &Line, of: UplinkIx, shelf: &Shelf) -> Result<AtTheCap, String> {
        Ok(match cap(&line.uplinks[of.0]) {
            None => AtTheCap::Free,
            Some((most, AtCap::Stop)) => AtTheCap::Stop(most),
            Some((most, AtCap::UrgentOnly)) => {
                AtTheCap::Urgent(most, urgent_month(line, of, shelf)?)
            }
        })
    }

    /// Billed at most in this share of the months, of so many without the cap.
    fn most(&self, billed: u64, share: f64) -> Result<u64, String> {
        Ok(match self {
            AtTheCap::Free => billed,
            AtTheCap::Stop(most) => billed.min(*most),
            AtTheCap::Urgent(most, _) if billed <= *most => billed,
            AtTheCap::Urgent(most, urgent) => billed.min(most + urgent.quantile(share)?),
        })
    }

    /// Billed at least, of so many without the cap.
    fn fewest(&self, billed: u64) -> u64 {
        match self {
            AtTheCap::Free => billed,
            AtTheCap::Stop(most) | AtTheCap::Urgent(most, _) => billed.min(*most),
        }
    }

    /// Share of the months that bill no more than this, and whether it is only a lower limit.
    fn share_within(&self, m: &Month, billed: u64) -> Result<(f64, bool), String> {
        let free = m.share_within(billed)?;
        let drawn = m.drawn.is_some();
        Ok(match self {
            AtTheCap::Stop(most) if *most <= billed => (1.0, false),
            AtTheCap::Urgent(most, urgent) if *most <= billed => {
                let after = urgent.share_up_to(billed - most);
                (free.max(after), drawn || free < 1.0)
            }
            AtTheCap::Free | AtTheCap::Stop(_) | AtTheCap::Urgent(..) => (free, drawn),
        })
    }

    fn note(&self) -> String {
        match self {
            AtTheCap::Free => String::new(),
            AtTheCap::Stop(most) => {
                format!("; at {most} the cap of the plan stops the uplink until the next month")
            }
            AtTheCap::Urgent(most, _) => {
                format!("; at {most} the cap of the plan leaves only what is urgent")
            }
        }
    }
}

/// What a tariff is, for a digest.
fn tariff(line: &Line, of: UplinkIx) -> impl std::fmt::Debug {
    let u = &line.uplinks[of.0];
    (
        u.price,
        (u.included, u.minimum_charge, u.cap),
        (u.message_bytes, u.overhead_bytes, u.adds_bytes),
        (u.pack_within_s.map(|q| q.si), u.urgent),
    )
}

fn judge_cost(
    line: &Line,
    of: UplinkIx,
    limit: Money,
    paid: u64,
    (evidence, why): (Evidence, String),
) -> Verdict {
    let u = &line.uplinks[of.0];
    let subject = format!("uplink.{}", u.id);
    let Some(total) = u.cost(paid) else {
        let why = format!("the price of {paid} messages is more than can be counted");
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
    against.judge(subject, total_major, evidence, why)
}

/// The distribution of a month's cost in words.
fn expected(
    line: &Line,
    of: UplinkIx,
    limit: Money,
    share: f64,
    m: &Month,
    at_cap: &AtTheCap,
) -> Result<String, String> {
    let u = &line.uplinks[of.0];
    let cost = |share: f64| {
        let paid = at_cap.most(m.quantile(share)?, share)?;
        u.cost(paid)
            .map(|c| c.to_string())
            .ok_or_else(|| format!("the price of {paid} messages is more than can be counted"))
    };
    let mut why = format!(
        "in {MONTH_DAYS:.0} d, in {} % of the months: {}; half of the months cost at most {}, 90 % {}, 99 % {}",
        quantity::show_number(100.0 * share),
        m.why,
        cost(0.5)?,
        cost(0.9)?,
        cost(0.99)?,
    );
    if let Some(most) = u.affordable(limit) {
        let (within, bound) = at_cap.share_within(m, most)?;
        why.push_str(&format!(
            "; {}{} of the months cost no more than {limit}",
            if bound { "at least " } else { "" },
            percent(within)
        ));
    }
    if let Some((most, _)) = cap(u) {
        why.push_str(&format!(
            "; the cap of {most} messages is passed in {}{} of the months",
            if m.drawn.is_some() { "at most " } else { "" },
            percent(1.0 - m.share_within(most)?)
        ));
    }
    for note in &m.notes {
        why.push_str("; ");
        why.push_str(note);
    }
    Ok(why)
}

/// A share of months: never 100 % or 0 % where it is not quite.
fn percent(share: f64) -> String {
    if share > 0.999 && share < 1.0 {
        "more than 99.9 %".to_owned()
    } else if share > 0.0 && share < 0.001 {
        "less than 0.1 %".to_owned()
    } else {
        format!("{:.1} %", 100.0 * share)
    }
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
