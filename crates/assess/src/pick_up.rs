//! What electronics put into the chain of a hydrophone, as if it were sound: lines of switching converters, folded by the sample rate,
//! and ticks. Equations, sources and limits: docs/method/chain.md.
//!
//! A module is in one state at a time: of each module the state counts in which most of it falls into the band that is asked for, and the
//! powers of several modules add. What of it is sure is told apart: a line from above half the rate may be kept out by a filter of which
//! the plan says nothing.

mod falls;
mod noise;
mod said;
mod words;

use plan::ModuleIx;
use signal::{ChainNoise, KeptOut};

pub(crate) use words::hz;

/// How long ticks are averaged over.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Over {
    /// All of the time.
    Mean,
    /// A window of so many seconds that holds most of them; `None` for one within a tick.
    Window(Option<f64>),
}

/// What of it counts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Which {
    /// What is sure to come through: the least that there is.
    Sure,
    /// With it lines that fold down and of which nothing says how much is kept out: the most.
    All,
}

/// A line or ticks as they fall into a band.
#[derive(Clone, Debug, PartialEq)]
pub struct Picked {
    /// What it is: `3rd harmonic of the converter of module.x`.
    pub what: String,
    /// The module that makes it.
    pub from: ModuleIx,
    /// Where the line lies, lowest and highest, Hz, as far as that is told; `None` of ticks.
    pub true_hz: Option<(f64, f64)>,
    /// Where samples show it, Hz.
    pub heard_hz: (f64, f64),
    /// Its level in the band, dB re 1 uPa at the hydrophone.
    pub level_db: f64,
    /// Of where samples may show it the share that lies in the band: 1 of what lies in it wholly, and of ticks.
    pub part: f64,
    /// Whether it is sure to come through: not where it folds down and nothing says what is kept out.
    pub sure: bool,
}

/// What falls into a band at the worst of the states.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct PickedInBand {
    /// All of it, the strongest first.
    pub all: Vec<Picked>,
    /// Power of all of it, uPa^2.
    pub power_upa2: f64,
    /// Of what is sure, at the states that are worst for that, uPa^2.
    pub sure_upa2: f64,
    /// The states, of modules in which it depends on theirs.
    pub states: Vec<String>,
}

impl PickedInBand {
    /// Power of what counts, uPa^2.
    pub(crate) fn upa2(&self, which: Which) -> f64 {
        match which {
            Which::Sure => self.sure_upa2,
            Which::All => self.power_upa2,
        }
    }
}

/// What to write where a line folds and nothing says how much of it comes through.
pub(crate) const KEPT_OUT_UNSAID: &str = "nothing says what is kept out of the samples from above half their rate: add `anti_alias` or `oversampling` to its `adc`";

#[derive(Clone, Debug, PartialEq)]
enum Kind {
    Converter {
        low_hz: f64,
        high_hz: f64,
        harmonics: u32,
        falls_db: f64,
    },
    /// A line where samples show it.
    Shown { low_hz: f64, high_hz: f64 },
    Ticks {
        every_s: f64,
        lasts_s: f64,
        band_hz: (f64, f64),
    },
}

#[derive(Clone, Debug, PartialEq)]
struct Source {
    module: ModuleIx,
    path: String,
    in_states: Option<Vec<usize>>,
    level_db: f64,
    /// Whether that is its level in samples, and not at the input.
    in_samples: bool,
    kind: Kind,
}

/// What electronics put into a chain.
#[derive(Clone, Debug, PartialEq)]
pub struct PickUps {
    sources: Vec<Source>,
    /// States of each module that is a source.
    states: Vec<(ModuleIx, Vec<String>)>,
    noise: ChainNoise,
    kept_out: KeptOut,
    /// What of the hydrophone's own module is not written.
    pub unsaid: Option<String>,
}

impl PickUps {
    /// Whether a line of it folds down and nothing says how much of that is kept out: then what is sure is less than what may come through.
    pub(crate) fn in_doubt(&self) -> bool {
        let half_hz = 0.5 * self.noise.chain().rate_hz();
        let above = |source: &Source| match source.kind {
            Kind::Converter {
                high_hz, harmonics, ..
            } => f64::from(harmonics) * high_hz > half_hz,
            Kind::Shown { .. } => false,
            Kind::Ticks { band_hz, .. } => !source.in_samples && band_hz.1 > half_hz,
        };
        self.kept_out.is_unknown() && self.sources.iter().any(above)
    }

    /// The modules that put something into it.
    pub(crate) fn modules(&self) -> impl Iterator<Item = ModuleIx> {
        self.states.iter().map(|(module, _)| *module)
    }

