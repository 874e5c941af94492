//! The chi-square laws against 50 digits, scipy, and closed forms.

use chance::{
    LawError, chi_square_exceeded_by, chi_square_share_above, marcum_q,
    noncentral_chi_square_share_above,
};

/// Of the share: the rounding of some thousand operations.
const RELATIVE: f64 = 1e-12;
/// The same from 10,000 degrees of freedom on.
const MANY_RELATIVE: f64 = 1e-10;
/// Accuracy of scipy's noncentral law.
const SCIPY_RELATIVE: f64 = 1e-7;

#[track_caller]
fn close(found: f64, expected: f64, relative: f64) {
    assert!(
        (found - expected).abs() <= relative * expected.abs(),
        "{found} is not {expected}"
    );
}

fn numbers(row: &[String]) -> Vec<f64> {
    row.iter()
        .map(|field| field.parse().expect("a number"))
        .collect()
}

fn table(name: &str) -> Vec<Vec<String>> {
    let rows = truth::rows(&format!("chance/{name}"));
    assert!(rows.len() > 100, "{} rows of {name}", rows.len());
    rows
}

#[test]
fn val_shares_agree_with_fifty_digits() {
    for row in table("mpmath-chi-square.csv") {
        let n = numbers(&row);
        let (value, degrees, noncentrality, share) = (n[0], n[1], n[2], n[3]);
        let relative = if degrees > 9999.0 {
            MANY_RELATIVE
        } else {
            RELATIVE
        };
        let found = noncentral_chi_square_share_above(value, degrees, noncentrality).unwrap();
        close(found, share, relative);
        if noncentrality == 0.0 {
            close(
                chi_square_share_above(value, degrees).unwrap(),
                share,
                relative,
            );
            // A share of nearly one says nothing of its value.
            if share < 0.9 {
                close(
                    chi_square_exceeded_by(share, degrees).unwrap(),
                    value,
                    1e-11,
                );
            }
        }
    }
}

#[test]
fn val_thresholds_and_detection_probabilities_agree_with_scipy() {
    for row in table("scipy-chi-square.csv") {
        let n = numbers(&row[1..]);
        if row[0] == "marcum" {
            let found = marcum_q(n[0], n[1], n[2]).unwrap();
            close(found, n[4], SCIPY_RELATIVE);
            continue;
        }
        let (degrees, snr) = (2.0 * n[0], libm::pow(10.0, n[2] / 10.0));
        let threshold = chi_square_exceeded_by(n[1], degrees).unwrap();
        close(threshold, n[3], 1e-9);
        let found = noncentral_chi_square_share_above(threshold, degrees, degrees * snr).unwrap();
        close(found, n[4], SCIPY_RELATIVE);
    }
}

/// The convention of TW instead of 2TW degrees of freedom, which takes the real samples of a band for complex ones.
#[test]
fn val_red_tw_degrees_of_freedom_miss_the_tables() {
    let (tw, threshold, detection) = (50.0, 149.449253, 0.496720);
    let right = chi_square_exceeded_by(1e-3, 2.0 * tw).unwrap();
    close(right, threshold, 1e-7);
    let wrong = chi_square_exceeded_by(1e-3, tw).unwrap();
    assert!((wrong - threshold).abs() > 50.0, "{wrong}");
    let snr = libm::pow(10.0, -0.3);
    let found = noncentral_chi_square_share_above(wrong, tw, tw * snr).unwrap();
    assert!((found - detection).abs() > 0.05, "{found}");
}

/// Two degrees of freedom are an exponential law; one is a squared normal draw.
#[test]
fn verif_one_and_two_degrees_of_freedom_are_closed_forms() {
    for value in [1e-6, 0.1, 1.0, 7.0, 60.0, 700.0] {
        close(
            chi_square_share_above(value, 2.0).unwrap(),
            libm::exp(-0.5 * value),
            1e-13,
        );
        let share = libm::erfc((0.5 * value).sqrt());
        close(chi_square_share_above(value, 1.0).unwrap(), share, 1e-12);
        for mean in [0.4, 3.0, 12.0] {
            let root = value.sqrt();
            let both = 0.5
                * (libm::erfc((root - mean) * std::f64::consts::FRAC_1_SQRT_2)
                    + libm::erfc((root + mean) * std::f64::consts::FRAC_1_SQRT_2));
            let found = noncentral_chi_square_share_above(value, 1.0, mean * mean).unwrap();
            close(found, both, 1e-11);
        }
    }
    assert_eq!(chi_square_share_above(0.0, 7.0).unwrap(), 1.0);
}

#[test]
fn verif_what_lies_outside_is_refused() {
    for (value, degrees) in [
        (-1.0, 2.0),
        (f64::NAN, 2.0),
        (1.0, 0.0),
        (1.0, f64::INFINITY),
    ] {
        assert!(matches!(
            chi_square_share_above(value, degrees),
            Err(LawError::OutOfRange { .. })
        ));
    }
    assert!(chi_square_exceeded_by(0.0, 3.0).is_err());
    assert!(noncentral_chi_square_share_above(1.0, 2.0, -1.0).is_err());
    assert!(marcum_q(1.0, 1.0, f64::NAN).is_err());
}
