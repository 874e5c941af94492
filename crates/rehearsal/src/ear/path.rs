//! The way from a source that moves to the ear: delay and loss.
//!
//! A sound that leaves the source at `t_e` (since the sound's beginning) is heard at `t_r = t_e + R(t_e) / c(z(t_e))`, `R` the
//! straight distance and `c` the harmonic mean of the sound speed between the depths of source and ear, so that `R/c` is the
//! travel time on the straight line ([`seawater::Profile::slant_travel_time_s`]). `t_e` follows from `t_r` by fixed-point steps
//! `t_e <- t_r - R(t_e) s(t_e)`, which shrink the error by the Mach number; sources are slower than a fifteenth of the speed of
//! sound. Doppler shift needs no term of its own: it is the slope of `t_e` over `t_r`.
//!
//! The mean slowness is tabulated over depth in steps of at most half a metre (up to 4096 of them) and read linearly.
//! Loss: spreading law and absorption (Francois and Garrison 1982) at one frequency that stands for the sound, in the water
//! half way in depth between the ear and the first point of the track. Straight rays, no surface or bottom, no directivity.

use seawater::{Profile, SeaError, Spreading, absorption};

use super::track::{Track, distance_m};

const DEPTH_STEP_M: f64 = 0.5;
const MOST_DEPTH_STEPS: f64 = 4096.0;
/// A tenth of a nanosecond: 6e-5 rad at 100 kHz, and above the rounding of times up to some days.
const SOLVED_S: f64 = 1e-10;
/// With a Mach number under 1/14 each step gains more than a digit; 3000 km are solved to 1e-10 s in 13.
const MOST_STEPS: u32 = 60;

/// Delay and loss between one sound's track and one ear.
#[derive(Clone, Debug)]
pub(crate) struct Path {
    track: Track,
    ear: [f64; 3],
    first_depth_m: f64,
    depth_step_m: f64,
    /// Mean slowness from `first_depth_m` on, s/m.
    slowness_s_m: Vec<f64>,
    spreading: Spreading,
    absorption_db_per_km: f64,
}

impl Path {
    pub(crate) fn new(
        track: &Track,
        ear_depth_m: f64,
        profile: &Profile,
        spreading: Spreading,
        ph: f64,
        representative_hz: f64,
    ) -> Result<Self, SeaError> {
        let (top_m, bottom_m) = track.depths_m();
        let steps = ((bottom_m - top_m) / DEPTH_STEP_M)
            .ceil()
            .min(MOST_DEPTH_STEPS);
        let depth_step_m = if steps > 0.0 {
            (bottom_m - top_m) / steps
        } else {
            1.0
        };
        let slowness_s_m = (0..=steps as u32)
            .map(|i| {
                let depth_m = (top_m + f64::from(i) * depth_step_m).min(bottom_m);
                profile
                    .harmonic_mean_sound_speed_m_s(depth_m, ear_depth_m)
                    .map(|c| 1.0 / c)
            })
            .collect::<Result<Vec<f64>, SeaError>>()?;
        let middle_m = 0.5 * (ear_depth_m + track.at(0.0)[2]);
        let absorption_db_per_km = absorption(
            representative_hz,
            profile.temperature_degc(middle_m)?,
            profile.salinity(middle_m)?,
            middle_m,
            ph,
        )?
        .total_db_per_km;
        Ok(Self {
            track: track.clone(),
            ear: [0.0, 0.0, ear_depth_m],
            first_depth_m: top_m,
            depth_step_m,
            slowness_s_m,
            spreading,
            absorption_db_per_km,
        })
    }

    /// Distance from the source at `emitted_s`, m.
    pub(crate) fn range_m(&self, emitted_s: f64) -> f64 {
        distance_m(self.track.at(emitted_s), self.ear)
    }

    /// Least distance between two times of emission, m.
    pub(crate) fn closest_m(&self, from_s: f64, until_s: f64) -> f64 {
        self.track.closest_m(self.ear, from_s, until_s)
    }

    /// Travel time of what is emitted at `emitted_s`, s.
    pub(crate) fn travel_s(&self, emitted_s: f64) -> f64 {
        let place = self.track.at(emitted_s);
        let steps = (place[2] - self.first_depth_m) / self.depth_step_m;
        let last = self.slowness_s_m.len() - 1;
        let i = (steps.floor().max(0.0) as usize).min(last);
        let slowness = match self.slowness_s_m.get(i + 1) {
            Some(next) => {
                let here = self.slowness_s_m[i];
                here + (steps - i as f64) * (next - here)
            }
            None => self.slowness_s_m[i],
        };
        distance_m(place, self.ear) * slowness
    }

    /// When was emitted what is heard at `heard_s`, both since the sound's beginning.
    pub(crate) fn emitted_s(&self, heard_s: f64) -> f64 {
        let mut emitted_s = heard_s - self.travel_s(heard_s);
        for _ in 0..MOST_STEPS {
            let next_s = heard_s - self.travel_s(emitted_s);
            let moved_s = (next_s - emitted_s).abs();
            emitted_s = next_s;
            if moved_s <= SOLVED_S {
                break;
            }
        }
        emitted_s
    }

    /// Transmission loss of what is emitted at `emitted_s`, dB re 1 m.
    pub(crate) fn loss_db(&self, emitted_s: f64) -> Result<f64, SeaError> {
        let range_m = self.range_m(emitted_s);
        seawater::transmission_loss_db(self.spreading, range_m, self.absorption_db_per_km)
    }

    /// Factor on the pressure of what is emitted at `emitted_s`.
    pub(crate) fn gain(&self, emitted_s: f64) -> Result<f64, SeaError> {
        Ok(libm::pow(10.0, -self.loss_db(emitted_s)? / 20.0))
    }
}
