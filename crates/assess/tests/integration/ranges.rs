//! Requirements on detection ranges against counts that are invented, so that the ranges they mean are known.

use std::path::Path;

use assess::range::{Curve, InjectionRecord, Sampled, Subject, losses};
use assess::{Check, Ruling, Shelf, check};
use plan::{CallIx, DetectorIx, Line, Reading};

use crate::support::{close, known, why_unknown};

/// A call like every other, so that a step of the curve is a step of the share over range.
const NO_SPREAD: (&str, &str) = ("172 dB re 1 uPa m ± 10 dB", "172 dB re 1 uPa m");

fn reading(at_least: &str, changes: &[(&str, &str)]) -> Reading {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../plans/harrow-sound");
    let mut text = std::fs::read_to_string(folder.join("plan.toml")).unwrap();
    for (from, to) in changes {
        assert!(text.contains(from), "`{from}` is not in the plan");
        text = text.replace(from, to);
    }
    text.push_str(&format!(
        "\n[requirement.far]\nthat = \"detection-range\"\nof = \"detector.upcall-upper\"\ncall = \"call.upcall\"\nat_least = \"{at_least}\"\nshare = \"50 %\"\nwhen_wind_at_most = \"6.85 m/s\"\n"
    ));
    let plan = folder.join("plan.toml");
    let reading = plan::read(&plan, &|path| {
        if path == plan {
            Ok(text.clone().into_bytes())
        } else {
            std::fs::read(path)
        }
    });
    assert!(!reading.has_errors(), "{:?}", reading.mistakes);
    reading
}

fn subject(line: &Line) -> Subject {
    let of = |d: &plan::Detector| d.id == "upcall-upper";
    let detector = DetectorIx(line.detectors.iter().position(of).unwrap());
    Subject::new(line, detector, CallIx(0)).unwrap()
}

/// Counts in the noise of June, the only month with so little wind.
fn counted(subject: &Subject, counts: &[(f64, u64)], calls: u64, by_chance: u64) -> Sampled {
    let wind_m_s = subject.wind_m_s[5];
    Sampled {
        wind_m_s: Some(wind_m_s),
        noise_level_db: subject.noise_level_db(wind_m_s).unwrap(),
        curve: Curve::new(counts, calls).unwrap(),
        by_chance,
        false_alarms: by_chance,
        listened_s: 600.0,
        clipped: vec![0; counts.len()],
        seed: 1,
        kept: false,
    }
}

fn judged(reading: &Reading, counts: &[(f64, u64)], calls: u64, by_chance: u64) -> Check {
    let subject = subject(reading.line.as_ref().unwrap());
    let sampled = counted(&subject, counts, calls, by_chance);
    let shelf = Shelf {
        injections: vec![InjectionRecord::new(&subject, &sampled, "test").unwrap()],
        range_command: Some("soundline range plan.toml".to_owned()),
        ..Shelf::default()
    };
    check(reading, &shelf)
}

/// None below -1 dB, all from 1 dB on.
fn step(calls: u64) -> [(f64, u64); 2] {
    [(-1.0, 0), (1.0, calls)]
}

/// Clopper-Pearson at 95 %: 84 of 100 are at most 90.5 %, none of 200 at most 1.8 %, none of 25 at most 13.7 % (closed form
/// 1 - 0.025^(1/n)); a tenth of the half asked is 5 %.
#[test]
fn val_what_is_found_by_chance_makes_a_range_unknown() {
    let reading = reading("2 km", &[]);
    let check = judged(&reading, &step(100), 100, 84);
    let why = why_unknown(&check, "far");
    for what in ["84 of 100 places", "raise the detector's threshold", "June"] {
        assert!(why.contains(what), "{why}");
    }
    let check = judged(&reading, &step(25), 25, 0);
    let why = why_unknown(&check, "far");
    for what in ["0 of 25 places", "13.7 %", "--calls"] {
        assert!(why.contains(what), "{why}");
    }
    let check = judged(&reading, &step(200), 200, 0);
    assert_eq!(known(&check, "far").ruling, Ruling::Met);
}

/// A detector that cries most of the time finds calls at ratios at which nothing can be heard: no loss against the ideal one.
#[test]
fn verif_no_loss_is_told_of_what_is_found_by_chance() {
    let reading = reading("2 km", &[]);
    let subject = subject(reading.line.as_ref().unwrap());
    let crying = counted(&subject, &[(-30.0, 86), (0.0, 100)], 100, 84);
    let quiet = counted(&subject, &[(-6.0, 2), (6.0, 198)], 200, 0);
    for loss in losses(&subject, &[&crying]).unwrap().concat() {
        assert!(loss.by_chance && loss.loss_db().is_none(), "{loss:?}");
    }
    for loss in losses(&subject, &[&quiet]).unwrap().concat() {
        assert!(!loss.by_chance && loss.loss_db().is_some(), "{loss:?}");
    }
}

#[test]
fn verif_beyond_what_is_computed_nothing_is_broken() {
    let loud = [("172 dB re 1 uPa m ± 10 dB", "230 dB re 1 uPa m")];
    let check = judged(&reading("60 km", &loud), &step(200), 200, 0);
    let why = why_unknown(&check, "far");
    assert!(
        why.contains("at least to 50 km, and what lies beyond is not computed"),
        "{why}"
    );
    let check = judged(&reading("40 km", &loud), &step(200), 200, 0);
    let far = known(&check, "far");
    assert_eq!((far.ruling, far.value.value), (Ruling::Met, 50_000.0));
    assert!(
        far.why.contains("the value is at least 50 km"),
        "{}",
        far.why
    );
}

/// A detector that finds nothing between 27 dB and 33 dB has a gap nearer than its range. The range that counts is that at which
/// the share falls below for the first time: source level less 20 lg r less noise at 33 dB and a half of the way down to
/// none; the outermost is told beside it.
#[test]
fn verif_a_gap_nearer_is_the_range_that_counts() {
    let reading = reading("2 km", &[NO_SPREAD]);
    let all = 100_000;
    let counts = [
        (19.0, 0),
        (20.0, all),
        (26.0, all),
        (27.0, 0),
        (33.0, 0),
        (34.0, all),
    ];
    let check = judged(&reading, &counts, all, 0);
    let far = known(&check, "far");
    assert_eq!(far.ruling, Ruling::Broken, "{}", far.why);
    let subject = subject(reading.line.as_ref().unwrap());
    let noise_db = subject.noise_level_db(subject.wind_m_s[5]).unwrap();
    let loss_db = subject.in_band_source_db() - noise_db - 33.5;
    let rise_m = subject.hydrophone_depth_m - subject.source_depth_m;
    let slant_m = libm::pow(10.0, loss_db / 20.0);
    let range_m = libm::sqrt(slant_m * slant_m - rise_m * rise_m);
    close(far.value.value / range_m, 1.0, 0.01);
    for what in ["reached again further out", "; last to 2.3"] {
        assert!(far.why.contains(what), "{}", far.why);
    }
}

#[test]
fn verif_where_the_site_asks_for_rays_the_spreading_law_judges_nothing() {
    let rays = [(
        "spreading = \"transition\"",
        "paths = \"rays\"\nbottom = { loss_per_bounce = \"10 dB\" }\nspreading = \"transition\"",
    )];
    let check = judged(&reading("2 km", &rays), &step(200), 200, 0);
    let why = why_unknown(&check, "far");
    assert!(why.contains("asks for rays"), "{why}");
}
