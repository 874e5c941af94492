//! The frame: help, version, exit status, schema, completions, a reader that goes away.

use std::fs;
use std::process::Stdio;

use crate::support::{expect_status, repository, run, soundline, stderr, stdout};

#[test]
fn verif_version_is_that_of_the_package() {
    let output = run(&["--version"]);
    expect_status(&output, 0);
    assert_eq!(
        stdout(&output),
        format!("soundline {}\n", env!("CARGO_PKG_VERSION"))
    );
}

#[test]
fn verif_help_names_every_command_and_exit_status() {
    let output = run(&["--help"]);
    expect_status(&output, 0);
    let help = stdout(&output);
    for word in ["schema", "completions", "--format", "--color", "130"] {
        assert!(help.contains(word), "{word} is missing in\n{help}");
    }
}

#[test]
fn verif_unknown_arguments_give_status_2_and_a_hint() {
    let output = run(&["shcema"]);
    expect_status(&output, 2);
    assert!(stderr(&output).contains("schema"), "{}", stderr(&output));
    assert!(output.stdout.is_empty());
}

#[test]
fn verif_committed_schemas_are_those_of_the_program() {
    for kind in ["plan", "cues"] {
        let output = run(&["schema", kind]);
        expect_status(&output, 0);
        let path = format!("docs/schema/{kind}.schema.json");
        let kept = fs::read_to_string(repository(&path)).unwrap_or_default();
        assert!(
            kept == stdout(&output),
            "{path} is out of date; renew it with\n  cargo run -p soundline -- schema {kind} > {path}"
        );
    }
}

#[test]
fn verif_completions_exist_for_each_shell() {
    for shell in ["bash", "zsh", "fish", "elvish", "powershell"] {
        let output = run(&["completions", shell]);
        expect_status(&output, 0);
        assert!(stdout(&output).contains("completions"), "{shell}");
    }
}

#[test]
fn verif_a_reader_that_goes_away_is_no_panic() {
    for args in [
        &["schema", "plan"][..],
        &["completions", "bash"],
        &["--help"],
    ] {
        let (reader, writer) = std::io::pipe().unwrap();
        drop(reader);
        let output = soundline()
            .args(args)
            .stdout(writer)
            .stderr(Stdio::piped())
            .spawn()
            .unwrap()
            .wait_with_output()
            .unwrap();
        assert_eq!(stderr(&output), "", "{args:?}");
        assert!(output.status.code().is_some(), "{args:?} died by a signal");
    }
}
