//! `dockside`: the sheet, its file of boxes, readings judged, faults ranked, settings held.

use std::fs;

use serde_json::Value;

use crate::support::{Demo, demo, expect_status, run, stderr, stdout};

fn document(args: &[&str]) -> Value {
    let output = run(&[&["--format", "json", "dockside"], args].concat());
    serde_json::from_str(&stdout(&output)).unwrap()
}

/// A file beside the plan of a copy with every step of the network at what is expected and these with so much more; nothing else is read.
pub(crate) fn read_on_the_quay(demo: &Demo, more: &[&str], by: f64) -> String {
    let sheet = document(&[&demo.plan]);
    let mut rows = "step,reading,unit,initials,note\n".to_owned();
    for step in sheet["steps"].as_array().unwrap() {
        let id = step["step"].as_str().unwrap();
        let metered = ["open.", "loop.", "joined.", "volts.", "amps."];
        let Some(value) = step["expected"]["value"].as_f64() else {
            continue;
        };
        if metered.iter().any(|begin| id.starts_with(begin)) {
            let value = if more.contains(&id) {
                value + by
            } else {
                value
            };
            rows.push_str(&format!(
                "{id},{value},{},ab,\n",
                step["unit"].as_str().unwrap()
            ));
        }
    }
    let path = demo.folder.path().join("readings.csv");
    fs::write(&path, rows).unwrap();
    path.display().to_string()
}

#[test]
fn verif_the_sheet_has_a_box_for_each_step_and_its_file_reads_back() {
    let demo = demo("harrow-sound", false);
    let json = document(&[&demo.plan]);
    assert_eq!(json, document(&[&demo.plan]));
    assert_eq!(json["format"], "dockside/1");
    let text = run(&["dockside", &demo.plan]);
    expect_status(&text, 0);
    let text = stdout(&text);
    let csv = demo.folder.path().join("boxes.csv").display().to_string();
    expect_status(&run(&["dockside", &demo.plan, "--csv", &csv]), 0);
    expect_status(&run(&["dockside", &demo.plan, "--csv", &csv]), 2);
    expect_status(&run(&["dockside", &demo.plan, "--csv", &csv, "--force"]), 0);
    let boxes = fs::read_to_string(&csv).unwrap();
    let steps = json["steps"].as_array().unwrap();
    assert_eq!(boxes.lines().count(), steps.len() + 1);
    for step in steps {
        let id = step["step"].as_str().unwrap();
        assert!(text.contains(id) && boxes.contains(id), "{id}");
    }
    // Nothing taken: nothing off, and something open.
    expect_status(&run(&["dockside", &demo.plan, &csv]), 3);
    for kind in [
        "limit.",
        "apart.",
        "insulation.",
        "alive.",
        "message.",
        "level.",
        "clock.",
    ] {
        assert!(boxes.contains(kind), "{kind}");
    }
}

/// Two ohm too much in the loop of one leg and all else as expected: something that the loop alone sees is no single fault of the network; where the network sees it too it is a
/// poor contact, and the further reading is named.
#[test]
fn verif_readings_are_judged_and_faults_ranked() {
    let demo = demo("kelp-gate", false);
    let sound = read_on_the_quay(&demo, &[], 0.0);
    let output = run(&["dockside", &demo.plan, &sound]);
    expect_status(&output, 3);
    assert!(stdout(&output).contains("0 off"));
    assert!(stdout(&output).contains("call for no fault"));
    let off = read_on_the_quay(&demo, &["loop.to-ear"], 2.0);
    let output = run(&["dockside", &demo.plan, &off]);
    expect_status(&output, 1);
    let text = stdout(&output);
    assert!(text.contains("OFF  loop.to-ear"), "{text}");
    assert!(text.contains("span.to-ear"), "{text}");
    // A leak that draws 20 mA at the end of the line, as the currents and voltages of every state tell it.
    let only = demo.folder.path().join("only.csv");
    let rows =
        "step,reading,unit,initials,note\namps.off.mains,21.5,mA,ab,\nvolts.off.hut,48,V,ab,\n";
    fs::write(&only, rows).unwrap();
    let output = run(&["dockside", &demo.plan, &only.display().to_string()]);
    expect_status(&output, 1);
    let text = stdout(&output);
    assert!(text.contains("a leak of"), "{text}");
    assert!(text.contains("Read next:"), "{text}");
}

#[test]
fn verif_rows_that_cannot_be_used_are_all_told_with_their_lines() {
    let demo = demo("kelp-gate", false);
    let path = demo.folder.path().join("wrong.csv");
    fs::write(
        &path,
        "step,reading,unit,initials,note\nloop.trunc,11,ohm,,\nloop.trunk,eleven,ohm,,\nopen.mains,48,A,,\n",
    )
    .unwrap();
    let output = run(&["dockside", &demo.plan, &path.display().to_string()]);
    expect_status(&output, 2);
    let told = stderr(&output);
    for what in [
        "line 2",
        "loop.trunk`?",
        "line 3",
        "eleven",
        "line 4",
        "help:",
    ] {
        assert!(told.contains(what), "{what}: {told}");
    }
    for wrong in [
        &["--temperature", "99"][..],
        &["--meter-volts", "0.5"],
        &["--meter-ohms", "1,0"],
        &["--calibrator-level", "140"],
        &["--settings", "x"],
    ] {
        expect_status(&run(&[&["dockside", &demo.plan], wrong].concat()), 2);
    }
}

/// What the pack writes reads back as in the plan; a value, a lost and a strange key are told.
#[test]
fn verif_settings_are_held_against_those_of_the_pack() {
    let demo = demo("harrow-sound", false);
    let pack = demo.folder.path().join("pack");
    run(&["workpack", &demo.plan, "--out", &pack.display().to_string()]);
    let file = pack.join("settings/upper.txt");
    let text = fs::read_to_string(&file).unwrap();
    let held = |text: &str| {
        fs::write(&file, text).unwrap();
        let path = file.display().to_string();
        run(&[
            "dockside",
            &demo.plan,
            "--module",
            "module.upper",
            "--settings",
            &path,
        ])
    };
    let same = held(&text);
    expect_status(&same, 0);
    assert!(stdout(&same).contains("0 differ, 0 missing, 0 strange"));
    let key = "detector.upcall-upper.on = ";
    let line = text.lines().find(|l| l.starts_with(key)).unwrap();
    let changed = text.replace(line, &format!("{key}\"module.lower.sensor.ear\""));
    let differs = held(&format!("{changed}own = 1\n"));
    expect_status(&differs, 1);
    let told = stdout(&differs);
    assert!(told.contains("1 differ, 0 missing, 1 strange"), "{told}");
    let missing = held(&text.replace(&format!("{line}\n"), ""));
    expect_status(&missing, 1);
    assert!(stdout(&missing).contains("missing  detector.upcall-upper.on"));
    expect_status(&held("no equals sign\n"), 2);
}
