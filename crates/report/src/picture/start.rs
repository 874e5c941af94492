//! The picture of a start: voltage of each module and current of each supply, once for the charging and once for the boots.
//!
//! Capacitors fill in milliseconds and modules boot in seconds. Where the two lie far apart the left half shows the first
//! moments and the right half the whole, each on its own even axis.

use assess::{Start, StartModule};

use super::canvas::{Align, Area, checked_size};
use super::colour::{GRID_LINE, INK, NO_DATA, QUIET_INK, Rgb};
use super::drawing::Drawing;
use super::shapes;
use super::{Axis, AxisScale, PictureError, PictureSize, linear_ticks};
use crate::told::contacts;

const PALETTE: [Rgb; 6] = [
    [22, 78, 120],
    [176, 58, 20],
    [30, 112, 62],
    [118, 54, 140],
    [140, 98, 0],
    [84, 84, 84],
];
const DASHES: [&[f32]; 5] = [
    &[],
    &[12.0, 5.0],
    &[3.0, 4.0],
    &[12.0, 4.0, 3.0, 4.0],
    &[6.0, 4.0],
];
const LIMIT_DASHES: &[f32] = &[2.0, 5.0];
/// The whole is drawn beside the first moments when it lasts so many times as long.
const FAR_APART: f64 = 6.0;
/// The first moments last so much longer than until their last event.
const AFTER: f64 = 1.5;
/// Marks of one kind drawn for one module in one panel; a hiccup has thousands.
const MOST_MARKS: usize = 3;
/// Voltages of lock-outs drawn as lines.
const MOST_LEVELS: usize = 4;
const LEFT_PX: f64 = 70.0;
const MARK_PX: f64 = 5.5;
const LABEL_PX: f64 = 15.0;

/// The picture as a PNG file.
///
/// # Errors
/// [`PictureError::Size`], and [`PictureError::Range`] for a start without time.
pub fn start_picture_png(
    title: &str,
    start: &Start,
    size: PictureSize,
) -> Result<Vec<u8>, PictureError> {
    let drawing = draw(title, start, size)?;
    Ok(shapes::png(
        &drawing.shapes,
        size,
        title,
        &description(start),
    ))
}

/// The picture as an SVG file.
///
/// # Errors
/// As [`start_picture_png`].
pub fn start_picture_svg(
    title: &str,
    start: &Start,
    size: PictureSize,
) -> Result<String, PictureError> {
    let drawing = draw(title, start, size)?;
    Ok(shapes::svg(
        &drawing.shapes,
        size,
        title,
        &description(start),
    ))
}

fn description(start: &Start) -> String {
    format!(
        "Voltage of each module and current of each supply after power comes on, {} contacts: {}. {}",
        contacts(start.contacts),
        start.outcome,
        start.told
    )
}

/// One time range on one part of the page.
struct Panel {
    area: Area,
    horizontal: Axis,
    vertical: Axis,
    until_s: f64,
    /// The leftmost, where levels are named.
    first: bool,
}

impl Panel {
    fn at(&self, at_s: f64, value: f64) -> (f64, f64) {
        (self.horizontal.px(at_s), self.vertical.px(value))
    }
}

#[derive(Clone, Copy)]
enum Mark {
    On,
    Booted,
    FellOut,
}

fn draw(title: &str, start: &Start, size: PictureSize) -> Result<Drawing, PictureError> {
    checked_size(size.width_px, size.height_px)?;
    let (width, height) = (f64::from(size.width_px), f64::from(size.height_px));
    let mut drawing = Drawing::titled(title, width);
    legend(&mut drawing, start, width);
    let highest_v = start.supplies.iter().map(|s| s.open_v).fold(1e-3, f64::max);
    let highest_a = start
        .supplies
        .iter()
        .map(|s| s.limit_a.map_or(s.peak_a, |a| a.max(s.peak_a)))
        .fold(1e-6, f64::max);
    // A supply that others feed takes current in.
    let lowest_a = start
        .supplies
        .iter()
        .flat_map(|s| s.current_a.iter().copied())
        .fold(0.0_f64, f64::min);
    let whole_s = start.end_s;
    let first_s = first_moments_s(start);
    let columns = match first_s {
        Some(first_s) => vec![
            (LEFT_PX, 0.47 * width, first_s, "the first"),
            (0.47 * width + 90.0, width - 50.0, whole_s, "the whole"),
        ],
        None => vec![(LEFT_PX, width - 50.0, whole_s, "the whole")],
    };
    for (left, right, until_s, what) in columns {
        let upper = Area {
            left,
            right,
            top: 150.0,
            bottom: 0.62 * height,
        };
        let lower = Area {
            left,
            right,
            top: 0.62 * height + 64.0,
            bottom: height - 66.0,
        };
        let panel = |area: Area,
                     (least, most): (f64, f64),
                     unit: &'static str|
         -> Result<Panel, PictureError> {
            Ok(Panel {
                area,
                horizontal: Axis::new(
                    "time",
                    "s",
                    AxisScale::Linear,
                    (0.0, until_s),
                    (area.left, area.right),
                )?,
                vertical: Axis::new(
                    "start",
                    unit,
                    AxisScale::Linear,
                    (1.1 * least, 1.1 * most),
                    (area.bottom, area.top),
                )?,
                until_s,
                first: left == LEFT_PX,
            })
        };
        let volts = panel(upper, (0.0, highest_v), "V")?;
        let amps = panel(lower, (lowest_a, highest_a), "A")?;
        voltages(&mut drawing, start, &volts, what);
        currents(&mut drawing, start, &amps);
        for panel in [&volts, &amps] {
            drawing.border(panel.area);
        }
        times(&mut drawing, &volts, false);
        times(&mut drawing, &amps, true);
    }
    Ok(drawing)
}

