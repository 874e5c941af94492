//! The sun of a year's hours as seen from the centre of the earth: the dear part of its place in the sky, and the same for every place
//! that keeps one clock.

use super::error::{Quantity, SunError};
use super::hours::{DAYS, HOURS};
use super::position::{Geocentric, Instant, geocentric};
use crate::calendar::{DAYS_BEFORE_MONTH, month_of_day};

/// The calendar of a year of [`DAYS`] days, and the clock by which its hours are counted.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Clock {
    /// Calendar year whose sun is taken; one year differs from another by up to 0.4 deg of
    /// declination.
    pub year: i32,
    /// Local standard time less Universal Time, h.
    pub utc_offset_h: f64,
    /// Terrestrial less Universal Time, s.
    pub delta_t_s: f64,
}

/// The sun in the middle of each hour of a year, and at each noon, from the centre of the earth.
#[derive(Clone, Debug, PartialEq)]
pub struct SunCourse {
    clock: Clock,
    pub(super) hours: Vec<Geocentric>,
    pub(super) noons: Vec<Geocentric>,
}

impl SunCourse {
    /// What a course takes, bytes.
    pub const BYTES: usize = (HOURS + DAYS) * size_of::<Geocentric>();

    /// Works out the year of a clock.
    ///
    /// # Errors
    /// A value of the clock outside its range ([`Quantity::range`]).
    pub fn new(clock: Clock) -> Result<Self, SunError> {
        Quantity::UtcOffset.check(clock.utc_offset_h)?;
        let mut hours = Vec::with_capacity(HOURS);
        let mut noons = Vec::with_capacity(DAYS);
        for day in 0..DAYS {
            let midnight = clock.midnight(day)?;
            let at = |hour_h: f64| {
                let hours_after_h = hour_h - clock.utc_offset_h;
                Instant::from_julian_day(midnight + hours_after_h / 24.0, clock.delta_t_s)
            };
            noons.push(geocentric(at(12.0)?));
            for hour in 0..24_u8 {
                hours.push(geocentric(at(f64::from(hour) + 0.5)?));
            }
        }
        Ok(Self {
            clock,
            hours,
            noons,
        })
    }

    /// The clock.
    #[must_use]
    pub fn clock(&self) -> Clock {
        self.clock
    }
}

impl Clock {
    /// Julian day of Universal Time at which a day of the year begins in Universal Time, d.
    fn midnight(&self, day: usize) -> Result<f64, SunError> {
        let month = month_of_day(day);
        let day_of_month = day - DAYS_BEFORE_MONTH[month] + 1;
        let midnight = Instant::from_utc(
            self.year,
            month as u8 + 1,
            day_of_month as u8,
            0.0,
            self.delta_t_s,
        )?;
        Ok(midnight.julian_day_ut())
    }
}
