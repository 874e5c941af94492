//! Calls put into one stretch of noise, before the very detector of the plan.
//!
//! The detector hears the stretch once without any call: what it tells there are false alarms. At each place of a call it is
//! copied as it stands, filters, background, hold-off and all, and each copy hears the call at one signal-to-noise ratio, and
//! the noise that follows, until nothing that began before the call's end is open. So a call changes nothing for the next
//! one, every ratio is heard in the same noise, and the noise before a call is heard once for all of them.
//!
//! A call is found when a confirmed event that was not taken back has a sample in common with it. In the same noise without
//! the call some event may lie there too: those places are counted as found by chance.
//!
//! Noise and call are added behind the chain's high-pass (a linear filter) and before the converter, which rounds and clips the
//! sum. Calls at different ratios share their noise, so the points of a curve are not independent of each other, while each by
//! itself is a sample of independent calls but for the background that neighbours share.

use detect::{Detector, Event, Notice, Spec, Stage, Told};
use signal::{Block, SensorChain};

use crate::call::CallSound;
use crate::error::InjectionError;

const CHUNK: usize = 4096;

/// Level of the noise in the call's band as at the hydrophone, dB re 1 uPa.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum NoiseLevel<'a> {
    /// The same everywhere, dB re 1 uPa.
    Same(f64),
    /// That about each call, in the order of the calls, dB re 1 uPa.
    Each(&'a [f64]),
}

/// What is put into what.
#[derive(Debug, Clone, Copy)]
pub struct Injection<'a> {
    /// What is to find the calls, at the rate of the noise.
    pub detector: &'a Spec,
    /// The chain whose converter the sum passes; `None` for noise that has passed one already.
    pub converter: Option<&'a SensorChain>,
    /// The call, behind the chain's high-pass.
    pub call: &'a CallSound,
    /// What the ratios count from.
    pub noise_level: NoiseLevel<'a>,
    /// Signal-to-noise ratios of the calls, rising, dB.
    pub snr_db: &'a [f64],
}

/// What came of one or several stretches.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Tally {
    /// Calls found at each ratio.
    pub found: Vec<u64>,
    /// Calls at each ratio.
    pub calls: u64,
    /// Places of calls at which the detector told an event in the noise alone.
    pub by_chance: u64,
    /// Events in the noise alone.
    pub false_alarms: u64,
    /// Samples of noise alone in which they could be told.
    pub listened_samples: u64,
    /// Calls at each ratio of which the converter clipped a sample.
    pub clipped: Vec<u64>,
}

impl Tally {
    /// Adds what came of another stretch with the same ratios.
    ///
    /// # Panics
    /// If both have calls, at different numbers of ratios.
    pub fn add(&mut self, other: &Tally) {
        let add = |to: &mut Vec<u64>, from: &[u64]| {
            if to.is_empty() {
                to.resize(from.len(), 0);
            }
            assert_eq!(to.len(), from.len(), "tallies of the same ratios");
            for (a, b) in to.iter_mut().zip(from) {
                *a += b;
            }
        };
        add(&mut self.found, &other.found);
        add(&mut self.clipped, &other.clipped);
        self.calls += other.calls;
        self.by_chance += other.by_chance;
        self.false_alarms += other.false_alarms;
        self.listened_samples += other.listened_samples;
    }
}

/// Samples that a detector must hear before its background is that of the noise and its filters have settled: the time over
/// which the background runs with what it leaves out, and its latency.
///
/// # Errors
/// [`InjectionError::Detector`] for a detector that cannot be.
pub fn settling_samples(spec: &Spec) -> Result<u64, InjectionError> {
    let background_s = spec.stages.iter().find_map(|stage| match stage {
        Stage::Background {
            over_s, guard_s, ..
        } => Some(over_s + guard_s),
        _ => None,
    });
    let background = (background_s.unwrap_or(0.0) * spec.rate_hz).ceil() as u64;
    let latency = Detector::new(spec)?.latency_samples();
    Ok(background + latency.unwrap_or(0) + spec.rate_hz.ceil() as u64)
}

