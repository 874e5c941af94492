//! The ear itself: samples and cells.

use std::sync::Arc;

use detect::{Cell, Front, Spec};
use plan::{DetectorIx, SensorIx};
use seawater::Profile;
use signal::{Block, SensorChain, Sos};
use timeline::{Ns, SampleClock};

use super::arrival::{Arrival, Coming};
use super::background::{Background, Surroundings};
use super::error::EarError;
use super::sounding::Sounding;
use super::voice::Voice;
use super::way::Ways;

const CHUNK: usize = 4096;
const SLOWEST_HZ: f64 = 100.0;
const FASTEST_HZ: f64 = 10e6;
/// A hydrophone with its chain and its detectors.
#[derive(Clone, Debug)]
pub struct EarSpec {
    /// The sensor.
    pub sensor: SensorIx,
    /// Typed path of the sensor; names its random streams.
    pub name: String,
    /// Depth, m.
    pub depth_m: f64,
    /// From micropascals to counts.
    pub chain: SensorChain,
    /// Self-noise at the chain's input: Hz and dB re 1 uPa2/Hz, rising; empty where it is not known.
    pub self_noise: Vec<(f64, f64)>,
    /// The detectors that hear through it.
    pub detectors: Vec<(DetectorIx, Spec)>,
}

/// The sea about the line.
#[derive(Clone, Debug)]
pub struct Sea {
    /// Temperature and salinity by depth.
    pub profile: Profile,
    /// Which ways sound takes.
    pub ways: Ways,
    /// Acidity.
    pub ph: f64,
    /// Wind speed, m/s.
    pub wind_m_s: f64,
    /// Shipping activity, 0 to 1.
    pub shipping: f64,
    /// Seed of every random draw.
    pub seed: u64,
}

/// A cell of a detector.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HeardCell {
    /// The detector.
    pub detector: DetectorIx,
    /// The cell; its samples count from time 0 of the rehearsal.
    pub cell: Cell,
    /// When it is known: the instant of the last sample needed.
    pub known_at: Ns,
    /// Whether the converter stood at an end code within the samples that the cell rests on.
    pub clipped: bool,
}

/// A block of samples as the converter gave them.
#[derive(Clone, Copy, Debug)]
pub struct Taken<'a> {
    /// Index of the first sample since time 0 of the rehearsal.
    pub first: u64,
    /// Counts.
    pub counts: &'a [i32],
    /// The same in uPa.
    pub pressure_upa: &'a [f32],
    /// How many were clipped.
    pub clipped: u64,
}

/// One hydrophone, its chain, and the fronts of its detectors.
#[derive(Debug)]
pub struct Ear {
    spec: EarSpec,
    clock: SampleClock,
    voices: Vec<Arc<Voice>>,
    coming: Coming,
    /// Sounds under way, by span.
    under_way: Vec<(usize, Sounding)>,
    /// First span that has not begun.
    next_span: usize,
    background: Option<Background>,
    high_pass: Option<Sos>,
    fronts: Vec<(DetectorIx, Front)>,
    /// Longest run of samples that a cell rests on.
    longest: u64,
    next: u64,
    clipped: u64,
    /// First and last sample of each run at an end code.
    clips: Vec<(u64, u64)>,
    buffers: Buffers,
    cells: Vec<Cell>,
}

#[derive(Debug)]
struct Buffers {
    sound: Vec<f64>,
    pressure: Vec<f32>,
    filtered: Vec<f32>,
    counts: Vec<i32>,
}

impl Ear {
    /// An ear that hears from `origin` on (0 in a rehearsal: sample 0 is at `origin`).
    ///
    /// # Errors
    /// [`EarError`]: a rate, chain, detector, sea or sound that cannot be; a source nearer than 1 m.
    pub fn new(
        spec: EarSpec,
        sea: &Sea,
        sounds: &[Arc<Voice>],
        origin: Ns,
    ) -> Result<Self, EarError> {
        let background = Background::new(&Surroundings {
            ear: &spec.name,
            rate_hz: spec.chain.rate_hz(),
            wind_m_s: sea.wind_m_s,
            shipping: sea.shipping,
            self_noise: &spec.self_noise,
            seed: sea.seed,
        })?;
        let mut ear = Self::without_noise(spec, sea, sounds, origin)?;
        ear.background = Some(background);
        Ok(ear)
    }

