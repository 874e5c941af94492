//! `check --certainty` and `check --evidence` as they are called.

use crate::support::{demo, edit, expect_status, only_evidence, repository, run, stderr, stdout};

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
            "of 21 requirements rest on: calculation 20, draws 0, rehearsal 1, recordings 0, measurement 0, attestation 0, nothing yet 0"
        ),
        "{rehearsed}"
    );
    let bare = with(false);
    assert!(
        bare.contains("  unknown  night              nothing yet  it has not been rehearsed yet"),
        "{bare}"
    );
}

/// Without evidence a check is that of a plan beside which nothing lies, and leaves what lies there.
#[test]
fn verif_a_check_without_evidence_reads_none() {
    let (rehearsed, bare) = (demo("harrow-sound", true), demo("harrow-sound", false));
    let record = only_evidence(&rehearsed);
    let told = run(&["check", &rehearsed.plan, "--no-evidence"]);
    expect_status(&told, 3);
    let beside_nothing = stdout(&run(&["check", &bare.plan]));
    let here = stdout(&told).replace(&rehearsed.plan, &bare.plan);
    let folder = |plan: &str| plan.trim_end_matches("plan.toml").to_owned();
    let here = here.replace(&folder(&rehearsed.plan), &folder(&bare.plan));
    assert_eq!(here, beside_nothing);
    assert_eq!(only_evidence(&rehearsed), record);
}

/// The draws lie beside the plan: a later check tells them, until the plan is another.
#[test]
fn verif_draws_are_told_by_later_checks_until_the_plan_changes() {
    let demo = demo("harrow-sound", false);
    let with = ["check", &demo.plan, "--certainty", "--draws", "20"];
    let left = stdout(&run(&[&with[..], &["--no-evidence"]].concat()));
    assert!(!left.contains("evidence: "), "{left}");
    let plain = stdout(&run(&["check", &demo.plan]));
    assert!(!plain.contains(" of 20 draws"), "{plain}");
    let drawn = stdout(&run(&with));
    let record = only_evidence(&demo);
    assert!(
        drawn.ends_with(&format!("evidence: {}\n", record.display())),
        "{drawn}"
    );
    let of = |text: &str, id: &str| -> String {
        let rest = text.split(&format!("  {id} (")).nth(1).unwrap();
        let mut rows = rest.lines().map(str::trim);
        rows.find(|row| row.starts_with("met in"))
            .unwrap()
            .to_owned()
    };
    let told = stdout(&run(&["check", &demo.plan]));
    // All of twenty draws: the lower limit is 0.025^(1/20), 83.16 %.
    assert_eq!(
        of(&told, "housings"),
        "met in 20 of 20 draws (83.1 to 100 %)",
        "{told}"
    );
    assert!(!told.contains("how surely the requirements are met"));
    let listed = stdout(&run(&["check", &demo.plan, "--evidence"]));
    assert!(
        listed.contains("draws        met in 20 of 20 draws"),
        "{listed}"
    );
    let parts = demo.folder.path().join("parts.toml");
    edit(parts.to_str().unwrap(), "1.3 ± 0.2", "1.3 ± 0.1");
    let stale = stdout(&run(&["check", &demo.plan, "--evidence"]));
    assert!(!stale.contains(" of 20 draws"), "{stale}");
    assert!(stale.contains("are stale"), "{stale}");
    assert!(stale.contains("how surely the requirements are met"));
}

/// A share of draws is unknown until draws show it; the check that draws them tells it at once.
#[test]
fn verif_a_share_of_draws_is_known_with_the_draws() {
    let demo = demo("harrow-sound", true);
    edit(
        &demo.plan,
        "that = \"anchor-load\"\n",
        "that = \"anchor-load\"\nshare_of_draws = \"50 %\"\n",
    );
    let bare = run(&["check", &demo.plan]);
    assert!(
        stdout(&bare).contains(
            "nothing that was drawn lies beside the plan; 5 draws without a bad one show 50 %"
        ),
        "{}",
        stdout(&bare)
    );
    let drawn = run(&["check", &demo.plan, "--certainty", "--draws", "40"]);
    let later = run(&["check", &demo.plan]);
    for output in [&drawn, &later] {
        let text = stdout(output);
        assert!(text.contains(", in 50 % of draws"), "{text}");
        // The plan's own margin stands beside what the draws say.
        let of = text.find("sinker-holds (shall)").unwrap();
        let of = &text[of..of + text[of..].find("\n  met ").unwrap_or(text.len() - of)];
        assert!(
            of.contains("anchor.sinker: ") && of.contains("the draws: "),
            "{of}"
        );
        assert!(!text.contains("nothing that was drawn"), "{text}");
    }
    assert_eq!(drawn.status.code(), later.status.code());
}

