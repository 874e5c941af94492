//! Pictures of how far a detector finds a call: shares against signal-to-noise ratio and range, ranges by month and depth.
//!
//! Lines carry names and dashes, points their limits; colour only helps.

use assess::range::{Found, Month, Outer, Ranges, SIMPLE_LAW_REFUSED_M, ideal_found_share};

use super::canvas::{Align, Area, checked_size};
use super::colour::{INK, QUIET_INK, Rgb};
use super::drawing::Drawing;
use super::shapes;
use super::{
    Axis, AxisScale, PictureError, PictureSize, linear_ticks, logarithmic_ticks, si_label,
};
use crate::calendar::MONTHS;

/// What is drawn.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum RangePicture {
    /// Share found against the signal-to-noise ratio in the worst month, with limits and the ideal energy detector.
    Found,
    /// Share found over range, by month.
    OverRange,
    /// Ranges of a half and nine tenths by month and in winds by themselves, and in the worst month by depth of the hydrophone.
    ByMonth,
}

const STRONG: Rgb = [22, 78, 120];
const OTHER: Rgb = [176, 58, 20];
const BETWEEN: Rgb = [214, 229, 241];
const DASHES: &[f32] = &[10.0, 5.0];
const DOTS: &[f32] = &[2.0, 5.0];
const MARK_PX: f64 = 4.0;
const NEAREST_M: f64 = 100.0;
const IDEAL_POINTS: u32 = 120;

/// The picture as a PNG file.
///
/// # Errors
/// [`PictureError::Size`]; [`PictureError::Range`] where no month was sampled.
pub fn range_picture_png(
    title: &str,
    ranges: &Ranges,
    what: RangePicture,
    size: PictureSize,
) -> Result<Vec<u8>, PictureError> {
    let drawing = draw(title, ranges, what, size)?;
    Ok(shapes::png(&drawing.shapes, size, title, description(what)))
}

/// The picture as an SVG file.
///
/// # Errors
/// As [`range_picture_png`].
pub fn range_picture_svg(
    title: &str,
    ranges: &Ranges,
    what: RangePicture,
    size: PictureSize,
) -> Result<String, PictureError> {
    let drawing = draw(title, ranges, what, size)?;
    Ok(shapes::svg(&drawing.shapes, size, title, description(what)))
}

fn description(what: RangePicture) -> &'static str {
    match what {
        RangePicture::Found => {
            "Share of calls found against the in-band signal-to-noise ratio, with limits at 95 %, and the ideal energy detector."
        }
        RangePicture::OverRange => "Share of calls found over range, by month.",
        RangePicture::ByMonth => {
            "Range to which a half and nine tenths of the calls are found, by month and by depth of the hydrophone."
        }
    }
}

fn draw(
    title: &str,
    ranges: &Ranges,
    what: RangePicture,
    size: PictureSize,
) -> Result<Drawing, PictureError> {
    checked_size(size.width_px, size.height_px)?;
    let (width, height) = (f64::from(size.width_px), f64::from(size.height_px));
    let mut drawing = Drawing::titled(title, width);
    let area = Area {
        left: 80.0,
        top: 130.0,
        right: width - 40.0,
        bottom: height - 90.0,
    };
    let by_range = |a: &&Month, b: &&Month| a.range.area_m2.0.total_cmp(&b.range.area_m2.0);
    let (Some(worst), Some(best)) = (
        ranges.months.iter().min_by(by_range),
        ranges.months.iter().max_by(by_range),
    ) else {
        return Err(PictureError::Range {
            what: "months",
            low: 0.0,
            high: 0.0,
            unit: "",
            needed: "at least one month is needed",
        });
    };
    match what {
        RangePicture::Found => found(&mut drawing, ranges, worst, area)?,
        RangePicture::OverRange => over_range(&mut drawing, ranges, worst, best, area)?,
        RangePicture::ByMonth => {
            let months = Area {
                right: 0.6 * width,
                ..area
            };
            let depths = Area {
                left: months.right + 110.0,
                ..area
            };
            by_month(&mut drawing, ranges, months)?;
            by_depth(&mut drawing, ranges, worst, depths)?;
        }
    }
    Ok(drawing)
}

