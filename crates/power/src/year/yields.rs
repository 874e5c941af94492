//! From weather to the energy of the panels, per watt of peak power.
//!
//! Irradiance of the array by [`PlaneHour`], less dirt; cell temperature by Faiman; power proportional to the
//! irradiance and linear in the cell temperature; a fixed share lost in wiring and controller.
//!
//! A generated day's energy is its clearness times that outside the atmosphere; the daily correlation of Erbs splits
//! it, and each part is spread over the day by its own curve ([`DayShapes`]). An hour's diffuse light is at most its
//! global light (the curves cross near sunrise), and with the sun beyond 87 deg from the zenith all of it is diffuse.

use std::sync::Arc;

use super::error::{YearError, YearQuantity};
use crate::sun::{
    Components, DAYS, HOURS, PlaneHour, PlaneYear, SunError, SunYear, cell_temperature_faiman_degc,
    daily_diffuse_share, panel_power_w,
};
use crate::weather::{DayShapes, WeatherHour};

/// Cosine of 87 deg: with a lower sun all light counts as diffuse, as in the hourly correlation.
const COS_LAST_BEAM: f64 = 0.052_335_956_242_943_83;

/// What becomes of the light on a panel.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PanelModel {
    /// Change of power with cell temperature, 1/K (negative; -0.004 for silicon is common).
    pub temperature_coefficient_per_k: f64,
    /// Share lost in wiring, mismatch and controller.
    pub loss: f64,
    /// Share of the light that dirt leaves, January to December ([`crate::sun::Soiling::factors`]).
    pub light_left: [f64; 12],
}

/// Air over the panels, as monthly means.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Climate {
    /// Air temperature, degC.
    pub air_temperature_degc: [f64; 12],
    /// Wind speed, m/s.
    pub wind_speed_m_s: [f64; 12],
}

impl PanelModel {
    fn check(&self) -> Result<(), YearError> {
        YearQuantity::TemperatureCoefficient.check(self.temperature_coefficient_per_k)?;
        YearQuantity::Loss.check(self.loss)?;
        for share in self.light_left {
            YearQuantity::LightLeft.check(share)?;
        }
        Ok(())
    }

    #[inline]
    fn yield_wh_per_w(&self, month: usize, plane_w_m2: f64, air_degc: f64, wind_m_s: f64) -> f64 {
        let lit_w_m2 = plane_w_m2 * self.light_left[month];
        let cell_degc = cell_temperature_faiman_degc(lit_w_m2, air_degc, wind_m_s);
        panel_power_w(
            1.0 - self.loss,
            self.temperature_coefficient_per_k,
            lit_w_m2,
            cell_degc,
        )
    }
}

/// Energy of each hour of measured weather, Wh per watt of peak power.
///
/// # Errors
/// Not a year of hours; a value of the panels, temperature or wind outside its range.
pub fn measured_yields(
    sun: &SunYear,
    plane: &PlaneYear,
    hours: &[WeatherHour],
    panels: &PanelModel,
) -> Result<Vec<f64>, YearError> {
    panels.check()?;
    if hours.len() != HOURS {
        return Err(YearError::Hours {
            found: hours.len(),
            what: "weather",
        });
    }
    plane
        .hours()
        .iter()
        .zip(sun.hours())
        .zip(hours)
        .map(|((plane, sun), weather)| {
            let air_degc = YearQuantity::AirTemperature.check(weather.air_temperature_degc)?;
            let wind_m_s = YearQuantity::WindSpeed.check(weather.wind_speed_m_s)?;
            let plane_w_m2 = plane.plane_from_components_w_m2(&weather.components);
            YearQuantity::Yield
                .check(panels.yield_wh_per_w(sun.month, plane_w_m2, air_degc, wind_m_s))
        })
        .collect()
}

/// What turns days of clearness into the irradiance of an array, worked out once for a site and an array.
#[derive(Clone, Debug)]
pub struct GeneratedPlane {
    days: Vec<Day>,
    hours: Vec<Hour>,
}

#[derive(Clone, Copy, Debug)]
struct Day {
    month: usize,
    extraterrestrial_wh_m2: f64,
    sunset_hour_angle_deg: f64,
    /// First hour with light, and the one after the last.
    lit: (usize, usize),
}

#[derive(Clone, Copy, Debug)]
struct Hour {
    global_share: f64,
    diffuse_share: f64,
    /// 1 over the cosine of the zenith angle, 0 with the sun too low for beam.
    beam_per_w_m2: f64,
    plane: PlaneHour,
}

impl GeneratedPlane {
    /// What each hour of the year takes, bytes.
    pub const BYTES_PER_HOUR: usize = size_of::<Hour>();

