//! Sound measures of recordings by period: levels, kurtosis, decidecade levels, percentiles of spectral density.
//!
//! The unit of work is a second of the clock (of UTC where a recording's start is known, else of the recording). It is heard
//! whole or, at the ends of a stretch, in part; a second with a sample at full scale is reported and not averaged over; a gap
//! is not filled. A [`Period`] puts its seconds together, also those of several recordings, and says how much of it was heard.
//! Because a second is computed at once, no figure depends on how a file was read. Memory holds a second of each ear and, of
//! the period at hand, two densities a second and band (and line, where lines are kept).

mod period;
mod run;

use std::num::NonZeroU32;

use jiff::Timestamp;
use signal::{BankError, Decidecade, DecidecadeBank, SpectrumError};
use thiserror::Error;

use crate::ear::Ear;
use crate::error::HearError;
use crate::hear::{Step, hear};
use crate::heard::Hearing;
use crate::survey::Survey;
pub use period::{Broad, LinePercentiles, PERCENTILES, Percentiles, Period, PeriodBegin};
use period::{Growing, PeriodKey};
use run::{Epoch, Run};

/// Number of the lowest band measured: 10 Hz.
const LOWEST_BAND: i32 = 10;

/// Highest rate measured, Hz (ours): a second and its spectrum then take some 200 MB.
const HIGHEST_RATE_HZ: u32 = 4_000_000;

