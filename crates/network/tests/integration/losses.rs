//! Bit errors: against SciPy's binomial law and a simulation with numpy and SimPy (reference/make/network_loss.py), exact binomial limits, and identities.

use chance::clopper_pearson;
use network::{
    Delivery, DropReason, ErrorNames, LinkSpec, LossError, Machine, MachineError, Medium,
    Publication, TopicName, Topology, copy_loss, frame_loss,
};
use serde_json::Value;
use timeline::Ns;

use crate::bus::can;
use crate::support::{Draw, int, list, reference};

/// Chance that a right count lies outside the limits: with two dozen counts one in forty runs of other seeds would show one.
const CONFIDENCE: f64 = 0.999;

fn rates(case: &Value) -> Vec<f64> {
    let rate = |link: &Value| link["rate"].as_f64().unwrap();
    list(&case["links"]).iter().map(rate).collect()
}

fn chain(case: &Value) -> Topology {
    let links = list(&case["links"]);
    let small = |value: &Value| u32::try_from(int(value)).unwrap();
    let links: Vec<LinkSpec> = links
        .iter()
        .enumerate()
        .map(|(at, link)| LinkSpec {
            a: at,
            b: at + 1,
            rate_bps: 10_000_000,
            propagation: Ns(500),
            overhead_bytes: small(&link["overhead_bytes"]),
            min_payload_bytes: small(&link["min_payload_bytes"]),
            bits_per_byte: small(&link["bits_per_byte"]),
            lead: Ns::ZERO,
        })
        .collect();
    Topology::new(
        vec![Ns(1000); links.len() + 1],
        links,
        small(&case["mtu_bytes"]),
    )
    .unwrap()
}

pub(crate) fn names(topology: &Topology, seed: u64) -> ErrorNames {
    let name = |what: &str, count: usize| (0..count).map(|n| format!("{what}-{n}")).collect();
    ErrorNames {
        seed,
        links: name("link", topology.links().len()),
        buses: name("bus", topology.buses().len()),
        nodes: name("node", topology.node_count()),
    }
}

/// Messages published one after another from the first node to all others, and what became of them.
fn sent(machine: &mut Machine, bytes: u32, messages: u64) -> Vec<Delivery> {
    let topic = machine.topic(&TopicName::parse("level").unwrap());
    let mut out = Vec::new();
    for seq in 0..messages {
        let now = machine.next_time().unwrap_or(Ns(seq * 1_000_000_000));
        machine
            .publish(
                now,
                Publication {
                    node: 0,
                    topic,
                    bytes,
                    priority: 1,
                    stream: 0,
                    seq,
                },
            )
            .unwrap();
        while machine.next_time().is_some() {
            machine.step(&mut out);
        }
    }
    out
}

fn heard_by_all(topology: &Topology) -> Machine {
    let filter = || network::Filter::parse("#").unwrap();
    let subscriptions = (1..topology.node_count())
        .map(|node| (node, filter()))
        .collect();
    Machine::new(topology.clone(), subscriptions).unwrap()
}

#[test]
fn val_a_frame_is_lost_as_often_as_the_binomial_law_says() {
    let file = reference("loss.json");
    for row in list(&file["frames"]) {
        let (rate, told) = (row[1].as_f64().unwrap(), row[2].as_f64().unwrap());
        let found = frame_loss(int(&row[0]), rate);
        assert!((found - told).abs() <= 1e-12 * told, "{row}: {found}");
    }
    assert_eq!(frame_loss(0, 0.5), 0.0);
    assert_eq!(frame_loss(1000, 0.0), 0.0);
}

/// What is worked out, what the machine loses and what the simulation loses: the counts of both lie around the first.
#[test]
fn val_copies_are_lost_as_often_as_is_worked_out_and_simulated() {
    let file = reference("loss.json");
    for (number, case) in list(&file["copies"]).iter().enumerate() {
        let (topology, rates) = (chain(case), rates(case));
        let (bytes, messages) = (
            u32::try_from(int(&case["bytes"])).unwrap(),
            int(&case["messages"]),
        );
        let mut machine = heard_by_all(&topology);
        let names = names(&topology, 40 + number as u64);
        for (link, rate) in rates.iter().enumerate() {
            machine
                .set_bit_errors(Ns::ZERO, Medium::Link(link), *rate, &names)
                .unwrap();
        }
        let delivered = sent(&mut machine, bytes, messages);
        assert!(
            machine
                .drain_drops()
                .all(|d| d.reason == DropReason::BitErrors)
        );
        let stats = machine.stats();
        assert_eq!(stats.copies_due, stats.delivered + stats.dropped);
        let of = |over| match over {
            Medium::Link(link) => rates[link],
            Medium::Bus(_) => 0.0,
        };
        for (hop, lost) in list(&case["lost"]).iter().enumerate() {
            let worked = copy_loss(&topology, of, 0, hop + 1, bytes).unwrap();
            let ours = messages - delivered.iter().filter(|d| d.node == hop + 1).count() as u64;
            for (count, whose) in [(ours, "ours"), (int(lost), "theirs")] {
                let (low, high) = clopper_pearson(count, messages, CONFIDENCE).unwrap();
                assert!(
                    low <= worked && worked <= high,
                    "case {number}, hop {hop}, {whose}: {low} to {high}, {worked}"
                );
            }
        }
    }
}

