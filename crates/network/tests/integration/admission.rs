//! Streams that have room and streams that have none.

use network::{
    AtMost, BoundError, DelayBound, Filter, Flow, Machine, Medium, Publication, RateError,
    StreamAsk, StreamRoom, TopicName, Topology, WhyRefused, WhyUnknown, admit, delay_bounds,
    rate_left, stream_limit,
};
use timeline::Ns;

use crate::support::{Draw, link};

fn chain(nodes: usize, rate_bps: u64) -> Topology {
    let links = (1..nodes).map(|n| link(n - 1, n, rate_bps, 500, 86));
    Topology::new(vec![Ns(20_000); nodes], links.collect(), 1400).unwrap()
}

fn topic(node: usize, to: usize, bytes: u32, priority: u8, per_ms: u64) -> Flow {
    Flow {
        node,
        targets: vec![to],
        bytes,
        priority,
        at_most: Some(AtMost::new(1, Ns(per_ms * 1_000_000)).unwrap()),
        late: Some(Ns(0)),
    }
}

fn stream(node: usize, to: usize, rate_bps: u64, priority: u8, within: Option<u64>) -> StreamAsk {
    StreamAsk {
        flow: Flow {
            node,
            targets: vec![to],
            bytes: 1000,
            priority,
            at_most: Some(stream_limit(rate_bps, 1000, 1).unwrap()),
            late: Some(Ns(0)),
        },
        within: within.map(Ns),
    }
}

fn total(room: &StreamRoom) -> Option<Ns> {
    match room {
        StreamRoom::Admitted { total, .. } => Some(*total),
        StreamRoom::Refused(_) => None,
    }
}

/// 1000 bytes each 2 ms are 4 Mbit/s. Alone on 10 Mbit/s a packet of 1086 bytes on the wire is through in twice 868.8 us (itself, and the packet that may be whole just before), then
/// 500 ns and 20 us: worked by hand from T = L/C, D = T + b/C.
#[test]
fn verif_a_stream_alone_by_hand() {
    assert_eq!(
        stream_limit(4_000_000, 1000, 1),
        Ok(AtMost::new(1, Ns(2_000_000)).unwrap())
    );
    assert_eq!(
        stream_limit(4_000_000, 1000, 5),
        Ok(AtMost::new(5, Ns(10_000_000)).unwrap())
    );
    assert_eq!(
        stream_limit(0, 1000, 1),
        Err(RateError::TooSlow { rate_bps: 0 })
    );
    assert_eq!(
        stream_limit(1, u32::MAX, u32::MAX),
        Err(RateError::TooSlow { rate_bps: 1 })
    );
    assert!(stream_limit(4_000_000, 1000, 0).is_err());
    assert!(stream_limit(u64::MAX, 1, 1).is_err());
    let rooms = admit(
        &chain(2, 10_000_000),
        &[],
        &[stream(1, 0, 4_000_000, 3, None)],
    )
    .unwrap();
    assert_eq!(total(&rooms[0]), Some(Ns(2 * 868_800 + 500 + 20_000)));
}

/// Two streams of 4 Mbit/s take 8.688 of 10 Mbit/s on the wire; a third has no room, by priority and then by order, and one of 1 Mbit/s (1.086) still has.
#[test]
fn verif_streams_are_admitted_by_priority_then_by_order() {
    let line = chain(3, 10_000_000);
    let ask = |priorities: [u8; 3]| {
        let [a, b, c] = priorities.map(|p| stream(2, 0, 4_000_000, p, None));
        let rooms = admit(&line, &[], &[a, b, c, stream(1, 0, 1_000_000, 5, None)]).unwrap();
        rooms
            .iter()
            .map(|room| total(room).is_some())
            .collect::<Vec<_>>()
    };
    assert_eq!(ask([3, 3, 3]), [true, true, false, true]);
    assert_eq!(ask([3, 3, 2]), [true, false, true, true]);
    assert_eq!(ask([4, 2, 3]), [false, true, true, true]);
    let two = [
        stream(2, 0, 4_000_000, 3, None).flow,
        stream(2, 0, 4_000_000, 3, None).flow,
    ];
    assert_eq!(
        rate_left(&line, &two, 0, 0).unwrap(),
        Some(10_000_000 - 2 * 4_344_000)
    );
    assert_eq!(rate_left(&line, &two, 0, 1).unwrap(), Some(10_000_000));
    let rooms = admit(
        &line,
        &[],
        &[two[0].clone(), two[1].clone(), two[0].clone()]
            .map(|flow| StreamAsk { flow, within: None }),
    )
    .unwrap();
    assert!(matches!(
        rooms[2],
        StreamRoom::Refused(WhyRefused::Unbounded(WhyUnknown::Overloaded {
            link: 1,
            to: 1,
            asked_bps: 13_032_000,
            rate_bps: 10_000_000
        }))
    ));
}

#[test]
fn verif_a_stream_to_none_or_several_is_refused_in_words() {
    for targets in [vec![], vec![0, 1]] {
        let mut ask = stream(2, 0, 1_000_000, 3, None);
        ask.flow.targets = targets;
        let targets = ask.flow.targets.len();
        let told = admit(&chain(3, 10_000_000), &[], &[ask]);
        assert_eq!(told, Err(BoundError::NotOneTarget { stream: 0, targets }));
    }
}

