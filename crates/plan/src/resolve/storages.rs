//! Stores for recordings and logs.

use quantity::{Dimension, show, show_number};

use super::Resolver;
use super::talk::whole;
use crate::line::{
    Droppable, Line, Logs, ModuleIx, Record, SensorIx, SensorKind, Storage, Stream, StreamIx,
};
use crate::mistake::{Code, Mistake};
use crate::read::Fields;
use crate::site::Site;

/// How much a rate may fall short of another and still count as the same: what is lost in reading both.
const RATE_SHARE: f64 = 1e-9;

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
        .map(|t| record(r, line, module?, t))
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

fn record(r: &mut Resolver<'_>, line: &Line, store: ModuleIx, t: &Fields) -> Option<Record> {
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
    let record = Record {
        sensor,
        over: None,
        share: t.q("share")?,
        compression: t.q("compression")?,
    };
    if sensor.module == store {
        return Some(record);
    }
    let over = carried(
        r,
        line,
        store,
        &record,
        t.site_of("sensor").unwrap_or(t.site),
    )?;
    Some(Record { over, ..record })
}

/// The stream that brings a recording to a store on another module, without which it does not get there; nothing inside where a
/// mistake may have taken the stream.
#[expect(
    clippy::option_option,
    reason = "a mistake, a stream that is lost, a stream"
)]
fn carried(
    r: &mut Resolver<'_>,
    line: &Line,
    store: ModuleIx,
    record: &Record,
    site: Site,
) -> Option<Option<StreamIx>> {
    let sensor = record.sensor;
    let path = line.sensor_path(sensor);
    let (from, to) = (line.module_path(sensor.module), line.module_path(store));
    let there = |s: &Stream| s.from == sensor.module && s.to == store;
    let samples = line
        .streams
        .iter()
        .position(|s| there(s) && s.sensor == Some(sensor));
    let needs_bps = raw_bps(line, sensor) * record.share.si / record.compression.si;
    if let Some(stream) = samples {
        let carries = &line.streams[stream];
        if carries.rate_bps.si < needs_bps * (1.0 - RATE_SHARE) {
            r.tell(
                Mistake::error(
                    Code::KeyConflict,
                    site,
                    format!(
                        "stream.{} brings {} of this sensor to the store, and what is recorded takes {}",
                        carries.id,
                        show(carries.rate_bps.si, Dimension::DataRate),
                        show(needs_bps, Dimension::DataRate),
                    ),
                )
                .label("more than arrives")
                .help("raise the `rate` of the stream, or record a smaller `share`, or with more `compression` where the stream is compressed so")
                .related(carries.rate_bps.at, "the rate of the stream"),
            );
            return None;
        }
        return Some(Some(StreamIx(stream)));
    }
    if r.declared.lost("stream", line.streams.len()) {
        return Some(None);
    }
    let of_module = line.streams.iter().find(|s| there(s) && s.sensor.is_none());
    let help = match of_module {
        Some(stream) => format!(
            "stream.{} goes there from {from}: where it carries the samples of this sensor write `from = \"{path}\"` in it",
            stream.id
        ),
        None => format!(
            "write `at = \"{from}\"` in the store, or add a stream that brings the samples: `[stream.raw]`, `from = \"{path}\"`, `to = \"{to}\"`, `rate = \"{}\"`, `packet = \"1200 B\"`, `priority = 7`",
            show(raw_bps(line, sensor), Dimension::DataRate)
        ),
    };
    r.tell(
        Mistake::error(
            Code::BadReference,
            site,
            format!(
                "{path} hangs on {from} and the store is at {to}: raw sound crosses a line only as a stream, and none brings it there"
            ),
        )
        .label("on another module")
        .help(help),
    );
    None
}

/// Bits that a sensor's converter makes in a second; none where it has no converter.
fn raw_bps(line: &Line, sensor: SensorIx) -> f64 {
    let chain = line.sensor(sensor).chain.as_ref();
    chain.map_or(0.0, |c| c.rate_hz.si * f64::from(c.bits))
}

/// Warns of streams of a sensor that carry less than its converter makes, with what the stores at their ends say of compression. Not asked while stores have mistakes.
pub(super) fn thin_streams(r: &mut Resolver<'_>, line: &Line) {
    if r.declared.lost("storage", line.storages.len()) {
        return;
    }
    for (s, stream) in line.streams.iter().enumerate() {
        let Some(sensor) = stream.sensor else {
            continue;
        };
        let raw_bps = raw_bps(line, sensor);
        let records = line.storages.iter().flat_map(|s| &s.records);
        let compression = records
            .filter(|record| record.over == Some(StreamIx(s)))
            .map(|record| record.compression.si)
            .fold(1.0, f64::max);
        if stream.rate_bps.si >= raw_bps / compression * (1.0 - RATE_SHARE) {
            continue;
        }
        r.part = format!("stream.{}", stream.id);
        r.tell(
            Mistake::warning(
                Code::KeyConflict,
                stream.rate_bps.at,
                format!(
                    "the converter of {} makes {}, and this stream carries 1/{} of it",
                    line.sensor_path(sensor),
                    show(raw_bps, Dimension::DataRate),
                    show_number(raw_bps / stream.rate_bps.si),
                ),
            )
            .label("less than the samples")
            .help("raw sound needs the whole rate; where it is compressed on the way this is the rate that your material needs"),
        );
    }
}
