//! Requests and joining notices, worked by hand on a line of three modules.
//!
//! Bytes of payload p take 38 of Ethernet (IEEE 802.3), 48 of IPv6 and UDP (RFC 8200, RFC 768) and p at 10 Mb/s, 100 m at 5 ns/m, and 100 us of processing a hop.

use assess::input::{streams, traffic};
use network::{DelayBound, delay_bounds};
use plan::ModuleIx;
use proptest::prelude::*;
use rehearsal::{AskStep, JoinStep, Outcome, Record, Refusal, What};
use timeline::Ns;

use crate::chain::{Node, cue_text, fault, in_a_row, line_text, told, topic};
use crate::support::{read, run};

const S: u64 = 1_000_000_000;

fn hop(payload: u64) -> u64 {
    (38 + 48 + payload) * 8 * 100 + 500 + 100_000
}

/// Module 0 asks module 2 each ten seconds; that answers as long as it may.
fn asked(within: &str, more: &str, handler: &str, faults: &str) -> (Outcome, Vec<Record>) {
    let mut plan = line_text(&in_a_row(&["running", "running", "running"]), 300, 100);
    plan += &format!(
        "\n[request.depth]\nto = \"module.m2\"\nquestion = \"20 B\"\nanswer = \"40 B\"\nwithin = \"{within}\"\n{more}"
    );
    plan += "\n[behaviour.asks]\non = \"module.m0\"\neach = \"10 s\"\ndo = [{ ask = \"request.depth\" }]\n";
    plan += "\n[behaviour.has]\non = \"module.m0\"\nwhen_answered = \"request.depth\"\ndo = [{ log = \"has it\" }]\n";
    plan += handler;
    let (line, cues) = read(&plan, &(cue_text(35, 1) + faults));
    run(&line, &cues)
}

const HANDLER: &str = "\n[behaviour.answers]\non = \"module.m2\"\nwhen_asked = \"request.depth\"\ndo = [{ answer = \"request.depth\" }]\n";

fn steps(records: &[Record]) -> Vec<(Ns, u64, ModuleIx, AskStep)> {
    let of = |r: &Record| match r.what {
        What::Asking {
            ask, module, what, ..
        } => Some((r.at, ask, module, what)),
        _ => None,
    };
    records.iter().filter_map(of).collect()
}

fn logged(records: &[Record]) -> usize {
    let logs = records
        .iter()
        .filter(|r| matches!(r.what, What::Logged { .. }));
    logs.count()
}

#[test]
fn verif_a_question_is_answered_in_time() {
    let (outcome, records) = asked("1 s", "", HANDLER, "");
    let after = 2 * hop(20) + 2 * hop(40);
    let count = outcome.requests[0];
    assert!(count.asked >= 3);
    assert_eq!(
        (count.answered, count.unanswered, count.lost),
        (count.asked, 0, 0)
    );
    assert_eq!(count.longest, Some(Ns(after)));
    let first: Vec<_> = steps(&records).into_iter().filter(|s| s.1 == 0).collect();
    let at = first[0].0.0;
    let told: Vec<(u64, usize)> = first.iter().map(|s| (s.0.0 - at, s.2.0)).collect();
    let there = 2 * hop(20);
    assert_eq!(told, [(0, 0), (there, 2), (there, 2), (after, 0)]);
    assert_eq!(first[3].3, AskStep::Returned { after: Ns(after) });
    assert_eq!(logged(&records) as u64, count.asked);
    // What led to the log goes back to the question, and to the behaviour that asked.
    let log = records
        .iter()
        .find(|r| matches!(r.what, What::Logged { .. }))
        .unwrap();
    let mut at = log;
    let mut way = Vec::new();
    while let Some(parent) = at.parent {
        at = records.iter().find(|r| r.id == parent).unwrap();
        way.push(at);
    }
    assert!(way.iter().any(|r| matches!(
        r.what,
        What::Asking {
            what: AskStep::Asked { .. },
            ..
        }
    )));
}

