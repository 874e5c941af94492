//! Sun, sky and panels: where the sun stands, what reaches a tilted panel on a fixed mast or on a buoy that yaws, and
//! what the panel makes of it.
//!
//! One published method a file; pure functions of plain numbers with `libm`, the same bits on every machine. For the
//! hourly year of one site and one array, [`SunYear`] and [`PlaneYear`] work out the geometry once ([`SunCourse`] what is
//! the same for all places of one clock); after that the irradiance of an hour is a polynomial and a few products ([`PlaneHour`]). Equations, sources, limits and checks:
//! `docs/method/sun.md`.
//!
//! Azimuths are degrees from north, clockwise; a tilt of 0 lies flat, 90 stands upright.

mod air_mass;
mod cell;
mod clear_sky;
mod clearness;
mod course;
mod error;
mod extraterrestrial;
mod horizon;
mod hours;
mod incidence;
mod position;
mod soiling;
mod transposition;
mod yaw;

pub use air_mass::relative_air_mass;
pub use cell::{cell_temperature_faiman_degc, cell_temperature_ross_degc, panel_power_w};
pub use clear_sky::{haurwitz_w_m2, ineichen_perez};
pub use clearness::{
    Components, HIGHEST_CLEARNESS, clearness_index, daily_diffuse_share, hourly_components,
    hourly_diffuse_share,
};
pub use course::{Clock, SunCourse};
pub use error::{Quantity, SunError};
pub use extraterrestrial::{
    SOLAR_CONSTANT_2011_W_M2, SOLAR_CONSTANT_ASTM_E490_W_M2, daily_extraterrestrial_wh_m2,
    extraterrestrial_w_m2, sunset_hour_angle_deg,
};
pub use horizon::Horizon;
pub use hours::{
    Array, DAYS, Face, HOURS, Mounting, PlaneHour, PlaneYear, Site, SunDay, SunHour, SunYear,
};
pub use incidence::{Iam, cos_incidence, incidence_deg};
pub use position::{Instant, Observer, SunPosition, sun_position};
pub use soiling::Soiling;
pub use transposition::{Sky, Transposed, circumsolar_ratio, transpose};
pub use yaw::{mean_beam_share, mean_cos_incidence, ring_range};