/// Samples after a call in which all is decided that began before its end; where the detector has no such bound, 30 s.
///
/// # Errors
/// [`InjectionError::Detector`] for a detector that cannot be.
pub fn tail_samples(spec: &Spec) -> Result<u64, InjectionError> {
    const WITHOUT_BOUND_S: f64 = 30.0;
    let longest_s = spec.stages.iter().find_map(|stage| match stage {
        Stage::Trigger { longest_s, .. } | Stage::Ridge { longest_s, .. } => *longest_s,
        Stage::Pulses {
            max_interval_s,
            at_least,
            of_last,
            ..
        } => {
            let missed = of_last.unwrap_or(*at_least).saturating_sub(*at_least);
            Some((2.0 + f64::from(missed)) * max_interval_s)
        }
        _ => None,
    });
    let latency = Detector::new(spec)?.latency_samples();
    let samples = |s: f64| (s * spec.rate_hz).ceil() as u64;
    Ok(match (latency, longest_s) {
        (Some(latency), Some(longest_s)) => 2 * latency + samples(longest_s + 1.0),
        (Some(latency), None) => 2 * latency + samples(2.0),
        (None, _) => samples(WITHOUT_BOUND_S),
    })
}

/// Puts a call at each of `begins` (rising) into a stretch of noise, at every ratio. False alarms count from the sample
/// `listen_from` on; `noise_upa` are samples behind the high-pass and before the converter.
///
/// # Errors
/// [`InjectionError::Place`] for a call that overlaps the one before, or that with what is heard after it reaches beyond the noise. What is
/// heard after a call may reach into the next: each is heard by a copy of the detector, to which the others are no more than the noise;
/// [`InjectionError::Ratios`]; [`InjectionError::NoiseLevel`] for noise without a level; a detector, converter or noise that cannot be.
pub fn inject(
    what: &Injection<'_>,
    noise_upa: &[f32],
    begins: &[u64],
    listen_from: u64,
) -> Result<Tally, InjectionError> {
    let rising = what.snr_db.windows(2).all(|w| w[0] < w[1]);
    if !(rising && what.snr_db.iter().all(|db| db.is_finite()) && !what.snr_db.is_empty()) {
        return Err(InjectionError::Ratios);
    }
    let levels_db = match what.noise_level {
        NoiseLevel::Same(level_db) => vec![level_db; begins.len()],
        NoiseLevel::Each(levels_db) => levels_db.to_vec(),
    };
    if levels_db.len() != begins.len() {
        return Err(InjectionError::NoiseLevels {
            calls: begins.len(),
            levels: levels_db.len(),
        });
    }
    if let Some(index) = levels_db.iter().position(|db| !db.is_finite()) {
        return Err(InjectionError::NoiseLevel { index });
    }
    let tail = tail_samples(what.detector)?;
    let whole = what.call.pressure_upa.len() as u64 + tail;
    let mut free = 0;
    for (index, &begin) in begins.iter().enumerate() {
        if begin < free || begin + whole > noise_upa.len() as u64 {
            return Err(InjectionError::Place {
                index,
                begin,
                samples: whole,
                noise: noise_upa.len(),
            });
        }
        free = begin + what.call.samples;
    }
    let mut desk = Desk::new(what.converter);
    let mut detector = Detector::new(what.detector)?;
    let mut told = Vec::new();
    let mut found = vec![0; what.snr_db.len()];
    let mut clipped = vec![0; what.snr_db.len()];
    let mut at = 0;
    for (&begin, noise_db) in begins.iter().zip(levels_db) {
        desk.hear(&mut detector, noise_upa, at, begin, &mut told)?;
        at = begin;
        for (ratio, &snr_db) in what.snr_db.iter().enumerate() {
            let level_db = noise_db + snr_db;
            let (hit, clips) = desk.one_call(what, &detector, noise_upa, begin, tail, level_db)?;
            found[ratio] += u64::from(hit);
            clipped[ratio] += u64::from(clips);
        }
    }
    desk.hear(
        &mut detector,
        noise_upa,
        at,
        noise_upa.len() as u64,
        &mut told,
    )?;
    detector.finish(&mut told);
    let alarms: Vec<Event> = ended(&told).collect();
    let by_chance = begins
        .iter()
        .filter(|&&begin| alarms.iter().any(|e| touches(e, begin, what.call.samples)))
        .count() as u64;
    Ok(Tally {
        found,
        calls: begins.len() as u64,
        by_chance,
        false_alarms: alarms
            .iter()
            .filter(|e| e.begin_sample >= listen_from)
            .count() as u64,
        listened_samples: (noise_upa.len() as u64).saturating_sub(listen_from),
        clipped,
    })
}

