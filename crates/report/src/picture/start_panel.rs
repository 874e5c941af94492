//! One time range of the picture of a start: its samples as lines, numbers at their ends, ticks below.

use assess::Start;

use super::canvas::{Align, Area};
use super::colour::{GRID_LINE, INK, NO_DATA, QUIET_INK, Rgb};
use super::drawing::Drawing;
use super::{Axis, linear_ticks};

const LABEL_PX: f64 = 15.0;

/// One time range on one part of the page.
pub(super) struct Panel {
    pub(super) area: Area,
    pub(super) horizontal: Axis,
    pub(super) vertical: Axis,
    pub(super) until_s: f64,
    /// The leftmost, where levels are named.
    pub(super) first: bool,
}

impl Panel {
    pub(super) fn at(&self, at_s: f64, value: f64) -> (f64, f64) {
        (self.horizontal.px(at_s), self.vertical.px(value))
    }
}

/// The samples of a panel as lines, broken where periods are alike.
pub(super) fn curves(start: &Start, values: &[f64], panel: &Panel) -> Vec<Vec<(f64, f64)>> {
    let mut all = Vec::new();
    let mut now: Vec<(f64, f64)> = Vec::new();
    let mut before: Option<(f64, f64)> = None;
    for (&at_s, &value) in start.time_s.iter().zip(values) {
        if let Some((before_s, before_value)) = before {
            let skipped = start
                .alike_s
                .iter()
                .any(|(from_s, to_s)| before_s <= *from_s && at_s >= *to_s);
            if skipped {
                all.push(std::mem::take(&mut now));
            } else if at_s > panel.until_s {
                let share = (panel.until_s - before_s) / (at_s - before_s);
                let cut = before_value + share * (value - before_value);
                now.push(panel.at(panel.until_s, cut));
                break;
            }
        }
        if at_s > panel.until_s {
            break;
        }
        now.push(panel.at(at_s, value));
        before = Some((at_s, value));
    }
    all.push(now);
    all.retain(|points| points.len() > 1);
    all
}

/// Time that goes on as it was.
pub(super) fn alike(drawing: &mut Drawing, start: &Start, panel: &Panel) {
    for (from_s, to_s) in &start.alike_s {
        if *from_s >= panel.until_s {
            continue;
        }
        let (left, right) = (
            panel.horizontal.px(*from_s),
            panel.horizontal.px(to_s.min(panel.until_s)),
        );
        drawing.fill((left, panel.area.top, right, panel.area.bottom), NO_DATA);
    }
}

/// A sampled value, on the straight line between two samples.
pub(super) fn value_at(start: &Start, values: &[f64], at_s: f64) -> f64 {
    let k = start.time_s.partition_point(|s| *s < at_s);
    match (k.checked_sub(1), values.get(k)) {
        (Some(before), Some(&after)) => {
            let (from_s, to_s) = (start.time_s[before], start.time_s[k]);
            values[before] + (after - values[before]) * (at_s - from_s) / (to_s - from_s)
        }
        (Some(before), None) => values[before],
        (None, Some(&first)) => first,
        (None, None) => 0.0,
    }
}

/// Numbers at the right ends of lines, moved apart.
pub(super) fn labels(drawing: &mut Drawing, panel: &Panel, mut ends: Vec<(f64, String, Rgb)>) {
    ends.sort_by(|a, b| b.0.total_cmp(&a.0));
    let mut lowest_y = f64::NEG_INFINITY;
    for (value, text, colour) in ends {
        let y = (panel.vertical.px(value) + 5.0).max(lowest_y + LABEL_PX);
        drawing.text(text, (panel.area.right + 8.0, y), Align::Left, colour);
        lowest_y = y;
    }
}

/// Ticks under a panel, in milliseconds below a second.
pub(super) fn times(drawing: &mut Drawing, panel: &Panel, named: bool) {
    let (unit, in_one) = if panel.until_s < 1.0 {
        ("ms", 1000.0)
    } else {
        ("s", 1.0)
    };
    let (ticks, decimals) = linear_ticks(0.0, panel.until_s * in_one, 6);
    for tick in ticks {
        let x = panel.horizontal.px(tick / in_one);
        drawing.line(
            vec![(x, panel.area.bottom), (x, panel.area.bottom + 6.0)],
            QUIET_INK,
            1.0,
        );
        drawing.line(
            vec![(x, panel.area.top), (x, panel.area.bottom)],
            GRID_LINE,
            0.6,
        );
        drawing.label_below(panel.area, x, format!("{tick:.decimals$}"));
    }
    if named {
        drawing.text(
            format!("{unit} after power came on"),
            (panel.area.right, panel.area.bottom + 46.0),
            Align::Right,
            INK,
        );
    }
}
