//! The picture of a start: voltage of each module and current of each supply, once for the charging and once for the boots.
//!
//! Capacitors fill in milliseconds and modules boot in seconds. Where the two lie far apart the left half shows the first
//! moments and the right half the whole, each on its own even axis.

use assess::{Start, StartModule};

use super::canvas::{Align, Area, checked_size, shortened};
use super::colour::{INK, QUIET_INK, Rgb};
use super::drawing::Drawing;
use super::shapes::Drawn;
use super::start_panel::{Panel, alike, curves, labels, times, value_at};
use super::{Axis, AxisScale, PictureError, PictureSize};
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
/// Size of the lettering by which names are shortened.
const NAME_PX: f32 = 15.0;

/// The picture as a PNG file.
///
/// # Errors
/// [`PictureError::Size`], and [`PictureError::Range`] for a start without time.
pub fn start_picture_png(
    title: &str,
    start: &Start,
    size: PictureSize,
) -> Result<Vec<u8>, PictureError> {
    start_picture(title, start, size).map(|drawn| drawn.png())
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
    start_picture(title, start, size).map(|drawn| drawn.svg())
}

/// The picture before it is a file.
pub(crate) fn start_picture(
    title: &str,
    start: &Start,
    size: PictureSize,
) -> Result<Drawn, PictureError> {
    Ok(Drawn {
        shapes: draw(title, start, size)?.shapes,
        size,
        title: title.to_owned(),
        about: description(start),
    })
}

fn description(start: &Start) -> String {
    format!(
        "Voltage of each module and current of each supply after power comes on, {} contacts: {}. {}",
        contacts(start.contacts),
        start.outcome,
        start.told
    )
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
    let legend_px = legend(&mut drawing, start, width);
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
            top: legend_px + 62.0,
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

/// Where the last row of the legend stands.
fn legend(drawing: &mut Drawing, start: &Start, width: f64) -> f64 {
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
    y
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

fn currents(drawing: &mut Drawing, start: &Start, panel: &Panel) {
    alike(drawing, start, panel);
    // Several are told apart by letters; modules have numbers.
    let several = start.supplies.len() > 1;
    let letter = |i: usize| format!("{}", char::from(b'a' + (i % 26) as u8));
    let named: Vec<String> = start
        .supplies
        .iter()
        .enumerate()
        .map(|(i, s)| {
            let lead = if several {
                format!("{} ", letter(i))
            } else {
                String::new()
            };
            let limit_a = s
                .limit_a
                .map_or_else(String::new, |a| format!(", limit {a} A"));
            let id = s.path.strip_prefix("supply.").unwrap_or(&s.path);
            format!("{lead}{id}{limit_a}")
        })
        .collect();
    let what = format!("supply current, A: {}", named.join("; "));
    drawing.frame(
        panel.area,
        &panel.vertical,
        &shortened(&what, NAME_PX, panel.area.width()),
    );
    let mut ends = Vec::new();
    for (i, s) in start.supplies.iter().enumerate() {
        let (colour, dashes) = style(i);
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
        if several {
            let end_a = value_at(start, &s.current_a, panel.until_s);
            ends.push((end_a, letter(i), colour));
        }
    }
    labels(drawing, panel, ends);
}
