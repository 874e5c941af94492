//! The records of a rehearsal in a file, found again by their time and by their number.

use std::collections::{BTreeMap, BTreeSet};
use std::fs::File;
use std::io::{self, BufRead, BufReader, Seek, SeekFrom, Write};
use std::sync::Arc;

use serde::Deserialize;
use serde_json::Value;
use tempfile::{TempDir, TempPath};

/// Records from one place that is remembered to the next.
const APART: u64 = 512;
/// Most bytes of one trace; and of all that are kept together when another begins.
pub(crate) const LARGEST: u64 = 1 << 30;
pub(crate) const MOST_KEPT_BYTES: u64 = 1 << 30;
/// Most records that are told at once.
pub(crate) const MOST_RECORDS: usize = 20_000;

/// Where a record stands.
#[derive(Clone, Copy, Debug)]
struct Mark {
    id: u64,
    at_ns: u64,
    byte: u64,
}

/// A trace that is whole.
pub(crate) struct Trace {
    path: TempPath,
    /// Keeps the folder while somebody reads.
    _folder: Arc<TempDir>,
    marks: Vec<Mark>,
    pub(crate) records: u64,
    pub(crate) bytes: u64,
}

/// A trace that is being written.
pub(crate) struct Pen {
    into: io::BufWriter<File>,
    path: TempPath,
    folder: Arc<TempDir>,
    byte: u64,
    marks: Vec<Mark>,
    records: u64,
}

/// What of a record says where it belongs.
#[derive(Deserialize)]
struct Head {
    id: u64,
    #[serde(default)]
    parent: Option<u64>,
    at_ns: u64,
}

impl Pen {
    pub(crate) fn begin(folder: Arc<TempDir>, head: &Value) -> io::Result<Pen> {
        let named = tempfile::Builder::new()
            .prefix("trace-")
            .tempfile_in(folder.path())?;
        // It goes with its folder, or with the job that made it.
        let (file, path) = named.into_parts();
        let mut into = io::BufWriter::new(file);
        let first = format!("{head}\n");
        into.write_all(first.as_bytes())?;
        Ok(Pen {
            into,
            path,
            folder,
            byte: first.len() as u64,
            marks: Vec::new(),
            records: 0,
        })
    }

    pub(crate) fn write(&mut self, id: u64, at_ns: u64, line: &str) -> io::Result<()> {
        if self.records.is_multiple_of(APART) {
            self.marks.push(Mark {
                id,
                at_ns,
                byte: self.byte,
            });
        }
        self.byte += line.len() as u64;
        if self.byte > LARGEST {
            return Err(io::Error::new(
                io::ErrorKind::FileTooLarge,
                format!("they come to more than {} GiB", LARGEST >> 30),
            ));
        }
        self.into.write_all(line.as_bytes())?;
        self.records += 1;
        Ok(())
    }

    pub(crate) fn end(mut self) -> io::Result<Trace> {
        self.into.flush()?;
        Ok(Trace {
            path: self.path,
            _folder: self.folder,
            marks: self.marks,
            records: self.records,
            bytes: self.byte,
        })
    }
}

impl Trace {
    /// The file as it is exported.
    pub(crate) fn open(&self) -> io::Result<File> {
        File::open(&self.path)
    }

    /// The lines from the last mark for which `before` holds.
    fn lines(&self, before: impl Fn(&Mark) -> bool) -> io::Result<io::Lines<BufReader<File>>> {
        let mut file = self.open()?;
        let after = self.marks.partition_point(before);
        let from = self.marks.get(after.saturating_sub(1));
        file.seek(SeekFrom::Start(from.map_or(0, |m| m.byte)))?;
        let mut lines = BufReader::new(file).lines();
        if from.is_none() {
            // The head.
            lines.next().transpose()?;
        }
        Ok(lines)
    }

    /// The records from one instant to another, at most so many; and whether there are more. Any number of them may be of one
    /// instant: the rest of them come `after` the number of the last.
    pub(crate) fn between(
        &self,
        from_ns: u64,
        to_ns: u64,
        after: Option<u64>,
        limit: usize,
    ) -> io::Result<(Vec<Value>, bool)> {
        let mut found = Vec::new();
        let passed = |id| after.is_some_and(|after| id <= after);
        for line in self.lines(|m| m.at_ns < from_ns || passed(m.id))? {
            let line = line?;
            let head: Head = serde_json::from_str(&line)?;
            if head.at_ns < from_ns || passed(head.id) {
                continue;
            }
            if head.at_ns > to_ns {
                break;
            }
            if found.len() >= limit.min(MOST_RECORDS) {
                return Ok((found, true));
            }
            found.push(serde_json::from_str(&line)?);
        }
        Ok((found, false))
    }

    fn record(&self, id: u64) -> io::Result<Option<(Head, Value)>> {
        for line in self.lines(|m| m.id <= id)? {
            let line = line?;
            let head: Head = serde_json::from_str(&line)?;
            if head.id == id {
                return Ok(Some((head, serde_json::from_str(&line)?)));
            }
            if head.id > id {
                break;
            }
        }
        Ok(None)
    }

    /// The arrival of the sound at which a chain begins, by the instant at which it was heard.
    fn arrival(&self, top: &Value) -> io::Result<Option<(u64, Value)>> {
        let Some(heard_at_ns) = top["sound"]["heard_at_ns"].as_u64() else {
            return Ok(None);
        };
        let (at_once, _) = self.between(heard_at_ns, heard_at_ns, None, MOST_RECORDS)?;
        let arrival = at_once.into_iter().find(|r| {
            r["what"] == "arrives"
                && r["arriving"] == top["sound"]["id"]
                && r["repeat"] == top["sound"]["repeat"]
        });
        Ok(arrival.and_then(|a| Some((a["id"].as_u64()?, a))))
    }

