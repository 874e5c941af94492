//! A mistake in one part of the plan leaves what does not rest on it standing.

use assess::{Check, Shelf, Status, Word, check};
use proptest::prelude::*;

use crate::support::{changed, checked, read};

fn words(check: &Check) -> Vec<(&str, Word)> {
    check
        .requirements
        .iter()
        .chain(&check.standing)
        .map(|j| (j.id.as_str(), j.word()))
        .collect()
}

const ELECTRIC: &[&str] = &["voltage", "supply"];
const TALK: &[&str] = &["lamp", "told", "shore", "links", "messages", "budget"];
const STANDING: &[&str] = &["link-reach", "housing-depth"];

/// One bad plan: the part, the change, and the requirements that read the part.
fn bad() -> Vec<(&'static str, [&'static str; 2], Vec<&'static str>)> {
    let of = |groups: &[&[&'static str]]| groups.concat();
    vec![
        (
            "supply",
            ["voltage = \"48 V\"", "voltage = \"48 kg\""],
            of(&[ELECTRIC]),
        ),
        (
            "topic",
            ["size = \"100 B\"", "size = \"100 kg\""],
            of(&[TALK]),
        ),
        (
            "uplink",
            ["session = \"5 s\"", "session = \"5 V\""],
            of(&[TALK]),
        ),
        (
            "detector",
            ["over = \"10 s\"", "over = \"10 V\""],
            of(&[TALK]),
        ),
        (
            "storage",
            ["capacity = \"1 TB\"", "capacity = \"1 V\""],
            of(&[&["card"]]),
        ),
        (
            "deployment",
            [
                "duration = \"1 d\"",
                "duration = \"1 d\"\nrecovery_slip = \"1 V\"",
            ],
            of(&[&["card"]]),
        ),
        (
            "site",
            ["ph = 8\n", "ph = \"sour\"\n"],
            of(&[ELECTRIC, STANDING]),
        ),
        (
            "span",
            ["length = \"100 m\"", "length = \"100 V\""],
            of(&[ELECTRIC, TALK, STANDING]),
        ),
        (
            "module",
            ["processing = \"100 us\"", "processing = \"100 V\""],
            of(&[ELECTRIC, TALK, STANDING, &["card"]]),
        ),
    ]
}

/// The verdicts that read the spoilt part are unknown or gone with it; the others equal those of the good plan.
#[test]
fn verif_a_mistake_spoils_what_reads_it_and_nothing_else() {
    let good = checked(&[]);
    for (part, [from, to], spoilt) in bad() {
        let reading = read(&changed(&[(from, to)]));
        assert!(
            reading
                .mistakes
                .iter()
                .any(|m| m.is_error() && m.part.starts_with(part)),
            "{part}: {:?}",
            reading.mistakes
        );
        let check = check(&reading, &Shelf::default());
        assert_eq!(check.status(), Status::Unusable, "{part}");
        let all = |c: &Check| -> Vec<assess::Judged> {
            c.requirements.iter().chain(&c.standing).cloned().collect()
        };
        let now = all(&check);
        for before in all(&good) {
            let after = now.iter().find(|j| j.id == before.id);
            if before.id == "night" {
                assert_eq!(
                    after.map(assess::Judged::word),
                    Some(Word::Unknown),
                    "{part}"
                );
            } else if spoilt.contains(&before.id.as_str()) {
                assert!(
                    after.is_none_or(|j| j.word() == Word::Unknown),
                    "{part}: {after:?}"
                );
            } else {
                assert_eq!(after, Some(&before), "{part}");
            }
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 64, failure_persistence: None, ..ProptestConfig::default() })]

    /// Whatever line of the plan is lost or bent: what the good plan leaves unknown for want of a fact is not met by a mistake.
    #[test]
    fn verif_a_mistake_never_turns_unknown_into_met(at in 0usize..1000, bend in 0usize..4) {
        let unsure = changed(&[
            ("contacts = { mated_pins_in_loop = 0, resistance = \"0 ohm\" }\n", ""),
            ("at_most = \"12 per d\"\n", ""),
            ("at_most = \"10 per min\"\npriority", "priority"),
        ]);
        let before = check(&read(&unsure), &Shelf::default());
        let lines: Vec<&str> = unsure.lines().collect();
        let at = at % lines.len();
        let bent: Vec<String> = lines
            .iter()
            .enumerate()
            .map(|(i, l)| match (i == at, bend) {
                (false, _) => (*l).to_owned(),
                (true, 0) => l.replace('"', ""),
                (true, 1) => format!("{l} ="),
                (true, 2) => format!("no-such-key = 1\n{l}"),
                (true, _) => l.replace([' ', '.'], "_"),
            })
            .collect();
        let reading = read(&(bent.join("\n") + "\n"));
        if reading.has_errors() {
            let after = check(&reading, &Shelf::default());
            prop_assert_eq!(after.status(), Status::Unusable);
            let after = words(&after);
            for (id, word) in words(&before) {
                if word == Word::Unknown {
                    let met = after.iter().any(|(i, w)| *i == id && matches!(w, Word::Met | Word::Marginal));
                    prop_assert!(!met, "{} became met", id);
                }
            }
        }
    }
}
