//! What a hydrophone hears of its own heave in an irregular sea, and how often that clips its chain.
//!
//! The sea is one of the two-parameter form of Pierson and Moskowitz's spectrum (Bretschneider; as DNV-RP-C205 and the ITTC have it, from memory),
//! `S(f) = (5/16) Hs^2 fp^4 f^-5 exp(-(5/4) (fp/f)^4)`, a Gaussian process whose every frequency does what [`heave()`](crate::heave()) says of a wave; drag is the linear one that errs least in the mean
//! square, `0.5 rho S sqrt(8/pi) sigma_v` (statistical linearisation), with `sigma_v` of the motion through the water found by halving.
//! A buoy does not follow waves shorter than itself: it rises by the mean of the surface over its waterplane, a disc of radius R, `2 J1(kR) / (kR)` (elementary; its own swinging in heave is left out).
//!
//! Short waves matter: behind a high-pass of two poles and more the long ones are gone, and what is heard comes from those that the buoy just follows. A single swell says too little there.
//!
//! Of the pressure with standard deviation `sigma` and mean frequency `nu = sqrt(m2/m0)` of its zeros, a share `erfc(F / (sigma sqrt 2))` of the time lies beyond a full scale `F`, and it goes beyond it
//! `2 nu exp(-F^2 / (2 sigma^2))` times a second (Rice 1944, from memory).
//!
//! Validity: as [`heave()`](crate::heave()); a sea that has had the wind long enough, one peak, no swell beside it. Accuracy: 1e-4 of standard deviations where the riser's damping is above a hundredth of critical; what comes
//! from waves beyond five times the frequency that the buoy stops to follow at is left out.

use core::f64::consts::PI;

use crate::GRAVITY_M_S2;
use crate::error::{MooringError, not_negative, positive};
use crate::heave::{HighPassPoles, Riser, SpringRiser};
use crate::wave::Wave;

/// Frequencies at which a spectrum is taken, evenly in their logarithm.
const FREQUENCIES: u32 = 4000;
/// Below this share of the peak's frequency there is nothing: e^-83 of it.
const LOWEST: f64 = 0.35;
/// Times the peak's frequency that are taken at least.
const HIGHEST: f64 = 20.0;
/// Times the frequency of a wave of which the disc's first zero (kR = 3.83) takes the heave away.
const BEYOND_DISC: f64 = 5.0;
pub(crate) const FIRST_ZERO_OF_J1: f64 = 3.831_705_970_207_512;
const HALVINGS: u32 = 60;

/// A sea of one peak.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sea {
    /// Significant wave height, m; not negative.
    pub significant_m: f64,
    /// Period of the peak of its spectrum, s; above zero.
    pub peak_period_s: f64,
    /// Depth of the water, m; above zero.
    pub depth_m: f64,
    /// Density of the water, kg/m3; above zero.
    pub density_kg_m3: f64,
}

/// A buoy, what hangs under it, and the chain that hears it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct UnderBuoy {
    /// Diameter of the buoy at the water, m; above zero.
    pub diameter_m: f64,
    /// Depth of the hydrophone at rest, m; not negative.
    pub depth_m: f64,
    /// The riser between them; one that gives needs a drag area above zero.
    pub riser: Riser,
    /// High-pass of the chain.
    pub high_pass: Option<HighPassPoles>,
}

/// What heave does in a sea: standard deviations.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SeaHeave {
    /// Of the way of the hydrophone up and down, m.
    pub moves_m: f64,
    /// Of the pressure at it, Pa.
    pub pressure_pa: f64,
    /// Of the pressure after the high-pass, Pa.
    pub heard_pa: f64,
    /// Mean frequency at which the pressure after the high-pass passes zero upwards, Hz; zero without a sea.
    pub heard_hz: f64,
    /// Of the pull of the riser, N; zero of a stiff one, of which it is not computed.
    pub pull_n: f64,
    /// Weight in water that the riser holds at rest, N; `None` of a stiff one.
    pub at_rest_n: Option<f64>,
}

