//! Delivery on terms, against an independent simulator written from the rules in SimPy 4.1.2 (reference/make/network_post.py), and by what must always hold.

use std::collections::{BTreeMap, BTreeSet};

use network::{
    Delivery, DropReason, Dropped, FIRST_ANSWER_STREAM, Filter, Keep, LinkState, Machine,
    MachineError, NodeState, Note, NoteKind, Post, PostStats, Publication, Retry, Stats, Terms,
    TopicName, Topology,
};
use proptest::prelude::*;
use serde_json::Value;
use timeline::{Class, Ns};

use crate::support::{Draw, Fault, Scenario, Stream, int, link, list, random_scenario, reference};

/// A scenario with the terms of each of its streams; each stream has a topic of its own.
struct Case {
    scenario: Scenario,
    terms: Vec<Terms>,
}

#[derive(Debug, PartialEq)]
struct Run {
    delivered: Vec<Delivery>,
    dropped: Vec<Dropped>,
    /// With stream and seq of their messages.
    notes: Vec<(u32, u64, Note)>,
    done: usize,
    stats: Stats,
    on_terms: PostStats,
}

fn read_terms(value: &Value) -> Terms {
    let small = |v: &Value| u32::try_from(int(v)).unwrap();
    Terms {
        retry: value["retry"].as_object().map(|r| Retry {
            after: Ns(int(&r["after_ns"])),
            at_most: small(&r["at_most"]),
            acknowledgement_bytes: small(&r["acknowledgement_bytes"]),
            remembers: small(&r["remembers"]),
        }),
        retained: value["retained"].as_bool().unwrap(),
        keep: value["keep"].as_object().map(|k| Keep {
            messages: small(&k["messages"]),
            longest: Ns(int(&k["longest_ns"])),
        }),
    }
}

fn read(value: &Value) -> Case {
    let mut value = value.clone();
    for link in value["links"].as_array_mut().unwrap() {
        link["min_payload_bytes"] = 0.into();
    }
    let faults = value["faults"].take();
    value["faults"] = Value::Array(Vec::new());
    let mut scenario = crate::support::read_scenario(&value);
    let taps = list(&value["taps"]);
    for fault in list(&faults) {
        let up = fault["up"].as_bool().unwrap();
        let what = match (fault["link"].as_u64(), fault["node"].as_u64()) {
            (Some(link), _) if up => Fault::Link(link as usize, LinkState::Up),
            (Some(link), _) => Fault::Link(link as usize, LinkState::Down),
            (None, Some(node)) if up => Fault::Node(node as usize, NodeState::Up),
            (None, Some(node)) if taps[node as usize] == true => {
                Fault::Node(node as usize, NodeState::Passes)
            }
            (None, Some(node)) => Fault::Node(node as usize, NodeState::Down),
            (None, None) => panic!("a fault has a place"),
        };
        scenario.faults.push((int(&fault["at_ns"]), what));
    }
    Case {
        scenario,
        terms: list(&value["streams"])
            .iter()
            .map(|s| read_terms(&s["terms"]))
            .collect(),
    }
}

fn conserves(post: &Post) {
    let s = post.terms_stats();
    let dropped: u64 = s.dropped.values().sum();
    assert_eq!(s.due, s.delivered + dropped + s.had + s.kept + s.under_way);
    let all = post.stats();
    assert_eq!(all.copies_due, all.delivered + all.dropped + all.in_flight);
}

