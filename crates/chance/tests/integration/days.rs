//! Limits of a rate by a bootstrap of whole days, against the same in NumPy and against the laws that the days were drawn from.

use chance::{COVERED_OF_TEN_DAYS, Day, FEWEST_DAYS, Stream, day_limits, garwood};
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

/// A count of a negative binomial law at a share of it: the mixture of Poisson laws whose means follow a Gamma law (N. L. Johnson, A. W. Kemp and S. Kotz,
/// "Univariate Discrete Distributions", from memory), term by term.
fn negative_binomial(mean: f64, shape: f64, share: f64) -> u64 {
    let ends = shape / (shape + mean);
    let mut term = ends.powf(shape);
    let (mut sum, mut count) = (term, 0_u32);
    while sum < share && count < 100_000 {
        term *= (f64::from(count) + shape) / f64::from(count + 1) * (1.0 - ends);
        sum += term;
        count += 1;
    }
    u64::from(count)
}

/// Ten days of the heaviest law, drawn here: the upper limit covers as often as NumPy saw on sets of its own. 1000 and 400 sets leave a standard error
/// of 1.6 points of the days and 3 of the counts between them; three of those are allowed.
#[test]
fn val_ten_days_of_the_heaviest_law_are_covered_as_numpy_saw() {
    const SETS: u64 = 1000;
    let reference = truth::json("chance/numpy-days.json");
    let laws = reference["laws"].as_array().unwrap();
    let heaviest = laws
        .iter()
        .find(|l| number(l, "days") == FEWEST_DAYS as f64 && l["shape"] == 0.3)
        .unwrap();
    let mean = number(heaviest, "mean");
    let (mut covered, mut counted) = (0, 0);
    for set in 0..SETS {
        let mut draws = Stream::named(5, "days of a heavy law", set);
        let events: Vec<u64> = (0..FEWEST_DAYS)
            .map(|_| negative_binomial(mean, 0.3, draws.uniform()))
            .collect();
        let (_, high) = day_limits(&days(&events), 0.95, set).unwrap().unwrap();
        covered += u64::from(high >= mean);
        let of_counts = garwood(events.iter().sum(), FEWEST_DAYS as f64, 0.95).unwrap();
        counted += u64::from(of_counts.1 >= mean);
    }
    let share = |n: u64| n as f64 / SETS as f64;
    let by_numpy = number(heaviest, "days_upper_covers");
    assert_eq!(by_numpy, COVERED_OF_TEN_DAYS);
    assert!((share(covered) - by_numpy).abs() < 0.048, "{covered}");
    let of_counts = number(heaviest, "garwood_upper_covers");
    assert!((share(counted) - of_counts).abs() < 0.09, "{counted}");
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
