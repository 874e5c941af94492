//! A range that shall hold, under every law of spreading and under one that was measured: against the range at which each law in closed form
//! leaves the ratio at which calls are found.

use assess::{Check, Memo, Ruling, Shelf, Tier, check_with};
use plan::Reading;

use crate::ranges::{FAINT, LIMIT_M_S, asked_as, judged, step, subject};
use crate::support::{close, known, requirement, why_unknown};

const CALLS: u64 = 1000;
const OWN_LAW: &str = "spreading = \"transition\"\nspreading_changes_at = \"1 km\"";

fn reading(must: &str, at_least: &str, site: Option<&str>) -> Reading {
    let wind = format!("when_wind_at_most = \"{LIMIT_M_S} m/s\"\n");
    let mut changes = vec![FAINT];
    if let Some(site) = site {
        changes.push((OWN_LAW, site));
    }
    asked_as(must, at_least, &wind, &changes)
}

fn check(must: &str, at_least: &str, site: Option<&str>) -> Check {
    judged(&reading(must, at_least, site), &step(CALLS), CALLS, 0)
}

fn measured(slope: &str, more: &str) -> String {
    format!(
        "spreading = \"measured\"\nloss_measured = {{ slope = \"{slope}\", {more}, band = [\"80 Hz\", \"200 Hz\"], document = \"SV-11\", by = \"the survey launch\", date = 2026-08-14 }}"
    )
}

/// What of the source level is left for the way at the ratio at which a half is found by the lower limits. None of 1000 are at least 0, all of them
/// at least 0.025^(1/1000) (Clopper and Pearson 1934), 2 dB apart.
fn to_lose_db() -> f64 {
    let reading = reading("shall", "1 m", None);
    let subject = subject(reading.line.as_ref().unwrap());
    let half_db = -1.0 + 2.0 * 0.5 / libm::pow(0.025, 1.0 / CALLS as f64);
    subject.in_band_source_db() - subject.noise_level_db(LIMIT_M_S).unwrap() - half_db
}

/// Horizontal range of a slant one.
fn level_m(slant_m: f64) -> f64 {
    let reading = reading("shall", "1 m", None);
    let subject = subject(reading.line.as_ref().unwrap());
    let rise_m = subject.hydrophone_depth_m - subject.source_depth_m;
    libm::sqrt(slant_m * slant_m - rise_m * rise_m)
}

/// Where n lg r takes what is left; at 0.1 kHz absorption takes 0.002 dB/km (Francois and Garrison 1982), which moves no range here by a hundredth.
fn by_slope_m(n: f64) -> f64 {
    level_m(libm::pow(10.0, to_lose_db() / n))
}

/// The range that stands before `under LAW` in a sentence, m.
fn told_m(text: &str, law: &str) -> f64 {
    let end = text
        .find(&format!(" under {law}"))
        .unwrap_or_else(|| panic!("{law}: {text}"));
    let words: Vec<&str> = text[..end].split(' ').collect();
    let [.., number, unit] = words[..] else {
        panic!("{text}")
    };
    let number: f64 = number.parse().unwrap();
    match unit {
        "m" => number,
        "km" => 1000.0 * number,
        other => panic!("{other}"),
    }
}

/// The laws of the textbook, n lg r, in closed form.
#[test]
fn val_a_range_that_shall_hold_is_that_of_the_worst_law() {
    let (near_m, far_m) = (by_slope_m(20.0), by_slope_m(15.0));
    assert!(near_m > 230.0 && far_m > 3.0 * near_m, "{near_m} {far_m}");
    let met = check("shall", &format!("{} m", libm::floor(near_m - 220.0)), None);
    let verdict = known(&met, "far");
    assert_eq!(verdict.ruling, Ruling::Met);
    close(verdict.value.value / near_m, 1.0, 0.01);
    for what in ["under every law from 15 to 20 lg r", "of which 20 lg r"] {
        assert!(verdict.why.contains(what), "{}", verdict.why);
    }
    close(told_m(&verdict.why, "15 lg r") / far_m, 1.0, 0.01);
    let broken = check("shall", &format!("{} m", libm::ceil(1.2 * far_m)), None);
    let verdict = known(&broken, "far");
    assert_eq!(verdict.ruling, Ruling::Broken);
    close(verdict.value.value / near_m, 1.0, 0.01);
}

#[test]
fn val_a_range_on_which_laws_differ_is_unknown_with_both_figures() {
    let (near_m, far_m) = (by_slope_m(20.0), by_slope_m(15.0));
    let limit_m = libm::floor(0.5 * (near_m + far_m));
    let open = check("shall", &format!("{limit_m} m"), None);
    let why = why_unknown(&open, "far");
    close(told_m(why, "15 lg r") / far_m, 1.0, 0.01);
    close(told_m(why, "20 lg r") / near_m, 1.0, 0.01);
    for what in [
        "limit ",
        "nobody has measured",
        "loss_measured",
        "or ask for at most",
    ] {
        assert!(why.contains(what), "{why}");
    }
}

