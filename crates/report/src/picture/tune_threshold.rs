//! Shares and false alarms of a detector against its threshold, one plot over the other.

use hearing::{Limited, Point};

use super::canvas::{Align, Area, checked_size, text_width};
use super::colour::{GRID_LINE, INK, QUIET_INK, Rgb};
use super::drawing::Drawing;
use super::ticks::{lettered, linear_ticks};
use super::tune::{CURVE, DASHES, DOTS, NONE, NONE_AT, NONE_SEEN, Read, SECOND};
use super::{Axis, AxisScale, PictureError, PictureSize};
use crate::told::Tuned;

pub(super) fn by_threshold(
    tuned: &Tuned,
    size: PictureSize,
) -> Result<(Drawing, String, String), PictureError> {
    checked_size(size.width_px, size.height_px)?;
    let read = Read::of(tuned);
    let (width, height) = (f64::from(size.width_px), f64::from(size.height_px));
    let middle = 0.52 * height;
    let upper = Area {
        left: 104.0,
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
    drawing.text(NONE, (lower.left - 8.0, none + 5.0), Align::Right, INK);
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
        drawing.label_below(lower, x, format!("{tick:.decimals$}"));
    }
    drawing.text(
        format!("threshold, {}", lettered(tuned.unit)),
        (lower.right, lower.bottom + 46.0),
        Align::Right,
        INK,
    );
    upright(&mut drawing, &read, [upper, lower], &across);
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
        let at = (lower.right, lower.top - 10.0);
        drawing.text(
            format!("dashed: {}", read.allowed()),
            at,
            Align::Right,
            SECOND,
        );
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

/// The thresholds of the plan and the chosen one, through both plots.
fn upright(drawing: &mut Drawing, read: &Read<'_>, areas: [Area; 2], across: &Axis) {
    let named = read.named();
    let places: Vec<f64> = named
        .iter()
        .map(|(p, ..)| across.px(read.shown_db(p)))
        .collect();
    for ((p, name, colour), x) in named.iter().zip(&places) {
        let dashes = if *name == "chosen" { DASHES } else { &[] };
        for area in areas {
            drawing.dashed(
                vec![(*x, area.top), (*x, area.bottom)],
                *colour,
                1.5,
                dashes,
            );
        }
        let text = format!("{name} {:.1} dB", read.shown_db(p));
        let half_px = 0.5 * text_width(&text, 15.0);
        // Two that are close together part to both sides.
        let other = places.iter().find(|other| *other != x);
        let (at, align) = match other {
            Some(other) if other > x => (*x, Align::Right),
            Some(_) => (*x, Align::Left),
            None if x + half_px > areas[0].right => (areas[0].right, Align::Right),
            None if x - half_px < areas[0].left + 24.0 => (areas[0].left + 24.0, Align::Left),
            None => (*x, Align::Centre),
        };
        drawing.text(text, (at, areas[0].top - 8.0), align, *colour);
    }
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
