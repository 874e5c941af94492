//! At which depths modules count, for people and for programs.

use std::fmt::Write as _;

use assess::DepthsTold;
use serde_json::{Value, json};

use super::check::wrap;

/// The first sentence of what is told of depths, for what reads them and says so in passing; `check` tells all.
pub(super) fn depths_text(out: &mut String, depths: Option<&DepthsTold>) {
    let Some(told) = depths.and_then(|depths| depths.words.first()) else {
        return;
    };
    for row in wrap(&format!("Depths: {told}"), 108) {
        let _ = writeln!(out, "{row}");
    }
}

/// Which depths of modules count; nothing of a line without sections, whose depths are as written.
#[must_use]
pub fn depths_json(depths: Option<&DepthsTold>) -> Value {
    json!(depths.map(|depths| json!({
        "case": depths.case,
        "modules": depths.modules.iter().map(|m| json!({
            "id": m.module,
            "hung_depth_m": m.hung_m,
            "straight_depth_m": m.straight_m,
        })).collect::<Vec<_>>(),
        "told": depths.words,
    })))
}
