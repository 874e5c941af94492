//! Seconds put together.
//!
//! Percentiles are exact, by the nearest rank (common practice): of `n` densities in order the one at place `ceil(n q / 100)`, from 1.

use std::num::NonZeroU32;

use jiff::Timestamp;
use signal::{Decidecade, Moments};

use super::run::{Epoch, Second};
use super::utc;

/// Percentiles of spectral density that are told: `q` per cent of the segments lie at or below it.
pub const PERCENTILES: [u32; 7] = [1, 5, 10, 50, 90, 95, 99];

/// Spectral densities in uPa^2/Hz at [`PERCENTILES`].
pub type Percentiles = [f64; PERCENTILES.len()];

/// When a period begins.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PeriodBegin {
    /// At this instant.
    Utc(Timestamp),
    /// So many seconds after the first frame of its recording, whose start is unknown.
    Recording(i64),
}

/// Figures of all frequencies together, of the seconds that were averaged over.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Broad {
    /// Mean square of the sound pressure, uPa^2.
    pub mean_square_upa2: f64,
    /// The same about the mean: without the offset of the recorder.
    pub variance_upa2: f64,
    /// Sound exposure, uPa^2 s.
    pub exposure_upa2_s: f64,
    /// Largest magnitude of the sound pressure (zero-to-peak), uPa.
    pub peak_upa: f64,
    /// Highest less lowest sound pressure (peak-to-peak), uPa.
    pub peak_to_peak_upa: f64,
    /// Kurtosis about the mean; `None` where no sample differs from another.
    pub kurtosis: Option<f64>,
}

/// Percentiles by spectral line.
#[derive(Debug, Clone, PartialEq)]
pub struct LinePercentiles {
    /// Distance between lines, Hz; the first is at 0 Hz.
    pub bin_hz: f64,
    /// By line: percentiles of its density.
    pub densities_upa2_hz: Vec<Percentiles>,
}

/// What was measured in one period by one ear.
#[derive(Debug, Clone, PartialEq)]
pub struct Period {
    /// Index of the ear.
    pub ear: usize,
    /// Samples a second, Hz.
    pub rate_hz: u32,
    /// When it begins, whatever was heard of it.
    pub begin: PeriodBegin,
    /// Its whole length, s.
    pub length_s: u32,
    /// Place of the recording in which its first sample lies.
    pub place: usize,
    /// That sample, s after the first frame of that recording.
    pub first_s: f64,
    /// Time that was heard, s: gaps do not count.
    pub listened_s: f64,
    /// Time without the seconds that hold samples at full scale, s: what the figures are of.
    pub averaged_s: f64,
    /// Samples at full scale.
    pub clipped_samples: u64,
    /// Parts that were heard without a gap.
    pub parts: u32,
    /// Figures of all frequencies together; `None` when nothing was averaged over.
    pub broad: Option<Broad>,
    /// The decidecade bands that the rate allows, from 10 Hz on.
    pub bands: Vec<Decidecade>,
    /// By band: mean square, uPa^2; `None` where there is none.
    pub band_mean_square_upa2: Vec<Option<f64>>,
    /// Segments of 1 s, half overlapping, of which the percentiles are.
    pub segments: u64,
    /// By band: percentiles of the density in it; empty without a segment.
    pub densities_upa2_hz: Vec<Percentiles>,
    /// The same by line; `None` without a segment, or where lines are not kept.
    pub lines: Option<LinePercentiles>,
}

impl Period {
    /// Whether all of it was heard and averaged over.
    #[must_use]
    pub fn is_whole(&self) -> bool {
        self.averaged_s == f64::from(self.length_s)
    }
}

/// What tells periods apart.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct PeriodKey {
    /// The recording from whose first frame it is counted; `None` for UTC.
    recording: Option<usize>,
    rate_hz: u32,
    number: i64,
}

impl PeriodKey {
    pub(super) fn of(second: &Second, every_s: NonZeroU32, rate_hz: u32) -> Self {
        Self {
            recording: match second.epoch {
                Epoch::Utc(_) => None,
                Epoch::Recording(place) => Some(place),
            },
            rate_hz,
            number: second.number.div_euclid(i64::from(every_s.get())),
        }
    }
}

/// A period that is not over.
#[derive(Debug)]
pub(super) struct Growing {
    key: PeriodKey,
    ear: usize,
    every_s: NonZeroU32,
    bands: Vec<Decidecade>,
    first: (usize, u64),
    listened: u64,
    clipped: u64,
    parts: u32,
    moments: Moments,
    highest: f32,
    lowest: f32,
    sums: Vec<(f64, u64)>,
    /// By band, all densities.
    densities: Vec<Vec<f32>>,
    bin_hz: f64,
    /// By segment, the density of all lines, where they are kept.
    spectra: Vec<Vec<f32>>,
}

