//! What both kinds of picture share: size, frame, title, axes, strip and notes.

use jiff::Timestamp;

use super::canvas::{Align, Area, Canvas, Pen, checked_size, shortened, text_width};
use super::colour::{GRID_LINE, INK, QUIET_INK, WHITE};
use super::strip::Strip;
use super::ticks::{linear_ticks, logarithmic_minor_ticks, logarithmic_ticks, signed};
use super::time_axis::{Tick, TimeTicks, time_ticks};
use super::{Axis, AxisScale, PictureError};

/// Width and height of a picture in pixels, 480 to 8000 each way.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PictureSize {
    /// Width, pixels.
    pub width_px: u32,
    /// Height, pixels.
    pub height_px: u32,
}

impl PictureSize {
    /// 1400 x 820 pixels: legible across the width of a page or a screen.
    pub const PAGE: Self = Self {
        width_px: 1400,
        height_px: 820,
    };
    /// The same with room for the view of a line from above.
    pub const LINE: Self = Self {
        height_px: Self::PAGE.height_px + 160,
        ..Self::PAGE
    };
}

/// A picture and the scales on which it was drawn, so that a pointer on it can be read.
#[derive(Debug, Clone, PartialEq)]
pub struct Picture {
    /// The PNG file, 8-bit RGB, with the texts `Title`, `Description` and `Software`.
    pub png: Vec<u8>,
    /// The same picture as an SVG file (SVG 1.1): lines and lettering as such, the cells of a spectrogram as an image in it.
    pub svg: String,
    /// Where the plot lies.
    pub frame: Frame,
}

/// The scales of a picture. Pixels are counted from the left and the top edge.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Frame {
    /// Seconds after the first sample of the recording, left to right.
    pub time: Axis,
    /// Hertz or decibels, bottom to top.
    pub vertical: Axis,
    /// Levels of the darkest and the lightest colour, dB; none without a colour scale or when
    /// every cell is missing or without power.
    pub colour_db: Option<(f64, f64)>,
}

pub(super) const TICK_PX: f32 = 15.0;
pub(super) const AXIS_TITLE_PX: f32 = 15.0;
const TITLE_PX: f32 = 22.0;
const NOTE_PX: f32 = 13.0;
const NOTE_LINE_PX: f64 = 18.0;
const PAD_PX: f64 = 24.0;
const HEAD_PX: f64 = 84.0;
const TIME_AXIS_PX: f64 = 54.0;
const STRIP_GAP_PX: f64 = 8.0;
const TICK_LENGTH_PX: f64 = 6.0;
const LEAST_PLOT_PX: f64 = 120.0;

/// Parts of the page around the plot.
pub(super) struct Margins {
    /// Room for the labels of the vertical axis, pixels.
    pub(super) left_px: f64,
    /// Room right of the plot, pixels.
    pub(super) right_px: f64,
    pub(super) strip_px: f64,
    pub(super) note_lines: usize,
    pub(super) marks: usize,
}

/// Left and right edge of the plot; both are needed before its height can be known.
pub(super) fn plot_sides(
    size: PictureSize,
    left_px: f64,
    right_px: f64,
) -> Result<(f64, f64), PictureError> {
    checked_size(size.width_px, size.height_px)?;
    let left = libm::ceil(left_px.max(text_width("Marks", 14.0) + 12.0) + PAD_PX);
    Ok((left, f64::from(size.width_px) - libm::ceil(right_px)))
}

pub(super) fn plot_area(size: PictureSize, margins: &Margins) -> Result<Area, PictureError> {
    let (left, right) = plot_sides(size, margins.left_px, margins.right_px)?;
    let strip_px = if margins.strip_px > 0.0 {
        margins.strip_px + STRIP_GAP_PX
    } else {
        0.0
    };
    let notes_px = margins.note_lines as f64 * NOTE_LINE_PX + PAD_PX;
    let bottom = f64::from(size.height_px) - notes_px - strip_px - TIME_AXIS_PX;
    let area = Area {
        left,
        top: HEAD_PX,
        right,
        bottom: libm::floor(bottom),
    };
    if area.height() < LEAST_PLOT_PX {
        return Err(PictureError::NoRoom {
            marks: margins.marks,
            height_px: size.height_px,
            left_px: area.height(),
        });
    }
    Ok(area)
}

