//! `workpack`: what is in a pack, the same bytes twice, C that compiles and tells what it should, and what is found of a pack that was touched.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use serde_json::Value;

use crate::support::{Demo, demo, edit, expect_status, run, soundline, stderr, stdout};

/// Writes the pack of a demo into a new folder beside its plan.
fn packed(demo: &Demo, name: &str) -> PathBuf {
    let folder = demo.folder.path().join(name);
    let output = run(&[
        "workpack",
        &demo.plan,
        "--out",
        &folder.display().to_string(),
    ]);
    let status = run(&["check", &demo.plan]).status.code().unwrap();
    expect_status(&output, status);
    folder
}

/// Every file below a folder with what is in it.
fn files(folder: &Path) -> BTreeMap<String, Vec<u8>> {
    let mut all = BTreeMap::new();
    let mut todo = vec![folder.to_path_buf()];
    while let Some(at) = todo.pop() {
        for entry in fs::read_dir(at).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                todo.push(path);
                continue;
            }
            let name = path.strip_prefix(folder).unwrap().display().to_string();
            all.insert(name, fs::read(&path).unwrap());
        }
    }
    all
}

/// The rows of a table of comma-separated values none of whose asked cells is quoted, by their first cell.
fn rows(text: &[u8]) -> BTreeMap<String, BTreeMap<String, String>> {
    let text = String::from_utf8(text.to_vec()).unwrap();
    let mut lines = text
        .lines()
        .map(|l| l.split(',').map(str::to_owned).collect::<Vec<_>>());
    let header = lines.next().unwrap();
    lines
        .map(|row| {
            let cells = header.iter().cloned().zip(row.iter().cloned());
            (row[0].clone(), cells.collect())
        })
        .collect()
}

#[test]
fn verif_a_pack_is_the_same_twice_and_lists_all_that_is_in_it() {
    let demo = demo("harrow-sound", true);
    let (one, two) = (packed(&demo, "one"), packed(&demo, "two"));
    let found = files(&one);
    assert_eq!(found, files(&two));
    let manifest: Value = serde_json::from_slice(&found["pack.json"]).unwrap();
    let listed: Vec<&str> = manifest["files"]
        .as_array()
        .unwrap()
        .iter()
        .map(|f| f["path"].as_str().unwrap())
        .collect();
    let others: Vec<&str> = found
        .keys()
        .map(String::as_str)
        .filter(|p| *p != "pack.json")
        .collect();
    assert_eq!(listed, others);
    let verdicts: Value = serde_json::from_slice(&found["verdicts.json"]).unwrap();
    let check = run(&["--format", "json", "check", &demo.plan]);
    let mut check: Value = serde_json::from_str(&stdout(&check)).unwrap();
    check
        .as_object_mut()
        .unwrap()
        .retain(|key, _| verdicts.get(key).is_some());
    assert_eq!(verdicts, check);
}

/// A text as HTML writes it: the five characters that are markup, otherwise (HTML Standard, section 13.3, from memory).
fn in_html(text: &str) -> String {
    text.replace('&', "&amp;")
        .replace('<', "&lt;")
        .replace('>', "&gt;")
        .replace('"', "&quot;")
        .replace('\'', "&#39;")
}

