//! What the faults that hold make of spans and supplies. It is worked out anew from all of them whenever one begins, goes on or ends, so that
//! faults at one place may overlap in any order.

use assess::input::{Carrier, Given, ns};
use network::LinkState;
use plan::{FaultKind, Leaves, Line, ModuleIx, SpanIx, SupplyIx};
use timeline::Class;

use super::{Engine, place};
use crate::error::RehearsalError;

impl Engine<'_> {
    /// Works out anew which spans are whole, what their contacts add, and what each supply gives.
    pub(super) fn rewire(&mut self) -> Result<(), RehearsalError> {
        self.dirty = true;
        for m in &mut self.modules {
            m.need_not_wait();
        }
        let spans = self.line.spans.len();
        let whole: Vec<bool> = (0..spans).map(|s| !self.is_open(SpanIx(s))).collect();
        let was = std::mem::replace(&mut self.whole, whole);
        self.added_ohm = (0..spans).map(|s| self.bad_ohm(SpanIx(s))).collect();
        for s in 0..self.line.supplies.len() {
            (self.giving[s], self.given[s]) = self.supplied(SupplyIx(s));
        }
        let (Some(traffic), Some(machine)) = (&self.traffic, &mut self.machine) else {
            return Ok(());
        };
        let state = |whole: bool| match whole {
            true => LinkState::Up,
            false => LinkState::Down,
        };
        let mut done = Ok(());
        for (link, span) in traffic.link_spans.iter().enumerate() {
            if was[span.0] != self.whole[span.0] {
                done = done.and(machine.set_link(self.now, link, state(self.whole[span.0])));
            }
        }
        for (at, carrier) in traffic.shared.iter().enumerate() {
            // A bus is as whole as all its pieces.
            let broken = match carrier {
                Carrier::Span(s) => !self.whole[s.0],
                Carrier::Bus(bus) => {
                    let mut pieces = self.line.spans.iter().zip(&self.whole);
                    pieces.any(|(s, whole)| s.bus == Some(*bus) && !whole)
                }
            };
            if std::mem::replace(&mut self.faults.broken[at], broken) != broken {
                done = done.and(machine.set_bus(self.now, at, state(!broken)));
            }
        }
        done.map_err(|source| RehearsalError::Machine {
            at: self.now,
            source,
        })?;
        self.drain_drops();
        Ok(())
    }

    fn is_open(&self, span: SpanIx) -> bool {
        self.opened_by(span, None).is_some()
    }

    /// The first fault but one that holds a span open.
    pub(super) fn opened_by(&self, span: SpanIx, but: Option<usize>) -> Option<usize> {
        let ends = |m: ModuleIx| {
            let s = &self.line.spans[span.0];
            s.from == m || s.to == m
        };
        let opens = |f: &usize| match self.cues.faults[*f].what {
            FaultKind::Cut(s) => s == span,
            FaultKind::Intermittent { span: s, .. } => s == span && self.faults.open[*f],
            FaultKind::Unplugged {
                module,
                leaves: Leaves::Gap,
            } => ends(module),
            _ => false,
        };
        (0..self.cues.faults.len())
            .filter(|f| Some(*f) != but && self.faults.in_force[*f])
            .find(opens)
    }

    fn bad_ohm(&self, span: SpanIx) -> f64 {
        self.holding()
            .filter_map(|f| match f {
                FaultKind::BadContact {
                    span: s,
                    resistance_ohm,
                } if s == span => Some(resistance_ohm.si),
                _ => None,
            })
            .sum()
    }

    /// Whether a supply gives, and its output: that of the last swap, at the lowest voltage of all brown-outs. At 0 V it gives nothing.
    fn supplied(&self, supply: SupplyIx) -> (bool, Given) {
        let swap = self.swap(supply);
        let mut given = match swap {
            Some((_, given)) => given,
            None => Given::of(&self.line.supplies[supply.0]),
        };
        let mut gives = true;
        for (f, fault) in self.cues.faults.iter().enumerate() {
            if !self.faults.in_force[f] {
                continue;
            }
            match fault.what {
                FaultKind::NoSupply(s) if s == supply => gives = false,
                FaultKind::Drained { supply: s, .. } if s == supply => {
                    gives &= !(self.faults.spent[f] && self.drains(f));
                }
                FaultKind::BrownOut {
                    supply: s,
                    voltage_v,
                } if s == supply => given.voltage_v = given.voltage_v.min(voltage_v.si),
                _ => {}
            }
        }
        (gives && given.voltage_v > 0.0, given)
    }

    /// The last swap of a supply that holds: when it began, s, and what stands there now.
    fn swap(&self, supply: SupplyIx) -> Option<(f64, Given)> {
        let mut last: Option<(f64, Given)> = None;
        for (f, fault) in self.cues.faults.iter().enumerate() {
            if let FaultKind::Swapped {
                supply: s,
                voltage_v,
                resistance_ohm,
                current_limit_a,
            } = fault.what
                && s == supply
                && self.faults.in_force[f]
                && last.is_none_or(|(at_s, _)| at_s <= fault.at_s.si)
            {
                let given = Given {
                    voltage_v: voltage_v.si,
                    resistance_ohm: resistance_ohm.si,
                    current_limit_a: current_limit_a.map(|q| q.si),
                };
                last = Some((fault.at_s.si, given));
            }
        }
        last
    }

    /// Whether a drained supply still stands there: one that was swapped for it afterwards is not drained.
    fn drains(&self, fault: usize) -> bool {
        let of = &self.cues.faults[fault];
        let FaultKind::Drained { supply, .. } = of.what else {
            return false;
        };
        let swapped_s = self.swap(supply).map(|(at_s, _)| at_s);
        self.faults.in_force[fault] && swapped_s.is_none_or(|s| s < of.at_s.si)
    }

    /// Takes from the drained supplies what they gave for a time.
    pub(super) fn drain(&mut self, span_s: f64) {
        for (f, fault) in self.cues.faults.iter().enumerate() {
            if let FaultKind::Drained { supply, .. } = fault.what
                && self.drains(f)
                && !self.faults.spent[f]
            {
                self.faults.left_j[f] -= self.supply_w[supply.0] * span_s;
            }
        }
    }

    /// After a settling: when the drained supplies will be spent, if all stays as it is.
    pub(super) fn watch_drained(&mut self) -> Result<(), RehearsalError> {
        for (f, fault) in self.cues.faults.iter().enumerate() {
            let FaultKind::Drained { supply, .. } = fault.what else {
                continue;
            };
            let power_w = self.supply_w[supply.0];
            if !self.drains(f) || self.faults.spent[f] {
                continue;
            }
            self.faults.turns[f] += 1;
            if power_w > 0.0 {
                let left_s = (self.faults.left_j[f] / power_w).max(0.0);
                // Beyond the end of the rehearsal it does not matter when.
                let left_s = left_s.min(self.end.as_s_f64());
                let after = ns(|| self.named(f), left_s)?;
                let turn = self.faults.turns[f];
                self.go_later(after, Class::Supply, place(f), f, turn);
            }
        }
        Ok(())
    }
}

/// Spans, contacts and supplies as the plan has them.
pub(super) fn sound_line(line: &Line) -> (Vec<bool>, Vec<f64>, Vec<Given>) {
    (
        vec![true; line.spans.len()],
        vec![0.0; line.spans.len()],
        line.supplies.iter().map(Given::of).collect(),
    )
}
