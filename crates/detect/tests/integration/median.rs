//! The running median against sorting.

use detect::RunningMedian;
use proptest::prelude::*;

fn sorted_median(values: &[f64]) -> f64 {
    let mut v = values.to_vec();
    v.sort_by(f64::total_cmp);
    let n = v.len();
    if n % 2 == 1 || v[n / 2 - 1] == v[n / 2] {
        v[n / 2]
    } else {
        0.5 * (v[n / 2 - 1] + v[n / 2])
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn verif_running_median_is_the_median_of_the_last_values(
        capacity in 1usize..40,
        // Few distinct values, so that equals abound.
        values in prop::collection::vec((-6i32..6).prop_map(f64::from), 1..200),
        clear_at in 0usize..200,
    ) {
        let mut median = RunningMedian::new(capacity).unwrap();
        let mut begin = 0;
        for i in 0..values.len() {
            if i == clear_at {
                median.clear();
                begin = i;
                prop_assert_eq!(median.median(), None);
            }
            median.push(values[i]);
            let from = begin.max((i + 1).saturating_sub(capacity));
            prop_assert_eq!(median.held(), i + 1 - from);
            prop_assert_eq!(median.median(), Some(sorted_median(&values[from..=i])));
        }
    }
}

#[test]
fn verif_running_median_over_many_random_values() {
    let values = crate::support::noise(5, 20_000);
    let capacity = 480;
    let mut median = RunningMedian::new(capacity).unwrap();
    for i in 0..values.len() {
        median.push(values[i]);
        if i % 37 == 0 {
            let from = (i + 1).saturating_sub(capacity);
            assert_eq!(median.median(), Some(sorted_median(&values[from..=i])));
        }
    }
}

#[test]
fn verif_infinities_are_values_like_others() {
    let mut median = RunningMedian::new(4).unwrap();
    for (value, expected) in [
        (f64::NEG_INFINITY, f64::NEG_INFINITY),
        (f64::NEG_INFINITY, f64::NEG_INFINITY),
        (1.0, f64::NEG_INFINITY),
        (2.0, f64::NEG_INFINITY),
        (3.0, 1.5),
        (4.0, 2.5),
    ] {
        median.push(value);
        assert_eq!(median.median(), Some(expected));
    }
}

#[test]
fn verif_capacity_has_limits() {
    assert!(RunningMedian::new(0).is_none());
    assert!(RunningMedian::new(RunningMedian::MOST + 1).is_none());
}
