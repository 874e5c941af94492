//! What is told of the keys that a handler reads of what it is called with.

use routine::{Binding, Call, FieldKind, FieldShape, Given, Memory, Program, Setting, Shape};

use crate::support;

/// Told of two topics, asked and answered by a request each; a text among the settings.
fn binding() -> Binding {
    let choice = |words: &[&str]| FieldKind::Choice(words.iter().map(|w| (*w).into()).collect());
    let shape = |name: &str, fields: Vec<(&str, FieldKind)>| Shape {
        name: name.to_owned(),
        fields: fields
            .into_iter()
            .map(|(name, kind)| FieldShape {
                name: name.to_owned(),
                kind,
            })
            .collect(),
    };
    let bound = support::binding();
    let mut settings = bound.settings.clone();
    settings.push(("many".to_owned(), Setting::Text("three".to_owned())));
    Binding {
        settings,
        told: vec![
            shape(
                "alert/call",
                vec![
                    ("level", FieldKind::Number),
                    ("class", choice(&["call", "click"])),
                ],
            ),
            shape("tally", vec![("count", FieldKind::Number)]),
        ],
        asked: vec![shape(
            "request.noise",
            vec![("noisy_from", FieldKind::Number)],
        )],
        answered: vec![shape(
            "request.depth",
            vec![
                ("spell", choice(&["noisy", "quiet"])),
                ("loud", FieldKind::Flag),
            ],
        )],
        ..bound
    }
}

#[track_caller]
fn mistake(text: &str, line: usize, column: usize, says: [&str; 2]) {
    let faults = Program::new(text, &binding()).unwrap_err();
    let [fault] = faults.as_slice() else {
        panic!("{faults:?}");
    };
    let told = [fault.message.as_str(), fault.help.as_deref().unwrap_or("")];
    assert_eq!(
        (told, fault.line, fault.column),
        (says, Some(line), Some(column))
    );
}

/// What the handler warns of, message and help, at its line.
fn warned(text: &str) -> Vec<(usize, String, String)> {
    let program = Program::new(text, &binding()).unwrap_or_else(|f| panic!("{text}: {f:?}"));
    let warnings = program.warnings().iter();
    warnings
        .map(|w| (w.line.unwrap(), w.message.clone(), w.help.clone().unwrap()))
        .collect()
}

#[test]
fn verif_a_key_that_is_never_there_is_a_mistake() {
    mistake(
        "fn when_heard(event) {\n    if event.peek > limit { log(\"x\"); }\n}",
        2,
        14,
        [
            "`event` of `when_heard` never has `peek`",
            "did you mean `peak`?",
        ],
    );
    mistake(
        "fn when_heard(e) { log(`${e?.peek ?? 0} and ${e[\"level\"]}`); }",
        1,
        30,
        [
            "`e` of `when_heard` never has `peek`",
            "did you mean `peak`?",
        ],
    );
    mistake(
        "fn when_heard(e) { log(e[\"peek\"]); }",
        1,
        26,
        [
            "`e` of `when_heard` never has `peek`",
            "did you mean `peak`?",
        ],
    );
    mistake(
        "fn when_answered(answer) { if answer.fail != () { return; } }",
        1,
        38,
        [
            "`answer` of `when_answered` never has `fail`",
            "it has: request, values, after, failed",
        ],
    );
    mistake(
        "fn when_asked(question) { #{ level: question.values.nosy_from, loud: true } }",
        1,
        53,
        [
            "the question of request.noise has no field `nosy_from`",
            "did you mean `noisy_from`?",
        ],
    );
    mistake(
        "fn when_told(m) { if m.values?.lvel > limit { log(\"x\"); } }",
        1,
        32,
        [
            "none of the topic alert/call, the topic tally has a field `lvel`",
            "did you mean `level`?",
        ],
    );
    mistake(
        "fn when_told(m) { log(m.payload); }",
        1,
        25,
        [
            "`m` of `when_told` never has `payload`",
            "it has: topic, values",
        ],
    );
}

