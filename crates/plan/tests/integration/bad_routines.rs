//! Bad routines: what is said of the plan and of the text that it names.

use crate::support::{Files, SMALL, changed, said};

fn told(text: &str, keys: &str) -> String {
    let from = "when_heard = \"detector.call.confirmed\"\ndo = [{ publish = \"alert/call\" }]";
    let to = format!("when_heard = \"detector.call.confirmed\"\n{keys}");
    let plan = changed(SMALL, from, &to);
    said(&Files::one(plan).with("watch.rhai", text))
}

const BOUND: &str = "routine = \"watch.rhai\"\nnames = { alert = \"topic.alert/call\" }\ndo = [{ publish = \"alert/call\" }]";

macro_rules! routines {
    ($($name:ident: $text:expr, $keys:expr;)*) => {$(
        #[test]
        fn $name() {
            insta::assert_snapshot!(stringify!($name), told($text, $keys));
        }
    )*};
}

routines! {
    regress_routine_with_three_mistakes: "fn when_heard(event) {\n    lgo(\"x\");\n    publish(alert, #{ level: 3 });\n    switch_on(alert);\n}\n", BOUND;
    regress_routine_with_keys_that_are_never_there: "fn when_heard(event) {\n    if event.peek > 3 { publish(alert); }\n    log(`${event.levle}`);\n}\n", BOUND;
    regress_routine_with_what_is_never_used: "fn when_heard(event) {\n    if event.notice == \"confirmd\" || event.level > limit { publish(alert); }\n}\n\nfn when_told(message) { log(message.topic); }\n", &format!("{BOUND}\nsettings = {{ limit = \"three\", tell_from = 3 }}");
    regress_routine_that_does_not_parse: "fn when_heard(event) {\n    let x = ;\n}\n", BOUND;
    regress_routine_without_its_handler: "fn each() { publish(alert); }\n", BOUND;
    regress_routine_beyond_its_do: "fn when_heard(event) { publish(alert); }\n", "routine = \"watch.rhai\"\nnames = { alert = \"topic.alert/call\" }\ndo = [{ log = \"x\" }]";
    regress_routine_bound_to_nothing: "fn when_heard(event) {}\n", "routine = \"watch.rhai\"\nnames = { alert = \"topic.alert/cal\", Lamp = \"module.upper\", where = \"site\" }\nsettings = { list = [1] }\ndo = [{ log = \"x\" }]";
    regress_routine_that_is_not_there: "", "routine = \"other.rhai\"\ndo = [{ log = \"x\" }]";
    regress_routine_outside_the_folder: "", "routine = \"../watch.rhai\"\ndo = [{ log = \"x\" }]";
    regress_names_without_a_routine: "", "names = { alert = \"topic.alert/call\" }\ndo = [{ publish = \"alert/call\" }]";
    regress_routine_with_values_in_its_do: "fn when_heard(event) {}\n", "routine = \"watch.rhai\"\ndo = [{ publish = \"alert/call\", values = { level = 3 } }]";
}

const REQUEST: &str = "\n[request.noise]\nto = \"module.buoy\"\nquestion_fields = [{ name = \"over\", from = 0, to = 60, step = 1 }]\nanswer_fields = [{ name = \"level\", unit = \"dB re 1 uPa\", from = 0, to = 200, step = 1 }]\nwithin = \"1 s\"\n";

