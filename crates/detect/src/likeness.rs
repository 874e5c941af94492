//! Likeness of a spectrogram to a template: correlation of the excess in dB with a kernel of zero sum.
//!
//! The positive weights of a kernel sum to 1 and the negative ones to -1, so that the likeness is a mean excess where the template
//! is loud less a mean excess where it is not, in dB: 0 on average in any noise, however loud, and unmoved by a
//! sound that is equally loud everywhere. A kernel looks at the latest `span` frames; the likeness belongs to the latest of them.
//!
//! - *Contour*: straight lines between its points, sampled frame by frame (the middle of the first frame is at its begin). Cells whose middle is
//!   within half a width of the line are on it; those farther, within one and a half widths, are its flanks. All cells on it weigh the same, and so
//!   do all cells of the flanks.
//! - *Recording*: the spectrogram of the template alone (silence before and after it), made as that of the sound; in dB, nothing lower
//!   than 30 dB under its strongest cell; less its mean. Frames that lie wholly in the template count.
//!
//! The power told with it is the mean power of the cells under the positive weights, weighted alike.
//!
//! Spectrogram correlation: D. K. Mellinger, C. W. Clark (2000), from memory; the kernels here are our own. Checked against
//! `scipy.signal.correlate`.

use alloc::vec;
use alloc::vec::Vec;

use signal::{Block, Frames};

use crate::decibels::decibels;
use crate::error::SpecError;
use crate::frames::Grid;
use crate::resolve::LikenessSpec;
use crate::sampler::Sampler;
use crate::spec::ContourPoint;

/// What is this much weaker than the strongest cell of a template counts as silent, dB.
const TEMPLATE_RANGE_DB: f64 = 30.0;
/// Most cells of a template.
const MOST_CELLS: usize = 1 << 20;
const LANES: usize = 8;

#[derive(Clone, Debug)]
pub(crate) struct Likeness {
    stage: usize,
    word: &'static str,
    cells: usize,
    /// Oldest first.
    kernel: Vec<Column>,
    /// The latest frames, by number modulo their count: excess in dB (not a number where it is unknown) and power.
    excess_db: Vec<f32>,
    power: Vec<f32>,
    heard: usize,
    /// Place of the next frame.
    next: usize,
}

/// The weights of one frame, of a run of cells.
#[derive(Clone, Debug)]
struct Column {
    first: usize,
    weights: Vec<f32>,
}

impl Likeness {
    pub(crate) fn new(
        spec: &LikenessSpec<'_>,
        grid: &Grid,
        frames: &Frames,
        sampler: &Sampler,
    ) -> Result<Self, SpecError> {
        let (stage, word, kernel) = match *spec {
            LikenessSpec::Contour {
                stage,
                points,
                width_hz,
            } => (
                stage,
                "likeness",
                contour(stage, points, width_hz, grid, frames)?,
            ),
            LikenessSpec::Template { stage, template } => (
                stage,
                "likeness-to",
                recorded(stage, template, grid, sampler)?,
            ),
        };
        let cells = frames.cells();
        let held = kernel.len() * cells;
        Ok(Self {
            stage,
            word,
            cells,
            excess_db: vec![0.0; held],
            power: vec![0.0; held],
            kernel,
            heard: 0,
            next: 0,
        })
    }

    pub(crate) fn stage(&self) -> usize {
        self.stage
    }

