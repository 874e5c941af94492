//! What electronics beside a chain put into its samples: lines of switching converters, folded by the sample rate, and ticks.
//!
//! Equations (`docs/method/chain.md`). Samples at the rate `R` cannot tell `f` from `f + k R` and `k R - f`: a line at `f` is heard at
//! `|f - R round(f / R)|`, between 0 and `R/2` (the sampling theorem; in every text on it). Of a range of frequencies each stretch between
//! two multiples of `R/2` is heard as one range, read upwards or downwards.
//!
//! A tick that lasts `t` every `T`, of constant power while it lasts, has the mean power `t/T` of that (Parseval); within a window of `w`
//! the largest share of the time is `(floor(w/T) t + min(t, w - T floor(w/T))) / w`.

use alloc::vec::Vec;

use crate::budget::ChainNoise;
use crate::chain::HighPass;

/// Stretches of half the rate that are looked at from the lowest frequency of a range on: two hold every frequency that can be heard,
/// and a low-pass only weakens what lies higher.
const STRETCHES: usize = 3;

/// So many stretches of half the rate of a noise are looked at one by one.
const ONE_BY_ONE: f64 = 1000.0;
/// So far within its ends, as a share of it, a stretch is looked at.
const WITHIN: f64 = 1e-9;

/// A low-pass ahead of the converter, a Butterworth: `1 / (1 + (f/corner)^(2 poles))` of the power passes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LowPass {
    /// The -3 dB corner, Hz.
    pub corner_hz: f64,
    /// Number of poles.
    pub poles: usize,
}

impl LowPass {
    /// Share of the power that passes at `f_hz`.
    #[must_use]
    pub fn power_gain(&self, f_hz: f64) -> f64 {
        1.0 / (1.0 + libm::pow(f_hz / self.corner_hz, 2.0 * self.poles as f64))
    }
}

/// A converter that takes its samples faster than it tells them and keeps out by its own filter what would fold.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Oversampling {
    /// Rate at which it takes its samples, Hz.
    pub rate_hz: f64,
    /// By how much its filter weakens what lies beyond half the rate that it tells, dB, but for what lies within that of a multiple of
    /// `rate_hz`, which it cannot see.
    pub stop_band_db: f64,
}

/// What keeps out of a chain's samples what lies above half their rate.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct KeptOut {
    /// Ahead of the converter.
    pub low_pass: Option<LowPass>,
    /// In the converter.
    pub oversampling: Option<Oversampling>,
}

impl KeptOut {
    /// Whether nothing is known of it.
    #[must_use]
    pub fn is_unknown(&self) -> bool {
        self.low_pass.is_none() && self.oversampling.is_none()
    }

    /// Share of the power at `f_hz` that reaches samples at `rate_hz`.
    #[must_use]
    pub fn power_gain(&self, f_hz: f64, rate_hz: f64) -> f64 {
        let analogue = self.low_pass.map_or(1.0, |l| l.power_gain(f_hz));
        let half_hz = 0.5 * rate_hz;
        let digital = match self.oversampling {
            Some(o) if f_hz > half_hz => {
                let nearest = libm::round(f_hz / o.rate_hz);
                let blind = nearest >= 1.0 && libm::fabs(f_hz - nearest * o.rate_hz) <= half_hz;
                if blind {
                    1.0
                } else {
                    libm::pow(10.0, -o.stop_band_db / 10.0)
                }
            }
            _ => 1.0,
        };
        analogue * digital
    }

    /// Of the stretches of half the rate from one number up to another the powers that reach samples at `rate_hz`, added up, of each 1 at the
    /// most: the low-pass counts as at `f_hz`, and of an oversampled converter those beside a multiple of its own rate come through.
    fn open_stretches(&self, from: f64, to: f64, rate_hz: f64, f_hz: f64) -> f64 {
        let analogue = self.low_pass.map_or(1.0, |l| l.power_gain(f_hz));
        let all = to - from;
        let open = match self.oversampling {
            None => all,
            Some(o) => {
                let times = 2.0 * libm::round(o.rate_hz / rate_hz);
                let blind_below = |n: f64| libm::ceil(n / times) + libm::floor(n / times);
                let blind = blind_below(to) - blind_below(from);
                blind + (all - blind) * libm::pow(10.0, -o.stop_band_db / 10.0)
            }
        };
        analogue * open
    }
}

