//! Days until a store is full, what its files are, and what goes then.

use network::StreamRoom;
use plan::{Droppable, Line, Q, StorageIx, StreamIx, That};
use quantity::{Dimension, SECONDS_PER_DAY, show, show_number};
use recording::{Container, planned_name};

use crate::corners;
use crate::input::{Filling, RecordingFill, filling, gb_a_day, streams, traffic, usable_bytes};
use crate::verdict::{Against, Evidence, Ruling, Side, Verdict, Word, unknown};

/// A storage time closer to its limit than this is marginal, d.
const NARROW_DAYS: f64 = 7.0;
const STORAGE_METHOD: &str = "capacity over rates of recordings and logs (docs/method/storage.md)";

/// Days until a store is full.
pub(crate) fn storage_time(line: &Line, of: StorageIx, at_least_s: Option<Q>) -> Verdict {
    let storage = &line.storages[of.0];
    let subject = format!("storage.{}", storage.id);
    let filling = match filling(line, of) {
        Ok(filling) => filling,
        Err(error) => return unknown(subject, error.to_string()),
    };
    if let Some(why) = does_not_arrive(line, of) {
        return unknown(subject, why);
    }
    if filling.b_s() <= 0.0 {
        return unknown(subject, "nothing is recorded on it");
    }
    let days = usable_bytes(line, of) / filling.b_s() / SECONDS_PER_DAY;
    let (limit_s, from) = match at_least_s {
        Some(q) => (q.si, "the requirement"),
        None => (
            line.deployment.longest_s(),
            "the duration and the recovery slip",
        ),
    };
    let against = Against {
        side: Side::AtLeast,
        limit: limit_s / SECONDS_PER_DAY,
        narrow: NARROW_DAYS,
        unit: "d".to_owned(),
    };
    let late = match at_least_s {
        Some(_) => String::new(),
        None => corners::at_the_end(line),
    };
    let mut why = format!("{}; against {from}{late}", parts(line, of, &filling));
    for more in [files(line, &filling), when_full(line, of, &filling)] {
        why.push_str(&more);
    }
    let rates: Vec<_> = filling
        .recordings
        .iter()
        .map(|r| (r.samples_b_s, r.stored_b_s))
        .collect();
    let inputs = (
        (usable_bytes(line, of), limit_s),
        (rates, filling.logs_b_s),
        &storage.drop,
    );
    against.judge(
        subject,
        days,
        Evidence::computed(STORAGE_METHOD, &inputs),
        why,
    )
}

/// What of a store that no requirement asks for fills before the latest recovery, as far as it is known; of one of which the plan says that its oldest recordings go when it is full there is none.
pub(crate) fn fills(line: &Line) -> Vec<Verdict> {
    let asked = |s: StorageIx| {
        line.binding().any(|r| match &r.that {
            That::StorageTime { of, at_least_s } => {
                *of == s && at_least_s.is_none_or(|q| q.si >= line.deployment.longest_s())
            }
            _ => false,
        })
    };
    let stores = (0..line.storages.len()).map(StorageIx);
    let left = stores.filter(|s| !asked(*s) && !drops_oldest(line, *s));
    let judged = left.map(|s| storage_time(line, s, None));
    judged.filter(|v| v.word() != Word::Unknown).collect()
}

fn drops_oldest(line: &Line, of: StorageIx) -> bool {
    let order = line.storages[of.0].drop.as_ref();
    order.is_some_and(|order| order.contains(&Droppable::OldestRecordings))
}

/// Why what goes to a store is not all kept until the latest recovery; `None` where it is, and where that is not known.
pub(crate) fn not_all_kept(line: &Line, of: StorageIx) -> Option<String> {
    let Verdict::Known(known) = storage_time(line, of, None) else {
        return None;
    };
    if known.ruling != Ruling::Broken {
        return None;
    }
    let after = show(known.value.value * SECONDS_PER_DAY, Dimension::Time);
    Some(match drops_oldest(line, of) {
        true => format!("{} keeps the last {after} and no more", known.subject),
        false => format!("{} is full after {after}", known.subject),
    })
}

