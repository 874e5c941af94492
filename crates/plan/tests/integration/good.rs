//! Good plans: what they resolve to, and what does not matter.

use std::path::Path;

use plan::Line;

use crate::support::{CUES, Files, SMALL, changed};

fn line(text: &str) -> Line {
    let reading = Files::one(text).read();
    assert!(!reading.has_errors(), "{:?}", reading.mistakes);
    reading.line.expect("a plan without errors gives a line")
}

/// The module hangs 22 m down the riser; the cable is that times 1.02; 20 EUR are 2000 cents.
#[test]
fn verif_the_small_plan_resolves_to_what_it_says() {
    let line = line(SMALL);
    let upper = line.module_by_id("upper").unwrap();
    assert!((line.modules[upper.0].depth_m - 22.0).abs() < 1e-12);
    assert!((line.spans[0].length_m - 22.0 * 1.02).abs() < 1e-12);
    assert!((line.sea.latitude_deg.si - 57.0).abs() < 1e-9);
    assert!((line.storages[0].capacity_bytes.si - 64e9).abs() < 1e-3);
    let sensor = &line.modules[upper.0].sensors[0];
    assert!((sensor.chain.as_ref().unwrap().sensitivity_db.db + 170.0).abs() < 1e-12);
    assert!(
        matches!(&line.requirements[0].that, plan::That::UplinkCost { at_most, .. } if at_most.minor == 2000)
    );
    let files = Files::one(SMALL).with("cues.toml", CUES);
    let reading = files.read();
    assert!(reading.mistakes.is_empty(), "{:?}", reading.mistakes);
    let cues = files.read_cues(&reading);
    assert!(cues.mistakes.is_empty(), "{:?}", cues.mistakes);
}

/// A position from the anchor is counted from the seabed: 85 m - 30 m.
#[test]
fn verif_from_anchor_is_counted_from_the_seabed() {
    let text = changed(SMALL, "from_top = \"22 m\"", "from_anchor = \"30 m\"");
    let line = line(&text);
    let upper = line.module_by_id("upper").unwrap();
    assert!((line.modules[upper.0].depth_m - 55.0).abs() < 1e-12);
    // Along the rope it is 90 m - 30 m from the buoy, and 2 % more of cable.
    assert!((line.spans[0].length_m - 60.0 * 1.02).abs() < 1e-9);
}

#[test]
fn verif_the_plan_wins_over_its_part() {
    let text = changed(
        SMALL,
        "sensor.ear = { part = \"part.ear\" }",
        "sensor.ear = { part = \"part.ear\", gain = \"26 dB\", adc = { bits = 24 } }",
    );
    let line = line(&text);
    let chain = line.modules[line.module_by_id("upper").unwrap().0].sensors[0]
        .chain
        .clone()
        .unwrap();
    assert!((chain.gain_db.db - 26.0).abs() < 1e-12);
    assert_eq!(chain.bits, 24);
    assert!((chain.rate_hz.si - 8000.0).abs() < 1e-9);
}

/// Comments, blanks, line ends and the order of tables do not change the digest; any value does.
#[test]
fn verif_the_digest_is_of_what_the_plan_says() {
    let digest = |text: &str| Files::one(text).read().digest;
    let own = digest(SMALL);
    assert_eq!(digest(&SMALL.replace('\n', "\r\n")), own);
    assert_eq!(digest(&format!("{SMALL}\n# a comment\n\n")), own);
    let (head, tail) = SMALL.split_at(SMALL.find("[traffic]").unwrap());
    let tables: Vec<&str> = head.splitn(2, "[deployment]").collect();
    let turned = format!("format = 1\n{tail}\n[deployment]{}", tables[1]);
    assert_eq!(digest(&turned), own);
    for (from, to) in [
        ("\"85 m\"", "\"86 m\""),
        ("\"2 %\"", "\"3 %\""),
        ("listening = \"0.5 W\"", "listening = \"0.5 W ± 10 %\""),
        ("at_most = \"20 EUR\"", "at_most = \"21 EUR\""),
        ("name = \"Small\"", "name = \"small\""),
    ] {
        assert_ne!(digest(&changed(SMALL, from, to)), own, "{from}");
    }
    assert_eq!(digest(&changed(SMALL, "\"85 m\"", "\"8500 cm\"")), own);
}

/// The examples read without errors, and their cue sheets with them.
#[test]
fn verif_the_examples_read_without_mistakes() {
    let plans = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../plans");
    let mut seen = 0;
    for folder in std::fs::read_dir(plans).unwrap() {
        let folder = folder.unwrap().path();
        let file = folder.join("plan.toml");
        if !file.is_file() {
            continue;
        }
        let reading = plan::read(&file, &plan::from_disk);
        assert!(
            reading.mistakes.is_empty(),
            "{}: {:?}",
            file.display(),
            reading.mistakes
        );
        for cues in std::fs::read_dir(folder.join("cues")).unwrap() {
            let cues = plan::read_cues(&cues.unwrap().path(), &reading, &plan::from_disk);
            assert!(cues.mistakes.is_empty(), "{:?}", cues.mistakes);
            seen += 1;
        }
    }
    assert!(seen >= 2);
}
