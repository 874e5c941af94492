//! Ticks and title of a time axis: seconds, minutes, hours, or UTC where the start is known.

use jiff::{SignedDuration, Timestamp, ToSpan, civil::Date, tz::Offset};
use quantity::SECONDS_PER_DAY;

use super::canvas::text_width;
use super::ticks::{linear_ticks, signed};
use super::{Axis, PictureError};

const LONGEST_IN_SECONDS_S: f64 = 120.0;
const LONGEST_IN_MINUTES_S: f64 = 7200.0;
/// Clock steps that divide the next larger unit of the clock, seconds.
const CLOCK_STEPS_S: [f64; 17] = [
    1.0, 2.0, 5.0, 10.0, 15.0, 30.0, 60.0, 120.0, 300.0, 600.0, 900.0, 1800.0, 3600.0, 7200.0,
    10_800.0, 21_600.0, 43_200.0,
];
const MOST_TICKS: usize = 13;
const LEAST_GAP_PX: f64 = 18.0;

#[derive(Debug, Clone, PartialEq)]
pub(super) struct Tick {
    pub(super) px: f64,
    pub(super) label: String,
}

pub(super) struct TimeTicks {
    pub(super) ticks: Vec<Tick>,
    pub(super) title: String,
}

/// The densest ticks whose labels, at `size_px`, stand clear of each other.
pub(super) fn time_ticks(
    axis: &Axis,
    start_utc: Option<Timestamp>,
    size_px: f32,
) -> Result<TimeTicks, PictureError> {
    // A recording's last window ends a little before its last sample: a tick less than half a pixel
    // outside the axis still stands on its edge.
    let (low_px, high_px) = axis.pixels();
    let range_s = (axis.value(low_px - 0.5), axis.value(high_px + 0.5));
    let mut most = MOST_TICKS;
    loop {
        let drawn = match start_utc {
            Some(start) => utc_ticks(axis, range_s, start, most)?,
            None => plain_ticks(axis, range_s, most),
        };
        let clear = drawn.ticks.windows(2).all(|pair| {
            let widths = pair
                .iter()
                .map(|t| text_width(&t.label, size_px))
                .sum::<f64>();
            pair[1].px - pair[0].px >= widths / 2.0 + LEAST_GAP_PX
        });
        if clear || most == 2 {
            return Ok(drawn);
        }
        most -= 1;
    }
}

fn plain_ticks(axis: &Axis, (low, high): (f64, f64), most: usize) -> TimeTicks {
    let (unit_s, title) = match high - low {
        span if span <= LONGEST_IN_SECONDS_S => (1.0, "Time from start of recording (s)"),
        span if span <= LONGEST_IN_MINUTES_S => (60.0, "Time from start of recording (min)"),
        _ => (3600.0, "Time from start of recording (h)"),
    };
    let (values, decimals) = linear_ticks(low / unit_s, high / unit_s, most);
    let ticks = values.into_iter().map(|value| Tick {
        px: axis.px(value * unit_s),
        label: signed(value, decimals),
    });
    TimeTicks {
        ticks: ticks.collect(),
        title: title.to_owned(),
    }
}

fn utc_ticks(
    axis: &Axis,
    (low, high): (f64, f64),
    start: Timestamp,
    most: usize,
) -> Result<TimeTicks, PictureError> {
    let (shown_low, shown_high) = axis.range();
    let first = instant(start, shown_low)?;
    let last = instant(start, shown_high)?;
    let day = Offset::UTC.to_datetime(first).date();
    let last_day = Offset::UTC.to_datetime(last).date();
    let midnight =
        Offset::UTC
            .to_timestamp(day.at(0, 0, 0, 0))
            .map_err(|_| PictureError::Instant {
                start,
                offset_s: low,
            })?;
    let start_after_midnight_s = start.duration_since(midnight).as_secs_f64();
    let (low_s, high_s) = (low + start_after_midnight_s, high + start_after_midnight_s);

    let (values_s, step_s, decimals) = clock_ticks(low_s, high_s, most);
    let ticks = values_s
        .into_iter()
        .map(|value_s| {
            Ok(Tick {
                px: axis.px(value_s - start_after_midnight_s),
                label: clock_label(day, value_s, step_s, decimals).ok_or(
                    PictureError::Instant {
                        start,
                        offset_s: value_s - start_after_midnight_s,
                    },
                )?,
            })
        })
        .collect::<Result<_, PictureError>>()?;
    let title = if day == last_day {
        format!("Time (UTC) on {day}")
    } else {
        format!("Time (UTC), {day} to {last_day}")
    };
    Ok(TimeTicks { ticks, title })
}

pub(super) fn instant(start: Timestamp, offset_s: f64) -> Result<Timestamp, PictureError> {
    SignedDuration::try_from_secs_f64(offset_s)
        .ok()
        .and_then(|offset| start.checked_add(offset).ok())
        .ok_or(PictureError::Instant { start, offset_s })
}

