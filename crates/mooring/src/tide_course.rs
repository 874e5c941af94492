//! A tide hour by hour: two constituents that beat between springs and neaps, at even steps of time.
//!
//! `U(t) = A1 cos(omega1 t + p1) + A2 cos(omega2 t + p2)` along one line, springs `A1 + A2` and neaps `A1 - A2`, with the periods of the principal lunar and the principal solar tide, so that springs come back
//! after 14.77 days. Source: [`strum_in_a_fortnight()`](crate::strum_in_a_fortnight()), to whose shares the steps come in the long run.

use core::f64::consts::PI;

use crate::strum_hours::{LUNAR_TIDE_H, TideSpeeds};

/// Period of the principal solar tide, h (half a mean solar day, exact).
pub const SOLAR_TIDE_H: f64 = 12.0;
/// Steps after which the angles are taken anew: rounding of what is turned on from step to step stays below 1e-13.
const ANEW: usize = 96;

/// A course of both constituents, each of amplitude 1.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct TideCourse {
    /// The lunar and the solar one at each step.
    pub both: Vec<(f64, f64)>,
}

impl TideCourse {
    /// Fills it with so many steps of so many hours each, at the middle of each step; the angles at the beginning of the first in turns, 0 to 1.
    pub fn fill(&mut self, steps: usize, step_h: f64, turns: [f64; 2]) {
        self.both.clear();
        self.both.reserve(steps);
        let each = [LUNAR_TIDE_H, SOLAR_TIDE_H].map(|period_h| 2.0 * PI * step_h / period_h);
        let on = each.map(|angle| (libm::cos(angle), libm::sin(angle)));
        let mut first = 0;
        while first < steps {
            let mut at = [0, 1].map(|i: usize| {
                let angle = 2.0 * PI * turns[i] + each[i] * (first as f64 + 0.5);
                (libm::cos(angle), libm::sin(angle))
            });
            for _ in first..steps.min(first + ANEW) {
                self.both.push((at[0].0, at[1].0));
                for (now, by) in at.iter_mut().zip(on) {
                    *now = (now.0 * by.0 - now.1 * by.1, now.1 * by.0 + now.0 * by.1);
                }
            }
            first += ANEW;
        }
    }
}

impl TideSpeeds {
    /// Amplitudes of the lunar and the solar constituent, m/s.
    #[must_use]
    pub fn constituents_m_s(&self) -> (f64, f64) {
        (
            0.5 * (self.spring_m_s + self.neap_m_s),
            0.5 * (self.spring_m_s - self.neap_m_s),
        )
    }

    /// Speed at a step of a course, whichever way it runs, m/s.
    #[must_use]
    pub fn speed_m_s(&self, (lunar, solar): (f64, f64)) -> f64 {
        let (first_m_s, second_m_s) = self.constituents_m_s();
        (self.steady_m_s + first_m_s * lunar + second_m_s * solar).abs()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Strummed, strum_in_a_fortnight};

    /// Steps that are turned on are the cosines themselves, springs and neaps the largest and the least of a tide.
    #[test]
    fn verif_steps_are_cosines() {
        let mut course = TideCourse::default();
        course.fill(10_000, 0.25, [0.3, 0.9]);
        for (i, (lunar, solar)) in course.both.iter().enumerate() {
            let t_h = 0.25 * (i as f64 + 0.5);
            let cosine = |period_h: f64, turn: f64| (2.0 * PI * (t_h / period_h + turn)).cos();
            assert!((lunar - cosine(LUNAR_TIDE_H, 0.3)).abs() < 1e-11);
            assert!((solar - cosine(12.0, 0.9)).abs() < 1e-11);
        }
        let tide = TideSpeeds {
            spring_m_s: 1.4,
            neap_m_s: 0.6,
            steady_m_s: 0.0,
        };
        assert!((tide.speed_m_s((1.0, 1.0)) - 1.4).abs() < 1e-12);
        assert!((tide.speed_m_s((-1.0, 1.0)) - 0.6).abs() < 1e-12);
    }

    /// Counted over 40 years the share of steps in a band is that of the closed form of a fortnight, to a few thousandths of the time.
    #[test]
    fn verif_the_long_run_is_the_share_of_a_fortnight() {
        let tide = TideSpeeds {
            spring_m_s: 1.2,
            neap_m_s: 0.6,
            steady_m_s: 0.0,
        };
        let rope = Strummed {
            diameter_m: 0.012,
            viscosity_m2_s: 1.35e-6,
            low_hz: 15.0,
            high_hz: 30.0,
        };
        let share = strum_in_a_fortnight(&rope, &tide).unwrap().either;
        let mut course = TideCourse::default();
        course.fill(40 * 8760 * 6, 1.0 / 6.0, [0.1, 0.7]);
        // 0.2 U/d in the band from 0.9 to 1.8 m/s, twice that from 0.45 to 0.9 m/s.
        let in_band = |both: &&(f64, f64)| (0.45..1.8).contains(&tide.speed_m_s(**both));
        let counted = course.both.iter().filter(in_band).count() as f64;
        let found = counted / course.both.len() as f64;
        assert!((found - share).abs() < 2e-3, "{found} {share}");
    }
}
