//! What a detector asks of a processor, in words.

use core::fmt::Write as _;

use detect::{BackgroundKind, MeasureWorkings, Workings};

use crate::band::BandArithmetic;
use crate::state::State;
use crate::words::Words;

pub(crate) fn note(
    workings: &Workings,
    words: &Words,
    band: Option<&BandArithmetic>,
    state: &State,
) -> String {
    let mut out = format!(
        "{} ({}.c)\n  samples: {} a second, micropascals, single precision\n",
        words.says, words.low, workings.rate_hz
    );
    for (part, operations_per_s) in operations(workings, band) {
        let _ = writeln!(
            out,
            "  {part}: {operations_per_s:.0} operations a second (counted, not measured)"
        );
    }
    let _ = writeln!(
        out,
        "  state: {} bytes, and what a compiler leaves free between fields",
        state.bytes()
    );
    let taps: usize = workings.lowerings.iter().map(|l| l.taps.len()).sum();
    let _ = writeln!(out, "  constants: {} bytes of filters", 4 * taps);
    let _ = writeln!(
        out,
        "  arithmetic: {}",
        match band {
            None => "no band-pass",
            Some(BandArithmetic::Single { .. }) => "band-pass in single precision",
            Some(BandArithmetic::Double { .. }) =>
                "band-pass in double precision, because single is not shown to hold its levels",
        }
    );
    let double = match workings.measure {
        MeasureWorkings::MeanSquare => "double precision for each cell only",
        MeasureWorkings::Exponential { .. } | MeasureWorkings::TeagerKaiser => {
            "double precision for each band sample of the level"
        }
    };
    let _ = writeln!(out, "  level: {double}");
    out
}

/// Additions, multiplications, comparisons and moves of each part of the source, a second of sound.
fn operations(workings: &Workings, band: Option<&BandArithmetic>) -> Vec<(&'static str, f64)> {
    let mut all = Vec::new();
    let mut rate_hz = workings.rate_hz;
    let mut lowered = 0.0;
    for lowering in &workings.lowerings {
        // A sample is kept twice.
        lowered += 2.0 * rate_hz;
        rate_hz /= lowering.factor as f64;
        lowered += 2.0 * lowering.taps.len() as f64 * rate_hz;
    }
    if lowered > 0.0 {
        all.push(("lowering the rate", lowered));
    }
    if let Some(band) = band {
        // A state-variable section: 13, and four comparisons of its states; a plain one: 5, and two moves.
        let each = if band.is_single() { 17.0 } else { 7.0 };
        let sections = workings.sections.len() as f64;
        all.push(("band", (1.0 + each * sections) * rate_hz));
    }
    let (window, hop) = (workings.window as f64, workings.hop as f64);
    let cell_rate_hz = rate_hz / hop;
    let level = match workings.measure {
        MeasureWorkings::Exponential { .. } => 5.0 * rate_hz,
        // Square or energy, the sum, and what counts the samples of a hop.
        MeasureWorkings::MeanSquare => 5.0 * rate_hz + 2.0 * window / hop * cell_rate_hz,
        MeasureWorkings::TeagerKaiser => 8.0 * rate_hz + 2.0 * window / hop * cell_rate_hz,
    };
    all.push(("level", level));
    if let Some(background) = workings.background {
        let cells = background.cells as f64;
        let each = match background.kind {
            BackgroundKind::Mean => cells,
            // At most: the oldest is looked for and its place closed, the newest put in its own.
            BackgroundKind::Median | BackgroundKind::Ordered { .. } => 2.0 * cells,
        };
        all.push(("background", each * cell_rate_hz));
    }
    all
}
