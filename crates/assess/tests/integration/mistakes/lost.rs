//! Tables that nobody knows, requirements and catalogue parts that are lost to a mistake.

use std::path::Path;

use assess::{Shelf, Status, Word, check};

use super::{all, wide};
use crate::support::{changed, read, requirement, why_unknown};

/// A mistake in a file that nothing leaves out leaves everything open.
#[test]
fn verif_a_table_that_nobody_knows_leaves_everything_unknown() {
    let reading = read(&changed(&[(
        "[requirement.voltage]\n",
        "[storm.x]\na = 1\n\n[requirement.voltage]\n",
    )]));
    let check = check(&reading, &Shelf::default());
    assert!(!check.requirements.is_empty());
    for judged in all(&check) {
        assert_eq!(judged.word(), Word::Unknown, "{judged:?}");
    }
}

/// A requirement whose subject is lost to a mistake elsewhere is told with the part that has the mistake, in its own place in the
/// table, with what it says of itself.
#[test]
fn verif_a_requirement_whose_subject_is_lost_is_there() {
    let text = changed(&[
        ("capacity = \"1 TB\"", "capacity = \"1 V\""),
        (
            "that = \"storage-time\"\n",
            "that = \"storage-time\"\nmust = \"should\"\nsource = \"permit 7\"\n",
        ),
    ]);
    let reading = read(&text);
    let line = reading.line.as_ref().unwrap();
    assert!(line.requirements.iter().all(|r| r.id != "card"));
    let check = check(&reading, &Shelf::default());
    let card = requirement(&check, "card");
    assert_eq!(card.must, plan::Must::Should);
    assert_eq!(card.clause.as_deref(), Some("permit 7"));
    assert!(card.sentence.contains("storage-time"), "{}", card.sentence);
    assert_eq!(card.verdicts[0].subject(), "storage.card");
    let at = text[..text.find("capacity").unwrap()].matches('\n').count() + 1;
    assert!(why_unknown(&check, "card").ends_with(&format!("at line {at}")));
    let ids: Vec<&str> = check.requirements.iter().map(|j| j.id.as_str()).collect();
    assert!(ids.is_sorted(), "{ids:?}");
}

/// Also of a plan that gives no line, and whatever its own id is.
#[test]
fn verif_every_requirement_that_is_written_is_there() {
    let reading = read(&changed(&[
        ("[site]", "[sites]"),
        ("[requirement.card]", "[requirement.Card]"),
        ("at_most = \"50 EUR\"", "at_most = \"50 V\""),
        ("that = \"supply-current\"", "of = \"supply.bench\""),
    ]));
    assert!(reading.line.is_none());
    let check = check(&reading, &Shelf::default());
    let ids: Vec<&str> = check.requirements.iter().map(|j| j.id.as_str()).collect();
    let written = [
        "Card", "budget", "lamp", "links", "messages", "night", "shore", "supply", "told",
        "voltage",
    ];
    assert_eq!(ids, written);
    for id in written {
        let why = why_unknown(&check, id);
        assert!(why.contains("at line "), "{id}: {why}");
    }
    let place = |id: &str| why_unknown(&check, id).to_owned();
    assert_ne!(place("budget"), place("voltage"));
}

