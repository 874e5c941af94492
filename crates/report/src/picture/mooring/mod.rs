//! The picture of a line in the water: from the side and true to scale, in every design case, with its modules, the bed, the water levels
//! and the current beside it; and from above. From the side each case is seen across the upright plane in which its top leans, so that none looks upright that is not.
//!
//! A case is told by the dashes of its line and by its number, which stands on the line and in the legend.

mod above;
mod current;
mod legend;
mod names;
mod plates;

use assess::input::{MooredTop, Thing};
use assess::{CaseShape, HungLine, Moorings};
use plan::Line;

use super::canvas::{Align, Area, checked_size, text_width};
use super::colour::{BAR, BLACK, INK, QUIET_INK, Rgb, WHITE};
use super::drawing::Drawing;
use super::shapes::{Drawn, Shape};
use super::{Axis, AxisScale, PictureError, PictureSize, linear_ticks};
use plates::{Plates, numbers};

const DASHES: [&[f32]; 8] = [
    &[],
    &[14.0, 5.0],
    &[6.0, 5.0],
    &[2.0, 4.0],
    &[16.0, 4.0, 2.0, 4.0],
    &[16.0, 4.0, 2.0, 4.0, 2.0, 4.0],
    &[3.0, 3.0, 3.0, 10.0],
    &[26.0, 6.0],
];
const LETTERS_PX: f32 = 15.0;
const ROW_PX: f64 = 24.0;
/// Room for the names of modules, and for the current.
const NAMES_PX: f64 = 270.0;
const CURRENT_PX: f64 = 190.0;
/// Room for the legend with the view from above beside it, and for that view alone.
const BELOW_PX: f64 = 250.0;
const ABOVE_PX: f64 = 200.0;
const MARK_PX: f64 = 7.0;
const BED: Rgb = [214, 205, 190];

/// The picture of a line as a PNG file.
///
/// # Errors
/// [`PictureError::Size`]; [`PictureError::Range`] where the line has no shape in any case.
pub fn mooring_picture_png(
    line: &Line,
    found: &Moorings,
    of: &HungLine,
    size: PictureSize,
) -> Result<Vec<u8>, PictureError> {
    mooring_picture(line, found, of, size).map(|drawn| drawn.png())
}

/// The picture of a line as an SVG file.
///
/// # Errors
/// As [`mooring_picture_png`].
pub fn mooring_picture_svg(
    line: &Line,
    found: &Moorings,
    of: &HungLine,
    size: PictureSize,
) -> Result<String, PictureError> {
    mooring_picture(line, found, of, size).map(|drawn| drawn.svg())
}

/// The picture before it is a file.
pub(crate) fn mooring_picture(
    line: &Line,
    found: &Moorings,
    of: &HungLine,
    size: PictureSize,
) -> Result<Drawn, PictureError> {
    Ok(Drawn {
        shapes: Page::new(line, found, of, size)?.draw()?,
        size,
        title: title(line, of),
        about: description(line, found, of),
    })
}

fn title(line: &Line, of: &HungLine) -> String {
    format!(
        "{}: the line from anchor.{} to {}",
        line.deployment.name,
        line.anchors[of.line.anchor].id,
        of.line.top.path(line)
    )
}

fn description(line: &Line, found: &Moorings, of: &HungLine) -> String {
    let cases: Vec<String> = found
        .cases
        .iter()
        .zip(&of.shapes)
        .map(|(case, shape)| match shape {
            Ok(shape) => format!("{}: top {:.2} m off", case.id, shape.shape.excursion_m()),
            Err(why) => format!("{}: {why}", case.id),
        })
        .collect();
    let modules: Vec<String> = of
        .modules
        .iter()
        .map(|m| {
            format!(
                "{} {:.2} m to {:.2} m deep",
                line.module_path(m.module),
                m.shallowest_m.value,
                m.deepest_m.value
            )
        })
        .collect();
    format!(
        "Side view true to scale. Cases: {}. Modules: {}.",
        cases.join("; "),
        modules.join("; ")
    )
}

struct Page<'a> {
    line: &'a Line,
    found: &'a Moorings,
    of: &'a HungLine,
    size: PictureSize,
    /// Towards what east and north the picture goes to the right, for the line that leans most.
    along: [f64; 2],
    /// Depth of the bed below the site's level, m.
    bed_m: f64,
    plot: Area,
    depth: Axis,
    across: Axis,
}

