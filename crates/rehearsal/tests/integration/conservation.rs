//! What is sent arrives, is lost, is given up or is held at the end: nothing more, nothing less.

use std::collections::{BTreeMap, BTreeSet};

use proptest::prelude::*;
use proptest::sample::Index;
use rehearsal::{Copies, Loss, Outcome, Record, TopicCame, UplinkCount, What};

use crate::chain::{Node, cue_text, fault, input, line_text, told, topic};
use crate::support::{line_and_cues, read, run};

/// Copies due = delivered + lost + under way, and each loss is told.
#[test]
fn verif_messages_are_conserved() {
    let late = [("at = \"50 s\"", "at = \"94 s\"")];
    let (line, cues) = line_and_cues(&[], &late);
    let (outcome, records) = run(&line, &cues);
    let c = outcome.copies;
    assert!(c.due > 0);
    assert_eq!(c.due, c.delivered + c.lost + c.under_way);
    let told = |f: fn(&What) -> bool| records.iter().filter(|r| f(&r.what)).count() as u64;
    assert_eq!(told(|w| matches!(w, What::Delivered { .. })), c.delivered);
    assert_eq!(
        told(|w| matches!(
            w,
            What::Lost {
                why: Loss::Network(_),
                ..
            }
        )),
        c.lost
    );
}

/// What may happen to a line in a minute.
#[derive(Clone, Debug)]
struct Night {
    nodes: Vec<Node>,
    /// Module, and which topic it is told of; `2` for both.
    told: Vec<(usize, usize)>,
    /// Which topics have a limit.
    limited: [bool; 2],
    /// Module and interval of those that publish topic 0 by themselves, s.
    each: Vec<(usize, u32)>,
    /// Module, topic and time of messages from outside, s.
    inputs: Vec<(usize, usize, u32)>,
    /// Kind, place, begin and length of faults, s.
    faults: Vec<(usize, usize, u32, u32)>,
    success_percent: u32,
    expiry_s: u32,
    seed: u64,
}

const DURATION_S: u32 = 60;
const FILTERS: [&str; 3] = ["t/0", "t/1", "t/#"];
/// Kinds of faults, with what each needs besides.
const FAULTS: [(&str, &str); 14] = [
    ("cut", ""),
    ("hang", ""),
    ("dead", ""),
    ("no-uplink", ""),
    ("no-supply", ""),
    (
        "intermittent",
        "down = \"700 ms\"\nup = \"2 s\"\nlengths = \"exponential\"",
    ),
    ("bad-contact", "resistance = \"200 ohm\""),
    ("unplugged", "leaves = \"gap\""),
    ("restart", "by = \"watchdog\""),
    ("reboot-loop", "after = \"1 s\""),
    ("brown-out", "voltage = \"19 V\""),
    ("swapped", "voltage = \"30 V\"\nresistance = \"2 ohm\""),
    ("drained", "energy = \"9 J\""),
    (
        "flood",
        "topic = \"t/1\"\nevery = \"90 ms\"\nlimited = false",
    ),
];

fn nights() -> impl Strategy<Value = Night> {
    let node = (
        any::<Index>(),
        prop::sample::select(vec!["always", "powered", "running", "never"]),
        prop::sample::select(vec![1, 10, 10_000]),
    );
    prop::collection::vec(node, 2..6).prop_flat_map(|nodes| {
        let count = nodes.len();
        let nodes: Vec<Node> = nodes
            .into_iter()
            .enumerate()
            .map(|(i, (parent, passes_data, rate_kbit_s))| Node {
                parent: if i == 0 { 0 } else { parent.index(i) },
                passes_data,
                rate_kbit_s,
            })
            .collect();
        let fault = (0..FAULTS.len(), 0..count, 0..DURATION_S, 1..DURATION_S);
        (
            prop::collection::vec((0..count, 0..FILTERS.len()), 1..6),
            any::<[bool; 2]>(),
            prop::collection::vec((0..count, 3u32..20), 0..3),
            prop::collection::vec((0..count, 0..2usize, 0..DURATION_S), 1..12),
            prop::collection::vec(fault, 0..5),
            prop::sample::select(vec![30u32, 70, 100]),
            5u32..40,
            0u64..1_000_000,
        )
            .prop_map(
                move |(told, limited, each, inputs, faults, success_percent, expiry_s, seed)| {
                    Night {
                        nodes: nodes.clone(),
                        told,
                        limited,
                        each,
                        inputs,
                        faults,
                        success_percent,
                        expiry_s,
                        seed,
                    }
                },
            )
    })
}

