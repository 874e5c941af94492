//! Every line of the plan bent or lost.

use assess::{Check, Shelf, Status, Word, check};
use proptest::prelude::*;

use super::{all, wide};
use crate::support::{changed, read};

fn words(check: &Check) -> Vec<(&str, Word)> {
    check
        .requirements
        .iter()
        .chain(&check.standing)
        .map(|j| (j.id.as_str(), j.word()))
        .collect()
}

/// Every line of the plan bent so that it is a mistake: what is told of a requirement is unknown, or is what the good plan
/// says of it. No requirement that is written is missing.
#[test]
fn verif_what_stands_beside_a_mistake_is_what_the_good_plan_says() {
    let text = wide(&[]);
    let good = all(&check(&read(&text), &Shelf::default()));
    let lines: Vec<&str> = text.lines().collect();
    let mut standing = 0;
    let mut bent_plans = 0;
    for at in 0..lines.len() {
        let line = lines[at];
        let bends = [
            format!("no-such-key = 1\n{line}"),
            line.replacen("= \"", "= \"?", 1),
            line.replacen("{ ", "{ no-such-key = 1, ", 1),
            line.replacen(" = ", " = 7 # ", 1),
            line.replacen('[', "[[", 1).replacen(']', "]]", 1),
            line.replacen("module.", "module.no-", 1),
            line.replacen("detector.", "detector.no-", 1),
            line.replacen(".", ".No", 1),
        ];
        for bent in bends.into_iter().filter(|b| b != line) {
            let mut now: Vec<&str> = lines.clone();
            now[at] = &bent;
            let reading = read(&(now.join("\n") + "\n"));
            if !reading.has_errors() {
                continue;
            }
            bent_plans += 1;
            let now = check(&reading, &Shelf::default());
            assert_eq!(now.status(), Status::Unusable);
            let now = all(&now);
            let torn = reading
                .mistakes
                .iter()
                .any(|m| m.code == plan::Code::Syntax || m.code == plan::Code::Duplicate);
            for before in &good {
                let Some(after) = now.iter().find(|j| j.id == before.id) else {
                    let standing = [
                        "link-reach",
                        "housing-depth",
                        "overload",
                        "boots-carried",
                        "unlike-metals",
                    ]
                    .contains(&before.id.as_str());
                    let header = line.contains("[requirement.");
                    assert!(
                        torn || header || standing && reading.line.is_none(),
                        "{}: {} is gone",
                        bent,
                        before.id
                    );
                    continue;
                };
                // Another name of a detector is told, and what rests on it is the same.
                if ["overload", "hush"].contains(&before.id.as_str())
                    && line.starts_with("[detector.")
                {
                    continue;
                }
                if after.word() == Word::Unknown {
                    continue;
                }
                standing += 1;
                assert_eq!(after.verdicts, before.verdicts, "{bent}");
            }
        }
    }
    assert!(bent_plans > 500, "{bent_plans}");
    // Far more stands than a rule by kinds of tables would leave.
    assert!(standing > 5 * bent_plans, "{standing} of {bent_plans}");
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