impl<'a> Page<'a> {
    fn new(
        line: &'a Line,
        found: &'a Moorings,
        of: &'a HungLine,
        size: PictureSize,
    ) -> Result<Page<'a>, PictureError> {
        checked_size(size.width_px, size.height_px)?;
        let (width, height) = (f64::from(size.width_px), f64::from(size.height_px));
        let (_, rows) = legend::columns_and_rows(found.cases.len(), height);
        let below_px = (ROW_PX * rows as f64).max(BELOW_PX);
        let mut plot = Area {
            left: 70.0,
            right: width - NAMES_PX - CURRENT_PX - 100.0,
            top: 92.0,
            bottom: height - 74.0 - below_px,
        };
        let along = seen_along(of);
        let bed_m = line.sea.water_depth_m.si;
        let highest_m = found.cases.iter().map(|c| c.level_m).fold(0.0, f64::max);
        let tall_m = 1.12 * (bed_m + highest_m);
        let top_m = -highest_m - 0.07 * (bed_m + highest_m);
        let (mut low_m, mut high_m) = (0.0_f64, 0.0_f64);
        for shape in of.shapes.iter().flatten() {
            let own = own_plane(along, shape);
            for point in &shape.shape.points {
                let at = point.at_m[0] * own[0] + point.at_m[1] * own[1];
                (low_m, high_m) = (low_m.min(at), high_m.max(at));
            }
        }
        let room_px = (plot.width(), plot.bottom - plot.top);
        // One metre is as long in both directions: the tighter of the two decides.
        let wide_m = 1.12 * (high_m - low_m) + 0.02 * tall_m;
        let per_px = (tall_m / room_px.1).max(wide_m / room_px.0);
        plot.bottom = plot.top + tall_m / per_px;
        let half_m = 0.5 * room_px.0 * per_px;
        let middle_m = 0.5 * (low_m + high_m);
        let depth = Axis::new(
            "depth",
            "m",
            AxisScale::Linear,
            (top_m, top_m + tall_m),
            (plot.top, plot.bottom),
        )?;
        let across = Axis::new(
            "distance from the anchor",
            "m",
            AxisScale::Linear,
            (middle_m - half_m, middle_m + half_m),
            (plot.left, plot.right),
        )?;
        Ok(Page {
            line,
            found,
            of,
            size,
            along,
            bed_m,
            plot,
            depth,
            across,
        })
    }

    fn at(&self, shape: &CaseShape, [x, y, z]: [f64; 3]) -> (f64, f64) {
        let own = own_plane(self.along, shape);
        let along_m = x * own[0] + y * own[1];
        (self.across.px(along_m), self.depth.px(self.bed_m - z))
    }

    fn draw(&self) -> Result<Vec<Shape>, PictureError> {
        let title = title(self.line, self.of);
        let mut drawing = Drawing::titled(&title, f64::from(self.size.width_px));
        let plot = self.plot;
        drawing.frame(plot, &self.depth, "depth below the level of the site, m");
        let (low_m, high_m) = self.across.range();
        let (ticks, decimals) = linear_ticks(low_m, high_m, 8);
        for tick in ticks {
            drawing.line_across(plot, self.across.px(tick), format!("{tick:.decimals$}"));
        }
        let [east, north] = self.along;
        let towards_deg = libm::atan2(east, north).to_degrees().rem_euclid(360.0);
        drawing.text(
            format!("m from the anchor, each line in the plane of its lean (right: {towards_deg:.0}\u{b0} \u{b1} 90\u{b0})"),
            (plot.right, plot.bottom + 42.0),
            Align::Right,
            INK,
        );
        self.bed(&mut drawing, plot);
        self.levels(&mut drawing);
        for (ix, shape) in self.of.shapes.iter().enumerate() {
            if let Ok(shape) = shape {
                self.one_line(&mut drawing, ix, shape);
            }
        }
        self.marks(&mut drawing);
        self.names(&mut drawing);
        self.case_numbers(&mut drawing);
        drawing.border(plot);
        self.current(&mut drawing)?;
        let below = self.plot.bottom + 74.0;
        self.legend(&mut drawing, below);
        self.seen_from_above(&mut drawing, below)?;
        Ok(drawing.shapes)
    }

    fn bed(&self, drawing: &mut Drawing, area: Area) {
        let y = self.depth.px(self.bed_m);
        drawing.fill((area.left, y, area.right, area.bottom), BED);
        drawing.line(vec![(area.left, y), (area.right, y)], INK, 1.6);
    }

    /// The water's surface in each case, once for each level.
    fn levels(&self, drawing: &mut Drawing) {
        let mut levels: Vec<f64> = self.found.cases.iter().map(|c| c.level_m).collect();
        levels.sort_by(f64::total_cmp);
        levels.dedup();
        for level_m in &levels {
            let y = self.depth.px(-level_m);
            let ends = vec![(self.plot.left, y), (self.plot.right, y)];
            drawing.dashed(ends, BAR, 1.2, &[3.0, 3.0]);
        }
        let (Some(lowest), Some(highest)) = (levels.first(), levels.last()) else {
            return;
        };
        // Levels lie close on the page, and buoys on them: one word beside the highest stands for all.
        let word = if lowest == highest {
            format!("water at {}", signed(*highest))
        } else {
            format!("water from {} to {}", signed(*lowest), signed(*highest))
        };
        let at = (self.plot.right + 16.0, self.depth.px(-highest) - 12.0);
        drawing.text(word, at, Align::Left, BAR);
    }

    fn one_line(&self, drawing: &mut Drawing, ix: usize, shape: &CaseShape) {
        let points: Vec<(f64, f64)> = shape
            .shape
            .points
            .iter()
            .map(|p| self.at(shape, p.at_m))
            .collect();
        drawing.dashed(points, colour(ix), 2.0, dashes(ix));
        let (x, y) = self.at(shape, shape.shape.top_m);
        match self.of.line.top {
            MooredTop::Buoy { .. } => {
                let hull = vec![
                    (x - 11.0, y - 6.0),
                    (x + 11.0, y - 6.0),
                    (x + 7.0, y + 5.0),
                    (x - 7.0, y + 5.0),
                    (x - 11.0, y - 6.0),
                ];
                drawing.line(hull, colour(ix), 1.6);
                drawing.line(vec![(x, y - 6.0), (x, y - 18.0)], colour(ix), 1.6);
            }
            MooredTop::Float { .. } => drawing.line(ring(x, y, 8.0), colour(ix), 1.6),
        }
    }

    /// The numbers of the cases on their lines, clear of what hangs there and of one another; cases that are drawn on one line share a plate.
    fn case_numbers(&self, drawing: &mut Drawing) {
        let mut groups: Vec<Vec<usize>> = Vec::new();
        for (ix, shape) in self.of.shapes.iter().enumerate() {
            if shape.is_err() {
                continue;
            }
            let on = self.lies_on(ix);
            match groups
                .iter_mut()
                .find(|g| on.is_some_and(|on| g.contains(&on)))
            {
                Some(group) => group.push(ix),
                None => groups.push(vec![ix]),
            }
        }
        let bed_px = self.depth.px(self.bed_m);
        let plot = self.plot;
        let mut plates =
            Plates::within((plot.left + 2.0, plot.top + 2.0, plot.right - 2.0, bed_px));
        for shape in self.of.shapes.iter().flatten() {
            for thing in &shape.things {
                let (x, y) = self.at(shape, thing.at_m);
                plates.take((x - 8.0, y - 8.0, x + 8.0, y + 8.0));
            }
            let (x, y) = self.at(shape, shape.shape.top_m);
            plates.take((x - 11.0, y - 18.0, x + 11.0, y + 8.0));
        }
        let x = self.across.px(0.0);
        plates.take((x - 9.0, bed_px - 4.0, x + 9.0, bed_px + 8.0));
        let count = groups.len().max(2) as f64;
        for (seen, group) in groups.iter().enumerate() {
            let Some(Ok(shape)) = group.first().map(|ix| &self.of.shapes[*ix]) else {
                continue;
            };
            let share = 0.12 + 0.55 * seen as f64 / (count - 1.0);
            let s_m = (1.0 - share) * self.of.line.length_m();
            let mut points: Vec<(f64, (f64, f64))> = shape
                .shape
                .points
                .iter()
                .map(|p| ((p.s_m - s_m).abs(), self.at(shape, p.at_m)))
                .collect();
            points.sort_by(|a, b| a.0.total_cmp(&b.0));
            let places: Vec<(f64, f64)> = points.into_iter().map(|p| p.1).collect();
            plates.put(drawing, &numbers(group), &places);
        }
    }

    fn marks(&self, drawing: &mut Drawing) {
        let (x, y) = (self.across.px(0.0), self.depth.px(self.bed_m));
        drawing.fill((x - 9.0, y - 4.0, x + 9.0, y + 8.0), INK);
        for (ix, shape) in self.of.shapes.iter().enumerate() {
            let Ok(shape) = shape else { continue };
            for thing in &shape.things {
                let (x, y) = self.at(shape, thing.at_m);
                match thing.what {
                    Thing::Float(_) => {
                        drawing.line(ring(x, y, 5.0), WHITE, 3.6);
                        drawing.line(ring(x, y, 5.0), INK, 1.4);
                    }
                    Thing::Weight(_) => drawing.fill((x - 4.0, y - 4.0, x + 4.0, y + 4.0), INK),
                    Thing::Module(_) => {
                        let m = if self.found.cases[ix].nominal {
                            MARK_PX
                        } else {
                            4.0
                        };
                        let corners =
                            vec![(x - m, y), (x, y - m), (x + m, y), (x, y + m), (x - m, y)];
                        drawing.line(corners.clone(), WHITE, 4.4);
                        drawing.line(corners, BLACK, 1.6);
                    }
                }
            }
        }
    }
}

