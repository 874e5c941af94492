//! Ranges over the hours of a month's wind, against hours that are drawn one by one.

use assess::Word;
use assess::range::{OverHours, Sampled, Subject, over_hours};
use plan::Reading;
use power::weather::{WIND_LASTS_H, WindYears};

use crate::ranges::{FAINT, OF_JUNE, asked_as, counted_at, step, subject, with};
use crate::support::{close, known, requirement};

const CALLS: u64 = 1000;
const SPHERICAL: (&str, &str) = (
    "spreading = \"transition\"\nspreading_changes_at = \"1 km\"",
    "spreading = \"spherical\"",
);

fn june(must: &str) -> Reading {
    let changes: Vec<_> = OF_JUNE.into_iter().chain([FAINT, SPHERICAL]).collect();
    asked_as(must, "20 m", "", &changes)
}

fn drawn(subject: &Subject, month: u8) -> Sampled {
    let wind_m_s = subject.wind_m_s[usize::from(month) - 1];
    counted_at(wind_m_s, subject, &step(CALLS), CALLS, 0)
}

fn low_m(row: &OverHours, percentile: usize) -> f64 {
    match row.found[percentile][0].low {
        assess::range::Outer::At(m) => m,
        other => panic!("{other:?}"),
    }
}

/// Twenty years of June, hour by hour, each with the range at which 20 lg r leaves the ratio of a half (as in `laws`; absorption takes less than a hundredth):
/// its quantiles, within what 14,400 hours that know of each other for a day leave open, 5 %.
#[test]
fn val_percentiles_of_the_range_are_those_of_hours_drawn_one_by_one() {
    let reading = june("should");
    let subject = subject(reading.line.as_ref().unwrap());
    let half_db = -1.0 + 2.0 * 0.5 / libm::pow(0.025, 1.0 / CALLS as f64);
    let rise_m = subject.hydrophone_depth_m - subject.source_depth_m;
    let range_m = |wind_m_s: f64| {
        let noise_db = subject.noise_level_db(wind_m_s).unwrap();
        let slant_m = libm::pow(
            10.0,
            (subject.in_band_source_db() - noise_db - half_db) / 20.0,
        );
        libm::sqrt((slant_m * slant_m - rise_m * rise_m).max(0.0))
    };
    // Straight between quarters of a metre a second.
    let table: Vec<f64> = (0..=130).map(|i| range_m(0.25 * f64::from(i))).collect();
    let read = |wind_m_s: f64| {
        let place = (4.0 * wind_m_s).min(129.9);
        let (i, part) = (place as usize, place.fract());
        table[i] + part * (table[i + 1] - table[i])
    };
    let means: [f64; 12] = subject.wind_m_s.clone().try_into().unwrap();
    let years = WindYears::new(means, WIND_LASTS_H).unwrap();
    let (mut june_m, mut year_m) = (Vec::new(), Vec::new());
    let mut hours = Vec::new();
    for year in 0..20 {
        years.fill(3, year, &mut hours);
        year_m.extend(hours.iter().map(|u| read(*u)));
        // From 1 June, hour 3624 of the year, 30 days.
        june_m.extend(hours[3624..4344].iter().map(|u| read(*u)));
    }
    let told = over_hours(&subject, &[6], &[&drawn(&subject, 6)]).unwrap();
    assert_eq!(told.len(), 2);
    assert_eq!((told[0].month, told[1].month), (Some(6), None));
    for (row, mut all) in told.iter().zip([june_m, year_m]) {
        all.sort_by(f64::total_cmp);
        for (i, share) in [0.1, 0.5, 0.9].into_iter().enumerate() {
            let drawn_m = all[(share * all.len() as f64) as usize];
            close(low_m(row, i) / drawn_m, 1.0, 0.05);
        }
        assert!(low_m(row, 0) < low_m(row, 1) && low_m(row, 1) < low_m(row, 2));
    }
}

