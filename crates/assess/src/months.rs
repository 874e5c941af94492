//! In which months a line may be in the water.

use jiff::SignedDuration;
use jiff::tz::Offset;
use plan::Line;
use quantity::SECONDS_PER_DAY;

const DAYS_OF_A_YEAR: f64 = 365.0;

/// Months that the line may be in the water, 0 to 11 in their order from the start, slips included; all where no start is known.
pub(crate) fn months_in_water(line: &Line) -> Vec<usize> {
    let whole = || (0..12).collect();
    let d = &line.deployment;
    let slip_s = d.start_slip_s.map_or(0.0, |q| q.si);
    let days = libm::ceil((d.longest_s() + slip_s) / SECONDS_PER_DAY);
    let Some(start) = d.start.filter(|_| days < DAYS_OF_A_YEAR) else {
        return whole();
    };
    let mut months: Vec<usize> = Vec::new();
    for day in 0..=days as i64 {
        let Ok(at) = start.checked_add(SignedDuration::from_hours(24 * day)) else {
            return whole();
        };
        let month = usize::from(Offset::UTC.to_datetime(at).month().unsigned_abs()) - 1;
        if !months.contains(&month) {
            months.push(month);
        }
    }
    months
}
