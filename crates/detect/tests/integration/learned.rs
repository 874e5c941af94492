//! The seam for learned models, held with models whose answer is known: what they are given, and what comes of what they say.

use std::sync::Arc;

use detect::{
    Cell, Confirm, Detector, Front, KOfN, Learned, LevelKind, Model, ModelGives, ModelInput,
    Network, PushError, Spec, SpecError, Stage, Told,
};
use signal::Block;

use crate::support::{noise, single};

const RATE_HZ: f64 = 8000.0;

/// A model whose answer is a function of the window.
#[derive(Debug)]
struct Known {
    takes: Option<usize>,
    answer: fn(&[f32]) -> f64,
    counts: bool,
}

impl Known {
    fn of(answer: fn(&[f32]) -> f64) -> Self {
        Self {
            takes: None,
            answer,
            counts: true,
        }
    }
}

#[derive(Debug)]
struct Ready {
    samples: usize,
    answer: fn(&[f32]) -> f64,
    counts: bool,
}

impl Model for Known {
    fn digest(&self) -> &str {
        "a function of this test"
    }

    fn ready(&self, samples: usize) -> Result<Arc<dyn Network>, String> {
        match self.takes {
            Some(takes) if takes != samples => Err(format!("{takes} samples, not {samples}")),
            _ => Ok(Arc::new(Ready {
                samples,
                answer: self.answer,
                counts: self.counts,
            })),
        }
    }
}

impl Network for Ready {
    fn value(&self, window: &[f32]) -> Result<f64, String> {
        assert_eq!(window.len(), self.samples);
        Ok((self.answer)(window))
    }

    fn operations(&self) -> Option<f64> {
        self.counts.then_some(2.0 * self.samples as f64)
    }

    fn state_bytes(&self) -> usize {
        0
    }
}

fn energy(window: &[f32]) -> f64 {
    let squares = window.iter().map(|&x| f64::from(x) * f64::from(x));
    squares.sum::<f64>() / window.len() as f64
}

fn trigger(on_above_db: f64) -> Stage {
    Stage::Trigger {
        on_above_db,
        off_below_db: on_above_db - 2.0,
        shortest_s: 0.2,
        longest_s: None,
        bridge_s: 0.1,
        k_of_n: Some(KOfN {
            at_least: 2,
            of_last: 3,
        }),
        hold_off_s: 0.3,
        confirm: Confirm::AtEnd,
    }
}

fn learned(model: Known, input: ModelInput, gives: ModelGives) -> Stage {
    Stage::Learned {
        model: Learned::new(Arc::new(model)),
        window_s: 0.25,
        hop_s: Some(0.06),
        input,
        gives,
    }
}

/// A stage with a model that is never in doubt.
pub(crate) fn even_odds() -> Stage {
    let even = Known::of(|_| 0.5);
    learned(even, ModelInput::UnitRms, ModelGives::Probability)
}

const PRESSURE: ModelInput = ModelInput::Pressure { reference_upa: 1.0 };

/// Decimated and band-limited, with this stage for its track.
fn spec(track: Stage, on_above_db: f64) -> Spec {
    Spec {
        rate_hz: RATE_HZ,
        stages: vec![
            Stage::Decimate { factor: 4 },
            Stage::Band {
                low_hz: 60.0,
                high_hz: 260.0,
                order: 4,
            },
            track,
            trigger(on_above_db),
        ],
    }
}

fn sound() -> Vec<f32> {
    let mut x: Vec<f64> = noise(31, 40_000).iter().map(|v| 100.0 * v).collect();
    for (i, v) in x.iter_mut().enumerate().skip(14_000).take(9000) {
        *v += 900.0 * (2.0 * std::f64::consts::PI * 150.0 * i as f64 / RATE_HZ).sin();
    }
    single(&x)
}

fn cells(spec: &Spec, first: u64, x: &[f32]) -> Vec<Cell> {
    let (mut front, mut cells) = (Front::new(spec).unwrap(), Vec::new());
    front.push(Block::new(first, x), &mut cells).unwrap();
    cells
}

