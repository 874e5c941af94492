//! Delays, loads of the links, messages and their price.

use std::collections::BTreeSet;

use detect::{Confirm, Detector, Stage};
use network::{
    AtMost, DelayBound, LinkStandard, WhyUnknown, delay_bounds, fragment_count, frame_time,
};
use plan::{
    Action, BehaviourIx, DelayEnd, DetectorIx, Line, ModuleIx, NoticeKind, Q, SpanIx, TopicIx,
    UplinkIx, When,
};
use quantity::{EventRate, Money};

use crate::input::{
    InputError, Streams, Traffic, detector_spec, payload_bytes, start_limits, streams, traffic,
    uplink_spec,
};
use crate::queue::{attempts_needed, queue_s};
use crate::verdict::{Against, Evidence, Side, Verdict};

/// A delay closer to its limit than this is marginal, s.
const NARROW_S: f64 = 0.1;
/// A load closer to its limit than this is marginal, points of percent.
const NARROW_POINTS: f64 = 2.0;
/// Messages closer to their limit than this are marginal.
const NARROW_MESSAGES: f64 = 1.0;
/// Days over which a price is taken.
const PRICE_DAYS: f64 = 30.0;
const SECONDS_PER_DAY: f64 = 86_400.0;
const DELAY_METHOD: &str = "detector latency, network-calculus bound, uplink queue (docs/method/assess.md; Le Boudec & Thiran 2001)";
const LOAD_METHOD: &str =
    "declared rates times frame times (docs/method/network.md; IEEE 802.3 framing)";
const UPLINK_METHOD: &str = "declared rates times billed messages";

fn unknown(subject: impl Into<String>, why: impl Into<String>) -> Verdict {
    Verdict::Unknown {
        subject: subject.into(),
        why: why.into(),
    }
}

/// A way from a notice to an end: how long it takes, step by step.
#[derive(Clone, Debug)]
struct Way {
    seconds: f64,
    steps: Vec<String>,
}

impl Way {
    fn and(&self, seconds: f64, step: String) -> Way {
        let mut steps = self.steps.clone();
        steps.push(step);
        Way {
            seconds: self.seconds + seconds,
            steps,
        }
    }
}

struct Search<'a> {
    line: &'a Line,
    traffic: Option<&'a Traffic>,
    streams: Streams,
    bounds: Vec<Vec<DelayBound>>,
    to: DelayEnd,
    share: Option<f64>,
    found: Option<Way>,
    why_not: BTreeSet<String>,
}

/// Time from a sound at a hydrophone to an end, at most.
pub(crate) fn delay(
    line: &Line,
    from: DetectorIx,
    notice: NoticeKind,
    to: DelayEnd,
    at_most_s: Q,
    share: Option<Q>,
) -> Verdict {
    let end = match to {
        DelayEnd::Output(o) => line.output_path(o),
        DelayEnd::Module(m) => line.module_path(m),
        DelayEnd::Uplink(u) => format!("uplink.{}", line.uplinks[u.0].id),
    };
    let subject = format!("detector.{} to {end}", line.detectors[from.0].id);
    match delay_bound(line, from, notice, to, share.map(|q| q.si)) {
        Err(why) => unknown(subject, why),
        Ok((way, inputs)) => {
            let against = Against {
                side: Side::AtMost,
                limit: at_most_s.si,
                narrow: NARROW_S,
                unit: "s".to_owned(),
            };
            against.judge(
                subject,
                way.seconds,
                Evidence::computed(DELAY_METHOD, &inputs),
                way.steps.join(", "),
            )
        }
    }
}

