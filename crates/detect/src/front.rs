//! The part of a detector that is a pure function of the samples: decimation, band, level, background.
//!
//! Samples are numbered since the origin of the stretch. After a decimate stage, and after a band stage where the band allows
//! it ([`signal::BandFront`]), the work goes on at a lower rate; `f` is the number of input samples to one band sample (1
//! without either).
//!
//! - *Level.* With a window of `w` and a hop of `h` band samples (nearest whole numbers), cell `k` measures band samples
//!   `k h` to `k h + w` (the end excluded): 10 lg of their mean square (ISO 18405 sound pressure level of the window), or
//!   of their mean square times the window in seconds (sound exposure level). Exponential: the IEC 61672-1 running mean
//!   square at band sample `(k + 1) h - 1`. Teager-Kaiser: the mean of `x[n]^2 - x[n-1] x[n+1]` over
//!   `2 sin^2(2 pi f0 / r)`, with `f0` the centre of the band (without one: a quarter of the rate `r` of the band samples),
//!   so that a tone at `f0` reads its own sound pressure level and another one `20 lg` of the ratio of the sines more; a mean
//!   of zero or less is minus infinity, as silence is. Matched: see `matched.rs`. Learned: see `learned.rs`.
//! - *Tile.* Band sample `j` stands for the `f` input samples around `j f`. Cell `k` stands for the `h f` input samples in
//!   the middle of its window (exponential: for its own hop), less the group delay of the band-pass at the band centre,
//!   rounded to a whole sample. Tiles join without gap or overlap. Cells whose tile would begin before the stretch are not
//!   told.
//! - *Background.* A statistic of the `round((over_s - guard_s) / hop)` cells before the cell in question and its
//!   guard (see `background.rs`). It goes on running while an event is open: a sound longer than half of `over_s` becomes background.

use alloc::boxed::Box;
use alloc::vec::Vec;

use signal::{Block, StreamError, level_db};

use crate::background::Background;
use crate::cell::{Cell, Peaks};
use crate::detector::StageCost;
use crate::error::{PushError, SpecError};
use crate::frames::{FrameMeter, Reading};
use crate::learned::LearnedMeter;
use crate::meter::{Meter, Shape, level_shape};
use crate::resolve::{Measured, resolve};
use crate::sampler::Sampler;
use crate::spec::Spec;

/// Band, level and background of a detector.
#[derive(Clone, Debug)]
pub struct Front {
    sampler: Sampler,
    reader: Reader,
    shape: Shape,
    /// First sample of the stretch and the one that is due next; `None` before the first block.
    heard: Option<(u64, u64)>,
    failed: Option<PushError>,
}

/// What is read of the band samples.
#[derive(Clone, Debug)]
#[expect(
    clippy::large_enum_variant,
    reason = "a detector has one of these, not many"
)]
enum Reader {
    Levels {
        meter: Meter,
        background: Option<Background>,
    },
    Learned(Box<LearnedMeter>),
    Frames(Box<FrameMeter>),
}

/// Beyond this index, in whole cells and filters, sums of indices might not fit in 64 bits.
const LAST_SAMPLE: u64 = 1 << 62;

impl Front {
    /// Band, level and background of a detector.
    ///
    /// # Errors
    /// Whatever [`Spec`] may have wrong, in any of its stages.
    pub fn new(spec: &Spec) -> Result<Self, SpecError> {
        let resolved = resolve(spec)?;
        let sampler = Sampler::new(&resolved)?;
        let (reader, shape) = match &resolved.measured {
            Measured::Frames(frames) => {
                let meter = FrameMeter::new(frames, &resolved, &sampler)?;
                let shape = meter.shape(&sampler, resolved.rate_hz);
                (Reader::Frames(Box::new(meter)), shape)
            }
            Measured::Learned(learned) => {
                let shape = level_shape(&learned.level, &sampler, resolved.rate_hz)?;
                let meter = LearnedMeter::new(learned, shape.window, shape.hop)?;
                (Reader::Learned(Box::new(meter)), shape)
            }
            Measured::Level(_) | Measured::Matched(_) => {
                let (meter, shape) = Meter::new(&resolved, &sampler)?;
                let hop_s = (shape.hop * shape.factor) as f64 / shape.rate_hz;
                let background = match &resolved.background {
                    Some(background) => Some(Background::new(background, hop_s)?),
                    None => None,
                };
                (Reader::Levels { meter, background }, shape)
            }
        };
        Ok(Self {
            sampler,
            reader,
            shape,
            heard: None,
            failed: None,
        })
    }

