//! Samples without a gap, second by second.
//!
//! Sample `i` of a run whose first sample lies `o` ns after the epoch belongs to second `floor((o + i 10^9 / rate) / 10^9)`,
//! computed in whole nanoseconds times hertz. The bank of filters tells what stands for a second a while later; a second is
//! done when all its bands are.

use std::collections::VecDeque;

use jiff::Timestamp;
use signal::{
    Arithmetic, BandBlock, Block, Decidecade, DecidecadeBank, Moments, Spectrogram, band_power,
};

use super::{Lines, MeasureError, bank};

const NS_PER_S: i128 = 1_000_000_000;

/// From when seconds are counted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Epoch {
    /// The epoch of UTC; with the instant of the file's first frame.
    Utc(Timestamp),
    /// The first frame of the recording at this place.
    Recording(usize),
}

/// One second, or the part of it that was heard without a gap.
#[derive(Debug)]
pub(super) struct Second {
    pub(super) epoch: Epoch,
    /// Number since the epoch.
    pub(super) number: i64,
    /// Place of the file and frame in it of the first sample.
    pub(super) first: (usize, u64),
    /// Whether it is the first of its run.
    pub(super) begins_run: bool,
    /// Samples at full scale.
    pub(super) clipped: u64,
    pub(super) moments: Moments,
    pub(super) highest: f32,
    pub(super) lowest: f32,
    /// By band: sum of squares and number of samples of the band.
    pub(super) bands: Vec<(f64, u64)>,
    /// Spectral densities of the segment that begins in the middle of the second before, and of that of this second.
    pub(super) straddling: Option<Densities>,
    pub(super) whole: Option<Densities>,
}

/// Spectral densities of one segment, uPa^2/Hz.
#[derive(Debug, Default)]
pub(super) struct Densities {
    pub(super) bands: Vec<f32>,
    /// By line; empty where lines are not kept.
    pub(super) lines: Vec<f32>,
}

/// A second whose bands are not all known.
#[derive(Debug)]
struct Pending {
    second: Second,
    /// By band: first sample of the band that stands for what comes after.
    ends: Vec<u64>,
}

/// Samples of one rate without a gap, and what is computed of them.
#[derive(Debug)]
pub(super) struct Run {
    rate_hz: u32,
    lines: Lines,
    bank: DecidecadeBank,
    frames: Spectrogram,
    /// Where the run begins, once it does: epoch, and nanoseconds after it.
    origin: Option<(Epoch, i128)>,
    /// Samples of the run before the second at hand.
    before: u64,
    /// The second at hand.
    samples: Vec<f32>,
    clipped: u64,
    first: (usize, u64),
    /// The second half of the second before, where that was whole and not clipped.
    half: Option<Vec<f32>>,
    pending: VecDeque<Pending>,
    /// Seconds of the run that were handed on.
    handed: u64,
    /// By band: seconds of the run whose samples are all known.
    known: Vec<u64>,
    segment: Vec<f32>,
}

impl Run {
    pub(super) fn new(rate_hz: u32, lines: Lines) -> Result<Self, MeasureError> {
        let bank = bank(rate_hz)?;
        // A segment has an even number of samples.
        let segment = (rate_hz - rate_hz % 2) as usize;
        let frames = Spectrogram::new(segment, segment, f64::from(rate_hz), Arithmetic::Scalar)?;
        let known = vec![0; bank.bands().len()];
        Ok(Self {
            rate_hz,
            lines,
            bank,
            frames,
            origin: None,
            before: 0,
            samples: Vec::with_capacity(rate_hz as usize),
            clipped: 0,
            first: (0, 0),
            half: None,
            pending: VecDeque::new(),
            handed: 0,
            known,
            segment: Vec::with_capacity(segment),
        })
    }

    pub(super) fn rate_hz(&self) -> u32 {
        self.rate_hz
    }

    /// Distance of spectral lines, Hz.
    pub(super) fn bin_hz(&self) -> f64 {
        self.frames.bin_hz()
    }

    pub(super) fn bands(&self) -> &[Decidecade] {
        self.bank.bands()
    }

    /// Takes the next samples of a file, `from` its place and frame, with the indices of those at full scale.
    pub(super) fn push(
        &mut self,
        from: (usize, u64),
        epoch: Epoch,
        mut x: &[f32],
        full_scale: &[usize],
    ) {
        let (place, mut frame) = from;
        let origin = *self.origin.get_or_insert_with(|| {
            let start_ns = match epoch {
                Epoch::Utc(start) => start.as_nanosecond(),
                Epoch::Recording(_) => 0,
            };
            // Rounded down as the frame's own instant is.
            let after_ns = (i128::from(frame) * NS_PER_S).div_euclid(i128::from(self.rate_hz));
            (epoch, start_ns + after_ns)
        });
        let mut clipped = full_scale;
        let mut passed = 0;
        while !x.is_empty() {
            if self.samples.is_empty() {
                self.first = (place, frame);
            }
            let at = self.before + self.samples.len() as u64;
            let end = self.end_of(origin.1, self.number(origin.1, self.before));
            let n = (end - at).min(x.len() as u64) as usize;
            let (piece, rest) = x.split_at(n);
            self.samples.extend_from_slice(piece);
            let inside = clipped.partition_point(|&i| i < passed + n);
            self.clipped += inside as u64;
            clipped = &clipped[inside..];
            passed += n;
            frame += n as u64;
            x = rest;
            if at + n as u64 == end {
                self.close();
            }
        }
    }