/// What is only advised keeps the figure of the plan's law, here 20 lg r to 1 km, and says on what it rests.
#[test]
fn val_an_advised_range_keeps_its_law_and_says_so() {
    let near_m = by_slope_m(20.0);
    let advised = check("should", "3 km", None);
    let verdict = known(&advised, "far");
    assert_eq!(verdict.ruling, Ruling::Broken);
    assert!(near_m < 1000.0);
    close(verdict.value.value / near_m, 1.0, 0.01);
    let rests = "it rests on 20 lg r to 1 km, then 10 lg r, which nobody has measured here, and the noise is that of a formula";
    assert!(verdict.why.contains(rests), "{}", verdict.why);
}

/// A law that was measured far enough decides, at the end of its uncertainty that is worst: 16 ± 1 is 17 lg r.
#[test]
fn val_a_measured_law_decides_at_the_worst_end_of_its_uncertainty() {
    let worst_m = by_slope_m(17.0);
    let site = measured("16 dB ± 1 dB", "farthest = \"20 km\"");
    let met = check(
        "shall",
        &format!("{} m", libm::floor(worst_m - 220.0)),
        Some(&site),
    );
    let verdict = known(&met, "far");
    assert_eq!(verdict.ruling, Ruling::Met);
    close(verdict.value.value / worst_m, 1.0, 0.01);
    let said = "the loss was measured to 20 km by the survey launch on 2026-08-14 (SV-11)";
    assert!(verdict.why.contains(said), "{}", verdict.why);
    // Between its two ends nothing is settled.
    let between_m = libm::floor(0.5 * (worst_m + by_slope_m(15.0)));
    let open = check("shall", &format!("{between_m} m"), Some(&site));
    let why = why_unknown(&open, "far");
    assert!(why.contains("not surely enough to tell"), "{why}");
    let sure = measured("16 dB", "farthest = \"20 km\"");
    let sure = known(&check("shall", "100 m", Some(&sure)), "far")
        .value
        .value;
    close(sure / by_slope_m(16.0), 1.0, 0.01);
}

/// Beyond where it was measured the laws part again, from the loss that it has there: L = 16 lg 400 there, n lg(r / 400) more.
#[test]
fn val_beyond_where_a_law_was_measured_every_law_counts() {
    let site = measured("16 dB", "farthest = \"400 m\"");
    let left_db = to_lose_db() - 16.0 * libm::log10(400.0);
    let at_m = |n: f64| level_m(400.0 * libm::pow(10.0, left_db / n));
    assert!(left_db > 0.0 && at_m(15.0) > 1.05 * at_m(20.0), "{left_db}");
    let near = known(&check("shall", "200 m", Some(&site)), "far")
        .value
        .value;
    close(near / at_m(20.0), 1.0, 0.01);
    let limit_m = libm::floor(0.5 * (at_m(15.0) + at_m(20.0)));
    let open = check("shall", &format!("{limit_m} m"), Some(&site));
    let why = why_unknown(&open, "far");
    assert!(why.contains("measured to 400 m"), "{why}");
    assert!(why.contains("which law holds beyond is not known"), "{why}");
    close(
        told_m(why, "16 lg r measured to 400 m, then 20 lg r") / at_m(20.0),
        1.0,
        0.01,
    );
}

/// A loss that is known at 3 km alone: nearer than it was measured the larger coefficient loses less, so there the smaller one is the worst.
#[test]
fn val_nearer_than_a_known_loss_the_smaller_coefficient_is_the_worst() {
    let loss_db = to_lose_db() + 8.0;
    let site = measured(
        "18 dB",
        &format!("at = \"3 km\", loss = \"{loss_db} dB\", nearest = \"3 km\", farthest = \"4 km\""),
    );
    let at_m = |n: f64| level_m(3000.0 * libm::pow(10.0, -8.0 / n));
    let verdict = check("shall", "100 m", Some(&site));
    let verdict = known(&verdict, "far");
    assert!(at_m(15.0) < at_m(20.0));
    close(verdict.value.value / at_m(15.0), 1.0, 0.01);
    assert!(
        verdict.why.contains("then 15 lg r is the worst"),
        "{}",
        verdict.why
    );
    close(
        told_m(&verdict.why, "18 lg r measured to 4 km, then 20 lg r") / at_m(20.0),
        1.0,
        0.01,
    );
}

