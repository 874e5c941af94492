//! Central moments of samples, and their kurtosis.
//!
//! Sources: sound pressure kurtosis `n sum (p - m)^4 / (sum (p - m)^2)^2` about the mean `m`, without correction for bias, so that
//! Gaussian noise has 3 and a sine 1.5: ISO 18405:2017 and R. P. Hamernik, W. Qiu and B. Davis, J. Acoust. Soc. Am. 114 (2003), 386
//! (both from memory). Two sets are put together by the update formulas of P. Pébay, Sandia report SAND2008-6212 (2008), equations
//! from memory, checked against SciPy over the whole (`reference/signal/scipy-moments.json`).
//!
//! Validity: any samples that are finite. Accuracy: relative 1e-9 of SciPy in double precision, with an offset a thousand times
//! the rest too.

/// Number, mean and central moment sums of samples.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Moments {
    count: u64,
    mean: f64,
    /// Sums of powers 2, 3 and 4 of the differences from the mean.
    sums: [f64; 3],
}

const LANES: usize = 4;
/// A variance under this share of the squared mean is rounding: of ten million samples in single precision one that differs in
/// its last bit makes a million times as much.
const SAME: f64 = 1e-28;

impl Moments {
    /// Of these samples, in two passes.
    pub fn of(x: &[f32]) -> Self {
        let count = x.len() as u64;
        if count == 0 {
            return Self::default();
        }
        let rough = mean_of(x);
        let [rest, m2, m3, m4] = powers(x, rough);
        let n = count as f64;
        // What the rounding of the mean leaves is put right: `d` is the mean of the differences.
        let d = rest / n;
        Self {
            count,
            mean: rough + d,
            sums: [
                m2 - d * rest,
                m3 - 3.0 * d * m2 + 2.0 * d * d * rest,
                m4 - 4.0 * d * m3 + 6.0 * d * d * m2 - 3.0 * d * d * d * rest,
            ],
        }
    }

    /// Of these samples and those of the other.
    #[must_use]
    pub fn with(self, other: Self) -> Self {
        if self.count == 0 {
            return other;
        }
        if other.count == 0 {
            return self;
        }
        let (na, nb) = (self.count as f64, other.count as f64);
        let n = na + nb;
        let delta = other.mean - self.mean;
        let ([a2, a3, a4], [b2, b3, b4]) = (self.sums, other.sums);
        let d2 = delta * delta;
        Self {
            count: self.count + other.count,
            mean: self.mean + delta * nb / n,
            sums: [
                a2 + b2 + d2 * na * nb / n,
                a3 + b3
                    + d2 * delta * na * nb * (na - nb) / (n * n)
                    + 3.0 * delta * (na * b2 - nb * a2) / n,
                a4 + b4
                    + d2 * d2 * na * nb * (na * na - na * nb + nb * nb) / (n * n * n)
                    + 6.0 * d2 * (na * na * b2 + nb * nb * a2) / (n * n)
                    + 4.0 * delta * (na * b3 - nb * a3) / n,
            ],
        }
    }

    /// Samples.
    pub fn count(&self) -> u64 {
        self.count
    }

    /// Mean, in the samples' unit; not-a-number without samples.
    pub fn mean(&self) -> f64 {
        if self.count == 0 { f64::NAN } else { self.mean }
    }

    /// Mean square about the mean, in the square of the samples' unit; not-a-number without samples.
    pub fn variance(&self) -> f64 {
        self.sums[0] / self.count as f64
    }

    /// Mean square, in the square of the samples' unit; not-a-number without samples.
    pub fn mean_square(&self) -> f64 {
        self.variance() + self.mean * self.mean
    }

    /// Kurtosis: 3 for Gaussian noise, 1.5 for a sine, at least 1; `None` where no sample differs from another.
    pub fn kurtosis(&self) -> Option<f64> {
        let [m2, _, m4] = self.sums;
        let differ = self.variance() > SAME * self.mean * self.mean;
        differ.then(|| self.count as f64 * m4 / (m2 * m2))
    }
}

fn mean_of(x: &[f32]) -> f64 {
    let (body, tail) = x.as_chunks::<LANES>();
    let mut lanes = [0.0; LANES];
    for c in body {
        for i in 0..LANES {
            lanes[i] += f64::from(c[i]);
        }
    }
    let tail: f64 = tail.iter().map(|&v| f64::from(v)).sum();
    ((lanes[0] + lanes[2]) + (lanes[1] + lanes[3]) + tail) / x.len() as f64
}

/// Sums of the first four powers of the differences from `mean`.
fn powers(x: &[f32], mean: f64) -> [f64; 4] {
    let (body, tail) = x.as_chunks::<LANES>();
    let mut lanes = [[0.0; LANES]; 4];
    for c in body {
        for i in 0..LANES {
            add(&mut lanes, i, f64::from(c[i]) - mean);
        }
    }
    for &v in tail {
        add(&mut lanes, 0, f64::from(v) - mean);
    }
    lanes.map(|l| (l[0] + l[2]) + (l[1] + l[3]))
}

#[inline(always)]
fn add(lanes: &mut [[f64; LANES]; 4], lane: usize, d: f64) {
    let square = d * d;
    lanes[0][lane] += d;
    lanes[1][lane] += square;
    lanes[2][lane] += square * d;
    lanes[3][lane] += square * square;
}