impl SeaHeave {
    /// Share of the time in which the pressure after the high-pass lies beyond a full scale, Pa (peak, above zero).
    #[must_use]
    pub fn clipped_share(&self, full_scale_pa: f64) -> f64 {
        if self.heard_pa == 0.0 {
            return 0.0;
        }
        libm::erfc(full_scale_pa / (self.heard_pa * core::f64::consts::SQRT_2))
    }

    /// How often in an hour it goes beyond it, on either side.
    #[must_use]
    pub fn clips_an_hour(&self, full_scale_pa: f64) -> f64 {
        if self.heard_pa == 0.0 {
            return 0.0;
        }
        let ratio = full_scale_pa / self.heard_pa;
        7200.0 * self.heard_hz * libm::exp(-0.5 * ratio * ratio)
    }

    /// Share of the time in which the riser would have to push: it is slack then, and the figures do not hold. `None` of a stiff one.
    #[must_use]
    pub fn slack_share(&self) -> Option<f64> {
        let at_rest_n = self.at_rest_n?;
        if self.pull_n == 0.0 {
            return Some(if at_rest_n > 0.0 { 0.0 } else { 1.0 });
        }
        Some(0.5 * libm::erfc(at_rest_n / (self.pull_n * core::f64::consts::SQRT_2)))
    }
}

/// A frequency of the sea: its share of the variance, and what a wave of 1 m amplitude does there.
struct Line {
    omega_rad_s: f64,
    variance_m2: f64,
    /// Of the buoy, m.
    buoy: f64,
    /// Of the water at the hydrophone, up and down, m.
    water: f64,
    /// Of the pressure there, as a height, m.
    pressure: f64,
    gain: f64,
}

/// What heave does at a hydrophone in a sea.
///
/// # Errors
/// A figure out of its range, a riser that gives without drag.
pub fn heave_in_sea(sea: &Sea, under: &UnderBuoy) -> Result<SeaHeave, MooringError> {
    not_negative("the significant wave height, m", sea.significant_m)?;
    positive("the density of the water, kg/m3", sea.density_kg_m3)?;
    positive("the diameter of a buoy, m", under.diameter_m)?;
    not_negative("the depth of a hydrophone, m", under.depth_m)?;
    positive("the period of the peak of a sea, s", sea.peak_period_s)?;
    positive("the depth of the water, m", sea.depth_m)?;
    if let Some(high_pass) = under.high_pass {
        positive("the corner of a high-pass, Hz", high_pass.corner_hz)?;
    }
    let spring = match under.riser {
        Riser::Stiff => None,
        Riser::Spring(spring) => {
            spring.check()?;
            positive(
                "the drag area of what hangs in a sea, m2",
                spring.drag_area_m2,
            )?;
            Some(spring)
        }
    };
    if sea.significant_m == 0.0 {
        return Ok(SeaHeave {
            moves_m: 0.0,
            pressure_pa: 0.0,
            heard_pa: 0.0,
            heard_hz: 0.0,
            pull_n: 0.0,
            at_rest_n: spring.map(|s| s.at_rest_n()),
        });
    }
    let lines = lines(sea, under)?;
    let damping_n_s_m = spring.map_or(0.0, |s| damping_n_s_m(sea, &s, &lines));
    let weight_n_m3 = sea.density_kg_m3 * GRAVITY_M_S2;
    let (mut moves, mut pressure, mut heard, mut fast, mut pull) = (0.0, 0.0, 0.0, 0.0, 0.0);
    for line in &lines {
        let (real, imaginary) = spring.map_or((line.buoy, 0.0), |s| {
            let (real, imaginary) = through_water(line, &s, damping_n_s_m);
            (line.water + real, imaginary)
        });
        let off = line.pressure - real;
        let here = line.variance_m2 * (off * off + imaginary * imaginary);
        let stretch = line.buoy - real;
        moves += line.variance_m2 * (real * real + imaginary * imaginary);
        pressure += here;
        heard += here * line.gain * line.gain;
        fast += here * line.gain * line.gain * line.omega_rad_s * line.omega_rad_s;
        pull += line.variance_m2 * (stretch * stretch + imaginary * imaginary);
    }
    Ok(SeaHeave {
        moves_m: moves.sqrt(),
        pressure_pa: weight_n_m3 * pressure.sqrt(),
        heard_pa: weight_n_m3 * heard.sqrt(),
        heard_hz: if heard > 0.0 {
            (fast / heard).sqrt() / (2.0 * PI)
        } else {
            0.0
        },
        pull_n: spring.map_or(0.0, |s| s.stiffness_n_m * pull.sqrt()),
        at_rest_n: spring.map(|s| s.at_rest_n()),
    })
}