fn delay_bound(
    line: &Line,
    from: DetectorIx,
    notice: NoticeKind,
    to: DelayEnd,
    share: Option<f64>,
) -> Result<(Way, String), String> {
    let traffic = traffic(line).map_err(|e| e.to_string())?;
    if let Some(t) = traffic.as_ref().filter(|t| !t.unknowns.is_empty()) {
        return Err(t.unknowns.join("; "));
    }
    let (streams, bounds) = match &traffic {
        None => (Streams::default(), Vec::new()),
        Some(t) => {
            let streams = streams(line, t).map_err(|e| e.to_string())?;
            let bounds = delay_bounds(&t.topology, &streams.flows).map_err(|e| e.to_string())?;
            (streams, bounds)
        }
    };
    let heard_s = latency_s(line, from, notice)?;
    let mut inputs = format!("{heard_s:?} {to:?} {share:?} {streams:?}");
    if let Some(t) = &traffic {
        inputs.push_str(&format!("{:?}", t.topology));
    }
    if let DelayEnd::Uplink(u) = to {
        let success = line.uplinks[u.0].success.map(|q| q.si);
        inputs.push_str(&format!(
            "{:?} {success:?} {:?}",
            uplink_spec(line, u),
            sent_up(line, u)
        ));
    }
    let first = Way {
        seconds: heard_s,
        steps: vec![format!(
            "{heard_s:.3} s until detector.{} can tell",
            line.detectors[from.0].id
        )],
    };
    let mut search = Search {
        line,
        traffic: traffic.as_ref(),
        streams,
        bounds,
        to,
        share,
        found: None,
        why_not: BTreeSet::new(),
    };
    for (i, b) in line.behaviours.iter().enumerate() {
        if matches!(&b.when, When::Heard { detector, notice: n } if *detector == from && *n == notice)
        {
            search.start(BehaviourIx(i), &first, &mut Vec::new());
        }
    }
    match search.found {
        Some(way) => {
            let inputs = format!("{inputs} {way:?}");
            Ok((way, inputs))
        }
        None if search.why_not.is_empty() => {
            Err("no behaviour leads from that notice to that end".to_owned())
        }
        None => Err(search.why_not.into_iter().collect::<Vec<_>>().join("; ")),
    }
}

/// Longest time from the beginning of a sound to the notice, s.
fn latency_s(line: &Line, detector: DetectorIx, notice: NoticeKind) -> Result<f64, String> {
    let mut spec = detector_spec(line, detector, None).map_err(|e| e.to_string())?;
    let id = &line.detectors[detector.0].id;
    for stage in &mut spec.stages {
        if let Stage::Trigger {
            shortest_s,
            confirm,
            ..
        } = stage
        {
            match notice {
                NoticeKind::Confirmed => {}
                NoticeKind::Onset => {
                    *shortest_s = 0.0;
                    *confirm = Confirm::Early;
                }
                NoticeKind::Ended => *confirm = Confirm::AtEnd,
            }
        } else if matches!(stage, Stage::Pulses { .. }) && notice == NoticeKind::Ended {
            return Err(format!(
                "a train of pulses of detector.{id} has no longest length, so its end has no bound"
            ));
        }
    }
    let rate_hz = spec.rate_hz;
    let built = Detector::new(&spec).map_err(|e| format!("detector.{id}: {e}"))?;
    let samples = built.latency_samples().ok_or_else(|| {
        format!("detector.{id} has no longest length, so its notice has no bound")
    })?;
    Ok(samples as f64 / rate_hz)
}