routines! {
    regress_routine_that_asks_beyond_its_do: "fn when_heard(event) { ask(noise, #{ over: 3 }); }\n", &format!("routine = \"watch.rhai\"\nnames = {{ noise = \"request.noise\" }}\ndo = [{{ log = \"x\" }}]{REQUEST}");
    regress_routine_that_fills_a_question_wrongly: "fn when_heard(event) {\n    ask(noise, #{ ovr: 3 });\n    answer(#{ level: 3 });\n}\n", &format!("routine = \"watch.rhai\"\nnames = {{ noise = \"request.noise\" }}\ndo = [{{ ask = \"request.noise\" }}]{REQUEST}");
    regress_routine_that_waits_in_vain_as_a_rule_does: "fn when_heard(event) {}\n", &format!("when_unanswered = \"request.noise\"\nroutine = \"watch.rhai\"\ndo = [{{ log = \"x\" }}]{REQUEST}");
    regress_rule_that_fills_a_question_wrongly: "", &format!("do = [{{ ask = \"request.noise\", values = {{ ovr = 3 }} }}, {{ ask = \"request.noise\", values = {{ over = 61 }} }}]{REQUEST}");
    regress_rule_that_takes_what_is_not_in_the_answer: "", &format!("do = [{{ ask = \"request.noise\", values = {{ over = 3 }} }}]{REQUEST}[behaviour.has]\non = \"module.upper\"\nwhen_answered = \"request.noise\"\ndo = [{{ ask = \"request.noise\", values = {{ over = \"message.lvl\" }} }}, {{ ask = \"request.noise\", values = {{ over = \"message.level\" }} }}]\n");
    regress_request_with_fields_and_size: "", &format!("do = [{{ log = \"x\" }}]{REQUEST}question = \"3 B\"\n[request.none]\nto = \"module.buoy\"\nquestion_fields = []\nwithin = \"1 s\"\n");
    regress_a_rule_that_answers_twice: "", &format!("do = [{{ ask = \"request.noise\", values = {{ over = 3 }} }}]{REQUEST}[behaviour.only]\non = \"module.buoy\"\nwhen_asked = \"request.noise\"\ndo = [{{ answer = \"request.noise\", values = {{ level = 90 }} }}, {{ answer = \"request.noise\", values = {{ level = 95 }} }}]\n");
    regress_two_behaviours_that_answer_one_request: "", &format!("do = [{{ ask = \"request.noise\", values = {{ over = 3 }} }}]{REQUEST}[behaviour.first]\non = \"module.buoy\"\nwhen_asked = \"request.noise\"\ndo = [{{ answer = \"request.noise\", values = {{ level = 90 }} }}]\n[behaviour.second]\non = \"module.buoy\"\nwhen_asked = \"request.noise\"\ndo = [{{ answer = \"request.noise\", values = {{ level = 95 }} }}]\n");
    regress_values_of_a_question_that_has_a_size: "", &format!("do = [{{ ask = \"request.noise\", values = {{ over = 3 }} }}]{}", REQUEST.replace("question_fields = [{ name = \"over\", from = 0, to = 60, step = 1 }]", "question = \"4 B\""));
    regress_rules_that_ask_and_answer_without_values: "", &format!("do = [{{ ask = \"request.noise\" }}]{REQUEST}[behaviour.answers]\non = \"module.buoy\"\nwhen_asked = \"request.noise\"\ndo = [{{ answer = \"request.noise\" }}]\n");
    regress_names_that_the_language_has_taken: "fn when_heard(event) { publish(call); }\n", "routine = \"watch.rhai\"\nnames = { call = \"topic.alert/call\", case = \"detector.call\" }\nsettings = { default = 3 }\ndo = [{ publish = \"alert/call\" }]";
}

const SETTABLE: &str =
    "settable = { lowest_threshold = \"6 dB\", highest_threshold = \"15 dB\" }\n";

/// What is said of a detector's `settable`, and of a rule or a routine that sets it.
fn of_settings(settable: &str, text: &str, keys: &str) -> String {
    let from = "when_heard = \"detector.call.confirmed\"\ndo = [{ publish = \"alert/call\" }]";
    let to = format!("when_heard = \"detector.call.confirmed\"\n{keys}");
    let on = "[detector.call]\n";
    let plan = changed(&changed(SMALL, from, &to), on, &format!("{on}{settable}"));
    said(&Files::one(plan).with("watch.rhai", text))
}