/// How long the charging lasts, if that is short against the whole: until all modules that are not held off have come to their
/// voltage, fallen out for the first time, and the supplies have left their limit, as far as that comes early.
fn first_moments_s(start: &Start) -> Option<f64> {
    let early = start
        .modules
        .iter()
        .flat_map(|m| {
            let on = m.switched_on_s.first().filter(|_| m.wakes_after_s == 0.0);
            [
                m.reached_s,
                on.copied(),
                m.fell_out_s.first().copied(),
                m.fell_out_s.get(1).copied(),
            ]
        })
        .chain(start.supplies.iter().map(|s| s.left_limit_s))
        .flatten();
    let most_s = start.end_s / FAR_APART / AFTER;
    let last_s = early
        .filter(|s| *s > 0.0 && *s <= most_s)
        .fold(0.0_f64, f64::max);
    (last_s > 0.0).then_some(AFTER * last_s)
}

/// A length of time in three digits or whole units.
fn rough(s: f64) -> String {
    let (value, unit) = if s < 1.0 {
        (1000.0 * s, "ms")
    } else {
        (s, "s")
    };
    let decimals = if value < 10.0 {
        2
    } else if value < 100.0 {
        1
    } else {
        0
    };
    format!("{value:.decimals$} {unit}")
}

fn style(i: usize) -> (Rgb, &'static [f32]) {
    (
        PALETTE[i % PALETTE.len()],
        DASHES[(i + i / PALETTE.len()) % DASHES.len()],
    )
}

fn name(i: usize, path: &str) -> String {
    format!("{} {path}", i + 1)
}

fn legend(drawing: &mut Drawing, start: &Start, width: f64) {
    let (mut x, mut y) = (70.0, 66.0);
    let mut place = |long_px: f64| {
        if x + long_px > width - 40.0 && x > 70.0 {
            x = 70.0;
            y += 22.0;
        }
        let at = (x, y);
        x += long_px;
        at
    };
    for (i, m) in start.modules.iter().enumerate() {
        let text = name(i, &m.path);
        let (left, y) = place(70.0 + 9.2 * text.len() as f64);
        let (colour, dashes) = style(i);
        drawing.dashed(vec![(left, y), (left + 34.0, y)], colour, 2.2, dashes);
        drawing.text(text, (left + 42.0, y + 5.0), Align::Left, INK);
    }
    for (kind, text) in [
        (Mark::On, "switches on"),
        (Mark::Booted, "has booted"),
        (Mark::FellOut, "falls out"),
    ] {
        let (left, y) = place(52.0 + 9.2 * text.len() as f64);
        mark(drawing, kind, (left + 8.0, y), INK);
        drawing.text(text, (left + 24.0, y + 5.0), Align::Left, INK);
    }
}

fn mark(drawing: &mut Drawing, kind: Mark, (x, y): (f64, f64), colour: Rgb) {
    let r = MARK_PX;
    match kind {
        Mark::On => drawing.line(
            vec![(x - r, y + r), (x, y - r), (x + r, y + r), (x - r, y + r)],
            colour,
            2.0,
        ),
        Mark::Booted => drawing.fill((x - r, y - r, x + r, y + r), colour),
        Mark::FellOut => {
            drawing.line(vec![(x - r, y - r), (x + r, y + r)], colour, 2.0);
            drawing.line(vec![(x - r, y + r), (x + r, y - r)], colour, 2.0);
        }
    }
}

