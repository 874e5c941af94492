//! Steady tones and the tonal part of a vessel's hum.
//!
//! Blade rate is blades times revolutions a second; its lines carry the levels the caller gives. The
//! broadband part is random and comes from [`crate::ShapedNoise`], which the caller multiplies by [`Hum::modulation`]: the
//! cavitation noise of a propeller swells at the blade rate. Lines start at the phases `pi k^2 / n`, so that their sum has
//! no needless peak (M. Schroeder 1970, from memory).

use alloc::vec::Vec;
use core::f64::consts::{PI, SQRT_2};

use crate::error::SynthError;
use crate::level::level_db;
use crate::synth::{finite, positive, pressure_upa};

/// A steady tone.
#[derive(Debug, Clone, PartialEq)]
pub struct Tone {
    frequency_hz: f64,
    amplitude_upa: f64,
    phase_rad: f64,
}

impl Tone {
    /// A tone of `frequency_hz` with rms source level `source_level_db_re_1upa_m` and phase `phase_rad` (of the sine) at 0.
    ///
    /// # Errors
    /// [`SynthError::Value`] for a frequency that is not positive, or a level or phase that is not finite.
    pub fn new(
        frequency_hz: f64,
        source_level_db_re_1upa_m: f64,
        phase_rad: f64,
    ) -> Result<Self, SynthError> {
        positive("tone frequency", frequency_hz, "Hz")?;
        finite("tone level", source_level_db_re_1upa_m, "dB re 1 uPa m")?;
        finite("tone phase", phase_rad, "rad")?;
        Ok(Self {
            frequency_hz,
            amplitude_upa: SQRT_2 * pressure_upa(source_level_db_re_1upa_m),
            phase_rad,
        })
    }

    /// Pressure in uPa at 1 m at time `t_s`.
    pub fn value(&self, t_s: f64) -> f64 {
        let cycles = self.frequency_hz * t_s;
        self.amplitude_upa * libm::sin(2.0 * PI * (cycles - libm::floor(cycles)) + self.phase_rad)
    }
}

/// One line of a hum.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tonal {
    /// Frequency, Hz.
    pub frequency_hz: f64,
    /// Source level of the line, dB re 1 uPa m, rms.
    pub source_level_db_re_1upa_m: f64,
}

/// The swelling of broadband noise at the blade rate.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BladeModulation {
    /// Blade rate, Hz.
    pub rate_hz: f64,
    /// Depth, 0 (steady) to 1.
    pub depth: f64,
}

/// The tonal part of a vessel's hum, and the swelling of its broadband part.
#[derive(Debug, Clone, PartialEq)]
pub struct Hum {
    lines: Vec<Tone>,
    modulation: Option<BladeModulation>,
    mean_square_upa2: f64,
}

impl Hum {
    /// A hum of the given lines; `modulation` swells the broadband part.
    ///
    /// # Errors
    /// [`SynthError::Value`] for a line's frequency or a blade rate that is not positive, a level that is not finite, or a
    /// depth outside 0 to 1.
    pub fn new(tonals: &[Tonal], modulation: Option<BladeModulation>) -> Result<Self, SynthError> {
        if let Some(m) = modulation {
            positive("blade rate", m.rate_hz, "Hz")?;
            if !(0.0..=1.0).contains(&m.depth) {
                return Err(SynthError::Value {
                    what: "modulation depth",
                    value: m.depth,
                    unit: "",
                    expected: "between 0 and 1",
                });
            }
        }
        let n = tonals.len() as f64;
        let lines = tonals
            .iter()
            .enumerate()
            .map(|(k, t)| {
                Tone::new(
                    t.frequency_hz,
                    t.source_level_db_re_1upa_m,
                    PI * (k * k) as f64 / n,
                )
            })
            .collect::<Result<Vec<_>, _>>()?;
        let mean_square_upa2 = lines
            .iter()
            .map(|l| 0.5 * l.amplitude_upa * l.amplitude_upa)
            .sum();
        Ok(Self {
            lines,
            modulation,
            mean_square_upa2,
        })
    }

    /// Lines at the blade rate and its multiples up to `count`, the first at `first_level_db_re_1upa_m`, each following one
    /// lower by `fall_db`, with broadband swelling of `depth`.
    ///
    /// # Errors
    /// As [`Hum::new`].
    pub fn blade_lines(
        blade_rate_hz: f64,
        count: usize,
        first_level_db_re_1upa_m: f64,
        fall_db: f64,
        depth: f64,
    ) -> Result<Self, SynthError> {
        let tonals: Vec<Tonal> = (0..count)
            .map(|k| Tonal {
                frequency_hz: blade_rate_hz * (k + 1) as f64,
                source_level_db_re_1upa_m: first_level_db_re_1upa_m - fall_db * k as f64,
            })
            .collect();
        Self::new(
            &tonals,
            Some(BladeModulation {
                rate_hz: blade_rate_hz,
                depth,
            }),
        )
    }

    /// Pressure of the lines in uPa at 1 m at time `t_s`.
    pub fn value(&self, t_s: f64) -> f64 {
        self.lines.iter().map(|l| l.value(t_s)).sum()
    }

    /// Factor on the broadband part at time `t_s`, with mean square 1: `(1 + m cos(2 pi f t)) / sqrt(1 + m^2/2)`.
    pub fn modulation(&self, t_s: f64) -> f64 {
        match self.modulation {
            None => 1.0,
            Some(BladeModulation { rate_hz, depth }) => {
                let cycles = rate_hz * t_s;
                let swell = 1.0 + depth * libm::cos(2.0 * PI * (cycles - libm::floor(cycles)));
                swell / libm::sqrt(1.0 + 0.5 * depth * depth)
            }
        }
    }

    /// Source level of all lines together, dB re 1 uPa m, rms over a long time.
    pub fn tonal_level_db_re_1upa_m(&self) -> f64 {
        level_db(self.mean_square_upa2, 1.0)
    }
}
