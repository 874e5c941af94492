//! Where in samples a line or ticks are heard, and how loud.

use plan::ModuleIx;
use quantity::{Dimension, show};
use signal::{folded_noise_upa2, folds, passes_for_db, shown_passes_for_db, tick_share};

use super::words::ordinal;
use super::{Kind, Over, PickUps, Picked, Source};

impl PickUps {
    /// What of a source falls into a band.
    pub(super) fn picked(
        &self,
        source: &Source,
        (low_hz, high_hz): (f64, f64),
        over: Over,
    ) -> Vec<Picked> {
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
                    let folded = folded_noise_upa2(
                        (*from_hz, *to_hz),
                        (low_hz, high_hz),
                        &self.noise,
                        &self.kept_out,
                    );
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
}
