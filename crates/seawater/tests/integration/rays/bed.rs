//! Reflection at the bed.

use std::f64::consts::PI;

use seawater::{Bed, bed_bounce};

use super::SAND;
use crate::reference::assert_near;

/// Rayleigh's coefficient: straight down it is that of the impedances, below the critical angle of a loss-free bed it is one, at
/// grazing minus one.
#[test]
fn verif_bed_reflection_in_closed_form() {
    let lossless = Bed::Fluid {
        sound_speed_m_s: 1700.0,
        density_kg_m3: 2000.0,
        attenuation_db_per_wavelength: 0.0,
    };
    let down = bed_bounce(lossless, 90.0, 1500.0, 1000.0).unwrap();
    let (z1, z2) = (1000.0 * 1500.0, 2000.0 * 1700.0);
    assert_near(
        down.loss_db,
        -20.0 * libm::log10((z2 - z1) / (z2 + z1)),
        1e-9,
    );
    assert_near(down.phase_rad, 0.0, 1e-9);
    let critical = libm::acos(1500.0 / 1700.0) / PI * 180.0;
    for share in [0.1, 0.5, 0.99] {
        let bounce = bed_bounce(lossless, share * critical, 1500.0, 1000.0).unwrap();
        assert_near(bounce.loss_db, 0.0, 1e-9);
        // Total reflection: phase -2 arctan(sqrt(cos^2 t - n^2) / (m sin t)).
        let t = share * critical / 180.0 * PI;
        let n = 1500.0 / 1700.0;
        let tail = libm::sqrt(libm::cos(t) * libm::cos(t) - n * n);
        assert_near(
            bounce.phase_rad,
            -2.0 * libm::atan2(tail, 2.0 * libm::sin(t)),
            1e-9,
        );
    }
    assert!(
        bed_bounce(lossless, critical + 10.0, 1500.0, 1000.0)
            .unwrap()
            .loss_db
            > 3.0
    );
    let lossy = bed_bounce(SAND, 15.0, 1500.0, 1026.0).unwrap();
    assert!(lossy.loss_db > 0.1, "{lossy:?}");
}
