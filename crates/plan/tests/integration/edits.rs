//! Edits of a plan's text, and the values of a plan by their paths.

use plan::{Edit, EditError, Reading, splice};
use proptest::prelude::*;

use crate::support::{Files, SMALL};

const PARTS: &str = r#"format = 1
[part.pod]
is = "module"
input = { minimum = "9 V", maximum = "36 V", lock_out = { on = "12 V", off = "9 V" } } # of the maker
loads = { listening = "0.5 W" }
"#;

fn read(text: &str) -> Reading {
    Files::one(text).with("parts.toml", PARTS).read()
}

/// The text with a key set, read again: the key then has the value, and all other values are as they were.
#[track_caller]
fn set(text: &str, path: &str, value: &str) -> String {
    let before = read(text);
    let edit = before.set(path, value).expect("the key can be set");
    let changed = splice(text, &[edit]).expect("the edit lies in the text");
    let after = read(&changed);
    let others = |r: &Reading| -> Vec<(String, String)> {
        let all = r.written().into_iter().filter(|w| w.path != path);
        all.map(|w| (w.path, w.text)).collect()
    };
    assert_eq!(others(&before), others(&after), "{changed}");
    let now = after
        .written()
        .into_iter()
        .find(|w| w.path == path)
        .expect("the key is there");
    assert_eq!(now.text.trim_matches('"'), value, "{changed}");
    assert!(now.means.is_some(), "{changed}");
    changed
}

/// The small plan with a module of an included part, comments and an inline table.
fn with_a_part() -> String {
    let head = SMALL.replacen(
        "format = 1\n",
        "format = 1\ninclude = [\"parts.toml\"]\n",
        1,
    );
    format!(
        "{head}\n# the deep one\n[module.deep] # hangs last\npart = \"part.pod\" # as bought\nposition = {{ section = \"section.riser\", from_top = \"40 m\" }}\n\n# ends here\n"
    )
}