    pub(crate) fn word(&self) -> &'static str {
        self.word
    }

    /// Frames that the kernel looks at.
    pub(crate) fn span(&self) -> usize {
        self.kernel.len()
    }

    /// Take the next frame with one over its background; the mean power under the template and the likeness in dB (`None`
    /// where a background is unknown or a cell silent), once as many frames have been heard as the kernel looks at.
    pub(crate) fn push(
        &mut self,
        power: &[f32],
        inverse: Option<&[f32]>,
    ) -> Option<(f64, Option<f64>)> {
        let (span, cells) = (self.span(), self.cells);
        let row = self.next * cells..(self.next + 1) * cells;
        self.power[row.clone()].copy_from_slice(power);
        let excess_db = &mut self.excess_db[row];
        match inverse {
            Some(inverse) => {
                for ((e, p), i) in excess_db.iter_mut().zip(power).zip(inverse) {
                    *e = decibels(f64::from(*p) * f64::from(*i)) as f32;
                }
            }
            None => excess_db.fill(f32::NAN),
        }
        self.next = (self.next + 1) % span;
        self.heard = (self.heard + 1).min(span);
        if self.heard < span {
            return None;
        }
        let (mut value, mut mean) = (0.0, 0.0);
        for (at, column) in self.kernel.iter().enumerate() {
            let first = (self.next + at) % span * cells + column.first;
            let run = first..first + column.weights.len();
            value += product(&self.excess_db[run.clone()], &column.weights);
            mean += loud(&self.power[run], &column.weights);
        }
        Some((mean, value.is_finite().then_some(value)))
    }

    pub(crate) fn clear(&mut self) {
        self.heard = 0;
        self.next = 0;
    }

    fn weights(&self) -> usize {
        self.kernel.iter().map(|column| column.weights.len()).sum()
    }

    /// Operations for each frame: an estimate.
    pub(crate) fn operations_per_frame(&self) -> f64 {
        4.0 * self.weights() as f64 + 20.0 * self.cells as f64
    }

    pub(crate) fn heap_bytes(&self) -> usize {
        (2 * self.excess_db.len() + self.weights()) * size_of::<f32>()
            + self.kernel.len() * size_of::<Column>()
    }
}

/// Sum of products, in lanes by position.
fn product(x: &[f32], weights: &[f32]) -> f64 {
    let mut lanes = [0.0_f32; LANES];
    for (x, w) in x.chunks(LANES).zip(weights.chunks(LANES)) {
        for ((lane, x), w) in lanes.iter_mut().zip(x).zip(w) {
            *lane += x * w;
        }
    }
    lanes.iter().map(|lane| f64::from(*lane)).sum()
}

/// As [`product`], of the positive weights.
fn loud(x: &[f32], weights: &[f32]) -> f64 {
    let mut lanes = [0.0_f32; LANES];
    for (x, w) in x.chunks(LANES).zip(weights.chunks(LANES)) {
        for ((lane, x), w) in lanes.iter_mut().zip(x).zip(w) {
            *lane += x * w.max(0.0);
        }
    }
    lanes.iter().map(|lane| f64::from(*lane)).sum()
}

fn contour(
    stage: usize,
    points: &[ContourPoint],
    width_hz: f64,
    grid: &Grid,
    frames: &Frames,
) -> Result<Vec<Column>, SpecError> {
    let (bin_hz, lowest_hz) = (frames.bin_hz(), frames.lowest_hz());
    if width_hz < bin_hz {
        return Err(SpecError::ContourTooNarrow {
            stage,
            width_hz,
            bin_hz,
        });
    }
    let hop_s = grid.hop as f64 / grid.rate_hz;
    let length_s = points[points.len() - 1].after_s;
    let span = libm::round(length_s / hop_s) + 1.0;
    checked_size(stage, span * (3.0 * width_hz / bin_hz + 1.0))?;
    let mut kernel = Vec::with_capacity(span as usize);
    let (mut on, mut flanks) = (0_usize, 0_usize);
    for frame in 0..span as usize {
        let line_hz = at(points, (frame as f64 * hop_s).min(length_s));
        let distance_hz = |cell: usize| (lowest_hz + cell as f64 * bin_hz - line_hz).abs();
        let near: Vec<usize> = (0..frames.cells())
            .filter(|cell| distance_hz(*cell) <= 1.5 * width_hz)
            .collect();
        let signs: Vec<f32> = near
            .iter()
            .map(|cell| {
                if distance_hz(*cell) <= 0.5 * width_hz {
                    1.0
                } else {
                    -1.0
                }
            })
            .collect();
        let on_here = signs.iter().filter(|sign| **sign > 0.0).count();
        if on_here == 0 {
            return Err(SpecError::ContourOffCells {
                stage,
                frequency_hz: line_hz,
                bin_hz,
            });
        }
        on += on_here;
        flanks += signs.len() - on_here;
        kernel.push(Column {
            first: near[0],
            weights: signs,
        });
    }
    if flanks == 0 {
        return Err(SpecError::ContourWithoutFlanks { stage, width_hz });
    }
    for weight in kernel.iter_mut().flat_map(|column| &mut column.weights) {
        *weight /= if *weight > 0.0 { on } else { flanks } as f32;
    }
    Ok(kernel)
}

