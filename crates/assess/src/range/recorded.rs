//! Calls in recorded noise: what came of calls that were put into quiet recordings of the sensor.
//!
//! Places are drawn once: the recordings are cut into as many equal parts as there are calls, and a call lies anywhere in its part, at
//! least half a second after the one before, after what the detector needs to settle in its stretch. Where so many do not
//! fit, there are fewer. A ratio counts from the level of the noise in the detector's band from 5 s before the call to 5 s
//! after it (a judgement). False alarms are those of one pass over each whole stretch without calls.
//!
//! A call from a range is received at one level, and the noise about it is what it happens to be. So ranges rest on the same places once more,
//! with calls of one level in all of them: loud and quiet noise count by how long they last, and the limits are those of these counts.

use chance::Stream;
use injection::{
    Curve, Injection, NoiseLevel, Tally, inject, recorded_level_db, settling_samples, tail_samples,
};

use super::sample::{EACH, FIRST_DB, GAP_S, on_threads, ratios};
use super::whole::Month;
use super::{RangeError, Ranges, Sampled, Subject, depth_ranges, law_ranges, losses, month_range};

/// Time on each side of a call over which the level of the noise is taken, s. A judgement without a source.
const ABOUT_S: f64 = 5.0;

/// What is told of recordings that calls were put into.
#[derive(Clone, Debug, PartialEq)]
pub struct Recorded {
    /// Stretches into which calls were put, or in which false alarms could be told.
    pub stretches: usize,
    /// Stretches in which the detector would not have settled: nothing was made of them.
    pub too_short: usize,
    /// Length of the stretches that were used, s, with what the detector needed to settle.
    pub used_s: f64,
    /// Lowest and highest level of the noise about a call, in the detector's band, dB re 1 uPa.
    pub level_about_calls_db: (f64, f64),
    /// Share of the same calls found against their level as received, in dB over the mean level of all the noise: what ranges rest on. Each
    /// call of a point is received at one level, whatever the noise about it.
    pub received: Curve,
}

/// A call's place.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Place {
    stretch: usize,
    begin: u64,
    level_db: f64,
}

/// Puts `calls` calls, or as many as fit, into recorded noise and works out the range in noise as it was recorded. Stretches
/// are samples without a gap as the sensor's converter gave them, uPa; nothing of the plan's wind and shipping is read. `watch` is
/// told the share done, and stops the work by `false`.
///
/// # Errors
/// [`RangeError::TooShort`] where no stretch is long enough for the detector to settle and for a call; else as
/// [`ranges`](super::ranges).
pub fn recorded_ranges(
    subject: Subject,
    stretches: &[Vec<f32>],
    calls: u64,
    seed: u64,
    threads: usize,
    watch: &(dyn Fn(f64) -> bool + Sync),
) -> Result<Ranges, RangeError> {
    let bench = Bench::new(&subject, stretches)?;
    let places = bench.places(calls, seed)?;
    let first: Vec<f64> = (FIRST_DB.0..=FIRST_DB.1)
        .step_by(FIRST_DB.2)
        .map(f64::from)
        .collect();
    let used: Vec<&[f32]> = bench.used.iter().map(|&i| &stretches[i][..]).collect();
    let noise_level_db = bench.level_db(&used)?;
    let alike: Vec<Place> = places
        .iter()
        .map(|place| Place {
            level_db: noise_level_db,
            ..*place
        })
        .collect();
    let put = |places: &[Place], watch: &(dyn Fn(f64) -> bool + Sync)| {
        let few = evenly(places, EACH as usize);
        let coarse = bench.tally(&few, &first, threads, &|_| watch(0.0))?;
        let snr_db = ratios(&first, &coarse);
        let tally = bench.tally(places, &snr_db, threads, watch)?;
        let found = snr_db.iter().copied().zip(tally.found.iter().copied());
        let curve = Curve::new(&found.collect::<Vec<_>>(), tally.calls)?;
        Ok::<_, RangeError>((snr_db, tally, curve))
    };
    let (snr_db, mut tally, curve) = put(&places, &|share| watch(0.4 * share))?;
    let (_, _, received) = put(&alike, &|share| watch(0.4 + 0.4 * share))?;
    // Groups of calls settle anew, each by itself: what they told of the noise alone does not count.
    tally.false_alarms = 0;
    tally.listened_samples = 0;
    let alone = on_threads(bench.used.len(), threads, &|s| watch(0.8 + 0.2 * s), |i| {
        let noise = &stretches[bench.used[i]];
        Ok(inject(
            &bench.what(&snr_db, &[]),
            noise,
            &[],
            bench.settling,
        )?)
    })?;
    for one in &alone {
        tally.false_alarms += one.false_alarms;
        tally.listened_samples += one.listened_samples;
    }
    let sampled = Sampled {
        wind_m_s: None,
        noise_level_db,
        curve,
        by_chance: tally.by_chance,
        false_alarms: tally.false_alarms,
        listened_s: tally.listened_samples as f64 / subject.chain.rate_hz(),
        clipped: tally.clipped,
        seed,
        kept: false,
    };
    let levels = || places.iter().map(|place| place.level_db);
    let recorded = Recorded {
        stretches: used.len(),
        too_short: stretches.len() - used.len(),
        used_s: used.iter().map(|s| s.len()).sum::<usize>() as f64 / subject.chain.rate_hz(),
        level_about_calls_db: (
            levels().fold(f64::INFINITY, f64::min),
            levels().fold(f64::NEG_INFINITY, f64::max),
        ),
        received: received.clone(),
    };
    let losses = losses(&subject, &[&sampled])?.remove(0);
    let over_range = Sampled {
        curve: received,
        ..sampled.clone()
    };
    let month = Month {
        range: month_range(&subject, &over_range, None, subject.hydrophone_depth_m)?,
        by_depth: depth_ranges(&subject, &over_range, None)?,
        by_law: law_ranges(&subject, &over_range, subject.hydrophone_depth_m)?,
        sampled,
        losses,
    };
    Ok(Ranges {
        over_hours: Err("recordings are of no month".to_owned()),
        subject,
        months: vec![month],
        asked: calls,
        recorded: Some(recorded),
    })
}