    /// Take the next block of a stretch and append the cells that it completes.
    ///
    /// The first block of a stretch may begin anywhere. The cells are the same, bit for bit, however the samples are cut
    /// into blocks.
    ///
    /// # Errors
    /// [`PushError::Stream`] when the block does not follow the one before: nothing is taken in, and the block that is due
    /// may still come. [`PushError::NotFinite`] when a level cannot be formed: no cell comes of that or any later sample
    /// before [`Front::gap`].
    pub fn push(&mut self, block: Block<'_>, out: &mut Vec<Cell>) -> Result<(), PushError> {
        self.feed(block, |cell| out.push(cell))
    }

    /// End the stretch: filters, windows and background begin anew, and so may the numbering of samples.
    pub fn gap(&mut self) {
        self.sampler.reset();
        match &mut self.reader {
            Reader::Levels { meter, background } => {
                meter.reset();
                if let Some(background) = background {
                    background.clear();
                }
            }
            Reader::Learned(learned) => learned.reset(),
            Reader::Frames(frames) => frames.reset(),
        }
        self.heard = None;
        self.failed = None;
    }

    /// Length of a cell's tile, input samples.
    #[must_use]
    pub fn cell_samples(&self) -> u64 {
        self.shape.hop * self.shape.factor
    }

    /// Input samples from the first one of a steady sound to the last one needed to know a level that holds nothing
    /// else, at the worst place of the sound among the windows: reach of the decimator, twice the group delay of the
    /// band-pass at the band centre (by then the envelope of a steady sound has risen), window and hop. For an exponential
    /// level: until it is within 1 dB of the steady level. Matched: for the sound that it is matched to, to its end.
    #[must_use]
    pub fn delay_samples(&self) -> u64 {
        self.shape.reach + 2 * self.shape.delay + self.shape.fill + self.cell_samples() - 1
    }

    pub(crate) fn last_heard(&self) -> Option<u64> {
        self.heard
            .filter(|(first, next)| next > first)
            .map(|(_, next)| next - 1)
    }

    pub(crate) fn feed(
        &mut self,
        block: Block<'_>,
        mut sink: impl FnMut(Cell),
    ) -> Result<(), PushError> {
        if let Some(failed) = &self.failed {
            return Err(failed.clone());
        }
        let overflow = StreamError::IndexOverflow {
            first: block.first,
            samples: block.x.len(),
        };
        if block.first > LAST_SAMPLE || block.x.len() as u64 > LAST_SAMPLE - block.first {
            return Err(PushError::Stream(overflow));
        }
        if let Some((_, due)) = self.heard
            && due != block.first
        {
            return Err(PushError::Stream(StreamError::OutOfOrder {
                expected: due,
                found: block.first,
            }));
        }
        let Self {
            sampler,
            reader,
            shape,
            heard,
            failed,
        } = self;
        let begin = heard.map_or(block.first, |(begin, _)| begin);
        let not_finite = |k: u64, last: u64| PushError::NotFinite {
            begin_sample: k * shape.hop * shape.factor,
            end_sample: (last + 1) * shape.factor,
        };
        match reader {
            Reader::Levels { meter, background } => {
                let mut take = |k: u64, mean_square: f64, last: u64| {
                    if failed.is_some() {
                        return;
                    }
                    if !mean_square.is_finite() {
                        *failed = Some(not_finite(k, last));
                        return;
                    }
                    if let Some(cell) = shape.cell(k, mean_square, last, begin, background) {
                        sink(cell);
                    }
                };
                sampler.process(block, |samples| {
                    meter
                        .process(samples, begin, shape.factor, &mut take)
                        .expect("band samples follow each other");
                });
            }
            Reader::Learned(learned) => sampler.process(block, |samples| {
                learned.process(samples, |window| match window {
                    _ if failed.is_some() => {}
                    Err(fault) => {
                        let begin_sample = fault.k * shape.hop * shape.factor;
                        let end_sample = (fault.last + 1) * shape.factor;
                        *failed = Some(fault.told(begin_sample, end_sample));
                    }
                    Ok(odds) => {
                        if let Some(cell) =
                            shape.cell(odds.k, odds.odds, odds.last, begin, &mut None)
                        {
                            sink(cell);
                        }
                    }
                });
            }),
            Reader::Frames(frames) => sampler.process(block, |samples| {
                frames.process(samples, |reading| match reading {
                    _ if failed.is_some() => {}
                    Err((k, last)) => *failed = Some(not_finite(k, last)),
                    Ok(reading) => {
                        if let Some(cell) = shape.frame_cell(&reading, begin) {
                            sink(cell);
                        }
                    }
                });
            }),
        }
        *heard = Some((begin, block.first + block.x.len() as u64));
        match failed {
            Some(failed) => Err(failed.clone()),
            None => Ok(()),
        }
    }

