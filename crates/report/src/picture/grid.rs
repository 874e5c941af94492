//! A spectrogram as numbers: columns in time, rows in frequency, levels of power spectral density.

use super::{Axis, PictureError, Pooling};

/// Where the columns and rows of a spectrogram lie.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Grid {
    /// Begin of column 0, seconds after the first sample of the recording.
    pub begin_s: f64,
    /// Width of a column, seconds, above zero.
    pub column_step_s: f64,
    /// Number of columns, at least 1.
    pub columns: usize,
    /// Frequency of row 0 (its centre), hertz, zero or above.
    pub first_row_hz: f64,
    /// Distance between rows, hertz, above zero.
    pub row_step_hz: f64,
    /// Number of rows, at least 1.
    pub rows: usize,
}

impl Grid {
    /// Begin of the first and end of the last column, seconds.
    pub fn time_range_s(&self) -> (f64, f64) {
        let end_s = self.begin_s + self.columns as f64 * self.column_step_s;
        (self.begin_s, end_s)
    }

    /// Centre of `row`, hertz.
    pub fn row_hz(&self, row: usize) -> f64 {
        self.first_row_hz + row as f64 * self.row_step_hz
    }

    /// Centre of `column`, seconds.
    pub fn column_s(&self, column: usize) -> f64 {
        self.begin_s + (column as f64 + 0.5) * self.column_step_s
    }

    fn checked(self) -> Result<Self, PictureError> {
        let wrong = |what, value, unit, needed| {
            Err(PictureError::Value {
                what,
                value,
                unit,
                needed,
            })
        };
        if !self.begin_s.is_finite() {
            return wrong(
                "begin of the columns",
                self.begin_s,
                "s",
                "it must be finite",
            );
        }
        if !(self.column_step_s.is_finite() && self.column_step_s > 0.0) {
            let needed = "it must be finite and above zero";
            return wrong("column step", self.column_step_s, "s", needed);
        }
        if !(self.first_row_hz.is_finite() && self.first_row_hz >= 0.0) {
            let needed = "it must be finite and not below zero";
            return wrong("first row", self.first_row_hz, "Hz", needed);
        }
        if !(self.row_step_hz.is_finite() && self.row_step_hz > 0.0) {
            let needed = "it must be finite and above zero";
            return wrong("row step", self.row_step_hz, "Hz", needed);
        }
        Ok(self)
    }
}

/// How the columns were computed; printed below the picture.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Analysis {
    /// Sample rate, hertz.
    pub rate_hz: f64,
    /// Length of the Hann window, samples.
    pub window_samples: usize,
    /// Step from window to window, samples.
    pub hop_samples: usize,
    /// Windows pooled into one column; the last column may hold fewer.
    pub windows_per_column: u64,
}

/// Levels of power spectral density over time and frequency.
#[derive(Debug, Clone, PartialEq)]
pub struct Spectrogram {
    grid: Grid,
    pooling: Pooling,
    analysis: Option<Analysis>,
    reach_s: (f64, f64),
    level_db: Vec<f32>,
}

impl Spectrogram {
    /// A spectrogram from columns computed elsewhere. `level_db_re_1upa2_per_hz` holds column after
    /// column, each from the lowest row up. Not-a-number stands for "no sound recorded"; minus
    /// infinity for no power at all. `pooling` says how cells are brought together where several
    /// share a pixel; `analysis` is printed where it is known.
    ///
    /// # Errors
    /// [`PictureError::Shape`] when the count of values is not columns times rows or is zero,
    /// [`PictureError::Value`] for a grid that is not finite or does not rise,
    /// [`PictureError::Infinite`] for a level of plus infinity.
    pub fn from_levels(
        grid: Grid,
        pooling: Pooling,
        analysis: Option<Analysis>,
        level_db_re_1upa2_per_hz: Vec<f32>,
    ) -> Result<Self, PictureError> {
        let found = level_db_re_1upa2_per_hz.len();
        if found == 0 || grid.columns.checked_mul(grid.rows) != Some(found) {
            return Err(PictureError::Shape {
                columns: grid.columns,
                rows: grid.rows,
                found,
            });
        }
        if let Some(index) = level_db_re_1upa2_per_hz
            .iter()
            .position(|&v| v == f32::INFINITY)
        {
            return Err(PictureError::Infinite { index });
        }
        Ok(Self {
            grid: grid.checked()?,
            pooling,
            analysis,
            reach_s: grid.time_range_s(),
            level_db: level_db_re_1upa2_per_hz,
        })
    }