    /// An ear that hears the sounds alone: neither the sea nor itself. For measuring what becomes of a sound on its way.
    ///
    /// # Errors
    /// As [`Ear::new`].
    pub fn without_noise(
        spec: EarSpec,
        sea: &Sea,
        sounds: &[Arc<Voice>],
        origin: Ns,
    ) -> Result<Self, EarError> {
        let clock = clock(&spec, origin)?;
        let high_pass = spec
            .chain
            .high_pass_filter()
            .map_err(|source| EarError::Chain {
                ear: spec.name.clone(),
                source: source.into(),
            })?;
        let mut fronts = Vec::with_capacity(spec.detectors.len());
        for (ix, detector) in &spec.detectors {
            if detector.rate_hz != spec.chain.rate_hz() {
                return Err(EarError::RateDiffers {
                    ear: spec.name.clone(),
                    detector: ix.0,
                    detector_rate_hz: detector.rate_hz,
                    rate_hz: spec.chain.rate_hz(),
                });
            }
            let front = Front::new(detector).map_err(|source| EarError::Detector {
                ear: spec.name.clone(),
                detector: ix.0,
                source,
            })?;
            fronts.push((*ix, front));
        }
        let coming = Coming::new(&spec, sea, sounds, &clock)?;
        let longest = fronts.iter().map(|(_, f)| f.delay_samples()).max();
        Ok(Self {
            clock,
            voices: sounds.to_vec(),
            coming,
            under_way: Vec::new(),
            next_span: 0,
            background: None,
            high_pass,
            fronts,
            longest: longest.unwrap_or(0),
            next: 0,
            clipped: 0,
            clips: Vec::new(),
            buffers: Buffers {
                sound: vec![0.0; CHUNK],
                pressure: vec![0.0; CHUNK],
                filtered: vec![0.0; CHUNK],
                counts: vec![0; CHUNK],
            },
            cells: Vec::new(),
            spec,
        })
    }

    /// The sensor.
    #[must_use]
    pub fn sensor(&self) -> SensorIx {
        self.spec.sensor
    }

    /// Sounds in the order in which they begin here. A sound that lies wholly above what the ear hears (0.9 of half its
    /// rate), or to which no ray leads, is not among them.
    #[must_use]
    pub fn arrivals(&self) -> &[Arrival] {
        &self.coming.arrivals
    }

    /// Whether nothing at all is known of the chain's own noise but the steps of its converter, so that the ear hears the sea's noise alone.
    #[must_use]
    pub fn self_noise_unknown(&self) -> bool {
        self.spec.self_noise.is_empty()
    }

    /// Samples clipped since the last restart, or since the beginning.
    #[must_use]
    pub fn clipped_samples(&self) -> u64 {
        self.clipped
    }

    /// Forgets everything heard and hears anew from the first sample at or after `at`, which may lie before what has been
    /// heard already: filters at rest, a new stretch for the detectors.
    pub fn restart(&mut self, at: Ns) {
        self.next = self
            .clock
            .first_at_or_after(at)
            .expect("at most ten million samples a second fit 64 bits");
        if let Some(high_pass) = &mut self.high_pass {
            high_pass.reset();
        }
        for (_, front) in &mut self.fronts {
            front.gap();
        }
        self.under_way.clear();
        self.next_span = 0;
        self.clipped = 0;
        self.clips.clear();
    }

    /// Hears every sample up to and including the instant `until`; appends the cells that become known by it, in the order of
    /// the samples they need and then of the detectors.
    ///
    /// # Errors
    /// [`EarError::Clock`] past the end of the clock; [`EarError::Push`] and [`EarError::Chain`] for levels beyond numbers.
    pub fn advance(&mut self, until: Ns, out: &mut Vec<HeardCell>) -> Result<(), EarError> {
        self.advance_with(until, out, &mut |_| {})
    }

