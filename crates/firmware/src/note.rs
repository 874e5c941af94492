//! What a detector asks of a processor, in words.

use core::fmt::Write as _;

use detect::{Detector, MeasureWorkings, Workings};

use crate::band::BandArithmetic;
use crate::state::State;
use crate::words::Words;

pub(crate) fn note(
    workings: &Workings,
    words: &Words,
    band: Option<&BandArithmetic>,
    state: &State,
    detector: &Detector,
) -> String {
    let mut out = format!(
        "{} ({}.c)\n  samples: {} a second, micropascals, single precision\n",
        words.says, words.low, workings.rate_hz
    );
    for stage in detector.costs() {
        let operations = stage.operations_per_s.map_or_else(
            || "unknown".to_owned(),
            |operations| format!("{operations:.0}"),
        );
        let _ = writeln!(
            out,
            "  {}: {operations} additions and multiplications a second (counted, not measured)",
            stage.word
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
                "band-pass in double precision, because single does not hold its levels",
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