    /// Prepares a site and an array.
    #[must_use]
    pub fn new(sun: &SunYear, plane: &PlaneYear) -> Self {
        let shapes = DayShapes::new(sun);
        let hours: Vec<Hour> = sun
            .hours()
            .iter()
            .zip(plane.hours())
            .zip(shapes.hours())
            .map(|((sun, &plane), share)| {
                let cos_zenith = libm::cos(sun.apparent_zenith_deg.to_radians());
                Hour {
                    global_share: share.global,
                    diffuse_share: share.diffuse,
                    beam_per_w_m2: if cos_zenith < COS_LAST_BEAM {
                        0.0
                    } else {
                        1.0 / cos_zenith
                    },
                    plane,
                }
            })
            .collect();
        let days = sun
            .days()
            .iter()
            .zip(hours.chunks(24))
            .map(|(day, of_day)| {
                let first = of_day.iter().position(|hour| hour.global_share > 0.0);
                let last = of_day.iter().rposition(|hour| hour.global_share > 0.0);
                Day {
                    month: day.month,
                    extraterrestrial_wh_m2: day.extraterrestrial_wh_m2,
                    sunset_hour_angle_deg: day.sunset_hour_angle_deg,
                    lit: first
                        .zip(last)
                        .map_or((0, 0), |(first, last)| (first, last + 1)),
                }
            })
            .collect();
        Self { days, hours }
    }

    /// Irradiance of the array, W/m2, before dirt, in the hours with light of a year of daily clearness (0 to 1), one after the other
    /// into `lit_w_m2`, whatever it held.
    ///
    /// # Errors
    /// A clearness outside 0 to 1.
    pub fn fill(&self, clearness: &[f64; DAYS], lit_w_m2: &mut Vec<f64>) -> Result<(), SunError> {
        lit_w_m2.clear();
        lit_w_m2.reserve_exact(self.lit_hours());
        self.each_hour(clearness, |_, _, plane_w_m2| lit_w_m2.push(plane_w_m2))
    }

    /// Energy of a year on the plane of the array, Wh/m2, before dirt.
    ///
    /// # Errors
    /// As [`GeneratedPlane::fill`].
    pub fn plane_wh_m2(&self, clearness: &[f64; DAYS]) -> Result<f64, SunError> {
        let mut sum = 0.0;
        self.each_hour(clearness, |_, _, plane_w_m2| sum += plane_w_m2)?;
        Ok(sum)
    }

    /// Hours of a year with light.
    #[must_use]
    pub fn lit_hours(&self) -> usize {
        self.days.iter().map(|day| day.lit.1 - day.lit.0).sum()
    }

    #[inline]
    fn each_hour(
        &self,
        clearness: &[f64; DAYS],
        mut take: impl FnMut(usize, usize, f64),
    ) -> Result<(), SunError> {
        for (number, (day, &k)) in self.days.iter().zip(clearness).enumerate() {
            let diffuse_share = daily_diffuse_share(k, day.sunset_hour_angle_deg)?;
            let global_wh_m2 = k * day.extraterrestrial_wh_m2;
            let diffuse_wh_m2 = global_wh_m2 * diffuse_share;
            let midnight = 24 * number;
            let (first, end) = (midnight + day.lit.0, midnight + day.lit.1);
            for (hour, index) in self.hours[first..end].iter().zip(first..) {
                let components = hour.components(global_wh_m2, diffuse_wh_m2);
                let plane_w_m2 = hour.plane.plane_from_components_w_m2(&components);
                take(index, day.month, plane_w_m2);
            }
        }
        Ok(())
    }
}

/// What turns the irradiance of an array into the energy of its panels.
#[derive(Clone, Debug)]
pub struct GeneratedYields {
    plane: Arc<GeneratedPlane>,
    panels: PanelModel,
    climate: Climate,
}

impl GeneratedYields {
    /// Prepares a site and an array.
    ///
    /// # Errors
    /// A value of the panels or of the climate outside its range.
    pub fn new(
        sun: &SunYear,
        plane: &PlaneYear,
        panels: &PanelModel,
        climate: &Climate,
    ) -> Result<Self, YearError> {
        Self::on(Arc::new(GeneratedPlane::new(sun, plane)), panels, climate)
    }

    /// The panels of an array that has been prepared.
    ///
    /// # Errors
    /// As [`GeneratedYields::new`].
    pub fn on(
        plane: Arc<GeneratedPlane>,
        panels: &PanelModel,
        climate: &Climate,
    ) -> Result<Self, YearError> {
        panels.check()?;
        for month in 0..12 {
            YearQuantity::AirTemperature.check(climate.air_temperature_degc[month])?;
            YearQuantity::WindSpeed.check(climate.wind_speed_m_s[month])?;
        }
        Ok(Self {
            plane,
            panels: *panels,
            climate: *climate,
        })
    }

    /// The array.
    #[must_use]
    pub fn plane(&self) -> &GeneratedPlane {
        &self.plane
    }

    /// Energy of each hour, Wh per watt of peak power, for a year of daily clearness (0 to 1) into `yields`, whatever
    /// it held.
    ///
    /// # Errors
    /// A clearness outside 0 to 1.
    pub fn fill(&self, clearness: &[f64; DAYS], yields: &mut Vec<f64>) -> Result<(), SunError> {
        yields.clear();
        yields.resize(HOURS, 0.0);
        self.plane.each_hour(clearness, |index, month, plane_w_m2| {
            yields[index] = self.of_hour(month, plane_w_m2);
        })
    }

