//! Evidence of rehearsals: absent, stale, fresh, failed, empty.

use std::collections::BTreeMap;

use assess::evidence::{ExpectationRecord, Record};
use assess::{Check, Evidence, Ruling, Shelf, check};

use crate::support::{good, known, why_unknown};

const CUES: &str = "cues/night.toml";
const COMMAND: &str = "soundline rehearse a/plan.toml a/cues/night.toml";

fn record(plan: &str, cues: &str, passed: &[bool]) -> Record {
    let expectations = passed
        .iter()
        .enumerate()
        .map(|(i, passed)| ExpectationRecord {
            id: format!("e{i}"),
            passed: *passed,
            said: "seen".to_owned(),
        })
        .collect();
    Record::rehearsal(
        plan.to_owned(),
        CUES.to_owned(),
        cues.to_owned(),
        7,
        "test".to_owned(),
        expectations,
        "result".to_owned(),
    )
}

fn with(records: Vec<Record>, cues: Result<&str, &str>) -> Check {
    let cues = BTreeMap::from([(
        CUES.to_owned(),
        cues.map(str::to_owned).map_err(str::to_owned),
    )]);
    let commands = BTreeMap::from([(CUES.to_owned(), COMMAND.to_owned())]);
    let shelf = Shelf {
        records,
        cues,
        commands,
        ..Shelf::default()
    };
    check(&good(&[]), &shelf)
}

#[test]
fn verif_without_a_record_it_is_unknown_and_says_what_to_do() {
    let check = with(Vec::new(), Ok("c1"));
    let why = why_unknown(&check, "night");
    assert!(
        why.contains("not been rehearsed") && why.contains(COMMAND),
        "{why}"
    );
}

#[test]
fn verif_a_record_of_another_plan_or_cue_sheet_is_stale() {
    let plan = good(&[]).rehearsed_digest;
    for record in [
        record("another", "c1", &[true]),
        record(&plan, "another", &[true]),
    ] {
        let check = with(vec![record], Ok("c1"));
        assert!(why_unknown(&check, "night").contains("has changed"));
    }
}

#[test]
fn verif_a_fresh_record_is_met_and_named_as_evidence() {
    let plan = good(&[]).rehearsed_digest;
    let stale = record("another", "c1", &[false]);
    let check = with(vec![stale, record(&plan, "c1", &[true, true])], Ok("c1"));
    let night = known(&check, "night");
    assert_eq!(night.ruling, Ruling::Met);
    assert_eq!((night.value.value, night.limit.value), (2.0, 2.0));
    assert_eq!(
        night.evidence,
        Evidence::Rehearsed {
            cues: CUES.to_owned(),
            plan_digest: plan,
            cues_digest: "c1".to_owned(),
            seed: 7,
            result_digest: "result".to_owned(),
        }
    );
}

#[test]
fn verif_one_failed_expectation_is_broken_and_named() {
    let plan = good(&[]).rehearsed_digest;
    let check = with(vec![record(&plan, "c1", &[true, false, true])], Ok("c1"));
    let night = known(&check, "night");
    assert_eq!(night.ruling, Ruling::Broken);
    assert_eq!(night.value.value, 2.0);
    assert!(night.why.contains("e1"), "{}", night.why);
}

/// Two rehearsals of the same plan and cue sheet that differ: the worse counts, in whatever order they lie there, and it is said.
#[test]
fn verif_of_two_fresh_records_the_worse_counts() {
    let plan = good(&[]).rehearsed_digest;
    let mut held = record(&plan, "c1", &[true, true]);
    held.result_digest = "another".to_owned();
    let failed = record(&plan, "c1", &[true, false]);
    for records in [
        vec![held.clone(), failed.clone()],
        vec![failed.clone(), held.clone()],
    ] {
        let check = with(records, Ok("c1"));
        let night = known(&check, "night");
        assert_eq!(night.ruling, Ruling::Broken);
        assert!(night.why.contains("differently"), "{}", night.why);
    }
    let check = with(vec![held.clone(), held], Ok("c1"));
    assert_eq!(known(&check, "night").why, "every expectation held");
}

#[test]
fn verif_nothing_expected_and_an_unreadable_cue_sheet_are_unknown() {
    let plan = good(&[]).rehearsed_digest;
    let check = with(vec![record(&plan, "c1", &[])], Ok("c1"));
    assert!(why_unknown(&check, "night").contains("expects nothing"));
    let check = with(vec![record(&plan, "c1", &[true])], Err("no such file"));
    assert_eq!(why_unknown(&check, "night"), "no such file");
}

/// The digest is of what the plan says, not of how it is laid out: a comment leaves the record fresh, a value does not.
#[test]
fn verif_the_digest_follows_values_and_not_comments() {
    let plan = good(&[]).rehearsed_digest;
    assert_eq!(
        plan,
        good(&[("[span.cable]", "# a remark\n[span.cable]")]).rehearsed_digest
    );
    assert_ne!(
        plan,
        good(&[("length = \"100 m\"", "length = \"101 m\"")]).rehearsed_digest
    );
}
