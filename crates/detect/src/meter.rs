//! From band samples to the powers of cells, and how cells lie among the samples.

use alloc::boxed::Box;
use core::f64::consts::PI;

use signal::{Block, Exponential, FilterError, Mean, MeanSquare, StreamError, TeagerKaiser};

use crate::error::SpecError;
use crate::matched::Matched;
use crate::resolve::{LevelSpec, MatchedSpec, Measure, Measured, Resolved};
use crate::sampler::Sampler;

#[derive(Clone, Debug)]
pub(crate) enum Meter {
    Windows(MeanSquare),
    Energies { operator: TeagerKaiser, means: Mean },
    Exponential { average: Exponential, hop: u64 },
    Matched(Box<Matched>),
}

/// How cells lie among the samples.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Shape {
    pub(crate) rate_hz: f64,
    /// Number of the stage that makes the cells, and its word.
    pub(crate) stage: usize,
    pub(crate) word: &'static str,
    /// Input samples per band sample; where a matched filter uses one of several, input samples per used one, which then
    /// counts as the band sample here.
    pub(crate) factor: u64,
    /// Window and hop in band samples.
    pub(crate) window: u64,
    pub(crate) hop: u64,
    /// Input samples after `j * factor` that band sample `j` needs.
    pub(crate) reach: u64,
    /// Input samples from the beginning of the window (exponential: of the hop) to that of the tile, before the group
    /// delay is taken off.
    pub(crate) lead: i64,
    /// Group delay of the band-pass at the band centre and half the input samples that a band sample stands for.
    pub(crate) delay: u64,
    /// Input samples after which a sound that began with the window's first is measured.
    pub(crate) fill: u64,
    /// What a mean square is multiplied by to give the power of a cell: 1, or the length of the window in s; what a mean
    /// Teager-Kaiser energy is.
    pub(crate) scale: f64,
}

impl Meter {
    pub(crate) fn new(
        resolved: &Resolved<'_>,
        sampler: &Sampler,
    ) -> Result<(Self, Shape), SpecError> {
        let level = match &resolved.measured {
            Measured::Level(level) => level,
            Measured::Matched(spec) => {
                let matched = Matched::new(spec, sampler, resolved.band)?;
                let shape = matched_shape(spec, &matched, sampler, resolved.rate_hz);
                return Ok((Self::Matched(Box::new(matched)), shape));
            }
            Measured::Learned(_) | Measured::Frames(_) => {
                unreachable!("neither frames nor odds are levels")
            }
        };
        let shape = level_shape(level, sampler, resolved.rate_hz)?;
        let meter = Self::of_level(level, &shape).map_err(|source| SpecError::Filter {
            stage: level.stage,
            source,
        })?;
        Ok((meter, shape))
    }

    fn of_level(level: &LevelSpec, shape: &Shape) -> Result<Self, FilterError> {
        let Shape { window, hop, .. } = *shape;
        Ok(match level.measure {
            Measure::Learned => unreachable!("odds are not levels"),
            Measure::MeanSquare | Measure::Exposure => Self::Windows(MeanSquare::new(window, hop)?),
            Measure::TeagerKaiser => Self::Energies {
                operator: TeagerKaiser::new(),
                means: Mean::new(window, hop)?,
            },
            Measure::Exponential => Self::Exponential {
                average: Exponential::new(level.window_s, shape.rate_hz / shape.factor as f64)?,
                hop,
            },
        })
    }

    /// Take band samples of a stretch that begins at input sample `begin`, and hand out the mean square (or energy) of each
    /// cell: its number, the figure and the last band sample that it needs.
    pub(crate) fn process(
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
            Self::Energies { operator, means } => {
                let mut follows = Ok(());
                operator.process(block, |energies| {
                    let cells = means.process(energies, |cell| {
                        let energy = cell.mean_square;
                        take(cell.k, if energy < 0.0 { 0.0 } else { energy }, cell.last);
                    });
                    if cells.is_err() {
                        follows = cells;
                    }
                })?;
                follows
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
            Self::Matched(matched) => {
                matched.process(block, take);
                Ok(())
            }
        }
    }

