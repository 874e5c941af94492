//! Limits do what they say, and what a routine does not have it cannot reach.

use routine::{Call, LIMITS, Memory, Program};

use crate::support::{binding, each, program};

fn stops(body: &str, says: &str) {
    let run = each(body);
    let fault = run.fault.unwrap_or_else(|| panic!("{body} ran to its end"));
    assert!(fault.message.contains(says), "{body}: {fault:?}");
}

#[test]
fn verif_a_loop_without_end_stops_at_the_limit_of_steps() {
    let run = each("loop { let x = 1; }");
    let fault = run.fault.unwrap();
    assert!(fault.message.contains("100000 steps"), "{fault:?}");
    assert_eq!(fault.line, Some(1), "{fault:?}");
    assert!(run.operations >= LIMITS.operations && run.operations <= LIMITS.operations + 1);
    stops("for i in 0..1000000000000 {}", "steps");
    // It cannot be caught.
    stops("try { loop {} } catch { log(\"caught\"); }", "steps");
}

/// Where a limit strikes is told, in the function in which it strikes.
#[test]
fn verif_the_line_of_a_limit_is_told() {
    let at = |text: &str| {
        let run = program(text).run(&mut Memory::default(), &Call::Each, None);
        let fault = run.fault.unwrap();
        (fault.line, fault.column.is_some(), fault.message)
    };
    let steps = format!("it takes more than {} steps", LIMITS.operations);
    let depth = format!(
        "its functions call each other deeper than {} levels",
        LIMITS.call_levels
    );
    for (text, line, says) in [
        (
            "fn each() {\n    let n = 0;\n    loop {\n        n += 1;\n    }\n}",
            3..=4,
            &steps,
        ),
        (
            "fn each() {\n    let n = 0;\n    while n >= 0 {\n    }\n}",
            3..=4,
            &steps,
        ),
        ("fn each() {\n    loop {}\n}", 2..=2, &steps),
        (
            "fn each() {\n    for i in 0..1000000000 {}\n}",
            2..=2,
            &steps,
        ),
        (
            "fn each() {\n    let a = [1];\n    loop {\n        a[0];\n    }\n}",
            3..=4,
            &steps,
        ),
        (
            "fn spin() {\n    loop {}\n}\nfn each() {\n    spin();\n}",
            2..=2,
            &steps,
        ),
        (
            "fn dig(n) {\n    let m = n;\n    dig(m + 1)\n}\nfn each() {\n    dig(0);\n}",
            3..=3,
            &depth,
        ),
    ] {
        let (told, column, message) = at(text);
        assert!(
            told.is_some_and(|told| line.contains(&told)) && column,
            "{text}: {told:?} {message}"
        );
        assert_eq!(message, **says);
    }
}

/// Looking for the place of a limit leaves no trace: deeds, steps and memory are those of the one run.
#[test]
fn verif_looking_for_the_place_changes_nothing() {
    let text = "fn each() { this.n = (this.n ?? 0) + 1; log(`${this.n}`); loop {} }";
    let program = program(text);
    let mut memory = Memory::default();
    for n in 1..4 {
        let run = program.run(&mut memory, &Call::Each, None);
        let text = format!("{n}");
        assert_eq!(run.deeds, [routine::Deed::Log { text }]);
        assert!(run.operations >= LIMITS.operations && run.fault.is_some());
    }
}

#[test]
fn verif_deep_recursion_stops() {
    let program = program("fn dig(n) { dig(n + 1) }\nfn each() { dig(0); }");
    let run = program.run(&mut Memory::default(), &Call::Each, None);
    assert!(run.fault.unwrap().message.contains("16 levels"));
}

#[test]
fn verif_values_grow_only_to_their_limit() {
    stops("let s = \"ab\"; loop { s += s; }", "too large");
    stops("let a = []; loop { a.push(1); }", "too large");
    stops("let a = [1]; loop { a += a; }", "too large");
    stops("let a = []; a.pad(2000000000, 0);", "too large");
    stops("let s = \"\"; s.pad(2000000000, 'x');", "too large");
    // Nested in one another they count together.
    stops("let a = []; loop { a = [a]; }", "too large");
}

#[test]
fn verif_memory_is_bounded() {
    let program = program("fn each() { this.list = this.list ?? []; this.list.push(1); }");
    let mut memory = Memory::default();
    let mut runs = 0;
    let fault = loop {
        runs += 1;
        let run = program.run(&mut memory, &Call::Each, None);
        if let Some(fault) = run.fault {
            break fault;
        }
    };
    // 4 bytes of the key, 8 of the list, 8 of each number.
    assert_eq!(runs, (LIMITS.memory_bytes - 4 - 8) / 8 + 1);
    assert!(fault.message.contains("4096"), "{fault:?}");
}

#[test]
fn verif_deeds_of_a_run_are_bounded() {
    let run = each("loop { log(\"x\"); }");
    assert_eq!(run.deeds.len(), LIMITS.deeds);
    assert!(run.fault.unwrap().message.contains("64 things"));
    stops(&format!("log(\"{}\");", "x".repeat(201)), "200 characters");
}

/// Nothing of the clock, the file system, the platform's powers or other programs is there.
#[test]
fn verif_what_is_not_given_cannot_be_reached() {
    for text in [
        "fn each() { eval(\"1\") }",
        "fn each() { print(1) }",
        "fn each() { debug(1) }",
        "fn each() { sleep(1) }",
        "fn each() { timestamp() }",
        "fn each() { 2.0 ** 0.5 }",
        "fn each() { let x = 2.0; x **= 0.5; }",
        "import \"other\" as o; fn each() {}",
        "fn each() { Fn(\"sleep\").call(1) }",
        "fn each() { parse_json(\"{}\") }",
        "fn each() { rand() }",
        "fn each() { open_file(\"x\") }",
        "let counter = 0; fn each() {}",
    ] {
        assert!(Program::new(text, &binding()).is_err(), "{text}");
    }
}

#[test]
fn verif_too_much_text_or_nesting_is_refused() {
    let long = format!("fn each() {{}} //{}", "x".repeat(LIMITS.source_bytes));
    assert!(Program::new(&long, &binding()).is_err());
    let deep = format!("fn each() {{ {}1{} }}", "(".repeat(5000), ")".repeat(5000));
    assert!(Program::new(&deep, &binding()).is_err());
    let many: String = (0..100).map(|i| format!("fn f{i}() {{}}\n")).collect();
    assert!(Program::new(&many, &binding()).is_err());
}