/// Where samples at `rate_hz` show a line at `f_hz`, Hz: 0 to half the rate. Both finite and not negative, the rate above zero.
#[must_use]
pub fn folded_hz(f_hz: f64, rate_hz: f64) -> f64 {
    libm::fabs(f_hz - rate_hz * libm::round(f_hz / rate_hz))
}

/// A range of frequencies that samples show as one range.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Folded {
    /// As it is, Hz, rising.
    pub true_hz: (f64, f64),
    /// As it is heard, Hz, rising.
    pub heard_hz: (f64, f64),
    /// Whether it lies above half the rate.
    pub from_above: bool,
}

/// The ranges as which samples at `rate_hz` show a line that lies somewhere from `low_hz` to `high_hz`, nearest to zero first; of a range
/// wider than the rate those that are heard loudest behind `kept_out`. Finite, `0 <= low_hz <= high_hz`.
#[must_use]
pub fn folds(low_hz: f64, high_hz: f64, rate_hz: f64, kept_out: &KeptOut) -> Vec<Folded> {
    let mut all = stretches(low_hz, high_hz, rate_hz);
    if let Some(o) = kept_out.oversampling {
        // What lies about a multiple of the rate of its samples comes through, wherever in the range.
        let first = libm::ceil((low_hz - 0.5 * rate_hz) / o.rate_hz).max(1.0) * o.rate_hz;
        let (from, to) = (first - 0.5 * rate_hz, first + 0.5 * rate_hz);
        if from <= high_hz && to >= low_hz {
            for one in stretches(from.max(low_hz), to.min(high_hz), rate_hz) {
                if !all.contains(&one) {
                    all.push(one);
                }
            }
        }
    }
    all
}

fn stretches(low_hz: f64, high_hz: f64, rate_hz: f64) -> Vec<Folded> {
    let half_hz = 0.5 * rate_hz;
    let first = libm::floor(low_hz / half_hz);
    let mut found = Vec::new();
    for stretch in 0..STRETCHES {
        let number = first + stretch as f64;
        let (from, to) = (
            (number * half_hz).max(low_hz),
            ((number + 1.0) * half_hz).min(high_hz),
        );
        if from > to || (from == to && stretch > 0) {
            break;
        }
        // Of an end that lies on a multiple of half the rate the side of this stretch counts.
        let shown = |f_hz: f64| libm::fabs(f_hz - rate_hz * libm::ceil(0.5 * number)).min(half_hz);
        let (a, b) = (shown(from), shown(to));
        found.push(Folded {
            true_hz: (from, to),
            heard_hz: (a.min(b), a.max(b)),
            from_above: number >= 1.0,
        });
    }
    found
}

/// Level in dB re 1 uPa, at the hydrophone, of the sound that a line of `level_db` dB re 1 uPa at the input of the chain passes for where
/// samples show it: the chain does to the line what it does at `true_hz`, and to sound what it does at `heard_hz`.
#[must_use]
pub fn passes_for_db(
    level_db: f64,
    true_hz: f64,
    heard_hz: f64,
    noise: &ChainNoise,
    kept_out: &KeptOut,
) -> f64 {
    let gain = |f_hz: f64| reaches_samples(f_hz, noise, kept_out);
    level_db + 10.0 * libm::log10(gain(true_hz) / gain(heard_hz))
}

/// The same of a line of `level_db` dB re 1 uPa in the samples themselves, by sensitivity and gain alone: only what the chain does to sound
/// where it is heard, at `heard_hz`, is taken back.
#[must_use]
pub fn shown_passes_for_db(
    level_db: f64,
    heard_hz: f64,
    noise: &ChainNoise,
    kept_out: &KeptOut,
) -> f64 {
    level_db - 10.0 * libm::log10(reaches_samples(heard_hz, noise, kept_out))
}

