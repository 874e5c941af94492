//! Network calculus: Le Boudec and Thiran (2001), and simulated latencies that never exceed the bound.

use network::{
    AtMost, BoundError, BurstAndRate, DelayBound, Filter, Flow, Machine, Publication, RateLatency,
    TopicName, Topology, WhyUnknown, delay_bounds, no_queue_latency, server_bound,
};
use proptest::prelude::*;
use timeline::Ns;

use crate::support::{HandIn, Scenario, Stream, flows, link, random_scenario, run};

#[test]
fn val_three_hops_of_a_token_bucket() {
    // b 8 kbit, r 1 Mb/s through three servers of 10 Mb/s and 1 ms: 1.8 + 1.9 + 2.0 = 5.7 ms, backlog 9 kbit, burst behind 11 kbit.
    let server = RateLatency {
        rate_bps: 10_000_000,
        latency: Ns(1_000_000),
    };
    let nobody = BurstAndRate {
        burst_bits: 0,
        rate_bps: 0,
    };
    let mut stream = BurstAndRate {
        burst_bits: 8000,
        rate_bps: 1_000_000,
    };
    let mut delays = Vec::new();
    for hop in 0..3 {
        let found = server_bound(server, stream, nobody).unwrap();
        if hop == 0 {
            assert_eq!(found.backlog_bits, 9000);
        }
        delays.push(found.delay.0);
        stream.burst_bits = found.burst_out_bits;
    }
    assert_eq!(delays, [1_800_000, 1_900_000, 2_000_000]);
    assert_eq!(delays.iter().sum::<u64>(), 5_700_000);
    assert_eq!(stream.burst_bits, 11_000);
    assert!(matches!(
        server_bound(
            server,
            stream,
            BurstAndRate {
                burst_bits: 0,
                rate_bps: 9_000_001
            }
        ),
        Err(BoundError::Overloaded {
            asked_bps: 10_000_001,
            rate_bps: 10_000_000
        })
    ));
}

#[test]
fn verif_one_link_by_hand() {
    // 100 bytes each 10 ms beside 900 bytes of a later priority each 100 ms, overhead 100 bytes, 10 Mb/s, mtu 500.
    // First: (600 B blocking + 200 B frame + 200 B burst)/10 Mb/s = 800 us.
    // Later: it is left 10 Mb/s - 160 kb/s = 9.84 Mb/s; (200 B + 600 B + 1100 B) 8/9.84 Mb/s = 1544.7154... us, rounded up.
    let topology =
        Topology::new(vec![Ns(5); 2], vec![link(0, 1, 10_000_000, 7, 100)], 500).unwrap();
    let flow = |bytes, priority, per_ms: u64| Flow {
        node: 0,
        targets: vec![1],
        bytes,
        priority,
        at_most: Some(AtMost::new(1, Ns(per_ms * 1_000_000)).unwrap()),
        late: Some(Ns(0)),
    };
    let found = delay_bounds(&topology, &[flow(100, 0, 10), flow(900, 1, 100)]).unwrap();
    let totals: Vec<Ns> = found
        .iter()
        .map(|targets| total(&targets[0]).unwrap())
        .collect();
    assert_eq!(totals, [Ns(800_012), Ns(1_544_716 + 12)]);
}

#[test]
fn verif_a_burst_grows_by_what_it_waits_for() {
    // Of one priority on the first link: A, 100 bytes each 10 ms, and B, 400 bytes each 100 ms; overhead 100 bytes, 10 Mb/s. A goes on alone.
    // First link: (500 B frame + 500 B burst of B) 0.8 us/B = 800 us, and 160 us for A's own burst: 960 us.
    // A's burst grows by 800 us/10 ms of a message to 1.08 messages = 1728 bits; second link: (1600 + 1728) bits/10 Mb/s = 332.8 us.
    let links = vec![
        link(0, 1, 10_000_000, 7, 100),
        link(1, 2, 10_000_000, 7, 100),
    ];
    let topology = Topology::new(vec![Ns(5); 3], links, 500).unwrap();
    let flow = |target, bytes, per_ms: u64| Flow {
        node: 0,
        targets: vec![target],
        bytes,
        priority: 0,
        at_most: Some(AtMost::new(1, Ns(per_ms * 1_000_000)).unwrap()),
        late: Some(Ns(0)),
    };
    let found = delay_bounds(&topology, &[flow(2, 100, 10), flow(1, 400, 100)]).unwrap();
    let DelayBound::Known { total, hops } = &found[0][0] else {
        panic!("{found:?}")
    };
    assert_eq!(
        hops.iter().map(|hop| hop.service).collect::<Vec<_>>(),
        [Ns(960_000), Ns(332_800)]
    );
    assert_eq!(*total, Ns(960_000 + 332_800 + 2 * 12));
}

