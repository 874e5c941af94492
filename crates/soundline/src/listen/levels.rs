//! Level against time of one detector, kept in a bounded number of steps while the sound passes.

use detect::{Cell, Front, LevelKind, PushError, Spec, SpecError, Stage};
use report::{LevelLine, LevelPoints, LevelTrace, LineStyle};
use signal::Block;

/// Most steps that are kept of one file; even, so that steps are whole when pairs become one.
const MOST_STEPS: usize = 4096;

/// The level of a detector through the files of a stretch. It hears the sound again, as the detector keeps no levels.
pub(crate) struct Track {
    front: Front,
    /// What the detector decides on is followed, as its level says nothing to a reader.
    decides: bool,
    cells: Vec<Cell>,
    /// Sample of the stretch that comes next.
    next: u64,
    /// By file that was begun: sample of the stretch at which it begins, and its steps until it is drawn.
    files: Vec<(u64, Option<Steps>)>,
    failed: Option<PushError>,
}

/// Levels of one file, in equal steps.
pub(crate) struct Steps {
    /// Sample of the file at which the first level lies; `None` before there is any.
    begin: Option<u64>,
    /// Samples of a step.
    each: u64,
    /// Cells are put together: a step holds the least and the greatest of several.
    pooled: bool,
    levels: Vec<Step>,
}

#[derive(Clone, Copy)]
struct Step {
    least_db: f32,
    greatest_db: f32,
    background_db: f32,
}

const NOTHING: Step = Step {
    least_db: f32::NAN,
    greatest_db: f32::NAN,
    background_db: f32::NAN,
};

impl Track {
    /// # Errors
    /// As [`Front::new`].
    pub(crate) fn new(spec: &Spec) -> Result<Self, SpecError> {
        Ok(Self {
            front: Front::new(spec)?,
            decides: is_likeness(spec),
            cells: Vec::new(),
            next: 0,
            files: Vec::new(),
            failed: None,
        })
    }

    /// Takes the next samples of a file, after `missing` ones. `follows` is whether the file goes on where the one before ended.
    pub(crate) fn push(&mut self, file: usize, missing: u64, follows: bool, pressure_upa: &[f32]) {
        while self.files.len() <= file {
            if !follows {
                self.front.gap();
            }
            let each = self.front.cell_samples().max(1);
            let steps = Steps {
                begin: None,
                each,
                pooled: false,
                levels: Vec::new(),
            };
            self.files.push((self.next, Some(steps)));
        }
        if missing > 0 {
            self.front.gap();
            self.next += missing;
        }
        if self.failed.is_some() {
            return;
        }
        let block = Block::new(self.next, pressure_upa);
        if let Err(error) = self.front.push(block, &mut self.cells) {
            self.failed = Some(error);
        }
        self.next += pressure_upa.len() as u64;
        for mut cell in std::mem::take(&mut self.cells) {
            if self.decides {
                // There is no likeness before there is a background.
                let Some(value_db) = cell.value_db else {
                    continue;
                };
                cell.level_db = value_db;
            }
            // A level is known some time after the sound: it may belong to the file before.
            let of = self.files.partition_point(|(o, _)| *o <= cell.begin_sample);
            let Some((origin, Some(steps))) = of.checked_sub(1).and_then(|f| self.files.get_mut(f))
            else {
                continue;
            };
            steps.take(cell.begin_sample - *origin, &cell);
        }
    }

    /// The levels of a file, once.
    pub(crate) fn take(&mut self, file: usize) -> Option<Steps> {
        self.files.get_mut(file)?.1.take()
    }
}

impl Steps {
    fn take(&mut self, at_sample: u64, cell: &Cell) {
        let after = at_sample.saturating_sub(*self.begin.get_or_insert(at_sample));
        let mut index = (after / self.each) as usize;
        while index >= MOST_STEPS {
            self.levels = self.levels.chunks(2).map(joined).collect();
            self.each *= 2;
            self.pooled = true;
            index = (after / self.each) as usize;
        }
        if self.levels.len() <= index {
            self.levels.resize(index + 1, NOTHING);
        }
        let own = Step {
            least_db: cell.level_db as f32,
            greatest_db: cell.level_db as f32,
            background_db: cell.background_db.map_or(f32::NAN, |db| db as f32),
        };
        self.levels[index] = joined(&[self.levels[index], own]);
    }

