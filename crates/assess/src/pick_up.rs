//! What electronics put into the chain of a hydrophone, as if it were sound: lines of switching converters, folded by the sample rate,
//! and ticks. Equations, sources and limits: docs/method/chain.md.
//!
//! A module is in one state at a time: of each module the state counts in which most of it falls into the band that is asked for, and the
//! powers of several modules add. What of it is sure is told apart: a line from above half the rate may be kept out by a filter of which
//! the plan says nothing.

mod said;
mod words;

use plan::ModuleIx;
use quantity::{Dimension, show};
use signal::{
    ChainNoise, Decidecade, KeptOut, folds, passes_for_db, shown_passes_for_db, tick_share,
};

pub(crate) use words::hz;
use words::ordinal;

/// Below this the formula of the sea is not stated, Hz.
const LOWEST_HZ: f64 = 1.0;
/// So many stretches of half the rate are looked at one by one.
const MOST_STRETCHES: f64 = 1000.0;
/// What stands for no noise where a row has to say something, uPa^2/Hz: -300 dB.
const NO_NOISE_UPA2_HZ: f64 = 1e-30;

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

    /// The same of each line only the share of where it may lie that lies in the band, so that bands side by side hold it once: all of
    /// it, and what is sure.
    fn mean_once_upa2(&self, band_hz: (f64, f64)) -> (f64, f64) {
        let modules = self.states.iter().map(|(module, names)| {
            let own = self.of_module(*module, band_hz, Over::Mean);
            let states = (0..names.len().max(1)).map(|state| powers(&own, state, |p| p.part));
            states.fold((0.0_f64, 0.0_f64), |most, of| {
                (most.0.max(of.0), most.1.max(of.1))
            })
        });
        modules.fold((0.0, 0.0), |sum, of| (sum.0 + of.0, sum.1 + of.1))
    }

    /// The decidecades from 1 Hz up to half the rate that lie in a band, with the mean power of what may fold into each beside what is sure, uPa^2: each
    /// line once. Those into which nothing may fold are left out.
    pub(crate) fn doubtful(&self, (low_hz, high_hz): (f64, f64)) -> Vec<((f64, f64), f64)> {
        if !self.in_doubt() {
            return Vec::new();
        }
        let half_hz = 0.5 * self.noise.chain().rate_hz();
        let bands = signal::decidecades(LOWEST_HZ, half_hz).map(|band| {
            let (a, b) = edges(band, half_hz);
            (a.max(low_hz), b.min(high_hz))
        });
        bands
            .filter(|(a, b)| a < b)
            .filter_map(|band_hz| {
                let (all, sure) = self.mean_once_upa2(band_hz);
                (all > sure).then_some((band_hz, all - sure))
            })
            .collect()
    }

    /// Rows of noise, Hz and dB re 1 uPa^2/Hz, with the mean of what is sure to be picked up spread over each decidecade up to half the rate, each
    /// line once. Where the rows are empty what lies beside what is picked up is no noise at all.
    pub(crate) fn spread_over(&self, rows: &[(f64, f64)]) -> Vec<(f64, f64)> {
        /// Beside an edge, so that rows rise.
        const BESIDE: f64 = 1e-6;
        let half_hz = 0.5 * self.noise.chain().rate_hz();
        let mut spread: Vec<(f64, f64, f64)> = Vec::new();
        for band in signal::decidecades(LOWEST_HZ, half_hz) {
            let (low_hz, high_hz) = edges(band, half_hz);
            let (_, power) = self.mean_once_upa2((low_hz, high_hz));
            if power > 0.0 {
                spread.push((low_hz, high_hz, power / (high_hz - low_hz)));
            }
        }
        if spread.is_empty() {
            return rows.to_vec();
        }
        let mut at_hz: Vec<f64> = rows.iter().map(|row| row.0).collect();
        for (low_hz, high_hz, _) in &spread {
            for edge_hz in [low_hz, high_hz] {
                at_hz.extend([edge_hz * (1.0 - BESIDE), edge_hz * (1.0 + BESIDE)]);
            }
        }
        at_hz.sort_by(f64::total_cmp);
        at_hz.dedup();
        at_hz
            .into_iter()
            .map(|f_hz| {
                let own = signal::table_level_db(rows, f_hz).map(|db| libm::pow(10.0, db / 10.0));
                let inside = spread
                    .iter()
                    .find(|(low, high, _)| *low <= f_hz && f_hz < *high);
                let sum = own.unwrap_or(0.0) + inside.map_or(0.0, |(_, _, density)| *density);
                // The ends of a table are held: without a row of next to nothing one line would be the noise at all frequencies.
                (f_hz, 10.0 * libm::log10(sum.max(NO_NOISE_UPA2_HZ)))
            })
            .collect()
    }

    /// What of a source falls into a band.
    fn picked(&self, source: &Source, (low_hz, high_hz): (f64, f64), over: Over) -> Vec<Picked> {
        match &source.kind {
            Kind::Converter {
                low_hz: from_hz,
                high_hz: to_hz,
                harmonics,
                falls_db,
            } => (1..=*harmonics)
                .filter_map(|n| {
                    let times = f64::from(n);
                    let level_db = source.level_db - falls_db * libm::log2(times);
                    let range_hz = (times * from_hz, times * to_hz);
                    let what = match n {
                        1 => format!("the converter of {}", source.path),
                        _ => format!(
                            "{} harmonic of the converter of {}",
                            ordinal(n),
                            source.path
                        ),
                    };
                    self.line((what, source.module), range_hz, level_db, (low_hz, high_hz))
                })
                .collect(),
            Kind::Shown {
                low_hz: from_hz,
                high_hz: to_hz,
            } => {
                let (a, b) = (low_hz.max(*from_hz), high_hz.min(*to_hz));
                if a > b || (a == high_hz && from_hz < to_hz) {
                    return Vec::new();
                }
                vec![Picked {
                    what: format!("a line of {} in its samples", source.path),
                    from: source.module,
                    true_hz: Some((*from_hz, *to_hz)),
                    heard_hz: (a, b),
                    level_db: self.shown(source.level_db, (a, b)),
                    part: match to_hz > from_hz {
                        true => (b - a) / (to_hz - from_hz),
                        false => 1.0,
                    },
                    sure: true,
                }]
            }
            Kind::Ticks {
                every_s,
                lasts_s,
                band_hz: (from_hz, to_hz),
            } => {
                let share = match over {
                    Over::Mean => lasts_s / every_s,
                    Over::Window(window_s) => tick_share(*every_s, *lasts_s, window_s),
                };
                let what = format!(
                    "ticks of {}, {} every {}",
                    source.path,
                    show(*lasts_s, Dimension::Time),
                    show(*every_s, Dimension::Time)
                );
                let level_db = source.level_db + 10.0 * libm::log10(share / (to_hz - from_hz));
                let ticks =
                    |heard_hz: (f64, f64), what: String, level_db: f64, sure: bool| Picked {
                        what,
                        from: source.module,
                        true_hz: None,
                        heard_hz,
                        level_db,
                        part: 1.0,
                        sure,
                    };
                let mut found = Vec::new();
                let (a, b) = (low_hz.max(*from_hz), high_hz.min(*to_hz));
                if a < b {
                    let there_db = level_db + 10.0 * libm::log10(b - a);
                    let there_db = match source.in_samples {
                        true => self.shown(there_db, (a, b)),
                        false => there_db,
                    };
                    found.push(ticks((a, b), what.clone(), there_db, true));
                }
                if !source.in_samples {
                    let folded = self.folded_ticks_upa2((*from_hz, *to_hz), (low_hz, high_hz));
                    if folded > 0.0 {
                        let there_db = level_db + 10.0 * libm::log10(folded);
                        found.push(ticks(
                            (low_hz, high_hz),
                            format!("{what}, folded from above half the rate"),
                            there_db,
                            !self.kept_out.is_unknown(),
                        ));
                    }
                }
                found
            }
        }
    }

    /// What a level in samples passes for in a band: at the end of it at which the chain takes most.
    fn shown(&self, level_db: f64, (low_hz, high_hz): (f64, f64)) -> f64 {
        let at = |f_hz: f64| shown_passes_for_db(level_db, f_hz, &self.noise, &self.kept_out);
        at(low_hz).max(at(high_hz))
    }

    /// Of ticks of an even density of 1 uPa^2/Hz between two frequencies what samples show of what lies above half their rate in a band,
    /// uPa^2: stretch by stretch of half the rate, each as loud as at the end of its overlap that is kept out least.
    fn folded_ticks_upa2(
        &self,
        (from_hz, to_hz): (f64, f64),
        (low_hz, high_hz): (f64, f64),
    ) -> f64 {
        let rate_hz = self.noise.chain().rate_hz();
        let half_hz = 0.5 * rate_hz;
        let (mut sum, mut last) = (0.0, 0.0);
        let first = libm::floor(from_hz / half_hz).max(1.0);
        let mut number = first;
        while number * half_hz < to_hz {
            if number - first >= MOST_STRETCHES {
                // Those beyond lie no nearer, and a low-pass only weakens them more.
                sum += last * libm::ceil(to_hz / half_hz - number);
                break;
            }
            let (a, b) = (
                from_hz.max(number * half_hz),
                to_hz.min((number + 1.0) * half_hz),
            );
            // An odd stretch is read downwards from a multiple of the rate, an even one upwards.
            let down = number % 2.0 == 1.0;
            let turn_hz = if down {
                (number + 1.0) * half_hz
            } else {
                number * half_hz
            };
            let heard = |f_hz: f64| (f_hz - turn_hz).abs();
            let true_of = |f_hz: f64| if down { turn_hz - f_hz } else { turn_hz + f_hz };
            let (x, y) = (heard(a).min(heard(b)), heard(a).max(heard(b)));
            let (x, y) = (x.max(low_hz), y.min(high_hz));
            if x < y {
                let at = |f_hz: f64| {
                    passes_for_db(0.0, true_of(f_hz), f_hz, &self.noise, &self.kept_out)
                };
                last = (y - x) * libm::pow(10.0, at(x).max(at(y)) / 10.0);
                sum += last;
            }
            number += 1.0;
        }
        sum
    }

    /// A line that lies somewhere in a range, where it is heard loudest in a band.
    fn line(
        &self,
        (what, from): (String, ModuleIx),
        (from_hz, to_hz): (f64, f64),
        level_db: f64,
        (low_hz, high_hz): (f64, f64),
    ) -> Option<Picked> {
        let rate_hz = self.noise.chain().rate_hz();
        let folded = folds(from_hz, to_hz, rate_hz, &self.kept_out);
        let heard = folded.iter().filter_map(|one| {
            let a = one.heard_hz.0.max(low_hz);
            let b = one.heard_hz.1.min(high_hz);
            if a > b || (a == high_hz && one.heard_hz.0 < one.heard_hz.1) {
                return None;
            }
            // Where it is heard says where it lies, up or down.
            let rising = signal::folded_hz(one.true_hz.0, rate_hz)
                <= signal::folded_hz(one.true_hz.1, rate_hz);
            let true_of = |f_hz: f64| {
                let into = f_hz - one.heard_hz.0;
                if rising {
                    one.true_hz.0 + into
                } else {
                    one.true_hz.1 - into
                }
            };
            let at = |f_hz: f64| {
                passes_for_db(level_db, true_of(f_hz), f_hz, &self.noise, &self.kept_out)
            };
            let sure = !one.from_above || !self.kept_out.is_unknown();
            Some((at(a).max(at(b)), (a, b), sure))
        });
        let heard: Vec<(f64, (f64, f64), bool)> = heard.collect();
        let louder = |x: &&(f64, (f64, f64), bool), y: &&(f64, (f64, f64), bool)| {
            x.2.cmp(&y.2).then(x.0.total_cmp(&y.0))
        };
        let &(level_db, heard_hz, sure) = heard.iter().max_by(louder)?;
        let wide_hz: f64 = folded.iter().map(|f| f.true_hz.1 - f.true_hz.0).sum();
        let inside_hz: f64 = heard.iter().map(|(_, (a, b), _)| b - a).sum();
        Some(Picked {
            what,
            from,
            true_hz: Some((from_hz, to_hz)),
            heard_hz,
            level_db,
            part: match wide_hz > 0.0 {
                true => inside_hz / wide_hz,
                false => 1.0,
            },
            sure,
        })
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

/// A decidecade as far as half the rate.
fn edges(band: Decidecade, half_hz: f64) -> (f64, f64) {
    (band.low_hz(), band.high_hz().min(half_hz))
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
