//! The band-pass in the arithmetic that it needs: single precision where that holds.
//!
//! A section with the numerator `1 - z^-2` is the band output of a state-variable filter integrated by the trapezoidal rule
//! (textbook: V. Zavalishin, The Art of VA Filter Design, from memory; the response is checked): with
//! `H(z) = (1 - z^-2) / (1 + a1 z^-1 + a2 z^-2)`, `D = 4 / (1 - a1 + a2)`, `g^2 = (1 + a1 + a2) D / 4` and
//! `k g = (1 - a2) D / 2` it is `D / g` times that output. Its states are those of an analogue filter, so that single precision
//! bends a low band less than the plain recursion by the ratio of the rate to the band.

use detect::Workings;

/// Single precision is taken where the levels of all windows of the trial differ by at most so much from double precision, dB.
pub const SINGLE_WITHIN_DB: f64 = 0.01;
/// Loud sound below the band that the trial adds: the sea's noise falls with frequency, dB over the noise.
const BELOW_BAND_DB: f64 = 40.0;
/// Band samples of a trial, after those in which the filter settles.
const TRIAL_SAMPLES: usize = 16_384;
/// Longest window of the trial, band samples.
const LONGEST_WINDOW: usize = 1024;

/// In which arithmetic a band-pass runs, and what the trial of single precision gave.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum BandArithmetic {
    /// Single precision, state-variable sections.
    Single {
        /// Greatest difference of a level from double precision, dB.
        apart_db: f64,
    },
    /// Double precision, plain sections.
    Double {
        /// By how much the levels of single precision would differ, dB.
        single_apart_db: f64,
    },
}

impl BandArithmetic {
    pub(crate) fn is_single(&self) -> bool {
        matches!(self, Self::Single { .. })
    }
}

/// A state-variable section in single precision.
#[derive(Clone, Copy, Debug)]
pub(crate) struct SingleSection {
    /// Factors of the two states, and of the output.
    pub(crate) factors: [f32; 4],
}

/// The sections in single precision and the gain before the first.
pub(crate) fn single_sections(sections: &[[f64; 5]]) -> (f32, Vec<SingleSection>) {
    let mut gain = sections.first().map_or(1.0, |section| section[0]);
    let single = sections
        .iter()
        .map(|&[_, _, _, a1, a2]| {
            let d = 4.0 / (1.0 - a1 + a2);
            let g = libm::sqrt((1.0 + a1 + a2) / (1.0 - a1 + a2));
            let k = (1.0 - a2) * d / (2.0 * g);
            // The band output times k is one at its centre; the rest of each section's gain comes before the first.
            gain *= d / (g * k);
            let f = 1.0 / (1.0 + g * (g + k));
            SingleSection {
                factors: [f as f32, (g * f) as f32, (g * g * f) as f32, k as f32],
            }
        })
        .collect();
    (gain as f32, single)
}

/// The arithmetic that a band-pass needs.
pub(crate) fn arithmetic(workings: &Workings) -> BandArithmetic {
    let apart_db = trial(workings);
    if apart_db <= SINGLE_WITHIN_DB {
        BandArithmetic::Single { apart_db }
    } else {
        BandArithmetic::Double {
            single_apart_db: apart_db,
        }
    }
}

/// Greatest difference of the levels of windows, dB: white noise and a loud tone far below the band through both.
fn trial(workings: &Workings) -> f64 {
    let (gain, single) = single_sections(&workings.sections);
    let mut states = vec![[0.0_f32; 2]; single.len()];
    let mut history = vec![[0.0_f64; 2]; workings.sections.len() + 1];
    let window = (workings.window as usize).clamp(1, LONGEST_WINDOW);
    // Where the filter settles for longer than a trial lasts nothing is shown.
    let Some(settle) = settling(&workings.sections) else {
        return f64::INFINITY;
    };
    // An eighth of the frequency of the lowest pole.
    let step = lowest_pole(&workings.sections) / 8.0;
    let loud = libm::pow(10.0, BELOW_BAND_DB / 20.0) * core::f64::consts::SQRT_2;
    let mut noise = 1_u32;
    let (mut sums, mut worst) = ([0.0_f64; 2], 0.0_f64);
    for n in 0..settle + TRIAL_SAMPLES.max(window) {
        noise = noise.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        let white = (f64::from(noise >> 16) - 32_768.0) / 18_919.0;
        let x = (white + loud * libm::sin(step * n as f64)) as f32;
        let mut one = x * gain;
        for (section, state) in single.iter().zip(&mut states) {
            let [f0, f1, f2, out] = section.factors;
            let v3 = one - state[1];
            let v1 = f0 * state[0] + f1 * v3;
            let v2 = state[1] + f1 * state[0] + f2 * v3;
            *state = [2.0 * v1 - state[0], 2.0 * v2 - state[1]];
            one = out * v1;
        }
        let mut two = workings.sections[0][0] * f64::from(x);
        for (i, &[_, _, _, a1, a2]) in workings.sections.iter().enumerate() {
            let y = (two - (history[i][1] + a2 * history[i + 1][1])) - a1 * history[i + 1][0];
            history[i] = [two, history[i][0]];
            two = y;
        }
        let last = history.len() - 1;
        history[last] = [two, history[last][0]];
        if n < settle {
            continue;
        }
        sums[0] += f64::from(one) * f64::from(one);
        sums[1] += two * two;
        if (n - settle + 1).is_multiple_of(window) {
            let apart_db = 10.0 * libm::log10(sums[0] / sums[1]);
            // What is not a number is no agreement.
            worst = if apart_db.is_finite() {
                worst.max(apart_db.abs())
            } else {
                f64::INFINITY
            };
            sums = [0.0; 2];
        }
    }
    worst
}

/// Angular frequency of the lowest pole, radians a band sample.
fn lowest_pole(sections: &[[f64; 5]]) -> f64 {
    sections
        .iter()
        .map(|&[_, _, _, a1, a2]| {
            let radius = libm::sqrt(a2.max(0.0));
            if radius > 0.0 {
                libm::acos((-a1 / (2.0 * radius)).clamp(-1.0, 1.0))
            } else {
                core::f64::consts::FRAC_PI_2
            }
        })
        .fold(core::f64::consts::PI, f64::min)
        .max(1e-6)
}

/// Longest time in which a filter may settle in a trial, band samples.
const LONGEST_SETTLING: f64 = 2e6;

/// Band samples after which what the filter began with has fallen by 120 dB; `None` for more than [`LONGEST_SETTLING`].
fn settling(sections: &[[f64; 5]]) -> Option<usize> {
    let slowest = sections
        .iter()
        .map(|section| libm::sqrt(section[4].max(0.0)))
        .fold(1e-3, f64::max);
    // 120 dB are 13.8 nepers.
    let samples = 13.8 / -libm::log(slowest);
    (0.0..=LONGEST_SETTLING)
        .contains(&samples)
        .then_some(samples as usize)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A pole of the radius r falls by 120 dB in 13.8 / -ln r samples: 0.999 takes 13793, and 1 - 1e-6 longer than a trial.
    #[test]
    fn verif_a_filter_that_settles_for_too_long_is_not_tried() {
        let section = |radius: f64| [[1.0, 0.0, -1.0, 0.0, radius * radius]];
        assert_eq!(settling(&section(0.999)), Some(13_793));
        assert_eq!(settling(&section(1.0 - 1e-6)), None);
        assert_eq!(settling(&section(1.0)), None);
    }
}
