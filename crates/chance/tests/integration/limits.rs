//! Exact limits against scipy and against closed forms.

use chance::{
    LimitError, MOST_TRIALS, bad_share_bound, clean_trials_needed, clopper_pearson, garwood,
};
use proptest::prelude::*;

use crate::reference::rows;

/// The inversion error of scipy.stats for a million trials.
const RELATIVE: f64 = 1e-10;
/// The rounding of some hundred operations; the reference has 40 digits.
const RARE_RELATIVE: f64 = 1e-13;

#[track_caller]
fn close(found: f64, expected: f64, relative: f64) {
    assert!(
        (found - expected).abs() <= relative * expected.abs(),
        "{found} is not {expected}"
    );
}

#[test]
fn val_limits_agree_with_scipy() {
    for row in rows("scipy-limits.csv", 77) {
        let number = |at: usize| row[at].parse::<f64>().unwrap();
        let count: u64 = row[1].parse().unwrap();
        let confidence = number(3);
        let (low, high) = match row[0].as_str() {
            "share" => clopper_pearson(count, row[2].parse().unwrap(), confidence).unwrap(),
            "rate" => garwood(count, number(2), confidence).unwrap(),
            _ => {
                let bound = bad_share_bound(count, row[2].parse().unwrap(), confidence).unwrap();
                (0.0, bound)
            }
        };
        close(low, number(4), RELATIVE);
        close(high, number(5), RELATIVE);
    }
}

#[test]
fn val_limits_of_rare_events_agree_with_mpmath() {
    for row in rows("mpmath-limits.csv", 18) {
        let (bad, trials) = (row[0].parse().unwrap(), row[1].parse().unwrap());
        let bound = bad_share_bound(bad, trials, row[2].parse().unwrap()).unwrap();
        close(bound, row[3].parse().unwrap(), RARE_RELATIVE);
    }
}

#[test]
fn verif_limits_of_clean_trials_are_the_closed_form() {
    for trials in [1, 2, 10, 200, 299, 1_000_000, MOST_TRIALS] {
        let n = trials as f64;
        let expected = -libm::expm1(libm::log(0.05) / n);
        close(bad_share_bound(0, trials, 0.95).unwrap(), expected, 1e-12);
        let (low, high) = clopper_pearson(trials, trials, 0.95).unwrap();
        close(low, libm::exp(libm::log(0.025) / n), 1e-12);
        assert_eq!(high, 1.0);
        let (low, high) = clopper_pearson(0, trials, 0.95).unwrap();
        assert_eq!(low, 0.0);
        close(high, -libm::expm1(libm::log(0.025) / n), 1e-12);
    }
    let (low, high) = garwood(0, 24.0, 0.95).unwrap();
    assert_eq!(low, 0.0);
    close(high, -libm::log(0.025) / 24.0, 1e-14);
}

/// Days without a false alarm that show fewer than one a day at 95 %: 3.69 for the two-sided limit, 3.00 for the one-sided one,
/// which is the upper of the two-sided limits at 90 %.
#[test]
fn verif_three_clean_days_show_less_than_one_a_day() {
    for (confidence, days) in [(0.95, 3.69), (0.9, 3.00)] {
        let high_at = |days: f64| garwood(0, days, confidence).unwrap().1;
        assert!(high_at(days - 0.005) > 1.0 && high_at(days + 0.005) < 1.0);
    }
}

#[test]
fn verif_clean_trials_needed() {
    assert_eq!(clean_trials_needed(0.99, 0.95), Ok(299));
    assert_eq!(clean_trials_needed(0.9, 0.95), Ok(29));
    assert_eq!(clean_trials_needed(0.5, 0.75), Ok(2));
    assert_eq!(clean_trials_needed(0.9, 0.19), Ok(2));
    assert_eq!(clean_trials_needed(0.9, 0.01), Ok(1));
    for (share, confidence) in [(0.99, 0.95), (0.999, 0.9), (0.8, 0.99)] {
        let needed = clean_trials_needed(share, confidence).unwrap();
        assert!(bad_share_bound(0, needed, confidence).unwrap() <= 1.0 - share);
        assert!(bad_share_bound(0, needed - 1, confidence).unwrap() > 1.0 - share);
    }
}

/// A red test: the interval that treats the share as normal is not this one.
#[test]
fn verif_the_normal_approximation_would_fail_the_check() {
    let share = 0.95_f64;
    let wald = share - 1.959964 * (share * (1.0 - share) / 100.0).sqrt();
    let (low, _) = clopper_pearson(95, 100, 0.95).unwrap();
    assert!((wald - low).abs() > 0.01);
}

#[test]
fn verif_mistakes_are_named() {
    assert_eq!(clopper_pearson(0, 0, 0.95), Err(LimitError::NoTrials));
    assert_eq!(
        bad_share_bound(3, 2, 0.95),
        Err(LimitError::MoreThanTrials {
            successes: 3,
            trials: 2
        })
    );
    let count = MOST_TRIALS + 1;
    assert_eq!(
        clopper_pearson(0, count, 0.95),
        Err(LimitError::TooMany { count })
    );
    assert_eq!(
        garwood(count, 1.0, 0.95),
        Err(LimitError::TooMany { count })
    );
    for confidence in [0.0, 1.0, -0.5, 95.0, f64::INFINITY] {
        let bad = LimitError::BadConfidence { confidence };
        assert_eq!(clopper_pearson(1, 2, confidence), Err(bad));
        assert_eq!(garwood(1, 2.0, confidence), Err(bad));
        assert_eq!(clean_trials_needed(0.9, confidence), Err(bad));
        let share = confidence;
        assert_eq!(
            clean_trials_needed(share, 0.9),
            Err(LimitError::BadShare { share })
        );
    }
    clopper_pearson(1, 2, f64::NAN).unwrap_err();
    for exposure in [0.0, -1.0, 1e-320, f64::INFINITY] {
        assert_eq!(
            garwood(1, exposure, 0.95),
            Err(LimitError::BadExposure { exposure })
        );
    }
}

/// Sum of binomial terms by the logarithm of the gamma function, the plain definition without underflow.
fn at_most(k: u64, n: u64, p: f64) -> f64 {
    let log_factorial = |count: u64| libm::lgamma(count as f64 + 1.0);
    (0..=k)
        .map(|j| {
            let ways = log_factorial(n) - log_factorial(j) - log_factorial(n - j);
            libm::exp(ways + j as f64 * libm::log(p) + (n - j) as f64 * libm::log1p(-p))
        })
        .sum()
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn verif_a_limit_has_the_probability_that_is_left_over(
        n in 2_u64..200,
        part in 0.0_f64..1.0,
        confidence in 0.01_f64..0.9999,
    ) {
        let k = (part * (n - 1) as f64) as u64;
        let side = 0.5 * (1.0 - confidence);
        let (low, high) = clopper_pearson(k, n, confidence).unwrap();
        prop_assert!(low <= k as f64 / n as f64 && k as f64 / n as f64 <= high);
        close(at_most(k, n, high), side, 1e-9);
        let (mirror_low, mirror_high) = clopper_pearson(n - k, n, confidence).unwrap();
        close(1.0 - mirror_high, low, 1e-9);
        close(1.0 - mirror_low, high, 1e-9);
        let one_sided = bad_share_bound(k, n, 1.0 - side).unwrap();
        close(one_sided, high, 1e-9);
    }
}
