//! Every generated plan reads without errors, and its detectors can be built.

use std::io::Cursor;

use assess::input::{detector_spec, self_noise, sensor_chain};
use detect::Detector;
use jiff::civil::{Date, date};
use plan::{DetectorIx, Mistake};
use proptest::prelude::*;

use super::ask::{Asked, ask, read, read_cues};
use super::cues::cues_text;
use super::questions::{Answers, Ask};
use super::template::plan_text;

const TODAY: Date = date(2027, 3, 15);

fn answers(given: &[(Ask, &str)]) -> Answers {
    let mut answers = Answers::default();
    for (ask, text) in given {
        answers.set(*ask, Some((*text).to_owned()));
    }
    answers
}

/// Fails with the text when it has an error, when a sensor or detector cannot be built, when the noise of a hydrophone is
/// not given all over the band, or when the cue sheet has an error.
fn check(answers: &Answers) {
    let text = &plan_text(answers, TODAY).unwrap();
    let reading = read(text);
    let errors: Vec<&Mistake> = reading.mistakes.iter().filter(|m| m.is_error()).collect();
    assert!(errors.is_empty(), "{errors:#?}\n{text}");
    let cues = cues_text(answers, TODAY).unwrap();
    let cues_reading = read_cues(&cues, &reading);
    assert!(
        cues_reading.cues.is_some(),
        "{:#?}\n{cues}",
        cues_reading.mistakes
    );
    let line = reading.line.unwrap();
    assert!(!line.detectors.is_empty());
    for (index, detector) in line.detectors.iter().enumerate() {
        sensor_chain(&line, detector.on).unwrap();
        let spec = detector_spec(&line, DetectorIx(index), None).unwrap();
        let (low_hz, high_hz) = hearing::band_hz(&spec).unwrap();
        let noise = self_noise(&line, detector.on).unwrap();
        let (first_hz, last_hz) = (noise[0].0, noise[noise.len() - 1].0);
        assert!(first_hz < low_hz && high_hz < last_hz, "{text}");
        if let Err(error) = Detector::new(&spec) {
            panic!("{error}\n{text}");
        }
    }
}

#[test]
fn verif_the_plan_of_no_answers_reads_without_errors() {
    check(&Answers::default());
    let text = plan_text(&Answers::default(), TODAY).unwrap();
    let warnings: Vec<String> = read(&text)
        .mistakes
        .iter()
        .map(|m| m.message.clone())
        .collect();
    // A hydrophone that does not exist yet has no calibration; nothing else is amiss.
    assert!(
        warnings.iter().all(|w| w.contains("calibration")),
        "{warnings:?}"
    );
    for line in text
        .lines()
        .filter(|l| l.starts_with("latitude") || l.starts_with("start ="))
    {
        assert!(line.ends_with("# assumed"), "{line}");
    }
}

#[test]
fn verif_answers_stand_in_the_plan_unmarked() {
    let given = [
        (Ask::Name, "A \"quoted\" \\ name"),
        (Ask::Latitude, "57.3 deg"),
        (Ask::Start, "2027-06-01T06:00:00Z"),
        (Ask::Band, "10 Hz, 25 kHz"),
        (Ask::Depths, "3 m, 12.5 m, 30 m"),
        (Ask::Supply, "primary-cells"),
        (Ask::Threshold, "9 dB"),
    ];
    check(&answers(&given));
    let text = plan_text(&answers(&given), TODAY).unwrap();
    for line in [
        "name = \"A \\\"quoted\\\" \\\\ name\"",
        "latitude = \"57.3 deg\"",
        "start = 2027-06-01T06:00:00Z",
        "kind = \"primary-cells\"",
        "  { band = [\"10 Hz\", \"25 kHz\"] },",
        "position = { section = \"section.riser\", from_top = \"12.5 m\" }",
        "longitude = \"0 deg\"  # assumed",
    ] {
        assert!(text.lines().any(|l| l == line), "{line} is not in\n{text}");
    }
    let name = read(&text).line.unwrap().deployment.name;
    assert_eq!(name, "A \"quoted\" \\ name");
}

/// A battery that is charged is asked for its winter, one that is not for its life, and a supply without one for neither; every line for its start.
#[test]
fn verif_a_battery_is_asked_whether_it_lives() {
    use plan::That;
    for (kind, winters, lives) in [
        ("solar-battery", 1, 0),
        ("primary-cells", 0, 1),
        ("bench", 0, 0),
        ("vessel", 0, 0),
        ("shore", 0, 0),
    ] {
        let given = answers(&[(Ask::Supply, kind)]);
        check(&given);
        let reading = read(&plan_text(&given, TODAY).unwrap());
        let line = reading.line.as_ref().unwrap();
        let asked =
            |is: fn(&That) -> bool| line.requirements.iter().filter(|r| is(&r.that)).count();
        assert_eq!(asked(|t| matches!(t, That::OutageHours { .. })), winters);
        assert_eq!(asked(|t| matches!(t, That::StartUp { .. })), 1);
        assert_eq!(asked(|t| matches!(t, That::CellLife { .. })), lives);
        // What nobody answered holds, but for what a hull, a rope and an anchor that nobody has chosen yet may bear: that is unknown.
        const NOT_CHOSEN: [&str; 4] = ["rope-load", "anchor-hold", "afloat", "clear-of-bed"];
        let check = assess::check(&reading, &assess::Shelf::default());
        let chosen = |j: &&assess::Judged| {
            j.word() != assess::Word::Unknown || !NOT_CHOSEN.contains(&j.id.as_str())
        };
        let not_held: Vec<&str> = check
            .not_held()
            .filter(chosen)
            .map(|j| j.id.as_str())
            .collect();
        assert_eq!(not_held, [""; 0], "{kind}");
        // Of its supply nothing is left open but whether an empty battery wakes by itself, of which nothing can be known before cells and charger are chosen.
        let of_supply = check.open.iter().filter(|o| o.contains("supply.main"));
        let of_supply: Vec<&String> = of_supply.collect();
        assert_eq!(of_supply.len(), winters, "{kind}: {of_supply:?}");
        assert!(of_supply.iter().all(|o| o.contains("`wakes-from-flat`")));
    }
}

