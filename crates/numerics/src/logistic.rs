//! A logistic model of two outcomes, fitted with a ridge by Newton's method.
//!
//! Probability of the outcome: `p = 1 / (1 + exp(-(b + sum_j w_j x_j)))`. What is made smallest is
//!
//! `- sum_i [ y_i ln p_i + (1 - y_i) ln(1 - p_i) ] + (ridge / 2) sum_j (s_j w_j)^2`
//!
//! with `s_j` the standard deviation of column j (about its mean, over n), so that the ridge does not depend on units; the constant
//! `b` is free. With a ridge above zero there is one smallest place, also where a line parts the outcomes.
//!
//! Sources: J. Nelder, R. Wedderburn, "Generalized linear models", Journal of the Royal Statistical Society A 135 (1972), 370
//! (the weighted steps); S. le Cessie, J. C. van Houwelingen, "Ridge estimators in logistic regression", Applied Statistics 41
//! (1992), 191; both from memory. A step that does not lower the sum is halved.
//!
//! Deterministic: no draw, `libm` only, sums in the order of the rows.

use thiserror::Error;

/// Most steps of Newton's method.
const MOST_STEPS: usize = 100;
/// Most halvings of a step.
const MOST_HALVINGS: usize = 60;
/// It is fitted when the steepest slope, over the number of rows, is no greater.
const FLAT: f64 = 1e-11;

/// A fitted model.
#[derive(Clone, Debug, PartialEq)]
pub struct Logistic {
    /// What is added to the weighted sum, `b`.
    pub constant: f64,
    /// Weight of each column, per unit of the column; 0 for one whose values are all the same.
    pub weights: Vec<f64>,
    /// Steps that were taken.
    pub steps: usize,
}

/// Why a model cannot be fitted.
#[derive(Clone, Copy, Debug, PartialEq, Error)]
pub enum LogisticError {
    /// No rows, or no columns.
    #[error("there is nothing to fit: {rows} rows of {columns} columns")]
    Empty {
        /// Rows given.
        rows: usize,
        /// Columns given.
        columns: usize,
    },
    /// A row with another number of columns than the first, or another number of outcomes than rows.
    #[error("row {row} has {found} values where {wanted} are wanted")]
    Uneven {
        /// The row, from 0; the number of rows where the outcomes are too few or too many.
        row: usize,
        /// Its values.
        found: usize,
        /// Those of the first row.
        wanted: usize,
    },
    /// A value that is not a finite number.
    #[error("row {row}, column {column} is {value}, which is not a finite number")]
    NotFinite {
        /// The row, from 0.
        row: usize,
        /// The column, from 0.
        column: usize,
        /// The value.
        value: f64,
    },
    /// All rows have the same outcome: there is nothing to tell apart.
    #[error("all {rows} rows have the same outcome")]
    OneOutcome {
        /// Rows given.
        rows: usize,
    },
    /// A ridge that is no finite number above zero.
    #[error("the ridge must be finite and above zero, not {ridge}")]
    Ridge {
        /// The ridge given.
        ridge: f64,
    },
    /// The steps ran out, or no shorter step lowers the sum.
    #[error("no fit after {steps} steps: the steepest slope is still {slope:e}")]
    NotFitted {
        /// Steps taken.
        steps: usize,
        /// The steepest slope, over the number of rows.
        slope: f64,
    },
}

impl Logistic {
    /// Fits the model to rows of equal length, `outcomes` in the order of the rows.
    ///
    /// # Errors
    /// [`LogisticError`].
    pub fn fit(rows: &[Vec<f64>], outcomes: &[bool], ridge: f64) -> Result<Self, LogisticError> {
        check(rows, outcomes, ridge)?;
        let columns = rows[0].len();
        let n = rows.len() as f64;
        let mean: Vec<f64> = (0..columns)
            .map(|j| rows.iter().map(|r| r[j]).sum::<f64>() / n)
            .collect();
        let spread: Vec<f64> = (0..columns)
            .map(|j| {
                let square = |r: &Vec<f64>| (r[j] - mean[j]) * (r[j] - mean[j]);
                (rows.iter().map(square).sum::<f64>() / n).sqrt()
            })
            .collect();
        // Columns that vary, in standard deviations from their mean; the last column is the constant.
        let varying: Vec<usize> = (0..columns)
            .filter(|&j| varies(mean[j], spread[j]))
            .collect();
        let scaled: Vec<Vec<f64>> = rows
            .iter()
            .map(|r| {
                let of = |&j: &usize| (r[j] - mean[j]) / spread[j];
                varying.iter().map(of).chain([1.0]).collect()
            })
            .collect();
        let (solution, steps) = descend(&scaled, outcomes, ridge)?;
        let mut weights = vec![0.0; columns];
        let mut constant = solution[varying.len()];
        for (&j, w) in varying.iter().zip(&solution) {
            weights[j] = w / spread[j];
            constant -= w * mean[j] / spread[j];
        }
        Ok(Self {
            constant,
            weights,
            steps,
        })
    }

    /// Probability of the outcome for a row, 0 to 1. Values beyond the weights are not looked at.
    #[must_use]
    pub fn probability(&self, row: &[f64]) -> f64 {
        let weighted = self.weights.iter().zip(row).map(|(w, x)| w * x);
        share(self.constant + weighted.sum::<f64>())
    }
}

