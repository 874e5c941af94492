//! Remedies of a start: the staggering that a check names is among them, judged over the whole plan.

use assess::{Shelf, Verdict, Word, check};

use crate::remedies::{found, only};
use crate::support::read;

const COLD_WAKE: &str = include_str!("../../../../plans/cold-wake/plan.toml");

/// The keys that a verdict names in backticks, each with its module: `wakes_after = "8.5 s"`.
fn named(why: &str) -> Vec<String> {
    let quoted = why.split('`').skip(1).step_by(2);
    quoted.map(str::to_owned).collect()
}

#[test]
fn verif_the_staggering_that_a_check_names_is_a_remedy() {
    let found = found(COLD_WAKE, "start");
    let mended = only(&found);
    // Among what it names are keys with their values, and the check that is broken too.
    let mut named = named(mended.judged.verdicts[0].why());
    named.retain(|word| word.contains('='));
    let best = &mended.remedies[0];
    assert_eq!(best.word, Word::Met);
    assert!(best.breaks.is_empty());
    let paths: Vec<&str> = best.turned.iter().map(|t| t.path.as_str()).collect();
    assert_eq!(
        paths,
        ["module.middle.wakes_after", "module.outer.wakes_after"]
    );
    let turned = best
        .turned
        .iter()
        .map(|t| format!("wakes_after = \"{}\"", t.to));
    assert_eq!(turned.collect::<Vec<_>>(), named);
    // The standing check of the boots is cured with it, and nothing else is broken.
    assert!(best.stays_broken.is_empty(), "{:?}", best.stays_broken);
    // Nothing is left for pairs to find.
    assert!(!mended.in_pairs);
    let after = check(&read(&best.text), &Shelf::default());
    let start = after.requirements.iter().find(|j| j.id == "start").unwrap();
    assert_eq!(start.word(), Word::Met);
    assert!(matches!(start.verdicts[0], Verdict::Known(_)));
}

/// Of modules without one the lock-outs that a check names are written with the delays.
#[test]
fn verif_lock_outs_that_a_check_names_are_part_of_the_remedy() {
    let text = COLD_WAKE.replace(", lock_out = { on = \"32 V\", off = \"22 V\" }", "");
    assert_ne!(text, COLD_WAKE);
    let found = found(&text, "start");
    let mended = only(&found);
    let worst = mended
        .judged
        .verdicts
        .iter()
        .find(|v| v.why().contains("lock_out"));
    let named = named(worst.unwrap().why());
    let all = mended.remedies.iter();
    let with_lock_outs = all
        .clone()
        .find(|r| r.turned.iter().any(|t| t.path.ends_with(".input.lock_out")));
    let remedy = with_lock_outs
        .unwrap_or_else(|| panic!("{:?}", all.map(|r| &r.turned).collect::<Vec<_>>()));
    for turned in &remedy.turned {
        let key = turned.path.rsplit('.').next().unwrap();
        let written = match key {
            "lock_out" => format!("lock_out = {}", turned.to),
            _ => format!("{key} = \"{}\"", turned.to),
        };
        assert!(named.contains(&written), "{written}: {named:?}");
    }
    let after = check(&read(&remedy.text), &Shelf::default());
    let start = after.requirements.iter().find(|j| j.id == "start").unwrap();
    assert!(matches!(start.word(), Word::Met | Word::Marginal));
}