/// Runs a case; publications are handed in before the arrivals of their instant, or after them.
fn run(case: &Case, after_arrivals: bool) -> Run {
    let Scenario {
        topology,
        subscriptions,
        streams,
        faults,
    } = &case.scenario;
    let subscriptions = subscriptions
        .iter()
        .map(|(node, text)| (*node, Filter::parse(text).unwrap()))
        .collect();
    let mut post = Post::new(Machine::new(topology.clone(), subscriptions).unwrap());
    let topics: Vec<_> = streams
        .iter()
        .map(|stream| post.topic(&TopicName::parse(&stream.topic).unwrap()))
        .collect();
    for (topic, terms) in topics.iter().zip(&case.terms) {
        post.set_terms(*topic, *terms);
    }
    let mut publications: Vec<(u64, usize, u64)> = Vec::new();
    for (number, stream) in streams.iter().enumerate() {
        for seq in 0..stream.count {
            publications.push((stream.offset_ns + seq * stream.period_ns, number, seq));
        }
    }
    publications.sort_unstable();
    let instants: BTreeSet<u64> = publications
        .iter()
        .map(|p| p.0)
        .chain(faults.iter().map(|f| f.0))
        .collect();
    let mut out = Run {
        delivered: Vec::new(),
        dropped: Vec::new(),
        notes: Vec::new(),
        done: 0,
        stats: post.stats(),
        on_terms: PostStats::default(),
    };
    let mut names = BTreeMap::new();
    let step = |post: &mut Post, out: &mut Run| {
        post.step(&mut out.delivered);
        conserves(post);
    };
    for now in instants {
        while post.next_time().is_some_and(|at| at < Ns(now)) {
            step(&mut post, &mut out);
        }
        for (_, fault) in faults.iter().filter(|&&(at, _)| at == now) {
            match *fault {
                Fault::Link(link, state) => post.set_link(Ns(now), link, state).unwrap(),
                Fault::Node(node, state) => post.set_node(Ns(now), node, state).unwrap(),
                Fault::Bus(bus, state) => post.set_bus(Ns(now), bus, state).unwrap(),
            }
        }
        while after_arrivals && post.next() == Some((Ns(now), Class::Arrive)) {
            step(&mut post, &mut out);
        }
        for &(_, number, seq) in publications.iter().filter(|p| p.0 == now) {
            let s = &streams[number];
            let message = post
                .publish(
                    Ns(now),
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
            names.insert(message, (number as u32, seq));
            conserves(&post);
        }
    }
    while post.next_time().is_some() {
        step(&mut post, &mut out);
    }
    out.dropped.extend(post.drain_drops());
    out.notes.extend(post.drain_notes().map(|n| {
        let (stream, seq) = names[&n.message];
        (stream, seq, n)
    }));
    // Within an instant they come in the order in which things were handed in.
    out.notes
        .sort_by_key(|(.., n)| (n.at, n.message, n.node, what(n.kind)));
    out.done = post.drain_done().count();
    out.stats = post.stats();
    out.on_terms = post.terms_stats();
    out
}

fn why(reason: DropReason) -> &'static str {
    match reason {
        DropReason::NoPath => "path",
        DropReason::LinkDown => "link",
        DropReason::NodeDown => "node",
        DropReason::BitErrors => "errors",
        DropReason::BusOff => "bus off",
        DropReason::KeptTooMany => "too many",
        DropReason::KeptTooLong => "too long",
        DropReason::Forgotten => "forgotten",
        DropReason::Unanswered => "unanswered",
        DropReason::TooOld => "too old",
    }
}

fn what(kind: NoteKind) -> &'static str {
    match kind {
        NoteKind::Kept => "kept",
        NoteKind::Released => "released",
        NoteKind::Missed { .. } => "missed",
        NoteKind::Again { .. } => "again",
        NoteKind::Duplicate | NoteKind::Had => "duplicate",
        NoteKind::Repeated => "repeated",
        NoteKind::Acknowledged => "acknowledged",
        NoteKind::AnswerLost { .. } => "answer lost",
        NoteKind::Unconfirmed => "unconfirmed",
        NoteKind::Retained => "retained",
    }
}

type Row<'a> = (u64, u64, u64, u64, &'a str);

