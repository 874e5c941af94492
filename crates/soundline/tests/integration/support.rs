//! Running the program.

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

/// The program, away from the settings of whoever runs the tests.
pub(crate) fn soundline() -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_soundline"));
    command.env_remove("NO_COLOR").env_remove("CLICOLOR_FORCE");
    command
}

/// Runs it with `args`.
pub(crate) fn run(args: &[&str]) -> Output {
    soundline().args(args).output().unwrap()
}

pub(crate) fn stdout(output: &Output) -> String {
    String::from_utf8(output.stdout.clone()).unwrap()
}

pub(crate) fn stderr(output: &Output) -> String {
    String::from_utf8(output.stderr.clone()).unwrap()
}

/// Fails with all that the program said when the exit status is another.
#[track_caller]
pub(crate) fn expect_status(output: &Output, status: i32) {
    assert_eq!(
        output.status.code(),
        Some(status),
        "standard output:\n{}\nstandard error:\n{}",
        stdout(output),
        stderr(output)
    );
}

/// A file of the repository.
pub(crate) fn repository(path: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("../..")
        .join(path)
}