/// Power in a band of samples, uPa^2, of what lies above half their rate of a noise of 1 uPa^2/Hz between two frequencies at the input of the
/// chain: at the hydrophone, as [`passes_for_db`]. Each stretch between two multiples of half the rate counts as loud as at the end of its part
/// in the band that is kept out least; beyond a thousand stretches all count as the first of these, but for what an oversampled converter cannot
/// tell from sound, which counts as that. So it errs to the loud side. Finite, `0 <= from < to`, `0 <= low < high`.
#[must_use]
pub fn folded_noise_upa2(
    (from_hz, to_hz): (f64, f64),
    (low_hz, high_hz): (f64, f64),
    noise: &ChainNoise,
    kept_out: &KeptOut,
) -> f64 {
    let rate_hz = noise.chain().rate_hz();
    let half_hz = 0.5 * rate_hz;
    let high_hz = high_hz.min(half_hz);
    if low_hz >= high_hz {
        return 0.0;
    }
    let mut sum = 0.0;
    let first = libm::floor(from_hz / half_hz).max(1.0);
    let mut number = first;
    while number * half_hz < to_hz {
        if number - first >= ONE_BY_ONE {
            let past = libm::ceil(to_hz / half_hz);
            let reaches = |f_hz: f64| reaches_samples(f_hz, noise, kept_out);
            let heard = reaches(low_hz).min(reaches(high_hz));
            let open = kept_out.open_stretches(number, past, rate_hz, number * half_hz);
            sum += (high_hz - low_hz) * open / heard;
            break;
        }
        let a = from_hz.max(number * half_hz);
        let b = to_hz.min((number + 1.0) * half_hz);
        // An odd stretch is read downwards from a multiple of the rate, an even one upwards.
        let turn_hz = rate_hz * libm::ceil(0.5 * number);
        let (x, y) = (libm::fabs(a - turn_hz), libm::fabs(b - turn_hz));
        let (x, y) = (x.min(y).max(low_hz), x.max(y).min(high_hz));
        if x < y {
            let true_of = |f_hz: f64| match number % 2.0 == 1.0 {
                true => turn_hz - f_hz,
                false => turn_hz + f_hz,
            };
            // Within the stretch: at its very end begins what an oversampled converter cannot tell from sound.
            let inside_hz = WITHIN * (y - x);
            let at = |f_hz: f64| passes_for_db(0.0, true_of(f_hz), f_hz, noise, kept_out);
            let loudest_db = at(x + inside_hz).max(at(y - inside_hz));
            sum += (y - x) * libm::pow(10.0, loudest_db / 10.0);
        }
        number += 1.0;
    }
    sum
}

/// Share of the power at `f_hz` that comes through the high-pass and all that keeps it out.
fn reaches_samples(f_hz: f64, noise: &ChainNoise, kept_out: &KeptOut) -> f64 {
    let high_pass = noise.chain().high_pass();
    high_pass.map_or(1.0, |h: HighPass| h.power_gain(f_hz.max(LOWEST_HZ)))
        * kept_out.power_gain(f_hz, noise.chain().rate_hz())
}

/// Below this nothing is heard: where a line folds to zero the high-pass counts as here, Hz.
const LOWEST_HZ: f64 = 1.0;

/// The largest share of a window of `window_s` that ticks of `lasts_s` every `every_s` take; of no window that within a tick, 1.
/// All above zero, `lasts_s <= every_s`.
#[must_use]
pub fn tick_share(every_s: f64, lasts_s: f64, window_s: Option<f64>) -> f64 {
    let Some(window_s) = window_s else {
        return 1.0;
    };
    let whole = libm::floor(window_s / every_s);
    let rest_s = window_s - whole * every_s;
    ((whole * lasts_s + lasts_s.min(rest_s)) / window_s).min(1.0)
}
