//! Frames: mean squares by frequency, of a run of lines, in single precision and without the standard library.
//!
//! Frame `k` covers samples `k * hop` to `k * hop + window` (the end excluded), anchored at the absolute sample index, under the
//! periodic Hann window `sin^2(pi i / window)`, and is transformed at the next power of two, filled up with zeros. A cell is
//! `2 |X|^2 / (sum w)^2`: a steady sine at the middle of the cell reads its own mean square. White noise reads its density
//! times 1.5 `rate / window` (the noise bandwidth of the window). The mean is not removed.
//!
//! [`crate::Spectrogram`] tells densities of every line in double precision; this is for detectors, which read few lines of many frames.

use alloc::vec;
use alloc::vec::Vec;
use core::f64::consts::PI;

use pulp::{Simd, f32x8};

use crate::block::{Block, Cursor};
use crate::error::{SpectrumError, StreamError};
use crate::fourier::{Fourier, LANES, Lanes, NONE, Point};
use crate::wide::{Widest, Work};

const SHORTEST: usize = 8;
const LONGEST: usize = 1 << 20;

/// The cells of one frame.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Frame<'a> {
    /// Number of the frame: it begins at sample `k * hop`.
    pub k: u64,
    /// Index of the last sample of the frame.
    pub last: u64,
    /// Mean squares, lowest frequency first, in the square of the samples' unit.
    pub power: &'a [f32],
}

/// Frames of `window` samples every `hop` samples, told as they become complete.
#[derive(Debug, Clone)]
pub struct Frames {
    widest: Widest,
    window: Vec<f32>,
    hop: usize,
    bin_hz: f64,
    first_line: usize,
    fourier: Fourier,
    scale: f32,
    cursor: Cursor,
    /// Samples still to pass before the frame at hand begins.
    skip: u64,
    k: u64,
    filled: usize,
    buffer: Vec<f32>,
    points: Vec<Point>,
    power: Vec<Lanes>,
    /// Cells by four, of each frame.
    rows: [Vec<[f32; 4]>; LANES],
    cells: usize,
}

impl Frames {
    /// Frames of `window` samples at `rate_hz`, one every `hop` samples, with the cells whose middle lies within `low_hz` to `high_hz`
    /// (never those at 0 Hz and at half the rate).
    ///
    /// # Errors
    /// [`SpectrumError`] for a rate that is not positive, a window outside 8 to 2^20 samples, a hop of 0 or above the
    /// window, or a band that is not `0 <= low < high <= rate / 2` or too narrow for the middle of a cell.
    pub fn new(
        window: usize,
        hop: usize,
        rate_hz: f64,
        low_hz: f64,
        high_hz: f64,
    ) -> Result<Self, SpectrumError> {
        if !(rate_hz.is_finite() && rate_hz > 0.0) {
            return Err(SpectrumError::Rate { rate_hz });
        }
        for (what, samples, min, max) in [
            ("window", window, SHORTEST, LONGEST),
            ("hop", hop, 1, window),
        ] {
            if !(min..=max).contains(&samples) {
                return Err(SpectrumError::Length {
                    what,
                    samples,
                    min,
                    max,
                });
            }
        }
        let n = window.next_power_of_two();
        let bin_hz = rate_hz / n as f64;
        let nyquist_hz = rate_hz / 2.0;
        if !(low_hz >= 0.0 && low_hz < high_hz && high_hz <= nyquist_hz) {
            return Err(SpectrumError::Band {
                low_hz,
                high_hz,
                nyquist_hz,
            });
        }
        let first_line = (libm::ceil(low_hz / bin_hz) as usize).max(1);
        let last_line = (libm::floor(high_hz / bin_hz) as usize).min(n / 2 - 1);
        if first_line > last_line {
            return Err(SpectrumError::Band {
                low_hz,
                high_hz,
                nyquist_hz,
            });
        }
        let shape: Vec<f64> = (0..window)
            .map(|i| {
                let s = libm::sin(PI * i as f64 / window as f64);
                s * s
            })
            .collect();
        let sum: f64 = shape.iter().sum();
        let cells = last_line - first_line + 1;
        Ok(Self {
            widest: Widest::of_this_processor(),
            window: shape.iter().map(|w| *w as f32).collect(),
            hop,
            bin_hz,
            first_line,
            fourier: Fourier::new(n, first_line, last_line),
            scale: (2.0 / (sum * sum)) as f32,
            cursor: Cursor::default(),
            skip: 0,
            k: 0,
            filled: 0,
            buffer: vec![0.0; window + (LANES - 1) * hop],
            points: Fourier::scratch(n),
            // Whole fours of cells may go three places beyond the last line.
            power: vec![NONE; n / 2 + 3],
            rows: [(); LANES].map(|()| vec![[0.0; 4]; cells.div_ceil(4)]),
            cells,
        })
    }