/// A level with its sign, none for nothing.
fn signed(level_m: f64) -> String {
    if level_m == 0.0 {
        "0 m".to_owned()
    } else {
        format!("{level_m:+} m")
    }
}

/// Towards where the line goes furthest; east where it stands upright in every case.
fn seen_along(of: &HungLine) -> [f64; 2] {
    let widest = of
        .shapes
        .iter()
        .flatten()
        .max_by(|a, b| a.shape.excursion_m().total_cmp(&b.shape.excursion_m()));
    match widest {
        Some(shape) if shape.shape.excursion_m() > 0.0 => {
            let [x, y, _] = shape.shape.top_m;
            let far = shape.shape.excursion_m();
            [x / far, y / far]
        }
        _ => [1.0, 0.0],
    }
}

/// The direction, towards east and north, in which a case is drawn to the right: that in which its top leans, turned round where that is away from `along`.
fn own_plane(along: [f64; 2], shape: &CaseShape) -> [f64; 2] {
    let [x, y, _] = shape.shape.top_m;
    let far_m = shape.shape.excursion_m();
    if far_m <= 0.0 {
        return along;
    }
    let turned = if x * along[0] + y * along[1] < -1e-9 * far_m {
        -1.0
    } else {
        1.0
    };
    [turned * x / far_m, turned * y / far_m]
}

