//! `reserve --module`: text, JSON, exit status and refusals.

use serde_json::Value;

use crate::support::{demo, edit, expect_status, run, stderr, stdout};

/// A small meter with what it publishes.
fn meter<'a>(plan: &'a str, more: &[&'a str]) -> Vec<&'a str> {
    let asked = ["reserve", plan, "--module", "part.flow-meter"];
    [&asked, more].concat()
}

const TALK: [&str; 6] = [
    "--publishes",
    "log/flow",
    "--each",
    "1 min",
    "--size",
    "24 B",
];

#[test]
fn verif_a_part_is_told_place_by_place_in_text_and_json() {
    let demo = demo("harrow-sound", false);
    let folder = tempfile::tempdir().unwrap();
    let pictures = folder.path().to_str().unwrap();
    let text = run(&meter(
        &demo.plan,
        &[&TALK[..], &["--picture", pictures]].concat(),
    ));
    expect_status(&text, 0);
    let text = stdout(&text);
    assert!(folder.path().join("places.png").is_file());
    let svg = std::fs::read_to_string(folder.path().join("places.svg")).unwrap();
    for word in [
        "span.upper-probe, 26.0 m",
        "module.lower, 58.0 m",
        "may go: ",
    ] {
        assert!(svg.contains(word), "{word}: {svg}");
    }
    assert!(
        text.contains("it may go to 8, may not to 0, unknown of 1"),
        "{text}"
    );
    let json = run(&[&["--format", "json"], meter(&demo.plan, &TALK).as_slice()].concat());
    expect_status(&json, 0);
    let told: Value = serde_json::from_str(&stdout(&json)).unwrap();
    assert_eq!(told["format"], "places/1");
    let ids: Vec<&str> = told["places"]
        .as_array()
        .unwrap()
        .iter()
        .map(|p| p["id"].as_str().unwrap())
        .collect();
    let order = [
        "module.buoy",
        "span.buoy-marker",
        "module.marker",
        "span.marker-upper",
        "module.upper",
        "span.upper-probe",
        "module.probe",
        "span.probe-lower",
        "module.lower",
    ];
    assert_eq!(ids, order);
    for place in told["places"].as_array().unwrap() {
        let row = text
            .lines()
            .find(|l| l.trim_start().starts_with(place["id"].as_str().unwrap()))
            .unwrap();
        // With the part at the far end modules boot again and again behind a poor contact, and when the shore can tell is unknown.
        let answer = match place["id"].as_str() {
            Some("module.lower") => "unknown",
            _ => "may go",
        };
        assert!(row.contains(answer), "{row}");
        assert!(
            row.contains(place["binds"]["requirement"].as_str().unwrap()),
            "{row}"
        );
    }
}

#[test]
fn verif_the_exit_status_says_whether_there_is_a_place() {
    let demo = demo("harrow-sound", false);
    // Nothing said of what it publishes: unknown.
    expect_status(&run(&meter(&demo.plan, &["--without-years"])), 3);
    // More than the supply gives: nowhere.
    let parts = demo.plan.replace("plan.toml", "parts.toml");
    edit(&parts, "measuring = \"0.15 W\"", "measuring = \"70 W\"");
    let nowhere = run(&meter(&demo.plan, &["--silent", "--without-years"]));
    expect_status(&nowhere, 1);
    let text = stdout(&nowhere);
    assert!(text.contains("PROVISIONAL"), "{text}");
    assert!(text.contains("supply of supply.sun"), "{text}");
}

#[test]
fn verif_a_place_is_explained_by_the_whole_check() {
    let demo = demo("harrow-sound", false);
    let more = [
        "--silent",
        "--without-years",
        "--explain",
        "span.upper-probe",
    ];
    let text = run(&meter(&demo.plan, &more));
    expect_status(&text, 0);
    let text = stdout(&text);
    assert!(
        text.contains("module.added: 26 m, limit 200 m") || text.contains("met      voltage"),
        "{text}"
    );
    let no = run(&meter(&demo.plan, &["--silent", "--explain", "span.no"]));
    expect_status(&no, 2);
    assert!(
        stderr(&no).contains("the places are module.buoy, span.buoy-marker"),
        "{}",
        stderr(&no)
    );
}

#[test]
fn verif_wrong_questions_are_refused_with_help() {
    let demo = demo("harrow-sound", false);
    let told = |args: &[&str]| {
        let output = run(&meter(&demo.plan, args));
        expect_status(&output, 2);
        stderr(&output)
    };
    let at = told(&["--silent", "--at", "40 m"]);
    assert!(at.contains("section.riser:40m"), "{at}");
    let size = told(&["--publishes", "log/flow", "--each", "1 min"]);
    assert!(size.contains("--size \"40 B\""), "{size}");
    let said = told(&[
        "--publishes",
        "log/water",
        "--each",
        "1 min",
        "--size",
        "4 B",
    ]);
    assert!(said.contains("which says its size already"), "{said}");
    let listener = run(&[
        "reserve",
        &demo.plan,
        "--module",
        "part.line-cable",
        "--silent",
    ]);
    expect_status(&listener, 2);
    assert!(
        stderr(&listener).contains("is a span, no module"),
        "{}",
        stderr(&listener)
    );
    let none = run(&["reserve", &demo.plan, "--module", "flow-metre", "--silent"]);
    assert!(
        stderr(&none).contains("did you mean `part.flow-meter`?"),
        "{}",
        stderr(&none)
    );
    expect_status(&run(&["reserve", &demo.plan, "--silent"]), 2);
    for (args, told_of) in [
        (
            &["--silent", "--speaks", "10base-t1l"][..],
            "did you mean \"10BASE-T1L\"?",
        ),
        (&["--silent", "--speaks", "CAN"], "the links are 10BASE-T1L"),
        (
            &["--silent", "--cable", "part.nope"],
            "there is no span `part.nope`",
        ),
        (
            &["--silent", "--cable", "part.flow-meter"],
            "is a module, no span",
        ),
        (
            &["--silent", "--name", "Bad"],
            "--name \"Bad\": this is no id",
        ),
        (
            &["--silent", "--from", "/dev/null"],
            "--from \"/dev/null\": the file is empty",
        ),
        (
            &["--publishes", "log/flow", "--size", "4 B", "--each", "0 s"],
            "--each \"0 s\": this has to be more than nothing",
        ),
        (
            &["--publishes", "log/flow", "--each", "1 min", "--size", "4"],
            "--size \"4\": ",
        ),
        (
            &[
                "--publishes",
                "log/flow",
                "--size",
                "4 B",
                "--each",
                "1 min",
                "--at-most",
                "0 per hour",
            ],
            "--at-most \"0 per hour\": this lets nothing pass",
        ),
        (
            &[
                "--publishes",
                "log/flow",
                "--size",
                "4 B",
                "--each",
                "1 min",
                "--priority",
                "9",
            ],
            "--priority \"9\": a priority is 0 to 7",
        ),
    ] {
        let said = told(args);
        assert!(said.contains(told_of), "{said}");
        // Nothing is quoted that the user did not write.
        assert!(
            !said.contains("include") && !said.contains("line 2"),
            "{said}"
        );
    }
}

#[test]
fn verif_a_part_may_come_from_a_file_and_bring_its_own_tables() {
    let demo = demo("harrow-sound", false);
    let folder = tempfile::tempdir().unwrap();
    let file = |name: &str, text: &str| {
        let path = folder.path().join(name);
        std::fs::write(&path, text).unwrap();
        path.display().to_string()
    };
    let part = |more: &str| {
        format!(
            "format = 1\n[part.beacon]\nis = \"module\"\ninput = {{ minimum = \"9 V\", maximum = \"36 V\", capacitance = \"10 uF\" }}\nloads = {{ on = \"0.05 W\" }}\nboot = {{ time = \"1 s\", power = \"0.05 W\" }}\npasses = {{ power = \"always\", data = \"always\" }}\nthrough = {{ resistance = \"0.1 ohm\" }}\nprocessing = \"1 ms\"\nhousing = {{ part = \"part.can-200\" }}\n{more}"
        )
    };
    let good = file("parts.toml", &part(""));
    let brings = file(
        "brings.toml",
        "[topic.\"log/beacon\"]\nat_most = \"6 per hour\"\nsize = \"8 B\"\n[behaviour.beacon]\non = \"module.added\"\neach = \"10 min\"\ndo = [{ publish = \"log/beacon\" }]\n",
    );
    let asked = |from: &str, brings: &str| {
        run(&[
            "reserve",
            &demo.plan,
            "--module",
            "beacon",
            "--from",
            from,
            "--brings",
            brings,
            "--without-years",
        ])
    };
    let output = asked(&good, &brings);
    expect_status(&output, 0);
    assert!(
        stdout(&output).contains("may not to 0"),
        "{}",
        stdout(&output)
    );
    // A stream that comes with it has room on the line, or has none anywhere.
    let streams = |rate: &str| {
        format!(
            "[stream.raw]\nfrom = \"module.added\"\nto = \"module.buoy\"\nrate = \"{rate}\"\npacket = \"1000 B\"\npriority = 7\n"
        )
    };
    let small = file("small.toml", &streams("100 kbit/s"));
    let output = asked(&good, &small);
    expect_status(&output, 0);
    assert!(
        stdout(&output).contains("may not to 0"),
        "{}",
        stdout(&output)
    );
    let greedy = file("greedy.toml", &streams("11 Mbit/s"));
    let output = asked(&good, &greedy);
    assert!(
        stdout(&output).contains("stream") && !stdout(&output).contains("may not to 0"),
        "{}",
        stdout(&output)
    );
    let bad = file("bad.toml", &part("bot = 1\n"));
    let output = asked(&bad, &brings);
    expect_status(&output, 2);
    assert!(stderr(&output).contains("bad.toml"), "{}", stderr(&output));
    assert!(
        stderr(&output).contains("did you mean `boot`?"),
        "{}",
        stderr(&output)
    );
    let wrong = file(
        "wrong.toml",
        "[topic.\"log/beacon\"]\nat_moss = \"6 per hour\"\n",
    );
    let output = asked(&good, &wrong);
    expect_status(&output, 2);
    assert!(stderr(&output).contains("line 2: "), "{}", stderr(&output));
    let foreign = file("foreign.toml", "[module.more]\n");
    let output = asked(&good, &foreign);
    expect_status(&output, 2);
    assert!(
        stderr(&output).contains("`module` is nothing that an added module brings"),
        "{}",
        stderr(&output)
    );
}
