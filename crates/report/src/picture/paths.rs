//! The picture of sound paths: loss over range and depth, shadows, rays, hydrophones, and the sound speed at the side.
//!
//! The loss is that from any place to the hydrophone, in steps of 5 dB whose shades grow darker with it; where no ray comes the ground
//! is hatched, and where only rays off the bed come the shade bears dashes. Paths from a source are told apart by their dashes: none for one without a bounce from the bed, then longer and
//! shorter dashes for one, two and more.

use assess::{EarPaths, SoundPaths};
use seawater::{LossField, Reach};

use super::canvas::{Align, Area, checked_size};
use super::colour::{BLACK, INK, NO_DATA, NO_DATA_STROKE, QUIET_INK, Rgb, WHITE, scale_colour};
use super::drawing::Drawing;
use super::shapes::{self, Shape};
use super::{Axis, AxisScale, PictureError, PictureSize, linear_ticks};

const STEP_DB: f64 = 5.0;
/// Shades of loss, least first.
const SHADES: usize = 9;
const DASHES: [&[f32]; 4] = [&[], &[12.0, 5.0], &[5.0, 5.0], &[2.0, 4.0]];
const HATCH: &[f32] = &[3.0, 7.0];
const HATCH_ROWS: usize = 3;
const PROFILE_PX: f64 = 190.0;
const MARK_PX: f64 = 7.0;
/// Width of the rays of a fan.
const FAN_PX: f32 = 0.8;

/// The picture of one hydrophone (by its place in `paths.ears`) as a PNG file.
///
/// # Errors
/// [`PictureError::Size`]; [`PictureError::Range`] where the loss over range and depth was not asked for.
pub fn paths_picture_png(
    title: &str,
    paths: &SoundPaths,
    ear: usize,
    size: PictureSize,
) -> Result<Vec<u8>, PictureError> {
    let shapes = draw(title, paths, &paths.ears[ear], size)?;
    let about = description(paths, &paths.ears[ear]);
    Ok(shapes::png(&shapes, size, title, &about))
}

/// The picture of one hydrophone as an SVG file.
///
/// # Errors
/// As [`paths_picture_png`].
pub fn paths_picture_svg(
    title: &str,
    paths: &SoundPaths,
    ear: usize,
    size: PictureSize,
) -> Result<String, PictureError> {
    let shapes = draw(title, paths, &paths.ears[ear], size)?;
    let about = description(paths, &paths.ears[ear]);
    Ok(shapes::svg(&shapes, size, title, &about))
}

fn description(paths: &SoundPaths, ear: &EarPaths) -> String {
    let shadows: Vec<String> = ear
        .shadows
        .iter()
        .map(|(a, b, by_bed)| {
            let what = if *by_bed {
                "only by the bed"
            } else {
                "nothing"
            };
            format!("{a:.0} m to {b:.0} m {what}")
        })
        .collect();
    format!(
        "Loss of sound from any range and depth to {} at {} m, {:.0} Hz, bed at {} m. Shadows for a source at {} m: {}.",
        ear.sensor,
        ear.depth_m,
        ear.frequency_hz,
        paths.seabed_m,
        paths.ask.source_depth_m,
        if shadows.is_empty() {
            "none".to_owned()
        } else {
            shadows.join(", ")
        }
    )
}

