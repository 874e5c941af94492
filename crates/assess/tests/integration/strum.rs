//! Requirements on strum: hours of a tide by closed forms, what takes it away, and what keeps it unknown.

use assess::{Shelf, Word, check};

use crate::hung_noise::ear_plan;
use crate::moored::{head, hung};
use crate::support::{close, known, read, requirement, why_unknown};

/// A hydrophone 30 m down beside a rope of 12 mm in 60 m of water, a detector from 15 to 30 Hz, springs of 1.2 m/s and neaps of 0.6 m/s at every depth. The
/// rope says too little for a shape, and so counts as upright. Invented.
const EAR: &str = r#"
weight_in_water = "5 kN"
[part.line]
is = "rope"
diameter = "12 mm"
[section.riser]
from = "module.buoy"
to = "anchor.sinker"
length = "60 m"
rope = "part.line"
[module.ear]
position = { section = "section.riser", from_top = "30 m" }
sensor.one = { kind = "hydrophone", sensitivity = "-170 dB re 1 V/uPa", gain = "20 dB", adc = { full_scale = "1 V", bits = 16, rate = "1 kHz" } }
[span.down]
from = "module.buoy"
to = "module.ear"
conductor = "1.0 mm2 class 5"
[detector.boom]
on = "module.ear.sensor.one"
stages = [{ band = ["15 Hz", "30 Hz"] }, { level = "rms", window = "0.25 s" }, { on_above = "120 dB re 1 uPa", off_below = "115 dB re 1 uPa", shortest = "0.5 s", longest = "5 s", hold_off = "10 s" }]
[case.neap]
current = [{ depth = "0 m", speed = "0.6 m/s" }]
strongest_at = "neaps"
[case.spring]
current = [{ depth = "0 m", speed = "1.2 m/s" }]
strongest_at = "springs"
[requirement.quiet]
that = "strum-hours"
at_most = "2 h"
"#;

fn plan() -> String {
    head("a hydrophone in a tide", 60.0, 1025.0) + EAR
}

#[track_caller]
fn judged(text: &str) -> assess::Check {
    let reading = read(text);
    assert!(!reading.has_errors(), "{:?}", reading.mistakes);
    check(&reading, &Shelf::default())
}

#[track_caller]
fn with(changes: &[(&str, &str)]) -> assess::Check {
    let mut text = plan();
    for (from, to) in changes {
        assert_eq!(text.matches(from).count(), 1, "{from}");
        text = text.replace(from, to);
    }
    judged(&text)
}

/// Vortices at 0.2 U/d of 12 mm lie in 15 to 30 Hz from 0.9 to 1.8 m/s, their double from 0.45 to 0.9 m/s: of a sine of 1.2 m/s the shares
/// `2/pi (pi/2 - asin 0.75)` and `2/pi (asin 0.75 - asin 0.375)`, together `1 - 2/pi asin 0.375`, of the 12.4206 h of the moon's tide. At neaps the first
/// never does, and the second `1 - 2/pi asin 0.75`.
#[test]
fn verif_hours_of_a_tide_are_those_of_a_sine() {
    let check = with(&[]);
    let known = known(&check, "quiet");
    let tide_h = 12.420_601;
    let share = 1.0 - 2.0 / std::f64::consts::PI * 0.375_f64.asin();
    close(known.value.value, share * tide_h, 1e-6);
    assert_eq!(requirement(&check, "quiet").word(), Word::Broken);
    for told in [
        "detector.boom",
        "12 mm rope of section.riser",
        "up to 20.0 Hz",
        "5.7 h of a tide by the first, 3.7 h by the second",
        "at neaps 5.7 h",
        "`fairing = true` on section.riser",
        "counts as upright",
    ] {
        assert!(known.why.contains(told), "{told}: {}", known.why);
    }
    let fairing = "section.riser carries no fairing, because none is written";
    assert!(
        check.assumed.iter().any(|a| a == fairing),
        "{:?}",
        check.assumed
    );
}

