//! Buses on which stations have turns: against an independent simulator (reference/make/network_polled.py, SimPy 4.1.2), by hand, and against their bounds.

use network::{Access, BusSpec, Topology, Wire};
use timeline::Ns;

use crate::support::{
    Draw, HandIn, Scenario, Stream, drawn_streams, drawn_subscriptions, int, link, list,
    read_scenario, reference, run, runs_within_bounds,
};
use crate::twin::check_ends;

#[test]
fn val_hundred_random_buses_with_turns_to_the_nanosecond() {
    let file = reference("simpy-polled.json");
    let cases = list(&file["cases"]);
    assert_eq!(cases.len(), 100);
    let (mut delivered, mut dropped) = (0, 0);
    for (seed, case) in cases.iter().enumerate() {
        let scenario = read_scenario(&case["scenario"]);
        let orders = [
            HandIn::BeforeArrivals,
            HandIn::AfterArrivalsShuffled(seed as u64),
        ];
        for hand_in in orders {
            let ours = run(&scenario, hand_in);
            let counts = check_ends(&ours, case);
            assert_eq!(
                (ours.stats.buses[0].busy.0, ours.stats.buses[0].frames),
                (int(&case["bus_busy_ns"]), int(&case["bus_frames"])),
                "seed {seed}"
            );
            delivered += counts.0;
            dropped += counts.1;
        }
    }
    assert!(delivered > 4000 && dropped > 500, "{delivered} {dropped}");
}

/// The wrong convention of an answer without the silence before it fails the twin.
#[test]
#[should_panic(expected = "assertion")]
fn val_red_turns_without_silence_fail_the_twin() {
    let file = reference("simpy-polled.json");
    for case in list(&file["cases"]) {
        let mut case = case.clone();
        case["scenario"]["bus"]["turnaround_ns"] = 0.into();
        check_ends(
            &run(&read_scenario(&case["scenario"]), HandIn::BeforeArrivals),
            &case,
        );
    }
}

fn stream(node: usize, bytes: u32, offset_ns: u64, period_ns: u64, count: u64) -> Stream {
    Stream {
        node,
        topic: format!("from/n{node}"),
        bytes,
        priority: 0,
        period_ns,
        offset_ns,
        count,
    }
}

fn on_one_bus(bus: BusSpec, streams: Vec<Stream>) -> Scenario {
    let nodes = bus.stations.len();
    let topology = Topology::new(vec![Ns::ZERO; nodes], Vec::new(), 1000)
        .unwrap()
        .with_buses(vec![bus])
        .unwrap();
    Scenario {
        topology,
        subscriptions: vec![(0, "from/#".to_owned())],
        streams,
        faults: Vec::new(),
    }
}

/// Ten stations at 19200 baud, eight data bits: each request of 8 characters and answer of 25 with 3.5 characters of silence after each takes 20.8333 ms, a round
/// 208.333 ms (arithmetic of the published practice). Whatever the phase, a value that is ready is there within a round and its answer.
#[test]
fn verif_a_round_of_ten_stations_by_hand() {
    let wire = |overhead_bytes| Wire::Bytes {
        lead: Ns::ZERO,
        bits_per_byte: 10,
        overhead_bytes,
        min_payload_bytes: 0,
    };
    let character: f64 = 10e9 / 19_200.0;
    let bus = BusSpec {
        stations: (0..11).collect(),
        rate_bps: 19_200,
        propagation: Ns::ZERO,
        // An answer is 25 characters long, whatever it says.
        wire: Wire::Bytes {
            lead: Ns::ZERO,
            bits_per_byte: 10,
            overhead_bytes: 5,
            min_payload_bytes: 20,
        },
        payload_bytes: 20,
        access: Access::Polled {
            by: 0,
            request: wire(8),
            turnaround: Ns((3.5 * character).ceil() as u64),
        },
    };
    let (mut soonest, mut latest) = (u64::MAX, 0);
    // One message each, at instants spread over many rounds.
    for k in 0..400u64 {
        let scenario = on_one_bus(bus.clone(), vec![stream(4, 20, k * 7_654_321, 1, 1)]);
        let found = run(&scenario, HandIn::BeforeArrivals).delivered;
        let late = found[0].at.0 - found[0].published.0;
        (soonest, latest) = (soonest.min(late), latest.max(late));
    }
    let (round, answer) = (208_333_333.0, 25.0 * character);
    assert!(latest as f64 <= round + answer + 60.0, "{latest}");
    assert!(latest as f64 > 0.99 * (round + answer), "{latest}");
    assert!(soonest as f64 >= answer && (soonest as f64) < answer + 0.01 * round);
}

