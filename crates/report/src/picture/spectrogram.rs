//! The picture of a spectrogram.

use jiff::Timestamp;

use super::canvas::{Align, Area, Canvas, text_width};
use super::colour::{INK, NO_DATA, NO_DATA_STROKE, Rgb, scale_table};
use super::grid::{PixelLevels, pixel_levels};
use super::marks::{check_marks, draw_boxes};
use super::page::{
    AXIS_TITLE_PX, Margins, TICK_PX, blank, draw_axis_title, draw_frame, draw_notes,
    draw_time_axis, draw_title, draw_vertical_axis, frequency_unit, note_lines, plot_area,
    plot_sides, strip_area, tick_line, time_ticks_of, vertical_ticks, widest,
};
use super::strip::{StripOf, lay_out_strip};
use super::ticks::{linear_ticks, si_label, signed};
use super::{
    Axis, AxisScale, ColourRange, EventMark, Frame, Picture, PictureError, PictureSize, Spectrogram,
};

/// What the levels of a spectrogram are told against.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SpectrumReference<'a> {
    /// The unit over the colour scale, such as `dB re 1 µPa²/Hz`.
    pub unit: &'a str,
    /// What is taken from a level re 1 µPa²/Hz, dB; finite.
    pub offset_db: f64,
}

impl SpectrumReference<'_> {
    /// 1 µPa²/Hz, for sound in water (ISO 18405).
    pub const WATER: Self = Self {
        unit: "dB re 1 µPa²/Hz",
        offset_db: 0.0,
    };
}

/// All that a picture of a spectrogram shows.
#[derive(Debug, Clone, Copy)]
pub struct SpectrogramPicture<'a> {
    /// Title over the picture and in the file.
    pub title: &'a str,
    /// The levels.
    pub spectrogram: &'a Spectrogram,
    /// What the levels are told against.
    pub reference: SpectrumReference<'a>,
    /// Size of the picture.
    pub size: PictureSize,
    /// Instant of the first sample, where known; the time axis is then in UTC.
    pub start_utc: Option<Timestamp>,
    /// Time shown, seconds after the first sample; without it all that the spectrogram rests on.
    pub time_range_s: Option<(f64, f64)>,
    /// Frequency shown, hertz; above zero on a logarithmic axis.
    pub frequency_range_hz: (f64, f64),
    /// How the frequency axis divides its range.
    pub frequency_scale: AxisScale,
    /// Ends of the colour scale, in the unit of `reference`.
    pub colour_range: ColourRange,
    /// Events to be marked.
    pub marks: &'a [EventMark],
    /// Names of the kinds of marks, such as the detectors, by [`EventMark::kind`].
    pub kinds: &'a [&'a str],
    /// Begin and end of each run of samples at full scale, in order, seconds after the first sample.
    pub full_scale_s: &'a [(f64, f64)],
    /// Sentences about the sound that stand under the picture, such as how much of a recording was heard.
    pub remarks: &'a [String],
}

/// A picture without its notes.
struct Sheet {
    canvas: Canvas,
    frame: Frame,
    left_px: f64,
    lines: Vec<String>,
}

const SCALE_GAP_PX: f64 = 28.0;
const SCALE_WIDTH_PX: f64 = 22.0;
const RIGHT_PX: f64 = 148.0;
/// Between the labels of the ends of the colour scale and those between.
const LEAST_LABEL_GAP_PX: f64 = 26.0;
/// Notes of most pictures; more are found room on a second drawing.
const USUAL_LINES: usize = 2;
const MOST_FREQUENCY_TICKS: usize = 11;

