//! The first page shows what its commands print.

use std::fs;
use std::path::Path;
use std::process::Command;

use crate::support::{copy, repository, soundline};

/// What a command of the first page needs that is not here: a page to look at, a broker, fetched recordings (these are held in `real.rs`).
const ELSEWHERE: [&str; 3] = ["soundline desk", "--mqtt", "fetched/"];

/// The commands of the first page with the lines that stand under each.
fn shown() -> Vec<(String, Vec<String>)> {
    let page = fs::read_to_string(repository("README.md")).unwrap();
    let mut all: Vec<(String, Vec<String>)> = Vec::new();
    let mut in_block = false;
    for line in page.lines() {
        let Some(line) = line.strip_prefix("    ") else {
            in_block = in_block && line.is_empty();
            continue;
        };
        if let Some(command) = line.strip_prefix("$ ") {
            in_block = command.starts_with("soundline ");
            if in_block {
                all.push((command.to_owned(), Vec::new()));
            }
            continue;
        }
        let Some((command, lines)) = all.last_mut().filter(|_| in_block) else {
            continue;
        };
        match command.strip_suffix('\\') {
            Some(begun) => *command = format!("{begun}{}", line.trim_start()),
            None => lines.push(line.to_owned()),
        }
    }
    all
}

/// The words of a command line, of which some stand between quotation marks.
fn words(command: &str) -> Vec<String> {
    let mut all = Vec::new();
    for (i, part) in command.split('"').enumerate() {
        match i % 2 {
            0 => all.extend(part.split_whitespace().map(str::to_owned)),
            _ => all.push(part.to_owned()),
        }
    }
    all
}

fn run(folder: &Path, words: &[String]) -> String {
    let mut command: Command = soundline();
    let output = command.args(words).current_dir(folder).output().unwrap();
    let told = [output.stdout, output.stderr].concat();
    String::from_utf8(told).unwrap()
}

/// Every line that the page shows under a command is one that it prints, but for those that stand for others (`...`). One folder for all, as a reader has.
#[test]
fn verif_the_first_page_shows_what_commands_print() {
    let folder = tempfile::tempdir().unwrap();
    let plans = folder.path().join("plans");
    fs::create_dir(&plans).unwrap();
    copy(&repository("plans"), &plans);
    // The page shows a check of a plan that was rehearsed.
    let night = "rehearse plans/harrow-sound/plan.toml plans/harrow-sound/cues/ferry-night.toml";
    run(folder.path(), &words(night));
    let (mut commands, mut wrong) = (0, Vec::new());
    for (command, lines) in shown() {
        if ELSEWHERE.iter().any(|what| command.contains(what)) {
            continue;
        }
        commands += 1;
        let told = run(folder.path(), &words(&command)[1..]);
        let printed: Vec<&str> = told.lines().map(str::trim_end).collect();
        let others = lines
            .iter()
            .map(|l| l.trim_end())
            .filter(|l| !l.is_empty() && l.trim_start() != "..." && !printed.contains(l));
        wrong.extend(others.map(|line| format!("{command}: {line}")));
    }
    assert!(commands > 15, "{commands}");
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}
