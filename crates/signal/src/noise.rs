//! Gaussian noise with a given power spectral density.
//!
//! White Gaussian numbers of unit variance have the one-sided density `2 / rate`; a filter with `|H(f)|^2 = S(f) rate / 2`
//! gives them the density `S`. The filter has linear phase and is designed by frequency sampling under a Hann window
//! (textbook method). Levels between rows of the table are interpolated in decibels against the logarithm of frequency.
//!
//! Accuracy: the window smooths the density over about two lines (`rate / taps` each); the tested table is kept
//! within 0.1 dB above about thirty lines (checked).

use rustfft::num_complex::Complex64;

use crate::convolve::Convolver;
use crate::error::SpectrumError;
use crate::fft::{Arithmetic, RealFft, hann};
use crate::table::table_level_db;

const FEWEST_TAPS: usize = 16;
const MOST_TAPS: usize = 1 << 18;

/// What lies beyond the first and last row of a density table.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ends {
    /// The density of the nearest row.
    Hold,
    /// Nothing.
    Silent,
}

/// Designs the linear-phase filter that gives white noise of unit variance the one-sided density of `table`: rows of
/// frequency in Hz and level in dB re 1 uPa^2/Hz, rising in frequency. `taps` is even; the middle is at `taps / 2`.
///
/// # Errors
/// [`SpectrumError`] for an unusable rate, a table without rows or not rising, or `taps` odd or outside 16 to 2^18.
pub fn design_shaping_fir(
    table: &[(f64, f64)],
    ends: Ends,
    taps: usize,
    rate_hz: f64,
) -> Result<Vec<f64>, SpectrumError> {
    if !(rate_hz.is_finite() && rate_hz > 0.0) {
        return Err(SpectrumError::Rate { rate_hz });
    }
    if !(FEWEST_TAPS..=MOST_TAPS).contains(&taps) {
        return Err(SpectrumError::Length {
            what: "filter",
            samples: taps,
            min: FEWEST_TAPS,
            max: MOST_TAPS,
        });
    }
    if !taps.is_multiple_of(2) {
        return Err(SpectrumError::Odd { segment: taps });
    }
    checked_table(table)?;
    let lines: Vec<Complex64> = (0..=taps / 2)
        .map(|k| {
            let f_hz = k as f64 * rate_hz / taps as f64;
            let amplitude = match level_db(table, ends, f_hz) {
                Some(db) => libm::pow(10.0, db / 20.0) * (0.5 * rate_hz).sqrt(),
                None => 0.0,
            };
            let sign = if k % 2 == 0 { 1.0 } else { -1.0 };
            Complex64::new(sign * amplitude, 0.0)
        })
        .collect();
    let mut response = vec![0.0; taps];
    RealFft::new(taps, Arithmetic::Scalar).inverse(&lines, &mut response);
    for (h, w) in response.iter_mut().zip(hann(taps)) {
        *h *= w;
    }
    Ok(response)
}

fn checked_table(table: &[(f64, f64)]) -> Result<(), SpectrumError> {
    if table.is_empty() {
        return Err(SpectrumError::TableEmpty);
    }
    let mut before = 0.0;
    for (row, &(frequency_hz, level_db)) in table.iter().enumerate() {
        if !(frequency_hz.is_finite() && frequency_hz > before && level_db.is_finite()) {
            return Err(SpectrumError::Table {
                row,
                frequency_hz,
                level_db,
            });
        }
        before = frequency_hz;
    }
    Ok(())
}

/// Level of a checked table at `f_hz`; `None` beyond silent ends.
fn level_db(table: &[(f64, f64)], ends: Ends, f_hz: f64) -> Option<f64> {
    let inside = table[0].0 <= f_hz && f_hz <= table[table.len() - 1].0;
    match ends {
        Ends::Silent if !inside => None,
        Ends::Silent | Ends::Hold => table_level_db(table, f_hz),
    }
}

/// Noise of a given density as a function of the absolute sample index.
///
/// The random part comes from the caller: `gaussian(i)` is the `i`-th number of a standard normal stream. Sample `n` is made
/// of numbers `n` to `n + taps - 1`, so that any part can be computed alone. While the samples are taken in order the
/// numbers are asked for once each, in order; after a jump, those of the block are asked for again.
#[derive(Debug, Clone)]
pub struct ShapedNoise {
    convolver: Convolver,
    /// Block whose samples are in `ready`.
    block: Option<u64>,
    ready: Vec<f64>,
}

impl ShapedNoise {
    /// Noise with the one-sided density of `table` (Hz, dB re 1 uPa^2/Hz), sampled at `rate_hz`, shaped by `taps` taps.
    ///
    /// # Errors
    /// As [`design_shaping_fir`].
    pub fn new(
        table: &[(f64, f64)],
        ends: Ends,
        taps: usize,
        rate_hz: f64,
    ) -> Result<Self, SpectrumError> {
        let response = design_shaping_fir(table, ends, taps, rate_hz)?;
        let convolver = Convolver::new(&response, Arithmetic::Scalar)?;
        let ready = vec![0.0; convolver.step];
        Ok(Self {
            convolver,
            block: None,
            ready,
        })
    }

    /// Samples computed at once.
    pub fn step(&self) -> usize {
        self.convolver.step
    }

    /// Writes samples `first`, `first + 1`, ... in uPa to `out`.
    pub fn fill(&mut self, first: u64, out: &mut [f32], mut gaussian: impl FnMut(u64) -> f64) {
        let step = self.step() as u64;
        let mut done = 0;
        while done < out.len() {
            let n = first + done as u64;
            let (block, from) = (n / step, (n % step) as usize);
            self.make(block, &mut gaussian);
            let part = &self.ready[from..];
            let count = part.len().min(out.len() - done);
            for (o, r) in out[done..done + count].iter_mut().zip(part) {
                *o = *r as f32;
            }
            done += count;
        }
    }

    fn make(&mut self, block: u64, gaussian: &mut impl FnMut(u64) -> f64) {
        if self.block == Some(block) {
            return;
        }
        let before = self.convolver.taps - 1;
        let start = block * self.convolver.step as u64;
        let follows = block > 0 && self.block == Some(block - 1);
        let have = if follows {
            self.convolver.shift();
            before
        } else {
            0
        };
        for (i, v) in self.convolver.input.iter_mut().enumerate().skip(have) {
            *v = gaussian(start + i as u64);
        }
        let Self {
            convolver, ready, ..
        } = self;
        ready.copy_from_slice(convolver.run());
        self.block = Some(block);
    }
}
