//! What the page draws of the line: modules at their depths, sections, spans with what they carry, and the ways of messages.

use std::collections::BTreeMap;

use assess::{
    Check, HopLatency, LineVoltages, LinkLoad, SpanOhms, TopicWays, line_voltages, link_loads,
    span_ohms, spoilt_links, spoilt_power, topic_ways,
};
use plan::{
    Line, Load, Module, ModuleIx, OutputKind, Position, Reading, Section, SectionEnd, SensorKind,
    Site, Span, SupplyKind,
};
use serde_json::{Value, json};

use crate::offsets::Places;

/// The drawing of a plan that gives a line; null of one that gives none.
pub(crate) fn drawing(reading: &Reading, check: &Check) -> Value {
    let Some(line) = &reading.line else {
        return Value::Null;
    };
    let of = Drawn {
        line,
        places: Places::of(&reading.sources),
        subjects: subjects(check),
        written: conductors(reading),
    };
    // What a mistake reaches is unknown here as it is in the verdicts: what is left of the line is another line.
    let (no_power, no_links) = (spoilt_power(reading, line), spoilt_links(reading, line));
    let voltages = match &no_power {
        Some(why) => LineVoltages::unknown(line, why),
        None => line_voltages(line),
    };
    let ohms = match no_power {
        Some(why) => Err(why),
        None => span_ohms(line),
    };
    let (loads, ways) = match no_links {
        Some(why) => (Err(why.clone()), Err(why)),
        None => (link_loads(line), topic_ways(line)),
    };
    let float_depths = float_depths(line);
    let (ways, ways_unknown) = match ways {
        Ok(ways) => (ways, None),
        Err(why) => (TopicWays::default(), Some(why)),
    };
    let modules = line.modules.iter().enumerate();
    let spans = line.spans.iter().enumerate();
    let spans = spans.map(|(s, span)| {
        let ohms = match &ohms {
            Ok(all) => Ok(all.get(s).copied().flatten()),
            Err(why) => Err(why.as_str()),
        };
        of.span(span, ohms, &loads, &ways.hops)
    });
    json!({
        "water_depth_m": line.sea.water_depth_m.si,
        "modules": modules.map(|(m, one)| of.module(m, one, &voltages)).collect::<Vec<_>>(),
        "not_carried": voltages.not_carried,
        "sections": line.sections.iter().map(|s| of.section(s)).collect::<Vec<_>>(),
        "spans": spans.collect::<Vec<_>>(),
        "buses": line.buses.iter().map(|bus| {
            let path = format!("bus.{}", bus.id);
            let mut told = of.thing(&path, bus.at);
            told["link"] = json!(bus.link.standard);
            carried(&mut told, (&path, true), &loads, &ways.hops);
            told
        }).collect::<Vec<_>>(),
        "supplies": line.supplies.iter().map(|supply| {
            let mut told = of.thing(&format!("supply.{}", supply.id), supply.at);
            told["module"] = json!(line.module_path(supply.module));
            told["kind"] = json!(supply_kind(supply.kind));
            told["voltage_v"] = json!(supply.voltage_v.si);
            told["current_limit_a"] = json!(supply.current_limit_a.map(|q| q.si));
            told
        }).collect::<Vec<_>>(),
        "anchors": line.anchors.iter().map(|anchor| {
            let mut told = of.thing(&format!("anchor.{}", anchor.id), anchor.at);
            told["depth_m"] = json!(line.sea.water_depth_m.si);
            told
        }).collect::<Vec<_>>(),
        "floats": line.floats.iter().zip(float_depths).map(|(float, depth_m)| {
            let mut told = of.thing(&format!("float.{}", float.id), float.at);
            let at = float.position.map(|p| of.position(p));
            told["position"] = at.unwrap_or(Value::Null);
            told["depth_m"] = json!(depth_m);
            told["buoyancy_n"] = json!(float.buoyancy_n.map(|q| q.si));
            told
        }).collect::<Vec<_>>(),
        "weights": line.weights.iter().map(|weight| {
            let mut told = of.thing(&format!("weight.{}", weight.id), weight.at);
            told["position"] = of.position(weight.position);
            told
        }).collect::<Vec<_>>(),
        "uplinks": line.uplinks.iter().map(|uplink| {
            let mut told = of.thing(&format!("uplink.{}", uplink.id), uplink.at);
            told["module"] = json!(line.module_path(uplink.module));
            told
        }).collect::<Vec<_>>(),
        "topics": topics(line, &ways),
        "ways_unknown": ways_unknown,
    })
}

