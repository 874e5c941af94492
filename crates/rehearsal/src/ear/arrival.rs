//! When each sound is heard at an ear, and how it comes there.

use std::sync::Arc;

use plan::SoundIx;
use timeline::{Ns, SampleClock};

use super::error::EarError;
use super::heard::{EarSpec, Sea};
use super::path::{MOST_CHANGE, Refused};
use super::sounding::{AUDIBLE, BLOCK, MOST_OVERSAMPLING, oversampling};
use super::voice::{Voice, What};
use super::way::{self, Medium, Way};

/// The source level is that at 1 m; nearer than that no law of spreading holds.
const NEAREST_M: f64 = 1.0;

/// When a sound is heard, and how loud.
#[derive(Clone, Debug, PartialEq)]
pub struct Arrival {
    /// The sound.
    pub sound: SoundIx,
    /// Which of its repeats, from 0.
    pub repeat: u32,
    /// When its beginning reaches the hydrophone, by the earliest way.
    pub from: Ns,
    /// When its end does, by the latest.
    pub until: Ns,
    /// Least distance of the source while it sounds, m.
    pub closest_range_m: f64,
    /// Source level less transmission loss at its beginning, dB re 1 uPa: over the whole band of the sound, ahead of the chain. The
    /// powers of several ways add. Where no way is open then, in the middle of the time of the first that opens.
    pub received_level_db_re_1upa: f64,
}

/// The samples in which a sound is evaluated along one way.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Span {
    /// When the sound begins to be heard along it.
    from: Ns,
    /// Index of the voice.
    pub(crate) voice: usize,
    /// Which of its repeats, from 0.
    pub(crate) repeat: u32,
    /// Index among the ways of the voice.
    pub(crate) way: usize,
    /// First sample.
    pub(crate) first: u64,
    /// Sample after the last.
    pub(crate) end: u64,
}

/// Everything that will be heard at an ear.
#[derive(Debug)]
pub(crate) struct Coming {
    /// By voice; none for a sound beyond what the ear hears.
    pub(crate) ways: Vec<Vec<Way>>,
    /// In the order in which they begin.
    pub(crate) arrivals: Vec<Arrival>,
    /// In the order in which they begin.
    pub(crate) spans: Vec<Span>,
}

impl Coming {
    pub(crate) fn new(
        spec: &EarSpec,
        sea: &Sea,
        sounds: &[Arc<Voice>],
        clock: &SampleClock,
    ) -> Result<Self, EarError> {
        let ways = sounds
            .iter()
            .map(|voice| ways(voice, spec, sea))
            .collect::<Result<Vec<_>, _>>()?;
        let (mut arrivals, mut spans) = (Vec::new(), Vec::new());
        for (v, (voice, ways)) in sounds.iter().zip(&ways).enumerate() {
            arrive((v, voice), ways, spec, clock, (&mut arrivals, &mut spans))?;
        }
        arrivals.sort_by_key(|a: &Arrival| (a.from, a.sound, a.repeat));
        spans.sort_by_key(|s: &Span| (s.from, sounds[s.voice].sound, s.repeat, s.way));
        Ok(Self {
            ways,
            arrivals,
            spans,
        })
    }
}

/// The ways of a sound to an ear; none when the ear cannot hear any of it.
fn ways(voice: &Voice, spec: &EarSpec, sea: &Sea) -> Result<Vec<Way>, EarError> {
    let rate_hz = spec.chain.rate_hz();
    let (low_hz, high_hz) = voice.band_hz();
    if low_hz >= AUDIBLE * 0.5 * rate_hz {
        return Ok(Vec::new());
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
    let ear = [0.0, 0.0, spec.depth_m];
    let range_m = voice.track.closest_m(ear, f64::NEG_INFINITY, f64::INFINITY);
    if range_m < NEAREST_M {
        return Err(EarError::TooClose {
            sound: voice.id.clone(),
            ear: spec.name.clone(),
            range_m,
            limit_m: NEAREST_M,
        });
    }
    let medium = Medium {
        profile: &sea.profile,
        ways: sea.ways,
        ph: sea.ph,
        representative_hz: voice.representative_hz,
    };
    Way::all(&voice.track, spec.depth_m, &medium).map_err(|why| match why {
        Refused::Sea(source) => refused(source),
        Refused::Delay(change) => EarError::Delay {
            sound: voice.id.clone(),
            ear: spec.name.clone(),
            change,
            limit: MOST_CHANGE,
        },
    })
}

/// Appends the arrivals of every repeat of a sound, and the spans of each along its ways.
fn arrive(
    (index, voice): (usize, &Voice),
    ways: &[Way],
    spec: &EarSpec,
    clock: &SampleClock,
    (arrivals, spans): (&mut Vec<Arrival>, &mut Vec<Span>),
) -> Result<(), EarError> {
    let ns = |seconds_s: f64| {
        Ns::from_s_f64(clock.origin.as_s_f64() + seconds_s).map_err(|source| EarError::Time {
            sound: voice.id.clone(),
            source,
        })
    };
    let sample = |at| {
        clock
            .first_at_or_after(at)
            .map_err(|source| EarError::Clock {
                ear: spec.name.clone(),
                source,
            })
    };
    let ear = [0.0, 0.0, spec.depth_m];
    for repeat in 0..voice.times {
        let begin_s = f64::from(repeat) * voice.every_s;
        let end_s = begin_s + voice.duration_s;
        let mut heard: Option<(Ns, Ns, (f64, f64))> = None;
        for (way_ix, way) in ways.iter().enumerate() {
            let Some((open_s, shut_s)) = way.open(begin_s, end_s) else {
                continue;
            };
            let from = ns(voice.begin_s + open_s + way.travel_s(open_s))?;
            let until = ns(voice.begin_s + shut_s + way.travel_s(shut_s))?;
            // Filters ring for less than a block before and after. From the arrival's own instant, to keep the order.
            spans.push(Span {
                from,
                voice: index,
                repeat,
                way: way_ix,
                first: sample(from)?.saturating_sub(BLOCK),
                end: sample(until)?.saturating_add(BLOCK),
            });
            heard = Some(match heard {
                None => (from, until, (open_s, shut_s)),
                Some((a, b, first)) => {
                    let first = if open_s < first.0 {
                        (open_s, shut_s)
                    } else {
                        first
                    };
                    (a.min(from), b.max(until), first)
                }
            });
        }
        let Some((from, until, first)) = heard else {
            continue;
        };
        let refused = |source| EarError::Path {
            sound: voice.id.clone(),
            ear: spec.name.clone(),
            source,
        };
        let mut loss_db = way::loss_db(ways, begin_s).map_err(refused)?;
        if loss_db.is_infinite() {
            loss_db = way::loss_db(ways, 0.5 * (first.0 + first.1)).map_err(refused)?;
        }
        arrivals.push(Arrival {
            sound: voice.sound,
            repeat,
            from,
            until,
            closest_range_m: voice.track.closest_m(ear, begin_s, end_s),
            received_level_db_re_1upa: voice.source_level_db - loss_db,
        });
    }
    Ok(())
}
