//! What a hydrophone hears of its own heave under a buoy that follows the waves.
//!
//! A pressure gauge that goes up by `x` in a wave with pressure `p(z)` reads, to first order, `p = rho g (K a - x)`, where `K` is the pressure of linear theory at its
//! depth, `cosh k(h-z) / cosh kh`, and `a` half the wave's height. On a stiff riser `x = a`: `rho g a (1 - K)`, which in deep water is `rho g a (1 - e^(-kz))`.
//!
//! On a riser that gives, the hydrophone and what hangs with it are a mass `m` on a spring `s`, in water that itself goes up by `w = a r`,
//! `r = sinh k(h-z) / sinh kh`. With the added mass `A`, the water displaced `D` and a drag area `S`, the motion `y = x - w` through the water obeys
//!
//! ```text
//! (m + A) y'' + 0.5 rho S |y'| y' + s y = s (a - w) - (m - D) w''
//! ```
//!
//! (the inertia force of Morison's equation on a body that moves, as DNV-RP-C205 has it; from memory). Drag is taken as the linear one that does the same work in a
//! cycle, `(4 / 3 pi) rho S omega |y|` (Lorentz), which leaves a quadratic for `|y|`. A riser without stiffness and a body as heavy as its water drift with the water; in
//! deep water they hear nothing, because water keeps its pressure as it goes round. So compliance does not simply scale what a stiff riser gives: a hydrophone that
//! stands still hears the wave itself, `rho g a K`.
//!
//! The high-pass of a chain is a Butterworth of `n` poles: `1 / sqrt(1 + (corner / f)^(2n))`.
//!
//! Validity: linear waves ([`Wave`]), one frequency, a buoy that rises and falls with the surface (its diameter small beside the wave), the depth at rest; the riser stays taut: see
//! [`Heave::keeps_taut`]. An irregular sea is more than one wave of its height: see [`heave_in_sea()`](crate::heave_in_sea()).

use crate::GRAVITY_M_S2;
use crate::error::{MooringError, not_negative, positive};
use crate::wave::Wave;
use core::f64::consts::PI;

/// What holds a hydrophone under its buoy.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Riser {
    /// Does not give: the hydrophone rises with the buoy.
    Stiff,
    /// A spring with a mass.
    Spring(SpringRiser),
}

/// A riser that gives, with what hangs at its end.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SpringRiser {
    /// Stiffness from the buoy to the hydrophone, N/m; not negative. See [`series_stiffness_n_m`].
    pub stiffness_n_m: f64,
    /// Mass that moves with the hydrophone, with a third of the rope's (Rayleigh), kg; above zero.
    pub mass_kg: f64,
    /// Mass of the water that it displaces, kg; not negative.
    pub displaced_kg: f64,
    /// Mass of the water that it moves with it, kg; not negative.
    pub added_mass_kg: f64,
    /// Drag coefficient times area for motion up and down, m2; not negative. Zero is no damping.
    pub drag_area_m2: f64,
}

/// What heave does at a hydrophone: amplitudes, each half of what goes back and forth.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Heave {
    /// Frequency, Hz.
    pub frequency_hz: f64,
    /// Of the way of the hydrophone up and down, m.
    pub moves_m: f64,
    /// Of its pressure, Pa.
    pub pressure_pa: f64,
    /// Of the pull of the riser about that at rest, N; zero of a stiff one, of which it is not computed.
    pub pull_n: f64,
    /// Weight in water that the riser holds at rest, N.
    pub at_rest_n: Option<f64>,
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

impl Heave {
    /// The amplitude of its pressure after a high-pass, in dB above the largest pressure that a chain takes, Pa: above zero it clips. `None` for a
    /// full scale that is not above zero, or where there is no pressure.
    #[must_use]
    pub fn over_full_scale_db(
        &self,
        high_pass: Option<HighPassPoles>,
        full_scale_pa: f64,
    ) -> Option<f64> {
        let heard_pa = self.pressure_pa * high_pass.map_or(1.0, |h| h.gain(self.frequency_hz));
        (full_scale_pa > 0.0 && heard_pa > 0.0)
            .then(|| 20.0 * libm::log10(heard_pa / full_scale_pa))
    }

    /// Whether the riser stays taut: its pull never falls to nothing. `None` of a stiff one, of which that is not known.
    #[must_use]
    pub fn keeps_taut(&self) -> Option<bool> {
        self.at_rest_n.map(|at_rest_n| self.pull_n < at_rest_n)
    }
}

