//! Delays: from a sound at a hydrophone, over detector, behaviours and links, to an output, a module or the shore.

use std::collections::BTreeSet;

use detect::{Confirm, Detector, Stage};
use network::{DelayBound, HopBound, Medium, WhyUnknown, delay_bounds};
use plan::{
    Action, BehaviourIx, DelayEnd, DelayFrom, DetectorIx, Line, ModuleIx, NoticeKind, Q,
    Requirement, TopicIx, VoteIx, When,
};
use quantity::{EventRate, SECONDS_PER_DAY, show_number};
use timeline::Ns;

use crate::input::{
    Rates, SECONDS_PER_HOUR, Streams, Traffic, detector_spec, expected_rates, published_per_h,
    sooner_share, streams, succeeds, traffic, uplink_spec, vote_spec,
};
use crate::loss_verdicts::copy_lost;
use crate::month::UnderLoad;
use crate::uplink_delay::ashore;
use crate::uplink_load::sent_up;
use crate::verdict::{Against, Evidence, Side, Verdict, unknown};

/// A delay closer to its limit than this is marginal, s.
pub(crate) const NARROW_S: f64 = 0.1;
const DELAY_METHOD: &str = "detector latency, network-calculus bound, uplink queue (docs/method/assess.md; Le Boudec & Thiran 2001)";
const SHARED_METHOD: &str = "detector latency, network-calculus bound, response times on CAN, rounds of polled buses, uplink queue (docs/method/assess.md, docs/method/network.md; Le Boudec & Thiran 2001; Davis and others 2007)";

/// Where a requirement on a delay asks for no share, so large a share must come through what bit errors lose (common practice).
const MOST_COME: f64 = 0.99;
/// Bit errors that lose less than this are not told.
const TOLD_LOSS: f64 = 1e-6;

/// A way from a notice to an end: how long it takes, step by step.
#[derive(Clone, Debug)]
struct Way {
    seconds: f64,
    steps: Vec<String>,
    /// Which share of what is expected goes this way: limits drop the rest.
    kept: f64,
    /// Which share of that comes through: bit errors lose the rest, or the uplink is off.
    comes: f64,
}

impl Way {
    fn and(&self, seconds: f64, step: String) -> Way {
        let mut steps = self.steps.clone();
        steps.push(step);
        Way {
            seconds: self.seconds + seconds,
            steps,
            kept: self.kept,
            comes: self.comes,
        }
    }

    /// The same past a limit that lets so many an hour through of those that are expected.
    fn limited(&self, path: &str, at_most: EventRate, asked_per_h: f64) -> Way {
        let most_per_h = at_most.count / at_most.per_s * SECONDS_PER_HOUR;
        if asked_per_h <= most_per_h {
            return self.clone();
        }
        let per_d = |per_h: f64| show_number(per_h * SECONDS_PER_DAY / SECONDS_PER_HOUR);
        let step = format!(
            "the `at_most` of {path} lets {} a day through of {} that are expected, and drops the others",
            per_d(most_per_h),
            per_d(asked_per_h)
        );
        let mut way = self.and(0.0, step);
        way.kept *= most_per_h / asked_per_h;
        way
    }

    /// The same where only a share of what goes comes through.
    fn through(mut self, share: f64) -> Way {
        self.comes *= share;
        self
    }
}

struct Search<'a, 'm> {
    line: &'a Line,
    traffic: Option<&'a Traffic>,
    streams: Streams,
    bounds: Vec<Vec<DelayBound>>,
    to: DelayEnd,
    share: Option<f64>,
    at_most_s: f64,
    /// Only up to this wind.
    wind_at_most_m_s: Option<f64>,
    load: &'a mut UnderLoad<'m>,
    /// What is expected of behaviours; `None` where the plan does not say.
    rates: Option<Rates>,
    /// Behaviours that are known to start, each with a way to it, until the soonest of them has been followed.
    open: Vec<(Way, BehaviourIx)>,
    found: Option<Way>,
    why_not: BTreeSet<String>,
}