fn draw(
    title: &str,
    paths: &SoundPaths,
    ear: &EarPaths,
    size: PictureSize,
) -> Result<Vec<Shape>, PictureError> {
    checked_size(size.width_px, size.height_px)?;
    let (width, height) = (f64::from(size.width_px), f64::from(size.height_px));
    let mut drawing = Drawing::titled(title, width);
    let side = Area {
        left: 70.0,
        right: 70.0 + PROFILE_PX,
        top: 92.0,
        bottom: height - 150.0,
    };
    let plot = Area {
        left: side.right + 76.0,
        right: width - 30.0,
        ..side
    };
    let empty = LossField {
        range_m: Vec::new(),
        depth_m: Vec::new(),
        loss_db: Vec::new(),
    };
    let field = ear.field.as_ref().unwrap_or(&empty);
    let far_m = field
        .range_m
        .last()
        .zip(field.range_m.first())
        .map_or(0.0, |(last, first)| last + first);
    let depth = |area: Area| {
        Axis::new(
            "depth",
            "m",
            AxisScale::Linear,
            (0.0, paths.seabed_m),
            (area.top, area.bottom),
        )
    };
    let range = Axis::new(
        "range",
        "m",
        AxisScale::Linear,
        (0.0, far_m),
        (plot.left, plot.right),
    )?;
    let vertical = depth(plot)?;
    let least_db = shade(&mut drawing, field, &ear.reach, (&range, &vertical));
    hatch(&mut drawing, field, &ear.reach, (&range, &vertical));
    drawing.frame(plot, &vertical, "depth, m");
    range_axis(&mut drawing, plot, &range);
    rays(&mut drawing, paths, ear, (&range, &vertical));
    drawing.border(plot);
    speed(&mut drawing, paths, ear, side, &depth(side)?)?;
    legend(&mut drawing, ear, least_db, (70.0, height - 62.0), width);
    Ok(drawing.shapes)
}

/// Shades of the loss, and hatching where nothing comes; gives the loss at which the first shade ends.
fn shade(
    drawing: &mut Drawing,
    field: &LossField,
    reach: &[Reach],
    (range, depth): (&Axis, &Axis),
) -> f64 {
    let finite = || field.loss_db.iter().copied().filter(|x| x.is_finite());
    // The few cells about the hydrophone itself would take all shades.
    let mut sorted: Vec<f64> = finite().collect();
    sorted.sort_by(f64::total_cmp);
    let quiet = sorted.get(sorted.len() / 100).copied().unwrap_or(0.0);
    let least_db = STEP_DB * (quiet / STEP_DB).ceil();
    let (columns, rows) = (field.range_m.len(), field.depth_m.len());
    let half = |list: &[f64]| list.first().copied().unwrap_or(0.0);
    let (half_m, half_z_m) = (half(&field.range_m), half(&field.depth_m));
    let shade_of = |at: usize| {
        let loss_db = field.loss_db[at];
        (reach[at] != Reach::Nothing && loss_db.is_finite())
            .then(|| (((loss_db - least_db) / STEP_DB).ceil().max(0.0) as usize).min(SHADES - 1))
    };
    for row in 0..rows {
        let top = depth.px(field.depth_m[row] - half_z_m);
        let bottom = depth.px(field.depth_m[row] + half_z_m);
        let mut from = 0;
        for column in 1..=columns {
            let here = shade_of(row * columns + from);
            let same = column < columns && shade_of(row * columns + column) == here;
            if same {
                continue;
            }
            let left = range.px(field.range_m[from] - half_m);
            let right = range.px(field.range_m[column - 1] + half_m);
            let colour = here.map_or(NO_DATA, shade_colour);
            drawing.fill((left, top, right, bottom), colour);
            if here.is_none() && row % 3 == 1 {
                let middle = 0.5 * (top + bottom);
                drawing.line(vec![(left, middle), (right, middle)], NO_DATA_STROKE, 1.0);
            }
            from = column;
        }
    }
    least_db
}

/// Dashes where sound comes by way of the bed alone.
fn hatch(
    drawing: &mut Drawing,
    field: &LossField,
    reach: &[Reach],
    (range, depth): (&Axis, &Axis),
) {
    let columns = field.range_m.len();
    let dark = |row: usize, column: usize| reach[row * columns + column] == Reach::Bed;
    for row in (HATCH_ROWS / 2..field.depth_m.len()).step_by(HATCH_ROWS) {
        let y = depth.px(field.depth_m[row]);
        let mut from = None;
        for column in 0..=columns {
            let here = column < columns && dark(row, column);
            match (here, from) {
                (true, None) => from = Some(column),
                (false, Some(first)) => {
                    let ends = [first, column - 1].map(|c| (range.px(field.range_m[c]), y));
                    drawing.dashed(ends.to_vec(), WHITE, 1.2, HATCH);
                    from = None;
                }
                _ => {}
            }
        }
    }
}

