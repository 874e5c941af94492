//! What a drawing of the line tells beside the plan itself: voltages, resistances, loads of links, and the ways of its messages.

use network::{DelayBound, delay_bounds};
use plan::{Line, ModuleIx, Reading, SpanIx};
use timeline::Ns;

use crate::delay_verdicts::why_unknown;
use crate::input::{Contacts, electric, streams, traffic};
use crate::power_cases::{cases, sound};
use crate::power_verdicts::extremes;
use crate::reach::Reach;
use crate::verdict::{Verdict, Word};

/// Voltages of the modules over every set of states that matters.
#[derive(Clone, PartialEq, Debug)]
pub struct LineVoltages {
    /// For each module, in the line's order, its voltages or why they are unknown.
    pub modules: Vec<Result<ModuleVoltages, String>>,
    /// What the line does not carry, in words: the voltages are those of the other sets.
    pub not_carried: Vec<String>,
}

/// Voltages at the input of a module, V.
#[derive(Clone, PartialEq, Debug)]
pub struct ModuleVoltages {
    /// Lowest.
    pub lowest_v: f64,
    /// In which set of states.
    pub lowest_with: String,
    /// Highest.
    pub highest_v: f64,
    /// In which set of states.
    pub highest_with: String,
    /// Lowest at which it works.
    pub minimum_v: f64,
    /// Highest that it bears.
    pub maximum_v: f64,
}

impl LineVoltages {
    /// Of a line whose voltages are unknown, and why.
    #[must_use]
    pub fn unknown(line: &Line, why: &str) -> LineVoltages {
        LineVoltages {
            modules: vec![Err(why.to_owned()); line.modules.len()],
            not_carried: Vec::new(),
        }
    }
}

/// Why a mistake of the plan leaves voltages and resistances unknown; `None` where none reaches them.
#[must_use]
pub fn spoilt_power(reading: &Reading, line: &Line) -> Option<String> {
    let reach = Reach { reading, line };
    why_spoilt(reach.spoilt(&reach.electric()))
}

/// The same of loads of links and ways of messages.
#[must_use]
pub fn spoilt_links(reading: &Reading, line: &Line) -> Option<String> {
    let reach = Reach { reading, line };
    why_spoilt(reach.spoilt(&reach.load()))
}

fn why_spoilt(verdict: Option<Verdict>) -> Option<String> {
    match verdict? {
        Verdict::Unknown { subject, why } => Some(format!("{subject}: {why}")),
        Verdict::Known(_) | Verdict::Provisional(_) => None,
    }
}

impl ModuleVoltages {
    /// To the nearer of its own limits, V; negative beyond it.
    #[must_use]
    pub fn margin_v(&self) -> f64 {
        (self.lowest_v - self.minimum_v).min(self.maximum_v - self.highest_v)
    }
}

/// Lowest and highest voltage of every module, as the verdicts on voltages have them.
#[must_use]
pub fn line_voltages(line: &Line) -> LineVoltages {
    let cases = match cases(line) {
        Ok(cases) => cases,
        Err(error) => return LineVoltages::unknown(line, &error.to_string()),
    };
    let (told, good) = sound(line, &cases);
    let words = |verdict: &Verdict| match verdict {
        Verdict::Known(k) => k.why.clone(),
        Verdict::Provisional(p) => p.why.clone(),
        Verdict::Unknown { why, .. } => why.clone(),
    };
    let (missing, not_carried): (Vec<&Verdict>, Vec<&Verdict>) =
        told.iter().partition(|v| v.word() == Word::Unknown);
    let mut not_carried: Vec<String> = not_carried.into_iter().map(words).collect();
    not_carried.extend(cases.falls_out.iter().map(|f| {
        let path = line.module_path(f.module);
        format!("{path} is switched off by its lock-out with {}", f.name)
    }));
    not_carried.dedup();
    let missing: Vec<String> = missing.into_iter().map(words).collect();
    let modules = line.modules.iter().enumerate().map(|(m, module)| {
        let Some(input) = &module.input else {
            return Err("this module has no power input".to_owned());
        };
        let Some((low, high)) = extremes(ModuleIx(m), &good) else {
            return Err(match (&missing[..], &not_carried[..]) {
                ([], []) => "no set of states has an operating point".to_owned(),
                ([], why) | (why, _) => why.join("; "),
            });
        };
        Ok(ModuleVoltages {
            lowest_v: low.1,
            lowest_with: low.0.name.clone(),
            highest_v: high.1,
            highest_with: high.0.name.clone(),
            minimum_v: input.minimum_v.si,
            maximum_v: input.maximum_v.si,
        })
    });
    LineVoltages {
        modules: modules.collect(),
        not_carried,
    }
}

/// Loop resistance of a span, ohm.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct SpanOhms {
    /// Of the conductors alone.
    pub wire_ohm: f64,
    /// With new contacts; `None` where the plan says nothing of its contacts.
    pub new_ohm: Option<f64>,
    /// With aged ones; `None` where the plan does not say how they age.
    pub aged_ohm: Option<f64>,
}

