//! Hum of a vessel: band-limited noise that swells at the blade rate, and lines at the blade rate and its multiples.
//!
//! Both are made on a grid of emission time, three times as fast as the highest frequency, and read between its samples by
//! [`super::interpolate`], so that every ear hears the same noise at its own delay. The noise is Gaussian and flat between its
//! edges (within the two lines of its shaping filter); its stream is named by the sound and the repeat. Its level is set by the
//! sum of the squares of the filter. An ear whose rate does not reach the upper edge shapes the same numbers up to its own limit.
//!
//! A blade rate splits the source level: a quarter of the mean square goes into eight lines, each 3 dB below the one before, the
//! rest into noise whose pressure swells by half. These figures are judgement, without a source; vessels differ widely.
//! Beginning and end are `sin^2` edges of a tenth of the length, at most 50 ms, whose loss is made up, so that the rms
//! over the whole length is the source level.

use std::f64::consts::PI;

use signal::{BladeModulation, Ends, Hum, ShapedNoise, Tonal, design_shaping_fir};

use super::error::EarError;
use super::interpolate::Kernel;
use super::numbers::Numbers;

const EDGE_SHARE: f64 = 0.1;
const LONGEST_EDGE_S: f64 = 0.05;
const LINES: u32 = 8;
const LINE_FALL_DB: f64 = 3.0;
const LINES_SHARE: f64 = 0.25;
const SWELL: f64 = 0.5;
/// The grid is so many times faster than the highest frequency.
const OVERSAMPLING: f64 = 3.0;
/// Transition of the kernel from 1/3 to 2/3 of the grid's rate: 8 samples to each side keep images 84 dB down.
const REACH: usize = 8;
const FEWEST_TAPS: f64 = 256.0;
const MOST_TAPS: f64 = 65_536.0;
/// Grid index 0 of the noise lies so many samples before the beginning.
const LEAD: i64 = 64;

/// A hum, shared between ears.
#[derive(Debug)]
pub(crate) struct HumSource {
    id: String,
    seed: u64,
    low_hz: f64,
    high_hz: f64,
    blade_rate_hz: Option<f64>,
    lines: Vec<Tonal>,
    length_s: f64,
    edge_s: f64,
    rate_hz: f64,
    taps: usize,
    /// Density of the noise at 1 m, dB re 1 uPa2/Hz.
    density_db: f64,
    kernel: Kernel,
}

impl HumSource {
    pub(crate) fn new(
        id: &str,
        (low_hz, high_hz): (f64, f64),
        blade_rate_hz: Option<f64>,
        length_s: f64,
        level_db: f64,
        seed: u64,
    ) -> Result<Self, EarError> {
        let bad = |what, value, unit, expected| EarError::Value {
            sound: id.to_owned(),
            what,
            value,
            unit,
            expected,
        };
        let blade = blade_rate_hz.unwrap_or(1.0);
        for (what, value, unit) in [
            ("lower edge", low_hz, "Hz"),
            ("blade rate", blade, "Hz"),
            ("length", length_s, "s"),
        ] {
            if !(value.is_finite() && value > 0.0) {
                return Err(bad(what, value, unit, "a finite positive number"));
            }
        }
        if !(high_hz.is_finite() && high_hz > low_hz) {
            return Err(bad(
                "upper edge",
                high_hz,
                "Hz",
                "finite and above the lower edge",
            ));
        }
        let edge_s = (EDGE_SHARE * length_s).min(LONGEST_EDGE_S);
        let level_db = level_db - 10.0 * libm::log10(1.0 - 1.25 * edge_s / length_s);
        let lines_share = if blade_rate_hz.is_some() {
            LINES_SHARE
        } else {
            0.0
        };
        let lines = blade_rate_hz.map_or_else(Vec::new, |blade| {
            blade_lines(blade, level_db + 10.0 * libm::log10(lines_share))
        });
        let highest_hz = match blade_rate_hz {
            Some(blade) => (high_hz + blade).max(blade * f64::from(LINES)),
            None => high_hz,
        };
        let rate_hz = OVERSAMPLING * highest_hz;
        let finest_hz = (0.25 * low_hz).min(0.125 * (high_hz - low_hz));
        let taps = (rate_hz / finest_hz).clamp(FEWEST_TAPS, MOST_TAPS);
        let taps = (taps.ceil() as usize).next_power_of_two();
        let flat = [(low_hz, 0.0), (high_hz, 0.0)];
        let filter = design_shaping_fir(&flat, Ends::Silent, taps, rate_hz)
            .map_err(|source| noise_error(id, source))?;
        let power: f64 = filter.iter().map(|h| h * h).sum();
        let noise_db = level_db + 10.0 * libm::log10(1.0 - lines_share);
        Ok(Self {
            id: id.to_owned(),
            seed,
            low_hz,
            high_hz,
            blade_rate_hz,
            lines,
            length_s,
            edge_s,
            rate_hz,
            taps,
            density_db: noise_db - 10.0 * libm::log10(power),
            kernel: Kernel::new(REACH, 0.5),
        })
    }

