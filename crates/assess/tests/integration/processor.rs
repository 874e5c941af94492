//! What detectors ask of the processor that runs them.

use assess::Word;
use assess::input::detector_spec;
use detect::Detector;
use plan::DetectorIx;

use crate::support::{checked, close, good, known, requirement};

const BOOT: &str = "boot = { time = \"2 s\", power = \"3 W\" }";

fn with(processor: &str) -> (&'static str, String) {
    (BOOT, format!("{BOOT}\nprocessor = {{ {processor} }}"))
}

/// The detector's own count over what the processor has, in percent; with less than it asks, broken.
#[test]
fn verif_the_share_is_what_the_detectors_ask_of_what_there_is() {
    let line = good(&[]).line.unwrap();
    let spec = detector_spec(&line, DetectorIx(0), None).unwrap();
    let cost = Detector::new(&spec).unwrap().cost();
    for (has, word) in [(2.0, Word::Met), (1.1, Word::Marginal), (0.9, Word::Broken)] {
        let (from, to) = with(&format!(
            "operations_per_s = {:?}",
            has * cost.operations_per_s.unwrap()
        ));
        let check = checked(&[(from, &to)]);
        close(known(&check, "processor").value.value, 100.0 / has, 1e-9);
        assert_eq!(requirement(&check, "processor").word(), word);
        // What a narrow margin says belongs to the sentence, not to the detector that is told last.
        let told = known(&check, "processor").why.find("marginal");
        let end = known(&check, "processor").why.find('\n').unwrap();
        assert_eq!(told.is_some_and(|at| at < end), word == Word::Marginal);
    }
}

/// Each detector has a line of its own, the one with most to do first, whatever its name; a great excess is told in times as well.
#[test]
fn verif_each_detector_has_its_line() {
    let line = good(&[]).line.unwrap();
    let spec = detector_spec(&line, DetectorIx(0), None).unwrap();
    let cost = Detector::new(&spec).unwrap().cost();
    let (from, to) = with(&format!(
        "operations_per_s = {:?}",
        0.1 * cost.operations_per_s.unwrap()
    ));
    let easy = "[detector.an-easy-one]\non = \"module.ear.sensor.one\"\nstages = [\n  { level = \"rms\", window = \"0.2 s\" },\n  { on_above = \"150 dB re 1 uPa\", off_below = \"145 dB re 1 uPa\", shortest = \"0.3 s\", longest = \"3 s\", hold_off = \"5 s\" },\n]\n\n[traffic]";
    let check = checked(&[(from, &to), ("[traffic]", easy)]);
    let lines: Vec<&str> = known(&check, "processor").why.lines().collect();
    let [all, most, least] = lines.as_slice() else {
        panic!("{lines:?}")
    };
    assert!(all.ends_with(" times as many"), "{all}");
    assert!(most.starts_with("detector.call "), "{most}");
    assert!(least.starts_with("detector.an-easy-one "), "{least}");
}

/// Memory and draw each have their verdict: bytes over bytes; operations a second times the energy of one, over the 2 W of the
/// state in which the ear works.
#[test]
fn verif_memory_and_draw_are_judged_apart() {
    let line = good(&[]).line.unwrap();
    let spec = detector_spec(&line, DetectorIx(0), None).unwrap();
    let cost = Detector::new(&spec).unwrap().cost();
    let energy_j = 0.5 / cost.operations_per_s.unwrap();
    let (from, to) = with(&format!(
        "operations_per_s = 1e9, memory = \"{} B\", energy_per_operation = \"{:?} J\"",
        4 * cost.state_bytes,
        energy_j
    ));
    let changes = [
        (from, to.as_str()),
        (
            "loads = { listening = \"2 W\" }",
            "loads = { listening = \"2 W\" }\nstarts_in = \"listening\"",
        ),
    ];
    let check = checked(&changes);
    let shares: Vec<(String, f64)> = requirement(&check, "processor")
        .verdicts
        .iter()
        .map(|v| match v {
            assess::Verdict::Known(k) => (k.subject.clone(), k.value.value),
            other => panic!("{}: {}", other.subject(), other.why()),
        })
        .collect();
    let share = |what: &str| shares.iter().find(|(s, _)| s.ends_with(what)).unwrap().1;
    close(share("memory"), 25.0, 1e-9);
    close(share("draw"), 25.0, 1e-6);
    assert!(share("operations") < 5.0);
}

#[test]
fn verif_a_module_that_says_nothing_of_its_processor_leaves_it_open() {
    let check = checked(&[]);
    assert!(check.standing.iter().all(|j| j.id != "processor"));
    let open = |check: &assess::Check| {
        check
            .open
            .iter()
            .any(|o| o.contains("processors keep up") && o.contains("module.ear"))
    };
    assert!(open(&check));
    let (from, to) = with("operations_per_s = 1e9");
    assert!(!open(&checked(&[(from, &to)])));
}

/// A detector that cannot be built is told also where no requirement reads it: here the cells of the spectrogram are wider
/// than the band. One that can leaves no word.
#[test]
fn verif_a_detector_that_cannot_be_built_is_told() {
    let stages = "  { level = \"rms\", window = \"0.2 s\" },\n  { background = \"median\", over = \"10 s\" },\n  { on_above = \"8 dB\", off_below = \"5 dB\", shortest = \"0.3 s\", longest = \"3 s\", hold_off = \"5 s\" },\n";
    let ridge = |window: &str| {
        format!(
            "  {{ spectrogram = \"hann\", window = \"{window}\" }},\n  {{ background = \"median\", over = \"10 s\" }},\n  {{ ridge = \"any\", above = \"8 dB\", slope = [\"0 Hz/s\", \"400 Hz/s\"], shortest = \"0.3 s\", longest = \"3 s\", hold_off = \"5 s\" }},\n"
        )
    };
    let too_short = checked(&[(stages, &ridge("1 ms"))]);
    assert_eq!(requirement(&too_short, "detector").word(), Word::Unknown);
    // The detector is named once, as what the verdict is about.
    let why = crate::support::why_unknown(&too_short, "detector");
    assert!(why.starts_with("stage 2: "), "{why}");
    let fits = checked(&[(stages, &ridge("0.1 s"))]);
    assert!(fits.standing.iter().all(|j| j.id != "detector"));
}