#[test]
fn verif_a_model_that_gives_the_log_of_the_energy_is_the_level_stage() {
    // Log-odds ln E become 10 lg E: the same tiles, instants and levels as of the mean square.
    let model = Known::of(|window| energy(window).ln());
    let own = spec(learned(model, PRESSURE, ModelGives::LogOdds), 50.0);
    let level = Stage::Level {
        kind: LevelKind::MeanSquare,
        window_s: 0.25,
        hop_s: Some(0.06),
    };
    let level = spec(level, 50.0);
    for first in [0, 1, 77_777_777] {
        let (own, level) = (cells(&own, first, &sound()), cells(&level, first, &sound()));
        assert!(own.len() > 70 && own.len() == level.len());
        for (a, b) in own.iter().zip(&level) {
            assert_eq!(
                (a.index, a.begin_sample, a.end_sample, a.known_at_sample),
                (b.index, b.begin_sample, b.end_sample, b.known_at_sample)
            );
            assert!((a.level_db - b.level_db).abs() < 1e-5, "{a:?} {b:?}");
        }
    }
    let latency = |spec| Detector::new(spec).unwrap().latency_samples();
    assert_eq!(latency(&own), latency(&level));
}

#[test]
fn verif_cutting_and_gaps_change_no_bit() {
    let model = Known::of(|window| energy(window).ln());
    let spec = spec(learned(model, PRESSURE, ModelGives::LogOdds), 50.0);
    let x = sound();
    let told = |cuts: &[usize], gap_at: Option<usize>| {
        let (mut detector, mut told) = (Detector::new(&spec).unwrap(), Vec::new());
        let mut at = 0;
        for &cut in cuts.iter().chain([&x.len()]) {
            detector
                .push(Block::new(5 + at as u64, &x[at..cut]), &mut told)
                .unwrap();
            at = cut;
            if Some(at) == gap_at {
                detector.gap(&mut told);
            }
        }
        detector.finish(&mut told);
        told
    };
    let whole: Vec<Told> = told(&[], None);
    assert!(!whole.is_empty());
    let small: Vec<usize> = (1..1300).map(|i| 29 * i).collect();
    assert_eq!(told(&small, None), whole);
    assert_eq!(told(&[1, 2, 3, 499, 500, 39_999], None), whole);
    // A gap ends what is open, and what comes after it is heard anew wherever it is cut.
    let broken = told(&[20_300], Some(20_300));
    assert_ne!(broken, whole);
    let cuts: Vec<usize> = (1..=1450).map(|i| 14 * i).chain([20_301, 33_000]).collect();
    assert_eq!(told(&cuts, Some(20_300)), broken);
}

#[test]
fn verif_the_window_comes_in_the_declared_unit() {
    // The model tells the mean square that it is given.
    let given = |input| {
        let model = Known::of(|window| energy(window).ln());
        cells(
            &spec(learned(model, input, ModelGives::LogOdds), 0.0),
            0,
            &sound(),
        )
    };
    for cell in given(ModelInput::UnitRms) {
        assert!(cell.level_db.abs() < 1e-6, "{cell:?}");
    }
    let tenth = given(ModelInput::Pressure {
        reference_upa: 10.0,
    });
    for (one, tenth) in given(PRESSURE).iter().zip(&tenth) {
        assert!((one.level_db - tenth.level_db - 20.0).abs() < 1e-5);
    }
    let model = Known::of(|window| {
        if energy(window) == 0.0 {
            0.25
        } else {
            f64::NAN
        }
    });
    let silent = spec(
        learned(model, ModelInput::UnitRms, ModelGives::Probability),
        0.0,
    );
    for cell in cells(&silent, 0, &[0.0; 12_000]) {
        assert!((cell.level_db - 10.0 * (1.0_f64 / 3.0).log10()).abs() < 1e-12);
    }
}

#[test]
fn verif_probabilities_are_told_as_log_odds() {
    let level = |answer, gives| {
        let spec = spec(learned(Known::of(answer), PRESSURE, gives), 0.0);
        cells(&spec, 0, &sound())[3].level_db
    };
    let probability = |answer| level(answer, ModelGives::Probability);
    assert_eq!(probability(|_| 0.5), 0.0);
    assert!((probability(|_| 0.9) - 10.0 * 9.0_f64.log10()).abs() < 1e-12);
    assert_eq!(probability(|_| 0.0), f64::NEG_INFINITY);
    // What single precision cannot tell from 1.
    let just_below = 10.0 * f64::from(2_u32.pow(25) - 1).log10();
    assert!((probability(|_| 1.0) - just_below).abs() < 1e-12);
    assert!((level(|_| -2.0, ModelGives::LogOdds) + 20.0 / 10.0_f64.ln()).abs() < 1e-12);
}