fn lines(sea: &Sea, under: &UnderBuoy) -> Result<Vec<Line>, MooringError> {
    let peak_hz = 1.0 / sea.peak_period_s;
    let radius_m = 0.5 * under.diameter_m;
    // In deep water, which the short waves of this are in.
    let ends_hz = (GRAVITY_M_S2 * FIRST_ZERO_OF_J1 / radius_m).sqrt() / (2.0 * PI);
    let low = libm::log(LOWEST * peak_hz);
    let high = libm::log((HIGHEST * peak_hz).max(BEYOND_DISC * ends_hz));
    let step = (high - low) / f64::from(FREQUENCIES);
    let mut all = Vec::with_capacity(FREQUENCIES as usize);
    for index in 0..FREQUENCIES {
        let f_hz = libm::exp(low + step * (f64::from(index) + 0.5));
        let ratio = peak_hz / f_hz;
        let fourth = ratio * ratio * ratio * ratio;
        let hs = sea.significant_m;
        // S(f) f d(ln f)
        let variance_m2 = 5.0 / 16.0 * hs * hs * fourth * libm::exp(-1.25 * fourth) * step;
        let wave = Wave::new(2.0, 1.0 / f_hz, sea.depth_m)?;
        let at = wave.at(under.depth_m);
        let across = 2.0 * PI / wave.length_m() * radius_m;
        all.push(Line {
            omega_rad_s: wave.omega_rad_s(),
            variance_m2,
            buoy: 2.0 * libm::j1(across) / across,
            water: at.up_m,
            pressure: at.pressure_m,
            gain: under.high_pass.map_or(1.0, |h| h.gain(f_hz)),
        });
    }
    Ok(all)
}

/// Motion through the water for a wave of 1 m amplitude, real and imaginary part, m.
fn through_water(line: &Line, spring: &SpringRiser, damping_n_s_m: f64) -> (f64, f64) {
    let square = line.omega_rad_s * line.omega_rad_s;
    let drives = spring.stiffness_n_m * (line.buoy - line.water)
        + (spring.mass_kg - spring.displaced_kg) * square * line.water;
    let holds = spring.stiffness_n_m - (spring.mass_kg + spring.added_mass_kg) * square;
    let damps = damping_n_s_m * line.omega_rad_s;
    let size = holds * holds + damps * damps;
    (drives * holds / size, -drives * damps / size)
}

/// The linear drag with which the motion that it leaves has the speed that it is for, N s/m.
fn damping_n_s_m(sea: &Sea, spring: &SpringRiser, lines: &[Line]) -> f64 {
    let each = 0.5 * sea.density_kg_m3 * spring.drag_area_m2 * (8.0 / PI).sqrt();
    let speed = |sigma_m_s: f64| {
        let of = |line: &Line| {
            let (real, imaginary) = through_water(line, spring, each * sigma_m_s);
            let square = line.omega_rad_s * line.omega_rad_s;
            line.variance_m2 * square * (real * real + imaginary * imaginary)
        };
        lines.iter().map(of).sum::<f64>().sqrt()
    };
    let (mut low, mut high) = (0.0, 1.0);
    while speed(high) > high {
        low = high;
        high *= 2.0;
    }
    for _ in 0..HALVINGS {
        let middle = 0.5 * (low + high);
        if speed(middle) > middle {
            low = middle;
        } else {
            high = middle;
        }
    }
    each * high
}
