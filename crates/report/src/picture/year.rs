//! The picture of many energy years: state of charge by day, sun and load by month, the worst week enlarged.

use assess::{EnergyYears, MONTH_DAYS};

use super::canvas::{Align, Area, checked_size};
use super::colour::{INK, QUIET_INK, Rgb};
use super::drawing::Drawing;
use super::shapes::{Drawn, Shape};
use super::{Axis, AxisScale, PictureError, PictureSize};
use crate::calendar::{MONTHS, day_name};

const ALL_YEARS: Rgb = [222, 232, 240];
const MOST_YEARS: Rgb = [166, 196, 220];
const MIDDLE: Rgb = [22, 78, 120];
const LOWEST: Rgb = [176, 58, 20];
const SUN: Rgb = [226, 186, 84];
const LOWEST_DASHES: &[f32] = &[10.0, 5.0];

/// The picture as a PNG file.
///
/// # Errors
/// [`PictureError::Size`].
pub fn year_picture_png(
    title: &str,
    years: &EnergyYears,
    size: PictureSize,
) -> Result<Vec<u8>, PictureError> {
    year_picture(title, years, size).map(|drawn| drawn.png())
}

/// The picture as an SVG file.
///
/// # Errors
/// [`PictureError::Size`].
pub fn year_picture_svg(
    title: &str,
    years: &EnergyYears,
    size: PictureSize,
) -> Result<String, PictureError> {
    year_picture(title, years, size).map(|drawn| drawn.svg())
}

/// The picture before it is a file.
pub(crate) fn year_picture(
    title: &str,
    years: &EnergyYears,
    size: PictureSize,
) -> Result<Drawn, PictureError> {
    Ok(Drawn {
        shapes: draw(title, years, size)?,
        size,
        title: title.to_owned(),
        about: description(years),
    })
}

fn description(years: &EnergyYears) -> String {
    format!(
        "Usable state of charge of {} through {} {} years, sun and load by month, and the worst week.",
        years.supply,
        years.years,
        match years.weather_file {
            None => "generated",
            Some(_) => "measured",
        }
    )
}

fn draw(title: &str, years: &EnergyYears, size: PictureSize) -> Result<Vec<Shape>, PictureError> {
    checked_size(size.width_px, size.height_px)?;
    let (width, height) = (f64::from(size.width_px), f64::from(size.height_px));
    let mut drawing = Drawing::titled(title, width);
    let top = Area {
        left: 70.0,
        top: 104.0,
        right: width - 30.0,
        bottom: 0.56 * height,
    };
    let lower = (top.bottom + 100.0, height - 60.0);
    let months = Area {
        left: 70.0,
        top: lower.0,
        right: 0.56 * width,
        bottom: lower.1,
    };
    let week = Area {
        left: months.right + 90.0,
        right: width - 30.0,
        ..months
    };
    charge_by_day(&mut drawing, years, top)?;
    sun_and_load(&mut drawing, years, months)?;
    worst_week(&mut drawing, years, week)?;
    drawing.text(
        match &years.weather_file {
            None => "Generated years err to the dark side; they show no single winter that was."
                .to_owned(),
            Some(path) => {
                format!("Measured years of {path}: they show these winters and no darker one.")
            }
        },
        (70.0, height - 14.0),
        Align::Left,
        QUIET_INK,
    );
    Ok(drawing.shapes)
}

fn percent(area: Area) -> Result<Axis, PictureError> {
    Axis::new(
        "charge",
        "%",
        AxisScale::Linear,
        (0.0, 100.0),
        (area.bottom, area.top),
    )
}

