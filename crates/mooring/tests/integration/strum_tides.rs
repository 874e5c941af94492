//! Strum over a tide: `reference/mooring/scipy-heave.json` and closed forms.

use mooring::{
    LUNAR_TIDE_H, MooringError, StrumShares, Strummed, TideSpeeds, strum_in_a_fortnight,
    strum_in_a_tide,
};
use proptest::prelude::*;
use serde_json::Value;

use crate::support::{close, list, number};

fn strummed(case: &Value) -> Strummed {
    let of = |key: &str| number(&case[key]);
    Strummed {
        diameter_m: of("diameter_m"),
        viscosity_m2_s: of("viscosity_m2_s"),
        low_hz: of("low_hz"),
        high_hz: of("high_hz"),
    }
}

#[test]
fn val_strum_over_tides() {
    let document = truth::json("mooring/scipy-heave.json");
    let cases = list(&document["strums"]);
    assert_eq!(cases.len(), 16);
    for case in cases {
        let of = |key: &str| number(&case[key]);
        let rope = strummed(case);
        let tide = TideSpeeds {
            spring_m_s: of("spring_m_s"),
            neap_m_s: of("neap_m_s"),
            steady_m_s: of("steady_m_s"),
        };
        let springs = strum_in_a_tide(&rope, tide.spring_m_s, tide.steady_m_s).unwrap();
        let fortnight = strum_in_a_fortnight(&rope, &tide).unwrap();
        for (kind, found, within) in [("tide", springs, 1e-5), ("fortnight", fortnight, 1e-3)] {
            for (key, ours) in [
                ("vortices", found.vortices),
                ("doubled", found.doubled),
                ("either", found.either),
                ("unsaid", found.unsaid),
            ] {
                let theirs = number(&case[kind][key]);
                assert!(
                    (ours - theirs).abs() < within,
                    "{kind} {key}: {ours} {theirs} {case}"
                );
            }
        }
    }
}

/// 12 mm at 15 to 30 Hz: twice the vortices' frequency is in the band from 0.45 to 0.9 m/s, which a tide of 1.2 m/s passes in
/// 2/pi (asin 0.75 - asin 0.375) = 29.5 % of its time, the vortices themselves from 0.9 to 1.8 m/s in another 46 %.
#[test]
fn verif_hours_of_a_spring_tide() {
    let rope = Strummed {
        diameter_m: 0.012,
        viscosity_m2_s: 1.3e-6,
        low_hz: 15.0,
        high_hz: 30.0,
    };
    let found = strum_in_a_tide(&rope, 1.2, 0.0).unwrap();
    let share = |speed: f64| (speed / 1.2_f64).asin() * std::f64::consts::FRAC_2_PI;
    close("doubled", found.doubled, share(0.9) - share(0.45), 1e-12);
    close("vortices", found.vortices, 1.0 - share(0.9), 1e-12);
    close(
        "hours",
        found.hours_a_tide(),
        (1.0 - share(0.45)) * LUNAR_TIDE_H,
        1e-12,
    );
    let still = strum_in_a_tide(&rope, 0.0, 0.5).unwrap();
    assert_eq!((still.doubled, still.vortices), (1.0, 0.0));
    let same = TideSpeeds {
        spring_m_s: 1.2,
        neap_m_s: 1.2,
        steady_m_s: 0.0,
    };
    close(
        "no beat",
        strum_in_a_fortnight(&rope, &same).unwrap().either,
        found.either,
        1e-12,
    );
}

#[test]
fn verif_tides_that_cannot_be_are_refused() {
    let rope = Strummed {
        diameter_m: 0.012,
        viscosity_m2_s: 1.3e-6,
        low_hz: 30.0,
        high_hz: 15.0,
    };
    let band = strum_in_a_tide(&rope, 1.0, 0.0).unwrap_err();
    assert!(matches!(band, MooringError::Band { .. }));
    let rope = Strummed {
        high_hz: 60.0,
        ..rope
    };
    strum_in_a_tide(&rope, -1.0, 0.0).unwrap_err();
    strum_in_a_tide(&rope, 1.0, f64::NAN).unwrap_err();
    let upside_down = TideSpeeds {
        spring_m_s: 0.5,
        neap_m_s: 0.6,
        steady_m_s: 0.0,
    };
    strum_in_a_fortnight(&rope, &upside_down).unwrap_err();
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(64) })]

    /// Bands side by side share out the time in which the Strouhal number is known.
    #[test]
    fn verif_bands_share_out_the_time(
        largest in 0.1..3.0_f64,
        steady in -1.0..1.0_f64,
        diameter_m in 0.004..0.05_f64,
        cut_hz in 1.0..100.0_f64,
    ) {
        let of = |low_hz: f64, high_hz: f64| -> StrumShares {
            let rope = Strummed { diameter_m, viscosity_m2_s: 1.3e-6, low_hz, high_hz };
            strum_in_a_tide(&rope, largest, steady).unwrap()
        };
        let (below, above) = (of(0.0, cut_hz), of(cut_hz, 1e6));
        let whole = below.vortices + above.vortices + below.unsaid;
        prop_assert!((whole - 1.0).abs() < 1e-12, "{whole}");
        for found in [below, above] {
            prop_assert!(found.either >= found.vortices.max(found.doubled) - 1e-12);
            prop_assert!(found.either <= found.vortices + found.doubled + 1e-12);
        }
    }
}
