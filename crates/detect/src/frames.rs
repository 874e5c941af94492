//! The spectrogram path: samples to frames, each frequency against its own background, then peaks or a likeness.
//!
//! - *Frames.* [`signal::Frames`]: window and hop in the nearest whole numbers of band samples, Hann window, transformed at the next
//!   power of two. The cells are those whose middle lies in the band. The band does no filtering here: it chooses the cells, and how far the
//!   rate is lowered before ([`signal::Decimator::for_lines`]); its order plays no part. So levels are the same all over
//!   the band, and frames lie exactly at their samples.
//! - *Excess.* 10 lg of a cell's power over its background (see `ground.rs`).
//! - *Peaks.* Cells of the frame whose power over background is greater than that of the cell below and not less than that of the
//!   cell above (the lowest and the highest cell of the band have but one neighbour and are no peaks); the four greatest. The
//!   frequency is that of the vertex of a parabola in dB through the three.
//! - *Likeness.* See `likeness.rs`.
//!
//! A cell's tile is the hop in the middle of its window, or of all the windows under its kernel.

use alloc::vec::Vec;

use signal::{Block, Decimator, Frames};

use crate::cell::{Peak, Peaks};
use crate::decibels::decibels;
use crate::detector::StageCost;
use crate::error::SpecError;
use crate::finder::{Finder, MOST};
use crate::ground::Ground;
use crate::likeness::Likeness;
use crate::meter::Shape;
use crate::resolve::{DecimateSpec, FrameSpec, Resolved};
use crate::sampler::Sampler;

/// Fewest samples in a window.
const FEWEST_SAMPLES: f64 = 8.0;
/// Fewest cells of a frame: a peak needs a neighbour on both sides.
const FEWEST_CELLS: usize = 3;

/// How the frames of a detector lie.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Grid {
    pub(crate) stage: usize,
    /// Rate of the band samples, Hz.
    pub(crate) rate_hz: f64,
    /// Window and hop, band samples.
    pub(crate) window: usize,
    pub(crate) hop: usize,
    low_hz: f64,
    high_hz: f64,
}

impl Grid {
    /// The grid of a frame stage behind a decimation and a band.
    pub(crate) fn new(frames: &FrameSpec, resolved: &Resolved<'_>) -> Result<Self, SpecError> {
        let FrameSpec {
            stage,
            window_s,
            hop_s,
        } = *frames;
        let decimated_hz = match resolved.decimate {
            Some(DecimateSpec { factor, .. }) => resolved.rate_hz / factor as f64,
            None => resolved.rate_hz,
        };
        let rate_out_hz = match resolved.band {
            Some(band) => {
                decimated_hz / Decimator::factor_for_lines(band.high_hz, decimated_hz) as f64
            }
            None => decimated_hz,
        };
        let least_s = FEWEST_SAMPLES / rate_out_hz;
        if window_s < least_s {
            return Err(SpecError::WindowTooFew {
                stage,
                window_s,
                least_s,
            });
        }
        let window = libm::round(window_s * rate_out_hz) as usize;
        let hop = match hop_s {
            Some(hop_s) if hop_s * rate_out_hz < 1.0 => {
                return Err(SpecError::HopTooShort {
                    stage,
                    hop_s,
                    least_s: 1.0 / rate_out_hz,
                });
            }
            Some(hop_s) => libm::round(hop_s * rate_out_hz) as usize,
            None => window / 4,
        };
        let (low_hz, high_hz) = match (resolved.band, resolved.decimate) {
            (Some(band), _) => (band.low_hz, band.high_hz),
            (None, Some(DecimateSpec { pass_hz, .. })) => (0.0, pass_hz),
            (None, None) => (0.0, rate_out_hz / 2.0),
        };
        Ok(Self {
            stage,
            rate_hz: rate_out_hz,
            window,
            hop,
            low_hz,
            high_hz,
        })
    }

    /// Distance between the middles of cells, Hz.
    pub(crate) fn bin_hz(&self) -> f64 {
        self.rate_hz / self.window.next_power_of_two() as f64
    }