/// Depth of each float at an end of a section, m, sections straight down; `None` of one that is clamped to a section, and where an end is not known.
fn float_depths(line: &Line) -> Vec<Option<f64>> {
    let mut found: Vec<Option<f64>> = vec![None; line.floats.len()];
    // Each round comes one float farther from what is known.
    for _ in 0..line.floats.len() {
        for section in &line.sections {
            let depth_m = |end: SectionEnd, found: &[Option<f64>]| match end {
                SectionEnd::Float(f) => found[f],
                _ => line.end_depth_m(end),
            };
            let (top_m, bottom_m) = (depth_m(section.from, &found), depth_m(section.to, &found));
            let length_m = section.length_m.si;
            for (end, depth_m) in [
                (section.from, bottom_m.map(|d| d - length_m)),
                (section.to, top_m.map(|d| d + length_m)),
            ] {
                if let SectionEnd::Float(f) = end {
                    let known = depth_m.filter(|d| d.is_finite() && *d >= 0.0);
                    found[f] = found[f].or(known);
                }
            }
        }
    }
    found
}

struct Drawn<'a> {
    line: &'a Line,
    places: Places<'a>,
    /// Each requirement or standing check with the subjects of its verdicts.
    subjects: Vec<(&'a str, Vec<&'a str>)>,
    /// Conductors by their key path, as they are written.
    written: BTreeMap<String, String>,
}

/// A conductor that a part of the catalogue gives stands at the span that is made of it.
fn conductors(reading: &Reading) -> BTreeMap<String, String> {
    let all = reading.written().into_iter();
    let own = all.filter(|w| w.path.starts_with("span.") && w.path.ends_with(".conductor"));
    own.map(|w| (w.path, w.text.trim_matches(['"', '\'']).to_owned()))
        .collect()
}

fn subjects(check: &Check) -> Vec<(&str, Vec<&str>)> {
    let all = check.requirements.iter().chain(&check.standing);
    all.map(|j| {
        let each = j.verdicts.iter().map(assess::Verdict::subject);
        (j.id.as_str(), each.collect())
    })
    .collect()
}

/// Whether a subject names the thing of a typed path, or something of it.
fn names(subject: &str, path: &str) -> bool {
    let of_id = |c: char| c.is_ascii_alphanumeric() || c == '-' || c == '_';
    subject.match_indices(path).any(|(at, found)| {
        let before = subject[..at].chars().next_back();
        let after = subject[at + found.len()..].chars().next();
        !before.is_some_and(|c| of_id(c) || c == '.') && !after.is_some_and(of_id)
    })
}