/// Those told of topic 0 publish topic 1, and module 0 sends what it is told ashore.
fn texts(night: &Night) -> (String, String) {
    let mut plan = line_text(&night.nodes, night.expiry_s, night.success_percent);
    for (t, limited) in night.limited.iter().enumerate() {
        plan += &topic(&format!("t/{t}"));
        if *limited {
            plan += "at_most = \"2 per 20 s\"\n";
        }
    }
    for (i, (module, filter)) in night.told.iter().enumerate() {
        let action = match (module, filter) {
            (0, _) => r#"{ send_up = "uplink.shore", about = "t/0" }"#,
            (_, 0) => r#"{ publish = "t/1" }"#,
            _ => r#"{ log = "told" }"#,
        };
        plan += &told(&format!("told{i}"), *module, FILTERS[*filter], action);
    }
    for (i, (module, each_s)) in night.each.iter().enumerate() {
        plan += &format!(
            "\n[behaviour.each{i}]\non = \"module.m{module}\"\neach = \"{each_s} s\"\ndo = [{{ publish = \"t/0\" }}]\n"
        );
    }
    let mut cues = cue_text(DURATION_S, night.seed);
    for (i, (module, topic, at_s)) in night.inputs.iter().enumerate() {
        cues += &input(
            &format!("i{i}"),
            f64::from(*at_s),
            *module,
            &format!("t/{topic}"),
        );
    }
    for (i, (kind, place, from_s, length_s)) in night.faults.iter().enumerate() {
        let (kind, keys) = FAULTS[*kind];
        let of = match kind {
            "cut" | "intermittent" | "bad-contact" => format!("span.s{}", place.max(&1)),
            "no-uplink" => "uplink.shore".to_owned(),
            "no-supply" | "brown-out" | "swapped" | "drained" => "supply.bench".to_owned(),
            _ => format!("module.m{place}"),
        };
        let from_s = f64::from(*from_s);
        let until_s = from_s + f64::from(*length_s);
        let told = fault(&format!("f{i}"), kind, &of, from_s, until_s);
        cues += match kind {
            "restart" => told.split("until").next().unwrap(),
            _ => &told,
        };
        cues += keys;
        cues.push('\n');
    }
    (plan, cues)
}

/// Each copy of each message is delivered once, lost once, or under way at the end; and the counters say the same.
fn check_copies(night: &Night, outcome: &Outcome, records: &[Record]) -> Result<(), TestCaseError> {
    let mut open: BTreeSet<(u64, usize)> = BTreeSet::new();
    let (mut due, mut delivered, mut lost) = (0, 0, 0);
    for r in records {
        match r.what {
            What::Published {
                module,
                topic,
                message,
                ..
            } => {
                let hears = |(m, filter): &&(usize, usize)| {
                    *m != module.0 && (*filter == topic.0 || *filter == 2)
                };
                let modules: BTreeSet<usize> =
                    night.told.iter().filter(hears).map(|(m, _)| *m).collect();
                due += modules.len() as u64;
                for m in modules {
                    prop_assert!(open.insert((message.0, m)), "published twice: {:?}", r);
                }
            }
            What::Delivered {
                module, message, ..
            } => {
                prop_assert!(open.remove(&(message.0, module.0)), "not due: {:?}", r);
                delivered += 1;
            }
            What::Lost {
                module, message, ..
            } => {
                prop_assert!(open.remove(&(message.0, module.0)), "not due: {:?}", r);
                lost += 1;
            }
            _ => {}
        }
    }
    let counted = Copies {
        due,
        delivered,
        lost,
        under_way: open.len() as u64,
    };
    prop_assert_eq!(outcome.copies, counted);
    prop_assert_eq!(due, delivered + lost + counted.under_way);
    Ok(())
}

