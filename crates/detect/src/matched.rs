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
//! power of the places `k hop` to `(k + 1) hop`. It is computed place by place or, where that takes far fewer operations, all places
//! of a cell at once: one transform forth, one product with the lines of `h + i g`, one transform back, in double precision (overlap-save in blocks of a
//! hop, anchored at the cells: T. G. Stockham 1966, from memory). Either way a cell is known with the last sample that it needs and waits for no
//! other block to fill, has the same bits however the samples are cut, and needs no standard library.

use alloc::vec;
use alloc::vec::Vec;
use core::f64::consts::PI;
use core::ops::Range;

use signal::Block;

use crate::envelope::{Way, greatest_power, power};
use crate::error::SpecError;
use crate::resolve::{BandSpec, MatchedSpec};
use crate::sampler::Sampler;

/// Share of the template's energy that may be cut off its two ends together.
const CUT: f64 = 2e-4;
/// Lowest rate of the samples used over the upper corner of the band.
const RATE_OVER_HIGH: f64 = 5.0;
/// Most samples of the filtered template.
pub(crate) const MOST_TAPS: usize = 1 << 14;
/// Least share of the template's energy that the band must pass: -30 dB.
const LEAST_PASSED: f64 = 1e-3;
const CHUNK: usize = 1024;

#[derive(Clone, Debug)]
pub(crate) struct Matched {
    /// One of so many band samples is used.
    thin: u64,
    hop: u64,
    length: usize,
    way: Way,
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
        let scaled = |values: &[f64]| -> Vec<f64> { values.iter().map(|v| v * scale).collect() };
        let hop = hop as u64;
        let way = Way::new(&scaled(kept), &scaled(&quadrature(&filtered, &ends)), hop);
        let span = match &way {
            Way::Direct { .. } => length,
            Way::Transformed { .. } => length + hop as usize - 1,
        };
        Ok(Self {
            thin,
            hop,
            length,
            way,
            offset: ends.start as i64 - lead as i64,
            buffer: vec![0.0; span + CHUNK],
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
        self.length as u64
    }

    /// Where the filtered template begins after the template itself, in used samples.
    pub(crate) fn offset(&self) -> i64 {
        self.offset
    }

    pub(crate) fn operations_per_sample(&self) -> f64 {
        self.way.operations_per_sample(self.length, self.hop)
    }

    pub(crate) fn state_bytes(&self) -> usize {
        size_of::<Self>() + self.way.heap_bytes() + self.buffer.capacity() * size_of::<f32>()
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

    /// All cells, or places, whose samples are in the buffer.
    fn run(&mut self, take: &mut impl FnMut(u64, f64, u64)) {
        match self.way {
            Way::Direct { .. } => self.run_places(take),
            Way::Transformed { .. } => self.run_cells(take),
        }
    }

    fn run_places(&mut self, take: &mut impl FnMut(u64, f64, u64)) {
        let Way::Direct { taps, quadrature } = &self.way else {
            return;
        };
        let Some(place) = self.place else { return };
        let length = self.length;
        if self.held < length {
            return;
        }
        let places = self.held - length + 1;
        for i in 0..places {
            let a = place + i as u64;
            let power = power(taps, quadrature, &self.buffer[i..i + length]);
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
        self.forget(places);
    }

    fn run_cells(&mut self, take: &mut impl FnMut(u64, f64, u64)) {
        let places = self.hop as usize;
        let span = self.length + places - 1;
        while let Some(place) = self.place {
            // What comes before the first place of a cell serves none.
            let before = (self.hop - place % self.hop) % self.hop;
            if before > 0 {
                let before = (before as usize).min(self.held);
                if before == 0 {
                    return;
                }
                self.forget(before);
                continue;
            }
            if self.held < span {
                return;
            }
            let Way::Transformed {
                transform,
                kernel,
                z,
            } = &mut self.way
            else {
                return;
            };
            let greatest = greatest_power(transform, kernel, z, &self.buffer[..span], places);
            take(place / self.hop, greatest, place + span as u64 - 1);
            self.forget(places);
        }
    }

    /// Leaves out the first samples of the buffer.
    fn forget(&mut self, samples: usize) {
        self.buffer.copy_within(samples..self.held, 0);
        self.held -= samples;
        self.place = self.place.map(|place| place + samples as u64);
    }
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

#[cfg(test)]
mod tests {
    use super::*;

    fn draws(count: usize, mut state: u32) -> Vec<f64> {
        (0..count)
            .map(|_| {
                state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                f64::from(state >> 8) / 8_388_608.0 - 1.0
            })
            .collect()
    }

    /// Cells by transforms against the sums that they stand for, in double precision; and each is told with the same last sample.
    #[test]
    fn verif_cells_by_transforms_are_those_of_the_sums() {
        for (length, hop) in [(700, 88), (512, 64), (100, 25), (9, 4)] {
            let (taps, quadrature) = (draws(length, 1), draws(length, 2));
            let x: Vec<f32> = draws(5000, 3).iter().map(|v| *v as f32).collect();
            let first = 37_u64;
            let mut matched = Matched {
                thin: 1,
                hop,
                length,
                way: Way::transformed(&taps, &quadrature, hop),
                offset: 0,
                buffer: vec![0.0; length + hop as usize - 1 + CHUNK],
                held: 0,
                place: None,
                greatest: None,
            };
            let mut told = Vec::new();
            matched.process(Block::new(first, &x), &mut |k, power, last| {
                told.push((k, power, last));
            });
            let sum = |taps: &[f64], at: usize| -> f64 {
                taps.iter()
                    .zip(&x[at..])
                    .map(|(h, x)| h * f64::from(*x))
                    .sum()
            };
            let power = |at: usize| {
                let (re, im) = (sum(&taps, at), sum(&quadrature, at));
                re * re + im * im
            };
            let begin = first.div_ceil(hop);
            let end = (first + x.len() as u64 - length as u64 + 1) / hop;
            assert_eq!(told.len() as u64, end - begin);
            for (k, (number, found, last)) in (begin..end).zip(told) {
                assert_eq!((number, last), (k, (k + 1) * hop + length as u64 - 2));
                let places = (k * hop - first) as usize..((k + 1) * hop - first) as usize;
                let expected = places.map(power).fold(0.0, f64::max);
                assert!((found / expected - 1.0).abs() < 1e-9, "{found} {expected}");
            }
        }
    }

    /// The way that is worth it is taken.
    #[test]
    fn verif_a_short_hop_is_taken_place_by_place() {
        let taps = draws(700, 1);
        let direct = |hop| matches!(Way::new(&taps, &taps, hop), Way::Direct { .. });
        assert!(direct(1) && direct(88) && !direct(700));
    }
}