/// A slope that was measured from 1 m on begins there with 0 dB, which is told where nobody wrote it; one from 200 m on goes through the loss that is known there.
#[test]
fn verif_a_slope_goes_through_the_loss_that_is_known() {
    let slope = |more: &str| measured("17 dB", &format!("{more}farthest = \"5 km\""));
    let told = |check: &Check| {
        let begins = |a: &&String| a.contains("begins there with 0 dB");
        check.assumed.iter().filter(begins).count()
    };
    let silent = check("shall", "100 m", Some(&slope("")));
    let written = check("shall", "100 m", Some(&slope("nearest = \"1 m\", ")));
    assert_eq!((told(&silent), told(&written)), (1, 0));
    for check in [&silent, &written] {
        close(
            known(check, "far").value.value / by_slope_m(17.0),
            1.0,
            0.01,
        );
    }
    // 40 dB at 200 m under 17 lg r is 0.9 dB more than from 0 dB at 1 m.
    let later = slope("at = \"200 m\", loss = \"40 dB\", nearest = \"200 m\", ");
    let left_db = to_lose_db() - 40.0;
    let expected_m = level_m(200.0 * libm::pow(10.0, left_db / 17.0));
    let later = check("shall", "100 m", Some(&later));
    assert!(left_db > 0.0);
    close(known(&later, "far").value.value / expected_m, 1.0, 0.01);
}

/// The same counts under another law, of another call or at another depth are other evidence.
#[test]
fn verif_what_makes_ranges_of_counts_is_in_their_evidence() {
    let of = |site: &str, changes: &[(&str, &str)]| {
        let wind = format!("when_wind_at_most = \"{LIMIT_M_S} m/s\"\n");
        let mut all = vec![FAINT, (OWN_LAW, site)];
        all.extend_from_slice(changes);
        let reading = asked_as("shall", "100 m", &wind, &all);
        let check = judged(&reading, &step(CALLS), CALLS, 0);
        match &known(&check, "far").evidence {
            assess::Evidence::Sampled { inputs, .. } => inputs.clone(),
            other => panic!("{other:?}"),
        }
    };
    let practical = of("spreading = \"practical\"", &[]);
    assert_eq!(practical, of("spreading = \"practical\"", &[]));
    let mut all = vec![practical];
    all.push(of(&measured("16 dB", "farthest = \"20 km\""), &[]));
    all.push(of(&measured("16 dB ± 1 dB", "farthest = \"20 km\""), &[]));
    all.push(of(
        "spreading = \"practical\"",
        &[(FAINT.1, "141 dB re 1 uPa m")],
    ));
    let count = all.len();
    all.sort();
    all.dedup();
    assert_eq!(all.len(), count);
}

/// The plan's own law is one of those that are looked at: of 10 lg r nothing is broken at a range that all others miss.
#[test]
fn verif_the_plans_own_law_counts_among_all() {
    let limit = format!("{} m", libm::ceil(1.5 * by_slope_m(15.0)));
    let others = known(
        &check("shall", &limit, Some("spreading = \"practical\"")),
        "far",
    )
    .ruling;
    assert_eq!(others, Ruling::Broken);
    let with_own = check("shall", &limit, Some("spreading = \"cylindrical\""));
    let why = why_unknown(&with_own, "far");
    assert!(why.contains(" under 10 lg r"), "{why}");
}

/// Where few calls leave it open, laws are not blamed.
#[test]
fn verif_too_few_calls_under_the_worst_law_are_said() {
    let counts = [(-10.0, 0), (10.0, 200)];
    let at = |at_least: &str| judged(&reading("shall", at_least, None), &counts, 200, 0);
    let shown_m = match requirement(&at("10 m"), "far").verdicts.first() {
        Some(assess::Verdict::Known(k)) => k.value.value,
        other => panic!("{other:?}"),
    };
    let between = at(&format!("{} m", libm::ceil(1.004 * shown_m)));
    let why = why_unknown(&between, "far");
    assert!(why.contains("too few calls to tell"), "{why}");
}

