//! What a hydrophone hears of waves and of its own heave under a buoy: what each frequency does is worked out once, for many seas.
//!
//! A pressure gauge that goes up by `x` in a wave reads, to first order, `rho g (K a - x)`, where `a` is half the wave's height and `K` its pressure of linear theory at that depth,
//! `cosh k(h-z) / cosh kh`. A buoy follows the surface but for what its waterplane averages out, a disc of radius R, `B = 2 J1(kR)/(kR)` (elementary; its own swinging in heave is left out), and hands a
//! share `c` of its way down the riser, in step (a compliance that was measured or that its maker says; 1 of a stiff one, 0 of what stands still). So the hydrophone reads `p = rho g a |K - c B|`: on a
//! stiff riser in deep water under a small buoy `rho g a (1 - e^(-kz))`, and with nothing handed down the wave itself, `rho g a e^(-kz)`. A high-pass of `n` poles is a Butterworth,
//! `1 / sqrt(1 + (corner / f)^(2n))`.
//!
//! The sea is one of the two-parameter form of Pierson and Moskowitz's spectrum (Bretschneider; as DNV-RP-C205 and the ITTC have it, from memory),
//! `S(f) = (5/16) Hs^2 fp^4 f^-5 exp(-(5/4) (fp/f)^4)`, a Gaussian process: of a pressure with standard deviation `sigma` a share `erfc(F / (sigma sqrt 2))` of the time lies beyond a full scale `F`.
//! Behind a high-pass of two poles and more the long waves are gone, and what is heard comes from those that the buoy just follows: a single swell says too little there.
//!
//! Validity: linear waves ([`Wave`]), the depth at rest; a sea that has had the wind long enough, one peak. Accuracy: 1e-4 of standard deviations; what comes from waves beyond five times the frequency
//! that the buoy stops to follow at is left out. A share in step is no spring: near its resonance a riser that gives hands down more than all, and out of step.

use core::f64::consts::PI;

use crate::GRAVITY_M_S2;
use crate::error::{MooringError, not_negative, positive};
use crate::wave::Wave;

/// Frequencies, evenly in their logarithm.
const FREQUENCIES: u32 = 3000;
/// Lowest frequency, Hz: a third of that of a peak of 25 s, below which there is nothing of such a sea.
const LOWEST_HZ: f64 = 0.35 / 25.0;
/// Times the frequency at which a buoy stops to follow, and least highest frequency, Hz.
const BEYOND_DISC: f64 = 5.0;
/// Of the disc: there it no longer heaves at all.
const FIRST_ZERO_OF_J1: f64 = 3.831_705_970_207_512;
const HIGHEST_HZ: f64 = 3.0;
/// Longest period of a peak, s: that of a sea of 25 m, which a wind of 33 m/s raises in days. No sea is taken to rise further.
pub const LONGEST_PEAK_S: f64 = 25.0;

/// Pierson and Moskowitz: alpha and beta of `S(omega) = alpha g^2 omega^-5 exp(-beta (g / (U omega))^4)` with the wind U at 19.5 m (1964, from memory).
const ALPHA: f64 = 8.1e-3;
const BETA: f64 = 0.74;
/// Wind at 19.5 m over that at 10 m (common practice).
const AT_19_5_M: f64 = 1.026;

/// Significant height of the sea that a wind at 10 m has raised for as long as it can, m: `4 sqrt(alpha / (4 beta)) U^2 / g`, which is 0.21 U^2/g.
#[must_use]
pub fn risen_height_m(wind_m_s: f64) -> f64 {
    let wind_m_s = AT_19_5_M * wind_m_s;
    4.0 * (ALPHA / (4.0 * BETA)).sqrt() * wind_m_s * wind_m_s / GRAVITY_M_S2
}

/// Period of the peak of such a sea of a significant height, s: `omega = (4 beta / 5)^(1/4) g / U`, which is 0.877 g/U and comes to 5.0 sqrt(H).
#[must_use]
pub fn risen_period_s(significant_m: f64) -> f64 {
    let wind_m_s = (significant_m * GRAVITY_M_S2 / (4.0 * (ALPHA / (4.0 * BETA)).sqrt())).sqrt();
    let omega = libm::pow(0.8 * BETA, 0.25) * GRAVITY_M_S2 / wind_m_s;
    2.0 * PI / omega
}

/// A Butterworth high-pass.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HighPassPoles {
    /// The -3 dB corner, Hz; above zero.
    pub corner_hz: f64,
    /// Number of poles.
    pub poles: u32,
}

impl HighPassPoles {
    /// Its gain at a frequency, 0 to 1.
    #[must_use]
    pub fn gain(&self, frequency_hz: f64) -> f64 {
        if frequency_hz <= 0.0 {
            return if self.poles == 0 { 1.0 } else { 0.0 };
        }
        let times = 2.0 * f64::from(self.poles);
        1.0 / (1.0 + libm::pow(self.corner_hz / frequency_hz, times)).sqrt()
    }
}

/// What moves a hydrophone up and down.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HeldBy {
    /// Diameter of the buoy at the water, m; above zero.
    pub diameter_m: f64,
    /// Share of its heave that reaches the hydrophone, 0 to 1.
    pub share: f64,
}

/// Where a hydrophone is, and its high-pass.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct InWaves {
    /// Depth of the hydrophone, m; not negative.
    pub depth_m: f64,
    /// Depth of the water, m; above zero.
    pub water_depth_m: f64,
    /// Density of the water, kg/m3; above zero.
    pub density_kg_m3: f64,
    /// What moves it; `None` of one that stands still.
    pub held_by: Option<HeldBy>,
    /// High-pass of the chain.
    pub high_pass: Option<HighPassPoles>,
}