/// The report tells every requirement, watch and standing check of the document beside it, with the subject and the reason of its worst verdict, and everything assumed and open; its pictures are in it, and it asks nothing from elsewhere.
#[test]
fn verif_the_report_tells_what_the_verdicts_tell() {
    for (name, rehearsed, pictures) in [("harrow-sound", true, 5), ("kestrel-piles", false, 4)] {
        let demo = demo(name, rehearsed);
        edit(
            &demo.plan,
            "[deployment]\nname = \"",
            "[deployment]\nname = \"<i>A & B</i> ",
        );
        let found = files(&packed(&demo, "pack"));
        let report = String::from_utf8(found["report.html"].clone()).unwrap();
        let verdicts: Value = serde_json::from_slice(&found["verdicts.json"]).unwrap();
        let mut told = 0;
        for judged in ["requirements", "watches", "standing"]
            .iter()
            .flat_map(|key| verdicts[key].as_array().unwrap())
        {
            let worst = &judged["verdicts"][0];
            let why = worst["why"].as_str().unwrap();
            let texts = [
                judged["id"].as_str().unwrap(),
                judged["sentence"].as_str().unwrap(),
                worst["subject"].as_str().unwrap(),
                why.lines().next().unwrap_or(""),
            ];
            for text in texts {
                assert!(report.contains(&in_html(text)), "{text}");
            }
            told += 1;
        }
        assert!(told > 10);
        for key in ["assumed", "open", "cautions"] {
            for text in verdicts[key].as_array().unwrap() {
                assert!(report.contains(&in_html(text.as_str().unwrap())), "{text}");
            }
        }
        let digest = verdicts["plan_digest"].as_str().unwrap();
        assert!(report.contains(digest));
        assert!(report.contains("<h1>&lt;i&gt;A &amp; B&lt;/i&gt; "));
        assert_eq!(report.matches("<svg").count(), pictures, "{name}");
        for tag in [
            "table", "tr", "td", "ul", "li", "pre", "figure", "svg", "main",
        ] {
            let open = report.matches(&format!("<{tag}>")).count()
                + report.matches(&format!("<{tag} ")).count();
            assert_eq!(open, report.matches(&format!("</{tag}>")).count(), "{tag}");
        }
        let addresses = report.replace("http://www.w3.org/", "");
        for outside in ["http:", "https:", "<script", "<link", "@import", "url("] {
            assert!(!addresses.contains(outside), "{outside}");
        }
    }
}

/// What a program tells of a file, with such words before its name.
fn told_by(program: &str, before: &[&str], file: &Path, after: &[&str]) -> String {
    let output = Command::new(program)
        .args(before)
        .arg(file)
        .args(after)
        .output()
        .unwrap();
    assert!(output.status.success(), "{program}: {}", stderr(&output));
    stdout(&output)
}

/// A text without the spaces and line ends by which it is broken into lines.
fn closed_up(text: &str) -> String {
    text.split_whitespace().collect()
}

