//! The rules of cuts and stopped nodes, worked by hand.
//!
//! A line 0 - 1 - 2 of 1 Mb/s links with 1000 ns of propagation and 5000 ns of processing. A message of 90 bytes with 10 of overhead takes 800 us on each:
//! it leaves node 0 whole at 800 000, is in node 1 at 801 000, queued there at 806 000, leaves whole at 1 606 000, is in node 2 at 1 607 000 and
//! delivered at 1 612 000.

use network::{
    Delivery, DropReason, Dropped, Filter, LinkState, Machine, MachineError, NodeState,
    Publication, TopicId, TopicName, Topology,
};
use timeline::{Class, Ns};

use crate::support::link;

fn line() -> (Machine, TopicId) {
    let links = vec![
        link(0, 1, 1_000_000, 1000, 10),
        link(1, 2, 1_000_000, 1000, 10),
    ];
    let topology = Topology::new(vec![Ns(5000); 3], links, 90).unwrap();
    let everything = Filter::parse("#").unwrap();
    let mut machine =
        Machine::new(topology, vec![(2, everything.clone()), (0, everything)]).unwrap();
    let topic = machine.topic(&TopicName::parse("a").unwrap());
    (machine, topic)
}

fn run_until(machine: &mut Machine, until: Ns) -> Vec<Delivery> {
    let mut out = Vec::new();
    while machine.next_time().is_some_and(|at| at < until) {
        machine.step(&mut out);
    }
    out
}

fn drops(machine: &mut Machine) -> Vec<(u64, usize, u64, DropReason)> {
    machine
        .drain_drops()
        .map(|d: Dropped| (d.seq, d.node, d.at.0, d.reason))
        .collect()
}

/// 90 bytes of node 0, of its only stream.
fn publication(topic: TopicId, seq: u64) -> Publication {
    Publication {
        node: 0,
        topic,
        bytes: 90,
        priority: 0,
        stream: 0,
        seq,
    }
}

#[test]
fn verif_undisturbed() {
    let (mut machine, topic) = line();
    machine.publish(Ns(0), publication(topic, 0)).unwrap();
    let out = run_until(&mut machine, Ns::MAX);
    assert_eq!((out.len(), out[0].node, out[0].at), (1, 2, Ns(1_612_000)));
}

#[test]
fn verif_a_cut_loses_what_has_not_wholly_crossed() {
    for (cut_ns, link, lost) in [
        (0, 0, true),
        (400_000, 0, true),
        (800_500, 0, true),
        (801_000, 0, true),
        (801_001, 0, false),
        (805_999, 1, true),
        (806_000, 1, true),
        (1_607_000, 1, true),
        (1_607_001, 1, false),
    ] {
        let (mut machine, topic) = line();
        machine.publish(Ns(0), publication(topic, 0)).unwrap();
        let mut out = run_until(&mut machine, Ns(cut_ns));
        machine.set_link(Ns(cut_ns), link, LinkState::Down).unwrap();
        out.extend(run_until(&mut machine, Ns::MAX));
        assert_eq!(out.is_empty(), lost, "cut of link {link} at {cut_ns}");
        let at = if (801_001..806_000).contains(&cut_ns) {
            806_000
        } else {
            cut_ns
        };
        let expected: &[_] = if lost {
            &[(0, 2, at, DropReason::LinkDown)]
        } else {
            &[]
        };
        assert_eq!(
            drops(&mut machine),
            expected,
            "cut of link {link} at {cut_ns}"
        );
        assert_eq!(machine.stats().in_flight, 0);
    }
}

