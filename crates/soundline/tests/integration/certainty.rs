//! `check --certainty` and `check --evidence` as they are called.

use crate::support::{demo, expect_status, repository, run, stderr, stdout};

/// The verdicts first, then the draws; the exit status is that of the check.
#[test]
fn verif_the_draws_are_told_below_the_verdicts() {
    let demo = demo("harrow-sound", true);
    let plain = run(&["check", &demo.plan]);
    let drawn = run(&["check", &demo.plan, "--certainty", "--draws", "8"]);
    expect_status(&plain, 0);
    expect_status(&drawn, 0);
    let (plain, drawn) = (stdout(&plain), stdout(&drawn));
    let rest = drawn
        .strip_prefix(&plain)
        .expect("the verdicts stand first");
    assert!(
        rest.starts_with("\nHow surely the requirements are met\n"),
        "{rest}"
    );
    assert!(rest.contains("8 draws of "), "{rest}");
    assert!(
        rest.contains("not drawn: a rehearsal is of the plan as it is written"),
        "{rest}"
    );
    assert_eq!(
        drawn,
        stdout(&run(&[
            "check",
            &demo.plan,
            "--certainty",
            "--draws",
            "8",
            "--seed",
            "1"
        ]))
    );
}

#[test]
fn verif_what_belongs_to_draws_is_refused_without_them() {
    let plan = repository("plans/harrow-sound/plan.toml")
        .display()
        .to_string();
    for (option, value) in [("--draws", "10"), ("--seed", "2"), ("--years", "2")] {
        let output = run(&["check", &plan, option, value]);
        expect_status(&output, 2);
        assert!(
            stderr(&output).contains("--certainty"),
            "{}",
            stderr(&output)
        );
    }
    let output = run(&["check", &plan, "--certainty", "--draws", "1"]);
    expect_status(&output, 2);
    assert!(
        stderr(&output).contains("1 draws were asked for"),
        "{}",
        stderr(&output)
    );
}

/// A rehearsal that lies beside the plan supports its requirement; without it nothing does.
#[test]
fn verif_the_evidence_of_each_requirement_is_told() {
    let with = |evidence| {
        let demo = demo("harrow-sound", evidence);
        let told = stdout(&run(&["check", &demo.plan, "--evidence"]));
        let told = told.split("What each requirement rests on").nth(1).unwrap();
        told.to_owned()
    };
    let rehearsed = with(true);
    assert!(
        rehearsed
            .contains("  met      night              rehearsal    cues/ferry-night.toml, seed"),
        "{rehearsed}"
    );
    assert!(
        rehearsed.contains(
            "of 20 requirements rest on: calculation 19, rehearsal 1, recordings 0, measurement 0, nothing yet 0"
        ),
        "{rehearsed}"
    );
    let bare = with(false);
    assert!(
        bare.contains("  unknown  night              nothing yet  it has not been rehearsed yet"),
        "{bare}"
    );
}
