//! The picture of a level against time.

use jiff::Timestamp;

use super::canvas::{Align, Area, Canvas, Pen, shortened, text_width};
use super::colour::{INK, QUIET_INK, Rgb};
use super::marks::{check_marks, draw_bands};
use super::page::{
    AXIS_TITLE_PX, Margins, blank, crisp, draw_axis_title, draw_frame, draw_grid, draw_notes,
    draw_time_axis, draw_title, draw_vertical_axis, note_lines, plot_area, plot_sides, strip_area,
    time_ticks_of, vertical_ticks, widest,
};
use super::strip::{StripOf, lay_out_strip};
use super::{Axis, AxisScale, EventMark, Frame, Picture, PictureError, PictureSize};

/// A series of levels at equal steps.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LevelTrace<'a> {
    /// Time of the first point, seconds after the first sample of the recording.
    pub begin_s: f64,
    /// Time from point to point, seconds, above zero.
    pub step_s: f64,
    /// Levels, dB. Not-a-number where nothing was recorded and minus infinity where there was no
    /// power: both break the line.
    pub level_db: &'a [f32],
}

/// The points of a further line.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum LevelPoints<'a> {
    /// One level throughout, dB.
    Constant(f64),
    /// Levels that change with time.
    Trace(LevelTrace<'a>),
}

/// How a further line is drawn; each style differs in its dashes as well as its colour.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LineStyle {
    /// What the level is held against: long dashes.
    Threshold,
    /// The running background: dots.
    Background,
}

/// A further line with its name, such as `switches on above`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LevelLine<'a> {
    /// Name in the legend.
    pub name: &'a str,
    /// How it is drawn.
    pub style: LineStyle,
    /// Its points.
    pub points: LevelPoints<'a>,
}

/// All that a picture of a level shows.
#[derive(Debug, Clone, Copy)]
pub struct LevelPicture<'a> {
    /// Title over the picture and in the file.
    pub title: &'a str,
    /// What the level is, for the legend, such as `rms over 0.25 s, 60 Hz to 260 Hz`.
    pub name: &'a str,
    /// What the axis measures, such as `Level`.
    pub quantity: &'a str,
    /// Unit with its reference, such as `dB re 1 µPa`.
    pub unit: &'a str,
    /// The level.
    pub level: LevelTrace<'a>,
    /// Thresholds and backgrounds.
    pub lines: &'a [LevelLine<'a>],
    /// Size of the picture.
    pub size: PictureSize,
    /// Instant of the first sample, where known; the time axis is then in UTC.
    pub start_utc: Option<Timestamp>,
    /// Time shown, seconds after the first sample; from first to last point without it.
    pub time_range_s: Option<(f64, f64)>,
    /// Levels shown, dB; all finite ones, out to whole 5 dB, without it.
    pub level_range_db: Option<(f64, f64)>,
    /// Begins and ends of what is at full scale, seconds after the first sample.
    pub full_scale_s: &'a [(f64, f64)],
    /// Events to be marked; their bands are not shown here.
    pub marks: &'a [EventMark],
    /// Sentences that stand under the picture.
    pub remarks: &'a [String],
}

const RIGHT_PX: f64 = 44.0;
const MOST_LEVEL_TICKS: usize = 11;
const ROUND_DB: f64 = 5.0;
const LEGEND_PX: f32 = 14.0;
const SAMPLE_PX: f64 = 34.0;
const ENTRY_GAP_PX: f64 = 22.0;

struct Look {
    colour: Rgb,
    width_px: f32,
    dashes_px: &'static [f32],
}

const LEVEL_LOOK: Look = Look {
    colour: [22, 78, 120],
    width_px: 1.6,
    dashes_px: &[],
};

fn look(style: LineStyle) -> Look {
    match style {
        LineStyle::Threshold => Look {
            colour: [176, 58, 20],
            width_px: 2.2,
            dashes_px: &[12.0, 6.0],
        },
        LineStyle::Background => Look {
            colour: INK,
            width_px: 2.2,
            dashes_px: &[2.2, 4.4],
        },
    }
}