fn rows(value: &Value, text_at: usize) -> Vec<Row<'_>> {
    let of = |row: &'_ Value, at: usize| int(&row[at + usize::from(text_at == 0)]);
    let mut rows: Vec<Row<'_>> = list(value)
        .iter()
        .map(|row| {
            let text = row[text_at].as_str().unwrap_or_default();
            (of(row, 0), of(row, 1), of(row, 2), of(row, 3), text)
        })
        .collect();
    rows.sort_unstable();
    rows
}

fn check_case(case: &Value, after_arrivals: bool) -> Run {
    let ours = run(&read(&case["scenario"]), after_arrivals);
    let mut delivered: Vec<Row<'_>> = ours
        .delivered
        .iter()
        .map(|d| (u64::from(d.stream), d.seq, d.node as u64, d.at.0, ""))
        .collect();
    delivered.sort_unstable();
    assert_eq!(delivered, rows(&case["delivered"], 4));
    let mut dropped: Vec<Row<'_>> = ours
        .dropped
        .iter()
        .map(|d| {
            let reason = why(d.reason);
            (u64::from(d.stream), d.seq, d.node as u64, d.at.0, reason)
        })
        .collect();
    dropped.sort_unstable();
    assert_eq!(dropped, rows(&case["dropped"], 4));
    let mut notes: Vec<Row<'_>> = ours
        .notes
        .iter()
        .map(|(stream, seq, n)| {
            (
                u64::from(*stream),
                *seq,
                n.node as u64,
                n.at.0,
                what(n.kind),
            )
        })
        .collect();
    notes.sort_unstable();
    assert_eq!(notes, rows(&case["notes"], 0));
    // What the twin gave up before its acknowledgement came was acknowledged after all; only the rest never was.
    let told = |kind: &'static str| notes.iter().filter(move |row| row.4 == kind);
    let same = |a: &&Row<'_>, b: &Row<'_>| (a.0, a.1, a.2) == (b.0, b.1, b.2);
    let acknowledged = |row: &&Row<'_>| {
        let mut later = told("acknowledged").filter(|a| same(a, row) && a.3 >= row.3);
        // A value that is held and sent once more is another copy.
        let sent_anew = |at| told("retained").any(|r| same(&r, row) && (row.3..=at).contains(&r.3));
        later.any(|a| !sent_anew(a.3))
    };
    let late = told("unconfirmed").filter(acknowledged).count() as u64;
    let given_up = told("unconfirmed").count() as u64;
    let counted = &ours.on_terms;
    assert_eq!(counted.acknowledged, told("acknowledged").count() as u64);
    assert_eq!(
        (counted.acknowledged_late, counted.unconfirmed),
        (late, given_up - late)
    );
    let busy: Vec<u64> = ours.stats.directions.iter().map(|d| d.busy.0).collect();
    let theirs: Vec<u64> = list(&case["busy_ns"]).iter().map(int).collect();
    assert_eq!(busy, theirs);
    assert_eq!(ours.stats.frame_hops, int(&case["frame_hops"]));
    ours
}

#[test]
fn val_hundred_random_trees_on_terms_to_the_nanosecond() {
    let file = reference("simpy-post.json");
    let cases = list(&file["cases"]);
    assert_eq!(cases.len(), 100);
    let mut seen: BTreeMap<&str, usize> = BTreeMap::new();
    for case in cases {
        let ours = check_case(case, false);
        assert_eq!(ours, check_case(case, true));
        for (.., note) in &ours.notes {
            *seen.entry(what(note.kind)).or_default() += 1;
        }
        for drop in &ours.dropped {
            *seen.entry(why(drop.reason)).or_default() += 1;
        }
    }
    // Every rule is at work somewhere.
    assert_eq!(seen.len(), 18, "{seen:?}");
    assert!(seen.values().all(|n| *n >= 10), "{seen:?}");
}

