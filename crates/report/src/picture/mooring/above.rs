//! A line from above, in every case.

use super::super::canvas::{Align, Area, text_width};
use super::super::colour::{GRID_LINE, INK};
use super::super::drawing::Drawing;
use super::super::{Axis, AxisScale, PictureError, linear_ticks};
use super::plates::{around, numbers};
use super::{ABOVE_PX, LETTERS_PX, Page, colour, dashes, plate};

impl Page<'_> {
    /// Each line from above, north upwards, on one scale of its own in both directions.
    pub(super) fn seen_from_above(
        &self,
        drawing: &mut Drawing,
        top: f64,
    ) -> Result<(), PictureError> {
        let right = f64::from(self.size.width_px) - 30.0;
        let area = Area {
            left: right - ABOVE_PX,
            right,
            top: top + 14.0,
            bottom: top + 14.0 + ABOVE_PX,
        };
        let points = || {
            self.of
                .shapes
                .iter()
                .flatten()
                .flat_map(|s| &s.shape.points)
        };
        let far_m = points()
            .map(|p| p.at_m[0].abs().max(p.at_m[1].abs()))
            .fold(0.0, f64::max);
        let far_m = if far_m > 0.0 { 1.15 * far_m } else { 1.0 };
        let axis =
            |name: &'static str, range, px| Axis::new(name, "m", AxisScale::Linear, range, px);
        let east = axis(
            "east of the anchor",
            (-far_m, far_m),
            (area.left, area.right),
        )?;
        let north = axis(
            "north of the anchor",
            (-far_m, far_m),
            (area.bottom, area.top),
        )?;
        let (ticks, decimals) = linear_ticks(-far_m, far_m, 4);
        for tick in ticks {
            let label = format!("{tick:.decimals$}");
            drawing.line_across(area, east.px(tick), label.clone());
            let y = north.px(tick);
            drawing.line(vec![(area.left, y), (area.right, y)], GRID_LINE, 1.0);
            drawing.text(label, (area.left - 8.0, y + 5.0), Align::Right, INK);
        }
        let word = "from above, m from the anchor";
        drawing.text(word, (area.right, area.top - 10.0), Align::Right, INK);
        for (ix, shape) in self.of.shapes.iter().enumerate() {
            let Ok(shape) = shape else { continue };
            let at = |[x, y, _]: [f64; 3]| (east.px(x), north.px(y));
            let line = shape.shape.points.iter().map(|p| at(p.at_m)).collect();
            drawing.dashed(line, colour(ix), 1.6, dashes(ix));
        }
        // Tops whose plates would lie on one another share one.
        let mut tops: Vec<((f64, f64), Vec<usize>)> = Vec::new();
        for (ix, shape) in self.of.shapes.iter().enumerate() {
            let Ok(shape) = shape else { continue };
            let [x, y, _] = shape.shape.top_m;
            tops.push(((east.px(x), north.px(y)), vec![ix]));
        }
        let placed = |(at, cases): &((f64, f64), Vec<usize>)| {
            let wide = |word: &str| text_width(word, LETTERS_PX) + 8.0;
            // More numbers than the view is wide are told as how many they are.
            let word = Some(numbers(cases))
                .filter(|word| wide(word) < ABOVE_PX)
                .unwrap_or_else(|| format!("{} cases", cases.len()));
            let half = 0.5 * wide(&word);
            let x = at.0.clamp(area.left + half, area.right - half);
            (word, (x, at.1))
        };
        while let Some((first, second)) = meeting(&tops, placed) {
            let (_, cases) = tops.remove(second);
            tops[first].1.extend(cases);
            tops[first].1.sort_unstable();
        }
        drawing.border(area);
        for top in &tops {
            let (word, at) = placed(top);
            plate(drawing, &word, at);
        }
        Ok(())
    }
}

/// The first two plates that meet.
fn meeting<T>(tops: &[T], placed: impl Fn(&T) -> (String, (f64, f64))) -> Option<(usize, usize)> {
    let boxes: Vec<(f64, f64, f64, f64)> = tops
        .iter()
        .map(|top| {
            let (word, at) = placed(top);
            around(&word, at)
        })
        .collect();
    for (second, b) in boxes.iter().enumerate() {
        let meets = |a: &(f64, f64, f64, f64)| {
            a.0 < b.2 + 2.0 && b.0 < a.2 + 2.0 && a.1 < b.3 + 2.0 && b.1 < a.3 + 2.0
        };
        if let Some(first) = boxes[..second].iter().position(meets) {
            return Some((first, second));
        }
    }
    None
}