/// Pressure of a wave of 1 m amplitude behind the high-pass, frequency by frequency.
#[derive(Clone, Debug)]
pub struct HeardWaves {
    /// Frequency, Hz, and the square of the pressure there, Pa2.
    rows: Vec<(f64, f64)>,
    /// Between their logarithms.
    step: f64,
    of: InWaves,
}

/// A sea through a chain: standard deviation of the pressure, Pa.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HeardSea {
    /// Pa.
    pub heard_pa: f64,
}

impl HeardSea {
    /// Share of the time in which it lies beyond a full scale, Pa (peak, above zero).
    #[must_use]
    pub fn clipped_share(&self, full_scale_pa: f64) -> f64 {
        if self.heard_pa == 0.0 {
            return 0.0;
        }
        libm::erfc(full_scale_pa / (self.heard_pa * core::f64::consts::SQRT_2))
    }
}

impl HeardWaves {
    /// Works out what each frequency does.
    ///
    /// # Errors
    /// A figure out of its range.
    pub fn new(of: &InWaves) -> Result<HeardWaves, MooringError> {
        positive("the density of the water, kg/m3", of.density_kg_m3)?;
        positive("the depth of the water, m", of.water_depth_m)?;
        not_negative("the depth of a hydrophone, m", of.depth_m)?;
        if let Some(high_pass) = of.high_pass {
            positive("the corner of a high-pass, Hz", high_pass.corner_hz)?;
        }
        let mut highest_hz = HIGHEST_HZ;
        if let Some(held) = of.held_by {
            positive("the diameter of a buoy, m", held.diameter_m)?;
            not_negative("the share of heave that is handed down", held.share)?;
            if held.share > 1.0 {
                return Err(MooringError::Above {
                    what: "the share of heave that is handed down",
                    value: held.share,
                    most: 1.0,
                });
            }
            let ends = GRAVITY_M_S2 * FIRST_ZERO_OF_J1 / (0.5 * held.diameter_m);
            highest_hz = highest_hz.max(BEYOND_DISC * ends.sqrt() / (2.0 * PI));
        }
        let low = libm::log(LOWEST_HZ);
        let step = (libm::log(highest_hz) - low) / f64::from(FREQUENCIES);
        let mut rows = Vec::with_capacity(FREQUENCIES as usize);
        for index in 0..FREQUENCIES {
            let f_hz = libm::exp(low + step * (f64::from(index) + 0.5));
            let heard_pa = of_one_pa(of, f_hz)?;
            rows.push((f_hz, heard_pa * heard_pa));
        }
        Ok(HeardWaves {
            rows,
            step,
            of: *of,
        })
    }

    /// A sea of a significant height, m, and a period of its peak, s, which is at most [`LONGEST_PEAK_S`].
    ///
    /// # Errors
    /// A figure out of its range.
    pub fn in_sea(&self, significant_m: f64, peak_period_s: f64) -> Result<HeardSea, MooringError> {
        not_negative("the significant wave height, m", significant_m)?;
        positive("the period of the peak of a sea, s", peak_period_s)?;
        if peak_period_s > LONGEST_PEAK_S {
            return Err(MooringError::Above {
                what: "the period of the peak of a sea, s",
                value: peak_period_s,
                most: LONGEST_PEAK_S,
            });
        }
        let size_m2 = 5.0 / 16.0 * significant_m * significant_m * self.step;
        let peak_hz = 1.0 / peak_period_s;
        let of = |(f_hz, heard_pa2): &(f64, f64)| {
            let ratio = peak_hz / f_hz;
            let fourth = ratio * ratio * ratio * ratio;
            // S(f) f d(ln f)
            size_m2 * fourth * libm::exp(-1.25 * fourth) * heard_pa2
        };
        Ok(HeardSea {
            heard_pa: self.rows.iter().map(of).sum::<f64>().sqrt(),
        })
    }

    /// A swell of one period, s, and a significant height, m: its surface has a standard deviation of a quarter of that.
    ///
    /// # Errors
    /// A figure out of its range.
    pub fn in_swell(&self, significant_m: f64, period_s: f64) -> Result<HeardSea, MooringError> {
        not_negative("the significant height of a swell, m", significant_m)?;
        positive("the period of a swell, s", period_s)?;
        let heard_pa = 0.25 * significant_m * of_one_pa(&self.of, 1.0 / period_s)?.abs();
        Ok(HeardSea { heard_pa })
    }

    /// A sea of a significant height, m, with the period that its wind gives it.
    ///
    /// # Errors
    /// A height that is negative.
    pub fn in_risen(&self, significant_m: f64) -> Result<HeardSea, MooringError> {
        not_negative("the significant wave height, m", significant_m)?;
        if significant_m == 0.0 {
            return Ok(HeardSea { heard_pa: 0.0 });
        }
        let period_s = risen_period_s(significant_m).min(LONGEST_PEAK_S);
        // The height whose period is the longest.
        let most_m = significant_m * (period_s / risen_period_s(significant_m)).powi(2);
        self.in_sea(most_m, period_s)
    }
}

/// Pressure of a wave of 1 m amplitude behind the high-pass, Pa.
fn of_one_pa(of: &InWaves, f_hz: f64) -> Result<f64, MooringError> {
    let wave = Wave::new(2.0, 1.0 / f_hz, of.water_depth_m)?;
    let moved = of.held_by.map_or(0.0, |held| {
        let across = PI / wave.length_m() * held.diameter_m;
        held.share * 2.0 * libm::j1(across) / across
    });
    let gain = of.high_pass.map_or(1.0, |h| h.gain(f_hz));
    let weight_n_m3 = of.density_kg_m3 * GRAVITY_M_S2;
    Ok(weight_n_m3 * (wave.at(of.depth_m).pressure_m - moved) * gain)
}
