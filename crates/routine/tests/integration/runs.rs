//! What routines do when they are called.

use routine::{Bound, Call, Deed, Failed, Given, Handler, Held, Memory, Program};

use crate::support::{binding, each, program};

const WATCH: &str = "
const LONG_S = 2.5;

fn when_heard(event) {
    this.heard = (this.heard ?? 0) + 1;
    if event.level >= limit && event.length > LONG_S {
        publish(alert, #{ level: event.level, class: \"call\", low: false, at: event.begin });
        switch_on(lamp, 20);
    }
}

fn when_told(message) {
    if message.values?.level > limit { send_up(shore, alert, message.values); }
}

fn each() { log(`heard ${this.heard ?? 0}`); }
";

fn event(level: f64, length: f64) -> Call {
    Call::Heard(vec![
        ("level".to_owned(), Given::Number(level)),
        ("length".to_owned(), Given::Number(length)),
        ("begin".to_owned(), Given::Whole(1_767_225_615_000_000_000)),
    ])
}

#[test]
fn verif_a_routine_decides_and_remembers() {
    let watch = program(WATCH);
    assert!(watch.has(Handler::Heard) && watch.has(Handler::Each) && !watch.has(Handler::Voted));
    assert_eq!(watch.publishes().collect::<Vec<_>>(), [0]);
    assert_eq!(watch.sends_up().collect::<Vec<_>>(), [(3, 0)]);
    assert_eq!(watch.switches().collect::<Vec<_>>(), [(2, true)]);
    let mut memory = Memory::default();
    let quiet = watch.run(&mut memory, &event(129.9, 3.0), None);
    assert_eq!((quiet.deeds, quiet.fault), (vec![], None));
    let loud = watch.run(&mut memory, &event(130.0, 3.0), None);
    let values = vec![
        Held::Number(130.0),
        Held::Choice(0),
        Held::Flag(false),
        Held::Time(1_767_225_615_000_000_000),
    ];
    let expected = vec![
        Deed::Publish {
            topic: 0,
            values: Some(values),
        },
        Deed::Switch {
            output: 2,
            on: true,
            for_s: Some(20.0),
        },
    ];
    assert_eq!((loud.deeds, loud.fault), (expected, None));
    let told = watch.run(&mut memory, &Call::Each, None);
    let text = "heard 2".to_owned();
    assert_eq!(told.deeds, [Deed::Log { text }]);
    // With an empty memory it has heard nothing.
    let told = watch.run(&mut Memory::default(), &Call::Each, None);
    let text = "heard 0".to_owned();
    assert_eq!(told.deeds, [Deed::Log { text }]);
}

#[test]
fn verif_a_message_without_content_tells_nothing() {
    let watch = program(WATCH);
    let call = Call::Told {
        topic: "alert/call".to_owned(),
        values: None,
    };
    let run = watch.run(&mut Memory::default(), &call, None);
    assert_eq!((run.deeds, run.fault), (vec![], None));
}

#[test]
fn verif_what_was_done_before_a_fault_is_done_and_the_place_is_told() {
    let text = "fn each() {\n    log(\"before\");\n    publish(alert,\n        #{ level: 3, class: \"cell\", low: true, at: now() });\n}";
    let run = program(text).run(&mut Memory::default(), &Call::Each, Some(7));
    assert_eq!(run.deeds.len(), 1);
    let fault = run.fault.unwrap();
    assert_eq!((fault.line, fault.column), (Some(3), Some(5)));
    assert_eq!(
        fault.message,
        "the field `class` of alert/call has no value \"cell\"; it has: call, click"
    );
}

#[test]
fn verif_the_innermost_place_of_a_fault_is_told() {
    let text = "fn low(x) {\n    1 / x\n}\nfn each() {\n    low(0);\n}";
    let fault = program(text)
        .run(&mut Memory::default(), &Call::Each, None)
        .fault
        .unwrap();
    assert_eq!(fault.line, Some(2));
}

#[test]
fn verif_wrong_values_are_told_at_their_call() {
    for (body, says) in [
        (
            "publish(alert, #{ level: 0.0/0.0, class: \"call\", low: true, at: 1 });",
            "not a number",
        ),
        (
            "publish(alert, #{ level: \"3\", class: \"call\", low: true, at: 1 });",
            "holds a number, not a text",
        ),
        (
            "publish(alert, #{ level: 3 });",
            "only numbers have a code for no data",
        ),
        (
            "publish(alert, #{ class: \"call\", low: 1, at: 1 });",
            "true or false",
        ),
        (
            "publish(alert, #{ class: \"call\", low: true, at: 1.5 });",
            "whole nanoseconds",
        ),
        ("publish(plain, #{ a: 1 });", "no field"),
        ("let t = lamp; publish(t);", "is an output, not a topic"),
        ("switch_on(lamp, 0);", "more than 0 s"),
        ("enter(busy, -1.0);", "more than 0 s"),
        ("throw \"enough\";", "enough"),
        ("to_int(1e300);", "64 bits"),
        ("this = 3;", "`this`"),
        ("9223372036854775807 + 1", "overflow"),
    ] {
        let faults = match std::panic::catch_unwind(|| each(body)) {
            Ok(run) => run.fault.unwrap_or_else(|| panic!("{body}")).message,
            // Told before it runs.
            Err(why) => *why.downcast::<String>().unwrap(),
        };
        assert!(faults.contains(says), "{body}: {faults}");
    }
}

/// The same calls give the same deeds and steps, in any order of runs and on any thread.
#[test]
fn verif_runs_are_the_same_twice_and_on_other_threads() {
    let all = || {
        let watch = program(WATCH);
        let mut memory = Memory::default();
        let calls = (0..200).map(|i| event(100.0 + f64::from(i % 50), f64::from(i % 7)));
        let runs = calls.map(|call| watch.run(&mut memory, &call, Some(1)));
        format!("{:?}", runs.collect::<Vec<_>>())
    };
    let here = all();
    let there: Vec<String> = (0..4)
        .map(|_| std::thread::spawn(all))
        .collect::<Vec<_>>()
        .into_iter()
        .map(|t| t.join().unwrap())
        .collect();
    assert!(there.iter().all(|t| *t == here));
}

const ANSWERS: &str = r#"
fn when_asked(question) {
    this.asked = (this.asked ?? 0) + 1;
    if question.values?.when == 0 { return #{ level: 90, loud: false }; }
    if question.values?.when == 1 { answer(#{ level: this.asked, loud: true }); return; }
    if question.values?.when == 2 { answer(#{ loud: true }); return #{ loud: false }; }
    if question.values?.when == 3 { return #{ level: 1 }; }
    log(question.request)
}
fn when_answered(answer) {
    log(`${answer.request} ${answer.values} ${answer.failed} ${answer.after}`);
    if answer.failed != () { ask(depth, #{ when: 5 }); }
}
fn each() { ask(depth, #{ when: 6 }); answer(#{ level: 1, loud: true }); }
"#;

fn asked(when: i64) -> Call {
    Call::Asked {
        request: "noise".to_owned(),
        values: Some(vec![("when".to_owned(), Given::Whole(when))]),
    }
}

#[test]
fn verif_a_question_is_answered_by_the_map_that_comes_back_or_by_the_deed() {
    let program = program(ANSWERS);
    assert!(program.answers());
    assert_eq!(program.asks().collect::<Vec<_>>(), [5]);
    let mut memory = Memory::default();
    let mut run = |call| program.run(&mut memory, &call, Some(7));
    let answer = |level, loud| {
        let values = Some(vec![level, Held::Flag(loud)]);
        vec![Deed::Answer { values }]
    };
    assert_eq!(run(asked(0)).deeds, answer(Held::Number(90.0), false));
    assert_eq!(run(asked(1)).deeds, answer(Held::Number(2.0), true));
    let twice = run(asked(2));
    assert_eq!(twice.deeds, answer(Held::NoData, true));
    assert!(twice.fault.unwrap().message.contains("second time"));
    let fault = run(asked(3)).fault.unwrap();
    assert!(
        fault.message.contains("`loud` of request.noise"),
        "{fault:?}"
    );
    let text = "noise".to_owned();
    assert_eq!(run(asked(4)).deeds, [Deed::Log { text }]);
    // Nothing asked here, so nothing is answered; what came before stands.
    let each = run(Call::Each);
    assert_eq!(
        each.deeds,
        [Deed::Ask {
            request: 5,
            values: Some(vec![Held::Time(6)])
        }]
    );
    assert!(each.fault.unwrap().message.contains("when_asked"));
}

/// A value that is no map answers nothing: it is told what came and what should have, unless the question is answered already or nothing came.
#[test]
fn verif_what_when_asked_gives_back_is_told_where_it_is_no_answer() {
    let run = |text: &str| program(text).run(&mut Memory::default(), &asked(0), Some(7));
    let number = run("fn when_asked(question) {\n    5\n}");
    let fault = number.fault.unwrap();
    assert_eq!(
        fault.message,
        "`when_asked` gives back a whole number, and has to give back a map of the fields of its answer (level, loud)"
    );
    assert_eq!((number.deeds, fault.line), (vec![], Some(2)));
    let text = run("fn when_asked(question) { \"loud\" }");
    assert!(text.fault.unwrap().message.contains("gives back a text"));
    assert_eq!(run("fn when_asked(question) { }").fault, None);
    let both = run("fn when_asked(question) { answer(#{ level: 1, loud: true }); 5 }");
    assert_eq!((both.deeds.len(), both.fault), (1, None));
}

/// Each deed has its place, that of the innermost call.
#[test]
fn verif_the_place_of_each_deed_is_told() {
    let text =
        "fn twice() {\n    log(\"a\");\n  log(\"b\");\n}\nfn each() { log(\"c\"); twice(); }";
    let run = program(text).run(&mut Memory::default(), &Call::Each, None);
    let places: Vec<_> = run.places.iter().map(|p| (p.line, p.column)).collect();
    assert_eq!(
        places,
        [(5, 13), (2, 5), (3, 3)].map(|(line, column)| (Some(line), Some(column)))
    );
}

#[test]
fn verif_a_routine_learns_its_answer_or_what_went_wrong() {
    let program = program(ANSWERS);
    let mut memory = Memory::default();
    let request = || "depth".to_owned();
    let answered = Call::Answered {
        request: request(),
        values: Some(vec![("m".to_owned(), Given::Number(3.5))]),
        after_s: 0.25,
    };
    let run = program.run(&mut memory, &answered, None);
    let text = "depth #{\"m\": 3.5}  0.25".to_owned();
    assert_eq!((run.deeds, run.fault), (vec![Deed::Log { text }], None));
    for (why, word) in [
        (Failed::InTime, "no answer"),
        (Failed::NoWay, "no way"),
        (Failed::Refused, "refused"),
    ] {
        let call = Call::Unanswered {
            request: request(),
            why,
        };
        let run = program.run(&mut memory, &call, None);
        let text = format!("depth  {word} ");
        let asks = Deed::Ask {
            request: 5,
            values: Some(vec![Held::Time(5)]),
        };
        assert_eq!(
            (run.deeds, run.fault),
            (vec![Deed::Log { text }, asks], None)
        );
    }
}

#[test]
fn verif_a_detector_is_set_within_its_range_only() {
    let run = each(
        "set(ear, #{ threshold: 12 }); set(ear, #{ threshold: 6.0 }); set(ear, #{ threshold: 15 });",
    );
    assert_eq!(run.fault, None);
    let thresholds: Vec<Option<f64>> = run
        .deeds
        .iter()
        .map(|deed| match deed {
            Deed::Set {
                detector: 6,
                threshold_db,
                hold_off_s: None,
            } => *threshold_db,
            other => panic!("{other:?}"),
        })
        .collect();
    assert_eq!(thresholds, [Some(12.0), Some(6.0), Some(15.0)]);
    for (body, says) in [
        (
            "set(ear, #{ threshold: 15.5 });",
            "from 6 to 15 dB, not to 15.5",
        ),
        (
            "set(ear, #{ threshold: 5.9 });",
            "from 6 to 15 dB, not to 5.9",
        ),
        ("set(ear, #{ threshold: 0.0/0.0 });", "from 6 to 15 dB"),
        ("set(ear, #{ hold_off: 3 });", "not settable"),
        (
            "set(ear, #{ threshold: \"loud\" });",
            "a number in dB, not a text",
        ),
        ("set(ear, #{ });", "to what it sets"),
        (
            "let m = #{}; m.thresh = 9; set(ear, m);",
            "no setting `thresh`",
        ),
        (
            "let d = lamp; set(d, #{ threshold: 9 });",
            "is an output, not a detector",
        ),
    ] {
        let fault = each(body).fault.unwrap_or_else(|| panic!("{body}"));
        assert!(fault.message.contains(says), "{body}: {fault:?}");
        assert_eq!(fault.line, Some(1), "{body}");
    }
}

/// A question whose name is known only as it runs is held to its fields as it runs; one that gives a size only goes without.
#[test]
fn verif_what_is_asked_and_answered_has_its_values() {
    let each = |text: &str| {
        let run = program(text).run(&mut Memory::default(), &Call::Each, Some(7));
        (run.deeds.len(), run.fault.map(|f| (f.message, f.line)))
    };
    let through = "fn send(what) {\n    ask(what)\n}\nfn each() { send(depth); }";
    let why = "the question of request.depth is sent without values, and has the fields: when";
    assert_eq!(each(through), (0, Some((why.to_owned(), Some(2)))));
    let mut plain = binding();
    for (_, bound) in &mut plain.names {
        if let Bound::Request(shape) = bound {
            shape.fields.clear();
        }
    }
    plain.answer.as_mut().unwrap().fields.clear();
    let text = "fn each() { ask(depth); }\nfn when_asked(question) { answer(); }";
    let plain = Program::new(text, &plain).unwrap();
    let run = plain.run(&mut Memory::default(), &Call::Each, Some(7));
    assert_eq!((run.deeds.len(), run.fault), (1, None));
    let run = plain.run(&mut Memory::default(), &asked(0), Some(7));
    assert_eq!(
        (run.deeds, run.fault),
        (vec![Deed::Answer { values: None }], None)
    );
}
