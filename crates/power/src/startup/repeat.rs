//! Whether a start repeats itself, and the skipping of periods that are alike.

use crate::startup::circuit::Phase;
use crate::startup::record::{EventKind, Ledger};
use crate::startup::run::{End, Run};

/// A state has come back when voltages and timers agree to this share.
const SAME_STATE: f64 = 1e-5;

/// How far the state may be off after skipped periods: so many times as far as after one.
const MOST_DRIFT: f64 = 1e-7;

/// The state when a module switched on, to be recognised when it comes back (Brent's rule: the state kept is renewed
/// after 1, 2, 4, 8 ... returns, so that a period of any number of switchings is found).
#[derive(Clone, Debug)]
pub(crate) struct Snapshot {
    at_s: f64,
    voltage_v: Vec<f64>,
    phases: Vec<Phase>,
    boot_end_s: Vec<f64>,
    ledger: Ledger,
    returns: u64,
    renew_after: u64,
}

impl Run<'_> {
    /// Compares the state with the one kept when `module` switched on earlier. If all of it came back, the run ends. If
    /// all came back but timers that run on by themselves, whole periods are skipped until shortly before the first of
    /// these.
    pub(crate) fn look_back(&mut self, module: usize) {
        let Some(kept) = &mut self.snapshots[module] else {
            self.snapshots[module] = Some(Snapshot {
                at_s: self.at_s,
                voltage_v: self.w.voltage_v.clone(),
                phases: self.phases.clone(),
                boot_end_s: self.boot_end_s.clone(),
                ledger: self.record.ledger,
                returns: 0,
                renew_after: 1,
            });
            return;
        };
        let period_s = self.at_s - kept.at_s;
        let mut apart = 0.0_f64;
        for i in 0..self.w.voltage_v.len() {
            let apart_v = (kept.voltage_v[i] - self.w.voltage_v[i]).abs();
            apart = apart.max(apart_v / self.circuit.highest_v);
        }
        let mut next_s = f64::INFINITY;
        for i in 0..self.phases.len() {
            let not_before_s = self.circuit.modules[i].not_before_s;
            if self.phases[i] == Phase::Off && not_before_s > self.at_s && not_before_s.is_finite()
            {
                next_s = next_s.min(not_before_s);
            }
            if kept.phases[i] != self.phases[i] {
                apart = f64::INFINITY;
            } else if self.boot_end_s[i].is_finite() && self.boot_end_s[i] == kept.boot_end_s[i] {
                next_s = next_s.min(self.boot_end_s[i]);
            } else if self.boot_end_s[i].is_finite() {
                let later_s = self.boot_end_s[i] - kept.boot_end_s[i];
                apart = apart.max((later_s - period_s).abs() / period_s.max(f64::MIN_POSITIVE));
            }
        }
        if apart <= SAME_STATE && next_s.is_infinite() {
            let since_s = kept.at_s;
            self.end = Some(End::Recurs { since_s });
            return;
        }
        let to_next = ((next_s.min(self.settings.longest_s) - self.at_s) / period_s).floor() - 1.0;
        let periods = to_next.min((MOST_DRIFT / apart).floor());
        if period_s > 0.0 && periods >= 1.0 {
            let skipped_s = periods * period_s;
            for i in 0..self.boot_end_s.len() {
                if self.boot_end_s[i] != kept.boot_end_s[i] {
                    self.boot_end_s[i] += skipped_s;
                }
            }
            self.record.ledger.repeat(&kept.ledger, periods);
            self.log(EventKind::Skipped {
                module,
                periods,
                lasting_s: skipped_s,
            });
            self.at_s += skipped_s;
            self.snapshots[module] = None;
            return;
        }
        kept.returns += 1;
        if kept.returns == kept.renew_after {
            kept.at_s = self.at_s;
            kept.voltage_v.copy_from_slice(&self.w.voltage_v);
            kept.phases.copy_from_slice(&self.phases);
            kept.boot_end_s.copy_from_slice(&self.boot_end_s);
            kept.ledger = self.record.ledger;
            kept.returns = 0;
            kept.renew_after *= 2;
        }
    }
}
