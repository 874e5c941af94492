use timeline::{Ns, TimeError};

#[test]
fn val_si_seconds_to_nanoseconds() {
    // SI Brochure, 9th ed. (2019), table 7: nano = 1e-9.
    for (seconds_s, ns) in [
        (0.0, 0),
        (-0.0, 0),
        (1e-9, 1),
        (0.1, 100_000_000),
        (1.0, 1_000_000_000),
        (0.000_210_35, 210_350),
        (86_400.0, 86_400_000_000_000),
    ] {
        assert_eq!(Ns::from_s_f64(seconds_s), Ok(Ns(ns)), "{seconds_s} s");
    }
    assert_eq!(Ns::from_s_f64(0.4e-9), Ok(Ns(0)));
    assert_eq!(Ns::from_s_f64(0.6e-9), Ok(Ns(1)));
}

#[test]
fn verif_seconds_that_are_no_time_are_refused() {
    assert!(matches!(
        Ns::from_s_f64(f64::NAN),
        Err(TimeError::NotFinite { .. })
    ));
    assert!(matches!(
        Ns::from_s_f64(f64::INFINITY),
        Err(TimeError::NotFinite { .. })
    ));
    assert_eq!(
        Ns::from_s_f64(-1e-12),
        Err(TimeError::Negative { seconds_s: -1e-12 })
    );
    assert_eq!(
        Ns::from_s_f64(1.9e10),
        Err(TimeError::TooLarge { seconds_s: 1.9e10 })
    );
    assert_eq!(
        Ns::from_s_f64(18_446_744_073.709_551_616),
        Err(TimeError::TooLarge {
            seconds_s: 18_446_744_073.709_551_616
        })
    );
    assert!(Ns::from_s_f64(18_446_744_073.0).is_ok());
}

#[test]
fn verif_arithmetic_never_wraps() {
    assert_eq!(Ns::MAX.checked_add(Ns(1)), None);
    assert_eq!(Ns::ZERO.checked_sub(Ns(1)), None);
    assert_eq!(Ns(1 << 63).checked_mul(2), None);
    assert_eq!(Ns::checked_from_s(18_446_744_074), None);
    assert_eq!(Ns::checked_from_s(2), Some(Ns(2_000_000_000)));
    assert_eq!(Ns(3).checked_sub(Ns(1)), Some(Ns(2)));
}

#[test]
fn verif_display_is_exact() {
    assert_eq!(Ns(1_000_000_250).to_string(), "1.000000250 s");
    assert_eq!(Ns::MAX.to_string(), "18446744073.709551615 s");
}
