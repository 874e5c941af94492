//! Command lines that a user may copy into a shell.

use std::path::Path;

/// The command line that rehearses a cue sheet.
pub fn rehearse_line(plan: &Path, cues: &Path) -> String {
    format!(
        "soundline rehearse {} {}",
        shell_word(plan),
        shell_word(cues)
    )
}

/// A path as a word for a shell.
pub fn shell_word(path: &Path) -> String {
    let text = path.display().to_string();
    let plain = |c: char| c.is_alphanumeric() || "/._-+,@%:=".contains(c);
    if !text.is_empty() && text.chars().all(plain) {
        text
    } else {
        format!("'{}'", text.replace('\'', "'\\''"))
    }
}
