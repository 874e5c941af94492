//! Names of months and days of a year of 365 days.

use assess::MONTH_DAYS;

/// Names of the months, from January.
pub(crate) const MONTHS: [&str; 12] = [
    "Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec",
];

/// A day of the year, counted from 0, as `14 Dec`; days beyond the year count on in December.
pub(crate) fn day_name(day: usize) -> String {
    let mut left = day;
    let mut month = 0;
    while month < 11 && left >= usize::from(MONTH_DAYS[month]) {
        left -= usize::from(MONTH_DAYS[month]);
        month += 1;
    }
    format!("{} {}", left + 1, MONTHS[month])
}

#[cfg(test)]
mod tests {
    use super::day_name;

    #[test]
    fn verif_days_are_named_by_the_calendar() {
        for (day, name) in [
            (0, "1 Jan"),
            (30, "31 Jan"),
            (31, "1 Feb"),
            (58, "28 Feb"),
            (59, "1 Mar"),
            (364, "31 Dec"),
        ] {
            assert_eq!(day_name(day), name);
        }
    }
}