/// Little loss is light.
fn shade_colour(shade: usize) -> Rgb {
    scale_colour(0.95 - 0.8 * shade as f64 / (SHADES - 1) as f64)
}

fn range_axis(drawing: &mut Drawing, plot: Area, range: &Axis) {
    let (_, far_m) = range.range();
    let (unit_m, unit) = if far_m >= 3000.0 {
        (1000.0, "km")
    } else {
        (1.0, "m")
    };
    let (ticks, decimals) = linear_ticks(0.0, far_m / unit_m, 9);
    for tick in ticks {
        drawing.tick_below(plot, range.px(tick * unit_m), format!("{tick:.decimals$}"));
    }
    drawing.text(
        format!("range from the hydrophone, {unit}"),
        (plot.right, plot.bottom + 44.0),
        Align::Right,
        INK,
    );
}

fn rays(drawing: &mut Drawing, paths: &SoundPaths, ear: &EarPaths, (range, depth): (&Axis, &Axis)) {
    let line = |points: &[(f64, f64)]| -> Vec<(f64, f64)> {
        points
            .iter()
            .map(|(r, z)| (range.px(*r), depth.px(*z)))
            .collect()
    };
    for points in &ear.fan {
        drawing.line(line(points), BLACK, FAN_PX);
    }
    let bounces = ear.rays.iter().flat_map(|told| &told.found.paths);
    for (points, path) in ear.drawn.iter().zip(bounces) {
        if points.is_empty() {
            continue;
        }
        let dashes = DASHES[(path.family.bed_bounces as usize).min(DASHES.len() - 1)];
        drawing.line(line(points), WHITE, 3.4);
        drawing.dashed(line(points), BLACK, 1.6, dashes);
    }
    let mark = |drawing: &mut Drawing, r: f64, z: f64, filled: bool| {
        let (x, y) = (range.px(r), depth.px(z));
        let m = MARK_PX;
        let corners = vec![(x - m, y), (x, y - m), (x + m, y), (x, y + m), (x - m, y)];
        drawing.line(corners.clone(), WHITE, 5.0);
        drawing.line(corners, BLACK, 2.0);
        if filled {
            drawing.fill((x - 3.0, y - 3.0, x + 3.0, y + 3.0), BLACK);
        }
    };
    for other in &paths.ears {
        mark(drawing, 0.0, other.depth_m, other.sensor == ear.sensor);
    }
    if let Some(range_m) = paths.ask.range_m {
        mark(drawing, range_m, paths.ask.source_depth_m, true);
        label(
            drawing,
            "source",
            (
                range.px(range_m) + 12.0,
                depth.px(paths.ask.source_depth_m) - 10.0,
            ),
        );
    }
    label(
        drawing,
        "hydrophone",
        (range.px(0.0) + 12.0, depth.px(ear.depth_m) - 10.0),
    );
}

/// A word on a plate, for the ground may be of any shade.
fn label(drawing: &mut Drawing, word: &str, (x, y): (f64, f64)) {
    let wide = super::canvas::text_width(word, 15.0);
    drawing.fill((x - 3.0, y - 14.0, x + wide + 3.0, y + 5.0), WHITE);
    drawing.text(word, (x, y), Align::Left, INK);
}

