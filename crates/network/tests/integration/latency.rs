//! The pipeline formula of store-and-forward switching.

use network::{LatencyError, Medium, Topology, TopologyError, no_queue_latency};
use timeline::Ns;

use crate::support::{HandIn, Scenario, Stream, link, run};

fn line(nodes: usize, mtu_bytes: u32) -> Topology {
    let links = (1..nodes)
        .map(|node| link(node - 1, node, 10_000_000, 500, 86))
        .collect();
    Topology::new(vec![Ns(20_000); nodes], links, mtu_bytes).unwrap()
}

#[test]
fn verif_fragment_pipeline_formula() {
    // T = (n + k - 1) 8 (M/k + h)/R + n (propagation + processing), M 6000 B, h 86 B, n 9 hops, R 10 Mb/s.
    for (k, ms) in [(1u32, 44.0037), (10, 10.0629), (24, 8.7861), (60, 10.3029)] {
        let topology = line(10, 6000 / k);
        let ours = no_queue_latency(&topology, 0, 9, 6000).unwrap();
        let frame_ns = u64::from(6000 / k + 86) * 800;
        assert_eq!(ours, Ns(u64::from(9 + k - 1) * frame_ns + 9 * 20_500));
        assert!((ours.as_s_f64() * 1e3 - ms).abs() < 5e-5, "{k}: {ours}");
        // Second route: the machine itself.
        let scenario = Scenario {
            topology,
            subscriptions: vec![(9, "#".to_owned())],
            streams: vec![Stream {
                node: 0,
                topic: "a".to_owned(),
                bytes: 6000,
                priority: 0,
                period_ns: 1,
                offset_ns: 7,
                count: 1,
            }],
            faults: Vec::new(),
        };
        assert_eq!(
            run(&scenario, HandIn::BeforeArrivals).delivered[0].at,
            Ns(ours.0 + 7)
        );
    }
}

#[test]
fn verif_best_fragment_count() {
    // k* = sqrt((n - 1) M/h) = 23.62: 24 fragments beat 20 and 30.
    let time = |k: u32| no_queue_latency(&line(10, 6000 / k), 0, 9, 6000).unwrap();
    assert!(time(24) < time(20) && time(24) < time(30));
}

#[test]
fn verif_latencies_that_do_not_exist() {
    let topology = Topology::new(vec![Ns(0); 3], vec![link(0, 1, 1000, 0, 1)], 100).unwrap();
    assert_eq!(
        no_queue_latency(&topology, 0, 2, 1),
        Err(LatencyError::NoPath { from: 0, to: 2 })
    );
    assert_eq!(
        no_queue_latency(&topology, 0, 7, 1),
        Err(LatencyError::NoPath { from: 0, to: 7 })
    );
    assert_eq!(no_queue_latency(&topology, 1, 1, 1), Ok(Ns(0)));
    assert_eq!(links_of(&topology, 1, 0), Some(vec![0]));
}

#[test]
fn verif_topologies_that_cannot_be() {
    let build = |l, mtu| Topology::new(vec![Ns(0); 2], vec![l], mtu).map(|_| ());
    assert_eq!(
        build(link(0, 2, 1, 0, 1), 1),
        Err(TopologyError::NoSuchNode {
            link: 0,
            node: 2,
            nodes: 2
        })
    );
    assert_eq!(
        build(link(1, 1, 1, 0, 1), 1),
        Err(TopologyError::Loop { link: 0, node: 1 })
    );
    assert_eq!(
        build(link(0, 1, 0, 0, 1), 1),
        Err(TopologyError::NoRate { link: 0 })
    );
    assert_eq!(
        build(link(0, 1, 1, 0, 0), 1),
        Err(TopologyError::EmptyFrame { link: 0 })
    );
    assert_eq!(build(link(0, 1, 1, 0, 1), 0), Err(TopologyError::NoMtu));
    assert!(matches!(
        build(link(0, 1, 1 << 40, 0, 1), 1 << 30),
        Err(TopologyError::FrameTooLarge { .. })
    ));
    assert!(matches!(
        build(link(0, 1, 1, 0, 1), 1000),
        Err(TopologyError::FrameTooLong { .. })
    ));
    assert!(matches!(
        build(link(0, 1, 1, u64::MAX, 1), 1),
        Err(TopologyError::PropagationTooLong { .. })
    ));
    assert!(matches!(
        Topology::new(vec![Ns::MAX], vec![], 1),
        Err(TopologyError::ProcessingTooLong { .. })
    ));
}

#[test]
fn verif_mesh_routes_take_the_lowest_number() {
    // Two ways of two hops from 0 to 3; the one over node 1 is taken, on the lower-numbered of its parallel links.
    let links = vec![
        link(0, 2, 1000, 0, 1),
        link(2, 3, 1000, 0, 1),
        link(0, 1, 1000, 0, 1),
        link(1, 3, 1000, 0, 1),
        link(3, 1, 1000, 0, 1),
    ];
    let topology = Topology::new(vec![Ns(0); 4], links, 100).unwrap();
    assert_eq!(links_of(&topology, 0, 3), Some(vec![2, 3]));
    assert_eq!(links_of(&topology, 3, 0), Some(vec![3, 2]));
    // A node that hands nothing on still sends and receives; the route goes round it, or nowhere.
    let round = topology.clone().without_relays(&[1]);
    assert_eq!(links_of(&round, 0, 3), Some(vec![0, 1]));
    assert_eq!(links_of(&round, 0, 1), Some(vec![2]));
    assert_eq!(links_of(&round, 1, 3), Some(vec![3]));
    let nowhere = topology.without_relays(&[1, 2]);
    assert_eq!(links_of(&nowhere, 0, 3), None);
    assert_eq!(links_of(&nowhere, 2, 3), Some(vec![1]));
}

fn links_of(topology: &Topology, from: usize, to: usize) -> Option<Vec<usize>> {
    let link = |(over, _)| match over {
        Medium::Link(link) => link,
        Medium::Bus(bus) => panic!("bus {bus}"),
    };
    let route = topology.route(from, to)?;
    Some(route.into_iter().map(link).collect())
}
