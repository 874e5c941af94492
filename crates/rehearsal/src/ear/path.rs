//! The way from a source that moves to the ear: delay and loss.
//!
//! A sound that leaves the source at `t_e` (since the sound's beginning) is heard at `t_r = t_e + R(t_e) / c(z(t_e))`, `R` the
//! straight distance and `c` the harmonic mean of the sound speed between the depths of source and ear, so that `R/c` is the
//! travel time on the straight line ([`seawater::Profile::slant_travel_time_s`]). `t_e` follows from `t_r` by fixed-point steps
//! `t_e <- t_r - R(t_e) s(t_e)`, which shrink the error by the Mach number (at most 1/14, see [`super::track`]) and what the
//! mean speed changes when the source changes depth; a bound of both above one half is refused. Doppler shift needs no term of its own: it is the slope of `t_e` over `t_r`.
//!
//! The mean slowness is tabulated over depth in steps of a tenth of a metre (but no more than 4096 of them) and read linearly:
//! within 1e-6 of the travel time of a source that dives through a sharp thermocline (checked).
//! Loss: spreading law and absorption (Francois and Garrison 1982) at one frequency that stands for the sound, in the water
//! half way in depth between the ear and the first point of the track. Straight, no bed, no directivity; the image in the surface is
//! the same to an ear as high above the surface as this one lies below, with the pressure turned round.

use seawater::{Profile, SeaError, Spreading, absorption};

use super::track::{Track, distance_m};
use super::way::emitted_s;

const DEPTH_STEP_M: f64 = 0.1;
const MOST_DEPTH_STEPS: f64 = 4096.0;
/// Largest change of the delay with the time of emission, s/s: with a half, 60 steps solve any delay.
pub(crate) const MOST_CHANGE: f64 = 0.5;

/// Why there is no path.
#[derive(Debug)]
pub(crate) enum Refused {
    /// The sea lies outside what the formulas hold for.
    Sea(SeaError),
    /// The delay may change by so much, s/s.
    Delay(f64),
}

impl From<SeaError> for Refused {
    fn from(source: SeaError) -> Self {
        Self::Sea(source)
    }
}

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
    /// Negative where the surface turns the pressure round.
    sign: f64,
}

impl Path {
    pub(crate) fn new(
        track: &Track,
        ear_depth_m: f64,
        profile: &Profile,
        spreading: Spreading,
        ph: f64,
        representative_hz: f64,
        image: bool,
    ) -> Result<Self, Refused> {
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
                if image {
                    return image_slowness_s_m(profile, depth_m, ear_depth_m);
                }
                profile
                    .harmonic_mean_sound_speed_m_s(depth_m, ear_depth_m)
                    .map(|c| 1.0 / c)
            })
            .collect::<Result<Vec<f64>, SeaError>>()?;
        let ear = [0.0, 0.0, if image { -ear_depth_m } else { ear_depth_m }];
        let change = change(track, ear, &slowness_s_m, depth_step_m);
        if change > MOST_CHANGE {
            return Err(Refused::Delay(change));
        }
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
            ear,
            first_depth_m: top_m,
            depth_step_m,
            slowness_s_m,
            spreading,
            absorption_db_per_km,
            sign: if image { -1.0 } else { 1.0 },
        })
    }

    /// Distance from the source at `emitted_s`, m.
    pub(crate) fn range_m(&self, emitted_s: f64) -> f64 {
        distance_m(self.track.at(emitted_s), self.ear)
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
        emitted_s(heard_s, |t| self.travel_s(t))
    }

    /// Transmission loss of what is emitted at `emitted_s`, dB re 1 m.
    pub(crate) fn loss_db(&self, emitted_s: f64) -> Result<f64, SeaError> {
        let range_m = self.range_m(emitted_s);
        seawater::transmission_loss_db(self.spreading, range_m, self.absorption_db_per_km)
    }

    /// Factor on the pressure of what is emitted at `emitted_s`.
    pub(crate) fn gain(&self, emitted_s: f64) -> Result<f64, SeaError> {
        Ok(self.sign * libm::pow(10.0, -self.loss_db(emitted_s)? / 20.0))
    }
}