fn speed(
    drawing: &mut Drawing,
    paths: &SoundPaths,
    ear: &EarPaths,
    area: Area,
    depth: &Axis,
) -> Result<(), PictureError> {
    let (slowest, fastest) = paths
        .speeds
        .iter()
        .fold((f64::INFINITY, 0.0_f64), |(a, b), (_, c)| {
            (a.min(*c), b.max(*c))
        });
    let speed = Axis::new(
        "sound speed",
        "m/s",
        AxisScale::Linear,
        (slowest - 1.0, fastest + 1.0),
        (area.left, area.right),
    )?;
    drawing.frame(area, depth, "depth, m");
    let (low, high) = speed.range();
    let (ticks, decimals) = linear_ticks(low, high, 4);
    for tick in ticks {
        drawing.tick_below(area, speed.px(tick), format!("{tick:.decimals$}"));
    }
    drawing.text(
        "sound speed, m/s",
        (area.left, area.bottom + 44.0),
        Align::Left,
        INK,
    );
    let points = paths
        .speeds
        .iter()
        .map(|(z, c)| (speed.px(*c), depth.px(*z)))
        .collect();
    drawing.line(points, INK, 2.2);
    let y = depth.px(ear.depth_m);
    drawing.dashed(
        vec![(area.left, y), (area.right, y)],
        QUIET_INK,
        1.2,
        &[4.0, 4.0],
    );
    drawing.border(area);
    Ok(())
}

fn legend(
    drawing: &mut Drawing,
    ear: &EarPaths,
    least_db: f64,
    (left, top): (f64, f64),
    width: f64,
) {
    let step = 62.0;
    drawing.text(
        "loss to the hydrophone, dB re 1 m, powers of all paths added",
        (left, top - 10.0),
        Align::Left,
        INK,
    );
    for shade in 0..SHADES {
        let x = left + step * shade as f64;
        drawing.fill((x, top, x + step, top + 18.0), shade_colour(shade));
        let edge_db = least_db + STEP_DB * shade as f64;
        if shade + 1 < SHADES {
            drawing.text(
                format!("{edge_db:.0}"),
                (x + step, top + 38.0),
                Align::Centre,
                INK,
            );
        }
    }
    let x = left + step * SHADES as f64 + 24.0;
    drawing.fill((x, top, x + 40.0, top + 18.0), NO_DATA);
    for y in [5.0, 9.0, 13.0] {
        drawing.line(vec![(x, top + y), (x + 40.0, top + y)], NO_DATA_STROKE, 1.0);
    }
    drawing.text("no ray comes", (x + 48.0, top + 14.0), Align::Left, INK);
    let y = top + 26.0;
    drawing.fill((x, y, x + 40.0, y + 18.0), shade_colour(SHADES / 2));
    for below in [5.0, 13.0] {
        drawing.dashed(
            vec![(x, y + below), (x + 40.0, y + below)],
            WHITE,
            1.2,
            HATCH,
        );
    }
    drawing.text(
        "only by way of the bed",
        (x + 48.0, y + 14.0),
        Align::Left,
        INK,
    );
    let mut x = x + 270.0;
    if let [first, second, ..] = ear.fan_deg.as_slice() {
        drawing.line(vec![(x, top + 9.0), (x + 34.0, top + 9.0)], BLACK, FAN_PX);
        drawing.text(
            format!(
                "rays that leave the hydrophone, {}\u{b0} apart",
                second - first
            ),
            (x + 40.0, top + 14.0),
            Align::Left,
            INK,
        );
    }
    if ear.drawn.is_empty() {
        return;
    }
    for (bounces, dashes) in DASHES.iter().enumerate() {
        let word = match bounces {
            0 => "bed not touched".to_owned(),
            3 => "3 or more".to_owned(),
            n => format!("{n}"),
        };
        if x + 60.0 > width {
            break;
        }
        drawing.dashed(
            vec![(x, top + 9.0), (x + 34.0, top + 9.0)],
            BLACK,
            1.6,
            dashes,
        );
        drawing.text(word.clone(), (x + 40.0, top + 14.0), Align::Left, INK);
        x += 56.0 + super::canvas::text_width(&word, 15.0);
    }
}
