//! Learned models for detectors: an ONNX file as one number for each window of samples.
//!
//! [`load`] turns the bytes of a file into the model that a [`detect::Stage::Learned`] holds. Running it needs the feature
//! `onnx`, which brings a runtime written in Rust and some minutes of building; without it [`load`] says so, and everything
//! else goes on.
//!
//! The file comes from somewhere else and is not trusted: its operators are a closed set, its shapes are bounded, and what
//! the runtime makes of a broken graph is an error, never a panic of the program. A model cannot read other files.
//!
//! Sameness is promised on one machine only: the runtime chooses its kernels by the processor ([`ARITHMETIC`]).

mod error;
#[cfg(feature = "onnx")]
mod onnx;

pub use error::ModelError;

use detect::Learned;
use sha2::{Digest as _, Sha256};

/// Class of arithmetic of what rests on a learned stage, as outputs print it.
pub const ARITHMETIC: &str = "scalar (learned stages: vector, the same on one machine only)";

/// The model in the bytes of an ONNX file.
///
/// # Errors
/// [`ModelError::NotBuilt`] without the feature `onnx`; otherwise whatever is wrong with the file. Whether it takes windows of
/// the stage's length shows when a detector is made of it.
pub fn load(bytes: &[u8]) -> Result<Learned, ModelError> {
    let digest: String = Sha256::digest(bytes)
        .iter()
        .map(|byte| format!("{byte:02x}"))
        .collect();
    #[cfg(feature = "onnx")]
    return Ok(Learned::new(std::sync::Arc::new(onnx::OnnxModel::load(
        bytes, digest,
    )?)));
    #[cfg(not(feature = "onnx"))]
    Err(ModelError::NotBuilt { digest })
}