    pub(crate) fn frames(&self) -> Result<Frames, SpecError> {
        let frames = Frames::new(
            self.window,
            self.hop,
            self.rate_hz,
            self.low_hz,
            self.high_hz,
        )
        .map_err(|source| SpecError::Frames {
            stage: self.stage,
            source,
        })?;
        if frames.cells() < FEWEST_CELLS {
            return Err(SpecError::TooFewCells {
                stage: self.stage,
                cells: frames.cells(),
                least: FEWEST_CELLS,
                bin_hz: frames.bin_hz(),
            });
        }
        Ok(frames)
    }
}

/// What a frame gives.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Reading {
    pub(crate) k: u64,
    /// Last band sample needed.
    pub(crate) last: u64,
    pub(crate) power: f64,
    pub(crate) level_db: f64,
    pub(crate) background_db: Option<f64>,
    /// What is decided on: the excess of the strongest peak, or the likeness.
    pub(crate) value_db: Option<f64>,
    /// Whether the background of the frame's cells is known.
    pub(crate) decidable: bool,
    pub(crate) peaks: Peaks,
}

/// Frames, their background, and what is read of them.
#[derive(Clone, Debug)]
pub(crate) struct FrameMeter {
    grid: Grid,
    frames: Frames,
    ground: Ground,
    likeness: Option<Likeness>,
    finder: Finder,
}

impl FrameMeter {
    pub(crate) fn new(
        frames: &FrameSpec,
        resolved: &Resolved<'_>,
        sampler: &Sampler,
    ) -> Result<Self, SpecError> {
        let grid = Grid::new(frames, resolved)?;
        let background = resolved
            .background
            .as_ref()
            .expect("a decision on frames is refused without a background");
        let frames = grid.frames()?;
        let hop_s = grid.hop as f64 / grid.rate_hz;
        let likeness = match &resolved.likeness {
            Some(likeness) => Some(Likeness::new(likeness, &grid, &frames, sampler)?),
            None => None,
        };
        Ok(Self {
            grid,
            ground: Ground::new(background, frames.cells(), hop_s)?,
            finder: Finder::new(frames.cells()),
            frames,
            likeness,
        })
    }

    /// How readings lie among the samples.
    pub(crate) fn shape(&self, sampler: &Sampler, rate_hz: f64) -> Shape {
        let factor = sampler.factor();
        let (window, hop) = (self.grid.window as u64, self.grid.hop as u64);
        let before = (self.likeness.as_ref().map_or(1, Likeness::span) as u64 - 1) * hop;
        Shape {
            rate_hz,
            stage: self.grid.stage,
            word: "spectrogram",
            factor,
            window: before + window,
            hop,
            reach: sampler.reach(),
            lead: ((before + window - hop) * factor / 2) as i64 - (before * factor) as i64,
            delay: (factor - 1) / 2,
            fill: (before + window) * factor,
            scale: 1.0,
        }
    }

    /// Take the next band samples; what is read of each frame, or the frame's number where a sample is not finite.
    pub(crate) fn process(
        &mut self,
        block: Block<'_>,
        mut take: impl FnMut(Result<Reading, (u64, u64)>),
    ) {
        let Self {
            frames,
            ground,
            likeness,
            finder,
            ..
        } = self;
        let (lowest_hz, bin_hz) = (frames.lowest_hz(), frames.bin_hz());
        frames
            .process(block, |frame| {
                let (k, last, power) = (frame.k, frame.last, frame.power);
                if power.iter().fold(false, |bad, p| bad | !p.is_finite()) {
                    take(Err((k, last)));
                    return;
                }
                let inverse = ground.before(k);
                match likeness {
                    None => {
                        let cells = inverse
                            .map_or([None; MOST], |inverse| finder.strongest(power, inverse));
                        let hz = |cell| lowest_hz + cell * bin_hz;
                        take(Ok(reading(k, last, power, inverse, cells, hz)));
                    }
                    Some(likeness) => {
                        if let Some((power, value_db)) = likeness.push(power, inverse) {
                            let level_db = decibels(power);
                            take(Ok(Reading {
                                k,
                                last,
                                power,
                                level_db,
                                background_db: None,
                                value_db,
                                decidable: value_db.is_some(),
                                peaks: Peaks::none(),
                            }));
                        }
                    }
                }
                ground.push(k, power);
            })
            .expect("the order of blocks was checked");
    }

