//! Days of the months, Gregorian.

/// Days of the months of a year of 365 days, from January.
pub const MONTH_DAYS: [u8; 12] = [31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31];

/// Days of such a year before each month, and in all of it.
pub(crate) const DAYS_BEFORE_MONTH: [usize; 13] = {
    let mut days = [0; 13];
    let mut month = 0;
    while month < 12 {
        days[month + 1] = days[month] + MONTH_DAYS[month] as usize;
        month += 1;
    }
    days
};

/// Month, 0 to 11, of a day, 0 to 364, of such a year.
pub(crate) fn month_of_day(day: usize) -> usize {
    DAYS_BEFORE_MONTH.partition_point(|&before| before <= day) - 1
}

/// Days of a month, 1 to 12.
pub(crate) fn days_in_month(month: u8, leap: bool) -> u8 {
    MONTH_DAYS[usize::from(month) - 1] + u8::from(leap && month == 2)
}

/// Whether a year has 366 days.
pub(crate) fn is_leap(year: i32) -> bool {
    year % 4 == 0 && (year % 100 != 0 || year % 400 == 0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn verif_months_by_counting() {
        let mut days = 0;
        for month in 0..12 {
            assert_eq!(DAYS_BEFORE_MONTH[month], days);
            for day in days..days + usize::from(MONTH_DAYS[month]) {
                assert_eq!(month_of_day(day), month);
            }
            days += usize::from(MONTH_DAYS[month]);
        }
        assert_eq!((days, DAYS_BEFORE_MONTH[12]), (365, 365));
        assert_eq!(
            [1900, 1990, 2000, 2024].map(is_leap),
            [false, false, true, true]
        );
        assert_eq!((days_in_month(2, true), days_in_month(12, true)), (29, 31));
    }
}