fn metres(outer: Outer) -> f64 {
    match outer {
        Outer::Nowhere => 0.0,
        Outer::At(m) | Outer::Beyond(m) => m,
    }
}

fn name(month: &Month) -> String {
    match (month.range.month, month.range.wind_m_s) {
        (Some(month), _) => MONTHS[usize::from(month) - 1].to_owned(),
        (None, Some(wind_m_s)) => format!("{wind_m_s} m/s of wind"),
        (None, None) => "noise as recorded".to_owned(),
    }
}

fn percent(area: Area) -> Result<Axis, PictureError> {
    Axis::new(
        "share",
        "%",
        AxisScale::Linear,
        (0.0, 100.0),
        (area.bottom, area.top),
    )
}

/// Vertical grid lines with labels, and what the axis is.
fn across(drawing: &mut Drawing, area: Area, ticks: &[(f64, String)], what: &str) {
    for (x, label) in ticks {
        drawing.line_across(area, *x, label.as_str());
    }
    drawing.text(what, (area.right, area.bottom + 46.0), Align::Right, INK);
}

fn legend(drawing: &mut Drawing, at: (f64, f64), colour: Rgb, dashes: &'static [f32], text: &str) {
    drawing.dashed(vec![(at.0, at.1), (at.0 + 34.0, at.1)], colour, 2.2, dashes);
    drawing.text(text, (at.0 + 42.0, at.1 + 5.0), Align::Left, INK);
}

fn mark(drawing: &mut Drawing, (x, y): (f64, f64), colour: Rgb) {
    drawing.fill((x - MARK_PX, y - MARK_PX, x + MARK_PX, y + MARK_PX), colour);
}

fn cross(drawing: &mut Drawing, (x, y): (f64, f64), colour: Rgb) {
    for rise in [MARK_PX, -MARK_PX] {
        drawing.line(
            vec![(x - MARK_PX, y - rise), (x + MARK_PX, y + rise)],
            colour,
            2.2,
        );
    }
}

fn found(
    drawing: &mut Drawing,
    ranges: &Ranges,
    month: &Month,
    area: Area,
) -> Result<(), PictureError> {
    let points = month.sampled.curve.points();
    // The steep part, and a little of what lies beside it: the whole reaches up to where the converter overloads.
    let none = points.iter().rev().find(|p| p.share() < 0.005);
    let first = none.or(points.first()).map_or(0.0, |p| p.snr_db);
    let ideal_db = month.losses[0].ideal_db.map_or(first, |db| db - 4.0);
    let first = first.min(ideal_db);
    let full = points.iter().find(|p| p.share() > 0.995).or(points.last());
    let last = full.map_or(1.0, |p| p.snr_db);
    let (low, high) = (first - 1.0, (last + 3.0).max(first + 2.0));
    let axis = Axis::new(
        "ratio",
        "dB",
        AxisScale::Linear,
        (low, high),
        (area.left, area.right),
    )?;
    let up = percent(area)?;
    let (ticks, decimals) = linear_ticks(low, high, 14);
    let ticks: Vec<(f64, String)> = ticks
        .iter()
        .map(|t| (axis.px(*t), format!("{t:.decimals$}")))
        .collect();
    across(
        drawing,
        area,
        &ticks,
        &format!(
            "signal-to-noise ratio within {:.0} Hz to {:.0} Hz, dB",
            ranges.subject.band_hz.0, ranges.subject.band_hz.1
        ),
    );
    drawing.frame(area, &up, "share of calls found, %");
    let within = |snr_db: &f64| (low..=high).contains(snr_db);
    let inside: Vec<_> = points.iter().filter(|p| within(&p.snr_db)).collect();
    for p in &inside {
        let x = axis.px(p.snr_db);
        let (bottom, top) = (up.px(100.0 * p.low), up.px(100.0 * p.high));
        drawing.line(vec![(x, bottom), (x, top)], STRONG, 1.6);
        for y in [bottom, top] {
            drawing.line(vec![(x - 5.0, y), (x + 5.0, y)], STRONG, 1.6);
        }
    }
    let line = inside
        .iter()
        .map(|p| (axis.px(p.snr_db), up.px(100.0 * p.share())));
    let line: Vec<(f64, f64)> = line.collect();
    for at in &line {
        mark(drawing, *at, STRONG);
    }
    drawing.line(line, STRONG, 1.6);
    let false_alarm = month.losses[0].false_alarm;
    let tw = ranges.subject.time_bandwidth();
    let ideal: Vec<(f64, f64)> = (0..=IDEAL_POINTS)
        .map(|i| low + (high - low) * f64::from(i) / f64::from(IDEAL_POINTS))
        .filter_map(|db| Some((db, ideal_found_share(tw, false_alarm, db).ok()?)))
        .map(|(db, share)| (axis.px(db), up.px(100.0 * share)))
        .collect();
    drawing.dashed(ideal, OTHER, 2.2, DASHES);
    drawing.border(area);
    let calls = points.first().map_or(0, |p| p.calls);
    legend(
        drawing,
        (80.0, 64.0),
        STRONG,
        &[],
        &format!(
            "this detector in {}: {calls} calls at each point, limits at 95 %",
            name(month)
        ),
    );
    let rate = if month.losses[0].counted {
        "same"
    } else {
        "highest possible"
    };
    legend(
        drawing,
        (80.0, 88.0),
        OTHER,
        DASHES,
        &format!(
            "ideal energy detector, same band, matched to the call (TW = {tw:.0}), {rate} rate of false alarms"
        ),
    );
    Ok(())
}

