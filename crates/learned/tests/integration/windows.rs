//! Windows of samples through a stage, against onnxruntime and numpy (`reference/learned/onnxruntime-windows.json`).

use detect::{
    Cell, Confirm, Detector, Front, Learned, ModelGives, ModelInput, Spec, SpecError, Stage, Told,
};
use learned::load;
use signal::Block;

/// As the reference file says: single precision sums in another order.
const TOLERANCE: f64 = 1e-5;
const RATE_HZ: f64 = 500.0;

struct Row {
    samples: Vec<f32>,
    probability: f64,
    log_odds: f64,
}

fn rows() -> Vec<Row> {
    let whole = truth::json("learned/onnxruntime-windows.json");
    let rows = whole["windows"].as_array().unwrap();
    rows.iter()
        .map(|row| Row {
            samples: row["samples"]
                .as_array()
                .unwrap()
                .iter()
                .map(|v| v.as_f64().unwrap() as f32)
                .collect(),
            probability: row["probability"].as_f64().unwrap(),
            log_odds: row["log_odds"].as_f64().unwrap(),
        })
        .collect()
}

fn call() -> Learned {
    load(include_bytes!("../data/call.onnx")).unwrap()
}

fn open() -> Learned {
    load(include_bytes!("../data/open.onnx")).unwrap()
}

fn spec(model: Learned, window_s: f64, hop_s: f64, gives: ModelGives) -> Spec {
    Spec {
        rate_hz: RATE_HZ,
        stages: vec![
            Stage::Learned {
                model,
                window_s,
                hop_s: Some(hop_s),
                input: ModelInput::Pressure { reference_upa: 1.0 },
                gives,
            },
            Stage::Trigger {
                on_above_db: 3.0,
                off_below_db: 0.0,
                shortest_s: 0.0,
                longest_s: None,
                bridge_s: 0.0,
                k_of_n: None,
                hold_off_s: 0.0,
                confirm: Confirm::AtEnd,
            },
        ],
    }
}

/// The windows of the reference, one after another, as one sound: cells are those windows.
fn cells(spec: &Spec) -> Vec<Cell> {
    let (mut front, mut cells) = (Front::new(spec).unwrap(), Vec::new());
    let sound: Vec<f32> = rows().iter().flat_map(|row| row.samples.clone()).collect();
    front.push(Block::new(0, &sound), &mut cells).unwrap();
    cells
}

#[test]
fn val_probabilities_are_those_of_onnxruntime() {
    let cells = cells(&spec(call(), 1.0, 1.0, ModelGives::Probability));
    assert_eq!(cells.len(), rows().len());
    for (cell, row) in cells.iter().zip(rows()) {
        let p = cell.power / (1.0 + cell.power);
        assert!(
            (p - row.probability).abs() <= TOLERANCE,
            "{p} {}",
            row.probability
        );
    }
}

#[test]
fn val_log_odds_are_those_of_the_definitions() {
    let cells = cells(&spec(open(), 1.0, 1.0, ModelGives::LogOdds));
    for (cell, row) in cells.iter().zip(rows()) {
        let z = cell.level_db * 10.0_f64.ln() / 10.0;
        let tolerance = TOLERANCE * row.log_odds.abs().max(1.0);
        assert!(
            (z - row.log_odds).abs() <= tolerance,
            "{z} {}",
            row.log_odds
        );
    }
}

#[test]
fn verif_cutting_changes_no_bit_of_what_the_model_says() {
    let sound: Vec<f32> = rows().iter().flat_map(|row| row.samples.clone()).collect();
    let spec = spec(open(), 0.7, 0.1, ModelGives::LogOdds);
    let told = |block: usize| {
        let (mut detector, mut told) = (Detector::new(&spec).unwrap(), Vec::<Told>::new());
        for (i, piece) in sound.chunks(block).enumerate() {
            let first = 3 + (i * block) as u64;
            detector.push(Block::new(first, piece), &mut told).unwrap();
        }
        detector.finish(&mut told);
        told
    };
    let whole = told(sound.len());
    assert!(!whole.is_empty());
    for block in [1, 7, 49, 50, 51, 1999] {
        assert_eq!(told(block), whole, "blocks of {block}");
    }
}

#[test]
fn verif_the_runtime_counts_the_convolution() {
    let costs = Detector::new(&spec(call(), 1.0, 0.25, ModelGives::Probability))
        .unwrap()
        .costs();
    let told = costs[0].operations_per_s.unwrap();
    // Six kernels of 31 taps at 125 places, a multiplication and an addition each; four times a second.
    let convolution = 4.0 * 2.0 * 6.0 * 31.0 * 125.0;
    assert!(
        told >= convolution && told < 1.1 * convolution,
        "{told} {convolution}"
    );
    assert!(costs[0].state_bytes > 6 * 31 * 4);
}

#[test]
fn verif_a_window_of_another_length_is_refused() {
    let error = Front::new(&spec(call(), 0.5, 0.25, ModelGives::Probability)).unwrap_err();
    let SpecError::Model { stage: 0, why } = error else {
        panic!("{error}");
    };
    assert_eq!(
        why,
        "the model takes windows of 500 samples, this stage's window holds 250"
    );
    // Too short for the kernel to fit in, even with its padding.
    assert!(Front::new(&spec(open(), 0.5, 0.25, ModelGives::LogOdds)).is_ok());
}

#[test]
fn verif_models_are_told_apart_by_their_bytes() {
    assert_eq!(call(), call());
    assert_ne!(call(), open());
}
