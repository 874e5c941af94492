//! What hangs on a line, by name and with the depths that it sees, in a column beside its side view.

use assess::input::{MooredTop, Thing};

use super::super::canvas::{Align, shortened};
use super::super::colour::{INK, QUIET_INK};
use super::super::drawing::Drawing;
use super::{LETTERS_PX, NAMES_PX, Page};

/// From name to name where there is room, and at least, px.
const ROW_PX: f64 = 19.0;
const CLOSE_PX: f64 = 16.0;

impl Page<'_> {
    /// What hangs on the line, with the depths that it sees, in a column that keeps its names apart.
    pub(super) fn names(&self, drawing: &mut Drawing) {
        let numbered = self.found.cases.iter().enumerate();
        let nominal = numbered.filter(|(_, c)| c.nominal).map(|(ix, _)| ix);
        let first = nominal
            .chain(0..self.found.cases.len())
            .find_map(|ix| self.of.shapes[ix].as_ref().ok());
        let Some(shape) = first else { return };
        let mut names: Vec<(String, (f64, f64))> = shape
            .things
            .iter()
            .map(|thing| (self.told(thing.what), self.at(shape, thing.at_m)))
            .collect();
        let (x, y) = self.at(shape, shape.shape.top_m);
        let top = match self.of.line.top {
            MooredTop::Buoy { module, .. } => self.told(Thing::Module(module)),
            MooredTop::Float { float, .. } => self.told(Thing::Float(float)),
        };
        names.push((top, (x, y)));
        let anchor = format!("anchor.{}", self.line.anchors[self.of.line.anchor].id);
        names.push((anchor, (self.across.px(0.0), self.depth.px(self.bed_m))));
        names.sort_by(|a, b| a.1.1.total_cmp(&b.1.1));
        let left = self.plot.right + 16.0;
        // Below the word on the water.
        let highest_m = self
            .found
            .cases
            .iter()
            .map(|c| c.level_m)
            .fold(f64::NEG_INFINITY, f64::max);
        let first = (self.depth.px(-highest_m) + 2.0).max(self.plot.top);
        let room_px = self.plot.bottom - first;
        let most = (room_px / CLOSE_PX) as usize + 1;
        let over = names.len().saturating_sub(most);
        // The lowest but for the anchor give way.
        let from = (names.len() - over).saturating_sub(1);
        names.drain(from..from + over);
        let apart_px = (room_px / (names.len().max(2) - 1) as f64).min(ROW_PX);
        // From the top down no name is nearer than a row to the one before; then from the bottom up they are pushed back onto the page.
        let mut rows: Vec<f64> = Vec::new();
        for (_, (_, y)) in &names {
            let least = rows.last().map_or(first, |last| last + apart_px);
            rows.push(y.max(least));
        }
        let mut most = self.plot.bottom;
        for row in rows.iter_mut().rev() {
            *row = row.min(most);
            most = *row - apart_px;
        }
        if over > 0 {
            let at = (left, self.plot.bottom + 24.0);
            drawing.text(format!("and {over} more"), at, Align::Left, INK);
        }
        for ((name, (x, y)), row) in names.iter().zip(&rows) {
            let leader = vec![(x + 10.0, *y), (self.plot.right, *row), (left - 4.0, *row)];
            drawing.line(leader, QUIET_INK, 0.7);
            let name = shortened(name, LETTERS_PX, NAMES_PX - 26.0);
            drawing.text(name, (left, row + 5.0), Align::Left, INK);
        }
    }

    fn told(&self, what: Thing) -> String {
        let path = what.path(self.line);
        let Thing::Module(module) = what else {
            return match self.depths(what) {
                Some((least_m, most_m)) => format!("{path}: {least_m:.1} to {most_m:.1} m"),
                None => path,
            };
        };
        let id = path.trim_start_matches("module.").to_owned();
        match self.of.modules.iter().find(|m| m.module == module) {
            Some(m) if m.deepest_m.value <= 0.0 => format!("{id}: at the surface"),
            Some(m) => format!(
                "{id}: {:.1} to {:.1} m",
                m.shallowest_m.value, m.deepest_m.value
            ),
            None => id,
        }
    }

    /// Least and greatest depth of a float or a weight over the cases that have a shape, m.
    fn depths(&self, what: Thing) -> Option<(f64, f64)> {
        let tops = matches!(
            (self.of.line.top, what),
            (MooredTop::Float { float, .. }, Thing::Float(other)) if float == other
        );
        let shapes = self.of.shapes.iter().flatten();
        let seen = shapes.filter_map(|shape| {
            if tops {
                return Some(shape.top_depth_m);
            }
            let thing = shape.things.iter().find(|t| t.what == what)?;
            Some(thing.depth_m)
        });
        seen.fold(None, |range: Option<(f64, f64)>, m| {
            Some(range.map_or((m, m), |(least, most)| (least.min(m), most.max(m))))
        })
    }
}
