//! Logistic models with a ridge.

use numerics::{Logistic, LogisticError};

struct Case {
    name: String,
    ridge: f64,
    rows: Vec<Vec<f64>>,
    outcomes: Vec<bool>,
    constant: f64,
    weights: Vec<f64>,
}

fn number(value: &serde_json::Value) -> f64 {
    value.as_f64().expect("a number")
}

fn list<T>(value: &serde_json::Value, of: impl Fn(&serde_json::Value) -> T) -> Vec<T> {
    value.as_array().expect("a list").iter().map(of).collect()
}

fn cases() -> Vec<Case> {
    let all = truth::json("numerics/sklearn-logistic.json");
    let of_set = |set: &serde_json::Value| {
        list(&set["fits"], |f| Case {
            name: format!("{} {}", set["name"], f["ridge"]),
            ridge: number(&f["ridge"]),
            rows: list(&set["rows"], |row| list(row, number)),
            outcomes: list(&set["outcomes"], |o| o.as_bool().expect("true or false")),
            constant: number(&f["constant"]),
            weights: list(&f["weights"], number),
        })
    };
    list(&all["sets"], of_set).into_iter().flatten().collect()
}

fn spreads(rows: &[Vec<f64>]) -> Vec<f64> {
    let n = rows.len() as f64;
    (0..rows[0].len())
        .map(|j| {
            let mean = rows.iter().map(|r| r[j]).sum::<f64>() / n;
            (rows.iter().map(|r| (r[j] - mean).powi(2)).sum::<f64>() / n).sqrt()
        })
        .collect()
}

/// Truth: scikit-learn, reference/numerics/sklearn-logistic.json.
#[test]
fn val_fits_are_those_of_scikit_learn() {
    let cases = cases();
    assert_eq!(cases.len(), 15);
    for case in cases {
        let found = Logistic::fit(&case.rows, &case.outcomes, case.ridge).unwrap();
        let spread = spreads(&case.rows);
        let largest = case
            .weights
            .iter()
            .zip(&spread)
            .map(|(w, s)| (w * s).abs())
            .fold(1.0, f64::max);
        for (j, (ours, theirs)) in found.weights.iter().zip(&case.weights).enumerate() {
            let off = (ours - theirs).abs() * spread[j];
            assert!(off < 1e-6 * largest, "{} column {j}: {off:e}", case.name);
        }
        // Far from the mean the constant holds what the weights have off there.
        let off = (found.constant - case.constant).abs();
        assert!(
            off < 1e-5 * case.constant.abs().max(1.0),
            "{}: {off:e}",
            case.name
        );
        assert!(found.steps < 30, "{}: {} steps", case.name, found.steps);
    }
}

/// A ridge on weights in the units of the columns, as one may write it by mistake, is another model.
#[test]
fn verif_the_ridge_does_not_depend_on_units() {
    let case = cases().remove(1);
    let metres = Logistic::fit(&case.rows, &case.outcomes, case.ridge).unwrap();
    let millimetres: Vec<Vec<f64>> = case
        .rows
        .iter()
        .map(|r| r.iter().map(|x| 1000.0 * x).collect())
        .collect();
    let other = Logistic::fit(&millimetres, &case.outcomes, case.ridge).unwrap();
    for (a, b) in metres.weights.iter().zip(&other.weights) {
        assert!((a - 1000.0 * b).abs() < 1e-9 * a.abs().max(1e-3));
    }
    let p = metres.probability(&case.rows[0]);
    assert!((p - other.probability(&millimetres[0])).abs() < 1e-9);
}

/// The constant is free, so the probabilities sum to the number of the outcome (the slope along it is zero).
#[test]
fn verif_probabilities_sum_to_the_outcomes() {
    for case in cases() {
        let model = Logistic::fit(&case.rows, &case.outcomes, case.ridge).unwrap();
        let expected = case.outcomes.iter().filter(|o| **o).count() as f64;
        let sum: f64 = case.rows.iter().map(|r| model.probability(r)).sum();
        assert!(
            (sum - expected).abs() < 1e-8,
            "{}: {sum} {expected}",
            case.name
        );
    }
}

#[test]
fn verif_a_column_of_one_value_weighs_nothing() {
    let rows: Vec<Vec<f64>> = [1.0, 2.0, 3.0, 4.0]
        .iter()
        .map(|&x| vec![x, 0.1 + 0.2])
        .collect();
    let model = Logistic::fit(&rows, &[false, true, false, true], 1.0).unwrap();
    assert_eq!(model.weights[1], 0.0);
    assert!(model.weights[0] > 0.0);
}

#[test]
fn verif_what_cannot_be_fitted_is_said() {
    let rows = vec![vec![1.0], vec![2.0]];
    let fit = |rows: &[Vec<f64>], outcomes: &[bool], ridge| {
        Logistic::fit(rows, outcomes, ridge).unwrap_err()
    };
    assert_eq!(
        fit(&[], &[], 1.0),
        LogisticError::Empty {
            rows: 0,
            columns: 0
        }
    );
    assert_eq!(
        fit(&rows, &[true, true], 1.0),
        LogisticError::OneOutcome { rows: 2 }
    );
    assert_eq!(
        fit(&rows, &[true], 1.0),
        LogisticError::Uneven {
            row: 2,
            found: 1,
            wanted: 2
        }
    );
    for ridge in [0.0, -1.0, f64::NAN, f64::INFINITY] {
        assert!(matches!(
            fit(&rows, &[true, false], ridge),
            LogisticError::Ridge { .. }
        ));
    }
    let bad = vec![vec![1.0, 2.0], vec![1.0, f64::NAN]];
    assert!(matches!(
        fit(&bad, &[true, false], 1.0),
        LogisticError::NotFinite {
            row: 1,
            column: 1,
            ..
        }
    ));
    let uneven = vec![vec![1.0, 2.0], vec![1.0]];
    assert_eq!(
        fit(&uneven, &[true, false], 1.0),
        LogisticError::Uneven {
            row: 1,
            found: 1,
            wanted: 2
        }
    );
}
