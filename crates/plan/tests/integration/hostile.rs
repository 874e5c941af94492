//! Texts that nobody meant: reading never panics, and says something of what it cannot use.

use proptest::prelude::*;

use crate::support::{CUES, Files, SMALL};

fn read(bytes: Vec<u8>) {
    let files = Files::one(bytes.clone()).with("cues.toml", bytes);
    let reading = files.read();
    let drawn = plan::render(&reading.mistakes, &reading.sources, plan::Drawing::Ascii);
    assert_eq!(reading.mistakes.is_empty(), drawn.trim().is_empty());
    let small = Files::one(SMALL).with("cues.toml", CUES).read();
    let cues = files.read_cues(&small);
    let drawn = plan::render(&cues.mistakes, &cues.sources, plan::Drawing::Terminal);
    assert_eq!(cues.mistakes.is_empty(), drawn.trim().is_empty());
}

#[test]
fn verif_deep_nesting_is_refused_without_a_crash() {
    for open in ["[", "{a=", "[[", "a=[{b="] {
        read(format!("x = {}", open.repeat(10_000)).into_bytes());
    }
    read("a.".repeat(5_000).into_bytes());
    read(format!("[{}x]", "a.".repeat(5_000)).into_bytes());
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn verif_any_bytes_are_read_without_a_crash(bytes in prop::collection::vec(any::<u8>(), 0..400)) {
        read(bytes);
    }

    #[test]
    fn verif_a_bent_plan_is_read_without_a_crash(at in 0..SMALL.len(), cut in 0usize..40, put in "\\PC{0,12}") {
        let mut bytes = SMALL.as_bytes().to_vec();
        let end = (at + cut).min(bytes.len());
        bytes.splice(at..end, put.bytes());
        read(bytes);
    }

    #[test]
    fn verif_a_bent_value_is_read_without_a_crash(which in 0usize..200, put in prop::sample::select(vec![
        "\"1e999 m\"", "\"-0 m\"", "\"NaN m\"", "99999999999999999999", "-9223372036854775808", "1e400", "inf", "nan", "[]", "{}", "\"\"",
        "\"\u{202e}85 m\"", "\"85 \u{3bc}m\"", "9999-12-31", "0000-01-01", "2027-02-30", "true", "[[[]]]",
    ])) {
        let lines: Vec<&str> = SMALL.lines().collect();
        let which = which % lines.len();
        let text: Vec<String> = lines
            .iter()
            .enumerate()
            .map(|(i, line)| match line.split_once(" = ") {
                Some((key, _)) if i == which => format!("{key} = {put}"),
                _ => (*line).to_owned(),
            })
            .collect();
        read(text.join("\n").into_bytes());
    }
}