fn charge_by_day(
    drawing: &mut Drawing,
    years: &EnergyYears,
    area: Area,
) -> Result<(), PictureError> {
    let vertical = percent(area)?;
    let days = years.band.len() as f64;
    let x = |day: f64| area.left + area.width() * day / days;
    for (day, of_day) in years.band.iter().enumerate() {
        let (left, right) = (x(day as f64), x(day as f64 + 1.0));
        let y = |i: usize| vertical.px(100.0 * of_day[i]);
        drawing.fill((left, y(4), right, y(0)), ALL_YEARS);
        drawing.fill((left, y(3), right, y(1)), MOST_YEARS);
    }
    drawing.frame(area, &vertical, "usable charge at the end of the day, %");
    let line = |i: usize| -> Vec<(f64, f64)> {
        let of_day = years.band.iter().enumerate();
        of_day
            .map(|(day, shares)| (x(day as f64 + 0.5), vertical.px(100.0 * shares[i])))
            .collect()
    };
    let start = x(years.start_hour as f64 / 24.0);
    drawing.line(
        vec![(start, area.top), (start, area.bottom)],
        QUIET_INK,
        1.5,
    );
    // Beside the line, on the side with more room.
    let (side_px, align) = if start < area.left + area.width() / 2.0 {
        (8.0, Align::Left)
    } else {
        (-8.0, Align::Right)
    };
    drawing.text(
        "begins here, full",
        (start + side_px, area.bottom - 12.0),
        align,
        QUIET_INK,
    );
    drawing.line(line(2), MIDDLE, 2.2);
    drawing.dashed(line(0), LOWEST, 1.8, LOWEST_DASHES);
    let mut day = 0;
    for (name, of_month) in MONTHS.iter().zip(MONTH_DAYS.map(usize::from)) {
        let left = x(day as f64);
        drawing.line(
            vec![(left, area.bottom), (left, area.bottom + 6.0)],
            QUIET_INK,
            1.0,
        );
        drawing.label_below(area, x(day as f64 + of_month as f64 / 2.0), *name);
        day += of_month;
    }
    drawing.border(area);
    // The legend, over the plot.
    let y = 68.0;
    drawing.line(vec![(72.0, y), (106.0, y)], MIDDLE, 2.2);
    drawing.text("middle year", (114.0, y + 5.0), Align::Left, INK);
    drawing.dashed(vec![(242.0, y), (276.0, y)], LOWEST, 1.8, LOWEST_DASHES);
    drawing.text("lowest of all years", (284.0, y + 5.0), Align::Left, INK);
    drawing.fill((484.0, y - 8.0, 518.0, y + 8.0), MOST_YEARS);
    drawing.text("four years in five", (526.0, y + 5.0), Align::Left, INK);
    drawing.fill((718.0, y - 8.0, 752.0, y + 8.0), ALL_YEARS);
    drawing.text(
        match years.years {
            1 => "the only year".to_owned(),
            many => format!("all {many} years"),
        },
        (760.0, y + 5.0),
        Align::Left,
        INK,
    );
    Ok(())
}

fn sun_and_load(
    drawing: &mut Drawing,
    years: &EnergyYears,
    area: Area,
) -> Result<(), PictureError> {
    let most = years
        .months
        .iter()
        .map(|m| m.gained_wh_per_d.max(m.asked_wh_per_d))
        .fold(1e-3, f64::max);
    let vertical = Axis::new(
        "energy",
        "Wh/d",
        AxisScale::Linear,
        (0.0, 1.08 * most),
        (area.bottom, area.top),
    )?;
    drawing.frame(
        area,
        &vertical,
        "mean day, Wh: bar the panels, line the load",
    );
    let step = area.width() / 12.0;
    for (i, (name, month)) in MONTHS.iter().zip(&years.months).enumerate() {
        let left = area.left + step * i as f64;
        let bar = (left + 0.2 * step, left + 0.8 * step);
        let y = vertical.px(month.gained_wh_per_d);
        drawing.fill((bar.0, y, bar.1, area.bottom), SUN);
        let load = vertical.px(month.asked_wh_per_d);
        drawing.line(
            vec![(left + 0.05 * step, load), (left + 0.95 * step, load)],
            MIDDLE,
            3.0,
        );
        drawing.label_below(area, left + step / 2.0, *name);
    }
    drawing.border(area);
    Ok(())
}

fn worst_week(drawing: &mut Drawing, years: &EnergyYears, area: Area) -> Result<(), PictureError> {
    let vertical = percent(area)?;
    let (year, week) = &years.worst_week;
    drawing.frame(
        area,
        &vertical,
        &format!(
            "worst week, charge %: year {year}, from {}",
            day_name(week.first_hour / 24)
        ),
    );
    let hours = week.charge.len() as f64;
    let x = |hour: f64| area.left + area.width() * hour / hours;
    let points = week
        .charge
        .iter()
        .enumerate()
        .map(|(hour, charge)| (x(hour as f64 + 1.0), vertical.px(100.0 * charge)))
        .collect();
    drawing.line(points, LOWEST, 2.2);
    for day in 0..7 {
        let left = x(24.0 * f64::from(day));
        drawing.line(
            vec![(left, area.bottom), (left, area.bottom + 6.0)],
            QUIET_INK,
            1.0,
        );
        let middle = x(24.0 * f64::from(day) + 12.0);
        drawing.label_below(area, middle, format!("day {}", day + 1));
    }
    drawing.border(area);
    Ok(())
}