    pub(crate) fn reset(&mut self) {
        self.frames.reset();
        self.ground.clear();
        if let Some(likeness) = &mut self.likeness {
            likeness.clear();
        }
    }

    pub(crate) fn costs(&self, out: &mut Vec<StageCost>) {
        let frame_rate_hz = self.grid.rate_hz / self.grid.hop as f64;
        let (points, cells) = (self.frames.points() as f64, self.frames.cells() as f64);
        // Window, a complex transform of half the points at 4.25 operations a point and level, and the cells.
        let transform =
            self.grid.window as f64 + 4.25 * points / 2.0 * libm::log2(points / 2.0) + 18.0 * cells;
        let peaks = match self.likeness {
            None => 3.0 * cells + 120.0,
            Some(_) => 0.0,
        };
        out.push(StageCost {
            stage: self.grid.stage,
            word: "spectrogram",
            operations_per_s: Some((transform + peaks) * frame_rate_hz),
            state_bytes: size_of::<Self>() - size_of::<Frames>()
                + self.frames.state_bytes()
                + self.finder.heap_bytes(),
        });
        out.push(StageCost {
            stage: self.ground.stage(),
            word: "background",
            operations_per_s: Some(self.ground.operations_per_frame() * frame_rate_hz),
            state_bytes: self.ground.heap_bytes(),
        });
        if let Some(likeness) = &self.likeness {
            out.push(StageCost {
                stage: likeness.stage(),
                word: likeness.word(),
                operations_per_s: Some(likeness.operations_per_frame() * frame_rate_hz),
                state_bytes: likeness.heap_bytes(),
            });
        }
    }
}

/// The reading of the strongest peak of a frame over the background, given as the inverse of each cell's power; without peaks the level is that of the strongest cell.
fn reading(
    k: u64,
    last: u64,
    power: &[f32],
    background: Option<&[f32]>,
    cells: [Option<usize>; MOST],
    grid: impl Fn(f64) -> f64,
) -> Reading {
    let inverse = background.unwrap_or(&[]);
    let mut peaks = Peaks::none();
    for at in cells.into_iter().flatten() {
        let excess_db = |at: usize| decibels(f64::from(power[at]) * f64::from(inverse[at]));
        let here_db = excess_db(at);
        let offset = vertex(excess_db(at - 1), here_db, excess_db(at + 1));
        peaks.insert(Peak {
            frequency_hz: grid(at as f64 + offset),
            level_db: decibels(f64::from(power[at])),
            excess_db: here_db,
        });
    }
    let loudest = match cells[0] {
        Some(at) => power[at],
        None => power.iter().fold(0.0, |most, p| p.max(most)),
    };
    let first = peaks.iter().next();
    Reading {
        k,
        last,
        power: f64::from(loudest),
        level_db: first.map_or_else(|| decibels(f64::from(loudest)), |peak| peak.level_db),
        background_db: first.map(|peak| peak.level_db - peak.excess_db),
        value_db: first.map(|peak| peak.excess_db),
        decidable: background.is_some(),
        peaks,
    }
}

/// Where the parabola through three points one apart is highest, from the middle one, which is the highest of the three; 0 beside a
/// silent cell.
fn vertex(below_db: f64, here_db: f64, above_db: f64) -> f64 {
    if below_db == f64::NEG_INFINITY || above_db == f64::NEG_INFINITY {
        return 0.0;
    }
    let bend = below_db - 2.0 * here_db + above_db;
    if bend < 0.0 {
        0.5 * (below_db - above_db) / bend
    } else {
        0.0
    }
}
