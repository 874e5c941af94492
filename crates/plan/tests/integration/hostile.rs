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
    let deep = "a.".repeat(900_000);
    for text in [
        deep.clone(),
        format!("{deep}a = 1"),
        format!("[{deep}a]\nb = 1"),
        format!("x = {{ {deep}a = 1 }}"),
        format!("x = {{ s = '''\n\"''', {deep}a = 1 }}"),
        format!("x = {{ \"\\\"\" = 1, {deep}a = 1 }}"),
        format!("{}a = 1", "\"a\" . ".repeat(300_000)),
    ] {
        let reading = Files::one(text).read();
        assert_eq!(reading.mistakes[0].code, plan::Code::Syntax);
    }
}

/// Brackets that lie too deep are told at their place before anything walks them, in a plan, a part and a cue sheet alike; what is quoted of the line is short.
#[test]
fn verif_nested_brackets_are_refused_at_their_place() {
    for open in ["[", "{ a = "] {
        let deep = format!("# [[\nx = {}", open.repeat(200_000));
        let files = Files::one(deep.clone()).with("cues.toml", deep.clone());
        let small = Files::one(SMALL).read();
        let including = SMALL.replacen("format = 1", "format = 1\ninclude = [\"parts.toml\"]", 1);
        let part = Files::one(including).with("parts.toml", deep).read();
        let (plan, cues) = (files.read(), files.read_cues(&small));
        for (mistakes, sources) in [
            (&plan.mistakes, &plan.sources),
            (&cues.mistakes, &cues.sources),
            (&part.mistakes, &part.sources),
        ] {
            let told = mistakes.iter().find(|m| m.code == plan::Code::Syntax);
            let told = told.expect("the nesting is told");
            assert!(told.message.contains("64 brackets"), "{}", told.message);
            let (line, column) = sources.line_column(told.site);
            assert_eq!((line, column), (2, 5 + 64 * open.len()));
            let drawn = plan::render(std::slice::from_ref(told), sources, plan::Drawing::Ascii);
            assert!(drawn.len() < 2000, "{drawn}");
        }
    }
}

/// Of a long line only what stands around the place is quoted; the column is that of the whole line.
#[test]
fn verif_a_long_line_is_cut_around_its_place() {
    let layers = "\"udp\", ".repeat(500) + "\"ipv8\"";
    let text = SMALL.replacen("\"ipv6\"", &layers, 1);
    let reading = Files::one(text).read();
    let told = &reading.mistakes[0];
    assert_eq!(told.code, plan::Code::UnknownWord);
    let (line, column) = reading.sources.line_column(told.site);
    assert!(column > 3500, "{column}");
    let sources = &reading.sources;
    let drawn = plan::render(&reading.mistakes[..1], sources, plan::Drawing::Ascii);
    assert!(
        drawn.contains(&format!("plan.toml:{line}:{column}")),
        "{drawn}"
    );
    assert!(
        drawn.contains("...") && drawn.contains("\"ipv8\""),
        "{drawn}"
    );
    assert!(drawn.len() < 1000, "{drawn}");
}

/// The deepest tree that is let through: sixteen steps in each of as many inline tables as are let through.
#[test]
fn verif_the_deepest_tree_is_read_without_a_crash() {
    let steps = "a.".repeat(15);
    let mut text = "1".to_owned();
    for _ in 0..64 {
        text = format!("{{ {steps}a = {text} }}");
    }
    read(format!("{steps}x = {text}").into_bytes());
}

/// Two megabytes of mistakes are told in the time of a breath, not in that of their square.
#[test]
fn verif_very_many_mistakes_are_all_told() {
    let keys: String = (0..100_000).map(|i| format!("k{i} = 1\n")).collect();
    let reading = Files::one(keys).read();
    // Five tables and keys are missing besides.
    assert_eq!(reading.mistakes.len(), 100_000 + 5);
}

/// Sections and modules that hang on each other in every way: depths are settled in steps, not by trying all ways.
#[test]
fn verif_a_tangle_of_sections_is_settled() {
    let mut text = SMALL.to_owned();
    for i in 0..60 {
        let (next, far) = ((i + 1) % 60, (i + 7) % 60);
        text.push_str(&format!(
            "[module.m{i}]\nposition = {{ section = \"section.s{i}\", from_top = \"1 m\" }}\n\
             [section.s{i}]\nfrom = \"module.m{next}\"\nto = \"module.m{far}\"\nlength = \"3 m\"\n"
        ));
    }
    let reading = Files::one(text).read();
    let places = reading
        .mistakes
        .iter()
        .filter(|m| m.code == plan::Code::BadPlace)
        .count();
    assert_eq!(places, 60);
}

/// The tables of the small plan.
fn tables() -> Vec<String> {
    let mut tables = vec![String::new()];
    for line in SMALL.lines() {
        if line.starts_with('[') {
            tables.push(String::new());
        }
        let last = tables.last_mut().expect("there is a first table");
        last.push_str(line);
        last.push('\n');
    }
    tables
}

