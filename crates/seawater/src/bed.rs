//! Reflection of a plane wave from a flat sea bed.
//!
//! Source: Rayleigh's coefficient for two fluids, textbook (for instance F. B. Jensen, W. A. Kuperman, M. B. Porter and H. Schmidt,
//! *Computational Ocean Acoustics*, chapter 1), from memory and derived again from continuity of pressure and normal velocity:
//!
//! `R = (m sin t - sqrt(n^2 - cos^2 t)) / (m sin t + sqrt(n^2 - cos^2 t))`
//!
//! t grazing angle in the water; m density of the bed over that of the water; n = (c_water / c_bed)(1 + i d), with
//! `d = A ln 10 / (40 pi)` for an attenuation A in dB per wavelength. Time goes as `e^(-i w t)`, so the root has a positive
//! imaginary part and a phase above zero is a delay of the wave's crests.
//!
//! Validity: a flat, smooth, homogeneous fluid half-space: no shear, no layers below, no roughness.

use crate::limits::{Limit, Method, SeaError, Variable};

const BED_SPEED: Limit = Limit::new(Variable::BedSoundSpeed, 1000.0, 7000.0);
const BED_DENSITY: Limit = Limit::new(Variable::BedDensity, 1000.0, 4000.0);
const BED_ATTENUATION: Limit = Limit::new(Variable::BedAttenuation, 0.0, 30.0);
const BOUNCE_LOSS: Limit = Limit::new(Variable::BounceLoss, 0.0, 60.0);

/// What the sea bed does to sound.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Bed {
    /// A fluid half-space: sand, silt or mud.
    Fluid {
        /// Its sound speed, 1000 to 7000 m/s.
        sound_speed_m_s: f64,
        /// Its density, 1000 to 4000 kg/m3.
        density_kg_m3: f64,
        /// Its attenuation, 0 to 30 dB per wavelength.
        attenuation_db_per_wavelength: f64,
    },
    /// The same loss at every bounce and no change of phase.
    Loss {
        /// Loss of one bounce, 0 to 60 dB.
        per_bounce_db: f64,
    },
}

/// What becomes of one bounce.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bounce {
    /// Loss, dB; infinite where nothing comes back.
    pub loss_db: f64,
    /// Phase for a time that goes as `e^(-i w t)`, rad, -pi to pi.
    pub phase_rad: f64,
}

impl Bed {
    /// Checks the figures of a bed.
    ///
    /// # Errors
    /// [`SeaError::OutOfRange`].
    pub fn check(self) -> Result<(), SeaError> {
        match self {
            Self::Fluid {
                sound_speed_m_s,
                density_kg_m3,
                attenuation_db_per_wavelength,
            } => {
                BED_SPEED.require(sound_speed_m_s, Method::BedReflection)?;
                BED_DENSITY.require(density_kg_m3, Method::BedReflection)?;
                BED_ATTENUATION.require(attenuation_db_per_wavelength, Method::BedReflection)
            }
            Self::Loss { per_bounce_db } => {
                BOUNCE_LOSS.require(per_bounce_db, Method::BedReflection)
            }
        }
    }

    /// Loss and phase of a bounce at a grazing angle whose sine and cosine are given, under water of a sound speed and density.
    /// The figures of the bed are those that [`Bed::check`] accepts.
    pub(crate) fn bounce(self, sine: f64, cosine: f64, water_m_s: f64, water_kg_m3: f64) -> Bounce {
        let (sound_speed_m_s, density_kg_m3, attenuation) = match self {
            Self::Loss { per_bounce_db } => {
                return Bounce {
                    loss_db: per_bounce_db,
                    phase_rad: 0.0,
                };
            }
            Self::Fluid {
                sound_speed_m_s,
                density_kg_m3,
                attenuation_db_per_wavelength,
            } => (
                sound_speed_m_s,
                density_kg_m3,
                attenuation_db_per_wavelength,
            ),
        };
        let d = attenuation * std::f64::consts::LN_10 / (40.0 * std::f64::consts::PI);
        let n = water_m_s / sound_speed_m_s;
        let square = (n * n * (1.0 - d * d) - cosine * cosine, 2.0 * n * n * d);
        let root = root(square);
        let m_sine = density_kg_m3 / water_kg_m3 * sine;
        let (above, below) = ((m_sine - root.0, -root.1), (m_sine + root.0, root.1));
        let size2 = |z: (f64, f64)| z.0 * z.0 + z.1 * z.1;
        Bounce {
            loss_db: -10.0 * libm::log10(size2(above) / size2(below)),
            phase_rad: libm::atan2(
                above.1 * below.0 - above.0 * below.1,
                above.0 * below.0 + above.1 * below.1,
            ),
        }
    }
}

/// Loss and phase of one bounce from a bed at a grazing angle.
///
/// Angle in degrees from 0 to 90, water's sound speed in m/s (1300 to 1800), its density in kg/m3 (900 to 1200).
///
/// # Errors
/// [`SeaError::OutOfRange`] outside these ranges and those of [`Bed`].
pub fn bed_bounce(
    bed: Bed,
    grazing_deg: f64,
    water_m_s: f64,
    water_kg_m3: f64,
) -> Result<Bounce, SeaError> {
    const GRAZING: Limit = Limit::new(Variable::GrazingAngle, 0.0, 90.0);
    const SPEED: Limit = Limit::new(Variable::SoundSpeed, 1300.0, 1800.0);
    const DENSITY: Limit = Limit::new(Variable::WaterDensity, 900.0, 1200.0);
    bed.check()?;
    GRAZING.require(grazing_deg, Method::BedReflection)?;
    SPEED.require(water_m_s, Method::BedReflection)?;
    DENSITY.require(water_kg_m3, Method::BedReflection)?;
    let angle = grazing_deg / 180.0 * std::f64::consts::PI;
    Ok(bed.bounce(libm::sin(angle), libm::cos(angle), water_m_s, water_kg_m3))
}

/// The square root with an imaginary part that is not negative, of a number whose imaginary part is not negative.
fn root(z: (f64, f64)) -> (f64, f64) {
    let size = libm::hypot(z.0, z.1);
    if size == 0.0 {
        return (0.0, 0.0);
    }
    // The half that adds keeps its digits; the other follows from the product.
    if z.0 >= 0.0 {
        let re = libm::sqrt(0.5 * (size + z.0));
        (re, 0.5 * z.1 / re)
    } else {
        let im = libm::sqrt(0.5 * (size - z.0));
        (0.5 * z.1 / im, im)
    }
}
