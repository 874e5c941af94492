//! Calls in recorded noise, held to the same calls in synthesised noise.

use assess::input::SiteNoise;
use assess::range::{
    Bound, Draws, InjectionRecord, RangeError, Ranges, Subject, month_range, recorded_ranges,
    sample,
};
use chance::Stream;
use injection::InjectionError;
use plan::{CallIx, DetectorIx, Line};
use signal::{HighPass, SensorChain};

use crate::support::{PLAN, read};

const RATE_HZ: f64 = 4000.0;
const WIND_M_S: f64 = 7.0;
const SHIPPING: f64 = 0.2;
const CALL: &str = r#"
[call.up]
kind = "upsweep"
from = "100 Hz"
to = "200 Hz"
length = "0.7 s"
source_level = "165 dB re 1 uPa m ± 6 dB"
depth = "12 m"
"#;

fn subject() -> Subject {
    let winds = ["\"7 m/s\""; 12].join(", ");
    let text = format!("{PLAN}\n{CALL}")
        .replace(
            "shipping = 0.2",
            &format!("shipping = 0.2\nwind = [{winds}]"),
        )
        .replace(
            "settles_in = \"1 s\"",
            "settles_in = \"1 s\"\nhigh_pass = { corner = \"90 Hz\", poles = 2 }",
        );
    let reading = read(&text);
    assert!(!reading.has_errors(), "{:?}", reading.mistakes);
    let line: Line = reading.line.unwrap();
    Subject::new(&line, DetectorIx(0), CallIx(0)).unwrap()
}

/// What the sensor of the plan records of the noise of its site.
fn recording(seed: u64, time_s: f64) -> Vec<f32> {
    let corner = HighPass {
        corner_hz: 90.0,
        poles: 2,
    };
    let chain = SensorChain::new(-170.0, 20.0, Some(corner), 2.5, 16, RATE_HZ).unwrap();
    let mut noise = SiteNoise::new(WIND_M_S, SHIPPING, &[], RATE_HZ)
        .unwrap()
        .shaped()
        .unwrap();
    let mut stream = Stream::named(seed, "recording", 0);
    let mut sea = vec![0.0; (time_s * RATE_HZ) as usize];
    noise.fill(0, &mut sea, |_| stream.gaussian());
    let mut heard = vec![0.0; sea.len()];
    let mut high_pass = chain.high_pass_filter().unwrap().unwrap();
    high_pass.process(&sea, &mut heard);
    let mut counts = vec![0; sea.len()];
    assert_eq!(chain.quantise(&heard, &mut counts), Ok(0));
    chain.pressure_upa(&counts, &mut heard).unwrap();
    heard
}

fn in_recordings(stretches: &[Vec<f32>], calls: u64, threads: usize) -> Result<Ranges, RangeError> {
    recorded_ranges(subject(), stretches, calls, 5, threads, &|_| true)
}

/// The recorded noise is that which the formula gives, so level, curve and ranges must be the same within what counting allows.
#[test]
fn verif_recorded_noise_gives_the_curve_of_the_same_noise_synthesised() {
    let subject = subject();
    let draws = Draws {
        calls: 150,
        alone_s: 0.0,
        seed: 11,
    };
    let drawn = sample(&subject, WIND_M_S, draws, 2, &|_| true).unwrap();
    let found = in_recordings(&[recording(1, 300.0), recording(2, 150.0)], 150, 2).unwrap();
    let month = &found.months[0];
    let off_db = month.sampled.noise_level_db - drawn.noise_level_db;
    assert!(off_db.abs() < 0.2, "{off_db} dB");
    let recorded = found.recorded.as_ref().unwrap();
    assert_eq!((recorded.stretches, recorded.too_short), (2, 0));
    assert_eq!(month.sampled.curve.points()[0].calls, 150);
    // Both intervals hold the truth in 95 of 100 cases each, and so touch.
    for point in month.sampled.curve.points() {
        let (low, high) = (
            drawn.curve.share(point.snr_db, Bound::Low),
            drawn.curve.share(point.snr_db, Bound::High),
        );
        assert!(
            point.low <= high && point.high >= low,
            "{point:?}: {low} to {high}"
        );
    }
    let at_half = |curve: &assess::range::Curve| curve.snr_at(0.5, Bound::Seen).unwrap();
    let off_db = at_half(&month.sampled.curve) - at_half(&drawn.curve);
    assert!(off_db.abs() < 0.7, "{off_db} dB");
    let by_formula = month_range(&subject, &drawn, Some(1), subject.hydrophone_depth_m).unwrap();
    let ratio = month.range.area_m2.0 / by_formula.area_m2.0;
    assert!((0.8..1.25).contains(&ratio), "{ratio}");
    assert_eq!((month.range.month, month.range.wind_m_s), (None, None));
}

/// A level in the recordings 6 dB higher changes no share against the ratio, and takes 6 dB from every range.
#[test]
fn verif_the_level_is_that_of_the_recording_and_threads_change_nothing() {
    let quiet = recording(3, 120.0);
    let loud: Vec<f32> = quiet.iter().map(|x| 2.0 * x).collect();
    let of = |noise: &[f32], threads| in_recordings(&[noise.to_vec()], 25, threads).unwrap();
    let (one, two) = (of(&quiet, 1), of(&quiet, 2));
    assert_eq!(one.months[0].sampled, two.months[0].sampled);
    assert_eq!(one.recorded, two.recorded);
    let loud = of(&loud, 2);
    let louder_db = loud.months[0].sampled.noise_level_db - one.months[0].sampled.noise_level_db;
    assert!((louder_db - 6.0206).abs() < 1e-3, "{louder_db} dB");
    assert!(loud.months[0].range.area_m2.0 < 0.6 * one.months[0].range.area_m2.0);
}

