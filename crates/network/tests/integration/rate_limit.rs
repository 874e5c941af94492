//! `at_most`, taken at its word.

use network::{Admission, AtMost, RateError, RateLimit};
use proptest::prelude::*;
use timeline::Ns;

const HOUR: Ns = Ns(3_600_000_000_000);

#[test]
fn verif_six_per_hour() {
    let mut limit = RateLimit::new(AtMost::new(6, HOUR).unwrap());
    for second in 0..6 {
        assert_eq!(
            limit.admit(Ns(second * 1_000_000_000)),
            Ok(Admission::Passed)
        );
    }
    assert_eq!(
        limit.admit(Ns(6_000_000_000)),
        Ok(Admission::Refused { until: HOUR })
    );
    assert_eq!(
        limit.admit(Ns(HOUR.0 - 1)),
        Ok(Admission::Refused { until: HOUR })
    );
    assert_eq!(limit.admit(HOUR), Ok(Admission::Passed));
    assert_eq!(
        limit.admit(HOUR),
        Ok(Admission::Refused {
            until: Ns(HOUR.0 + 1_000_000_000)
        })
    );
    assert_eq!(limit.refused(), 3);
    assert_eq!(
        limit.admit(Ns(0)),
        Err(RateError::Backwards {
            now: Ns(0),
            latest: HOUR
        })
    );
    assert_eq!(AtMost::new(0, HOUR), Err(RateError::NoMessages));
    assert_eq!(AtMost::new(1, Ns(0)), Err(RateError::NoSpan));
}

proptest! {
    #[test]
    fn verif_no_span_holds_more_and_none_is_refused_in_vain(
        messages in 1u32..6, per in 1u64..60, gaps in prop::collection::vec(0u64..20, 1..200),
    ) {
        let mut limit = RateLimit::new(AtMost::new(messages, Ns(per)).unwrap());
        let (mut now, mut passed) = (0, Vec::new());
        for gap in gaps {
            now += gap;
            // Second route: count what passed in the span that ends here.
            let recent = passed.iter().filter(|&&at| at + per > now).count();
            match limit.admit(Ns(now)).unwrap() {
                Admission::Passed => {
                    prop_assert!(recent < messages as usize);
                    passed.push(now);
                }
                Admission::Refused { until } => {
                    prop_assert_eq!(recent, messages as usize);
                    prop_assert!(until.0 > now);
                }
            }
        }
        for (index, &from) in passed.iter().enumerate() {
            for (last, &to) in passed.iter().enumerate().skip(index) {
                // The token bucket that the delay bound assumes, over the closed span.
                let count = (last - index + 1) as u64;
                prop_assert!(count <= u64::from(messages) * ((to - from) / per + 1));
            }
        }
    }
}