impl Look {
    fn pen(&self) -> Pen {
        Pen {
            colour: self.colour,
            width_px: self.width_px,
            dashes_px: self.dashes_px,
        }
    }
}

impl LevelPicture<'_> {
    /// Draws the picture.
    ///
    /// # Errors
    /// [`PictureError`] for a size, range, step or mark outside what its field states, for a
    /// level of plus infinity, when no level range is given and no point in the time shown is
    /// finite, and when the marks leave no room.
    pub fn draw(&self) -> Result<Picture, PictureError> {
        check_marks(self.marks)?;
        let traces = self.traces();
        for trace in &traces {
            check_trace(trace)?;
        }
        self.check_constants()?;
        let time_range_s = self
            .time_range_s
            .unwrap_or_else(|| whole_range_s(&self.level));
        let level_range_db = match self.level_range_db {
            Some(range) => range,
            None => self.fitting_range_db(&traces, time_range_s)?,
        };
        let level_ticks = vertical_ticks(level_range_db, AxisScale::Linear, 1.0, MOST_LEVEL_TICKS);
        let strip_of = StripOf {
            marks: self.marks,
            kinds: &[],
            full_scale_s: self.full_scale_s,
        };
        let left_px = widest(&level_ticks).max(strip_of.names_px());
        let (left, right) = plot_sides(self.size, left_px, RIGHT_PX)?;
        let time = Axis::new("time", "s", AxisScale::Linear, time_range_s, (left, right))?;
        let time_ticks = time_ticks_of(&time, self.start_utc)?;
        let strip = lay_out_strip(strip_of, &time);
        let stripped = !(self.marks.is_empty() && self.full_scale_s.is_empty());
        let note = self.note(&time, strip.notes());
        let lines = note_lines(std::slice::from_ref(&note), self.size, left);
        let margins = Margins {
            left_px,
            right_px: RIGHT_PX,
            strip_px: if stripped { strip.height_px() } else { 0.0 },
            note_lines: lines.len(),
            marks: self.marks.len(),
        };
        let plot = plot_area(self.size, &margins)?;
        let level = Axis::new(
            "level",
            "dB",
            AxisScale::Linear,
            level_range_db,
            (plot.bottom, plot.top),
        )?;

        let mut canvas = blank(self.size);
        draw_bands(&mut canvas, plot, &time, self.marks);
        let rows_px: Vec<f64> = level_ticks
            .iter()
            .map(|(value, _)| level.px(*value))
            .collect();
        draw_grid(&mut canvas, plot, &rows_px, &time_ticks.ticks);
        draw_trace(&mut canvas, &time, &level, &self.level, &LEVEL_LOOK);
        for line in self.lines {
            draw_line(&mut canvas, &time, &level, line);
        }
        draw_frame(&mut canvas, plot);
        draw_title(&mut canvas, self.title, plot, self.size);
        let axis_title = format!("{} ({})", self.quantity, self.unit);
        draw_axis_title(&mut canvas, &axis_title, plot);
        let taken_px = text_width(&axis_title, AXIS_TITLE_PX);
        self.draw_legend(&mut canvas, plot, taken_px);
        draw_vertical_axis(&mut canvas, plot, &level, &level_ticks);
        draw_time_axis(&mut canvas, plot, self.size, &time_ticks);
        if stripped {
            strip.draw(&mut canvas, strip_area(plot, &strip));
        }
        draw_notes(&mut canvas, &lines, left, self.size);

        let description = format!(
            "{} against time, {} to {} s, {} to {} {}, {} marks. {}",
            self.quantity,
            time_range_s.0,
            time_range_s.1,
            level_range_db.0,
            level_range_db.1,
            self.unit,
            self.marks.len(),
            note
        );
        Ok(Picture {
            png: canvas.png(self.title, description.trim_end()),
            svg: canvas.svg(self.title, description.trim_end()),
            frame: Frame {
                time,
                vertical: level,
                colour_db: None,
            },
        })
    }

    fn traces(&self) -> Vec<LevelTrace<'_>> {
        let further = self.lines.iter().filter_map(|line| match line.points {
            LevelPoints::Trace(trace) => Some(trace),
            LevelPoints::Constant(_) => None,
        });
        std::iter::once(self.level).chain(further).collect()
    }

    fn check_constants(&self) -> Result<(), PictureError> {
        for line in self.lines {
            if let LevelPoints::Constant(level_db) = line.points
                && !level_db.is_finite()
            {
                return Err(PictureError::Value {
                    what: "a line",
                    value: level_db,
                    unit: "dB",
                    needed: "it must be finite",
                });
            }
        }
        Ok(())
    }

    fn fitting_range_db(
        &self,
        traces: &[LevelTrace<'_>],
        (begin_s, end_s): (f64, f64),
    ) -> Result<(f64, f64), PictureError> {
        let mut low = f64::INFINITY;
        let mut high = f64::NEG_INFINITY;
        let mut take = |level: f64| {
            if level.is_finite() {
                low = low.min(level);
                high = high.max(level);
            }
        };
        for trace in traces {
            for (i, &level) in trace.level_db.iter().enumerate() {
                let at_s = trace.begin_s + i as f64 * trace.step_s;
                if (begin_s..=end_s).contains(&at_s) {
                    take(f64::from(level));
                }
            }
        }
        if low > high {
            return Err(PictureError::NoLevel {
                points: self.level.level_db.len(),
            });
        }
        for line in self.lines {
            if let LevelPoints::Constant(level_db) = line.points {
                low = low.min(level_db);
                high = high.max(level_db);
            }
        }
        let margin_db = (0.04 * (high - low)).max(1.0);
        Ok((
            libm::floor((low - margin_db) / ROUND_DB) * ROUND_DB,
            libm::ceil((high + margin_db) / ROUND_DB) * ROUND_DB,
        ))
    }

    fn note(&self, time: &Axis, strip_notes: Vec<String>) -> String {
        let mut notes = self.remarks.to_vec();
        let (left, right) = time.pixels();
        let (begin_s, end_s) = time.range();
        let points_each = (end_s - begin_s) / self.level.step_s / (right - left);
        if points_each > 1.0 {
            notes.push(format!(
                "Each pixel spans the least to the greatest of about {} points.",
                libm::ceil(points_each)
            ));
        }
        let shown = || shown_points(&self.level, time).map(|(_, level)| level);
        let powerless = shown().filter(|v| *v == f32::NEG_INFINITY).count();
        if powerless > 0 {
            notes.push(format!("Points without any power, not drawn: {powerless}."));
        }
        let missing = shown().filter(|v| v.is_nan()).count();
        if missing > 0 {
            notes.push(format!("Points not recorded, not drawn: {missing}."));
        }
        notes.extend(strip_notes);
        notes.join(" ")
    }

    /// Names the lines at the right above the plot; names too long for the room are shortened,
    /// each to the same width.
    fn draw_legend(&self, canvas: &mut Canvas, plot: Area, taken_px: f64) {
        let level = std::iter::once((self.name, LEVEL_LOOK));
        let further = self.lines.iter().map(|line| (line.name, look(line.style)));
        let entries: Vec<_> = level.chain(further).collect();
        let count = entries.len() as f64;
        let beside_px = SAMPLE_PX + 8.0 + ENTRY_GAP_PX;
        let room_px = plot.width() - taken_px - count * beside_px;
        let wanted_px = |name: &str| text_width(name, LEGEND_PX);
        let fits = entries.iter().map(|(name, _)| wanted_px(name)).sum::<f64>() <= room_px;
        let baseline = plot.top - 12.0;
        let mut right = plot.right;
        for (name, look) in entries.iter().rev() {
            let most_px = if fits { f64::INFINITY } else { room_px / count };
            let name = shortened(name, LEGEND_PX, most_px);
            let text_left = right - wanted_px(&name);
            canvas.text(&name, (right, baseline), LEGEND_PX, Align::Right, QUIET_INK);
            let sample = (text_left - 8.0 - SAMPLE_PX, text_left - 8.0);
            let y = baseline - 5.0;
            canvas.line(&[(sample.0, y), (sample.1, y)], look.pen());
            right = sample.0 - ENTRY_GAP_PX;
        }
    }
}

