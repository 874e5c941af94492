//! Shape and tension of a line in a current, from the anchor to a float, a buoy or a fixed point.
//!
//! Axes: x east, y north, z up from a flat seabed; the anchor lies at the origin. `s` is the unstretched length from the anchor, m. A force on the
//! line is the pull of what lies above a cut on what lies below it, so that its vertical part is positive where the line holds something down.
//!
//! - [`Hanging`] is a line with what hangs on it, the water about it and what holds its top; [`hang`] finds its [`Shape`].
//! - [`hang_by_bars`] finds it by another method, slower and good to a few millimetres, where shooting fails; [`hang`] goes over to it by itself and says so.
//! - [`Wave`] is a wave of small height over a flat bed; [`shedding_hz`] and [`span_mode_hz`] say at which frequencies a line strums,
//!   [`strum_in_a_tide`] and [`strum_in_a_fortnight`] for how long it does so in a detector's band.
//! - [`partings`] says what comes up where a line parts, [`slack_at_surface_m`] what rope can lie at the surface, [`drift_alarm()`] how far a buoy may be from its place.
//! - [`Growth`] fouls ropes and bodies, [`anode_kg`] protects bare metal, [`anode_ohm`] is behind what an anode can give, [`SeaMetal::with`] says which metals may touch.
//! - [`HeardWaves`] says what a hydrophone hears of waves and of its own way up and down under a buoy, in irregular seas and swells, and for how much of the time that clips its chain.
//!
//! Shapes are statics: the line is at rest in a steady current.

mod anode;
mod anode_output;
mod bars;
mod descend;
mod drift_alarm;
mod error;
mod fixed;
mod growth;
mod heard_waves;
mod line;
mod metals;
mod parting;
mod shape;
mod shoot;
mod strum;
mod strum_hours;
mod tide_course;
mod vector;
mod water;
mod wave;

pub use anode::{
    ALUMINIUM_AH_KG, ALUMINIUM_IN_MUD_AH_KG, Anode, Wetted, ZINC_AH_KG, ZINC_IN_MUD_AH_KG,
    anode_kg, anode_life_s, protection_a,
};
pub use anode_output::{
    ALUMINIUM_KG_M3, ALUMINIUM_V, AnodeForm, IN_MUD_V, PROTECTED_V, ZINC_KG_M3, ZINC_V,
    anode_holds_m3, anode_ohm, worn_anode_ohm,
};
pub use bars::hang_by_bars;
pub use drift_alarm::{DriftAlarm, drift_alarm, seen_within_m, sigma_of_circle_m};
pub use error::MooringError;
pub use growth::{Form, Growth, GrowthRate};
pub use heard_waves::{
    HeardSea, HeardWaves, HeldBy, HighPassPoles, InWaves, LONGEST_PEAK_S, risen_height_m,
    risen_period_s,
};
pub use line::{Body, Hanging, Rope, Top};
pub use metals::{Contact, Couple, SeaMetal, UNLIKE_V};
pub use parting::{
    Floodable, Floods, Freed, Parting, Side, TopFloat, partings, slack_at_surface_m,
};
pub use shape::{AtBody, Effort, Point, Shape, Touch};
pub use shoot::{Held, hang, hold};
pub use strum::{CRITICAL_REYNOLDS, STROUHAL, added_mass_kg_m, shedding_hz, span_mode_hz};
pub use strum_hours::{
    LUNAR_TIDE_H, StrumShares, Strummed, TideSpeeds, strum_in_a_fortnight, strum_in_a_tide,
};
pub use tide_course::{SOLAR_TIDE_H, TideCourse};
pub use water::{Current, Water};
pub use wave::{Wave, WaveAt};

/// Standard gravity, m/s2 (exact, ISO 80000-3).
pub const GRAVITY_M_S2: f64 = 9.806_65;