/// The report on paper, as Poppler reads it: A4, tagged, under the plan's name, on every page plan, program and number; then section by section what the page beside it
/// tells, each requirement behind its ruling, and the cautions. No word is beyond the margins. A character that no typeface of it has stands by its number, and that is told.
#[test]
fn val_the_report_on_paper_is_read_as_the_page() {
    if !truth::has_pdf_readers("the report on paper") {
        return;
    }
    for (name, rehearsed) in [("harrow-sound", true), ("kestrel-piles", false)] {
        let demo = demo(name, rehearsed);
        edit(
            &demo.plan,
            "[deployment]\nname = \"",
            "[deployment]\nname = \"<i>A & B</i> \u{6d77} ",
        );
        let folder = packed(&demo, "pack");
        let found = files(&folder);
        let file = folder.join("report.pdf");
        let verdicts: Value = serde_json::from_slice(&found["verdicts.json"]).unwrap();
        let text_of = |key: &str| verdicts[key].as_str().unwrap();
        let about = told_by("pdfinfo", &[], &file, &[]);
        let line = |key: &str| {
            let line = about.lines().find_map(|l| l.strip_prefix(key));
            line.unwrap_or_else(|| panic!("{key}: {about}"))
                .trim()
                .to_owned()
        };
        assert_eq!(line("Title:"), text_of("name"));
        assert_eq!(line("Tagged:"), "yes");
        assert_eq!(line("Page size:"), "595.276 x 841.89 pts (A4)");
        assert!(line("Subject:").contains(text_of("plan_digest")));
        assert!(!about.contains("Date"), "{about}");
        let count: usize = line("Pages:").parse().unwrap();

        let title = closed_up(text_of("name")).replace('\u{6d77}', "<U+6D77>");
        let text = told_by("pdftotext", &["-raw"], &file, &["-"]);
        let mut body = String::new();
        for (nth, page) in text.split_terminator('\u{c}').enumerate() {
            let page = closed_up(page);
            let margins = format!(
                "deploymentreport{title}page{}of{count}plan{}{}",
                nth + 1,
                text_of("plan_digest"),
                closed_up(text_of("program"))
            );
            let rest = page.strip_prefix(&margins);
            body.push_str(rest.unwrap_or_else(|| panic!("{margins}: {page}")));
        }
        let html = String::from_utf8(found["report.html"].clone()).unwrap();
        let sections: Vec<String> = html
            .split("<h2")
            .skip(1)
            .map(|part| {
                part.split_once('>')
                    .unwrap()
                    .1
                    .split_once("</h2>")
                    .unwrap()
                    .0
            })
            .map(|text| {
                text.replace("&#39;", "'")
                    .replace("&quot;", "\"")
                    .replace("&amp;", "&")
            })
            .collect();
        assert!(sections.len() > 12, "{sections:?}");
        // They are told twice: among the contents and where they are.
        let mut at = body.find(&title).unwrap();
        for _ in 0..2 {
            for section in &sections {
                let section = closed_up(section);
                let next = body[at..].find(&section);
                at += next.unwrap_or_else(|| panic!("{section} behind {at}")) + section.len();
            }
        }
        let asked = body.rfind("Requirements").unwrap();
        let asked = &body[body.find("Requirementsverdictwhat").unwrap_or(asked)..];
        let mut from = 0;
        for judged in verdicts["requirements"].as_array().unwrap() {
            let text = format!(
                "{}{}({}):{}",
                judged["ruling"].as_str().unwrap(),
                judged["id"].as_str().unwrap(),
                judged["must"].as_str().unwrap(),
                closed_up(judged["sentence"].as_str().unwrap())
            );
            let next = asked[from..].find(&text);
            from += next.unwrap_or_else(|| panic!("{text} behind {from}"));
        }
        for key in ["open", "assumed", "cautions"] {
            for text in verdicts[key].as_array().unwrap() {
                let text = closed_up(text.as_str().unwrap());
                assert!(body.contains(&text), "{text}");
            }
        }
        let cautions = &body[body.rfind("CautionsLocalcodes").unwrap()..];
        for text in verdicts["cautions"].as_array().unwrap() {
            let text = closed_up(text.as_str().unwrap());
            assert!(cautions.contains(&text), "{text}");
        }
        assert!(body.ends_with(
            "bytheirnumbersinUnicode:<U+6D77>.Thepagereport.htmlhasthemastheywerewritten."
        ));

        let places = told_by("pdftotext", &["-bbox"], &file, &["-"]);
        let mut words = 0;
        for word in places
            .lines()
            .filter(|l| l.trim_start().starts_with("<word "))
        {
            let number = |key: &str| -> f64 {
                let from = word.split_once(&format!("{key}=\"")).unwrap().1;
                from.split_once('"').unwrap().0.parse().unwrap()
            };
            // The margins are 40 points; 1 point for what a box takes beyond its letters.
            assert!(number("xMin") >= 39.0 && number("xMax") <= 556.3, "{word}");
            assert!(number("yMin") >= 20.0 && number("yMax") <= 822.0, "{word}");
            words += 1;
        }
        assert!(words > 2000, "{words}");
    }
}

/// SHA-256 as the coreutils work it out.
#[test]
fn val_digests_are_those_of_sha256sum() {
    if !truth::has_program("digests of a pack", "sha256sum") {
        return;
    }
    let demo = demo("reef-light", false);
    let folder = packed(&demo, "pack");
    let manifest: Value =
        serde_json::from_slice(&fs::read(folder.join("pack.json")).unwrap()).unwrap();
    let lines = manifest["files"].as_array().unwrap().iter();
    let lines = lines.map(|f| {
        format!(
            "{}  {}\n",
            f["sha256"].as_str().unwrap(),
            f["path"].as_str().unwrap()
        )
    });
    fs::write(folder.join("sums"), lines.collect::<String>()).unwrap();
    let checked = Command::new("sha256sum")
        .args(["--check", "--strict", "--quiet", "sums"])
        .current_dir(&folder)
        .status()
        .unwrap();
    assert!(checked.success());
}