#[test]
fn verif_a_cut_empties_the_queue_and_frees_the_transmitter() {
    let (mut machine, topic) = line();
    for seq in 0..3 {
        machine.publish(Ns(0), publication(topic, seq)).unwrap();
    }
    run_until(&mut machine, Ns(300_000));
    assert_eq!(machine.stats().directions[0].waiting, 2);
    machine.set_link(Ns(300_000), 0, LinkState::Down).unwrap();
    assert_eq!(
        drops(&mut machine),
        [0, 1, 2].map(|seq| (seq, 2, 300_000, DropReason::LinkDown))
    );
    assert_eq!(machine.stats().directions[0].busy, Ns(300_000));
    machine.publish(Ns(310_000), publication(topic, 3)).unwrap();
    assert_eq!(drops(&mut machine), [(3, 2, 310_000, DropReason::NoPath)]);
    // Mended while the interrupted frame would still have been on its way: the transmitter is free at once, and stays so.
    machine.set_link(Ns(320_000), 0, LinkState::Up).unwrap();
    machine.publish(Ns(320_000), publication(topic, 4)).unwrap();
    machine.publish(Ns(320_000), publication(topic, 5)).unwrap();
    let out = run_until(&mut machine, Ns::MAX);
    let rows: Vec<_> = out.iter().map(|d| (d.seq, d.at.0)).collect();
    assert_eq!(
        rows,
        [(4, 320_000 + 1_612_000), (5, 320_000 + 1_612_000 + 800_000)]
    );
}

#[test]
fn verif_one_lost_fragment_loses_the_message() {
    let (mut machine, topic) = line();
    machine
        .publish(
            Ns(0),
            Publication {
                bytes: 180,
                ..publication(topic, 0)
            },
        )
        .unwrap();
    run_until(&mut machine, Ns(1_000_000));
    // The first fragment is on link 1, the second on link 0.
    machine.set_link(Ns(1_000_000), 1, LinkState::Down).unwrap();
    machine.set_link(Ns(1_000_001), 1, LinkState::Up).unwrap();
    let out = run_until(&mut machine, Ns::MAX);
    assert!(out.is_empty());
    assert_eq!(
        drops(&mut machine),
        [(0, 2, 1_000_000, DropReason::LinkDown)]
    );
    let stats = machine.stats();
    assert_eq!(
        (
            stats.copies_due,
            stats.delivered,
            stats.dropped,
            stats.in_flight
        ),
        (1, 0, 1, 0)
    );
    // The second fragment still crossed both links.
    assert_eq!(stats.frame_hops, 3);
}

#[test]
fn verif_a_stopped_node_loses_what_it_holds() {
    for (stop_ns, lost) in [
        (803_000, true),
        (806_000, true),
        (1_607_000, true),
        (1_607_001, false),
    ] {
        let (mut machine, topic) = line();
        machine.publish(Ns(0), publication(topic, 0)).unwrap();
        let mut out = run_until(&mut machine, Ns(stop_ns));
        machine.set_node(Ns(stop_ns), 1, NodeState::Down).unwrap();
        out.extend(run_until(&mut machine, Ns::MAX));
        assert_eq!(out.is_empty(), lost, "stopped at {stop_ns}");
        let expected: &[_] = if lost {
            &[(0, 2, stop_ns, DropReason::NodeDown)]
        } else {
            &[]
        };
        assert_eq!(drops(&mut machine), expected);
    }
    let (mut machine, topic) = line();
    machine.set_node(Ns(5), 2, NodeState::Down).unwrap();
    machine.publish(Ns(5), publication(topic, 0)).unwrap();
    machine
        .publish(
            Ns(5),
            Publication {
                node: 2,
                stream: 1,
                ..publication(topic, 0)
            },
        )
        .unwrap();
    assert_eq!(
        drops(&mut machine),
        [
            (0, 2, 5, DropReason::NodeDown),
            (0, 0, 5, DropReason::NodeDown)
        ]
    );
    assert_eq!(machine.next(), None);
    machine.set_node(Ns(6), 2, NodeState::Up).unwrap();
    machine.publish(Ns(6), publication(topic, 1)).unwrap();
    assert_eq!(run_until(&mut machine, Ns::MAX)[0].at, Ns(6 + 1_612_000));
}

