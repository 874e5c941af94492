//! Answers from outside and from the cue sheet, worked by hand on a line of three modules: module 0 asks module 2 each ten seconds, which no behaviour answers.
//!
//! Bytes of payload p take 38 of Ethernet (IEEE 802.3), 48 of IPv6 and UDP (RFC 8200, RFC 768) and p at 10 Mb/s, 100 m at 5 ns/m, and 100 us of processing a hop:
//! the question of 20 bytes leaves module 1 after 185.3 us, of which its 84.8 us on the wire are the first, and reaches module 2 after 370.6 us.

use plan::{CueSheet, Line, RequestIx};
use rehearsal::{
    AnswerFromOutside, AskStep, KeptBack, Loss, NoQuestion, Record, Refusal, Steps, What,
};
use timeline::Ns;

use crate::chain::{cue_text, fault, in_a_row, line_text};
use crate::support::{read, run};

const REACHED_S: f64 = 0.000_370_6;

fn asking(within: &str, duration_s: u32, cues: &str) -> (Line, CueSheet) {
    let mut plan = line_text(&in_a_row(&["running"; 3]), 300, 100);
    plan += &format!(
        "\n[request.depth]\nto = \"module.m2\"\nquestion = \"20 B\"\nanswer = \"40 B\"\nwithin = \"{within}\"\n"
    );
    plan += "\n[behaviour.asks]\non = \"module.m0\"\neach = \"10 s\"\ndo = [{ ask = \"request.depth\" }]\n";
    read(&plan, &(cue_text(duration_s, 1) + cues))
}

fn answer(id: &str, at_s: f64, more: &str) -> String {
    format!("\n[answer.{id}]\nat = \"{at_s:.7} s\"\nrequest = \"request.depth\"\n{more}\n")
}

/// What answers came to: when they were refused and why, and when one went.
fn came(records: &[Record]) -> Vec<(f64, Option<Refusal>)> {
    let told = records.iter().filter_map(|r| match r.what {
        What::Refused {
            what: KeptBack::Answer(_),
            why,
        } => Some((r.at.as_s_f64(), Some(why))),
        What::Asking {
            what: AskStep::Answered { .. },
            ..
        } => Some((r.at.as_s_f64(), None)),
        _ => None,
    });
    told.collect()
}

/// The questions that were answered.
fn answered(records: &[Record]) -> Vec<u64> {
    let told = records.iter().filter_map(|r| match r.what {
        What::Asking {
            ask,
            what: AskStep::Answered { .. },
            ..
        } => Some(ask),
        _ => None,
    });
    told.collect()
}

/// Just before a question reaches its module no answer to it is taken, by its number or as the oldest, and just after it one is.
#[test]
fn verif_nobody_answers_a_question_before_it_is_there() {
    let reached_s = 10.0 + REACHED_S;
    for more in ["", "ask = 0"] {
        let cues =
            answer("before", reached_s - 1e-7, more) + &answer("there", reached_s + 1e-7, more);
        let (line, cues) = asking("1 s", 15, &cues);
        let (outcome, records) = run(&line, &cues);
        let wanted = [
            (reached_s - 1e-7, Some(Refusal::NotReached)),
            (reached_s + 1e-7, None),
        ];
        let found = came(&records);
        assert_eq!(found.len(), 2, "{found:?}");
        for (found, wanted) in found.iter().zip(&wanted) {
            assert!(
                (found.0 - wanted.0).abs() < 1e-9 && found.1 == wanted.1,
                "{found:?}"
            );
        }
        assert_eq!(outcome.requests[0].answered, 1);
    }
}

/// The second question is on its way while the first, which is there, still waits.
#[test]
fn verif_the_oldest_question_is_one_that_is_there() {
    let (line, cues) = asking("15 s", 22, &answer("one", 20.0001, ""));
    let (_, records) = run(&line, &cues);
    assert_eq!(answered(&records), [0]);
    // The first is lost, and the second is there: it is not the oldest that was asked.
    let cut = fault("cut", "cut", "span.s2", 10.000_225, 10.2);
    let (line, cues) = asking("15 s", 22, &(cut + &answer("one", 20.5, "")));
    let (outcome, records) = run(&line, &cues);
    assert_eq!(answered(&records), [1]);
    assert_eq!(
        (outcome.requests[0].lost, outcome.requests[0].answered),
        (1, 1)
    );
}

