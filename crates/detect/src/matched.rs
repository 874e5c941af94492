//! The filter matched to a recorded sound, of unknown phase.
//!
//! Source: the correlation receiver for a known sound of unknown phase in white noise: the envelope of the filter matched to
//! it (textbook, C. W. Helstrom, Statistical theory of signal detection, 1968, from memory). With the template `h` as the
//! detector's own decimation and band-pass let it through, `g` its Hilbert transform, `N` the template's own length and `x` the
//! sound: `power[a] = ((sum h[i] x[a+i])^2 + (sum g[i] x[a+i])^2) / (N sum h[i]^2)`. Where the sound is the template itself
//! this is its mean square over its own length; elsewhere it is less. In Gaussian noise that is white over the band it is
//! exponentially distributed at each place.
//!
//! `g` comes from the discrete Hilbert kernel `2/(pi m)`, `m` odd. Ends of the filtered template that together hold less than
//! [`CUT`] of its energy are cut. Where the band ends far below half the rate of the band samples, only every `thin`-th of
//! them is used, at 5 times the upper corner or more; what folds was passed by the skirt of the band-pass only (orders of 4
//! and more: 50 dB down).
//!
//! Between two places the envelope of a template that fills its band evenly sinks by less than 0.1 dB. A cell is the greatest
//! power of the places `k hop` to `(k + 1) hop`. Computed place by place (no transform), so that it needs no standard library
//! and waits for no block to fill.

use alloc::vec;
use alloc::vec::Vec;
use core::f64::consts::PI;
use core::ops::Range;

use signal::Block;

use crate::error::SpecError;
use crate::resolve::{BandSpec, MatchedSpec};
use crate::sampler::Sampler;

/// Share of the template's energy that may be cut off its two ends together.
const CUT: f64 = 2e-4;
/// Lowest rate of the samples used over the upper corner of the band.
const RATE_OVER_HIGH: f64 = 5.0;
/// Most samples of the filtered template.
const MOST_TAPS: usize = 1 << 14;
/// Least share of the template's energy that the band must pass: -30 dB.
const LEAST_PASSED: f64 = 1e-3;
const LANES: usize = 8;
const CHUNK: usize = 1024;

#[derive(Clone, Debug)]
pub(crate) struct Matched {
    /// One of so many band samples is used.
    thin: u64,
    hop: u64,
    /// Template and its Hilbert transform over `sqrt(N sum h^2)`.
    taps: Vec<f32>,
    quadrature: Vec<f32>,
    /// Where the taps begin after the begin of the template, in used samples.
    offset: i64,
    /// The last samples used, then room for a piece.
    buffer: Vec<f32>,
    held: usize,
    /// Place of the buffer's first sample; `None` before the first of the stretch.
    place: Option<u64>,
    /// Whether the hop at hand was heard from its first place on, and the greatest power in it.
    greatest: Option<f64>,
}

impl Matched {
    pub(crate) fn new(
        spec: &MatchedSpec,
        sampler: &Sampler,
        band: Option<BandSpec>,
    ) -> Result<Self, SpecError> {
        let stage = spec.stage;
        let thin = band.map_or(1.0, |band| {
            libm::floor(sampler.rate_out_hz() / (RATE_OVER_HIGH * band.high_hz)).max(1.0)
        }) as u64;
        let factor = sampler.factor() * thin;
        let rate_hz = sampler.rate_out_hz() / thin as f64;
        let own_length = spec.template.len() as f64 / factor as f64;
        let (filtered, lead) = filtered(spec.template, sampler, thin);
        let energy: f64 = filtered.iter().map(|v| v * v).sum();
        let own: f64 = spec
            .template
            .iter()
            .map(|&v| f64::from(v) * f64::from(v))
            .sum();
        let passed = energy * factor as f64 / own;
        if passed.is_nan() || passed < LEAST_PASSED {
            return Err(SpecError::TemplateOutsideBand {
                stage,
                passed_db: 10.0 * libm::log10(passed),
            });
        }
        let ends = ends(&filtered, 0.5 * CUT * energy);
        let length = ends.len();
        if length > MOST_TAPS {
            return Err(SpecError::TemplateTooLong {
                stage,
                samples: length,
                rate_hz,
                most: MOST_TAPS,
            });
        }
        let least_s = 1.0 / rate_hz;
        let hop = match spec.hop_s {
            Some(hop_s) if hop_s < least_s => {
                return Err(SpecError::HopTooShort {
                    stage,
                    hop_s,
                    least_s,
                });
            }
            Some(hop_s) => libm::round(hop_s * rate_hz),
            None => libm::round(own_length / 8.0).max(1.0),
        };
        let kept = &filtered[ends.clone()];
        let kept_energy: f64 = kept.iter().map(|v| v * v).sum();
        let scale = 1.0 / libm::sqrt(own_length * kept_energy);
        let scaled = |values: &[f64]| values.iter().map(|v| (v * scale) as f32).collect();
        Ok(Self {
            thin,
            hop: hop as u64,
            taps: scaled(kept),
            quadrature: scaled(&quadrature(&filtered, &ends)),
            offset: ends.start as i64 - lead as i64,
            buffer: vec![0.0; length + CHUNK],
            held: 0,
            place: None,
            greatest: None,
        })
    }

    /// Band samples to one that is used.
    pub(crate) fn thin(&self) -> u64 {
        self.thin
    }