    /// What a module puts into a band, by its sources.
    fn of_module(
        &self,
        module: ModuleIx,
        band_hz: (f64, f64),
        over: Over,
    ) -> Vec<(&Source, Vec<Picked>)> {
        let own = self.sources.iter().filter(|s| s.module == module);
        own.map(|s| (s, self.picked(s, band_hz, over))).collect()
    }

    /// What falls into a band, Hz.
    pub(crate) fn in_band(&self, band_hz: (f64, f64), over: Over) -> PickedInBand {
        let mut found = PickedInBand::default();
        for (module, names) in &self.states {
            let own = self.of_module(*module, band_hz, over);
            let mut worst: Option<(f64, usize)> = None;
            let mut sure_upa2 = 0.0_f64;
            for state in 0..names.len().max(1) {
                let (all, sure) = powers(&own, state, whole);
                sure_upa2 = sure_upa2.max(sure);
                if worst.is_none_or(|(most, _)| all > most) {
                    worst = Some((all, state));
                }
            }
            let (power_upa2, state) = worst.unwrap_or((0.0, 0));
            found.power_upa2 += power_upa2;
            found.sure_upa2 += sure_upa2;
            let differs = own
                .iter()
                .any(|(s, p)| s.in_states.is_some() && !p.is_empty());
            if let Some(name) = names.get(state).filter(|_| differs) {
                let path = own.first().map_or("", |(s, _)| s.path.as_str());
                found.states.push(format!("{path} {name}"));
            }
            for (source, picked) in own {
                if happens(source, state) {
                    found.all.extend(picked);
                }
            }
        }
        found.all.sort_by(|a, b| b.level_db.total_cmp(&a.level_db));
        found
    }

    /// Power of what falls into a band while a module is in one of its states, uPa^2, and the modules with their states.
    pub(crate) fn by_state(
        &self,
        band_hz: (f64, f64),
        over: Over,
        which: Which,
    ) -> Vec<(ModuleIx, Vec<f64>)> {
        self.states
            .iter()
            .map(|(module, names)| {
                let own = self.of_module(*module, band_hz, over);
                let each = (0..names.len().max(1)).map(|state| {
                    let (all, sure) = powers(&own, state, whole);
                    match which {
                        Which::Sure => sure,
                        Which::All => all,
                    }
                });
                (*module, each.collect())
            })
            .collect()
    }

    /// Mean power of what falls into a band at the worst of the states, uPa^2.
    pub(crate) fn mean_upa2(&self, band_hz: (f64, f64), which: Which) -> f64 {
        self.in_band(band_hz, Over::Mean).upa2(which)
    }

    /// The same with the fundamental of every converter of a module so many times as high.
    pub(crate) fn with_frequency(&self, module: ModuleIx, times: f64) -> PickUps {
        let mut changed = self.clone();
        for source in changed.sources.iter_mut().filter(|s| s.module == module) {
            if let Kind::Converter {
                low_hz, high_hz, ..
            } = &mut source.kind
            {
                *low_hz *= times;
                *high_hz *= times;
            }
        }
        changed
    }

    /// The middle of the frequencies of the one converter of a module, Hz; `None` where it has none or several.
    pub(crate) fn frequency_hz(&self, module: ModuleIx) -> Option<f64> {
        let mut all = self.sources.iter().filter_map(|s| match s.kind {
            Kind::Converter {
                low_hz, high_hz, ..
            } if s.module == module => Some(0.5 * (low_hz + high_hz)),
            _ => None,
        });
        let first = all.next()?;
        all.next().is_none().then_some(first)
    }
}

fn happens(source: &Source, state: usize) -> bool {
    source
        .in_states
        .as_ref()
        .is_none_or(|all| all.contains(&state))
}

/// All of a line, wherever in its range it lies.
fn whole(_: &Picked) -> f64 {
    1.0
}

/// Power of all that falls into a band in a state of a module, and of what is sure, uPa^2, of each so much as `share` says.
fn powers(
    own: &[(&Source, Vec<Picked>)],
    state: usize,
    share: impl Fn(&Picked) -> f64,
) -> (f64, f64) {
    let mut sum = (0.0, 0.0);
    let there = own.iter().filter(|(source, _)| happens(source, state));
    for one in there.flat_map(|(_, picked)| picked) {
        let power = share(one) * libm::pow(10.0, one.level_db / 10.0);
        sum.0 += power;
        if one.sure {
            sum.1 += power;
        }
    }
    sum
}