/// By hand: 1.0 mm2 of class 5 has 19.5 ohm/km at 20 degC (IEC 60228) and 0.393 % more each degree; the span is 6.12 m long, in water of 9.6 degC near the surface,
/// with four pins of 8 mohm, or 80 mohm aged. A count is 1.25 V / 2^15, at -168 dB re 1 V/uPa and 26 dB 480.24 uPa. A newton is 1 / 9.80665 kgf.
#[test]
fn val_what_the_workshop_reads_by_hand() {
    let found = files(&packed(&demo("harrow-sound", true), "pack"));
    let spans = rows(&found["wiring/spans.csv"]);
    let span = &spans["span.buoy-marker"];
    let number = |row: &BTreeMap<String, String>, key: &str| row[key].parse::<f64>().unwrap();
    let wire_ohm = 2.0 * 6.12 * 0.0195 * (1.0 + 0.00393 * (9.6 - 20.0));
    assert!(
        (number(span, "loop_new_ohm") - wire_ohm - 4.0 * 0.008).abs() < 1e-3,
        "{span:?}"
    );
    let aged = number(span, "loop_aged_ohm") - number(span, "loop_new_ohm");
    assert!((aged - 4.0 * 0.072).abs() < 2e-4, "{span:?}");
    assert_eq!(
        (span["from"].as_str(), span["to"].as_str()),
        ("module.buoy", "module.marker")
    );
    let parts = rows(&found["wiring/parts.csv"]);
    assert!((number(&parts["module.upper"], "weight_in_water_kgf") - 8.0 / 9.80665).abs() < 0.01);
    let sum_n: f64 = [
        "module.lower",
        "module.marker",
        "module.probe",
        "module.upper",
        "section.riser",
    ]
    .iter()
    .map(|thing| number(&parts[*thing], "weight_in_water_n"))
    .sum();
    assert!((number(&parts["all but anchors and buoys"], "weight_in_water_n") - sum_n).abs() < 0.1);
    let recordings: Value = serde_json::from_slice(&found["recordings.json"]).unwrap();
    let factor = recordings["hydrophones"][0]["chain"]["scale_factor"]
        .as_f64()
        .unwrap();
    assert!((factor - 480.24e-6).abs() < 1e-8, "{factor}");
    assert_eq!(recordings["geospatial_lat_deg"], 57.31);
}

/// What runs on a module is in its settings, and what it is made of is not.
#[test]
fn verif_settings_are_those_of_what_runs_there() {
    let found = files(&packed(&demo("harrow-sound", true), "pack"));
    let upper = String::from_utf8(found["settings/upper.txt"].clone()).unwrap();
    for line in [
        "detector.upcall-upper.stages[3].on_above = \"6 dB\"",
        "module.upper.sensor.ear.gain = \"26 dB\"",
        "module.upper.heartbeat.every = \"10 min\"",
        "topic.\"alert/call\".at_most = ",
    ] {
        assert!(upper.contains(line), "{line}: {upper}");
    }
    for word in [
        "housing",
        "position",
        "upcall-lower",
        "calibrated",
        "sensitivity",
    ] {
        assert!(!upper.contains(word), "{word}: {upper}");
    }
}

