//! `check`: verdicts, exit status, evidence.

use std::fs;
use std::process::Command;

use serde_json::Value;

use crate::support::{demo, edit, expect_status, only_evidence, run, soundline, stderr, stdout};

fn ruling<'v>(verdicts: &'v Value, id: &str) -> &'v str {
    verdicts["requirements"]
        .as_array()
        .unwrap()
        .iter()
        .find(|r| r["id"] == id)
        .unwrap()["ruling"]
        .as_str()
        .unwrap()
}

fn json_of(plan: &str, status: i32) -> Value {
    let output = run(&["--format", "json", "check", plan]);
    expect_status(&output, status);
    let told: Value = serde_json::from_str(&stdout(&output)).unwrap();
    let words = ["met", "broken", "unusable", "unknown"];
    assert_eq!(told["status"], words[usize::try_from(status).unwrap()]);
    let judged = |list: &str| told[list].as_array().unwrap().clone();
    for word in ["met", "marginal", "broken", "unknown"] {
        let all = [judged("requirements"), judged("standing")].concat();
        let count = all.iter().filter(|r| r["ruling"] == word).count();
        assert_eq!(told["counts"][word], count, "{word}");
    }
    told
}

/// A quick check of a plan that is met ends with 3 and calls provisional what rests on years that it has not counted, in text and in
/// JSON; a broken one with 1 both ways.
#[test]
fn verif_a_quick_check_is_taken_for_no_full_one() {
    let demo = demo("harrow-sound", true);
    expect_status(&run(&["check", &demo.plan]), 0);
    let output = run(&["check", &demo.plan, "--quick"]);
    expect_status(&output, 3);
    let text = stdout(&output);
    for told in [
        "QUICK CHECK, PROVISIONAL: 2 requirements rest on fewer years than asked for",
        "provisional  winter (shall)",
        "supply.sun: so far met, 0 h a year",
        "by 30 of 299 years",
        "0 unknown, 2 provisional;",
    ] {
        assert!(text.contains(told), "{told}\n{text}");
    }

    let json = |args: &[&str]| -> Value {
        let output = run(&[&["--format", "json", "check", &demo.plan], args].concat());
        serde_json::from_str(&stdout(&output)).unwrap()
    };
    let (quick, full) = (json(&["--quick"]), json(&[]));
    assert_eq!(
        (&quick["tier"], &full["tier"]),
        (&"quick".into(), &"full".into())
    );
    assert_eq!(quick["status"], "unknown");
    assert_eq!(
        (
            &quick["counts"]["provisional"],
            &full["counts"]["provisional"]
        ),
        (&2.into(), &0.into())
    );
    assert_eq!(ruling(&quick, "winter"), "provisional");
    let all = quick["requirements"].as_array().unwrap();
    let winter = all.iter().find(|r| r["id"] == "winter").unwrap();
    let verdict = &winter["verdicts"][0];
    assert_eq!(verdict["so_far"]["ruling"], "met");
    assert_eq!(verdict["so_far"]["years"], 30);
    assert_eq!(verdict["so_far"]["of_years"], 299);
    assert!(verdict["evidence"].is_null(), "{verdict}");

    edit(&demo.plan, "capacity = \"240 Ah\"", "capacity = \"40 Ah\"");
    expect_status(&run(&["check", &demo.plan, "--quick"]), 1);
    expect_status(&run(&["check", &demo.plan]), 1);
}

/// 0 when all is met; the JSON names its format, its plan, and for each verdict value, limit, margin, evidence and why.
#[test]
fn verif_both_examples_are_met_and_their_json_is_whole() {
    for name in ["harrow-sound", "pile-watch"] {
        let demo = demo(name, true);
        let verdicts = json_of(&demo.plan, 0);
        assert_eq!(verdicts["format"], "verdicts/1");
        assert_eq!(verdicts["plan_digest"].as_str().unwrap().len(), 64);
        assert!(verdicts["mistakes"].as_array().unwrap().is_empty());
        let requirements = verdicts["requirements"].as_array().unwrap();
        assert!(requirements.len() >= 6);
        for verdict in requirements
            .iter()
            .flat_map(|r| r["verdicts"].as_array().unwrap())
        {
            for figure in ["value", "limit", "margin"] {
                assert!(verdict[figure]["value"].is_number(), "{verdict}");
                assert!(verdict[figure]["unit"].is_string(), "{verdict}");
            }
            assert!(verdict["evidence"]["kind"].is_string(), "{verdict}");
            assert!(verdict["why"].as_str().is_some_and(|w| !w.is_empty()));
        }
    }
}