#[test]
fn verif_answers_that_cannot_be_read_are_refused_by_flag() {
    for (ask, text) in [
        (Ask::WaterDepth, "80"),
        (Ask::Depths, "20 m, 10 m"),
        (Ask::Band, "60 Hz"),
        (Ask::Band, "60 Hz, 1 m"),
        (Ask::Start, "2027-02-30"),
        (Ask::Start, "2027-03-15T06:00:00"),
        (Ask::Supply, "wind"),
        (Ask::Threshold, "6"),
    ] {
        let error = plan_text(&answers(&[(ask, text)]), TODAY).unwrap_err();
        assert!(error.to_string().starts_with(ask.flag()), "{text}: {error}");
    }
}

#[test]
fn verif_a_wrong_answer_is_asked_again() {
    let mut given = answers(&[]);
    // Name, latitude without its unit and then right, all else empty.
    let mut input = Cursor::new(format!("Bay\n95\n55 deg\n{}", "\n".repeat(13)));
    let mut shown = Vec::new();
    assert_eq!(
        ask(&mut given, TODAY, &mut input, &mut shown).unwrap(),
        Asked::All
    );
    assert_eq!(given.get(Ask::Latitude), Some("55 deg"));
    assert_eq!(given.missing().len(), 13);
    let shown = String::from_utf8(shown).unwrap();
    assert_eq!(shown.matches("Latitude").count(), 2, "{shown}");
}

#[test]
fn verif_an_end_of_input_cancels() {
    let mut input = Cursor::new("Bay\n");
    let asked = ask(&mut answers(&[]), TODAY, &mut input, &mut Vec::new());
    assert_eq!(asked.unwrap(), Asked::Cancelled);
}

fn some(list: &'static [&'static str]) -> impl Strategy<Value = Option<String>> {
    proptest::option::of(proptest::sample::select(list).prop_map(str::to_owned))
}

/// Texts without what a plan refuses: controls and marks of writing direction.
const SEEN: &str = r"[^\p{Cc}\x{202a}-\x{202e}\x{2066}-\x{2069}]{0,20}[a-z][^\p{Cc}\x{202a}-\x{202e}\x{2066}-\x{2069}]{0,20}";

/// A name that steers a terminal is refused where it is written, and never written into a plan that is kept.
#[test]
fn verif_a_name_that_steers_a_terminal_is_refused() {
    let answers = answers(&[(Ask::Name, "calm\u{1b}[2J")]);
    let reading = read(&plan_text(&answers, TODAY).unwrap());
    let told = |m: &Mistake| m.is_error() && m.message.contains("U+001B");
    assert!(reading.mistakes.iter().any(told), "{:?}", reading.mistakes);
}

prop_compose! {
    fn any_answers()(
        name in proptest::option::of(SEEN),
        latitude_deg in -90.0..90.0_f64,
        longitude_deg in -180.0..180.0_f64,
        water_depth_m in proptest::option::of(1.0..6000.0_f64),
        start in some(&["2027-01-01", "2028-02-29", "2027-03-15T06:00:00+02:00"]),
        duration_d in 1..2000_u32,
        wind_m_s in 0.0..40.0_f64,
        supply in some(&["solar-battery", "bench", "vessel", "shore", "primary-cells"]),
        voltage_v in proptest::option::of(3.0..1000.0_f64),
        shares in proptest::option::of(proptest::collection::btree_set(1..1000_u32, 1..6)),
        conductor in some(&["1.0 mm2 class 5", "18 AWG", "4/0 AWG", "0.5 mm2 class 2 tinned"]),
        link in some(&["10BASE-T1L", "100BASE-T1", "100BASE-TX"]),
        low_hz in 0.5..20_000.0_f64,
        widths in 1.1..10.0_f64,
        threshold_db in 0.5..40.0_f64,
        price in some(&["0.12 EUR", "15 JPY", "0 USD"]),
    ) -> Answers {
        let mut answers = Answers::default();
        answers.set(Ask::Name, name);
        answers.set(Ask::Latitude, Some(format!("{latitude_deg} deg")));
        answers.set(Ask::Longitude, Some(format!("{longitude_deg} deg")));
        answers.set(Ask::WaterDepth, water_depth_m.map(|m| format!("{m} m")));
        answers.set(Ask::Start, start);
        answers.set(Ask::Duration, Some(format!("{duration_d} d")));
        answers.set(Ask::Wind, Some(format!("{wind_m_s} m/s")));
        answers.set(Ask::Supply, supply);
        answers.set(Ask::Voltage, voltage_v.map(|v| format!("{v} V")));
        let depth_m = water_depth_m.unwrap_or(80.0);
        answers.set(Ask::Depths, shares.map(|shares| {
            let depths: Vec<String> = shares
                .iter()
                .map(|share| format!("{} m", depth_m * f64::from(*share) / 1000.0))
                .collect();
            depths.join(", ")
        }));
        answers.set(Ask::Conductor, conductor);
        answers.set(Ask::Link, link);
        answers.set(Ask::Band, Some(format!("{low_hz} Hz, {} Hz", low_hz * widths)));
        answers.set(Ask::Threshold, Some(format!("{threshold_db} dB")));
        answers.set(Ask::Price, price);
        answers
    }
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn verif_every_generated_plan_reads_without_errors(answers in any_answers()) {
        check(&answers);
    }
}
