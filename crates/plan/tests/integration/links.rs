//! Included files that are links: they stay in the plan's folder by their real path.

#![expect(
    clippy::unwrap_used,
    reason = "helpers of checks may fail like the checks themselves"
)]

use std::fs;
use std::os::unix::fs::symlink;
use std::path::Path;

use plan::{Code, Reading, from_folder_of, read};

use crate::support::SMALL;

fn read_at(path: &Path) -> Reading {
    read(path, &from_folder_of(path))
}

/// A plan that includes a file, in the folder `home` beside which another folder lies.
fn including(folder: &Path, include: &str) {
    fs::create_dir(folder.join("home")).unwrap();
    fs::create_dir(folder.join("away")).unwrap();
    fs::write(folder.join("away/parts.toml"), "format = 1\n").unwrap();
    let text = SMALL.replacen(
        "format = 1\n",
        &format!("format = 1\ninclude = [\"{include}\"]\n"),
        1,
    );
    fs::write(folder.join("home/plan.toml"), text).unwrap();
}

#[track_caller]
fn refused(reading: &Reading, include: &str) {
    let mistake = reading.mistakes.iter().find(|m| m.is_error()).unwrap();
    assert_eq!(
        (mistake.code, mistake.part.as_str()),
        (Code::Unreadable, "include")
    );
    assert!(mistake.message.contains(include), "{}", mistake.message);
    assert!(
        mistake.message.contains("leads out of the plan's folder"),
        "{}",
        mistake.message
    );
    let text = &reading.sources.get(mistake.site.file).text[mistake.site.range()];
    assert_eq!(text, format!("\"{include}\""));
    // Nothing of the file has been read.
    assert!(
        reading
            .sources
            .iter()
            .all(|(_, s)| !s.path.ends_with(include) || s.text.is_empty())
    );
}

#[test]
fn verif_a_linked_file_outside_the_folder_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    including(folder.path(), "parts.toml");
    symlink("../away/parts.toml", folder.path().join("home/parts.toml")).unwrap();
    refused(
        &read_at(&folder.path().join("home/plan.toml")),
        "parts.toml",
    );
}

#[test]
fn verif_a_file_in_a_linked_folder_outside_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    including(folder.path(), "sub/parts.toml");
    symlink("../away", folder.path().join("home/sub")).unwrap();
    refused(
        &read_at(&folder.path().join("home/plan.toml")),
        "sub/parts.toml",
    );
}

/// A folder whose name begins like that of the plan's is another folder.
#[test]
fn verif_a_folder_with_a_longer_name_is_outside() {
    let folder = tempfile::tempdir().unwrap();
    including(folder.path(), "parts.toml");
    fs::rename(folder.path().join("away"), folder.path().join("home-too")).unwrap();
    symlink(
        "../home-too/parts.toml",
        folder.path().join("home/parts.toml"),
    )
    .unwrap();
    refused(
        &read_at(&folder.path().join("home/plan.toml")),
        "parts.toml",
    );
}

/// A link within the folder is as good as the file; and the folder itself may be reached by a link.
#[test]
fn verif_a_link_that_stays_in_the_folder_is_taken() {
    let folder = tempfile::tempdir().unwrap();
    including(folder.path(), "parts.toml");
    fs::write(folder.path().join("home/real.toml"), "format = 1\n").unwrap();
    symlink("real.toml", folder.path().join("home/parts.toml")).unwrap();
    symlink("home", folder.path().join("door")).unwrap();
    for path in ["home/plan.toml", "door/plan.toml"] {
        let reading = read_at(&folder.path().join(path));
        assert!(!reading.has_errors(), "{path}: {:?}", reading.mistakes);
        assert_eq!(reading.sources.iter().count(), 2);
    }
}
