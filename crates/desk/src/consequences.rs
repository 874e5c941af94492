//! All that follows from a text: mistakes, verdicts and the drawing of the line.

use std::path::Path;

use assess::{Memo, Tier, check_with};
use beside::{Kept, PROGRAM};
use report::check_json;
use serde_json::json;

use crate::drawing::drawing;
use crate::text;
use crate::worker::Wanted;

/// The document of a text that a page sent; `None` where `go_on` stopped the reading of what lies beside the plan.
pub(crate) fn consequences(
    path: &Path,
    (memo, kept): (&Memo, &Kept),
    wanted: &Wanted,
    go_on: &dyn Fn() -> bool,
) -> Option<Vec<u8>> {
    let reading = text::read_noting(path, &wanted.text, memo, kept);
    let (shelf, warnings) = text::shelf(path, &reading, kept, go_on)?;
    let check = check_with(&reading, &shelf, memo, wanted.tier);
    let mut verdicts = check_json(&check, PROGRAM, &reading.mistakes, &reading.sources);
    verdicts["warnings"] = json!(warnings);
    let told = json!({
        "format": "consequences/1",
        "program": PROGRAM,
        "serial": wanted.serial,
        "tier": match wanted.tier { Tier::Quick => "quick", Tier::Full => "full" },
        "source_digest": text::text_digest(&wanted.text),
        "plan_digest": reading.digest,
        "mistakes": text::mistakes(&reading),
        "parts": text::parts(&reading),
        "verdicts": verdicts,
        "line": drawing(&reading, &check),
    });
    Some(told.to_string().into_bytes())
}
