//! The page about routines says what there is, and its example runs.

use routine::{Call, Deed, FUNCTIONS, Given, LIMITS, Memory, Program};

use crate::support::binding;

const PAGE: &str = include_str!("../../../../docs/guide/routines.md");

#[test]
fn verif_the_example_of_the_page_runs() {
    let (_, rest) = PAGE.split_once("```rhai\n").unwrap();
    let (text, _) = rest.split_once("```").unwrap();
    let program = Program::new(text, &binding()).unwrap();
    let mut memory = Memory::default();
    let event = |level: f64| {
        let number = |name: &str, x| (name.to_owned(), Given::Number(x));
        let mut event = vec![number("level", level), number("length", 1.0)];
        event.push(("begin".to_owned(), Given::Whole(1)));
        Call::Heard(event)
    };
    assert_eq!(program.run(&mut memory, &event(120.0), None).deeds, []);
    let loud = program.run(&mut memory, &event(140.0), None);
    assert_eq!((loud.deeds.len(), loud.fault), (2, None));
    let tally = program.run(&mut memory, &Call::Each, None);
    // 10 log10((10^12 + 10^14) / 2) = 137.03.
    let text = "2 heard, mean 137.0 dB".to_owned();
    assert_eq!((tally.deeds, tally.fault), (vec![Deed::Log { text }], None));
}

#[test]
fn verif_the_page_names_every_function_and_limit() {
    let words: Vec<&str> = PAGE
        .split(|c: char| !(c.is_alphanumeric() || c == '_'))
        .collect();
    for name in FUNCTIONS {
        assert!(words.contains(name), "{name}");
    }
    let limits = [
        LIMITS.operations as usize,
        LIMITS.call_levels,
        LIMITS.expression_depth,
        LIMITS.functions,
        LIMITS.variables,
        LIMITS.text_bytes,
        LIMITS.items,
        LIMITS.entries,
        LIMITS.deeds,
        LIMITS.log_characters,
        LIMITS.memory_bytes,
        LIMITS.source_bytes,
    ];
    let (_, table) = PAGE.split_once("## Limits").unwrap();
    let told: Vec<usize> = table
        .lines()
        .filter_map(|l| l.rsplit('|').nth(1)?.trim().parse().ok())
        .collect();
    assert_eq!(told, limits);
}
