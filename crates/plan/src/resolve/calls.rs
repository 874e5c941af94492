//! Calls that detectors are to find.

use std::path::Path;

use super::Resolver;
use super::cues::sound_kind;
use crate::line::{Call, Line, Template};
use crate::read::Fields;
use crate::tables::{CALL, OF_CALLS, SOUNDS};

pub(super) fn calls(r: &mut Resolver<'_>, root: &Fields, line: &mut Line) {
    for (id, f) in root.keyed("call") {
        r.part = format!("call.{id}");
        line.calls.extend(call(r, id, f));
    }
}

fn call(r: &mut Resolver<'_>, id: &str, f: &Fields) -> Option<Call> {
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
    Some(Call {
        id: id.to_owned(),
        at: f.site,
        what,
        recording,
        source_level_db: f.db("source_level")?,
        depth_m: f.q("depth")?,
    })
}
