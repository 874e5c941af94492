//! Pictures of a detector against labels: the operating curve, and shares and rates against the threshold.
//!
//! Limits are drawn as bars or thin lines. What a line is stands beside it in words and in its dashes; the threshold of the plan is a
//! square, the chosen one a cross. On the logarithmic axis of false alarms a threshold at which none was seen stands in a column of
//! its own at the left, below one false alarm in the time judged.

use hearing::{Limited, Point};

use super::canvas::{Align, Area, checked_size, text_width};
use super::colour::{GRID_LINE, INK, QUIET_INK, Rgb};
use super::drawing::Drawing;
use super::shapes;
use super::ticks::{linear_ticks, logarithmic_ticks};
use super::{Axis, AxisScale, PictureError, PictureSize};
use crate::told::Tuned;

const CURVE: Rgb = [22, 78, 120];
const SECOND: Rgb = [176, 58, 20];
const NONE_SEEN: Rgb = [238, 241, 244];
const DASHES: &[f32] = &[10.0, 5.0];
const DOTS: &[f32] = &[2.0, 4.0];
const SECONDS_PER_HOUR: f64 = 3600.0;
const HOURS_PER_DAY: f64 = 24.0;
/// Where a threshold without a false alarm stands, and where the axis begins, in false alarms in the time judged.
const NONE_AT: f64 = 0.3;
const AXIS_FROM: f64 = 0.15;

/// Recall against false alarms an hour, as a PNG file.
///
/// # Errors
/// [`PictureError::Size`]; [`PictureError::Range`] where no time was judged.
pub fn operating_picture_png(tuned: &Tuned, size: PictureSize) -> Result<Vec<u8>, PictureError> {
    let (drawing, title, description) = operating(tuned, size)?;
    Ok(shapes::png(&drawing.shapes, size, &title, &description))
}

/// The same as an SVG file.
///
/// # Errors
/// As [`operating_picture_png`].
pub fn operating_picture_svg(tuned: &Tuned, size: PictureSize) -> Result<String, PictureError> {
    let (drawing, title, description) = operating(tuned, size)?;
    Ok(shapes::svg(&drawing.shapes, size, &title, &description))
}

/// Recall, precision and false alarms an hour against the threshold, as a PNG file.
///
/// # Errors
/// As [`operating_picture_png`].
pub fn threshold_picture_png(tuned: &Tuned, size: PictureSize) -> Result<Vec<u8>, PictureError> {
    let (drawing, title, description) = by_threshold(tuned, size)?;
    Ok(shapes::png(&drawing.shapes, size, &title, &description))
}

/// The same as an SVG file.
///
/// # Errors
/// As [`operating_picture_png`].
pub fn threshold_picture_svg(tuned: &Tuned, size: PictureSize) -> Result<String, PictureError> {
    let (drawing, title, description) = by_threshold(tuned, size)?;
    Ok(shapes::svg(&drawing.shapes, size, &title, &description))
}

/// What both pictures read off a tuned detector.
struct Read<'a> {
    tuned: &'a Tuned,
    hours: f64,
}

impl<'a> Read<'a> {
    fn of(tuned: &'a Tuned) -> Self {
        Self {
            tuned,
            hours: tuned.curve.judged_s / SECONDS_PER_HOUR,
        }
    }

    fn points(&self) -> &'a [Point] {
        &self.tuned.curve.points
    }

    fn shown_db(&self, point: &Point) -> f64 {
        point.threshold_db - self.tuned.offset_db
    }

    fn own(&self) -> &'a Point {
        &self.points()[self.tuned.own]
    }

    fn chosen(&self) -> Option<&'a Point> {
        self.tuned.chosen().map(|i| &self.points()[i])
    }

    fn allowed_per_h(&self) -> Option<f64> {
        let allowance = self.tuned.allowance.as_ref()?;
        Some(allowance.per_day / HOURS_PER_DAY)
    }

    /// False alarms an hour as they lie on the axis: none seen has a place of its own.
    fn on_axis(&self, per_h: f64) -> f64 {
        per_h.max(NONE_AT / self.hours)
    }

    fn rates(&self, pixels: (f64, f64)) -> Result<Axis, PictureError> {
        let highs = self.points().iter().filter_map(|p| p.false_alarms_per_h);
        let high = highs
            .map(|rate| rate.high)
            .chain(self.allowed_per_h())
            .fold(10.0 / self.hours, f64::max);
        let allowed = self.allowed_per_h().unwrap_or(f64::INFINITY);
        let low = (AXIS_FROM / self.hours).min(0.7 * allowed);
        Axis::new(
            "false alarms",
            "per h",
            AxisScale::Logarithmic,
            (low, 1.5 * high),
            pixels,
        )
    }

    /// Ticks of the axis of false alarms, above what stands for none.
    fn rate_ticks(&self, axis: &Axis, most: usize) -> Vec<f64> {
        let (low, high) = axis.range();
        let mut ticks = logarithmic_ticks(low, high, most);
        ticks.retain(|tick| *tick > 0.6 / self.hours);
        ticks
    }

    fn limits(&self) -> String {
        format!(
            "Limits are exact, two-sided at {} %; {} labels, {:.4} h in which the detector could decide.",
            100.0 * self.tuned.curve.confidence,
            self.tuned.curve.labelled,
            self.hours
        )
    }
}

