//! Stores for recordings and logs.

use super::Resolver;
use super::talk::whole;
use crate::line::{Droppable, Line, Logs, Record, SensorKind, Storage};
use crate::mistake::{Code, Mistake};
use crate::read::Fields;

pub(super) fn storages(r: &mut Resolver<'_>, root: &Fields, line: &mut Line) {
    for (id, f) in root.keyed("storage") {
        r.part = format!("storage.{id}");
        if let Some(storage) = storage(r, id, f, line) {
            line.storages.push(storage);
        }
    }
}

fn storage(r: &mut Resolver<'_>, id: &str, f: &Fields, line: &Line) -> Option<Storage> {
    let module = r.module(line, f, "at");
    let records: Vec<Option<Record>> = f
        .tables("records")
        .iter()
        .map(|t| record(r, line, t))
        .collect();
    if f.is_wrong("records") {
        return None;
    }
    let records = records.into_iter().collect::<Option<Vec<_>>>()?;
    let logs = match f.table("logs") {
        Some((t, site)) => {
            if ["event", "message", "line"].iter().all(|key| !t.has(key)) {
                r.tell(
                    Mistake::error(Code::MissingKey, site, "this log takes nothing")
                        .label("empty")
                        .help("add `event`, `message` or `line`, each with its bytes"),
                );
                return None;
            }
            Some(Logs {
                event_bytes: t.q("event"),
                message_bytes: t.q("message"),
                line_bytes: t.q("line"),
            })
        }
        None => None,
    };
    let cluster_bytes = match f.amount("cluster") {
        Some((size, site)) => Some(whole(r, size.si, site)?),
        None => None,
    };
    let cut_s = f.q("cut");
    if let (Some((_, site)), false) = (f.amount("cluster"), f.has("cut")) {
        r.tell(
            Mistake::error(
                Code::MissingKey,
                site,
                "how much the pieces lose depends on how long a file is",
            )
            .label("of each file")
            .help("add `cut = \"30 min\"`"),
        );
        return None;
    }
    if let (Some(cut), true) = (cut_s, records.is_empty()) {
        r.tell(
            Mistake::error(
                Code::KeyConflict,
                cut.at,
                "no recording is cut: this store has none",
            )
            .label("without a use")
            .help("add `records`, or remove this key"),
        );
        return None;
    }
    Some(Storage {
        id: id.to_owned(),
        at: f.site,
        module: module?,
        capacity_bytes: f.q("capacity")?,
        keep_free: f.q("keep_free"),
        drop: droppable(r, f, logs.is_some(), !records.is_empty())?,
        records,
        cut_s,
        cluster_bytes,
        logs,
    })
}

/// What goes when the store is full; `drop = ["nothing"]` is an empty list.
#[expect(
    clippy::option_option,
    reason = "a mistake, nothing written, something written"
)]
fn droppable(
    r: &mut Resolver<'_>,
    f: &Fields,
    has_logs: bool,
    has_records: bool,
) -> Option<Option<Vec<Droppable>>> {
    let Some((words, whole_site)) = f.texts("drop") else {
        return Some(None);
    };
    let nothing = words.iter().any(|(w, _)| w == "nothing");
    if nothing && words.len() == 1 {
        return Some(Some(Vec::new()));
    }
    let mut all = Vec::new();
    for (word, site) in words {
        let what = match word.as_str() {
            "logs" => Droppable::Logs,
            "oldest-recordings" => Droppable::OldestRecordings,
            "nothing" => {
                r.tell(
                    Mistake::error(Code::KeyConflict, whole_site, "`nothing` stands alone")
                        .label("beside other words"),
                );
                return None;
            }
            _ => {
                r.tell(
                    Mistake::error(
                        Code::UnknownWord,
                        *site,
                        format!("\"{word}\" is nothing that a store can drop"),
                    )
                    .label("unknown word")
                    .help("the words are: logs, oldest-recordings, or nothing alone"),
                );
                return None;
            }
        };
        let there = match what {
            Droppable::Logs => has_logs,
            Droppable::OldestRecordings => has_records,
        };
        if !there || all.contains(&what) {
            let why = if there {
                format!("\"{word}\" goes but once")
            } else {
                format!(
                    "this store keeps no {}",
                    match what {
                        Droppable::Logs => "`logs`",
                        Droppable::OldestRecordings => "`records`",
                    }
                )
            };
            r.tell(Mistake::error(Code::KeyConflict, *site, why).label("here"));
            return None;
        }
        all.push(what);
    }
    Some(Some(all))
}

fn record(r: &mut Resolver<'_>, line: &Line, t: &Fields) -> Option<Record> {
    let sensor = r.sensor(line, t, "sensor")?;
    let kind = line.sensor(sensor).kind;
    if !matches!(kind, SensorKind::Hydrophone | SensorKind::Microphone) {
        let site = t.site_of("sensor").unwrap_or(t.site);
        r.tell(
            Mistake::error(
                Code::BadReference,
                site,
                "this sensor makes no samples to record",
            )
            .label("no converter"),
        );
        return None;
    }
    Some(Record {
        sensor,
        share: t.q("share")?,
        compression: t.q("compression")?,
    })
}