fn over_range(
    drawing: &mut Drawing,
    ranges: &Ranges,
    worst: &Month,
    best: &Month,
    area: Area,
) -> Result<(), PictureError> {
    let far = SIMPLE_LAW_REFUSED_M;
    let axis = Axis::new(
        "range",
        "m",
        AxisScale::Logarithmic,
        (NEAREST_M, far),
        (area.left, area.right),
    )?;
    let up = percent(area)?;
    let shown = |m: &(f64, f64)| m.0 >= NEAREST_M;
    let steps = best.range.seen.shares.len();
    for i in 1..steps {
        let (a, b) = (best.range.seen.shares[i - 1].0, best.range.seen.shares[i].0);
        if a < NEAREST_M {
            continue;
        }
        let all = || ranges.months.iter().map(|m| m.range.seen.shares[i].1);
        let (low, high) = (all().fold(1.0, f64::min), all().fold(0.0, f64::max));
        drawing.fill(
            (
                axis.px(a),
                up.px(100.0 * high),
                axis.px(b),
                up.px(100.0 * low),
            ),
            BETWEEN,
        );
    }
    let ticks: Vec<(f64, String)> = logarithmic_ticks(NEAREST_M, far, 9)
        .iter()
        .map(|t| (axis.px(*t), si_label(*t, "m", 3)))
        .collect();
    across(drawing, area, &ticks, "horizontal range");
    drawing.frame(area, &up, "share of calls found, %");
    let line = |shares: &[(f64, f64)]| -> Vec<(f64, f64)> {
        let shown = shares.iter().filter(|s| shown(s));
        shown.map(|s| (axis.px(s.0), up.px(100.0 * s.1))).collect()
    };
    drawing.line(line(&best.range.seen.shares), STRONG, 2.2);
    let several = ranges.months.len() > 1;
    if several {
        drawing.dashed(line(&worst.range.seen.shares), OTHER, 2.2, DASHES);
    }
    drawing.dashed(line(&worst.range.low.shares), OTHER, 1.8, DOTS);
    drawing.border(area);
    let wind = |m: &Month| match (m.range.month, m.range.wind_m_s) {
        (Some(_), Some(wind_m_s)) => format!("{} ({wind_m_s:.1} m/s of wind)", name(m)),
        _ => name(m),
    };
    let (first, by_limits) = if several {
        ("farthest: ", "nearest, by the lower limits at 95 %")
    } else {
        ("", "by the lower limits at 95 %")
    };
    let text = format!("{first}{}", wind(best));
    legend(drawing, (80.0, 64.0), STRONG, &[], &text);
    legend(drawing, (520.0, 64.0), OTHER, DOTS, by_limits);
    if several {
        let text = format!("nearest: {}", wind(worst));
        legend(drawing, (80.0, 88.0), OTHER, DASHES, &text);
        drawing.fill((520.0, 80.0, 554.0, 96.0), BETWEEN);
        drawing.text("between them", (562.0, 93.0), Align::Left, INK);
    }
    drawing.text(
        format!(
            "A simple spreading law is carried to {:.0} km and no further.",
            far / 1000.0
        ),
        (70.0, area.bottom + 76.0),
        Align::Left,
        QUIET_INK,
    );
    Ok(())
}

