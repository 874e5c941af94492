//! Streams that the machine sends of itself: against an independent simulator written from the rules in SimPy 4.1.2 (reference/make/network_streams.py), and by what must always hold.

use network::{
    DelayBound, Flow, LinkState, Machine, MachineError, Publication, StreamAsk, StreamId,
    StreamRoom, StreamSource, TopicName, Topology, admit, delay_bounds, stream_limit,
};
use serde_json::Value;
use timeline::{Class, Ns};

use crate::support::{
    Draw, Fault, Run, Scenario, int, link, list, machine, read_scenario, reference,
};
use crate::twin::check_ends;

/// The first stream's number in the twin.
const FIRST: u32 = 1000;

/// A stream and when it runs: from its first packets until it is stopped.
struct Source {
    spec: StreamSource,
    runs: Vec<(u64, u64)>,
}

fn topic(machine: &mut Machine, name: &str) -> network::TopicId {
    machine.topic(&TopicName::parse(name).unwrap())
}

fn sources(machine: &mut Machine, case: &Value) -> Vec<Source> {
    let all = list(&case["scenario"]["sources"]).iter().enumerate();
    let small = |v: &Value| u32::try_from(int(v)).unwrap();
    all.map(|(number, s)| Source {
        spec: StreamSource {
            node: int(&s["node"]) as usize,
            to: int(&s["to"]) as usize,
            topic: topic(machine, &format!("$stream/s{number}")),
            bytes: small(&s["bytes"]),
            burst: small(&s["burst"]),
            beat_num_ns: int(&s["beat_num_ns"]),
            beat_den: int(&s["beat_den"]),
            priority: u8::try_from(int(&s["prio"])).unwrap(),
            stream: FIRST + number as u32,
        },
        runs: list(&s["runs"])
            .iter()
            .map(|run| (int(&run["first_ns"]), int(&run["stop_ns"])))
            .collect(),
    })
    .collect()
}

fn step(machine: &mut Machine, out: &mut Run) {
    let (delivered, hops) = (&mut out.delivered, &mut out.hops);
    machine.step_traced(delivered, |hop| hops.push(*hop));
    out.dropped.extend(machine.drain_drops());
    let stats = machine.stats();
    assert_eq!(
        stats.copies_due,
        stats.delivered + stats.dropped + stats.in_flight,
        "conservation"
    );
}

/// Runs a scenario with streams. With `late_and_reversed` what is handed in at one instant comes in another order, and behind its arrivals.
fn run(
    scenario: &Scenario,
    mut machine: Machine,
    sources: &[Source],
    late_and_reversed: bool,
) -> (Run, Vec<u64>) {
    let topics: Vec<_> = scenario
        .streams
        .iter()
        .map(|s| topic(&mut machine, &s.topic))
        .collect();
    let ids: Vec<StreamId> = sources
        .iter()
        .map(|s| machine.add_stream(s.spec).unwrap())
        .collect();
    let mut instants: Vec<u64> = scenario.faults.iter().map(|f| f.0).collect();
    for s in &scenario.streams {
        instants.extend((0..s.count).map(|k| s.offset_ns + k * s.period_ns));
    }
    let mut runs = sources.iter().flat_map(|s| &s.runs);
    instants.extend(runs.by_ref().flat_map(|run| [run.0, run.1]));
    instants.sort_unstable();
    instants.dedup();
    let mut out = Run {
        delivered: Vec::new(),
        dropped: Vec::new(),
        hops: Vec::new(),
        stats: machine.stats(),
    };
    for now in instants.into_iter().map(Ns) {
        while machine.next_time().is_some_and(|at| at < now) {
            step(&mut machine, &mut out);
        }
        for (_, fault) in scenario.faults.iter().filter(|(at, _)| *at == now.0) {
            match *fault {
                Fault::Link(link, state) => machine.set_link(now, link, state).unwrap(),
                Fault::Node(node, state) => machine.set_node(now, node, state).unwrap(),
                Fault::Bus(bus, state) => machine.set_bus(now, bus, state).unwrap(),
            }
        }
        for (source, id) in sources.iter().zip(&ids) {
            if source.runs.iter().any(|r| r.1 == now.0) {
                machine.stop_stream(now, *id).unwrap();
            }
            if source.runs.iter().any(|r| r.0 == now.0) {
                machine.start_stream(now, *id, now).unwrap();
            }
        }
        while late_and_reversed && machine.next() == Some((now, Class::Arrive)) {
            step(&mut machine, &mut out);
        }
        let all = scenario.streams.iter().enumerate();
        let due = all.filter_map(|(number, s)| {
            let since = now.0.checked_sub(s.offset_ns)?;
            let seq = since / s.period_ns;
            (since % s.period_ns == 0 && seq < s.count).then_some((number, seq))
        });
        let mut due: Vec<(usize, u64)> = due.collect();
        if late_and_reversed {
            due.reverse();
        }
        for (number, seq) in due {
            let s = &scenario.streams[number];
            machine
                .publish(
                    now,
                    Publication {
                        node: s.node,
                        topic: topics[number],
                        bytes: s.bytes,
                        priority: s.priority,
                        stream: number as u32,
                        seq,
                    },
                )
                .unwrap();
        }
    }
    while machine.next_time().is_some() {
        step(&mut machine, &mut out);
    }
    out.dropped.extend(machine.drain_drops());
    out.stats = machine.stats();
    let sent = ids.iter().map(|id| machine.packets_sent(*id).unwrap());
    let sent = sent.collect();
    (out, sent)
}