fn total(bound: &DelayBound) -> Option<Ns> {
    match bound {
        DelayBound::Known { total, .. } => Some(*total),
        DelayBound::Unknown(_) => None,
    }
}

/// Answers to what may be just under two periods late: three of them come at once, and one of another stream waits behind them. By hand: 100 bytes at 1 Mbit/s are
/// 800 us, so that it is there after four of them; the bound counts one more, which may be whole just before, and no burst of a part (n (1 + J/P) with J = 2 P).
#[test]
fn verif_what_answers_others_comes_closer_together() {
    let topology = Topology::new(vec![Ns(0); 2], vec![link(0, 1, 1_000_000, 0, 10)], 1000).unwrap();
    let period = 10_000_000;
    let flow = |late: Option<u64>| Flow {
        node: 0,
        targets: vec![1],
        bytes: 90,
        priority: 0,
        at_most: Some(AtMost::new(1, Ns(period)).unwrap()),
        late: late.map(Ns),
    };
    let bound = |late| {
        let flows = [flow(late), flow(Some(0))];
        delay_bounds(&topology, &flows).unwrap().remove(1).remove(0)
    };
    let at_most = |late| total(&bound(Some(late))).unwrap();
    assert_eq!(at_most(0), Ns(3 * 800_000));
    assert_eq!(at_most(2 * period), Ns(5 * 800_000));
    assert_eq!(at_most(period / 2), Ns(3 * 800_000 + 400_000));
    assert_eq!(
        bound(None),
        DelayBound::Unknown(WhyUnknown::LateWithoutEnd { flow: 0 })
    );
    let filters = vec![(1, Filter::parse("#").unwrap())];
    let mut machine = Machine::new(topology.clone(), filters).unwrap();
    let topic = machine.topic(&TopicName::parse("t").unwrap());
    let mut out = Vec::new();
    for seq in 0..4 {
        let stream = u32::from(seq == 3);
        machine
            .publish(
                Ns(2 * period),
                Publication {
                    node: 0,
                    topic,
                    bytes: 90,
                    priority: 0,
                    stream,
                    seq,
                },
            )
            .unwrap();
    }
    while machine.next_time().is_some() {
        machine.step(&mut out);
    }
    let took = out[3].at.checked_sub(out[3].published).unwrap();
    assert_eq!((out[3].stream, took), (1, Ns(4 * 800_000)));
    assert!(at_most(0) < took && took <= at_most(2 * period));
}

#[test]
fn verif_what_cannot_be_promised_is_unknown() {
    let links = vec![link(0, 1, 1_000_000, 0, 10), link(1, 2, 1_000_000, 0, 10)];
    let topology = Topology::new(vec![Ns(0); 3], links, 1000).unwrap();
    let flow = |node, target, at_most: Option<u64>| Flow {
        node,
        targets: vec![target],
        bytes: 990,
        priority: 0,
        at_most: at_most.map(|ns| AtMost::new(1, Ns(ns)).unwrap()),
        late: Some(Ns(0)),
    };
    // The undeclared flow shares only the second link, and the third flow shares none with it.
    let found = delay_bounds(
        &topology,
        &[
            flow(0, 2, Some(100_000_000)),
            flow(1, 2, None),
            flow(0, 1, Some(100_000_000)),
            flow(2, 0, Some(100_000_000)),
        ],
    )
    .unwrap();
    assert_eq!(
        found[0],
        [DelayBound::Unknown(WhyUnknown::NoLimitDeclared { flow: 1 })]
    );
    assert_eq!(
        found[1],
        [DelayBound::Unknown(WhyUnknown::NoLimitDeclared { flow: 1 })]
    );
    assert!(total(&found[2][0]).is_some() && total(&found[3][0]).is_some());
    let found = delay_bounds(
        &topology,
        &[flow(0, 1, Some(8_000_000)), flow(0, 1, Some(8_001_000))],
    )
    .unwrap();
    assert!(
        matches!(
            found[0][0],
            DelayBound::Unknown(WhyUnknown::Overloaded {
                link: 0,
                to: 1,
                rate_bps: 1_000_000,
                ..
            })
        ),
        "{found:?}"
    );
    let apart = Topology::new(vec![Ns(0); 3], vec![link(0, 1, 1_000_000, 0, 10)], 1000).unwrap();
    assert_eq!(
        delay_bounds(&apart, &[flow(0, 2, None)]),
        Err(BoundError::NoPath {
            flow: 0,
            from: 0,
            to: 2
        })
    );
}