/// A publisher that counts one sending too few sends less often than the twin, wherever a message was given up for want of an acknowledgement.
#[test]
fn val_red_one_sending_too_few_is_not_what_the_twin_does() {
    let file = reference("simpy-post.json");
    let again = |run: &Run| {
        let kinds = run.notes.iter().map(|(.., n)| what(n.kind));
        kinds.filter(|k| *k == "again").count()
    };
    let mut seen = 0;
    for case in list(&file["cases"]) {
        let mut case_read = read(&case["scenario"]);
        let given_up = list(&case["dropped"]).iter().any(|d| {
            let retry = case_read.terms[int(&d[0]) as usize].retry;
            d[4] == "unanswered" && retry.is_some_and(|r| r.at_most > 0)
        });
        if !given_up {
            continue;
        }
        let twin = list(&case["notes"]).iter();
        let twin = twin.filter(|n| n[0] == "again").count();
        assert_eq!(again(&run(&case_read, false)), twin);
        for retry in case_read.terms.iter_mut().filter_map(|t| t.retry.as_mut()) {
            retry.at_most = retry.at_most.saturating_sub(1);
        }
        assert!(again(&run(&case_read, false)) < twin);
        seen += 1;
    }
    assert!(seen >= 5, "{seen}");
}

fn two_nodes(terms: Terms, count: u64, faults: Vec<(u64, Fault)>) -> Case {
    let stream = Stream {
        node: 0,
        topic: "t".to_owned(),
        bytes: 10,
        period_ns: 2_000_000,
        offset_ns: 0,
        count,
        priority: 0,
    };
    let links = vec![link(0, 1, 1_000_000, 0, 10)];
    Case {
        scenario: Scenario {
            topology: Topology::new(vec![Ns(0); 2], links, 100).unwrap(),
            subscriptions: vec![(1, "t".to_owned())],
            streams: vec![stream],
            faults,
        },
        terms: vec![terms],
    }
}

/// The first of five messages meets a cut and is sent again when its receiver has heard of four more and remembers two: it cannot know whether it had it, so it
/// neither delivers nor acknowledges it, and the publisher sends it the third time too.
#[test]
fn verif_what_is_below_the_memory_is_lost_and_not_acknowledged() {
    let terms = Terms {
        retry: Some(Retry {
            after: Ns(10_000_000),
            at_most: 2,
            acknowledgement_bytes: 4,
            remembers: 2,
        }),
        ..Terms::default()
    };
    let cut = vec![
        (0, Fault::Link(0, LinkState::Down)),
        (1_000_000, Fault::Link(0, LinkState::Up)),
    ];
    let ours = run(&two_nodes(terms, 5, cut), false);
    let delivered: Vec<u64> = ours.delivered.iter().map(|d| d.seq).collect();
    assert_eq!(delivered, [1, 2, 3, 4]);
    let dropped: Vec<_> = ours.dropped.iter().map(|d| (d.seq, d.reason)).collect();
    assert_eq!(dropped, [(0, DropReason::TooOld)]);
    let of = |kind: &str| -> Vec<u64> {
        let notes = ours.notes.iter().filter(|(.., n)| what(n.kind) == kind);
        notes.map(|(_, seq, _)| *seq).collect()
    };
    assert_eq!(of("acknowledged"), [1, 2, 3, 4]);
    assert_eq!(of("again"), [0, 0]);
    assert_eq!((ours.done, ours.stats.in_flight), (5, 0));
}

#[test]
fn verif_streams_of_acknowledgements_are_nobody_elses() {
    let retained = Terms {
        retained: true,
        ..Terms::default()
    };
    for terms in [Terms::default(), retained] {
        let case = two_nodes(terms, 0, Vec::new());
        let filters = vec![(1, Filter::parse("t").unwrap())];
        let mut post = Post::new(Machine::new(case.scenario.topology, filters).unwrap());
        let topic = post.topic(&TopicName::parse("t").unwrap());
        post.set_terms(topic, terms);
        let stream = FIRST_ANSWER_STREAM;
        let told = post.publish(
            Ns(0),
            Publication {
                node: 0,
                topic,
                bytes: 10,
                priority: 0,
                stream,
                seq: 0,
            },
        );
        assert_eq!(told, Err(MachineError::StreamTooHigh { stream }));
        assert!(
            post.publish(
                Ns(0),
                Publication {
                    node: 0,
                    topic,
                    bytes: 10,
                    priority: 0,
                    stream: stream - 1,
                    seq: 0
                }
            )
            .is_ok()
        );
    }
}