/// A topic's name may hold a quote and a backslash: it is one key of its path all the same.
#[test]
fn verif_a_name_with_quotes_is_one_key() {
    let odd = SMALL.replace("alert/call", r#"alert\"\\call"#);
    let path = r#"topic."alert\"\\call".at_most"#;
    let changed = set(&odd, path, "3 per hour");
    assert_eq!(changed, odd.replace("6 per hour", "3 per hour"));
    let first = plan::first_key(r#""alert\"\\call".at_most"#);
    assert_eq!(first, Some((r#"alert"\call"#.to_owned(), ".at_most")));
    assert_eq!(
        plan::first_key("stages[2].hold_off"),
        Some(("stages".to_owned(), "[2].hold_off"))
    );
    assert_eq!(plan::first_key(r#""no end"#), None);
}

#[test]
fn verif_a_value_is_replaced_where_it_stands() {
    let changed = set(SMALL, "supply.cells.output.voltage", "36 V");
    let expected = SMALL.replacen("voltage = \"24 V\"", "voltage = \"36 V\"", 1);
    assert_eq!(changed, expected);
    let changed = set(SMALL, "module.buoy.loads.sending", "3 W");
    assert_eq!(
        changed,
        SMALL.replacen("sending = \"4 W\"", "sending = \"3 W\"", 1)
    );
}

#[test]
fn verif_a_value_of_a_part_is_overridden_in_the_plan_and_comments_stay() {
    let text = with_a_part();
    let changed = set(&text, "module.deep.input.lock_out.on", "11 V");
    let line = "input = { lock_out = { on = \"11 V\" } }\n";
    assert!(changed.contains(line), "{changed}");
    assert_eq!(changed.replacen(line, "", 1), text);
}

#[test]
fn verif_a_key_is_added_to_an_inline_table() {
    let changed = set(SMALL, "module.upper.input.efficiency", "0.9");
    let module =
        "[module.upper]\nposition = { section = \"section.riser\", from_top = \"22 m\" }\n";
    let before = format!("{module}input = {{ minimum = \"9 V\", maximum = \"36 V\" }}");
    let after =
        format!("{module}input = {{ minimum = \"9 V\", maximum = \"36 V\", efficiency = 0.9 }}");
    assert_eq!(changed, SMALL.replacen(&before, &after, 1));
}

/// Line ends of two bytes stay, also about what is put in.
#[test]
fn verif_long_line_ends_stay() {
    let long = |text: &str| text.replace('\n', "\r\n");
    for (path, value) in [
        ("module.deep.input.lock_out.on", "11 V"),
        ("module.upper.input.efficiency", "0.9"),
        ("supply.cells.output.voltage", "36 V"),
        ("deployment.recovery_slip", "3 d"),
    ] {
        let text = with_a_part();
        assert_eq!(
            set(&long(&text), path, value),
            long(&set(&text, path, value)),
            "{path}"
        );
    }
}

#[test]
fn verif_what_cannot_be_edited_is_told() {
    let reading = read(&with_a_part());
    let error = |path: &str, value: &str| reading.set(path, value).unwrap_err();
    assert!(matches!(
        error("part.line.diameter", "10 mm"),
        EditError::Catalogue { .. }
    ));
    assert!(
        matches!(error("module.other.loads.idle", "1 W"), EditError::NoThing { path } if path == "module.other")
    );
    assert!(matches!(
        error("supply.cells.output.voltag", "1 V"),
        EditError::NoKey {
            near: Some("voltage"),
            ..
        }
    ));
    assert!(matches!(
        error("supply.cells.output", "1 V"),
        EditError::NotOneValue { .. }
    ));
    assert!(matches!(
        error("supply..output", "1 V"),
        EditError::Path { .. }
    ));
    assert!(matches!(
        error("supply.cells.panels.faces", "four"),
        EditError::Form { .. }
    ));
}

#[test]
fn verif_edits_of_one_place_are_refused_and_pieces_of_characters_too() {
    let edit = |start: usize, end: usize, text: &str| Edit {
        range: start..end,
        text: text.to_owned(),
    };
    assert_eq!(
        splice("abcd", &[edit(3, 4, "D"), edit(0, 1, "A"), edit(1, 1, "-")]).unwrap(),
        "A-bcD"
    );
    assert_eq!(
        splice("abcd", &[edit(0, 2, ""), edit(1, 3, "")]),
        Err(EditError::Overlap)
    );
    assert!(matches!(
        splice("aé", &[edit(2, 3, "")]),
        Err(EditError::Outside { .. })
    ));
    assert!(matches!(
        splice("ab", &[edit(1, 3, "")]),
        Err(EditError::Outside { .. })
    ));
}

proptest! {
    /// Every value of the small plan that is one text can be written again as it stands, and the text is then the same.
    #[test]
    fn verif_writing_what_stands_there_changes_nothing(pick in any::<prop::sample::Index>(), long in any::<bool>()) {
        let text = if long { SMALL.replace('\n', "\r\n") } else { SMALL.to_owned() };
        let reading = read(&text);
        let all = reading.written();
        let own: Vec<_> = all.iter().filter(|w| {
            w.used_at.is_none() && !w.path.starts_with("part.") && w.text.starts_with('"')
        }).collect();
        let one = own[pick.index(own.len())];
        let edit = reading.set(&one.path, one.text.trim_matches('"')).unwrap();
        prop_assert_eq!(splice(&text, &[edit]).unwrap(), text);
    }
}

/// The values of a part stand where it is used, with the place of that, and by themselves; a mistake leaves a value without meaning.
#[test]
fn verif_values_are_told_by_path() {
    let text = with_a_part().replacen("voltage = \"24 V\"", "voltage = \"24 kg\"", 1);
    let reading = read(&text);
    let all = reading.written();
    let find = |path: &str| all.iter().find(|w| w.path == path).unwrap();
    let on = find("module.deep.input.lock_out.on");
    assert_eq!(
        (on.text.as_str(), on.means.as_deref()),
        ("\"12 V\"", Some("12.0"))
    );
    assert_eq!(reading.sources.place(on.at), "line 4 of parts.toml");
    assert!(on.used_at.is_some());
    assert_eq!(find("part.pod.input.lock_out.on").at, on.at);
    assert_eq!(find("section.riser.rope.diameter").text, "\"12 mm\"");
    assert_eq!(find("supply.cells.output.voltage").means, None);
}

#[test]
fn verif_a_declared_remedy_is_read_and_changes_no_digest() {
    let remedy = "[remedy.more-volts]\nsets = \"supply.cells.output.voltage\"\nto = [{ value = \"30 V\", cost = \"20 EUR\" }, { value = \"36 V\" }]\n";
    let (without, with) = (read(SMALL), read(&format!("{SMALL}\n{remedy}")));
    assert!(!with.has_errors(), "{:?}", with.mistakes);
    assert_eq!(without.digest, with.digest);
    let remedies = &with.line.unwrap().remedies;
    assert_eq!(remedies[0].sets, "supply.cells.output.voltage");
    assert_eq!(remedies[0].to[0].cost.unwrap().to_string(), "20.00 EUR");
    assert_eq!(remedies[0].to[1].cost, None);
}
