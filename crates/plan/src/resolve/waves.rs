//! Waves that cannot be: steeper than waves stand, or higher than the water bears.
//!
//! A wave of length `L` over water of depth `d` breaks when it is higher than `0.142 L tanh(2 pi d / L)`, in deep water a seventh of its length (Miche 1944, from memory), and a lone one
//! when it is higher than 0.78 of the depth (McCowan 1894, from memory). Its length is that of linear theory, `omega^2 = g k tanh(k d)`. A significant height is the mean of the highest third, and so
//! one that breaks by these bounds cannot be either.

use core::f64::consts::PI;

use quantity::{Dimension, STANDARD_GRAVITY_M_S2, show};

use super::Resolver;
use crate::line::{CaseWave, Q, Sea};
use crate::mistake::{Code, Mistake};

/// Height over length at which waves break in deep water.
const STEEPEST: f64 = 0.142;
/// Height over depth at which the highest wave breaks in shallow water.
const HIGHEST: f64 = 0.78;

/// How high waves of a period can be in water of a depth before they break, m, and how long they are there, m. Period and depth are above zero.
#[must_use]
pub fn breaks_above_m(period_s: f64, depth_m: f64) -> (f64, f64) {
    let omega = 2.0 * PI / period_s;
    let kd = numerics::x_tanh_x(omega * omega * depth_m / STANDARD_GRAVITY_M_S2);
    let length_m = 2.0 * PI * depth_m / kd;
    let steepest_m = STEEPEST * length_m * libm::tanh(kd);
    (steepest_m.min(HIGHEST * depth_m), length_m)
}

fn metres(m: f64) -> String {
    show(m, Dimension::Length)
}

/// Tells waves of a height and a period that would break in water of a depth.
fn told(r: &mut Resolver<'_>, (height, period): (Q, Q), depth_m: f64) {
    if !(depth_m > 0.0 && period.si > 0.0 && height.si.is_finite()) {
        return;
    }
    let (most_m, length_m) = breaks_above_m(period.si, depth_m);
    if height.si <= most_m {
        return;
    }
    let (high, most) = (metres(height.si), metres(most_m));
    let each = show(period.si, Dimension::Time);
    let message = format!(
        "waves of {high} every {each} cannot be in {} of water",
        metres(depth_m)
    );
    let help = format!(
        "waves of that period are {} long there and break above {most}: steeper than 1 in 7 in deep water, or higher than 0.78 of the depth. Write the height with the period that goes with it",
        metres(length_m)
    );
    r.tell(
        Mistake::error(Code::OutOfRange, height.at, message)
            .label(format!("they break above {most}"))
            .related(period.at, "of this period")
            .help(help),
    );
}

/// Tells the waves of a case that would break at its water level.
pub(super) fn of_case(r: &mut Resolver<'_>, sea: &Sea, level: Option<Q>, wave: CaseWave) {
    let depth_m = sea.water_depth_m.si + level.map_or(0.0, |q| q.si);
    told(r, (wave.height_m, wave.period_s), depth_m);
}

/// Tells the waves of a site that would break even at its highest water.
pub(super) fn of_site(r: &mut Resolver<'_>, sea: &Sea) {
    let rises_m = sea.tide_m.map_or(0.0, |(_, highest)| highest.si);
    let depth_m = sea.water_depth_m.si + rises_m;
    if let Some(swell) = sea.swell {
        told(r, (swell.height_m, swell.period_s), depth_m);
    }
    if depth_m <= 0.0 {
        return;
    }
    let most_m = HIGHEST * depth_m;
    for height in sea.wave_height_m.iter().filter(|q| q.si > most_m) {
        let message = format!(
            "waves of {} cannot be in {} of water",
            metres(height.si),
            metres(depth_m)
        );
        let most = metres(most_m);
        r.tell(
            Mistake::error(Code::OutOfRange, height.at, message)
                .label(format!("they break above {most}"))
                .help("waves break when they are higher than 0.78 of the depth: write how high they are at this place, not further out"),
        );
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand: in deep water `0.142 g T^2 / (2 pi)`, 1.995 m for 3 s and 14.2 % of 99.89 m for 8 s; in shallow water the length is `T sqrt(g d)`, and 0.142 of 2 pi times the depth would be 0.89 of it, so that 0.78 counts.
    #[test]
    fn verif_waves_break_at_a_seventh_of_their_length_and_at_0_78_of_the_depth() {
        for (period_s, deep_m) in [(3.0, 1.9947), (8.0, 14.1846)] {
            let (most_m, length_m) = breaks_above_m(period_s, 5000.0);
            assert!((most_m - deep_m).abs() < 1e-3, "{most_m}");
            assert!((most_m / length_m - 0.142).abs() < 1e-12);
        }
        let (most_m, length_m) = breaks_above_m(60.0, 2.0);
        assert!((most_m - 1.56).abs() < 1e-12, "{most_m}");
        let shallow_m = 60.0 * libm::sqrt(STANDARD_GRAVITY_M_S2 * 2.0);
        assert!((length_m / shallow_m - 1.0).abs() < 1e-3, "{length_m}");
    }
}