/// Why a recording does not come to the store over its stream, where it has none on its own module.
fn does_not_arrive(line: &Line, of: StorageIx) -> Option<String> {
    let records = &line.storages[of.0].records;
    let over: Vec<StreamIx> = records.iter().filter_map(|r| r.over).collect();
    if over.is_empty() {
        return None;
    }
    let traffic = match traffic(line) {
        Ok(None) => return None,
        Ok(Some(traffic)) if !traffic.unknowns.is_empty() => {
            return Some(traffic.unknowns.join("; "));
        }
        Ok(Some(traffic)) => traffic,
        Err(error) => return Some(error.to_string()),
    };
    let rooms = match streams(line, &traffic) {
        Ok(streams) => streams.rooms,
        Err(error) => return Some(error.to_string()),
    };
    let refused = |s: &&StreamIx| !matches!(rooms.get(s.0), Some(StreamRoom::Admitted { .. }));
    let stream = over.iter().find(refused)?;
    Some(format!(
        "what it records comes over stream.{}, which has no room on its way (`stream-room` says why)",
        line.streams[stream.0].id
    ))
}

fn parts(line: &Line, of: StorageIx, filling: &Filling) -> String {
    let records = &line.storages[of.0].records;
    let over = |r: &RecordingFill| {
        let record = records.iter().find(|record| record.sensor == r.sensor);
        let stream = record.and_then(|record| record.over);
        stream.map_or_else(String::new, |s| {
            format!(" over stream.{}", line.streams[s.0].id)
        })
    };
    let recording = |r: &RecordingFill| {
        let lost = r.stored_b_s / r.samples_b_s - 1.0;
        let more = match r.files {
            Some(_) if lost >= 0.0005 => {
                format!(
                    ", {:.1} % more for headers and unfilled pieces",
                    100.0 * lost
                )
            }
            _ => String::new(),
        };
        format!(
            "{:.3} GB a day of {}{} ({:.0} % of the time, {}{more})",
            gb_a_day(r.stored_b_s),
            line.sensor_path(r.sensor),
            over(r),
            100.0 * r.share,
            if r.compression == 1.0 {
                "uncompressed".to_owned()
            } else {
                format!("compressed {} times", r.compression)
            },
        )
    };
    let mut all: Vec<String> = filling.recordings.iter().map(recording).collect();
    if let Some(b_s) = filling.logs_b_s {
        all.push(format!("{} GB a day of logs", show_number(gb_a_day(b_s))));
    }
    all.join(", ")
}

/// The files in words: how large, which container, how many, the first name.
fn files(line: &Line, filling: &Filling) -> String {
    let mut all = String::new();
    for (r, f) in filling
        .recordings
        .iter()
        .filter_map(|r| Some((r, r.files?)))
    {
        let ending = match f.container {
            None => "",
            Some(_) => ".wav",
        };
        let container = match f.container {
            None => "compressed",
            Some(Container::Rf64) => "RF64, as the sizes of RIFF end at 4 GiB",
            Some(_) => "WAV with the sizes of RIFF",
        };
        let first = line.deployment.start.map_or(String::new(), |start| {
            format!(
                ", the first {}{ending}",
                planned_name(&line.deployment.name, start, 1)
            )
        });
        all.push_str(&format!(
            "; a file of {} holds {:.1} MB of {}, {container}: {} files a day{first}",
            show(f.cut_s, Dimension::Time),
            f.file_bytes / 1e6,
            line.sensor_path(r.sensor),
            show_number(SECONDS_PER_DAY / f.cut_s),
        ));
    }
    all
}

/// What happens when it is full, in words.
fn when_full(line: &Line, of: StorageIx, filling: &Filling) -> String {
    let Some(order) = &line.storages[of.0].drop else {
        return String::new();
    };
    if order.is_empty() {
        return "; when it is full nothing more is written".to_owned();
    }
    let recordings: f64 = filling.recordings.iter().map(|r| r.stored_b_s).sum();
    let steps: Vec<String> = order
        .iter()
        .map(|what| match what {
            Droppable::Logs => "the logs".to_owned(),
            Droppable::OldestRecordings => format!(
                "the oldest files of the recordings, so that the last {:.1} d stay",
                usable_bytes(line, of) / recordings / SECONDS_PER_DAY
            ),
        })
        .collect();
    format!("; when it is full there go {}", steps.join(", then "))
}