    /// Number of cells in a frame.
    pub fn cells(&self) -> usize {
        self.cells
    }

    /// Distance between cells, Hz: the rate over the length of the transform.
    pub fn bin_hz(&self) -> f64 {
        self.bin_hz
    }

    /// Middle of the lowest cell, Hz.
    pub fn lowest_hz(&self) -> f64 {
        self.first_line as f64 * self.bin_hz
    }

    /// Samples in a frame.
    pub fn window(&self) -> usize {
        self.window.len()
    }

    /// Samples between the beginnings of frames.
    pub fn hop(&self) -> usize {
        self.hop
    }

    /// Points of the transform: the window's samples, filled up to a power of two.
    pub fn points(&self) -> usize {
        2 * self.points.len()
    }

    /// Memory that it holds, bytes.
    pub fn state_bytes(&self) -> usize {
        let floats = self.window.len() + self.buffer.len() + LANES * self.cells();
        size_of::<Self>()
            + floats * size_of::<f32>()
            + self.points.len() * (size_of::<Point>() + size_of::<Lanes>())
            + self.fourier.heap_bytes()
    }

    /// Takes the next block and hands out the frames that it completes. Frames that begin before the stretch are not told.
    ///
    /// Blocks of at least eight hops are the cheapest.
    ///
    /// # Errors
    /// [`StreamError`] when the block does not follow the one before.
    pub fn process(
        &mut self,
        block: Block<'_>,
        mut sink: impl FnMut(Frame<'_>),
    ) -> Result<(), StreamError> {
        if self.cursor.accept(block.first, block.x.len())? {
            self.k = block.first.div_ceil(self.hop as u64);
            self.skip = self.k * self.hop as u64 - block.first;
        }
        let x = block.x;
        let span = self.buffer.len();
        let skipped = self.skip.min(x.len() as u64);
        self.skip -= skipped;
        let mut at = skipped as usize;
        while at < x.len() {
            if self.filled == 0 && x.len() - at >= span {
                self.tell(Some(&x[at..at + span]), LANES, &mut sink);
                at += LANES * self.hop;
                continue;
            }
            let n = (span - self.filled).min(x.len() - at);
            self.buffer[self.filled..self.filled + n].copy_from_slice(&x[at..at + n]);
            self.filled += n;
            at += n;
            if self.filled == span {
                let kept = span - LANES * self.hop;
                self.tell(None, LANES, &mut sink);
                if kept <= at {
                    at -= kept;
                    self.filled = 0;
                }
            }
        }
        if self.filled >= self.window.len() {
            let complete = (self.filled - self.window.len()) / self.hop + 1;
            self.tell(None, complete, &mut sink);
        }
        Ok(())
    }

    /// Forgets everything heard, ready for a new stretch.
    pub fn reset(&mut self) {
        self.cursor = Cursor::default();
        self.filled = 0;
        self.skip = 0;
    }

    /// Transforms and tells the first `count` frames of these samples; of the buffer without any, which then begins with the
    /// frame after them.
    fn tell(&mut self, samples: Option<&[f32]>, count: usize, sink: &mut impl FnMut(Frame<'_>)) {
        match samples {
            Some(samples) => self.widest.run(Transform(self, samples)),
            None => {
                let mut buffer = core::mem::take(&mut self.buffer);
                self.widest.run(Transform(self, &buffer));
                let done = count * self.hop;
                buffer.copy_within(done..self.filled, 0);
                self.filled -= done;
                self.buffer = buffer;
            }
        }
        for row in &self.rows[..count] {
            let last = self.k * self.hop as u64 + self.window.len() as u64 - 1;
            sink(Frame {
                k: self.k,
                last,
                power: &row.as_flattened()[..self.cells],
            });
            self.k += 1;
        }
    }

    #[inline(always)]
    fn transform<S: Simd<f32s = Lanes>>(&mut self, simd: S, samples: &[f32]) {
        let x: [&[f32]; LANES] =
            core::array::from_fn(|lane| &samples[lane * self.hop..][..self.window.len()]);
        let (window, end) = self.window.as_chunks::<4>();
        let fours = x.map(|x| &x.as_chunks::<4>().0[..window.len()]);
        let points = self.points.as_chunks_mut::<2>().0;
        for (i, (w, points)) in window.iter().zip(&mut *points).enumerate() {
            let [a, b, c, d, e, f, g, h] = &fours;
            let x = [&a[i], &b[i], &c[i], &d[i], &e[i], &f[i], &g[i], &h[i]];
            *points = windowed(simd, x, w);
        }
        let mut used = window.len();
        if !end.is_empty() {
            let filled = |x: &[f32]| {
                let mut four = [0.0; 4];
                four[..end.len()].copy_from_slice(&x[4 * used..]);
                four
            };
            let mut w = [0.0; 4];
            w[..end.len()].copy_from_slice(end);
            points[used] = windowed(simd, x.map(filled).each_ref(), &w);
            used += 1;
        }
        points[used..].fill([Point::ZERO; 2]);
        let lines = self.points.len();
        self.fourier.run(simd, &mut self.points);
        self.fourier
            .power(simd, &self.points, self.scale, &mut self.power[..lines]);
        let rows = self.rows.as_chunks_mut::<2>().0;
        let fours = self.power[self.first_line..].as_chunks::<4>().0;
        for (i, four) in fours[..rows[0][0].len()].iter().enumerate() {
            // The lanes back in the order of the frames.
            for ([row, next], two) in rows.iter_mut().zip(simd.interleave_shfl_f32s(*four)) {
                [row[i], next[i]] = parted(two);
            }
        }
    }
}

/// Four samples of eight frames under the window, as two points of each. The order of the lanes is that of the instructions.
#[inline(always)]
fn windowed<S: Simd<f32s = Lanes>>(simd: S, x: [&[f32; 4]; LANES], w: &[f32; 4]) -> [Point; 2] {
    let w = joined(w, w);
    let two = |lane: usize| simd.mul_f32s(joined(x[lane], x[lane + 1]), w);
    let [a, b, c, d] = simd.deinterleave_shfl_f32s([two(0), two(2), two(4), two(6)]);
    [Point { re: a, im: b }, Point { re: c, im: d }]
}

/// Four numbers of one frame and four of the next.
#[inline(always)]
fn joined(a: &[f32; 4], b: &[f32; 4]) -> Lanes {
    f32x8(a[0], a[1], a[2], a[3], b[0], b[1], b[2], b[3])
}

#[inline(always)]
fn parted(of: Lanes) -> [[f32; 4]; 2] {
    [[of.0, of.1, of.2, of.3], [of.4, of.5, of.6, of.7]]
}

/// [`Frames::transform`] in the instructions at hand.
struct Transform<'a>(&'a mut Frames, &'a [f32]);

impl Work for Transform<'_> {
    type Out = ();

    #[inline(always)]
    fn work<S: Simd<f32s = Lanes>>(self, simd: S) {
        self.0.transform(simd, self.1);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Bits of all cells of a made-up sound.
    fn bits(mut frames: Frames) -> Vec<u32> {
        let mut state = 1_u32;
        let x: Vec<f32> = (0..9_000)
            .map(|_| {
                state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                (state >> 8) as f32 / 8_388_608.0 - 1.0
            })
            .collect();
        let mut told = Vec::new();
        for (x, first) in x.chunks(2_000).zip((0..).step_by(2_000)) {
            frames
                .process(Block::new(first, x), |frame| {
                    told.extend(frame.power.iter().map(|p| p.to_bits()));
                })
                .unwrap();
        }
        told
    }

    #[test]
    fn verif_the_widest_instructions_give_the_bits_of_plain_ones() {
        for (window, hop) in [(8, 3), (250, 61), (511, 100), (1024, 256)] {
            let widest = Frames::new(window, hop, 48_000.0, 3_000.0, 22_000.0).unwrap();
            let plain = Frames {
                widest: Widest::plain(),
                ..widest.clone()
            };
            let told = bits(widest);
            assert!(told.len() > 1_000);
            assert_eq!(told, bits(plain), "{window} samples every {hop}");
        }
    }
}