/// Loop resistance of each span in the line's order, conductors at the temperature that the network takes; `None` for one without a conductor.
///
/// # Errors
/// A sentence: why no resistance is known.
pub fn span_ohms(line: &Line) -> Result<Vec<Option<SpanOhms>>, String> {
    let electric = electric(line).map_err(|e| e.to_string())?;
    let each = line.spans.iter().enumerate().map(|(s, span)| {
        let wire_ohm = electric.wire_ohm(SpanIx(s))?;
        let with = |age: Contacts| {
            let contacts = span.contacts?;
            let each_ohm = match (age, contacts.mated_pins_in_loop) {
                (_, 0) => 0.0,
                (Contacts::New, _) => contacts.resistance_ohm.si,
                (Contacts::Aged, _) => contacts.aged_ohm?.si,
            };
            Some(wire_ohm + f64::from(contacts.mated_pins_in_loop) * each_ohm)
        };
        Some(SpanOhms {
            wire_ohm,
            new_ohm: with(Contacts::New),
            aged_ohm: with(Contacts::Aged),
        })
    });
    Ok(each.collect())
}

/// Longest time that a message takes over a link or a bus, with its queue.
#[derive(Clone, PartialEq, Debug)]
pub struct HopLatency {
    /// The typed path of its span or bus.
    pub path: String,
    /// Queueing, transmission, propagation and the far node, at most, s.
    pub longest_s: f64,
    /// Of what: the stream, and the module towards which it goes.
    pub of: String,
}

/// A way of messages of a topic over the line.
#[derive(Clone, PartialEq, Debug)]
pub struct TopicWay {
    /// The topic's name.
    pub topic: String,
    /// The module that publishes it.
    pub from: ModuleIx,
    /// A module that hears it.
    pub to: ModuleIx,
    /// The typed paths of the spans and buses on its way; empty within one module.
    pub over: Vec<String>,
    /// How late it is there at most, s, or why nothing can be promised.
    pub longest_s: Result<f64, String>,
}

/// The ways of all topics, and the longest times over each link.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct TopicWays {
    /// By topic, publisher and hearer in the order of the line.
    pub ways: Vec<TopicWay>,
    /// By path; only of links that some message crosses with a bound.
    pub hops: Vec<HopLatency>,
}

/// Who hears whom, over which spans and how late at most; empty for a line without links.
///
/// # Errors
/// A sentence: why no way is known.
pub fn topic_ways(line: &Line) -> Result<TopicWays, String> {
    let Some(traffic) = traffic(line).map_err(|e| e.to_string())? else {
        return Ok(TopicWays::default());
    };
    let streams = streams(line, &traffic).map_err(|e| e.to_string())?;
    let bounds = match traffic.unknowns.is_empty() {
        true => delay_bounds(&traffic.topology, &streams.flows).map_err(|e| e.to_string()),
        false => Err(traffic.unknowns.join("; ")),
    };
    let mut found = TopicWays::default();
    for (f, flow) in streams.flows.iter().enumerate() {
        let name = || streams.name(line, f);
        for (t, target) in flow.targets.iter().enumerate() {
            let bound = bounds.as_ref().map(|b| &b[f][t]);
            if let Ok(DelayBound::Known { hops, .. }) = bound {
                for hop in hops {
                    let longest = [hop.service, hop.propagation, hop.processing];
                    let longest_s = longest.into_iter().map(Ns::as_s_f64).sum();
                    let path = traffic.path_of(line, hop.over);
                    let of = format!("{} to module.{}", name(), line.modules[hop.to].id);
                    slower(
                        &mut found.hops,
                        HopLatency {
                            path,
                            longest_s,
                            of,
                        },
                    );
                }
            }
            let Some((module, topic)) = streams.of.get(f) else {
                continue;
            };
            let route = traffic.topology.route(flow.node, *target);
            let route = route.unwrap_or_default().into_iter();
            found.ways.push(TopicWay {
                topic: line.topics[topic.0].name.clone(),
                from: *module,
                to: ModuleIx(*target),
                over: route.map(|(over, _)| traffic.path_of(line, over)).collect(),
                longest_s: match bound {
                    Ok(DelayBound::Known { total, .. }) => Ok(total.as_s_f64()),
                    Ok(DelayBound::Unknown(why)) => {
                        Err(why_unknown(line, Some(&traffic), &streams, why))
                    }
                    Err(why) => Err(why.clone()),
                },
            });
        }
    }
    found.hops.sort_by(|a, b| a.path.cmp(&b.path));
    Ok(found)
}

fn slower(hops: &mut Vec<HopLatency>, one: HopLatency) {
    match hops.iter_mut().find(|h| h.path == one.path) {
        Some(held) if held.longest_s < one.longest_s => *held = one,
        Some(_) => {}
        None => hops.push(one),
    }
}
