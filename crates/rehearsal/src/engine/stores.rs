//! The stores for recordings and logs: how they fill, what goes first when one is full, and how many files were begun and closed.
//!
//! A store takes recordings while its own module and that of the sensor work, at the rate of docs/method/storage.md (the share of the time recorded counts as
//! a mean rate) or, of a sensor on another module, packet by packet as its stream brings them, and a log entry when what is logged happens. A file ends at each whole multiple of the cut in UTC and when writing stops; that of
//! a stream begins with its first packet. When
//! the store is full, what the plan names goes in its order: the log at once, the oldest files as room is needed; when nothing is left to go, it takes nothing more.
//! Where the log goes first and recordings are overwritten, an entry goes as soon as more is recorded.

use assess::input::{Filling, InputError, RecordingFill, filling, usable_bytes};
use plan::{CueSheet, Droppable, FaultKind, Line, StorageIx, StreamIx};
use timeline::{Class, Ns};

use super::{Engine, From};
use crate::record::What;

/// What a store took.
#[derive(Clone, Copy, PartialEq, Debug, Default)]
pub struct StoreCount {
    /// Bytes of recordings and logs in it at the end.
    pub held_bytes: f64,
    /// Files begun.
    pub files_begun: u64,
    /// Files closed.
    pub files_closed: u64,
    /// Bytes of logs and old recordings that went to make room.
    pub dropped_bytes: f64,
    /// Bytes that found no room.
    pub lost_bytes: f64,
}

pub(super) struct StoreNow {
    filling: Filling,
    usable_bytes: f64,
    /// Rehearsal time at which a cut falls, and from cut to cut, ns.
    cuts: Option<(i128, i128)>,
    recordings_bytes: f64,
    logs_bytes: f64,
    /// Recordings that are being written.
    writing: Vec<bool>,
    /// Recordings whose samples come over a stream, each with the bytes that one packet of it adds.
    packet_bytes: Vec<Option<f64>>,
    /// Up to when it has been filled.
    since: Ns,
    /// Taken up from outside: nothing fits.
    stuffed: bool,
    /// The oldest recordings go as new ones come.
    overwrites: bool,
    /// The plan names logs before recordings: while recordings come they take the room of the log, too.
    logs_first: bool,
    /// Nothing more fits, and it has been told.
    full: bool,
    next: Option<Ns>,
    count: StoreCount,
}

impl StoreNow {
    fn held_bytes(&self) -> f64 {
        self.recordings_bytes + self.logs_bytes
    }

    fn rate_b_s(&self) -> f64 {
        let own = self.writing.iter().zip(&self.packet_bytes);
        let written = self.filling.recordings.iter().zip(own);
        written
            .filter(|(_, (writes, packet))| **writes && packet.is_none())
            .map(|(r, _)| r.stored_b_s)
            .sum()
    }

    fn writes(&self) -> bool {
        self.writing.contains(&true)
    }

    /// Fills it up to an instant.
    fn fill(&mut self, now: Ns) {
        let bytes = self.rate_b_s() * Ns(now.0 - self.since.0).as_s_f64();
        if let Some((first, every)) = self.cuts {
            let upto = |t: Ns| (i128::from(t.0) - first).div_euclid(every);
            let cut = u64::try_from(upto(now) - upto(self.since)).expect("time goes on");
            for of in 0..self.writing.len() {
                if !self.writing[of] || cut == 0 {
                    continue;
                }
                if self.packet_bytes[of].is_some() {
                    // The next file begins with the next packet.
                    self.set_writing(of, false);
                } else if !self.full {
                    self.count.files_begun += cut;
                    self.count.files_closed += cut;
                }
            }
        }
        self.since = now;
        self.take(bytes);
    }

    /// Takes bytes of a recording.
    fn take(&mut self, bytes: f64) {
        if self.full {
            self.count.lost_bytes += bytes;
        } else if self.overwrites {
            self.count.dropped_bytes += bytes;
        } else {
            self.recordings_bytes += bytes;
        }
    }