/// Every detector of the pack compiles with every warning an error and tells what its golden vectors say; every topic compiles.
#[test]
fn verif_the_software_of_a_pack_compiles_and_passes_its_own_test() {
    if !truth::has_program("software of a pack", "gcc") {
        return;
    }
    for (name, detectors) in [("harrow-sound", 2), ("strike-tally", 1)] {
        let demo = demo(name, true);
        let folder = packed(&demo, "pack").join("software");
        let mut tested = 0;
        for entry in fs::read_dir(&folder).unwrap() {
            let at = entry.unwrap().path();
            let sources = fs::read_dir(&at).unwrap().map(|e| e.unwrap().file_name());
            let sources: Vec<String> = sources
                .map(|n| n.into_string().unwrap())
                .filter(|n| n.ends_with(".c"))
                .collect();
            let is_detector = sources.iter().any(|n| n.ends_with("_test.c"));
            let mut gcc = Command::new("gcc");
            gcc.args([
                "-std=c99",
                "-O1",
                "-Wall",
                "-Wextra",
                "-Werror",
                "-pedantic",
            ])
            .args(&sources)
            .current_dir(&at);
            let built = match is_detector {
                true => gcc.args(["-lm", "-o", "golden"]).output().unwrap(),
                false => gcc.arg("-c").output().unwrap(),
            };
            assert!(
                built.status.success(),
                "{}: {}",
                at.display(),
                String::from_utf8_lossy(&built.stderr)
            );
            if is_detector {
                assert!(
                    Command::new(at.join("golden"))
                        .output()
                        .unwrap()
                        .status
                        .success(),
                    "{}",
                    at.display()
                );
                tested += 1;
            }
        }
        assert!(tested >= detectors, "{name}: {tested} detectors");
    }
}

#[test]
fn verif_what_was_touched_is_found() {
    let demo = demo("reef-light", false);
    let folder = packed(&demo, "pack");
    let verify = |status: i32| {
        let shown = folder.display().to_string();
        let output = run(&["--format", "json", "workpack", "--verify", &shown]);
        expect_status(&output, status);
        serde_json::from_str::<Value>(&stdout(&output)).unwrap()
    };
    assert_eq!(verify(0)["strange"], serde_json::json!([]));
    fs::write(folder.join("verdicts.txt"), "all is well\n").unwrap();
    fs::remove_file(folder.join("wiring/parts.csv")).unwrap();
    fs::write(folder.join("wiring/more.csv"), "").unwrap();
    let found = verify(1);
    assert_eq!(
        found["strange"],
        serde_json::json!([
            { "path": "verdicts.txt", "is": "changed" },
            { "path": "wiring/more.csv", "is": "added" },
            { "path": "wiring/parts.csv", "is": "missing" },
        ])
    );
    fs::write(folder.join("pack.json"), "{ \"format\": \"pack/9\" }").unwrap();
    let shown = folder.display().to_string();
    let output = run(&["workpack", "--verify", &shown]);
    expect_status(&output, 2);
    assert!(stderr(&output).contains("pack/9"), "{}", stderr(&output));
}

/// Nothing is written over: neither another pack nor what is nobody's.
#[test]
fn verif_a_pack_is_written_over_nothing() {
    let demo = demo("reef-light", false);
    let folder = packed(&demo, "pack");
    let before = files(&folder);
    let shown = folder.display().to_string();
    let output = run(&["workpack", &demo.plan, "--out", &shown]);
    expect_status(&output, 2);
    assert!(stderr(&output).contains("not empty"), "{}", stderr(&output));
    assert_eq!(files(&folder), before);
    edit(&demo.plan, "format = 1", "format = 1\nno-such-key = 1");
    let other = demo.folder.path().join("other");
    let output = run(&[
        "workpack",
        &demo.plan,
        "--out",
        &other.display().to_string(),
    ]);
    expect_status(&output, 2);
    assert!(!other.exists());
    for args in [
        &["workpack"][..],
        &["workpack", &demo.plan],
        &["workpack", "--out", "x"],
    ] {
        assert_eq!(
            soundline().args(args).output().unwrap().status.code(),
            Some(2),
            "{args:?}"
        );
    }
}

