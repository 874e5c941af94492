//! The picture of sizes that do: the smallest battery that shows a claim against the peak power of the panels.
//!
//! Between two peak powers that were tried the smaller one's battery counts: with more panels no more is needed. What
//! holds is told by words and lines; colour only helps.

use assess::Sizes;

use super::canvas::{Align, Area, checked_size};
use super::colour::{INK, QUIET_INK, Rgb};
use super::drawing::Drawing;
use super::shapes;
use super::{Axis, AxisScale, PictureError, PictureSize, linear_ticks};

const HOLDS: Rgb = [214, 229, 241];
const SMALLEST: Rgb = [22, 78, 120];
const PLANNED: Rgb = [176, 58, 20];
/// Half the side of the mark of a size that was tried, and of the planned one.
const MARK_PX: f64 = 4.0;
const PLANNED_PX: f64 = 9.0;

/// The picture as a PNG file.
///
/// # Errors
/// [`PictureError::Size`]; [`PictureError::Range`] where no peak power was tried.
pub fn sizes_picture_png(
    title: &str,
    sizes: &Sizes,
    size: PictureSize,
) -> Result<Vec<u8>, PictureError> {
    let drawing = draw(title, sizes, size)?;
    let description = description(sizes);
    Ok(shapes::png(&drawing.shapes, size, title, &description))
}

/// The picture as an SVG file.
///
/// # Errors
/// As [`sizes_picture_png`].
pub fn sizes_picture_svg(
    title: &str,
    sizes: &Sizes,
    size: PictureSize,
) -> Result<String, PictureError> {
    let drawing = draw(title, sizes, size)?;
    let description = description(sizes);
    Ok(shapes::svg(&drawing.shapes, size, title, &description))
}

fn description(sizes: &Sizes) -> String {
    let claim = &sizes.claim;
    format!(
        "Smallest battery against peak power of the panels for at most {} h off in {} % of years at {} % confidence; planned {:.0} W and {:.0} Wh.",
        claim.at_most_hours,
        100.0 * claim.years.share,
        100.0 * claim.years.confidence,
        sizes.planned.0,
        sizes.planned.1
    )
}

fn draw(title: &str, sizes: &Sizes, size: PictureSize) -> Result<Drawing, PictureError> {
    checked_size(size.width_px, size.height_px)?;
    let (width, height) = (f64::from(size.width_px), f64::from(size.height_px));
    let area = Area {
        left: 90.0,
        top: 104.0,
        right: width - 30.0,
        bottom: height - 100.0,
    };
    let (planned_w, planned_wh) = sizes.planned;
    let peaks_w = || sizes.rows.iter().map(|row| row.peak_power_w);
    let ends_w = (
        0.95 * peaks_w().fold(planned_w, f64::min),
        1.03 * peaks_w().fold(planned_w, f64::max),
    );
    let found = || sizes.rows.iter().filter_map(|row| row.battery_wh);
    let least_wh = found().fold(planned_wh, f64::min);
    let across = Axis::new(
        "peak power",
        "W",
        AxisScale::Linear,
        ends_w,
        (area.left, area.right),
    )?;
    let up = Axis::new(
        "battery",
        "Wh",
        AxisScale::Logarithmic,
        (0.7 * least_wh, 1.3 * sizes.largest_wh.max(planned_wh)),
        (area.bottom, area.top),
    )?;
    let mut drawing = Drawing::titled(title, width);
    let claim = &sizes.claim;
    drawing.text(
        format!(
            "smallest battery with at most {} h off in {} % of years, shown at {} % confidence",
            claim.at_most_hours,
            100.0 * claim.years.share,
            100.0 * claim.years.confidence
        ),
        (70.0, 66.0),
        Align::Left,
        INK,
    );
    holds(&mut drawing, sizes, area, &across, &up);
    drawing.frame(area, &up, "battery, Wh, new and at the rated temperature");
    let (ticks, decimals) = linear_ticks(ends_w.0, ends_w.1, 12);
    for tick in ticks {
        drawing.line_across(area, across.px(tick), format!("{tick:.decimals$}"));
    }
    drawing.text(
        "peak power of all panels, W",
        (area.right, area.bottom + 46.0),
        Align::Right,
        INK,
    );
    without(&mut drawing, sizes, area, &across);
    smallest(&mut drawing, sizes, area, &across, &up);
    planned(&mut drawing, sizes, area, &across, &up);
    drawing.border(area);
    drawing.text(
        "Between two tried sizes of the panels the battery of the smaller one counts.",
        (70.0, height - 14.0),
        Align::Left,
        QUIET_INK,
    );
    Ok(drawing)
}