/// What a line holds, bit by bit, without the places in the file.
fn told(line: &plan::Line) -> Vec<(String, u64)> {
    let modules = line.modules.iter().map(|m| (&m.id, m.depth_m));
    let spans = line.spans.iter().map(|s| (&s.id, s.length_m));
    let requirements = line.requirements.iter().map(|r| (&r.id, 0.0));
    modules
        .chain(spans)
        .chain(requirements)
        .map(|(id, x)| (id.clone(), x.to_bits()))
        .collect()
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn verif_any_bytes_are_read_without_a_crash(bytes in prop::collection::vec(any::<u8>(), 0..400)) {
        read(bytes);
    }

    #[test]
    fn verif_any_toml_like_text_is_read_without_a_crash(words in prop::collection::vec(prop::sample::select(vec![
        "[", "]", "{", "}", "=", ".", ",", "\"", "'", "\"\"\"", "#", "\n", "\r\n", " ", "\t", "module", "upper", "position", "part", "1", "1.5",
        "1e999", "inf", "true", "2027-03-15", "07:30", "\\u0041", "\\", "é", "\u{1f40b}", "\u{0}", "format", "include", "plan.toml", "\"85 m\"",
    ]), 0..80)) {
        read(words.concat().into_bytes());
    }

    #[test]
    fn verif_a_bent_plan_is_read_without_a_crash(at in 0..SMALL.len(), cut in 0usize..40, put in "\\PC{0,12}") {
        let mut bytes = SMALL.as_bytes().to_vec();
        let end = (at + cut).min(bytes.len());
        bytes.splice(at..end, put.bytes());
        read(bytes);
    }

    #[test]
    fn verif_flipped_bytes_are_read_without_a_crash(flips in prop::collection::vec((0..SMALL.len(), 0u32..8), 1..8)) {
        let mut bytes = SMALL.as_bytes().to_vec();
        for (at, bit) in flips {
            bytes[at] ^= 1 << bit;
        }
        read(bytes);
    }

    #[test]
    fn verif_bent_cues_are_read_without_a_crash(at in 0..CUES.len(), cut in 0usize..40, put in "\\PC{0,12}") {
        let mut bytes = CUES.as_bytes().to_vec();
        let end = (at + cut).min(bytes.len());
        bytes.splice(at..end, put.bytes());
        read(bytes);
    }

    #[test]
    fn verif_a_bent_value_is_read_without_a_crash(which in 0usize..200, of_cues in any::<bool>(), put in prop::sample::select(vec![
        "\"1e999 m\"", "\"-0 m\"", "\"NaN m\"", "99999999999999999999", "-9223372036854775808", "1e400", "inf", "nan", "[]", "{}", "\"\"",
        "\"\u{202e}85 m\"", "\"85 \u{3bc}m\"", "9999-12-31", "0000-01-01", "2027-02-30", "true", "[[[]]]", "9223372036854775807",
        "\"1e308 d\"", "\"1e-308 s\"", "\"1e300 W ± 1e300 W\"", "\"0 Hz\"", "\"part.ear\"", "\"module.upper\"", "{ part = \"part.ear\" }",
        "1979-05-27T00:32:00.999999999999-23:59",
    ])) {
        let lines: Vec<&str> = if of_cues { CUES } else { SMALL }.lines().collect();
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

    #[test]
    fn verif_swapped_values_are_read_without_a_crash(a in 0usize..200, b in 0usize..200) {
        let mut lines: Vec<(&str, &str)> = SMALL.lines().map(|l| l.split_once(" = ").unwrap_or((l, ""))).collect();
        let (a, b) = (a % lines.len(), b % lines.len());
        let held = lines[a].1;
        lines[a].1 = lines[b].1;
        lines[b].1 = held;
        let text: Vec<String> = lines
            .iter()
            .map(|(key, value)| if value.is_empty() { (*key).to_owned() } else { format!("{key} = {value}") })
            .collect();
        read(text.join("\n").into_bytes());
    }

    #[test]
    fn verif_a_plan_without_some_lines_is_read_without_a_crash(lost in prop::collection::btree_set(0usize..120, 1..6)) {
        let text: Vec<&str> = SMALL.lines().enumerate().filter(|(i, _)| !lost.contains(i)).map(|(_, l)| l).collect();
        read(text.join("\n").into_bytes());
    }

    #[test]
    fn verif_the_order_of_tables_changes_nothing(order in Just((1..tables().len()).collect::<Vec<_>>()).prop_shuffle()) {
        let tables = tables();
        let text: String = std::iter::once(0).chain(order).map(|i| tables[i].as_str()).collect();
        let (own, turned) = (Files::one(SMALL).read(), Files::one(text).read());
        prop_assert!(turned.mistakes.is_empty());
        prop_assert_eq!(&own.digest, &turned.digest);
        prop_assert_eq!(told(&own.line.unwrap()), told(&turned.line.unwrap()));
    }
}
