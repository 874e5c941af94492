//! Scenarios: read from the reference files, drawn at random, and run.

use network::{
    Access, AtMost, BusSpec, CanIds, DelayBound, Delivery, Dropped, Filter, Flow, HopRecord,
    LinkSpec, LinkState, Machine, NodeState, Publication, Stats, TopicName, Topology, Wire,
    delay_bounds,
};
use serde_json::Value;
use timeline::{Class, Ns};

#[derive(Clone, Debug)]
pub(crate) struct Scenario {
    pub(crate) topology: Topology,
    pub(crate) subscriptions: Vec<(usize, String)>,
    pub(crate) streams: Vec<Stream>,
    pub(crate) faults: Vec<(u64, Fault)>,
}

#[derive(Clone, Debug)]
pub(crate) struct Stream {
    pub(crate) node: usize,
    pub(crate) topic: String,
    pub(crate) bytes: u32,
    pub(crate) priority: u8,
    pub(crate) period_ns: u64,
    pub(crate) offset_ns: u64,
    pub(crate) count: u64,
}

#[derive(Clone, Copy, Debug)]
pub(crate) enum Fault {
    Link(usize, LinkState),
    Node(usize, NodeState),
    Bus(usize, LinkState),
}

/// Where within an instant, and in which order, publications are handed in.
#[derive(Clone, Copy, Debug)]
pub(crate) enum HandIn {
    BeforeArrivals,
    AfterArrivalsShuffled(u64),
}

#[derive(Debug)]
pub(crate) struct Run {
    pub(crate) delivered: Vec<Delivery>,
    pub(crate) dropped: Vec<Dropped>,
    pub(crate) hops: Vec<HopRecord>,
    pub(crate) stats: Stats,
}

pub(crate) fn reference(name: &str) -> Value {
    truth::json(&format!("network/{name}"))
}

pub(crate) fn int(value: &Value) -> u64 {
    value.as_u64().unwrap()
}

pub(crate) fn list(value: &Value) -> &Vec<Value> {
    value.as_array().unwrap()
}

fn small(value: &Value) -> u32 {
    u32::try_from(int(value)).unwrap()
}

pub(crate) fn read_scenario(value: &Value) -> Scenario {
    let links = list(&value["links"])
        .iter()
        .map(|link| LinkSpec {
            a: int(&link["a"]) as usize,
            b: int(&link["b"]) as usize,
            rate_bps: int(&link["rate_bps"]),
            propagation: Ns(int(&link["prop_ns"])),
            overhead_bytes: small(&link["overhead_bytes"]),
            min_payload_bytes: small(&link["min_payload_bytes"]),
            bits_per_byte: 8,
            lead: Ns::ZERO,
        })
        .collect();
    let processing = list(&value["proc_ns"])
        .iter()
        .map(|ns| Ns(int(ns)))
        .collect();
    let streams = list(&value["streams"])
        .iter()
        .map(|stream| Stream {
            node: int(&stream["node"]) as usize,
            topic: stream["topic"].as_str().unwrap().to_owned(),
            bytes: small(&stream["bytes"]),
            priority: u8::try_from(int(&stream["prio"])).unwrap(),
            period_ns: int(&stream["period_ns"]),
            offset_ns: int(&stream["offset_ns"]),
            count: int(&stream["count"]),
        })
        .collect();
    let faults = list(&value["faults"]).iter().map(read_fault).collect();
    let buses = match &value["bus"] {
        Value::Null => Vec::new(),
        bus => vec![read_bus(bus)],
    };
    Scenario {
        topology: Topology::new(processing, links, small(&value["mtu_bytes"]))
            .unwrap()
            .with_buses(buses)
            .unwrap(),
        subscriptions: list(&value["subs"])
            .iter()
            .map(|sub| {
                (
                    int(&sub["node"]) as usize,
                    sub["filter"].as_str().unwrap().to_owned(),
                )
            })
            .collect(),
        streams,
        faults,
    }
}

fn read_fault(fault: &Value) -> (u64, Fault) {
    let up = fault["up"].as_bool().unwrap();
    let link = if up { LinkState::Up } else { LinkState::Down };
    let node = if up { NodeState::Up } else { NodeState::Down };
    let fault_of = match fault["what"].as_str() {
        None => Fault::Link(int(&fault["link"]) as usize, link),
        Some("bus") => Fault::Bus(int(&fault["which"]) as usize, link),
        Some("node") => Fault::Node(int(&fault["which"]) as usize, node),
        Some(what) => panic!("no such fault: {what}"),
    };
    (int(&fault["at_ns"]), fault_of)
}

