//! What behaviours set detectors to, and what those come back with.
//!
//! Thresholds and hold-off live in the sequential queue, so that nothing here depends on how far the ears have run ahead: the first cell that meets
//! a new setting is the first that becomes known after it.

use plan::{DetectorIx, Line};

use super::Engine;
use crate::error::RehearsalError;
use crate::hearing::Decider;
use crate::record::{RecordId, Root, What};

/// How the trigger of a detector stands, and what came of it.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct SettingCount {
    /// The detector.
    pub detector: DetectorIx,
    /// Settings by behaviours.
    pub changes: u64,
    /// How often it came back with the plan's own setting because its module had stopped.
    pub restored: u64,
    /// Lowest and highest threshold that it had, dB.
    pub threshold_db: (f64, f64),
    /// Shortest and longest hold-off that it had, s.
    pub hold_off_s: (f64, f64),
    /// Its threshold at the end, dB.
    pub last_threshold_db: f64,
    /// Its hold-off at the end, s.
    pub last_hold_off_s: f64,
}

/// The settings of the detectors that have any.
pub(super) fn settings(line: &Line) -> Vec<Option<SettingCount>> {
    let all = line.detectors.iter().enumerate();
    all.map(|(d, detector)| {
        let settable = detector.settable;
        if settable.threshold_db.is_none() && settable.hold_off_s.is_none() {
            return None;
        }
        let (on_db, _) = detector.thresholds_db()?;
        let hold_off_s = detector.hold_off_s()?.si;
        Some(SettingCount {
            detector: DetectorIx(d),
            changes: 0,
            restored: 0,
            threshold_db: (on_db, on_db),
            hold_off_s: (hold_off_s, hold_off_s),
            last_threshold_db: on_db,
            last_hold_off_s: hold_off_s,
        })
    })
    .collect()
}

impl Engine<'_> {
    /// A behaviour sets a detector of its module.
    pub(super) fn set_detector(
        &mut self,
        detector: DetectorIx,
        (threshold_db, hold_off_s): (Option<f64>, Option<f64>),
        parent: RecordId,
        root: Option<Root>,
    ) -> Result<(), RehearsalError> {
        let Some(mut now) = self.settings[detector.0] else {
            return Ok(());
        };
        now.changes += 1;
        now.last_threshold_db = threshold_db.unwrap_or(now.last_threshold_db);
        now.last_hold_off_s = hold_off_s.unwrap_or(now.last_hold_off_s);
        self.take_setting(now)?;
        let what = What::Set {
            detector,
            threshold_db: now.last_threshold_db,
            hold_off_s: now.last_hold_off_s,
            restored: false,
        };
        self.record(Some(parent), root, what);
        Ok(())
    }

    /// A module has stopped: its detector comes back with the plan's setting.
    pub(super) fn restore_setting(&mut self, detector: DetectorIx) -> Result<(), RehearsalError> {
        let plan = &self.line.detectors[detector.0];
        let own = plan.thresholds_db().zip(plan.hold_off_s());
        let (Some(mut now), Some(((on_db, _), hold_off))) = (self.settings[detector.0], own) else {
            return Ok(());
        };
        if (now.last_threshold_db, now.last_hold_off_s) == (on_db, hold_off.si) {
            return Ok(());
        }
        now.restored += 1;
        now.last_threshold_db = on_db;
        now.last_hold_off_s = hold_off.si;
        self.take_setting(now)?;
        let what = What::Set {
            detector,
            threshold_db: on_db,
            hold_off_s: hold_off.si,
            restored: true,
        };
        let cause = self.modules[plan.on.module.0].stopped_by;
        self.record(cause, None, what);
        Ok(())
    }

    /// The trigger takes a setting; both of its thresholds move together.
    fn take_setting(&mut self, mut now: SettingCount) -> Result<(), RehearsalError> {
        let detector = &self.line.detectors[now.detector.0];
        let (on_db, hold_off_s) = (now.last_threshold_db, now.last_hold_off_s);
        now.threshold_db = (now.threshold_db.0.min(on_db), now.threshold_db.1.max(on_db));
        now.hold_off_s = (
            now.hold_off_s.0.min(hold_off_s),
            now.hold_off_s.1.max(hold_off_s),
        );
        self.settings[now.detector.0] = Some(now);
        let (own_on_db, own_off_db) = detector
            .thresholds_db()
            .expect("only a detector with a trigger is settable");
        let Some(Decider { logic, .. }) = &mut self.ears.deciders[now.detector.0] else {
            return Ok(());
        };
        logic
            .set_threshold(on_db, on_db - (own_on_db - own_off_db))
            .and_then(|()| logic.set_hold_off(hold_off_s))
            .map_err(|source| RehearsalError::Detector {
                detector: detector.id.clone(),
                source,
            })
    }
}