/// Five nodes in a ring, each sending two hops clockwise: every direction feeds the next. A frame is b = 160 bits, a direction R = 10 bits a microsecond, and on each lie the
/// first hop of one stream (burst b) and the second of another (burst c). The first is held up for (b + c)/R, so that c = b (1 + (b + c)/(R P)), which is
/// c = b (1 + b/(R P))/(1 - b/(R P)); both stay for (b + b + c)/R.
fn ring(period_ns: u64) -> (Topology, Vec<Flow>) {
    let links = (0..5)
        .map(|a| link(a, (a + 1) % 5, 10_000_000, 0, 10))
        .collect();
    let topology = Topology::new(vec![Ns(0); 5], links, 1000).unwrap();
    let flow = |node: usize| Flow {
        node,
        targets: vec![(node + 2) % 5],
        bytes: 10,
        priority: 0,
        at_most: Some(AtMost::new(1, Ns(period_ns)).unwrap()),
        late: Some(Ns(0)),
    };
    (topology, (0..5).map(flow).collect())
}

#[test]
fn verif_a_ring_has_the_stays_that_reproduce_themselves() {
    for period_ns in [1_000_000_000, 1_000_000, 60_000] {
        let (topology, flows) = ring(period_ns);
        let found = delay_bounds(&topology, &flows).unwrap();
        let share = 160.0 / (10.0 * period_ns as f64 / 1e3);
        let burst_bits = 160.0 * (1.0 + share) / (1.0 - share);
        let two_stays_ns = 2e3 * (160.0 + 160.0 + burst_bits) / 10.0;
        for targets in &found {
            let told = total(&targets[0]).unwrap().0 as f64;
            // At both directions the burst is rounded up to a whole bit, which lasts 0.1 us.
            assert!(
                (two_stays_ns..two_stays_ns + 250.0).contains(&told),
                "{told} for {two_stays_ns}"
            );
        }
    }
    // Every direction has room, but a stay would be longer than the time for which a limit holds.
    let (tight, flows) = ring(33_000);
    let found = delay_bounds(&tight, &flows).unwrap();
    let given_up = |targets: &Vec<DelayBound>| {
        matches!(targets[0], DelayBound::Unknown(WhyUnknown::Ring { .. }))
    };
    assert!(found.iter().all(given_up), "{found:?}");
    let open = delay_bounds(&tight, &flows[..4]).unwrap();
    assert!(open.iter().all(|targets| total(&targets[0]).is_some()));
    // Beyond that it is told which direction has none.
    let (full, flows) = ring(31_000);
    let found = delay_bounds(&full, &flows).unwrap();
    assert!(
        found.iter().any(|targets| matches!(
            targets[0],
            DelayBound::Unknown(WhyUnknown::Overloaded { .. })
        )),
        "{found:?}"
    );
}

#[test]
fn verif_red_a_bound_that_leaves_out_blocking_is_exceeded() {
    let topology = Topology::new(vec![Ns(0); 2], vec![link(0, 1, 1_000_000, 0, 10)], 2000).unwrap();
    let stream = |bytes, priority, offset_ns| Stream {
        node: 0,
        topic: "a".to_owned(),
        bytes,
        priority,
        period_ns: 1_000_000_000,
        offset_ns,
        count: 1,
    };
    let scenario = Scenario {
        topology,
        subscriptions: vec![(1, "#".to_owned())],
        streams: vec![stream(1990, 1, 0), stream(10, 0, 1)],
        faults: Vec::new(),
    };
    let all = flows(&scenario);
    let with = total(&delay_bounds(&scenario.topology, &all).unwrap()[1][0]).unwrap();
    let without = total(&delay_bounds(&scenario.topology, &all[1..]).unwrap()[0][0]).unwrap();
    let found = run(&scenario, HandIn::BeforeArrivals);
    let late = found
        .delivered
        .iter()
        .find(|d| d.stream == 1)
        .map(|d| Ns(d.at.0 - d.published.0))
        .unwrap();
    assert!(without < late && late <= with, "{without} {late} {with}");
}