impl Search<'_> {
    fn arrived(&mut self, way: Way) {
        if self.found.as_ref().is_none_or(|f| way.seconds < f.seconds) {
            self.found = Some(way);
        }
    }

    fn start(&mut self, behaviour: BehaviourIx, way: &Way, trail: &mut Vec<BehaviourIx>) {
        if trail.contains(&behaviour) {
            return;
        }
        trail.push(behaviour);
        let b = &self.line.behaviours[behaviour.0];
        for action in &b.actions {
            match action {
                Action::Switch {
                    output, on: true, ..
                } if self.to == DelayEnd::Output(*output) => self.arrived(way.clone()),
                Action::SendUp { uplink, .. } if self.to == DelayEnd::Uplink(*uplink) => {
                    match self.ashore(*uplink) {
                        Ok((seconds, step)) => self.arrived(way.and(seconds, step)),
                        Err(why) => {
                            self.why_not.insert(why);
                        }
                    }
                }
                Action::Publish { topic } => self.publish(b.on, *topic, way, trail),
                _ => {}
            }
        }
        trail.pop();
    }

    fn publish(
        &mut self,
        module: ModuleIx,
        topic: TopicIx,
        way: &Way,
        trail: &mut Vec<BehaviourIx>,
    ) {
        let Some(flow) = self.streams.of.iter().position(|f| *f == (module, topic)) else {
            if self.traffic.is_none() {
                self.why_not
                    .insert("the plan has no [traffic], so no message gets anywhere".to_owned());
            }
            return;
        };
        let targets = self.streams.flows[flow].targets.clone();
        for (t, target) in targets.into_iter().enumerate() {
            let seconds = match &self.bounds[flow][t] {
                DelayBound::Known { total, .. } => total.as_s_f64(),
                DelayBound::Unknown(why) => {
                    let why = self.words(why);
                    self.why_not.insert(why);
                    continue;
                }
            };
            let name = &self.line.topics[topic.0].name;
            let next = way.and(
                seconds,
                format!(
                    "{:.3} ms at most for {name} to module.{}",
                    1e3 * seconds,
                    self.line.modules[target].id
                ),
            );
            if self.to == DelayEnd::Module(ModuleIx(target)) {
                self.arrived(next.clone());
            }
            for (i, b) in self
                .line
                .behaviours
                .iter()
                .enumerate()
                .filter(|(_, b)| b.on.0 == target)
            {
                let When::Told { filter } = &b.when else {
                    continue;
                };
                let hears = match (network::Filter::parse(filter), self.traffic) {
                    (Ok(filter), Some(traffic)) => filter.matches(&traffic.names[topic.0]),
                    _ => false,
                };
                if hears {
                    self.start(BehaviourIx(i), &next, trail);
                }
            }
        }
    }

    fn words(&self, why: &WhyUnknown) -> String {
        match why {
            WhyUnknown::NoLimitDeclared { flow } => {
                let (module, topic) = self.streams.of[*flow];
                let name = &self.line.topics[topic.0].name;
                format!(
                    "topic \"{name}\" of {} has no `at_most`, so nothing that shares its way has a bound",
                    self.line.module_path(module)
                )
            }
            WhyUnknown::Overloaded {
                asked_bps,
                rate_bps,
                ..
            } => format!("a link is asked for {asked_bps} b/s and has {rate_bps} b/s"),
            WhyUnknown::Ring { .. } => "the ways of the messages form a ring".to_owned(),
        }
    }

    /// Longest time on an uplink in the wanted share of cases, s; see [`crate::queue`].
    fn ashore(&self, uplink: UplinkIx) -> Result<(f64, String), String> {
        let u = &self.line.uplinks[uplink.0];
        let id = &u.id;
        let success = u
            .success
            .ok_or_else(|| format!("uplink.{id} says nothing of its chance of success"))?
            .si;
        let share = match self.share {
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
        for (behaviour, limit, _) in sent_up(self.line, uplink).map_err(|e| e.to_string())? {
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
            format!(
                "the back-off of uplink.{id} leaves no window in which an attempt is sure to fit"
            )
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
}

fn as_it_likes(behaviour: &str) -> String {
    format!("behaviour.{behaviour} sends up as often as it likes: give it `at_most`")
}

/// Who sends up an uplink: behaviour, what it sends at most, bytes.
fn sent_up(
    line: &Line,
    uplink: UplinkIx,
) -> Result<Vec<(String, Option<AtMost>, u32)>, InputError> {
    let traffic = traffic(line)?;
    let streams = traffic.as_ref().map(|t| streams(line, t)).transpose()?;
    let talk = traffic.as_ref().zip(streams.as_ref());
    let mut all = Vec::new();
    for (i, b) in line.behaviours.iter().enumerate() {
        for action in &b.actions {
            if let Action::SendUp { uplink: u, topic } = action
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
fn billed(line: &Line, uplink: UplinkIx, span_s: f64) -> Result<(f64, String), String> {
    let u = &line.uplinks[uplink.0];
    let mut total = 0.0;
    let mut parts = Vec::new();
    for (behaviour, limit, bytes) in sent_up(line, uplink).map_err(|e| e.to_string())? {
        let limit = limit.ok_or_else(|| as_it_likes(&behaviour))?;
        let each = f64::from(bytes.div_ceil(u.message_bytes).max(1));
        let count = f64::from(limit.messages()) * (span_s / limit.per().as_s_f64()).ceil();
        total += each * count;
        parts.push(format!(
            "{count:.0} of behaviour.{behaviour} at {each:.0} billed each"
        ));
    }
    if parts.is_empty() {
        parts.push("nothing is sent up".to_owned());
    }
    Ok((total, parts.join(", ")))
}

pub(crate) fn uplink_messages(line: &Line, of: UplinkIx, limit: EventRate) -> Verdict {
    let subject = format!("uplink.{}", line.uplinks[of.0].id);
    match billed(line, of, limit.per_s) {
        Err(why) => unknown(subject, why),
        Ok((value, why)) => {
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
                value,
                Evidence::computed(UPLINK_METHOD, &(limit, &why)),
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
        Ok((count, why)) => {
            let total = Money {
                minor: (count as i64).saturating_mul(u.price.minor),
                currency: u.price.currency,
            };
            let currency = String::from_utf8_lossy(&limit.currency).into_owned();
            let against = Against {
                side: Side::AtMost,
                limit: limit.major(),
                narrow: u.price.major(),
                unit: currency,
            };
            let why = format!("in {PRICE_DAYS:.0} d: {why}");
            against.judge(
                subject,
                total.major(),
                Evidence::computed(UPLINK_METHOD, &(limit, u.price, &why)),
                why,
            )
        }
    }
}

/// Load of one span, or of each, in its busier direction.
pub(crate) fn link_load(line: &Line, of: Option<SpanIx>, limit: Q) -> Vec<Verdict> {
    let built =
        traffic(line).and_then(|t| t.map(|t| streams(line, &t).map(|s| (t, s))).transpose());
    let (traffic, streams) = match built {
        Err(error) => return vec![unknown("the links", error.to_string())],
        Ok(None) => return vec![unknown("the links", "the plan has no [traffic]")],
        Ok(Some(both)) => both,
    };
    let mut verdicts = Vec::new();
    for (l, span) in traffic
        .link_spans
        .iter()
        .enumerate()
        .filter(|(_, s)| of.is_none_or(|o| o == **s))
    {
        let subject = format!("span.{}", line.spans[span.0].id);
        verdicts.push(match load(line, &traffic, &streams, l) {
            Err(why) => unknown(subject, why),
            Ok((share, why)) => {
                let against = Against {
                    side: Side::AtMost,
                    limit: 100.0 * limit.si,
                    narrow: NARROW_POINTS,
                    unit: "%".to_owned(),
                };
                let inputs = (l, &streams, &traffic.topology);
                against.judge(
                    subject,
                    100.0 * share,
                    Evidence::computed(LOAD_METHOD, &inputs),
                    why,
                )
            }
        });
    }
    if let Some(s) = of.filter(|s| !traffic.link_spans.contains(s)) {
        verdicts.push(unknown(
            format!("span.{}", line.spans[s.0].id),
            "this span has no link",
        ));
    }
    verdicts
}

fn load(
    line: &Line,
    traffic: &Traffic,
    streams: &Streams,
    l: usize,
) -> Result<(f64, String), String> {
    let link = traffic.topology.links()[l];
    let mtu = traffic.topology.mtu_bytes();
    // Busy share from a to b, and back.
    let mut busy = [0.0f64; 2];
    let mut who: [Vec<String>; 2] = [Vec::new(), Vec::new()];
    for (flow, (module, topic)) in streams.flows.iter().zip(&streams.of) {
        let mut directions = BTreeSet::new();
        for target in &flow.targets {
            let mut at = flow.node;
            for step in traffic
                .topology
                .route(flow.node, *target)
                .unwrap_or_default()
            {
                let hop = traffic.topology.links()[step];
                let forth = hop.a == at;
                at = if forth { hop.b } else { hop.a };
                if step == l {
                    directions.insert(usize::from(!forth));
                }
            }
        }
        for d in directions {
            let name = &line.topics[topic.0].name;
            let limit = flow.at_most.ok_or_else(|| {
                format!(
                    "topic \"{name}\" of {} has no `at_most`",
                    line.module_path(*module)
                )
            })?;
            let fragments = fragment_count(flow.bytes, mtu).map_err(|e| e.to_string())?;
            let time = |bytes| {
                frame_time(
                    bytes,
                    link.overhead_bytes,
                    link.min_payload_bytes,
                    link.rate_bps,
                )
                .map(timeline::Ns::as_s_f64)
            };
            let last = flow.bytes - (fragments - 1) * mtu.min(flow.bytes);
            let message_s = f64::from(fragments - 1) * time(mtu).map_err(|e| e.to_string())?
                + time(last).map_err(|e| e.to_string())?;
            busy[d] += message_s * f64::from(limit.messages()) / limit.per().as_s_f64();
            who[d].push(format!("{name} of module.{}", line.modules[module.0].id));
        }
    }
    let d = usize::from(busy[1] > busy[0]);
    let to = if d == 0 { link.b } else { link.a };
    let carried = if who[d].is_empty() {
        "nothing".to_owned()
    } else {
        who[d].join(", ")
    };
    Ok((
        busy[d],
        format!("towards module.{}: {carried}", line.modules[to].id),
    ))
}

/// Each link against the longest length that its standard calls for.
pub(crate) fn link_reach(line: &Line) -> Vec<Verdict> {
    let mut verdicts = Vec::new();
    for span in &line.spans {
        let Some(link) = span.link.as_ref().filter(|l| l.rate_bps.is_none()) else {
            continue;
        };
        let subject = format!("span.{}", span.id);
        verdicts.push(match LinkStandard::by_name(&link.standard) {
            Err(error) => unknown(subject, error.to_string()),
            Ok(standard) => {
                let against = Against {
                    side: Side::AtMost,
                    limit: standard.longest_m,
                    narrow: 0.0,
                    unit: "m".to_owned(),
                };
                let evidence = Evidence::computed(
                    "longest length of the link's standard",
                    &(span.length_m, standard),
                );
                against.judge(subject, span.length_m, evidence, standard.source.to_owned())
            }
        });
    }
    verdicts
}