/// 44.64 EUR: at 0.12 EUR each 11 messages a day for 30 days and as many as a day allows that came in the 2 h before, after which they expire; a heartbeat a day, and one that waited.
/// `(11 * 31 + 31) * 0.12`.
#[test]
fn val_the_cost_of_the_example_is_its_arithmetic() {
    let demo = demo("harrow-sound", true);
    let output = run(&["check", &demo.plan]);
    expect_status(&output, 0);
    assert!(stdout(&output).contains("44.64 EUR"), "{}", stdout(&output));
}

#[test]
fn verif_without_evidence_the_rehearsed_requirement_is_unknown() {
    let demo = demo("harrow-sound", false);
    let verdicts = json_of(&demo.plan, 3);
    assert_eq!(ruling(&verdicts, "night"), "unknown");
    assert_eq!(ruling(&verdicts, "voltage"), "met");
}

/// The command that the unknown verdict names does what it says from where the user stands, whatever the path.
#[test]
fn verif_the_command_of_an_unknown_rehearsal_works_as_it_is_printed() {
    let demo = demo("harrow-sound", false);
    let root = tempfile::tempdir().unwrap();
    let folder = root.path().join("a line's plan");
    fs::rename(demo.folder.path(), &folder).unwrap();
    let check = || {
        let output = soundline()
            .current_dir(root.path())
            .args(["--format", "json", "check", "a line's plan/plan.toml"])
            .output()
            .unwrap();
        serde_json::from_str::<Value>(&stdout(&output)).unwrap()
    };
    let verdicts = check();
    let night = verdicts["requirements"]
        .as_array()
        .unwrap()
        .iter()
        .find(|r| r["id"] == "night")
        .unwrap();
    let why = night["verdicts"][0]["why"].as_str().unwrap();
    let command = why.split('`').nth(1).unwrap();
    let output = soundline()
        .current_dir(root.path())
        .args(["check", "a line's plan/plan.toml"])
        .output()
        .unwrap();
    assert!(stdout(&output).contains(command), "{}", stdout(&output));
    let program = soundline().get_program().to_str().unwrap().to_owned();
    let output = Command::new("sh")
        .current_dir(root.path())
        .args(["-c", &command.replacen("soundline", &program, 1)])
        .output()
        .unwrap();
    expect_status(&output, 0);
    assert_eq!(ruling(&check(), "night"), "met");
}

/// Another length of the rope is another line: the record beside the plan says nothing about it.
#[test]
fn verif_after_an_edit_of_the_plan_the_evidence_is_stale() {
    let demo = demo("harrow-sound", true);
    edit(&demo.plan, "length = \"92 m\"", "length = \"91.9 m\"");
    let output = run(&["check", &demo.plan]);
    expect_status(&output, 3);
    assert!(
        stdout(&output).contains("has changed since"),
        "{}",
        stdout(&output)
    );
}

/// A comment changes no value: the evidence stays fresh.
#[test]
fn verif_a_comment_leaves_the_evidence_fresh() {
    let demo = demo("harrow-sound", true);
    edit(&demo.plan, "[deployment]", "# a remark\n[deployment]");
    expect_status(&run(&["check", &demo.plan]), 0);
}

#[test]
fn verif_a_broken_requirement_gives_status_1_and_a_broken_should_does_not() {
    let demo = demo("harrow-sound", true);
    edit(
        &demo.plan,
        "at_most = \"50 EUR\"",
        "at_most = \"43.19 EUR\"",
    );
    let verdicts = json_of(&demo.plan, 1);
    assert_eq!(ruling(&verdicts, "budget"), "broken");
    edit(
        &demo.plan,
        "that = \"uplink-cost\"",
        "that = \"uplink-cost\"\nmust = \"should\"",
    );
    // No rehearsal reads what is required, so that nothing is unknown either.
    let verdicts = json_of(&demo.plan, 0);
    assert_eq!(ruling(&verdicts, "budget"), "broken");
}

/// What does not read the bad part is still judged.
#[test]
fn verif_a_mistake_gives_status_2_and_leaves_the_other_verdicts() {
    let demo = demo("harrow-sound", true);
    edit(&demo.plan, "voltage = \"24 V\"", "voltage = \"24 kg\"");
    let output = run(&["check", &demo.plan]);
    expect_status(&output, 2);
    assert!(stderr(&output).contains("24 kg"), "{}", stderr(&output));
    assert!(stdout(&output).contains("44.64 EUR"), "{}", stdout(&output));
    let verdicts = json_of(&demo.plan, 2);
    assert_eq!(ruling(&verdicts, "voltage"), "unknown");
    assert_eq!(ruling(&verdicts, "budget"), "met");
    assert_eq!(ruling(&verdicts, "prompt-lamp"), "met");
    assert!(!verdicts["mistakes"].as_array().unwrap().is_empty());
}

