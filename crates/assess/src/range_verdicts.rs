//! How far detectors find calls.

use plan::{CallIx, DetectorIx, Line};

use crate::verdict::{Verdict, unknown};

/// Range to which a detector finds a share of the calls of a kind.
pub(crate) fn detection_range(line: &Line, of: DetectorIx, call: CallIx) -> Verdict {
    let detector = &line.detectors[of.0].id;
    unknown(
        format!("detector.{detector}"),
        format!(
            "no calls of call.{} have been put into noise before this detector yet",
            line.calls[call.0].id
        ),
    )
}