    /// Number of the second in which a sample lies.
    fn number(&self, origin_ns: i128, sample: u64) -> i64 {
        let rate = i128::from(self.rate_hz);
        let at = origin_ns * rate + i128::from(sample) * NS_PER_S;
        at.div_euclid(NS_PER_S * rate) as i64
    }

    /// First sample that lies after a second.
    fn end_of(&self, origin_ns: i128, number: i64) -> u64 {
        let rate = i128::from(self.rate_hz);
        let after = ((i128::from(number) + 1) * NS_PER_S - origin_ns) * rate;
        (after + NS_PER_S - 1).div_euclid(NS_PER_S) as u64
    }

    /// Ends the run: what is there of the last second counts, and its bands are let ring out.
    pub(super) fn end(&mut self) {
        if !self.samples.is_empty() {
            self.close();
        }
        if self.origin.is_some() {
            let rest = vec![0.0; self.bank.longest_delay() as usize];
            self.filter(&rest);
            let seconds = self.handed + self.pending.len() as u64;
            assert!(
                self.known.iter().all(|&known| known == seconds),
                "after the longest delay every band has told all"
            );
        }
        self.bank.reset();
        self.origin = None;
        self.before = 0;
        self.half = None;
    }

    /// The next second of which all is known.
    pub(super) fn next_done(&mut self) -> Option<Second> {
        self.pending.front()?;
        if self.known.iter().any(|&known| known <= self.handed) {
            return None;
        }
        self.handed += 1;
        let done = self.pending.pop_front()?.second;
        if self.pending.is_empty() && self.origin.is_none() {
            self.handed = 0;
            self.known.fill(0);
        }
        Some(done)
    }

    /// Computes the second at hand.
    fn close(&mut self) {
        let (epoch, origin_ns) = self.origin.expect("a run with samples has begun");
        let samples = std::mem::take(&mut self.samples);
        let end = self.before + samples.len() as u64;
        let (highest, lowest) = extremes(&samples);
        let whole = samples.len() == self.rate_hz as usize && self.clipped == 0;
        let middle = self.rate_hz as usize / 2;
        let (mut straddling, mut of_whole) = (None, None);
        let half = self.half.take();
        if whole {
            of_whole = Some(self.density(&samples, &[]));
            straddling = half.map(|half| self.density(&half, &samples));
            self.half = Some(samples[middle..].to_vec());
        }
        let second = Second {
            epoch,
            number: self.number(origin_ns, self.before),
            first: self.first,
            begins_run: self.before == 0,
            clipped: self.clipped,
            moments: Moments::of(&samples),
            highest,
            lowest,
            bands: vec![(0.0, 0); self.known.len()],
            straddling,
            whole: of_whole,
        };
        let ends = (0..self.known.len())
            .map(|band| self.bank.first_from(band, end))
            .collect();
        self.pending.push_back(Pending { second, ends });
        self.filter(&samples);
        self.before = end;
        self.clipped = 0;
        self.samples = samples;
        self.samples.clear();
    }

    /// Densities of a segment: the first samples of `head` and `tail` together.
    fn density(&mut self, head: &[f32], tail: &[f32]) -> Densities {
        let length = self.frames.segment();
        self.segment.clear();
        self.segment
            .extend(head.iter().chain(tail).take(length).copied());
        self.frames.reset();
        let mut found = Densities::default();
        let (bin_hz, bands) = (self.frames.bin_hz(), self.bank.bands());
        let keep = self.lines == Lines::Keep;
        self.frames
            .process(Block::new(0, &self.segment), |column| {
                let in_band = |band: &Decidecade| {
                    let (low_hz, high_hz) = (band.low_hz(), band.high_hz());
                    let power = band_power(column.density, bin_hz, low_hz, high_hz)
                        .expect("a band of the bank lies below half the rate");
                    (power / (high_hz - low_hz)) as f32
                };
                found.bands = bands.iter().map(in_band).collect();
                if keep {
                    found.lines = column.density.iter().map(|&d| d as f32).collect();
                }
            })
            .expect("a segment begins a stretch");
        found
    }

    /// Takes samples through the bank, into the seconds for which they stand.
    fn filter(&mut self, samples: &[f32]) {
        let Self {
            bank,
            pending,
            known,
            handed,
            before,
            ..
        } = self;
        bank.process(Block::new(*before, samples), |block| {
            let BandBlock {
                band,
                mut first,
                mut x,
            } = block;
            while let Some(open) = pending.get_mut((known[band] - *handed) as usize) {
                let end = open.ends[band];
                let (own, rest) =
                    x.split_at(end.saturating_sub(first).min(x.len() as u64) as usize);
                let sum = &mut open.second.bands[band];
                sum.0 += square_sum(own);
                sum.1 += own.len() as u64;
                first += own.len() as u64;
                x = rest;
                if first < end {
                    return;
                }
                known[band] += 1;
            }
        })
        .expect("seconds of a run follow each other");
    }
}

fn extremes(x: &[f32]) -> (f32, f32) {
    let most = |found: f32, &v: &f32| if v > found { v } else { found };
    let least = |found: f32, &v: &f32| if v < found { v } else { found };
    (
        x.iter().fold(f32::NEG_INFINITY, most),
        x.iter().fold(f32::INFINITY, least),
    )
}

fn square_sum(x: &[f64]) -> f64 {
    let (body, tail) = x.as_chunks::<4>();
    let mut lanes = [0.0; 4];
    for c in body {
        for i in 0..4 {
            lanes[i] += c[i] * c[i];
        }
    }
    let tail: f64 = tail.iter().map(|v| v * v).sum();
    (lanes[0] + lanes[2]) + (lanes[1] + lanes[3]) + tail
}