/// Time from a sound at a hydrophone to an end, at most.
pub(crate) fn delay(
    line: &Line,
    from: DelayFrom,
    to: DelayEnd,
    at_most_s: Q,
    requirement: &Requirement,
    load: &mut UnderLoad<'_>,
) -> Verdict {
    let end = match to {
        DelayEnd::Output(o) => line.output_path(o),
        DelayEnd::Module(m) => line.module_path(m),
        DelayEnd::Uplink(u) => format!("uplink.{}", line.uplinks[u.0].id),
    };
    let subject = match from {
        DelayFrom::Notice(d, _) => format!("detector.{} to {end}", line.detectors[d.0].id),
        DelayFrom::Vote(v) => format!("vote.{} to {end}", line.votes[v.0].id),
    };
    match delay_bound(line, from, to, (at_most_s.si, requirement), load) {
        Err(why) => unknown(subject, why),
        Ok((way, inputs)) => {
            let against = Against {
                side: Side::AtMost,
                limit: at_most_s.si,
                narrow: NARROW_S,
                unit: "s".to_owned(),
            };
            let shared = |link: &plan::Link| !crate::input::alone(link);
            let mut own = line.spans.iter().filter_map(|s| s.link.as_ref());
            let method = match !line.buses.is_empty() || own.any(shared) {
                true => SHARED_METHOD,
                false => DELAY_METHOD,
            };
            let evidence = Evidence::computed(method, &(&subject, inputs));
            // What is sent ashore is told apart from what is heard; what lights a lamp must light it each time.
            let share = requirement.share.map_or(1.0, |q| q.si);
            let each = !matches!(to, DelayEnd::Uplink(_));
            if each && way.kept < share {
                let against = Against {
                    side: Side::AtLeast,
                    limit: 100.0 * share,
                    narrow: 0.0,
                    unit: "% of what is expected".to_owned(),
                };
                return against.judge(subject, 100.0 * way.kept, evidence, way.steps.join(", "));
            }
            let asked = requirement.share.map_or(MOST_COME, |q| q.si);
            let comes = match each {
                true => way.kept * way.comes,
                false => way.comes,
            };
            if way.comes < 1.0 && comes < asked {
                let against = Against {
                    side: Side::AtLeast,
                    limit: 100.0 * asked,
                    narrow: 0.0,
                    unit: match each {
                        true => "% of what is expected".to_owned(),
                        false => "% of what is sent up".to_owned(),
                    },
                };
                return against.judge(subject, 100.0 * comes, evidence, way.steps.join(", "));
            }
            let of = match !each && way.kept < 1.0 {
                true => "of what is sent up: ",
                false => "",
            };
            let why = format!("{of}{}", way.steps.join(", "));
            against.judge(subject, way.seconds, evidence, why)
        }
    }
}

fn delay_bound(
    line: &Line,
    from: DelayFrom,
    to: DelayEnd,
    (at_most_s, requirement): (f64, &Requirement),
    load: &mut UnderLoad<'_>,
) -> Result<(Way, String), String> {
    let share = requirement.share.map(|q| q.si);
    let wind_at_most_m_s = requirement.when_wind_at_most_m_s.map(|q| q.si);
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
    let first = match from {
        DelayFrom::Notice(detector, notice) => heard(line, detector, notice)?,
        DelayFrom::Vote(vote) => {
            let words = |why: &WhyUnknown| why_unknown(line, traffic.as_ref(), &streams, why);
            voted(line, vote, (traffic.as_ref(), &streams), &bounds, words)?
        }
    };
    let mut inputs = format!("{first:?} {share:?} {:?}", streams.crossing());
    if let Some(t) = &traffic {
        inputs.push_str(&format!("{:?}", t.topology));
    }
    if let DelayEnd::Uplink(u) = to {
        let success = succeeds(line, u, wind_at_most_m_s);
        inputs.push_str(&format!(
            "{:?} {success:?} {:?}",
            uplink_spec(line, u),
            sent_up(line, u)
        ));
    }
    let talk = traffic.as_ref().zip(Some(&streams));
    let rates = expected_rates(line, talk);
    let mut search = Search {
        line,
        traffic: traffic.as_ref(),
        streams,
        bounds,
        to,
        share,
        at_most_s,
        wind_at_most_m_s,
        load,
        rates,
        open: Vec::new(),
        found: None,
        why_not: BTreeSet::new(),
    };
    for (i, b) in line.behaviours.iter().enumerate() {
        let starts = match (&b.when, from) {
            (When::Heard { detector, notice }, DelayFrom::Notice(d, n)) => {
                *detector == d && *notice == n
            }
            (When::Voted { vote }, DelayFrom::Vote(v)) => *vote == v,
            _ => false,
        };
        if starts {
            search.open.push((first.clone(), BehaviourIx(i)));
        }
    }
    search.run();
    match search.found {
        Some(way) => {
            let inputs = format!("{inputs} {way:?}");
            Ok((way, inputs))
        }
        None if search.why_not.is_empty() => {
            Err("no behaviour leads from there to that end".to_owned())
        }
        None => Err(search.why_not.into_iter().collect::<Vec<_>>().join("; ")),
    }
}

