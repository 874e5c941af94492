//! Reading the files that a command was given, and showing what is wrong with them.

use std::io;
use std::path::Path;

use plan::{Code, CueReading, Line, Mistake, Reading, Sources};
use report::Inputs;

use crate::failure::Failure;
use crate::out::{Format, Out};

/// Reads the plan at `path` from the disk.
///
/// # Errors
/// [`Failure::Unreadable`] when there is no text to read. What is wrong with the text is in the reading.
pub(crate) fn read(path: &Path, out: &mut Out) -> Result<Reading, Failure> {
    let reading = assess::read(path, &plan::from_folder_of(path));
    readable("plan", path, &reading.mistakes, &reading.sources, out)?;
    out.plan_digest = Some(reading.digest.clone());
    Ok(reading)
}

/// Reads the plan at `path` as [`read`] does, and shows all that is wrong with it.
///
/// # Errors
/// As [`read`].
pub(crate) fn read_and_show(path: &Path, out: &mut Out) -> Result<Reading, Failure> {
    let reading = read(path, out)?;
    show(reading.mistakes.iter(), &reading.sources, out)?;
    Ok(reading)
}

/// Reads the cue sheet at `path` from the disk, against its plan.
///
/// # Errors
/// As [`read`].
pub(crate) fn read_cues(path: &Path, plan: &Reading, out: &mut Out) -> Result<CueReading, Failure> {
    let read = plan::read_cues(path, plan, &plan::from_disk);
    readable("cue sheet", path, &read.mistakes, &read.sources, out)?;
    Ok(read)
}

/// The line of a plan without mistakes.
///
/// # Errors
/// [`Failure::Plan`] for a plan with a mistake, whose mistakes have been shown.
pub(crate) fn line<'r>(reading: &'r Reading, path: &Path) -> Result<&'r Line, Failure> {
    let whole = reading.line.as_ref().filter(|_| !reading.has_errors());
    whole.ok_or_else(|| Failure::Plan {
        path: path.display().to_string(),
    })
}

/// The files from which these texts came, which no output may replace.
pub(crate) fn inputs(sources: &Sources) -> Inputs {
    Inputs::of(sources.iter().map(|(_, source)| &source.path))
}

/// Shows mistakes and warnings: drawn on standard error or, in JSON, kept for the document. Gives their number.
pub(crate) fn show<'a>(
    mistakes: impl Iterator<Item = &'a Mistake>,
    sources: &Sources,
    out: &mut Out,
) -> io::Result<usize> {
    let shown: Vec<Mistake> = mistakes.cloned().collect();
    match out.format {
        Format::Text => {
            let drawn = plan::render(&shown, sources, out.drawing);
            out.stderr.write_all(drawn.as_bytes())?;
        }
        Format::Json => out.mistakes.extend(report::mistakes_json(&shown, sources)),
    }
    Ok(shown.len())
}

/// Shows what is wrong, and of the warnings those that do not belong to another sensor than these; without any, all.
pub(crate) fn show_about(
    reading: &Reading,
    sensors: &[String],
    out: &mut Out,
) -> io::Result<usize> {
    let of_another = |part: &str| {
        let of_one = part.split('.').nth(2) == Some("sensor");
        of_one && !sensors.is_empty() && sensors.iter().all(|own| part != own)
    };
    let about = |m: &&Mistake| m.is_error() || !m.parts().all(of_another);
    show(reading.mistakes.iter().filter(about), &reading.sources, out)
}

/// A file without a text has nothing to be drawn: what it is instead is said in a sentence.
fn readable(
    what: &'static str,
    path: &Path,
    mistakes: &[Mistake],
    sources: &Sources,
    out: &mut Out,
) -> Result<(), Failure> {
    let whole =
        |m: &&Mistake| m.part == "file" && matches!(m.code, Code::Unreadable | Code::TooLarge);
    let Some(mistake) = mistakes.iter().find(whole) else {
        return Ok(());
    };
    let (why, help) = reason(what, path, mistake);
    if out.format == Format::Json {
        let told = Mistake {
            message: format!("{}: {why}", path.display()),
            help: Some(help.clone()),
            ..mistake.clone()
        };
        out.mistakes.extend(report::mistakes_json(&[told], sources));
    }
    Err(Failure::Unreadable {
        what,
        path: path.display().to_string(),
        why,
        help,
    })
}

/// Why a file gives no text, and what to do.
fn reason(what: &str, path: &Path, mistake: &Mistake) -> (String, String) {
    let shown = path.display();
    if mistake.code == Code::TooLarge {
        let most = plan::LARGEST_FILE / 1024 / 1024;
        return (
            format!("it is larger than {most} MiB, the most that is read"),
            format!("is this the right file? A {what} is a text of some pages"),
        );
    }
    if path.is_dir() {
        return (
            "it is a folder".to_owned(),
            format!(
                "name the {what} in it, such as {}",
                path.join("plan.toml").display()
            ),
        );
    }
    match plan::from_disk(path) {
        Ok(bytes) => match String::from_utf8(bytes) {
            Ok(_) => (
                mistake.message.clone(),
                "it can be read now; try again".to_owned(),
            ),
            Err(error) => {
                let good = error.utf8_error().valid_up_to();
                let bytes = error.as_bytes();
                let line = 1 + bytes[..good].iter().filter(|b| **b == b'\n').count();
                let help = if bytes.starts_with(&[0xff, 0xfe]) || bytes.starts_with(&[0xfe, 0xff]) {
                    "it begins as UTF-16 does: save it as UTF-8 (editors call this the encoding)"
                } else {
                    "save it as UTF-8 (editors call this the encoding)"
                };
                (
                    format!(
                        "it is not UTF-8 text: line {line} holds the byte 0x{:02X} (byte {good} of the file)",
                        bytes[good]
                    ),
                    help.to_owned(),
                )
            }
        },
        Err(error) => match error.kind() {
            io::ErrorKind::NotFound => {
                let folder = path.parent().filter(|f| !f.as_os_str().is_empty());
                match folder.filter(|f| !f.is_dir()) {
                    Some(folder) => (
                        "there is no such file".to_owned(),
                        format!(
                            "there is no folder {} either: check the path",
                            folder.display()
                        ),
                    ),
                    None if what == "plan" => (
                        "there is no such file".to_owned(),
                        "check the name; `soundline new` writes a first plan".to_owned(),
                    ),
                    None => (
                        "there is no such file".to_owned(),
                        "check the name".to_owned(),
                    ),
                }
            }
            io::ErrorKind::PermissionDenied => (
                "you may not read it (permission denied)".to_owned(),
                format!("ask its owner, or let yourself read it: chmod u+r {shown}"),
            ),
            _ => (error.to_string(), "check the path".to_owned()),
        },
    }
}
