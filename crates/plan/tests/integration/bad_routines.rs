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
