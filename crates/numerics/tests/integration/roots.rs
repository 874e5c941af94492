use std::cell::Cell;

use numerics::{RootError, Table, brent};
use proptest::prelude::*;

use crate::reference::rows;

const TOLERANCE: f64 = 1e-12;

fn function(case: &str) -> fn(f64) -> f64 {
    match case {
        "cosine-line" => |x| libm::cos(x) - x,
        "cubic" => |x| x * x * x - 2.0 * x - 5.0,
        "exponential" => |x| libm::exp(-x) - 1e-3,
        "steep-tanh" => |x| libm::tanh(50.0 * (x - 0.3)),
        "flat-ninth" => |x| libm::pow(x - 1.5, 9.0),
        "pole-like" => |x| 1.0 / (x + 1e-3) - 400.0,
        "spreading-range" => |x| 15.0 * libm::log10(x) + 0.06e-3 * x - 70.0,
        other => panic!("the reference names an unknown case {other}"),
    }
}

/// Truth: scipy.optimize.brentq, reference/numerics/scipy-brentq.csv, with tolerances as its header states.
#[test]
fn val_roots_and_effort_agree_with_scipy() {
    for row in rows("scipy-brentq.csv") {
        let f = function(&row[0]);
        let [a, b, expected] = [1, 2, 3].map(|i| row[i].parse::<f64>().unwrap());
        let expected_calls: u32 = row[4].parse().unwrap();
        let calls = Cell::new(0);
        let counted = |x| {
            calls.set(calls.get() + 1);
            f(x)
        };
        let root = brent(counted, a, b, TOLERANCE).unwrap();
        let allowed = 2e-12 + 1e-14 * expected.abs();
        assert!(
            (root.x - expected).abs() <= allowed,
            "{}: {} against {expected}",
            row[0],
            root.x
        );
        assert_eq!(root.residual, f(root.x), "{}", row[0]);
        assert_eq!(calls.get(), root.iterations + 2, "{}", row[0]);
        assert!(
            calls.get() <= 2 * expected_calls + 4,
            "{}: {} calls, scipy {expected_calls}",
            row[0],
            calls.get()
        );
    }
}

/// Wallis's cubic, whose root is printed in textbooks of three centuries (value from memory).
#[test]
fn val_root_of_the_cubic_of_wallis() {
    let root = brent(function("cubic"), 2.0, 3.0, TOLERANCE).unwrap();
    assert!((root.x - 2.094_551_481_542_326_6).abs() < 2e-12);
}

#[test]
fn verif_ends_in_either_order_and_exact_ends() {
    let line = |x: f64| x - 2.0;
    assert!((brent(line, 5.0, -1.0, 0.0).unwrap().x - 2.0).abs() < 1e-14);
    assert_eq!(brent(line, 2.0, 7.0, 1e-9).unwrap().x, 2.0);
    assert_eq!(brent(line, -7.0, 2.0, 1e-9).unwrap().x, 2.0);
    assert_eq!(brent(line, 2.0, 7.0, 1e-9).unwrap().iterations, 0);
}

#[test]
fn verif_failures_are_named() {
    let square = |x: f64| x * x + 1.0;
    assert_eq!(
        brent(square, -1.0, 2.0, 1e-9),
        Err(RootError::NotBracketed {
            a: -1.0,
            b: 2.0,
            fa: 2.0,
            fb: 5.0
        })
    );
    assert_eq!(
        brent(|x| x, f64::NEG_INFINITY, 2.0, 1e-9),
        Err(RootError::BracketNotFinite {
            a: f64::NEG_INFINITY,
            b: 2.0
        })
    );
    assert_eq!(
        brent(|x| x, -1.0, 2.0, -1e-9),
        Err(RootError::BadTolerance { tolerance: -1e-9 })
    );
    assert!(matches!(
        brent(|x| x, -1.0, 2.0, f64::NAN),
        Err(RootError::BadTolerance { .. })
    ));
    let holed = |x: f64| {
        if x > 0.4 && x < 0.6 {
            f64::NAN
        } else {
            x - 0.5
        }
    };
    assert!(
        matches!(brent(holed, 0.0, 1.0, 1e-9), Err(RootError::FunctionNotFinite { value, .. }) if value.is_nan())
    );
}

/// A bracket of 1e-300 to 1e300 cannot shrink to an absolute tolerance of zero around 1e-250 in 200 halvings.
#[test]
fn verif_no_convergence_is_an_error_not_a_guess() {
    let step = |x: f64| if x < 1e-250 { -1.0 } else { 1.0 };
    let outcome = brent(step, -1e300, 1e300, 0.0);
    assert!(
        matches!(
            outcome,
            Err(RootError::NotConverged {
                iterations: 200,
                ..
            })
        ),
        "{outcome:?}"
    );
}