    /// The same, whose first and last column rest on sound from `begin_s` to `end_s`.
    pub(super) fn reaching(self, begin_s: f64, end_s: f64) -> Self {
        Self {
            reach_s: (begin_s, end_s),
            ..self
        }
    }

    /// Begin and end of the sound on which the columns rest, seconds after the first sample of the recording: of a
    /// [`SpectrogramBuilder`](super::SpectrogramBuilder), from the first sample to the end of the last window, half a
    /// window further than the columns lie. A picture shows the outer columns that far.
    pub fn reach_s(&self) -> (f64, f64) {
        self.reach_s
    }

    /// Where the columns and rows lie.
    pub fn grid(&self) -> Grid {
        self.grid
    }

    /// How cells are brought together.
    pub fn pooling(&self) -> Pooling {
        self.pooling
    }

    /// How the columns were computed, where known.
    pub fn analysis(&self) -> Option<Analysis> {
        self.analysis
    }

    /// One column from the lowest row up, dB re 1 µPa²/Hz; `None` beyond the last.
    pub fn column_db_re_1upa2_per_hz(&self, column: usize) -> Option<&[f32]> {
        self.level_db.chunks_exact(self.grid.rows).nth(column)
    }
}

/// The levels under each pixel of a plot, row of pixels after row of pixels from the top.
pub(super) struct PixelLevels {
    pub(super) level_db: Vec<f32>,
    pub(super) width: usize,
    /// Whether any pixel holds more than one cell.
    pub(super) pooled: bool,
}

/// Brings the cells of `spectrogram` to the pixels of a plot. A pixel takes all cells whose centre
/// lies in it, pooled as the spectrogram says; where none does, the cell over its middle, and
/// beyond the outer columns, as far as they reach, the outer column. So every cell in the range
/// reaches at least one pixel, and nothing is interpolated.
pub(super) fn pixel_levels(
    spectrogram: &Spectrogram,
    time: &Axis,
    frequency: &Axis,
) -> PixelLevels {
    let grid = &spectrogram.grid;
    let (left, right) = time.pixels();
    let (bottom, top) = frequency.pixels();
    let (width, height) = ((right - left) as usize, (bottom - top) as usize);
    let columns: Vec<_> = (0..width)
        .map(|x| {
            let edge = |px: f64| (time.value(left + px) - grid.begin_s) / grid.column_step_s;
            let x = x as f64;
            let cells = cells_between(edge(x), edge(x + 0.5), edge(x + 1.0), grid.columns);
            let middle_s = time.value(left + x + 0.5);
            let (begin_s, end_s) = spectrogram.reach_s;
            if !cells.is_empty() || !(begin_s..=end_s).contains(&middle_s) {
                cells
            } else if middle_s < grid.begin_s {
                0..1
            } else {
                grid.columns - 1..grid.columns
            }
        })
        .collect();
    let rows: Vec<_> = (0..height)
        .map(|y| {
            let edge =
                |px: f64| (frequency.value(top + px) - grid.first_row_hz) / grid.row_step_hz + 0.5;
            let y = y as f64;
            cells_between(edge(y + 1.0), edge(y + 0.5), edge(y), grid.rows)
        })
        .collect();
    let mut level_db = Vec::with_capacity(width * height);
    for row_span in &rows {
        for column_span in &columns {
            level_db.push(pool(spectrogram, column_span.clone(), row_span.clone()));
        }
    }
    let pooled = rows.iter().chain(&columns).any(|span| span.len() > 1);
    PixelLevels {
        level_db,
        width,
        pooled,
    }
}

