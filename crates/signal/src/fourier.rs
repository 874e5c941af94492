//! A transform of eight frames at once, without the standard library.
//!
//! Eight frames lie side by side, so that every step of the transform is the same operation on eight numbers: one instruction where the
//! processor has them that wide, two or more elsewhere. A frame's own result is that of the same scalar operations in the same
//! order, none of them fused, whatever lies beside it: its bits depend on neither its neighbours nor the processor.
//!
//! Real frames of length `n` (a power of two) as complex points `z[j] = x[2j] + i x[2j+1]`, `m = n/2`; decimation in frequency by four,
//! and by two at the end where `m` is no power of four (J. W. Cooley, J. W. Tukey 1965). The result lies in digit-reversed order, and
//! only the lines that are asked for are unpacked, two at a time: with `E = (Z[k] + Z*[m-k])/2`, `O = -i (Z[k] - Z*[m-k])/2` and
//! `T = e^(-2 pi i k/n) O` it is `X[k] = E + T`, and `X[m-k]` is the conjugate of `E - T`.
//!
//! Accuracy: single precision; the error of a line is some 1e-7 of the root of the frame's energy (checked against a second route).

use alloc::vec;
use alloc::vec::Vec;
use core::f64::consts::PI;

use pulp::{Simd, f32x8};

/// Frames that are transformed at once.
pub(crate) const LANES: usize = 8;

/// Points of a block that lies in a processor's nearest memory.
const NEAR: usize = 256;

/// The shortest frame.
pub(crate) const SHORTEST: usize = 8;

/// One number of each of the frames.
pub(crate) type Lanes = f32x8;

/// Nothing in any frame.
pub(crate) const NONE: Lanes = f32x8(0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0);

/// A complex number of each of the frames.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Point {
    pub(crate) re: Lanes,
    pub(crate) im: Lanes,
}

impl Point {
    pub(crate) const ZERO: Self = Self { re: NONE, im: NONE };
}

/// Work on all lanes in the instructions at hand.
#[derive(Clone, Copy)]
struct Wide<S>(S);

impl<S: Simd<f32s = Lanes>> Wide<S> {
    #[inline(always)]
    fn add(self, a: Point, b: Point) -> Point {
        Point {
            re: self.0.add_f32s(a.re, b.re),
            im: self.0.add_f32s(a.im, b.im),
        }
    }

    #[inline(always)]
    fn sub(self, a: Point, b: Point) -> Point {
        Point {
            re: self.0.sub_f32s(a.re, b.re),
            im: self.0.sub_f32s(a.im, b.im),
        }
    }

    /// `a` times `re + i im`.
    #[inline(always)]
    fn turned(self, a: Point, re: f32, im: f32) -> Point {
        let simd = self.0;
        let (re, im) = (simd.splat_f32s(re), simd.splat_f32s(im));
        Point {
            re: simd.sub_f32s(simd.mul_f32s(a.re, re), simd.mul_f32s(a.im, im)),
            im: simd.add_f32s(simd.mul_f32s(a.re, im), simd.mul_f32s(a.im, re)),
        }
    }

    #[inline(always)]
    fn squared(self, a: Point) -> Lanes {
        let simd = self.0;
        simd.add_f32s(simd.mul_f32s(a.re, a.re), simd.mul_f32s(a.im, a.im))
    }

    /// The transform of four points.
    #[inline(always)]
    fn four(self, [a, b, c, d]: [Point; 4]) -> [Point; 4] {
        let (sum_ac, less_ac) = (self.add(a, c), self.sub(a, c));
        let (sum_bd, less_bd) = (self.add(b, d), self.sub(b, d));
        let simd = self.0;
        [
            self.add(sum_ac, sum_bd),
            Point {
                re: simd.add_f32s(less_ac.re, less_bd.im),
                im: simd.sub_f32s(less_ac.im, less_bd.re),
            },
            self.sub(sum_ac, sum_bd),
            Point {
                re: simd.sub_f32s(less_ac.re, less_bd.im),
                im: simd.add_f32s(less_ac.im, less_bd.re),
            },
        ]
    }

    /// One pass by four over a block.
    #[inline(always)]
    fn by_four(self, z: &mut [Point], turns: &[[f32; 6]]) {
        let quarter = z.len() / 4;
        let (z0, rest) = z.split_at_mut(quarter);
        let (z1, rest) = rest.split_at_mut(quarter);
        let (z2, z3) = rest.split_at_mut(quarter);
        let points = z0.iter_mut().zip(z1).zip(z2).zip(z3);
        for (turn, (((a, b), c), d)) in turns.iter().zip(points) {
            let [sum, first, second, third] = self.four([*a, *b, *c, *d]);
            *a = sum;
            *b = self.turned(first, turn[0], turn[1]);
            *c = self.turned(second, turn[2], turn[3]);
            *d = self.turned(third, turn[4], turn[5]);
        }
    }
}

