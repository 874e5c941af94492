//! What holds in every network.

use std::collections::BTreeMap;

use network::{
    Delivery, Dropped, HopRecord, LinkSpec, Medium, MessageId, Publication, Topology, frame_time,
};
use proptest::prelude::*;
use timeline::Ns;

use crate::support::{Draw, HandIn, Run, Scenario, machine, random_scenario, run};

fn plain_deliveries(run: &Run) -> Vec<(usize, u32, u64, Ns)> {
    let mut rows: Vec<_> = run
        .delivered
        .iter()
        .map(|d: &Delivery| (d.node, d.stream, d.seq, d.at))
        .collect();
    rows.sort_unstable();
    rows
}

fn plain_drops(run: &Run) -> Vec<(usize, u32, u64, Ns, network::DropReason)> {
    let mut rows: Vec<_> = run
        .dropped
        .iter()
        .map(|d: &Dropped| (d.node, d.stream, d.seq, d.at, d.reason))
        .collect();
    rows.sort_unstable();
    rows
}

fn check_hops(scenario: &Scenario, hops: &[HopRecord]) -> Result<(), TestCaseError> {
    let mut by_direction: BTreeMap<(Medium, usize), Vec<&HopRecord>> = BTreeMap::new();
    for hop in hops {
        by_direction
            .entry((hop.over, hop.from))
            .or_default()
            .push(hop);
        let link = link_of(&scenario.topology, hop.over);
        prop_assert!(hop.queued <= hop.start && hop.start < hop.end);
        prop_assert_eq!(
            hop.at.0,
            hop.end.0 + link.propagation.0 + scenario.topology.processing()[hop.to].0
        );
        prop_assert!(
            hop.end.0 - hop.start.0
                >= frame_time(
                    0,
                    link.overhead_bytes,
                    link.min_payload_bytes,
                    link.rate_bps
                )
                .unwrap()
                .0
        );
    }
    for hops in by_direction.values_mut() {
        hops.sort_by_key(|hop| hop.start);
        for pair in hops.windows(2) {
            prop_assert!(pair[0].end <= pair[1].start, "two frames at once");
        }
    }
    Ok(())
}

proptest! {
    // Conservation is asserted after every step by `run` itself.
    #[test]
    fn verif_conservation_order_and_permutation(seed: u64, extra_links in 0u64..3, faults in 0u64..8, shuffle: u64) {
        let scenario = random_scenario(seed, extra_links, faults);
        let first = run(&scenario, HandIn::BeforeArrivals);
        prop_assert_eq!(first.stats.in_flight, 0);
        prop_assert_eq!(first.stats.copies_due, first.stats.delivered + first.stats.dropped);
        check_hops(&scenario, &first.hops)?;

        let mut last: BTreeMap<(usize, u32), (u64, Ns)> = BTreeMap::new();
        for d in &first.delivered {
            // Rerouting after a fault may let a later message overtake; otherwise a stream stays in order.
            if let Some((seq, at)) = last.insert((d.node, d.stream), (d.seq, d.at))
                && faults == 0
            {
                prop_assert!(seq < d.seq && at <= d.at);
            }
        }

        let second = run(&scenario, HandIn::AfterArrivalsShuffled(shuffle));
        prop_assert_eq!(plain_deliveries(&first), plain_deliveries(&second));
        prop_assert_eq!(plain_drops(&first), plain_drops(&second));
        prop_assert_eq!(&first.stats.directions, &second.stats.directions);

        let elapsed = first.hops.iter().map(|hop| hop.end).max().unwrap_or(Ns(0));
        if faults == 0 {
            for d in &first.stats.directions {
                prop_assert!(d.busy <= elapsed);
                let traced: u64 = first.hops.iter().filter(|h| h.over == Medium::Link(d.link) && h.from == d.from).map(|h| h.end.0 - h.start.0).sum();
                prop_assert_eq!(traced, d.busy.0);
            }
        }
    }

    #[test]
    fn verif_one_thread_or_many(seed: u64) {
        let scenario = random_scenario(seed, 1, 4);
        let alone = run(&scenario, HandIn::BeforeArrivals);
        let together: Vec<Run> = std::thread::scope(|scope| {
            let threads: Vec<_> = (0..3).map(|_| scope.spawn(|| run(&scenario, HandIn::BeforeArrivals))).collect();
            threads.into_iter().map(|thread| thread.join().unwrap()).collect()
        });
        for other in together {
            prop_assert_eq!(&alone.delivered, &other.delivered);
            prop_assert_eq!(&alone.dropped, &other.dropped);
            prop_assert_eq!(&alone.hops, &other.hops);
        }
    }

    #[test]
    fn verif_a_copy_of_a_machine_goes_on_alike(seed: u64) {
        let scenario = random_scenario(seed, 0, 0);
        let mut one = machine(&scenario);
        let topic = one.topic(&network::TopicName::parse("line/n0/level").unwrap());
        let mut draw = Draw(seed);
        for seq in 0..20 {
            let id = one.publish(Ns(0), Publication { node: draw.below(scenario.topology.node_count() as u64) as usize, topic, bytes: 700, priority: 0, stream: 0, seq }).unwrap();
            prop_assert_eq!(id, MessageId(seq));
        }
        let mut out = Vec::new();
        for _ in 0..10 {
            one.step(&mut out);
        }
        let mut two = one.clone();
        let (mut first, mut second) = (Vec::new(), Vec::new());
        while one.next_time().is_some() {
            one.step(&mut first);
        }
        while two.next_time().is_some() {
            two.step(&mut second);
        }
        prop_assert_eq!(first, second);
        prop_assert_eq!(one.stats(), two.stats());
    }
}

fn link_of(topology: &Topology, over: Medium) -> &LinkSpec {
    match over {
        Medium::Link(link) => &topology.links()[link],
        Medium::Bus(bus) => panic!("bus {bus}"),
    }
}
