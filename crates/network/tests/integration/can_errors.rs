//! Bit errors on CAN: against an independent simulator and exact fractions (reference/make/network_can_errors.py; SimPy 4.1.2, SciPy 1.17.1), and by hand.

use network::{
    BusSpec, CanIds, CanMessage, CanResponse, DropReason, Keep, Machine, Medium, NodeState, Post,
    Publication, StationStats, Terms, TopicName, Topology, Wire, bus_frame_loss, can_mean_repeats,
    can_response_times, can_response_times_with_errors, can_sendings_to_bus_off, copy_loss,
};
use serde_json::Value;
use timeline::Ns;

use crate::bus::can;
use crate::losses::names;
use crate::support::{HandIn, Run, int, list, machine, read_scenario, reference, run_on};
use crate::twin::check_copies;

/// Rounding of a few hundred products and sums, share of the value.
const ROUNDING: f64 = 1e-11;

fn check_case(case: &Value, rate: f64, hand_in: HandIn) -> Run {
    let scenario = read_scenario(&case["scenario"]);
    let mut machine = machine(&scenario);
    let told = names(&scenario.topology, int(&case["scenario"]["seed"]));
    machine
        .set_bit_errors(Ns::ZERO, Medium::Bus(0), rate, &told)
        .unwrap();
    let ours = run_on(machine, &scenario, hand_in);
    check_copies(&ours, case);
    let bus = ours.stats.buses[0];
    assert_eq!(
        [bus.busy.0, bus.frames, bus.hit, bus.bus_offs],
        ["bus_busy_ns", "bus_frames", "bus_hit", "bus_offs"].map(|key| int(&case[key]))
    );
    let stations = &ours.stats.stations;
    let sum = |of: fn(&StationStats) -> u64| stations.iter().map(of).sum::<u64>();
    assert_eq!(
        [sum(|s| s.hit), sum(|s| s.bus_offs)],
        [bus.hit, bus.bus_offs]
    );
    ours
}

#[test]
fn val_hundred_random_can_buses_with_errors_to_the_nanosecond() {
    let file = reference("simpy-can-errors.json");
    let cases = list(&file["cases"]);
    assert_eq!(cases.len(), 100);
    let (mut delivered, mut hit, mut off) = (0, 0, 0);
    for (seed, case) in cases.iter().enumerate() {
        let rate = case["scenario"]["rate"].as_f64().unwrap();
        for hand_in in [
            HandIn::BeforeArrivals,
            HandIn::AfterArrivalsShuffled(seed as u64),
        ] {
            let ours = check_case(case, rate, hand_in);
            let bus = ours.stats.buses[0];
            if bus.bus_offs == 0 {
                assert!(ours.dropped.is_empty(), "an error alone loses nothing");
            }
            delivered += ours.delivered.len();
            hit += bus.hit;
            off += bus.bus_offs;
        }
    }
    assert!(delivered > 10_000 && hit > 10_000 && off > 200);
}

/// Errors that lose nothing and cost nothing do not pass.
#[test]
#[should_panic(expected = "assertion")]
fn val_red_a_bus_without_errors_fails_the_twin() {
    let file = reference("simpy-can-errors.json");
    for case in list(&file["cases"]) {
        check_case(case, 0.0, HandIn::BeforeArrivals);
    }
}

#[test]
fn val_repeats_follow_the_geometric_law() {
    let file = reference("simpy-can-errors.json");
    for row in list(&file["repeats"]) {
        let [chance, mean] = [0, 1].map(|k| row[k].as_f64().unwrap());
        // The library takes the difference from one.
        assert!((can_mean_repeats(chance) - mean).abs() <= 1e-10 * mean + 1e-16);
    }
}