fn dashes(ix: usize) -> &'static [f32] {
    DASHES[ix % DASHES.len()]
}

fn colour(ix: usize) -> Rgb {
    // So that a pattern of dashes that comes again has the other colour.
    if (ix + ix / DASHES.len()).is_multiple_of(2) {
        INK
    } else {
        BAR
    }
}

fn ring(x: f64, y: f64, radius: f64) -> Vec<(f64, f64)> {
    (0..=16)
        .map(|i| {
            let turn = f64::from(i) * core::f64::consts::PI / 8.0;
            (x + radius * libm::cos(turn), y + radius * libm::sin(turn))
        })
        .collect()
}

/// A word on a white plate with a thin edge, its middle at a place.
fn plate(drawing: &mut Drawing, word: &str, (x, y): (f64, f64)) {
    let half = 0.5 * text_width(word, LETTERS_PX) + 3.0;
    drawing.fill((x - half, y - 9.0, x + half, y + 9.0), WHITE);
    let edge = vec![
        (x - half, y - 9.0),
        (x + half, y - 9.0),
        (x + half, y + 9.0),
        (x - half, y + 9.0),
        (x - half, y - 9.0),
    ];
    drawing.line(edge, QUIET_INK, 0.8);
    drawing.text(word, (x, y + 5.0), Align::Centre, INK);
}
