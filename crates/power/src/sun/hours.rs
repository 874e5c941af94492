//! The sun's year at one site, and one array's view of it, worked out once for the 8760 hours of a year of 365 days.
//!
//! [`SunYear`] holds where the sun stands in the middle of each hour, what would arrive under a clear sky and outside
//! the atmosphere; [`PlaneYear`] the factors of one array. The irradiance of an hour then needs no trigonometry
//! ([`PlaneHour`]): diffuse share by Erbs, beam and circumsolar light by the array's share of the beam, sky and sea by
//! theirs.
//!
//! Hours are those of local standard time: hour 0 runs from 00:00 to 01:00 on 1 January. The sun of an hour is that of
//! its middle; over a month that is within 0.3 % of the integral, but 1.5 % short in December at 62 deg north, where
//! the day is few hours long; [`SunDay`] holds the day in closed form. A 29 February is left out.

use super::air_mass::relative_air_mass;
use super::clear_sky::ineichen_perez;
use super::clearness::{COS_LAST_BEAM, Components, LOWEST_COS_ZENITH, hourly_diffuse_share};
use super::course::{Clock, SunCourse};
use super::error::{Quantity, SunError};
use super::extraterrestrial::{
    daily_extraterrestrial_wh_m2, extraterrestrial_w_m2, sunset_hour_angle_deg,
};
use super::horizon::Horizon;
use super::incidence::{Iam, cos_incidence};
use super::position::{Eye, Observer, SunPosition};
use super::transposition::{Sky, circumsolar_ratio, ground_share};
use super::yaw::{mean_beam_share, mean_cos_incidence};
use crate::calendar::{DAYS_BEFORE_MONTH, month_of_day};

/// Days of the year here.
pub const DAYS: usize = DAYS_BEFORE_MONTH[12];
/// Hours of the year here.
pub const HOURS: usize = 24 * DAYS;

const SEA_LEVEL_PA: f64 = 101_325.0;

/// A site and the calendar of its year.
#[derive(Clone, Debug, PartialEq)]
pub struct Site {
    /// Place and air.
    pub observer: Observer,
    /// Calendar year whose sun is taken; one year differs from another by up to 0.4 deg of
    /// declination.
    pub year: i32,
    /// Local standard time less Universal Time, h.
    pub utc_offset_h: f64,
    /// Terrestrial less Universal Time, s.
    pub delta_t_s: f64,
    /// Solar constant, W/m2.
    pub solar_constant_w_m2: f64,
    /// Linke turbidity of the clear sky, January to December.
    pub linke_turbidity: [f64; 12],
    /// What stands around.
    pub horizon: Horizon,
}

/// The sun in the middle of an hour.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SunHour {
    /// Month, 0 to 11.
    pub month: usize,
    /// Zenith angle with refraction, deg.
    pub apparent_zenith_deg: f64,
    /// Azimuth from north, clockwise, deg.
    pub azimuth_deg: f64,
    /// Hour angle, deg, afternoon positive.
    pub hour_angle_deg: f64,
    /// Irradiance outside the atmosphere toward the sun, W/m2.
    pub normal_w_m2: f64,
    /// Irradiance outside the atmosphere on the horizontal, without refraction, W/m2; 0 with the sun down.
    pub extraterrestrial_w_m2: f64,
    /// Irradiance under a clear sky by Ineichen and Perez, at an open site.
    pub clear: Components,
    /// Whether the sun is down or behind the horizon of the site.
    pub hidden: bool,
}

/// A day outside the atmosphere.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SunDay {
    /// Month, 0 to 11.
    pub month: usize,
    /// Declination at noon of local standard time, deg.
    pub declination_deg: f64,
    /// Hour angle of sunset without refraction, deg.
    pub sunset_hour_angle_deg: f64,
    /// Energy on the horizontal, Wh/m2.
    pub extraterrestrial_wh_m2: f64,
}

/// The sun's year at one site.
#[derive(Clone, Debug, PartialEq)]
pub struct SunYear {
    hours: Vec<SunHour>,
    days: Vec<SunDay>,
    horizon: Horizon,
}

impl SunYear {
    /// Works out the year of a site.
    ///
    /// # Errors
    /// A value of the site outside its range ([`Quantity::range`]).
    pub fn new(site: &Site) -> Result<Self, SunError> {
        Self::along(site, &SunCourse::new(site.clock())?)
    }

