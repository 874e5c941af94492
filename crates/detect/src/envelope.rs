//! The power of the envelope of a matched filter: place by place, or all places of a cell at once by transforms (see `matched.rs`).

use alloc::vec;
use alloc::vec::Vec;

use signal::{Complex, Transform};

use crate::matched::MOST_TAPS;

/// An operation of a transform takes the time of so many of the sums of products, which are in single precision and side by side (ours).
const WORTH: f64 = 4.0;
const LANES: usize = 8;

/// How the powers come about, from the template and its Hilbert transform over `sqrt(N sum h^2)`.
#[derive(Clone, Debug)]
pub(crate) enum Way {
    /// Place by place.
    Direct {
        taps: Vec<f32>,
        quadrature: Vec<f32>,
    },
    /// All places of a cell at once.
    Transformed {
        transform: Transform,
        /// Lines of template and quadrature.
        kernel: Vec<Complex>,
        z: Vec<Complex>,
    },
}

impl Way {
    /// Place by place, unless transforms take far fewer operations.
    pub(crate) fn new(taps: &[f64], quadrature: &[f64], hop: u64) -> Self {
        let transformed = Self::transformed(taps, quadrature, hop);
        let direct = 4.0 * taps.len() as f64 / WORTH;
        if hop < MOST_TAPS as u64 && transformed.operations_per_sample(taps.len(), hop) < direct {
            return transformed;
        }
        let single = |values: &[f64]| values.iter().map(|v| *v as f32).collect();
        Self::Direct {
            taps: single(taps),
            quadrature: single(quadrature),
        }
    }

    pub(crate) fn transformed(taps: &[f64], quadrature: &[f64], hop: u64) -> Self {
        let places = hop.min(MOST_TAPS as u64) as usize;
        let transform = Transform::of_at_least(taps.len() + places - 1);
        let points = transform.points();
        // The sum over i of k[i] x[a + i] has the lines X[f] times the conjugate of the lines of conj k.
        let mut kernel = vec![[0.0, 0.0]; points];
        for (line, (h, g)) in kernel.iter_mut().zip(taps.iter().zip(quadrature)) {
            *line = [*h, -*g];
        }
        transform.forth(&mut kernel);
        let scale = 1.0 / points as f64;
        for line in &mut kernel {
            *line = [line[0] * scale, -line[1] * scale];
        }
        Self::Transformed {
            z: vec![[0.0, 0.0]; points],
            transform,
            kernel,
        }
    }

    pub(crate) fn operations_per_sample(&self, length: usize, hop: u64) -> f64 {
        match self {
            Self::Direct { .. } => 4.0 * length as f64,
            Self::Transformed { transform, .. } => {
                let product = 6.0 * transform.points() as f64;
                (2.0 * transform.operations() + product) / hop as f64 + 3.0
            }
        }
    }

    pub(crate) fn heap_bytes(&self) -> usize {
        match self {
            Self::Direct { taps, quadrature } => {
                (taps.capacity() + quadrature.capacity()) * size_of::<f32>()
            }
            Self::Transformed {
                transform,
                kernel,
                z,
            } => {
                transform.state_bytes() + (kernel.capacity() + z.capacity()) * size_of::<Complex>()
            }
        }
    }
}

/// The greatest power of the first `places` places of some samples. Not-a-number stays.
pub(crate) fn greatest_power(
    transform: &Transform,
    kernel: &[Complex],
    z: &mut [Complex],
    samples: &[f32],
    places: usize,
) -> f64 {
    for (z, x) in z.iter_mut().zip(samples) {
        *z = [f64::from(*x), 0.0];
    }
    z[samples.len()..].fill([0.0, 0.0]);
    transform.forth(z);
    for (z, k) in z.iter_mut().zip(kernel) {
        *z = [z[0] * k[0] - z[1] * k[1], z[0] * k[1] + z[1] * k[0]];
    }
    transform.back(z);
    let powers = z[..places].iter().map(|z| z[0] * z[0] + z[1] * z[1]);
    powers.fold(0.0, |most, power| {
        if f64::is_nan(most) || power <= most {
            most
        } else {
            power
        }
    })
}

/// Sum of the squares of two sums of products.
pub(crate) fn power(taps: &[f32], quadrature: &[f32], x: &[f32]) -> f64 {
    let (mut re, mut im) = ([0.0_f32; LANES], [0.0_f32; LANES]);
    let (h, h_rest) = taps.as_chunks::<LANES>();
    let (g, g_rest) = quadrature.as_chunks::<LANES>();
    let (v, v_rest) = x.as_chunks::<LANES>();
    for ((h, g), v) in h.iter().zip(g).zip(v) {
        for i in 0..LANES {
            re[i] += h[i] * v[i];
            im[i] += g[i] * v[i];
        }
    }
    for (i, ((h, g), v)) in h_rest.iter().zip(g_rest).zip(v_rest).enumerate() {
        re[i] += h * v;
        im[i] += g * v;
    }
    let (re, im) = (sum(&re), sum(&im));
    re * re + im * im
}

fn sum(lanes: &[f32; LANES]) -> f64 {
    lanes.iter().map(|&v| f64::from(v)).sum()
}