/// 20,000 messages of eight bytes at 500 kbit/s: the repeats of all lie within three standard errors of the law's mean, and each message is late by the whole of its repeats.
#[test]
fn val_the_machine_repeats_as_often_as_the_law_says() {
    let file = reference("simpy-can-errors.json");
    let row = &list(&file["repeats"])[3];
    let [chance, mean, variance] = [0, 1, 2].map(|k| row[k].as_f64().unwrap());
    let spec = can(vec![0, 1], 500_000);
    let bits = 135.0;
    let rate = -libm::expm1(libm::log1p(-chance) / bits);
    assert!((bus_frame_loss(&spec, 0, 8, rate).unwrap() - chance).abs() < 1e-12);
    let topology = Topology::new(vec![Ns::ZERO; 2], Vec::new(), 100)
        .unwrap()
        .with_buses(vec![spec])
        .unwrap();
    let mut machine = heard(&topology, rate, 77);
    let messages = 20_000u64;
    let (frame_ns, repeat_ns, propagation_ns) = (270_000, 310_000, 500);
    let mut repeats = 0;
    for seq in 0..messages {
        let now = Ns(seq * 50_000_000);
        let arrived = deliver(&mut machine, now, 8, seq);
        assert_eq!(arrived.len(), 1);
        let late = arrived[0].0 - now.0 - frame_ns - propagation_ns;
        assert_eq!(late % repeat_ns, 0);
        repeats += late / repeat_ns;
    }
    let stats = machine.stats();
    assert_eq!((stats.buses[0].hit, stats.dropped), (repeats, 0));
    let error = (repeats as f64 / messages as f64 - mean) / (variance / messages as f64).sqrt();
    assert!(error.abs() < 3.0, "{error} standard errors");
    assert_eq!(copy_loss(&topology, |_| rate, 0, 1, 8), Ok(0.0));
}

fn heard(topology: &Topology, rate: f64, seed: u64) -> Machine {
    let filter = || network::Filter::parse("#").unwrap();
    let subscriptions = (1..topology.node_count()).map(|n| (n, filter())).collect();
    let mut machine = Machine::new(topology.clone(), subscriptions).unwrap();
    machine
        .set_bit_errors(Ns::ZERO, Medium::Bus(0), rate, &names(topology, seed))
        .unwrap();
    machine
}

fn step_to(machine: &mut Machine, now: Ns) {
    while machine.next_time().is_some_and(|at| at < now) {
        machine.step(&mut Vec::new());
    }
}

/// Publishes at node 0 and steps until all has come: when.
fn deliver(machine: &mut Machine, now: Ns, bytes: u32, seq: u64) -> Vec<Ns> {
    let mut out = Vec::new();
    step_to(machine, now);
    let topic = machine.topic(&TopicName::parse("a").unwrap());
    machine
        .publish(
            now,
            Publication {
                node: 0,
                topic,
                bytes,
                priority: 0,
                stream: 0,
                seq,
            },
        )
        .unwrap();
    while machine.stats().in_flight > 0 {
        machine.step(&mut out);
    }
    out.iter().map(|d| d.at).collect()
}

#[test]
fn val_sendings_until_a_controller_leaves_the_bus() {
    let file = reference("simpy-can-errors.json");
    for row in list(&file["bus_off"]) {
        let [chance, mean] = [0, 1].map(|k| row[k].as_f64().unwrap());
        let found = can_sendings_to_bus_off(chance);
        assert!((found - mean).abs() <= ROUNDING * mean, "{row}: {found}");
    }
    // Each sending hit: 32 times 8.
    assert_eq!(can_sendings_to_bus_off(1.0), 32.0);
    assert_eq!(can_sendings_to_bus_off(0.0), f64::INFINITY);
    assert!(can_sendings_to_bus_off(1e-12) > 1e300);
}

