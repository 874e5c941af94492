//! The sea as a medium: sound speed, absorption, ambient noise, density and pressure, spreading, rays, two ears.
//!
//! Conventions, here and in every function of the crate:
//! - temperature in degrees Celsius on ITS-90, salinity on the practical scale (PSS-78), depth in metres below the surface,
//!   pressure in decibars above the atmosphere's (0 at the surface), frequency in hertz, range in metres;
//! - a function that returns one number refuses (with [`SeaError`]) what lies outside the published range of its method;
//! - a function that returns a struct gives the parts of the number, and says in `warnings` what makes it doubtful. Where the
//!   formula can be carried beyond its published range in good conscience, it does so and warns; beyond that it refuses too.

mod ainslie_mccolm;
mod bed;
mod chen_millero;
mod density;
mod ear_refraction;
mod francois_garrison;
mod limits;
mod lloyd_mirror;
mod mackenzie;
mod noise;
mod pressure;
mod profile;
mod rays;
mod sound_speed;
mod spreading;
mod temperature_scale;
mod two_ears;

pub use ainslie_mccolm::absorption_ainslie_mccolm_db_per_km;
pub use bed::{Bed, Bounce, bed_bounce};
pub use chen_millero::sound_speed_chen_millero_m_s;
pub use density::density_kg_m3;
pub use ear_refraction::refracted_sines;
pub use francois_garrison::{Absorption, absorption, absorption_db_per_km};
pub use limits::{Method, SeaError, Variable, Warning};
pub use lloyd_mirror::lloyd_mirror_loss_db;
pub use mackenzie::sound_speed_mackenzie_m_s;
pub use noise::{AmbientNoise, ambient_noise, band_level_db_re_1upa};
pub use pressure::{depth_from_pressure_m, gravity_m_s2, pressure_from_depth_dbar};
pub use profile::{Profile, ProfilePoint};
pub use rays::{
    CAUSTIC_GAIN_DB, Eigenray, Eigenrays, Family, Layers, LossField, Pair, RayLimits, RaySea,
    Reach, Trace, coherent_loss_db, incoherent_loss_db,
};
pub use sound_speed::{SALINITY_SPLIT, SoundSpeed, sound_speed, sound_speed_m_s};
pub use spreading::{
    SIMPLE_LAW_LIMIT_M, Spreading, TransmissionLoss, transmission_loss, transmission_loss_db,
};
pub use temperature_scale::t68_from_t90_degc;
pub use two_ears::{EarDirection, TwoEars};