/// Cells (each one unit long, the first from 0 to 1) with their centre in `low..high`, or else the
/// one that holds `middle`, or none.
fn cells_between(low: f64, middle: f64, high: f64, count: usize) -> std::ops::Range<usize> {
    let limit = count as f64;
    let first = libm::ceil(low - 0.5).clamp(0.0, limit) as usize;
    let end = libm::ceil(high - 0.5).clamp(0.0, limit) as usize;
    if first < end {
        first..end
    } else if (0.0..limit).contains(&middle) {
        let cell = middle as usize;
        cell..cell + 1
    } else {
        0..0
    }
}

fn pool(
    spectrogram: &Spectrogram,
    columns: std::ops::Range<usize>,
    rows: std::ops::Range<usize>,
) -> f32 {
    let stride = spectrogram.grid.rows;
    if columns.len() == 1 && rows.len() == 1 {
        return spectrogram.level_db[columns.start * stride + rows.start];
    }
    let cells = columns
        .flat_map(|c| &spectrogram.level_db[c * stride + rows.start..c * stride + rows.end])
        .copied()
        .filter(|v| !v.is_nan());
    match spectrogram.pooling {
        Pooling::Greatest => cells.fold(f32::NAN, f32::max),
        Pooling::Mean => {
            let (sum, count) = cells.fold((0.0, 0_u32), |(sum, count), v| {
                (sum + libm::exp10(f64::from(v) / 10.0), count + 1)
            });
            (10.0 * libm::log10(sum / f64::from(count))) as f32
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::AxisScale;
    use super::*;

    #[test]
    fn verif_every_cell_reaches_a_pixel_and_means_are_of_power() {
        let grid = Grid {
            begin_s: 0.0,
            column_step_s: 1.0,
            columns: 7,
            first_row_hz: 0.0,
            row_step_hz: 10.0,
            rows: 4,
        };
        let levels: Vec<f32> = (0..28).map(|i| i as f32).collect();
        let axes = |w: f64, h: f64| {
            (
                Axis::new("t", "s", AxisScale::Linear, (0.0, 7.0), (0.0, w)).unwrap(),
                Axis::new("f", "Hz", AxisScale::Linear, (-5.0, 35.0), (h, 0.0)).unwrap(),
            )
        };
        for (w, h) in [(7.0, 4.0), (3.0, 2.0), (1.0, 1.0), (20.0, 9.0)] {
            let (time, frequency) = axes(w, h);
            let greatest =
                Spectrogram::from_levels(grid, Pooling::Greatest, None, levels.clone()).unwrap();
            let seen = pixel_levels(&greatest, &time, &frequency);
            assert_eq!(seen.level_db.len(), (w * h) as usize);
            let top = seen.level_db.iter().copied().fold(f32::NAN, f32::max);
            assert_eq!(top, 27.0);
        }
        let (time, frequency) = axes(1.0, 1.0);
        let mean = Spectrogram::from_levels(grid, Pooling::Mean, None, levels.clone()).unwrap();
        let power: f64 = levels
            .iter()
            .map(|v| 10f64.powf(f64::from(*v) / 10.0))
            .sum();
        let seen = pixel_levels(&mean, &time, &frequency).level_db[0];
        assert!((f64::from(seen) - 10.0 * (power / 28.0).log10()).abs() < 1e-4);
    }

    #[test]
    fn verif_missing_cells_stay_missing() {
        let grid = Grid {
            begin_s: 0.0,
            column_step_s: 1.0,
            columns: 2,
            first_row_hz: 0.0,
            row_step_hz: 1.0,
            rows: 1,
        };
        for pooling in [Pooling::Greatest, Pooling::Mean] {
            let spectrogram =
                Spectrogram::from_levels(grid, pooling, None, vec![f32::NAN, f32::NAN]).unwrap();
            assert!(pool(&spectrogram, 0..2, 0..1).is_nan());
            assert!(pool(&spectrogram, 0..0, 0..1).is_nan());
        }
    }
}
