//! Outputs are whole or absent, and nothing is lost unasked.

use std::fs;
use std::io::{self, Write};

use report::{OutputError, Overwrite, write_atomically, write_atomically_with};

fn names(folder: &std::path::Path) -> Vec<String> {
    let mut names: Vec<String> = fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    names.sort();
    names
}

#[test]
fn verif_refuse_leaves_the_file_and_force_replaces_it() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("levels.png");
    write_atomically(&path, b"first", Overwrite::Refuse).unwrap();
    assert_eq!(fs::read(&path).unwrap(), b"first");

    let refused = write_atomically(&path, b"second", Overwrite::Refuse);
    assert!(matches!(&refused, Err(OutputError::Exists { path: p }) if *p == path));
    assert!(refused.unwrap_err().to_string().contains("levels.png"));
    assert_eq!(fs::read(&path).unwrap(), b"first");

    write_atomically(&path, b"second", Overwrite::Force).unwrap();
    assert_eq!(fs::read(&path).unwrap(), b"second");
    assert_eq!(names(folder.path()), ["levels.png"]);
}

#[test]
fn verif_a_failing_writer_leaves_nothing_behind() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("levels.png");
    let fail = |file: &mut dyn Write| {
        file.write_all(&[7; 100_000])?;
        Err(io::Error::other("the source ran dry"))
    };
    for overwrite in [Overwrite::Refuse, Overwrite::Force] {
        let outcome = write_atomically_with(&path, overwrite, fail);
        assert!(matches!(
            outcome,
            Err(OutputError::Io {
                action: "write",
                ..
            })
        ));
        assert!(names(folder.path()).is_empty());
    }

    fs::write(&path, b"former").unwrap();
    let outcome = write_atomically_with(&path, Overwrite::Force, fail);
    assert!(outcome.is_err());
    assert_eq!(fs::read(&path).unwrap(), b"former");
    assert_eq!(names(folder.path()), ["levels.png"]);
}

#[test]
fn verif_a_file_that_appears_while_writing_is_left() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("levels.png");
    let outcome = write_atomically_with(&path, Overwrite::Refuse, |file| {
        fs::write(&path, b"someone else's")?;
        file.write_all(b"ours")
    });
    assert!(matches!(outcome, Err(OutputError::Exists { .. })));
    assert_eq!(fs::read(&path).unwrap(), b"someone else's");
    assert_eq!(names(folder.path()), ["levels.png"]);
}

#[test]
fn verif_folders_and_missing_folders_are_named() {
    let folder = tempfile::tempdir().unwrap();
    let onto = write_atomically(folder.path(), b"x", Overwrite::Force);
    assert!(matches!(onto, Err(OutputError::Folder { .. })));
    let below = folder.path().join("absent").join("levels.png");
    let outcome = write_atomically(&below, b"x", Overwrite::Refuse);
    assert!(matches!(&outcome, Err(OutputError::Io { path, .. }) if *path == below));
    assert!(names(folder.path()).is_empty());
}