    /// The same, bit for bit, along a course that has been worked out.
    ///
    /// # Errors
    /// A value of the site outside its range ([`Quantity::range`]); a course of another clock.
    pub fn along(site: &Site, course: &SunCourse) -> Result<Self, SunError> {
        if course.clock() != site.clock() {
            return Err(SunError::OtherClock {
                of_site: site.clock(),
                of_course: course.clock(),
            });
        }
        site.observer.check()?;
        let eye = Eye::new(&site.observer);
        let mut hours = Vec::with_capacity(HOURS);
        let mut days = Vec::with_capacity(DAYS);
        for (day, (noon, of_day)) in course.noons.iter().zip(course.hours.chunks(24)).enumerate() {
            let normal_w_m2 = extraterrestrial_w_m2(day as u16 + 1, site.solar_constant_w_m2)?;
            days.push(site.sun_day(day, &eye.sees(noon), normal_w_m2)?);
            for sun in of_day {
                hours.push(site.sun_hour(day, &eye.sees(sun), normal_w_m2)?);
            }
        }
        Ok(Self {
            hours,
            days,
            horizon: site.horizon.clone(),
        })
    }

    /// The [`HOURS`] hours in order.
    #[must_use]
    pub fn hours(&self) -> &[SunHour] {
        &self.hours
    }

    /// The [`DAYS`] days in order.
    #[must_use]
    pub fn days(&self) -> &[SunDay] {
        &self.days
    }
}

impl Site {
    /// Its calendar and clock.
    #[must_use]
    pub fn clock(&self) -> Clock {
        Clock {
            year: self.year,
            utc_offset_h: self.utc_offset_h,
            delta_t_s: self.delta_t_s,
        }
    }

    fn sun_day(
        &self,
        day: usize,
        noon: &SunPosition,
        normal_w_m2: f64,
    ) -> Result<SunDay, SunError> {
        let latitude_deg = self.observer.latitude_deg;
        let declination_deg = noon.declination_deg;
        Ok(SunDay {
            month: month_of_day(day),
            declination_deg,
            sunset_hour_angle_deg: sunset_hour_angle_deg(latitude_deg, declination_deg)?,
            extraterrestrial_wh_m2: daily_extraterrestrial_wh_m2(
                latitude_deg,
                declination_deg,
                normal_w_m2,
            )?,
        })
    }

    fn sun_hour(
        &self,
        day: usize,
        sun: &SunPosition,
        normal_w_m2: f64,
    ) -> Result<SunHour, SunError> {
        let month = month_of_day(day);
        let air_mass = relative_air_mass(sun.apparent_zenith_deg)?
            .map(|relative| relative * self.observer.pressure_pa / SEA_LEVEL_PA);
        Ok(SunHour {
            month,
            apparent_zenith_deg: sun.apparent_zenith_deg,
            azimuth_deg: sun.azimuth_deg,
            hour_angle_deg: sun.hour_angle_deg,
            normal_w_m2,
            extraterrestrial_w_m2: normal_w_m2
                * libm::cos(sun.true_zenith_deg.to_radians()).max(0.0),
            clear: ineichen_perez(
                sun.apparent_zenith_deg,
                air_mass,
                self.linke_turbidity[month],
                self.observer.elevation_m,
                normal_w_m2,
            )?,
            hidden: self.horizon.hides(sun.apparent_zenith_deg, sun.azimuth_deg),
        })
    }
}

/// A panel's direction.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Face {
    /// Tilt from the horizontal, deg, 0 to 90.
    pub tilt_deg: f64,
    /// Azimuth from north, clockwise, deg, 0 to 360.
    pub azimuth_deg: f64,
}

/// How an array is held.
#[derive(Clone, Debug, PartialEq)]
pub enum Mounting {
    /// Panels of equal size that keep their directions; each face listed carries the same area.
    Fixed(Vec<Face>),
    /// Panels of one tilt on a buoy whose heading is anything: the mean over all azimuths.
    Yawing {
        /// Tilt from the horizontal, deg, 0 to 90.
        tilt_deg: f64,
    },
}

/// An array and what it sees.
#[derive(Clone, Debug, PartialEq)]
pub struct Array {
    /// How it is held.
    pub mounting: Mounting,
    /// Modifier of the cover, on the beam alone.
    pub beam_iam: Iam,
    /// How diffuse light is spread over the sky.
    pub sky: Sky,
    /// Reflectance of the sea or ground below, 0 to 1.
    pub albedo: f64,
}

/// One array's view of the sun's year.
#[derive(Clone, Debug, PartialEq)]
pub struct PlaneYear {
    hours: Vec<PlaneHour>,
}

impl PlaneYear {
    /// Works out the factors of an array.
    ///
    /// # Errors
    /// No face; a tilt, azimuth, albedo or factor of the modifier outside its range ([`Quantity::range`]).
    pub fn new(sun: &SunYear, array: &Array) -> Result<Self, SunError> {
        Quantity::Albedo.check(array.albedo)?;
        array.beam_iam.check()?;
        let (sky_factor, ground_view) = array.mounting.views(&sun.horizon)?;
        let hours = sun.hours.iter().map(|hour| {
            let (cos_mean, beam_factor) = if hour.hidden {
                (0.0, 0.0)
            } else {
                array.mounting.beam(hour, array.beam_iam)?
            };
            let cos_zenith = libm::cos(hour.apparent_zenith_deg.to_radians());
            let circumsolar_per_w_m2 = match array.sky {
                Sky::HayDavies if cos_zenith > 0.0 => {
                    (circumsolar_ratio(cos_mean, cos_zenith) - sky_factor) / hour.normal_w_m2
                }
                _ => 0.0,
            };
            Ok(PlaneHour {
                clearness_per_w_m2: 1.0 / (hour.normal_w_m2 * cos_zenith.max(LOWEST_COS_ZENITH)),
                beam_per_w_m2: if cos_zenith < COS_LAST_BEAM {
                    0.0
                } else {
                    1.0 / cos_zenith
                },
                beam_factor,
                circumsolar_per_w_m2,
                sky_factor,
                ground_factor: array.albedo * ground_view,
            })
        });
        Ok(Self {
            hours: hours.collect::<Result<_, _>>()?,
        })
    }

