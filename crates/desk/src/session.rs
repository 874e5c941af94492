//! What a page is told when it opens.

use assess::Memo;
use beside::PROGRAM;
use serde_json::{Value, json};

use crate::disk::PlanFile;
use crate::document::KINDS;
use crate::error::ApiError;
use crate::guard::{LARGEST_BODY, LONGEST_REQUEST};
use crate::text::text_digest;
use crate::{folder, jobs, text};

/// The plan as it stands on the disk, what lies beside it, the schema, and the limits of this server.
pub(crate) fn session(plan: &PlanFile, memo: &Memo) -> Result<Value, ApiError> {
    let text = plan.read()?;
    let found = folder::found(plan.folder());
    Ok(json!({
        "format": "desk/1",
        "program": PROGRAM,
        "version": env!("CARGO_PKG_VERSION"),
        "plan": {
            "identity": plan.identity(),
            "file": plan.name(),
            "folder_name": plan.folder_name(),
            "source_digest": text_digest(&text),
            "text": &text,
            "read_only": plan.is_read_only(),
        },
        "parts": text::parts(&text::read(plan.path(), &text, memo)),
        "cue_sheets": found.cue_sheets,
        "recordings": found.recordings,
        "not_all": found.cut,
        "schema": plan::plan_schema(),
        "cue_schema": plan::cues_schema(),
        "knobs": {
            "largest_body_bytes": LARGEST_BODY,
            "longest_request_s": LONGEST_REQUEST.as_secs(),
            "most_jobs": jobs::MOST_AT_ONCE,
            "documents": KINDS,
            "jobs": jobs::KINDS,
            "links": plan::LINKS,
        },
    }))
}