    pub(crate) fn reset(&mut self) {
        match self {
            Self::Windows(windows) => windows.reset(),
            Self::Energies { operator, means } => {
                operator.reset();
                means.reset();
            }
            Self::Exponential { average, .. } => average.reset(),
            Self::Matched(matched) => matched.reset(),
        }
    }

    pub(crate) fn operations_per_s(&self, shape: &Shape) -> f64 {
        let band_rate_hz = shape.rate_hz / shape.factor as f64;
        let (window, hop) = (shape.window as f64, shape.hop as f64);
        let sums_per_s = window / hop * band_rate_hz / hop;
        match self {
            Self::Windows(_) => 2.0 * band_rate_hz + sums_per_s,
            Self::Energies { .. } => 4.0 * band_rate_hz + sums_per_s,
            Self::Exponential { .. } => 4.0 * band_rate_hz,
            Self::Matched(matched) => matched.operations_per_sample() * band_rate_hz,
        }
    }

    pub(crate) fn state_bytes(&self) -> usize {
        match self {
            Self::Windows(windows) => windows.state_bytes(),
            Self::Energies { operator, means } => operator.state_bytes() + means.state_bytes(),
            Self::Exponential { average, .. } => size_of_val(average),
            Self::Matched(matched) => matched.state_bytes(),
        }
    }
}

fn matched_shape(
    spec: &MatchedSpec<'_>,
    matched: &Matched,
    sampler: &Sampler,
    rate_hz: f64,
) -> Shape {
    let factor = sampler.factor() * matched.thin();
    let offset = matched.offset() * factor as i64;
    Shape {
        rate_hz,
        stage: spec.stage,
        word: "matched",
        factor,
        window: matched.length(),
        hop: matched.hop(),
        reach: sampler.reach(),
        // The middle of the template, wherever the filtered one begins.
        lead: (spec.template.len() / 2) as i64 - offset,
        delay: (factor - 1) / 2,
        fill: (matched.length() * factor).saturating_add_signed(offset),
        scale: 1.0,
    }
}

/// How windows of a length lie among the samples.
pub(crate) fn level_shape(
    level: &LevelSpec,
    sampler: &Sampler,
    rate_hz: f64,
) -> Result<Shape, SpecError> {
    let LevelSpec {
        stage,
        measure,
        window_s,
        hop_s,
    } = *level;
    let factor = sampler.factor();
    let band_rate_hz = sampler.rate_out_hz();
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
        // 1 - exp(-t / tau) = 10^(-0.1): a steady sound reads 1 dB low after 1.58 time constants.
        Measure::Exponential => (
            0,
            libm::ceil(-libm::log(1.0 - libm::pow(10.0, -0.1)) * window_s * rate_hz) as u64,
        ),
        _ => (((window - hop) * factor / 2) as i64, window * factor),
    };
    let scale = match measure {
        Measure::Exposure => window as f64 / band_rate_hz,
        Measure::TeagerKaiser => {
            let centre_hz = sampler.centre_hz().unwrap_or(0.25 * band_rate_hz);
            let sine = libm::sin(2.0 * PI * centre_hz / band_rate_hz);
            1.0 / (2.0 * sine * sine)
        }
        Measure::MeanSquare | Measure::Exponential | Measure::Learned => 1.0,
    };
    // The energy of a sample needs the one after it.
    let ahead = match measure {
        Measure::TeagerKaiser => factor,
        _ => 0,
    };
    Ok(Shape {
        rate_hz,
        stage,
        word: match measure {
            Measure::Exposure => "exposure",
            Measure::Learned => "learned",
            _ => "level",
        },
        factor,
        window,
        hop,
        reach: sampler.reach() + ahead,
        lead,
        delay: sampler.group_delay() + (factor - 1) / 2,
        fill,
        scale,
    })
}
