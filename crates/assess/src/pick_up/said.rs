//! What the plan says of what electronics put into a chain.

use plan::{Line, ModuleIx, PickUpKind, PickUpLevel, Q, SensorIx};
use quantity::Law;
use signal::{KeptOut, LowPass, Oversampling};

use super::{Kind, PickUps, Source};
use crate::input::{InputError, chain_noise};

impl PickUps {
    /// What the plan says of a sensor; `None` where it says nothing.
    ///
    /// # Errors
    /// As [`chain_noise`].
    pub(crate) fn of(line: &Line, sensor: SensorIx) -> Result<Option<PickUps>, InputError> {
        let chain = line.sensor(sensor).chain.as_ref();
        let Some((chain, said)) = chain.and_then(|c| Some((c, c.pick_up.as_ref()?))) else {
            return Ok(None);
        };
        let noise = chain_noise(line, sensor)?;
        let kept_out = KeptOut {
            low_pass: chain.anti_alias.map(|l| LowPass {
                corner_hz: l.corner_hz.si,
                poles: l.poles as usize,
            }),
            oversampling: chain.oversampling.map(|o| Oversampling {
                rate_hz: o.rate_hz.si,
                stop_band_db: o.stop_band_db.db,
            }),
        };
        let sources: Vec<Source> = said
            .iter()
            .map(|one| Source {
                module: one.from,
                path: line.module_path(one.from),
                in_states: one.in_states.clone(),
                in_samples: matches!(one.level, PickUpLevel::Shown(_)),
                level_db: match one.level {
                    PickUpLevel::Pressure(level) | PickUpLevel::Shown(level) => level.db,
                    PickUpLevel::Voltage(volts) => {
                        20.0 * libm::log10(volts.si) - chain.sensitivity_db.db
                    }
                },
                kind: match one.kind {
                    PickUpKind::Converter {
                        frequency_hz,
                        harmonics,
                        falls_db,
                    } => {
                        let (low_hz, high_hz) = ends(frequency_hz);
                        Kind::Converter {
                            low_hz,
                            high_hz,
                            harmonics,
                            falls_db: falls_db.db,
                        }
                    }
                    PickUpKind::Shown { at_hz } => {
                        let (low_hz, high_hz) = ends(at_hz);
                        Kind::Shown { low_hz, high_hz }
                    }
                    PickUpKind::Ticks {
                        every_s,
                        lasts_s,
                        band_hz,
                    } => Kind::Ticks {
                        every_s: every_s.si,
                        lasts_s: lasts_s.si,
                        band_hz: (band_hz.0.si, band_hz.1.si),
                    },
                },
            })
            .collect();
        let mut states: Vec<(ModuleIx, Vec<String>)> = Vec::new();
        for source in &sources {
            if states.iter().all(|(m, _)| *m != source.module) {
                let loads = &line.modules[source.module.0].loads;
                let names = loads.iter().map(|l| l.state.clone()).collect();
                states.push((source.module, names));
            }
        }
        let own = &line.modules[sensor.module.0];
        let converts = own
            .input
            .as_ref()
            .is_some_and(|i| i.efficiency.is_some() || !i.efficiency_at.is_empty());
        let told = sources
            .iter()
            .any(|s| s.module == sensor.module && !matches!(s.kind, Kind::Ticks { .. }));
        let unsaid = (converts && !told && !sources.is_empty()).then(|| {
            format!(
                "{} has a converter (`efficiency` of its input), and no `pick_up` of the sensor has its `frequency`",
                line.module_path(sensor.module)
            )
        });
        Ok(Some(PickUps {
            sources,
            states,
            noise,
            kept_out,
            unsaid,
        }))
    }
}

/// Where a frequency may lie, Hz: the ends of its spread.
fn ends(q: Q) -> (f64, f64) {
    match q.law {
        Some(Law::Normal { half_width } | Law::Uniform { half_width }) => {
            ((q.si - half_width).max(0.0), q.si + half_width)
        }
        None => (q.si, q.si),
    }
}
