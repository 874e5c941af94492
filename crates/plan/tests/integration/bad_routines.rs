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
    regress_values_of_a_question_that_has_a_size: "", &format!("do = [{{ ask = \"request.noise\", values = {{ over = 3 }} }}]{}", REQUEST.replace("question_fields = [{ name = \"over\", from = 0, to = 60, step = 1 }]", "question = \"4 B\""));
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