/// A tap hands on what is meant for others, to the nanosecond as a node that is up, and takes and gives nothing itself.
#[test]
fn verif_a_tap_passes_on_and_neither_takes_nor_gives() {
    let links = vec![
        link(0, 1, 1_000_000, 1000, 10),
        link(1, 2, 1_000_000, 1000, 10),
    ];
    let topology = Topology::new(vec![Ns(5000); 3], links, 90).unwrap();
    let everything = Filter::parse("#").unwrap();
    let subscriptions = (0..3).map(|node| (node, everything.clone())).collect();
    let mut machine = Machine::new(topology, subscriptions).unwrap();
    let topic = machine.topic(&TopicName::parse("a").unwrap());
    let due = |machine: &Machine| {
        let s = machine.stats();
        assert_eq!(s.copies_due, s.delivered + s.dropped + s.in_flight);
    };
    // A copy under way to it when it becomes a tap: dropped as its frame comes in; the other copy goes on.
    machine.publish(Ns(0), publication(topic, 0)).unwrap();
    let mut out = run_until(&mut machine, Ns(400_000));
    machine.set_node(Ns(400_000), 1, NodeState::Passes).unwrap();
    due(&machine);
    out.extend(run_until(&mut machine, Ns::MAX));
    let rows: Vec<_> = out.iter().map(|d| (d.node, d.at.0)).collect();
    assert_eq!(rows, [(2, 1_612_000)]);
    assert_eq!(drops(&mut machine), [(0, 1, 806_000, DropReason::NodeDown)]);
    // Published while it is one: its copy is dropped at once, and so is all that it would publish itself.
    let at = Ns(2_000_000);
    machine.publish(at, publication(topic, 1)).unwrap();
    machine
        .publish(
            at,
            Publication {
                node: 1,
                stream: 1,
                ..publication(topic, 0)
            },
        )
        .unwrap();
    due(&machine);
    assert_eq!(
        drops(&mut machine),
        [
            (1, 1, at.0, DropReason::NodeDown),
            (0, 0, at.0, DropReason::NodeDown),
            (0, 2, at.0, DropReason::NodeDown)
        ]
    );
    let out = run_until(&mut machine, Ns::MAX);
    let rows: Vec<_> = out.iter().map(|d| (d.node, d.at.0)).collect();
    assert_eq!(rows, [(2, at.0 + 1_612_000)]);
    // What a tap holds for others is lost once it stops.
    let at = Ns(4_000_000);
    machine.publish(at, publication(topic, 2)).unwrap();
    run_until(&mut machine, Ns(at.0 + 803_000));
    let stop = Ns(at.0 + 803_000);
    machine.set_node(stop, 1, NodeState::Down).unwrap();
    assert!(run_until(&mut machine, Ns::MAX).is_empty());
    let lost = drops(&mut machine);
    assert!(lost.contains(&(2, 2, stop.0, DropReason::NodeDown)));
    due(&machine);
    machine.set_node(Ns(6_000_000), 1, NodeState::Up).unwrap();
    machine
        .publish(Ns(6_000_000), publication(topic, 3))
        .unwrap();
    assert_eq!(run_until(&mut machine, Ns::MAX).len(), 2);
}

/// What a node published itself and has not sent when it becomes a tap is lost, to the nanosecond of the last bit; the link falls free at once for what it holds of others.
#[test]
fn verif_a_tap_sends_nothing_more_of_its_own() {
    // Its own first frame is on the link to node 2 from 0.5 to 1.3 ms, its second waits. The frame from node 0 is queued there at 0.806 ms.
    for (stop_ns, own_arrives, foreign_at) in [
        (900_000, false, 900_000 + 806_000),
        (1_300_000, false, 1_300_000 + 806_000),
        (1_300_001, true, 1_300_000 + 806_000),
    ] {
        let links = vec![
            link(0, 1, 1_000_000, 1000, 10),
            link(1, 2, 1_000_000, 1000, 10),
        ];
        let topology = Topology::new(vec![Ns(5000); 3], links, 90).unwrap();
        let to_2 = Filter::parse("a").unwrap();
        let mut machine = Machine::new(topology, vec![(2, to_2)]).unwrap();
        let topic = machine.topic(&TopicName::parse("a").unwrap());
        machine
            .publish(
                Ns(0),
                Publication {
                    priority: 1,
                    ..publication(topic, 0)
                },
            )
            .unwrap();
        let mut out = run_until(&mut machine, Ns(500_000));
        machine
            .publish(
                Ns(500_000),
                Publication {
                    node: 1,
                    priority: 1,
                    stream: 1,
                    ..publication(topic, 0)
                },
            )
            .unwrap();
        machine
            .publish(
                Ns(500_000),
                Publication {
                    node: 1,
                    priority: 2,
                    stream: 1,
                    ..publication(topic, 1)
                },
            )
            .unwrap();
        out.extend(run_until(&mut machine, Ns(stop_ns)));
        machine.set_node(Ns(stop_ns), 1, NodeState::Passes).unwrap();
        out.extend(run_until(&mut machine, Ns::MAX));
        let mut arrived: Vec<_> = out.iter().map(|d| (d.stream, d.seq, d.at.0)).collect();
        arrived.sort_unstable();
        let (mut rows, mut lost) = (vec![(0, 0, foreign_at)], vec![(1, 1)]);
        if own_arrives {
            rows.push((1, 0, 1_306_000));
        } else {
            lost.insert(0, (1, 0));
        }
        assert_eq!(arrived, rows, "stopped at {stop_ns}");
        let dropped: Vec<_> = machine.drain_drops().collect();
        assert!(
            dropped
                .iter()
                .all(|d| d.at.0 == stop_ns && d.reason == DropReason::NodeDown)
        );
        let dropped: Vec<_> = dropped.iter().map(|d| (d.stream, d.seq)).collect();
        assert_eq!(dropped, lost, "stopped at {stop_ns}");
        // What was cut short was busy only so long.
        let own_busy = stop_ns.min(1_300_000) - 500_000;
        let busy: Vec<u64> = machine
            .stats()
            .directions
            .iter()
            .map(|d| d.busy.0)
            .collect();
        assert_eq!(busy, [800_000, 0, own_busy + 800_000, 0]);
        assert_eq!(machine.stats().in_flight, 0);
    }
}