pub(super) fn strip_area(plot: Area, strip: &Strip) -> Area {
    let top = plot.bottom + TIME_AXIS_PX + STRIP_GAP_PX;
    Area {
        top,
        bottom: top + strip.height_px(),
        ..plot
    }
}

pub(super) fn blank(size: PictureSize) -> Canvas {
    Canvas::new(size.width_px, size.height_px, WHITE)
}

pub(super) fn draw_title(canvas: &mut Canvas, title: &str, plot: Area, size: PictureSize) {
    let room = f64::from(size.width_px) - plot.left - PAD_PX;
    let text = shortened(title, TITLE_PX, room);
    canvas.text(&text, (plot.left, 38.0), TITLE_PX, Align::Left, INK);
}

pub(super) fn draw_axis_title(canvas: &mut Canvas, text: &str, plot: Area) {
    canvas.text(
        text,
        (plot.left, plot.top - 12.0),
        AXIS_TITLE_PX,
        Align::Left,
        INK,
    );
}

/// Hertz for low and for wide logarithmic ranges, kilohertz else, so that labels stay short.
pub(super) fn frequency_unit(range_hz: (f64, f64), scale: AxisScale) -> (f64, &'static str) {
    let wide = scale == AxisScale::Logarithmic && range_hz.0 < 100.0;
    if range_hz.1 >= 2000.0 && !wide {
        (1000.0, "kHz")
    } else {
        (1.0, "Hz")
    }
}

/// Ticks of a vertical axis, in values of the axis over `unit`.
pub(super) fn vertical_ticks(
    range: (f64, f64),
    scale: AxisScale,
    unit: f64,
    most: usize,
) -> Vec<(f64, String)> {
    let (low, high) = (range.0 / unit, range.1 / unit);
    match scale {
        AxisScale::Linear => {
            let (values, decimals) = linear_ticks(low, high, most);
            let label = |v: f64| (v * unit, signed(v, decimals));
            values.into_iter().map(label).collect()
        }
        AxisScale::Logarithmic => logarithmic_ticks(low, high, most)
            .into_iter()
            .map(|v| (v * unit, v.to_string()))
            .collect(),
    }
}

pub(super) fn widest(ticks: &[(f64, String)]) -> f64 {
    let width = |(_, label): &(f64, String)| text_width(label, TICK_PX);
    ticks.iter().map(width).fold(0.0, f64::max) + TICK_LENGTH_PX + 6.0
}

pub(super) fn draw_vertical_axis(
    canvas: &mut Canvas,
    plot: Area,
    axis: &Axis,
    ticks: &[(f64, String)],
) {
    let mut last_px = f64::INFINITY;
    for (value, label) in ticks {
        let px = axis.px(*value);
        tick_line(canvas, (plot.left - TICK_LENGTH_PX, px), (plot.left, px));
        if last_px - px >= f64::from(TICK_PX) + 3.0 {
            let at = (plot.left - TICK_LENGTH_PX - 4.0, px + 5.0);
            canvas.text(label, at, TICK_PX, Align::Right, INK);
            last_px = px;
        }
    }
    if axis.scale() == AxisScale::Logarithmic {
        let (low, high) = axis.range();
        for value in logarithmic_minor_ticks(low, high) {
            let px = axis.px(value);
            tick_line(canvas, (plot.left - 3.0, px), (plot.left, px));
        }
    }
}

