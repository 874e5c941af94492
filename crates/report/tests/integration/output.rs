//! Outputs are whole or absent, and nothing is lost unasked.

use std::fs;
use std::io::{self, Write};

use report::{Inputs, OutputError, Overwrite, write_atomically, write_atomically_with};

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
    write_atomically(&path, b"first", Overwrite::Refuse, &Inputs::none()).unwrap();
    assert_eq!(fs::read(&path).unwrap(), b"first");

    let refused = write_atomically(&path, b"second", Overwrite::Refuse, &Inputs::none());
    assert!(matches!(&refused, Err(OutputError::Exists { path: p }) if *p == path));
    assert!(refused.unwrap_err().to_string().contains("levels.png"));
    assert_eq!(fs::read(&path).unwrap(), b"first");

    write_atomically(&path, b"second", Overwrite::Force, &Inputs::none()).unwrap();
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
        let outcome = write_atomically_with(&path, overwrite, &Inputs::none(), fail);
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
    let outcome = write_atomically_with(&path, Overwrite::Force, &Inputs::none(), fail);
    assert!(outcome.is_err());
    assert_eq!(fs::read(&path).unwrap(), b"former");
    assert_eq!(names(folder.path()), ["levels.png"]);
}

#[test]
fn verif_a_file_that_appears_while_writing_is_left() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("levels.png");
    let outcome = write_atomically_with(&path, Overwrite::Refuse, &Inputs::none(), |file| {
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
    let onto = write_atomically(folder.path(), b"x", Overwrite::Force, &Inputs::none());
    assert!(matches!(onto, Err(OutputError::Folder { .. })));
    let below = folder.path().join("absent").join("levels.png");
    let outcome = write_atomically(&below, b"x", Overwrite::Refuse, &Inputs::none());
    assert!(matches!(&outcome, Err(OutputError::Io { path, .. }) if *path == below));
    assert!(names(folder.path()).is_empty());
}

/// An input is kept by whatever name the output goes: another spelling, a symbolic link to it, a hard link of it, and the
/// file itself where the input was named by a link.
#[test]
fn verif_an_input_is_never_replaced_by_any_of_its_names() {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name);
    fs::create_dir(at("sub")).unwrap();
    for name in ["sea.wav", "other.wav"] {
        fs::write(at(name), name).unwrap();
    }
    let mut names = vec![at("sea.wav"), at("sub/../sea.wav")];
    #[cfg(unix)]
    {
        std::os::unix::fs::symlink(at("sea.wav"), at("soft.wav")).unwrap();
        fs::hard_link(at("sea.wav"), at("hard.wav")).unwrap();
        names.extend([at("soft.wav"), at("hard.wav")]);
    }
    for input in &names {
        let inputs = Inputs::of([at("other.wav"), input.clone(), at("missing.wav")]);
        for output in &names {
            for overwrite in [Overwrite::Force, Overwrite::Refuse] {
                let refused = write_atomically(output, b"trace", overwrite, &inputs);
                assert!(
                    matches!(&refused, Err(OutputError::Input { path, input: i }) if path == output && i == input),
                    "{refused:?}"
                );
            }
        }
        write_atomically(&at("new.csv"), b"new", Overwrite::Force, &inputs).unwrap();
        write_atomically(&at("missing.wav"), b"new", Overwrite::Force, &inputs).unwrap();
        fs::remove_file(at("missing.wav")).unwrap();
    }
    assert_eq!(fs::read(at("sea.wav")).unwrap(), b"sea.wav");
}

/// What is no file is written to and stays what it is, with and without leave to replace: a pipe, and a device by a link.
#[cfg(unix)]
#[test]
fn verif_pipes_and_devices_are_written_to_and_stay() {
    use std::os::unix::fs::{FileTypeExt, symlink};
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name);
    let made = std::process::Command::new("mkfifo")
        .arg(at("pipe"))
        .status();
    assert!(made.unwrap().success());
    symlink("/dev/null", at("nothing")).unwrap();
    for overwrite in [Overwrite::Force, Overwrite::Refuse] {
        let pipe = at("pipe");
        let reader = std::thread::spawn(move || fs::read(pipe).unwrap());
        write_atomically(&at("pipe"), b"trace", overwrite, &Inputs::none()).unwrap();
        let kind = fs::symlink_metadata(at("pipe")).unwrap().file_type();
        assert!(kind.is_fifo());
        assert_eq!(reader.join().unwrap(), b"trace");

        write_atomically(&at("nothing"), b"trace", overwrite, &Inputs::none()).unwrap();
        let kind = fs::symlink_metadata(at("nothing")).unwrap().file_type();
        assert!(kind.is_symlink());
        assert_eq!(names(folder.path()), ["nothing", "pipe"]);
    }
    // A listener at a socket takes no output, and is not replaced by one.
    let _listens = std::os::unix::net::UnixListener::bind(at("socket")).unwrap();
    let refused = write_atomically(&at("socket"), b"x", Overwrite::Force, &Inputs::none());
    assert!(
        matches!(&refused, Err(OutputError::Io { action: "open", path, .. }) if *path == at("socket")),
        "{refused:?}"
    );
    let kind = fs::symlink_metadata(at("socket")).unwrap().file_type();
    assert!(kind.is_socket());
}