fn heard(line: &Line, detector: DetectorIx, notice: NoticeKind) -> Result<Way, String> {
    let seconds = latency_s(line, detector, notice)?;
    Ok(Way {
        seconds,
        steps: vec![format!(
            "{seconds:.3} s until detector.{} can tell",
            line.detectors[detector.0].id
        )],
        kept: 1.0,
        comes: 1.0,
    })
}

/// From the sound at the first ear until a vote is carried: the latest of its detectors, counted from the sound at its own
/// ear, to the module that counts; and the longest time between two that count, by which the sound may reach that ear later.
fn voted(
    line: &Line,
    vote: VoteIx,
    (traffic, streams): (Option<&Traffic>, &Streams),
    bounds: &[Vec<DelayBound>],
    words: impl Fn(&WhyUnknown) -> String,
) -> Result<Way, String> {
    let v = &line.votes[vote.0];
    let spec = vote_spec(line, vote).map_err(|e| e.to_string())?;
    let mut latest: Option<Way> = None;
    let mut all_come = 1.0;
    for detector in &v.of {
        let mut way = heard(line, *detector, NoticeKind::Confirmed)?;
        let module = line.detectors[detector.0].on.module;
        if module != v.on {
            let mut soonest: Option<(f64, String, f64)> = None;
            let mut why_not = None;
            for (_, topic) in line.tellers(*detector) {
                let Some(flow) = streams.of.iter().position(|f| *f == (module, topic)) else {
                    continue;
                };
                let targets = &streams.flows[flow].targets;
                let Some(t) = targets.iter().position(|t| *t == v.on.0) else {
                    continue;
                };
                match &bounds[flow][t] {
                    DelayBound::Unknown(why) => why_not = Some(words(why)),
                    DelayBound::Known { total, .. } => {
                        let seconds = total.as_s_f64();
                        if soonest.as_ref().is_none_or(|(s, ..)| seconds < *s) {
                            let lost = match traffic {
                                Some(traffic) => {
                                    copy_lost(traffic, &streams.flows[flow], topic, v.on.0)?
                                }
                                None => 0.0,
                            };
                            soonest = Some((seconds, line.topics[topic.0].name.clone(), lost));
                        }
                    }
                }
            }
            let (seconds, name, lost) = soonest.ok_or_else(|| {
                why_not.unwrap_or_else(|| {
                    format!(
                        "no message of detector.{} reaches module.{}",
                        line.detectors[detector.0].id, line.modules[v.on.0].id
                    )
                })
            })?;
            way = way
                .and(
                    seconds,
                    format!(
                        "{:.3} ms at most for {name} to module.{}{}",
                        1e3 * seconds,
                        line.modules[v.on.0].id,
                        lost_words(lost)
                    ),
                )
                .through(1.0 - lost);
            all_come *= 1.0 - lost;
        }
        if latest.as_ref().is_none_or(|l| way.seconds > l.seconds) {
            latest = Some(way);
        }
    }
    let mut latest = latest.ok_or_else(|| format!("vote.{} has no detectors", v.id))?;
    // Any of them may be the one that is missing.
    latest.comes = all_come;
    let within_s = Ns(spec.within).as_s_f64();
    Ok(latest.and(
        within_s,
        format!(
            "{:.3} ms at most between the ears of vote.{}",
            1e3 * within_s,
            v.id
        ),
    ))
}