pub(super) fn draw_grid(canvas: &mut Canvas, plot: Area, rows_px: &[f64], columns: &[Tick]) {
    let pen = Pen {
        colour: GRID_LINE,
        width_px: 1.0,
        dashes_px: &[],
    };
    for &px in rows_px {
        let px = crisp(px);
        canvas.line(&[(plot.left, px), (plot.right, px)], pen);
    }
    for tick in columns {
        let px = crisp(tick.px);
        canvas.line(&[(px, plot.top), (px, plot.bottom)], pen);
    }
}

pub(super) fn time_ticks_of(
    axis: &Axis,
    start_utc: Option<Timestamp>,
) -> Result<TimeTicks, PictureError> {
    time_ticks(axis, start_utc, TICK_PX)
}

pub(super) fn draw_time_axis(
    canvas: &mut Canvas,
    plot: Area,
    size: PictureSize,
    ticks: &TimeTicks,
) {
    for tick in &ticks.ticks {
        tick_line(
            canvas,
            (tick.px, plot.bottom),
            (tick.px, plot.bottom + TICK_LENGTH_PX),
        );
        let half = text_width(&tick.label, TICK_PX) / 2.0;
        let middle = tick.px.min(f64::from(size.width_px) - half - 4.0);
        canvas.text(
            &tick.label,
            (middle, plot.bottom + 23.0),
            TICK_PX,
            Align::Centre,
            INK,
        );
    }
    let middle = (plot.left + plot.right) / 2.0;
    let at = (middle, plot.bottom + 46.0);
    canvas.text(&ticks.title, at, AXIS_TITLE_PX, Align::Centre, INK);
}

pub(super) fn draw_frame(canvas: &mut Canvas, plot: Area) {
    let edge = Area {
        left: plot.left - 0.5,
        top: plot.top - 0.5,
        right: plot.right + 0.5,
        bottom: plot.bottom + 0.5,
    };
    canvas.outline(
        edge,
        Pen {
            colour: INK,
            width_px: 1.0,
            dashes_px: &[],
        },
    );
}

pub(super) fn tick_line(canvas: &mut Canvas, from: (f64, f64), to: (f64, f64)) {
    let points = [(crisp(from.0), crisp(from.1)), (crisp(to.0), crisp(to.1))];
    canvas.line(
        &points,
        Pen {
            colour: INK,
            width_px: 1.0,
            dashes_px: &[],
        },
    );
}

/// The middle of the pixel that holds `px`, so that a line one pixel wide stays one pixel wide.
pub(super) fn crisp(px: f64) -> f64 {
    libm::floor(px) + 0.5
}

/// The notes broken into lines that fit the width of the picture.
pub(super) fn note_lines(notes: &[String], size: PictureSize, plot_left: f64) -> Vec<String> {
    let room = f64::from(size.width_px) - plot_left - PAD_PX;
    let lines = notes.iter().flat_map(|note| rows(note, NOTE_PX, room));
    lines.collect()
}

/// A text broken between words into rows that fit `room_px`.
pub(super) fn rows(text: &str, size_px: f32, room_px: f64) -> Vec<String> {
    let mut rows: Vec<String> = Vec::new();
    let mut row = String::new();
    for word in text.split(' ') {
        let longer = if row.is_empty() {
            word.to_owned()
        } else {
            format!("{row} {word}")
        };
        if text_width(&longer, size_px) > room_px && !row.is_empty() {
            rows.push(std::mem::replace(&mut row, word.to_owned()));
        } else {
            row = longer;
        }
    }
    if !row.is_empty() {
        rows.push(row);
    }
    rows
}

pub(super) fn draw_notes(canvas: &mut Canvas, lines: &[String], plot_left: f64, size: PictureSize) {
    let first = f64::from(size.height_px) - lines.len() as f64 * NOTE_LINE_PX;
    for (i, line) in lines.iter().enumerate() {
        let baseline = first + i as f64 * NOTE_LINE_PX;
        canvas.text(line, (plot_left, baseline), NOTE_PX, Align::Left, QUIET_INK);
    }
}
