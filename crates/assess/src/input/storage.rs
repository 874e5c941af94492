//! What fills a store: recordings cut into files, and logs.

use plan::{Action, Line, Record, SensorIx, StorageIx};
use quantity::SECONDS_PER_DAY;
use recording::{Container, planned_container, planned_file_bytes};

use super::{InputError, SECONDS_PER_HOUR, runs_per_h};

/// What fills a store.
#[derive(Clone, PartialEq, Debug)]
pub struct Filling {
    /// Recording by recording, in the order of the plan.
    pub recordings: Vec<RecordingFill>,
    /// What logs are expected to take, B/s; `None` where the store keeps none.
    pub logs_b_s: Option<f64>,
}

impl Filling {
    /// All of it, B/s.
    #[must_use]
    pub fn b_s(&self) -> f64 {
        let recordings: f64 = self.recordings.iter().map(|r| r.stored_b_s).sum();
        recordings + self.logs_b_s.unwrap_or(0.0)
    }
}

/// What one recording takes.
#[derive(Clone, PartialEq, Debug)]
pub struct RecordingFill {
    /// The sensor.
    pub sensor: SensorIx,
    /// Share of the time recorded, 0 to 1.
    pub share: f64,
    /// Raw size over stored size.
    pub compression: f64,
    /// Samples alone, B/s.
    pub samples_b_s: f64,
    /// With headers and what the last piece of each file leaves, B/s.
    pub stored_b_s: f64,
    /// Its files, where the plan says how long they are.
    pub files: Option<Files>,
}

/// The files of one recording.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Files {
    /// Length of one, s.
    pub cut_s: f64,
    /// Size of one, header included, B.
    pub file_bytes: f64,
    /// What one takes of the store, B.
    pub taken_bytes: f64,
    /// Container of the uncompressed ones.
    pub container: Option<Container>,
}

/// Bytes that one sample takes in a recording: 16 bits are two, 24 bits are three.
fn sample_bytes(bits: u32) -> f64 {
    f64::from(bits.div_ceil(8))
}

/// What fills a store.
///
/// # Errors
/// [`InputError::NotSaid`] for a sensor without samples, or events that nobody expects.
pub fn filling(line: &Line, of: StorageIx) -> Result<Filling, InputError> {
    let storage = &line.storages[of.0];
    let recordings = storage
        .records
        .iter()
        .map(|r| recording_fill(line, of, r))
        .collect::<Result<_, _>>()?;
    Ok(Filling {
        recordings,
        logs_b_s: logs_b_s(line, of)?,
    })
}

fn recording_fill(
    line: &Line,
    of: StorageIx,
    record: &Record,
) -> Result<RecordingFill, InputError> {
    let storage = &line.storages[of.0];
    let Some(chain) = &line.sensor(record.sensor).chain else {
        return Err(InputError::Open {
            what: format!("{} makes no samples", line.sensor_path(record.sensor)),
        });
    };
    let (share, compression) = (record.share.si, record.compression.si);
    let samples_b_s = chain.rate_hz.si * sample_bytes(chain.bits) * share / compression;
    let files = storage.cut_s.map(|cut| {
        let data = samples_b_s * cut.si;
        // What a compressed file spends on its header is part of its compression.
        let (file_bytes, container) = if compression == 1.0 {
            let data = data.ceil() as u64;
            (
                planned_file_bytes(data) as f64,
                Some(planned_container(data)),
            )
        } else {
            (data.ceil(), None)
        };
        let taken_bytes = match storage.cluster_bytes {
            None => file_bytes,
            Some(piece) => (file_bytes / f64::from(piece)).ceil() * f64::from(piece),
        };
        Files {
            cut_s: cut.si,
            file_bytes,
            taken_bytes,
            container,
        }
    });
    Ok(RecordingFill {
        sensor: record.sensor,
        share,
        compression,
        samples_b_s,
        stored_b_s: files.map_or(samples_b_s, |f| f.taken_bytes / f.cut_s),
        files,
    })
}

/// What the log of the store's module is expected to take, B/s.
fn logs_b_s(line: &Line, of: StorageIx) -> Result<Option<f64>, InputError> {
    let storage = &line.storages[of.0];
    let Some(logs) = &storage.logs else {
        return Ok(None);
    };
    let mut b_s = 0.0;
    if let Some(bytes) = logs.event_bytes {
        let own = |d: &&plan::Detector| d.on.module == storage.module;
        for detector in line.detectors.iter().filter(own) {
            let rate = detector.expects.ok_or_else(|| InputError::NotSaid {
                what: format!("detector.{}", detector.id),
                missing: "how many events it is expected to tell (`expects`)",
            })?;
            b_s += bytes.si * rate.count / rate.per_s;
        }
    }
    if logs.message_bytes.is_some() || logs.line_bytes.is_some() {
        for (behaviour, runs_per_h) in line.behaviours.iter().zip(runs_per_h(line)?) {
            if behaviour.on != storage.module {
                continue;
            }
            let each = behaviour.actions.iter().map(|action| match action {
                Action::Publish { .. } => logs.message_bytes.map_or(0.0, |q| q.si),
                Action::Log { .. } => logs.line_bytes.map_or(0.0, |q| q.si),
                _ => 0.0,
            });
            b_s += each.sum::<f64>() * runs_per_h / SECONDS_PER_HOUR;
        }
    }
    Ok(Some(b_s))
}

/// Bytes of a store that may be filled.
#[must_use]
pub fn usable_bytes(line: &Line, of: StorageIx) -> f64 {
    let storage = &line.storages[of.0];
    let free = 1.0 - storage.keep_free.map_or(0.0, |q| q.si);
    storage.capacity_bytes.si * free
}

/// Gigabytes a day, as they are shown.
pub(crate) fn gb_a_day(b_s: f64) -> f64 {
    b_s * SECONDS_PER_DAY / 1e9
}