#[test]
fn verif_a_word_that_a_choice_never_holds_is_told() {
    let one = |line, message: &str, help: &str| vec![(line, message.to_owned(), help.to_owned())];
    assert_eq!(
        warned(
            "fn when_answered(answer) {\n    if answer.values.spell == \"nosy\" { log(\"x\"); }\n}"
        ),
        one(2, "`spell` is never \"nosy\"", "did you mean \"noisy\"?")
    );
    assert_eq!(
        warned("fn when_answered(a) { if \"timeout\" == a.failed { log(\"x\"); } }"),
        one(
            1,
            "`failed` is never \"timeout\"",
            "it is one of: no answer, no way, refused"
        )
    );
    assert_eq!(
        warned("fn when_heard(event) { if event.notice != \"end\" { return; } }").len(),
        1
    );
    assert_eq!(
        warned("fn when_told(m) { if m.values.count >= many { log(\"x\"); } }"),
        one(
            1,
            "`count` is a number, and is compared with a text: that comes out the same each time",
            "compare it with a number"
        )
    );
    assert_eq!(
        warned("fn when_answered(a) { if a.values.loud == \"yes\" { log(\"x\"); } }").len(),
        1
    );
}

/// What such a comparison says at run time: what the warning tells beforehand.
#[test]
fn verif_a_number_is_never_above_nor_below_a_text() {
    let text = "fn when_told(m) { log(`${m.values.count == many} ${m.values.count < many} ${m.values.count >= many} ${m.values.count != many}`); }";
    let program = Program::new(text, &binding()).unwrap();
    assert_eq!(program.warnings().len(), 4);
    let call = Call::Told {
        topic: "tally".to_owned(),
        values: Some(vec![("count".to_owned(), Given::Number(3.0))]),
    };
    let run = program.run(&mut Memory::default(), &call, None);
    let said = routine::Deed::Log {
        text: "false false false true".to_owned(),
    };
    assert_eq!(run.deeds, [said], "{:?}", run.fault);
}

/// What is right, and what cannot be known before it runs.
#[test]
fn verif_nothing_is_told_of_what_is_right_or_unknown() {
    for text in [
        // Right.
        "fn when_heard(event) { if event.notice == \"ended\" && event.detector == \"any\" && event.level >= limit { log(event.begin); } }",
        "fn when_answered(a) { if a.failed == () && a.values.spell == \"noisy\" && a.values.loud == true { log(a.after); } }",
        "fn when_told(m) { if m.topic == \"tally\" && m.values.count != () { log(m.values.len()); } if m.values?.class != \"call\" { log(m.keys()); } }",
        // Handed on, changed or shadowed.
        "fn when_heard(event) { if f(event) { log(event.level); } }\nfn f(it) { it.peek == () }",
        "fn when_heard(event) { event.peek = 3; log(event.peek); }",
        "fn when_heard(event) { event += #{ peek: 3 }; log(event.peek); }",
        "fn when_heard(event) { event.mixin(#{ peek: 3 }); log(event.peek); }",
        "fn when_heard(event) { mixin(event, #{ peek: 3 }); log(event.peek); }",
        "fn when_heard(event) { event.adds(); log(event.peek); }\nfn adds() { this.peek = 3; }",
        "fn when_heard(event) { let event = #{ peek: 3 }; log(event.peek); }",
        "fn when_heard(event) { for event in [#{ peek: 3 }] { log(event.peek); } }",
        "fn when_told(m) { m.values.extra = 3; log(m.values.extra); }",
        "fn when_told(m) { m.values.mixin(#{ extra: 3 }); log(m.values.extra); }",
        // Called from the text with something else.
        "fn when_heard(event) { log(event.peek); }\nfn each() { when_heard(#{ peek: 3 }); }",
        // Not the handler's own.
        "fn each() { let event = #{ peek: 3 }; log(event.peek); }",
        "fn when_heard(event) { let other = #{ peek: 3 }; log(other.peek); }",
    ] {
        assert_eq!(warned(text), [], "{text}");
    }
    // Of a message that nobody knows anything is possible.
    let unknown = Binding {
        told: Vec::new(),
        ..binding()
    };
    let text = "fn when_told(m) { if m.values?.anything == \"nosy\" { log(\"x\"); } }";
    assert_eq!(Program::new(text, &unknown).unwrap().warnings(), []);
}

#[test]
fn verif_settings_and_handlers_that_the_text_uses_itself_are_known() {
    let text = "fn when_heard(event) { each(); }\nfn each() { if limit > 3 { log(\"x\"); } }";
    let program = Program::new(text, &binding()).unwrap();
    assert_eq!(program.unused_settings(), ["many"]);
    assert!(program.calls(routine::Handler::Each) && !program.calls(routine::Handler::Heard));
}