/// The wrong convention that only the payload can be hit lies outside the limits.
#[test]
fn val_red_errors_of_the_payload_alone_fail_the_simulation() {
    let file = reference("loss.json");
    let case = &list(&file["copies"])[0];
    let wrong = frame_loss(8 * int(&case["bytes"]), rates(case)[0]);
    let (low, _) =
        clopper_pearson(int(&case["lost"][0]), int(&case["messages"]), CONFIDENCE).unwrap();
    assert!(wrong < low, "{wrong} {low}");
}

/// A link more, and a rate on it, change no draw of the others; another seed does.
#[test]
fn verif_the_draws_of_a_link_depend_on_no_other() {
    let link = |a, b| crate::support::link(a, b, 10_000_000, 500, 86);
    let lost = |links: Vec<LinkSpec>, seed: u64, more: bool| {
        let nodes = links.len() + 1;
        let topology = Topology::new(vec![Ns::ZERO; nodes], links, 1400).unwrap();
        let mut names = names(&topology, seed);
        // The trunk keeps its name and its nodes, whatever number they have.
        names.links.reverse();
        names.nodes.rotate_right(nodes - 2);
        let trunk = topology.links().len() - 1;
        names.links[trunk] = "trunk".to_owned();
        names.nodes[0] = "left".to_owned();
        names.nodes[1] = "right".to_owned();
        let mut machine = heard_by_all(&topology);
        machine
            .set_bit_errors(Ns::ZERO, Medium::Link(trunk), 1e-4, &names)
            .unwrap();
        if more {
            machine
                .set_bit_errors(Ns::ZERO, Medium::Link(0), 1e-3, &names)
                .unwrap();
        }
        let heard = sent(&mut machine, 100, 2000);
        let at_right = heard.iter().filter(|d| d.node == 1);
        at_right.map(|d| d.seq).collect::<Vec<_>>()
    };
    let alone = lost(vec![link(0, 1)], 7, false);
    assert!(alone.len() > 1500 && alone.len() < 1900, "{}", alone.len());
    assert_eq!(alone, lost(vec![link(1, 2), link(0, 1)], 7, true));
    assert_ne!(alone, lost(vec![link(0, 1)], 8, false));
}

#[test]
fn verif_a_rate_that_is_none_is_refused_and_zero_loses_nothing() {
    let link = crate::support::link(0, 1, 10_000_000, 500, 86);
    let topology = Topology::new(vec![Ns::ZERO; 3], vec![link], 1400)
        .unwrap()
        .with_buses(vec![can(vec![1, 2], 125_000)])
        .unwrap();
    let (mut machine, told) = (heard_by_all(&topology), names(&topology, 1));
    let mut set =
        |over, rate: f64, names: &ErrorNames| machine.set_bit_errors(Ns::ZERO, over, rate, names);
    for rate in [-1e-9, 1.0, f64::NAN] {
        assert!(matches!(
            set(Medium::Link(0), rate, &told),
            Err(MachineError::BitErrors(LossError::NotAChance { .. }))
        ));
    }
    assert_eq!(
        set(Medium::Bus(1), 1e-6, &told),
        Err(MachineError::NoSuchBus { bus: 1, buses: 1 })
    );
    assert_eq!(
        set(Medium::Link(1), 1e-6, &told),
        Err(MachineError::NoSuchLink { link: 1, links: 1 })
    );
    let nameless = ErrorNames {
        links: Vec::new(),
        ..told.clone()
    };
    assert_eq!(
        set(Medium::Link(0), 1e-6, &nameless),
        Err(MachineError::NoErrorNames)
    );
    set(Medium::Link(0), 0.0, &told).unwrap();
    assert_eq!(sent(&mut machine, 100, 500).len(), 1000);
}

/// On polled buses and rounds too what is lost is counted, and a rate of one half spoils nearly all.
#[test]
fn verif_frames_are_lost_on_buses_with_turns() {
    let file = reference("simpy-polled.json");
    let (mut lost, mut draw) = (0, Draw(9));
    for case in list(&file["cases"]).iter().take(30) {
        let scenario = crate::support::read_scenario(&case["scenario"]);
        let mut machine = crate::support::machine(&scenario);
        let told = names(&scenario.topology, draw.word());
        machine
            .set_bit_errors(Ns::ZERO, Medium::Bus(0), 0.5, &told)
            .unwrap();
        for (number, stream) in scenario.streams.iter().enumerate() {
            let topic = machine.topic(&TopicName::parse(&stream.topic).unwrap());
            let now = Ns::ZERO;
            machine
                .publish(
                    now,
                    Publication {
                        node: stream.node,
                        topic,
                        bytes: stream.bytes,
                        priority: 0,
                        stream: number as u32,
                        seq: 0,
                    },
                )
                .unwrap();
        }
        let mut out = Vec::new();
        while machine.next_time().is_some() {
            machine.step(&mut out);
        }
        let stats = machine.stats();
        assert_eq!(stats.copies_due, stats.delivered + stats.dropped);
        assert!(
            machine
                .drain_drops()
                .all(|d| d.reason == DropReason::BitErrors)
        );
        lost += stats.dropped;
    }
    assert!(lost > 50, "{lost}");
}
