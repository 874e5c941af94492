//! What a fault costs beside copies that are lost or late: what no bound says, too much voltage, questions without an answer, modules that are not learnt of.

use plan::{ModuleIx, Recovery, RequestIx, TopicIx};
use rehearsal::{AskHarm, FaultCame, Harm, Outcome, Recovered};

use crate::chain::{Node, cue_text, fault, in_a_row, input, line_text, told, topic};
use crate::support::{read, run};

/// Three modules in a row, `m0` with the supply of 48 V that bears at most 56 V, all told of `go`, with more of a plan and its faults.
fn rehearsed(plan_more: &str, duration_s: u32, cues: &str) -> Outcome {
    let mut plan = line_text(&in_a_row(&["running"; 3]), 300, 100) + &topic("go");
    for module in 0..3 {
        plan += &told(&format!("b{module}"), module, "go", r#"{ log = "told" }"#);
    }
    let (line, cues) = read(&(plan + plan_more), &(cue_text(duration_s, 1) + cues));
    run(&line, &cues).0
}

fn cost(outcome: &Outcome) -> &FaultCame {
    let [fault] = outcome.faults.as_slice() else {
        panic!("{:?}", outcome.faults);
    };
    fault
}

/// `go` has no `at_most`, so no bound says how late it may be: a flood of it, 10 in a second to two modules, is neither in time nor late.
#[test]
fn verif_a_flood_without_a_bound_is_not_said_to_be_in_time() {
    let flood = "\n[fault.babble]\nkind = \"flood\"\nof = \"module.m1\"\ntopic = \"go\"\nevery = \"100 ms\"\nlimited = false\nat = \"5 s\"\nuntil = \"5.95 s\"\n";
    let outcome = rehearsed("", 20, flood);
    let harm = Harm {
        unbounded: 20,
        ..Harm::default()
    };
    assert_eq!(cost(&outcome).topics, [(TopicIx(0), harm)]);
    // What comes once it is over does not count to it.
    let later = input("one", 8.0, 1, "go");
    let outcome = rehearsed("", 20, &(flood.to_owned() + &later));
    assert_eq!(cost(&outcome).topics, [(TopicIx(0), harm)]);
    assert_eq!(outcome.topics[0].unbounded, 22);
}

/// 60 V at the supply: all three have more than the 56 V that they bear, the first the whole of it; and one that had it before the fault is not laid to it.
#[test]
fn verif_a_swap_tells_who_has_too_much_voltage() {
    let swap = |id: &str, at_s: f64, volts: f64| {
        fault(id, "swapped", "supply.bench", at_s, at_s + 5.0)
            + &format!("voltage = \"{volts} V\"\nresistance = \"0 ohm\"\n")
    };
    let outcome = rehearsed("", 30, &swap("hot", 5.0, 60.0));
    let over = &cost(&outcome).over_voltages;
    let who: Vec<ModuleIx> = over.iter().map(|(m, _)| *m).collect();
    assert_eq!(who, [0, 1, 2].map(ModuleIx));
    assert!((over[0].1 - 60.0).abs() < 1e-9 && over[2].1 < over[1].1 && over[1].1 < 60.0);
    let outcome = rehearsed("", 30, &swap("cool", 5.0, 55.0));
    assert!(cost(&outcome).over_voltages.is_empty());
    let cut = fault("cut", "cut", "span.s2", 7.0, 8.0);
    let outcome = rehearsed("", 30, &(swap("hot", 5.0, 60.0) + &cut));
    let [cut, hot] = outcome.faults.as_slice() else {
        panic!("{:?}", outcome.faults);
    };
    assert_eq!(hot.over_voltages.len(), 3);
    // Module 2 loses its voltage by the cut, and has too much again as that is over.
    assert!(cut.over_voltages.is_empty(), "{cut:?}");
    // A second swap that stands in for the first raises what is too high already; one to less does not.
    let swaps = |volts: f64| {
        let second = fault("second", "swapped", "supply.bench", 7.0, 8.0)
            + &format!("voltage = \"{volts} V\"\nresistance = \"0 ohm\"\n");
        let outcome = rehearsed("", 30, &(swap("hot", 5.0, 60.0) + &second));
        outcome.faults[1].over_voltages.clone()
    };
    let rose = swaps(70.0);
    assert_eq!(rose.len(), 3);
    assert!((rose[0].1 - 70.0).abs() < 1e-9 && rose[2].1 > 69.0);
    assert!(swaps(58.0).is_empty());
}

const ASKS: &str = r#"
[request.depth]
to = "module.m2"
question = "20 B"
answer = "40 B"
within = "3 s"

[behaviour.asks]
on = "module.m0"
each = "10 s"
do = [{ ask = "request.depth" }]

[behaviour.has]
on = "module.m0"
when_answered = "request.depth"
do = [{ log = "has it" }]

[behaviour.answers]
on = "module.m2"
when_asked = "request.depth"
do = [{ answer = "request.depth" }]
"#;

/// Asked at 10, 20 and 30 s: the question of 20 s finds the last span cut, and `m0` learns at once that no way leads there.
#[test]
fn verif_questions_without_an_answer_are_laid_to_the_fault() {
    let outcome = rehearsed(ASKS, 38, &fault("cut", "cut", "span.s2", 15.0, 25.0));
    let harm = AskHarm {
        lost: 1,
        unanswered: 1,
        ..AskHarm::default()
    };
    assert_eq!(cost(&outcome).requests, [(RequestIx(0), harm)]);
    // A fault between two questions touches none.
    let outcome = rehearsed(ASKS, 38, &fault("cut", "cut", "span.s2", 15.0, 16.0));
    assert!(cost(&outcome).requests.is_empty());
    // Module 2 hangs for the whole of the time that an answer may take: the fault is over before that is.
    let outcome = rehearsed(ASKS, 38, &fault("hang", "hang", "module.m2", 19.999, 20.1));
    let harm = cost(&outcome).requests[0].1;
    assert_eq!(harm.unanswered, 1);
    let count = outcome.requests[0];
    assert_eq!((count.asked, count.answered, count.unanswered), (3, 2, 1));
}

/// A question under way as the rehearsal ends is neither answered nor without an answer.
#[test]
fn verif_a_question_that_is_open_at_the_end_is_told() {
    let slow = ASKS.replace("each = \"10 s\"", "each = \"19.9995 s\"");
    let outcome = rehearsed(&slow, 20, "");
    let count = outcome.requests[0];
    assert_eq!(
        (count.asked, count.answered, count.unanswered, count.open),
        (1, 0, 0, 1)
    );
}

/// Module 2 comes up while module 0 hangs, which does not learn of it.
#[test]
fn verif_a_notice_that_is_not_heard_is_laid_to_the_fault() {
    let plan = "\n[joining]\nsize = \"30 B\"\nto = \"all\"\n";
    let outcome = rehearsed(
        plan,
        30,
        &fault("hang", "hang", "module.m0", 5.0, 20.0).replace(
            "[fault.hang]",
            "[fault.again]\nkind = \"restart\"\nof = \"module.m2\"\nby = \"watchdog\"\nat = \"8 s\"\n\n[fault.hang]",
        ),
    );
    let missed: u64 = outcome.joins.iter().map(|j| j.missed).sum();
    let hang = outcome.faults.last().unwrap();
    assert!(missed > 0);
    assert_eq!(hang.notices_missed, missed);
}

/// Asked at each second, in time within 500 ms. The hang of 10.2 s is over at 10.8 s, and module 2 boots 3 s long from then: the questions of 11, 12 and 13 s are
/// lost, as they are while it boots after a restart of the same length.
#[test]
fn verif_questions_lost_while_a_freed_module_boots_are_laid_to_the_fault() {
    let plan = ASKS
        .replace("each = \"10 s\"", "each = \"1 s\"")
        .replace("within = \"3 s\"", "within = \"500 ms\"");
    let hang = fault("hang", "hang", "module.m2", 10.2, 10.8);
    let after = AskHarm {
        lost_after: 3,
        unanswered_after: 3,
        ..AskHarm::default()
    };
    let outcome = rehearsed(&plan, 30, &hang);
    assert_eq!(cost(&outcome).requests, [(RequestIx(0), after)]);
    assert_eq!(outcome.requests[0].unanswered, 3);
    let restart = "\n[fault.again]\nkind = \"restart\"\nof = \"module.m2\"\nby = \"watchdog\"\nat = \"10.8 s\"\n";
    let outcome = rehearsed(&plan, 30, restart);
    let meanwhile = AskHarm {
        lost: 3,
        unanswered: 3,
        ..AskHarm::default()
    };
    assert_eq!(cost(&outcome).requests, [(RequestIx(0), meanwhile)]);
    // What another fault costs once there is an answer again is not laid to this one.
    let later = fault("later", "hang", "module.m2", 20.2, 20.8);
    let outcome = rehearsed(&plan, 30, &(hang + &later));
    for came in &outcome.faults {
        assert_eq!(came.requests, [(RequestIx(0), after)]);
    }
}

/// All three lose their supply from 10 s to 12 s, come up together, and tell what they are to some that have not come up yet.
#[test]
fn verif_notices_missed_after_a_brown_out_are_laid_to_it() {
    let plan = "\n[joining]\nsize = \"30 B\"\nto = \"all\"\n";
    let brown_out = fault("dim", "brown-out", "supply.bench", 10.0, 12.0) + "voltage = \"0 V\"\n";
    let outcome = rehearsed(plan, 30, &brown_out);
    let missed: u64 = outcome.joins.iter().map(|j| j.missed).sum();
    assert!(missed > 0);
    let came = cost(&outcome);
    assert_eq!(
        (came.notices_missed, came.notices_missed_after),
        (0, missed)
    );
}

/// A flood of messages that take longer on the link than from one to the next: at 100 kbit/s, 200 B with their headers more than 16 ms each, one every 10 ms.
fn flooded(plan_more: &str) -> Outcome {
    let nodes: Vec<Node> = in_a_row(&["running"; 3])
        .into_iter()
        .map(|node| Node {
            rate_kbit_s: 100,
            ..node
        })
        .collect();
    let plan = line_text(&nodes, 300, 100)
        + &topic("go")
        + &told("b0", 0, "go", r#"{ log = "told" }"#)
        + plan_more;
    let cues = "\n[fault.babble]\nkind = \"flood\"\nof = \"module.m1\"\ntopic = \"go\"\nevery = \"10 ms\"\nlimited = false\nat = \"5.05 s\"\nuntil = \"6.05 s\"\n";
    let (line, cues) = read(&plan, &(cue_text(20, 1) + cues));
    run(&line, &cues).0
}

/// The 100 messages of the flood take more than 1.6 s from 5.05 s on, so the message of 6.3 s, which follows them, is late although the flood is over; that of 8.4 s is not.
#[test]
fn verif_what_stands_behind_a_flood_that_is_over_is_laid_to_it() {
    let calm = r#"
[topic."calm"]
priority = 0
size = "200 B"
at_most = "1 per s"

[behaviour.beat]
on = "module.m2"
each = "2.1 s"
do = [{ publish = "calm" }]
"#;
    let outcome = flooded(&(calm.to_owned() + &told("b1", 0, "calm", r#"{ log = "told" }"#)));
    // Topics by name: `calm`, then `go`.
    assert_eq!(outcome.topics[0].late, 1, "{:?}", outcome.topics);
    let came = cost(&outcome);
    let harm = Harm {
        late_after: 1,
        ..Harm::default()
    };
    assert_eq!(came.topics[0], (TopicIx(0), harm));
    let calm = Recovery::Topic {
        topic: TopicIx(0),
        to: ModuleIx(0),
    };
    let how = came.recovered.iter().find(|(what, _)| *what == calm);
    let Some((_, Recovered::After(after))) = how else {
        panic!("{:?}", came.recovered);
    };
    // Published at 8.4 s, 2.35 s after the end, over two links.
    assert!((2.35..2.45).contains(&after.as_s_f64()), "{after:?}");
}

/// Asked at each second, in time within 200 ms: the answers to the questions of 6 s and of 7 s stand behind the flood, the second after its end.
#[test]
fn verif_questions_behind_a_flood_that_is_over_are_laid_to_it() {
    let plan = ASKS
        .replace("each = \"10 s\"", "each = \"1 s\"")
        .replace("within = \"3 s\"", "within = \"200 ms\"");
    let outcome = flooded(&plan);
    assert_eq!(outcome.requests[0].unanswered, 2);
    let harm = AskHarm {
        unanswered: 1,
        unanswered_after: 1,
        ..AskHarm::default()
    };
    assert_eq!(cost(&outcome).requests, [(RequestIx(0), harm)]);
}

/// Two cuts that hold at one time, and one that begins as the second is over.
#[test]
fn verif_faults_that_hold_together_are_told_so() {
    let cut = |id: &str, span: &str, from_s: f64, until_s: f64| {
        fault(id, "cut", &format!("span.{span}"), from_s, until_s)
    };
    let cues = cut("a", "s2", 5.0, 10.0) + &cut("b", "s1", 8.0, 12.0) + &cut("c", "s2", 12.0, 14.0);
    let outcome = rehearsed("", 30, &cues);
    let with: Vec<&[usize]> = outcome.faults.iter().map(|f| &*f.held_with).collect();
    assert_eq!(with, [&[1][..], &[0], &[]]);
    let apart = cut("a", "s2", 5.0, 7.0) + &cut("b", "s1", 8.0, 12.0);
    let outcome = rehearsed("", 30, &apart);
    assert!(outcome.faults.iter().all(|f| f.held_with.is_empty()));
}
