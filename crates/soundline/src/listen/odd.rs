//! What the reader found odd about a recording.

use hearing::Hearing;
use recording::Warning;

/// The warnings of the reader, as text; of a start that `was_given` none is missed.
pub(crate) fn odd(hearing: &Hearing, was_given: bool) -> Vec<String> {
    let mut texts: Vec<String> = hearing
        .warnings
        .iter()
        .filter(|w| !(was_given && matches!(w, Warning::StartUnknown(_))))
        .map(ToString::to_string)
        .collect();
    if hearing.warnings_left_out > 0 {
        texts.push(format!("{} further warnings", hearing.warnings_left_out));
    }
    texts
}