struct Bench<'a> {
    subject: &'a Subject,
    stretches: &'a [Vec<f32>],
    /// Stretches in which a call has its place.
    used: Vec<usize>,
    settling: u64,
    /// A call with its ringing and the time in which it is decided on.
    whole: u64,
}

impl<'a> Bench<'a> {
    fn new(subject: &'a Subject, stretches: &'a [Vec<f32>]) -> Result<Self, RangeError> {
        let settling = settling_samples(&subject.spec)?;
        let whole = subject.sound.whole_samples() + tail_samples(&subject.spec)?;
        let needed = settling + whole;
        let long = |i: &usize| stretches[*i].len() as u64 >= needed;
        let used: Vec<usize> = (0..stretches.len()).filter(long).collect();
        if used.is_empty() {
            let longest = stretches.iter().map(Vec::len).max().unwrap_or(0);
            let rate_hz = subject.chain.rate_hz();
            return Err(RangeError::TooShort {
                detector: subject.detector.clone(),
                longest_s: longest as f64 / rate_hz,
                needed_s: needed as f64 / rate_hz,
                settling_s: settling as f64 / rate_hz,
            });
        }
        Ok(Self {
            subject,
            stretches,
            used,
            settling,
            whole,
        })
    }

    /// Places of the calls, in order.
    fn places(&self, calls: u64, seed: u64) -> Result<Vec<Place>, RangeError> {
        let rate_hz = self.subject.chain.rate_hz();
        let samples = self.subject.sound.samples();
        let gap = (GAP_S * rate_hz).ceil() as u64;
        // Where a call may begin.
        let room = |i: usize| self.stretches[i].len() as u64 - self.whole - self.settling + 1;
        let rooms: u64 = self.used.iter().map(|&i| room(i)).sum();
        let part = (rooms / calls.max(1)).max(samples + 2 * gap);
        let mut draws = Stream::named(seed, "injection/recorded/places", 0);
        let mut begins: Vec<(usize, u64)> = Vec::new();
        for &stretch in &self.used {
            let room = room(stretch);
            for i in 0..room.div_ceil(part) {
                let from = i * part;
                // The last part of a stretch may be a short one.
                let wide = (part - samples - gap).min(room - from);
                let begin = self.settling + from + (wide as f64 * draws.uniform()) as u64;
                begins.push((stretch, begin));
            }
        }
        evenly(&begins, calls as usize)
            .into_iter()
            .map(|(stretch, begin)| {
                let noise = &self.stretches[stretch];
                let about = (ABOUT_S * rate_hz).ceil() as u64;
                let from = begin.saturating_sub(about) as usize;
                let until = (begin + samples + about).min(noise.len() as u64) as usize;
                let level_db = self.level_db(&[&noise[from..until]])?;
                Ok(Place {
                    stretch,
                    begin,
                    level_db,
                })
            })
            .collect()
    }

    fn level_db(&self, stretches: &[&[f32]]) -> Result<f64, RangeError> {
        let Subject { chain, band_hz, .. } = self.subject;
        Ok(recorded_level_db(stretches, chain.rate_hz(), *band_hz)?)
    }

    /// Calls at all places, in groups that each settle by themselves.
    fn tally(
        &self,
        places: &[Place],
        snr_db: &[f64],
        threads: usize,
        watch: &(dyn Fn(f64) -> bool + Sync),
    ) -> Result<Tally, RangeError> {
        let groups: Vec<&[Place]> = places
            .chunk_by(|a, b| a.stretch == b.stretch)
            .flat_map(|of_one| of_one.chunks(EACH as usize))
            .collect();
        let tallies = on_threads(groups.len(), threads, watch, |i| {
            let group = groups[i];
            let (first, last) = (group[0], group[group.len() - 1]);
            let from = first.begin - self.settling;
            let noise = &self.stretches[first.stretch];
            let noise = &noise[from as usize..(last.begin + self.whole) as usize];
            let begins: Vec<u64> = group.iter().map(|place| place.begin - from).collect();
            let levels_db: Vec<f64> = group.iter().map(|place| place.level_db).collect();
            let what = self.what(snr_db, &levels_db);
            Ok(inject(&what, noise, &begins, self.settling)?)
        })?;
        let mut tally = Tally::default();
        for one in &tallies {
            tally.add(one);
        }
        Ok(tally)
    }

    fn what<'b>(&'b self, snr_db: &'b [f64], levels_db: &'b [f64]) -> Injection<'b> {
        Injection {
            detector: &self.subject.spec,
            converter: Some(&self.subject.chain),
            call: &self.subject.sound,
            noise_level: NoiseLevel::Each(levels_db),
            snr_db,
        }
    }
}

/// At most so many of all, evenly spread.
fn evenly<T: Copy>(all: &[T], most: usize) -> Vec<T> {
    let count = most.min(all.len());
    (0..count).map(|i| all[i * all.len() / count]).collect()
}
