//! The part of a detector that is a pure function of the samples: band, level, background.
//!
//! Samples are numbered since the origin of the stretch. After a band stage the work goes on at a lower rate where the
//! band allows it ([`signal::BandFront`]); `f` is the number of input samples to one band sample (1 without a band).
//!
//! - *Level.* With a window of `w` and a hop of `h` band samples (nearest whole numbers), cell `k` measures band samples
//!   `k h` to `k h + w` (the end excluded): 10 lg of their mean square (ISO 18405 sound pressure level of the window), or
//!   of their mean square times the window in seconds (sound exposure level). Exponential: the IEC 61672-1 running mean
//!   square at band sample `(k + 1) h - 1`.
//! - *Tile.* Band sample `j` stands for the `f` input samples around `j f`. Cell `k` stands for the `h f` input samples in
//!   the middle of its window (exponential: for its own hop), less the group delay of the band-pass at the band centre,
//!   rounded to a whole sample. Tiles join without gap or overlap. Cells whose tile would begin before the stretch are not
//!   told.
//! - *Background.* The median of the levels of the `n` cells before the cell in question, that one excluded;
//!   `n = round(over_s / hop)`. It is known as soon as half of them (rounded up) have been heard. It goes on running while
//!   an event is open: a sound longer than half of `over_s` becomes background. A median of minus infinity (exact silence)
//!   is no background.

use alloc::vec::Vec;

use signal::{BandFront, Block, Exponential, MeanSquare, StreamError, level_db};

use crate::cell::Cell;
use crate::error::{PushError, SpecError};
use crate::median::RunningMedian;
use crate::resolve::{LevelSpec, Measure, Resolved, resolve};
use crate::spec::Spec;

/// Band, level and background of a detector.
#[derive(Clone, Debug)]
pub struct Front {
    band: Option<BandFront>,
    meter: Meter,
    shape: Shape,
    background: Option<RunningMedian>,
    /// First sample of the stretch and the one that is due next; `None` before the first block.
    heard: Option<(u64, u64)>,
    failed: Option<PushError>,
}

#[derive(Clone, Debug)]
enum Meter {
    Windows(MeanSquare),
    Exponential { average: Exponential, hop: u64 },
}

/// Beyond this index, in whole cells and filters, sums of indices might not fit in 64 bits.
const LAST_SAMPLE: u64 = 1 << 62;

/// How cells lie among the samples.
#[derive(Clone, Copy, Debug)]
struct Shape {
    rate_hz: f64,
    factor: u64,
    /// Window and hop in band samples.
    window: u64,
    hop: u64,
    /// Input samples after `j * factor` that band sample `j` needs.
    reach: u64,
    /// Input samples from the beginning of the window (exponential: of the hop) to that of the tile, before the group
    /// delay is taken off.
    lead: u64,
    /// Group delay of the band-pass at the band centre and half the input samples that a band sample stands for.
    delay: u64,
    /// Input samples after which a sound that began with the window's first is measured.
    fill: u64,
    /// Duration that a mean square is multiplied by, s.
    exposure_s: Option<f64>,
}