/// Mean slowness of the way up from one depth to the surface and down to another, at one slant.
fn image_slowness_s_m(profile: &Profile, one_m: f64, other_m: f64) -> Result<f64, SeaError> {
    if one_m + other_m == 0.0 {
        return profile.sound_speed_m_s(0.0).map(|c| 1.0 / c);
    }
    let time = |depth_m: f64| {
        profile
            .harmonic_mean_sound_speed_m_s(0.0, depth_m)
            .map(|c| depth_m / c)
    };
    Ok((time(one_m)? + time(other_m)?) / (one_m + other_m))
}

/// Bound of the change of the delay with the time of emission: speed times the largest slowness, and the largest distance times
/// what the slowness changes by in a second.
fn change(track: &Track, ear: [f64; 3], slowness_s_m: &[f64], depth_step_m: f64) -> f64 {
    let (speed_m_s, sinking_m_s, farthest_m) = track.extremes(ear);
    let slowest_s_m = slowness_s_m.iter().copied().fold(0.0, f64::max);
    let steepest = slowness_s_m
        .windows(2)
        .map(|w| (w[1] - w[0]).abs() / depth_step_m)
        .fold(0.0, f64::max);
    speed_m_s * slowest_s_m + farthest_m * steepest * sinking_m_s
}

#[cfg(test)]
mod tests {
    use plan::{FileId, Q, Site, TrackPoint};
    use seawater::ProfilePoint;

    use super::*;

    fn track(points: &[[f64; 4]]) -> Track {
        let q = |si| Q {
            si,
            law: None,
            at: Site {
                file: FileId(0),
                start: 0,
                end: 0,
            },
        };
        let points: Vec<TrackPoint> = points
            .iter()
            .map(|&[after, range, bearing, depth]| TrackPoint {
                after_s: q(after),
                range_m: q(range),
                bearing_deg: q(bearing),
                depth_m: q(depth),
            })
            .collect();
        Track::new("check", &points).unwrap()
    }

    fn thermocline() -> Profile {
        let point = |(depth_m, temperature_degc)| ProfilePoint {
            depth_m,
            temperature_degc,
            salinity: 34.5,
        };
        Profile::new(&[(0.0, 17.0), (20.0, 16.5), (35.0, 9.0), (120.0, 7.0)].map(point)).unwrap()
    }

    fn path(track: &Track) -> Result<Path, Refused> {
        Path::new(
            track,
            22.0,
            &thermocline(),
            Spreading::Practical,
            8.0,
            1000.0,
            false,
        )
    }

    /// The table of slowness against the travel time that `seawater` integrates (and holds against SciPy).
    #[test]
    fn verif_travel_time_is_that_of_the_profile() {
        let diving = track(&[[0.0, 4000.0, 40.0, 2.0], [600.0, 3000.0, 80.0, 110.0]]);
        let path = path(&diving).unwrap();
        for i in 0..=60 {
            let place = diving.at(10.0 * f64::from(i));
            let horizontal_m = libm::hypot(place[0], place[1]);
            let expected_s = thermocline()
                .slant_travel_time_s(place[2], 22.0, horizontal_m)
                .unwrap();
            let found_s = path.travel_s(10.0 * f64::from(i));
            assert!(
                (found_s - expected_s).abs() < 2e-6,
                "{found_s} {expected_s}"
            );
        }
    }

    #[test]
    fn verif_what_is_heard_was_emitted_one_delay_before() {
        let diving = track(&[
            [0.0, 9000.0, 40.0, 2.0],
            [300.0, 300.0, 80.0, 110.0],
            [500.0, 15_000.0, 200.0, 60.0],
        ]);
        let path = path(&diving).unwrap();
        for i in -10..700 {
            let heard_s = f64::from(i);
            let emitted_s = path.emitted_s(heard_s);
            assert!((emitted_s + path.travel_s(emitted_s) - heard_s).abs() < 2e-10);
        }
    }

    #[test]
    fn verif_a_delay_that_cannot_be_solved_is_refused() {
        let plunging = track(&[[0.0, 1e6, 0.0, 0.0], [1.2, 1e6, 0.0, 110.0]]);
        assert!(matches!(path(&plunging), Err(Refused::Delay(change)) if change > MOST_CHANGE));
    }
}
