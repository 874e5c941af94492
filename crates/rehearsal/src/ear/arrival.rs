//! When each sound is heard at an ear, and how it comes there.

use std::sync::Arc;

use plan::SoundIx;
use timeline::{Ns, SampleClock};

use super::error::EarError;
use super::heard::{EarSpec, Sea};
use super::path::{MOST_CHANGE, Path, Refused};
use super::sounding::{AUDIBLE, BLOCK, MOST_OVERSAMPLING, oversampling};
use super::voice::{Voice, What};

/// The source level is that at 1 m; nearer than that no law of spreading holds.
const NEAREST_M: f64 = 1.0;

/// When a sound is heard, and how loud.
#[derive(Clone, Debug, PartialEq)]
pub struct Arrival {
    /// The sound.
    pub sound: SoundIx,
    /// Which of its repeats, from 0.
    pub repeat: u32,
    /// When its beginning reaches the hydrophone.
    pub from: Ns,
    /// When its end does.
    pub until: Ns,
    /// Least distance of the source while it sounds, m.
    pub closest_range_m: f64,
    /// Source level less transmission loss at its beginning, dB re 1 uPa: over the whole band of the sound, ahead of the chain.
    pub received_level_db_re_1upa: f64,
}

/// The samples in which a sound is evaluated.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Span {
    /// Index of the voice.
    pub(crate) voice: usize,
    /// First sample.
    pub(crate) first: u64,
    /// Sample after the last.
    pub(crate) end: u64,
}

/// Everything that will be heard at an ear.
#[derive(Debug)]
pub(crate) struct Coming {
    /// By voice; `None` for a sound beyond what the ear hears.
    pub(crate) paths: Vec<Option<Path>>,
    /// In the order in which they begin.
    pub(crate) arrivals: Vec<Arrival>,
    /// By arrival.
    pub(crate) spans: Vec<Span>,
}

impl Coming {
    pub(crate) fn new(
        spec: &EarSpec,
        sea: &Sea,
        sounds: &[Arc<Voice>],
        clock: &SampleClock,
    ) -> Result<Self, EarError> {
        let paths = sounds
            .iter()
            .map(|voice| path(voice, spec, sea))
            .collect::<Result<Vec<_>, _>>()?;
        let mut heard = Vec::new();
        for (v, (voice, path)) in sounds.iter().zip(&paths).enumerate() {
            if let Some(path) = path {
                arrive(v, voice, path, spec, clock, &mut heard)?;
            }
        }
        heard.sort_by_key(|(a, _)| (a.from, a.sound, a.repeat));
        let (arrivals, spans) = heard.into_iter().unzip();
        Ok(Self {
            paths,
            arrivals,
            spans,
        })
    }
}

/// The way of a sound to an ear; `None` when the ear cannot hear any of it.
fn path(voice: &Voice, spec: &EarSpec, sea: &Sea) -> Result<Option<Path>, EarError> {
    let rate_hz = spec.chain.rate_hz();
    let (low_hz, high_hz) = voice.band_hz();
    if low_hz >= AUDIBLE * 0.5 * rate_hz {
        return Ok(None);
    }
    if matches!(voice.what, What::Exact(_)) && oversampling(high_hz, rate_hz) > MOST_OVERSAMPLING {
        return Err(EarError::TooHigh {
            sound: voice.id.clone(),
            ear: spec.name.clone(),
            high_hz,
            rate_hz,
            most: MOST_OVERSAMPLING,
        });
    }
    let refused = |source| EarError::Path {
        sound: voice.id.clone(),
        ear: spec.name.clone(),
        source,
    };
    let path = Path::new(
        &voice.track,
        spec.depth_m,
        &sea.profile,
        sea.spreading,
        sea.ph,
        voice.representative_hz,
    )
    .map_err(|why| match why {
        Refused::Sea(source) => refused(source),
        Refused::Delay(change) => EarError::Delay {
            sound: voice.id.clone(),
            ear: spec.name.clone(),
            change,
            limit: MOST_CHANGE,
        },
    })?;
    let range_m = path.closest_m(f64::NEG_INFINITY, f64::INFINITY);
    if range_m < NEAREST_M {
        return Err(EarError::TooClose {
            sound: voice.id.clone(),
            ear: spec.name.clone(),
            range_m,
            limit_m: NEAREST_M,
        });
    }
    Ok(Some(path))
}

/// Appends the arrivals of every repeat of a sound.
fn arrive(
    index: usize,
    voice: &Voice,
    path: &Path,
    spec: &EarSpec,
    clock: &SampleClock,
    heard: &mut Vec<(Arrival, Span)>,
) -> Result<(), EarError> {
    let ns = |seconds_s: f64| {
        Ns::from_s_f64(seconds_s).map_err(|source| EarError::Time {
            sound: voice.id.clone(),
            source,
        })
    };
    for repeat in 0..voice.times {
        let begin_s = f64::from(repeat) * voice.every_s;
        let end_s = begin_s + voice.duration_s;
        let from_s = voice.begin_s + begin_s + path.travel_s(begin_s);
        let until_s = voice.begin_s + end_s + path.travel_s(end_s);
        let loss_db = path.loss_db(begin_s).map_err(|source| EarError::Path {
            sound: voice.id.clone(),
            ear: spec.name.clone(),
            source,
        })?;
        let arrival = Arrival {
            sound: voice.sound,
            repeat,
            from: ns(clock.origin.as_s_f64() + from_s)?,
            until: ns(clock.origin.as_s_f64() + until_s)?,
            closest_range_m: path.closest_m(begin_s, end_s),
            received_level_db_re_1upa: voice.source_level_db - loss_db,
        };
        // Filters ring for less than a block before and after. From the arrival's own instant, to keep the order of arrivals.
        let sample = |at| {
            clock
                .first_at_or_after(at)
                .map_err(|source| EarError::Clock {
                    ear: spec.name.clone(),
                    source,
                })
        };
        let first = sample(arrival.from)?.saturating_sub(BLOCK);
        let end = sample(arrival.until)?.saturating_add(BLOCK);
        let span = Span {
            voice: index,
            first,
            end,
        };
        heard.push((arrival, span));
    }
    Ok(())
}