/// A message of two frames misses one while its node is a tap: the copy is dropped once, though the second frame is received.
#[test]
fn verif_a_copy_that_misses_a_frame_at_a_tap_is_dropped_once() {
    let (mut machine, topic) = line();
    machine
        .publish(
            Ns(0),
            Publication {
                bytes: 180,
                ..publication(topic, 0)
            },
        )
        .unwrap();
    run_until(&mut machine, Ns(1_600_000));
    machine
        .set_node(Ns(1_600_000), 2, NodeState::Passes)
        .unwrap();
    run_until(&mut machine, Ns(1_700_000));
    machine.set_node(Ns(1_700_000), 2, NodeState::Up).unwrap();
    assert!(run_until(&mut machine, Ns::MAX).is_empty());
    assert_eq!(
        drops(&mut machine),
        [(0, 2, 1_612_000, DropReason::NodeDown)]
    );
    assert_eq!(machine.stats().in_flight, 0);
}

/// No frame goes through a node that hands nothing on; those for the node itself and from it still do.
#[test]
fn verif_a_machine_sends_nothing_through_a_node_that_does_not_relay() {
    let (whole, _) = line();
    let topology = whole.topology().clone().without_relays(&[1]);
    let everything = Filter::parse("#").unwrap();
    let subscriptions = (0..3).map(|node| (node, everything.clone())).collect();
    let mut machine = Machine::new(topology, subscriptions).unwrap();
    let topic = machine.topic(&TopicName::parse("a").unwrap());
    machine.publish(Ns(0), publication(topic, 0)).unwrap();
    machine
        .publish(
            Ns(0),
            Publication {
                node: 1,
                stream: 1,
                ..publication(topic, 0)
            },
        )
        .unwrap();
    assert_eq!(drops(&mut machine), [(0, 2, 0, DropReason::NoPath)]);
    let mut reached: Vec<_> = run_until(&mut machine, Ns::MAX)
        .iter()
        .map(|d| (d.stream, d.node))
        .collect();
    reached.sort_unstable();
    assert_eq!(reached, [(0, 1), (1, 0), (1, 2)]);
}

#[test]
fn verif_later_messages_go_round_a_cut() {
    let links = vec![
        link(0, 1, 1_000_000, 0, 10),
        link(1, 2, 1_000_000, 0, 10),
        link(0, 2, 1_000_000, 0, 10),
    ];
    let topology = Topology::new(vec![Ns(0); 3], links, 90).unwrap();
    let mut machine = Machine::new(topology, vec![(2, Filter::parse("#").unwrap())]).unwrap();
    let topic = machine.topic(&TopicName::parse("a").unwrap());
    machine.publish(Ns(0), publication(topic, 0)).unwrap();
    let mut out = run_until(&mut machine, Ns(900_000));
    machine.set_link(Ns(900_000), 2, LinkState::Down).unwrap();
    machine.publish(Ns(900_000), publication(topic, 1)).unwrap();
    out.extend(run_until(&mut machine, Ns::MAX));
    assert_eq!(
        out.iter().map(|d| d.at.0).collect::<Vec<_>>(),
        [800_000, 900_000 + 1_600_000]
    );
}

