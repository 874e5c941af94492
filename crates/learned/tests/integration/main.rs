//! Models against an independent program, and files that are not to be trusted.

#[cfg(not(feature = "onnx"))]
mod absent;
#[cfg(feature = "onnx")]
mod hostile;
#[cfg(feature = "onnx")]
mod windows;