/// The contour's frequency at a time from 0 to its last point.
fn at(points: &[ContourPoint], after_s: f64) -> f64 {
    let next = points
        .partition_point(|point| point.after_s < after_s)
        .clamp(1, points.len() - 1);
    let (a, b) = (points[next - 1], points[next]);
    let share = (after_s - a.after_s) / (b.after_s - a.after_s);
    a.frequency_hz + share * (b.frequency_hz - a.frequency_hz)
}

fn recorded(
    stage: usize,
    template: &[f32],
    grid: &Grid,
    sampler: &Sampler,
) -> Result<Vec<Column>, SpecError> {
    let mut frames = grid.frames()?;
    let mut sampler = sampler.clone();
    sampler.reset();
    let (factor, reach) = (sampler.factor(), sampler.reach());
    // Silence before it, in whole hops, so that the template begins with a frame; and after it, until its last frame is out.
    let tile = grid.hop as u64 * factor;
    let before = reach.div_ceil(tile) * tile;
    let begin = before / tile;
    let samples = template.len() as u64 / factor;
    if samples < grid.window as u64 {
        return Err(SpecError::TemplateTooShort {
            stage,
            samples: template.len(),
            least: grid.window as u64 * factor,
        });
    }
    let span = ((samples - grid.window as u64) / grid.hop as u64 + 1) as usize;
    checked_size(stage, span as f64 * frames.cells() as f64)?;
    let mut sound = vec![0.0; (before + reach) as usize + template.len()];
    sound[before as usize..][..template.len()].copy_from_slice(template);
    let mut levels_db: Vec<f64> = Vec::with_capacity(span * frames.cells());
    sampler.process(Block::new(0, &sound), |block| {
        frames
            .process(block, |frame| {
                if (begin..begin + span as u64).contains(&frame.k) {
                    levels_db.extend(frame.power.iter().map(|p| decibels(f64::from(*p))));
                }
            })
            .expect("band samples follow each other");
    });
    let most_db = levels_db.iter().fold(f64::NEG_INFINITY, |m, v| m.max(*v));
    let floor_db = most_db - TEMPLATE_RANGE_DB;
    for level_db in &mut levels_db {
        *level_db = level_db.max(floor_db);
    }
    let mean_db = levels_db.iter().sum::<f64>() / levels_db.len() as f64;
    let (mut above, mut below) = (0.0, 0.0);
    for level_db in &levels_db {
        let weight = level_db - mean_db;
        if weight > 0.0 {
            above += weight;
        } else {
            below -= weight;
        }
    }
    if !(above > 0.0 && below > 0.0 && above.is_finite()) {
        return Err(SpecError::TemplateFlat { stage });
    }
    Ok(levels_db
        .chunks(frames.cells())
        .map(|levels_db| Column {
            first: 0,
            weights: levels_db
                .iter()
                .map(|level_db| {
                    let weight = level_db - mean_db;
                    (weight / if weight > 0.0 { above } else { below }) as f32
                })
                .collect(),
        })
        .collect())
}

fn checked_size(stage: usize, cells: f64) -> Result<(), SpecError> {
    if cells <= MOST_CELLS as f64 {
        Ok(())
    } else {
        Err(SpecError::TemplateTooLarge {
            stage,
            cells: cells as usize,
            most: MOST_CELLS,
        })
    }
}