/// Fewer calls fit into a short recording, and their limits are wider; where none fits, it is told how long a stretch must be.
#[test]
fn verif_short_recordings_are_told() {
    let noise = recording(4, 60.0);
    let few = in_recordings(&[noise.clone(), noise[..8000].to_vec()], 400, 2).unwrap();
    let recorded = few.recorded.unwrap();
    let calls = few.months[0].sampled.curve.points()[0].calls;
    assert!((10..40).contains(&calls), "{calls}");
    assert_eq!(
        (few.asked, recorded.stretches, recorded.too_short),
        (400, 1, 1)
    );
    // The background runs over 10 s.
    match in_recordings(&[noise[..40_000].to_vec()], 25, 1) {
        Err(RangeError::TooShort {
            longest_s,
            needed_s,
            settling_s,
            ..
        }) => assert!(
            longest_s == 10.0 && settling_s > 10.0 && needed_s > settling_s + 0.7,
            "{needed_s}"
        ),
        other => panic!("{other:?}"),
    }
    assert!(matches!(
        in_recordings(&[vec![0.0; 240_000]], 25, 1),
        Err(RangeError::Injection(InjectionError::NoiseLevel { .. }))
    ));
}

/// Half of the time 20 dB louder than the other: of calls of one level as many are found as in the mean of the two, and neither as many
/// as in the mean of their power, nor as in the loud half alone.
#[test]
fn verif_loud_and_quiet_noise_count_by_how_long_they_last() {
    let quiet = recording(5, 150.0);
    let loud: Vec<f32> = recording(6, 150.0).iter().map(|x| 10.0 * x).collect();
    let of = |stretches: &[Vec<f32>], calls| in_recordings(stretches, calls, 2).unwrap();
    let alone = [&quiet, &loud].map(|noise| of(std::slice::from_ref(noise), 75));
    let both = of(&[quiet.clone(), loud.clone()], 150);
    let shares = |ranges: &Ranges| ranges.months[0].range.seen.shares.clone();
    let [in_quiet, in_loud, in_both] = [&alone[0], &alone[1], &both].map(shares);
    for ((quiet, loud), both) in in_quiet.iter().zip(&in_loud).zip(&in_both) {
        let mean = f64::midpoint(quiet.1, loud.1);
        assert!(
            (both.1 - mean).abs() < 0.1,
            "{} m: {} {mean}",
            both.0,
            both.1
        );
    }
    let area = |ranges: &Ranges| ranges.months[0].range.area_m2.0;
    let mean = f64::midpoint(area(&alone[0]), area(&alone[1]));
    let ratio = area(&both) / mean;
    assert!((0.8..1.25).contains(&ratio), "{ratio}");
    assert!(area(&both) > 3.0 * area(&alone[1]));
    let recorded = both.recorded.unwrap();
    let (low_db, high_db) = recorded.level_about_calls_db;
    assert!(high_db - low_db > 19.0, "{low_db} {high_db}");
    let months = &both.months[0];
    assert_ne!(recorded.received, months.sampled.curve);
}

/// Recorded noise needs neither the wind nor the shipping of the site.
#[test]
fn verif_recorded_noise_asks_for_no_wind_and_no_shipping() {
    let text = format!("{PLAN}\n{CALL}").replace("shipping = 0.2\n", "");
    let reading = read(&text);
    assert!(!reading.has_errors(), "{:?}", reading.mistakes);
    let line = reading.line.unwrap();
    let subject = || Subject::new(&line, DetectorIx(0), CallIx(0)).unwrap();
    assert!(subject().wind_m_s.is_empty());
    let noise = [recording(7, 60.0)];
    let found = recorded_ranges(subject(), &noise, 25, 5, 2, &|_| true).unwrap();
    assert_eq!(found.months.len(), 1);
    // The noise of a wind does.
    let unsaid = subject().noise_level_db(WIND_M_S).unwrap_err();
    assert!(unsaid.to_string().contains("shipping"), "{unsaid}");
}

/// Counts in synthesised noise, frozen: whoever changes what is drawn, the noise or the sampling raises the method word of these records, so
/// that older ones count no longer.
#[test]
fn regress_other_draws_are_another_method() {
    let draws = Draws {
        calls: 25,
        alone_s: 0.0,
        seed: 11,
    };
    let subject = subject();
    let drawn = sample(&subject, WIND_M_S, draws, 2, &|_| true).unwrap();
    let record = InjectionRecord::new(&subject, &drawn, "test").unwrap();
    let word = record.to_json().contains("\"injection/2\"");
    let points = drawn.curve.points();
    let found: Vec<u64> = points.iter().take(4).map(|p| p.found).collect();
    let level_mdb = (1000.0 * drawn.noise_level_db).round() as i64;
    assert_eq!(
        (
            word,
            points[0].snr_db,
            points[1].snr_db,
            found,
            drawn.by_chance,
            level_mdb
        ),
        (true, 6.0, 7.0, vec![0, 3, 24, 25], 0, 87_979),
        "the same draws come to something else: raise the method word and freeze the new counts"
    );
}
