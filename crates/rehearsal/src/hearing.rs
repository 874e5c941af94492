//! The ears of the line: each runs ahead as a pure function of its samples; thresholds and hold-off live in the queue.

use std::sync::Arc;

use assess::input::{
    bed, detector_spec, ns, profile, ray_limits, says_its_noise, self_noise, sensor_chain,
    spreading,
};
use detect::{Cell, Logic};
use plan::{CueSheet, DetectorIx, Line, ModuleIx, SensorIx};
use rayon::prelude::*;
use timeline::Ns;

use crate::ear::{Arrival, Ear, EarSpec, HeardCell, Sea, Voice, Ways};
use crate::error::RehearsalError;
use crate::order::in_order;
use crate::record::Root;

/// One hydrophone with the detectors on it.
pub(crate) struct Hearing {
    pub(crate) sensor: SensorIx,
    pub(crate) module: ModuleIx,
    ear: Ear,
    /// Goes up with each restart, so that cells heard ahead of a power cut are void.
    pub(crate) turn: u32,
    pub(crate) listens: bool,
    /// By a fault, while its module works.
    deaf: bool,
    /// Samples clipped before the last restart.
    clipped_before: u64,
    cells: Vec<HeardCell>,
}

impl Hearing {
    fn hears(&self) -> bool {
        self.listens && !self.deaf
    }
}

/// The deciding half of a detector.
pub(crate) struct Decider {
    pub(crate) logic: Logic,
    /// Whether it can hear: its background is known, if it has one.
    pub(crate) hears: bool,
    /// Longest time from a sound's beginning to the instant at which its first cell is known.
    reach: Ns,
    /// Root of each open event.
    pub(crate) open: Vec<(u64, Option<Root>, Option<crate::record::RecordId>)>,
}

pub(crate) struct Ears {
    pub(crate) hearings: Vec<Hearing>,
    pub(crate) deciders: Vec<Option<Decider>>,
}

impl Ears {
    pub(crate) fn new(line: &Line, cues: &CueSheet) -> Result<Ears, RehearsalError> {
        let mut deciders: Vec<Option<Decider>> = line.detectors.iter().map(|_| None).collect();
        let mut sensors: Vec<SensorIx> = line.detectors.iter().map(|d| d.on).collect();
        sensors.sort_unstable();
        sensors.dedup();
        if sensors.is_empty() {
            return Ok(Ears {
                hearings: Vec::new(),
                deciders,
            });
        }
        let sea = sea(line, cues)?;
        let ear_error = |sensor: SensorIx| {
            let sensor = line.sensor_path(sensor);
            move |source| RehearsalError::Ear { sensor, source }
        };
        let voices: Vec<Arc<Voice>> = (0..cues.sounds.len())
            .map(|s| Voice::new(cues, plan::SoundIx(s)).map(Arc::new))
            .collect::<Result<_, _>>()
            .map_err(RehearsalError::Sound)?;
        let mut hearings = Vec::new();
        for sensor in sensors {
            let mut detectors = Vec::new();
            for (d, _) in line
                .detectors
                .iter()
                .enumerate()
                .filter(|(_, d)| d.on == sensor)
            {
                let ix = DetectorIx(d);
                let spec = detector_spec(line, ix, None)?;
                let error = |source| RehearsalError::Detector {
                    detector: line.detectors[d].id.clone(),
                    source,
                };
                let front = detect::Front::new(&spec).map_err(error)?;
                let reach_s =
                    (front.delay_samples() as f64 + front.cell_samples() as f64) / spec.rate_hz;
                deciders[d] = Some(Decider {
                    logic: Logic::new(&spec).map_err(error)?,
                    reach: ns(|| format!("detector.{}", line.detectors[d].id), reach_s)?,
                    open: Vec::new(),
                    hears: false,
                });
                detectors.push((ix, spec));
            }
            let spec = EarSpec {
                sensor,
                name: line.sensor_path(sensor),
                depth_m: line.modules[sensor.module.0].depth_m,
                chain: sensor_chain(line, sensor)?,
                self_noise: self_noise(line, sensor)?,
                detectors,
            };
            hearings.push(Hearing {
                sensor,
                module: sensor.module,
                ear: Ear::new(spec, &sea, &voices, Ns(0)).map_err(ear_error(sensor))?,
                turn: 0,
                listens: true,
                deaf: false,
                clipped_before: 0,
                cells: Vec::new(),
            });
        }
        Ok(Ears { hearings, deciders })
    }

    pub(crate) fn arrivals(&self) -> Vec<(SensorIx, Vec<Arrival>)> {
        self.hearings
            .iter()
            .map(|h| (h.sensor, h.ear.arrivals().to_vec()))
            .collect()
    }

    /// One arrival of one ear.
    pub(crate) fn arrival(&self, hearing: usize, arrival: usize) -> (SensorIx, Arrival) {
        let h = &self.hearings[hearing];
        (h.sensor, h.ear.arrivals()[arrival].clone())
    }

    pub(crate) fn clipped(&self) -> Vec<(SensorIx, u64)> {
        self.hearings
            .iter()
            .map(|h| (h.sensor, h.clipped_before + h.ear.clipped_samples()))
            .collect()
    }