#[test]
fn val_hundred_random_networks_with_streams_to_the_nanosecond() {
    let file = reference("simpy-streams.json");
    let cases = list(&file["cases"]);
    assert_eq!(cases.len(), 100);
    let (mut delivered, mut dropped, mut packets) = (0, 0, 0);
    for case in cases {
        for late_and_reversed in [false, true] {
            let scenario = read_scenario(&case["scenario"]);
            let mut machine = machine(&scenario);
            let sources = sources(&mut machine, case);
            let (ours, sent) = run(&scenario, machine, &sources, late_and_reversed);
            let theirs: Vec<u64> = list(&case["sent"]).iter().map(int).collect();
            assert_eq!(sent, theirs);
            let ends = check_ends(&ours, case);
            (delivered, dropped) = (delivered + ends.0, dropped + ends.1);
            packets += sent.iter().sum::<u64>();
            let most: Vec<u64> = ours
                .stats
                .directions
                .iter()
                .map(|d| d.most_waiting as u64)
                .collect();
            let theirs: Vec<u64> = list(&case["most_waiting"]).iter().map(int).collect();
            assert_eq!(most, theirs);
        }
    }
    assert!(
        delivered > 10_000 && dropped > 1000 && packets > 6000,
        "{delivered} {dropped} {packets}"
    );
}

fn chain(nodes: usize, rate_bps: u64) -> Topology {
    let links = (1..nodes).map(|n| link(n - 1, n, rate_bps, 500, 86));
    Topology::new(vec![Ns(20_000); nodes], links.collect(), 1500).unwrap()
}

fn one(topic: network::TopicId, burst: u32, beat: (u64, u64)) -> StreamSource {
    StreamSource {
        node: 0,
        to: 1,
        topic,
        bytes: 1500,
        burst,
        beat_num_ns: beat.0,
        beat_den: beat.1,
        priority: 0,
        stream: 7,
    }
}

/// Beats at 0, 333 334, 666 667 and 1 000 000 ns: a third of a millisecond, each at the next whole nanosecond, without drift.
#[test]
fn verif_beats_do_not_drift() {
    let mut machine = Machine::new(chain(2, 1_000_000_000), Vec::new()).unwrap();
    let topic = topic(&mut machine, "$stream/a");
    let id = machine.add_stream(one(topic, 2, (1_000_000, 3))).unwrap();
    machine.start_stream(Ns(0), id, Ns(5)).unwrap();
    let mut out = Vec::new();
    while machine.next_time().is_some_and(|at| at < Ns(3_000_000_000)) {
        machine.step(&mut out);
    }
    let published: Vec<u64> = out.iter().map(|d| d.published.0).collect();
    assert_eq!(
        published[..8],
        [
            5, 5, 333_339, 333_339, 666_672, 666_672, 1_000_005, 1_000_005
        ]
    );
    let last = published.iter().rev().nth(1).unwrap();
    assert_eq!(*last, 5 + 8_999u64.div_ceil(3) * 1_000_000 - 333_333);
    let seqs: Vec<u64> = out.iter().map(|d| d.seq).collect();
    assert!(seqs.iter().enumerate().all(|(k, seq)| *seq == k as u64));
}