/// The sizes that do, as far as those that were tried show it.
fn holds(drawing: &mut Drawing, sizes: &Sizes, area: Area, across: &Axis, up: &Axis) {
    for (i, row) in sizes.rows.iter().enumerate() {
        let Some(wh) = row.battery_wh else { continue };
        let next = sizes.rows.get(i + 1);
        let right = next.map_or(area.right, |next| across.px(next.peak_power_w));
        let left = across.px(row.peak_power_w);
        drawing.fill((left, area.top, right, up.px(wh)), HOLDS);
    }
}

/// Peak powers with which no battery that was tried does.
fn without(drawing: &mut Drawing, sizes: &Sizes, area: Area, across: &Axis) {
    let none = sizes.rows.iter().filter(|row| row.battery_wh.is_none());
    let mut any = false;
    for row in none {
        let at = (across.px(row.peak_power_w), area.top + 14.0);
        cross(drawing, at, 6.0, INK, 2.0);
        any = true;
    }
    if any {
        drawing.text(
            format!("x: no battery up to {:.0} Wh does", sizes.largest_wh),
            (area.right, area.top - 10.0),
            Align::Right,
            INK,
        );
    }
}

fn smallest(drawing: &mut Drawing, sizes: &Sizes, area: Area, across: &Axis, up: &Axis) {
    let mut steps: Vec<(f64, f64)> = Vec::new();
    for (i, row) in sizes.rows.iter().enumerate() {
        let Some(wh) = row.battery_wh else { continue };
        let at = (across.px(row.peak_power_w), up.px(wh));
        // Below the first size of the panels nothing was tried; after one with which no battery does, the step comes from above.
        match steps.last() {
            Some(before) => steps.push((at.0, before.1)),
            None if i > 0 => steps.push((at.0, area.top)),
            None => {}
        }
        steps.push(at);
        drawing.fill(
            (
                at.0 - MARK_PX,
                at.1 - MARK_PX,
                at.0 + MARK_PX,
                at.1 + MARK_PX,
            ),
            SMALLEST,
        );
    }
    let Some(&(_, y)) = steps.last() else {
        let middle = (
            f64::midpoint(area.left, area.right),
            f64::midpoint(area.top, area.bottom),
        );
        let text = "no battery that was tried shows it with any of these panels";
        drawing.text(text, middle, Align::Centre, INK);
        return;
    };
    steps.push((area.right, y));
    drawing.line(steps, SMALLEST, 2.2);
    drawing.text(
        "these sizes show it",
        (area.right - 12.0, area.top + 26.0),
        Align::Right,
        SMALLEST,
    );
    drawing.text(
        "these do not",
        (area.left + 12.0, area.bottom - 14.0),
        Align::Left,
        INK,
    );
}

fn planned(drawing: &mut Drawing, sizes: &Sizes, area: Area, across: &Axis, up: &Axis) {
    let (planned_w, planned_wh) = sizes.planned;
    let at = (across.px(planned_w), up.px(planned_wh));
    cross(drawing, at, PLANNED_PX, PLANNED, 3.0);
    let (side_px, align) = if at.0 < f64::midpoint(area.left, area.right) {
        (16.0, Align::Left)
    } else {
        (-16.0, Align::Right)
    };
    drawing.text(
        format!("X planned: {planned_w:.0} W, {planned_wh:.0} Wh"),
        (at.0 + side_px, at.1 - 12.0),
        align,
        PLANNED,
    );
}

fn cross(drawing: &mut Drawing, (x, y): (f64, f64), half_px: f64, colour: Rgb, width_px: f32) {
    for rise in [half_px, -half_px] {
        drawing.line(
            vec![(x - half_px, y - rise), (x + half_px, y + rise)],
            colour,
            width_px,
        );
    }
}