    /// The [`HOURS`] hours in order; index them like [`SunYear::hours`].
    #[must_use]
    pub fn hours(&self) -> &[PlaneHour] {
        &self.hours
    }
}

impl Mounting {
    /// Mean shares of an even sky and of the ground.
    fn views(&self, horizon: &Horizon) -> Result<(f64, f64), SunError> {
        let ground = |tilt_deg: f64| ground_share(libm::cos(tilt_deg.to_radians()));
        match self {
            Self::Fixed(faces) => mean_of(faces, |face| {
                Ok((
                    horizon.sky_share(face.tilt_deg, face.azimuth_deg)?,
                    ground(face.tilt_deg),
                ))
            }),
            Self::Yawing { tilt_deg } => {
                Ok((horizon.mean_sky_share(*tilt_deg)?, ground(*tilt_deg)))
            }
        }
    }

    /// Mean positive cosine of incidence, without and with the modifier.
    fn beam(&self, hour: &SunHour, iam: Iam) -> Result<(f64, f64), SunError> {
        let zenith_deg = hour.apparent_zenith_deg;
        match self {
            Self::Fixed(faces) => mean_of(faces, |face| {
                let cos = cos_incidence(
                    face.tilt_deg,
                    face.azimuth_deg,
                    zenith_deg,
                    hour.azimuth_deg,
                )?
                .max(0.0);
                Ok((cos, cos * iam.of_cos(cos)))
            }),
            Self::Yawing { tilt_deg } => Ok((
                mean_cos_incidence(*tilt_deg, zenith_deg)?,
                mean_beam_share(*tilt_deg, zenith_deg, iam)?,
            )),
        }
    }
}

fn mean_of(
    faces: &[Face],
    pair: impl Fn(&Face) -> Result<(f64, f64), SunError>,
) -> Result<(f64, f64), SunError> {
    if faces.is_empty() {
        return Err(SunError::NoFace);
    }
    let mut sum = (0.0, 0.0);
    for face in faces {
        let (first, second) = pair(face)?;
        sum = (sum.0 + first, sum.1 + second);
    }
    let count = faces.len() as f64;
    Ok((sum.0 / count, sum.1 / count))
}

/// The factors of one hour; what turns horizontal irradiance into that of the array, as the mean over its area.
///
/// The methods are the inner loop of the hourly year and take irradiance as it is: check it where it enters. Not a
/// number in gives not a number out.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PlaneHour {
    clearness_per_w_m2: f64,
    beam_per_w_m2: f64,
    beam_factor: f64,
    circumsolar_per_w_m2: f64,
    sky_factor: f64,
    ground_factor: f64,
}

impl PlaneHour {
    /// Irradiance of the array, W/m2, for global irradiance on the horizontal, W/m2, split by the hourly correlation of
    /// Erbs. For a clearness index, multiply it with [`SunHour::extraterrestrial_w_m2`] first.
    #[must_use]
    #[inline]
    pub fn plane_w_m2(&self, global_w_m2: f64) -> f64 {
        let components = if self.beam_per_w_m2 == 0.0 {
            Components {
                global_w_m2,
                beam_normal_w_m2: 0.0,
                diffuse_w_m2: global_w_m2,
            }
        } else {
            // The share above 0.8 is constant, so the cap of the index changes nothing here.
            let share = hourly_diffuse_share(global_w_m2 * self.clearness_per_w_m2);
            let diffuse_w_m2 = global_w_m2 * share;
            Components {
                global_w_m2,
                beam_normal_w_m2: (global_w_m2 - diffuse_w_m2) * self.beam_per_w_m2,
                diffuse_w_m2,
            }
        };
        self.plane_from_components_w_m2(&components)
    }

    /// Irradiance of the array, W/m2, for measured or clear-sky components.
    #[must_use]
    #[inline]
    pub fn plane_from_components_w_m2(&self, components: &Components) -> f64 {
        components.beam_normal_w_m2 * self.beam_factor
            + components.diffuse_w_m2
                * (self.sky_factor + components.beam_normal_w_m2 * self.circumsolar_per_w_m2)
            + components.global_w_m2 * self.ground_factor
    }
}