fn check_trace(trace: &LevelTrace<'_>) -> Result<(), PictureError> {
    let wrong = |what, value, needed| {
        Err(PictureError::Value {
            what,
            value,
            unit: "s",
            needed,
        })
    };
    if !trace.begin_s.is_finite() {
        return wrong(
            "time of the first point",
            trace.begin_s,
            "it must be finite",
        );
    }
    if !(trace.step_s.is_finite() && trace.step_s > 0.0) {
        return wrong(
            "step of the points",
            trace.step_s,
            "it must be finite and above zero",
        );
    }
    match trace.level_db.iter().position(|&v| v == f32::INFINITY) {
        Some(index) => Err(PictureError::Infinite { index }),
        None => Ok(()),
    }
}

/// Time and level of the points on the time axis.
fn shown_points<'a>(
    trace: &LevelTrace<'a>,
    time: &Axis,
) -> impl Iterator<Item = (f64, f32)> + use<'a> {
    let (begin_s, step_s, time) = (trace.begin_s, trace.step_s, *time);
    trace
        .level_db
        .iter()
        .enumerate()
        .map(move |(i, &level)| (begin_s + i as f64 * step_s, level))
        .filter(move |(at_s, _)| time.holds(*at_s))
}

/// From the first point to the last; one step wide when there is but one.
fn whole_range_s(trace: &LevelTrace<'_>) -> (f64, f64) {
    let steps = trace.level_db.len().saturating_sub(1).max(1);
    (trace.begin_s, trace.begin_s + steps as f64 * trace.step_s)
}

