//! Drawing: calls into stretches of noise, on as many threads as there are, folded in the order of the stretches.

use chance::Stream;
use injection::{Curve, Injection, NoiseLevel, Tally, inject, settling_samples, tail_samples};

use super::{RangeError, Sampled, Subject};
use crate::threads;

/// Calls in one stretch of noise.
pub(super) const EACH: u64 = 25;
/// Between a call and the next, at least, s, and at most as much more by chance, so that calls lie anywhere among cells.
pub(super) const GAP_S: f64 = 0.5;
/// Longest stretch of noise alone, s.
const LONGEST_ALONE_S: f64 = 120.0;
/// Ratios that are tried first, with one stretch, dB.
pub(super) const FIRST_DB: (i32, i32, usize) = (-30, 60, 6);
/// Points between the ratios of few and of most found.
const POINTS: f64 = 13.0;

/// How much is drawn.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Draws {
    /// Calls at each signal-to-noise ratio, rounded up to whole stretches of 25.
    pub calls: u64,
    /// Noise alone beside that between calls, s.
    pub alone_s: f64,
    /// Seed of every draw.
    pub seed: u64,
}

/// Puts calls into the noise of a wind. `watch` is told the share done, and stops the work by `false`.
///
/// # Errors
/// [`RangeError`]; [`RangeError::Cancelled`] when `watch` stopped it.
pub fn sample(
    subject: &Subject,
    wind_m_s: f64,
    draws: Draws,
    threads: usize,
    watch: &(dyn Fn(f64) -> bool + Sync),
) -> Result<Sampled, RangeError> {
    let noise_level_db = subject.noise_level_db(wind_m_s)?;
    let first: Vec<f64> = (FIRST_DB.0..=FIRST_DB.1)
        .step_by(FIRST_DB.2)
        .map(f64::from)
        .collect();
    let drawn = Drawn {
        subject,
        wind_m_s,
        noise_level_db,
        seed: draws.seed,
    };
    let coarse = drawn.calls("injection/first", 0, &first)?;
    let snr_db = ratios(&first, &coarse);
    let stretches = draws.calls.div_ceil(EACH).max(1) as usize;
    let alone = (draws.alone_s / LONGEST_ALONE_S).ceil() as usize;
    let tallies = on_threads(stretches + alone, threads, watch, |i| {
        if i < stretches {
            drawn.calls("injection/calls", i as u64, &snr_db)
        } else {
            let at = i - stretches;
            let left_s = draws.alone_s - LONGEST_ALONE_S * at as f64;
            drawn.alone(at as u64, left_s.min(LONGEST_ALONE_S), &snr_db)
        }
    })?;
    let mut tally = Tally::default();
    for one in &tallies {
        tally.add(one);
    }
    let counts: Vec<(f64, u64)> = snr_db
        .iter()
        .copied()
        .zip(tally.found.iter().copied())
        .collect();
    Ok(Sampled {
        wind_m_s: Some(wind_m_s),
        noise_level_db,
        curve: Curve::new(&counts, tally.calls)?,
        by_chance: tally.by_chance,
        false_alarms: tally.false_alarms,
        listened_s: tally.listened_samples as f64 / subject.chain.rate_hz(),
        clipped: tally.clipped,
        seed: draws.seed,
        kept: false,
    })
}

/// The ratios at which many calls are drawn: close where the share changes, and those tried first above.
pub(super) fn ratios(first: &[f64], coarse: &Tally) -> Vec<f64> {
    let share = |i: usize| coarse.found[i] as f64 / coarse.calls as f64;
    let most = (0..first.len()).map(share).fold(0.0, f64::max);
    let step_db = f64::from(FIRST_DB.2 as i32);
    // Without a call found anywhere there is nothing to be close to.
    let Some(up) = (0..first.len()).find(|&i| share(i) >= 0.9 * most && most > 0.1) else {
        return first.to_vec();
    };
    let high_db = first[up] + 0.5 * step_db;
    let low_db = (0..up)
        .rev()
        .find(|&i| share(i) <= 0.05)
        .map_or(first[0], |i| first[i]);
    let points = POINTS as usize;
    let step = (high_db - low_db) / (POINTS - 1.0);
    // Halves of a decibel read better than what a division gives.
    let step = (2.0 * step).ceil() / 2.0;
    let mut all: Vec<f64> = (0..points).map(|i| low_db + step * i as f64).collect();
    let last = all[points - 1];
    all.extend(first.iter().copied().filter(|db| *db > last + 1.0));
    all
}

struct Drawn<'a> {
    subject: &'a Subject,
    wind_m_s: f64,
    noise_level_db: f64,
    seed: u64,
}

impl Drawn<'_> {
    fn calls(&self, name: &str, stretch: u64, snr_db: &[f64]) -> Result<Tally, RangeError> {
        let Subject { spec, sound, .. } = self.subject;
        let settling = settling_samples(spec)?;
        let gap = (GAP_S * spec.rate_hz).ceil();
        let mut places = Stream::named(self.seed, &format!("{name}/places"), stretch);
        let mut at = settling;
        let begins: Vec<u64> = (0..EACH)
            .map(|_| {
                let begin = at + (gap * places.uniform()) as u64;
                at = begin + sound.samples() + gap as u64;
                begin
            })
            .collect();
        let ringing = spec.rate_hz.ceil() as u64 * 2;
        let count = at + tail_samples(spec)? + ringing;
        let noise = self.noise(name, stretch, count as usize)?;
        Ok(inject(&self.what(snr_db), &noise, &begins, settling)?)
    }

    fn alone(&self, stretch: u64, time_s: f64, snr_db: &[f64]) -> Result<Tally, RangeError> {
        let settling = settling_samples(&self.subject.spec)?;
        let count = settling + (time_s * self.subject.spec.rate_hz) as u64;
        let noise = self.noise("injection/alone", stretch, count as usize)?;
        Ok(inject(&self.what(snr_db), &noise, &[], settling)?)
    }

    fn noise(&self, name: &str, stretch: u64, count: usize) -> Result<Vec<f32>, RangeError> {
        let stream = Stream::named(self.seed, name, stretch);
        self.subject.noise_samples(self.wind_m_s, stream, count)
    }

    fn what<'a>(&'a self, snr_db: &'a [f64]) -> Injection<'a> {
        Injection {
            detector: &self.subject.spec,
            converter: Some(&self.subject.chain),
            call: &self.subject.sound,
            noise_level: NoiseLevel::Same(self.noise_level_db),
            snr_db,
        }
    }
}

/// [`threads::on_threads`], where a watch that says stop is an error.
pub(super) fn on_threads<T: Send>(
    count: usize,
    threads: usize,
    watch: &(dyn Fn(f64) -> bool + Sync),
    work: impl Fn(usize) -> Result<T, RangeError> + Sync,
) -> Result<Vec<T>, RangeError> {
    threads::on_threads(count, threads, watch, work)?.ok_or(RangeError::Cancelled)
}
