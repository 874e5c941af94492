use numerics::bisect_last_true;
use proptest::prelude::*;

fn sure(limit: u64) -> impl FnMut(u64) -> Result<bool, ()> {
    move |n| Ok(n <= limit)
}

#[test]
fn verif_ends_of_the_range() {
    assert_eq!(bisect_last_true(1, 64, sure(0)), Ok(None));
    assert_eq!(bisect_last_true(1, 64, sure(1)), Ok(Some(1)));
    assert_eq!(bisect_last_true(1, 64, sure(64)), Ok(Some(64)));
    assert_eq!(bisect_last_true(1, 64, sure(1000)), Ok(Some(64)));
    assert_eq!(bisect_last_true(5, 4, sure(9)), Ok(None));
    assert_eq!(
        bisect_last_true(0, u64::MAX, sure(u64::MAX - 1)),
        Ok(Some(u64::MAX - 1))
    );
}

#[test]
fn verif_an_error_of_the_condition_comes_through() {
    let outcome = bisect_last_true(0, 100, |n| {
        if n == 50 {
            Err("no answer at 50")
        } else {
            Ok(n < 70)
        }
    });
    assert_eq!(outcome, Err("no answer at 50"));
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    /// Against a plain count upwards, within the promised number of calls.
    #[test]
    fn verif_agrees_with_counting(low in 0u64..50, width in 0u64..300, limit in 0u64..400) {
        let mut calls = 0;
        let found = bisect_last_true(low, low + width, |n| { calls += 1; Ok::<_, ()>(n <= limit) }).unwrap();
        let counted = (low..=low + width).take_while(|n| *n <= limit).last();
        prop_assert_eq!(found, counted);
        prop_assert!(f64::from(calls) <= 3.0 + libm::log2(width.max(1) as f64), "{} calls for {}", calls, width);
    }
}
