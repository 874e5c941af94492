//! A drawing in the making: text, areas and lines in the house's sizes, frames with their grid.

use super::canvas::{Align, Area, shortened};
use super::colour::{GRID_LINE, INK, QUIET_INK, Rgb};
use super::shapes::Shape;
use super::{Axis, AxisScale, linear_ticks, logarithmic_ticks};

const TEXT_PX: f32 = 15.0;
const TITLE_PX: f32 = 22.0;

pub(super) struct Drawing {
    pub(super) shapes: Vec<Shape>,
}

impl Drawing {
    /// An empty page so wide, under its title.
    pub(super) fn titled(title: &str, width_px: f64) -> Self {
        let title = Shape::Text {
            text: shortened(title, TITLE_PX, width_px - 100.0),
            at: (70.0, 36.0),
            size_px: TITLE_PX,
            align: Align::Left,
            colour: INK,
        };
        Self {
            shapes: vec![title],
        }
    }

    pub(super) fn text(
        &mut self,
        text: impl Into<String>,
        at: (f64, f64),
        align: Align,
        colour: Rgb,
    ) {
        self.shapes.push(Shape::Text {
            text: text.into(),
            at,
            size_px: TEXT_PX,
            align,
            colour,
        });
    }

    pub(super) fn fill(&mut self, (left, top, right, bottom): (f64, f64, f64, f64), colour: Rgb) {
        let area = Area {
            left,
            top,
            right,
            bottom,
        };
        self.shapes.push(Shape::Fill { area, colour });
    }

    pub(super) fn line(&mut self, points: Vec<(f64, f64)>, colour: Rgb, width_px: f32) {
        self.dashed(points, colour, width_px, &[]);
    }

    pub(super) fn dashed(
        &mut self,
        points: Vec<(f64, f64)>,
        colour: Rgb,
        width_px: f32,
        dashes_px: &'static [f32],
    ) {
        self.shapes.push(Shape::Line {
            points,
            colour,
            width_px,
            dashes_px,
        });
    }

    /// Horizontal grid with labels, and what the vertical axis is.
    pub(super) fn frame(&mut self, area: Area, vertical: &Axis, what: &str) {
        let (low, high) = vertical.range();
        let (ticks, decimals) = match vertical.scale() {
            AxisScale::Linear => linear_ticks(low, high, 6),
            AxisScale::Logarithmic => (logarithmic_ticks(low, high, 9), 0),
        };
        for tick in ticks {
            let y = vertical.px(tick);
            self.line(vec![(area.left, y), (area.right, y)], GRID_LINE, 1.0);
            self.text(
                format!("{tick:.decimals$}"),
                (area.left - 8.0, y + 5.0),
                Align::Right,
                INK,
            );
        }
        self.text(what, (area.left, area.top - 10.0), Align::Left, INK);
    }

    /// A short line below an area at `x_px`, and its label.
    pub(super) fn tick_below(&mut self, area: Area, x_px: f64, label: impl Into<String>) {
        let bottom = area.bottom;
        self.line(vec![(x_px, bottom), (x_px, bottom + 6.0)], QUIET_INK, 1.0);
        self.label_below(area, x_px, label);
    }

    /// A line through an area at `x_px`, and its label below.
    pub(super) fn line_across(&mut self, area: Area, x_px: f64, label: impl Into<String>) {
        self.line(vec![(x_px, area.top), (x_px, area.bottom)], GRID_LINE, 1.0);
        self.label_below(area, x_px, label);
    }

    /// A label below an area, with its middle at `x_px`.
    pub(super) fn label_below(&mut self, area: Area, x_px: f64, label: impl Into<String>) {
        self.text(label, (x_px, area.bottom + 22.0), Align::Centre, INK);
    }

    pub(super) fn border(&mut self, area: Area) {
        let corners = vec![
            (area.left, area.top),
            (area.right, area.top),
            (area.right, area.bottom),
            (area.left, area.bottom),
            (area.left, area.top),
        ];
        self.line(corners, QUIET_INK, 1.0);
    }
}