/// A larger rope sheds more slowly: at 60 mm no frequency reaches 15 Hz. Fairing and the bottom take strum away.
#[test]
fn verif_what_takes_strum_away() {
    for (from, to, told) in [
        (
            "diameter = \"12 mm\"",
            "diameter = \"60 mm\"",
            "at up to 4.0 Hz",
        ),
        (
            "rope = \"part.line\"",
            "rope = \"part.line\"\nfairing = true",
            "fairing",
        ),
        (
            "{ section = \"section.riser\", from_top = \"30 m\" }",
            "{ depth = \"60 m\" }",
            "stands on the bottom",
        ),
    ] {
        let mut changes = vec![(from, to)];
        if to.contains("depth") {
            changes.push((
                "conductor = \"1.0 mm2 class 5\"",
                "conductor = \"1.0 mm2 class 5\"\nlength = \"70 m\"",
            ));
        }
        let check = with(&changes);
        let known = known(&check, "quiet");
        close(known.value.value, 0.0, 1e-12);
        assert_eq!(requirement(&check, "quiet").word(), Word::Met, "{to}");
        assert!(known.why.contains(told), "{told}: {}", known.why);
        assert!(!known.why.contains("takes it away"), "{}", known.why);
    }
    let written = with(&[(
        "rope = \"part.line\"",
        "rope = \"part.line\"\nfairing = false",
    )]);
    assert_eq!(requirement(&written, "quiet").word(), Word::Broken);
    assert!(!written.assumed.iter().any(|a| a.contains("fairing")));
}

/// What is not written is unknown and named: no current is no slack water.
#[test]
fn verif_what_is_not_written_keeps_strum_unknown() {
    for (from, to, told) in [
        (
            "diameter = \"12 mm\"\n",
            "normal_drag = 1.2\n",
            "`diameter`",
        ),
        (
            "strongest_at = \"springs\"\n",
            "",
            "strongest_at = \"springs\"",
        ),
        (
            "{ section = \"section.riser\", from_top = \"30 m\" }",
            "{ depth = \"30 m\" }",
            "hangs on no section",
        ),
        (
            "speed = \"0.6 m/s\"",
            "speed = \"1.6 m/s\"",
            "stronger at neaps",
        ),
    ] {
        let mut changes = vec![(from, to)];
        if to.contains("depth =") {
            changes.push((
                "conductor = \"1.0 mm2 class 5\"",
                "conductor = \"1.0 mm2 class 5\"\nlength = \"70 m\"",
            ));
        }
        let check = with(&changes);
        let why = why_unknown(&check, "quiet");
        assert!(why.contains(told), "{told}: {why}");
    }
    let plain = with(&[(
        "that = \"strum-hours\"",
        "that = \"strum-hours\"\nof = \"module.ear.sensor.one\"",
    )]);
    assert_eq!(requirement(&plain, "quiet").word(), Word::Broken);
}

/// On a line with a shape the flow is that across the rope as it leans, at the depth at which it hangs, as the caution beside the shape has it.
#[test]
fn verif_a_line_that_leans_sheds_by_the_flow_across_it() {
    let text = ear_plan("strongest_at = \"springs\"\n")
        + "[requirement.quiet]\nthat = \"strum-hours\"\nat_most = \"2 h\"\n";
    let found = hung(&text);
    let noise = &found.lines[0].as_ref().unwrap().flow_noise[0];
    assert!(noise.across_m_s < 0.9999 * noise.speed_m_s, "{noise:?}");
    let check = judged(&text);
    let known = known(&check, "quiet");
    // Vortices in 10 to 20 Hz from 0.6 m/s, which the current never reaches, and their double from 0.3 m/s.
    let share = 1.0 - 2.0 / std::f64::consts::PI * (0.3 / noise.across_m_s).asin();
    close(known.value.value, share * 12.420_601, 1e-6);
    assert!(!known.why.contains("upright"), "{}", known.why);
}