/// The vertical or horizontal axis of ranges, km, from nothing to the farthest that is told.
fn kilometres(ranges: &Ranges, px: (f64, f64)) -> Result<Axis, PictureError> {
    let all = ranges.months.iter().flat_map(|m| &m.range.found);
    let over = ranges.over_hours.iter().flatten();
    let over = over.flat_map(|row| &row.found[2]).map(|f| metres(f.low));
    let far_m = all.map(|f| metres(f.seen)).chain(over).fold(0.0, f64::max);
    let far_km = (1.1 * far_m / 1000.0).max(0.1);
    Axis::new("range", "km", AxisScale::Linear, (0.0, far_km), px)
}

/// Ranges over the hours of a month, by the lower limits: P10, P50 and P90 of the first share that is told, or the second.
fn over_hours(ranges: &Ranges, month: &Month, share: usize) -> Option<[Outer; 3]> {
    let of = month.range.month?;
    let all = ranges.over_hours.as_ref().ok()?;
    let row = all.iter().find(|row| row.month == Some(of))?;
    Some(row.found.map(|found| found[share].low))
}

fn by_month(drawing: &mut Drawing, ranges: &Ranges, area: Area) -> Result<(), PictureError> {
    let up = kilometres(ranges, (area.bottom, area.top))?;
    drawing.frame(area, &up, "range of the detector, km");
    // Winds by themselves are of no month, and stand behind the months.
    let alone: Vec<&Month> = ranges
        .months
        .iter()
        .filter(|month| month.range.month.is_none())
        .collect();
    let places = (MONTHS.len() + alone.len()) as f64;
    let x = |place: usize| area.left + area.width() * (place as f64 + 0.5) / places;
    for (i, label) in MONTHS.iter().enumerate() {
        drawing.label_below(area, x(i), *label);
    }
    for (i, month) in alone.iter().enumerate() {
        let wind_m_s = month.range.wind_m_s;
        let label = wind_m_s.map_or_else(|| name(month), |wind_m_s| format!("{wind_m_s} m/s"));
        drawing.label_below(area, x(MONTHS.len() + i), label);
    }
    let of_months = ranges.months.iter().filter_map(|month| {
        let number = month.range.month?;
        Some((usize::from(number) - 1, month))
    });
    let of_winds = alone.iter().enumerate();
    let of_winds = of_winds.map(|(i, month)| (MONTHS.len() + i, *month));
    let all: Vec<(usize, &Month)> = of_months.chain(of_winds).collect();
    for (i, colour) in [STRONG, OTHER].into_iter().enumerate() {
        let shift = if i == 0 { -7.0 } else { 7.0 };
        for (place, month) in &all {
            let found: Found = month.range.found[i];
            let at = x(*place) + shift;
            if let Some([p10, p50, p90]) = over_hours(ranges, month, i) {
                let [low, middle, high] =
                    [p10, p50, p90].map(|outer| up.px(metres(outer) / 1000.0));
                drawing.line(vec![(at, low), (at, high)], colour, 1.6);
                for end in [low, high] {
                    drawing.line(vec![(at - 5.0, end), (at + 5.0, end)], colour, 1.6);
                }
                match i {
                    0 => mark(drawing, (at, middle), colour),
                    _ => cross(drawing, (at, middle), colour),
                }
                if matches!(p90, Outer::Beyond(_)) {
                    drawing.text(">", (at, high - 8.0), Align::Centre, colour);
                }
                continue;
            }
            let (seen, low) = (
                up.px(metres(found.seen) / 1000.0),
                up.px(metres(found.low) / 1000.0),
            );
            drawing.line(vec![(at, low), (at, seen)], colour, 1.6);
            drawing.line(vec![(at - 5.0, low), (at + 5.0, low)], colour, 1.6);
            match i {
                0 => mark(drawing, (at, seen), colour),
                _ => cross(drawing, (at, seen), colour),
            }
            if matches!(found.seen, Outer::Beyond(_)) {
                drawing.text(">", (at, seen - 8.0), Align::Centre, colour);
            }
        }
    }
    drawing.border(area);
    mark(drawing, (92.0, 64.0), STRONG);
    drawing.text(
        "half of the calls are found",
        (108.0, 69.0),
        Align::Left,
        INK,
    );
    cross(drawing, (92.0, 88.0), OTHER);
    drawing.text("nine tenths are found", (108.0, 93.0), Align::Left, INK);
    let (bars, rest) = if ranges.over_hours.is_ok() {
        (
            "bars: at least, over the hours of the month: P10 (nine tenths of the hours exceed it), P50, P90",
            "single winds: lower limit and as seen; > further than is told",
        )
    } else {
        (
            "bars reach down to what the lower limits at 95 % leave; > further than is told",
            "",
        )
    };
    drawing.text(bars, (400.0, 69.0), Align::Left, INK);
    drawing.text(rest, (330.0, 93.0), Align::Left, INK);
    Ok(())
}