impl SpringRiser {
    pub(crate) fn check(&self) -> Result<(), MooringError> {
        positive("the mass on a riser, kg", self.mass_kg)?;
        not_negative("the stiffness of a riser, N/m", self.stiffness_n_m)?;
        not_negative("the water displaced by what hangs, kg", self.displaced_kg)?;
        not_negative("the added mass of what hangs, kg", self.added_mass_kg)?;
        not_negative("the drag area of what hangs, m2", self.drag_area_m2)
    }

    /// Weight in water that it holds at rest, N.
    pub(crate) fn at_rest_n(&self) -> f64 {
        (self.mass_kg - self.displaced_kg) * GRAVITY_M_S2
    }
}

/// Stiffness of lengths one after another, (unstretched m, EA in N), N/m. `None` for nothing.
///
/// # Errors
/// A length or a stiffness that is not above zero.
pub fn series_stiffness_n_m(lengths: &[(f64, f64)]) -> Result<Option<f64>, MooringError> {
    let mut gives_m_n = 0.0;
    for &(length_m, stiffness_n) in lengths {
        positive("the length of a rope, m", length_m)?;
        positive("the stiffness of a rope, N", stiffness_n)?;
        gives_m_n += length_m / stiffness_n;
    }
    Ok((!lengths.is_empty()).then(|| 1.0 / gives_m_n))
}

/// What heave does at a hydrophone that hangs at a depth at rest, m, under a buoy in a wave, in water of a density, kg/m3.
///
/// # Errors
/// A figure out of its range; [`MooringError::Resonance`] where a riser without drag is in tune with the wave.
pub fn heave(
    wave: &Wave,
    depth_m: f64,
    density_kg_m3: f64,
    riser: Riser,
) -> Result<Heave, MooringError> {
    positive("the density of the water, kg/m3", density_kg_m3)?;
    not_negative("the depth of a hydrophone, m", depth_m)?;
    let at = wave.at(depth_m);
    let (a, omega) = (wave.amplitude_m(), wave.omega_rad_s());
    let frequency_hz = omega / (2.0 * PI);
    let weight_n_m3 = density_kg_m3 * GRAVITY_M_S2;
    let spring = match riser {
        Riser::Stiff => {
            return Ok(Heave {
                frequency_hz,
                moves_m: a,
                pressure_pa: weight_n_m3 * (a - at.pressure_m).abs(),
                pull_n: 0.0,
                at_rest_n: None,
            });
        }
        Riser::Spring(spring) => {
            spring.check()?;
            spring
        }
    };
    let SpringRiser {
        stiffness_n_m,
        mass_kg,
        displaced_kg,
        added_mass_kg,
        drag_area_m2,
    } = spring;
    let w = at.up_m;
    let square = omega * omega;
    let drives_n = stiffness_n_m * (a - w) + (mass_kg - displaced_kg) * square * w;
    let spring_n_m = stiffness_n_m - (mass_kg + added_mass_kg) * square;
    let drag_n_m2 = 4.0 / (3.0 * PI) * density_kg_m3 * drag_area_m2 * square;
    // drag^2 Y^2 + spring^2 Y - drives^2 = 0 of Y = |y|^2, in the form that holds for no drag too.
    let root = libm::hypot(spring_n_m * spring_n_m, 2.0 * drag_n_m2 * drives_n);
    let below = spring_n_m * spring_n_m + root;
    if below <= 0.0 && drives_n != 0.0 {
        return Err(MooringError::Resonance {
            period_s: 1.0 / frequency_hz,
        });
    }
    let through_m = if drives_n == 0.0 {
        0.0
    } else {
        drives_n.abs() * (2.0 / below).sqrt()
    };
    let damps_n_m = drag_n_m2 * through_m;
    // y = drives / (spring + i damps)
    let (real_m, imaginary_m) = if through_m == 0.0 {
        (0.0, 0.0)
    } else {
        let size = spring_n_m * spring_n_m + damps_n_m * damps_n_m;
        (drives_n * spring_n_m / size, -drives_n * damps_n_m / size)
    };
    let x = w + real_m;
    Ok(Heave {
        frequency_hz,
        moves_m: libm::hypot(x, imaginary_m),
        pressure_pa: weight_n_m3 * libm::hypot(at.pressure_m - x, imaginary_m),
        pull_n: stiffness_n_m * libm::hypot(a - x, imaginary_m),
        at_rest_n: Some(spring.at_rest_n()),
    })
}