fn operating(tuned: &Tuned, size: PictureSize) -> Result<(Drawing, String, String), PictureError> {
    checked_size(size.width_px, size.height_px)?;
    let read = Read::of(tuned);
    let (width, height) = (f64::from(size.width_px), f64::from(size.height_px));
    let area = Area {
        left: 80.0,
        top: 104.0,
        right: width - 40.0,
        bottom: height - 110.0,
    };
    let across = read.rates((area.left, area.right))?;
    let up = Axis::new(
        "recall",
        "%",
        AxisScale::Linear,
        (0.0, 102.0),
        (area.bottom, area.top),
    )?;
    let title = format!(
        "{}: operating curve of detector.{}",
        tuned.name, tuned.detector
    );
    let mut drawing = Drawing::titled(&title, width);
    none_seen(&mut drawing, &read, area, &across);
    drawing.frame(area, &up, "recall, % of the labels");
    rates_below(&mut drawing, &read, area, &across);
    if let Some(allowed) = read.allowed_per_h() {
        let x = across.px(allowed);
        drawing.dashed(vec![(x, area.top), (x, area.bottom)], SECOND, 1.8, DASHES);
        beside(&mut drawing, area, x, area.top + 20.0, "allowed", SECOND);
    }
    let place = |p: &Point| -> Option<(f64, f64)> {
        let (rate, recall) = (p.false_alarms_per_h?, p.recall?);
        Some((
            across.px(read.on_axis(rate.value)),
            up.px(100.0 * recall.value),
        ))
    };
    let line: Vec<(f64, f64)> = read.points().iter().filter_map(place).collect();
    if line.is_empty() {
        drawing.text(
            "no label counts, so there is no recall",
            (
                f64::midpoint(area.left, area.right),
                f64::midpoint(area.top, area.bottom),
            ),
            Align::Centre,
            INK,
        );
    }
    drawing.line(line, CURVE, 2.2);
    let bars = |drawing: &mut Drawing, p: &Point, colour: Rgb| {
        let (Some(rate), Some(recall), Some((x, y))) = (p.false_alarms_per_h, p.recall, place(p))
        else {
            return;
        };
        let left = if rate.low > 0.0 {
            across.px(rate.low).max(area.left)
        } else {
            area.left
        };
        drawing.line(vec![(left, y), (across.px(rate.high), y)], colour, 1.2);
        let ends = [recall.low, recall.high].map(|share| (x, up.px(100.0 * share)));
        drawing.line(ends.to_vec(), colour, 1.2);
    };
    // Labels keep clear of each other, the threshold of the plan and the chosen one first.
    let mut taken: Vec<(f64, f64)> = Vec::new();
    let mut told = |drawing: &mut Drawing, p: &Point, text: String, colour: Rgb| {
        let Some((x, y)) = place(p) else { return };
        let below = if y + 30.0 < area.bottom { 22.0 } else { -10.0 };
        let meets = |t: &(f64, f64)| (t.0 - x).abs() < 84.0 && (t.1 - y - below).abs() < 34.0;
        if taken.iter().any(meets) {
            return;
        }
        taken.push((x, y + below));
        bars(drawing, p, colour);
        let room = x + 14.0 + text_width(&text, 15.0) < area.right;
        let (side, align) = if room {
            (12.0, Align::Left)
        } else {
            (-12.0, Align::Right)
        };
        drawing.text(text, (x + side, y + below), align, colour);
    };
    let own = read.own();
    told(
        &mut drawing,
        own,
        format!("plan {:.1} dB", read.shown_db(own)),
        INK,
    );
    if let Some(chosen) = read.chosen() {
        told(
            &mut drawing,
            chosen,
            format!("chosen {:.1} dB", read.shown_db(chosen)),
            SECOND,
        );
    }
    for p in read.points() {
        told(
            &mut drawing,
            p,
            format!("{:.1} dB", read.shown_db(p)),
            QUIET_INK,
        );
    }
    for p in read.points() {
        if let Some((x, y)) = place(p) {
            drawing.fill((x - 3.0, y - 3.0, x + 3.0, y + 3.0), CURVE);
        }
    }
    marks(&mut drawing, place(own), read.chosen().and_then(place));
    drawing.border(area);
    drawing.text(read.limits(), (70.0, height - 14.0), Align::Left, QUIET_INK);
    let description = format!(
        "Recall against false alarms an hour at {} thresholds, with limits.",
        read.points().len()
    );
    Ok((drawing, title, description))
}