    /// All that led to a record and all that came of it, in the order of time; and whether there are more. Later records have
    /// higher numbers, so what came of one stands behind it.
    pub(crate) fn chain(&self, id: u64) -> io::Result<Option<(Vec<Value>, bool)>> {
        let Some((mut head, value)) = self.record(id)? else {
            return Ok(None);
        };
        let mut found = BTreeMap::from([(id, value)]);
        while let Some(parent) = head.parent {
            let Some((above, value)) = self.record(parent)? else {
                break;
            };
            found.insert(parent, value);
            head = above;
        }
        let first = found.values().next().cloned();
        if let Some(arrival) = first.and_then(|top| self.arrival(&top).transpose()) {
            let arrival = arrival?;
            found.insert(arrival.0, arrival.1);
        }
        let mut family = BTreeSet::from([id]);
        for line in self.lines(|m| m.id <= id)? {
            let line = line?;
            let head: Head = serde_json::from_str(&line)?;
            if !head.parent.is_some_and(|p| family.contains(&p)) {
                continue;
            }
            if found.len() >= MOST_RECORDS {
                return Ok(Some((found.into_values().collect(), true)));
            }
            family.insert(head.id);
            found.insert(head.id, serde_json::from_str(&line)?);
        }
        Ok(Some((found.into_values().collect(), false)))
    }
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;

    /// Three thousand records, each third a child of the one before it, held against a plain search.
    #[test]
    fn verif_records_are_found_by_time_and_by_chain() {
        let folder = Arc::new(tempfile::tempdir().unwrap());
        let mut pen = Pen::begin(folder, &json!({ "format": "trace/1" })).unwrap();
        let all: Vec<Value> = (0..3000_u64)
            .map(|i| match i % 3 {
                0 => json!({ "id": 2 * i, "at_ns": i / 2 }),
                _ => json!({ "id": 2 * i, "parent": 2 * (i - 1), "at_ns": i / 2 }),
            })
            .collect();
        for record in &all {
            let (id, at_ns) = (
                record["id"].as_u64().unwrap(),
                record["at_ns"].as_u64().unwrap(),
            );
            pen.write(id, at_ns, &format!("{record}\n")).unwrap();
        }
        let trace = pen.end().unwrap();
        assert_eq!(trace.records, 3000);
        for (from, to) in [
            (0, 0),
            (0, 2000),
            (255, 257),
            (700, 700),
            (1499, 9000),
            (5000, 6000),
        ] {
            let within = |r: &&Value| (from..=to).contains(&r["at_ns"].as_u64().unwrap());
            let own: Vec<&Value> = all.iter().filter(within).collect();
            let (found, more) = trace.between(from, to, None, 100_000).unwrap();
            assert_eq!(found.iter().collect::<Vec<_>>(), own, "{from} {to}");
            assert!(!more);
        }
        let (found, more) = trace.between(0, 2000, None, 10).unwrap();
        assert_eq!((found.len(), more), (10, true));
        // Pages by number, from a number that no record has too, give each record once.
        for limit in [1, 7, 512, 2999, 3000] {
            let (mut paged, mut after) = (Vec::new(), None);
            loop {
                let (page, more) = trace.between(0, u64::MAX, after, limit).unwrap();
                after = page.last().map(|r| r["id"].as_u64().unwrap() + 1);
                paged.extend(page);
                if !more {
                    break;
                }
            }
            assert_eq!(paged, all, "{limit}");
        }
        for middle in [1, 301, 1537, 2998] {
            let (chain, more) = trace.chain(2 * middle).unwrap().unwrap();
            let ids: Vec<u64> = chain.iter().map(|r| r["id"].as_u64().unwrap()).collect();
            let first = middle - middle % 3;
            assert_eq!(ids, [2 * first, 2 * first + 2, 2 * first + 4]);
            assert!(!more);
        }
        assert!(trace.chain(3).unwrap().is_none());
    }

    /// A trace ends before it fills the disk, and says why.
    #[test]
    fn verif_a_trace_has_a_greatest_length() {
        let folder = Arc::new(tempfile::tempdir().unwrap());
        let mut pen = Pen::begin(folder, &json!({ "format": "trace/1" })).unwrap();
        let record = "{\"id\":1,\"at_ns\":1}\n";
        pen.write(1, 1, record).unwrap();
        pen.byte = LARGEST - record.len() as u64;
        pen.write(1, 1, record).unwrap();
        let error = pen.write(1, 1, record).unwrap_err();
        assert!(error.to_string().contains("1 GiB"), "{error}");
    }

    /// More records of one instant than are told at once.
    #[test]
    fn verif_records_of_one_instant_are_all_found() {
        let folder = Arc::new(tempfile::tempdir().unwrap());
        let mut pen = Pen::begin(folder, &json!({ "format": "trace/1" })).unwrap();
        let most = MOST_RECORDS as u64 + 5000;
        for id in 0..most {
            let record = json!({ "id": id, "at_ns": 9 });
            pen.write(id, 9, &format!("{record}\n")).unwrap();
        }
        let trace = pen.end().unwrap();
        let (first, more) = trace.between(0, u64::MAX, None, usize::MAX).unwrap();
        assert_eq!((first.len(), more), (MOST_RECORDS, true));
        let last = first.last().and_then(|r| r["id"].as_u64());
        let (rest, more) = trace.between(0, u64::MAX, last, usize::MAX).unwrap();
        assert_eq!(
            (rest.len() as u64, more),
            (most - MOST_RECORDS as u64, false)
        );
        assert_eq!(rest[0]["id"], last.unwrap() + 1);
    }
}
