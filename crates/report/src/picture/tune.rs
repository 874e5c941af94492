//! Pictures of a detector against labels: the operating curve, and shares and rates against the threshold.
//!
//! Limits are drawn as bars or thin lines. What a line is stands beside it in words and in its dashes; the threshold of the plan is a
//! square, the chosen one a cross. On the logarithmic axis of false alarms a threshold at which none was seen stands in a column of
//! its own at the left, below one false alarm in the time judged.

use hearing::Point;
use quantity::{Dimension, show};

use super::canvas::{Align, Area, checked_size, text_width};
use super::colour::{INK, QUIET_INK, Rgb};
use super::drawing::Drawing;
use super::labels::Labels;
use super::shapes;
use super::ticks::logarithmic_ticks;
use super::tune_threshold::by_threshold;
use super::{Axis, AxisScale, PictureError, PictureSize};
use crate::told::{Tuned, short};

pub(super) const CURVE: Rgb = [22, 78, 120];
pub(super) const SECOND: Rgb = [176, 58, 20];
pub(super) const NONE_SEEN: Rgb = [238, 241, 244];
pub(super) const DASHES: &[f32] = &[10.0, 5.0];
pub(super) const DOTS: &[f32] = &[2.0, 4.0];
const SECONDS_PER_HOUR: f64 = 3600.0;
const HOURS_PER_DAY: f64 = 24.0;
/// Where a threshold without a false alarm stands, and where the axis begins, in false alarms in the time judged.
pub(super) const NONE_AT: f64 = 0.3;
const AXIS_FROM: f64 = 0.15;
pub(super) const NONE: &str = "none seen";

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
pub(super) struct Read<'a> {
    tuned: &'a Tuned,
    pub(super) hours: f64,
}

impl<'a> Read<'a> {
    pub(super) fn of(tuned: &'a Tuned) -> Self {
        Self {
            tuned,
            hours: tuned.curve.judged_s / SECONDS_PER_HOUR,
        }
    }