#[test]
fn regress_settings() {
    let cases = [
        (
            "a routine beyond its do",
            SETTABLE,
            "fn when_heard(event) { set(ear, #{ threshold: 9 }); }\n",
            "routine = \"watch.rhai\"\nnames = { ear = \"detector.call\" }\ndo = [{ log = \"x\" }]",
        ),
        (
            "a routine with a misspelt setting",
            SETTABLE,
            "fn when_heard(event) {\n    set(ear, #{ treshold: 9 });\n}\n",
            "routine = \"watch.rhai\"\nnames = { ear = \"detector.call\" }\ndo = [{ set = \"detector.call\" }]",
        ),
        (
            "a routine whose do says to what it sets",
            SETTABLE,
            "fn when_heard(event) {}\n",
            "routine = \"watch.rhai\"\nnames = { ear = \"detector.call\" }\ndo = [{ set = \"detector.call\", threshold = \"9 dB\" }]",
        ),
        (
            "a rule outside the range",
            SETTABLE,
            "",
            "do = [{ set = \"detector.call\", threshold = \"16 dB\" }]",
        ),
        (
            "a rule that sets what is not settable",
            SETTABLE,
            "",
            "do = [{ set = \"detector.call\", hold_off = \"3 s\" }]",
        ),
        (
            "a rule that does not say to what it sets",
            SETTABLE,
            "",
            "do = [{ set = \"detector.call\" }]",
        ),
        (
            "a threshold with another reference",
            SETTABLE,
            "",
            "do = [{ set = \"detector.call\", threshold = \"9 dB re 1 uPa\" }]",
        ),
        (
            "nothing is settable",
            "",
            "",
            "do = [{ set = \"detector.call\", threshold = \"9 dB\" }]",
        ),
        (
            "one end of a range",
            "settable = { lowest_threshold = \"6 dB\" }\n",
            "",
            "do = [{ log = \"x\" }]",
        ),
        (
            "a range upside down",
            "settable = { shortest_hold_off = \"6 s\", longest_hold_off = \"5 s\" }\n",
            "",
            "do = [{ log = \"x\" }]",
        ),
        (
            "a range with another reference",
            "settable = { lowest_threshold = \"6 dB re 1 uPa\", highest_threshold = \"15 dB re 1 uPa\" }\n",
            "",
            "do = [{ log = \"x\" }]",
        ),
        (
            "ranges without the plan's own settings",
            "settable = { lowest_threshold = \"10 dB\", highest_threshold = \"15 dB\", shortest_hold_off = \"1 s\", longest_hold_off = \"5 s\" }\n",
            "",
            "do = [{ set = \"detector.call\", threshold = \"12 dB\", hold_off = \"3 s\" }]",
        ),
        (
            "an empty table",
            "settable = { }\n",
            "",
            "do = [{ log = \"x\" }]",
        ),
    ];
    let mut all = String::new();
    for (what, settable, text, keys) in cases {
        all += &format!("# {what}\n\n{}\n", of_settings(settable, text, keys));
    }
    insta::assert_snapshot!("settings", all);
}

/// The text of a routine counts for the plan's digest, its line ends do not.
#[test]
fn verif_another_text_is_another_plan() {
    let digest = |text: &str| {
        let from = "when_heard = \"detector.call.confirmed\"\n";
        let to =
            format!("{from}routine = \"watch.rhai\"\nnames = {{ alert = \"topic.alert/call\" }}\n");
        let reading = Files::one(changed(SMALL, from, &to))
            .with("watch.rhai", text)
            .read();
        assert!(!reading.has_errors(), "{:?}", reading.mistakes);
        reading.digest
    };
    let one = digest("fn when_heard(event) {\n}\n");
    assert_ne!(one, digest("fn when_heard(event) { publish(alert); }\n"));
    assert_eq!(one, digest("fn when_heard(event) {\r\n}\r\n"));
}

/// A routine on the buoy that is told of topics, asked, and answered: what their fields are is known.
const SPELL: &str = "\n[request.spell]\nto = \"module.buoy\"\nquestion_fields = [{ name = \"noisy_from\", from = 0, to = 60, step = 1 }]\nanswer_fields = [{ name = \"spell\", values = [\"quiet\", \"noisy\"] }]\nwithin = \"1 s\"\n";

#[test]
fn verif_fields_of_questions_and_answers_are_held_against_the_plan() {
    let asks = "fn when_heard(event) { ask(spell, #{ noisy_from: 3 }); }\nfn when_answered(answer) { if answer.values.spel == \"noisy\" { log(answer.fail); } }\n";
    let keys = format!(
        "when_answered = \"request.spell\"\nroutine = \"watch.rhai\"\nnames = {{ spell = \"request.spell\" }}\ndo = [{{ ask = \"request.spell\" }}]{SPELL}"
    );
    let said = told(asks, &keys);
    for part in [
        "the answer of request.spell has no field `spel`",
        "did you mean `spell`?",
        "`answer` of `when_answered` never has `fail`",
        "it has: request, values, after, failed",
    ] {
        assert!(said.contains(part), "{said}");
    }
    let right = asks
        .replace("spel ", "spell ")
        .replace("noisy\"", "nosy\"")
        .replace(".fail)", ".failed)");
    let said = told(&right, &keys);
    assert!(
        said.contains("`spell` is never \"nosy\"") && !said.contains("error"),
        "{said}"
    );
}

/// One text on two modules, each with a handler of its own: nothing is told of the other's.
#[test]
fn verif_a_text_that_serves_two_behaviours_is_used_whole() {
    let text = "fn when_heard(event) { publish(alert); }\nfn each() { log(\"x\"); }\n";
    assert!(told(text, BOUND).contains("nothing starts `each` of the routine"));
    let second = "\n[behaviour.second]\non = \"module.buoy\"\neach = \"10 s\"\nroutine = \"watch.rhai\"\nnames = { alert = \"topic.alert/call\" }\ndo = [{ publish = \"alert/call\" }, { log = \"x\" }]\n";
    let said = told(text, &format!("{BOUND}{second}"));
    assert!(!said.contains("nothing starts"), "{said}");
}
