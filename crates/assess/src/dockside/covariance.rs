//! How far readings may lie from what is expected: the spreads of the line, which move many readings together, and the meter, which moves each by itself.
//!
//! `S = J J' + diag(m^2)`: each column of `J` is what one knob moves by one standard deviation (central difference over one to each side), `m` the meter's standard
//! deviation at the reading that is expected. Residuals are whitened by the Cholesky factor of `S`: generalised least squares (A. C. Aitken, Proceedings of the
//! Royal Society of Edinburgh 55 (1936), 42; from memory).

use quantity::HALF_WIDTH_DEVIATIONS;

use super::bench::Bench;
use super::predict::{Fault, Probe};
use super::quay::Quay;

/// The covariance of some readings.
#[derive(Clone, Debug)]
pub(super) struct Covariance {
    /// Lower Cholesky factor, row by row.
    factor: Vec<Vec<f64>>,
}

/// What is expected of some probes and how it is spread; `None` where some network has no operating point.
pub(super) fn expected(
    bench: &Bench<'_>,
    quay: &Quay,
    probes: &[Probe],
) -> Option<(Vec<f64>, Covariance)> {
    let (readings, columns) = moved_by_knobs(bench, probes)?;
    let meter = meter(quay, probes, &readings);
    let n = probes.len();
    let mut matrix = vec![vec![0.0; n]; n];
    for i in 0..n {
        for j in 0..=i {
            matrix[i][j] = columns.iter().map(|c| c[i] * c[j]).sum::<f64>();
        }
        matrix[i][i] += meter[i] * meter[i];
    }
    Some((
        readings,
        Covariance {
            factor: cholesky(matrix)?,
        },
    ))
}

/// What is expected of some probes and the standard deviation of each, spread and meter together.
pub(super) fn deviations(
    bench: &Bench<'_>,
    quay: &Quay,
    probes: &[Probe],
) -> Option<(Vec<f64>, Vec<f64>)> {
    let (readings, columns) = moved_by_knobs(bench, probes)?;
    let meter = meter(quay, probes, &readings);
    let all = (0..probes.len()).map(|i| {
        let spread: f64 = columns.iter().map(|c| c[i] * c[i]).sum();
        libm::sqrt(spread + meter[i] * meter[i])
    });
    Some((readings, all.collect()))
}

fn meter(quay: &Quay, probes: &[Probe], readings: &[f64]) -> Vec<f64> {
    let each = probes.iter().zip(readings);
    each.map(|(p, r)| p.tolerance(quay).half_width(*r) / HALF_WIDTH_DEVIATIONS)
        .collect()
}

fn moved_by_knobs(bench: &Bench<'_>, probes: &[Probe]) -> Option<(Vec<f64>, Vec<Vec<f64>>)> {
    let told = |values| bench.predict(&values, &Fault::Nothing, 0.0, probes);
    let readings = told(bench.nominal.clone())?;
    let mut columns = Vec::with_capacity(bench.knobs.len());
    for (k, (_, deviation)) in bench.knobs.iter().enumerate() {
        let mut by = vec![0.0; bench.knobs.len()];
        by[k] = *deviation;
        let up = told(bench.moved(&by))?;
        by[k] = -deviation;
        let down = told(bench.moved(&by))?;
        let column = up.iter().zip(&down).map(|(u, d)| 0.5 * (u - d));
        columns.push(column.collect());
    }
    Some((readings, columns))
}

/// Lower factor of a matrix whose lower half is given; `None` where it is not positive definite.
fn cholesky(mut matrix: Vec<Vec<f64>>) -> Option<Vec<Vec<f64>>> {
    for i in 0..matrix.len() {
        for j in 0..=i {
            let over: f64 = (0..j).map(|k| matrix[i][k] * matrix[j][k]).sum();
            let left = matrix[i][j] - over;
            matrix[i][j] = match i == j {
                true if left > 0.0 => libm::sqrt(left),
                true => return None,
                false => left / matrix[j][j],
            };
        }
    }
    Some(matrix)
}

impl Covariance {
    /// Sum of the squares of residuals that are made independent and of one deviation.
    pub(super) fn chi_square(&self, residuals: &[f64]) -> f64 {
        let mut white: Vec<f64> = Vec::with_capacity(residuals.len());
        for (row, residual) in self.factor.iter().zip(residuals) {
            let over: f64 = row.iter().zip(&white).map(|(l, w)| l * w).sum();
            white.push((residual - over) / row[white.len()]);
        }
        white.iter().map(|w| w * w).sum()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand: S = [[4, 2], [2, 5]], r = (2, 3); S^-1 = [[5, -2], [-2, 4]] / 16, r' S^-1 r = (20 - 24 + 36) / 16 = 2.
    #[test]
    fn verif_chi_square_is_that_of_the_inverse() {
        let factor = cholesky(vec![vec![4.0, 0.0], vec![2.0, 5.0]]).unwrap();
        let covariance = Covariance { factor };
        assert!((covariance.chi_square(&[2.0, 3.0]) - 2.0).abs() < 1e-12);
        assert!(cholesky(vec![vec![1.0, 0.0], vec![2.0, 1.0]]).is_none());
    }
}
