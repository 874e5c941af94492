//! Questions and answers with fields, asked and answered by routines and rules.
//!
//! Times by hand: p bytes of payload take 38 of Ethernet (IEEE 802.3), 48 of IPv6 and UDP (RFC 8200, RFC 768) and p at 10 Mb/s, 100 m at 5 ns/m, and 100 us of
//! processing a hop.

use std::io;
use std::path::Path;

use assess::input::{streams, traffic};
use plan::{CueSheet, Line, ModuleIx};
use rehearsal::{AskStep, Outcome, Record, Silence, What};
use timeline::Ns;

use crate::chain::{cue_text, fault, in_a_row, input, line_text, told, topic};
use crate::support::run;

const S: u64 = 1_000_000_000;

/// The sample of our notes on payloads, packed there by a Python script of its own: 2026-01-01T00:00:15Z, a whistle, 121.3 dB, 217 degrees, 47.26 m,
/// no low battery.
const SAMPLE: &str = "e1338f4f6d93b2";
const REQUEST: &str = r#"
[request.sample]
to = "module.m2"
question_fields = [{ name = "want", from = 0, to = 100, step = 1 }]
answer_fields = [
  { name = "t", time_bits = 24, time_step = "1 s", time_epoch = 2025-01-01 },
  { name = "class", values = ["none", "vessel", "whistle", "click", "impulse", "other"] },
  { name = "level", unit = "dB re 1 uPa", from = 60, to = 180, step = 0.5 },
  { name = "bearing", unit = "deg", from = 0, to = 359, step = 1 },
  { name = "depth", unit = "m", from = 0, to = 204.6, step = 0.1 },
  { name = "batt_low", flag = true },
]
within = "1 s"
"#;
const ASKER: &str = r#"
[behaviour.asks]
on = "module.m0"
each = "10 s"
when_answered = "request.sample"
routine = "asks.rhai"
names = { sample = "request.sample" }
do = [{ ask = "request.sample" }]
"#;
const ANSWERER: &str = r#"
[behaviour.answers]
on = "module.m2"
when_asked = "request.sample"
routine = "answers.rhai"
do = [{ answer = "request.sample" }]
"#;
const ASKS: &str = r"
fn each() { this.n = (this.n ?? 0) + 1; ask(sample, #{ want: 7 * this.n }); }
fn when_answered(answer) { log(`${answer.failed}|${answer.values?.bearing}|${answer.after}`); }
";
const ANSWERS: &str = r#"
fn when_asked(question) {
    log(`wants ${question.values.want}`);
    #{ t: 1767225615 * 1000000000, class: "whistle", level: 121.3, bearing: 217, depth: 47.26, batt_low: false }
}
"#;

fn hop(payload: u64) -> u64 {
    (38 + 48 + payload) * 8 * 100 + 500 + 100_000
}

fn line(behaviours: &str, asks: &str, answers: &str, cues: &str) -> (Line, CueSheet) {
    let plan = line_text(&in_a_row(&["running", "running", "running"]), 300, 100) + behaviours;
    // The instant of the sample is one that its bits tell: within 97 days.
    let plan = plan.replace("start = 2027-01-01", "start = 2026-01-01");
    let reading = assess::read(Path::new("plan.toml"), &|path| match path.to_str() {
        Some("plan.toml") => Ok(plan.clone().into()),
        Some("asks.rhai") => Ok(asks.into()),
        Some("answers.rhai") => Ok(answers.into()),
        _ => Err(io::Error::new(io::ErrorKind::NotFound, "no such file")),
    });
    assert!(!reading.has_errors(), "{:?}", reading.mistakes);
    let text = cue_text(35, 1) + cues;
    let cues = plan::read_cues(Path::new("cues.toml"), &reading, &|_| {
        Ok(text.as_str().into())
    });
    assert!(cues.cues.is_some(), "{:?}", cues.mistakes);
    (reading.line.unwrap(), cues.cues.unwrap())
}

fn ran(
    asker: &str,
    answerer: &str,
    asks: &str,
    answers: &str,
    cues: &str,
) -> (Outcome, Vec<Record>) {
    let (line, cues) = line(&format!("{REQUEST}{asker}{answerer}"), asks, answers, cues);
    run(&line, &cues)
}

fn logs(records: &[Record], wanted: usize) -> Vec<(Ns, &str)> {
    let of = |r: &'_ Record| match &r.what {
        What::Logged { module, .. } => *module == ModuleIx(wanted),
        _ => false,
    };
    let all = records.iter().filter(|r| of(r));
    all.map(|r| match &r.what {
        What::Logged { text, .. } => (r.at, text.as_str()),
        _ => unreachable!(),
    })
    .collect()
}

fn steps(records: &[Record]) -> Vec<(Ns, AskStep, Option<String>)> {
    let of = |r: &Record| match &r.what {
        What::Asking { what, content, .. } => {
            let bytes = content.as_ref().map(|c| plan::hex(&c.bytes));
            Some((r.at, *what, bytes))
        }
        _ => None,
    };
    records.iter().filter_map(of).collect()
}

/// 0 to 100 by 1 and the code for no data are 102 codes: 7 bits, so a byte with the value in front.
#[test]
fn val_a_routine_asks_another_answers_and_the_bytes_are_those_of_the_script() {
    let (outcome, records) = ran(ASKER, ANSWERER, ASKS, ANSWERS, "");
    let after = 2 * hop(1) + 2 * hop(7);
    let count = outcome.requests[0];
    assert_eq!((count.asked, count.answered, count.silent), (3, 3, 0));
    assert_eq!(count.longest, Some(Ns(after)));
    let steps = steps(&records);
    let first: Vec<Option<&str>> = steps.iter().take(4).map(|s| s.2.as_deref()).collect();
    assert_eq!(first, [Some("0e"), Some("0e"), Some(SAMPLE), Some(SAMPLE)]);
    assert_eq!(steps[3].0.0 - steps[0].0.0, after);
    let wants: Vec<&str> = logs(&records, 2).iter().map(|l| l.1).collect();
    assert_eq!(wants, ["wants 7.0", "wants 14.0", "wants 21.0"]);
    let has = logs(&records, 0);
    assert_eq!(has[0].1, format!("|217.0|{}", after as f64 / 1e9));
    // The way back: log, run, answer, sent, run, question there, question, run.
    let mut at = records
        .iter()
        .rfind(|r| matches!(r.what, What::Logged { module, .. } if module == ModuleIx(0)))
        .unwrap();
    let mut way = Vec::new();
    while let Some(parent) = at.parent {
        at = records.iter().find(|r| r.id == parent).unwrap();
        way.push(match &at.what {
            What::Started { .. } => "run",
            What::Asking {
                what: AskStep::Asked { .. },
                ..
            } => "asked",
            What::Asking {
                what: AskStep::Reached,
                ..
            } => "reached",
            What::Asking {
                what: AskStep::Answered { .. },
                ..
            } => "answered",
            What::Asking {
                what: AskStep::Returned { .. },
                ..
            } => "returned",
            other => panic!("{other:?}"),
        });
    }
    assert_eq!(
        way,
        [
            "run", "returned", "answered", "run", "reached", "asked", "run"
        ]
    );
}

/// Rules that ask and answer with the same values give the same questions, answers and times.
#[test]
fn verif_rules_ask_and_answer_as_routines_do() {
    let asker = "\n[behaviour.asks]\non = \"module.m0\"\neach = \"10 s\"\ndo = [{ ask = \"request.sample\", values = { want = 7 } }]\n";
    let answerer = "\n[behaviour.answers]\non = \"module.m2\"\nwhen_asked = \"request.sample\"\ndo = [{ answer = \"request.sample\", values = { t = 2026-01-01T00:00:15Z, class = \"whistle\", level = 121.3, bearing = 217, depth = 47.26, batt_low = false } }]\n";
    let by_rules = ran(asker, answerer, "", "", "");
    let asks = "fn each() { ask(sample, #{ want: 7 }); } fn when_answered(answer) {}";
    let by_routines = ran(ASKER, ANSWERER, asks, ANSWERS, "");
    assert_eq!(steps(&by_rules.1), steps(&by_routines.1));
    assert_eq!(by_rules.0.requests[0].answered, 3);
}

/// What a rule was asked goes into its answer, and what it was answered into what it publishes.
#[test]
fn verif_a_rule_takes_fields_of_the_question_and_of_the_answer() {
    let more = r#"
[request.echo]
to = "module.m2"
question_fields = [{ name = "x", unit = "m", from = 0, to = 100, step = 1 }]
answer_fields = [{ name = "y", unit = "m", from = 0, to = 200, step = 1 }]
within = "1 s"
[topic."seen"]
fields = [{ name = "z", unit = "m", from = 0, to = 300, step = 1 }]
[behaviour.asks]
on = "module.m0"
each = "10 s"
do = [{ ask = "request.echo", values = { x = 42 } }]
[behaviour.answers]
on = "module.m2"
when_asked = "request.echo"
do = [{ answer = "request.echo", values = { y = "message.x" } }]
[behaviour.has]
on = "module.m0"
when_answered = "request.echo"
do = [{ publish = "seen", values = { z = "message.y" } }]
[behaviour.told]
on = "module.m1"
when_told = "seen"
do = [{ log = "told" }]
"#;
    let (line, cues) = line(more, "", "", "");
    let (_, records) = run(&line, &cues);
    let seen = records.iter().find_map(|r| match &r.what {
        What::Published { content, .. } => Some(content.clone().unwrap()),
        _ => None,
    });
    assert_eq!(seen.unwrap().values, [network::Value::Number(42.0)]);
}

/// A question to a routine that fails has no answer: the one that asked learns it when its time is over, and the record says why.
#[test]
fn verif_a_routine_that_fails_or_has_stopped_gives_no_answer_and_the_asker_learns_it() {
    let answers = "fn when_asked(question) {\n    let x = 1 / 0;\n}";
    let (outcome, records) = ran(ASKER, ANSWERER, ASKS, answers, "");
    let count = outcome.requests[0];
    assert_eq!(
        (count.asked, count.answered, count.unanswered, count.silent),
        (3, 0, 3, 3)
    );
    assert_eq!(outcome.routines.iter().map(|r| r.stops).sum::<u64>(), 1);
    let silent: Vec<AskStep> = steps(&records)
        .into_iter()
        .map(|s| s.1)
        .filter(|s| matches!(s, AskStep::Silent { .. }))
        .collect();
    let why = |why| AskStep::Silent { why };
    assert_eq!(
        silent,
        [
            why(Silence::Fails),
            why(Silence::Stopped),
            why(Silence::Stopped)
        ]
    );
    let asked = steps(&records)[0].0.0;
    let learns = logs(&records, 0);
    assert_eq!(learns.len(), 3);
    assert_eq!(learns[0], (Ns(asked + S), "no answer||"));
    // One that runs to its end without an answer goes on.
    let (outcome, records) = ran(ASKER, ANSWERER, ASKS, "fn when_asked(question) { }", "");
    assert_eq!(
        (outcome.requests[0].silent, outcome.routines[0].stops),
        (3, 0)
    );
    assert!(
        steps(&records)
            .iter()
            .any(|s| s.1 == why(Silence::NotGiven))
    );
}

/// Without a way the asker learns it at once; what it asks again and again at one instant does not stop the time.
#[test]
fn verif_no_way_is_learnt_at_once_and_asking_again_ends() {
    // The module between them hangs, and passes no data then; the one that is asked works.
    let cut = fault("f", "hang", "module.m1", 5.0, 15.0);
    let (outcome, records) = ran(ASKER, ANSWERER, ASKS, ANSWERS, &cut);
    let at = steps(&records)[0].0;
    assert_eq!(logs(&records, 0)[0], (at, "no way||"));
    let count = outcome.requests[0];
    assert_eq!((count.asked, count.answered, count.unanswered), (3, 2, 1));
    let again = "fn each() { ask(sample, #{ want: 7 }); } fn when_answered(answer) { if answer.failed != () { ask(sample, #{ want: 1 }); } }";
    let (outcome, _) = ran(ASKER, ANSWERER, again, ANSWERS, &cut);
    let count = outcome.requests[0];
    // The first, and one for each time that it learns of none: 64 at most at one instant.
    assert_eq!((count.asked, count.unanswered), (2 + 65, 65));
    // A rule learns it with `when_unanswered`.
    let rules = "\n[behaviour.asks]\non = \"module.m0\"\neach = \"10 s\"\ndo = [{ ask = \"request.sample\", values = { want = 7 } }]\n[behaviour.vain]\non = \"module.m0\"\nwhen_unanswered = \"request.sample\"\ndo = [{ log = \"in vain\" }]\n";
    let (_, records) = ran(rules, ANSWERER, "", ANSWERS, &cut);
    assert_eq!(logs(&records, 0), [(at, "in vain")]);
}

/// A question that the request's own limit holds back is told to the routine, no oftener than that limit.
#[test]
fn verif_a_refused_question_is_told_within_the_limit() {
    let limited = REQUEST.replace("within", "at_most = \"1 per 15 s\"\nwithin");
    let asks = "fn each() { ask(sample, #{ want: 1 }); ask(sample, #{ want: 2 }); ask(sample, #{ want: 3 }); } fn when_answered(answer) { log(`${answer.failed}`); }";
    let (line, cues) = line(&format!("{limited}{}{ANSWERER}", ASKER.replace("do = [{ ask = \"request.sample\" }]", "do = [{ ask = \"request.sample\" }, { ask = \"request.sample\" }, { ask = \"request.sample\" }]")), asks, ANSWERS, "");
    let (outcome, records) = run(&line, &cues);
    // At 10 s one passes and one refusal is told; at 20 s neither; at 30 s again.
    assert_eq!(outcome.requests[0].asked, 2);
    let told: Vec<(Ns, &str)> = logs(&records, 0)
        .into_iter()
        .filter(|l| l.1 == "refused")
        .collect();
    assert_eq!(
        told.iter().map(|l| l.0).collect::<Vec<_>>(),
        [Ns(10 * S), Ns(30 * S)]
    );
    // More than its `do` allows stops it.
    let (outcome, _) = ran(ASKER, ANSWERER, asks, ANSWERS, "");
    assert_eq!(
        (outcome.requests[0].asked, outcome.routines[1].stops),
        (1, 1)
    );
}

/// A module that stopped since it asked has forgotten its question.
#[test]
fn verif_an_asker_that_stopped_learns_nothing() {
    let both = fault("f", "hang", "module.m0", 10.5, 12.0);
    let (_, records) = ran(ASKER, ANSWERER, ASKS, "fn when_asked(question) { }", &both);
    let learns: Vec<Ns> = logs(&records, 0).iter().map(|l| l.0).collect();
    assert!(learns.iter().all(|at| at.0 > 20 * S), "{learns:?}");
}

/// One question is left silent, the next, 10 s later, is answered at once, and one 5 ms behind it is refused: the routine that waits for them runs three times within little
/// more than a second, of a limit of 1 per 10 s. So many have a place in the limit of what it publishes once the time for an answer is counted.
#[test]
fn verif_answers_silence_and_refusals_bunch_no_more_than_their_flow_says() {
    let request = REQUEST.replace(
        "within = \"1 s\"",
        "within = \"9 s\"\nat_most = \"1 per 10 s\"",
    );
    let asker = told(
        "asks",
        0,
        "go",
        "{ ask = \"request.sample\", values = { want = 7 } }",
    );
    let routine = "\n[behaviour.learns]\non = \"module.m0\"\nwhen_answered = \"request.sample\"\nroutine = \"asks.rhai\"\nnames = { back = \"topic.back\" }\ndo = [{ publish = \"back\" }]\n";
    let asks = "fn when_answered(answer) { log(`${answer.failed}`); publish(back); }";
    let answers = "fn when_asked(question) { this.n = (this.n ?? 0) + 1; if this.n == 1 { return; } #{ t: 1767225615 * 1000000000, class: \"whistle\", level: 121.3, bearing: 217, depth: 47.26, batt_low: false } }";
    let hears = told("hears", 1, "back", "{ log = \"hears\" }");
    let plan = format!(
        "{request}{asker}{routine}{ANSWERER}{}{}{hears}",
        topic("go"),
        topic("back")
    );
    let cues = [("a", 12.0), ("b", 22.0), ("c", 22.005)];
    let cues = cues.map(|(id, at)| input(id, at, 1, "go")).concat();
    let (line, cues) = line(&plan, asks, answers, &cues);
    let (outcome, records) = run(&line, &cues);
    let count = outcome.requests[0];
    assert_eq!((count.asked, count.answered, count.silent), (2, 1, 1));
    let runs = logs(&records, 0);
    let why: Vec<&str> = runs.iter().map(|r| r.1).collect();
    assert_eq!(why, ["no answer", "", "refused"]);
    let within = runs[2].0.0 - runs[0].0.0;
    assert!(within > S && within < S + S / 10, "{within}");
    let traffic = traffic(&line).unwrap().unwrap();
    let all = streams(&line, &traffic).unwrap();
    let back = |of: &&(ModuleIx, plan::TopicIx)| line.topics[of.1.0].name == "back";
    let flow = &all.flows[all.of.iter().position(|of| back(&of)).unwrap()];
    let limit = flow.at_most.unwrap();
    assert_eq!((limit.messages(), limit.per()), (2, Ns(10 * S)));
    assert_eq!(flow.late, Some(Ns(9 * S)));
    // In a span of any length so many times the limit, rounded up, as it holds spans with the time that answers may take.
    let most = u64::from(limit.messages()) * (within + 1 + 9 * S).div_ceil(limit.per().0);
    assert!(runs.len() as u64 <= most, "{most}");
}

/// What a question starts is as late as the question; what it publishes has that lateness, and nothing of it where its topic has a limit.
#[test]
fn verif_what_a_question_starts_is_as_late_as_the_question() {
    let request = REQUEST.replace("within = ", "at_most = \"1 per 10 s\"\nwithin = ");
    let answers = "\n[behaviour.answers]\non = \"module.m2\"\nwhen_asked = \"request.sample\"\nroutine = \"answers.rhai\"\nnames = { back = \"topic.back\" }\ndo = [{ answer = \"request.sample\" }, { publish = \"back\" }]\n";
    let hears = told("hears", 1, "back", "{ log = \"hears\" }");
    let of = |more: &str| {
        let back = topic("back") + more;
        let (line, _) = line(
            &format!("{request}{ASKER}{answers}{back}{hears}"),
            ASKS,
            ANSWERS,
            "",
        );
        let traffic = traffic(&line).unwrap().unwrap();
        let all = streams(&line, &traffic).unwrap();
        let bounds = network::delay_bounds(&traffic.topology, &all.flows).unwrap();
        let question = match &bounds[all.asked[0].2][0] {
            network::DelayBound::Known { total, .. } => *total,
            unknown => panic!("{unknown:?}"),
        };
        let flow = &all.flows[0];
        assert_eq!(line.topics[all.of[0].1.0].name, "back");
        (flow.late.unwrap(), question)
    };
    let (late, question) = of("");
    assert!(
        question > Ns::ZERO && late == question,
        "{late:?} {question:?}"
    );
    assert_eq!(of("at_most = \"1 per 10 s\"\n").0, Ns::ZERO);
}

/// Two behaviours are asked the same: what one gives no answer to the other answers, and no question was left silent; where neither does, one question was, not two.
#[test]
fn verif_a_question_to_two_is_silent_once_and_only_without_any_answer() {
    let second = ANSWERER
        .replace("answers]", "second]")
        .replace("answers.rhai", "asks.rhai");
    let asker = "\n[behaviour.asks]\non = \"module.m0\"\neach = \"10 s\"\ndo = [{ ask = \"request.sample\", values = { want = 7 } }]\n";
    let nothing = "fn when_asked(question) { }";
    let both = format!("{ANSWERER}{second}");
    let of = |second_says: &str| ran(asker, &both, second_says, nothing, "").0;
    let count = of(ANSWERS).requests[0];
    assert_eq!((count.asked, count.answered, count.silent), (3, 3, 0));
    let count = of(nothing).requests[0];
    assert_eq!((count.asked, count.unanswered, count.silent), (3, 3, 3));
}

/// A question of which nothing more can come is forgotten: lost before its time, left silent, or asked of nobody that answers.
#[test]
fn verif_what_is_lost_or_left_silent_is_not_followed_for_ever() {
    let dead = fault("f", "dead", "module.m2", 5.0, 33.0);
    for (answerer, answers, faults) in [
        (ANSWERER, ANSWERS, dead.as_str()),
        (ANSWERER, "fn when_asked(question) { }", ""),
        ("", "", ""),
    ] {
        let (outcome, _) = ran(ASKER, answerer, ASKS, answers, faults);
        let count = outcome.requests[0];
        assert!(count.unanswered >= 2, "{count:?}");
        assert_eq!(count.followed, 0, "{count:?}");
    }
}