    /// When it is full at this rate, if it ever is.
    fn look_ahead(&mut self) {
        let rate_b_s = self.rate_b_s();
        let free_bytes = self.usable_bytes - self.held_bytes();
        let log_goes =
            self.logs_first && self.logs_bytes > 0.0 && (self.writes() || self.over_bytes() > 0.0);
        let overwrites = self.overwrites && self.recordings_bytes > 0.0;
        self.next = if self.full || (overwrites && !log_goes) {
            None
        } else if self.overwrites || self.stuffed || free_bytes <= 0.0 {
            Some(self.since)
        } else if rate_b_s > 0.0 {
            let left = Ns::from_s_f64(free_bytes / rate_b_s).ok();
            // Rounded up, so that it is full then.
            left.and_then(|left| self.since.checked_add(Ns(left.0 + 1)))
        } else {
            None
        };
    }

    /// Adds to the log. Where recordings are overwritten the oldest go for it; what is beyond the capacity then goes at the same instant.
    fn log(&mut self, bytes: f64) {
        if self.full {
            self.count.lost_bytes += bytes;
            return;
        }
        if !self.overwrites {
            self.logs_bytes += bytes;
            return;
        }
        let gone = bytes.min(self.recordings_bytes);
        self.recordings_bytes -= gone;
        self.count.dropped_bytes += gone;
        if self.stuffed {
            // What fills it from outside leaves only the room of what goes.
            self.logs_bytes += gone;
            self.count.lost_bytes += bytes - gone;
        } else {
            self.logs_bytes += bytes;
        }
    }

    /// Bytes beyond the capacity.
    fn over_bytes(&self) -> f64 {
        (self.held_bytes() - self.usable_bytes).max(0.0)
    }

    /// Takes nothing more; what was beyond the capacity found no room.
    fn stop(&mut self) {
        let over = self.over_bytes();
        let of_logs = over.min(self.logs_bytes);
        self.logs_bytes -= of_logs;
        self.recordings_bytes -= over - of_logs;
        self.count.lost_bytes += over;
        self.overwrites = false;
        self.full = true;
        self.count.files_closed += self.writing.iter().filter(|w| **w).count() as u64;
    }

    fn set_writing(&mut self, of: usize, on: bool) {
        if self.writing[of] == on {
            return;
        }
        self.writing[of] = on;
        if self.full {
            return;
        }
        if on {
            self.count.files_begun += 1;
        } else {
            self.count.files_closed += 1;
        }
    }
}

/// The stores of the line, empty.
pub(super) fn stores(line: &Line, cues: &CueSheet) -> Result<Vec<StoreNow>, InputError> {
    let begins = cues.start.or(line.deployment.start);
    (0..line.storages.len())
        .map(StorageIx)
        .map(|ix| {
            let storage = &line.storages[ix.0];
            let cuts = storage.cut_s.zip(begins).map(|(cut, begins)| {
                let every = (cut.si * 1e9).round() as i128;
                (-begins.as_nanosecond().rem_euclid(every), every)
            });
            let filling = filling_without_logs(line, ix)?;
            let of_packet = |(record, fill): (&plan::Record, &RecordingFill)| {
                let stream = &line.streams[record.over?.0];
                let packet_s = 8.0 * f64::from(stream.packet_bytes) / stream.rate_bps.si;
                Some(fill.stored_b_s * packet_s)
            };
            let records = storage.records.iter().zip(&filling.recordings);
            let packet_bytes = records.map(of_packet).collect();
            Ok(StoreNow {
                filling,
                usable_bytes: usable_bytes(line, ix),
                cuts,
                recordings_bytes: 0.0,
                logs_bytes: 0.0,
                writing: vec![false; storage.records.len()],
                packet_bytes,
                since: Ns::ZERO,
                stuffed: false,
                overwrites: false,
                logs_first: storage.drop.as_deref().and_then(<[_]>::first)
                    == Some(&Droppable::Logs),
                full: false,
                next: None,
                count: StoreCount::default(),
            })
        })
        .collect()
}

/// The recordings of a store; what is logged is counted as it happens.
fn filling_without_logs(line: &Line, ix: StorageIx) -> Result<Filling, InputError> {
    let mut plain = line.clone();
    plain.storages[ix.0].logs = None;
    filling(&plain, ix)
}

