//! Module software: a detector as C99 that a module's processor runs.
//!
//! [`detector_c`] writes a header, a source without heap, files or threads, and a test program with golden vectors: a sound made
//! by whole numbers, so that it is the same on every processor, and what our own detector tells of it. The source takes samples
//! in micropascals block by block and hands out notices, as [`detect::Detector`] does.
//!
//! Written down are detectors of the stages `[decimate] [band] (level | exposure) [background] (trigger | pulses)`; of others the
//! stage that is not is named ([`detect::WorkingsError::Stage`]). Filters that lower the rate run in single precision, as ours do.
//! The band-pass runs in single precision as state-variable sections where a trial keeps its levels within
//! [`SINGLE_WITHIN_DB`], else as plain sections in double precision; the source says which, and what the trial gave. Levels are
//! formed in double precision, a few operations for each cell.

#![forbid(unsafe_code)]

mod band;
mod golden;
mod header;
mod note;
mod source;
mod state;
mod words;

use detect::{Detector, Spec, Workings, WorkingsError};

pub use band::{BandArithmetic, SINGLE_WITHIN_DB};
pub use golden::LONGEST_GOLDEN_S;

/// A detector in C99.
#[derive(Clone, Debug, PartialEq)]
pub struct DetectorSource {
    /// Name of the header, `<name>.h`.
    pub header_name: String,
    /// Its text.
    pub header: String,
    /// Name of the source, `<name>.c`.
    pub source_name: String,
    /// Its text; includes the header and the headers of the C library for mathematics and memory.
    pub source: String,
    /// Name of the test program, `<name>_test.c`.
    pub test_name: String,
    /// Its text: ends with 0 where the source tells what it should.
    pub test: String,
    /// What it asks of a processor, in words.
    pub note: String,
    /// In which arithmetic the band-pass runs; `None` without one.
    pub band: Option<BandArithmetic>,
    /// Memory of its state, bytes, without what a compiler leaves free between fields.
    pub state_bytes: usize,
    /// Notices that the test program expects.
    pub golden_notices: usize,
}

/// Writes a detector under a name that becomes a name of C.
///
/// # Errors
/// [`WorkingsError`]: whatever the detector may have wrong, and the first stage that cannot be written down.
pub fn detector_c(spec: &Spec, name: &str) -> Result<DetectorSource, WorkingsError> {
    let workings = Workings::of(spec)?;
    let detector = Detector::new(spec)?;
    let words = words::Words::of(name);
    let band = (!workings.sections.is_empty()).then(|| band::arithmetic(&workings));
    let state = state::State::of(&workings, band.as_ref());
    let golden = golden::Golden::of(spec, &workings, detector);
    Ok(DetectorSource {
        header_name: format!("{}.h", words.low),
        header: header::header(&workings, &words, &state),
        source_name: format!("{}.c", words.low),
        source: source::source(&workings, &words, band.as_ref(), &state),
        test_name: format!("{}_test.c", words.low),
        test: golden.program(&words, &workings),
        note: note::note(&workings, &words, band.as_ref(), &state),
        state_bytes: state.bytes(),
        golden_notices: golden.told.len(),
        band,
    })
}