#[test]
fn verif_an_answer_is_in_time_to_the_nanosecond_and_then_late() {
    let after = 2 * hop(20) + 2 * hop(40);
    let (outcome, _) = asked(&format!("{after} ns"), "", HANDLER, "");
    assert_eq!(outcome.requests[0].answered, outcome.requests[0].asked);
    let (outcome, records) = asked(&format!("{} ns", after - 1), "", HANDLER, "");
    let count = outcome.requests[0];
    assert_eq!(
        (count.answered, count.unanswered, count.late),
        (0, count.asked, count.asked)
    );
    // It is told as late, and starts nothing.
    assert!(
        steps(&records)
            .iter()
            .any(|s| s.3 == AskStep::Late { after: Ns(after) })
    );
    assert_eq!(logged(&records), 0);
}

#[test]
fn verif_a_question_that_is_lost_or_not_answered_is_told() {
    let dead = fault("f", "dead", "module.m2", 5.0, 33.0);
    let (outcome, records) = asked("1 s", "", HANDLER, &dead);
    let count = outcome.requests[0];
    let steps = steps(&records);
    let lost = steps.iter().filter(|s| matches!(s.3, AskStep::Lost { .. }));
    assert_eq!(lost.count() as u64, count.lost);
    assert!(count.lost >= 2);
    assert_eq!(count.unanswered, count.lost);
    for over in steps.iter().filter(|s| s.3 == AskStep::Unanswered) {
        let asked = steps.iter().find(|s| s.1 == over.1).unwrap();
        assert_eq!(over.0.0 - asked.0.0, S);
    }
    let (outcome, _) = asked("1 s", "", "", "");
    let count = outcome.requests[0];
    assert_eq!(
        (count.answered, count.unanswered, count.lost),
        (0, count.asked, 0)
    );
}

#[test]
fn verif_a_request_has_its_own_limit() {
    let (outcome, records) = asked("1 s", "at_most = \"1 per 15 s\"\n", HANDLER, "");
    assert_eq!(outcome.requests[0].asked, 2);
    let refused = |r: &&Record| {
        matches!(
            r.what,
            What::Refused {
                why: Refusal::Request,
                ..
            }
        )
    };
    assert!(records.iter().any(|r| refused(&r)));
}

#[test]
fn verif_a_module_that_comes_up_tells_what_it_is() {
    let dead = fault("f", "dead", "module.m2", 5.0, 8.0);
    for (to, listener, wanted) in [
        ("all", "", vec![(1, 1), (0, 2)]),
        (
            "subscribers",
            "\n[behaviour.hears]\non = \"module.m0\"\nwhen_told = \"joining/#\"\ndo = [{ log = \"new\" }]\n",
            vec![(0, 2)],
        ),
    ] {
        let mut plan = line_text(&in_a_row(&["running", "running", "running"]), 300, 100);
        plan += &format!("\n[joining]\nsize = \"200 B\"\npriority = 0\nto = \"{to}\"\n");
        plan += listener;
        let (line, cues) = read(&plan, &(cue_text(30, 1) + &dead));
        let (outcome, records) = run(&line, &cues);
        let boots = records
            .iter()
            .find(|r| matches!(r.what, What::Boots { .. }))
            .unwrap();
        let up = records
            .iter()
            .find(|r| matches!(r.what, What::Up { .. }))
            .unwrap();
        assert_eq!(up.at.0 - boots.at.0, 3 * S);
        let learnt: Vec<(usize, u64)> = records
            .iter()
            .filter_map(|r| match r.what {
                What::Joining {
                    module: ModuleIx(2),
                    what: JoinStep::Learnt { by, after },
                } => Some((by.0, after.0)),
                _ => None,
            })
            .collect();
        let wanted: Vec<(usize, u64)> = wanted
            .into_iter()
            .map(|(by, hops)| (by, 3 * S + hops * hop(200)))
            .collect();
        assert_eq!(learnt, wanted, "{to}");
        let count = outcome.joins[2];
        assert_eq!(
            (count.notices, count.learnt, count.missed),
            (1, wanted.len() as u64, 0)
        );
        assert_eq!(logged(&records), usize::from(to == "subscribers"));
    }
}

