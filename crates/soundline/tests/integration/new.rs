//! `soundline new` without a terminal: flags, what is assumed, and what is never replaced.

use std::fs;

use crate::support::{expect_status, run, stderr, stdout};

#[test]
fn verif_what_is_not_answered_is_listed_without_a_terminal() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path().to_str().unwrap();
    let output = run(&["new", "--out", at, "--name", "Bay", "--wind", "8 m/s"]);
    expect_status(&output, 2);
    let said = stderr(&output);
    assert!(
        said.contains("--latitude") && said.contains("--price"),
        "{said}"
    );
    assert!(!said.contains("--wind"), "{said}");
    assert!(!folder.path().join("plan.toml").exists());
}

#[test]
fn verif_a_plan_is_written_once_and_marks_what_is_assumed() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path().join("bay");
    let at = at.to_str().unwrap();
    let args = [
        "new",
        "--out",
        at,
        "--yes",
        "--latitude",
        "-57.3 deg",
        "--start",
        "2027-03-15",
    ];
    expect_status(&run(&args), 0);
    let path = folder.path().join("bay/plan.toml");
    let text = fs::read_to_string(&path).unwrap();
    assert!(text.contains("latitude = \"-57.3 deg\"\n"), "{text}");
    assert!(text.contains("start = 2027-03-15\n"), "{text}");
    assert!(
        text.contains("longitude = \"0 deg\"  # assumed\n"),
        "{text}"
    );

    fs::write(&path, "kept").unwrap();
    let again = run(&args);
    expect_status(&again, 2);
    assert!(stderr(&again).contains("exists"), "{}", stderr(&again));
    assert_eq!(fs::read_to_string(&path).unwrap(), "kept");
}

#[test]
fn verif_answers_that_make_no_plan_write_none() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path().to_str().unwrap();
    let deep = ["--water-depth", "10 m", "--depths", "12 m"];
    let output = run(&[&["new", "--yes", "--out", at][..], &deep].concat());
    expect_status(&output, 2);
    assert!(stderr(&output).contains("12 m"), "{}", stderr(&output));
    for no_water in ["-5 m", "0 m"] {
        let output = run(&["new", "--yes", "--out", at, "--water-depth", no_water]);
        expect_status(&output, 2);
        let said = stderr(&output);
        assert!(
            said.contains(&format!("--water-depth: {no_water}")),
            "{said}"
        );
        assert!(!said.contains("--depths"), "{said}");
    }
    let output = run(&["new", "--yes", "--out", at, "--band", "60"]);
    expect_status(&output, 2);
    assert!(stderr(&output).contains("--band"), "{}", stderr(&output));
    assert!(!folder.path().join("plan.toml").exists());
}

#[test]
fn verif_json_tells_which_answers_were_assumed() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path().to_str().unwrap();
    let output = run(&[
        "new", "--yes", "--out", at, "--name", "Bay", "--format", "json",
    ]);
    expect_status(&output, 0);
    let told: serde_json::Value = serde_json::from_str(&stdout(&output)).unwrap();
    assert_eq!(told["format"], "new/1");
    let flags = told["not_answered"].as_array().unwrap();
    assert_eq!(flags.len(), 14);
    assert!(!flags.contains(&"--name".into()));
}

/// A plan that does not hold as it was written says so at once, and `check` agrees.
#[test]
fn verif_a_first_plan_that_does_not_hold_says_so() {
    let folder = tempfile::tempdir().unwrap();
    let thin = ["--conductor", "36 AWG", "--voltage", "12 V"];
    for (name, more, word) in [
        ("good", &[][..], None),
        ("thin", &thin[..], Some("voltage")),
    ] {
        let at = folder.path().join(name);
        let output = run(&[&["new", "--yes", "--out", at.to_str().unwrap()][..], more].concat());
        expect_status(&output, 0);
        let said = stdout(&output);
        assert_eq!(said.contains("does not hold"), word.is_some(), "{said}");
        let plan = at.join("plan.toml");
        let check = stdout(&run(&["check", plan.to_str().unwrap()]));
        assert_eq!(check.contains("  broken"), word.is_some(), "{check}");
        if let Some(word) = word {
            assert!(said.contains(&format!("broken   {word}")), "{said}");
            assert!(said.contains("change: "), "{said}");
        }
    }
}

/// The cue sheet beside a first plan runs at once, whatever the band, and all that it expects is seen.
#[test]
fn verif_a_first_cue_sheet_runs_and_shows_what_it_expects() {
    let folder = tempfile::tempdir().unwrap();
    for (name, more) in [
        ("assumed", &[][..]),
        ("low", &["--band", "5 Hz, 15 Hz"][..]),
        ("shore", &["--supply", "shore", "--wind", "12 m/s"][..]),
        (
            "many",
            &["--depths", "5 m, 10 m, 15 m, 20 m, 25 m, 30 m, 35 m"][..],
        ),
    ] {
        let at = folder.path().join(name);
        let args = [&["new", "--yes", "--out", at.to_str().unwrap()][..], more].concat();
        expect_status(&run(&args), 0);
        let (plan, cues) = (at.join("plan.toml"), at.join("cues.toml"));
        let rehearsed = run(&["rehearse", plan.to_str().unwrap(), cues.to_str().unwrap()]);
        expect_status(&rehearsed, 0);
        let text = fs::read_to_string(&cues).unwrap();
        let marked = |key: &str| {
            let mut lines = text.lines().filter(|l| l.starts_with(key)).peekable();
            lines.peek().is_some() && lines.all(|l| l.ends_with("# assumed"))
        };
        let assumed = ["duration", "seed", "source_level", "track"];
        assert!(assumed.into_iter().all(marked), "{text}");
        assert_eq!(marked("wind"), name != "shore", "{text}");
    }
}

/// Neither file is replaced unasked, not even when only one of them is there.
#[test]
fn verif_neither_plan_nor_cue_sheet_is_replaced_without_force() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path().to_str().unwrap();
    let cues = folder.path().join("cues.toml");
    fs::write(&cues, "kept").unwrap();
    let args = ["new", "--yes", "--out", at];
    let refused = run(&args);
    expect_status(&refused, 2);
    assert!(
        stderr(&refused).contains("cues.toml"),
        "{}",
        stderr(&refused)
    );
    assert!(stderr(&refused).contains("--force"), "{}", stderr(&refused));
    assert_eq!(fs::read_to_string(&cues).unwrap(), "kept");
    assert!(!folder.path().join("plan.toml").exists());
    expect_status(&run(&[&args[..], &["--force"]].concat()), 0);
    assert_ne!(fs::read_to_string(&cues).unwrap(), "kept");
    assert!(folder.path().join("plan.toml").exists());
}