fn random_case(seed: u64, extra_links: u64, faults: u64) -> Case {
    let mut scenario = random_scenario(seed, extra_links, faults);
    let mut draw = Draw(!seed);
    for (number, stream) in scenario.streams.iter_mut().enumerate() {
        stream.topic = format!("line/n{}/{number}", stream.node);
    }
    for (_, filter) in &mut scenario.subscriptions {
        if filter == "line/+/level" {
            "line/+/0".clone_into(filter);
        }
    }
    let terms = scenario
        .streams
        .iter()
        .map(|_| {
            let mut often = |most: u64| draw.below(most);
            Terms {
                retry: (often(2) == 0).then(|| Retry {
                    after: Ns((1 + often(40)) * 100_000),
                    at_most: often(4) as u32,
                    acknowledgement_bytes: 4,
                    remembers: 1 + often(64) as u32,
                }),
                retained: often(2) == 0,
                keep: (often(2) == 0).then(|| Keep {
                    messages: 1 + often(6) as u32,
                    longest: Ns((1 + often(90)) * 100_000),
                }),
            }
        })
        .collect();
    Case { scenario, terms }
}

proptest! {
    // Conservation is asserted after every step and publication by `run` itself.
    #[test]
    fn verif_conservation_no_duplicate_and_order(seed: u64, extra_links in 0u64..3, faults in 0u64..12) {
        let case = random_case(seed, extra_links, faults);
        let ours = run(&case, false);
        prop_assert_eq!(ours.stats.in_flight, 0);
        let later = run(&case, true);
        prop_assert_eq!(later.stats.in_flight, 0);
        let stops = case.scenario.faults.iter().filter_map(|(_, f)| match f {
            Fault::Node(node, state) if *state != NodeState::Up => Some(*node),
            _ => None,
        });
        let stops: BTreeSet<usize> = stops.collect();
        let mut had = BTreeSet::new();
        let mut last: BTreeMap<(usize, u32), u64> = BTreeMap::new();
        for d in &ours.delivered {
            // A receiver that stops forgets what it has had.
            prop_assert!(had.insert((d.node, d.message)) || stops.contains(&d.node), "twice");
            let terms = case.terms[d.stream as usize];
            let before = last.insert((d.node, d.stream), d.seq);
            // What is sent again may be overtaken; rerouting in a mesh lets later ones overtake too.
            if terms.retry.is_none() && !terms.retained && extra_links == 0 {
                prop_assert!(before.is_none_or(|seq| seq < d.seq), "order");
            }
        }
        // Nothing is both delivered and dropped, but where it was delivered anew.
        for drop in &ours.dropped {
            let anew = case.terms[drop.stream as usize].retained;
            let stopped = stops.contains(&drop.node);
            prop_assert!(anew || stopped || !had.contains(&(drop.node, drop.message)));
        }
    }

    #[test]
    fn verif_at_most_once_is_what_the_machine_does(seed: u64, faults in 0u64..8) {
        let mut case = random_case(seed, 1, faults);
        case.terms.fill(Terms::default());
        let ours = run(&case, false);
        let plain = crate::support::run(&case.scenario, crate::support::HandIn::BeforeArrivals);
        prop_assert_eq!(&ours.delivered, &plain.delivered);
        prop_assert_eq!(&ours.dropped, &plain.dropped);
        prop_assert_eq!(&ours.stats, &plain.stats);
        prop_assert!(ours.notes.is_empty());
    }
}
