//! What is told of a routine before it runs.

use routine::Program;

use crate::support::binding;

#[track_caller]
fn told(text: &str, line: usize, column: usize, says: &str) {
    let faults = Program::new(text, &binding()).unwrap_err();
    let fault = faults
        .iter()
        .find(|f| f.message.contains(says) || f.help.as_ref().is_some_and(|h| h.contains(says)));
    let fault = fault.unwrap_or_else(|| panic!("{text}: {faults:?}"));
    assert_eq!(
        (fault.line, fault.column),
        (Some(line), Some(column)),
        "{fault:?}"
    );
}

#[test]
fn verif_mistakes_are_told_at_their_place() {
    told("fn each() {\n    let x = ;\n}", 2, 13, "");
    told(
        "fn each() {\n    lgo(\"x\");\n}",
        2,
        5,
        "did you mean `log`?",
    );
    told(
        "fn each() {\n    switch_on(lmap);\n}",
        2,
        15,
        "nothing is called `lmap`",
    );
    told(
        "fn each() {\n    switch_on(alert);\n}",
        2,
        15,
        "`alert` is a topic, not an output",
    );
    told(
        "fn each() {\n    publish(alert, #{ lvel: 3 });\n}",
        2,
        23,
        "did you mean `level`?",
    );
    told(
        "fn each() {\n    let lamp = 3;\n}",
        2,
        5,
        "bound by the behaviour already",
    );
    told(
        "fn f(a) { a }\nfn each() { f(1, 2); }",
        2,
        13,
        "takes 1 values",
    );
    told(
        "fn each() { enter(busy); }",
        1,
        13,
        "write enter(state, seconds)",
    );
    told("x = 3;\nfn each() {}", 1, 3, "only constants");
    told(
        "fn each() { set(lamp, #{}); }",
        1,
        17,
        "`lamp` is an output, not a detector",
    );
    told(
        "fn each() { set(ear, #{ threshhold: 3 }); }",
        1,
        25,
        "did you mean `threshold`?",
    );
    told(
        "fn each() { ask(lamp); }",
        1,
        17,
        "`lamp` is an output, not a request",
    );
    told(
        "fn each() { ask(depth); }",
        1,
        13,
        "the question of request.depth is sent without values, and has the fields: when",
    );
    told(
        "fn when_asked(q) {\n    answer();\n}",
        2,
        5,
        "the answer of request.noise is sent without values, and has the fields: level, loud",
    );
    told(
        "fn each() { ask(depth, #{ wen: 3 }); }",
        1,
        27,
        "did you mean `when`?",
    );
    told(
        "fn when_asked(q) {\n    answer(#{ lvel: 3 });\n}",
        2,
        15,
        "did you mean `level`?",
    );
    told(
        "fn when_asked(q) {\n    #{ lvel: 3, loud: true }\n}",
        2,
        8,
        "did you mean `level`?",
    );
    told(
        "fn when_asked(q) {\n    if q.values.when > 0 { return #{ level: 3, lod: true }; }\n    #{ level: 3, loud: true }\n}",
        2,
        48,
        "did you mean `loud`?",
    );
}

#[test]
fn verif_a_handler_takes_what_it_is_called_with() {
    let faults = Program::new("fn when_heard() {}", &binding()).unwrap_err();
    assert!(faults[0].message.contains("`when_heard`"), "{faults:?}");
}

#[test]
fn verif_what_no_question_starts_answers_none() {
    let binding = routine::Binding {
        answer: None,
        ..binding()
    };
    let faults = Program::new("fn each() { answer(#{}); }", &binding).unwrap_err();
    assert!(faults[0].message.contains("no question"), "{faults:?}");
}

#[test]
fn verif_several_mistakes_are_told_at_once() {
    let faults = Program::new("fn each() { lgo(1); swich_on(lamp); }", &binding()).unwrap_err();
    assert_eq!(faults.len(), 2, "{faults:?}");
}