/// The column of thresholds at which no false alarm was seen.
fn none_seen(drawing: &mut Drawing, read: &Read<'_>, area: Area, across: &Axis) {
    let right = across.px(0.6 / read.hours);
    drawing.fill((area.left, area.top, right, area.bottom), NONE_SEEN);
    let x = across.px(NONE_AT / read.hours);
    drawing.text("none seen", (x, area.top + 20.0), Align::Centre, QUIET_INK);
}

fn rates_below(drawing: &mut Drawing, read: &Read<'_>, area: Area, across: &Axis) {
    for tick in read.rate_ticks(across, 10) {
        let x = across.px(tick);
        drawing.line(vec![(x, area.top), (x, area.bottom)], GRID_LINE, 1.0);
        drawing.text(
            tick.to_string(),
            (x, area.bottom + 22.0),
            Align::Centre,
            INK,
        );
    }
    drawing.text(
        "false alarms an hour",
        (area.right, area.bottom + 46.0),
        Align::Right,
        INK,
    );
}

/// Text beside an upright line, on the side with room.
fn beside(drawing: &mut Drawing, area: Area, x: f64, y: f64, text: &str, colour: Rgb) {
    let (side, align) = if x + 10.0 + text_width(text, 15.0) < area.right {
        (8.0, Align::Left)
    } else {
        (-8.0, Align::Right)
    };
    drawing.text(text, (x + side, y), align, colour);
}

/// The threshold of the plan as a square, the chosen one as a cross.
fn marks(drawing: &mut Drawing, own: Option<(f64, f64)>, chosen: Option<(f64, f64)>) {
    if let Some((x, y)) = own {
        drawing.fill((x - 7.0, y - 7.0, x + 7.0, y + 7.0), INK);
    }
    if let Some((x, y)) = chosen {
        for rise in [9.0, -9.0] {
            drawing.line(vec![(x - 9.0, y - rise), (x + 9.0, y + rise)], SECOND, 3.0);
        }
    }
}

