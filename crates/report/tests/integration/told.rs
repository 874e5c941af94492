//! Verdicts and rehearsals as text: the examples as a client would read them, and small checks of the wording.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use assess::evidence::Record as Kept;
use assess::{Check, Shelf, Status, check};
use plan::Reading;
use rehearsal::{KeptBack, Record, RecordId, Refusal, What};
use report::{check_json, check_text, rehearsal_json, rehearsal_text};

fn example(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("../../plans")
        .join(name)
}

fn reading(name: &str) -> Reading {
    let reading = assess::read(&example(name).join("plan.toml"), &plan::from_disk);
    assert!(!reading.has_errors(), "{:?}", reading.mistakes);
    reading
}

/// The example with its cue sheet rehearsed in words only: a record that says that all it expects was seen.
fn checked(name: &str, cues: &str) -> (Reading, Check) {
    let reading = reading(name);
    let sheet = plan::read_cues(&example(name).join(cues), &reading, &plan::from_disk);
    let expectations = sheet
        .cues
        .unwrap()
        .expects
        .iter()
        .map(|e| assess::evidence::ExpectationRecord {
            id: e.id.clone(),
            passed: true,
            said: "seen".to_owned(),
        })
        .collect();
    let record = Kept::rehearsal(
        reading.rehearsed_digest.clone(),
        cues.to_owned(),
        "cues".to_owned(),
        1,
        "test".to_owned(),
        expectations,
        "result".to_owned(),
    );
    let shelf = Shelf {
        records: vec![record],
        cues: BTreeMap::from([(cues.to_owned(), Ok("cues".to_owned()))]),
        ..Shelf::default()
    };
    let check = check(&reading, &shelf);
    (reading, check)
}

fn rehearsed() -> (Reading, plan::CueSheet, rehearsal::Outcome, String) {
    let reading = reading("harrow-sound");
    let path = example("harrow-sound").join("cues/ferry-night.toml");
    let cues = plan::read_cues(&path, &reading, &plan::from_disk)
        .cues
        .unwrap();
    let line = reading.line.as_ref().unwrap();
    let mut records = Vec::new();
    let outcome =
        rehearsal::run(line, &cues, &mut |r| records.push(r.clone()), &mut |_| true).unwrap();
    let text = rehearsal_text(line, &cues, &outcome, &records);
    (reading, cues, outcome, text)
}

#[test]
fn regress_the_verdicts_of_both_examples() {
    let (_, check) = checked("harrow-sound", "cues/ferry-night.toml");
    insta::assert_snapshot!("check_harrow_sound", check_text(&check, false));
    let (_, check) = checked("pile-watch", "cues/soft-start.toml");
    insta::assert_snapshot!("check_pile_watch", check_text(&check, false));
}

#[test]
fn regress_the_rehearsal_of_the_first_example() {
    let (reading, cues, outcome, text) = rehearsed();
    insta::assert_snapshot!("rehearsal_harrow_sound", text);
    let json = rehearsal_json(reading.line.as_ref().unwrap(), &cues, &outcome);
    assert_eq!(json["status"], "met");
    assert_eq!(json["counts"]["passed"], cues.expects.len());
    let told = json["expectations"].as_array().unwrap();
    assert_eq!(told.len(), cues.expects.len());
    for (told, expectation) in told.iter().zip(&outcome.expectations) {
        assert_eq!(told["id"], format!("expect.{}", expectation.id));
        assert_eq!(told["passed"], expectation.passed);
        assert_eq!(told["seen"], expectation.said);
    }
    let modules = json["modules"].as_object().unwrap();
    assert_eq!(modules.len(), outcome.voltages_v.len());
    for (told, (low_v, high_v)) in modules.values().zip(&outcome.voltages_v) {
        assert_eq!(told["lowest_voltage_v"], *low_v);
        assert_eq!(told["highest_voltage_v"], *high_v);
    }
    let messages = &json["messages"];
    let sum = |keys: &[&str]| -> u64 { keys.iter().map(|k| messages[k].as_u64().unwrap()).sum() };
    assert!(sum(&["copies_due"]) > 0);
    assert_eq!(
        sum(&["copies_due"]),
        sum(&["delivered", "lost", "under_way"])
    );
    for row in text.lines() {
        assert!(row.chars().count() <= 130, "{row}");
        assert_eq!(row, row.trim_end());
    }
}