fn read_bus(bus: &Value) -> BusSpec {
    let wire = |wire: &Value| Wire::Bytes {
        lead: Ns(int(&wire["lead_ns"])),
        bits_per_byte: small(&wire["bits_per_byte"]),
        overhead_bytes: small(&wire["overhead_bytes"]),
        min_payload_bytes: small(&wire["min_payload_bytes"]),
    };
    if bus["can"] == true {
        return read_can(bus);
    }
    BusSpec {
        stations: list(&bus["stations"])
            .iter()
            .map(|n| int(n) as usize)
            .collect(),
        rate_bps: int(&bus["rate_bps"]),
        propagation: Ns(int(&bus["prop_ns"])),
        wire: wire(&bus["wire"]),
        payload_bytes: small(&bus["payload_bytes"]),
        access: match &bus["by"] {
            Value::Null => Access::Round {
                gap: Ns(int(&bus["gap_ns"])),
            },
            by => Access::Polled {
                by: int(by) as usize,
                request: wire(&bus["request"]),
                turnaround: Ns(int(&bus["turnaround_ns"])),
            },
        },
    }
}

fn read_can(bus: &Value) -> BusSpec {
    let ids = match int(&bus["ids"]) {
        11 => CanIds::Bits11,
        _ => CanIds::Bits29,
    };
    let header_bytes = small(&bus["header_bytes"]);
    BusSpec {
        stations: list(&bus["stations"])
            .iter()
            .map(|n| int(n) as usize)
            .collect(),
        rate_bps: int(&bus["rate_bps"]),
        propagation: Ns(int(&bus["prop_ns"])),
        wire: match bus["data_rate_bps"].as_u64() {
            None => Wire::Can { ids, header_bytes },
            Some(data_rate_bps) => Wire::CanFd {
                ids,
                header_bytes,
                data_rate_bps,
            },
        },
        payload_bytes: small(&bus["payload_bytes"]),
        access: Access::Priority,
    }
}

pub(crate) fn machine(scenario: &Scenario) -> Machine {
    let subscriptions = scenario
        .subscriptions
        .iter()
        .map(|(node, text)| (*node, Filter::parse(text).unwrap()))
        .collect();
    Machine::new(scenario.topology.clone(), subscriptions).unwrap()
}

pub(crate) fn run(scenario: &Scenario, hand_in: HandIn) -> Run {
    run_on(machine(scenario), scenario, hand_in)
}

/// A run on a machine that may have been told more than the scenario says.
pub(crate) fn run_on(mut machine: Machine, scenario: &Scenario, hand_in: HandIn) -> Run {
    let topics: Vec<_> = scenario
        .streams
        .iter()
        .map(|stream| machine.topic(&TopicName::parse(&stream.topic).unwrap()))
        .collect();
    let mut publications = Vec::new();
    for (number, stream) in scenario.streams.iter().enumerate() {
        for seq in 0..stream.count {
            publications.push((stream.offset_ns + seq * stream.period_ns, number, seq));
        }
    }
    if let HandIn::AfterArrivalsShuffled(seed) = hand_in {
        let mut draw = Draw(seed);
        for last in (1..publications.len()).rev() {
            publications.swap(last, draw.below(last as u64 + 1) as usize);
        }
    }
    publications.sort_by_key(|&(at, ..)| at);
    let mut instants: Vec<u64> = publications
        .iter()
        .map(|p| p.0)
        .chain(scenario.faults.iter().map(|f| f.0))
        .collect();
    instants.sort_unstable();
    instants.dedup();
    let mut out = Run {
        delivered: Vec::new(),
        dropped: Vec::new(),
        hops: Vec::new(),
        stats: machine.stats(),
    };
    let mut next = 0;
    for now in instants {
        while machine.next_time().is_some_and(|at| at < Ns(now)) {
            step(&mut machine, &mut out);
        }
        for (_, fault) in scenario.faults.iter().filter(|&&(at, _)| at == now) {
            match *fault {
                Fault::Link(link, state) => machine.set_link(Ns(now), link, state).unwrap(),
                Fault::Node(node, state) => machine.set_node(Ns(now), node, state).unwrap(),
                Fault::Bus(bus, state) => machine.set_bus(Ns(now), bus, state).unwrap(),
            }
        }
        if matches!(hand_in, HandIn::AfterArrivalsShuffled(_)) {
            while machine.next() == Some((Ns(now), Class::Arrive)) {
                step(&mut machine, &mut out);
            }
        }
        while next < publications.len() && publications[next].0 == now {
            let (_, number, seq) = publications[next];
            let stream = &scenario.streams[number];
            machine
                .publish(
                    Ns(now),
                    Publication {
                        node: stream.node,
                        topic: topics[number],
                        bytes: stream.bytes,
                        priority: stream.priority,
                        stream: number as u32,
                        seq,
                    },
                )
                .unwrap();
            next += 1;
        }
    }
    while machine.next_time().is_some() {
        step(&mut machine, &mut out);
    }
    out.dropped.extend(machine.drain_drops());
    out.stats = machine.stats();
    out
}