fn ended(told: &[Told]) -> impl Iterator<Item = Event> {
    told.iter().filter_map(|told| match told.notice {
        Notice::Ended(event) => Some(event),
        _ => None,
    })
}

fn touches(event: &Event, begin: u64, samples: u64) -> bool {
    event.begin_sample < begin + samples && event.end_sample > begin
}

/// The converter and the buffers about it.
struct Desk<'a> {
    converter: Option<&'a SensorChain>,
    sum: Vec<f32>,
    counts: Vec<i32>,
}

impl<'a> Desk<'a> {
    fn new(converter: Option<&'a SensorChain>) -> Self {
        Self {
            converter,
            sum: vec![0.0; CHUNK],
            counts: vec![0; CHUNK],
        }
    }

    /// Gives the detector the noise from one sample to another, without a call.
    fn hear(
        &mut self,
        detector: &mut Detector,
        noise: &[f32],
        from: u64,
        until: u64,
        told: &mut Vec<Told>,
    ) -> Result<(), InjectionError> {
        let mut at = from;
        while at < until {
            let count = CHUNK.min((until - at) as usize);
            self.sum[..count].copy_from_slice(&noise[at as usize..at as usize + count]);
            self.give(detector, at, count, told)?;
            at += count as u64;
        }
        Ok(())
    }

    /// Whether a copy of the detector finds the call at one level, and whether the converter clipped on the way.
    fn one_call(
        &mut self,
        what: &Injection<'_>,
        detector: &Detector,
        noise: &[f32],
        begin: u64,
        tail: u64,
        level_db: f64,
    ) -> Result<(bool, bool), InjectionError> {
        let gain = libm::pow(10.0, level_db / 20.0);
        let call = &what.call.pressure_upa;
        let (call_end, until) = (begin + what.call.samples, begin + call.len() as u64 + tail);
        let mut detector = detector.clone();
        let mut told = Vec::new();
        let mut clipped = false;
        let mut at = begin;
        while at < until {
            let count = CHUNK.min((until - at) as usize);
            let sum = &mut self.sum[..count];
            sum.copy_from_slice(&noise[at as usize..at as usize + count]);
            let in_call = (at - begin) as usize;
            for (s, &c) in sum.iter_mut().zip(call.iter().skip(in_call)) {
                *s = (f64::from(*s) + gain * f64::from(c)) as f32;
            }
            clipped |= self.give(&mut detector, at, count, &mut told)?;
            at += count as u64;
            // What can still be told began after the call.
            let decided = detector
                .undecided_from()
                .is_some_and(|from| from >= call_end);
            if decided && at >= call_end {
                break;
            }
        }
        detector.finish(&mut told);
        let hit = ended(&told).any(|e| touches(&e, begin, what.call.samples));
        Ok((hit, clipped))
    }

    /// Converts what lies in `sum` and gives it to the detector; whether a sample was clipped.
    fn give(
        &mut self,
        detector: &mut Detector,
        first: u64,
        count: usize,
        told: &mut Vec<Told>,
    ) -> Result<bool, InjectionError> {
        let sum = &mut self.sum[..count];
        let mut clipped = 0;
        if let Some(converter) = self.converter {
            let counts = &mut self.counts[..count];
            clipped = converter.quantise(sum, counts)?;
            converter.pressure_upa(counts, sum)?;
        }
        detector.push(Block::new(first, sum), told)?;
        Ok(clipped > 0)
    }
}
