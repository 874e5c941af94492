//! CAN buses in the machine: what they send when, what a failure costs, and that no run passes its bound.

use std::collections::BTreeMap;

use network::{BusSpec, CanIds, LinkState, NodeState, Topology, Wire};
use timeline::Ns;

use crate::bus::can;
use crate::support::{
    Draw, Fault, HandIn, Scenario, drawn_streams, drawn_subscriptions, link, run,
    runs_within_bounds,
};

/// A CAN bus of some modules, others behind links, on a coarse grid of instants; now and then something fails.
fn random_can(seed: u64, faults: u64) -> Scenario {
    let mut draw = Draw(120_000 + seed);
    let nodes = 3 + draw.below(4);
    let on_bus = 2 + draw.below(nodes - 1);
    let links: Vec<_> = (on_bus..nodes)
        .map(|node| link(draw.below(node) as usize, node as usize, 2_000_000, 700, 25))
        .collect();
    let bus = BusSpec {
        wire: Wire::Can {
            ids: draw.pick(&[CanIds::Bits11, CanIds::Bits29]),
            header_bytes: 1,
        },
        payload_bytes: 7,
        ..can(
            (0..on_bus as usize).collect(),
            draw.pick(&[125_000, 500_000]),
        )
    };
    let processing = (0..nodes).map(|_| Ns(draw.pick(&[0, 20_000]))).collect();
    let links_count = links.len() as u64;
    let topology = Topology::new(processing, links, draw.pick(&[16, 1000]))
        .unwrap()
        .with_buses(vec![bus])
        .unwrap();
    let streams = drawn_streams(&mut draw, nodes, (40, 2_000_000), (6, 500_000), 9);
    let subscriptions = drawn_subscriptions(&mut draw, nodes);
    let mut failing: Vec<(u64, Fault)> = Vec::new();
    for _ in 0..faults {
        let at = draw.below(90) * 500_000;
        let up = draw.below(2) == 0;
        let state = if up { LinkState::Up } else { LinkState::Down };
        failing.push((
            at,
            match draw.below(3) {
                0 => Fault::Bus(0, state),
                1 if links_count > 0 => Fault::Link(draw.below(links_count) as usize, state),
                _ => {
                    let state = draw.pick(&[NodeState::Up, NodeState::Passes, NodeState::Down]);
                    Fault::Node(draw.below(nodes) as usize, state)
                }
            },
        ));
    }
    failing.sort_by_key(|f| f.0);
    Scenario {
        topology,
        subscriptions,
        streams,
        faults: failing,
    }
}

/// One CAN bus beside a second route to every end of a frame: one frame at a time, the best that waits, messages cut first by the largest piece and then
/// by the frame.
#[test]
fn verif_the_machine_sends_what_a_bus_stepped_by_hand_sends() {
    let mut compared = 0;
    for seed in 0..200 {
        let scenario = random_can(seed, 0);
        if !scenario.topology.links().is_empty() {
            continue;
        }
        let found = run(&scenario, HandIn::BeforeArrivals);
        let bus = &scenario.topology.buses()[0];
        let mtu = scenario.topology.mtu_bytes();
        // (priority, released, stream, message, fragment, piece, time), as they are let go.
        let mut coming = Vec::new();
        for (number, s) in scenario.streams.iter().enumerate() {
            let heard = found.delivered.iter().any(|d| d.stream as usize == number);
            for seq in (0..s.count).filter(|_| heard) {
                let at = s.offset_ns + seq * s.period_ns;
                for fragment in 0..s.bytes.div_ceil(mtu).max(1) {
                    let bytes = (s.bytes - fragment * mtu).min(mtu);
                    for piece in 0..bytes.div_ceil(7).max(1) {
                        let payload = (bytes - piece * 7).min(7);
                        let time = bus.wire.frame_time(bus.rate_bps, payload).unwrap().0;
                        coming.push((s.priority, at, number, seq, fragment, piece, time));
                    }
                }
            }
        }
        coming.sort_by_key(|f| f.1);
        let mut coming = coming.into_iter().peekable();
        let (mut waiting, mut now, mut ends) = (Vec::new(), 0, BTreeMap::new());
        loop {
            while let Some(f) = coming.next_if(|f| f.1 <= now) {
                waiting.push(f);
            }
            let Some(next) = (0..waiting.len()).min_by_key(|i| waiting[*i]) else {
                match coming.peek() {
                    Some(f) => now = f.1,
                    None => break,
                }
                continue;
            };
            let (_, _, stream, seq, .., time) = waiting.remove(next);
            now += time;
            ends.insert((stream, seq), now);
        }
        for d in &found.delivered {
            let end = ends[&(d.stream as usize, d.seq)];
            let processing = scenario.topology.processing()[d.node].0;
            assert_eq!(d.at.0, end + bus.propagation.0 + processing, "seed {seed}");
            compared += 1;
        }
    }
    assert!(compared > 500, "{compared}");
}

/// What is published is delivered, dropped or under way after each step (`run` counts it), with and without faults.
#[test]
fn verif_nothing_is_lost_on_a_bus_unseen() {
    let (mut delivered, mut dropped) = (0, 0);
    for seed in 0..300 {
        let whole = run(&random_can(seed, 0), HandIn::BeforeArrivals);
        assert!(whole.dropped.is_empty(), "seed {seed}");
        assert_eq!(whole.stats.delivered, whole.stats.copies_due);
        let failing = run(&random_can(seed, 6), HandIn::BeforeArrivals);
        delivered += failing.stats.delivered;
        dropped += failing.stats.dropped;
        assert_eq!(failing.stats.in_flight, 0, "seed {seed}");
        let orders = [HandIn::BeforeArrivals, HandIn::AfterArrivalsShuffled(seed)];
        let ways = orders.map(|hand_in| run(&random_can(seed, 0), hand_in).delivered);
        let sorted = ways.map(|mut list| {
            list.sort_by_key(|d| (d.at, d.node, d.stream, d.seq));
            list.into_iter()
                .map(|d| (d.at, d.node, d.stream, d.seq))
                .collect::<Vec<_>>()
        });
        assert_eq!(sorted[0], sorted[1], "seed {seed}");
    }
    assert!(delivered > 1000 && dropped > 200, "{delivered} {dropped}");
}

#[test]
fn verif_no_run_over_a_bus_passes_its_bound() {
    let (checked, closest) = runs_within_bounds(|seed| random_can(seed, 0));
    assert!(checked > 3000, "{checked}");
    assert!(closest > 0.9, "{closest}");
}