#[test]
fn verif_a_picture_of_the_draws_is_written_and_never_over_another() {
    let demo = demo("harrow-sound", false);
    let file = |name: &str| demo.folder.path().join(name).display().to_string();
    let drawn = |more: &[&str]| {
        let with = [
            "check",
            &demo.plan,
            "--certainty",
            "--draws",
            "6",
            "--picture",
        ];
        run(&[&with[..], more].concat())
    };
    for (name, begin) in [("sure.png", &b"\x89PNG"[..]), ("sure.svg", &b"<"[..])] {
        let output = drawn(&[&file(name)]);
        assert!(stdout(&output).contains(&format!("picture: {}", file(name))));
        let bytes = std::fs::read(file(name)).unwrap();
        assert!(bytes.starts_with(begin), "{name}");
    }
    let svg = std::fs::read_to_string(file("sure.svg")).unwrap();
    assert!(svg.contains("width=\"1280\""));
    assert!(svg.contains("sinker-holds"));
    let again = drawn(&[&file("sure.png")]);
    expect_status(&again, 2);
    expect_status(&drawn(&[&file("sure.pdf")]), 2);
    assert!(stdout(&drawn(&[&file("sure.png"), "--force"])).contains("picture: "));
    assert_eq!(std::fs::read_to_string(file("sure.svg")).unwrap(), svg);
}

/// Nothing is told of a plan that cannot be drawn as asked.
#[test]
fn verif_draws_that_cannot_be_made_are_refused_before_the_check() {
    let demo = demo("harrow-sound", false);
    for (asked, said) in [
        (
            ["--draws", "0"],
            "0 draws were asked for; from 2 to 100000 can be made",
        ),
        (["--draws", "100001"], "100001 draws"),
        (["--years", "0"], "0 weather years of each draw"),
    ] {
        let output = run(&[&["check", &demo.plan, "--certainty"], &asked[..]].concat());
        expect_status(&output, 2);
        assert_eq!(stdout(&output), "", "{asked:?}");
        assert!(stderr(&output).contains(said), "{}", stderr(&output));
    }
}

/// Where a share of draws would claim something else, the mistake says what.
#[test]
fn verif_a_share_of_draws_that_a_kind_does_not_take_is_refused_with_the_reason() {
    let kinds = [
        (
            "outage-hours",
            "at_most = \"0 h\"\nshare = \"90 %\"",
            "few years of its own",
        ),
        (
            "lowest-charge",
            "at_least = \"30 %\"\nshare = \"90 %\"",
            "few years of its own",
        ),
        (
            "detection-range",
            "of = \"detector.upcall-upper\"\ncall = \"call.upcall\"\nat_least = \"1 km\"\nshare = \"50 %\"",
            "counts in its `share`",
        ),
        (
            "recall",
            "of = \"detector.upcall-upper\"\nat_least = \"80 %\"\nlabels = \"labels.csv\"",
            "`confidence` says how surely",
        ),
        (
            "false-alarms",
            "of = \"detector.upcall-upper\"\nat_most = \"1 per d\"\nlabels = \"labels.csv\"",
            "`confidence` says how surely",
        ),
        (
            "rehearsed",
            "cues = \"cues/ferry-night.toml\"",
            "of the plan as it is written",
        ),
    ];
    for (that, keys, why) in kinds {
        let demo = demo("harrow-sound", false);
        let asked = format!(
            "[requirement.sure]\nthat = \"{that}\"\n{keys}\nshare_of_draws = \"90 %\"\n\n[requirement.upright]"
        );
        edit(&demo.plan, "[requirement.upright]", &asked);
        let output = run(&["check", &demo.plan]);
        expect_status(&output, 2);
        let said = stderr(&output);
        assert!(
            said.contains("`share_of_draws` does not belong to a requirement on"),
            "{said}"
        );
        assert!(said.contains("leave it out: "), "{said}");
        let whole = said.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(whole.contains(why), "{whole}");
        assert!(
            stdout(&output).contains("unknown  sure (shall)"),
            "{}",
            stdout(&output)
        );
    }
}