/// What nobody asked for and what did not happen is told among what happened.
#[test]
fn verif_too_much_voltage_and_an_input_kept_back_are_told() {
    let (reading, mut cues, outcome, _) = rehearsed();
    let module = plan::ModuleIx(0);
    cues.inputs = vec![plan::InputCue {
        id: "ping".to_owned(),
        at: cues.sounds[0].at,
        at_s: cues.sounds[0].at_s,
        module,
        topic: plan::TopicIx(0),
        values: None,
    }];
    let record = |what| Record {
        id: RecordId(1),
        parent: None,
        at: timeline::Ns(2_500_000_000),
        root: None,
        what,
    };
    let records = [
        record(What::OverVoltage {
            module,
            voltage_v: 47.8,
            highest_v: 30.0,
        }),
        record(What::Refused {
            what: KeptBack::Input(0),
            why: Refusal::NotWorking,
        }),
    ];
    let line = reading.line.as_ref().unwrap();
    let text = rehearsal_text(line, &cues, &outcome, &records);
    for row in [
        "    0:02.500  module.buoy has 47.80 V, more than the 30 V that it bears: what becomes of it is not known\n",
        "    0:02.500  input.ping is held back by its module, which does not work\n",
    ] {
        assert!(text.contains(row), "{text}");
    }
}

/// The frame of Kelp Gate in a night of these faults.
fn at_the_gate(faults: &str) -> String {
    let reading = reading("kelp-gate");
    let sheet = format!(
        "format = 1\n[rehearsal]\nname = \"Night\"\nduration = \"30 s\"\nseed = 1\nwind = \"5 m/s\"\n{faults}"
    );
    let cues = plan::read_cues(Path::new("cues.toml"), &reading, &|_| {
        Ok(sheet.clone().into())
    });
    let (line, cues) = (reading.line.unwrap(), cues.cues.unwrap());
    let mut records = Vec::new();
    let outcome = rehearsal::run(&line, &cues, &mut |r| records.push(r.clone()), &mut |_| {
        true
    })
    .unwrap();
    rehearsal_text(&line, &cues, &outcome, &records)
}

/// That nothing was lost or late is said only where that is known and all: not of a flood without a bound, nor of a swap that gives too much; and what
/// collapses is named.
#[test]
fn verif_a_fault_is_told_with_what_is_unknown_of_it() {
    const NOTHING: &str = "nothing was lost or late";
    let fault = |keys: &str| format!("[fault.f]\nat = \"5 s\"\nuntil = \"9 s\"\n{keys}\n");
    let none = fault("kind = \"bit-errors\"\nof = \"span.trunk\"\nrate = 0");
    let text = at_the_gate(&none);
    assert!(
        text.contains("fault.f: no bit is wrong on span.trunk"),
        "{text}"
    );
    assert!(text.contains(NOTHING), "{text}");
    // `check` has a bound for what the meter publishes, and none for the frame.
    let flood = |module: &str| {
        fault(&format!(
            "kind = \"flood\"\nof = \"module.{module}\"\ntopic = \"water/current\"\nevery = \"1 s\"\nlimited = false"
        ))
    };
    assert!(at_the_gate(&flood("meter")).contains(NOTHING));
    let text = at_the_gate(&flood("frame"));
    // At 5, 6, 7 and 8 s.
    let unknown = "water/current: 0 lost and 0 late while it held, 0 and 0 afterwards; of 4 copies delivered while it held no bound says whether in time";
    assert!(text.contains(unknown) && !text.contains(NOTHING), "{text}");
    let swap = fault(
        "kind = \"swapped\"\nof = \"supply.mains\"\nvoltage = \"60 V\"\nresistance = \"0.2 ohm\"",
    );
    let text = at_the_gate(&swap);
    let over = "    module.hut had up to 59.97 V, more than the 56 V that it bears: what becomes of it is not known\n";
    assert!(text.contains(over) && !text.contains(NOTHING), "{text}");
    // Some 47 V behind some 751 ohm give at most 0.74 W of 0.77 W.
    let bad = fault("kind = \"bad-contact\"\nof = \"span.to-meter\"\nresistance = \"750 ohm\"");
    let text = at_the_gate(&bad);
    let collapse = "    0:05.000  the line collapses at module.meter: it can carry 95.3 % of what is asked of it\n";
    assert!(text.contains(collapse), "{text}");
    assert!(text.contains("module.meter goes down (0.00 V)"), "{text}");
    assert!(!text.contains("module.hut goes down"), "{text}");
}