    /// The same from the irradiance of the hours with light ([`GeneratedPlane::fill`]), bit for bit.
    ///
    /// # Errors
    /// Not so many hours as have light here.
    pub fn fill_lit(&self, lit_w_m2: &[f64], yields: &mut Vec<f64>) -> Result<(), YearError> {
        let lit = self.plane.lit_hours();
        if lit_w_m2.len() != lit {
            return Err(YearError::LitHours {
                found: lit_w_m2.len(),
                lit,
            });
        }
        yields.clear();
        yields.resize(HOURS, 0.0);
        let mut rest = lit_w_m2;
        for (of_day, day) in yields.chunks_mut(24).zip(&self.plane.days) {
            let (first, end) = day.lit;
            let (today, later) = rest.split_at(end - first);
            for (hour, &plane_w_m2) in of_day[first..end].iter_mut().zip(today) {
                *hour = self.of_hour(day.month, plane_w_m2);
            }
            rest = later;
        }
        Ok(())
    }

    #[inline]
    fn of_hour(&self, month: usize, plane_w_m2: f64) -> f64 {
        self.panels.yield_wh_per_w(
            month,
            plane_w_m2,
            self.climate.air_temperature_degc[month],
            self.climate.wind_speed_m_s[month],
        )
    }

    /// Energy of a year on the plane of the array, Wh/m2, before dirt.
    ///
    /// # Errors
    /// As [`GeneratedYields::fill`].
    pub fn plane_wh_m2(&self, clearness: &[f64; DAYS]) -> Result<f64, SunError> {
        self.plane.plane_wh_m2(clearness)
    }
}

impl Hour {
    #[inline]
    fn components(&self, global_wh_m2: f64, diffuse_wh_m2: f64) -> Components {
        let global_w_m2 = global_wh_m2 * self.global_share;
        let diffuse_w_m2 = if self.beam_per_w_m2 == 0.0 {
            global_w_m2
        } else {
            (diffuse_wh_m2 * self.diffuse_share).min(global_w_m2)
        };
        Components {
            global_w_m2,
            beam_normal_w_m2: (global_w_m2 - diffuse_w_m2) * self.beam_per_w_m2,
            diffuse_w_m2,
        }
    }
}
#[cfg(test)]
mod tests {
    use super::*;
    use crate::sun::{
        Array, Horizon, Iam, Mounting, Observer, SOLAR_CONSTANT_2011_W_M2, Site, Sky,
    };
    use crate::weather::{ClearnessModel, ClearnessYears, MonthMean};

    /// The split gives no hour a beam that the air could not let through: at most 0.85 of that outside it, near the
    /// horizon too, where the shares of hours and the middle of the hour go their own ways.
    #[test]
    fn verif_the_beam_of_no_hour_is_stronger_than_air_lets_through() {
        for latitude_deg in [10.0, 45.0, 62.0, 68.0] {
            let sun = SunYear::new(&Site {
                observer: Observer {
                    latitude_deg,
                    longitude_deg: 0.0,
                    elevation_m: 0.0,
                    pressure_pa: 101_325.0,
                    temperature_degc: 10.0,
                },
                year: 2027,
                utc_offset_h: 0.0,
                delta_t_s: 70.0,
                solar_constant_w_m2: SOLAR_CONSTANT_2011_W_M2,
                linke_turbidity: [3.0; 12],
                horizon: Horizon::open(),
            })
            .unwrap();
            let array = Array {
                mounting: Mounting::Yawing { tilt_deg: 60.0 },
                beam_iam: Iam::None,
                sky: Sky::Isotropic,
                albedo: 0.06,
            };
            let plane = PlaneYear::new(&sun, &array).unwrap();
            let panels = PanelModel {
                temperature_coefficient_per_k: -0.004,
                loss: 0.15,
                light_left: [1.0; 12],
            };
            let climate = Climate {
                air_temperature_degc: [10.0; 12],
                wind_speed_m_s: [5.0; 12],
            };
            let yields = GeneratedYields::new(&sun, &plane, &panels, &climate).unwrap();
            let model = ClearnessModel::Aguiar;
            let years = ClearnessYears::new(model, &[0.6; 12], MonthMean::OverYears, &sun).unwrap();
            let mut clearness = [0.0; DAYS];
            let mut strongest = 0.0_f64;
            for year in 0..20 {
                years.fill(1, year, &mut clearness);
                for ((day, of_day), &k) in yields
                    .plane
                    .days
                    .iter()
                    .zip(yields.plane.hours.chunks(24))
                    .zip(&clearness)
                {
                    let global_wh_m2 = k * day.extraterrestrial_wh_m2;
                    let share = daily_diffuse_share(k, day.sunset_hour_angle_deg).unwrap();
                    for hour in of_day {
                        let components = hour.components(global_wh_m2, share * global_wh_m2);
                        strongest = strongest.max(components.beam_normal_w_m2);
                    }
                }
            }
            let share = strongest / SOLAR_CONSTANT_2011_W_M2;
            assert!((0.6..0.85).contains(&share), "{latitude_deg}: {share}");
        }
    }
}
