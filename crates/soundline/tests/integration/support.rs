//! Running the program.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::sync::Mutex;

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

/// A copy of an example that may be changed.
pub(crate) struct Demo {
    pub(crate) folder: tempfile::TempDir,
    pub(crate) plan: String,
}

/// Copies an example of the repository, with the evidence that its own rehearsal leaves or without.
pub(crate) fn demo(name: &str, with_evidence: bool) -> Demo {
    let folder = tempfile::tempdir().unwrap();
    let plan = folder.path().join("plan.toml").display().to_string();
    let demo = Demo { folder, plan };
    copy(&repository(&format!("plans/{name}")), demo.folder.path());
    if with_evidence {
        let evidence = demo.folder.path().join("plan.evidence");
        std::fs::create_dir(&evidence).unwrap();
        copy(&rehearsed(name), &evidence);
    }
    demo
}

/// The one record of evidence that lies beside the plan of a copy.
pub(crate) fn only_evidence(demo: &Demo) -> PathBuf {
    only_file(&demo.folder.path().join("plan.evidence"))
}

/// The one file of a folder.
pub(crate) fn only_file(folder: &Path) -> PathBuf {
    let mut all = std::fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().path());
    let record = all.next().unwrap();
    assert_eq!(all.next(), None);
    record
}

/// The evidence folder of an example, rehearsed once for all checks.
fn rehearsed(name: &str) -> PathBuf {
    static ALL: Mutex<BTreeMap<String, Demo>> = Mutex::new(BTreeMap::new());
    let mut all = ALL.lock().unwrap();
    let kept = all.entry(name.to_owned()).or_insert_with(|| {
        let demo = demo(name, false);
        for cues in std::fs::read_dir(demo.folder.path().join("cues")).unwrap() {
            let cues = cues.unwrap().path().display().to_string();
            let output = run(&["rehearse", &demo.plan, &cues]);
            expect_status(&output, 0);
        }
        demo
    });
    kept.folder.path().join("plan.evidence")
}

/// All of a folder but evidence.
pub(crate) fn copy(from: &Path, to: &Path) {
    for entry in std::fs::read_dir(from).unwrap() {
        let entry = entry.unwrap();
        let target = to.join(entry.file_name());
        if !entry.file_type().unwrap().is_dir() {
            std::fs::copy(entry.path(), target).unwrap();
        } else if entry.file_name() != "plan.evidence" {
            std::fs::create_dir(&target).unwrap();
            copy(&entry.path(), &target);
        }
    }
}

/// Changes a text of a file; it must be there.
#[track_caller]
pub(crate) fn edit(path: &str, from: &str, to: &str) {
    let text = std::fs::read_to_string(path).unwrap();
    assert!(text.contains(from), "`{from}` is not in {path}");
    std::fs::write(path, text.replace(from, to)).unwrap();
}