impl Drawn<'_> {
    /// What every thing tells: its path, where it is declared, and which verdicts are about it.
    fn thing(&self, path: &str, at: Site) -> Value {
        let all = self.subjects.iter();
        let own = all.filter(|(_, subjects)| subjects.iter().any(|s| names(s, path)));
        json!({
            "path": path,
            "source": self.places.own(at),
            "depends": own.map(|(id, _)| *id).collect::<Vec<_>>(),
        })
    }

    fn position(&self, position: Position) -> Value {
        let section = |ix: plan::SectionIx| format!("section.{}", self.line.sections[ix.0].id);
        match position {
            Position::FromTop {
                section: s,
                length_m,
            } => {
                let (along_m, by) = (length_m.si, "from_top");
                json!({ "section": section(s), "from_top_m": along_m, "written": { "by": by, "length_m": along_m } })
            }
            Position::FromAnchor {
                section: s,
                length_m,
            } => {
                let whole_m = self.line.sections[s.0].length_m.si;
                let (along_m, by) = (length_m.si, "from_anchor");
                json!({ "section": section(s), "from_top_m": whole_m - along_m, "written": { "by": by, "length_m": along_m } })
            }
            Position::Depth(depth_m) => {
                json!({ "depth_m": depth_m.si, "written": { "by": "depth", "length_m": depth_m.si } })
            }
        }
    }

    fn module(&self, m: usize, module: &Module, voltages: &LineVoltages) -> Value {
        let path = self.line.module_path(ModuleIx(m));
        let mut told = self.thing(&path, module.at);
        let states = module.loads.iter().enumerate().map(|(i, load)| {
            let (value, unit) = match load.load {
                Load::Power(q) => (q.si, "W"),
                Load::Current(q) => (q.si, "A"),
                Load::Resistance(q) => (q.si, "ohm"),
            };
            json!({
                "state": load.state,
                "load": { "value": value, "unit": unit },
                "starts": module.starts_in == Some(i),
            })
        });
        let place = self.position(module.position);
        told["name"] = json!(module.id);
        told["part"] = json!(module.part);
        told["depth_m"] = finite(module.depth_m);
        told["straight_depth_m"] = finite(module.straight_depth_m);
        told["section"] = place.get("section").cloned().unwrap_or(Value::Null);
        told["from_top_m"] = place.get("from_top_m").cloned().unwrap_or(Value::Null);
        told["written"] = place["written"].clone();
        told["surface"] = json!(module.hull.is_some() || module.depth_m == 0.0);
        told["rated_depth_m"] = json!(
            module
                .housing
                .as_ref()
                .and_then(|h| h.rated_depth_m)
                .map(|q| q.si)
        );
        told["states"] = states.collect();
        told["voltage"] = match &voltages.modules[m] {
            Ok(v) => json!({
                "lowest_v": v.lowest_v,
                "lowest_with": v.lowest_with,
                "highest_v": v.highest_v,
                "highest_with": v.highest_with,
                "minimum_v": v.minimum_v,
                "maximum_v": v.maximum_v,
                "margin_v": v.margin_v(),
            }),
            Err(why) => json!({ "unknown": why }),
        };
        let sensors = module.sensors.iter().map(|sensor| {
            let path = format!("{path}.sensor.{}", sensor.id);
            let mut told = self.thing(&path, sensor.at);
            told["kind"] = json!(sensor_kind(sensor.kind));
            told
        });
        told["sensors"] = sensors.collect();
        let outputs = module.outputs.iter().map(|output| {
            let path = format!("{path}.output.{}", output.id);
            let mut told = self.thing(&path, output.at);
            told["kind"] = json!(output_kind(output.kind));
            told["starts_on"] = json!(output.starts_on);
            told["power_w"] = json!(output.power_w.map(|q| q.si));
            told
        });
        told["outputs"] = outputs.collect();
        told
    }

    fn section(&self, section: &Section) -> Value {
        let end = |end: SectionEnd| match end {
            SectionEnd::Module(m) => self.line.module_path(m),
            SectionEnd::Float(f) => format!("float.{}", self.line.floats[f].id),
            SectionEnd::Anchor(a) => format!("anchor.{}", self.line.anchors[a].id),
        };
        let mut told = self.thing(&format!("section.{}", section.id), section.at);
        told["from"] = json!(end(section.from));
        told["to"] = json!(end(section.to));
        told["length_m"] = json!(section.length_m.si);
        told
    }

    fn span(
        &self,
        span: &Span,
        ohms: Result<Option<SpanOhms>, &str>,
        loads: &Result<Vec<LinkLoad>, String>,
        hops: &[HopLatency],
    ) -> Value {
        let path = format!("span.{}", span.id);
        let mut told = self.thing(&path, span.at);
        let bus = span.bus.map(|b| format!("bus.{}", self.line.buses[b.0].id));
        told["from"] = json!(self.line.module_path(span.from));
        told["to"] = json!(self.line.module_path(span.to));
        told["length_m"] = finite(span.length_m);
        told["part"] = json!(span.part);
        told["conductor"] = json!(self.written.get(&format!("{path}.conductor")));
        told["link"] = json!(span.link.as_ref().map(|l| &l.standard));
        told["bus"] = json!(bus);
        told["ohms_unknown"] = json!(ohms.err());
        let ohms = ohms.ok().flatten();
        told["wire_ohm"] = json!(ohms.map(|o| o.wire_ohm));
        told["loop_ohm"] = json!(ohms.and_then(|o| o.new_ohm));
        told["aged_loop_ohm"] = json!(ohms.and_then(|o| o.aged_ohm));
        let has_link = span.link.is_some() || bus.is_some();
        let by = bus.as_deref().unwrap_or(&path);
        carried(&mut told, (by, has_link), loads, hops);
        told
    }
}