impl Engine<'_> {
    /// When the next store is full.
    pub(super) fn next_store(&self) -> Option<(Ns, Class, From)> {
        let stores = self.stores.iter().enumerate();
        stores
            .filter_map(|(i, s)| Some((s.next?, Class::Probe, From::Store(i))))
            .min_by_key(|(at, ..)| *at)
    }

    /// What of a record counts for the stores.
    pub(super) fn store_sees(&mut self, what: &What) {
        if self.stores.is_empty() {
            return;
        }
        let line = self.line;
        let logged = |s: StorageIx| {
            let (module, logs) = (line.storages[s.0].module, line.storages[s.0].logs?);
            match what {
                What::Event { detector, .. } if line.detectors[detector.0].on.module == module => {
                    logs.event_bytes
                }
                What::Published { module: m, .. } if *m == module => logs.message_bytes,
                What::Logged { module: m, .. } if *m == module => logs.line_bytes,
                _ => None,
            }
        };
        for s in 0..self.stores.len() {
            if let Some(bytes) = logged(StorageIx(s)) {
                let store = &mut self.stores[s];
                store.fill(self.now);
                store.log(bytes.si);
                store.look_ahead();
            }
        }
        if matches!(what, What::Down { .. } | What::Up { .. }) {
            self.write_where_it_works();
        }
    }

    /// Writes what the modules that work record.
    pub(super) fn write_where_it_works(&mut self) {
        for (s, plan) in self.line.storages.iter().enumerate() {
            for (r, record) in plan.records.iter().enumerate() {
                let module = record.sensor.module;
                let works = self.modules[plan.module.0].works() && self.modules[module.0].works();
                self.stores[s].fill(self.now);
                // What comes from another module begins with its first packet.
                let begins = module == plan.module || self.stores[s].writing[r];
                self.stores[s].set_writing(r, works && begins);
            }
            self.stores[s].look_ahead();
        }
    }

    /// Stores a packet of a stream where its samples are recorded; whether a store has something to do at once because of it.
    pub(super) fn store_packet(&mut self, stream: StreamIx) -> bool {
        let mut acts = false;
        for (s, plan) in self.line.storages.iter().enumerate() {
            for (r, record) in plan.records.iter().enumerate() {
                if record.over != Some(stream) || !self.modules[plan.module.0].works() {
                    continue;
                }
                let store = &mut self.stores[s];
                let Some(bytes) = store.packet_bytes[r] else {
                    continue;
                };
                store.fill(self.now);
                store.set_writing(r, true);
                store.take(bytes);
                store.look_ahead();
                acts |= store.next.is_some_and(|at| at <= self.now);
            }
        }
        acts
    }

    /// A store is full: what the plan names goes.
    pub(super) fn step_store(&mut self, index: usize) {
        let storage = StorageIx(index);
        let store = &mut self.stores[index];
        store.fill(self.now);
        store.overwrites = false;
        let order = self.line.storages[index].drop.as_deref().unwrap_or(&[]);
        for what in order {
            let store = &mut self.stores[index];
            let bytes = match what {
                Droppable::Logs if store.logs_bytes > 0.0 => std::mem::take(&mut store.logs_bytes),
                Droppable::OldestRecordings if store.recordings_bytes > 0.0 => {
                    store.overwrites = true;
                    let over = store.over_bytes().min(store.recordings_bytes);
                    store.recordings_bytes -= over;
                    over
                }
                _ => continue,
            };
            store.count.dropped_bytes += bytes;
            self.record(
                None,
                None,
                What::StoreDrops {
                    storage,
                    what: *what,
                    bytes,
                },
            );
            self.stores[index].look_ahead();
            return;
        }
        let store = &mut self.stores[index];
        store.stop();
        debug_assert!(store.recordings_bytes >= 0.0 && store.logs_bytes >= 0.0);
        store.look_ahead();
        self.record(None, None, What::StoreFull { storage });
    }

    /// Something else fills a store, or is gone again; what the store counts then.
    pub(super) fn stuff_store(&mut self, storage: StorageIx) -> StoreCount {
        let stuffed = self
            .holding()
            .any(|f| matches!(f, FaultKind::StorageFull(s) if s == storage));
        let store = &mut self.stores[storage.0];
        store.fill(self.now);
        if store.stuffed && !stuffed {
            if store.full {
                store.full = false;
                store.count.files_begun += store.writing.iter().filter(|w| **w).count() as u64;
            }
            store.overwrites = false;
        }
        store.stuffed = stuffed;
        store.look_ahead();
        store.count
    }

    pub(super) fn store_counts(&mut self) -> Vec<StoreCount> {
        let now = self.now;
        let counts = self.stores.iter_mut().map(|store| {
            store.fill(now);
            StoreCount {
                held_bytes: store.held_bytes(),
                ..store.count
            }
        });
        counts.collect()
    }
}