/// A mistake in a catalogue part reaches what uses it and what takes its values from it, and names the file.
#[test]
fn verif_a_mistake_in_a_catalogue_part_reaches_those_that_use_it() {
    let plan = wide(&[
        ("format = 1\n", "format = 1\ninclude = [\"parts.toml\"]\n"),
        (
            "sensitivity = \"-171 dB re 1 V/uPa\"\n",
            "part = \"part.phone\"\n",
        ),
    ]);
    let parts = |sensitivity: &str, more: &str| {
        format!(
            "format = 1\n\n[part.phone]\nis = \"sensor\"\nsensitivity = \"{sensitivity}\"\n{more}"
        )
    };
    let checked = |parts: Option<String>| {
        let fetch = |path: &Path| match (path.ends_with("parts.toml"), &parts) {
            (false, _) => Ok(plan.clone().into_bytes()),
            (true, Some(text)) => Ok(text.clone().into_bytes()),
            (true, None) => Err(std::io::ErrorKind::NotFound.into()),
        };
        check(
            &assess::read(Path::new("home/plan.toml"), &fetch),
            &Shelf::default(),
        )
    };
    let good = checked(Some(parts("-171 dB re 1 V/uPa", "")));
    assert_eq!(requirement(&good, "second").word(), Word::Met);
    for (text, place) in [
        (Some(parts("-171 kg", "")), "line 5 of parts.toml"),
        (
            Some(parts("-171 dB re 1 V/uPa", "part = \"part.other\"\n")),
            "line 6 of parts.toml",
        ),
        (
            Some("format = 1\n[part.phone]\nsensitivity = 1\n".to_owned()),
            "line 2 of parts.toml",
        ),
        (None, "line 3"),
    ] {
        let bad = checked(text);
        assert_eq!(bad.status(), Status::Unusable);
        let why = why_unknown(&bad, "second");
        assert!(why.ends_with(&format!("at {place}")), "{why}");
        for id in ["voltage", "lamp", "messages", "card"] {
            assert_eq!(requirement(&bad, id), requirement(&good, id), "{id}");
        }
    }
    // A mistake in a part that nobody uses reaches nothing.
    let unused = checked(Some(parts(
        "-171 dB re 1 V/uPa",
        "\n[part.rope]\nis = \"rope\"\ndiameter = \"1 V\"\n",
    )));
    assert_eq!(unused.status(), Status::Unusable);
    assert_eq!(unused.requirements, good.requirements);
}

/// A store that logs what is published rests on how often that is, and so on the links; where a link is lost to a mistake it says so, and not that nothing leads there.
#[test]
fn verif_a_store_with_a_log_tells_the_mistake_in_a_link() {
    let logs = (
        "compression = 1 }]",
        "compression = 1 }]\nlogs = { message = \"32 B\" }\n[stream.raw]\nfrom = \"module.ear\"\nto = \"module.base\"\nrate = \"8 kbit/s\"\npacket = \"100 B\"\npriority = 3",
    );
    let free = ("link = \"10BASE-T1L\"", "link = \"free\"");
    let reading = read(&changed(&[logs, free]));
    assert_eq!(reading.mistakes.iter().filter(|m| m.is_error()).count(), 1);
    let check = check(&reading, &Shelf::default());
    assert!(why_unknown(&check, "card").contains("the plan has a mistake in it"));
    let subject = requirement(&check, "card").verdicts[0].subject();
    assert_eq!(subject, "span.cable.link");
}

/// A mistake elsewhere leaves a request, and what shares the links with it, as it was.
#[test]
fn verif_a_request_is_not_lost_to_a_mistake_elsewhere() {
    let asks = "\n[request.level]\nto = \"module.ear\"\nquestion = \"20 B\"\nanswer = \"60 B\"\nwithin = \"1 s\"\nat_most = \"1 per min\"\n[behaviour.asks]\non = \"module.base\"\neach = \"1 min\"\ndo = [{ ask = \"request.level\" }]\n[behaviour.answers]\non = \"module.ear\"\nwhen_asked = \"request.level\"\ndo = [{ answer = \"request.level\" }]\n";
    let of = |changes: &[(&str, &str)]| check(&read(&(changed(changes) + asks)), &Shelf::default());
    let good = of(&[]);
    let bad = of(&[("session = \"5 s\"", "session = \"5 V\"")]);
    assert_eq!(bad.status(), Status::Unusable);
    for id in ["request", "lamp", "links", "card"] {
        assert_eq!(requirement(&bad, id), requirement(&good, id), "{id}");
    }
    assert!(why_unknown(&bad, "shore").contains("the plan has a mistake"));
}
