//! One sound under way, as one ear hears it along one way.
//!
//! The delay is solved at the ends of blocks of 64 samples that begin at multiples of 64 of the sample index, and the time of
//! emission and the gain are read linearly between them. With `R` the distance, the time of emission is off by at most
//! `R'' / c (64/rate)^2 / 8`: for 15 m/s past an ear at 15 m and 48 kHz 2 ns, 3e-4 rad at 20 kHz. At a bend of the track Doppler
//! shift changes over up to a block.
//!
//! Sounds given by a formula are evaluated at the time of emission itself. An ear hears what lies under 0.9 of half its rate,
//! as a converter's own filter makes it. A formula that reaches higher is evaluated at a multiple of the rate and brought down by
//! a windowed sinc that passes 0.9 of half the rate and stops, by 80 dB, what would fold. Hum and recordings are read from
//! their grid by [`super::interpolate`].

use assess::input::Exact;
use std::sync::Arc;

use super::error::EarError;
use super::hum::HumGrid;
use super::interpolate::{ATTENUATION_DB, Kernel, dot, weight};
use super::voice::{Voice, What};
use super::way::Way;

/// Samples between exact solutions.
pub(crate) const BLOCK: u64 = 64;
/// Share of half the rate up to which an ear hears.
pub(crate) const AUDIBLE: f64 = plan::Chain::AUDIBLE_SHARE;
/// A formula may reach so many times the rate.
pub(crate) const MOST_OVERSAMPLING: f64 = 64.0;
/// Samples to each side that the low-pass takes in: transition of 0.05 cycles a sample.
const LOW_PASS_REACH: usize = 50;
const LOW_PASS_CUTOFF: f64 = 0.475;
const LEAST_GRID: usize = 512;

/// Time of emission, in track time, at the ends of the block before, of the block, and of the one after it.
#[derive(Clone, Copy, Debug)]
struct Knots {
    block: u64,
    emitted_s: [f64; 4],
    gain: [f64; 2],
}

/// One repeat of one sound on its way to one ear.
#[derive(Debug)]
pub(crate) struct Sounding {
    voice: Arc<Voice>,
    /// The repeat's own beginning in track time, s.
    offset_s: f64,
    rate_hz: f64,
    reader: Reader,
    knots: Option<Knots>,
}

#[derive(Debug)]
enum Reader {
    Exact,
    /// Evaluated at `factor` times the rate, then low-passed.
    Filtered {
        factor: usize,
        taps: Vec<f64>,
        fine: Vec<f64>,
    },
    Hum(Box<HumGrid>, Grid),
    Played(Kernel, Grid),
}

impl Sounding {
    pub(crate) fn new(voice: &Arc<Voice>, repeat: u32, rate_hz: f64) -> Result<Self, EarError> {
        let audible_hz = AUDIBLE * 0.5 * rate_hz;
        let reader = match &voice.what {
            What::Exact(exact) if exact.high_hz < audible_hz => Reader::Exact,
            What::Exact(exact) => low_pass(exact, rate_hz),
            What::Hum(hum) => Reader::Hum(Box::new(hum.grid(repeat, audible_hz)?), Grid::default()),
            What::Played(played) => Reader::Played(played.kernel(rate_hz), Grid::default()),
        };
        Ok(Self {
            voice: Arc::clone(voice),
            offset_s: f64::from(repeat) * voice.every_s,
            rate_hz,
            reader,
            knots: None,
        })
    }

    /// Adds samples `first`, `first + 1`, ... of this sound to `out`, in uPa.
    pub(crate) fn add(&mut self, way: &Way, first: u64, out: &mut [f64]) {
        let mut done = 0;
        while done < out.len() {
            let n = first + done as u64;
            let block = n / BLOCK;
            let count = ((block + 1) * BLOCK - n).min((out.len() - done) as u64) as usize;
            let knots = self.knots(way, block);
            self.add_in_block(&knots, (n % BLOCK) as usize, &mut out[done..done + count]);
            done += count;
        }
    }

    fn knots(&mut self, way: &Way, block: u64) -> Knots {
        match &self.knots {
            Some(k) if k.block == block => return *k,
            _ => {}
        }
        let emitted =
            |block: f64| way.emitted_s(block * BLOCK as f64 / self.rate_hz - self.voice.begin_s);
        let gain = |emitted_s: f64| {
            way.gain(emitted_s)
                .expect("the range was checked along the whole track")
        };
        let b = block as f64;
        let knots = match &self.knots {
            Some(k) if k.block + 1 == block => {
                let e = k.emitted_s;
                let emitted_s = [e[1], e[2], e[3], emitted(b + 2.0)];
                Knots {
                    block,
                    emitted_s,
                    gain: [k.gain[1], gain(emitted_s[2])],
                }
            }
            _ => {
                let emitted_s = [b - 1.0, b, b + 1.0, b + 2.0].map(emitted);
                Knots {
                    block,
                    emitted_s,
                    gain: [gain(emitted_s[1]), gain(emitted_s[2])],
                }
            }
        };
        self.knots = Some(knots);
        knots
    }

