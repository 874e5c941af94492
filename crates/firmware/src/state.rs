//! The fields of a detector's state in C, each with its size.

use core::fmt::Write as _;

use detect::{BackgroundKind, DecisionWorkings, MeasureWorkings, Workings};

use crate::band::BandArithmetic;

/// The fields, in order.
pub(crate) struct State {
    fields: Vec<Field>,
}

struct Field {
    text: String,
    bytes: usize,
}

/// Bytes of a cell of the source: two numbers of samples and four figures.
const CELL_BYTES: usize = 48;

impl State {
    pub(crate) fn of(workings: &Workings, band: Option<&BandArithmetic>) -> Self {
        let mut state = Self { fields: Vec::new() };
        for (i, lowering) in workings.lowerings.iter().enumerate() {
            let length = lowering.taps.len();
            state.put("float", &format!("line{i}[{}]", 2 * length), 8 * length);
            state.put("uint32_t", &format!("at{i}"), 4);
            state.put("uint32_t", &format!("wait{i}"), 4);
        }
        let sections = workings.sections.len();
        match band {
            Some(band) if band.is_single() => {
                state.put("float", &format!("band[{sections}][2]"), 8 * sections);
            }
            Some(_) => {
                let places = sections + 1;
                state.put("double", &format!("band[{places}][2]"), 16 * places);
            }
            None => {}
        }
        state.measure(workings);
        if let Some(background) = workings.background {
            let cells = background.cells;
            state.put("float", &format!("ring[{cells}]"), 4 * cells);
            if !matches!(background.kind, BackgroundKind::Mean) {
                state.put("float", &format!("ordered[{cells}]"), 4 * cells);
            }
            state.put("uint32_t", "next", 4);
            state.put("uint32_t", "held", 4);
            if background.guard > 0 {
                let guard = background.guard;
                state.put("float", &format!("waiting[{guard}]"), 4 * guard);
                state.put("uint32_t", "waits", 4);
                state.put("uint32_t", "oldest", 4);
            }
        }
        state.decision(&workings.decision);
        state.put("uint64_t", "heard", 8);
        state.put("bool", "failed", 1);
        state
    }

    fn measure(&mut self, workings: &Workings) {
        match workings.measure {
            MeasureWorkings::Exponential { .. } => {
                self.put("double", "mean", 8);
                self.put("uint64_t", "hop", 8);
                self.put("uint64_t", "taken", 8);
                return;
            }
            MeasureWorkings::TeagerKaiser => {
                self.put("float", "last[2]", 8);
                self.put("uint32_t", "neighbours", 4);
            }
            MeasureWorkings::MeanSquare => {}
        }
        let places = (workings.window / workings.hop) as usize + 1;
        self.put("double", &format!("parts[{places}][2]"), 16 * places);
        self.put("double", "sum", 8);
        self.put("float", "some", 4);
        for (kind, name, bytes) in [
            ("uint32_t", "in_some", 4),
            ("uint32_t", "place", 4),
            ("uint32_t", "whole", 4),
            ("uint64_t", "hop", 8),
            ("uint64_t", "taken", 8),
            ("uint64_t", "skip", 8),
        ] {
            self.put(kind, name, bytes);
        }
    }

    fn decision(&mut self, decision: &DecisionWorkings) {
        for (kind, names) in [
            ("uint64_t", "begin end peak id next_id hold_until"),
            ("double", "peak_level_db energy background_db score_db"),
        ] {
            for name in names.split(' ') {
                self.put(kind, name, 8);
            }
        }
        self.put("bool", "told_onset", 1);
        self.put("bool", "confirmed", 1);
        match decision {
            DecisionWorkings::Trigger { k_of_n, .. } => {
                self.put("uint64_t", "cells", 8);
                self.put("double", "dip_energy", 8);
                self.put("uint64_t", "dip_cells", 8);
                self.put("int", "state", 4);
                if k_of_n.of_last > 1 {
                    let cells = k_of_n.of_last as usize;
                    self.put("CELL", &format!("recent[{cells}]"), CELL_BYTES * cells);
                    self.put("uint32_t", "recents", 4);
                }
            }
            DecisionWorkings::Pulses { at_least, .. } => {
                for name in ["last_begin", "last_interval"] {
                    self.put("uint64_t", name, 8);
                }
                for name in [
                    "intervals",
                    "interval_mean",
                    "interval_squares",
                    "lowest_db",
                ] {
                    self.put("double", name, 8);
                }
                for name in ["pulses", "steady_pairs", "latest_held", "latest_next"] {
                    self.put("uint32_t", name, 4);
                }
                let latest = *at_least as usize;
                self.put("uint64_t", &format!("latest[{latest}]"), 8 * latest);
                self.put("CELL", "highest", CELL_BYTES);
                self.put("bool", "open", 1);
                self.put("bool", "rising", 1);
            }
        }
    }

    fn put(&mut self, kind: &str, declared: &str, bytes: usize) {
        self.fields.push(Field {
            text: format!("{kind} {declared};"),
            bytes,
        });
    }

    /// Sum of the sizes of the fields, bytes.
    pub(crate) fn bytes(&self) -> usize {
        self.fields.iter().map(|field| field.bytes).sum()
    }

    /// The fields as C, `CELL` as the type of a cell.
    pub(crate) fn fields(&self, cell: &str) -> String {
        self.fields.iter().fold(String::new(), |mut out, field| {
            let _ = writeln!(out, "    {}", field.text.replace("CELL", cell));
            out
        })
    }
}