/// Where a line and its mirror `n/2 - k` are found after the transform, and how they are unpacked.
#[derive(Debug, Clone, Copy)]
struct Pair {
    at: usize,
    mirrored: usize,
    cosine: f32,
    sine: f32,
}

/// Squared magnitudes of a run of lines of eight real frames.
#[derive(Debug, Clone)]
pub(crate) struct Fourier {
    /// Turns of each pass by four, one pass after another, by place in a quarter of its block.
    turns: Vec<[f32; 6]>,
    /// Pairs from line `lowest` on.
    pairs: Vec<Pair>,
    lowest: usize,
}

impl Fourier {
    /// For frames of `n` samples (a power of two, 8 or more) and their lines `first` to `last` (the end included, none but
    /// those between 0 and `n / 2`).
    pub(crate) fn new(n: usize, first: usize, last: usize) -> Self {
        assert!(
            n >= SHORTEST && n.is_power_of_two(),
            "frames are a power of two long"
        );
        let m = n / 2;
        assert!(
            0 < first && first <= last && last < m,
            "lines lie inside the frame"
        );
        let mut turns = Vec::new();
        let mut block = m;
        while block > 4 {
            turns.extend((0..block / 4).map(|j| {
                let [[a, b], [c, d], [e, f]] = [1, 2, 3].map(|r| turn(r * j, block));
                [a, b, c, d, e, f]
            }));
            block /= 4;
        }
        let lowest = first.min(m - last);
        let highest = if last <= m / 2 {
            last
        } else {
            (m / 2).min(m - first)
        };
        let pairs = (lowest..=highest)
            .map(|k| {
                let [cosine, sine] = turn(k, n);
                Pair {
                    at: place(k, m),
                    mirrored: place(m - k, m),
                    cosine,
                    sine,
                }
            })
            .collect();
        Self {
            turns,
            pairs,
            lowest,
        }
    }

    pub(crate) fn heap_bytes(&self) -> usize {
        size_of_val(&self.turns[..]) + size_of_val(&self.pairs[..])
    }

    /// The frames' points for the transform: `n / 2`.
    pub(crate) fn scratch(n: usize) -> Vec<Point> {
        vec![Point::ZERO; n / 2]
    }

    /// Transforms `z` in place.
    #[inline(always)]
    pub(crate) fn run<S: Simd<f32s = Lanes>>(&self, simd: S, z: &mut [Point]) {
        let wide = Wide(simd);
        let mut turns = &self.turns[..];
        let mut block = z.len();
        // Blocks that are larger than the nearest memory are passed over whole; the others one after another through all passes.
        while block > NEAR {
            let (these, rest) = turns.split_at(block / 4);
            for z in z.chunks_exact_mut(block) {
                wide.by_four(z, these);
            }
            turns = rest;
            block /= 4;
        }
        for z in z.chunks_exact_mut(block) {
            let (mut turns, mut block) = (turns, block);
            while block > 4 {
                let (these, rest) = turns.split_at(block / 4);
                for z in z.chunks_exact_mut(block) {
                    wide.by_four(z, these);
                }
                turns = rest;
                block /= 4;
            }
            if block == 4 {
                for z in z.as_chunks_mut::<4>().0 {
                    *z = wide.four(*z);
                }
            } else {
                for [a, b] in z.as_chunks_mut::<2>().0 {
                    (*a, *b) = (wide.add(*a, *b), wide.sub(*a, *b));
                }
            }
        }
    }

    /// Squared magnitudes of the lines times `scale`, each at its number: `power` has a place for each of `n / 2` lines, and
    /// those of the mirrors are filled too.
    #[inline(always)]
    pub(crate) fn power<S: Simd<f32s = Lanes>>(
        &self,
        simd: S,
        z: &[Point],
        scale: f32,
        power: &mut [Lanes],
    ) {
        let wide = Wide(simd);
        let scale = simd.splat_f32s(0.25 * scale);
        let m = power.len();
        for (k, pair) in (self.lowest..).zip(&self.pairs) {
            let (a, b) = (z[pair.at], z[pair.mirrored]);
            let even = Point {
                re: simd.add_f32s(a.re, b.re),
                im: simd.sub_f32s(a.im, b.im),
            };
            let odd = Point {
                re: simd.add_f32s(a.im, b.im),
                im: simd.sub_f32s(b.re, a.re),
            };
            let turned = wide.turned(odd, pair.cosine, pair.sine);
            power[m - k] = simd.mul_f32s(wide.squared(wide.sub(even, turned)), scale);
            power[k] = simd.mul_f32s(wide.squared(wide.add(even, turned)), scale);
        }
    }
}