    /// Whether there is any level to draw.
    pub(crate) fn any(&self) -> bool {
        self.levels.iter().any(|step| step.greatest_db.is_finite())
    }

    /// Time from point to point, s, and the points: two a step where cells were put together.
    pub(crate) fn level(&self, rate_hz: f64, offset_db: f64) -> (f64, Vec<f32>) {
        let each_s = self.each as f64 / rate_hz;
        let own = |db: f32| (f64::from(db) - offset_db) as f32;
        if self.pooled {
            let pairs = self.levels.iter();
            let points = pairs.flat_map(|s| [own(s.least_db), own(s.greatest_db)]);
            (each_s / 2.0, points.collect())
        } else {
            let points = self.levels.iter().map(|s| own(s.greatest_db));
            (each_s, points.collect())
        }
    }

    /// The background, and what lies so far above it, point by point.
    pub(crate) fn background(&self, offset_db: f64, above_db: f64) -> [Vec<f32>; 2] {
        [0.0, above_db].map(|more_db| {
            let points = self.levels.iter();
            points
                .map(|s| (f64::from(s.background_db) - offset_db + more_db) as f32)
                .collect()
        })
    }

    /// Time of the first level, s after the first sample of the file.
    pub(crate) fn begin_s(&self, rate_hz: f64) -> f64 {
        self.begin.unwrap_or(0) as f64 / rate_hz
    }

    /// Time from step to step, s.
    pub(crate) fn step_s(&self, rate_hz: f64) -> f64 {
        self.each as f64 / rate_hz
    }
}

/// What several steps hold together; what is not a number holds nothing.
fn joined(steps: &[Step]) -> Step {
    steps.iter().fold(NOTHING, |all, step| Step {
        least_db: all.least_db.min(step.least_db),
        greatest_db: all.greatest_db.max(step.greatest_db),
        background_db: if step.background_db.is_nan() {
            all.background_db
        } else {
            step.background_db
        },
    })
}

/// How the threshold of a detector lies: on the background, or where it is.
pub(crate) fn over_background(spec: &Spec) -> bool {
    let has = |wanted: fn(&Stage) -> bool| spec.stages.iter().any(wanted);
    has(|s| matches!(s, Stage::Background { .. })) && !is_likeness(spec)
}

/// Whether its level is a likeness.
pub(crate) fn is_likeness(spec: &Spec) -> bool {
    spec.stages
        .iter()
        .any(|s| matches!(s, Stage::Likeness { .. } | Stage::LikenessTo { .. }))
}

/// What the level of a detector is, for its axis.
pub(crate) fn quantity(spec: &Spec) -> &'static str {
    let learned = |s: &Stage| matches!(s, Stage::Learned { .. });
    if is_likeness(spec) {
        "Likeness"
    } else if spec.stages.iter().any(learned) {
        "Odds"
    } else {
        "Level"
    }
}

/// What the level of a detector is, for the legend.
pub(crate) fn level_name(spec: &Spec) -> String {
    let seconds = |s: f64| report::si_label(s, "s", 3);
    let what = spec.stages.iter().rev().find_map(|stage| match stage {
        Stage::Likeness { .. } | Stage::LikenessTo { .. } => {
            Some("excess under the template less that beside it".to_owned())
        }
        Stage::Ridge { .. } => Some("strongest peak of a frame".to_owned()),
        Stage::Exposure { window_s, .. } => Some(format!("exposure over {}", seconds(*window_s))),
        Stage::Matched { .. } => Some("matched filter".to_owned()),
        Stage::Learned { .. } => Some("learned model".to_owned()),
        Stage::Level { kind, window_s, .. } => Some(match kind {
            LevelKind::MeanSquare => format!("rms over {}", seconds(*window_s)),
            LevelKind::Exponential => format!("exponential, {}", seconds(*window_s)),
            LevelKind::TeagerKaiser => format!("Teager-Kaiser over {}", seconds(*window_s)),
        }),
        _ => None,
    });
    let what = what.unwrap_or_else(|| "level".to_owned());
    match hearing::band_hz(spec) {
        Some((low, high)) => {
            let hz = |f: f64| report::si_label(f, "Hz", 4);
            format!("{what}, {} to {}", hz(low), hz(high))
        }
        None => what,
    }
}