/// The samples of a panel as lines, broken where periods are alike.
fn curves(start: &Start, values: &[f64], panel: &Panel) -> Vec<Vec<(f64, f64)>> {
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
fn alike(drawing: &mut Drawing, start: &Start, panel: &Panel) {
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

fn voltages(drawing: &mut Drawing, start: &Start, panel: &Panel, what: &str) {
    alike(drawing, start, panel);
    drawing.frame(
        panel.area,
        &panel.vertical,
        &format!("voltage of each module, V: {what} {}", rough(panel.until_s)),
    );
    for (from_s, to_s) in &start.alike_s {
        let (left, right) = (panel.horizontal.px(*from_s), panel.horizontal.px(*to_s));
        if *to_s <= panel.until_s && right - left > 170.0 {
            drawing.text(
                "goes on like this",
                ((left + right) / 2.0, panel.area.top + 24.0),
                Align::Centre,
                INK,
            );
        }
    }
    levels(drawing, start, panel);
    for (i, m) in start.modules.iter().enumerate() {
        let (colour, dashes) = style(i);
        for points in curves(start, &m.voltage_v, panel) {
            drawing.dashed(points, colour, 2.0, dashes);
        }
    }
    for (i, m) in start.modules.iter().enumerate() {
        marks(drawing, start, (i, m), panel);
    }
    let ends = start
        .modules
        .iter()
        .enumerate()
        .map(|(i, m)| {
            (
                value_at(start, &m.voltage_v, panel.until_s),
                format!("{}", i + 1),
                style(i).0,
            )
        })
        .collect();
    labels(drawing, panel, ends);
}

/// Voltages at which modules switch on and off, where they are few.
fn levels(drawing: &mut Drawing, start: &Start, panel: &Panel) {
    let mut all: Vec<(f64, &str)> = start
        .modules
        .iter()
        .flat_map(|m| {
            if m.lock_out {
                vec![(m.on_v, "on at"), (m.off_v, "off below")]
            } else {
                vec![(m.on_v, "works from")]
            }
        })
        .collect();
    all.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(b.1)));
    all.dedup();
    all.retain(|(v, _)| panel.vertical.range().1 >= *v);
    if all.len() > MOST_LEVELS {
        return;
    }
    for (level_v, what) in all {
        let y = panel.vertical.px(level_v);
        drawing.dashed(
            vec![(panel.area.left, y), (panel.area.right, y)],
            QUIET_INK,
            1.2,
            LIMIT_DASHES,
        );
        if !panel.first {
            continue;
        }
        drawing.text(
            format!("{what} {level_v} V"),
            (panel.area.right - 8.0, y - 5.0),
            Align::Right,
            QUIET_INK,
        );
    }
}

fn marks(drawing: &mut Drawing, start: &Start, (i, m): (usize, &StartModule), panel: &Panel) {
    let colour = style(i).0;
    let booted: Vec<f64> = m.booted_s.into_iter().collect();
    for (kind, times_s) in [
        (Mark::On, &m.switched_on_s),
        (Mark::FellOut, &m.fell_out_s),
        (Mark::Booted, &booted),
    ] {
        let within: Vec<f64> = times_s
            .iter()
            .copied()
            .filter(|s| *s <= panel.until_s)
            .collect();
        for (k, &at_s) in within.iter().enumerate() {
            if k < MOST_MARKS || k + 1 == within.len() {
                let v = value_at(start, &m.voltage_v, at_s);
                let (x, y) = panel.at(at_s, v);
                mark(drawing, kind, (x, y), colour);
                let crowded = x < panel.area.left + 12.0 || x > panel.area.right - 12.0;
                if k == 0 && !crowded {
                    drawing.text(format!("{}", i + 1), (x, y + 22.0), Align::Centre, colour);
                }
            }
        }
    }
}

/// A sampled value, on the straight line between two samples.
fn value_at(start: &Start, values: &[f64], at_s: f64) -> f64 {
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
fn labels(drawing: &mut Drawing, panel: &Panel, mut ends: Vec<(f64, String, Rgb)>) {
    ends.sort_by(|a, b| b.0.total_cmp(&a.0));
    let mut lowest_y = f64::NEG_INFINITY;
    for (value, text, colour) in ends {
        let y = (panel.vertical.px(value) + 5.0).max(lowest_y + LABEL_PX);
        drawing.text(text, (panel.area.right + 8.0, y), Align::Left, colour);
        lowest_y = y;
    }
}

fn currents(drawing: &mut Drawing, start: &Start, panel: &Panel) {
    alike(drawing, start, panel);
    drawing.frame(panel.area, &panel.vertical, "current of each supply, A");
    for (i, s) in start.supplies.iter().enumerate() {
        let (colour, dashes) = style(i);
        let limit_a = s
            .limit_a
            .map_or_else(String::new, |a| format!(", limit {a} A"));
        if let Some(limit_a) = s.limit_a {
            let y = panel.vertical.px(limit_a);
            drawing.dashed(
                vec![(panel.area.left, y), (panel.area.right, y)],
                colour,
                1.2,
                LIMIT_DASHES,
            );
        }
        for points in curves(start, &s.current_a, panel) {
            drawing.dashed(points, colour, 2.0, dashes);
        }
        let y = panel.area.top - 10.0;
        let left = panel.area.left + 280.0;
        if i == 0 {
            drawing.text(
                format!("{}{limit_a}", s.path),
                (left, y),
                Align::Left,
                colour,
            );
        }
    }
    let ends = start
        .supplies
        .iter()
        .enumerate()
        .filter(|_| start.supplies.len() > 1)
        .map(|(i, s)| {
            let id = s.path.strip_prefix("supply.").unwrap_or(&s.path);
            let first = id.chars().take(5).collect();
            (
                value_at(start, &s.current_a, panel.until_s),
                first,
                style(i).0,
            )
        })
        .collect();
    labels(drawing, panel, ends);
}

/// Ticks under a panel, in milliseconds below a second.
fn times(drawing: &mut Drawing, panel: &Panel, named: bool) {
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
        drawing.text(
            format!("{tick:.decimals$}"),
            (x, panel.area.bottom + 22.0),
            Align::Centre,
            INK,
        );
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