fn by_depth(
    drawing: &mut Drawing,
    ranges: &Ranges,
    month: &Month,
    area: Area,
) -> Result<(), PictureError> {
    let axis = kilometres(ranges, (area.left, area.right))?;
    let deepest = month.by_depth.last().map_or(1.0, |d| d.0);
    let down = Axis::new(
        "depth",
        "m",
        AxisScale::Linear,
        (0.0, 1.05 * deepest.max(1.0)),
        (area.top, area.bottom),
    )?;
    let (ticks, decimals) = linear_ticks(axis.range().0, axis.range().1, 5);
    let ticks: Vec<(f64, String)> = ticks
        .iter()
        .map(|t| (axis.px(*t), format!("{t:.decimals$}")))
        .collect();
    across(drawing, area, &ticks, "range, km");
    drawing.frame(
        area,
        &down,
        &format!("depth of the hydrophone, m, in {}", name(month)),
    );
    for (i, (colour, dashes)) in [(STRONG, &[][..]), (OTHER, DASHES)].into_iter().enumerate() {
        let points: Vec<(f64, f64)> = month
            .by_depth
            .iter()
            .map(|(depth_m, found)| (axis.px(metres(found[i].seen) / 1000.0), down.px(*depth_m)))
            .collect();
        for (at, (_, found)) in points.iter().zip(&month.by_depth) {
            match i {
                0 => mark(drawing, *at, colour),
                _ => cross(drawing, *at, colour),
            }
            if matches!(found[i].seen, Outer::Beyond(_)) {
                drawing.text(">", (at.0 + 9.0, at.1 + 5.0), Align::Left, colour);
            }
        }
        drawing.dashed(points, colour, 1.8, dashes);
    }
    let own = down.px(ranges.subject.hydrophone_depth_m);
    drawing.dashed(
        vec![(area.left, own), (area.right, own)],
        QUIET_INK,
        1.4,
        DOTS,
    );
    legend(drawing, (area.left, 88.0), QUIET_INK, DOTS, "its own depth");
    drawing.border(area);
    drawing.text(
        if ranges.subject.with_surface_image() {
            "The straight path and its image in a flat surface."
        } else {
            "A simple law knows of depth only distance and absorption."
        },
        (area.right, area.bottom + 72.0),
        Align::Right,
        QUIET_INK,
    );
    Ok(())
}