#[test]
fn verif_an_answer_is_published_before_links_choose() {
    let (mut machine, topic) = line();
    machine
        .publish(
            Ns(0),
            Publication {
                priority: 1,
                ..publication(topic, 0)
            },
        )
        .unwrap();
    machine
        .publish(
            Ns(0),
            Publication {
                priority: 1,
                ..publication(topic, 1)
            },
        )
        .unwrap();
    let mut out = Vec::new();
    // At 800 000 the first frame has left node 0; the answer of a priority that goes first overtakes the second message.
    while machine.next() != Some((Ns(800_000), Class::StartService)) {
        machine.step(&mut out);
    }
    machine
        .publish(
            Ns(800_000),
            Publication {
                stream: 1,
                ..publication(topic, 0)
            },
        )
        .unwrap();
    out.extend(run_until(&mut machine, Ns::MAX));
    assert_eq!(
        out.iter().map(|d| (d.stream, d.seq)).collect::<Vec<_>>(),
        [(0, 0), (1, 0), (0, 1)]
    );
}

#[test]
fn verif_calls_out_of_order_are_refused_and_change_nothing() {
    let (mut machine, topic) = line();
    let everything = Filter::parse("#").unwrap();
    assert!(matches!(
        Machine::new(machine.topology().clone(), vec![(3, everything)]),
        Err(MachineError::NoSuchNode { node: 3, nodes: 3 })
    ));
    machine.publish(Ns(10), publication(topic, 0)).unwrap();
    let before = machine.stats();
    assert_eq!(
        machine.publish(
            Ns(9),
            Publication {
                node: 0,
                topic,
                bytes: 90,
                priority: 0,
                stream: 0,
                seq: 1
            }
        ),
        Err(MachineError::Late {
            now: Ns(9),
            reached: Ns(10)
        })
    );
    assert_eq!(
        machine.publish(
            Ns(11),
            Publication {
                node: 0,
                topic,
                bytes: 90,
                priority: 0,
                stream: 0,
                seq: 1
            }
        ),
        Err(MachineError::Early {
            now: Ns(11),
            pending: Ns(10)
        })
    );
    assert_eq!(
        machine.publish(
            Ns(10),
            Publication {
                node: 3,
                topic,
                bytes: 90,
                priority: 0,
                stream: 0,
                seq: 1
            }
        ),
        Err(MachineError::NoSuchNode { node: 3, nodes: 3 })
    );
    assert_eq!(
        machine.publish(
            Ns(10),
            Publication {
                node: 0,
                topic: TopicId(7),
                bytes: 90,
                priority: 0,
                stream: 0,
                seq: 1
            }
        ),
        Err(MachineError::NoSuchTopic { topic: 7 })
    );
    assert!(matches!(
        machine.publish(
            Ns(10),
            Publication {
                node: 0,
                topic,
                bytes: u32::MAX,
                priority: 0,
                stream: 0,
                seq: 1
            }
        ),
        Err(MachineError::Frame(_))
    ));
    assert_eq!(
        machine.set_link(Ns(10), 2, LinkState::Down),
        Err(MachineError::NoSuchLink { link: 2, links: 2 })
    );
    assert_eq!(
        machine.set_node(Ns(10), 3, NodeState::Down),
        Err(MachineError::NoSuchNode { node: 3, nodes: 3 })
    );
    assert_eq!(machine.stats(), before);
    run_until(&mut machine, Ns::MAX);
    assert!(matches!(
        machine.publish(
            Ns(u64::MAX),
            Publication {
                node: 0,
                topic,
                bytes: 1,
                priority: 0,
                stream: 0,
                seq: 1
            }
        ),
        Err(MachineError::BeyondTime { .. })
    ));
    assert_eq!(
        (
            machine.topic_name(topic).map(|n| n.as_str()),
            machine.subscribers(topic)
        ),
        (Some("a"), Some([0, 2].as_slice()))
    );
}