/// Stopped, it sends no more; started anew its beats count from there and its numbers go on.
#[test]
fn verif_a_stream_stops_and_starts_anew() {
    let mut machine = Machine::new(chain(2, 1_000_000_000), Vec::new()).unwrap();
    let topic = topic(&mut machine, "$stream/a");
    let id = machine.add_stream(one(topic, 1, (100_000, 1))).unwrap();
    machine.start_stream(Ns(0), id, Ns(0)).unwrap();
    let mut out = Vec::new();
    while machine.next_time().is_some_and(|at| at < Ns(200_000)) {
        machine.step(&mut out);
    }
    machine.stop_stream(Ns(200_000), id).unwrap();
    while machine.next_time().is_some_and(|at| at < Ns(450_000)) {
        machine.step(&mut out);
    }
    machine.start_stream(Ns(450_000), id, Ns(470_000)).unwrap();
    while machine.next_time().is_some_and(|at| at < Ns(600_000)) {
        machine.step(&mut out);
    }
    machine.stop_stream(Ns(600_000), id).unwrap();
    while machine.next_time().is_some() {
        machine.step(&mut out);
    }
    let seen: Vec<(u64, u64)> = out.iter().map(|d| (d.published.0, d.seq)).collect();
    assert_eq!(seen, [(0, 0), (100_000, 1), (470_000, 2), (570_000, 3)]);
}

/// A cut that is mended: what waits and crosses is lost, what comes meanwhile finds no way, and what comes then arrives.
#[test]
fn verif_a_cut_loses_what_the_rules_say() {
    let mut machine = Machine::new(chain(3, 100_000_000), Vec::new()).unwrap();
    let topic = topic(&mut machine, "$stream/a");
    let spec = StreamSource {
        to: 2,
        ..one(topic, 4, (1_000_000, 1))
    };
    let id = machine.add_stream(spec).unwrap();
    machine.start_stream(Ns(0), id, Ns(0)).unwrap();
    let (mut out, mut dropped) = (Vec::new(), Vec::new());
    for (at, state) in [(200_000, LinkState::Down), (2_500_000, LinkState::Up)] {
        while machine.next_time().is_some_and(|next| next < Ns(at)) {
            machine.step(&mut out);
        }
        machine.set_link(Ns(at), 0, state).unwrap();
    }
    while machine.next_time().is_some_and(|next| next < Ns(3_900_000)) {
        machine.step(&mut out);
        dropped.extend(machine.drain_drops());
    }
    // A frame takes 8 * 1586 / 100 = 126.88 us: by 200 us the first has crossed link 0, the second is on it and two wait.
    let lost: Vec<(u64, &str)> = dropped
        .iter()
        .map(|d| {
            (
                d.seq,
                if d.reason == network::DropReason::LinkDown {
                    "cut"
                } else {
                    "no way"
                },
            )
        })
        .collect();
    assert_eq!(lost[..3], [(1, "cut"), (2, "cut"), (3, "cut")]);
    assert!(
        lost[3..]
            .iter()
            .all(|(seq, why)| (4..12).contains(seq) && *why == "no way")
    );
    assert_eq!(lost.len(), 11);
    let came: Vec<u64> = out.iter().map(|d| d.seq).collect();
    assert_eq!(came, [0, 12, 13, 14, 15]);
}