/// P10 is the short range: it is that in the wind that nine tenths of the hours stay below, and the verdict of a month says so.
#[test]
fn verif_a_verdict_of_months_tells_the_hours() {
    let reading = june("shall");
    let subject = subject(reading.line.as_ref().unwrap());
    let sampled = drawn(&subject, 6);
    let row = over_hours(&subject, &[6], &[&sampled]).unwrap().remove(0);
    let windy = counted_at(row.wind_m_s[0], &subject, &step(CALLS), CALLS, 0);
    assert!(windy.noise_level_db > sampled.noise_level_db);
    let at_wind = over_hours(&subject, &[6], &[&windy]).unwrap().remove(0);
    assert_eq!(low_m(&row, 0), low_m(&at_wind, 0));
    let check = with(&reading, &[sampled]);
    let why = &known(&check, "far").why;
    let p10 = quantity::show(low_m(&row, 0).round(), quantity::Dimension::Length);
    let said =
        format!("over the hours of June's wind to {p10} (P10: nine tenths of the hours exceed it)");
    assert!(why.contains(&said), "{said}: {why}");
}

/// A fixed threshold finds other calls in other noise: nothing is told of hours that were not drawn.
#[test]
fn verif_a_fixed_threshold_tells_no_hours() {
    let changes: Vec<_> = OF_JUNE
        .into_iter()
        .chain([
            FAINT,
            ("  { background = \"median\", over = \"30 s\" },\n", ""),
            (
                "on_above = \"6 dB\", off_below = \"4 dB\"",
                "on_above = \"94 dB re 1 uPa\", off_below = \"92.5 dB re 1 uPa\"",
            ),
        ])
        .collect();
    let reading = asked_as("should", "20 m", "", &changes);
    let subject = subject(reading.line.as_ref().unwrap());
    let why = over_hours(&subject, &[6], &[&drawn(&subject, 6)]).unwrap_err();
    assert!(why.contains("--wind"), "{why}");
}

/// How far the noise of a wind lies from that of the calls is told; calls that were drawn 25 dB louder tell nothing of it.
#[test]
fn verif_calls_of_far_noise_tell_no_hours() {
    let reading = june("should");
    let subject = subject(reading.line.as_ref().unwrap());
    let near = drawn(&subject, 6);
    let row = over_hours(&subject, &[6], &[&near]).unwrap().remove(0);
    for (wind_m_s, apart_db) in row.wind_m_s.iter().zip(row.apart_db) {
        let noise_db = subject.noise_level_db(*wind_m_s).unwrap();
        close(apart_db, (noise_db - near.noise_level_db).abs(), 1e-9);
    }
    let mut far = near.clone();
    far.noise_level_db += 25.0 + row.apart_db.into_iter().fold(0.0, f64::max);
    let why = over_hours(&subject, &[6], &[&far]).unwrap_err();
    assert!(why.contains("dB from the nearest"), "{why}");
    // With both the nearer counts.
    let both = over_hours(&subject, &[6], &[&far, &near])
        .unwrap()
        .remove(0);
    assert_eq!(both, row);
}

/// A range that must hold in nine tenths of the hours is that in the wind below which nine tenths of June's stay: P10, and the limit between it and the range
/// at the mean wind is broken by the one and kept by the other. A weaker share asks for less.
#[test]
fn verif_a_range_may_be_asked_in_a_share_of_the_hours() {
    let of = |must: &str, at_least: f64, more: &str| {
        let changes: Vec<_> = OF_JUNE.into_iter().chain([FAINT, SPHERICAL]).collect();
        let limit = format!("{at_least} m");
        let reading = asked_as(must, &limit, more, &changes);
        let subject = subject(reading.line.as_ref().unwrap());
        let sampled = drawn(&subject, 6);
        let row = over_hours(&subject, &[6], &[&sampled]).unwrap().remove(0);
        (with(&reading, &[sampled]), row)
    };
    let hours = "in = \"90 % of hours\"\n";
    let (check, row) = of("should", 20.0, hours);
    let found = known(&check, "far");
    close(found.value.value, low_m(&row, 0).round(), 0.0);
    assert!(found.why.contains("below which 90 % of its hours stay"));
    let (check, _) = of("should", 20.0, "in = \"50 % of hours\"\n");
    close(
        known(&check, "far").value.value,
        low_m(&row, 1).round(),
        0.0,
    );
    let (check, _) = of("should", 20.0, "");
    let at_mean_m = known(&check, "far").value.value;
    let between_m = f64::midpoint(at_mean_m, low_m(&row, 0));
    assert!(between_m > low_m(&row, 0) + 1.0 && between_m < at_mean_m - 1.0);
    let word = |more: &str| requirement(&of("should", between_m, more).0, "far").word();
    assert_eq!(word(hours), Word::Broken);
    assert_ne!(word(""), Word::Broken);
}