/// Each message for the shore is sent, given up, or waits at the end; its attempts are numbered from 1, one after another, and
/// each but the last has failed.
fn check_uplink(outcome: &Outcome, records: &[Record]) -> Result<(), TestCaseError> {
    #[derive(Clone, Copy)]
    struct Try {
        attempts: u64,
        under_way: bool,
    }
    let mut waiting: BTreeMap<u64, Try> = BTreeMap::new();
    let (mut queued, mut sent, mut billed, mut expired) = (0u64, 0u64, 0u64, 0u64);
    for r in records {
        match r.what {
            What::Queued { message, .. } => {
                queued += 1;
                let none = Try {
                    attempts: 0,
                    under_way: false,
                };
                prop_assert!(waiting.insert(message, none).is_none());
            }
            What::Attempt {
                message, attempt, ..
            } => {
                let now = waiting.get_mut(&message).unwrap();
                prop_assert!(!now.under_way);
                prop_assert_eq!(attempt, now.attempts + 1);
                now.attempts = attempt;
                now.under_way = true;
            }
            What::Failed {
                message, attempt, ..
            } => {
                let now = waiting.get_mut(&message).unwrap();
                prop_assert!(now.under_way);
                prop_assert_eq!(attempt, now.attempts);
                now.under_way = false;
            }
            What::Sent {
                message, billed: b, ..
            } => {
                prop_assert!(waiting.remove(&message).unwrap().under_way);
                sent += 1;
                billed += u64::from(b);
            }
            What::Expired { message, .. } => {
                prop_assert!(!waiting.remove(&message).unwrap().under_way);
                expired += 1;
            }
            _ => {}
        }
    }
    let counted = UplinkCount {
        queued,
        sent,
        billed,
        expired,
        dropped: 0,
        months_capped: 0,
        waiting: waiting.len() as u64,
    };
    prop_assert_eq!(outcome.uplinks[0], counted);
    prop_assert_eq!(
        counted.queued,
        counted.sent + counted.expired + counted.waiting
    );
    Ok(())
}

/// A module goes down only while it is up or boots, and boots only while it is down.
fn check_lives(night: &Night, records: &[Record]) -> Result<(), TestCaseError> {
    let mut down = vec![false; night.nodes.len()];
    for r in records {
        match r.what {
            What::Down { module, .. } => {
                prop_assert!(!std::mem::replace(&mut down[module.0], true), "{:?}", r);
            }
            What::Boots { module } => {
                prop_assert!(std::mem::replace(&mut down[module.0], false), "{:?}", r);
            }
            What::Up { module } => prop_assert!(!down[module.0], "{:?}", r),
            _ => {}
        }
    }
    Ok(())
}

/// What is told topic by topic adds up to the whole, and no message is later than its bound while nothing is amiss.
fn check_came(outcome: &Outcome, records: &[Record]) -> Result<(), TestCaseError> {
    let beyond = records
        .iter()
        .find(|r| matches!(r.what, What::BeyondBound { .. }));
    prop_assert!(beyond.is_none(), "{:?}", beyond);
    let delivered: u64 = outcome.topics.iter().map(|t| t.delivered).sum();
    let lost = outcome.topics.iter().flat_map(|t| &t.lost);
    let lost: u64 = lost.map(|(_, n)| n).sum();
    prop_assert_eq!(delivered, outcome.copies.delivered);
    prop_assert_eq!(lost, outcome.copies.lost);
    let open = |t: &TopicCame| t.kept_at_end + t.under_way;
    for topic in &outcome.topics {
        prop_assert_eq!(topic.latency.map_or(0, |l| l.count), topic.delivered);
        let lost: u64 = topic.lost.iter().map(|(_, n)| n).sum();
        let parts = topic.delivered + lost + topic.had + open(topic);
        prop_assert_eq!(topic.copies, parts, "{:?}", topic);
    }
    let under_way: u64 = outcome.topics.iter().map(open).sum();
    prop_assert_eq!(under_way, outcome.copies.under_way);
    let asked: u64 = outcome.topics.iter().map(|t| t.copies).sum();
    prop_assert_eq!(asked, outcome.copies.due);
    for fault in &outcome.faults {
        let harmed: u64 = fault
            .topics
            .iter()
            .map(|(_, h)| h.lost + h.lost_after)
            .sum();
        prop_assert!(harmed <= lost);
    }
    Ok(())
}

proptest! {
    #[test]
    fn verif_nothing_is_made_and_nothing_vanishes(night in nights()) {
        let (plan, cues) = texts(&night);
        let (line, cues) = read(&plan, &cues);
        let (outcome, records) = run(&line, &cues);
        check_copies(&night, &outcome, &records)?;
        check_uplink(&outcome, &records)?;
        check_lives(&night, &records)?;
        check_came(&outcome, &records)?;
    }
}
