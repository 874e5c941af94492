//! At which frequencies a line in a current strums.
//!
//! Vortices leave a cylinder at `f = St U / d` with a Strouhal number of 0.2 for Reynolds numbers of about 300 to 2e5 (secondary page; Roshko 1961
//! gives 0.27 beyond 3.5e6): lift at `f`, drag at `2 f`. A taut span swings at `n/(2 L) sqrt(T/m)`, with the water it moves in its mass: `rho pi d^2/4`
//! for a cylinder. A span that could swing near the frequency of the vortices takes it on; how near is common practice.

use core::f64::consts::PI;

/// Reynolds numbers between which the Strouhal number holds.
pub const CRITICAL_REYNOLDS: (f64, f64) = (300.0, 2e5);
/// The Strouhal number there.
pub const STROUHAL: f64 = 0.2;

/// Frequency at which vortices leave a line, Hz: `speed_m_s` is the current across it, `diameter_m` its diameter, `viscosity_m2_s` the kinematic
/// viscosity of the water. `None` where the Reynolds number lies outside [`CRITICAL_REYNOLDS`].
#[must_use]
pub fn shedding_hz(speed_m_s: f64, diameter_m: f64, viscosity_m2_s: f64) -> Option<f64> {
    let reynolds = speed_m_s * diameter_m / viscosity_m2_s;
    let (least, most) = CRITICAL_REYNOLDS;
    (reynolds >= least && reynolds <= most).then(|| STROUHAL * speed_m_s / diameter_m)
}

/// Mass of water that a cylinder of a diameter, m, moves with it, kg for each metre.
#[must_use]
pub fn added_mass_kg_m(density_kg_m3: f64, diameter_m: f64) -> f64 {
    density_kg_m3 * PI * diameter_m * diameter_m / 4.0
}

/// Frequency of a mode of a taut span, Hz: the first is 1; `mass_kg_m` with the water it moves.
#[must_use]
pub fn span_mode_hz(mode: u32, length_m: f64, tension_n: f64, mass_kg_m: f64) -> f64 {
    f64::from(mode) / (2.0 * length_m) * (tension_n / mass_kg_m).sqrt()
}