fn by_threshold(
    tuned: &Tuned,
    size: PictureSize,
) -> Result<(Drawing, String, String), PictureError> {
    checked_size(size.width_px, size.height_px)?;
    let read = Read::of(tuned);
    let (width, height) = (f64::from(size.width_px), f64::from(size.height_px));
    let middle = 0.52 * height;
    let upper = Area {
        left: 90.0,
        top: 104.0,
        right: width - 40.0,
        bottom: middle,
    };
    let lower = Area {
        top: middle + 44.0,
        bottom: height - 100.0,
        ..upper
    };
    let points = read.points();
    let ends = match (points.first(), points.last()) {
        (Some(first), Some(last)) => (read.shown_db(first) - 0.5, read.shown_db(last) + 0.5),
        _ => (f64::NAN, f64::NAN),
    };
    let across = Axis::new(
        "threshold",
        "dB",
        AxisScale::Linear,
        ends,
        (upper.left, upper.right),
    )?;
    let shares = Axis::new(
        "share",
        "%",
        AxisScale::Linear,
        (0.0, 102.0),
        (upper.bottom, upper.top),
    )?;
    let rates = read.rates((lower.bottom, lower.top))?;
    let title = format!("{}: thresholds of detector.{}", tuned.name, tuned.detector);
    let mut drawing = Drawing::titled(&title, width);
    drawing.frame(upper, &shares, "%");
    drawing.fill(
        (
            lower.left,
            rates.px(0.6 / read.hours),
            lower.right,
            lower.bottom,
        ),
        NONE_SEEN,
    );
    for tick in read.rate_ticks(&rates, 7) {
        let y = rates.px(tick);
        drawing.line(vec![(lower.left, y), (lower.right, y)], GRID_LINE, 1.0);
        drawing.text(
            tick.to_string(),
            (lower.left - 8.0, y + 5.0),
            Align::Right,
            INK,
        );
    }
    let none = rates.px(NONE_AT / read.hours);
    drawing.text(
        "none seen",
        (lower.right - 8.0, none - 5.0),
        Align::Right,
        QUIET_INK,
    );
    drawing.text(
        "false alarms an hour",
        (lower.left, lower.top - 10.0),
        Align::Left,
        INK,
    );
    let (ticks, decimals) = linear_ticks(ends.0, ends.1, 16);
    for tick in ticks {
        let x = across.px(tick);
        for area in [upper, lower] {
            drawing.line(vec![(x, area.top), (x, area.bottom)], GRID_LINE, 1.0);
        }
        let at = (x, lower.bottom + 22.0);
        drawing.text(format!("{tick:.decimals$}"), at, Align::Centre, INK);
    }
    drawing.text(
        format!("threshold, {}", tuned.unit),
        (lower.right, lower.bottom + 46.0),
        Align::Right,
        INK,
    );
    for area in [upper, lower] {
        upright(&mut drawing, &read, area, &across);
    }
    let x = |p: &Point| across.px(read.shown_db(p));
    let share = |v: f64| shares.px(100.0 * v);
    limited_line(&mut drawing, points, |p| p.recall, &x, share, CURVE, &[]);
    limited_line(
        &mut drawing,
        points,
        |p| p.precision,
        &x,
        share,
        SECOND,
        DASHES,
    );
    let rate = |v: f64| rates.px(read.on_axis(v));
    limited_line(
        &mut drawing,
        points,
        |p| p.false_alarms_per_h,
        &x,
        rate,
        INK,
        &[],
    );
    if let Some(allowed) = read.allowed_per_h() {
        let y = rates.px(allowed);
        drawing.dashed(vec![(lower.left, y), (lower.right, y)], SECOND, 1.8, DASHES);
        drawing.text("allowed", (lower.left + 8.0, y - 6.0), Align::Left, SECOND);
    }
    drawing.border(upper);
    drawing.border(lower);
    legend(&mut drawing);
    drawing.text(read.limits(), (70.0, height - 14.0), Align::Left, QUIET_INK);
    let description = format!(
        "Recall, precision and false alarms an hour against {} thresholds, with limits.",
        points.len()
    );
    Ok((drawing, title, description))
}

fn legend(drawing: &mut Drawing) {
    let y = 68.0;
    drawing.line(vec![(132.0, y), (166.0, y)], CURVE, 2.2);
    drawing.text("recall", (174.0, y + 5.0), Align::Left, INK);
    drawing.dashed(vec![(272.0, y), (306.0, y)], SECOND, 2.2, DASHES);
    drawing.text("precision", (314.0, y + 5.0), Align::Left, INK);
    drawing.dashed(vec![(442.0, y), (476.0, y)], QUIET_INK, 1.2, DOTS);
    drawing.text("limits of each", (484.0, y + 5.0), Align::Left, INK);
}

/// The thresholds of the plan and the chosen one.
fn upright(drawing: &mut Drawing, read: &Read<'_>, area: Area, across: &Axis) {
    let x = across.px(read.shown_db(read.own()));
    drawing.line(vec![(x, area.top), (x, area.bottom)], QUIET_INK, 1.5);
    beside(drawing, area, x, area.top + 20.0, "plan", QUIET_INK);
    let Some(chosen) = read.chosen() else { return };
    let x = across.px(read.shown_db(chosen));
    drawing.dashed(vec![(x, area.top), (x, area.bottom)], SECOND, 1.5, DASHES);
    beside(drawing, area, x, area.top + 40.0, "chosen", SECOND);
}

/// A line of values with thin lines of their limits, broken where there is none.
fn limited_line(
    drawing: &mut Drawing,
    points: &[Point],
    of: impl Fn(&Point) -> Option<Limited>,
    x: &impl Fn(&Point) -> f64,
    y: impl Fn(f64) -> f64,
    colour: Rgb,
    dashes: &'static [f32],
) {
    for run in points.split(|p| of(p).is_none()) {
        let mut draw = |value: fn(Limited) -> f64, width_px: f32, dashes: &'static [f32]| {
            let line: Vec<(f64, f64)> = run
                .iter()
                .filter_map(|p| Some((x(p), y(value(of(p)?)))))
                .collect();
            if let [(x, y)] = line[..] {
                drawing.fill((x - 3.0, y - 3.0, x + 3.0, y + 3.0), colour);
            } else if !line.is_empty() {
                drawing.dashed(line, colour, width_px, dashes);
            }
        };
        draw(|l| l.low, 1.2, DOTS);
        draw(|l| l.high, 1.2, DOTS);
        draw(|l| l.value, 2.2, dashes);
    }
}