fn check(rows: &[Vec<f64>], outcomes: &[bool], ridge: f64) -> Result<(), LogisticError> {
    let columns = rows.first().map_or(0, Vec::len);
    if columns == 0 {
        return Err(LogisticError::Empty {
            rows: rows.len(),
            columns,
        });
    }
    if outcomes.len() != rows.len() {
        return Err(LogisticError::Uneven {
            row: rows.len(),
            found: outcomes.len(),
            wanted: rows.len(),
        });
    }
    for (row, values) in rows.iter().enumerate() {
        if values.len() != columns {
            return Err(LogisticError::Uneven {
                row,
                found: values.len(),
                wanted: columns,
            });
        }
        if let Some(column) = values.iter().position(|v| !v.is_finite()) {
            return Err(LogisticError::NotFinite {
                row,
                column,
                value: values[column],
            });
        }
    }
    if outcomes.iter().all(|o| *o == outcomes[0]) {
        return Err(LogisticError::OneOutcome { rows: rows.len() });
    }
    if !(ridge > 0.0 && ridge.is_finite()) {
        return Err(LogisticError::Ridge { ridge });
    }
    Ok(())
}

/// Whether a column is more than one value and its rounding.
fn varies(mean: f64, spread: f64) -> bool {
    spread > 1e-12 * mean.abs()
}

fn share(x: f64) -> f64 {
    if x >= 0.0 {
        1.0 / (1.0 + libm::exp(-x))
    } else {
        let e = libm::exp(x);
        e / (1.0 + e)
    }
}

/// ln(1 + exp(x)) without overflow.
fn log_one_plus_exp(x: f64) -> f64 {
    x.max(0.0) + libm::log1p(libm::exp(-x.abs()))
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

/// The sum that is made smallest.
fn sum(rows: &[Vec<f64>], outcomes: &[bool], ridge: f64, at: &[f64]) -> f64 {
    let loss: f64 = rows
        .iter()
        .zip(outcomes)
        .map(|(row, outcome)| {
            let x = dot(row, at);
            log_one_plus_exp(if *outcome { -x } else { x })
        })
        .sum();
    let penalised = &at[..at.len() - 1];
    loss + 0.5 * ridge * dot(penalised, penalised)
}

/// Newton's method from zero; the last unknown is the constant, without a ridge.
fn descend(
    rows: &[Vec<f64>],
    outcomes: &[bool],
    ridge: f64,
) -> Result<(Vec<f64>, usize), LogisticError> {
    let unknowns = rows[0].len();
    let mut at = vec![0.0; unknowns];
    let mut steepest = f64::INFINITY;
    for step in 0..MOST_STEPS {
        let mut slope = vec![0.0; unknowns];
        let mut curvature = vec![vec![0.0; unknowns]; unknowns];
        for (row, outcome) in rows.iter().zip(outcomes) {
            let p = share(dot(row, &at));
            let off = p - f64::from(u8::from(*outcome));
            let weight = p * (1.0 - p);
            for j in 0..unknowns {
                slope[j] += off * row[j];
                for k in 0..=j {
                    curvature[j][k] += weight * row[j] * row[k];
                }
            }
        }
        for j in 0..unknowns - 1 {
            slope[j] += ridge * at[j];
            curvature[j][j] += ridge;
        }
        steepest = slope.iter().fold(0.0, |m: f64, s| m.max(s.abs())) / rows.len() as f64;
        if steepest <= FLAT {
            return Ok((at, step));
        }
        let not_fitted = LogisticError::NotFitted {
            steps: step,
            slope: steepest,
        };
        let direction = solve(curvature, slope).ok_or(not_fitted)?;
        let now = sum(rows, outcomes, ridge, &at);
        let shorter = (0..MOST_HALVINGS).find_map(|halvings| {
            let length = libm::ldexp(1.0, -halvings_i32(halvings));
            let next: Vec<f64> = at
                .iter()
                .zip(&direction)
                .map(|(a, d)| a - length * d)
                .collect();
            // At the bottom rounding may hide what is still gained.
            let reached = sum(rows, outcomes, ridge, &next);
            (reached <= now + 1e-14 * now.abs()).then_some(next)
        });
        at = shorter.ok_or(not_fitted)?;
    }
    Err(LogisticError::NotFitted {
        steps: MOST_STEPS,
        slope: steepest,
    })
}

fn halvings_i32(halvings: usize) -> i32 {
    i32::try_from(halvings).expect("there are few halvings")
}

/// Solves a symmetric positive system given by its lower triangle (Cholesky); `None` where it is not positive.
fn solve(mut a: Vec<Vec<f64>>, mut b: Vec<f64>) -> Option<Vec<f64>> {
    let n = b.len();
    for j in 0..n {
        for k in 0..j {
            let inner: f64 = (0..k).map(|i| a[j][i] * a[k][i]).sum();
            a[j][k] = (a[j][k] - inner) / a[k][k];
        }
        let inner: f64 = (0..j).map(|i| a[j][i] * a[j][i]).sum();
        let left = a[j][j] - inner;
        if left.is_nan() || left <= 0.0 {
            return None;
        }
        a[j][j] = left.sqrt();
    }
    for j in 0..n {
        let inner: f64 = (0..j).map(|i| a[j][i] * b[i]).sum();
        b[j] = (b[j] - inner) / a[j][j];
    }
    for j in (0..n).rev() {
        let inner: f64 = (j + 1..n).map(|i| a[i][j] * b[i]).sum();
        b[j] = (b[j] - inner) / a[j][j];
    }
    Some(b)
}