/// Every sending is hit (0.9 of bits): 32 of 55 bits and 20 more at 1 Mbit/s, from the 17th on with 8 bits between, take the station off. 128 times 11 bits later it is back.
#[test]
fn verif_a_controller_leaves_and_comes_back_by_hand() {
    let spec = BusSpec {
        propagation: Ns::ZERO,
        ..can(vec![0, 1, 2], 1_000_000)
    };
    let topology = Topology::new(vec![Ns::ZERO; 3], Vec::new(), 100)
        .unwrap()
        .with_buses(vec![spec])
        .unwrap();
    let mut machine = heard(&topology, 0.9, 3);
    assert!(deliver(&mut machine, Ns::ZERO, 0, 0).is_empty());
    let drops: Vec<_> = machine.drain_drops().collect();
    // Error-passive from the 16th error on: it holds back before the 16 sendings that follow.
    let off = 32 * 75_000 + 16 * 8_000;
    let ends: Vec<_> = drops.iter().map(|d| (d.node, d.at.0, d.reason)).collect();
    assert_eq!(
        ends,
        [(1, off, DropReason::BusOff), (2, off, DropReason::BusOff)]
    );
    assert!(!machine.reaches(0, 1) && machine.reaches(1, 2));
    let back = off + 128 * 11 * 1000;
    while machine.next_time() < Some(Ns(back)) {
        assert!(!machine.reaches(0, 1));
        machine.step(&mut Vec::new());
    }
    assert_eq!(machine.next_time(), Some(Ns(back)));
    machine.step(&mut Vec::new());
    assert!(machine.reaches(0, 1));
    let told = names(&topology, 3);
    let now = Ns(back + 1);
    machine
        .set_bit_errors(now, Medium::Bus(0), 0.0, &told)
        .unwrap();
    assert_eq!(
        deliver(&mut machine, now, 0, 1),
        [Ns(now.0 + 55_000), Ns(now.0 + 55_000)]
    );
    assert_eq!(machine.stats().buses[0].bus_offs, 1);
    // 32 times 8 at the station that sent, and nothing at the others.
    let stations: Vec<_> = machine
        .stats()
        .stations
        .iter()
        .map(|s| (s.bus, s.node, s.hit, s.bus_offs, s.most_errors))
        .collect();
    assert_eq!(
        stations,
        [(0, 0, 32, 1, 256), (0, 1, 0, 0, 0), (0, 2, 0, 0, 0)]
    );
    // A node that starts again has no errors counted: off again after 32 more, and back at once when it is restarted.
    let now = Ns(now.0 + 1_000_000);
    step_to(&mut machine, now);
    machine
        .set_bit_errors(now, Medium::Bus(0), 0.9, &told)
        .unwrap();
    deliver(&mut machine, now, 0, 2);
    assert!(!machine.reaches(0, 1));
    machine.step(&mut Vec::new());
    let now = machine.next_time().map(|at| Ns(at.0 - 1000)).unwrap();
    for state in [NodeState::Down, NodeState::Up] {
        machine.set_node(now, 0, state).unwrap();
    }
    assert!(machine.reaches(0, 1));
}

/// Those that are off come back while others speak: each whole frame ends with eleven recessive bits.
#[test]
fn verif_frames_of_others_count_as_silence_by_hand() {
    let spec = BusSpec {
        propagation: Ns::ZERO,
        wire: Wire::Can {
            ids: CanIds::Bits11,
            header_bytes: 0,
        },
        ..can(vec![0, 1, 2], 1_000_000)
    };
    let topology = Topology::new(vec![Ns::ZERO; 3], Vec::new(), 100)
        .unwrap()
        .with_buses(vec![spec])
        .unwrap();
    let mut machine = heard(&topology, 0.9, 3);
    deliver(&mut machine, Ns::ZERO, 0, 0);
    let off = 32 * 75_000 + 16 * 8_000;
    machine
        .set_bit_errors(Ns(off), Medium::Bus(0), 0.0, &names(&topology, 3))
        .unwrap();
    // Five runs and a half of silence, then 100 frames of 55 bits without a gap: 105 of 128; 23 runs of silence are left.
    let topic = machine.topic(&TopicName::parse("b").unwrap());
    let begin = Ns(off + 60_500);
    let mut out = Vec::new();
    machine.step(&mut out);
    for seq in 0..100 {
        machine
            .publish(
                begin,
                Publication {
                    node: 1,
                    topic,
                    bytes: 0,
                    priority: 0,
                    stream: 1,
                    seq,
                },
            )
            .unwrap();
    }
    let end = begin.0 + 100 * 55_000;
    let mut back = None;
    while let Some(at) = machine.next_time() {
        machine.step(&mut out);
        if machine.reaches(0, 1) && back.is_none() {
            back = Some(at);
        }
    }
    assert_eq!(back, Some(Ns(end + 23 * 11_000)));
}

