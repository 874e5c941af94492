//! What is kept of a start: switchings, traces for a picture, peaks, and the ledger of energy and charge.

use crate::startup::circuit::{Circuit, Work};

/// Something that happened at an instant.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Event {
    /// When, s after the supplies were switched on.
    pub at_s: f64,
    /// What.
    pub kind: EventKind,
}

/// What happened.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum EventKind {
    /// A module began to draw constant power.
    On {
        /// The module.
        module: usize,
    },
    /// A module fell below its voltage.
    Off {
        /// The module.
        module: usize,
    },
    /// There was no operating point left for this module, which has no capacitor: its voltage collapsed. An `Off`
    /// follows.
    Collapse {
        /// The module.
        module: usize,
    },
    /// A module without capacitor fell out twice at this instant and would go on so without end. It counts as off
    /// until something else switches, or the line comes to rest.
    Flutter {
        /// The module.
        module: usize,
    },
    /// Everything but timers that run on by themselves had come back to what it was when this module
    /// switched on before: so many periods follow that are alike (together within 1e-7 of the voltages) and not told
    /// one by one, in the ledger but neither in the events nor in the trace.
    Skipped {
        /// The module.
        module: usize,
        /// How many, a whole number.
        periods: f64,
        /// How long they last together, s.
        lasting_s: f64,
    },
    /// A module has booted.
    BootEnd {
        /// The module.
        module: usize,
    },
    /// A source came to its current limit.
    LimitReached {
        /// The source.
        source: usize,
    },
    /// A source left its current limit.
    LimitLeft {
        /// The source.
        source: usize,
    },
}

/// Samples of a start for a picture: at ends of steps and on both sides of a switching, every so many of them, so that
/// there are at most as many as asked for.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Trace {
    /// Times, s; not evenly spaced.
    pub time_s: Vec<f64>,
    /// For each node, its voltage at these times, V.
    pub voltages_v: Vec<Vec<f64>>,
    /// For each source, its current at these times, A.
    pub source_currents_a: Vec<Vec<f64>>,
}

/// Where energy and charge went, from the first instant to the last. Integrals by Simpson's rule over each step.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Ledger {
    /// Energy from the sources' inner voltages, J.
    pub source_j: f64,
    /// Lost in spans, source resistances and limiters, J.
    pub lost_j: f64,
    /// Drawn by modules and resistors, J.
    pub delivered_j: f64,
    /// In the capacitors at the end, J.
    pub stored_j: f64,
    /// Charge from the sources, C.
    pub source_c: f64,
    /// Charge drawn by modules and resistors, C.
    pub drawn_c: f64,
    /// In the capacitors at the end, C.
    pub stored_c: f64,
}

impl Ledger {
    /// Adds so many times what has come since `earlier`.
    pub(crate) fn repeat(&mut self, earlier: &Self, times: f64) {
        self.source_j += times * (self.source_j - earlier.source_j);
        self.lost_j += times * (self.lost_j - earlier.lost_j);
        self.delivered_j += times * (self.delivered_j - earlier.delivered_j);
        self.source_c += times * (self.source_c - earlier.source_c);
        self.drawn_c += times * (self.drawn_c - earlier.drawn_c);
    }
}

#[derive(Clone, Copy, Debug, Default)]
struct Flows {
    source_w: f64,
    lost_w: f64,
    delivered_w: f64,
    source_a: f64,
    drawn_a: f64,
}

#[derive(Clone, Debug)]
pub(crate) struct Record {
    pub(crate) events: Vec<Event>,
    pub(crate) ledger: Ledger,
    pub(crate) peak_a: Vec<f64>,
    pub(crate) backfed: Vec<bool>,
    /// For each joined node the voltage that counts as reached, and when it first was.
    pub(crate) mark_v: Vec<f64>,
    pub(crate) marked_s: Vec<Option<f64>>,
    rows: Vec<f64>,
    row_len: usize,
    most_rows: usize,
    stride: u64,
    offered: u64,
    halfway_v: Vec<f64>,
    into_a: Vec<f64>,
}

impl Record {
    pub(crate) fn new(circuit: &Circuit, mark_v: Vec<f64>, most_rows: usize) -> Self {
        let (nodes, sources) = (circuit.nodes(), circuit.sources.len());
        let row_len = 1 + nodes + sources;
        Self {
            events: Vec::with_capacity(64),
            ledger: Ledger::default(),
            peak_a: vec![0.0; sources],
            backfed: vec![false; sources],
            marked_s: vec![None; nodes],
            mark_v,
            rows: Vec::with_capacity(most_rows * row_len),
            row_len,
            most_rows,
            stride: 1,
            offered: 0,
            halfway_v: vec![0.0; nodes],
            into_a: vec![0.0; nodes],
        }
    }

