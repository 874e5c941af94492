//! Limits of a rate by a bootstrap of whole days, against the same in NumPy and against the laws that the days were drawn from.

use chance::{Day, FEWEST_DAYS, day_limits, garwood};
use serde_json::Value;

/// Two bootstraps of 2000 draws of different streams.
const HALF: f64 = 0.03;
const NINE_TENTHS: f64 = 0.10;
const COVERS: f64 = 0.02;

fn number(of: &Value, key: &str) -> f64 {
    of[key].as_f64().unwrap()
}

fn days(events: &[u64]) -> Vec<Day> {
    let day = |&events: &u64| Day {
        exposure: 1.0,
        events,
    };
    events.iter().map(day).collect()
}

/// Fourteen days of a negative binomial law of mean 10 and shape 1: the limits of each set, and how often they cover, as NumPy has it;
/// those of Garwood fail.
#[test]
fn val_limits_over_days_cover_what_counts_alone_do_not() {
    let reference = truth::json("chance/numpy-days.json");
    let laws = reference["laws"].as_array().unwrap();
    let whole: Vec<&Value> = laws.iter().filter(|l| l["sets"].is_array()).collect();
    assert_eq!(whole.len(), 1);
    let (law, mean) = (whole[0], number(whole[0], "mean"));
    let sets = law["sets"].as_array().unwrap();
    let (mut apart, mut upper, mut lower, mut counted) = (Vec::new(), 0.0, 0.0, 0.0);
    for (seed, set) in sets.iter().enumerate() {
        let events: Vec<u64> = set["events"]
            .as_array()
            .unwrap()
            .iter()
            .map(|n| n.as_u64().unwrap())
            .collect();
        let (low, high) = day_limits(&days(&events), 0.95, seed as u64)
            .unwrap()
            .unwrap();
        apart.push((low - number(set, "low")).abs() / number(set, "low").max(1.0));
        apart.push((high - number(set, "high")).abs() / number(set, "high"));
        let each = 1.0 / sets.len() as f64;
        upper += if high >= mean { each } else { 0.0 };
        lower += if low <= mean { each } else { 0.0 };
        let of_counts = garwood(events.iter().sum(), events.len() as f64, 0.95).unwrap();
        counted += if of_counts.1 >= mean { each } else { 0.0 };
    }
    apart.sort_by(f64::total_cmp);
    assert!(apart[apart.len() / 2] < HALF, "{}", apart[apart.len() / 2]);
    assert!(
        apart[apart.len() * 9 / 10] < NINE_TENTHS,
        "{}",
        apart[apart.len() * 9 / 10]
    );
    assert!(
        (upper - number(law, "days_upper_covers")).abs() <= COVERS,
        "{upper}"
    );
    assert!(
        (lower - number(law, "days_lower_covers")).abs() <= COVERS,
        "{lower}"
    );
    assert!(
        (counted - number(law, "garwood_upper_covers")).abs() < 1e-9,
        "{counted}"
    );
    // 97.5 % is what an upper limit promises: counts alone cover less than three quarters, days nearly all.
    assert!(counted < 0.75 && upper > 0.93, "{counted} {upper}");
}

/// What was measured of ten laws: from [`FEWEST_DAYS`] days on the upper limit covers more than nine tenths.
#[test]
fn val_ten_days_cover_nine_tenths_of_every_law() {
    let reference = truth::json("chance/numpy-days.json");
    let laws = reference["laws"].as_array().unwrap();
    let enough = laws
        .iter()
        .filter(|l| number(l, "days") >= FEWEST_DAYS as f64);
    let mut seen = 0;
    for law in enough {
        assert!(number(law, "days_upper_covers") > 0.9, "{law}");
        seen += 1;
    }
    assert!(seen >= 9);
}

#[test]
fn verif_days_alike_show_what_counts_show_and_few_show_nothing() {
    let alike = day_limits(&days(&[3; 12]), 0.95, 1).unwrap().unwrap();
    assert_eq!(alike, garwood(36, 12.0, 0.95).unwrap());
    let none = day_limits(&days(&[0; 12]), 0.95, 1).unwrap().unwrap();
    assert_eq!(none, garwood(0, 12.0, 0.95).unwrap());
    assert_eq!(day_limits(&days(&[3; FEWEST_DAYS - 1]), 0.95, 1), Ok(None));
    // A day of half the length with half the events is no burst.
    let mut halves = days(&[4; 12]);
    halves.extend((0..12).map(|_| Day {
        exposure: 0.5,
        events: 2,
    }));
    let found = day_limits(&halves, 0.95, 1).unwrap().unwrap();
    assert_eq!(found, garwood(72, 18.0, 0.95).unwrap());
    // The same seed gives the same limits; one storm widens them.
    let mut storm = days(&[1; 12]);
    storm[4].events = 40;
    let once = day_limits(&storm, 0.95, 7).unwrap().unwrap();
    assert_eq!(day_limits(&storm, 0.95, 7).unwrap().unwrap(), once);
    assert!(
        once.1 > 1.5 * garwood(51, 12.0, 0.95).unwrap().1,
        "{once:?}"
    );
}

#[test]
fn verif_days_without_time_are_refused() {
    let bad = Day {
        exposure: 0.0,
        events: 1,
    };
    assert!(day_limits(&[bad; 12], 0.95, 1).is_err());
}