/// A mistake in the rope, in a case or in the detector hides it; one in the supply does not.
#[test]
fn verif_a_mistake_hides_strum_where_it_reads() {
    for (from, to, word) in [
        ("diameter = \"12 mm\"", "diameter = \"12 V\"", Word::Unknown),
        ("speed = \"1.2 m/s\"", "speed = \"1.2 V\"", Word::Unknown),
        (
            "[\"15 Hz\", \"30 Hz\"]",
            "[\"15 Hz\", \"30 V\"]",
            Word::Unknown,
        ),
        ("fairing", "", Word::Unknown),
        ("voltage = \"24 V\"", "voltage = \"24 m\"", Word::Broken),
    ] {
        let text = if from == "fairing" {
            plan().replace(
                "rope = \"part.line\"",
                "rope = \"part.line\"\nfairing = \"yes\"",
            )
        } else {
            assert_eq!(plan().matches(from).count(), 1, "{from}");
            plan().replace(from, to)
        };
        let reading = read(&text);
        assert!(reading.has_errors(), "{to}");
        let check = check(&reading, &Shelf::default());
        assert_eq!(requirement(&check, "quiet").word(), word, "{from} {to}");
    }
}

/// With 2.7 mm grown a rope of 12 mm is one of 17.4 mm, in whose band of 3.5 to 7.5 Hz a sine of 1.2 m/s lies for other hours, by hand as above; the worse of clean and fouled counts, and what grew at another depth does not.
#[test]
fn val_what_has_grown_on_a_rope_counts() {
    let band = (
        "band = [\"15 Hz\", \"30 Hz\"]",
        "band = [\"3.5 Hz\", \"7.5 Hz\"]",
    );
    let grown = |down_to: &str| {
        let text = plan().replace(band.0, band.1);
        let growth = format!(
            "growth = {{ a_month = \"3 mm\", most = \"2.7 mm\", density = \"1100 kg/m3\"{down_to} }}\ndensity ="
        );
        assert!(text.contains("density ="));
        judged(&text.replacen("density =", &growth, 1).replacen(
            "at_most = \"2 h\"",
            "at_most = \"12 h\"",
            1,
        ))
    };
    let tide_h = 12.420_601;
    let below = |speed: f64, most: f64| 2.0 / std::f64::consts::PI * (speed / most).min(1.0).asin();
    let hours = |d: f64, most: f64| {
        let at = |hz: f64, times: f64| hz * d / (0.2 * times);
        tide_h * (below(at(7.5, 1.0), most) - below(at(3.5, 2.0), most))
    };
    // The band and half of it meet: one stretch of speeds.
    let (clean_h, fouled_h) = (hours(0.012, 0.6), hours(0.0174, 0.6));
    assert!(fouled_h > clean_h + 0.5, "{clean_h} {fouled_h}");
    let everywhere = grown("");
    let judged = known(&everywhere, "quiet");
    close(judged.value.value, fouled_h.max(hours(0.0174, 1.2)), 1e-6);
    assert!(
        judged
            .why
            .contains("12 mm rope of section.riser, 17.4 mm with what has grown on it,"),
        "{}",
        judged.why
    );
    let shallow = grown(", down_to = \"20 m\"");
    close(
        known(&shallow, "quiet").value.value,
        clean_h.max(hours(0.012, 1.2)),
        1e-6,
    );
}

/// Above a Reynolds number of 2e5 no Strouhal number is known here: what a thick rope in a fast stream does there may be in the band, and the requirement is unknown, not met.
#[test]
fn verif_speeds_of_which_nothing_is_known_are_not_quiet() {
    let check = with(&[
        ("diameter = \"12 mm\"", "diameter = \"250 mm\""),
        (
            "band = [\"15 Hz\", \"30 Hz\"]",
            "band = [\"2.5 Hz\", \"30 Hz\"]",
        ),
        ("speed = \"1.2 m/s\"", "speed = \"2.4 m/s\""),
    ]);
    let why = why_unknown(&check, "quiet");
    assert!(why.contains("Reynolds number"), "{why}");
    // A band below what the fastest known water sheds is not touched by faster water.
    let below = with(&[
        ("diameter = \"12 mm\"", "diameter = \"250 mm\""),
        (
            "band = [\"15 Hz\", \"30 Hz\"]",
            "band = [\"0.1 Hz\", \"0.11 Hz\"]",
        ),
        ("speed = \"1.2 m/s\"", "speed = \"2.4 m/s\""),
    ]);
    assert!(known(&below, "quiet").value.value < 2.0);
}