    /// Those whose noise ahead of the converter the plan does not say.
    pub(crate) fn self_noise_unknown(&self, line: &Line) -> Vec<SensorIx> {
        let sensors = self.hearings.iter().map(|h| h.sensor);
        sensors.filter(|s| !says_its_noise(line, *s)).collect()
    }

    /// Runs every listening ear of the wanted modules to `until`, in parallel; cells come out in the order of the ears.
    pub(crate) fn advance(
        &mut self,
        line: &Line,
        until: Ns,
        wanted: impl Fn(ModuleIx) -> bool + Sync,
        mut each: impl FnMut(usize, u32, &HeardCell),
    ) -> Result<(), RehearsalError> {
        in_order(
            self.hearings
                .par_iter_mut()
                .filter(|h| h.hears() && wanted(h.module))
                .map(|h| {
                    h.cells.clear();
                    h.ear
                        .advance(until, &mut h.cells)
                        .map_err(|source| RehearsalError::Ear {
                            sensor: line.sensor_path(h.sensor),
                            source,
                        })
                }),
        )?;
        for (i, h) in self
            .hearings
            .iter()
            .enumerate()
            .filter(|(_, h)| h.hears() && wanted(h.module))
        {
            for cell in &h.cells {
                each(i, h.turn, cell);
            }
        }
        Ok(())
    }

    /// The ears of a module stop: what they heard ahead is void.
    pub(crate) fn stop(&mut self, module: ModuleIx) {
        for h in self.hearings.iter_mut().filter(|h| h.module == module) {
            h.turn += 1;
            h.listens = false;
        }
    }

    /// The ears of a module start anew at `at`.
    pub(crate) fn start(&mut self, module: ModuleIx, at: Ns) {
        for h in self.hearings.iter_mut().filter(|h| h.module == module) {
            h.turn += 1;
            h.listens = true;
            h.clipped_before += h.ear.clipped_samples();
            h.ear.restart(at);
        }
    }

    /// An ear is deaf from `at` on, or hears again: whether that is new. What it heard ahead is void.
    pub(crate) fn deafen(&mut self, sensor: SensorIx, deaf: bool, at: Ns) -> bool {
        let mut all = self.hearings.iter_mut();
        let Some(h) = all.find(|h| h.sensor == sensor).filter(|h| h.deaf != deaf) else {
            return false;
        };
        h.deaf = deaf;
        h.turn += 1;
        if !deaf {
            h.clipped_before += h.ear.clipped_samples();
            h.ear.restart(at);
        }
        true
    }

    /// The sound that an onset known at `at` most likely comes from: the loudest one under way at the hydrophone.
    pub(crate) fn root(&self, line: &Line, detector: DetectorIx, at: Ns) -> Option<Root> {
        let reach = self.deciders[detector.0].as_ref()?.reach;
        let earliest = at.checked_sub(reach).unwrap_or(Ns::ZERO);
        let sensor = line.detectors[detector.0].on;
        let hearing = self.hearings.iter().find(|h| h.sensor == sensor)?;
        hearing
            .ear
            .arrivals()
            .iter()
            .filter(|a| a.from <= at && a.until >= earliest)
            .max_by(|a, b| {
                a.received_level_db_re_1upa
                    .total_cmp(&b.received_level_db_re_1upa)
                    .then(b.from.cmp(&a.from))
            })
            .map(|a| Root {
                sound: a.sound,
                repeat: a.repeat,
                heard_at: a.from,
            })
    }
}

fn sea(line: &Line, cues: &CueSheet) -> Result<Sea, RehearsalError> {
    let mut missing = Vec::new();
    let ways = match line.sea.paths {
        None | Some(plan::Paths::Simple) => match spreading(line) {
            Some(spreading) => Some(Ways::Simple { spreading }),
            None => {
                missing.push("site.spreading: how sound spreads".to_owned());
                None
            }
        },
        Some(plan::Paths::SurfaceImage) => Some(Ways::SurfaceImage),
        Some(plan::Paths::Rays) => match bed(line) {
            Some(bed) => Some(Ways::Rays {
                seabed_m: line.sea.water_depth_m.si,
                bed,
                limits: ray_limits(line),
            }),
            None => {
                missing.push("site.bottom: what the bed does to sound".to_owned());
                None
            }
        },
    };
    if line.sea.shipping.is_none() {
        missing.push("site.shipping: how much shipping there is".to_owned());
    }
    if line.sea.ph.is_none() {
        missing.push("site.ph: the acidity of the water, for absorption".to_owned());
    }
    let (Some(ways), Some(shipping), Some(ph)) = (ways, line.sea.shipping, line.sea.ph) else {
        return Err(RehearsalError::NotSaid { what: missing });
    };
    Ok(Sea {
        profile: profile(line).map_err(assess::input::InputError::from)?,
        ways,
        ph: ph.si,
        wind_m_s: cues.wind_m_s.si,
        shipping: shipping.si,
        seed: cues.seed,
    })
}

/// A cell that waits in the queue.
#[derive(Clone, Copy, Debug)]
pub(crate) struct WaitingCell {
    pub(crate) hearing: usize,
    pub(crate) turn: u32,
    pub(crate) detector: DetectorIx,
    pub(crate) cell: Cell,
}