/// A length that is not known is no number.
fn finite(value: f64) -> Value {
    match value.is_finite() {
        true => json!(value),
        false => Value::Null,
    }
}

/// Why a link without messages has no load.
const NO_TRAFFIC: &str = "the plan does not say how messages are framed: add [traffic]";

/// Load and longest time of a link or a bus.
fn carried(
    told: &mut Value,
    (path, has_link): (&str, bool),
    loads: &Result<Vec<LinkLoad>, String>,
    hops: &[HopLatency],
) {
    let all = loads.as_deref().unwrap_or(&[]);
    let load = all.iter().find(|l| l.path == path).map(|l| &l.share);
    let known = load.and_then(|l| l.as_ref().ok());
    // Of one why none is known, or why its own is not.
    let unknown = load.and_then(|l| l.as_ref().err()).or(loads.as_ref().err());
    let unknown = unknown.map(String::as_str);
    let unknown = unknown.or_else(|| load.is_none().then_some(NO_TRAFFIC));
    told["load_share"] = json!(known.map(|(share, _)| share));
    told["load_of"] = json!(known.map(|(_, what)| what));
    told["load_unknown"] = json!(unknown.filter(|_| has_link));
    let hop = hops.iter().find(|h| h.path == path);
    told["latency_s"] = json!(hop.map(|h| h.longest_s));
    told["latency_of"] = json!(hop.map(|h| &h.of));
}

/// Each topic with each module that publishes it.
fn topics(line: &Line, ways: &TopicWays) -> Vec<Value> {
    let mut all: BTreeMap<(&str, usize), Vec<&assess::TopicWay>> = BTreeMap::new();
    for way in &ways.ways {
        all.entry((&way.topic, way.from.0)).or_default().push(way);
    }
    let each = all.into_iter().map(|((topic, from), ways)| {
        let mut spans: Vec<&str> = ways
            .iter()
            .flat_map(|w| &w.over)
            .map(String::as_str)
            .collect();
        spans.sort_unstable();
        spans.dedup();
        json!({
            "topic": topic,
            "from": line.module_path(ModuleIx(from)),
            "to": ways.iter().map(|w| line.module_path(w.to)).collect::<Vec<_>>(),
            "path_of_spans": spans,
            "ways": ways.iter().map(|w| json!({
                "to": line.module_path(w.to),
                "over": w.over,
                "longest_s": w.longest_s.as_ref().ok(),
                "unknown": w.longest_s.as_ref().err(),
            })).collect::<Vec<_>>(),
        })
    });
    each.collect()
}

fn supply_kind(kind: SupplyKind) -> &'static str {
    match kind {
        SupplyKind::SolarBattery => "solar-battery",
        SupplyKind::Bench => "bench",
        SupplyKind::Vessel => "vessel",
        SupplyKind::Shore => "shore",
        SupplyKind::PrimaryCells => "primary-cells",
    }
}

fn sensor_kind(kind: SensorKind) -> &'static str {
    match kind {
        SensorKind::Hydrophone => "hydrophone",
        SensorKind::Microphone => "microphone",
        SensorKind::Temperature => "temperature",
        SensorKind::Pressure => "pressure",
        SensorKind::Conductivity => "conductivity",
    }
}

fn output_kind(kind: OutputKind) -> &'static str {
    match kind {
        OutputKind::Lamp => "lamp",
        OutputKind::Relay => "relay",
        OutputKind::Sounder => "sounder",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn verif_a_subject_names_a_thing_by_its_whole_path() {
        assert!(names("module.upper", "module.upper"));
        assert!(names("module.upper.sensor.ear", "module.upper"));
        assert!(names(
            "detector.upcall to module.marker.output.lamp",
            "module.marker"
        ));
        assert!(!names("module.upper-2", "module.upper"));
        assert!(!names("module.uppermost", "module.upper"));
        assert!(!names("the line", "module.upper"));
        assert!(!names("old.module.upper", "module.upper"));
    }
}