/// Longest time from the beginning of a sound to the notice, s.
fn latency_s(line: &Line, detector: DetectorIx, notice: NoticeKind) -> Result<f64, String> {
    let mut spec = detector_spec(line, detector, None).map_err(|e| e.to_string())?;
    let id = &line.detectors[detector.0].id;
    if notice == NoticeKind::Onset {
        // A judgement comes after the event; its onset has been told long before.
        spec.stages
            .retain(|stage| !matches!(stage, Stage::Likely { .. }));
    }
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

impl Search<'_, '_> {
    /// Of ways that let as much through the soonest; one that lets more through goes before.
    fn arrived(&mut self, way: Way) {
        let better = |f: &Way| way.kept > f.kept || way.kept == f.kept && way.seconds < f.seconds;
        if self.found.as_ref().is_none_or(better) {
            self.found = Some(way);
        }
    }

    /// Follows the soonest open behaviour until none is left (Dijkstra 1959): no step takes less than no time, so the first way
    /// to a behaviour is its shortest.
    fn run(&mut self) {
        let mut followed = vec![false; self.line.behaviours.len()];
        loop {
            let soonest = (0..self.open.len())
                .min_by(|a, b| self.open[*a].0.seconds.total_cmp(&self.open[*b].0.seconds));
            let Some(soonest) = soonest else { break };
            let (way, behaviour) = self.open.remove(soonest);
            if !std::mem::replace(&mut followed[behaviour.0], true) {
                self.follow(behaviour, &way);
            }
        }
    }

    fn follow(&mut self, behaviour: BehaviourIx, way: &Way) {
        let b = &self.line.behaviours[behaviour.0];
        let way = &match (b.at_most, &self.rates) {
            (Some(limit), Some(rates)) => {
                let path = format!("behaviour.{}", b.id);
                way.limited(&path, limit, rates.asked[behaviour.0])
            }
            _ => way.clone(),
        };
        for action in &b.actions {
            match action {
                Action::Switch {
                    output, on: true, ..
                } if self.to == DelayEnd::Output(*output) => self.arrived(way.clone()),
                Action::SendUp { uplink, topic, .. } if self.to == DelayEnd::Uplink(*uplink) => {
                    match ashore(
                        self.line,
                        *uplink,
                        *topic,
                        self.share,
                        self.wind_at_most_m_s,
                        (self.at_most_s - way.seconds, &mut *self.load),
                    ) {
                        Ok((seconds, step, on)) => {
                            self.arrived(way.and(seconds, step).through(on));
                        }
                        Err(why) => {
                            self.why_not.insert(why);
                        }
                    }
                }
                Action::Publish { topic, .. } => self.publish(b.on, *topic, way),
                Action::Ask { request, .. } => {
                    let id = &self.line.requests[request.0].id;
                    self.why_not
                        .insert(format!("ways over request.{id} are not followed"));
                }
                _ => {}
            }
        }
    }

    fn publish(&mut self, module: ModuleIx, topic: TopicIx, way: &Way) {
        let Some(flow) = self.streams.of.iter().position(|f| *f == (module, topic)) else {
            if self.traffic.is_none() {
                self.why_not
                    .insert("the plan has no [traffic], so no message gets anywhere".to_owned());
            }
            return;
        };
        let way = &match (self.line.topics[topic.0].at_most, &self.rates) {
            (Some(limit), Some(rates)) => {
                let asked = published_per_h(self.line, &rates.runs, module, topic);
                let path = format!("topic \"{}\"", self.line.topics[topic.0].name);
                way.limited(&path, limit, asked)
            }
            _ => way.clone(),
        };
        let targets = self.streams.flows[flow].targets.clone();
        for (t, target) in targets.into_iter().enumerate() {
            let (seconds, hops) = match &self.bounds[flow][t] {
                DelayBound::Known { total, hops } => (total.as_s_f64(), hops),
                DelayBound::Unknown(why) => {
                    let why = self.words(why);
                    self.why_not.insert(why);
                    continue;
                }
            };
            let name = &self.line.topics[topic.0].name;
            let lost = match self.lost(flow, topic, target) {
                Ok(lost) => lost,
                Err(why) => {
                    self.why_not.insert(why);
                    continue;
                }
            };
            let next = way
                .and(
                    seconds,
                    format!(
                        "{:.3} ms at most for {name} to module.{}{}{}",
                        1e3 * seconds,
                        self.line.modules[target].id,
                        self.errors_on_the_way(hops),
                        lost_words(lost)
                    ),
                )
                .through(1.0 - lost);
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
                    self.open.push((next.clone(), BehaviourIx(i)));
                }
            }
        }
    }

    /// Chance that bit errors lose a copy on its way to one of its targets.
    fn lost(&self, flow: usize, topic: TopicIx, target: usize) -> Result<f64, String> {
        match self.traffic {
            Some(traffic) => copy_lost(traffic, &self.streams.flows[flow], topic, target),
            None => Ok(0.0),
        }
    }

    /// On what a bound rests where buses on the way send again what bit errors hit.
    fn errors_on_the_way(&self, hops: &[HopBound]) -> String {
        let Some(traffic) = self.traffic else {
            return String::new();
        };
        let mut all = String::new();
        for hop in hops {
            let Medium::Bus(bus) = hop.over else { continue };
            let Some(apart) = traffic.topology.errors_apart(bus) else {
                continue;
            };
            let carrier = traffic.shared[bus];
            let share = carrier.link(self.line).and_then(sooner_share);
            let sooner = share.map_or_else(String::new, |share| {
                let percent = show_number(100.0 * share);
                format!(", and by its `bit_error_rate` {percent} % are not")
            });
            all.push_str(&format!(
                " (if errors on {} are {} apart{sooner})",
                carrier.path(self.line),
                quantity::show(apart.as_s_f64(), quantity::Dimension::Time)
            ));
        }
        all
    }

    fn words(&self, why: &WhyUnknown) -> String {
        why_unknown(self.line, self.traffic, &self.streams, why)
    }
}