impl SpectrogramPicture<'_> {
    /// Draws the picture.
    ///
    /// # Errors
    /// [`PictureError`] for a size, range or mark outside what its field states, for a range that
    /// the spectrogram does not reach, and when the marks leave no room.
    pub fn draw(&self) -> Result<Picture, PictureError> {
        check_marks(self.marks)?;
        if !self.reference.offset_db.is_finite() {
            return Err(PictureError::Value {
                what: "offset of the levels",
                value: self.reference.offset_db,
                unit: "dB",
                needed: "it must be finite",
            });
        }
        let time_range_s = self.time_range_s.unwrap_or(self.spectrogram.reach_s());
        self.check_reach(time_range_s)?;

        let mut lines_kept = USUAL_LINES;
        loop {
            let sheet = self.sheet(time_range_s, lines_kept)?;
            if sheet.lines.len() > lines_kept {
                lines_kept = sheet.lines.len();
                continue;
            }
            return Ok(self.finished(sheet));
        }
    }

    /// Draws all but the notes, whose number is known only when the cells have their colours and
    /// the marks their numbers: `lines_kept` lines are left free for them.
    fn sheet(&self, time_range_s: (f64, f64), lines_kept: usize) -> Result<Sheet, PictureError> {
        let (unit_hz, unit_name) = frequency_unit(self.frequency_range_hz, self.frequency_scale);
        let frequency_ticks = vertical_ticks(
            self.frequency_range_hz,
            self.frequency_scale,
            unit_hz,
            MOST_FREQUENCY_TICKS,
        );
        let strip_of = StripOf {
            marks: self.marks,
            kinds: self.kinds,
            full_scale_s: self.full_scale_s,
        };
        let left_px = widest(&frequency_ticks).max(strip_of.names_px());
        let (left, right) = plot_sides(self.size, left_px, RIGHT_PX)?;
        let time = Axis::new("time", "s", AxisScale::Linear, time_range_s, (left, right))?;
        let time_ticks = time_ticks_of(&time, self.start_utc)?;
        let strip = lay_out_strip(strip_of, &time);
        let margins = Margins {
            left_px,
            right_px: RIGHT_PX,
            strip_px: strip.height_px(),
            note_lines: lines_kept,
            marks: self.marks.len(),
        };
        let plot = plot_area(self.size, &margins)?;
        let frequency = Axis::new(
            "frequency",
            "Hz",
            self.frequency_scale,
            self.frequency_range_hz,
            (plot.bottom, plot.top),
        )?;

        let mut levels = pixel_levels(self.spectrogram, &time, &frequency);
        for level_db in &mut levels.level_db {
            *level_db = (f64::from(*level_db) - self.reference.offset_db) as f32;
        }
        let colour_db = self.colour_range.ends(&levels.level_db)?;
        let mut canvas = blank(self.size);
        draw_cells(&mut canvas, plot, &levels, colour_db);
        draw_title(&mut canvas, self.title, plot, self.size);
        draw_axis_title(&mut canvas, &format!("Frequency ({unit_name})"), plot);
        draw_vertical_axis(&mut canvas, plot, &frequency, &frequency_ticks);
        draw_time_axis(&mut canvas, plot, self.size, &time_ticks);
        draw_colour_scale(&mut canvas, plot, colour_db, self.reference.unit, self.size);
        let on_boxes = draw_boxes(&mut canvas, plot, &time, &frequency, self.marks, self.kinds);
        draw_frame(&mut canvas, plot);
        if strip.height_px() > 0.0 {
            strip.draw(&mut canvas, strip_area(plot, &strip));
        }
        let mut notes = self.remarks.to_vec();
        notes.extend([self.method_note(), self.colour_note(&levels, colour_db)]);
        let on_marks: Vec<String> = strip.notes().into_iter().chain(on_boxes).collect();
        notes.push(on_marks.join(" "));
        Ok(Sheet {
            canvas,
            frame: Frame {
                time,
                vertical: frequency,
                colour_db,
            },
            left_px: left,
            lines: note_lines(&notes, self.size, left),
        })
    }

    fn finished(&self, mut sheet: Sheet) -> Picture {
        draw_notes(&mut sheet.canvas, &sheet.lines, sheet.left_px, self.size);
        let (begin_s, end_s) = sheet.frame.time.range();
        let (low_hz, high_hz) = self.frequency_range_hz;
        let description = format!(
            "Spectrogram, {begin_s} to {end_s} s, {low_hz} to {high_hz} Hz, {} marks. {}",
            self.marks.len(),
            sheet.lines.join(" ")
        );
        Picture {
            png: sheet.canvas.png(self.title, &description),
            svg: sheet.canvas.svg(self.title, &description),
            frame: sheet.frame,
        }
    }

    fn check_reach(&self, time_range_s: (f64, f64)) -> Result<(), PictureError> {
        let grid = self.spectrogram.grid();
        let half_row_hz = grid.row_step_hz / 2.0;
        let held_hz = (
            grid.first_row_hz - half_row_hz,
            grid.row_hz(grid.rows - 1) + half_row_hz,
        );
        let reaches = |wanted: (f64, f64), held: (f64, f64)| wanted.0 < held.1 && held.0 < wanted.1;
        let checks = [
            ("time", "s", time_range_s, self.spectrogram.reach_s()),
            ("frequency", "Hz", self.frequency_range_hz, held_hz),
        ];
        for (what, unit, wanted, held) in checks {
            // A range that does not rise is named by its axis.
            if wanted.0 < wanted.1 && !reaches(wanted, held) {
                return Err(PictureError::Outside {
                    what,
                    low: wanted.0,
                    high: wanted.1,
                    held_low: held.0,
                    held_high: held.1,
                    unit,
                });
            }
        }
        Ok(())
    }

    fn method_note(&self) -> String {
        let Some(analysis) = self.spectrogram.analysis() else {
            let grid = self.spectrogram.grid();
            return format!(
                "Columns of {}, rows of {}.",
                si_label(grid.column_step_s, "s", 3),
                si_label(grid.row_step_hz, "Hz", 3)
            );
        };
        let seconds = |samples: usize| si_label(samples as f64 / analysis.rate_hz, "s", 3);
        let bin_hz = analysis.rate_hz / analysis.window_samples as f64;
        let column = match analysis.windows_per_column {
            1 => "one column for each window".to_owned(),
            n => format!(
                "each column the {} of {n} windows",
                self.spectrogram.pooling().name()
            ),
        };
        let half_rate_hz = analysis.rate_hz / 2.0;
        let shown = if self.frequency_range_hz.1 < half_rate_hz {
            format!(
                ", shown to {} of {}",
                si_label(self.frequency_range_hz.1, "Hz", 4),
                si_label(half_rate_hz, "Hz", 4)
            )
        } else {
            String::new()
        };
        format!(
            "Sampled at {}{shown}. Hann window of {} samples ({}), step {} ({}), {column}; rows of {} (noise bandwidth {}).",
            si_label(analysis.rate_hz, "Hz", 6),
            analysis.window_samples,
            seconds(analysis.window_samples),
            analysis.hop_samples,
            seconds(analysis.hop_samples),
            si_label(bin_hz, "Hz", 3),
            si_label(1.5 * bin_hz, "Hz", 3),
        )
    }

    fn colour_note(&self, levels: &PixelLevels, colour_db: Option<(f64, f64)>) -> String {
        let mut parts = Vec::new();
        if levels.pooled {
            parts.push(format!(
                "Each pixel is the {} of the cells in it.",
                self.spectrogram.pooling().name()
            ));
        }
        match (colour_db, self.colour_range) {
            (None, _) => {
                parts.push("No cell holds any power: the sound is digital silence.".into())
            }
            (Some(_), ColourRange::Given { .. }) => parts.push("Colour scale as given;".into()),
            (Some(_), ColourRange::Percentiles) => parts.push(
                "Colours from the 5th to the 99.9th percentile or 10 dB below the loudest, out to whole 5 dB, over 30 to 70 dB;"
                    .into(),
            ),
        }
        if colour_db.is_some() {
            let finite = levels.level_db.iter().copied().filter(|v| v.is_finite());
            let loudest = finite.fold(f32::NAN, f32::max);
            parts.push(if loudest.is_nan() {
                "no cell holds any power.".to_owned()
            } else {
                format!("loudest cell {} dB.", signed(f64::from(loudest), 1))
            });
        }
        if levels.level_db.iter().any(|v| v.is_nan()) {
            parts.push("Hatched: no data.".to_owned());
        }
        parts.join(" ")
    }
}

