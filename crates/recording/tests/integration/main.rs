//! Checks of `recording` against other programs, the formats' definitions, and damaged files.

mod bytes;
mod coded;
mod hostile;
mod libsndfile;
mod names;
mod real;
mod stretches;
mod wav;
mod writer;
