//! Real transforms of even length on a complex FFT of half the length.
//!
//! With `z[k] = x[2k] + i x[2k+1]` and `Z` its transform of length `m = n/2`: `X[k] = E + e^(-2 pi i k/n) O`,
//! `E = (Z[k] + Z*[m-k])/2`, `O = -i (Z[k] - Z*[m-k])/2` (textbook identity; checked against the sum it stands for).

use std::f64::consts::PI;
use std::sync::Arc;

use rustfft::num_complex::Complex64;
use rustfft::{Fft, FftDirection, FftPlanner, FftPlannerScalar};

/// Which arithmetic a transform may use.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Arithmetic {
    /// Scalar plans only: the same build gives the same bits on every processor of its kind.
    Scalar,
    /// Whatever the processor offers; the last bits depend on it.
    Fastest,
}

/// A real transform and its inverse, of one even length.
#[derive(Clone)]
pub(crate) struct RealFft {
    n: usize,
    forward: Arc<dyn Fft<f64>>,
    inverse: Arc<dyn Fft<f64>>,
    twiddles: Vec<Complex64>,
    packed: Vec<Complex64>,
    scratch: Vec<Complex64>,
}

impl RealFft {
    /// For even `n` of at least 2.
    pub(crate) fn new(n: usize, arithmetic: Arithmetic) -> Self {
        assert!(n >= 2 && n.is_multiple_of(2), "transform lengths are even");
        let m = n / 2;
        let mut plan: Box<dyn FnMut(FftDirection) -> Arc<dyn Fft<f64>>> = match arithmetic {
            Arithmetic::Scalar => {
                let mut planner = FftPlannerScalar::new();
                Box::new(move |d| planner.plan_fft(m, d))
            }
            Arithmetic::Fastest => {
                let mut planner = FftPlanner::new();
                Box::new(move |d| planner.plan_fft(m, d))
            }
        };
        let (forward, inverse) = (plan(FftDirection::Forward), plan(FftDirection::Inverse));
        let scratch = forward
            .get_inplace_scratch_len()
            .max(inverse.get_inplace_scratch_len());
        let twiddles = (0..=m)
            .map(|k| {
                let angle = -2.0 * PI * k as f64 / n as f64;
                Complex64::new(libm::cos(angle), libm::sin(angle))
            })
            .collect();
        Self {
            n,
            forward,
            inverse,
            twiddles,
            packed: vec![Complex64::default(); m],
            scratch: vec![Complex64::default(); scratch],
        }
    }

    /// Transforms `x` (length `n`) to lines 0 to `n/2` in `out`.
    pub(crate) fn forward(&mut self, x: &[f64], out: &mut [Complex64]) {
        let m = self.n / 2;
        for (z, p) in self.packed.iter_mut().zip(x.as_chunks::<2>().0) {
            *z = Complex64::new(p[0], p[1]);
        }
        self.forward
            .process_with_scratch(&mut self.packed, &mut self.scratch);
        for k in 0..=m {
            let a = self.packed[k % m];
            let b = self.packed[(m - k) % m].conj();
            let even = (a + b).scale(0.5);
            let odd = (a - b).scale(0.5);
            out[k] = even + self.twiddles[k] * Complex64::new(odd.im, -odd.re);
        }
    }

    /// Transforms lines 0 to `n/2` back to `n` samples in `x`; undoes [`Self::forward`].
    pub(crate) fn inverse(&mut self, lines: &[Complex64], x: &mut [f64]) {
        let m = self.n / 2;
        let scale = 0.5 / m as f64;
        for k in 0..m {
            let a = lines[k];
            let b = lines[m - k].conj();
            let odd = self.twiddles[k].conj() * (a - b);
            self.packed[k] = (a + b + Complex64::new(-odd.im, odd.re)).scale(scale);
        }
        self.inverse
            .process_with_scratch(&mut self.packed, &mut self.scratch);
        for (p, z) in x.as_chunks_mut::<2>().0.iter_mut().zip(&self.packed) {
            *p = [z.re, z.im];
        }
    }
}

impl std::fmt::Debug for RealFft {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("RealFft")
            .field("n", &self.n)
            .finish_non_exhaustive()
    }
}

/// The periodic Hann window of length `n`: `sin^2(pi i / n)`.
pub(crate) fn hann(n: usize) -> Vec<f64> {
    (0..n)
        .map(|i| {
            let s = libm::sin(PI * i as f64 / n as f64);
            s * s
        })
        .collect()
}