fn draw_cells(canvas: &mut Canvas, plot: Area, levels: &PixelLevels, ends: Option<(f64, f64)>) {
    let table = scale_table();
    let cells = levels.level_db.iter().enumerate().map(|(i, &level)| {
        let (x, y) = (i % levels.width, i / levels.width);
        cell_colour(level, ends, &table).unwrap_or(if (x + y) % 8 < 2 {
            NO_DATA_STROKE
        } else {
            NO_DATA
        })
    });
    let cells = cells.collect();
    canvas.image(plot.left as u32, plot.top as u32, levels.width, cells);
}

/// The colour of a level, or none where nothing was recorded. A level beyond either end has the
/// colour of that end, which the scale marks with ≤ and ≥.
fn cell_colour(level: f32, ends: Option<(f64, f64)>, table: &[Rgb]) -> Option<Rgb> {
    if level.is_nan() {
        return None;
    }
    let share = match ends {
        Some((low, high)) => ((f64::from(level) - low) / (high - low)).clamp(0.0, 1.0),
        None => 0.0,
    };
    Some(table[libm::round(share * (table.len() - 1) as f64) as usize])
}

fn draw_colour_scale(
    canvas: &mut Canvas,
    plot: Area,
    ends: Option<(f64, f64)>,
    unit: &str,
    size: PictureSize,
) {
    let Some((low_db, high_db)) = ends else {
        return;
    };
    let right = f64::from(size.width_px) - 14.0;
    canvas.text(
        unit,
        (right, plot.top - 12.0),
        AXIS_TITLE_PX,
        Align::Right,
        INK,
    );
    let bar = Area {
        left: plot.right + SCALE_GAP_PX,
        right: plot.right + SCALE_GAP_PX + SCALE_WIDTH_PX,
        ..plot
    };
    let table = scale_table();
    let (width, height) = (bar.width() as usize, bar.height() as usize);
    let rows = (0..height).flat_map(|y| {
        let share = 1.0 - (y as f64 + 0.5) / height as f64;
        let colour = table[libm::round(share * (table.len() - 1) as f64) as usize];
        std::iter::repeat_n(colour, width)
    });
    canvas.image(bar.left as u32, bar.top as u32, width, rows.collect());
    draw_frame(canvas, bar);
    let px = |level: f64| bar.bottom - (level - low_db) / (high_db - low_db) * bar.height();
    let (inner, decimals) = linear_ticks(low_db, high_db, 11);
    let label_left = bar.right + 10.0 + text_width("≤ ", TICK_PX);
    let mut label = |level: f64, prefix: &str, decimals: usize| {
        let at = px(level);
        tick_line(canvas, (bar.right, at), (bar.right + 6.0, at));
        let text = signed(level, decimals);
        canvas.text(&text, (label_left, at + 5.0), TICK_PX, Align::Left, INK);
        canvas.text(prefix, (label_left, at + 5.0), TICK_PX, Align::Right, INK);
    };
    let end_decimals = |level: f64| {
        let written = level.to_string();
        written
            .split_once('.')
            .map_or(0, |(_, digits)| digits.len().min(2))
    };
    label(high_db, "≥ ", end_decimals(high_db));
    label(low_db, "≤ ", end_decimals(low_db));
    for level in inner {
        if (px(level) - bar.top).min(bar.bottom - px(level)) > LEAST_LABEL_GAP_PX {
            label(level, "", decimals);
        }
    }
}