/// Module 2 restarts each time that it has worked for 1 ms: its notice of 1100 bytes has left it then (948.8 us), and comes to the others when the next boot is under way already.
#[test]
fn verif_a_notice_counts_from_the_boot_that_it_tells_of() {
    let mut plan = line_text(&in_a_row(&["running", "running", "running"]), 300, 100);
    plan += "\n[joining]\nsize = \"1100 B\"\npriority = 0\nto = \"all\"\n";
    let loops = fault("f", "reboot-loop", "module.m2", 5.0, 20.0) + "after = \"1 ms\"\n";
    let (line, cues) = read(&plan, &(cue_text(30, 1) + &loops));
    let (outcome, records) = run(&line, &cues);
    let after: Vec<u64> = records
        .iter()
        .filter_map(|r| match r.what {
            What::Joining {
                what: JoinStep::Learnt { by, after },
                ..
            } => Some(after.0 - 3 * S - if by.0 == 1 { hop(1100) } else { 2 * hop(1100) }),
            _ => None,
        })
        .collect();
    assert!(
        after.len() >= 6 && after.iter().all(|ns| *ns == 0),
        "{after:?}"
    );
    assert_eq!(outcome.joins[2].longest, Some(Ns(3 * S + 2 * hop(1100))));
}

/// Sizes by hand: RFC 8949, section 3: a map of five, texts and lists with one byte of head each while they are short.
#[test]
fn verif_a_notice_without_a_size_has_that_of_its_cbor() {
    let mut plan = line_text(&in_a_row(&["running", "running"]), 300, 100);
    plan += "\n[joining]\nto = \"all\"\n";
    let (line, _) = read(&plan, &cue_text(5, 1));
    let carried = traffic(&line).unwrap().unwrap();
    let sizes: Vec<u32> = carried.joining.iter().map(|n| n.bytes).collect();
    let keys = 1 + (1 + 2) + (1 + 7) + (1 + 9) + (1 + 7) + (1 + 6);
    // Its id, and four lists, of which that of the outputs holds "lamp".
    assert_eq!(sizes, [keys + 3 + 4 + 5, keys + 3 + 4]);
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 24, ..ProptestConfig::default() })]

    /// On a whole line no message and no answer is later than its bound, and nothing is sent again.
    #[test]
    fn verif_no_message_and_no_answer_is_later_than_its_bound(
        parents in prop::collection::vec(0usize..4, 1..4),
        talk in prop::collection::vec((0usize..4, 0usize..4, 1u32..40, any::<bool>(), 0u8..3), 1..6),
        slow: bool,
    ) {
        let nodes: Vec<Node> = (0..=parents.len())
            .map(|i| Node {
                parent: if i == 0 { 0 } else { parents[i - 1].min(i - 1) },
                passes_data: "running",
                rate_kbit_s: if slow { 100 } else { 1000 },
            })
            .collect();
        let mut plan = line_text(&nodes, 300, 100);
        for (i, (from, to, tenths, again, priority)) in talk.iter().enumerate() {
            let (from, to) = (from % nodes.len(), to % nodes.len());
            let period = f64::from(*tenths) / 4.0;
            plan += &topic(&format!("t{i}")).replace("priority = 0", &format!("priority = {priority}"));
            plan += &format!("at_most = \"1 per {period} s\"\n");
            if *again {
                plan += "delivery = \"at-least-once\"\nretry = { after = \"40 s\", at_most = 3, acknowledgement = \"8 B\" }\n";
            }
            let ask = if from == to { String::new() } else { format!(", {{ ask = \"request.r{i}\" }}") };
            plan += &format!("\n[behaviour.b{i}]\non = \"module.m{from}\"\neach = \"{period} s\"\ndo = [{{ publish = \"t{i}\" }}{ask}]\n");
            plan += &told(&format!("h{i}"), to, &format!("t{i}"), r#"{ log = "told" }"#);
            if from != to {
                plan += &format!("\n[request.r{i}]\nto = \"module.m{to}\"\nquestion = \"20 B\"\nanswer = \"300 B\"\nwithin = \"40 s\"\npriority = {priority}\nat_most = \"1 per {period} s\"\n");
                plan += &format!("\n[behaviour.a{i}]\non = \"module.m{to}\"\nwhen_asked = \"request.r{i}\"\ndo = [{{ answer = \"request.r{i}\" }}]\n");
            }
        }
        let (line, cues) = read(&plan, &cue_text(60, 1));
        let carried = traffic(&line).unwrap().unwrap();
        let flows = streams(&line, &carried).unwrap();
        let bounds = delay_bounds(&carried.topology, &flows.flows).unwrap();
        let (outcome, _) = run(&line, &cues);
        for came in &outcome.topics {
            prop_assert_eq!(came.late, 0);
        }
        let mut known = 0;
        for (request, _, there) in &flows.asked {
            let back = &bounds[there + flows.asked.len()][0];
            if let (DelayBound::Known { total, .. }, DelayBound::Known { total: back, .. }) = (&bounds[*there][0], back) {
                known += 1;
                let longest = outcome.requests[request.0].longest.unwrap_or(Ns(0));
                prop_assert!(longest.0 <= total.0 + back.0, "{longest} {total} {back}");
            }
        }
        if known > 0 {
            prop_assert_eq!(outcome.on_terms.again, 0);
        }
    }
}

