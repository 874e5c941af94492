//! `remedy` and `compare`: text, JSON, Markdown, exit status, writing into the plan.

use std::fs;

use serde_json::Value;

use crate::support::{demo, edit, expect_status, run, stderr, stdout};

#[test]
fn verif_a_broken_plan_is_told_what_would_mend_it() {
    let demo = demo("gannet-stack", false);
    let output = run(&["remedy", &demo.plan]);
    expect_status(&output, 1);
    let text = stdout(&output);
    for told in [
        "broken   voltage (shall)",
        "(1)  supply.sun.battery.capacity: 90 Ah -> 180 Ah",
        "costs 980.00 EUR",
        "span.upper.conductor: 0.75 mm2 class 5 -> 1.5 mm2 class 5",
    ] {
        assert!(text.contains(told), "{told}: {text}");
    }
}

/// Each remedy, written into a copy, makes its requirement hold by `check` itself, and changes the lines it names and no others.
#[test]
fn verif_every_remedy_holds_when_it_is_applied() {
    let demo = demo("gannet-stack", false);
    let before = fs::read_to_string(&demo.plan).unwrap();
    let json = run(&["--format", "json", "remedy", &demo.plan]);
    let told: Value = serde_json::from_str(&stdout(&json)).unwrap();
    let mut count = 0;
    for requirement in told["requirements"].as_array().unwrap() {
        let id = requirement["id"].as_str().unwrap();
        for remedy in requirement["remedies"].as_array().unwrap() {
            count += 1;
            fs::write(&demo.plan, &before).unwrap();
            let number = remedy["number"].to_string();
            let applied = run(&["remedy", &demo.plan, "--apply", &number]);
            // Two of three requirements are still broken.
            expect_status(&applied, 1);
            let after = fs::read_to_string(&demo.plan).unwrap();
            let changed = before
                .lines()
                .zip(after.lines())
                .filter(|(a, b)| a != b)
                .count();
            assert_eq!(
                changed,
                remedy["sets"].as_array().unwrap().len(),
                "{number}"
            );
            let comments = |text: &str| text.matches('#').count();
            assert_eq!(comments(&before), comments(&after));
            let check = run(&["--format", "json", "check", &demo.plan]);
            let check: Value = serde_json::from_str(&stdout(&check)).unwrap();
            let all = check["requirements"].as_array().unwrap();
            let judged = all.iter().find(|r| r["id"] == id).unwrap();
            assert_eq!(judged["ruling"], remedy["ruling"], "{number}");
            assert_eq!(judged["verdicts"][0], remedy["verdict"], "{number}");
        }
    }
    assert!(count > 5);
}

#[cfg(unix)]
#[test]
fn verif_applying_keeps_links_and_permissions_and_shows_the_lines() {
    use std::os::unix::fs::{PermissionsExt, symlink};
    let demo = demo("gannet-stack", false);
    fs::set_permissions(&demo.plan, fs::Permissions::from_mode(0o640)).unwrap();
    let link = demo.folder.path().join("link.toml");
    symlink(&demo.plan, &link).unwrap();
    let link = link.display().to_string();
    let output = run(&["remedy", &link, "--requirement", "voltage", "--apply", "1"]);
    expect_status(&output, 1);
    assert!(
        stdout(&output).contains("\n- conductor = \"0.75 mm2 class 5\" # what lay in the store\n+ conductor = \"1.5 mm2 class 5\" # what lay in the store\n"),
        "{}",
        stdout(&output)
    );
    assert!(
        fs::symlink_metadata(&link)
            .unwrap()
            .file_type()
            .is_symlink()
    );
    assert_eq!(
        fs::metadata(&demo.plan).unwrap().permissions().mode() & 0o777,
        0o640
    );
}

#[test]
fn verif_what_cannot_be_applied_leaves_the_plan_as_it_is() {
    let demo = demo("gannet-stack", false);
    let before = fs::read_to_string(&demo.plan).unwrap();
    let output = run(&["remedy", &demo.plan, "--apply", "99"]);
    expect_status(&output, 2);
    assert!(
        stderr(&output).contains("the numbers go from 1 to"),
        "{}",
        stderr(&output)
    );
    let output = run(&["remedy", &demo.plan, "--requirement", "voltag"]);
    expect_status(&output, 2);
    assert!(
        stderr(&output).contains("did you mean `voltage`?"),
        "{}",
        stderr(&output)
    );
    assert_eq!(fs::read_to_string(&demo.plan).unwrap(), before);
}

#[test]
fn verif_a_plan_that_holds_needs_nothing() {
    let demo = demo("reef-light", false);
    let output = run(&["remedy", &demo.plan]);
    expect_status(&output, 0);
    assert!(stdout(&output).contains("there is nothing to mend"));
    let output = run(&["remedy", &demo.plan, "--apply", "1"]);
    expect_status(&output, 2);
    let told = stderr(&output);
    assert!(told.contains("there is nothing to mend"), "{told}");
}