/// A span parts while the question crosses it, and is whole again long before the answer.
#[test]
fn verif_nobody_answers_a_question_that_was_lost() {
    let cut = fault("cut", "cut", "span.s2", 10.000_225, 10.2);
    for more in ["", "ask = 0"] {
        let (line, cues) = asking("8 s", 19, &(cut.clone() + &answer("lost", 15.0, more)));
        let (outcome, records) = run(&line, &cues);
        let lost = |r: &Record| {
            matches!(
                r.what,
                What::Asking {
                    what: AskStep::Lost {
                        why: Loss::Network(_)
                    },
                    ..
                }
            )
        };
        assert_eq!(records.iter().filter(|r| lost(r)).count(), 1);
        assert_eq!(came(&records), [(15.0, Some(Refusal::NotReached))]);
        let count = outcome.requests[0];
        assert_eq!((count.answered, count.unanswered), (0, 1));
    }
}

/// Module 2 is dead from 20.1 s to 20.2 s, after the second question has reached it, and works again 3 s later.
#[test]
fn verif_an_answer_that_the_run_refused_bars_no_other() {
    let dead = fault("dead", "dead", "module.m2", 20.1, 20.2);
    let (line, cues) = asking("8 s", 45, &dead);
    let mut records = Vec::new();
    let mut sink = |r: &Record| records.push(r.clone());
    let mut steps = Steps::new(&line, &cues, &mut sink).unwrap();
    let mut handed_in = Vec::new();
    for (at_ms, ask) in [
        // Under way, there, and once more before that has entered and after.
        (10_000, 0),
        (10_100, 0),
        (10_100, 0),
        (10_200, 0),
        // Its module is down, and then works.
        (20_150, 1),
        (24_000, 1),
        (25_000, 1),
        (25_000, 0),
        // One that nobody has asked, and one whose time is over.
        (26_000, 2),
        (39_000, 2),
    ] {
        steps
            .step_to(Ns(at_ms * 1_000_000 + 100_000), &mut |_| true)
            .unwrap();
        let answer = AnswerFromOutside {
            request: RequestIx(0),
            ask,
            values: None,
        };
        handed_in.push(steps.hand_in_answer(answer).map(|at| at.0 / 1_000_000));
    }
    let end = steps.end();
    steps.step_to(end, &mut |_| true).unwrap();
    let outcome = steps.finish();
    assert_eq!(
        handed_in,
        [
            Err(NoQuestion::NotReached { ask: 0 }),
            Ok(10_100),
            Err(NoQuestion::HandedIn { ask: 0 }),
            Err(NoQuestion::Answered { ask: 0 }),
            Ok(20_150),
            Ok(24_000),
            Err(NoQuestion::Answered { ask: 1 }),
            Err(NoQuestion::Answered { ask: 0 }),
            Err(NoQuestion::Unknown { ask: 2 }),
            Err(NoQuestion::Late { ask: 2 }),
        ]
    );
    let whys: Vec<_> = came(&records).into_iter().map(|(_, why)| why).collect();
    assert_eq!(whys, [None, Some(Refusal::NotWorking), None]);
    assert_eq!(outcome.requests[0].answered, 2);
}

/// One reason for each: the first question is asked at 10 s, may be answered for 2 s, and a second at 20 s.
#[test]
fn verif_an_answer_that_is_not_taken_tells_the_one_reason() {
    for (at_s, more, why) in [
        (5.0, "", Refusal::NoneWaits),
        (5.0, "ask = 0", Refusal::NotAsked),
        (13.0, "", Refusal::NoneWaits),
        (13.0, "ask = 0", Refusal::Over),
        (13.0, "ask = 7", Refusal::NotAsked),
    ] {
        let (line, cues) = asking("2 s", 25, &answer("one", at_s, more));
        let (_, records) = run(&line, &cues);
        assert_eq!(came(&records), [(at_s, Some(why))], "{more}");
    }
    let twice = answer("one", 10.5, "") + &answer("two", 11.0, "ask = 0");
    let (line, cues) = asking("2 s", 15, &twice);
    let (_, records) = run(&line, &cues);
    assert_eq!(
        came(&records),
        [(10.5, None), (11.0, Some(Refusal::Answered))]
    );
}