    pub(super) fn points(&self) -> &'a [Point] {
        &self.tuned.curve.points
    }

    pub(super) fn shown_db(&self, point: &Point) -> f64 {
        point.threshold_db - self.tuned.offset_db
    }

    pub(super) fn own(&self) -> &'a Point {
        &self.points()[self.tuned.own]
    }

    pub(super) fn chosen(&self) -> Option<&'a Point> {
        self.tuned.chosen().map(|i| &self.points()[i])
    }

    pub(super) fn allowed_per_h(&self) -> Option<f64> {
        let allowance = self.tuned.allowance.as_ref()?;
        // Nothing has no place on a logarithmic axis.
        (allowance.per_day > 0.0).then_some(allowance.per_day / HOURS_PER_DAY)
    }

    /// What is written beside the allowance.
    pub(super) fn allowed(&self) -> String {
        let allowance = self.tuned.allowance.as_ref();
        allowance.map_or_else(String::new, |a| {
            format!("allowed, {} a day", short(a.per_day))
        })
    }

    /// The thresholds that have a name: that of the plan and the chosen one.
    pub(super) fn named(&self) -> Vec<(&'a Point, &'static str, Rgb)> {
        let own = self.own();
        match self.chosen() {
            None => vec![(own, "plan", INK)],
            Some(chosen) if std::ptr::eq(own, chosen) => vec![(own, "plan and chosen", INK)],
            Some(chosen) => vec![(own, "plan", INK), (chosen, "chosen", SECOND)],
        }
    }

    /// False alarms an hour as they lie on the axis: none seen has a place of its own.
    pub(super) fn on_axis(&self, per_h: f64) -> f64 {
        per_h.max(NONE_AT / self.hours)
    }

    pub(super) fn rates(&self, pixels: (f64, f64)) -> Result<Axis, PictureError> {
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
    pub(super) fn rate_ticks(&self, axis: &Axis, most: usize) -> Vec<f64> {
        let (low, high) = axis.range();
        let mut ticks = logarithmic_ticks(low, high, most);
        ticks.retain(|tick| *tick > 0.6 / self.hours);
        ticks
    }

    pub(super) fn limits(&self) -> String {
        let labels = match self.tuned.curve.labelled {
            1 => "1 label".to_owned(),
            n => format!("{n} labels"),
        };
        format!(
            "Limits are exact, two-sided at {} %; {}, {} in which the detector could decide.",
            100.0 * self.tuned.curve.confidence,
            labels,
            show(self.tuned.curve.judged_s, Dimension::Time)
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
    let mut labels = Labels::new(area);
    labels.line(&line);
    let allowed = read.allowed_per_h().map(|allowed| across.px(allowed));
    if let Some(x) = allowed {
        let across_all = vec![(x, area.top), (x, area.bottom)];
        labels.line(&across_all);
        drawing.dashed(across_all, SECOND, 1.8, DASHES);
    }
    for at in &line {
        labels.mark(*at, 3.0);
    }
    // Below the threshold that finds most, sounds melt into one and hits vanish with the false alarms: no part of the curve.
    let found = |p: &Point| p.recall.map_or(0.0, |recall| recall.value);
    let most = read.points().iter().map(found).fold(0.0, f64::max);
    let first = read.points().iter().position(|p| found(p) >= most);
    let melted = first.filter(|first| *first > 0 && most > 0.0);
    let (below, from) = read.points().split_at(melted.unwrap_or(0));
    let line_of = |points: &[Point]| points.iter().filter_map(place).collect::<Vec<_>>();
    drawing.line(line_of(from), CURVE, 2.2);
    if let (Some(first), false) = (from.first(), below.is_empty()) {
        let dotted = line_of(below).into_iter().chain(place(first)).collect();
        drawing.dashed(dotted, QUIET_INK, 1.4, DOTS);
        drawing.text(
            format!(
                "Dotted: thresholds below {:.1} dB, where sounds melt into one and fewer are found.",
                read.shown_db(first)
            ),
            (70.0, height - 36.0),
            Align::Left,
            QUIET_INK,
        );
    }
    let named = read.named();
    for (p, _, colour) in &named {
        let (Some(rate), Some(recall), Some((x, y))) = (p.false_alarms_per_h, p.recall, place(p))
        else {
            continue;
        };
        let left = if rate.low > 0.0 {
            across.px(rate.low).max(area.left)
        } else {
            area.left
        };
        let [low, high] = [recall.low, recall.high].map(|share| (x, up.px(100.0 * share)));
        for bar in [vec![(left, y), (across.px(rate.high), y)], vec![low, high]] {
            labels.line(&bar);
            drawing.line(bar, *colour, 1.2);
        }
        labels.mark((x, y), 9.0);
    }
    for p in read.points() {
        if let Some((x, y)) = place(p) {
            drawing.fill((x - 3.0, y - 3.0, x + 3.0, y + 3.0), CURVE);
        }
    }
    // The threshold of the plan and the chosen one first; the others where there is room.
    for (p, name, colour) in &named {
        let text = format!("{name} {:.1} dB", read.shown_db(p));
        let at = place(p).and_then(|point| labels.place(point, &text, true));
        if let Some(at) = at {
            drawing.text(text, at, Align::Left, *colour);
        }
    }
    if let Some(x) = allowed {
        let text = read.allowed();
        if let Some(at) = labels.place((x, area.top), &text, true) {
            drawing.text(text, at, Align::Left, SECOND);
        }
    }
    for same in read.points().chunk_by(|a, b| place(a) == place(b)) {
        let is_named = |p: &Point| named.iter().any(|(of, ..)| std::ptr::eq(*of, p));
        if same.iter().any(is_named) {
            continue;
        }
        let (first, last) = (&same[0], &same[same.len() - 1]);
        let text = if same.len() == 1 {
            format!("{:.1} dB", read.shown_db(first))
        } else {
            format!(
                "{:.1} to {:.1} dB",
                read.shown_db(first),
                read.shown_db(last)
            )
        };
        let at = place(first).and_then(|point| labels.place(point, &text, false));
        if let Some(at) = at {
            drawing.text(text, at, Align::Left, QUIET_INK);
        }
    }
    marks(
        &mut drawing,
        place(read.own()),
        read.chosen().and_then(place),
    );
    drawing.border(area);
    drawing.text(
        format!(
            "Bars are the limits of the named thresholds. {}",
            read.limits()
        ),
        (70.0, height - 14.0),
        Align::Left,
        QUIET_INK,
    );
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
    drawing.label_below(area, x, NONE);
}

fn rates_below(drawing: &mut Drawing, read: &Read<'_>, area: Area, across: &Axis) {
    let none_px = across.px(NONE_AT / read.hours) + 0.5 * text_width(NONE, 15.0);
    for tick in read.rate_ticks(across, 10) {
        let x = across.px(tick);
        if x - 0.5 * text_width(&tick.to_string(), 15.0) < none_px + 8.0 {
            continue;
        }
        drawing.line_across(area, x, tick.to_string());
    }
    drawing.text(
        "false alarms an hour",
        (area.right, area.bottom + 46.0),
        Align::Right,
        INK,
    );
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