    pub(crate) fn band_hz(&self) -> (f64, f64) {
        self.lines
            .iter()
            .fold((self.low_hz, self.high_hz), |(low, high), l| {
                (low.min(l.frequency_hz), high.max(l.frequency_hz))
            })
    }

    pub(crate) fn rate_hz(&self) -> f64 {
        self.rate_hz
    }

    pub(crate) fn kernel(&self) -> &Kernel {
        &self.kernel
    }

    /// Factor on the pressure at `t_s`: 0 outside the hum, its edges within.
    pub(crate) fn envelope(&self, t_s: f64) -> f64 {
        let from_end_s = t_s.min(self.length_s - t_s);
        if from_end_s <= 0.0 {
            0.0
        } else if from_end_s >= self.edge_s {
            1.0
        } else {
            let s = libm::sin(0.5 * PI * from_end_s / self.edge_s);
            s * s
        }
    }

    /// The grid of one repeat, as an ear hears it that takes in frequencies below `audible_hz`.
    pub(crate) fn grid(&self, repeat: u32, audible_hz: f64) -> Result<HumGrid, EarError> {
        let high_hz = self.high_hz.min(audible_hz);
        let noise = if high_hz > self.low_hz {
            let table = [(self.low_hz, self.density_db), (high_hz, self.density_db)];
            let shaped = ShapedNoise::new(&table, Ends::Silent, self.taps, self.rate_hz)
                .map_err(|source| noise_error(&self.id, source))?;
            Some(shaped)
        } else {
            None
        };
        let heard: Vec<Tonal> = self
            .lines
            .iter()
            .copied()
            .filter(|l| l.frequency_hz < audible_hz)
            .collect();
        let modulation = self.blade_rate_hz.map(|rate_hz| BladeModulation {
            rate_hz,
            depth: SWELL,
        });
        let lines = Hum::new(&heard, modulation).map_err(|source| EarError::Synth {
            sound: self.id.clone(),
            source,
        })?;
        Ok(HumGrid {
            noise,
            numbers: Numbers::new(self.seed, format!("sound.{}/{repeat}", self.id)),
            lines,
            rate_hz: self.rate_hz,
            single: Vec::new(),
        })
    }
}

/// Grid samples of a hum at 1 m.
#[derive(Debug)]
pub(crate) struct HumGrid {
    noise: Option<ShapedNoise>,
    numbers: Numbers,
    lines: Hum,
    rate_hz: f64,
    single: Vec<f32>,
}

impl HumGrid {
    /// Grid samples from `first` on, in uPa; sample 0 is at the beginning, and up to 64 may be asked for before it.
    pub(crate) fn fill(&mut self, first: i64, out: &mut [f64]) {
        self.single.resize(out.len(), 0.0);
        match &mut self.noise {
            Some(noise) => {
                let index = u64::try_from(first + LEAD).expect("the kernel reaches 8 samples back");
                let numbers = &mut self.numbers;
                noise.fill(index, &mut self.single, |i| numbers.at(i));
            }
            None => self.single.fill(0.0),
        }
        for (i, (o, n)) in out.iter_mut().zip(&self.single).enumerate() {
            let t_s = (first + i as i64) as f64 / self.rate_hz;
            *o = f64::from(*n) * self.lines.modulation(t_s) + self.lines.value(t_s);
        }
    }
}

/// Lines whose mean squares add up to `level_db`.
fn blade_lines(blade_rate_hz: f64, level_db: f64) -> Vec<Tonal> {
    let sum: f64 = (0..LINES)
        .map(|k| libm::pow(10.0, -LINE_FALL_DB * f64::from(k) / 10.0))
        .sum();
    (0..LINES)
        .map(|k| Tonal {
            frequency_hz: blade_rate_hz * f64::from(k + 1),
            source_level_db_re_1upa_m: level_db
                - 10.0 * libm::log10(sum)
                - LINE_FALL_DB * f64::from(k),
        })
        .collect()
}

fn noise_error(id: &str, source: signal::SpectrumError) -> EarError {
    EarError::Noise {
        of: format!("sound.{id}"),
        source,
    }
}

const _: () = assert!(LEAD > REACH as i64);

#[cfg(test)]
mod tests {
    use super::super::interpolate::transition;
    use super::*;

    #[test]
    fn verif_the_kernel_of_a_hum_is_as_steep_as_its_grid_allows() {
        assert!(transition(REACH as f64) < 2.0 / OVERSAMPLING - 1.0 / OVERSAMPLING);
    }
}
