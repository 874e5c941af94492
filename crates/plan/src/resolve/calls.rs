//! Calls that detectors are to find.

use std::path::Path;

use super::Resolver;
use super::cues::sound_kind;
use super::sources::in_the_water;
use crate::line::{Call, Line, Q, Template};
use crate::read::Fields;
use crate::tables::{CALL, OF_CALLS, SOUNDS};

pub(super) fn calls(r: &mut Resolver<'_>, root: &Fields, line: &mut Line) {
    for (id, f) in root.keyed("call") {
        r.part = format!("call.{id}");
        let call = call(r, id, f, line.sea.water_depth_m);
        line.calls.extend(call);
    }
}

fn call(r: &mut Resolver<'_>, id: &str, f: &Fields, water_depth_m: Q) -> Option<Call> {
    let (word, _) = f.choice("kind")?;
    let keys = SOUNDS
        .iter()
        .find(|k| k.word == *word)
        .expect("every word has its keys");
    if !r.keys_fit(
        f,
        &CALL,
        keys,
        OF_CALLS,
        &format!("a call of kind `{word}`"),
    ) {
        return None;
    }
    let what = sound_kind(r, f, word, Path::new(""), "the plan")?;
    let recording = f.text("file").map(|(path, at)| Template {
        path: path.clone(),
        at,
        bytes: None,
    });
    let depth_m = f.q("depth")?;
    if !in_the_water(r, depth_m, water_depth_m, true) {
        return None;
    }
    Some(Call {
        id: id.to_owned(),
        at: f.site,
        what,
        recording,
        source_level_db: f.db("source_level")?,
        depth_m,
    })
}
