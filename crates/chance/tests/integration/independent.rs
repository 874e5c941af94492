//! Independent things and spares against scipy and closed forms.

use chance::{
    LimitError, MOST_TRIALS, any_of_alike, at_least, each_for_any_of_alike, none_of, spares_needed,
};
use proptest::prelude::*;

use crate::reference::rows;

/// Twelve digits are printed, and the library's transform leaves 1e-15 of one.
const PRINTED: f64 = 1e-11;

#[test]
fn val_spares_agree_with_scipy() {
    for row in rows("scipy-spares.csv", 100) {
        let number = |at: usize| row[at].parse::<f64>().unwrap();
        let found = spares_needed(row[0].parse().unwrap(), number(1), number(2));
        assert_eq!(found, Ok(row[3].parse().unwrap()), "{row:?}");
    }
}

#[test]
fn val_at_least_so_many_agrees_with_scipy() {
    for row in rows("scipy-at-least.csv", 28) {
        let chances: Vec<f64> = row[1].split(';').map(|c| c.parse().unwrap()).collect();
        let expected: f64 = row[2].parse().unwrap();
        let found = at_least(row[0].parse().unwrap(), &chances).unwrap();
        assert!((found - expected).abs() < PRINTED, "{row:?}: {found}");
    }
}

/// An acoustic release of 0.95, a timed one of 0.9 and a dragline of 0.6 leave 0.05 * 0.1 * 0.4 = 0.2 % that none works.
#[test]
fn verif_means_of_recovery_together() {
    let means = [0.95, 0.9, 0.6];
    assert!((none_of(&means).unwrap() - 0.002).abs() < 1e-15);
    assert!((at_least(1, &means).unwrap() - 0.998).abs() < 1e-15);
    assert_eq!(none_of(&[]), Ok(1.0));
    assert_eq!(at_least(0, &[]), Ok(1.0));
    assert_eq!(at_least(1, &[]), Ok(0.0));
}

#[test]
fn verif_mistakes_are_named() {
    for share in [-0.1, 1.1, f64::INFINITY] {
        assert_eq!(
            at_least(1, &[0.5, share]),
            Err(LimitError::BadShare { share })
        );
        assert_eq!(none_of(&[share]), Err(LimitError::BadShare { share }));
        assert_eq!(
            spares_needed(1, share, 0.9),
            Err(LimitError::BadShare { share })
        );
    }
    at_least(1, &[f64::NAN]).unwrap_err();
    assert_eq!(
        spares_needed(1, 0.0, 0.9),
        Err(LimitError::BadShare { share: 0.0 })
    );
    assert_eq!(
        spares_needed(1, 0.5, 1.0),
        Err(LimitError::BadConfidence { confidence: 1.0 })
    );
    let count = MOST_TRIALS + 1;
    assert_eq!(
        spares_needed(count, 0.5, 0.9),
        Err(LimitError::TooMany { count })
    );
    assert!(matches!(
        spares_needed(1000, 1e-9, 0.9),
        Err(LimitError::TooMany { .. })
    ));
    assert_eq!(spares_needed(0, 0.5, 0.9), Ok(0));
    at_least(1, &vec![0.5; 10_001]).unwrap_err();
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(64) })]

    /// By brute force over all sets of things that work.
    #[test]
    fn verif_at_least_is_the_sum_over_all_sets(chances in prop::collection::vec(0.0..=1.0_f64, 0..9), needed in 0..10_usize) {
        let mut expected = 0.0;
        for set in 0..1_u32 << chances.len() {
            if set.count_ones() as usize >= needed {
                let of = |(i, chance): (usize, &f64)| if set >> i & 1 == 1 { *chance } else { 1.0 - chance };
                expected += chances.iter().enumerate().map(of).product::<f64>();
            }
        }
        let found = at_least(needed, &chances).unwrap();
        prop_assert!((found - expected).abs() < 1e-12);
    }
}

#[test]
fn val_some_of_trials_that_are_alike_agree_with_scipy() {
    for row in rows("scipy-alike.csv", 80) {
        let number = |at: usize| row[at].parse::<f64>().unwrap();
        let found = any_of_alike(number(0), row[1].parse().unwrap(), number(2)).unwrap();
        assert!((found - number(3)).abs() < 1e-9, "{row:?}: {found}");
    }
}

/// Alike in all, a second trial tells nothing new; in nothing, they are independent; and what is needed of each gives what was wanted.
#[test]
fn verif_trials_between_independent_and_one_and_the_same() {
    for each in [0.05, 0.5, 0.95] {
        assert!((any_of_alike(each, 9, 1.0).unwrap() - each).abs() < 1e-15);
        let apart = at_least(1, &[each; 9]).unwrap();
        assert!((any_of_alike(each, 9, 0.0).unwrap() - apart).abs() < 1e-13);
        for common in [0.0, 0.2, 1.0] {
            let wanted = any_of_alike(each, 4, common).unwrap();
            let found = each_for_any_of_alike(wanted, 4, common).unwrap();
            assert!((found - each).abs() < 1e-9, "{each} {common}: {found}");
        }
    }
    assert_eq!(any_of_alike(0.5, 0, 0.5), Ok(0.0));
    assert!(any_of_alike(0.5, 3, 1.5).is_err() && each_for_any_of_alike(0.5, 0, 0.5).is_err());
}