/// What is held back again and again is told some times, and then in numbers.
#[test]
fn verif_inputs_held_back_alike_are_told_in_numbers() {
    let (reading, cues, outcome, _) = rehearsed();
    let held_back = |number: usize| Record {
        id: RecordId(number as u64),
        parent: None,
        at: timeline::Ns(2_500_000_000),
        root: None,
        what: What::Refused {
            what: KeptBack::Input(cues.inputs.len() + number),
            why: Refusal::Topic,
        },
    };
    let records: Vec<Record> = (0..20_000).map(held_back).collect();
    let line = reading.line.as_ref().unwrap();
    let text = rehearsal_text(line, &cues, &outcome, &records);
    let told = text.lines().filter(|row| row.contains("is held back by"));
    assert_eq!(told.count(), 21);
    assert!(
        text.contains("  ... and 19980 more like \"input.outside-000001 is held back by the topic's at_most\"\n"),
        "{text}"
    );
}

/// No row is too long for a page, and colour changes no word.
#[test]
fn verif_rows_fit_a_page_and_colour_adds_no_words() {
    let (_, check) = checked("harrow-sound", "cues/ferry-night.toml");
    let plain = check_text(&check, false);
    for row in plain.lines() {
        assert!(row.chars().count() <= 112, "{row}");
        assert_eq!(row, row.trim_end());
    }
    let mut bare = check_text(&check, true);
    assert!(bare.contains('\u{1b}'));
    for code in ["32", "33", "31;1", "35", "0"] {
        bare = bare.replace(&format!("\u{1b}[{code}m"), "");
    }
    assert_eq!(bare, plain);
}

/// Every number of the JSON is finite, and each verdict that is known has its evidence.
#[test]
fn verif_the_json_holds_what_the_check_holds() {
    let (reading, check) = checked("harrow-sound", "cues/ferry-night.toml");
    assert_eq!(check.status(), Status::Met);
    let json = check_json(&check, "test", &reading.mistakes, &reading.sources);
    let all = json["requirements"].as_array().unwrap();
    assert_eq!(all.len(), check.requirements.len());
    for (told, judged) in all.iter().zip(&check.requirements) {
        assert_eq!(told["id"], judged.id);
        assert_eq!(told["ruling"], judged.word().as_str());
        for verdict in told["verdicts"].as_array().unwrap() {
            assert!(verdict["value"]["value"].is_number());
            assert!(verdict["evidence"]["kind"].is_string());
        }
    }
}

/// Of a plan that cannot be read it is not known that it has no requirements.
#[test]
fn verif_a_plan_that_says_too_little_is_not_told_to_add_requirements() {
    let text = |plan: &'static str| {
        let reading = assess::read(Path::new("plan.toml"), &|_| Ok(plan.as_bytes().to_vec()));
        check_text(&check(&reading, &Shelf::default()), false)
    };
    let torn = text("format = 1\n[site]\nlatitude = \"no\"\n[requirement.a]\nthat = \"voltage\"\n");
    assert!(!torn.contains("has no requirements"), "{torn}");
    assert!(torn.contains("unknown  plan"), "{torn}");
}