    /// Samples used from one cell to the next.
    pub(crate) fn hop(&self) -> u64 {
        self.hop
    }

    /// Samples used for one place.
    pub(crate) fn length(&self) -> u64 {
        self.taps.len() as u64
    }

    /// Where the filtered template begins after the template itself, in used samples.
    pub(crate) fn offset(&self) -> i64 {
        self.offset
    }

    pub(crate) fn operations_per_sample(&self) -> f64 {
        4.0 * self.taps.len() as f64
    }

    pub(crate) fn state_bytes(&self) -> usize {
        size_of::<Self>()
            + (self.taps.capacity() + self.quadrature.capacity() + self.buffer.capacity())
                * size_of::<f32>()
    }

    pub(crate) fn reset(&mut self) {
        self.held = 0;
        self.place = None;
        self.greatest = None;
    }

    /// Take band samples that follow those before, and hand out each cell that they complete: number, power and the last
    /// sample used.
    pub(crate) fn process(&mut self, block: Block<'_>, take: &mut impl FnMut(u64, f64, u64)) {
        let skip = (self.thin - block.first % self.thin) % self.thin;
        if skip >= block.x.len() as u64 {
            return;
        }
        self.place.get_or_insert((block.first + skip) / self.thin);
        let used = block.x[skip as usize..].iter().step_by(self.thin as usize);
        for &v in used {
            self.buffer[self.held] = v;
            self.held += 1;
            if self.held == self.buffer.len() {
                self.run(take);
            }
        }
        self.run(take);
    }

    /// All places whose samples are in the buffer.
    fn run(&mut self, take: &mut impl FnMut(u64, f64, u64)) {
        let Some(place) = self.place else { return };
        let length = self.taps.len();
        if self.held < length {
            return;
        }
        let places = self.held - length + 1;
        for i in 0..places {
            let a = place + i as u64;
            let power = power(&self.taps, &self.quadrature, &self.buffer[i..i + length]);
            if a.is_multiple_of(self.hop) {
                self.greatest = Some(power);
            } else if let Some(greatest) = &mut self.greatest {
                // Not-a-number stays.
                if !(greatest.is_nan() || power <= *greatest) {
                    *greatest = power;
                }
            }
            if (a + 1).is_multiple_of(self.hop)
                && let Some(greatest) = self.greatest
            {
                take(a / self.hop, greatest, a + length as u64 - 1);
            }
        }
        self.buffer.copy_within(places..self.held, 0);
        self.held -= places;
        self.place = Some(place + places as u64);
    }
}

/// Sum of the squares of two sums of products.
fn power(taps: &[f32], quadrature: &[f32], x: &[f32]) -> f64 {
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

/// The template as the detector's own decimation and band-pass let it through, used samples, and how many of these come
/// before its begin.
fn filtered(template: &[f32], sampler: &Sampler, thin: u64) -> (Vec<f64>, usize) {
    let mut sampler = sampler.clone();
    sampler.reset();
    let factor = sampler.factor() * thin;
    let reach = sampler.reach();
    let lead = reach.div_ceil(factor) + 8;
    // Until a narrow band-pass has rung out.
    let tail = 8 * sampler.group_delay() + reach + 8 * factor;
    let begin = (lead * factor) as usize;
    let mut x = vec![0.0; begin + template.len() + tail as usize];
    x[begin..begin + template.len()].copy_from_slice(template);
    let mut out = Vec::new();
    sampler.process(Block { first: 0, x: &x }, |band| {
        let skip = (thin - band.first % thin) % thin;
        let used = band.x.iter().skip(skip as usize).step_by(thin as usize);
        out.extend(used.map(|&v| f64::from(v)));
    });
    (out, lead as usize)
}

/// The values less as many at each end as hold no more than `energy` together.
fn ends(values: &[f64], energy: f64) -> Range<usize> {
    let cut = |values: &mut dyn Iterator<Item = &f64>| {
        let mut left = energy;
        values
            .take_while(|v| {
                left -= *v * *v;
                left >= 0.0
            })
            .count()
    };
    let first = cut(&mut values.iter());
    let last = values.len() - cut(&mut values.iter().rev());
    first..last
}

/// Hilbert transform of the filtered template at the places that are kept, from these and some on both sides: what lies
/// farther away, silence of the recording perhaps, is not worth the work.
fn quadrature(filtered: &[f64], kept: &Range<usize>) -> Vec<f64> {
    let margin = kept.len() / 8 + 64;
    let first = kept.start.saturating_sub(margin);
    let last = (kept.end + margin).min(filtered.len());
    let mut all = hilbert(&filtered[first..last]);
    all.truncate(kept.end - first);
    all.split_off(kept.start - first)
}

/// Discrete Hilbert transform over the same places: `sum over odd m of 2/(pi m) values[n - m]`.
fn hilbert(values: &[f64]) -> Vec<f64> {
    let kernel: Vec<f64> = (0..values.len())
        .map(|m| {
            if m % 2 == 1 {
                2.0 / (PI * m as f64)
            } else {
                0.0
            }
        })
        .collect();
    (0..values.len())
        .map(|n| {
            let before = values[..n].iter().rev().zip(&kernel[1..]);
            let after = values[n + 1..].iter().zip(&kernel[1..]);
            before.map(|(v, k)| v * k).sum::<f64>() - after.map(|(v, k)| v * k).sum::<f64>()
        })
        .collect()
}
