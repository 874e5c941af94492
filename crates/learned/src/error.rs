//! Why a file is no model that a detector can run.

use thiserror::Error;

/// A model that cannot be run. Texts of the runtime are passed on as they are.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
pub enum ModelError {
    /// The program has no runtime.
    #[error(
        "this program was built without learned stages; build it with --features learned (model {digest})"
    )]
    NotBuilt {
        /// SHA-256 of the file, so that it can be told which model it was.
        digest: String,
    },
    /// The bytes are no ONNX file.
    #[error("this is no ONNX model: {why}")]
    NotOnnx {
        /// What the reader found.
        why: String,
    },
    /// More operators than a model for a detector has.
    #[error("the model has {found} operators, at most {most} are taken")]
    TooManyOperators {
        /// How many it has.
        found: usize,
        /// How many it may have.
        most: usize,
    },
    /// An operator outside the closed set.
    #[error("the model uses the operator {found}, which is not among those that are run here")]
    Operator {
        /// Its name, with its domain where it has one.
        found: String,
    },
    /// None or several inputs.
    #[error("the model takes {found} inputs, a detector gives it one: the window of samples")]
    Inputs {
        /// How many it takes.
        found: usize,
    },
    /// None or several outputs.
    #[error("the model gives {found} outputs, a detector takes one: a probability or log-odds")]
    Outputs {
        /// How many it gives.
        found: usize,
    },
    /// An input that is not a row of single-precision samples.
    #[error(
        "the model takes {found}; a detector gives it single-precision samples shaped [samples], [1, samples] or [1, 1, samples]"
    )]
    InputShape {
        /// What it takes.
        found: String,
    },
    /// An input of another length.
    #[error("the model takes windows of {takes} samples, this stage's window holds {samples}")]
    WindowLength {
        /// What it takes.
        takes: usize,
        /// What the window holds, at the rate after decimate and band.
        samples: usize,
    },
    /// An output that is not one number.
    #[error("the model gives {found} for each window, a detector takes one floating-point number")]
    OutputShape {
        /// What it gives.
        found: String,
    },
    /// A result between operators that is too large to hold.
    #[error("a result of {found} values inside the model is larger than the {most} that are held")]
    TooLarge {
        /// How many values.
        found: usize,
        /// The most.
        most: usize,
    },
    /// The runtime refuses it.
    #[error("the model's operators do not fit together: {why}")]
    Refused {
        /// In the words of the runtime.
        why: String,
    },
    /// The runtime broke on it.
    #[error("the runtime breaks on this model: {why}")]
    Broken {
        /// In the words of the runtime.
        why: String,
    },
}