fn draw_line(canvas: &mut Canvas, time: &Axis, level: &Axis, line: &LevelLine<'_>) {
    match line.points {
        LevelPoints::Constant(level_db) => {
            if level.holds(level_db) {
                let (left, right) = time.pixels();
                let px = level.px(level_db);
                canvas.line(&[(left, px), (right, px)], look(line.style).pen());
            }
        }
        LevelPoints::Trace(trace) => draw_trace(canvas, time, level, &trace, &look(line.style)),
    }
}

/// Draws a trace. Where several points share a pixel, the line passes through the first, the least,
/// the greatest and the last of them in turn, so no peak is lost. Parts beyond the level axis run
/// along its edge.
fn draw_trace(canvas: &mut Canvas, time: &Axis, level: &Axis, trace: &LevelTrace<'_>, look: &Look) {
    let (bottom, top) = level.pixels();
    let mut run: Vec<(f64, f64)> = Vec::new();
    let mut pixel: Option<PixelSpan> = None;
    let flush = |run: &mut Vec<(f64, f64)>, pixel: &mut Option<PixelSpan>| {
        if let Some(span) = pixel.take() {
            run.extend(span.points());
        }
    };
    for (at_s, value) in shown_points(trace, time) {
        if !value.is_finite() {
            flush(&mut run, &mut pixel);
            canvas.line(&run, look.pen());
            run.clear();
            continue;
        }
        let x = time.px(at_s);
        let y = level.px(f64::from(value)).clamp(top, bottom);
        match &mut pixel {
            Some(span) if libm::floor(span.x) == libm::floor(x) => span.take(y),
            _ => {
                flush(&mut run, &mut pixel);
                pixel = Some(PixelSpan::new(x, y));
            }
        }
    }
    flush(&mut run, &mut pixel);
    canvas.line(&run, look.pen());
}

struct PixelSpan {
    x: f64,
    first: f64,
    least: f64,
    greatest: f64,
    last: f64,
    count: usize,
}

impl PixelSpan {
    fn new(x: f64, y: f64) -> Self {
        Self {
            x,
            first: y,
            least: y,
            greatest: y,
            last: y,
            count: 1,
        }
    }

    fn take(&mut self, y: f64) {
        self.least = self.least.min(y);
        self.greatest = self.greatest.max(y);
        self.last = y;
        self.count += 1;
    }

    fn points(&self) -> Vec<(f64, f64)> {
        if self.count == 1 {
            return vec![(self.x, self.first)];
        }
        [self.first, self.least, self.greatest, self.last]
            .map(|y| (crisp(self.x), y))
            .to_vec()
    }
}