/// In water deep for its sound, above a bed that throws nothing back, rays are the straight way and its image in the surface, powers added: 1/R1^2 + 1/R2^2. So near
/// (some 130 m) the bend of this profile moves it by less than a hundredth; at 450 m it is four. A site that asks for rays is judged under them too.
#[test]
fn val_rays_count_among_the_laws() {
    let wind = format!("when_wind_at_most = \"{LIMIT_M_S} m/s\"\n");
    let at = |bottom: &str, call_hz: [&str; 2]| {
        let site = format!("{OWN_LAW}\n{bottom}");
        let from = format!("from = \"{}\"", call_hz[0]);
        let to = format!("to = \"{}\"", call_hz[1]);
        let changes = [
            (FAINT.0, "130 dB re 1 uPa m"),
            (OWN_LAW, site.as_str()),
            ("from = \"90 Hz\"", from.as_str()),
            ("to = \"150 Hz\"", to.as_str()),
        ];
        asked_as("shall", "50 m", &wind, &changes)
    };
    let bed = "paths = \"rays\"\nbottom = { loss_per_bounce = \"60 dB\" }";
    let reading = at(bed, ["200 Hz", "250 Hz"]);
    let subject = subject(reading.line.as_ref().unwrap());
    let check = judged(&reading, &step(CALLS), CALLS, 0);
    let why = &known(&check, "far").why;
    assert!(why.contains("and by rays through the profile"), "{why}");
    let half_db = -1.0 + 2.0 * 0.5 / libm::pow(0.025, 1.0 / CALLS as f64);
    let left_db =
        subject.in_band_source_db() - subject.noise_level_db(LIMIT_M_S).unwrap() - half_db;
    let power = |range_m: f64| {
        let way_m = |z_m: f64| libm::hypot(range_m, z_m);
        let (z, zs) = (subject.hydrophone_depth_m, subject.source_depth_m);
        libm::pow(way_m(z - zs), -2.0) + libm::pow(way_m(z + zs), -2.0)
    };
    let (mut low_m, mut high_m) = (1.0, 50_000.0);
    for _ in 0..60 {
        let middle_m = 0.5 * (low_m + high_m);
        if -10.0 * libm::log10(power(middle_m)) < left_db {
            low_m = middle_m;
        } else {
            high_m = middle_m;
        }
    }
    close(told_m(why, "rays through the profile") / low_m, 1.0, 0.02);
    // Too few wavelengths of water: nothing is judged where rays are asked for, and without that they are left out.
    let shallow = at(bed, ["90 Hz", "150 Hz"]);
    let why = why_unknown(&judged(&shallow, &step(CALLS), CALLS, 0), "far").to_owned();
    assert!(why.contains("ten wavelengths"), "{why}");
    let unasked = at(
        "bottom = { loss_per_bounce = \"60 dB\" }",
        ["90 Hz", "150 Hz"],
    );
    let check = judged(&unasked, &step(CALLS), CALLS, 0);
    assert!(!known(&check, "far").why.contains("by rays"));
}

/// The call sweeps from 90 to 150 Hz: a law that was measured with a pinger at 10 kHz says nothing of it, and one over a part of it not enough. Of the
/// other it is told in which month it was measured and in which the line hears.
#[test]
fn verif_a_law_measured_at_other_frequencies_says_nothing_of_a_call() {
    let site = measured("17 dB", "nearest = \"1 m\", farthest = \"20 km\"");
    let near = check("shall", "100 m", Some(&site));
    let why = &known(&near, "far").why;
    assert!(why.contains("it was measured in August"), "{why}");
    for band in ["[\"9 kHz\", \"11 kHz\"]", "[\"100 Hz\", \"200 Hz\"]"] {
        let other = site.replace("[\"80 Hz\", \"200 Hz\"]", band);
        for must in ["shall", "should"] {
            let check = check(must, "100 m", Some(&other));
            let why = why_unknown(&check, "far");
            assert!(
                why.contains("the call lies in 90 Hz to 150 Hz")
                    && why.contains("a loss measured there settles it"),
                "{why}"
            );
        }
    }
}

/// Rays cost more than all else of a check: those of one hydrophone, call and sea are followed once, also in a later check with the same memo, to each depth that
/// counts, and not at all where the plan's own law alone is judged.
#[test]
fn verif_rays_are_followed_once_and_only_for_what_shall_hold() {
    let wind = format!("when_wind_at_most = \"{LIMIT_M_S} m/s\"\n");
    let site = format!("{OWN_LAW}\nbottom = {{ loss_per_bounce = \"60 dB\" }}");
    let done = |must: &str| {
        let changes = [
            (OWN_LAW, site.as_str()),
            ("from = \"90 Hz\"", "from = \"200 Hz\""),
            ("to = \"150 Hz\"", "to = \"250 Hz\""),
        ];
        let reading = asked_as(must, "50 m", &wind, &changes);
        let memo = Memo::new();
        for _ in 0..2 {
            let _ = check_with(&reading, &Shelf::default(), &memo, Tier::Quick);
        }
        let runs = memo.runs();
        runs.get("loss along rays/1").map_or(0, |runs| runs.done)
    };
    let of_others = done("should");
    let with_this = done("shall");
    assert!(
        (1..=3).contains(&(with_this - of_others)),
        "{of_others} {with_this}"
    );
}