impl Front {
    /// Band, level and background of a detector.
    ///
    /// # Errors
    /// Whatever [`Spec`] may have wrong, in any of its stages.
    pub fn new(spec: &Spec) -> Result<Self, SpecError> {
        let resolved = resolve(spec)?;
        let band = match resolved.band {
            Some(band) => Some(
                BandFront::new(band.order, band.low_hz, band.high_hz, resolved.rate_hz)
                    .map_err(|source| SpecError::Filter { stage: 0, source })?,
            ),
            None => None,
        };
        let shape = shape(&resolved, band.as_ref())?;
        let level = &resolved.level;
        let filter_error = |source| SpecError::Filter {
            stage: level.stage,
            source,
        };
        let meter = match level.measure {
            Measure::MeanSquare | Measure::Exposure => {
                Meter::Windows(MeanSquare::new(shape.window, shape.hop).map_err(filter_error)?)
            }
            Measure::Exponential => Meter::Exponential {
                average: Exponential::new(level.window_s, resolved.rate_hz / shape.factor as f64)
                    .map_err(filter_error)?,
                hop: shape.hop,
            },
        };
        let background = match resolved.background {
            Some((stage, over_s)) => Some(median(stage, over_s, &shape)?),
            None => None,
        };
        Ok(Self {
            band,
            meter,
            shape,
            background,
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
        if let Some(band) = &mut self.band {
            band.reset();
        }
        match &mut self.meter {
            Meter::Windows(windows) => windows.reset(),
            Meter::Exponential { average, .. } => average.reset(),
        }
        if let Some(background) = &mut self.background {
            background.clear();
        }
        self.heard = None;
        self.failed = None;
    }

    /// Length of a cell's tile, input samples.
    #[must_use]
    pub fn cell_samples(&self) -> u64 {
        self.shape.hop * self.shape.factor
    }

    /// Number of cells over which the background runs; `None` without one.
    #[must_use]
    pub fn background_cells(&self) -> Option<usize> {
        self.background.as_ref().map(RunningMedian::capacity)
    }

    /// Input samples from the first one of a steady sound to the last one needed to know a level that holds nothing
    /// else, at the worst place of the sound among the windows: reach of the decimator, twice the group delay of the
    /// band-pass at the band centre (by then the envelope of a steady sound has risen), window and hop. For an exponential
    /// level: until it is within 1 dB of the steady level.
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
        let Self {
            band,
            meter,
            shape,
            background,
            heard,
            failed,
        } = self;
        let begin = heard.map_or(block.first, |(begin, _)| begin);
        let mut take = |k: u64, mean_square: f64, last: u64| {
            if failed.is_some() {
                return;
            }
            if !mean_square.is_finite() {
                let begin_sample = k * shape.hop * shape.factor;
                let end_sample = (last + 1) * shape.factor;
                *failed = Some(PushError::NotFinite {
                    begin_sample,
                    end_sample,
                });
                return;
            }
            if let Some(cell) = shape.cell(k, mean_square, last, begin, background) {
                sink(cell);
            }
        };
        match band {
            Some(band) => band.process(block, |band_block| {
                meter
                    .process(band_block, begin, shape.factor, &mut take)
                    .expect("band samples follow each other");
            })?,
            None => {
                if let Some((_, due)) = *heard
                    && due != block.first
                {
                    return Err(PushError::Stream(StreamError::OutOfOrder {
                        expected: due,
                        found: block.first,
                    }));
                }
                meter.process(block, begin, 1, &mut take)?;
            }
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

    pub(crate) fn operations_per_s(&self) -> f64 {
        let shape = &self.shape;
        let band_rate_hz = shape.rate_hz / shape.factor as f64;
        let cell_rate_hz = self.cell_rate_hz();
        let mut per_s = 0.0;
        if let Some(band) = &self.band {
            per_s += 9.0 * band.filter().sections().len() as f64 * band_rate_hz;
            if shape.factor > 1 {
                per_s += 2.0 * (2 * shape.reach + 1) as f64 * band_rate_hz;
            }
        }
        per_s += match self.meter {
            Meter::Windows(_) => {
                2.0 * band_rate_hz + (shape.window as f64 / shape.hop as f64 + 30.0) * cell_rate_hz
            }
            Meter::Exponential { .. } => 4.0 * band_rate_hz + 30.0 * cell_rate_hz,
        };
        if let Some(background) = &self.background {
            per_s += 8.0 * libm::log2(background.capacity() as f64 + 1.0) * cell_rate_hz;
        }
        per_s
    }

    pub(crate) fn state_bytes(&self) -> usize {
        // What `signal` keeps on the heap is not told by it: two pieces of 2048 samples and the tails of the filters.
        const PIECE_BYTES: usize = 2048 * size_of::<f32>();
        let mut bytes = size_of::<Self>();
        if let Some(band) = &self.band {
            bytes += PIECE_BYTES + band.filter().sections().len() * 7 * size_of::<f64>();
            if self.shape.factor > 1 {
                bytes +=
                    2 * PIECE_BYTES + 4 * (2 * self.shape.reach as usize + 1) * size_of::<f32>();
            }
        }
        if let Meter::Windows(_) = self.meter {
            bytes += (self.shape.window / self.shape.hop + 1) as usize * size_of::<[f64; 2]>();
        }
        bytes + self.background.as_ref().map_or(0, RunningMedian::bytes)
    }
}

impl Meter {
    fn process(
        &mut self,
        block: Block<'_>,
        begin: u64,
        factor: u64,
        take: &mut impl FnMut(u64, f64, u64),
    ) -> Result<(), StreamError> {
        match self {
            Self::Windows(windows) => {
                windows.process(block, |cell| take(cell.k, cell.mean_square, cell.last))
            }
            Self::Exponential { average, hop } => {
                let mut at = block.first;
                let mut rest = block.x;
                while !rest.is_empty() {
                    let room = (*hop - at % *hop).min(rest.len() as u64) as usize;
                    let (piece, after) = rest.split_at(room);
                    let mean_square = average.process(piece);
                    at += room as u64;
                    rest = after;
                    if at.is_multiple_of(*hop) && (at - *hop) * factor >= begin {
                        take(at / *hop - 1, mean_square, at - 1);
                    }
                }
                Ok(())
            }
        }
    }
}

impl Shape {
    fn cell(
        &self,
        k: u64,
        mean_square: f64,
        last: u64,
        stretch_begin: u64,
        background: &mut Option<RunningMedian>,
    ) -> Option<Cell> {
        let begin_sample = (k * self.hop * self.factor + self.lead).checked_sub(self.delay)?;
        if begin_sample < stretch_begin {
            return None;
        }
        let power = mean_square * self.exposure_s.unwrap_or(1.0);
        let level_db = level_db(power, signal::WATER_REFERENCE_UPA);
        let background_db = background.as_mut().and_then(|median| {
            let known = 2 * median.held() >= median.capacity();
            let before = median
                .median()
                .filter(|level_db| known && level_db.is_finite());
            median.push(level_db);
            before
        });
        Some(Cell {
            index: k,
            begin_sample,
            end_sample: begin_sample + self.hop * self.factor,
            known_at_sample: last * self.factor + self.reach,
            level_db,
            power,
            background_db,
        })
    }
}

fn shape(resolved: &Resolved, band: Option<&BandFront>) -> Result<Shape, SpecError> {
    let LevelSpec {
        stage,
        measure,
        window_s,
        hop_s,
    } = resolved.level;
    let rate_hz = resolved.rate_hz;
    let factor = band.map_or(1, |band| band.factor() as u64);
    let band_rate_hz = rate_hz / factor as f64;
    let least_s = 1.0 / band_rate_hz;
    if window_s < least_s {
        return Err(SpecError::WindowTooShort {
            stage,
            window_s,
            least_s,
        });
    }
    let window = libm::round(window_s * band_rate_hz) as u64;
    let hop = match hop_s {
        Some(hop_s) if hop_s < least_s => {
            return Err(SpecError::HopTooShort {
                stage,
                hop_s,
                least_s,
            });
        }
        Some(hop_s) => libm::round(hop_s * band_rate_hz) as u64,
        None => (window / 4).max(1),
    };
    let (lead, fill) = match measure {
        Measure::MeanSquare | Measure::Exposure => ((window - hop) * factor / 2, window * factor),
        // 1 - exp(-t / tau) = 10^(-0.1): a steady sound reads 1 dB low after 1.58 time constants.
        Measure::Exponential => (
            0,
            libm::ceil(-libm::log(1.0 - libm::pow(10.0, -0.1)) * window_s * rate_hz) as u64,
        ),
    };
    let delay = band.map_or(0, |band| {
        libm::round(-band.centre(0)) as u64 + (factor - 1) / 2
    });
    let reach = band.map_or(0, |band| band.last_needed(0));
    let exposure_s = (measure == Measure::Exposure).then(|| window as f64 / band_rate_hz);
    Ok(Shape {
        rate_hz,
        factor,
        window,
        hop,
        reach,
        lead,
        delay,
        fill,
        exposure_s,
    })
}

fn median(stage: usize, over_s: f64, shape: &Shape) -> Result<RunningMedian, SpecError> {
    let hop_s = (shape.hop * shape.factor) as f64 / shape.rate_hz;
    let cells = libm::round(over_s / hop_s);
    if cells < 3.0 {
        return Err(SpecError::BackgroundTooShort {
            stage,
            over_s,
            least_s: 3.0 * hop_s,
        });
    }
    let cells = cells as usize;
    RunningMedian::new(cells).ok_or(SpecError::BackgroundTooLong {
        stage,
        cells,
        most: RunningMedian::MOST,
    })
}