#[test]
fn verif_what_is_no_stream_is_refused() {
    let mut machine = Machine::new(chain(2, 10_000_000), Vec::new()).unwrap();
    let topic = topic(&mut machine, "$stream/a");
    for spec in [
        one(topic, 0, (100, 1)),
        one(topic, 1, (0, 1)),
        one(topic, 1, (100, 0)),
        one(topic, 1, (1, 2)),
    ] {
        assert_eq!(machine.add_stream(spec), Err(MachineError::NoBeat));
    }
    assert!(matches!(
        machine.start_stream(Ns(0), StreamId(3), Ns(0)),
        Err(MachineError::NoSuchStream {
            stream: 3,
            streams: 0
        })
    ));
    let id = machine.add_stream(one(topic, 1, (1_000_000, 1))).unwrap();
    machine.start_stream(Ns(10), id, Ns(10)).unwrap();
    assert!(matches!(
        machine.start_stream(Ns(10), id, Ns(9)),
        Err(MachineError::Late { .. })
    ));
}

/// Random chains with several streams that the machine sends, bursts and odd rates among them: no packet is later than its bound with all that was admitted, and no stream that was
/// admitted is later than it may be.
#[test]
fn verif_no_packet_that_the_machine_sends_passes_its_bound() {
    let (mut checked, mut closest) = (0u64, 0.0f64);
    for seed in 0..80 {
        let mut draw = Draw(700_000 + seed);
        let nodes = 2 + draw.below(4) as usize;
        let line = chain(nodes, draw.pick(&[10_000_000, 100_000_000]));
        let rate_of_line = line.links()[0].rate_bps;
        let mut machine = Machine::new(line.clone(), Vec::new()).unwrap();
        let (mut asks, mut specs) = (Vec::new(), Vec::new());
        for number in 0..2 + draw.below(4) as u32 {
            let node = draw.below(nodes as u64) as usize;
            let to = (node + 1 + draw.below(nodes as u64 - 1) as usize) % nodes;
            let bytes = draw.pick(&[188, 1400, 1500, 4000]);
            let burst = draw.pick(&[1, 2, 7]);
            let rate_bps = rate_of_line / (3 + draw.below(20)) + draw.below(1000);
            let priority = draw.below(3) as u8;
            asks.push(StreamAsk {
                flow: Flow {
                    node,
                    targets: vec![to],
                    bytes,
                    priority,
                    at_most: Some(stream_limit(rate_bps, bytes, burst).unwrap()),
                    late: Some(Ns::ZERO),
                },
                within: draw.pick(&[None, Some(Ns(20_000_000))]),
            });
            let topic = topic(&mut machine, &format!("$stream/s{number}"));
            specs.push(StreamSource {
                node,
                to,
                topic,
                bytes,
                burst,
                beat_num_ns: 8_000_000_000 * u64::from(bytes) * u64::from(burst),
                beat_den: rate_bps,
                priority,
                stream: number,
            });
        }
        let rooms = admit(&line, &[], &asks).unwrap();
        let has_room = |s: &usize| matches!(rooms[*s], StreamRoom::Admitted { .. });
        let admitted: Vec<usize> = (0..asks.len()).filter(has_room).collect();
        let flows: Vec<Flow> = admitted.iter().map(|s| asks[*s].flow.clone()).collect();
        let bounds = delay_bounds(&line, &flows).unwrap();
        for s in &admitted {
            let id = machine.add_stream(specs[*s]).unwrap();
            let first = Ns(draw.pick(&[0, 0, 37_001]));
            machine.start_stream(Ns::ZERO, id, first).unwrap();
        }
        let mut out = Vec::new();
        while machine.next_time().is_some_and(|at| at < Ns(150_000_000)) {
            machine.step(&mut out);
            for d in out.drain(..) {
                let place = admitted
                    .iter()
                    .position(|s| *s == d.stream as usize)
                    .unwrap();
                let DelayBound::Known { total, .. } = &bounds[place][0] else {
                    panic!("an admitted stream has a bound");
                };
                let took = d.at.0 - d.published.0;
                assert!(took <= total.0, "seed {seed}: {took} > {total}");
                let within = asks[d.stream as usize].within;
                assert!(within.is_none_or(|w| took <= w.0));
                closest = closest.max(took as f64 / total.0 as f64);
                checked += 1;
            }
        }
    }
    assert!(checked > 20_000, "{checked}");
    assert!(closest > 0.8, "{closest}");
}