#[test]
fn verif_a_plan_that_is_not_there_gives_status_2() {
    let output = run(&["check", "no/such/plan.toml"]);
    expect_status(&output, 2);
    assert!(stderr(&output).contains("no/such/plan.toml"));
}

/// A record that cannot be read is named and counts as none.
#[test]
fn verif_evidence_that_cannot_be_read_is_a_warning() {
    let demo = demo("harrow-sound", true);
    let folder = demo.folder.path().join("plan.evidence");
    fs::write(folder.join("broken.json"), "{ \"format\": 1").unwrap();
    let output = run(&["check", &demo.plan]);
    expect_status(&output, 0);
    let said = stderr(&output);
    assert!(
        said.contains("warning") && said.contains("broken.json"),
        "{said}"
    );
    fs::remove_file(folder.join("broken.json")).unwrap();
    fs::write(only_evidence(&demo), "[]").unwrap();
    expect_status(&run(&["check", &demo.plan]), 3);
}

/// Something else where the folder of evidence should be: said, and nothing counts as evidence.
#[test]
fn verif_a_folder_of_evidence_that_cannot_be_listed_is_a_warning() {
    let demo = demo("harrow-sound", false);
    fs::write(demo.folder.path().join("plan.evidence"), "no folder").unwrap();
    let output = run(&["check", &demo.plan]);
    expect_status(&output, 3);
    let said = stderr(&output);
    assert!(
        said.contains("warning") && said.contains("plan.evidence"),
        "{said}"
    );
}

/// In JSON a mistake is told once, in the document, with its code, place and help; standard error stays empty.
#[test]
fn verif_mistakes_are_part_of_the_json() {
    let demo = demo("pile-watch", true);
    edit(&demo.plan, "format = 1", "format = 1\ncolour = \"red\"");
    let output = run(&["--format", "json", "check", &demo.plan]);
    expect_status(&output, 2);
    assert_eq!(stderr(&output), "");
    let verdicts: Value = serde_json::from_str(&stdout(&output)).unwrap();
    let mistakes = verdicts["mistakes"].as_array().unwrap();
    assert_eq!(mistakes.len(), 1);
    let told = &mistakes[0];
    assert_eq!(told["code"], "unknown-key");
    assert_eq!(told["severity"], "error");
    assert!(told["file"].as_str().unwrap().ends_with("plan.toml"));
    assert!(told["message"].is_string() && told["help"].is_string());
    let number = |key: &str| told[key].as_u64().unwrap() as usize;
    let text = fs::read_to_string(&demo.plan).unwrap();
    assert_eq!(&text[number("begin_byte")..number("end_byte")], "colour");
    let line = text.lines().nth(number("line") - 1).unwrap();
    assert!(line[number("column") - 1..].starts_with("colour"), "{line}");
    let drawn = stderr(&run(&["check", &demo.plan]));
    assert!(
        drawn.contains("unknown-key") && drawn.contains("colour"),
        "{drawn}"
    );
}

/// A plan without a text: what it is, where, and what to do; nothing is drawn, and no verdicts follow.
#[test]
fn verif_a_plan_that_cannot_be_read_is_told_in_a_sentence() {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name).display().to_string();
    fs::write(at("latin.toml"), b"format = 1\n# H\xe9braut\n").unwrap();
    fs::write(at("wide.toml"), b"\xff\xfef\0o\0").unwrap();
    fs::write(at("huge.toml"), "# filling\n".repeat(1024 * 1024)).unwrap();
    for (name, why, help) in [
        ("latin.toml", "line 2 holds the byte 0xE9", "UTF-8"),
        ("wide.toml", "UTF-8", "UTF-16"),
        ("huge.toml", "larger than 2 MiB", "right file"),
        ("missing.toml", "no such file", "soundline new"),
        ("none/plan.toml", "no such file", "no folder"),
        ("", "a folder", "plan.toml"),
    ] {
        let path = at(name);
        for args in [
            &["check", &path][..],
            &["rehearse", &path, "cues.toml"],
            &["listen", &path, "x.wav"],
        ] {
            let output = run(args);
            expect_status(&output, 2);
            assert_eq!(stdout(&output), "", "{args:?}");
            let said = stderr(&output);
            let rows: Vec<&str> = said.lines().collect();
            assert_eq!(rows.len(), 2, "{said}");
            assert!(rows[0].contains(&path) && rows[0].contains(why), "{said}");
            assert!(rows[1].contains("help") && rows[1].contains(help), "{said}");

            let output = run(&[args, &["--format", "json"]].concat());
            expect_status(&output, 2);
            let told: Value = serde_json::from_str(&stdout(&output)).unwrap();
            assert_eq!(told["format"], "failure/1");
            assert!(told["error"].as_str().unwrap().contains(why), "{told}");
            assert_eq!(told["mistakes"].as_array().unwrap().len(), 1);
        }
    }
}
