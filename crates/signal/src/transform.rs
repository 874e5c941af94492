//! A complex transform in double precision, without the standard library: for products of spectra.
//!
//! Forth by decimation in frequency, which leaves the lines in bit-reversed order; back by decimation in time from that order (J. W.
//! Cooley, J. W. Tukey 1965; W. M. Gentleman, G. Sande 1966, from memory). What is multiplied line by line need not know the order.
//! Scalar operations in a fixed order: the same bits on every processor.
//!
//! Accuracy: some 1e-16 of the root of the energy for each of the `log2 n` passes (checked against the sum that it stands for).

use alloc::vec::Vec;
use core::f64::consts::PI;

/// A complex number.
pub type Complex = [f64; 2];

/// Transforms of `n` points, a power of two.
#[derive(Debug, Clone)]
pub struct Transform {
    points: usize,
    /// `e^(-2 pi i j / block)` for each place in the lower half of a block, from the largest block to that of two.
    turns: Vec<Complex>,
}

impl Transform {
    /// For the least power of two that is no less than `points`, and 2 at least.
    #[must_use]
    pub fn of_at_least(points: usize) -> Self {
        let points = points.next_power_of_two().max(2);
        let mut turns = Vec::with_capacity(points - 1);
        let mut block = points;
        while block >= 2 {
            turns.extend((0..block / 2).map(|j| {
                let angle = -2.0 * PI * j as f64 / block as f64;
                [libm::cos(angle), libm::sin(angle)]
            }));
            block /= 2;
        }
        Self { points, turns }
    }

    /// Points of a transform.
    #[must_use]
    pub fn points(&self) -> usize {
        self.points
    }

    /// Additions and multiplications of one transform, either way: ten for each of `n/2 log2 n` steps.
    #[must_use]
    pub fn operations(&self) -> f64 {
        10.0 * (self.points / 2) as f64 * f64::from(self.points.ilog2())
    }

    /// Memory that it holds, bytes.
    #[must_use]
    pub fn state_bytes(&self) -> usize {
        size_of::<Self>() + self.turns.capacity() * size_of::<Complex>()
    }

    /// `Z[k] = sum z[j] e^(-2 pi i j k / n)` in place, in bit-reversed order.
    pub fn forth(&self, z: &mut [Complex]) {
        assert!(z.len() == self.points, "a transform has its own length");
        let mut turns = &self.turns[..];
        let mut half = self.points / 2;
        while half >= 1 {
            let (these, rest) = turns.split_at(half);
            for block in z.chunks_exact_mut(2 * half) {
                let (low, high) = block.split_at_mut(half);
                for ((a, b), t) in low.iter_mut().zip(high).zip(these) {
                    let (sum, difference) =
                        ([a[0] + b[0], a[1] + b[1]], [a[0] - b[0], a[1] - b[1]]);
                    *a = sum;
                    *b = [
                        difference[0] * t[0] - difference[1] * t[1],
                        difference[0] * t[1] + difference[1] * t[0],
                    ];
                }
            }
            turns = rest;
            half /= 2;
        }
    }

    /// `n z[j] = sum Z[k] e^(2 pi i j k / n)` in place, from bit-reversed order: undoes [`Transform::forth`] but for the factor `n`.
    pub fn back(&self, z: &mut [Complex]) {
        assert!(z.len() == self.points, "a transform has its own length");
        let mut turns = &self.turns[..];
        let mut half = 1;
        while half < self.points {
            let (rest, these) = turns.split_at(turns.len() - half);
            for block in z.chunks_exact_mut(2 * half) {
                let (low, high) = block.split_at_mut(half);
                for ((a, b), t) in low.iter_mut().zip(high).zip(these) {
                    let turned = [b[0] * t[0] + b[1] * t[1], b[1] * t[0] - b[0] * t[1]];
                    let (sum, difference) = (
                        [a[0] + turned[0], a[1] + turned[1]],
                        [a[0] - turned[0], a[1] - turned[1]],
                    );
                    *a = sum;
                    *b = difference;
                }
            }
            turns = rest;
            half *= 2;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn points(n: usize) -> Vec<Complex> {
        let mut state = 12_345_u32;
        let mut draw = || {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            f64::from(state >> 8) / 8_388_608.0 - 1.0
        };
        (0..n).map(|_| [draw(), draw()]).collect()
    }

    #[test]
    fn verif_lines_are_the_sum_they_stand_for_and_come_back() {
        for n in [2_usize, 4, 8, 32, 256] {
            let z = points(n);
            let transform = Transform::of_at_least(n);
            let mut lines = z.clone();
            transform.forth(&mut lines);
            for k in 0..n {
                let mut sum = [0.0, 0.0];
                for (j, z) in z.iter().enumerate() {
                    let angle = -2.0 * PI * (j * k % n) as f64 / n as f64;
                    let (c, s) = (libm::cos(angle), libm::sin(angle));
                    sum[0] += z[0] * c - z[1] * s;
                    sum[1] += z[0] * s + z[1] * c;
                }
                let reversed = k.reverse_bits() >> (usize::BITS - n.ilog2());
                for part in 0..2 {
                    assert!(
                        (lines[reversed][part] - sum[part]).abs() < 1e-14 * n as f64,
                        "{n} points, line {k}"
                    );
                }
            }
            transform.back(&mut lines);
            for (back, z) in lines.iter().zip(&z) {
                for part in 0..2 {
                    assert!((back[part] / n as f64 - z[part]).abs() < 1e-15 * n as f64);
                }
            }
        }
    }

    #[test]
    fn verif_any_number_of_points_is_served() {
        assert_eq!(Transform::of_at_least(0).points(), 2);
        assert_eq!(Transform::of_at_least(8099).points(), 8192);
        assert_eq!(Transform::of_at_least(8).operations(), 120.0);
    }
}