/// The lines beside a level: its background and its threshold.
pub(crate) struct Beside {
    begin_s: f64,
    step_s: f64,
    background: Option<Vec<f32>>,
    threshold: Vec<f32>,
    constant_db: Option<f64>,
    name: String,
}

impl Beside {
    pub(crate) fn new(
        spec: &Spec,
        steps: &Steps,
        rate_hz: f64,
        offset_db: f64,
        unit: &str,
    ) -> Self {
        let threshold_db = spec.threshold_db();
        let step_s = steps.step_s(rate_hz);
        let begin_s = steps.begin_s(rate_hz) + step_s / 2.0;
        if over_background(spec) {
            let above_db = threshold_db.unwrap_or(0.0);
            let [background, threshold] = steps.background(offset_db, above_db);
            return Self {
                begin_s,
                step_s,
                background: Some(background),
                threshold,
                constant_db: None,
                name: format!("threshold, {above_db} dB above"),
            };
        }
        let constant_db = threshold_db.map(|db| db - offset_db);
        Self {
            begin_s,
            step_s,
            background: None,
            threshold: Vec::new(),
            constant_db,
            name: constant_db.map_or_else(String::new, |db| format!("threshold {db:.1} {unit}")),
        }
    }

    pub(crate) fn lines(&self) -> Vec<LevelLine<'_>> {
        let trace = |level_db| {
            LevelPoints::Trace(LevelTrace {
                begin_s: self.begin_s,
                step_s: self.step_s,
                level_db,
            })
        };
        let mut lines = Vec::new();
        if let Some(background) = &self.background {
            lines.push(LevelLine {
                name: "background",
                style: LineStyle::Background,
                points: trace(background),
            });
            lines.push(LevelLine {
                name: &self.name,
                style: LineStyle::Threshold,
                points: trace(&self.threshold),
            });
        }
        if let Some(level_db) = self.constant_db {
            lines.push(LevelLine {
                name: &self.name,
                style: LineStyle::Threshold,
                points: LevelPoints::Constant(level_db),
            });
        }
        lines
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn spec() -> Spec {
        Spec {
            rate_hz: 1000.0,
            stages: vec![
                Stage::Level {
                    kind: LevelKind::MeanSquare,
                    window_s: 0.1,
                    hop_s: Some(0.1),
                },
                Stage::Trigger {
                    on_above_db: 100.0,
                    off_below_db: 98.0,
                    shortest_s: 0.1,
                    longest_s: None,
                    bridge_s: 0.0,
                    k_of_n: None,
                    hold_off_s: 0.0,
                    confirm: detect::Confirm::Early,
                },
            ],
        }
    }

    /// A click of 140 dB (peak) among 100 dB of steady pressure stays whatever is put together, and so does the least.
    #[test]
    fn verif_nothing_loud_is_lost_and_memory_is_bounded() {
        let mut track = Track::new(&spec()).unwrap();
        let block = vec![1e5_f32; 10_000];
        for n in 0..1000 {
            let mut block = block.clone();
            if n == 777 {
                block[5000] = 1e7;
            }
            track.push(0, 0, true, &block);
        }
        let steps = track.take(0).unwrap();
        assert!(steps.levels.len() <= MOST_STEPS && steps.pooled);
        let (step_s, points) = steps.level(1000.0, 0.0);
        let greatest = points.iter().copied().fold(f32::NEG_INFINITY, f32::max);
        // One sample of 1e7 uPa among 99 of 1e5 in a window of 0.1 s: 10 lg((1e14 + 99e10) / 100).
        assert!((f64::from(greatest) - 120.043).abs() < 0.01, "{greatest}");
        let at = points.iter().position(|p| *p == greatest).unwrap();
        let at_s = steps.begin_s(1000.0) + at as f64 * step_s;
        assert!((at_s - 7775.0).abs() < 3.0, "{at_s}");
        let least = points.iter().copied().fold(f32::INFINITY, f32::min);
        assert!((f64::from(least) - 100.0).abs() < 0.01, "{least}");
        assert!(track.take(0).is_none());
    }