    /// Begin, middle and end of a step for the integrals; `w` holds the begin, `halfway` fills in the middle.
    pub(crate) fn integrate(
        &mut self,
        circuit: &Circuit,
        w: &Work,
        h_s: f64,
        end_v: &[f64],
        halfway: impl FnOnce(&[f64], &mut [f64]),
    ) {
        halfway(&w.voltage_v, &mut self.halfway_v);
        let begin = flows(circuit, &w.voltage_v, w, &mut self.into_a);
        let middle = flows(circuit, &self.halfway_v, w, &mut self.into_a);
        let end = flows(circuit, end_v, w, &mut self.into_a);
        let simpson =
            |of: fn(&Flows) -> f64| h_s / 6.0 * (of(&begin) + 4.0 * of(&middle) + of(&end));
        self.ledger.source_j += simpson(|f| f.source_w);
        self.ledger.lost_j += simpson(|f| f.lost_w);
        self.ledger.delivered_j += simpson(|f| f.delivered_w);
        self.ledger.source_c += simpson(|f| f.source_a);
        self.ledger.drawn_c += simpson(|f| f.drawn_a);
    }

    /// Peaks, marks and a sample at the voltages in `w`.
    pub(crate) fn sample(&mut self, circuit: &Circuit, at_s: f64, w: &Work) {
        circuit.charging_currents(&w.voltage_v, w, &mut self.into_a);
        for i in 0..circuit.sources.len() {
            let current_a = circuit.source_current_a(i, &w.voltage_v, &self.into_a, w);
            self.peak_a[i] = self.peak_a[i].max(current_a);
            self.backfed[i] |= current_a < -1e-9 * (1.0 + self.peak_a[i]);
        }
        for i in 0..self.mark_v.len() {
            if self.marked_s[i].is_none() && w.voltage_v[i] >= self.mark_v[i] {
                self.marked_s[i] = Some(at_s);
            }
        }
        self.offered += 1;
        if !self.offered.is_multiple_of(self.stride) {
            return;
        }
        if self.rows.len() == self.most_rows * self.row_len {
            self.thin();
        }
        self.rows.push(at_s);
        self.rows.extend_from_slice(&w.voltage_v);
        for i in 0..circuit.sources.len() {
            let current_a = circuit.source_current_a(i, &w.voltage_v, &self.into_a, w);
            self.rows.push(current_a);
        }
    }

    /// Drops every second sample.
    fn thin(&mut self) {
        let rows = self.rows.len() / self.row_len;
        let kept = rows.div_ceil(2);
        for row in 0..kept {
            let from = 2 * row * self.row_len;
            self.rows
                .copy_within(from..from + self.row_len, row * self.row_len);
        }
        self.rows.truncate(kept * self.row_len);
        self.stride *= 2;
    }

    pub(crate) fn trace(&self, circuit: &Circuit) -> Trace {
        let column = |i: usize| -> Vec<f64> {
            self.rows
                .iter()
                .skip(i)
                .step_by(self.row_len)
                .copied()
                .collect()
        };
        Trace {
            time_s: column(0),
            voltages_v: circuit
                .topology
                .joined
                .iter()
                .map(|&joined| column(1 + joined))
                .collect(),
            source_currents_a: (0..circuit.sources.len())
                .map(|i| column(1 + circuit.nodes() + i))
                .collect(),
        }
    }

    /// The ledger, closed with what the capacitors hold at the end.
    pub(crate) fn close(&mut self, circuit: &Circuit, voltage_v: &[f64]) -> Ledger {
        self.ledger.stored_j = 0.0;
        self.ledger.stored_c = 0.0;
        for i in 0..voltage_v.len() {
            let charge_c = circuit.capacitance_f[i] * voltage_v[i];
            self.ledger.stored_c += charge_c;
            self.ledger.stored_j += 0.5 * charge_c * voltage_v[i];
        }
        self.ledger
    }
}

fn flows(circuit: &Circuit, voltage_v: &[f64], w: &Work, into_a: &mut [f64]) -> Flows {
    circuit.charging_currents(voltage_v, w, into_a);
    let mut flows = Flows::default();
    for i in 0..circuit.sources.len() {
        let source = &circuit.sources[i];
        let current_a = circuit.source_current_a(i, voltage_v, into_a, w);
        flows.source_a += current_a;
        flows.source_w += source.voltage_v * current_a;
        flows.lost_w += (source.voltage_v - voltage_v[circuit.source_at[i]]) * current_a;
    }
    for resistor in &circuit.topology.resistors {
        let drop_v = voltage_v[resistor.a] - voltage_v[resistor.b];
        flows.lost_w += drop_v * drop_v * resistor.conductance_s;
    }
    for i in 0..voltage_v.len() {
        flows.delivered_w += w.power_w[i] + w.load_s[i] * voltage_v[i] * voltage_v[i];
        flows.drawn_a += w.load_s[i] * voltage_v[i];
        if w.power_w[i] > 0.0 {
            flows.drawn_a += w.power_w[i] / voltage_v[i];
        }
    }
    flows
}