proptest! {
    #[test]
    fn verif_simulated_latency_lies_between_the_bounds(seed: u64, extra_links in 0u64..3) {
        let scenario = random_scenario(seed, extra_links, 0);
        let bounds = delay_bounds(&scenario.topology, &flows(&scenario)).unwrap();
        let targets: Vec<Vec<usize>> = flows(&scenario).into_iter().map(|flow| flow.targets).collect();
        for d in run(&scenario, HandIn::BeforeArrivals).delivered {
            let latency = Ns(d.at.0 - d.published.0);
            let stream = &scenario.streams[d.stream as usize];
            prop_assert!(latency >= no_queue_latency(&scenario.topology, stream.node, d.node, stream.bytes).unwrap());
            let place = targets[d.stream as usize].iter().position(|&node| node == d.node).unwrap();
            if let Some(bound) = total(&bounds[d.stream as usize][place]) {
                prop_assert!(latency <= bound, "{} > {}", latency, bound);
            }
        }
    }
}

#[test]
fn verif_only_truly_overloaded_links_are_unknown_and_the_bound_is_within_reach() {
    let (mut known, mut overloaded, mut closest) = (0u32, 0u32, 0.0f64);
    for seed in 0..200 {
        let scenario = random_scenario(seed, 0, 0);
        let flows = flows(&scenario);
        let bounds = delay_bounds(&scenario.topology, &flows).unwrap();
        for d in run(&scenario, HandIn::BeforeArrivals).delivered {
            let flow = d.stream as usize;
            let place = flows[flow]
                .targets
                .iter()
                .position(|&node| node == d.node)
                .unwrap();
            match &bounds[flow][place] {
                DelayBound::Known { total, .. } => {
                    known += 1;
                    closest = closest.max((d.at.0 - d.published.0) as f64 / total.0 as f64);
                }
                DelayBound::Unknown(WhyUnknown::Overloaded {
                    link, to, rate_bps, ..
                }) => {
                    overloaded += 1;
                    let asked_bps = asked_of(&scenario, &flows, *link, *to);
                    assert!(
                        asked_bps > *rate_bps as f64 * (1.0 - 1e-9),
                        "{asked_bps} of {rate_bps}"
                    );
                }
                DelayBound::Unknown(other) => panic!("{other:?} on a tree of declared flows"),
            }
        }
    }
    assert!(
        known > 3000 && overloaded > 3000,
        "{known} known, {overloaded} overloaded"
    );
    assert!(
        closest > 0.6 && closest <= 1.0,
        "the latest message used {closest} of its bound"
    );
}

/// Second route to the load of a link: bits of whole messages per period, summed over the flows whose route to some target uses it.
fn asked_of(scenario: &Scenario, flows: &[Flow], link: usize, to: usize) -> f64 {
    let spec = scenario.topology.links()[link];
    let from = if spec.a == to { spec.b } else { spec.a };
    let mut asked_bps = 0.0;
    for (flow, stream) in flows.iter().zip(&scenario.streams) {
        let uses = flow.targets.iter().any(|&target| {
            // On a tree a route from the flow's node passes `from` before `to` exactly when `to` is nearer to the target.
            let hops = |a, b| scenario.topology.route(a, b).unwrap().len();
            hops(flow.node, from) + 1 + hops(to, target) == hops(flow.node, target)
        });
        if uses {
            let frames = stream.bytes.div_ceil(scenario.topology.mtu_bytes()).max(1);
            let bits = 8.0
                * (f64::from(stream.bytes) + f64::from(frames) * f64::from(spec.overhead_bytes));
            asked_bps += bits / Ns(stream.period_ns).as_s_f64();
        }
    }
    asked_bps
}
