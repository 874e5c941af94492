//! What counts although the plan does not write it is told, and no longer when the plan writes it.

use std::path::Path;

use assess::{Shelf, check};

use crate::support::checked;

/// What is told of a value that is not written, and the change that writes it.
const WRITTEN: &[(&str, &str, &str)] = &[
    (
        "no order of the band is written: detector.call",
        "band = [\"80 Hz\", \"300 Hz\"]",
        "band = [\"80 Hz\", \"300 Hz\"], order = 4",
    ),
    (
        "no order of the band is written: detector.call",
        "{ level = \"rms\", window = \"0.2 s\" },\n  { background = \"median\", over = \"10 s\" },",
        "{ spectrogram = \"hann\", window = \"0.2 s\" },\n  { background = \"median\", over = \"10 s\" },\n  { likeness = [{ after = \"0 s\", frequency = \"120 Hz\" }, { after = \"1 s\", frequency = \"200 Hz\" }], width = \"20 Hz\" },",
    ),
    (
        "no `confirm` is written: detector.call",
        "longest = \"3 s\"",
        "longest = \"3 s\", confirm = \"early\"",
    ),
    (
        "no `starts` is written: module.base.output.lamp",
        "power = \"10 W\"",
        "power = \"10 W\"\nstarts = \"off\"",
    ),
    (
        "no `expiry` is written: uplink.shore",
        "session = \"5 s\"",
        "session = \"5 s\"\nexpiry = \"1 d\"",
    ),
    (
        "no `self_noise` is written: module.ear.sensor.one",
        "settles_in = \"1 s\"",
        "settles_in = \"1 s\"\nself_noise = [{ frequency = \"100 Hz\", level = \"40 dB re 1 uPa2/Hz\" }]",
    ),
    (
        "no `effective_bits` is written: module.ear.sensor.one",
        "bits = 16,",
        "bits = 16, effective_bits = 14,",
    ),
    (
        "no high-pass before the converter, because none is written: module.ear.sensor.one",
        "settles_in = \"1 s\"",
        "settles_in = \"1 s\"\nhigh_pass = { corner = \"5 Hz\", poles = 1 }",
    ),
    (
        "storage.card may be filled to the last byte",
        "capacity = \"1 TB\"",
        "capacity = \"1 TB\"\nkeep_free = \"5 %\"",
    ),
    (
        "no recovery_slip",
        "duration = \"1 d\"",
        "duration = \"1 d\"\nrecovery_slip = \"1 d\"",
    ),
    (
        "uplink.shore can be reached at any time",
        "session = \"5 s\"",
        "session = \"5 s\"\nwindows = { first = \"0 s\", period = \"1 h\", width = \"10 min\" }",
    ),
];

fn told(changes: &[(&str, &str)], what: &str) -> bool {
    checked(changes).assumed.iter().any(|a| a.contains(what))
}

#[test]
fn verif_what_is_not_written_is_told_as_assumed() {
    for (what, from, to) in WRITTEN {
        assert!(told(&[], what), "{what}: {:?}", checked(&[]).assumed);
        let written = checked(&[(*from, *to)]).assumed;
        let still = written.iter().any(|a| a.contains(what));
        assert!(!still, "{what}: {written:?}");
    }
}

/// Spreads that change no verdict are told as open, and so is what no verdict answers.
#[test]
fn verif_what_no_verdict_answers_is_told() {
    let nominal = checked(&[]);
    assert!(nominal.open.iter().all(|o| !o.contains('±')));
    let spread = checked(&[("depth = \"20 m\"", "depth = \"20 m ± 90 %\"")]);
    assert_eq!(spread.requirements, nominal.requirements);
    assert!(
        spread
            .open
            .iter()
            .any(|o| o.contains("module.ear.position.depth")),
        "{:?}",
        spread.open
    );
    let about = |check: &assess::Check, what: &str| check.open.iter().any(|o| o.contains(what));
    assert!(about(&nominal, "start-up in time"));
    assert!(about(&nominal, "how far each hydrophone hears"));
    assert!(about(&nominal, "no sections"));
    assert!(!about(&nominal, "panels and battery"));
    let sun = "kind = \"solar-battery\"\npanels = { peak_power_each = \"20 W\", tilt = \"30 deg\", faces = 4, loss = \"15 %\" }\nbattery = { chemistry = \"agm\", capacity = \"9 Ah\", voltage = \"12 V\" }";
    let solar = checked(&[("kind = \"bench\"", sun)]);
    assert!(about(&solar, "panels and battery"), "{:?}", solar.open);
}

/// The small plan writes these; without them they are assumed.
#[test]
fn verif_what_is_no_longer_written_is_told_as_assumed() {
    for (from, to, what) in [
        (
            "priority = 0\n",
            "",
            "priority 1, because none is written: topic.alert/call",
        ),
        (
            "to = \"on\", for = \"20 s\"",
            "to = \"on\"",
            "no `for` is written: behaviour.act",
        ),
        (
            "sending_state = \"sending\"\n",
            "",
            "no `sending_state` is written: uplink.shore",
        ),
        (
            "passes = { power = \"always\", data = \"running\" }\n",
            "",
            "module.base always passes power on",
        ),
        (
            "conductor = \"18 AWG\"",
            "conductor = \"1.0 mm2 class 5\"",
            "`conductor` does not end with the word tinned: span.cable",
        ),
    ] {
        assert!(!told(&[], what), "{what}");
        assert!(told(&[(from, to)], what), "{what}");
    }
}

/// A limit on a cost says no time: it counts over 30 d, which is told; requirements that do not say how binding they are count
/// as `shall`, which is told too.
#[test]
fn verif_what_a_requirement_does_not_say_is_told_as_assumed() {
    let over = "a cost counts over 30 d, because a limit on it says no time: requirement.budget";
    assert!(told(&[], over));
    let budget = "that = \"uplink-cost\"\n";
    let of_must = |changes: &[(&str, &str)]| {
        let assumed = checked(changes).assumed;
        assumed.into_iter().find(|a| a.contains("`must`")).unwrap()
    };
    assert!(of_must(&[]).contains("requirement.budget"));
    let written = of_must(&[(budget, "that = \"uplink-cost\"\nmust = \"shall\"\n")]);
    assert!(!written.contains("requirement.budget"), "{written}");
    assert!(written.contains("requirement.card"), "{written}");
}

/// The catalogue part of the cable writes the slack of the example; without that line the spans have none, which is told.
#[test]
fn verif_slack_that_is_not_written_is_told_as_assumed() {
    const SLACK: &str = "slack = \"2 %\"\n";
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../plans/harrow-sound/plan.toml");
    let told = |slack: &str| {
        let fetch = |file: &Path| {
            let text = String::from_utf8(plan::from_disk(file)?).unwrap();
            Ok(text.replace(SLACK, slack).into_bytes())
        };
        let reading = assess::read(&path, &fetch);
        assert!(!reading.has_errors(), "{:?}", reading.mistakes);
        let assumed = check(&reading, &Shelf::default()).assumed;
        let mut of_span = assumed
            .into_iter()
            .filter(|a| a.contains("span.buoy-marker is"));
        of_span.next().unwrap()
    };
    assert!(told(SLACK).ends_with("the sections and its slack"));
    assert!(told("").ends_with("the sections without slack"));
}