/// A jump is found, and the residual shows that it is no root.
#[test]
fn verif_a_jump_shows_in_the_residual() {
    let jump = brent(|x| if x < 0.25 { -3.0 } else { 4.0 }, 0.0, 1.0, 1e-9).unwrap();
    assert!((jump.x - 0.25).abs() < 2e-9);
    assert!(jump.residual.abs() >= 3.0);
}

/// Functions whose secants and parabolas point far outside: every step must still land within the bracket that is left.
#[test]
fn verif_no_step_leaves_the_bracket() {
    let functions: [fn(f64) -> f64; 4] = [
        |x| libm::exp(40.0 * x) - 2.0,
        |x| libm::cbrt(x - 0.1),
        |x| libm::atan(300.0 * (x - 0.7)) + 0.01 * x,
        |x| x * x * x * x * x + 0.2 * x - 0.05,
    ];
    for (case, f) in functions.into_iter().enumerate() {
        for (a, b) in [(-1.0, 1.0), (-0.6, 3.0), (-0.01, 5.0), (0.0, 1.7)] {
            let (mut low, mut high) = (a, b);
            let sign_at_low = f(a) > 0.0;
            let mut evaluations = 0;
            let watched = |x: f64| {
                evaluations += 1;
                assert!(
                    evaluations <= 2 || (low < x && x < high),
                    "case {case}: {x} not within {low} to {high}"
                );
                let value = f(x);
                if evaluations > 2 {
                    if (value > 0.0) == sign_at_low {
                        low = x
                    } else {
                        high = x
                    }
                }
                value
            };
            brent(watched, a, b, TOLERANCE).unwrap();
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    /// A cubic built around a root that is known beforehand; it rises everywhere, so there is only one.
    #[test]
    fn verif_built_in_root_is_found(root in -50.0f64..50.0, bend in 0.0f64..5.0, left in 0.1f64..90.0, right in 0.1f64..90.0) {
        let found = brent(|x| (x - root) * (1.0 + bend * (x - root) * (x - root)), root - left, root + right, TOLERANCE).unwrap();
        prop_assert!((found.x - root).abs() <= TOLERANCE + 1e-13, "{} {}", found.x, root);
    }

    /// Broken lines whose slopes differ by up to twelve powers of ten throw the parabola far out.
    #[test]
    fn verif_broken_lines_keep_every_step_inside(
        steps in prop::collection::vec((0.01f64..2.0, -6.0f64..6.0), 3..12),
        root_share in 0.01f64..0.99,
    ) {
        check_broken_line(&steps, root_share);
    }
}

/// One of the few broken lines on which a search without the bound of three quarters of the bracket steps outside.
#[test]
fn verif_a_parabola_thrown_out_is_refused() {
    let steps = [
        (6.927_424, 0.0),
        (0.914_467_621_236_324_2, 4.948_568_153_091_407),
        (1.007_872_926_356_211_2, 3.632_673_818_375_286_2),
    ];
    check_broken_line(&steps, 0.885_922_793_762_451_4);
}

/// Searches a rising broken line (width and lg slope of each piece) for a point that is known, `root_share` of its length:
/// no evaluation may lie outside the bracket that is left, and the point must come out.
fn check_broken_line(steps: &[(f64, f64)], root_share: f64) {
    let (mut x, mut y) = (vec![0.0], vec![0.0]);
    for (i, (width, lg_slope)) in steps.iter().enumerate() {
        x.push(x[i] + width);
        y.push(y[i] + width * libm::pow(10.0, *lg_slope));
    }
    let table = Table::new(&x, &y).expect("widths and slopes are positive");
    let root = root_share * table.high();
    let level = table.at(root).expect("the share is below one");
    let (mut low, mut high) = (0.0, table.high());
    let mut evaluations = 0;
    let watched = |at: f64| {
        evaluations += 1;
        let value = table.at(at).expect("the search stays in the table") - level;
        if evaluations > 2 {
            assert!(low < at && at < high, "{at} is not within {low} to {high}");
            if value > 0.0 { high = at } else { low = at }
        }
        value
    };
    let found = brent(watched, 0.0, table.high(), TOLERANCE).expect("the ends enclose the root");
    let near = (found.x - root).abs() < 1e-8;
    assert!(
        near || found.residual.abs() <= 1e-14 * y[y.len() - 1],
        "{found:?} {root}"
    );
}