#[test]
fn verif_what_is_no_probability_ends_the_stretch_with_an_error() {
    type Answer = fn(&[f32]) -> f64;
    let failing: [(Answer, ModelGives); 4] = [
        (|_| f64::NAN, ModelGives::Probability),
        (|_| 1.5, ModelGives::Probability),
        (|_| f64::NAN, ModelGives::LogOdds),
        (|_| 800.0, ModelGives::LogOdds),
    ];
    for (answer, gives) in failing {
        let spec = spec(learned(Known::of(answer), PRESSURE, gives), 0.0);
        let (mut front, mut cells) = (Front::new(&spec).unwrap(), Vec::new());
        let x = sound();
        let error = front.push(Block::new(0, &x), &mut cells).unwrap_err();
        let PushError::Model {
            begin_sample, why, ..
        } = &error
        else {
            panic!("{error}");
        };
        assert_eq!(*begin_sample, 0);
        assert!(why.starts_with("it gives"), "{why}");
        assert!(cells.is_empty());
        // It stays failed until a gap is told.
        let next = Block::new(x.len() as u64, &x);
        assert_eq!(front.push(next, &mut cells), Err(error));
        front.gap();
        assert!(front.push(Block::new(0, &x[..100]), &mut cells).is_ok());
    }
    let spec = spec(
        learned(Known::of(|_| 0.5), PRESSURE, ModelGives::Probability),
        0.0,
    );
    let (mut front, mut cells) = (Front::new(&spec).unwrap(), Vec::new());
    let mut x = sound();
    x[9000] = f32::NAN;
    let error = front.push(Block::new(0, &x), &mut cells).unwrap_err();
    assert!(matches!(error, PushError::NotFinite { .. }), "{error}");
}

#[test]
fn verif_a_model_of_another_length_is_refused() {
    let mut model = Known::of(energy);
    model.takes = Some(99);
    let error = Front::new(&spec(learned(model, PRESSURE, ModelGives::LogOdds), 0.0)).unwrap_err();
    // 0.25 s at the rate after decimate and band: a whole factor below 2000 Hz.
    let SpecError::Model { stage: 2, why } = error else {
        panic!("{error}");
    };
    assert!(why.starts_with("99 samples, not "), "{why}");
}

#[test]
fn verif_operations_that_nobody_counts_are_unknown_and_not_zero() {
    let cost = |counts| {
        let mut model = Known::of(energy);
        model.counts = counts;
        let spec = spec(learned(model, PRESSURE, ModelGives::LogOdds), 0.0);
        Detector::new(&spec).unwrap()
    };
    assert!(cost(true).cost().operations_per_s.unwrap() > 0.0);
    let unknown = cost(false);
    assert_eq!(unknown.cost().operations_per_s, None);
    let untold: Vec<_> = unknown
        .costs()
        .iter()
        .filter(|c| c.operations_per_s.is_none())
        .map(|c| c.word)
        .collect();
    assert_eq!(untold, ["learned"]);
}

#[test]
fn verif_what_may_stand_around_a_learned_stage() {
    let model = || learned(Known::of(energy), PRESSURE, ModelGives::LogOdds);
    let mut with_background = spec(model(), 0.0);
    with_background.stages.insert(
        3,
        Stage::Background {
            kind: detect::BackgroundKind::Median,
            over_s: 10.0,
            guard_s: 0.0,
        },
    );
    let mut twice = spec(model(), 0.0);
    twice.stages.insert(3, model());
    for wrong in [with_background, twice] {
        let error = Front::new(&wrong).unwrap_err();
        assert!(
            matches!(error, SpecError::Misplaced { stage: 3, .. }),
            "{error}"
        );
    }
    let reference = ModelInput::Pressure { reference_upa: 0.0 };
    let silent = learned(Known::of(energy), reference, ModelGives::LogOdds);
    assert!(matches!(
        Front::new(&spec(silent, 0.0)),
        Err(SpecError::NotPositive { stage: 2, .. })
    ));
}

/// Evidence is kept under the text of a specification: of a model only its digest stands there, not what a runtime holds.
#[test]
fn verif_the_text_of_a_stage_holds_the_digest_of_its_model_alone() {
    let one = Learned::new(Arc::new(Known::of(|_| 0.5)));
    let other = Learned::new(Arc::new(Known::of(|_| 0.7)));
    assert_eq!(format!("{one:?}"), "Learned(\"a function of this test\")");
    assert_eq!(format!("{one:?}"), format!("{other:?}"));
}
