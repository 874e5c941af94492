use proptest::prelude::*;
use timeline::{ClockError, Ns, SampleClock};

#[test]
fn verif_whole_periods_are_exact() {
    let clock = SampleClock::from_rate_hz(Ns(500), 48_000).unwrap();
    // 48 000 samples are one second, for ever: 240 days later the sample still falls on the whole second.
    let days_240_s = 240 * 86_400;
    assert_eq!(
        clock.time_of(48_000 * days_240_s),
        Ok(Ns(500 + days_240_s * 1_000_000_000))
    );
    // 1e9/48000 = 20833.33: rounded up.
    assert_eq!(clock.time_of(1), Ok(Ns(500 + 20_834)));
    assert_eq!(clock.time_of(3), Ok(Ns(500 + 62_500)));
    assert_eq!(clock.first_at_or_after(Ns(0)), Ok(0));
    assert_eq!(clock.first_at_or_after(Ns(500)), Ok(0));
    assert_eq!(clock.first_at_or_after(Ns(501)), Ok(1));
    assert_eq!(clock.first_at_or_after(Ns(500 + 20_834)), Ok(1));
    assert_eq!(clock.first_at_or_after(Ns(500 + 20_835)), Ok(2));
}

#[test]
fn verif_impossible_clocks_are_refused() {
    assert_eq!(
        SampleClock::from_rate_hz(Ns(0), 0),
        Err(ClockError::NoPeriod {
            num: 1_000_000_000,
            den: 0
        })
    );
    assert_eq!(
        SampleClock::new(Ns(0), 0, 1),
        Err(ClockError::NoPeriod { num: 0, den: 1 })
    );
    let by_hand = SampleClock {
        origin: Ns(0),
        num: 0,
        den: 3,
    };
    assert_eq!(
        by_hand.time_of(1),
        Err(ClockError::NoPeriod { num: 0, den: 3 })
    );
    assert_eq!(
        by_hand.first_at_or_after(Ns(1)),
        Err(ClockError::NoPeriod { num: 0, den: 3 })
    );
    let slow = SampleClock::new(Ns(1), u64::MAX, 1).unwrap();
    assert_eq!(slow.time_of(1), Err(ClockError::BeyondTime { index: 1 }));
    let quick = SampleClock::new(Ns(0), 1, 3).unwrap();
    assert_eq!(
        quick.first_at_or_after(Ns::MAX),
        Err(ClockError::BeyondIndex { at: Ns::MAX })
    );
}

proptest! {
    #[test]
    fn verif_first_index_is_the_first(origin in 0u64..1 << 40, num in 1u64..1 << 34, den in 1u64..1 << 20, at in 0u64..1 << 45) {
        let clock = SampleClock::new(Ns(origin), num, den).unwrap();
        let index = clock.first_at_or_after(Ns(at)).unwrap();
        prop_assert!(clock.time_of(index).unwrap() >= Ns(at));
        if index > 0 {
            prop_assert!(clock.time_of(index - 1).unwrap() < Ns(at));
        }
    }

    #[test]
    fn verif_index_to_time_and_back(origin in 0u64..1 << 40, rate_hz in 1u64..1_000_000_000, index in 0u64..1 << 33) {
        let clock = SampleClock::from_rate_hz(Ns(origin), rate_hz).unwrap();
        let Ok(at) = clock.time_of(index) else { return Ok(()); };
        prop_assert_eq!(clock.first_at_or_after(at).unwrap(), index);
        let exact = u128::from(index) * 1_000_000_000;
        let since = u128::from(at.0 - origin);
        prop_assert!(since * u128::from(rate_hz) >= exact && exact + u128::from(rate_hz) > since * u128::from(rate_hz));
    }
}