/// Recordings that cannot be measured.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum MeasureError {
    /// They cannot be heard.
    #[error(transparent)]
    Hear(#[from] HearError),
    /// At their rate there is no band from 10 Hz on.
    #[error("no band from 10 Hz on: {0}")]
    Bands(#[from] BankError),
    /// Their rate is so high that a second would fill the memory.
    #[error("a rate of {rate_hz} Hz is more than the {limit_hz} Hz that are measured")]
    Rate {
        /// The rate, Hz.
        rate_hz: u32,
        /// The highest rate measured, Hz.
        limit_hz: u32,
    },
    /// At their rate a second has no spectrum.
    #[error("a second has no spectrum: {0}")]
    Spectrum(#[from] SpectrumError),
}

/// Whether percentiles are told by spectral line too, not only by band.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Lines {
    /// By band alone.
    Leave,
    /// By line too: memory then holds two spectra a second of the period at hand (see [`lines_bytes`]).
    Keep,
}

/// Memory for the spectra of a period of one ear, with [`Lines::Keep`], bytes.
#[must_use]
pub fn lines_bytes(rate_hz: u32, every_s: NonZeroU32) -> u64 {
    2 * u64::from(every_s.get()) * u64::from(rate_hz / 2 + 1) * 4
}

/// What a [`Meter`] tells.
#[derive(Debug)]
pub enum Measured {
    /// A period is over.
    Period(Period),
    /// A file has been heard.
    File {
        /// Its place, as told to [`Meter::stretch`].
        place: usize,
        /// What is odd about it, and its levels.
        hearing: Hearing,
    },
}

/// The bands that are measured at a rate, lowest first.
///
/// # Errors
/// [`MeasureError`] when there are none, or for a rate above 4 MHz.
pub fn measured_bands(rate_hz: u32) -> Result<Vec<Decidecade>, MeasureError> {
    Ok(bank(rate_hz)?.bands().to_vec())
}

fn bank(rate_hz: u32) -> Result<DecidecadeBank, MeasureError> {
    if rate_hz > HIGHEST_RATE_HZ {
        return Err(MeasureError::Rate {
            rate_hz,
            limit_hz: HIGHEST_RATE_HZ,
        });
    }
    let rate_hz = f64::from(rate_hz);
    let lowest = Decidecade::new(LOWEST_BAND);
    let highest = DecidecadeBank::highest_at(rate_hz)?;
    Ok(DecidecadeBank::new(lowest, highest, rate_hz)?)
}

/// Measures stretch after stretch, each ear by itself.
#[derive(Debug)]
pub struct Meter {
    every_s: NonZeroU32,
    lines: Lines,
    ears: Vec<EarMeter>,
}

/// One ear.
#[derive(Debug, Default)]
struct EarMeter {
    run: Option<Run>,
    growing: Option<Growing>,
}

/// A file at hand: where its next sample lies in time.
struct FileAt {
    index: usize,
    /// Frame of the file that comes next.
    next: u64,
}

impl Meter {
    /// A meter of periods of `every_s` seconds for as many `ears`. Periods begin at multiples of their length since the epoch of
    /// UTC, or since the beginning of a recording whose start is unknown.
    #[must_use]
    pub fn new(every_s: NonZeroU32, ears: usize, lines: Lines) -> Self {
        Self {
            every_s,
            lines,
            ears: (0..ears).map(|_| EarMeter::default()).collect(),
        }
    }

    /// Measures one stretch: files that follow each other as [`line_up`](crate::line_up) puts them, `places` being what each
    /// is called in what is told. Stretches are given in order of time. `ears` are as many as at [`Meter::new`]; their detectors
    /// are not looked at. `read` is told the number of frames after each block, and may stop the work by answering false.
    ///
    /// # Errors
    /// [`MeasureError`] when the stretch cannot be measured at its rate, or `read` stops the work.
    pub fn stretch(
        &mut self,
        files: &[Survey],
        places: &[usize],
        ears: &[Ear],
        told: &mut dyn FnMut(Measured),
        read: &dyn Fn(u64) -> bool,
    ) -> Result<(), MeasureError> {
        let Some(first) = files.first() else {
            return Ok(());
        };
        let rate_hz = first.info.rate_hz;
        let deaf: Vec<Ear> = ears
            .iter()
            .map(|ear| Ear {
                detectors: Vec::new(),
                ..ear.clone()
            })
            .collect();
        for meter in &mut self.ears {
            match &mut meter.run {
                Some(run) if run.rate_hz() == rate_hz => {}
                run => *run = Some(Run::new(rate_hz, self.lines)?),
            }
        }
        let mut at: Vec<Option<FileAt>> = ears.iter().map(|_| None).collect();
        hear(
            files,
            &deaf,
            &mut |step| match step {
                Step::Samples {
                    file,
                    ear,
                    missing,
                    pressure_upa,
                    full_scale,
                } => {
                    let known = at[ear].take().filter(|at| at.index == file);
                    let frame = known.map_or(0, |at| at.next) + missing;
                    let epoch = match files[file].start {
                        Some(start) => Epoch::Utc(start),
                        None => Epoch::Recording(places[file]),
                    };
                    self.ears[ear].take(
                        self.every_s,
                        (ear, places[file], frame),
                        epoch,
                        (pressure_upa, full_scale),
                        told,
                    );
                    at[ear] = Some(FileAt {
                        index: file,
                        next: frame + pressure_upa.len() as u64,
                    });
                }
                Step::Gap { .. } => {
                    for (ear, meter) in self.ears.iter_mut().enumerate() {
                        meter.end_run(self.every_s, ear, told);
                    }
                }
                Step::Settled { .. } => {}
                Step::Done { file, hearing } => told(Measured::File {
                    place: places[file],
                    hearing,
                }),
            },
            read,
        )?;
        Ok(())
    }

    /// Tells the periods that were still open.
    pub fn finish(&mut self, told: &mut dyn FnMut(Measured)) {
        for (ear, meter) in self.ears.iter_mut().enumerate() {
            meter.end_run(self.every_s, ear, told);
            if let Some(growing) = meter.growing.take() {
                told(Measured::Period(growing.finish()));
            }
        }
    }
}

impl EarMeter {
    fn take(
        &mut self,
        every_s: NonZeroU32,
        (ear, place, frame): (usize, usize, u64),
        epoch: Epoch,
        (pressure_upa, full_scale): (&[f32], &[usize]),
        told: &mut dyn FnMut(Measured),
    ) {
        let Self { run, growing } = self;
        let run = run.as_mut().expect("a stretch makes its runs first");
        run.push((place, frame), epoch, pressure_upa, full_scale);
        grow(growing, every_s, ear, run, told);
    }

    fn end_run(&mut self, every_s: NonZeroU32, ear: usize, told: &mut dyn FnMut(Measured)) {
        let Self { run, growing } = self;
        if let Some(run) = run {
            run.end();
            grow(growing, every_s, ear, run, told);
        }
    }
}

/// Puts finished seconds into their periods, and tells the periods that are over.
fn grow(
    growing: &mut Option<Growing>,
    every_s: NonZeroU32,
    ear: usize,
    run: &mut Run,
    told: &mut dyn FnMut(Measured),
) {
    let rate_hz = run.rate_hz();
    while let Some(second) = run.next_done() {
        let key = PeriodKey::of(&second, every_s, rate_hz);
        if growing.as_ref().is_none_or(|open| *open.key() != key) {
            let new = Growing::new(key, ear, every_s, (run.bands(), run.bin_hz()), &second);
            if let Some(before) = growing.replace(new) {
                told(Measured::Period(before.finish()));
            }
        }
        if let Some(open) = growing {
            open.add(second);
        }
    }
}

/// The instant a whole number of seconds after the epoch of UTC.
fn utc(second: i64) -> Timestamp {
    Timestamp::from_second(second).expect("a period of an instant begins within the calendar")
}