/// `e^(-2 pi i k / n)`.
fn turn(k: usize, n: usize) -> [f32; 2] {
    let angle = -2.0 * PI * k as f64 / n as f64;
    [libm::cos(angle) as f32, libm::sin(angle) as f32]
}

/// Where line `k` of `block` points lies after the passes.
fn place(k: usize, block: usize) -> usize {
    match block {
        1 => 0,
        2 => k,
        _ => (k % 4) * (block / 4) + place(k / 4, block / 4),
    }
}

#[cfg(test)]
mod tests {
    use pulp::Scalar256b;

    use super::*;

    fn lanes(of: impl Fn(usize) -> f32) -> Lanes {
        let [a, b, c, d, e, f, g, h] = core::array::from_fn(of);
        f32x8(a, b, c, d, e, f, g, h)
    }

    fn numbers(of: Lanes) -> [f32; LANES] {
        [of.0, of.1, of.2, of.3, of.4, of.5, of.6, of.7]
    }

    /// The sum that the transform stands for, in double precision.
    fn slow_power(x: &[f32], k: usize) -> f64 {
        let n = x.len();
        let (mut re, mut im) = (0.0, 0.0);
        for (i, v) in x.iter().enumerate() {
            let angle = -2.0 * PI * (i * k % n) as f64 / n as f64;
            re += f64::from(*v) * libm::cos(angle);
            im += f64::from(*v) * libm::sin(angle);
        }
        re * re + im * im
    }

    #[test]
    fn verif_lines_are_the_sum_they_stand_for() {
        for n in [8, 16, 32, 64, 256, 512] {
            let frames: Vec<Vec<f32>> = (0..LANES as u32)
                .map(|lane| {
                    let mut state = 12_345 + lane;
                    (0..n)
                        .map(|_| {
                            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                            (state >> 8) as f32 / 8_388_608.0 - 1.0
                        })
                        .collect()
                })
                .collect();
            let fourier = Fourier::new(n, 1, n / 2 - 1);
            let mut z = Fourier::scratch(n);
            for (j, z) in z.iter_mut().enumerate() {
                z.re = lanes(|lane| frames[lane][2 * j]);
                z.im = lanes(|lane| frames[lane][2 * j + 1]);
            }
            fourier.run(Scalar256b, &mut z);
            let mut power = vec![NONE; n / 2];
            fourier.power(Scalar256b, &z, 1.0, &mut power);
            for (lane, x) in frames.iter().enumerate() {
                let energy: f64 = x.iter().map(|v| f64::from(v * v)).sum();
                for (k, got) in power.iter().map(|p| numbers(*p)[lane]).enumerate().skip(1) {
                    let want = slow_power(x, k);
                    let amplitude_error = f64::from(got).sqrt() - want.sqrt();
                    assert!(
                        amplitude_error.abs() < 3e-7 * (n as f64 * energy).sqrt(),
                        "{n} points, line {k}: {got} for {want}"
                    );
                }
            }
        }
    }

    #[test]
    fn verif_any_run_of_lines_is_that_of_all_of_them() {
        let n = 64;
        let mut z = Fourier::scratch(n);
        for (j, z) in z.iter_mut().enumerate() {
            z.re = lanes(|lane| ((lane + 1) as f32 * 7.1 * j as f32) % 1.3);
            z.im = lanes(|lane| ((lane + 1) as f32 * 3.7 * j as f32) % 1.7);
        }
        let lines = |first: usize, last: usize| {
            let fourier = Fourier::new(n, first, last);
            let mut z = z.clone();
            fourier.run(Scalar256b, &mut z);
            let mut power = vec![lanes(|_| f32::NAN); n / 2];
            fourier.power(Scalar256b, &z, 1.0, &mut power);
            power[first..=last].to_vec()
        };
        let all = lines(1, 31);
        for first in 1..=31 {
            for last in first..=31 {
                assert_eq!(
                    lines(first, last),
                    all[first - 1..last],
                    "{first} to {last}"
                );
            }
        }
    }
}