    /// [`Ear::advance`] that also hands out the samples, in blocks that follow each other but for restarts.
    ///
    /// # Errors
    /// As [`Ear::advance`].
    pub fn advance_with(
        &mut self,
        until: Ns,
        out: &mut Vec<HeardCell>,
        each: &mut dyn FnMut(Taken<'_>),
    ) -> Result<(), EarError> {
        let clock_error = |source| EarError::Clock {
            ear: self.spec.name.clone(),
            source,
        };
        let end = match until.checked_add(Ns(1)) {
            Some(after) => self.clock.first_at_or_after(after).map_err(clock_error)?,
            None => {
                let at = until;
                return Err(clock_error(timeline::ClockError::BeyondIndex { at }));
            }
        };
        while self.next < end {
            // Chunks end at multiples of their length, so that a run in small steps does the same work.
            let room = CHUNK as u64 - self.next % CHUNK as u64;
            let count = room.min(end - self.next) as usize;
            self.take(count, out, each)?;
        }
        Ok(())
    }

    fn take(
        &mut self,
        count: usize,
        out: &mut Vec<HeardCell>,
        each: &mut dyn FnMut(Taken<'_>),
    ) -> Result<(), EarError> {
        let first = self.next;
        self.sound(first, count)?;
        let Buffers {
            sound,
            pressure,
            filtered,
            counts,
        } = &mut self.buffers;
        let (pressure, filtered) = (&mut pressure[..count], &mut filtered[..count]);
        let counts = &mut counts[..count];
        match &mut self.background {
            Some(background) => background.fill(first, pressure),
            None => pressure.fill(0.0),
        }
        if !self.under_way.is_empty() {
            for (p, s) in pressure.iter_mut().zip(&*sound) {
                *p = (f64::from(*p) + s) as f32;
            }
        }
        match &mut self.high_pass {
            Some(high_pass) => high_pass.process(pressure, filtered),
            None => filtered.copy_from_slice(pressure),
        }
        let chain = &self.spec.chain;
        let chain_error = |source| EarError::Chain {
            ear: self.spec.name.clone(),
            source,
        };
        let clipped = chain.quantise(filtered, counts).map_err(chain_error)?;
        chain.pressure_upa(counts, pressure).map_err(chain_error)?;
        if clipped > 0 {
            note_clips(first, counts, chain.bits(), &mut self.clips);
        }
        self.clipped += clipped;
        each(Taken {
            first,
            counts,
            pressure_upa: pressure,
            clipped,
        });
        let block = Block::new(first, pressure);
        let already = out.len();
        for (detector, front) in &mut self.fronts {
            self.cells.clear();
            front
                .push(block, &mut self.cells)
                .map_err(|source| EarError::Push {
                    ear: self.spec.name.clone(),
                    detector: detector.0,
                    source,
                })?;
            let rests_on = front.delay_samples();
            for cell in &self.cells {
                let last = cell.known_at_sample;
                let from = last.saturating_sub(rests_on);
                out.push(HeardCell {
                    detector: *detector,
                    cell: *cell,
                    known_at: self.clock.time_of(last).map_err(|source| EarError::Clock {
                        ear: self.spec.name.clone(),
                        source,
                    })?,
                    clipped: clipped_between(&self.clips, from, last),
                });
            }
        }
        out[already..].sort_by_key(|h| (h.cell.known_at_sample, h.detector));
        self.next = first + count as u64;
        let forgotten = self.next.saturating_sub(2 * self.longest);
        self.clips.retain(|&(_, last)| last >= forgotten);
        Ok(())
    }

    /// Adds up what sounds from `first` on.
    fn sound(&mut self, first: u64, count: usize) -> Result<(), EarError> {
        let end = first + count as u64;
        let Coming { ways, spans, .. } = &self.coming;
        self.under_way.retain(|(i, _)| spans[*i].end > first);
        while self.next_span < spans.len() && spans[self.next_span].first < end {
            let span = &spans[self.next_span];
            if span.end > first {
                let rate_hz = self.spec.chain.rate_hz();
                let sounding = Sounding::new(&self.voices[span.voice], span.repeat, rate_hz)?;
                self.under_way.push((self.next_span, sounding));
            }
            self.next_span += 1;
        }
        let sound = &mut self.buffers.sound[..count];
        if !self.under_way.is_empty() {
            sound.fill(0.0);
        }
        for (i, sounding) in &mut self.under_way {
            let span = &spans[*i];
            let way = &ways[span.voice][span.way];
            let (from, until) = (span.first.max(first), span.end.min(end));
            let part = (from - first) as usize..(until - first) as usize;
            sounding.add(way, from, &mut sound[part]);
        }
        Ok(())
    }
}

fn clock(spec: &EarSpec, origin: Ns) -> Result<SampleClock, EarError> {
    const MHZ_NS: u64 = 1_000_000_000_000;
    let rate_hz = spec.chain.rate_hz();
    let rate_mhz = rate_hz * 1000.0;
    if !((SLOWEST_HZ..=FASTEST_HZ).contains(&rate_hz) && rate_mhz.round() == rate_mhz) {
        return Err(EarError::Rate {
            ear: spec.name.clone(),
            rate_hz,
            min_hz: SLOWEST_HZ,
            max_hz: FASTEST_HZ,
        });
    }
    SampleClock::new(origin, MHZ_NS, rate_mhz as u64).map_err(|source| EarError::Clock {
        ear: spec.name.clone(),
        source,
    })
}

/// Whether a run of the rising list touches the samples from `from` to `last`.
fn clipped_between(clips: &[(u64, u64)], from: u64, last: u64) -> bool {
    let run = clips.partition_point(|&(_, end)| end < from);
    clips.get(run).is_some_and(|&(begin, _)| begin <= last)
}

/// Appends the runs of samples at an end code.
fn note_clips(first: u64, counts: &[i32], bits: u32, clips: &mut Vec<(u64, u64)>) {
    let half = 1_i64 << (bits - 1);
    for (i, &count) in counts.iter().enumerate() {
        let count = i64::from(count);
        if count == half - 1 || count == -half {
            let at = first + i as u64;
            match clips.last_mut() {
                Some((_, last)) if *last + 1 == at => *last = at,
                _ => clips.push((at, at)),
            }
        }
    }
}
