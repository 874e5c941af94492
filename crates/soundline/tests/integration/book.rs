//! The first page and the book name what there is.

use std::fs;

use crate::support::{expect_status, repository, soundline, stdout};

fn page(name: &str) -> String {
    fs::read_to_string(repository(name)).unwrap()
}

#[test]
fn verif_every_method_page_is_named_in_the_book() {
    let book = page("docs/README.md");
    for entry in fs::read_dir(repository("docs/method")).unwrap() {
        let name = entry.unwrap().file_name().into_string().unwrap();
        assert!(book.contains(&format!("`method/{name}`")), "{name}");
    }
}

#[test]
fn verif_every_command_is_named_on_the_first_page() {
    let output = soundline().arg("--help").output().unwrap();
    expect_status(&output, 0);
    let help = stdout(&output);
    let (_, commands) = help.split_once("Commands:\n").unwrap();
    let commands: Vec<&str> = commands
        .lines()
        .take_while(|line| !line.is_empty())
        .filter(|line| line.starts_with("  ") && !line.starts_with("   "))
        .filter_map(|line| line.split_whitespace().next())
        .filter(|command| *command != "help")
        .collect();
    assert!(commands.len() > 10, "{commands:?}");
    let first = page("README.md");
    for command in commands {
        assert!(first.contains(&format!("soundline {command}")), "{command}");
    }
}

#[test]
fn verif_the_first_page_counts_the_examples() {
    const WORDS: [&str; 10] = [
        "Five", "Six", "Seven", "Eight", "Nine", "Ten", "Eleven", "Twelve", "Thirteen", "Fourteen",
    ];
    let folders = fs::read_dir(repository("plans")).unwrap();
    let plans = folders.filter(|f| f.as_ref().unwrap().path().join("plan.toml").is_file());
    let word = WORDS[plans.count() - 5];
    assert!(
        page("README.md").contains(&format!("{word} examples")),
        "{word}"
    );
}
