//! The sea and the weather at the site.

use jiff::Timestamp;

use super::{Bottom, Decibels, Paths, Q, RaysWanted, Spells};
use crate::site::Site;

/// The sea and the weather at the site.
///
/// What a mistake hides is not a number, or absent; [`crate::SpoiltParts`] says which.
#[derive(Clone, Debug)]
pub struct Sea {
    /// Latitude, degrees, north positive.
    pub latitude_deg: Q,
    /// Longitude, degrees, east positive.
    pub longitude_deg: Q,
    /// Water depth, m.
    pub water_depth_m: Q,
    /// Temperature and salinity by depth, shallowest first.
    pub profile: Vec<Water>,
    /// Water current by depth, shallowest first.
    pub current: Vec<Flow>,
    /// Lowest and highest water from the level of `water_depth_m`, m.
    pub tide_m: Option<(Q, Q)>,
    /// What grows on what is in the water.
    pub growth: Option<GrowthSaid>,
    /// Density for drag and buoyancy, kg/m3.
    pub density_kg_m3: Option<Q>,
    /// Mean wind speed of each month from January, m/s; empty or twelve.
    pub wind_m_s: Vec<Q>,
    /// Mean significant wave height of each month from January, m; empty or twelve.
    pub wave_height_m: Vec<Q>,
    /// Their spread within a month, and their memory.
    pub spells: Option<Spells>,
    /// Swell from elsewhere.
    pub swell: Option<Swell>,
    /// Clearness index of each month from January, 0 to 1; empty or twelve.
    pub clearness: Vec<Q>,
    /// Mean air temperature of each month from January, degC; empty or twelve.
    pub air_temperature_degc: Vec<Q>,
    /// Mean water temperature at the surface in each month from January, degC; empty or twelve.
    pub surface_temperature_degc: Vec<Q>,
    /// Skyline by direction, azimuths rising; empty for an open one.
    pub horizon: Vec<HorizonPoint>,
    /// Hourly weather file that stands for the clearness of the months.
    pub weather: Option<WeatherText>,
    /// Shipping activity from 0 (none) to 1 (heavy).
    pub shipping: Option<Q>,
    /// Acidity, pH on the scale of the absorption formula.
    pub ph: Option<Q>,
    /// How sound spreads, when the plan says.
    pub spreading: Option<Spreading>,
    /// The law that was measured at the place, when the plan says.
    pub loss_measured: Option<LossMeasured>,
    /// The ways that sound takes, when the plan says.
    pub paths: Option<Paths>,
    /// The sea bed as sound meets it.
    pub bottom: Option<Bottom>,
    /// Which rays are followed.
    pub rays: RaysWanted,
}

/// A firm layer that grows on what is in the water.
#[derive(Clone, Copy, Debug)]
pub struct GrowthSaid {
    /// Thickness that it gains in a month, m.
    pub a_month_m: Q,
    /// Thickness at which it stays, m.
    pub most_m: Option<Q>,
    /// Density, kg/m3.
    pub density_kg_m3: Q,
    /// How many times larger drag coefficients are.
    pub rougher: Option<Q>,
    /// Greatest depth at which it grows, m; `None` to the bed.
    pub down_to_m: Option<Q>,
}

/// A point of the skyline.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct HorizonPoint {
    /// Direction, degrees from north.
    pub azimuth_deg: Q,
    /// Elevation of the skyline, degrees.
    pub elevation_deg: Q,
}

/// An hourly weather file, as it was read.
#[derive(Clone, PartialEq, Debug)]
pub struct WeatherText {
    /// Path as the plan writes it.
    pub path: String,
    /// Its text.
    pub text: String,
    /// Where the plan names it.
    pub at: Site,
}

/// How sound spreads with range.
#[derive(Clone, Copy, PartialEq, Debug)]
pub enum Spreading {
    /// 20 lg r.
    Spherical,
    /// 15 lg r.
    Practical,
    /// 10 lg r.
    Cylindrical,
    /// Spherical to a range in m, cylindrical beyond it.
    Transition {
        /// The range at which the law changes, m.
        at_m: Q,
    },
    /// As [`Sea::loss_measured`] says.
    Measured,
}

/// How sound was found to thin out at the place, absorption apart: a line over the logarithm of range.
#[derive(Clone, Debug)]
pub struct LossMeasured {
    /// Loss over a decade of range, dB.
    pub slope: Decibels,
    /// A range, m, and the loss from 1 m to it, dB; without it the law was measured from 1 m on, and begins there with 0 dB.
    pub known: Option<(Q, Decibels)>,
    /// Least range at which it was measured, m; 1 m without it.
    pub nearest_m: Option<Q>,
    /// Greatest range at which it was measured, m.
    pub farthest_m: Q,
    /// Lowest and highest frequency at which it was measured, Hz.
    pub band_hz: (Q, Q),
    /// Where it is written down.
    pub document: String,
    /// Who measured it.
    pub by: String,
    /// When.
    pub date: Timestamp,
}

/// One point of the water profile.
#[derive(Clone, Copy, Debug)]
pub struct Water {
    /// Depth, m.
    pub depth_m: Q,
    /// Temperature, degC.
    pub temperature_degc: Q,
    /// Practical salinity.
    pub salinity: Q,
}

/// One point of the profile of water current.
#[derive(Clone, Copy, Debug)]
pub struct Flow {
    /// Depth, m.
    pub depth_m: Q,
    /// Speed, m/s.
    pub speed_m_s: Q,
    /// Direction towards which the water moves, degrees from north.
    pub towards_deg: Option<Q>,
}

/// Long waves from elsewhere, of one period.
#[derive(Clone, Copy, Debug)]
pub struct Swell {
    /// Significant height, m.
    pub height_m: Q,
    /// From crest to crest, s.
    pub period_s: Q,
}