/// Hundreds of Mbit/s: a stream of 600 on a link of a thousand, and what it leaves.
#[test]
fn verif_a_stream_of_hundreds_of_megabits() {
    let line = chain(2, 1_000_000_000);
    let fast = StreamAsk {
        flow: Flow {
            bytes: 1400,
            at_most: Some(stream_limit(600_000_000, 1400, 4).unwrap()),
            ..stream(1, 0, 1, 4, None).flow
        },
        within: Some(Ns(1_000_000)),
    };
    let rooms = admit(
        &line,
        &[topic(1, 0, 60, 0, 10)],
        &[fast.clone(), fast.clone()],
    )
    .unwrap();
    assert!(total(&rooms[0]).is_some() && total(&rooms[1]).is_none());
    let left = rate_left(&line, &[fast.flow], 0, 0).unwrap().unwrap();
    // 1486/1400 of 600 Mbit/s, and the span of four packets rounded down by less than a nanosecond in 74 us.
    let by_hand = 1e9 - 6e8 * 1486.0 / 1400.0;
    assert!((left as f64 - by_hand).abs() < 2e4, "{left} {by_hand}");
}

/// A stream too late for itself, one that makes another too late, one that would leave a topic without a bound.
#[test]
fn verif_what_speaks_against_a_stream() {
    let line = chain(2, 10_000_000);
    let late = admit(&line, &[], &[stream(1, 0, 4_000_000, 3, Some(1_000_000))]).unwrap();
    assert!(matches!(
        &late[0],
        StreamRoom::Refused(WhyRefused::TooLate { total: Ns(1_758_100), longest }) if longest.over == Medium::Link(0)
    ));
    // The first keeps 2.7 ms behind one other packet, not behind two.
    let first = stream(1, 0, 1_000_000, 3, Some(2_700_000));
    let other = stream(1, 0, 1_000_000, 3, None);
    let rooms = admit(&line, &[], &[first, other.clone(), other]).unwrap();
    assert_eq!(total(&rooms[0]), Some(Ns(3 * 868_800 + 20_500)));
    assert!(total(&rooms[1]).is_some());
    assert_eq!(
        rooms[2],
        StreamRoom::Refused(WhyRefused::Stream {
            stream: 0,
            total: Some(Ns(4 * 868_800 + 20_500))
        })
    );
    let log = topic(1, 0, 1400, 7, 2);
    let greedy = stream(1, 0, 4_000_000, 1, None);
    let rooms = admit(&line, &[log], &[greedy]).unwrap();
    assert!(matches!(
        rooms[0],
        StreamRoom::Refused(WhyRefused::Topic {
            flow: 0,
            why: WhyUnknown::Overloaded { .. }
        })
    ));
}

/// Random chains with topics and streams, run at their rates: no packet and no message is later than the bound with all that was admitted.
#[test]
fn verif_no_run_with_streams_passes_its_bound() {
    let (mut checked, mut refused, mut closest) = (0, 0, 0.0f64);
    for seed in 0..60 {
        let mut draw = Draw(900_000 + seed);
        let nodes = 2 + draw.below(4) as usize;
        let line = chain(nodes, 10_000_000);
        let other = |draw: &mut Draw, node: usize| {
            (node + 1 + draw.below(nodes as u64 - 1) as usize) % nodes
        };
        let mut topics = Vec::new();
        for _ in 0..1 + draw.below(4) {
            let node = draw.below(nodes as u64) as usize;
            let to = other(&mut draw, node);
            topics.push(topic(
                node,
                to,
                draw.pick(&[10, 200, 3000]),
                draw.pick(&[0, 1, 4]),
                draw.pick(&[10, 25]),
            ));
        }
        let mut streams = Vec::new();
        for _ in 0..1 + draw.below(5) {
            let node = draw.below(nodes as u64) as usize;
            let to = other(&mut draw, node);
            streams.push(stream(
                node,
                to,
                draw.pick(&[500_000, 2_000_000, 4_000_000]),
                draw.pick(&[1, 3]),
                draw.pick(&[None, Some(15_000_000)]),
            ));
        }
        let rooms = admit(&line, &topics, &streams).unwrap();
        let mut flows = topics;
        for (ask, room) in streams.iter().zip(&rooms) {
            match room {
                StreamRoom::Admitted { total, .. } => {
                    assert!(ask.within.is_none_or(|within| *total <= within));
                    flows.push(ask.flow.clone());
                }
                StreamRoom::Refused(_) => refused += 1,
            }
        }
        let bounds = delay_bounds(&line, &flows).unwrap();
        let filters = flows
            .iter()
            .enumerate()
            .map(|(n, f)| (f.targets[0], Filter::parse(&format!("f{n}")).unwrap()));
        let mut machine = Machine::new(line, filters.collect()).unwrap();
        let mut due = Vec::new();
        for (n, flow) in flows.iter().enumerate() {
            let id = machine.topic(&TopicName::parse(&format!("f{n}")).unwrap());
            let (per, offset) = (flow.at_most.unwrap().per().0, draw.below(3) * 100_000);
            due.extend((0..200_000_000 / per).map(|k| (Ns(offset + k * per), n, id, k)));
        }
        due.sort_unstable();
        let mut out = Vec::new();
        for (at, n, id, seq) in due {
            while machine.next_time().is_some_and(|next| next < at) {
                machine.step(&mut out);
            }
            let flow = &flows[n];
            machine
                .publish(
                    at,
                    Publication {
                        node: flow.node,
                        topic: id,
                        bytes: flow.bytes,
                        priority: flow.priority,
                        stream: n as u32,
                        seq,
                    },
                )
                .unwrap();
        }
        while machine.next_time().is_some() {
            machine.step(&mut out);
        }
        for d in out {
            if let DelayBound::Known { total, .. } = &bounds[d.stream as usize][0] {
                let late = d.at.0 - d.published.0;
                assert!(late <= total.0, "seed {seed}: {late} > {total}");
                closest = closest.max(late as f64 / total.0 as f64);
                checked += 1;
            }
        }
    }
    assert!(checked > 3000 && refused > 10, "{checked} {refused}");
    assert!(closest > 0.5, "{closest}");
}