/// By hand, for the line of Harrow Sound: 92 m of it in 85 m of water swing back by 92 - sqrt(92^2 - 85^2) = 56.80 m. When its anchor of 8 kN meets the bed, 85 m of rope of
/// 0.35 N/m hang below the rail, and three modules of 8 N, the fourth still above: 8053.75 N. The rope and the modules that hang weigh 92 * 0.35 + 4 * 8 = 64.2 N.
#[test]
fn val_what_the_deck_reads_by_hand() {
    let found = files(&packed(&demo("harrow-sound", true), "pack"));
    let text = |path: &str| String::from_utf8(found[path].clone()).unwrap();
    let (laying, recovery) = (text("deck/deployment.txt"), text("deck/recovery.txt"));
    assert!(
        closed_up(&laying).contains("between0mand56.8mbackalongthelay"),
        "{laying}"
    );
    for (sheet, row) in [
        (&laying, "the anchor meets the bed"),
        (&recovery, "the anchor leaves the bed"),
    ] {
        let line = sheet.lines().find(|l| l.starts_with(row)).unwrap();
        assert!(line.contains(" 85.00 m "), "{line}");
        assert!(line.ends_with(" 8054 N (821 kgf)"), "{line}");
    }
    let verdicts: Value = serde_json::from_slice(&found["verdicts.json"]).unwrap();
    let report = text("report.html");
    for sheet in [&laying, &recovery] {
        assert!(sheet.contains(verdicts["plan_digest"].as_str().unwrap()));
        for caution in verdicts["cautions"].as_array().unwrap() {
            assert!(closed_up(sheet).contains(&closed_up(caution.as_str().unwrap())));
        }
        assert!(sheet.matches("____").count() > 20);
    }
    for line in laying.lines() {
        assert!(line.chars().count() <= 106, "{line}");
    }
    assert!(report.contains(
        "what hangs weighs 64.2 N in water and 0.0 N of it floats: 64.2 N are left to be held up"
    ));
    // Without a section nothing is laid.
    let bench = files(&packed(&demo("listening-bench", false), "pack"));
    assert!(!bench.keys().any(|path| path.starts_with("deck/")));
}

/// Documents that the plan names stand with their attestation, or as unknown; spares are those of `slip`.
#[test]
fn verif_permits_and_spares_are_those_of_the_plan() {
    let bank = files(&packed(&demo("petrel-bank", false), "pack"));
    let permits = String::from_utf8(bank["wiring/permits.csv"].clone()).unwrap();
    let row = permits
        .lines()
        .find(|l| l.contains("licence 88/27"))
        .unwrap();
    assert!(
        row.ends_with(",fisheries office,2027-06-14,2028-06-30"),
        "{permits}"
    );
    let harrow = demo("harrow-sound", false);
    let sound = files(&packed(&harrow, "pack"));
    let permits = String::from_utf8(sound["wiring/permits.csv"].clone()).unwrap();
    assert!(
        permits.contains("\"harbour permit 14/27, clause 5\",night,unknown,unknown,unknown\n"),
        "{permits}"
    );
    let report = String::from_utf8(sound["report.html"].clone()).unwrap();
    let unrehearsed = report
        .split_once("What the rehearsals showed</h2>")
        .unwrap()
        .1;
    assert!(unrehearsed.contains("Unknown: it has not been rehearsed yet; `soundline rehearse "));
}

/// What each expectation of the rehearsal that lies beside the plan saw is in the report, in the words of its record.
#[test]
fn verif_the_report_has_what_the_rehearsal_showed() {
    let demo = demo("harrow-sound", true);
    let record = fs::read(crate::support::only_evidence(&demo)).unwrap();
    let record: Value = serde_json::from_slice(&record).unwrap();
    let found = files(&packed(&demo, "pack"));
    let report = String::from_utf8(found["report.html"].clone()).unwrap();
    let told = report
        .split_once("What the rehearsals showed</h2>")
        .unwrap()
        .1;
    let told = told.split_once("<h2").unwrap().0;
    assert!(told.contains(record["result_digest"].as_str().unwrap()));
    let expectations = record["expectations"].as_array().unwrap();
    assert!(expectations.len() > 3);
    for expected in expectations {
        let row = format!(
            "<td><b>{}</b></td><td>{}</td><td>{}</td>",
            in_html(expected["id"].as_str().unwrap()),
            if expected["passed"].as_bool().unwrap() {
                "held"
            } else {
                "did not hold"
            },
            in_html(expected["said"].as_str().unwrap())
        );
        assert!(told.contains(&row), "{row}");
    }
}