    pub(crate) fn window_samples(&self) -> u64 {
        self.shape.window * self.shape.factor
    }

    pub(crate) fn cell_rate_hz(&self) -> f64 {
        self.shape.rate_hz / self.cell_samples() as f64
    }

    pub(crate) fn costs(&self, out: &mut Vec<StageCost>) {
        let shape = &self.shape;
        let cell_rate_hz = self.cell_rate_hz();
        self.sampler.costs(out);
        let (meter, background) = match &self.reader {
            Reader::Levels { meter, background } => (meter, background),
            Reader::Learned(learned) => {
                let operations = learned.operations_per_window();
                out.push(StageCost {
                    stage: shape.stage,
                    word: shape.word,
                    operations_per_s: operations.map(|o| (o + 30.0) * cell_rate_hz),
                    state_bytes: learned.state_bytes() + size_of::<Shape>(),
                });
                return;
            }
            Reader::Frames(frames) => return frames.costs(out),
        };
        out.push(StageCost {
            stage: shape.stage,
            word: shape.word,
            operations_per_s: Some(meter.operations_per_s(shape) + 30.0 * cell_rate_hz),
            state_bytes: meter.state_bytes() + size_of::<Shape>(),
        });
        if let Some(background) = background {
            out.push(StageCost {
                stage: background.stage(),
                word: "background",
                operations_per_s: Some(background.operations_per_cell() * cell_rate_hz),
                state_bytes: size_of::<Background>() + background.heap_bytes(),
            });
        }
    }
}

impl Shape {
    /// Begin of a cell's tile, if it lies in the stretch.
    fn tile(&self, k: u64, stretch_begin: u64) -> Option<u64> {
        (k * self.hop * self.factor)
            .checked_add_signed(self.lead)?
            .checked_sub(self.delay)
            .filter(|begin_sample| *begin_sample >= stretch_begin)
    }

    fn frame_cell(&self, reading: &Reading, stretch_begin: u64) -> Option<Cell> {
        let begin_sample = self.tile(reading.k, stretch_begin)?;
        Some(Cell {
            index: reading.k,
            begin_sample,
            end_sample: begin_sample + self.hop * self.factor,
            known_at_sample: reading.last * self.factor + self.reach,
            level_db: reading.level_db,
            power: reading.power,
            background_db: reading.background_db,
            value_db: reading.value_db,
            decidable: reading.decidable,
            peaks: reading.peaks,
        })
    }

    fn cell(
        &self,
        k: u64,
        mean_square: f64,
        last: u64,
        stretch_begin: u64,
        background: &mut Option<Background>,
    ) -> Option<Cell> {
        let begin_sample = self.tile(k, stretch_begin)?;
        let power = mean_square * self.scale;
        let level_db = level_db(power, signal::WATER_REFERENCE_UPA);
        let bare = background.is_none();
        let background_db = background
            .as_mut()
            .and_then(|background| background.before(level_db, power));
        Some(Cell {
            index: k,
            begin_sample,
            end_sample: begin_sample + self.hop * self.factor,
            known_at_sample: last * self.factor + self.reach,
            level_db,
            power,
            background_db,
            value_db: if bare {
                Some(level_db)
            } else {
                background_db.map(|background_db| level_db - background_db)
            },
            decidable: bare || background_db.is_some(),
            peaks: Peaks::none(),
        })
    }
}
