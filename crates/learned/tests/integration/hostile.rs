//! Files that no detector can run: an error that names the cause, never a panic.

use detect::{Confirm, Front, ModelGives, ModelInput, PushError, Spec, SpecError, Stage};
use learned::{ModelError, load};
use signal::Block;

/// A detector with this model at 500 samples a window.
fn spec(bytes: &[u8], gives: ModelGives) -> Result<Spec, ModelError> {
    Ok(Spec {
        rate_hz: 500.0,
        stages: vec![
            Stage::Learned {
                model: load(bytes)?,
                window_s: 1.0,
                hop_s: None,
                input: ModelInput::UnitRms,
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
    })
}

/// What is said of a file, be it when it is read or when a detector is made of it.
fn said(bytes: &[u8]) -> String {
    let front = match spec(bytes, ModelGives::LogOdds) {
        Err(error) => return error.to_string(),
        Ok(spec) => Front::new(&spec),
    };
    match front {
        Err(SpecError::Model { stage: 0, why }) => why,
        Err(error) => panic!("another error: {error}"),
        Ok(_) => panic!("it was taken"),
    }
}

#[test]
fn verif_each_hostile_file_is_told_by_its_cause() {
    let files: [(&str, &[u8], &str); 16] = [
        ("empty", b"", "this is no ONNX model: it holds no graph"),
        (
            "text",
            include_bytes!("../data/text.onnx"),
            "this is no ONNX model",
        ),
        (
            "cut off",
            include_bytes!("../data/cut-off.onnx"),
            "this is no ONNX model",
        ),
        (
            "several outputs",
            include_bytes!("../data/several-outputs.onnx"),
            "the model gives 2 outputs",
        ),
        (
            "several inputs",
            include_bytes!("../data/several-inputs.onnx"),
            "the model takes 2 inputs",
        ),
        (
            "a vector",
            include_bytes!("../data/vector.onnx"),
            "the model gives F32 shaped",
        ),
        (
            "two channels",
            include_bytes!("../data/two-channels.onnx"),
            "the model takes an input shaped [1, 2, 500]",
        ),
        (
            "whole numbers",
            include_bytes!("../data/whole-numbers.onnx"),
            "the model takes elements of type 7",
        ),
        (
            "an operator",
            include_bytes!("../data/operator.onnx"),
            "the model uses the operator RandomNormalLike",
        ),
        (
            "expanded",
            include_bytes!("../data/expanded.onnx"),
            "the model uses the operator ConstantOfShape",
        ),
        (
            "padded",
            include_bytes!("../data/padded.onnx"),
            "a result of 6",
        ),
        (
            "no such output",
            include_bytes!("../data/no-such-output.onnx"),
            "the model's operators do not fit together: no operator makes its output out",
        ),
        (
            "no such input",
            include_bytes!("../data/no-such-input.onnx"),
            "the model's operators do not fit together",
        ),
        (
            "circle",
            include_bytes!("../data/circle.onnx"),
            "the model's operators do not fit together",
        ),
        (
            "shapes that differ",
            include_bytes!("../data/shapes-that-differ.onnx"),
            "the model's operators do not fit together",
        ),
        ("large zeros", &[0; 1 << 20], "this is no ONNX model"),
    ];
    for (name, bytes, begins) in files {
        let told = said(bytes);
        assert!(told.starts_with(begins), "{name}: {told}");
    }
}

#[test]
fn verif_what_is_no_number_is_told_with_its_samples() {
    let bytes = include_bytes!("../data/not-a-number.onnx");
    let spec = spec(bytes, ModelGives::LogOdds).unwrap();
    let mut front = Front::new(&spec).unwrap();
    // A window whose mean is negative has no logarithm.
    let error = front
        .push(Block::new(0, &[-1.0; 500]), &mut Vec::new())
        .unwrap_err();
    let PushError::Model {
        begin_sample: 0,
        end_sample: 500,
        why,
    } = error
    else {
        panic!("{error}");
    };
    assert_eq!(why, "it gives NaN, and log-odds lie between -690 and 690");
}

#[test]
fn verif_a_bent_model_never_panics() {
    // Every byte of a model that works, one after another, set to each of a few values.
    let own = include_bytes!("../data/call.onnx");
    let (mut taken, mut refused) = (0, 0);
    for at in 0..own.len() {
        for value in [0x00, 0x01, 0x7f, 0xff] {
            let mut bent = own.to_vec();
            bent[at] = value;
            let Ok(spec) = spec(&bent, ModelGives::Probability) else {
                refused += 1;
                continue;
            };
            let Ok(mut front) = Front::new(&spec) else {
                refused += 1;
                continue;
            };
            // Numbers that came out of it are finite or an error; either is an answer.
            let _ = front.push(Block::new(0, &[0.5; 500]), &mut Vec::new());
            taken += 1;
        }
    }
    assert!(taken > 1000 && refused > 100, "{taken} {refused}");
}