/// What limits hold back is told beside what was asked: at 10, 20 and 30 s, by the request's one in 30 s two questions, or by that of the behaviour two starts.
#[test]
fn verif_what_limits_hold_back_is_counted() {
    let (outcome, _) = asked("1 s", "at_most = \"1 per 30 s\"\n", HANDLER, "");
    let count = outcome.requests[0];
    assert_eq!((count.asked, count.held_back, count.answered), (1, 2, 1));
    assert!(outcome.held_back.iter().all(|n| *n == 0));
    let seldom = HANDLER.to_owned() + "at_most = \"1 per 30 s\"\n";
    let (outcome, _) = asked("1 s", "", &seldom, "");
    let count = outcome.requests[0];
    assert_eq!((count.asked, count.held_back, count.answered), (3, 0, 1));
    // Behaviours by id: `answers`, `asks`, `has`.
    assert_eq!(outcome.held_back, [2, 0, 0]);
}

/// Module 2 has its power through the span that is cut. It does not work, and no way leads to it: the second is known as it is asked. One that hangs at the end of an open way is waited for.
#[test]
fn verif_no_way_to_a_module_without_power_is_known_at_once() {
    let at_20 = |faults: &str| -> Vec<AskStep> {
        let (_, records) = asked("1 s", "", HANDLER, faults);
        let ends = steps(&records).into_iter().filter(|s| s.1 == 1);
        ends.filter(|s| matches!(s.3, AskStep::NoWay | AskStep::Unanswered))
            .map(|s| (s.0, s.3))
            .inspect(|(at, what)| {
                let after_s = if *what == AskStep::NoWay { 0 } else { 1 };
                assert_eq!(at.0, (20 + after_s) * S);
            })
            .map(|(_, what)| what)
            .collect()
    };
    let cut = fault("cut", "cut", "span.s2", 15.0, 25.0);
    assert_eq!(at_20(&cut), [AskStep::NoWay]);
    let hang = fault("hang", "hang", "module.m2", 15.0, 25.0);
    assert_eq!(at_20(&hang), [AskStep::Unanswered]);
}