/// What bit errors lose of copies, behind what is told of their way.
fn lost_words(lost: f64) -> String {
    match lost > TOLD_LOSS {
        true => format!(", of which bit errors lose {} %", show_number(100.0 * lost)),
        false => String::new(),
    }
}

/// A flow of which nobody says how often it sends.
pub(crate) fn unlimited(line: &Line, streams: &Streams, flow: usize) -> String {
    match streams.of.get(flow) {
        Some((module, topic)) => format!(
            "topic \"{}\" of {} has no `at_most`",
            line.topics[topic.0].name,
            line.module_path(*module)
        ),
        None => format!("nothing limits {}", streams.name(line, flow)),
    }
}

/// Why a bound is unknown, in words.
pub(crate) fn why_unknown(
    line: &Line,
    traffic: Option<&Traffic>,
    streams: &Streams,
    why: &WhyUnknown,
) -> String {
    let over = |over: &Medium| traffic.map_or_else(String::new, |t| t.path_of(line, *over));
    let shared = |bus: &usize| over(&Medium::Bus(*bus));
    match why {
        WhyUnknown::NoLimitDeclared { flow } => {
            let why = unlimited(line, streams, *flow);
            format!("{why}, so nothing that shares its way has a bound")
        }
        WhyUnknown::LateWithoutEnd { flow } => {
            let name = streams.name(line, *flow);
            match streams.endless.get(flow) {
                Some((_, WhyUnknown::LateWithoutEnd { .. })) | None => format!(
                    "{name} may be late without end, because what they answer or follow may, so nothing that shares their way has a bound"
                ),
                Some((of, root)) => {
                    let root = why_unknown(line, traffic, streams, root);
                    format!(
                        "{name} may be late without end, because they follow {}, for which there is no bound: {root}",
                        streams.name(line, *of)
                    )
                }
            }
        }
        WhyUnknown::Overloaded {
            link,
            to,
            asked_bps,
            rate_bps,
        } => format!(
            "{} is asked for {asked_bps} bit/s towards {} and has {rate_bps} bit/s",
            over(&Medium::Link(*link)),
            line.module_path(ModuleIx(*to))
        ),
        WhyUnknown::BitErrors { bus } => format!(
            "{0} sends again what bit errors hit, and its `bit_error_rate` says nothing of how often that is at most, so nothing that shares its way has a bound: write `errors_apart = \"100 ms\"` at {0}, the least time between two errors that you assume, or write `bit_error_rate = 0` to judge it without errors, and rehearse them with a fault of kind `bit-errors`",
            shared(bus)
        ),
        WhyUnknown::NoTurns { bus } => format!(
            "nobody says who may speak when on {}: where one module asks the others, `polled_by` names it",
            shared(bus)
        ),
        WhyUnknown::BusFull { bus, asked_ppm } => {
            let apart = traffic.and_then(|t| t.topology.errors_apart(*bus));
            let again = apart.map_or_else(String::new, |apart| {
                format!(
                    ", with the recovery and the frame sent again for an error each {} (`errors_apart`): state a longer time between errors, or ask it for less",
                    quantity::show(apart.as_s_f64(), quantity::Dimension::Time)
                )
            });
            format!(
                "{} is asked for {:.1} % of its time{again}",
                shared(bus),
                *asked_ppm as f64 / 1e4
            )
        }
        WhyUnknown::Ring { over: at, flow } => format!(
            "messages that cross links or buses one after another in both directions wait for each other, and no bound was found that holds for all at once: at {} {} would be held for longer than its limit counts; lower the `at_most` or the size of what crosses there, give what crosses in one direction the better `priority`, or raise a `link_rate`",
            over(at),
            streams.name(line, *flow)
        ),
    }
}