/// Ticks in seconds after midnight, their step and the decimals of a second needed.
fn clock_ticks(low_s: f64, high_s: f64, most: usize) -> (Vec<f64>, f64, usize) {
    let span_s = high_s - low_s;
    let fits =
        |step_s: &f64| libm::floor(high_s / step_s) - libm::ceil(low_s / step_s) < most as f64;
    if span_s < most as f64 {
        let (ticks, decimals) = linear_ticks(low_s, high_s, most);
        return (ticks, 0.0, decimals);
    }
    match CLOCK_STEPS_S.into_iter().find(fits) {
        Some(step_s) => {
            let first = libm::ceil(low_s / step_s);
            let count = (libm::floor(high_s / step_s) - first) as usize + 1;
            let ticks = (0..count).map(|i| (first + i as f64) * step_s).collect();
            (ticks, step_s, 0)
        }
        None => {
            let (days, _) = linear_ticks(low_s / SECONDS_PER_DAY, high_s / SECONDS_PER_DAY, most);
            let whole = days.into_iter().filter(|d| d.fract() == 0.0);
            (
                whole.map(|d| d * SECONDS_PER_DAY).collect(),
                SECONDS_PER_DAY,
                0,
            )
        }
    }
}

/// The clock at `value_s` seconds after the midnight that begins `day`; the date at a midnight.
fn clock_label(day: Date, value_s: f64, step_s: f64, decimals: usize) -> Option<String> {
    let days = libm::floor(value_s / SECONDS_PER_DAY);
    let second_of_day = value_s - days * SECONDS_PER_DAY;
    let date = day.checked_add((days as i64).days()).ok()?;
    if step_s >= SECONDS_PER_DAY {
        return Some(date.to_string());
    }
    if days > 0.0 && second_of_day == 0.0 {
        return Some(format!("{:02}-{:02} 00:00", date.month(), date.day()));
    }
    let whole = libm::floor(second_of_day) as u32;
    let (hour, minute) = (whole / 3600, whole / 60 % 60);
    if step_s >= 60.0 {
        return Some(format!("{hour:02}:{minute:02}"));
    }
    let second = second_of_day - f64::from(hour * 3600 + minute * 60);
    let width = if decimals == 0 { 2 } else { decimals + 3 };
    Some(format!("{hour:02}:{minute:02}:{second:0width$.decimals$}"))
}

#[cfg(test)]
mod tests {
    use super::super::AxisScale;
    use super::*;

    fn axis(low: f64, high: f64) -> Axis {
        Axis::new("time", "s", AxisScale::Linear, (low, high), (0.0, 1200.0)).unwrap()
    }

    fn labels(low: f64, high: f64, start: Option<&str>) -> (Vec<String>, String) {
        let start = start.map(|s| s.parse().unwrap());
        let drawn = time_ticks(&axis(low, high), start, 15.0).unwrap();
        for pair in drawn.ticks.windows(2) {
            assert!(pair[1].px > pair[0].px);
        }
        (
            drawn.ticks.into_iter().map(|t| t.label).collect(),
            drawn.title,
        )
    }

    #[test]
    fn verif_plain_time_ticks_name_their_unit_and_map_back() {
        let drawn = time_ticks(&axis(0.0, 3600.0), None, 15.0).unwrap();
        assert!(drawn.title.ends_with("(min)"));
        for tick in &drawn.ticks {
            let minutes: f64 = tick.label.parse().unwrap();
            assert!((axis(0.0, 3600.0).value(tick.px) - minutes * 60.0).abs() < 1e-6);
        }
        assert_eq!(labels(0.0, 2.0, None).0[1], "0.2");
        assert!(labels(0.0, 86_400.0, None).1.ends_with("(h)"));
    }

    #[test]
    fn verif_utc_ticks_stand_on_the_clock() {
        let (ticks, title) = labels(0.0, 60.0, Some("2027-03-15T23:59:30Z"));
        assert_eq!(title, "Time (UTC), 2027-03-15 to 2027-03-16");
        assert!(ticks.contains(&"23:59:50".to_owned()), "{ticks:?}");
        assert!(ticks.contains(&"03-16 00:00".to_owned()), "{ticks:?}");
        let (ticks, _) = labels(0.0, 2.0, Some("2027-03-15T06:00:00.25Z"));
        assert!(ticks.contains(&"06:00:01.0".to_owned()), "{ticks:?}");
        let (ticks, _) = labels(0.0, 3600.0, Some("2027-03-15T06:10:00Z"));
        assert!(ticks.contains(&"06:30".to_owned()), "{ticks:?}");
        let (ticks, _) = labels(0.0, 30.0 * 86_400.0, Some("2027-02-20T06:10:00Z"));
        assert!(
            ticks.contains(&"2027-03-01".to_owned()) || ticks.contains(&"2027-03-02".to_owned()),
            "{ticks:?}"
        );
    }
}
