//! Speed of the current by depth beside a line, each case as its line is drawn.

use assess::input::DesignCase;

use super::super::canvas::{Align, Area};
use super::super::colour::{GRID_LINE, INK};
use super::super::drawing::Drawing;
use super::super::{Axis, AxisScale, PictureError, linear_ticks};
use super::plates::{Plates, numbers};
use super::{CURRENT_PX, Page, colour, dashes};

/// A way on the page, and the cases that have it.
type Drawn = (Vec<(f64, f64)>, Vec<usize>);

impl Page<'_> {
    /// Speed of the current by depth, each case as its line is drawn.
    pub(super) fn current(&self, drawing: &mut Drawing) -> Result<(), PictureError> {
        let right = f64::from(self.size.width_px) - 30.0;
        let area = Area {
            left: right - CURRENT_PX,
            right,
            ..self.plot
        };
        let fastest_m_s = self
            .found
            .cases
            .iter()
            .flat_map(|c| c.current.iter().map(|p| p.1))
            .fold(0.0, f64::max);
        let (low_m, high_m) = self.depth.range();
        for tick in linear_ticks(low_m, high_m, 6).0 {
            let y = self.depth.px(tick);
            drawing.line(vec![(area.left, y), (area.right, y)], GRID_LINE, 1.0);
        }
        self.bed(drawing, area);
        if fastest_m_s == 0.0 {
            drawing.border(area);
            let word = "slack water in every case";
            drawing.text(word, (area.left, area.top - 10.0), Align::Left, INK);
            return Ok(());
        }
        let speed = Axis::new(
            "speed of the current",
            "m/s",
            AxisScale::Linear,
            (0.0, 1.08 * fastest_m_s),
            (area.left, area.right),
        )?;
        let (ticks, decimals) = linear_ticks(0.0, 1.08 * fastest_m_s, 4);
        for tick in ticks {
            let x = speed.px(tick);
            let bottom = self.depth.px(self.bed_m);
            drawing.line(vec![(x, area.top), (x, bottom)], GRID_LINE, 1.0);
            drawing.label_below(area, x, format!("{tick:.decimals$}"));
        }
        let word = "water current, m/s";
        drawing.text(word, (area.left, area.top - 10.0), Align::Left, INK);
        // Cases with one current at one level are one line with one plate.
        let mut lines: Vec<Drawn> = Vec::new();
        for (ix, case) in self.found.cases.iter().enumerate() {
            if case.current.is_empty() {
                continue;
            }
            let points: Vec<(f64, f64)> = profile(case)
                .into_iter()
                .map(|(depth_m, m_s)| (speed.px(m_s), self.depth.px(depth_m - case.level_m)))
                .collect();
            match lines.iter_mut().find(|(other, _)| *other == points) {
                Some((_, cases)) => cases.push(ix),
                None => {
                    drawing.dashed(points.clone(), colour(ix), 2.0, dashes(ix));
                    lines.push((points, vec![ix]));
                }
            }
        }
        let bed_px = self.depth.px(self.bed_m);
        let mut plates =
            Plates::within((area.left + 2.0, area.top + 2.0, area.right - 2.0, bed_px));
        let count = lines.len().max(2) as f64;
        for (seen, (points, cases)) in lines.iter().enumerate() {
            let share = 0.08 + 0.8 * seen as f64 / (count - 1.0);
            let wanted = share * (points.len() - 1) as f64;
            let mut places: Vec<(f64, (f64, f64))> = points
                .iter()
                .enumerate()
                .map(|(ix, at)| (libm::fabs(ix as f64 - wanted), *at))
                .collect();
            places.sort_by(|a, b| a.0.total_cmp(&b.0));
            let places: Vec<(f64, f64)> = places.into_iter().map(|p| p.1).collect();
            plates.put(drawing, &numbers(cases), &places);
        }
        drawing.border(area);
        Ok(())
    }
}

/// Depth and speed of a case's current from the surface to the bed, as it counts: between two velocities that turn it is slower than either.
fn profile(case: &DesignCase) -> Vec<(f64, f64)> {
    const STEPS: u32 = 48;
    let bed_m = case.water.depth_m;
    let mut depths: Vec<f64> = (0..=STEPS)
        .map(|step| bed_m * f64::from(step) / f64::from(STEPS))
        .chain(case.current.iter().map(|p| p.0).filter(|d| *d < bed_m))
        .collect();
    depths.sort_by(f64::total_cmp);
    depths.dedup();
    let speed = |depth_m: f64| case.water.current.speed_and_direction(depth_m).0;
    depths.into_iter().map(|d| (d, speed(d))).collect()
}