/// One reading of SDI-12 from the first instant on: break and mark, four characters, an answer begun at the latest 15 ms later, of 17 bytes and three around them.
#[test]
fn verif_an_idle_bus_costs_nothing_however_long_it_idles() {
    let sdi12 = BusSpec {
        stations: vec![0, 1],
        rate_bps: 1200,
        propagation: Ns(300),
        wire: Wire::Bytes {
            lead: Ns::ZERO,
            bits_per_byte: 12,
            overhead_bytes: 3,
            min_payload_bytes: 0,
        },
        payload_bytes: 75,
        access: Access::Polled {
            by: 0,
            request: Wire::Bytes {
                lead: Ns(20_333_334),
                bits_per_byte: 12,
                overhead_bytes: 4,
                min_payload_bytes: 0,
            },
            turnaround: Ns(15_000_000),
        },
    };
    let request = 20_333_334 + 40_000_000;
    let answer = |bytes: u64| (bytes + 3) * 10_000_000;
    let first = request + 300 + 15_000_000 + answer(17) + 300;
    let idle = request + answer(0) + 2 * (300 + 15_000_000);
    // A year later it is known to the nanosecond whose turn it is: by division, not by half a thousand million steps.
    let rounds = 31_536_000_000_000_000u64 / idle;
    let scenario = on_one_bus(sdi12, vec![stream(1, 17, 0, rounds * idle, 2)]);
    let found = run(&scenario, HandIn::BeforeArrivals);
    assert_eq!(found.delivered[0].at, Ns(first));
    // The first round lasted longer than an idle one; from its end on they follow each other, and each has its answer as long after its begin.
    let (longer, chosen) = (answer(17) - answer(0), request + 300 + 15_000_000);
    let since = (rounds * idle - longer - chosen).div_ceil(idle) * idle;
    let at = longer + since + chosen + answer(17) + 300;
    assert_eq!(found.delivered[1].at, Ns(at));
    assert_eq!(found.stats.buses[0].frames, 2);
}

/// A bus with turns of some modules, others behind links.
fn random_turns(seed: u64) -> Scenario {
    let mut draw = Draw(330_000 + seed);
    let nodes = 3 + draw.below(4);
    let on_bus = 2 + draw.below(nodes - 1);
    let links: Vec<_> = (on_bus..nodes)
        .map(|node| link(draw.below(node) as usize, node as usize, 2_000_000, 700, 25))
        .collect();
    let wire = |overhead_bytes, min_payload_bytes| Wire::Bytes {
        lead: Ns::ZERO,
        bits_per_byte: 10,
        overhead_bytes,
        min_payload_bytes,
    };
    let rounds = draw.below(2) == 0;
    let bus = BusSpec {
        stations: (0..on_bus as usize).collect(),
        rate_bps: draw.pick(&[115_200, 1_000_000]),
        propagation: Ns(draw.pick(&[0, 5_000, 300_000])),
        wire: wire(8, draw.pick(&[0, 20])),
        payload_bytes: draw.pick(&[8, 40]),
        access: if rounds {
            Access::Round {
                gap: Ns(draw.pick(&[50_000, 200_000])),
            }
        } else {
            Access::Polled {
                by: draw.below(on_bus) as usize,
                request: wire(6, 0),
                turnaround: Ns(draw.pick(&[0, 100_000, 500_000])),
            }
        },
    };
    let processing = (0..nodes).map(|_| Ns(draw.pick(&[0, 20_000]))).collect();
    let topology = Topology::new(processing, links, draw.pick(&[16, 1000]))
        .unwrap()
        .with_buses(vec![bus])
        .unwrap();
    let streams = drawn_streams(&mut draw, nodes, (60, 4_000_000), (40, 100_000), 12);
    let subscriptions = drawn_subscriptions(&mut draw, nodes);
    Scenario {
        topology,
        subscriptions,
        streams,
        faults: Vec::new(),
    }
}

#[test]
fn verif_no_run_over_a_bus_with_turns_passes_its_bound() {
    let (checked, closest) = runs_within_bounds(random_turns);
    assert!(checked > 3000, "{checked}");
    assert!(closest > 0.8, "{closest}");
}