#[test]
fn verif_a_comparison_follows_parts_and_ends_as_the_second_plan() {
    let (a, b) = (demo("harrow-sound", false), demo("harrow-sound", false));
    let parts = b.folder.path().join("parts.toml").display().to_string();
    edit(
        &parts,
        "conductor = \"1.0 mm2 class 5\"",
        "conductor = \"0.5 mm2 class 5\"",
    );
    edit(&b.plan, "speed = \"0.3 m/s\"", "speed = \"30 cm/s\"");
    let output = run(&["compare", &a.plan, &b.plan]);
    let check = run(&["check", &b.plan]);
    assert_eq!(output.status.code(), check.status.code());
    let text = stdout(&output);
    assert!(
        text.contains("  part.line-cable\n    conductor: 1.0 mm2 class 5 -> 0.5 mm2 class 5"),
        "{text}"
    );
    assert!(text.contains("reaches span."), "{text}");
    assert!(
        text.contains("written otherwise and the same: case."),
        "{text}"
    );
    assert!(text.contains("site.current[1].speed"), "{text}");
    let json = run(&["--format", "json", "compare", &a.plan, &b.plan]);
    let told: Value = serde_json::from_str(&stdout(&json)).unwrap();
    assert_eq!(told["changed"].as_array().unwrap().len(), 1);
    let review = stdout(&run(&["--format", "markdown", "compare", &a.plan, &b.plan]));
    assert!(
        review.contains("| `part.line-cable.conductor` | 1.0 mm2 class 5 | 0.5 mm2 class 5 |"),
        "{review}"
    );
    let same = stdout(&run(&["compare", &a.plan, &a.plan]));
    assert!(
        same.contains("nothing that counts")
            && same.contains("Verdicts with another ruling\n  none"),
        "{same}"
    );
}

/// What can be judged is judged, on both sides.
#[test]
fn verif_plans_with_mistakes_are_compared_too() {
    let (a, b) = (demo("reef-light", false), demo("reef-light", false));
    edit(&b.plan, "voltage = \"375 V\"", "voltage = \"375 kg\"");
    let output = run(&["--format", "json", "compare", &a.plan, &b.plan]);
    expect_status(&output, 2);
    let told: Value = serde_json::from_str(&stdout(&output)).unwrap();
    assert_eq!(told["changed"][0]["to"]["mistake"], true);
    let words: Vec<&Value> = told["rulings"]
        .as_array()
        .unwrap()
        .iter()
        .map(|r| &r["after"]["ruling"])
        .collect();
    assert!(words.iter().any(|w| **w == "unknown"), "{words:?}");
    assert!(told["unchanged"].as_u64().unwrap() > 0);
    expect_status(&run(&["compare", &b.plan, &a.plan]), 0);
}

/// Of one typing error every requirement that both plans have is told once, as known and unknown, and the mistake once; the other way round
/// as well.
#[test]
fn verif_a_mistake_moves_each_requirement_once_and_is_named_once() {
    let (a, b) = (demo("harrow-sound", false), demo("harrow-sound", false));
    edit(
        &b.plan,
        "resistance = \"0.12 ohm\"",
        "resistance = \"0.12 ohn\"",
    );
    for (from, to, way) in [(&a, &b, "met -> unknown"), (&b, &a, "unknown -> met")] {
        let json = run(&["--format", "json", "compare", &from.plan, &to.plan]);
        let told: Value = serde_json::from_str(&stdout(&json)).unwrap();
        let rulings = told["rulings"].as_array().unwrap();
        let mut ids: Vec<&str> = Vec::new();
        for ruling in rulings {
            assert!(
                !ruling["before"].is_null() && !ruling["after"].is_null(),
                "{ruling}"
            );
            ids.push(ruling["requirement"].as_str().unwrap());
        }
        ids.sort_unstable();
        assert!(ids.windows(2).all(|w| w[0] != w[1]), "{ids:?}");
        let voltage = rulings
            .iter()
            .find(|r| r["requirement"] == "voltage")
            .unwrap();
        assert_eq!(voltage["stands_for"], 5);
        let text = stdout(&run(&["compare", &from.plan, &to.plan]));
        assert_eq!(
            text.matches("the plan has a mistake in supply.sun").count(),
            1,
            "{text}"
        );
        assert!(
            text.contains(&format!("{way}: voltage, all 5 subjects; ")),
            "{text}"
        );
        assert!(!text.contains("not there"), "{text}");
        let review = stdout(&run(&[
            "--format", "markdown", "compare", &from.plan, &to.plan,
        ]));
        assert_eq!(
            review.matches("a mistake in supply.sun").count(),
            1,
            "{review}"
        );
        assert!(!review.contains("not there"), "{review}");
    }
}

/// A subject that one plan does not have is told as not there, also where another is unknown in it.
#[test]
fn verif_a_subject_that_is_gone_is_not_taken_for_unknown() {
    let (a, b) = (demo("harrow-sound", false), demo("harrow-sound", false));
    edit(
        &b.plan,
        "resistance = \"0.12 ohm\"",
        "resistance = \"0.12 ohn\"",
    );
    let plan = fs::read_to_string(&b.plan).unwrap();
    let begins = plan.find("[requirement.winter-charge]").unwrap();
    let ends = begins + 1 + plan[begins + 1..].find("\n[").unwrap();
    fs::write(&b.plan, format!("{}{}", &plan[..begins], &plan[ends..])).unwrap();
    let text = stdout(&run(&["compare", &a.plan, &b.plan]));
    assert!(text.contains("met -> not there: winter-charge"), "{text}");
}

#[test]
fn verif_a_requirement_that_is_not_there_is_answered_with_those_that_are() {
    let demo = demo("cold-wake", false);
    let output = run(&["remedy", &demo.plan, "--requirement", "nix"]);
    expect_status(&output, 2);
    let said = stderr(&output);
    assert!(
        said.contains("the plan and its checks have start, "),
        "{said}"
    );
    assert!(said.contains("housing-depth"), "{said}");
}

#[test]
fn verif_markdown_is_written_by_compare_alone() {
    let demo = demo("reef-light", false);
    let output = run(&["--format", "markdown", "check", &demo.plan]);
    expect_status(&output, 2);
    assert!(stderr(&output).contains("only `compare` writes it"));
}