    /// Missing samples leave a hole, a file that follows has its own steps.
    #[test]
    fn verif_gaps_stay_gaps() {
        let mut track = Track::new(&spec()).unwrap();
        track.push(0, 0, true, &[1e5; 2000]);
        track.push(0, 3000, true, &[1e5; 2000]);
        track.push(1, 0, true, &[1e6; 2000]);
        let steps = track.take(0).unwrap();
        let (step_s, points) = steps.level(1000.0, 0.0);
        assert!((step_s - 0.1).abs() < 1e-12 && !steps.pooled);
        assert!(points[..18].iter().all(|p| (p - 100.0).abs() < 0.1));
        assert!(points[21..49].iter().all(|p| p.is_nan()));
        assert!(points[52..68].iter().all(|p| (p - 100.0).abs() < 0.1));
        let steps = track.take(1).unwrap();
        assert!(steps.any() && steps.level(1000.0, 20.0).1[5] > 99.0);
    }

    /// What is drawn of a likeness is what its detector decides on: nothing far over it in noise of whatever level, and at its
    /// most the score of the event.
    #[test]
    fn verif_a_likeness_is_drawn_as_what_decides() {
        let rate_hz = 1000.0;
        let point = |after_s, frequency_hz| detect::ContourPoint {
            after_s,
            frequency_hz,
        };
        let stages = vec![
            Stage::Spectrogram {
                window_s: 0.128,
                hop_s: Some(0.032),
            },
            Stage::Background {
                kind: detect::BackgroundKind::Mean,
                over_s: 10.0,
                guard_s: 1.0,
            },
            Stage::Likeness {
                contour: vec![point(0.0, 150.0), point(0.9, 300.0)],
                width_hz: 20.0,
            },
            Stage::Trigger {
                on_above_db: 8.0,
                off_below_db: 4.0,
                shortest_s: 0.0,
                longest_s: None,
                bridge_s: 0.0,
                k_of_n: None,
                hold_off_s: 1.0,
                confirm: detect::Confirm::AtEnd,
            },
        ];
        let spec = Spec { rate_hz, stages };
        let mut state = 1_u32;
        let sound: Vec<f32> = (0..30_000)
            .map(|n| {
                state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                let noise = 1e6 * (f64::from(state) / f64::from(u32::MAX) - 0.5);
                let t = f64::from(n) / rate_hz - 20.0;
                let phase = std::f64::consts::TAU * (150.0 * t + 0.5 * 150.0 / 0.9 * t * t);
                let call = if (0.0..0.9).contains(&t) {
                    2e6 * phase.sin()
                } else {
                    0.0
                };
                (noise + call) as f32
            })
            .collect();
        let mut track = Track::new(&spec).unwrap();
        track.push(0, 0, true, &sound);
        let steps = track.take(0).unwrap();
        let (step_s, drawn) = steps.level(rate_hz, 0.0);
        let mut told = Vec::new();
        let mut detector = detect::Detector::new(&spec).unwrap();
        detector.push(Block::new(0, &sound), &mut told).unwrap();
        let scores: Vec<f64> = told
            .iter()
            .filter_map(|t| match &t.notice {
                detect::Notice::Ended(event) => Some(event.score_db),
                _ => None,
            })
            .collect();
        let before = ((18.0 - steps.begin_s(rate_hz)) / step_s) as usize;
        let in_noise = drawn[..before].iter().copied().fold(f32::MIN, f32::max);
        assert!(in_noise < 8.0, "{in_noise} dB in noise of about 109 dB");
        let greatest = drawn.iter().copied().fold(f32::MIN, f32::max);
        assert_eq!(scores.len(), 1, "{scores:?}");
        assert!(
            (f64::from(greatest) - scores[0]).abs() < 1e-4,
            "{greatest} {scores:?}"
        );
        let beside = Beside::new(&spec, &steps, rate_hz, 0.0, "dB");
        assert_eq!(beside.constant_db, Some(8.0));
        assert_eq!(quantity(&spec), "Likeness");
    }
}