fn step(machine: &mut Machine, out: &mut Run) {
    let Run {
        delivered,
        dropped,
        hops,
        ..
    } = out;
    machine.step_traced(delivered, |hop| hops.push(*hop));
    dropped.extend(machine.drain_drops());
    let stats = machine.stats();
    assert_eq!(
        stats.copies_due,
        stats.delivered + stats.dropped + stats.in_flight,
        "conservation"
    );
    assert_eq!(stats.delivered, delivered.len() as u64);
    assert_eq!(stats.dropped, dropped.len() as u64);
}

/// splitmix64: Steele, Lea and Flood (2014).
pub(crate) struct Draw(pub(crate) u64);

impl Draw {
    pub(crate) fn word(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    pub(crate) fn below(&mut self, n: u64) -> u64 {
        ((u128::from(self.word()) * u128::from(n)) >> 64) as u64
    }

    pub(crate) fn pick<T: Copy>(&mut self, choices: &[T]) -> T {
        choices[self.below(choices.len() as u64) as usize]
    }

    /// Exponential with this mean.
    pub(crate) fn exponential(&mut self, mean: f64) -> f64 {
        -mean * (((self.word() >> 11) as f64 + 0.5) / (1u64 << 53) as f64).ln()
    }
}

pub(crate) fn link(
    a: usize,
    b: usize,
    rate_bps: u64,
    prop_ns: u64,
    overhead_bytes: u32,
) -> LinkSpec {
    LinkSpec {
        a,
        b,
        rate_bps,
        propagation: Ns(prop_ns),
        overhead_bytes,
        min_payload_bytes: 0,
        bits_per_byte: 8,
        lead: Ns::ZERO,
    }
}

/// A tree (`extra_links` = 0) or mesh on a coarse time grid, so that many things fall on one instant.
pub(crate) fn random_scenario(seed: u64, extra_links: u64, faults: u64) -> Scenario {
    let mut draw = Draw(seed);
    let nodes = 2 + draw.below(7);
    let mut ends: Vec<(u64, u64)> = (1..nodes).map(|node| (draw.below(node), node)).collect();
    for _ in 0..extra_links {
        let a = draw.below(nodes);
        ends.push((a, (a + 1 + draw.below(nodes - 1)) % nodes));
    }
    let props = draw.pick(&[[0, 0], [250, 1_000], [100_000, 700_000]]);
    let links: Vec<LinkSpec> = ends
        .iter()
        .map(|&(a, b)| {
            link(
                a as usize,
                b as usize,
                draw.pick(&[2_000_000, 10_000_000]),
                draw.pick(&props),
                draw.pick(&[25, 86]),
            )
        })
        .collect();
    let procs = draw.pick(&[[0, 0], [20_000, 100_000]]);
    let processing = (0..nodes).map(|_| Ns(draw.pick(&procs))).collect();
    let streams = (0..1 + draw.below(7))
        .map(|_| {
            let node = draw.below(nodes);
            Stream {
                node: node as usize,
                topic: format!("line/n{node}/{}", draw.pick(&["level", "audio"])),
                bytes: draw.pick(&[0, 1, 39, 100, 700, 3000]),
                priority: draw.pick(&[0, 1, 2]),
                period_ns: (1 + draw.below(60)) * 100_000,
                offset_ns: draw.below(10) * 100_000,
                count: 1 + draw.below(9),
            }
        })
        .collect();
    let subscriptions = (0..1 + draw.below(2 * nodes))
        .map(|_| {
            (
                draw.below(nodes) as usize,
                draw.pick(&["line/#", "line/+/level", "#", "+/n1/+"])
                    .to_owned(),
            )
        })
        .collect();
    let mut fault_list: Vec<(u64, Fault)> = (0..faults)
        .map(|_| {
            let at = draw.below(60) * 100_000;
            let fault = if draw.below(2) == 0 {
                Fault::Link(
                    draw.below(links.len() as u64) as usize,
                    draw.pick(&[LinkState::Down, LinkState::Up]),
                )
            } else {
                Fault::Node(
                    draw.below(nodes) as usize,
                    draw.pick(&[NodeState::Down, NodeState::Passes, NodeState::Up]),
                )
            };
            (at, fault)
        })
        .collect();
    fault_list.sort_by_key(|&(at, _)| at);
    Scenario {
        topology: Topology::new(processing, links, 500).unwrap(),
        subscriptions,
        streams,
        faults: fault_list,
    }
}

/// The flows that the streams of a scenario make, each declared at its own period.
pub(crate) fn flows(scenario: &Scenario) -> Vec<Flow> {
    let mut machine = machine(scenario);
    scenario
        .streams
        .iter()
        .map(|stream| {
            let topic = machine.topic(&TopicName::parse(&stream.topic).unwrap());
            Flow {
                node: stream.node,
                targets: machine
                    .subscribers(topic)
                    .unwrap()
                    .iter()
                    .copied()
                    .filter(|&node| node != stream.node)
                    .collect(),
                bytes: stream.bytes,
                priority: stream.priority,
                at_most: Some(AtMost::new(1, Ns(stream.period_ns)).unwrap()),
                late: Some(Ns(0)),
            }
        })
        .collect()
}

/// Runs 400 scenarios and holds each delivery to its bound, where it has a known one; how many had, and the largest share of its bound that one took.
pub(crate) fn runs_within_bounds(scenario: impl Fn(u64) -> Scenario) -> (u32, f64) {
    let (mut checked, mut closest) = (0, 0.0f64);
    for seed in 0..400 {
        let scenario = scenario(seed);
        let flows = flows(&scenario);
        let bounds = delay_bounds(&scenario.topology, &flows).unwrap();
        for d in run(&scenario, HandIn::BeforeArrivals).delivered {
            let flow = d.stream as usize;
            let targets = &flows[flow].targets;
            let place = targets.iter().position(|&node| node == d.node).unwrap();
            if let DelayBound::Known { total, .. } = &bounds[flow][place] {
                let late = d.at.0 - d.published.0;
                assert!(late <= total.0, "seed {seed}: {late} > {total}");
                closest = closest.max(late as f64 / total.0 as f64);
                checked += 1;
            }
        }
    }
    (checked, closest)
}

/// Two to six streams: periods of two steps and up to so many more, offsets of fewer than so many steps, at most so many messages.
pub(crate) fn drawn_streams(
    draw: &mut Draw,
    nodes: u64,
    (periods, period_step_ns): (u64, u64),
    (offsets, offset_step_ns): (u64, u64),
    messages: u64,
) -> Vec<Stream> {
    (0..2 + draw.below(5))
        .map(|_| {
            let node = draw.below(nodes);
            Stream {
                node: node as usize,
                topic: format!("line/n{node}/{}", draw.pick(&["level", "audio"])),
                bytes: draw.pick(&[0, 1, 7, 8, 20, 60]),
                priority: draw.pick(&[0, 1, 2]),
                period_ns: (2 + draw.below(periods)) * period_step_ns,
                offset_ns: draw.below(offsets) * offset_step_ns,
                count: 1 + draw.below(messages),
            }
        })
        .collect()
}

pub(crate) fn drawn_subscriptions(draw: &mut Draw, nodes: u64) -> Vec<(usize, String)> {
    (0..1 + draw.below(nodes))
        .map(|_| {
            let filter = draw.pick(&["line/#", "line/+/level", "#"]).to_owned();
            (draw.below(nodes) as usize, filter)
        })
        .collect()
}
