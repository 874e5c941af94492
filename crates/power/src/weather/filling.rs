//! The hours of a whole year as they come in, each where the calendar wants it.

use super::file::{FileError, WeatherHour};
use crate::calendar::days_in_month;
use crate::sun::HOURS;

/// The hour of a year that comes next, by its beginning.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct NextHour {
    pub(super) month: u8,
    pub(super) day: u8,
    pub(super) hour: u8,
    leap: bool,
}

impl NextHour {
    pub(super) fn first(leap: bool) -> Self {
        Self {
            month: 1,
            day: 1,
            hour: 0,
            leap,
        }
    }

    pub(super) fn is_leap_day(self) -> bool {
        self.month == 2 && self.day == 29
    }

    /// The hour after this; `None` after the last of the year.
    pub(super) fn after(mut self) -> Option<Self> {
        self.hour += 1;
        if self.hour == 24 {
            self.hour = 0;
            self.day += 1;
            if self.day > days_in_month(self.month, self.leap) {
                self.day = 1;
                self.month += 1;
                if self.month == 13 {
                    return None;
                }
            }
        }
        Some(self)
    }
}

/// The hours of a year as they come in.
pub(super) struct Filling {
    next: Option<NextHour>,
    pub(super) hours: Vec<WeatherHour>,
    pub(super) left_out_hours: usize,
}

impl Filling {
    pub(super) fn new(leap: bool) -> Self {
        Self {
            next: Some(NextHour::first(leap)),
            hours: Vec::with_capacity(HOURS),
            left_out_hours: 0,
        }
    }

    /// The hour that must come next.
    pub(super) fn next(&self, line: usize) -> Result<NextHour, FileError> {
        self.next.ok_or(FileError::TooLong { line })
    }

    pub(super) fn take(&mut self, hour: NextHour, weather: WeatherHour) {
        if hour.is_leap_day() {
            self.left_out_hours += 1;
        } else {
            self.hours.push(weather);
        }
        self.next = hour.after();
    }

    /// The hour that is missing at the end, if one is.
    pub(super) fn missing(&self) -> Option<NextHour> {
        self.next
    }
}