    fn add_in_block(&mut self, knots: &Knots, from: usize, out: &mut [f64]) {
        let per_sample = 1.0 / BLOCK as f64;
        let gain = |i: usize| {
            knots.gain[0] + (from + i) as f64 * per_sample * (knots.gain[1] - knots.gain[0])
        };
        let offset_s = self.offset_s;
        // Samples may lie up to a block outside the block at hand.
        let since_begin_s = |sample: f64| {
            let place = sample * per_sample + 1.0;
            let i = (place.floor().max(0.0) as usize).min(2);
            let (a, b) = (knots.emitted_s[i], knots.emitted_s[i + 1]);
            a + (place - i as f64) * (b - a) - offset_s
        };
        let duration_s = self.voice.duration_s;
        match (&mut self.reader, &self.voice.what) {
            (Reader::Exact, What::Exact(exact)) => {
                for (i, o) in out.iter_mut().enumerate() {
                    *o += gain(i) * exact.value(since_begin_s((from + i) as f64));
                }
            }
            (Reader::Filtered { factor, taps, fine }, What::Exact(exact)) => {
                let margin = LOW_PASS_REACH * *factor;
                fine.clear();
                let begin = from as f64 - LOW_PASS_REACH as f64;
                let step = 1.0 / *factor as f64;
                fine.extend(
                    (0..(out.len() - 1) * *factor + 2 * margin + 1)
                        .map(|m| exact.value(since_begin_s(begin + m as f64 * step))),
                );
                for (i, o) in out.iter_mut().enumerate() {
                    let at = i * *factor;
                    *o += gain(i) * dot(taps, &fine[at..at + taps.len()]);
                }
            }
            (Reader::Hum(hum, grid), What::Hum(source)) => {
                let rate_hz = source.rate_hz();
                let last_s = since_begin_s((from + out.len() - 1) as f64);
                if last_s <= 0.0 || since_begin_s(from as f64) >= duration_s {
                    return;
                }
                let kernel = source.kernel();
                let span = [since_begin_s(from as f64).max(0.0), last_s.min(duration_s)];
                grid.cover(span.map(|t| t * rate_hz), kernel.reach(), |first, out| {
                    hum.fill(first, out);
                });
                for (i, o) in out.iter_mut().enumerate() {
                    let t_s = since_begin_s((from + i) as f64);
                    let envelope = source.envelope(t_s);
                    if envelope > 0.0 {
                        *o += gain(i) * envelope * grid.at(kernel, t_s * rate_hz);
                    }
                }
            }
            (Reader::Played(kernel, grid), What::Played(source)) => {
                let rate_hz = source.rate_hz();
                let span = [from, from + out.len() - 1].map(|s| since_begin_s(s as f64) * rate_hz);
                grid.cover(span, kernel.reach(), |first, out| source.fill(first, out));
                for (i, o) in out.iter_mut().enumerate() {
                    let place = since_begin_s((from + i) as f64) * rate_hz;
                    *o += gain(i) * grid.at(kernel, place);
                }
            }
            _ => unreachable!("the reader was made for this voice"),
        }
    }
}

fn low_pass(exact: &Exact, rate_hz: f64) -> Reader {
    let factor = oversampling(exact.high_hz, rate_hz) as usize;
    let reach = (LOW_PASS_REACH * factor) as f64;
    let beta = 0.1102 * (ATTENUATION_DB - 8.7);
    let cutoff = LOW_PASS_CUTOFF / factor as f64;
    Reader::Filtered {
        factor,
        taps: (0..=2 * LOW_PASS_REACH * factor)
            .map(|i| weight(i as f64 - reach, reach, cutoff, beta))
            .collect(),
        fine: Vec::new(),
    }
}

/// How many times the rate keeps what folds out of the lower half of the band.
pub(crate) fn oversampling(high_hz: f64, rate_hz: f64) -> f64 {
    (high_hz / rate_hz + 0.5).ceil().max(2.0)
}

/// The part of a source's grid that is at hand.
#[derive(Debug, Default)]
struct Grid {
    first: i64,
    values: Vec<f64>,
}

impl Grid {
    /// Makes sure that everything between two places (in grid samples) can be read.
    fn cover(&mut self, span: [f64; 2], reach: usize, mut fill: impl FnMut(i64, &mut [f64])) {
        let from = span[0].floor() as i64 - reach as i64 + 1;
        let until = span[1].floor() as i64 + reach as i64 + 1;
        let end = self.first + self.values.len() as i64;
        if from < self.first || from > end {
            self.first = from;
            self.values.clear();
        }
        let end = self.first + self.values.len() as i64;
        if until <= end {
            return;
        }
        let over = (from - self.first) as usize;
        self.values.drain(..over);
        self.first = from;
        let have = self.values.len();
        let more = ((until - end) as usize).max(LEAST_GRID);
        self.values.resize(have + more, 0.0);
        fill(end, &mut self.values[have..]);
    }

    fn at(&self, kernel: &Kernel, place: f64) -> f64 {
        let floor = place.floor();
        let from = (floor as i64 - kernel.reach() as i64 + 1 - self.first) as usize;
        kernel.between(&self.values[from..from + 2 * kernel.reach()], place - floor)
    }
}