/// What may wait for a way waits while its controller is off the bus, and goes at the instant at which that is back.
#[test]
fn verif_what_waits_for_a_controller_goes_when_it_is_back() {
    let spec = BusSpec {
        propagation: Ns::ZERO,
        ..can(vec![0, 1], 1_000_000)
    };
    let topology = Topology::new(vec![Ns::ZERO; 2], Vec::new(), 100)
        .unwrap()
        .with_buses(vec![spec])
        .unwrap();
    let mut post = Post::new(heard(&topology, 0.9, 3));
    let topic = post.topic(&TopicName::parse("a").unwrap());
    let keep = Keep {
        messages: 4,
        longest: Ns(1_000_000_000),
    };
    post.set_terms(
        topic,
        Terms {
            keep: Some(keep),
            ..Terms::default()
        },
    );
    let of = |seq| Publication {
        node: 0,
        topic,
        bytes: 0,
        priority: 0,
        stream: 0,
        seq,
    };
    let mut out = Vec::new();
    post.publish(Ns::ZERO, of(0)).unwrap();
    let off = 32 * 75_000 + 16 * 8_000;
    while post.next_time().is_some_and(|at| at <= Ns(off)) {
        post.step(&mut out);
    }
    let lost: Vec<_> = post.drain_drops().map(|d| (d.seq, d.reason)).collect();
    assert_eq!(lost, [(0, DropReason::BusOff)]);
    let told = names(&topology, 3);
    post.machine_mut()
        .set_bit_errors(Ns(off), Medium::Bus(0), 0.0, &told)
        .unwrap();
    for seq in 1..3 {
        post.publish(Ns(off + seq), of(seq)).unwrap();
    }
    while post.next_time().is_some() {
        post.step(&mut out);
    }
    let back = off + 128 * 11 * 1000;
    let came: Vec<_> = out.iter().map(|d| (d.seq, d.at.0)).collect();
    assert_eq!(came, [(1, back + 55_000), (2, back + 110_000)]);
}

#[test]
fn val_response_times_with_errors() {
    let file = reference("simpy-can-errors.json");
    let mut seen = 0;
    for row in list(&file["responses"]) {
        let messages: Vec<CanMessage> = list(&row["frames"])
            .iter()
            .map(|f| CanMessage {
                frame: Ns(int(&f[0])),
                period: Ns(int(&f[1])),
                jitter: Ns(int(&f[2])),
            })
            .collect();
        let (bit, apart) = (Ns(int(&row["bit_ns"])), Ns(int(&row["apart_ns"])));
        let found = can_response_times_with_errors(&messages, bit, apart).unwrap();
        let theirs: Vec<CanResponse> = list(&row["responses"])
            .iter()
            .map(|r| match r.as_u64() {
                Some(ns) => CanResponse::Within(Ns(ns)),
                None => CanResponse::Unbounded,
            })
            .collect();
        assert_eq!(found, theirs);
        let without = can_response_times(&messages, bit).unwrap();
        for (with, without) in found.iter().zip(&without) {
            if let (CanResponse::Within(with), CanResponse::Within(without)) = (with, without) {
                assert!(with > without);
            }
        }
        if let Some(worst) = row["worst_seen"].as_array() {
            for (worst, told) in worst.iter().zip(&found) {
                assert!(
                    CanResponse::Within(Ns(int(worst))) == *told
                        || matches!(told, CanResponse::Within(ns) if ns.0 > int(worst))
                );
                seen += 1;
            }
        }
    }
    assert!(seen > 40, "{seen}");
    assert!(can_response_times_with_errors(&[], Ns(1), Ns::ZERO).is_err());
}