impl Growing {
    pub(super) fn new(
        key: PeriodKey,
        ear: usize,
        every_s: NonZeroU32,
        (bands, bin_hz): (&[Decidecade], f64),
        first: &Second,
    ) -> Self {
        Self {
            key,
            ear,
            every_s,
            bands: bands.to_vec(),
            first: first.first,
            listened: 0,
            clipped: 0,
            parts: 0,
            moments: Moments::default(),
            highest: f32::NEG_INFINITY,
            lowest: f32::INFINITY,
            sums: vec![(0.0, 0); bands.len()],
            densities: vec![Vec::new(); bands.len()],
            bin_hz,
            spectra: Vec::new(),
        }
    }

    pub(super) fn key(&self) -> &PeriodKey {
        &self.key
    }

    pub(super) fn add(&mut self, mut second: Second) {
        let begins = self.listened == 0;
        self.parts += u32::from(begins || second.begins_run);
        self.listened += second.moments.count();
        self.clipped += second.clipped;
        if second.clipped > 0 {
            return;
        }
        self.moments = self.moments.with(second.moments);
        self.highest = self.highest.max(second.highest);
        self.lowest = self.lowest.min(second.lowest);
        for (sum, (squares, count)) in self.sums.iter_mut().zip(&second.bands) {
            sum.0 += squares;
            sum.1 += count;
        }
        // A segment that begins in the period before is of neither.
        let straddling = second.straddling.take().filter(|_| !begins);
        for segment in straddling.into_iter().chain(second.whole.take()) {
            for (all, density) in self.densities.iter_mut().zip(segment.bands) {
                all.push(density);
            }
            if !segment.lines.is_empty() {
                self.spectra.push(segment.lines);
            }
        }
    }

    pub(super) fn finish(mut self) -> Period {
        let rate_hz = f64::from(self.key.rate_hz);
        let every_s = self.every_s.get();
        let begin_s = self.key.number * i64::from(every_s);
        let begin = match self.key.recording {
            None => PeriodBegin::Utc(utc(begin_s)),
            Some(_) => PeriodBegin::Recording(begin_s),
        };
        let averaged_s = self.moments.count() as f64 / rate_hz;
        let broad = (self.moments.count() > 0).then(|| Broad {
            mean_square_upa2: self.moments.mean_square(),
            variance_upa2: self.moments.variance(),
            exposure_upa2_s: self.moments.mean_square() * averaged_s,
            peak_upa: f64::from(self.highest.abs().max(self.lowest.abs())),
            peak_to_peak_upa: f64::from(self.highest) - f64::from(self.lowest),
            kurtosis: self.moments.kurtosis(),
        });
        let segments = self.densities.first().map_or(0, Vec::len) as u64;
        let densities_upa2_hz = if segments == 0 {
            Vec::new()
        } else {
            self.densities.iter_mut().map(|all| ranked(all)).collect()
        };
        let lines = by_line(&self.spectra).map(|densities_upa2_hz| LinePercentiles {
            bin_hz: self.bin_hz,
            densities_upa2_hz,
        });
        Period {
            ear: self.ear,
            rate_hz: self.key.rate_hz,
            begin,
            length_s: every_s,
            place: self.first.0,
            first_s: self.first.1 as f64 / rate_hz,
            listened_s: self.listened as f64 / rate_hz,
            averaged_s,
            clipped_samples: self.clipped,
            parts: self.parts,
            broad,
            band_mean_square_upa2: self
                .sums
                .iter()
                .map(|&(sum, count)| (count > 0).then(|| sum / count as f64))
                .collect(),
            bands: self.bands,
            segments,
            densities_upa2_hz,
            lines,
        }
    }
}

/// Percentiles of each line over all spectra; `None` without a spectrum.
fn by_line(spectra: &[Vec<f32>]) -> Option<Vec<Percentiles>> {
    let lines = spectra.first()?.len();
    let mut all = vec![0.0; spectra.len()];
    Some(
        (0..lines)
            .map(|line| {
                for (one, spectrum) in all.iter_mut().zip(spectra) {
                    *one = spectrum[line];
                }
                ranked(&mut all)
            })
            .collect(),
    )
}

/// Percentiles by the nearest rank; puts the values in order.
fn ranked(all: &mut [f32]) -> Percentiles {
    all.sort_by(f32::total_cmp);
    PERCENTILES.map(|q| {
        let rank = (all.len() as u64 * u64::from(q)).div_ceil(100);
        f64::from(all[rank as usize - 1])
    })
}
